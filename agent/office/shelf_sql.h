/*
 * The office's own tables. Entries, tips and heads come from store/logtable.h; this adds fleet, rigs,
 * invitations, logs and forks. Included by shelf_sqlite.c alone.
 */
#ifndef FSP_OFFICE_SHELF_SQL_H
#define FSP_OFFICE_SHELF_SQL_H

/* An invitation is used when a log bears its mark: one row, one place, nothing to keep in step. */
static const char shelf_schema_sql[] =
        "CREATE TABLE fleet(id INTEGER PRIMARY KEY CHECK(id = 1), name TEXT NOT NULL) STRICT;"
        "CREATE TABLE rig(name TEXT PRIMARY KEY) STRICT, WITHOUT ROWID;"
        "CREATE TABLE invitation("
        " mark BLOB PRIMARY KEY CHECK(length(mark) = 32),"
        " rig TEXT NOT NULL REFERENCES rig(name),"
        " issued_s INTEGER NOT NULL) STRICT, WITHOUT ROWID;"
        "CREATE TABLE rig_log("
        " id INTEGER PRIMARY KEY AUTOINCREMENT,"
        " rig TEXT NOT NULL REFERENCES rig(name),"
        " origin TEXT NOT NULL UNIQUE,"
        " pub BLOB NOT NULL UNIQUE CHECK(length(pub) = 32),"
        " mark BLOB NOT NULL UNIQUE REFERENCES invitation(mark),"
        " enrolled_s INTEGER NOT NULL,"
        " heard_s INTEGER NOT NULL) STRICT;"
        "CREATE TABLE fork("
        " id INTEGER PRIMARY KEY AUTOINCREMENT,"
        " log INTEGER NOT NULL REFERENCES rig_log(id),"
        " seen_s INTEGER NOT NULL,"
        " size INTEGER NOT NULL,"
        " differs INTEGER,"
        " held BLOB NOT NULL,"
        " came BLOB NOT NULL,"
        " entry BLOB,"
        " UNIQUE(log, came)) STRICT;"
        "CREATE TRIGGER fleet_keeps BEFORE UPDATE ON fleet BEGIN"
        " SELECT RAISE(ABORT, 'the fleet has its name for ever'); END;"
        "CREATE TRIGGER fleet_stays BEFORE DELETE ON fleet BEGIN"
        " SELECT RAISE(ABORT, 'the fleet has its name for ever'); END;"
        "CREATE TRIGGER invitation_keeps BEFORE UPDATE ON invitation BEGIN"
        " SELECT RAISE(ABORT, 'invitations are append-only'); END;"
        "CREATE TRIGGER invitation_stays BEFORE DELETE ON invitation BEGIN"
        " SELECT RAISE(ABORT, 'invitations are append-only'); END;"
        "CREATE TRIGGER rig_log_keeps BEFORE UPDATE OF id, rig, origin, pub, mark, enrolled_s"
        " ON rig_log BEGIN SELECT RAISE(ABORT, 'an enrolment is for ever'); END;"
        "CREATE TRIGGER rig_log_stays BEFORE DELETE ON rig_log BEGIN"
        " SELECT RAISE(ABORT, 'an enrolment is for ever'); END;"
        "CREATE TRIGGER fork_keeps BEFORE UPDATE ON fork BEGIN"
        " SELECT RAISE(ABORT, 'forks are append-only'); END;"
        "CREATE TRIGGER fork_stays BEFORE DELETE ON fork BEGIN"
        " SELECT RAISE(ABORT, 'forks are append-only'); END;";

#define SQL_SET_FLEET "INSERT INTO fleet(id, name) VALUES(1, ?1)"
#define SQL_FLEET     "SELECT name FROM fleet WHERE id = 1"
#define SQL_NEXT_RIG  "SELECT name FROM rig WHERE name > ?1 ORDER BY name LIMIT 1"
#define SQL_ADD_RIG   "INSERT INTO rig(name) VALUES(?1) ON CONFLICT DO NOTHING"
#define SQL_INVITE    "INSERT INTO invitation(mark, rig, issued_s) VALUES(?1, ?2, ?3)"
#define SQL_INVITATION                                                                         \
    "SELECT i.rig, i.issued_s, l.id FROM invitation i LEFT JOIN rig_log l ON l.mark = i.mark " \
    "WHERE i.mark = ?1"
#define SQL_TAKEN "SELECT 1 FROM rig_log WHERE origin = ?1 OR pub = ?2 OR mark = ?3"
#define SQL_ENROL                                                                              \
    "INSERT INTO rig_log(rig, origin, pub, mark, enrolled_s, heard_s) "                        \
    "VALUES(?1, ?2, ?3, ?4, ?5, 0)"
#define SQL_LOG      "SELECT id, rig, origin, pub, mark, enrolled_s, heard_s FROM rig_log "
#define SQL_FIND_LOG SQL_LOG "WHERE origin = ?1"
#define SQL_NEXT_LOG SQL_LOG "WHERE id > ?1 ORDER BY id LIMIT 1"
#define SQL_HEARD    "UPDATE rig_log SET heard_s = max(heard_s, ?2) WHERE id = ?1"
#define SQL_ADD_FORK                                                                           \
    "INSERT INTO fork(log, seen_s, size, differs, held, came, entry) "                         \
    "VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT(log, came) DO NOTHING"
#define SQL_FORK_AT                                                                            \
    "SELECT log, seen_s, size, differs, held, came, entry FROM fork ORDER BY id LIMIT 1 "      \
    "OFFSET ?1"

#endif
