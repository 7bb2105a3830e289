/* Tables to download: /tables/NAME.csv and .json, the same bytes as the commands write. */
#include <stdio.h>
#include <string.h>

#include "office/board_history.h"
#include "office/board_priv.h"
#include "office/tables.h"

#define PREFIX        "/tables/"
#define NAME_MAX_     32
#define READING_AGAIN 2 /* s */
#define BUSY_AGAIN    10

/* What one download needs, besides the view. */
struct download {
    const struct fsp_board_about *about;
    const struct fsp_tables_def *def;
    enum fsp_table_form form;
    struct fsp_tables_from from;
    struct fsp_fleet_rig alone; /* the rig with all its inspections */
    struct fsp_history *history;
    struct fsp_office_keys keys; /* the public halves of those of instructions */
};

/* Of the routes below, so it is well formed. */
static void
which_table(struct download *it, const char *path)
{
    const char *name = path + sizeof(PREFIX) - 1;
    const char *dot = strchr(name, '.');
    char text[NAME_MAX_] = "";

    for (size_t i = 0; i < sizeof(text) - 1 && name + i < dot; i++)
        text[i] = name[i];
    it->form = strcmp(dot, ".csv") == 0 ? FSP_TABLE_CSV : FSP_TABLE_JSON;
    if (fsp_tables_find(text, &it->def, NULL) != FSP_OK)
        it->def = NULL;
}

static bool
find_rig(struct download *it, const char *name, struct fsp_http_answer *answer)
{
    if (name == NULL && it->def->of_one) {
        fsp_http_refuse(answer, 400,
                "this table is read from a rig's logs: say which rig, ?rig=NAME; "
                "farspool-office fleet --table gives it of all");
        return false;
    }
    if (name == NULL)
        return true;
    it->from.rig = fsp_fleet_find(it->from.fleet, name);
    if (it->from.rig != NULL)
        return true;
    if (fsp_live_knows(it->about->live, name)) {
        fsp_http_refuse(answer, 503, "this rig's records are still being read; try again");
        answer->retry_after_s = READING_AGAIN;
    } else {
        fsp_http_refuse(answer, 404, "no such rig in this fleet");
    }
    return false;
}

/* The view holds the newest inspections only; the table has them all. */
static enum fsp_rc
load_inspections(struct download *it, struct fsp_err *err)
{
    size_t n_keys = 0;
    const struct fsp_vkey *keys = fsp_live_known(it->about->live, &n_keys);
    const struct fsp_history_about about = {.fleet = it->from.fleet->name,
            .rig = it->from.rig->name,
            .keys = keys,
            .n_keys = n_keys,
            .as_of_s = it->from.rig->as_of_s,
            .since_s = INT64_MAX,
            .inspections = SIZE_MAX};
    enum fsp_rc rc = fsp_history_load(it->from.shelf, &about, &it->history, err);

    it->alone = *it->from.rig;
    if (rc == FSP_OK) {
        it->alone.fold = it->history->fold;
        it->from.rig = &it->alone;
    }
    return rc == FSP_ENOTFOUND ? FSP_OK : rc; /* the rig has no log */
}

static enum fsp_rc
load(struct download *it, struct fsp_err *err)
{
    size_t n = 0;
    const struct fsp_vkey *keys = fsp_live_known(it->about->live, &n);
    enum fsp_rc rc = fsp_desk_open(it->about->store, false, &it->from.desk, err);

    if (rc == FSP_ENOTFOUND)
        rc = FSP_OK; /* nobody looked at anything yet */
    if (rc == FSP_OK && it->def->of_one)
        rc = fsp_shelf_open(
                it->about->ops, it->about->store, FSP_SHELF_READ, &it->from.shelf, err);
    for (size_t i = 0; i < n && i < sizeof(it->keys.instructions_ever) /
                                                sizeof(it->keys.instructions_ever[0]);
            i++)
        it->keys.instructions_ever[it->keys.n_instructions_ever++] = keys[i];
    it->from.keys = &it->keys;
    if (rc == FSP_OK && it->def->inspections)
        rc = load_inspections(it, err);
    return rc;
}

static void
write_table(struct download *it, struct fsp_http_answer *answer)
{
    enum fsp_rc rc = load(it, NULL);
    char file[NAME_MAX_ + FSP_NAME_MAX + 16];

    if (rc == FSP_OK)
        rc = fsp_tables_write(it->def, it->form, &it->from, &answer->body, NULL);
    if (rc == FSP_OK)
        rc = answer->body.rc;
    if (rc == FSP_OK) {
        answer->type = it->form == FSP_TABLE_CSV ? "text/csv; charset=utf-8; header=present"
                                                 : "application/json";
        (void)snprintf(file, sizeof(file), "%s%s%s.%s",
                it->from.rig == NULL ? "" : it->from.rig->name, it->from.rig == NULL ? "" : "-",
                it->def->name, it->form == FSP_TABLE_CSV ? "csv" : "json");
        fsp_http_attach(answer, file);
        return;
    }
    fsp_buf_reset(&answer->body);
    if (rc == FSP_ELIMIT) {
        fsp_http_refuse(answer, 400,
                "more than 16 MiB: ask for one rig, ?rig=NAME, or use farspool-office fleet "
                "--table");
        return;
    }
    fsp_http_refuse(answer, 503, "the store cannot be read now; try again");
    answer->retry_after_s = BUSY_AGAIN;
}

void
fsp_board_table_download(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct download it = {.about = fsp_board_about_of(ctx)};
    struct fsp_viewer viewer;

    if (it.about->gate != NULL &&
            !fsp_gate_pass(it.about->gate, request, FSP_RIGHT_READ, &viewer, answer))
        return;
    which_table(&it, request->path);
    if (it.def == NULL) {
        fsp_http_refuse(answer, 404, "no such table");
        return;
    }
    it.from.fleet = fsp_live_hold(it.about->live);
    if (it.from.fleet->waiting > 0 && fsp_http_value(request, "rig") == NULL) {
        fsp_http_refuse(answer, 503, "the rigs' records are still being read; try again");
        answer->retry_after_s = READING_AGAIN;
    } else if (find_rig(&it, fsp_http_value(request, "rig"), answer)) {
        write_table(&it, answer);
    }
    fsp_history_free(it.history);
    fsp_shelf_close(it.from.shelf);
    fsp_desk_close(it.from.desk);
    fsp_live_release(it.about->live, it.from.fleet);
}
