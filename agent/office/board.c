#include "office/board.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "office/board_assets.h"
#include "office/board_entry.h"
#include "office/board_history.h"
#include "office/board_priv.h"

#define READING_RETRY_S   2
#define BUSY_RETRY_S      10
#define INSPECTIONS_SHOWN ((size_t)50) /* on a rig's page */
#define PAGE_TYPE         "text/html; charset=utf-8"

struct fsp_board {
    struct fsp_board_about about;
    pthread_mutex_t shelf_mutex;
    struct fsp_shelf *shelf; /* reading; opened again after a failure */
    pthread_mutex_t desk_mutex;
    struct fsp_desk *desk; /* likewise; NULL as long as there is none */
};

/* --- coming in ------------------------------------------------------------------------------- */

/* One request for a page. */
struct visit {
    struct fsp_board *board;
    struct fsp_viewer viewer;
    struct fsp_live_lag lag;
    struct fsp_board_page page;
};

/* False: the answer is made. Else fsp_live_release() is due: leave(). */
static bool
enter(struct visit *visit, struct fsp_board *board, const struct fsp_http_request *request,
        enum fsp_right right, struct fsp_http_answer *answer)
{
    const struct fsp_env *env = board->about.env;

    memset(visit, 0, sizeof(*visit));
    visit->board = board;
    if (board->about.gate == NULL) {
        visit->viewer.open = true;
        if (right != FSP_RIGHT_READ) {
            fsp_http_refuse(answer, 403, "there are no accounts: nobody may do this here");
            return false;
        }
    } else if (!fsp_gate_pass(board->about.gate, request, right, &visit->viewer, answer)) {
        return false;
    }
    visit->page.fleet = fsp_live_hold(board->about.live);
    fsp_live_lag(board->about.live, &visit->lag);
    visit->page.viewer = &visit->viewer;
    visit->page.lag = &visit->lag;
    if (visit->lag.oldest_us != 0)
        visit->page.lag_s = (env->monotonic_us(env->ctx) - visit->lag.oldest_us) / FSP_US_PER_S;
    answer->type = PAGE_TYPE;
    return true;
}

static void
leave(struct visit *visit)
{
    fsp_live_release(visit->board->about.live, visit->page.fleet);
}

/* Who looked at which flag, while a page is written; the desk may not be there. */
static void
take_desk(struct visit *visit)
{
    struct fsp_board *board = visit->board;

    (void)pthread_mutex_lock(&board->desk_mutex);
    if (board->desk == NULL &&
            fsp_desk_open(board->about.store, false, &board->desk, NULL) != FSP_OK)
        board->desk = NULL;
    visit->page.desk = board->desk;
}

static void
give_desk(struct visit *visit)
{
    visit->page.desk = NULL;
    (void)pthread_mutex_unlock(&visit->board->desk_mutex);
}

/* NULL: the answer is made. */
static const struct fsp_fleet_rig *
find_rig(const struct visit *visit, const char *name, struct fsp_http_answer *answer)
{
    const struct fsp_fleet_rig *rig =
            name == NULL ? NULL : fsp_fleet_find(visit->page.fleet, name);

    if (rig != NULL)
        return rig;
    if (name == NULL) {
        fsp_http_refuse(answer, 400, "which rig?");
    } else if (fsp_live_knows(visit->board->about.live, name)) {
        fsp_http_refuse(answer, 503, "this rig's records are still being read; try again");
        answer->retry_after_s = READING_RETRY_S;
    } else {
        fsp_http_refuse(answer, 404, "no such rig in this fleet");
    }
    return NULL;
}

static enum fsp_rc
take_shelf(struct fsp_board *board, struct fsp_err *err)
{
    (void)pthread_mutex_lock(&board->shelf_mutex);
    if (board->shelf != NULL)
        return FSP_OK;
    return fsp_shelf_open(
            board->about.ops, board->about.store, FSP_SHELF_READ, &board->shelf, err);
}

/* Whatever went wrong, the next one opens it anew. */
static void
give_shelf(struct fsp_board *board, enum fsp_rc rc)
{
    if (rc != FSP_OK && rc != FSP_ENOTFOUND) {
        fsp_shelf_close(board->shelf);
        board->shelf = NULL;
    }
    (void)pthread_mutex_unlock(&board->shelf_mutex);
}

static void
refuse_busy(struct fsp_http_answer *answer)
{
    fsp_http_refuse(answer, 503, "the store cannot be read now; try again");
    answer->retry_after_s = BUSY_RETRY_S;
}

/* A count of a checked field; `otherwise` when it is not given. */
static uint64_t
count_of(const struct fsp_http_request *request, const char *name, uint64_t otherwise)
{
    const char *text = fsp_http_value(request, name);

    return text == NULL ? otherwise : strtoull(text, NULL, 10);
}

/* --- pages of the view ----------------------------------------------------------------------- */

static void
handle_fleet(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    const struct fsp_board_fleet_ask ask = {.flag = fsp_http_value(request, "flag"),
            .find = fsp_http_value(request, "find"),
            .page = (size_t)count_of(request, "page", 1)};
    struct visit visit;

    if (!enter(&visit, ctx, request, FSP_RIGHT_READ, answer))
        return;
    visit.page.title = "Fleet";
    visit.page.here = "/";
    take_desk(&visit);
    fsp_board_fleet(&visit.page, &ask, &answer->body);
    give_desk(&visit);
    leave(&visit);
}

static void
handle_early(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct visit visit;

    if (!enter(&visit, ctx, request, FSP_RIGHT_READ, answer))
        return;
    visit.page.title = "Early cuts";
    visit.page.here = "/early";
    take_desk(&visit);
    fsp_board_early(&visit.page, &answer->body);
    give_desk(&visit);
    leave(&visit);
}

static void
handle_life(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_board *board = ctx;
    const struct fsp_board_life_ask ask = {.days = (unsigned)count_of(request, "days", 365),
            .prices = board->about.prices,
            .currency = board->about.currency};
    struct visit visit;

    if (!enter(&visit, board, request, FSP_RIGHT_READ, answer))
        return;
    visit.page.title = "Line life";
    visit.page.here = "/line-life";
    visit.page.plots = true;
    fsp_board_life(&visit.page, &ask, &answer->body);
    leave(&visit);
}

static void
handle_links(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct visit visit;

    if (!enter(&visit, ctx, request, FSP_RIGHT_READ, answer))
        return;
    visit.page.title = "Links";
    visit.page.here = "/links";
    fsp_board_links(&visit.page, &answer->body);
    leave(&visit);
}

/* --- pages that read the store --------------------------------------------------------------- */

static enum fsp_rc
load_history(const struct visit *visit, const struct fsp_fleet_rig *rig, int64_t since_s,
        size_t inspections, struct fsp_history **out)
{
    struct fsp_board *board = visit->board;
    size_t n_keys = 0;
    const struct fsp_vkey *keys = fsp_live_known(board->about.live, &n_keys);
    const struct fsp_history_about about = {.fleet = visit->page.fleet->name,
            .rig = rig->name,
            .keys = keys,
            .n_keys = n_keys,
            .as_of_s = rig->as_of_s,
            .since_s = since_s,
            .inspections = inspections};
    enum fsp_rc rc = take_shelf(board, NULL);

    *out = NULL;
    if (rc == FSP_OK)
        rc = fsp_history_load(board->shelf, &about, out, NULL);
    give_shelf(board, rc);
    return rc;
}

static void
handle_rig(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    const bool whole = fsp_http_value(request, "reach") != NULL;
    const struct fsp_fleet_rig *rig;
    struct fsp_history *history = NULL;
    struct visit visit;
    enum fsp_rc rc;

    if (!enter(&visit, ctx, request, FSP_RIGHT_READ, answer))
        return;
    rig = find_rig(&visit, fsp_http_value(request, "name"), answer);
    if (rig != NULL) {
        rc = load_history(&visit, rig,
                whole ? INT64_MIN : fsp_history_since(rig->ledger, FSP_HISTORY_CUTS),
                INSPECTIONS_SHOWN, &history);
        if (rc != FSP_OK && rc != FSP_ENOTFOUND) {
            refuse_busy(answer);
        } else {
            visit.page.title = rig->name;
            visit.page.plots = true;
            take_desk(&visit);
            fsp_board_rig(&visit.page, rig, history, &answer->body);
            give_desk(&visit);
        }
    }
    fsp_history_free(history);
    leave(&visit);
}

static void
handle_inspections(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_board_inspections_ask ask = {.rig = fsp_http_value(request, "rig"),
            .decision = fsp_http_value(request, "decision"),
            .signature = fsp_http_value(request, "signature"),
            .page = (size_t)count_of(request, "page", 1)};
    const struct fsp_fleet_rig *rig = NULL;
    struct fsp_fleet_rig alone;
    struct fsp_history *history = NULL;
    struct visit visit;
    enum fsp_rc rc = FSP_OK;

    if (!enter(&visit, ctx, request, FSP_RIGHT_READ, answer))
        return;
    (void)fsp_board_day(fsp_http_value(request, "from"), &ask.from_s);
    (void)fsp_board_day(fsp_http_value(request, "to"), &ask.to_s);
    if (ask.rig != NULL) {
        rig = find_rig(&visit, ask.rig, answer);
        if (rig == NULL)
            goto out;
        rc = load_history(&visit, rig, INT64_MAX, FSP_BOARD_INSPECTIONS_MAX, &history);
        alone = *rig;
        if (rc == FSP_OK)
            alone.fold = history->fold;
    }
    if (rc != FSP_OK && rc != FSP_ENOTFOUND) {
        refuse_busy(answer);
        goto out;
    }
    visit.page.title = "Inspections";
    visit.page.here = "/inspections";
    fsp_board_inspections(&visit.page, &ask, rig == NULL ? NULL : &alone, &answer->body);
out:
    fsp_history_free(history);
    leave(&visit);
}

/* NULL: the answer is made. */
static struct fsp_board_entry *
find_entry(const struct visit *visit, const struct fsp_fleet_rig *rig,
        const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    const uint64_t log_index[2] = {count_of(request, "log", 0), count_of(request, "n", 0)};
    struct fsp_board_entry *entry = NULL;
    enum fsp_rc rc = take_shelf(visit->board, NULL);

    if (rc == FSP_OK)
        rc = fsp_board_entry_load(visit->board->shelf, rig, log_index, &entry, NULL);
    give_shelf(visit->board, rc);
    if (rc == FSP_ENOTFOUND)
        fsp_http_refuse(answer, 404, "no such entry in this rig's logs");
    else if (rc != FSP_OK)
        refuse_busy(answer);
    return entry;
}

static void
handle_entry(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    const struct fsp_fleet_rig *rig;
    struct fsp_board_entry *entry = NULL;
    struct visit visit;
    char title[FSP_NAME_MAX + 48];

    if (!enter(&visit, ctx, request, FSP_RIGHT_READ, answer))
        return;
    rig = find_rig(&visit, fsp_http_value(request, "rig"), answer);
    if (rig != NULL)
        entry = find_entry(&visit, rig, request, answer);
    if (entry != NULL) {
        (void)snprintf(title, sizeof(title), "%s: entry %llu", rig->name,
                (unsigned long long)entry->index);
        visit.page.title = title;
        fsp_board_entry(&visit.page, rig, entry, &answer->body);
    }
    fsp_board_entry_free(entry);
    leave(&visit);
}

/* The record's bytes or its proof, as farspool-office prove writes them. */
static void
attach(struct visit *visit, const struct fsp_fleet_rig *rig,
        const struct fsp_board_entry *entry, bool proof, struct fsp_http_answer *answer)
{
    char file[64];
    enum fsp_rc rc = FSP_OK;

    if (proof) {
        rc = take_shelf(visit->board, NULL);
        if (rc == FSP_OK)
            rc = fsp_board_entry_prove(visit->board->shelf, rig, entry, &answer->body, NULL);
        give_shelf(visit->board, rc);
        answer->type = "text/plain; charset=utf-8";
    } else {
        fsp_buf_add(&answer->body, entry->bytes.data, entry->bytes.len);
        answer->type = "application/json";
    }
    if (rc == FSP_ENOTFOUND) {
        fsp_http_refuse(answer, 404, "no receipt covers this entry yet");
        return;
    }
    if (rc != FSP_OK) {
        refuse_busy(answer);
        return;
    }
    (void)snprintf(file, sizeof(file), "%llu.%s", (unsigned long long)entry->index,
            proof ? "tlog-proof" : "record.json");
    fsp_http_attach(answer, file);
}

static void
handle_evidence(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_board *board = ctx;
    const char *file = fsp_http_value(request, "file");
    const bool proof = file != NULL && strcmp(file, "proof") == 0;
    const struct fsp_fleet_rig *rig;
    struct fsp_board_entry *entry = NULL;
    struct visit visit;
    char what[FSP_NAME_MAX + 64];

    if (!enter(&visit, board, request, FSP_RIGHT_EVIDENCE, answer))
        return;
    rig = find_rig(&visit, fsp_http_value(request, "rig"), answer);
    if (rig != NULL)
        entry = find_entry(&visit, rig, request, answer);
    if (entry != NULL) {
        (void)snprintf(what, sizeof(what), "%s, entry %llu of log %lu, %s", rig->name,
                (unsigned long long)entry->index, (unsigned long)entry->log,
                proof ? "proof" : "record");
        if (board->about.gate != NULL && fsp_gate_trail(board->about.gate, &visit.viewer,
                                                 "downloaded evidence", what, NULL) != FSP_OK)
            refuse_busy(answer);
        else
            attach(&visit, rig, entry, proof, answer);
    }
    fsp_board_entry_free(entry);
    leave(&visit);
}

/* --- what the pages are made of -------------------------------------------------------------- */

static void
handle_asset(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    static const struct {
        const char *path;
        const struct fsp_http_asset *asset;
    } files[] = {
            {"/style.css", &fsp_asset_style},
            {"/board.js", &fsp_asset_board},
            {"/farspool.svg", &fsp_asset_picture},
            {"/chart.js", &fsp_asset_chart},
    };

    (void)ctx;
    for (size_t i = 0; i < sizeof(files) / sizeof(files[0]); i++)
        if (strcmp(files[i].path, request->path) == 0)
            fsp_http_serve(answer, files[i].asset);
}

static void
handle_health(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    fsp_buf_add_text(&answer->body, "good\n");
}

/* --- fields and routes ----------------------------------------------------------------------- */

static bool
good_flag(const char *value)
{
    for (int i = 0; i < FSP_FLAG_KINDS; i++)
        if (strcmp(value, fsp_flag_kind_word((enum fsp_flag_kind)i)) == 0)
            return true;
    return false;
}

static bool
good_page(const char *value)
{
    return value[0] != '0';
}

bool
fsp_board_day(const char *text, int64_t *day_s)
{
    char whole[FSP_TIME_TEXT_LEN + 1];

    *day_s = 0;
    if (text == NULL || strlen(text) != 10)
        return false;
    (void)snprintf(whole, sizeof(whole), "%sT00:00:00Z", text);
    return fsp_time_parse(whole, NULL, day_s, NULL) == FSP_OK;
}

static bool
good_day(const char *value)
{
    int64_t day_s;

    return fsp_board_day(value, &day_s);
}

#define PAGE_FIELD                                                                             \
    {                                                                                          \
        .name = "page", .max = 6, .is = FSP_FIELD_COUNT, .good = good_page,                    \
        .wants = "a page, counted from 1"                                                      \
    }
#define RIG_FIELD(n)                                                                           \
    {                                                                                          \
        .name = (n), .max = FSP_NAME_MAX, .is = FSP_FIELD_NAME                                 \
    }
#define DAY_FIELD(n)                                                                           \
    {                                                                                          \
        .name = (n), .max = 10, .is = FSP_FIELD_LINE, .good = good_day,                        \
        .wants = "a day, as 2026-03-01"                                                        \
    }

#define TABLE_ROUTES(n)                                                                        \
    {.method = "GET",                                                                          \
            .path = "/tables/" n ".csv",                                                       \
            .handle = fsp_board_table_download,                                                \
            .fields = of_rig},                                                                 \
    {                                                                                          \
        .method = "GET", .path = "/tables/" n ".json", .handle = fsp_board_table_download,     \
        .fields = of_rig                                                                       \
    }

const struct fsp_http_route *
fsp_board_routes(void)
{
    static const char *const reaches[] = {"whole", NULL};
    static const char *const times[] = {"90", "365", "0", NULL};
    static const char *const kinds[] = {"record", "proof", NULL};
    static const struct fsp_form_field fleet[] = {{.name = "flag",
                                                          .max = 40,
                                                          .is = FSP_FIELD_TOKEN,
                                                          .good = good_flag,
                                                          .wants = "the word of a flag"},
            {.name = "find", .max = FSP_BOARD_FIND_MAX, .is = FSP_FIELD_LINE}, PAGE_FIELD,
            {.name = NULL}};
    static const struct fsp_form_field rig[] = {RIG_FIELD("name"),
            {.name = "reach", .max = 8, .is = FSP_FIELD_WORD, .words = reaches},
            {.name = NULL}};
    static const struct fsp_form_field life[] = {
            {.name = "days", .max = 4, .is = FSP_FIELD_WORD, .words = times}, {.name = NULL}};
    static const struct fsp_form_field inspections[] = {RIG_FIELD("rig"),
            {.name = "decision", .max = 20, .is = FSP_FIELD_WORD, .words = fsp_board_decisions},
            {.name = "signature",
                    .max = 20,
                    .is = FSP_FIELD_WORD,
                    .words = fsp_board_signatures},
            DAY_FIELD("from"), DAY_FIELD("to"), PAGE_FIELD, {.name = NULL}};
    static const struct fsp_form_field entry[] = {RIG_FIELD("rig"),
            {.name = "log", .max = 6, .is = FSP_FIELD_COUNT},
            {.name = "n", .max = 18, .is = FSP_FIELD_COUNT}, {.name = NULL}};
    static const struct fsp_form_field evidence[] = {RIG_FIELD("rig"),
            {.name = "log", .max = 6, .is = FSP_FIELD_COUNT},
            {.name = "n", .max = 18, .is = FSP_FIELD_COUNT},
            {.name = "file", .max = 8, .is = FSP_FIELD_WORD, .words = kinds}, {.name = NULL}};
    static const struct fsp_form_field of_rig[] = {RIG_FIELD("rig"), {.name = NULL}};
    static const struct fsp_http_route routes[] = {
            {.method = "GET", .path = "/", .handle = handle_fleet, .fields = fleet},
            {.method = "GET", .path = "/rig", .handle = handle_rig, .fields = rig},
            {.method = "GET", .path = "/early", .handle = handle_early},
            {.method = "GET", .path = "/line-life", .handle = handle_life, .fields = life},
            {.method = "GET",
                    .path = "/inspections",
                    .handle = handle_inspections,
                    .fields = inspections},
            {.method = "GET", .path = "/links", .handle = handle_links},
            {.method = "GET", .path = "/entry", .handle = handle_entry, .fields = entry},
            {.method = "GET",
                    .path = "/evidence",
                    .handle = handle_evidence,
                    .fields = evidence},
            TABLE_ROUTES("fleet"),
            TABLE_ROUTES("cuts"),
            TABLE_ROUTES("early"),
            TABLE_ROUTES("flags"),
            TABLE_ROUTES("inspections"),
            TABLE_ROUTES("reels"),
            TABLE_ROUTES("links"),
            TABLE_ROUTES("logs"),
            TABLE_ROUTES("instructions"),
            {.method = "GET", .path = "/style.css", .handle = handle_asset},
            {.method = "GET", .path = "/board.js", .handle = handle_asset},
            {.method = "GET", .path = "/chart.js", .handle = handle_asset},
            {.method = "GET", .path = "/farspool.svg", .handle = handle_asset},
            {.method = "GET", .path = "/health", .handle = handle_health},
            {.path = NULL},
    };

    return routes;
}

const struct fsp_board_about *
fsp_board_about_of(const struct fsp_board *board)
{
    return &board->about;
}

/* --- new and free ---------------------------------------------------------------------------- */

enum fsp_rc
fsp_board_new(const struct fsp_board_about *about, struct fsp_board **out, struct fsp_err *err)
{
    struct fsp_board *board = calloc(1, sizeof(*board));
    enum fsp_rc rc = fsp_board_prices(about->prices, err);

    *out = NULL;
    if (rc != FSP_OK) {
        free(board);
        return rc;
    }
    if (board == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    if (pthread_mutex_init(&board->shelf_mutex, NULL) != 0) {
        free(board);
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    if (pthread_mutex_init(&board->desk_mutex, NULL) != 0) {
        (void)pthread_mutex_destroy(&board->shelf_mutex);
        free(board);
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    board->about = *about;
    if (about->currency != NULL && about->currency[0] == '\0')
        board->about.currency = NULL;
    *out = board;
    return FSP_OK;
}

void
fsp_board_free(struct fsp_board *board)
{
    if (board == NULL)
        return;
    fsp_shelf_close(board->shelf);
    fsp_desk_close(board->desk);
    (void)pthread_mutex_destroy(&board->shelf_mutex);
    (void)pthread_mutex_destroy(&board->desk_mutex);
    free(board);
}
