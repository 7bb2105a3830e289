/* The jobs ahead: will the line make them, and how much can be pulled; and the string-up drawn. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "line/forecast.h"
#include "line/hoist.h"
#include "line/nextcut.h"
#include "line/say.h"
#include "record/check.h"
#include "record/quantity.h"
#include "rig/drawing.h"
#include "rig/station_priv.h"

#define JOBS       4
#define JOB_FIELDS 3 /* of each: depth, from, to */
#define QUERY_MAX  40
#define TEXT_MAX   ((size_t)32768)

#define JOB(n)                                                                                 \
    {.name = "op" n, .max = QUERY_MAX, .is = FSP_FIELD_LINE},                                  \
            {.name = "depth" n, .max = QUERY_MAX, .is = FSP_FIELD_LINE},                       \
            {.name = "from" n, .max = QUERY_MAX, .is = FSP_FIELD_LINE},                        \
    {                                                                                          \
        .name = "to" n, .max = QUERY_MAX, .is = FSP_FIELD_LINE                                 \
    }

const struct fsp_form_field fsp_station_ahead_fields[] = {
        JOB("1"),
        JOB("2"),
        JOB("3"),
        JOB("4"),
        {.name = "pull", .max = QUERY_MAX, .is = FSP_FIELD_LINE},
        {.name = NULL},
};

static const char *const job_fields[JOB_FIELDS] = {"depth", "from", "to"};

static const char *
asked(const struct fsp_visit *visit, const char *name, int n)
{
    char field[16];

    (void)snprintf(field, sizeof(field), "%s%d", name, n);
    return fsp_http_value(visit->request, field);
}

/* --- the forms -------------------------------------------------------------------------------- */

static const char *
value_or_empty(const char *value)
{
    return value == NULL ? "" : value;
}

static void
job_row(struct fsp_visit *visit, int n)
{
    struct fsp_html_choice ops[32] = {{.value = "", .text = "none"}};
    struct fsp_html_control control = {.name = NULL};
    const struct fsp_op *op;
    char name[16];
    char label[48];
    size_t n_ops = 1;

    for (size_t i = 0; (op = fsp_op_at(i)) != NULL && n_ops < sizeof(ops) / sizeof(ops[0]); i++)
        ops[n_ops++] = (struct fsp_html_choice){.value = op->name, .text = op->name};
    fsp_html_open(&visit->html, "fieldset");
    (void)snprintf(label, sizeof(label), "Job %d", n);
    fsp_html_element(&visit->html, "legend", NULL, label);
    (void)snprintf(name, sizeof(name), "op%d", n);
    control = (struct fsp_html_control){
            .name = name, .label = "Operation", .value = value_or_empty(asked(visit, "op", n))};
    fsp_html_select(&visit->html, &control, ops, n_ops);
    for (int i = 0; i < JOB_FIELDS; i++) {
        (void)snprintf(name, sizeof(name), "%s%d", job_fields[i], n);
        (void)snprintf(label, sizeof(label), "%s, with its unit", job_fields[i]);
        label[0] = (char)(label[0] - 'a' + 'A');
        control = (struct fsp_html_control){.name = name,
                .label = label,
                .value = value_or_empty(asked(visit, job_fields[i], n)),
                .autocomplete = "off",
                .max = QUERY_MAX};
        fsp_html_input(&visit->html, &control);
    }
    fsp_html_close(&visit->html);
}

static void
forms(struct fsp_visit *visit)
{
    const struct fsp_html_control pull = {.name = "pull",
            .label = "Planned pull: hook load, block included, with its unit",
            .value = value_or_empty(fsp_http_value(visit->request, "pull")),
            .autocomplete = "off",
            .max = QUERY_MAX};

    fsp_html_element(&visit->html, "h2", NULL, "Ask again");
    fsp_html_search(&visit->html, "/ahead");
    for (int n = 1; n <= JOBS; n++)
        job_row(visit, n);
    fsp_html_input(&visit->html, &pull);
    fsp_html_button(&visit->html, "Will it make it?", NULL, NULL);
    fsp_html_close(&visit->html);
}

/* --- the answers ------------------------------------------------------------------------------ */

static enum fsp_rc
read_job(const struct fsp_visit *visit, int n, const struct fsp_check_context *context,
        struct fsp_record **out, struct fsp_err *err)
{
    struct fsp_typed typed[3 + JOB_FIELDS];
    char at[FSP_TIME_TEXT_LEN + 1];
    size_t n_typed = 3;

    fsp_time_text(context->present_s, at);
    typed[0] = (struct fsp_typed){"at", at};
    typed[1] = (struct fsp_typed){"by", "plan"};
    typed[2] = (struct fsp_typed){"op", asked(visit, "op", n)};
    for (int i = 0; i < JOB_FIELDS; i++)
        if (asked(visit, job_fields[i], n) != NULL)
            typed[n_typed++] =
                    (struct fsp_typed){job_fields[i], asked(visit, job_fields[i], n)};
    if (fsp_check_typed("work", typed, n_typed, context, out, err) == FSP_OK)
        return FSP_OK;
    return fsp_err_wrap(err, err->rc, "job %d", n);
}

static void
answer_jobs(struct fsp_visit *visit)
{
    struct fsp_record *jobs[JOBS] = {NULL};
    const struct fsp_record *peek[JOBS];
    struct fsp_job_row rows[JOBS];
    struct fsp_plan plan;
    struct fsp_check_context context;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf text;
    size_t n = 0;
    enum fsp_rc rc = fsp_journal_context(visit->journal, &context, &err);

    for (int i = 1; rc == FSP_OK && i <= JOBS; i++) {
        if (asked(visit, "op", i) == NULL)
            continue;
        rc = read_job(visit, i, &context, &jobs[n], &err);
        if (rc == FSP_OK)
            peek[n] = jobs[n];
        n++;
    }
    if (rc == FSP_OK && n > 0)
        rc = fsp_forecast_jobs(visit->ledger, peek, n, rows, &plan, &err);
    if (rc != FSP_OK) {
        fsp_html_element(&visit->html, "p", "state plain refused", err.text);
    } else if (n > 0) {
        fsp_html_element(&visit->html, "p", plan.will_make_it ? "state good" : "state warn",
                plan.will_make_it ? "It will make it" : "It will not make it without a cut");
        fsp_buf_init(&text, TEXT_MAX);
        fsp_forecast_jobs_text(&plan, rows, n, &text);
        fsp_visit_lines(visit, fsp_buf_peek(&text), text.len);
        fsp_buf_fini(&text);
    }
    for (size_t i = 0; i < n; i++)
        fsp_record_free(jobs[i]);
}

/* The factor of a pull with the string-up as it is: loads and factors are in inverse proportion. */
static void
answer_pull(struct fsp_visit *visit)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(visit->ledger);
    const char *typed = fsp_http_value(visit->request, "pull");
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf text;
    double pull_n = 0;
    double factor;

    if (typed == NULL)
        return;
    if (fsp_quantity_parse(typed, FSP_DIM_LOAD, &pull_n, NULL, &err) != FSP_OK ||
            !(pull_n > 0)) {
        fsp_html_element(&visit->html, "p", "state plain refused",
                err.text[0] != '\0' ? err.text : "pull: must be above zero");
        return;
    }
    if (view->findings > 0 || !(view->load_at_3_n > 0)) {
        fsp_html_element(&visit->html, "p", "state plain",
                view->findings > 0
                        ? "No number for the pull: a finding is open"
                        : "No number for the pull: the line's strength, its lines or "
                          "the bearings are not known");
        return;
    }
    factor = FSP_FACTOR_DRILLING * view->load_at_3_n / pull_n;
    fsp_buf_init(&text, 512);
    fsp_buf_add_text(&text, "Pull of ");
    fsp_say_load(&text, pull_n, fsp_visit_units(visit));
    fsp_buf_add_text(&text, ": design factor on the fast line ");
    fsp_say_number(&text, factor, 2);
    if (factor < FSP_FACTOR_RARE)
        fsp_buf_add_text(&text, ", below 2: not with this line");
    else if (factor < FSP_FACTOR_DRILLING)
        fsp_buf_add_text(&text, ", below 3: for casing and stuck pipe only, the toolpusher "
                                "decides, the floor is "
                                "cleared, the line is inspected after");
    fsp_html_element(&visit->html, "p",
            factor < FSP_FACTOR_RARE       ? "state stop"
            : factor < FSP_FACTOR_DRILLING ? "state warn"
                                           : "state good",
            fsp_buf_peek(&text));
    fsp_html_element(&visit->html, "p", NULL,
            "By the line alone: the rig's ratings and the pipe may come first.");
    fsp_buf_fini(&text);
}

void
fsp_station_ahead(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_visit visit;

    if (fsp_visit_begin(&visit, ctx, request, answer, FSP_STATION_ACCOUNT)) {
        fsp_visit_page(&visit, "Jobs ahead", "/ahead");
        answer_jobs(&visit);
        answer_pull(&visit);
        forms(&visit);
        fsp_visit_page_end(&visit);
    }
    fsp_visit_end(&visit);
}

/* --- the string-up ---------------------------------------------------------------------------- */

static void
needs(struct fsp_visit *visit, const struct fsp_next_cut *next)
{
    fsp_html_element(&visit->html, "p", NULL,
            "To draw it the record of the rig needs more. Enter these particulars:");
    fsp_html_open(&visit->html, "ul");
    for (size_t i = 0; i < next->n_needs; i++)
        fsp_html_element(&visit->html, "li", NULL, next->needs[i]);
    fsp_html_close(&visit->html);
    if (next->why_not[0] != '\0')
        fsp_html_element(&visit->html, "p", NULL, next->why_not);
}

static void
draw(struct fsp_visit *visit, const struct fsp_geometry *geometry,
        const struct fsp_next_cut *next)
{
    const enum fsp_units units = fsp_visit_units(visit);

    fsp_drawing_string_up(&visit->html, geometry, units);
    if (next->n == 0)
        return;
    fsp_html_element(&visit->html, "h2", NULL, "Where the line wears");
    fsp_drawing_points(&visit->html, geometry, &next->list[0], units);
    fsp_html_open(&visit->html, "div");
    fsp_html_attr(&visit->html, "class", "scroll");
    fsp_html_attr(&visit->html, "tabindex", "0");
    fsp_html_attr(&visit->html, "role", "region");
    fsp_html_attr(&visit->html, "aria-label", "Places along the line");
    fsp_drawing_table(&visit->html, geometry, &next->list[0], units);
    fsp_html_close(&visit->html);
}

void
fsp_station_drawing(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_next_cut *next = fsp_mem_array(1, sizeof(*next));
    struct fsp_geometry geometry;
    struct fsp_visit visit;
    struct fsp_buf assumed;

    fsp_buf_init(&assumed, TEXT_MAX);
    if (next == NULL)
        fsp_http_refuse(answer, 503, "out of memory");
    else if (fsp_visit_begin(&visit, ctx, request, answer, FSP_STATION_ACCOUNT)) {
        fsp_visit_page(&visit, "String-up", "/drawing");
        fsp_ledger_next_cut(visit.ledger, next, &assumed);
        fsp_buf_reset(&assumed);
        if (fsp_ledger_geometry(visit.ledger, &geometry, &assumed))
            draw(&visit, &geometry, next);
        else
            needs(&visit, next);
        if (assumed.len > 0) {
            fsp_html_element(&visit.html, "h2", NULL, "Taken for what was not given");
            fsp_visit_lines(&visit, fsp_buf_peek(&assumed), assumed.len);
        }
        fsp_visit_page_end(&visit);
    }
    if (next != NULL)
        fsp_visit_end(&visit);
    fsp_buf_fini(&assumed);
    free(next);
}
