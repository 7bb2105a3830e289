#include "office/desk.h"

#include <stdlib.h>

#include "base/file.h"
#include "office/desk_sql.h"

#define DESK_FILE "desk.db"

struct fsp_desk {
    struct fsp_db *db;
};

static const struct fsp_migration steps[] = {
        {desk_people_sql},
        {desk_flags_sql},
        {desk_browsers_sql},
};

static const struct fsp_db_schema schema = {
        .application_id = 0x4653444b, /* "FSDK" */
        .what = "office's desk",
        .steps = steps,
        .n = (int)(sizeof(steps) / sizeof(steps[0])),
};

enum fsp_rc
fsp_desk_open(const char *store, bool write, struct fsp_desk **out, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct fsp_desk *desk = calloc(1, sizeof(*desk));
    char *path = fsp_file_join(store, DESK_FILE);

    *out = NULL;
    if (desk == NULL || path == NULL)
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    else if (!write && !fsp_file_exists(path))
        rc = fsp_err_set(
                err, FSP_ENOTFOUND, "%s: nobody in this office said anything yet", path);
    if (rc == FSP_OK)
        rc = fsp_db_open(
                path, write ? FSP_DB_RIG : FSP_DB_READ, write, &schema, &desk->db, err);
    if (rc == FSP_OK) {
        *out = desk;
        desk = NULL;
    }
    free(desk);
    free(path);
    return rc;
}

void
fsp_desk_close(struct fsp_desk *desk)
{
    if (desk == NULL)
        return;
    fsp_db_close(desk->db);
    free(desk);
}

struct fsp_db *
fsp_desk_db(struct fsp_desk *desk)
{
    return desk->db;
}
