/* The reading commands: fleet, rig, early. */
#include <string.h>

#include "office/cmd.h"
#include "office/desk.h"
#include "office/keys.h"
#include "office/show.h"
#include "office/tables.h"

#define INSPECTIONS_SHOWN ((size_t)20) /* as text; programs get all */

struct reading {
    struct fsp_office_keys keys;
    struct fsp_shelf *shelf;
    struct fsp_fleet *fleet;
    struct fsp_buf out;
    const char *store;
    const struct fsp_tables_def *table; /* --table; NULL: the command's own answer */
    bool json;
    bool csv;
};

static enum fsp_rc
wanted(struct fsp_args *args, struct reading *reading, struct fsp_err *err)
{
    const char *name = fsp_args_get(args, "table");

    reading->json = fsp_args_has(args, "json");
    reading->csv = fsp_args_has(args, "csv");
    if (reading->json && reading->csv)
        return fsp_err_set(err, FSP_EINVAL, "--json and --csv: give one of them");
    if (name != NULL && fsp_tables_find(name, &reading->table, err) != FSP_OK)
        return fsp_err_wrap(err, FSP_EINVAL, "--table");
    return FSP_OK;
}

/* Who looked at which flag; nobody while there is no desk. */
static enum fsp_rc
look_up_seen(struct reading *reading, struct fsp_err *err)
{
    struct fsp_desk *desk = NULL;
    enum fsp_rc rc = fsp_desk_open(reading->store, false, &desk, err);

    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        return FSP_OK;
    }
    if (rc == FSP_OK)
        rc = fsp_fleet_seen(reading->fleet, desk, err);
    fsp_desk_close(desk);
    return rc;
}

static enum fsp_rc
begin(struct fsp_args *args, size_t words, struct reading *reading, struct fsp_err *err)
{
    const char *as_of = fsp_args_get(args, "as-of");
    struct fsp_fleet_about about = {.as_of_s = fsp_cmd_now_s(args)};
    enum fsp_rc rc;

    memset(reading, 0, sizeof(*reading));
    fsp_buf_init(&reading->out, FSP_OFFICE_OUTPUT);
    rc = wanted(args, reading, err);
    if (rc == FSP_OK)
        rc = fsp_args_rest_within(args, words, words, err);
    if (rc == FSP_OK && as_of != NULL) {
        rc = fsp_time_parse(as_of, NULL, &about.as_of_s, err);
        if (rc != FSP_OK)
            return fsp_err_wrap(err, FSP_EINVAL, "--as-of");
    }
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &reading->store, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_READ, &reading->shelf, err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&reading->keys, reading->store, err);
    if (rc != FSP_OK)
        return rc;
    about.keys = reading->keys.instructions_ever;
    about.n_keys = reading->keys.n_instructions_ever;
    about.rig = words > 0 ? fsp_args_rest(args, 0) : NULL;
    if (words > 0 || (reading->table != NULL && reading->table->inspections))
        about.inspections = reading->json || reading->csv ? SIZE_MAX : INSPECTIONS_SHOWN;
    rc = fsp_fleet_load(reading->shelf, &about, &reading->fleet, err);
    return rc == FSP_OK ? look_up_seen(reading, err) : rc;
}

/* --table: the table alone, of the rig or of all. */
static enum fsp_rc
write_table(struct reading *reading, const struct fsp_fleet_rig *rig, struct fsp_err *err)
{
    struct fsp_tables_from from = {.fleet = reading->fleet,
            .rig = rig,
            .shelf = reading->shelf,
            .keys = &reading->keys};
    enum fsp_table_form form = FSP_TABLE_TEXT;
    enum fsp_rc rc;

    if (reading->json || reading->csv)
        form = reading->json ? FSP_TABLE_JSON : FSP_TABLE_CSV;
    rc = fsp_desk_open(reading->store, false, &from.desk, err);
    if (rc == FSP_OK || rc == FSP_ENOTFOUND)
        rc = fsp_tables_write(reading->table, form, &from, &reading->out, err);
    if (from.desk != NULL)
        fsp_desk_close(from.desk);
    return rc;
}

static int
end(struct reading *reading, enum fsp_rc rc, const struct fsp_err *err)
{
    int status = rc == FSP_OK ? fsp_cmd_print(&reading->out) : fsp_cmd_fail(rc, err);

    fsp_fleet_free(reading->fleet);
    fsp_shelf_close(reading->shelf);
    fsp_office_keys_fini(&reading->keys);
    fsp_buf_fini(&reading->out);
    return status;
}

int
fsp_cmd_fleet(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct reading reading;
    enum fsp_rc rc = begin(args, 0, &reading, &err);

    if (rc == FSP_OK && reading.table != NULL)
        rc = write_table(&reading, NULL, &err);
    else if (rc == FSP_OK && reading.json)
        fsp_show_fleet_json(reading.fleet, &reading.out);
    else if (rc == FSP_OK && reading.csv)
        fsp_show_fleet_csv(reading.fleet, &reading.out);
    else if (rc == FSP_OK)
        fsp_show_fleet(reading.fleet, &reading.out);
    return end(&reading, rc, &err);
}

int
fsp_cmd_rig(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct reading reading;
    const struct fsp_fleet_rig *rig = NULL;
    enum fsp_rc rc = begin(args, 1, &reading, &err);

    if (rc == FSP_OK) {
        rig = fsp_fleet_find(reading.fleet, fsp_args_rest(args, 0));
        if (rig == NULL)
            rc = fsp_err_set(&err, FSP_ENOTFOUND,
                    "%s: no such rig in this fleet; farspool-office fleet lists them",
                    fsp_args_rest(args, 0));
    }
    if (rc == FSP_OK && reading.table == NULL && reading.csv &&
            fsp_args_has(args, "inspections"))
        rc = fsp_tables_find("inspections", &reading.table, &err);
    if (rc == FSP_OK && reading.table != NULL)
        rc = write_table(&reading, rig, &err);
    else if (rc == FSP_OK && reading.json)
        fsp_show_rig_json(reading.fleet, rig, &reading.out);
    else if (rc == FSP_OK && reading.csv)
        fsp_show_rig_csv(reading.fleet, rig, &reading.out);
    else if (rc == FSP_OK)
        fsp_show_rig(reading.fleet, rig, &reading.out);
    return end(&reading, rc, &err);
}

int
fsp_cmd_early(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct reading reading;
    enum fsp_rc rc = begin(args, 0, &reading, &err);

    if (rc == FSP_OK && reading.json)
        fsp_show_early_json(reading.fleet, &reading.out);
    else if (rc == FSP_OK && reading.csv)
        fsp_show_early_csv(reading.fleet, &reading.out);
    else if (rc == FSP_OK)
        fsp_show_early(reading.fleet, &reading.out);
    return end(&reading, rc, &err);
}
