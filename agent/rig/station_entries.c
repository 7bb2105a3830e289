/* The newest entries, each with the way to amend it; and the tour's sheet for handing over. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "record/check.h"
#include "rig/station_priv.h"
#include "store/logtable.h"

#define TOUR_HOURS 24
#define TEXT_MAX   ((size_t)16384)

const struct fsp_form_field fsp_station_entries_fields[] = {
        {.name = "added", .max = 20, .is = FSP_FIELD_COUNT},
        {.name = "before", .max = 20, .is = FSP_FIELD_COUNT},
        {.name = NULL},
};

/* What a record says besides kind, time and who, in the order of its members. */
static void
say_members(const struct fsp_record *record, struct fsp_buf *out)
{
    static const char *const told[] = {"at", "by", "kind", "noted", "v"};
    const char *name;
    bool first = true;

    for (size_t i = 0; (name = fsp_record_member(record, i)) != NULL; i++) {
        const char *text = fsp_record_text(record, name);
        int64_t count;
        bool is_told = false;

        for (size_t t = 0; t < sizeof(told) / sizeof(told[0]); t++)
            is_told = is_told || strcmp(told[t], name) == 0;
        if (is_told)
            continue;
        fsp_buf_add_text(out, first ? "" : "; ");
        first = false;
        fsp_buf_add_text(out, name);
        if (text != NULL)
            fsp_buf_printf(out, " %.200s", text);
        else if (fsp_record_int(record, name, &count))
            fsp_buf_printf(out, " %" PRId64, count);
    }
}

static void
amend_cell(struct fsp_visit *visit, const char *kind, uint64_t index)
{
    char place[64];
    char label[64];

    fsp_html_open(&visit->html, "td");
    fsp_html_attr(&visit->html, "class", "screen");
    if (strcmp(kind, "renewal") != 0 && strcmp(kind, "instruction") != 0 &&
            strcmp(kind, "amend") != 0 && strcmp(kind, "countersign") != 0 &&
            strcmp(kind, "inspection") != 0) {
        (void)snprintf(place, sizeof(place), "/enter/%s?amends=%" PRIu64, kind, index);
        (void)snprintf(label, sizeof(label), "Amend entry %" PRIu64, index);
        fsp_html_open(&visit->html, "a");
        fsp_html_attr(&visit->html, "href", place);
        fsp_html_text(&visit->html, label);
        fsp_html_close(&visit->html);
    }
    fsp_html_close(&visit->html);
}

static void
row(struct fsp_visit *visit, uint64_t index, const struct fsp_record *record)
{
    struct fsp_html *html = &visit->html;
    const char *kind = fsp_record_text(record, "kind");
    const char *by = fsp_record_text(record, "by");
    int64_t at_s = 0;
    struct fsp_buf text;

    fsp_buf_init(&text, TEXT_MAX);
    fsp_buf_printf(&text, "%" PRIu64, index);
    fsp_html_open(html, "tr");
    fsp_html_open(html, "th");
    fsp_html_attr(html, "scope", "row");
    fsp_html_text(html, fsp_buf_peek(&text));
    fsp_html_close(html);
    fsp_buf_reset(&text);
    if (fsp_record_time(record, "at", &at_s))
        fsp_visit_time(visit, at_s, &text);
    fsp_html_element(html, "td", NULL, fsp_buf_peek(&text));
    fsp_html_element(html, "td", NULL, kind);
    fsp_buf_reset(&text);
    say_members(record, &text);
    fsp_html_element(html, "td", NULL, fsp_buf_peek(&text));
    fsp_html_element(html, "td", NULL, by);
    amend_cell(visit, kind, index);
    fsp_html_close(html);
    fsp_buf_fini(&text);
}

static void
table(struct fsp_visit *visit, const char *caption)
{
    static const char *const columns[] = {"Entry", "When", "Kind", "What", "By"};
    struct fsp_html *html = &visit->html;

    fsp_html_open(html, "div");
    fsp_html_attr(html, "class", "scroll");
    fsp_html_attr(html, "tabindex", "0");
    fsp_html_attr(html, "role", "region");
    fsp_html_attr(html, "aria-label", caption);
    fsp_html_open(html, "table");
    fsp_html_element(html, "caption", NULL, caption);
    fsp_html_open(html, "tr");
    for (size_t i = 0; i < sizeof(columns) / sizeof(columns[0]); i++) {
        fsp_html_open(html, "th");
        fsp_html_attr(html, "scope", "col");
        fsp_html_text(html, columns[i]);
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

static void
table_end(struct fsp_visit *visit)
{
    fsp_html_close(&visit->html);
    fsp_html_close(&visit->html);
}

/* Rows from `before` downwards, the newest first: at most FSP_STATION_SHOWN, none noted before from_s.
 * Returns the index of the last one shown. */
static uint64_t
rows(struct fsp_visit *visit, uint64_t before, int64_t from_s)
{
    struct fsp_buf bytes;
    uint64_t index = before;

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    for (size_t n = 0; n < FSP_STATION_SHOWN && index > 0; n++) {
        struct fsp_record *record = NULL;
        int64_t noted_s = 0;

        fsp_buf_reset(&bytes);
        if (fsp_logtable_get(fsp_journal_db(visit->journal),
                    fsp_journal_current(visit->journal), index - 1, &bytes, NULL) != FSP_OK)
            break;
        if (fsp_check_stored(bytes.data, bytes.len, &record, NULL) == FSP_OK &&
                fsp_record_time(record, "noted", &noted_s) && noted_s < from_s) {
            fsp_record_free(record);
            break;
        }
        index--;
        if (record != NULL)
            row(visit, index, record);
        fsp_record_free(record);
    }
    fsp_buf_fini(&bytes);
    return index;
}

static uint64_t
size_of_log(struct fsp_visit *visit)
{
    struct fsp_journal_progress progress = {.size = 0};

    return fsp_journal_progress(visit->journal, &progress, NULL) == FSP_OK ? progress.size : 0;
}

void
fsp_station_entries(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_visit visit;
    char text[64];

    if (fsp_visit_begin(&visit, ctx, request, answer, FSP_STATION_JOURNAL)) {
        const char *added = fsp_http_value(request, "added");
        const char *before_text = fsp_http_value(request, "before");
        uint64_t before = size_of_log(&visit);
        uint64_t asked = before;

        if (before_text != NULL &&
                fsp_text_u64(before_text, strlen(before_text), &asked) == FSP_OK &&
                asked < before)
            before = asked;
        fsp_visit_page(&visit, "Entries", "/entries");
        if (added != NULL) {
            (void)snprintf(text, sizeof(text), "Entry %s is in the log.", added);
            fsp_html_open(&visit.html, "p");
            fsp_html_attr(&visit.html, "class", "state good");
            fsp_html_attr(&visit.html, "role", "status");
            fsp_html_text(&visit.html, text);
            fsp_html_close(&visit.html);
        }
        table(&visit, "The newest first");
        before = rows(&visit, before, INT64_MIN);
        table_end(&visit);
        if (before > 0) {
            (void)snprintf(text, sizeof(text), "/entries?before=%" PRIu64, before);
            fsp_html_open(&visit.html, "p");
            fsp_html_open(&visit.html, "a");
            fsp_html_attr(&visit.html, "href", text);
            fsp_html_text(&visit.html, "Older ones");
            fsp_html_close(&visit.html);
            fsp_html_close(&visit.html);
        }
        fsp_visit_page_end(&visit);
    }
    fsp_visit_end(&visit);
}

/* The account as `line` says it, and what was entered within a day; with room to sign on paper. */
void
fsp_station_tour(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_visit visit;
    struct fsp_buf text;

    fsp_buf_init(&text, 4 * TEXT_MAX);
    if (fsp_visit_begin(&visit, ctx, request, answer, FSP_STATION_ACCOUNT)) {
        fsp_visit_page(&visit, "Tour sheet", "/tour");
        fsp_ledger_text(visit.ledger, &text);
        fsp_account_signed_text(visit.account, &text);
        fsp_visit_lines(&visit, fsp_buf_peek(&text), text.len);
        table(&visit, "Entered within 24 hours, the newest first");
        (void)rows(&visit, size_of_log(&visit), visit.now_s - (int64_t)TOUR_HOURS * 3600);
        table_end(&visit);
        fsp_html_element(&visit.html, "p", NULL,
                "Handed over by: ______________________   Taken over by: "
                "______________________");
        fsp_visit_page_end(&visit);
    }
    fsp_visit_end(&visit);
    fsp_buf_fini(&text);
}
