/* The forms: a record typed, worked out, and added once; the same form amends an entry. */
#include <assert.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "line/say.h"
#include "record/check.h"
#include "rig/reel.h"
#include "rig/shown.h"
#include "rig/station_priv.h"
#include "store/logtable.h"

#define TEXT_MAX    ((size_t)16384)
#define SHOWN_MAX   ((size_t)8192)
#define NOTE_ROWS   3
#define CHOICES_MAX 40
#define WORD_LEN    40
#define PLACE_MAX   64

static const struct fsp_station_kind *
kind_of(const struct fsp_visit *visit)
{
    for (size_t i = 0; i < visit->station->n_kinds; i++)
        if (strcmp(visit->station->kinds[i].path, visit->request->path) == 0)
            return &visit->station->kinds[i];
    return NULL; /* its route would not have led here */
}

/* --- what stands in a field ------------------------------------------------------------------- */

/* A form: what was sent comes first, then the entry that is amended, then the usual. */
struct form {
    const struct fsp_station_kind *kind;
    struct fsp_record *amended; /* NULL: a new record */
    uint64_t amends;
    struct fsp_record
            *newest; /* the entry before, for who is at it; NULL: none that can be read */
    const char *op;  /* of work; NULL: to be chosen */
    char now[32];
    const char *fault; /* what was refused; NULL */
};

static bool
sent(const struct fsp_visit *visit)
{
    return fsp_http_value(visit->request, "do") != NULL;
}

/* A member as somebody would type it; false when it is a list or an object. */
static bool
typed_member(const struct fsp_record *record, const char *name, struct fsp_buf *out)
{
    const char *text = fsp_record_text(record, name);
    int64_t count;

    fsp_buf_reset(out);
    if (text != NULL)
        fsp_buf_add_text(out, text);
    else if (fsp_record_int(record, name, &count))
        fsp_buf_printf(out, "%" PRId64, count);
    else
        return false;
    return true;
}

static void
value_of(const struct fsp_visit *visit, const struct form *form, const char *name,
        struct fsp_buf *out)
{
    const char *value = fsp_http_value(visit->request, name);

    fsp_buf_reset(out);
    if (sent(visit) || value != NULL)
        fsp_buf_add_text(out, value == NULL ? "" : value);
    else if (form->amended != NULL)
        (void)typed_member(form->amended, name, out);
    else if (strcmp(name, "at") == 0)
        fsp_buf_add_text(out, form->now);
    else if (strcmp(name, "by") == 0 && form->newest != NULL)
        (void)typed_member(form->newest, name, out);
}

/* --- one field -------------------------------------------------------------------------------- */

static void
choose_word(struct fsp_visit *visit, const struct fsp_field *field,
        const struct fsp_html_control *control)
{
    struct fsp_html_choice choices[CHOICES_MAX] = {{.value = "", .text = "not said"}};
    char words[CHOICES_MAX][WORD_LEN];
    const char *at = field->words;
    size_t n = 1;

    while (*at != '\0' && n < CHOICES_MAX) {
        const size_t len = strcspn(at, " ");

        assert(len < WORD_LEN);
        memcpy(words[n], at, len);
        words[n][len] = '\0';
        choices[n].value = words[n];
        n++;
        at += len;
        at += strspn(at, " ");
    }
    fsp_html_select(&visit->html, control, choices, n);
}

static void
field_row(struct fsp_visit *visit, const struct form *form, const struct fsp_field *field)
{
    struct fsp_buf hint;
    struct fsp_buf value;
    struct fsp_html_control control = {.name = field->name, .label = field->name};

    fsp_buf_init(&hint, TEXT_MAX);
    fsp_buf_init(&value, FSP_STATION_VALUE_MAX);
    fsp_buf_printf(&hint, "%s (", field->says);
    fsp_field_form(field, &hint);
    fsp_buf_add_text(&hint, ")");
    value_of(visit, form, field->name, &value);
    control.hint = fsp_buf_peek(&hint);
    control.value = fsp_buf_peek(&value);
    control.autocomplete = "off";
    control.needed = (field->flags & FSP_REQUIRED) != 0;
    if (field->type == FSP_WORD)
        choose_word(visit, field, &control);
    else if (strcmp(field->name, "note") == 0)
        fsp_html_textarea(&visit->html, &control, NOTE_ROWS);
    else
        fsp_html_input(&visit->html, &control);
    fsp_buf_fini(&value);
    fsp_buf_fini(&hint);
}

static bool
is_common(const char *name)
{
    for (const struct fsp_field *field = fsp_common_fields(); field->name != NULL; field++)
        if (strcmp(field->name, name) == 0)
            return true;
    return false;
}

/* Fields that the form shows: those of the operation, of work; what the program fills in, never. */
static bool
shows(const struct form *form, const struct fsp_field *field)
{
    if ((field->flags & (FSP_AGENT | FSP_COMPUTED)) != 0 || field->type == FSP_BYTES ||
            strcmp(field->name, "v") == 0 || strcmp(field->name, "kind") == 0)
        return false;
    return form->op == NULL || is_common(field->name) || strcmp(field->name, "op") == 0 ||
           fsp_op_takes(fsp_op_find(form->op), field->name);
}

/* First what must be given, then the rest, folded away. */
static void
fields(struct fsp_visit *visit, const struct form *form, bool needed)
{
    const struct fsp_field *tables[] = {form->kind->kind->fields, fsp_common_fields()};
    const struct fsp_op *op = form->op == NULL ? NULL : fsp_op_find(form->op);

    for (size_t t = 0; t < 2; t++)
        for (const struct fsp_field *field = tables[t]; field->name != NULL; field++) {
            const bool must =
                    (field->flags & FSP_REQUIRED) != 0 || fsp_op_needs(op, field->name);

            if (shows(form, field) && must == needed)
                field_row(visit, form, field);
        }
}

static void
own_fields(struct fsp_visit *visit, const struct form *form)
{
    char once[FSP_STATION_TOKEN_LEN + 1];
    const char *before = fsp_http_value(visit->request, "once");
    char amends[24];

    if (before != NULL) {
        (void)snprintf(once, sizeof(once), "%s", before);
    } else {
        const struct fsp_env *env = visit->station->about.env;
        uint8_t random[FSP_STATION_TOKEN_LEN / 2];

        env->random(env->ctx, random, sizeof(random));
        fsp_text_hex(once, random, sizeof(random));
    }
    fsp_html_hidden(&visit->html, "once", once);
    if (form->amended != NULL) {
        (void)snprintf(amends, sizeof(amends), "%" PRIu64, form->amends);
        fsp_html_hidden(&visit->html, "amends", amends);
    }
}

static void
amend_row(struct fsp_visit *visit)
{
    const char *reason = fsp_http_value(visit->request, "amend-reason");
    const struct fsp_html_control control = {.name = "amend-reason",
            .label = "Why it is amended",
            .value = reason == NULL ? "" : reason,
            .autocomplete = "off",
            .max = 200,
            .needed = true};

    fsp_html_input(&visit->html, &control);
}

static void
form_body(struct fsp_visit *visit, const struct form *form, bool ask_also, bool ask_sure)
{
    struct fsp_html *html = &visit->html;

    fsp_html_form(html, form->kind->path, visit->station->token);
    own_fields(visit, form);
    if (form->amended != NULL)
        amend_row(visit);
    fields(visit, form, true);
    fsp_html_open(html, "details");
    if (form->amended != NULL)
        fsp_html_attr(html, "open", "open");
    fsp_html_element(html, "summary", NULL, "More that can be said");
    fields(visit, form, false);
    fsp_html_close(html);
    if (ask_also)
        fsp_html_check(html, "also", "It is another one: add it as well", false);
    if (ask_sure)
        fsp_html_check(html, "sure", "It is right as it stands", false);
    fsp_html_button(html, "Work it out", "do", "try");
    fsp_html_button(html, form->amended == NULL ? "Add" : "Amend", "do", "add");
    if (form->amended != NULL)
        fsp_html_button(html, "Void the entry", "do", "void");
    fsp_html_close(html);
}

/* --- what was typed, as a record -------------------------------------------------------------- */

static enum fsp_rc
build(const struct fsp_visit *visit, const struct form *form,
        const struct fsp_check_context *context, struct fsp_record **out, struct fsp_err *err)
{
    struct fsp_typed typed[FSP_FORM_FIELDS_MAX];
    const struct fsp_field *tables[] = {form->kind->kind->fields, fsp_common_fields()};
    size_t n = 0;

    for (size_t t = 0; t < 2; t++)
        for (const struct fsp_field *field = tables[t]; field->name != NULL; field++)
            if (shows(form, field) && fsp_http_value(visit->request, field->name) != NULL)
                typed[n++] = (struct fsp_typed){
                        field->name, fsp_http_value(visit->request, field->name)};
    return fsp_check_typed(form->kind->kind->name, typed, n, context, out, err);
}

static bool
is_own(const char *name)
{
    return strcmp(name, "v") == 0 || strcmp(name, "kind") == 0 || strcmp(name, "noted") == 0;
}

static bool
is_shown(const struct fsp_kind *kind, const char *name)
{
    const struct fsp_field *field = fsp_kind_field(kind, name);

    return field != NULL && (field->flags & FSP_COMPUTED) != 0;
}

/* What an amendment cannot say: a member taken away, a list or an object changed. */
static enum fsp_rc
check_kept(const struct form *form, const struct fsp_record *now, struct fsp_err *err)
{
    const char *name;

    for (size_t i = 0; (name = fsp_record_member(form->amended, i)) != NULL; i++)
        if (!is_own(name) && !is_shown(form->kind->kind, name) && !fsp_record_has(now, name))
            return fsp_err_set(err, FSP_EFORMAT,
                    "%.60s: cannot be emptied by an amendment; void the entry and enter it "
                    "anew",
                    name);
    return FSP_OK;
}

/* The members that differ, as amend's `set`. */
static enum fsp_rc
differences(const struct form *form, const struct fsp_record *now, struct fsp_buf *set,
        struct fsp_err *err)
{
    struct fsp_buf before;
    struct fsp_buf after;
    const char *name;
    bool first = true;
    enum fsp_rc rc = check_kept(form, now, err);

    fsp_buf_init(&before, FSP_ENTRY_MAX);
    fsp_buf_init(&after, FSP_ENTRY_MAX);
    fsp_buf_add_byte(set, '{');
    for (size_t i = 0; rc == FSP_OK && (name = fsp_record_member(now, i)) != NULL; i++) {
        if (is_own(name) || !typed_member(now, name, &after))
            continue;
        (void)typed_member(form->amended, name, &before);
        if (strcmp(fsp_buf_peek(&before), fsp_buf_peek(&after)) == 0)
            continue;
        fsp_say_member_text(set, &first, name, fsp_buf_peek(&after));
    }
    fsp_buf_add_byte(set, '}');
    fsp_buf_fini(&after);
    fsp_buf_fini(&before);
    if (rc == FSP_OK && first)
        rc = fsp_err_set(err, FSP_EFORMAT, "nothing differs from entry %" PRIu64, form->amends);
    return rc;
}

static enum fsp_rc
build_amend(const struct fsp_visit *visit, const struct form *form,
        const struct fsp_check_context *context, struct fsp_record **out, struct fsp_err *err)
{
    const bool is_void = strcmp(fsp_http_value(visit->request, "do"), "void") == 0;
    const char *by = fsp_http_value(visit->request, "by");
    const char *reason = fsp_http_value(visit->request, "amend-reason");
    struct fsp_record *now = NULL;
    struct fsp_buf set;
    char entry[24];
    char at[FSP_TIME_TEXT_LEN + 1];
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&set, FSP_ENTRY_MAX);
    (void)snprintf(entry, sizeof(entry), "%" PRIu64, form->amends);
    fsp_time_text(visit->now_s, at);
    if (!is_void) {
        rc = build(visit, form, context, &now, err);
        if (rc == FSP_OK)
            rc = differences(form, now, &set, err);
    }
    if (rc == FSP_OK) {
        const struct fsp_typed typed[] = {
                {"at", at},
                {"by", by == NULL ? "" : by},
                {"entry", entry},
                {"reason", reason == NULL ? "" : reason},
                is_void ? (struct fsp_typed){"void", "yes"}
                        : (struct fsp_typed){"set", fsp_buf_peek(&set)},
        };

        rc = fsp_check_typed(
                "amend", typed, sizeof(typed) / sizeof(typed[0]), context, out, err);
    }
    fsp_record_free(now);
    fsp_buf_fini(&set);
    return rc;
}

/* --- the form's beginnings -------------------------------------------------------------------- */

static struct fsp_record *
read_entry(const struct fsp_visit *visit, uint64_t index)
{
    struct fsp_record *record = NULL;
    struct fsp_buf bytes;

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    if (fsp_logtable_get(fsp_journal_db(visit->journal), fsp_journal_current(visit->journal),
                index, &bytes, NULL) == FSP_OK &&
            fsp_check_stored(bytes.data, bytes.len, &record, NULL) != FSP_OK)
        record = NULL; /* one that this program cannot read is kept, not shown */
    fsp_buf_fini(&bytes);
    return record;
}

/* The minute that it is, as it is typed in the rig's zone, or in UTC where none is known. */
static void
write_now(const struct fsp_visit *visit, char out[static 32])
{
    char text[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(visit->now_s + (int64_t)visit->zone_minutes * 60, text);
    text[10] = ' ';
    (void)snprintf(out, 32, "%.16s%s", text, visit->has_zone ? "" : "Z");
}

static enum fsp_rc
form_begin(struct fsp_visit *visit, struct form *form, struct fsp_err *err)
{
    const char *amends = fsp_http_value(visit->request, "amends");
    struct fsp_journal_progress progress = {.size = 0};
    enum fsp_rc rc = fsp_journal_progress(visit->journal, &progress, err);

    *form = (struct form){.kind = kind_of(visit)};
    write_now(visit, form->now);
    if (rc == FSP_OK && progress.size > 0)
        form->newest = read_entry(visit, progress.size - 1);
    if (rc == FSP_OK && amends != NULL) {
        const char *kind;

        rc = fsp_text_u64(amends, strlen(amends), &form->amends);
        form->amended = rc == FSP_OK ? read_entry(visit, form->amends) : NULL;
        kind = form->amended == NULL ? NULL : fsp_record_text(form->amended, "kind");
        if (kind == NULL || strcmp(kind, form->kind->kind->name) != 0)
            rc = fsp_err_set(err, FSP_ENOTFOUND, "entry %.20s is no %s of this log", amends,
                    form->kind->kind->name);
    }
    if (strcmp(form->kind->kind->name, "work") == 0) {
        form->op = fsp_http_value(visit->request, "op");
        if (form->op == NULL && form->amended != NULL)
            form->op = fsp_record_text(form->amended, "op");
        if (form->op != NULL && fsp_op_find(form->op) == NULL)
            form->op = NULL;
    }
    return rc;
}

static void
form_end(struct form *form)
{
    fsp_record_free(form->amended);
    fsp_record_free(form->newest);
}

static void
form_title(struct fsp_visit *visit, const struct form *form)
{
    char title[96];

    if (form->amended != NULL)
        (void)snprintf(title, sizeof(title), "Amend entry %" PRIu64 ", %s", form->amends,
                form->kind->kind->name);
    else
        (void)snprintf(title, sizeof(title), "Enter: %s%s%s", form->kind->kind->name,
                form->op == NULL ? "" : ", ", form->op == NULL ? "" : form->op);
    fsp_visit_page(visit, title, "/enter");
    fsp_html_element(&visit->html, "p", "dim", form->kind->kind->says);
}

/* --- choosing --------------------------------------------------------------------------------- */

static void
choice(struct fsp_visit *visit, const char *place, const char *name, const char *says)
{
    struct fsp_html *html = &visit->html;

    fsp_html_open(html, "li");
    fsp_html_open(html, "a");
    fsp_html_attr(html, "href", place);
    fsp_html_text(html, name);
    fsp_html_close(html);
    fsp_html_text(html, ": ");
    fsp_html_text(html, says);
    fsp_html_close(html);
}

static void
choose_op(struct fsp_visit *visit)
{
    const struct fsp_op *op;
    char place[PLACE_MAX];

    fsp_html_open(&visit->html, "ul");
    for (size_t i = 0; (op = fsp_op_at(i)) != NULL; i++) {
        (void)snprintf(place, sizeof(place), "/enter/work?op=%s", op->name);
        choice(visit, place, op->name, op->says);
    }
    fsp_html_close(&visit->html);
}

void
fsp_station_choose(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    /* What a tour brings comes first. */
    static const char *const often[] = {"work", "tour", "slip", "cut", "check", "inspection"};
    struct fsp_visit visit;

    if (fsp_visit_begin(&visit, ctx, request, answer, FSP_STATION_JOURNAL)) {
        fsp_visit_page(&visit, "Enter", "/enter");
        fsp_html_open(&visit.html, "ul");
        for (size_t i = 0; i < sizeof(often) / sizeof(often[0]); i++) {
            char place[PLACE_MAX];

            (void)snprintf(place, sizeof(place), "/enter/%s", often[i]);
            choice(&visit, place, often[i], fsp_kind_find(often[i])->says);
        }
        fsp_html_close(&visit.html);
        fsp_html_element(&visit.html, "h2", NULL, "Less often");
        fsp_html_open(&visit.html, "ul");
        for (size_t i = 0; i < visit.station->n_kinds; i++) {
            const struct fsp_station_kind *kind = &visit.station->kinds[i];
            bool is_often = strcmp(kind->kind->name, "amend") == 0; /* by its entry */

            for (size_t o = 0; o < sizeof(often) / sizeof(often[0]); o++)
                is_often = is_often || strcmp(often[o], kind->kind->name) == 0;
            if (!is_often)
                choice(&visit, kind->path, kind->kind->name, kind->kind->says);
        }
        fsp_html_close(&visit.html);
        fsp_html_element(&visit.html, "p", "dim",
                "Something entered wrongly is amended from the list of entries.");
        fsp_visit_page_end(&visit);
    }
    fsp_visit_end(&visit);
}

void
fsp_station_form(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct form form = {.kind = NULL};
    struct fsp_visit visit;

    if (fsp_visit_begin(&visit, ctx, request, answer, FSP_STATION_JOURNAL)) {
        const enum fsp_rc rc = form_begin(&visit, &form, &err);

        if (rc == FSP_ENOTFOUND || rc == FSP_EFORMAT) {
            fsp_http_refuse(answer, 404, err.text);
        } else if (rc != FSP_OK) {
            fsp_http_refuse(answer, 503, err.text);
        } else {
            form_title(&visit, &form);
            if (strcmp(form.kind->kind->name, "work") == 0 && form.op == NULL)
                choose_op(&visit);
            else
                form_body(&visit, &form, false, false);
            fsp_visit_page_end(&visit);
        }
    }
    form_end(&form);
    fsp_visit_end(&visit);
}

/* --- sending ---------------------------------------------------------------------------------- */

struct outcome {
    enum fsp_rc rc;
    struct fsp_err err;
    struct fsp_journal_added added;
    struct fsp_shown shown;
    double strength_above; /* a reel's strength above the table, in per cent */
};

/* Two amendments within a minute are two. */
static bool
adds_also(const struct fsp_visit *visit)
{
    return fsp_http_value(visit->request, "also") != NULL ||
           fsp_http_value(visit->request, "amends") != NULL;
}

static void
try_record(struct fsp_visit *visit, struct fsp_record *record, struct outcome *outcome)
{
    const bool also = adds_also(visit);

    fsp_journal_on_new(visit->journal, fsp_shown_fill, &outcome->shown);
    outcome->strength_above = fsp_reel_above(record);
    outcome->rc = fsp_journal_try(visit->journal, record,
            fsp_http_value(visit->request, "once"), also, &outcome->added, &outcome->err);
}

static void
add_record(struct fsp_visit *visit, struct fsp_record *record, struct outcome *outcome)
{
    const bool also = adds_also(visit);

    fsp_buf_reset(&outcome->shown.text);
    fsp_buf_reset(&outcome->shown.notes);
    outcome->rc = fsp_journal_enter(visit->journal, record,
            fsp_http_value(visit->request, "once"), also, &outcome->added, &outcome->err);
}

static bool
has_warning(const struct outcome *outcome)
{
    return outcome->shown.notes.len > 0 || outcome->added.has_twin ||
           outcome->strength_above > 0;
}

static void
warnings(struct fsp_visit *visit, const struct outcome *outcome)
{
    char text[512];

    if (!has_warning(outcome))
        return;
    fsp_html_open(&visit->html, "div");
    fsp_html_attr(&visit->html, "class", "card warn");
    fsp_html_attr(&visit->html, "role", "alert");
    fsp_html_element(&visit->html, "h2", NULL, "Look again");
    if (outcome->shown.notes.len > 0)
        fsp_visit_lines(visit, fsp_buf_peek(&outcome->shown.notes), outcome->shown.notes.len);
    if (outcome->added.has_twin) {
        (void)snprintf(
                text, sizeof(text), "Entry %" PRIu64 " is identical.", outcome->added.twin);
        fsp_html_element(&visit->html, "p", NULL, text);
    }
    if (outcome->strength_above > 0) {
        (void)snprintf(text, sizeof(text),
                "strength: %.1f %% above the table: is it the certificate's minimum breaking "
                "force?",
                outcome->strength_above);
        fsp_html_element(&visit->html, "p", NULL, text);
    }
    fsp_html_close(&visit->html);
}

/* The form again: with what was refused, or with what it would be. */
static void
again(struct fsp_visit *visit, const struct form *form, const struct outcome *outcome)
{
    const bool refused = outcome->rc != FSP_OK;

    form_title(visit, form);
    if (refused) {
        fsp_html_open(&visit->html, "p");
        fsp_html_attr(&visit->html, "class", "state plain refused");
        fsp_html_attr(&visit->html, "role", "alert");
        fsp_html_text(&visit->html, outcome->err.text);
        fsp_html_close(&visit->html);
        fsp_html_element(&visit->html, "p", NULL, "Nothing was added.");
    } else {
        warnings(visit, outcome);
        if (outcome->shown.text.len > 0) {
            fsp_html_element(&visit->html, "h2", NULL, "It comes to");
            fsp_visit_lines(visit, fsp_buf_peek(&outcome->shown.text), outcome->shown.text.len);
        }
        fsp_html_element(&visit->html, "p", NULL, "Nothing was added yet.");
    }
    form_body(visit, form, refused, !refused && has_warning(outcome));
    fsp_visit_page_end(visit);
    visit->answer->status = refused ? 422 : 200;
}

static void
act(struct fsp_visit *visit, const struct form *form, struct outcome *outcome)
{
    const bool only_try = strcmp(fsp_http_value(visit->request, "do"), "try") == 0;
    bool sure = fsp_http_value(visit->request, "sure") != NULL;
    struct fsp_check_context context;
    struct fsp_record *record = NULL;
    char place[PLACE_MAX];

    outcome->rc = fsp_journal_context(visit->journal, &context, &outcome->err);
    if (outcome->rc == FSP_OK)
        outcome->rc = form->amended == NULL
                              ? build(visit, form, &context, &record, &outcome->err)
                              : build_amend(visit, form, &context, &record, &outcome->err);
    if (outcome->rc == FSP_OK)
        try_record(visit, record, outcome);
    sure = sure ||
           outcome->added.known; /* sent before: it is in the log, and stays as it was */
    if (outcome->rc != FSP_OK || only_try || (has_warning(outcome) && !sure)) {
        again(visit, form, outcome);
    } else {
        add_record(visit, record, outcome);
        if (outcome->rc == FSP_OK) {
            (void)snprintf(
                    place, sizeof(place), "/entries?added=%" PRIu64, outcome->added.first);
            fsp_http_see_other(visit->answer, place);
        } else {
            again(visit, form, outcome);
        }
    }
    fsp_record_free(record);
}

void
fsp_station_send(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct outcome outcome = {.rc = FSP_OK};
    struct form form = {.kind = NULL};
    struct fsp_visit visit;

    fsp_buf_init(&outcome.shown.text, SHOWN_MAX);
    fsp_buf_init(&outcome.shown.notes, SHOWN_MAX);
    if (fsp_visit_begin(&visit, ctx, request, answer, FSP_STATION_WRITE)) {
        const char *wish = fsp_http_value(request, "do");
        const enum fsp_rc rc = form_begin(&visit, &form, &outcome.err);

        if (rc != FSP_OK)
            fsp_http_refuse(answer, rc == FSP_ENOTFOUND ? 404 : 503, outcome.err.text);
        else if (wish == NULL || (strcmp(wish, "try") != 0 && strcmp(wish, "add") != 0 &&
                                         (strcmp(wish, "void") != 0 || form.amended == NULL)))
            fsp_http_refuse(answer, 400, "do: expected try or add, or void of an entry");
        else
            act(&visit, &form, &outcome);
    }
    form_end(&form);
    fsp_visit_end(&visit);
    fsp_buf_fini(&outcome.shown.text);
    fsp_buf_fini(&outcome.shown.notes);
}
