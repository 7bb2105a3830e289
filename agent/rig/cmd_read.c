#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/limits.h"
#include "base/mem.h"
#include "base/text.h"
#include "line/forecast.h"
#include "proof/tree.h"
#include "record/check.h"
#include "record/record.h"
#include "rig/account.h"
#include "rig/cmd.h"
#include "rig/reckon.h"
#include "rig/verify.h"
#include "store/logtable.h"

#define JOB_FIELDS_MAX 24

/* Every command here: check the words, run, print or fail. */
static int
finish(struct fsp_buf *out, enum fsp_rc rc, const struct fsp_err *err)
{
    if (rc != FSP_OK) {
        fsp_buf_fini(out);
        return fsp_cmd_fail(err, rc);
    }
    return fsp_cmd_out(out, 0);
}

/* ---- line -------------------------------------------------------------------------------- */

struct view {
    const struct fsp_journal_about *about;
    struct fsp_journal_progress progress;
    struct fsp_linkstate link;
    struct fsp_budget budget;
    int64_t as_of_s;
    int64_t now_s;
    enum fsp_journal_state state;
    const char *state_why;
    struct fsp_buf words; /* instructions that wait, as they are shown */
};

/* Jobs asked about with --job. */
struct plan {
    struct fsp_record *jobs[FSP_JOBS_MAX];
    struct fsp_job_row rows[FSP_JOBS_MAX];
    struct fsp_plan plan;
    size_t n;
};

/* Seconds the oldest record the office lacks has waited; 0 when none waits. */
static int64_t
waited(const struct view *view)
{
    int64_t age_s = 0;

    if (view->progress.has_oldest)
        age_s = view->now_s - view->progress.oldest_noted_s;
    return age_s < 0 ? 0 : age_s;
}

static void
line_json(const struct view *view, const struct fsp_account *account, const struct plan *plan,
        struct fsp_buf *out)
{
    const struct fsp_journal_progress *progress = &view->progress;

    fsp_buf_add_text(out, "{\"as_of\":");
    fsp_cmd_json_time(out, true, view->as_of_s);
    if (account != NULL) {
        fsp_buf_add_byte(out, ',');
        fsp_account_signed_json(account, out);
    }
    fsp_buf_add_text(out, ",\"fleet\":");
    fsp_cmd_json_text(out, view->about->fleet);
    fsp_buf_add_text(out, ",\"instructions\":");
    fsp_buf_add_text(out, view->words.len > 0 ? fsp_buf_peek(&view->words) : "[]");
    fsp_buf_add_text(out, ",\"last_receipt\":");
    fsp_cmd_json_time(out, progress->receipted, progress->receipt_time_s);
    fsp_buf_add_text(out, ",\"ledger\":");
    if (account == NULL)
        fsp_buf_add_text(out, "null");
    else
        fsp_ledger_json(fsp_account_ledger(account), out);
    fsp_buf_add_text(out, ",\"link\":");
    fsp_cmd_link_json(&view->link, &view->budget, out);
    fsp_buf_printf(out, ",\"oldest_unreceipted_s\":%" PRId64 ",\"origin\":", waited(view));
    fsp_cmd_json_text(out, view->about->origin);
    fsp_buf_printf(
            out, ",\"pending\":%" PRIu64, progress->size - progress->held + progress->older);
    if (plan != NULL && plan->n > 0) {
        fsp_buf_add_text(out, ",\"plan\":");
        fsp_forecast_jobs_json(&plan->plan, plan->rows, plan->n, out);
    }
    fsp_buf_printf(out, ",\"receipted\":%" PRIu64 ",\"rig\":", progress->held);
    fsp_cmd_json_text(out, view->about->rig);
    fsp_buf_printf(out, ",\"size\":%" PRIu64 ",\"state\":\"%s\",\"went_back\":%s}\n",
            progress->size, fsp_journal_state_text(view->state),
            progress->went_back ? "true" : "false");
}

/* ---- will it make it? ---- */

/* "op=round-trip depth=9500ft" as members in place; time and name are the plan's own. */
static enum fsp_rc
split_job(char *words, struct fsp_typed *typed, size_t *n, struct fsp_err *err)
{
    while (*words != '\0') {
        char *word = words + strspn(words, " ");
        char *equal;

        words = word + strcspn(word, " ");
        if (*words != '\0')
            *words++ = '\0';
        if (*word == '\0')
            break;
        equal = strchr(word, '=');
        if (equal == NULL || equal == word || *n == JOB_FIELDS_MAX)
            return fsp_err_set(err, FSP_EINVAL,
                    "'%.60s': expected field=value, for example \"op=round-trip depth=9500ft\"",
                    word);
        *equal = '\0';
        typed[*n].name = word;
        typed[(*n)++].value = equal + 1;
    }
    return FSP_OK;
}

static enum fsp_rc
read_job(const char *text, const struct fsp_check_context *context, struct fsp_record **out,
        struct fsp_err *err)
{
    struct fsp_typed typed[JOB_FIELDS_MAX];
    char at[FSP_TIME_TEXT_LEN + 1];
    char *words = fsp_mem_text(text, strlen(text));
    size_t n = 2;
    enum fsp_rc rc;

    if (words == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fsp_time_text(context->present_s, at);
    typed[0] = (struct fsp_typed){"at", at};
    typed[1] = (struct fsp_typed){"by", "plan"};
    rc = split_job(words, typed, &n, err);
    if (rc == FSP_OK)
        rc = fsp_check_typed("work", typed, n, context, out, err);
    free(words);
    return rc;
}

static enum fsp_rc
read_jobs(struct fsp_args *args, struct fsp_journal *journal, struct plan *plan,
        struct fsp_err *err)
{
    struct fsp_check_context context;
    enum fsp_rc rc = fsp_journal_context(journal, &context, err);
    const char *text;

    while (rc == FSP_OK && (text = fsp_args_nth(args, "job", plan->n)) != NULL) {
        if (plan->n == FSP_JOBS_MAX)
            return fsp_err_set(err, FSP_EINVAL, "--job: more than %d", FSP_JOBS_MAX);
        rc = read_job(text, &context, &plan->jobs[plan->n], err);
        if (rc != FSP_OK)
            return fsp_err_wrap(err, rc, "--job %zu", plan->n + 1);
        plan->n++;
    }
    return rc;
}

/* The jobs tried on the account; a plan without jobs stays empty. */
static enum fsp_rc
make_plan(struct fsp_args *args, struct fsp_journal *journal, const struct fsp_ledger *ledger,
        struct plan *plan, struct fsp_err *err)
{
    const struct fsp_record *jobs[FSP_JOBS_MAX];
    enum fsp_rc rc = read_jobs(args, journal, plan, err);
    size_t i;

    if (rc != FSP_OK || plan->n == 0)
        return rc;
    for (i = 0; i < plan->n; i++)
        jobs[i] = plan->jobs[i];
    return fsp_forecast_jobs(ledger, jobs, plan->n, plan->rows, &plan->plan, err);
}

static void
free_plan(struct plan *plan)
{
    for (size_t i = 0; i < plan->n; i++)
        fsp_record_free(plan->jobs[i]);
    free(plan);
}

/* The account first; whose it is and what the office holds after it. */
static void
line_text(const struct view *view, const struct fsp_account *account, const struct plan *plan,
        struct fsp_buf *out)
{
    const struct fsp_journal_progress *progress = &view->progress;
    char time[FSP_TIME_TEXT_LEN + 1];

    if (plan->n > 0) {
        fsp_forecast_jobs_text(&plan->plan, plan->rows, plan->n, out);
        fsp_buf_add_byte(out, '\n');
    }
    fsp_ledger_text(fsp_account_ledger(account), out);
    fsp_account_signed_text(account, out);
    fsp_buf_add(out, view->words.data, view->words.len);
    fsp_time_text(view->as_of_s, time);
    fsp_buf_printf(out, "rig %s of %s, as of %s\nrecords: %" PRIu64 ", office holds %" PRIu64,
            view->about->rig, view->about->fleet, time, progress->size, progress->held);
    if (progress->has_oldest)
        fsp_buf_printf(out, ", oldest waits %.1f h", (double)waited(view) / 3600.0);
    if (progress->receipted) {
        fsp_time_text(progress->receipt_time_s, time);
        fsp_buf_printf(out, ", last receipt %s", time);
    }
    fsp_buf_add_byte(out, '\n');
    if (progress->went_back)
        fsp_buf_add_text(out, "office went back: it held less than it had receipted\n");
    fsp_linkstate_text(&view->link, &view->budget, view->now_s, out);
}

static enum fsp_rc
read_view(struct fsp_args *args, struct fsp_journal *journal, struct view *view,
        struct fsp_err *err)
{
    const char *as_of = fsp_args_get(args, "as-of");
    struct fsp_check_context context;
    enum fsp_rc rc = fsp_journal_context(journal, &context, err);

    view->about = fsp_journal_about(journal);
    view->state = fsp_journal_state(journal);
    view->state_why = fsp_journal_state_why(journal);
    view->now_s = fsp_env_system()->utc_us(fsp_env_system()->ctx) / FSP_US_PER_S;
    view->as_of_s = context.present_s;
    if (rc == FSP_OK && as_of != NULL &&
            fsp_time_parse(as_of, context.zone_minutes, &view->as_of_s, err) != FSP_OK) {
        (void)fsp_err_wrap(err, FSP_EINVAL, "--as-of");
        return FSP_EINVAL;
    }
    if (rc == FSP_OK)
        rc = fsp_journal_progress(journal, &view->progress, err);
    if (rc == FSP_OK)
        rc = fsp_linkstate_read(journal, &view->link, err);
    fsp_cmd_budget(args, &view->budget);
    return rc;
}

/* History incomplete: no count, exit 2. */
static enum fsp_rc
line_incomplete(const struct view *view, bool json, struct fsp_buf *out, struct fsp_err *err)
{
    if (json)
        line_json(view, NULL, NULL, out);
    else
        fsp_buf_printf(out,
                "rig %s of %s: history incomplete; no count is given\n"
                "until it is whole again: count by hand, on the safe side; use no number from "
                "before; keep the day sheets (files in the inbox wait)\n"
                "then: a hand-back of the office, and farspool-rig renew (docs/keys.md)\n",
                view->about->rig, view->about->fleet);
    return fsp_err_set(err, FSP_EFORK,
            "history incomplete: %s; ask the office for a hand-back, then: farspool-rig renew",
            view->state_why);
}

int
fsp_cmd_line(struct fsp_args *args)
{
    bool json = fsp_args_has(args, "json");
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_journal *journal = NULL;
    struct fsp_account *account = NULL;
    struct view view = {.about = NULL};
    struct plan *plan = fsp_mem_array(1, sizeof(*plan));
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);
    int status;

    if (plan == NULL)
        return fsp_cmd_fail(&err, fsp_err_set(&err, FSP_ENOMEM, "out of memory"));

    fsp_buf_init(&out, FSP_OUT_MAX);
    fsp_buf_init(&view.words, FSP_OUT_MAX);
    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_READ, &journal, &err);
    if (rc == FSP_OK)
        rc = read_view(args, journal, &view, &err);
    if (rc == FSP_OK && view.state != FSP_JOURNAL_SOUND)
        rc = line_incomplete(&view, json, &out, &err);
    else if (rc == FSP_OK)
        rc = fsp_account_new(journal, view.as_of_s, &account, &err);
    if (rc == FSP_OK && account != NULL)
        rc = json ? fsp_cmd_words_json(journal, &view.words, &err)
                  : fsp_cmd_words_text(journal, &view.words, &err);
    if (rc == FSP_OK && account != NULL)
        rc = make_plan(args, journal, fsp_account_ledger(account), plan, &err);
    if (rc == FSP_OK && account != NULL && json)
        line_json(&view, account, plan, &out);
    else if (rc == FSP_OK && account != NULL)
        line_text(&view, account, plan, &out);
    free_plan(plan);
    fsp_buf_fini(&view.words);
    fsp_account_free(account);
    fsp_journal_close(journal);
    status = fsp_cmd_out(&out, 0);
    return rc == FSP_OK ? status : fsp_cmd_fail(&err, rc);
}

/* ---- print ------------------------------------------------------------------------------- */

struct printer {
    struct fsp_buf *out;
    bool json;
};

static enum fsp_rc
print_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    const struct printer *printer = ctx;
    struct fsp_record *record = NULL;
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_buf *out = printer->out;

    if (!printer->json) {
        fsp_buf_add(out, bytes, len);
        fsp_buf_add_byte(out, '\n');
        return fsp_buf_check(out, "the output", err);
    }
    fsp_leaf_hash(bytes, len, leaf);
    fsp_buf_printf(
            out, "%s{\"index\":%" PRIu64 ",\"leaf\":\"", out->len > 1 ? ",\n" : "", index);
    fsp_base64(out, leaf, sizeof(leaf));
    if (fsp_record_parse(bytes, len, &record, NULL) == FSP_OK) {
        fsp_buf_add_text(out, "\",\"record\":");
        fsp_buf_add(out, bytes, len);
    } else {
        fsp_buf_add_text(out, "\",\"unreadable\":\"");
        fsp_base64(out, bytes, len);
        fsp_buf_add_byte(out, '"');
    }
    fsp_record_free(record);
    fsp_buf_add_byte(out, '}');
    return fsp_buf_check(out, "the output", err);
}

static enum fsp_rc
number(const char *word, uint64_t *out, struct fsp_err *err)
{
    if (fsp_text_u64(word, strlen(word), out) == FSP_OK)
        return FSP_OK;
    return fsp_err_set(err, FSP_EINVAL, "'%.40s': expected an entry's number", word);
}

static enum fsp_rc
print(struct fsp_args *args, struct fsp_journal *journal, struct fsp_buf *out,
        struct fsp_err *err)
{
    struct printer printer = {.out = out, .json = fsp_args_has(args, "json")};
    const char *first = fsp_args_rest(args, 0);
    const char *last = fsp_args_rest(args, 1);
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_journal_log log;
    uint64_t from = 0;
    uint64_t to;
    enum fsp_rc rc = fsp_cmd_log(args, journal, &log, err);

    if (rc == FSP_OK && first != NULL)
        rc = number(first, &from, err);
    to = log.size;
    if (rc == FSP_OK && last != NULL) {
        rc = number(last, &to, err);
        if (rc == FSP_OK && (to < from || to >= log.size))
            return fsp_err_set(err, FSP_EINVAL,
                    "no entries %s to %s; this log has %" PRIu64 " (0 is the first)", first,
                    last, log.size);
        to++;
    }
    if (rc == FSP_OK && first != NULL && from >= log.size)
        return fsp_err_set(err, FSP_EINVAL,
                "no entry %s; this log has %" PRIu64 " (0 is the first)", first, log.size);
    if (rc != FSP_OK)
        return rc;
    if (printer.json)
        fsp_buf_add_byte(out, '[');
    rc = fsp_logtable_scan(db, log.id, from, to, print_entry, &printer, err);
    if (printer.json)
        fsp_buf_add_text(out, "]\n");
    return rc;
}

int
fsp_cmd_print(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_journal *journal = NULL;
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 2, &err);

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_READ, &journal, &err);
    if (rc == FSP_OK)
        rc = print(args, journal, &out, &err);
    fsp_journal_close(journal);
    return finish(&out, rc, &err);
}

/* ---- check ------------------------------------------------------------------------------- */

/* Problems as text lines or as items of a JSON list. */
struct problems {
    struct fsp_buf text;
    struct fsp_buf json;
    struct fsp_fold_checked states; /* what is kept of earlier folds */
    size_t waiting;                 /* instructions for the crew */
};

static void
keep_problem(void *ctx, const char *problem)
{
    struct problems *problems = ctx;

    fsp_buf_add_text(&problems->text, "problem: ");
    fsp_text_show(&problems->text, problem, strlen(problem));
    fsp_buf_add_byte(&problems->text, '\n');
    if (problems->json.len > 0)
        fsp_buf_add_byte(&problems->json, ',');
    fsp_cmd_json_text(&problems->json, problem);
}

static void
report_check(struct fsp_journal *journal, const struct fsp_verify_report *report,
        const struct fsp_journal_progress *progress, const struct problems *problems,
        struct fsp_buf *out)
{
    const struct fsp_journal_about *about = fsp_journal_about(journal);

    fsp_buf_add_text(out, "{\"fleet\":");
    fsp_cmd_json_text(out, about->fleet);
    fsp_buf_printf(out,
            ",\"closed_logs\":%" PRIu64 ",\"heads\":%" PRIu64
            ",\"instructions_waiting\":%zu,\"origin\":",
            report->closed, report->heads, problems->waiting);
    fsp_cmd_json_text(out, about->origin);
    fsp_buf_printf(out, ",\"pending\":%" PRIu64 ",\"problems\":[%s],\"receipted\":%" PRIu64,
            progress->size - progress->held + progress->older, fsp_buf_peek(&problems->json),
            progress->held);
    fsp_buf_printf(out, ",\"receipts\":%" PRIu64 ",\"rig\":", report->receipts);
    fsp_cmd_json_text(out, about->rig);
    fsp_buf_add_text(out, ",\"root\":\"");
    fsp_base64(out, report->root, sizeof(report->root));
    fsp_buf_printf(out,
            "\",\"size\":%" PRIu64 ",\"state\":\"%s\",\"stored_states\":%zu,"
            "\"stored_states_damaged\":%zu,\"unreadable\":%" PRIu64 "}\n",
            report->size, fsp_journal_state_text(fsp_journal_state(journal)),
            problems->states.states, problems->states.damaged, report->unreadable);
}

static void
say_check(struct fsp_journal *journal, const struct fsp_verify_report *report,
        const struct fsp_journal_progress *progress, const struct problems *problems,
        struct fsp_buf *out)
{
    const struct fsp_journal_about *about = fsp_journal_about(journal);

    if (report->closed > 0)
        fsp_buf_printf(out, "%" PRIu64 " closed log%s before this one\n", report->closed,
                fsp_cmd_plural(report->closed));
    fsp_buf_printf(out, "log %s\nsize %" PRIu64 "\nroot ", about->origin, report->size);
    fsp_base64(out, report->root, sizeof(report->root));
    fsp_buf_printf(out, "\nheads %" PRIu64 ", receipts %" PRIu64 ", office holds %" PRIu64 "\n",
            report->heads, report->receipts, progress->held);
    if (report->unreadable > 0)
        fsp_buf_printf(out,
                "%" PRIu64 " entries cannot be read by this version (kept as they "
                "are)\n",
                report->unreadable);
    if (problems->states.damaged > 0)
        fsp_buf_printf(out, "%zu stored states of the account were damaged and thrown away\n",
                problems->states.damaged);
    if (problems->waiting > 0)
        fsp_buf_printf(out,
                "%zu instruction%s of the office wait%s for an answer; see: "
                "farspool-rig line\n",
                problems->waiting, fsp_cmd_plural(problems->waiting),
                problems->waiting == 1 ? "s" : "");
    fsp_buf_add(out, problems->text.data, problems->text.len);
    fsp_buf_add_text(out, report->problems == 0 ? "good\n" : "NOT GOOD\n");
}

/* What is kept of earlier folds against a fold of every entry; only of a log that is whole. */
static enum fsp_rc
check_states(struct fsp_journal *journal, struct fsp_verify_report *report,
        struct problems *problems, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    if (report->problems == 0)
        rc = fsp_account_check(journal, &problems->states, err);
    if (rc == FSP_OK && problems->states.differ > 0) {
        report->problems++;
        keep_problem(problems,
                "a stored state of the account gave another result than all entries do; it was "
                "thrown away, look at the account again");
    }
    return rc;
}

static enum fsp_rc
check(struct fsp_args *args, struct fsp_journal *journal, struct fsp_buf *out,
        struct fsp_err *err)
{
    struct fsp_journal_progress progress = {.size = 0};
    struct fsp_verify_report report = {.say = keep_problem};
    struct problems problems = {.states = {.states = 0}};
    enum fsp_rc rc;

    fsp_buf_init(&problems.text, FSP_OUT_MAX);
    fsp_buf_init(&problems.json, FSP_OUT_MAX);
    report.ctx = &problems;
    rc = fsp_verify(journal, &report, err);
    if (rc == FSP_OK)
        rc = check_states(journal, &report, &problems, err);
    if (rc == FSP_OK && report.problems == 0)
        rc = fsp_cmd_words_count(journal, &problems.waiting, err);
    if (rc == FSP_OK)
        rc = fsp_journal_progress(journal, &progress, err);
    if (rc == FSP_OK && fsp_args_has(args, "json"))
        report_check(journal, &report, &progress, &problems, out);
    else if (rc == FSP_OK)
        say_check(journal, &report, &progress, &problems, out);
    if (rc == FSP_OK && report.problems > 0)
        rc = fsp_err_set(err, FSP_EVERIFY,
                "%s: %" PRIu64
                " problem%s; keep a copy of the folder, change nothing, tell the "
                "office",
                fsp_journal_folder(journal), report.problems, fsp_cmd_plural(report.problems));
    fsp_buf_fini(&problems.json);
    fsp_buf_fini(&problems.text);
    return rc;
}

int
fsp_cmd_check(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_journal *journal = NULL;
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);
    int status;

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_READ, &journal, &err);
    if (rc == FSP_OK)
        rc = check(args, journal, &out, &err);
    fsp_journal_close(journal);
    status = fsp_cmd_out(&out, 0);
    return rc == FSP_OK ? status : fsp_cmd_fail(&err, rc);
}

/* ---- reckon ------------------------------------------------------------------------------ */

int
fsp_cmd_reckon(struct fsp_args *args)
{
    struct fsp_cmd_typed typed = {.items = NULL};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, SIZE_MAX, &err);

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK)
        rc = fsp_cmd_typed(args, 1, &typed, &err);
    if (rc == FSP_OK)
        rc = fsp_reckon_run(fsp_args_rest(args, 0), typed.items, typed.n,
                fsp_args_has(args, "json"), &out, &err);
    fsp_cmd_typed_free(&typed);
    return finish(&out, rc, &err);
}
