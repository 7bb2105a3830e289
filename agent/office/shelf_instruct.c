/* The shelf's instructions: what was written to each rig, in which entries of the rigs' logs it was
 * seen, and the rosters. Instructions and rosters are history; the places are derived from entries. */
#include <string.h>

#include "office/shelf_sqlite_priv.h"

const char fsp_shelf_instruct_sql[] =
        "CREATE TABLE instruction("
        " seq INTEGER PRIMARY KEY AUTOINCREMENT,"
        " rig TEXT NOT NULL REFERENCES rig(name),"
        " id BLOB NOT NULL UNIQUE CHECK(length(id) = 8),"
        " about TEXT NOT NULL,"
        " made_s INTEGER NOT NULL,"
        " note BLOB NOT NULL) STRICT;"
        "CREATE INDEX instruction_rig ON instruction(rig, seq);"
        "CREATE TABLE instruction_place("
        " seq INTEGER PRIMARY KEY AUTOINCREMENT,"
        " log INTEGER NOT NULL REFERENCES rig_log(id),"
        " idx INTEGER NOT NULL,"
        " rig TEXT NOT NULL REFERENCES rig(name),"
        " id BLOB NOT NULL CHECK(length(id) = 8),"
        " UNIQUE(log, idx)) STRICT;"
        "CREATE INDEX instruction_place_id ON instruction_place(rig, id);"
        "CREATE TABLE roster("
        " version INTEGER PRIMARY KEY CHECK(version > 0),"
        " made_s INTEGER NOT NULL,"
        " note BLOB NOT NULL) STRICT;"
        "CREATE TRIGGER instruction_keeps BEFORE UPDATE ON instruction BEGIN"
        " SELECT RAISE(ABORT, 'instructions are append-only'); END;"
        "CREATE TRIGGER instruction_stays BEFORE DELETE ON instruction BEGIN"
        " SELECT RAISE(ABORT, 'instructions are append-only'); END;"
        "CREATE TRIGGER roster_keeps BEFORE UPDATE ON roster BEGIN"
        " SELECT RAISE(ABORT, 'rosters are append-only'); END;"
        "CREATE TRIGGER roster_stays BEFORE DELETE ON roster BEGIN"
        " SELECT RAISE(ABORT, 'rosters are append-only'); END;";

#define SQL_ADD                                                                                \
    "INSERT INTO instruction(rig, id, about, made_s, note) VALUES(?1, ?2, ?3, ?4, ?5)"
#define SQL_HAS_RIG "SELECT 1 FROM rig WHERE name = ?1"
#define SQL_GET     "SELECT i.seq, i.rig, i.id, i.about, i.made_s, i.note FROM instruction i "
#define SQL_NEXT    SQL_GET "WHERE i.rig = ?1 AND i.seq > ?2 ORDER BY i.seq LIMIT 1"
#define SQL_FIND    SQL_GET "WHERE i.id = ?1"
/* Not seen in the rig's log; and behind the newest that the rig named (?3), unless that one's own
 * entry is here: then the log is known that far, and what is missing below it is missing. */
#define SQL_WAITING                                                                            \
    SQL_GET                                                                                    \
    "WHERE i.rig = ?1 AND i.seq > ?2 AND NOT EXISTS"                                           \
    " (SELECT 1 FROM instruction_place p WHERE p.rig = ?1 AND p.id = i.id)"                    \
    " AND (i.seq > ifnull((SELECT n.seq FROM instruction n WHERE n.id = ?3 AND n.rig = ?1),"   \
    " 0) OR EXISTS (SELECT 1 FROM instruction_place p WHERE p.rig = ?1 AND p.id = ?3))"        \
    " ORDER BY i.seq LIMIT 1"
#define SQL_ADD_PLACE                                                                          \
    "INSERT INTO instruction_place(log, idx, rig, id)"                                         \
    " SELECT id, ?2, rig, ?3 FROM rig_log WHERE id = ?1 ON CONFLICT DO NOTHING"
/* The newest log's place counts: after a renewal the rig carries its entries over. */
#define SQL_PLACE                                                                              \
    "SELECT seq, log, idx, id FROM instruction_place WHERE rig = ?1 AND id = ?2"               \
    " ORDER BY log DESC, idx LIMIT 1"
#define SQL_NEXT_PLACE                                                                         \
    "SELECT seq, log, idx, id FROM instruction_place WHERE seq > ?1 ORDER BY seq LIMIT 1"
#define SQL_ADD_ROSTER "INSERT INTO roster(version, made_s, note) VALUES(?1, ?2, ?3)"
#define SQL_ROSTER                                                                             \
    "SELECT version, note FROM roster WHERE version = ?1 OR ?1 = 0"                            \
    " ORDER BY version DESC LIMIT 1"

enum fsp_rc
fsp_shelf_add_instruction(
        void *ctx, const struct fsp_shelf_instruction *instruction, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_HAS_RIG, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, instruction->rig);
    rc = fsp_stmt_step(stmt, &row, err);
    fsp_stmt_reset(stmt);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND,
                "%s: no such rig; 'farspool-office fleet' lists those that were invited",
                instruction->rig);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(shelf->db, SQL_ADD, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, instruction->rig);
    fsp_stmt_bind_blob(stmt, 2, instruction->id, sizeof(instruction->id));
    fsp_stmt_bind_text(stmt, 3, fsp_instruction_about_text(instruction->about));
    fsp_stmt_bind_int(stmt, 4, instruction->made_s);
    fsp_stmt_bind_blob(stmt, 5, instruction->note, instruction->note_len);
    return fsp_stmt_run(stmt, err);
}

static enum fsp_instruction_about
about_of(const char *text)
{
    static const enum fsp_instruction_about all[] = {
            FSP_ABOUT_ROSTER, FSP_ABOUT_KEYS, FSP_ABOUT_PROGRAM, FSP_ABOUT_MESSAGE};

    for (size_t i = 0; text != NULL && i < sizeof(all) / sizeof(all[0]); i++)
        if (strcmp(text, fsp_instruction_about_text(all[i])) == 0)
            return all[i];
    return FSP_ABOUT_OTHER;
}

static enum fsp_rc
read_instruction(struct fsp_stmt *stmt, struct fsp_shelf_instruction *out,
        struct fsp_buf *store, struct fsp_err *err)
{
    const char *rig = fsp_stmt_text(stmt, 1);
    size_t id_len = 0;
    const uint8_t *id = fsp_stmt_blob(stmt, 2, &id_len);
    size_t len = 0;
    const uint8_t *note;

    if (rig == NULL || strlen(rig) >= sizeof(out->rig) || id == NULL ||
            id_len != sizeof(out->id))
        return fsp_err_set(err, FSP_ECORRUPT, "the store holds a damaged instruction");
    out->seq = fsp_stmt_int(stmt, 0);
    memcpy(out->rig, rig, strlen(rig) + 1);
    memcpy(out->id, id, id_len);
    out->about = about_of(fsp_stmt_text(stmt, 3));
    out->made_s = fsp_stmt_int(stmt, 4);
    note = fsp_stmt_blob(stmt, 5, &len);
    fsp_buf_add(store, note, note == NULL ? 0 : len);
    out->note = fsp_buf_peek(store);
    out->note_len = store->len;
    return fsp_buf_check(store, "an instruction", err);
}

/* The one row of a statement that is bound. */
static enum fsp_rc
step_instruction(struct fsp_stmt *stmt, struct fsp_shelf_instruction *out,
        struct fsp_buf *store, struct fsp_err *err)
{
    bool row = false;
    enum fsp_rc rc = fsp_stmt_step(stmt, &row, err);

    memset(out, 0, sizeof(*out));
    fsp_buf_reset(store);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no such instruction");
    if (rc == FSP_OK)
        rc = read_instruction(stmt, out, store, err);
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_shelf_next_instruction(void *ctx, const char *rig, int64_t after,
        struct fsp_shelf_instruction *out, struct fsp_buf *store, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_NEXT, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, rig);
    fsp_stmt_bind_int(stmt, 2, after);
    return step_instruction(stmt, out, store, err);
}

enum fsp_rc
fsp_shelf_find_instruction(void *ctx, const uint8_t *id, struct fsp_shelf_instruction *out,
        struct fsp_buf *store, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_FIND, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_blob(stmt, 1, id, FSP_INSTRUCTION_ID_LEN);
    return step_instruction(stmt, out, store, err);
}

enum fsp_rc
fsp_shelf_waiting_instruction(void *ctx, const struct fsp_shelf_wait *wait,
        struct fsp_shelf_instruction *out, struct fsp_buf *store, struct fsp_err *err)
{
    static const uint8_t none[1] = {0};
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_WAITING, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, wait->rig);
    fsp_stmt_bind_int(stmt, 2, wait->after);
    if (wait->newest != NULL)
        fsp_stmt_bind_blob(stmt, 3, wait->newest, FSP_INSTRUCTION_ID_LEN);
    else
        fsp_stmt_bind_blob(stmt, 3, none, sizeof(none)); /* no id has one byte */
    return step_instruction(stmt, out, store, err);
}

enum fsp_rc
fsp_shelf_add_instruction_place(
        void *ctx, const struct fsp_shelf_instruction_place *place, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_ADD_PLACE, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, place->log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)place->index);
    fsp_stmt_bind_blob(stmt, 3, place->id, sizeof(place->id));
    return fsp_stmt_run(stmt, err);
}

static enum fsp_rc
step_place(struct fsp_stmt *stmt, struct fsp_shelf_instruction_place *out, struct fsp_err *err)
{
    bool row = false;
    enum fsp_rc rc = fsp_stmt_step(stmt, &row, err);

    memset(out, 0, sizeof(*out));
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no log holds this instruction");
    if (rc == FSP_OK) {
        size_t len = 0;
        const uint8_t *id = fsp_stmt_blob(stmt, 3, &len);

        out->seq = fsp_stmt_int(stmt, 0);
        out->log = fsp_stmt_int(stmt, 1);
        out->index = (uint64_t)fsp_stmt_int(stmt, 2);
        if (id == NULL || len != sizeof(out->id))
            rc = fsp_err_set(err, FSP_ECORRUPT, "the store holds a damaged instruction");
        else
            memcpy(out->id, id, len);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_shelf_instruction_place(void *ctx, const char *rig, const uint8_t *id,
        struct fsp_shelf_instruction_place *out, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_PLACE, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, rig);
    fsp_stmt_bind_blob(stmt, 2, id, FSP_INSTRUCTION_ID_LEN);
    return step_place(stmt, out, err);
}

enum fsp_rc
fsp_shelf_next_instruction_place(
        void *ctx, int64_t after, struct fsp_shelf_instruction_place *out, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_NEXT_PLACE, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, after);
    return step_place(stmt, out, err);
}

enum fsp_rc
fsp_shelf_add_roster(void *ctx, uint64_t version, int64_t made_s, const struct fsp_buf *note,
        struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_ADD_ROSTER, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, (int64_t)version);
    fsp_stmt_bind_int(stmt, 2, made_s);
    fsp_stmt_bind_blob(stmt, 3, note->data, note->len);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_shelf_roster(void *ctx, uint64_t version, struct fsp_buf *note, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_ROSTER, &stmt, err);

    fsp_buf_reset(note);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, (int64_t)version);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "there is no such roster");
    if (rc == FSP_OK) {
        size_t len = 0;
        const uint8_t *bytes = fsp_stmt_blob(stmt, 1, &len);

        fsp_buf_add(note, bytes, bytes == NULL ? 0 : len);
        rc = fsp_buf_check(note, "a roster", err);
    }
    fsp_stmt_reset(stmt);
    return rc;
}
