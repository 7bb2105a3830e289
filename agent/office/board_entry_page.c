/* GET /entry: an entry's bytes, fields, leaf, signature, receipt, and what refers to it. */
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "office/board_entry.h"
#include "office/board_priv.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static void
term(struct fsp_html *html, const char *name)
{
    fsp_html_element(html, "dt", NULL, name);
    fsp_html_open(html, "dd");
}

/* Bytes to be compared: a block that wraps. */
static void
block(struct fsp_html *html, const char *label, const void *bytes, size_t len)
{
    const char *at = bytes;

    fsp_html_open(html, "pre");
    fsp_html_attr(html, "class", "bytes");
    fsp_html_attr(html, "tabindex", "0");
    fsp_html_attr(html, "role", "region");
    fsp_html_attr(html, "aria-label", label);
    while (len > 0) {
        const char *end = memchr(at, '\n', len);
        const size_t line = end == NULL ? len : (size_t)(end - at);

        fsp_html_text_n(html, at, line);
        at += line;
        len -= line;
        if (len > 0) {
            fsp_html_line(html);
            at++;
            len--;
        }
    }
    fsp_html_close(html);
}

static void
fields(struct fsp_html *html, const struct fsp_record *record)
{
    const char *name;

    fsp_board_section(html, "fields", "What it says");
    if (record == NULL) {
        fsp_board_para(html, "This office cannot read the entry. It is kept, and counts as an "
                             "entry of the log.");
        return;
    }
    fsp_html_open(html, "dl");
    for (size_t i = 0; (name = fsp_record_member(record, i)) != NULL; i++) {
        const char *text = fsp_record_text(record, name);
        int64_t number;
        char digits[24];

        term(html, name);
        if (text != NULL) {
            fsp_html_text(html, text);
        } else if (fsp_record_int(record, name, &number)) {
            (void)snprintf(digits, sizeof(digits), "%lld", (long long)number);
            fsp_html_text(html, digits);
        } else {
            fsp_html_text(html, "see the bytes");
        }
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

/* The entry that this one names, when it stands in the same log or can be told. */
static void
names(struct fsp_html *html, const struct fsp_fleet_rig *rig,
        const struct fsp_board_entry *entry)
{
    const struct fsp_record *to =
            entry->record == NULL ? NULL : fsp_record_object(entry->record, "entry");
    int64_t index = 0;
    char href[FSP_BOARD_LINK_MAX];
    char text[48];

    if (to == NULL || !fsp_record_int(to, "index", &index) || index < 0)
        return;
    fsp_board_entry_href(rig->name, entry->log, (uint64_t)index, href);
    (void)snprintf(text, sizeof(text), "entry %lld", (long long)index);
    term(html, "Names");
    fsp_board_link(html, text, href);
    fsp_html_text(html, ", by its leaf hash; it may stand in an earlier log");
    fsp_html_close(html);
}

static const char *
how_text(enum fsp_fold_refers how)
{
    switch (how) {
    case FSP_REFERS_AMENDS:
        return "amended by";
    case FSP_REFERS_VOIDS:
        return "voided by";
    case FSP_REFERS_COUNTERSIGNS:
        return "countersigned by";
    }
    return "named by";
}

static void
references(struct fsp_html *html, const struct fsp_fleet_rig *rig,
        const struct fsp_board_entry *entry)
{
    struct fsp_fold_reference one;

    fsp_board_section(html, "references", "Amendments and countersignatures");
    if (!fsp_fold_reference(rig->fold, entry->log, entry->index, 0, &one)) {
        fsp_board_para(html, "None.");
        return;
    }
    fsp_html_open(html, "ul");
    fsp_html_attr(html, "class", "list");
    for (size_t i = 0; fsp_fold_reference(rig->fold, entry->log, entry->index, i, &one); i++) {
        char href[FSP_BOARD_LINK_MAX];
        char text[48];

        fsp_board_entry_href(rig->name, one.log, one.index, href);
        (void)snprintf(text, sizeof(text), "entry %llu", (unsigned long long)one.index);
        fsp_html_open(html, "li");
        fsp_html_text(html, how_text(one.how));
        fsp_html_text(html, " ");
        fsp_board_link(html, text, href);
        fsp_html_text(html, " of ");
        fsp_board_time(html, one.at_s);
        fsp_html_text(html, " ");
        fsp_board_sig(html, one.sig);
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

static void
receipt(struct fsp_html *html, const struct fsp_board_entry *entry)
{
    char hex[2 * FSP_HASH_LEN + 1];

    fsp_board_section(html, "receipt", "Receipt");
    if (!entry->covered) {
        fsp_board_para(html, "No cosigned head covers it yet.");
        return;
    }
    fsp_html_open(html, "dl");
    term(html, "Earliest head that covers it");
    (void)snprintf(hex, sizeof(hex), "%llu entries", (unsigned long long)entry->head_size);
    fsp_html_text(html, hex);
    fsp_html_close(html);
    term(html, "Root");
    fsp_text_hex(hex, entry->head_root, FSP_HASH_LEN);
    fsp_html_element(html, "code", NULL, hex);
    fsp_html_close(html);
    for (size_t i = 0; i < entry->n_cosigned; i++) {
        term(html, "Cosigned");
        fsp_board_time(html, entry->cosigned[i].at_s);
        fsp_html_text(html, " by ");
        fsp_html_text(html, entry->cosigned[i].name);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    block(html, "The head as it is kept", fsp_buf_peek(&entry->note), entry->note.len);
}

static void
about(struct fsp_html *html, const struct fsp_board_page *page, const struct fsp_fleet_rig *rig,
        const struct fsp_board_entry *entry)
{
    char hex[2 * FSP_HASH_LEN + 1];
    char href[FSP_BOARD_LINK_MAX];
    enum fsp_sig_state sig;

    fsp_html_open(html, "dl");
    term(html, "Rig");
    fsp_board_rig_href(rig->name, href);
    fsp_board_link(html, rig->name, href);
    fsp_html_close(html);
    term(html, "Log");
    fsp_html_text(html, rig->logs[entry->log].log.origin);
    fsp_html_close(html);
    term(html, "Leaf hash (SHA-256)");
    fsp_text_hex(hex, entry->leaf, FSP_HASH_LEN);
    fsp_html_element(html, "code", NULL, hex);
    fsp_html_close(html);
    term(html, "A person's signature");
    if (fsp_fold_entry_sig(rig->fold, entry->log, entry->index, &sig))
        fsp_board_sig(html, sig);
    else
        fsp_html_text(html, "none is asked of this kind; the rig's key signs the log");
    fsp_html_close(html);
    names(html, rig, entry);
    term(html, "Evidence");
    fsp_board_prove(html, rig, entry->log, entry->index);
    fsp_html_text(html, " ");
    if (entry->covered)
        fsp_board_evidence_links(html, page, rig->name, entry->log, entry->index);
    fsp_html_close(html);
    fsp_html_close(html);
}

static void
beside(struct fsp_html *html, const struct fsp_fleet_rig *rig,
        const struct fsp_board_entry *entry)
{
    char href[FSP_BOARD_LINK_MAX];

    fsp_html_open(html, "nav");
    fsp_html_attr(html, "class", "pages");
    fsp_html_attr(html, "aria-label", "Entries beside this one");
    fsp_html_open(html, "ul");
    if (entry->index > 0) {
        fsp_board_entry_href(rig->name, entry->log, entry->index - 1, href);
        fsp_html_open(html, "li");
        fsp_board_link(html, "Entry before", href);
        fsp_html_close(html);
    }
    if (entry->index + 1 < rig->logs[entry->log].size) {
        fsp_board_entry_href(rig->name, entry->log, entry->index + 1, href);
        fsp_html_open(html, "li");
        fsp_board_link(html, "Entry after", href);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    fsp_html_close(html);
}

void
fsp_board_entry(const struct fsp_board_page *page, const struct fsp_fleet_rig *rig,
        const struct fsp_board_entry *entry, struct fsp_buf *buf)
{
    struct fsp_html html;

    fsp_html_begin(&html, buf);
    fsp_board_begin(&html, page);
    about(&html, page, rig, entry);
    fsp_board_section(&html, "bytes", "Its bytes");
    fsp_board_para(&html,
            "As they are stored, hashed and shipped: SHA-256 over a zero byte and these is the "
            "leaf hash.");
    block(&html, "The entry's bytes", fsp_buf_peek(&entry->bytes), entry->bytes.len);
    fields(&html, entry->record);
    references(&html, rig, entry);
    receipt(&html, entry);
    beside(&html, rig, entry);
    fsp_board_end(&html);
    fsp_html_end(&html);
}
