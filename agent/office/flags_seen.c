/* What somebody has looked at: acknowledgements in the desk, each for one occurrence. */
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "office/desk.h"
#include "office/flags.h"
#include "office/fleet.h"
#include "office/people.h"

#define SQL_SEEN "SELECT by, at_s, note FROM acknowledged WHERE rig = ?1 AND mark = ?2"
#define SQL_SEE                                                                                \
    "INSERT INTO acknowledged(rig, mark, by, at_s, note) VALUES(?1, ?2, ?3, ?4, ?5) "          \
    "ON CONFLICT(rig, mark) DO UPDATE SET by = excluded.by, at_s = excluded.at_s, "            \
    "note = excluded.note"

static enum fsp_rc
copy_column(
        const struct fsp_stmt *stmt, int column, char *out, size_t room, struct fsp_err *err)
{
    const char *text = fsp_stmt_text(stmt, column);
    size_t len = text == NULL ? room : strlen(text);

    if (len >= room)
        return fsp_err_set(err, FSP_ECORRUPT, "desk: an acknowledgement that is too long");
    memcpy(out, text, len + 1);
    return FSP_OK;
}

static enum fsp_rc
look_up(struct fsp_desk *desk, const char *rig, struct fsp_flag *flag, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(fsp_desk_db(desk), SQL_SEEN, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, rig);
    fsp_stmt_bind_text(stmt, 2, flag->mark);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row) {
        flag->acknowledged = true;
        flag->acknowledged_s = fsp_stmt_int(stmt, 1);
        rc = copy_column(stmt, 0, flag->acknowledged_by, sizeof(flag->acknowledged_by), err);
        if (rc == FSP_OK)
            rc = copy_column(stmt, 2, flag->note, sizeof(flag->note), err);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_flags_acknowledged(struct fsp_desk *desk, const char *rig, struct fsp_flag *flags, size_t n,
        struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < n; i++)
        rc = look_up(desk, rig, &flags[i], err);
    return rc;
}

enum fsp_rc
fsp_flags_list(struct fsp_desk *desk, const struct fsp_fleet_rig *rig,
        struct fsp_flag out[static FSP_FLAGS_MAX], size_t *n, struct fsp_err *err)
{
    *n = rig->n_flags < FSP_FLAGS_MAX ? rig->n_flags : FSP_FLAGS_MAX;
    if (*n > 0)
        memcpy(out, rig->flags, *n * sizeof(*out));
    return desk == NULL ? FSP_OK : fsp_flags_acknowledged(desk, rig->name, out, *n, err);
}

/* "kind:what" with a kind that there is. */
static bool
is_mark(const char *mark)
{
    const char *colon = strchr(mark, ':');

    if (colon == NULL || colon[1] == '\0' || strlen(mark) >= FSP_FLAG_MARK_MAX ||
            strspn(mark, "abcdefghijklmnopqrstuvwxyz0123456789.:-") != strlen(mark))
        return false;
    for (int kind = 0; kind < FSP_FLAG_KINDS; kind++) {
        const char *word = fsp_flag_kind_word((enum fsp_flag_kind)kind);

        if (strlen(word) == (size_t)(colon - mark) && strncmp(word, mark, strlen(word)) == 0)
            return true;
    }
    return false;
}

static enum fsp_rc
check(const char *rig, const char *mark, const char *by, const char *note, struct fsp_err *err)
{
    size_t len = strlen(note);

    if (!fsp_text_name(rig))
        return fsp_err_set(err, FSP_EINVAL, "a flag is acknowledged for a rig by its name");
    if (!is_mark(mark))
        return fsp_err_set(err, FSP_EINVAL, "no flag has such a mark: take it from the flag");
    if (by[0] == '\0' || strlen(by) > FSP_NAME_MAX || !fsp_text_printable(by, strlen(by)))
        return fsp_err_set(err, FSP_EINVAL, "a flag is acknowledged by somebody with a name");
    if (strspn(note, " ") == len)
        return fsp_err_set(err, FSP_EINVAL, "the note is empty: say what was found");
    if (len > FSP_FLAG_NOTE_MAX)
        return fsp_err_set(err, FSP_EINVAL, "the note has %zu bytes, at most %d are kept", len,
                FSP_FLAG_NOTE_MAX);
    if (!fsp_text_printable(note, len))
        return fsp_err_set(err, FSP_EINVAL, "the note is not one line of printable text");
    return FSP_OK;
}

enum fsp_rc
/* NOLINTNEXTLINE(readability-function-size): one field of a form each */
fsp_flags_acknowledge(struct fsp_desk *desk, const char *rig, const char *mark, const char *by,
        const char *note, int64_t at_s, struct fsp_err *err)
{
    const struct fsp_by who = {by, at_s};
    struct fsp_stmt *stmt = NULL;
    struct fsp_db *db = fsp_desk_db(desk);
    char what[FSP_NAME_MAX + FSP_FLAG_MARK_MAX + FSP_FLAG_NOTE_MAX + 8];
    enum fsp_rc rc = check(rig, mark, by, note, err);

    if (rc == FSP_OK)
        rc = fsp_db_begin(db, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_stmt_get(db, SQL_SEE, &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_text(stmt, 1, rig);
        fsp_stmt_bind_text(stmt, 2, mark);
        fsp_stmt_bind_text(stmt, 3, by);
        fsp_stmt_bind_int(stmt, 4, at_s);
        fsp_stmt_bind_text(stmt, 5, note);
        rc = fsp_stmt_run(stmt, err);
    }
    (void)snprintf(what, sizeof(what), "%s %s: %s", rig, mark, note);
    if (rc == FSP_OK)
        rc = fsp_people_trail_add(desk, &who, "acknowledged", what, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}
