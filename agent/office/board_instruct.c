/*
 * /instruct: what was written to a rig and what came of it; a message or a programme written, reviewed
 * and signed.
 *
 *   GET            the page
 *   POST review    checked by the code of the command; shown word for word as it will be signed, with its
 *                  id and time; nothing is kept
 *   POST confirm   the same fields again, checked again; queued once under that id
 *   POST edit      back to the form, with what was typed
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "office/board_forms_priv.h"
#include "office/instruct.h"
#include "office/keys.h"

#define BASE_LEN      ((size_t)8)   /* bytes; enough to see that something changed */
#define REVIEW_GOOD_S INT64_C(3600) /* what was reviewed longer ago is reviewed again */
#define ID_TEXT_LEN   ((size_t)2 * FSP_INSTRUCTION_ID_LEN)
#define LISTED        ((size_t)100)
#define WHAT_MAX      ((size_t)400) /* of an instruction in the list */
#define COUNT(items)  (sizeof(items) / sizeof((items)[0]))

/* Fields of a programme, as the kind has them. */
static const struct entry {
    const char *name;
    const char *label;
    const char *hint;
    size_t max;
} entries[] = {
        {"cut", "Cut length", "with its unit, as 80ft", 40},
        {"first-goal", "Goal of the first cut of a new line", "as 1600 ton-miles", 40},
        {"later-goal", "Goal of later cuts", "as 1400 ton-miles", 40},
        {"slips", "Slips between two cuts", "a whole number", 10},
        {"per-foot", "Ton-miles for each foot cut", NULL, 20},
        {"credit-above", "Credit for service above 100 %", "on or off", 10},
        {"basis", "Which count feeds the goal", "hand or counted", 10},
        {"approved", "Approved by", NULL, 200},
        {"curve", "Service against design factor",
                "a list in JSON; leave it empty for the built-in", 4000},
        {"limits", "Limits inspections are judged by", "a list in JSON", 4000},
};

/* One request's own. */
struct draft {
    struct fsp_forms *forms;
    const struct fsp_http_request *request;
    struct fsp_viewer viewer;
    const char *rig;
    const char *about; /* NULL: the page was asked for */
    struct fsp_shelf *shelf;
    struct fsp_office_keys keys;
    struct fsp_instruct_now now;
    char base[2 * BASE_LEN + 1]; /* of what the rig has now */
    struct fsp_buf body;
};

static bool
is_program(const struct draft *draft)
{
    return draft->about != NULL && strcmp(draft->about, "program") == 0;
}

/* --- what the rig has now ---------------------------------------------------------------------- */

static void
make_base(struct draft *draft)
{
    const struct fsp_instruct_now *now = &draft->now;
    char text[FSP_ORIGIN_MAX + 128];
    char id[2 * FSP_INSTRUCTION_ID_LEN + 1];
    uint8_t mark[FSP_MARK_LEN];

    fsp_text_hex(id, now->id, sizeof(now->id));
    (void)snprintf(text, sizeof(text), "%s %s %" PRIu64 " %" PRIu64 " %s", draft->rig,
            now->origin, now->index, now->programs, now->written ? id : "");
    fsp_token_mark(text, mark);
    fsp_text_hex(draft->base, mark, BASE_LEN);
}

/* Opened and inside a transaction, which close_draft() ends. */
static enum fsp_rc
open_draft(struct draft *draft, bool write, struct fsp_err *err)
{
    const struct fsp_forms_about *about = &draft->forms->about;
    struct fsp_shelf_stamp stamp;
    enum fsp_rc rc = fsp_shelf_open(about->ops, about->store,
            write ? FSP_SHELF_WRITE : FSP_SHELF_READ, &draft->shelf, err);

    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&draft->keys, about->store, err);
    if (rc == FSP_OK)
        rc = about->ops->begin(draft->shelf->ctx, write, err);
    if (rc == FSP_OK)
        rc = about->ops->stamp(draft->shelf->ctx, draft->rig, &stamp, err);
    if (rc == FSP_OK)
        rc = fsp_instruct_now(draft->shelf, draft->rig, &draft->now, err);
    if (rc == FSP_OK)
        make_base(draft);
    return rc;
}

static void
close_draft(struct draft *draft)
{
    if (draft->shelf != NULL)
        draft->shelf->ops->rollback(draft->shelf->ctx);
    fsp_shelf_close(draft->shelf);
    draft->shelf = NULL;
    fsp_office_keys_fini(&draft->keys);
    fsp_instruct_now_fini(&draft->now);
    fsp_buf_fini(&draft->body);
}

/* A field of the programme in the rig's log, as text; "" when it has none. */
static void
field_now(const struct fsp_instruct_now *now, const char *name, struct fsp_buf *out)
{
    const char *text = now->program == NULL ? NULL : fsp_record_text(now->program, name);
    int64_t number = 0;

    fsp_buf_reset(out);
    if (text != NULL)
        fsp_buf_add_text(out, text);
    else if (now->program != NULL && fsp_record_int(now->program, name, &number))
        fsp_buf_printf(out, "%" PRId64, number);
}

/* --- the page ---------------------------------------------------------------------------------- */

static void
begin_form(struct fsp_html *html, const struct draft *draft, const char *about)
{
    fsp_html_form(html, "/instruct", draft->viewer.form_token);
    fsp_html_hidden(html, "rig", draft->rig);
    fsp_html_hidden(html, "about", about);
    fsp_html_hidden(html, "base", draft->base);
}

static void
message_form(struct fsp_html *html, const struct draft *draft)
{
    const struct fsp_html_control text = {.name = "text",
            .label = "Message for the crew",
            .value = draft->about != NULL ? fsp_http_value(draft->request, "text") : NULL,
            .hint = "plain lines, at most 4,000 bytes",
            .autocomplete = "off",
            .max = FSP_MESSAGE_MAX,
            .needed = true};

    fsp_board_section(html, "message", "Write a message");
    begin_form(html, draft, "message");
    fsp_html_textarea(html, &text, 6);
    fsp_html_button(html, "Review the message", "step", "review");
    fsp_html_close(html);
}

static void
program_form(struct fsp_html *html, const struct draft *draft)
{
    struct fsp_buf value;

    fsp_buf_init(&value, FSP_ENTRY_MAX);
    fsp_board_section(html, "programme", "Change the programme");
    fsp_board_para(html, "%s",
            draft->now.program != NULL ? "The fields begin as the rig's newest programme has "
                                         "them. What is left empty "
                                         "is not in the new one."
                                       : "This rig has no programme yet.");
    begin_form(html, draft, "program");
    for (size_t i = 0; i < COUNT(entries); i++) {
        struct fsp_html_control control = {.name = entries[i].name,
                .label = entries[i].label,
                .hint = entries[i].hint,
                .autocomplete = "off",
                .max = entries[i].max,
                .needed = i < 3};

        if (is_program(draft)) {
            control.value = fsp_http_value(draft->request, entries[i].name);
        } else if (strcmp(entries[i].name, "approved") == 0) {
            control.value = draft->viewer.name;
        } else {
            field_now(&draft->now, entries[i].name, &value);
            control.value = fsp_buf_peek(&value);
        }
        fsp_html_input(html, &control);
    }
    fsp_html_button(html, "Review the programme", "step", "review");
    fsp_html_close(html);
    fsp_buf_fini(&value);
}

/* What changed since the form was opened, beside what was typed. */
static void
changed_table(struct fsp_html *html, const struct draft *draft)
{
    static const struct fsp_board_column columns[] = {
            {"Field", NULL}, {"In the rig's log now", NULL}, {"As you typed it", NULL}};
    struct fsp_board_table table = {.cards = true};
    char id[2 * FSP_INSTRUCTION_ID_LEN + 1];
    struct fsp_buf value;

    fsp_buf_init(&value, FSP_ENTRY_MAX);
    fsp_board_table_begin(
            &table, html, "What is there now, and what you typed", columns, COUNT(columns));
    for (size_t i = 0; i < COUNT(entries); i++) {
        field_now(&draft->now, entries[i].name, &value);
        fsp_board_row(&table);
        fsp_board_cell(&table, entries[i].label);
        fsp_board_cell(&table, fsp_buf_peek(&value));
        fsp_board_cell(&table, fsp_http_value(draft->request, entries[i].name));
        fsp_board_row_end(&table);
    }
    fsp_board_table_end(&table);
    if (draft->now.written) {
        fsp_text_hex(id, draft->now.id, sizeof(draft->now.id));
        fsp_board_para(html,
                "The newest programme that was written to this rig is instruction %s; it "
                "stands "
                "in the list below.",
                id);
    }
    fsp_buf_fini(&value);
}

static void
state_cell(struct fsp_board_table *table, const struct fsp_instruct_item *item)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 2048);
    fsp_buf_add_text(&text, fsp_instruct_state_text(item->state));
    if (item->state == FSP_INSTRUCT_IN_LOG)
        fsp_buf_printf(&text, ", entry %" PRIu64, item->index);
    if (item->state == FSP_INSTRUCT_ANSWERED)
        fsp_buf_printf(&text, " by %s entry %" PRIu64 "%s%s",
                item->by_program ? "program" : "done", item->by_index,
                item->answer != NULL ? ": " : "", item->answer != NULL ? item->answer : "");
    if (item->lost)
        fsp_buf_add_text(&text, "; lost here, known from the rig's log");
    fsp_board_cell(table, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

static enum fsp_rc
list_table(struct fsp_html *html, struct draft *draft, struct fsp_err *err)
{
    static const struct fsp_board_column columns[] = {
            {"Made", "t"}, {"About", NULL}, {"Says", NULL}, {"State", NULL}, {"Id", NULL}};
    struct fsp_board_table table = {.cards = true};
    struct fsp_instruct_list list = {.n = 0};
    char id[2 * FSP_INSTRUCTION_ID_LEN + 1];
    char what[WHAT_MAX + 1];
    enum fsp_rc rc = fsp_instruct_list(draft->shelf, &draft->keys, draft->rig, &list, err);

    if (rc != FSP_OK)
        return rc;
    fsp_board_section(html, "written", "What was written to this rig");
    fsp_board_table_begin(
            &table, html, "Instructions, the newest first", columns, COUNT(columns));
    for (size_t i = list.n, shown = 0; i > 0 && shown < LISTED; i--, shown++) {
        const struct fsp_instruct_item *item = &list.items[i - 1];
        const bool words = item->about == FSP_ABOUT_MESSAGE || item->about == FSP_ABOUT_PROGRAM;

        (void)snprintf(what, sizeof(what), "%s", words ? item->body : "");
        for (char *c = what; *c != '\0'; c++)
            *c = (char)(*c == '\n' ? ' ' : *c);
        fsp_text_hex(id, item->id, sizeof(item->id));
        fsp_board_row(&table);
        fsp_board_cell_time(&table, item->made_s, NULL);
        fsp_board_cell(&table, fsp_instruction_about_text(item->about));
        fsp_board_cell(&table, what);
        state_cell(&table, item);
        fsp_board_cell(&table, id);
        fsp_board_row_end(&table);
    }
    fsp_board_table_end(&table);
    if (list.n > LISTED)
        fsp_board_para(html, "The newest %zu of %zu; all: farspool-office instruct %s.", LISTED,
                list.n, draft->rig);
    fsp_instruct_list_free(&list);
    return FSP_OK;
}

/* Which programme was in force at each cut; the cuts are the newest view's. */
static void
cuts_table(struct fsp_html *html, const struct draft *draft)
{
    static const struct fsp_board_column columns[] = {
            {"Cut", "t"}, {"Programme", NULL}, {"Goal", NULL}, {"Cut length, ft", "n"}};
    struct fsp_live *live = draft->forms->about.live;
    const struct fsp_fleet *fleet = fsp_live_hold(live);
    const struct fsp_fleet_rig *rig = fsp_fleet_find(fleet, draft->rig);
    struct fsp_board_table table = {.cards = true};
    char href[FSP_BOARD_LINK_MAX];
    char text[40];

    fsp_board_section(html, "at-cuts", "The programme in force at each cut");
    fsp_board_table_begin(&table, html, "Cuts, the newest first", columns, COUNT(columns));
    for (size_t i = rig == NULL ? 0 : rig->n_cuts; i > 0; i--) {
        const struct fsp_cut_row *cut = rig->cuts[i - 1];

        fsp_board_row(&table);
        fsp_board_cell_time(&table, cut->at_s, NULL);
        if (cut->has_program) {
            fsp_board_entry_href(rig->name, cut->program_log, cut->program_index, href);
            (void)snprintf(text, sizeof(text), "entry %" PRIu64, cut->program_index);
            fsp_board_cell_link(&table, text, href);
        } else {
            fsp_board_cell(&table, NULL);
        }
        fsp_board_cell(&table, cut->goal_kind);
        fsp_board_cell_number(
                &table, cut->programme_m > 0.0, cut->programme_m / FSP_FT_M, 1, NULL);
        fsp_board_row_end(&table);
    }
    fsp_board_table_end(&table);
    fsp_live_release(live, fleet);
}

/* --- showing ----------------------------------------------------------------------------------- */

static void
refuse_busy(struct fsp_http_answer *answer)
{
    fsp_http_refuse(
            answer, 503, "the store cannot be read or written now; nothing was changed");
    answer->retry_after_s = 5;
}

/* The page with its forms; fault NULL: nothing is wrong. */
static void
show(struct draft *draft, const char *fault, bool stale, struct fsp_http_answer *answer)
{
    const char *sent = draft->about == NULL ? fsp_http_value(draft->request, "sent") : NULL;
    char title[FSP_NAME_MAX + 32];
    char text[160];
    struct fsp_err err = {0};
    struct fsp_html html;
    enum fsp_rc rc;

    (void)snprintf(title, sizeof(title), "Instructions for %.63s", draft->rig);
    fsp_forms_begin(answer, &html, &draft->viewer, title, NULL);
    if (sent != NULL) {
        (void)snprintf(text, sizeof(text),
                "Instruction %.16s is signed and waits for %.63s; it goes behind the next "
                "receipt.",
                sent, draft->rig);
        fsp_forms_told(&html, text);
    }
    if (fault != NULL)
        fsp_gate_page_fault(&html, fault);
    if (stale)
        changed_table(&html, draft);
    if (!draft->viewer.open && fsp_role_may(draft->viewer.role, FSP_RIGHT_INSTRUCT)) {
        message_form(&html, draft);
        program_form(&html, draft);
    }
    rc = list_table(&html, draft, &err);
    cuts_table(&html, draft);
    fsp_forms_end(&html);
    if (rc != FSP_OK)
        refuse_busy(answer);
}

static void
keep_typed(struct fsp_html *html, const struct draft *draft)
{
    const char *value;

    if (!is_program(draft)) {
        value = fsp_http_value(draft->request, "text");
        fsp_html_hidden_lines(html, "text", value);
        return;
    }
    for (size_t i = 0; i < COUNT(entries); i++) {
        value = fsp_http_value(draft->request, entries[i].name);
        if (value != NULL)
            fsp_html_hidden(html, entries[i].name, value);
    }
}

/* What will be signed, word for word, under this id and time. */
static void
show_review(const struct draft *draft, const struct fsp_instruction *instruction,
        struct fsp_http_answer *answer)
{
    char id[2 * FSP_INSTRUCTION_ID_LEN + 1];
    char made[24];
    struct fsp_html html;
    struct fsp_buf text;
    const char *line;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_instruction_write(instruction, &text);
    fsp_text_hex(id, instruction->id, sizeof(instruction->id));
    (void)snprintf(made, sizeof(made), "%" PRId64, instruction->made_s);
    fsp_forms_begin(answer, &html, &draft->viewer, "Review before signing", NULL);
    fsp_html_open(&html, "p");
    fsp_html_text(&html, "This is signed with the office's instructions key and sent to ");
    fsp_html_element(&html, "strong", NULL, draft->rig);
    fsp_html_text(&html, ", word for word. It cannot be taken back.");
    fsp_html_close(&html);
    fsp_html_open(&html, "pre");
    fsp_html_attr(&html, "class", "signed");
    fsp_html_attr(&html, "tabindex", "0");
    for (line = fsp_buf_peek(&text); *line != '\0';) {
        const size_t len = strcspn(line, "\n");

        fsp_html_text_n(&html, line, len);
        fsp_html_line(&html);
        line += len + (line[len] == '\n');
    }
    fsp_html_close(&html);
    begin_form(&html, draft, draft->about);
    fsp_html_hidden(&html, "id", id);
    fsp_html_hidden(&html, "made", made);
    keep_typed(&html, draft);
    fsp_html_button(&html, "Sign and send", "step", "confirm");
    fsp_html_button(&html, "Change it", "step", "edit");
    fsp_html_close(&html);
    fsp_forms_end(&html);
    if (text.rc != FSP_OK)
        answer->body.rc = text.rc;
    fsp_buf_fini(&text);
}

/* --- writing ----------------------------------------------------------------------------------- */

static enum fsp_rc
make_body(struct draft *draft, struct fsp_err *err)
{
    struct fsp_typed members[COUNT(entries)];
    const char *text = fsp_http_value(draft->request, "text");
    size_t n = 0;

    fsp_buf_reset(&draft->body);
    if (!is_program(draft))
        return fsp_instruct_message(text != NULL ? text : "", &draft->body, err);
    for (size_t i = 0; i < COUNT(entries); i++) {
        const char *value = fsp_http_value(draft->request, entries[i].name);

        if (value != NULL)
            members[n++] = (struct fsp_typed){entries[i].name, value};
    }
    return fsp_instruct_program(
            members, n, fsp_gate_now_s(draft->forms->about.gate), &draft->body, err);
}

static void
review(struct draft *draft, struct fsp_http_answer *answer)
{
    const struct fsp_env *env = draft->forms->about.env;
    struct fsp_instruction instruction = {
            .about = is_program(draft) ? FSP_ABOUT_PROGRAM : FSP_ABOUT_MESSAGE,
            .made_s = fsp_gate_now_s(draft->forms->about.gate)};
    struct fsp_err err = {0};
    enum fsp_rc rc = make_body(draft, &err);

    if (rc != FSP_OK) {
        show(draft, err.text, false, answer);
        answer->status = 400;
        return;
    }
    rc = draft->shelf->ops->fleet(draft->shelf->ctx, instruction.fleet, &err);
    if (rc != FSP_OK) {
        refuse_busy(answer);
        return;
    }
    (void)snprintf(instruction.rig, sizeof(instruction.rig), "%s", draft->rig);
    env->random(env->ctx, instruction.id, sizeof(instruction.id));
    instruction.body = fsp_buf_peek(&draft->body);
    instruction.body_len = draft->body.len;
    show_review(draft, &instruction, answer);
}

/* The trail's line, then the instruction, all inside the shelf's transaction. */
static enum fsp_rc
queue(struct draft *draft, const struct fsp_instruct *what, bool again, struct fsp_err *err)
{
    const struct fsp_forms_about *about = &draft->forms->about;
    char hex[2 * FSP_INSTRUCTION_ID_LEN + 1];
    char line[FSP_NAME_MAX + 64];
    enum fsp_rc rc = FSP_OK;

    fsp_text_hex(hex, what->id, FSP_INSTRUCTION_ID_LEN);
    (void)snprintf(line, sizeof(line), "%s: %s %s", draft->rig, draft->about, hex);
    if (!again)
        rc = fsp_gate_trail(about->gate, &draft->viewer, "instructed", line, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_instruct_queue(draft->shelf, &draft->keys, about->env, what, NULL, err);
    if (rc == FSP_OK)
        rc = about->ops->commit(draft->shelf->ctx, err);
    if (rc != FSP_OK && !again &&
            fsp_gate_trail(about->gate, &draft->viewer, "not instructed", line, NULL) != FSP_OK)
        rc = FSP_EIO; /* the trail then has one line too many, and the list does not */
    return rc;
}

static void
confirm(struct draft *draft, struct fsp_http_answer *answer)
{
    const char *base = fsp_http_value(draft->request, "base");
    const char *hex = fsp_http_value(draft->request, "id");
    const char *made = fsp_http_value(draft->request, "made");
    const int64_t now_s = fsp_gate_now_s(draft->forms->about.gate);
    uint8_t id[FSP_INSTRUCTION_ID_LEN];
    struct fsp_instruct what = {.rig = draft->rig,
            .about = is_program(draft) ? FSP_ABOUT_PROGRAM : FSP_ABOUT_MESSAGE,
            .id = id};
    struct fsp_shelf_instruction sent;
    struct fsp_err err = {0};
    struct fsp_buf store;
    uint64_t made_s = 0;
    char place[FSP_HTTP_LOCATION_MAX];
    bool again;
    enum fsp_rc rc;

    if (base == NULL || hex == NULL || made == NULL ||
            fsp_text_unhex(id, sizeof(id), hex) != FSP_OK ||
            fsp_text_u64(made, strlen(made), &made_s) != FSP_OK || made_s > INT64_MAX) {
        fsp_http_refuse(answer, 400, "base, id and made are needed; use the page");
        return;
    }
    what.made_s = (int64_t)made_s;
    fsp_buf_init(&store, FSP_NOTE_MAX);
    again = draft->shelf->ops->find_instruction(draft->shelf->ctx, id, &sent, &store, &err) ==
            FSP_OK;
    fsp_buf_fini(&store);
    if (!again && is_program(draft) && strcmp(base, draft->base) != 0) {
        show(draft,
                "The programme of this rig was changed since you opened the form, so nothing "
                "was "
                "signed. Look at what is there now; what you typed stands below.",
                true, answer);
        answer->status = 409;
        return;
    }
    if (!again && (what.made_s > now_s || now_s - what.made_s > REVIEW_GOOD_S)) {
        review(draft, answer); /* a new time and id, shown before they are signed */
        return;
    }
    rc = make_body(draft, &err);
    what.body = fsp_buf_peek(&draft->body);
    what.body_len = draft->body.len;
    if (rc == FSP_OK)
        rc = queue(draft, &what, again, &err);
    if (rc == FSP_EINVAL) {
        show(draft, err.text, false, answer);
        answer->status = 400;
    } else if (rc != FSP_OK) {
        refuse_busy(answer);
    } else {
        (void)snprintf(place, sizeof(place), "/instruct?rig=%s&sent=%.16s", draft->rig, hex);
        fsp_http_see_other(answer, place);
    }
}

/* --- routes ------------------------------------------------------------------------------------ */

static void
refuse_open(enum fsp_rc rc, struct fsp_http_answer *answer)
{
    if (rc == FSP_ENOTFOUND)
        fsp_http_refuse(answer, 404, "no such rig in this fleet");
    else
        refuse_busy(answer);
}

static void
handle_page(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct draft draft = {
            .forms = ctx, .request = request, .rig = fsp_http_value(request, "rig")};
    struct fsp_err err = {0};
    enum fsp_rc rc;

    if (!fsp_gate_pass(draft.forms->about.gate, request, FSP_RIGHT_READ, &draft.viewer, answer))
        return;
    if (draft.rig == NULL) {
        fsp_http_refuse(answer, 404, "no such rig in this fleet");
        return;
    }
    fsp_buf_init(&draft.body, FSP_NOTE_MAX);
    rc = open_draft(&draft, false, &err);
    if (rc == FSP_OK)
        show(&draft, NULL, false, answer);
    else
        refuse_open(rc, answer);
    close_draft(&draft);
}

static void
handle_step(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    const char *step = fsp_http_value(request, "step");
    struct draft draft = {.forms = ctx,
            .request = request,
            .rig = fsp_http_value(request, "rig"),
            .about = fsp_http_value(request, "about")};
    struct fsp_err err = {0};
    bool good;
    bool confirms;
    enum fsp_rc rc;

    if (!fsp_gate_look(
                draft.forms->about.gate, request, FSP_RIGHT_INSTRUCT, &draft.viewer, answer))
        return;
    if (draft.rig == NULL || draft.about == NULL || step == NULL) {
        fsp_http_refuse(answer, 400, "rig, about and step are needed; use the page");
        return;
    }
    good = fsp_gate_form_good(request, &draft.viewer);
    confirms = good && strcmp(step, "confirm") == 0;
    fsp_buf_init(&draft.body, FSP_NOTE_MAX);
    rc = open_draft(&draft, confirms, &err);
    if (rc != FSP_OK) {
        refuse_open(rc, answer);
    } else if (!good) {
        show(&draft,
                "This form was not of your session, so nothing was signed. What was typed "
                "stands "
                "below: look at it and send it from here.",
                false, answer);
        answer->status = 403;
    } else if (confirms) {
        confirm(&draft, answer);
    } else if (strcmp(step, "edit") == 0) {
        show(&draft, NULL, false, answer);
    } else {
        review(&draft, answer);
    }
    close_draft(&draft);
}

const struct fsp_http_route *
fsp_board_instruct_routes(void)
{
    static const char *const abouts[] = {"message", "program", NULL};
    static const char *const steps[] = {"review", "confirm", "edit", NULL};
    static const struct fsp_form_field page_fields[] = {
            {.name = "rig", .max = FSP_NAME_MAX, .is = FSP_FIELD_NAME},
            {.name = "sent", .max = ID_TEXT_LEN, .is = FSP_FIELD_TOKEN},
            {.name = NULL},
    };
    /* those of `entries` too: asking for one that is not here is caught (assert) */
    static const struct fsp_form_field step_fields[] = {
            FSP_GATE_FIELD,
            {.name = "rig", .max = FSP_NAME_MAX, .is = FSP_FIELD_NAME},
            {.name = "about", .max = 10, .is = FSP_FIELD_WORD, .words = abouts},
            {.name = "step", .max = 10, .is = FSP_FIELD_WORD, .words = steps},
            {.name = "base", .max = 2 * BASE_LEN, .is = FSP_FIELD_TOKEN},
            {.name = "id", .max = ID_TEXT_LEN, .is = FSP_FIELD_TOKEN},
            {.name = "made", .max = 20, .is = FSP_FIELD_COUNT},
            {.name = "text", .max = FSP_MESSAGE_MAX, .is = FSP_FIELD_TEXT},
            {.name = "cut", .max = 40},
            {.name = "first-goal", .max = 40},
            {.name = "later-goal", .max = 40},
            {.name = "slips", .max = 10},
            {.name = "per-foot", .max = 20},
            {.name = "credit-above", .max = 10},
            {.name = "basis", .max = 10},
            {.name = "approved", .max = 200},
            {.name = "curve", .max = 4000},
            {.name = "limits", .max = 4000},
            {.name = NULL},
    };
    static const struct fsp_http_route routes[] = {
            {.method = "GET",
                    .path = "/instruct",
                    .handle = handle_page,
                    .fields = page_fields},
            {.method = "POST",
                    .path = "/instruct",
                    .body_max = FSP_FORMS_BODY_MAX,
                    .handle = handle_step,
                    .fields = step_fields},
            {.path = NULL},
    };

    return routes;
}
