#include <inttypes.h>
#include <string.h>

#include "audit/register.h"
#include "audit/report_priv.h"
#include "base/text.h"

/* --- text ------------------------------------------------------------------------------------ */

static void
head_line(struct fsp_buf *buf, const char *label, const struct fsp_statement *head)
{
    fsp_buf_printf(
            buf, "  %-10s the head of %" PRIu64 " entries, root ", label, head->head.size);
    fsp_base64(buf, head->head.root, FSP_HASH_LEN);
    fsp_buf_add_byte(buf, '\n');
    for (size_t i = 0; i < head->cosigned; i++) {
        char at[FSP_TIME_TEXT_LEN + 1];

        fsp_report_time(head->cosigned_s[i], at);
        fsp_buf_printf(buf, "  %-10s cosigned %s by %s\n", "", at, head->cosigner[i].name);
    }
}

static void
text_top(const struct fsp_book *book, struct fsp_buf *buf)
{
    const uint64_t from = book->has_from ? book->from.head.size : 0;

    fsp_buf_add_text(buf, "Register\n");
    fsp_report_line(buf, "log", book->to.head.origin);
    fsp_report_line(buf, "signed by", book->to.log.name);
    if (book->has_from)
        head_line(buf, "from", &book->from);
    else
        fsp_report_line(buf, "from", "the beginning of the log");
    head_line(buf, "to", &book->to);
    fsp_buf_printf(buf, "  %-10s %" PRIu64, "entries", book->to.head.size - from);
    if (book->to.head.size > from)
        fsp_buf_printf(buf, ", %" PRIu64 " to %" PRIu64 " (the first of the log is 0)", from,
                book->to.head.size - 1);
    fsp_buf_printf(buf, "; %" PRIu64 " of them held back\n", book->held_back);
}

static void
text_line(const struct fsp_book_line *line, struct fsp_buf *buf)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(line->at_s, at);
    fsp_buf_printf(buf, "  entry %" PRIu64 "  %s  ", line->index, at);
    fsp_text_show(buf, line->decision, strlen(line->decision));
    fsp_buf_add_text(buf, ", reel ");
    fsp_text_show(buf, line->reel, strlen(line->reel));
    fsp_buf_add_text(buf, ", by ");
    fsp_text_show(buf, line->inspector, strlen(line->inspector));
    fsp_buf_printf(buf, ": %s",
            line->signature.judged ? fsp_sig_state_text(line->signature.state)
                                   : "signature not judged without a roster");
    if (line->signature.seen_after_revoked)
        fsp_buf_add_text(buf,
                " (the key was revoked before the office first saw the log's end: "
                "compare the times)");
    if (line->countersigned != FSP_SIG_NONE)
        fsp_buf_printf(buf, "; countersigned: %s", fsp_sig_state_text(line->countersigned));
    if (line->amended > 0)
        fsp_buf_printf(buf, "; amended or voided by entry %" PRIu64, line->amended_by);
    fsp_buf_add_byte(buf, '\n');
}

static void
text_inspections(const struct fsp_book *book, struct fsp_buf *buf)
{
    static const enum fsp_sig_state states[] = {
            FSP_SIG_GOOD, FSP_SIG_NONE, FSP_SIG_BAD, FSP_SIG_OFF_ROSTER, FSP_SIG_OUT_OF_DATE};
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_buf_printf(buf, "Inspections: %" PRIu64 "\n", book->inspections);
    for (size_t i = 0; i < sizeof(states) / sizeof(states[0]); i++)
        if (book->by_state[states[i]] > 0)
            fsp_buf_printf(buf, "  %" PRIu64 " %s\n", book->by_state[states[i]],
                    fsp_sig_state_text(states[i]));
    if (book->unjudged > 0)
        fsp_buf_printf(buf, "  %" PRIu64 " with a signature that no roster is here to judge\n",
                book->unjudged);
    if (book->roster_version > 0) {
        fsp_time_text(book->roster_made_s, at);
        fsp_buf_printf(buf, "  judged by the roster of version %" PRIu64 ", made %s\n",
                book->roster_version, at);
    }
    for (size_t i = 0; i < book->lines; i++)
        text_line(&book->line[i], buf);
    if (book->inspections > book->lines)
        fsp_buf_printf(buf, "  and %" PRIu64 " more, counted above\n",
                book->inspections - book->lines);
    if (book->countersigns > FSP_BOOK_COUNTERSIGN_MAX)
        fsp_buf_printf(buf,
                "  of %" PRIu64 " countersignatures only the first %d are related\n",
                book->countersigns, FSP_BOOK_COUNTERSIGN_MAX);
    if (book->amends > FSP_BOOK_AMENDS_MAX)
        fsp_buf_printf(buf, "  of %" PRIu64 " amendments only the first %d are related\n",
                book->amends, FSP_BOOK_AMENDS_MAX);
}

static void
text_fields(const struct fsp_book *book, struct fsp_buf *buf)
{
    if (!book->fields_checked)
        return;
    if (book->odd == 0) {
        fsp_buf_add_text(buf, "Fields\n  every record here has the fields of its kind\n");
        return;
    }
    fsp_buf_printf(buf,
            "Fields\n  %" PRIu64
            " entries are no records as this program knows them; the first "
            "is entry %" PRIu64 ": ",
            book->odd, book->first_odd);
    fsp_text_show(buf, book->odd_why, strlen(book->odd_why));
    fsp_buf_add_byte(buf, '\n');
}

static void
text_proved(const struct fsp_book *book, struct fsp_buf *buf)
{
    fsp_buf_printf(buf,
            "Proved\n"
            "  the log has exactly these entries %s the head of %" PRIu64
            ", in this order: none was left out, changed, added or moved\n",
            book->has_from ? "between those two heads, up to" : "from its beginning to",
            book->to.head.size);
    for (size_t i = 0; i < book->to.cosigned; i++) {
        char at[FSP_TIME_TEXT_LEN + 1];

        fsp_report_time(book->to.cosigned_s[i], at);
        fsp_buf_printf(buf, "  %s had seen all of it by %s of its own clock\n",
                book->to.cosigner[i].name, at);
    }
    if (book->held_back == 0)
        fsp_buf_add_text(buf, "  the inspections above are all that this stretch of the log "
                              "holds\n");
    else
        fsp_buf_printf(buf,
                "  %" PRIu64 " entries are held back: that they exist is proved, what they say "
                "is not here\n",
                book->held_back);
}

/* Sentence i of what is left open, NULL past the end. */
static const char *
not_proved(const struct fsp_book *book, size_t i)
{
    const char *sentences[9];
    size_t n = 0;

    if (book->trust == FSP_TRUST_ENCLOSED)
        sentences[n++] = "whose keys these are: they came with the evidence";
    if (book->held_back > 0)
        sentences[n++] = "that no entry held back is an inspection, or amends one: any of them "
                         "could be";
    sentences[n++] = "when an entry was written before the office saw it: the times inside are "
                     "the rig's own clock";
    sentences[n++] = "that what the entries say is true, or that nothing was left unentered";
    sentences[n++] = "what the log says behind its last head here, amendments included";
    if (book->to.cosigned == 0)
        sentences[n++] = "that anybody but the rig has seen it: no witness cosigned";
    else if (book->to.cosigned == 1)
        sentences[n++] = "that rig and office did not invent the history together: only a "
                         "second witness excludes that";
    if (book->roster_version > 0)
        sentences[n++] = "that this roster is the newest: a later one may have revoked a key";
    if (book->roster_version > 0 && book->office.trust == FSP_TRUST_ENCLOSED)
        sentences[n++] = "whose key signed the roster: the office's instructions key came with "
                         "the evidence";
    if (!book->fields_checked)
        sentences[n++] = "that every record has the fields of its kind: --fields checks it";
    return i < n ? sentences[i] : NULL;
}

void
fsp_book_text(const struct fsp_book *book, const struct fsp_audit_job *job, struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, book->rc == FSP_OK ? "VERIFIED " : "LOG VERIFIED, A SIGNATURE NOT ");
    fsp_text_show(buf, job->file, strlen(job->file));
    fsp_buf_add_byte(buf, '\n');
    text_top(book, buf);
    text_inspections(book, buf);
    text_fields(book, buf);
    text_proved(book, buf);
    fsp_buf_add_text(buf, "Not proved\n");
    for (size_t i = 0; not_proved(book, i) != NULL; i++)
        fsp_buf_printf(buf, "  %s\n", not_proved(book, i));
    if (book->roster_version > 0)
        fsp_report_office_keys(&book->office, buf);
    fsp_report_keys(&book->to, book->trust, job, buf);
}

/* --- JSON ------------------------------------------------------------------------------------ */

static void
json_inspection(const struct fsp_book_line *line, struct fsp_buf *buf)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(line->at_s, at);
    fsp_buf_printf(buf, "{\"index\":%" PRIu64 ",\"at\":\"%s\"", line->index, at);
    fsp_report_json_member(buf, "inspector", line->inspector);
    fsp_report_json_member(buf, "reel", line->reel);
    fsp_report_json_member(buf, "decision", line->decision);
    fsp_report_json_member(buf, "signature",
            line->signature.judged ? fsp_sig_state_text(line->signature.state) : "not judged");
    if (line->countersigned != FSP_SIG_NONE)
        fsp_report_json_member(buf, "countersigned", fsp_sig_state_text(line->countersigned));
    if (line->amended > 0)
        fsp_buf_printf(buf, ",\"amended_by\":%" PRIu64, line->amended_by);
    fsp_buf_add_byte(buf, '}');
}

static void
json_complete(const struct fsp_book *book, struct fsp_buf *buf)
{
    fsp_report_json_member(buf, "log", book->to.head.origin);
    fsp_buf_add_text(buf, ",\"from\":");
    if (book->has_from) {
        fsp_buf_add_byte(buf, '{');
        fsp_report_json_head(&book->from, buf);
        fsp_buf_add_byte(buf, '}');
    } else {
        fsp_buf_add_text(buf, "null");
    }
    fsp_buf_add_text(buf, ",\"to\":{");
    fsp_report_json_head(&book->to, buf);
    fsp_buf_printf(buf,
            "},\"entries\":%" PRIu64 ",\"held_back\":%" PRIu64 ",\"inspections\":%" PRIu64,
            book->to.head.size - (book->has_from ? book->from.head.size : 0), book->held_back,
            book->inspections);
    fsp_buf_printf(buf,
            ",\"signed\":%" PRIu64 ",\"unsigned\":%" PRIu64 ",\"bad\":%" PRIu64
            ",\"off_roster\":%" PRIu64 ",\"out_of_date\":%" PRIu64 ",\"not_judged\":%" PRIu64,
            book->by_state[FSP_SIG_GOOD], book->by_state[FSP_SIG_NONE],
            book->by_state[FSP_SIG_BAD], book->by_state[FSP_SIG_OFF_ROSTER],
            book->by_state[FSP_SIG_OUT_OF_DATE], book->unjudged);
    if (book->roster_version > 0)
        fsp_buf_printf(buf, ",\"roster\":{\"version\":%" PRIu64 ",\"trust\":\"%s\"}",
                book->roster_version, fsp_trust_word(book->office.trust));
    if (book->fields_checked)
        fsp_buf_printf(buf, ",\"odd_entries\":%" PRIu64, book->odd);
    fsp_buf_add_text(buf, ",\"listed\":[");
    for (size_t i = 0; i < book->lines; i++) {
        fsp_buf_add_text(buf, i == 0 ? "" : ",");
        json_inspection(&book->line[i], buf);
    }
    fsp_buf_add_text(buf, "],\"not_proved\":[");
    for (size_t i = 0; not_proved(book, i) != NULL; i++) {
        fsp_buf_add_text(buf, i == 0 ? "" : ",");
        fsp_report_json_text(buf, not_proved(book, i));
    }
    fsp_buf_add_byte(buf, ']');
}

void
fsp_book_json(const struct fsp_book *book, const struct fsp_audit_job *job, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "{\"verified\":%s,\"file\":", book->rc == FSP_OK ? "true" : "false");
    fsp_report_json_text(buf, job->file);
    fsp_report_json_member(buf, "trust", fsp_trust_word(book->trust));
    fsp_buf_printf(buf, ",\"complete\":%s", book->complete ? "true" : "false");
    if (book->rc != FSP_OK)
        fsp_report_json_member(buf, "why", book->err.text);
    if (book->complete)
        json_complete(book, buf);
    fsp_buf_add_text(buf, "}\n");
}
