/*
 * The rig store's own tables, beside those of store/logtable.h. STRICT, and append-only where a
 * row is history.
 *
 * meta     key, value: who this log is and whom it answers; `held` is the office's position
 * ident    one row an entry: key is "at kind op", hash its identity (first 16 bytes)
 * corrected  what an entry became by an amendment of this log (by_idx), so that a day sheet which
 *          holds the corrected row is known; derived, and taken back when the amendment is voided
 * once     tokens of `enter --once`
 * receipt  one row a verified receipt
 * sent     bundles handed to a courier and not yet answered
 * fork     signed heads that contradict this log, kept as evidence
 */
#ifndef FSP_RIG_JOURNAL_SQL_H
#define FSP_RIG_JOURNAL_SQL_H

#define FSP_RIG_TABLES                                                                         \
    "CREATE TABLE meta(key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;"      \
    "CREATE TABLE ident(key TEXT NOT NULL, idx INTEGER NOT NULL, hash BLOB NOT NULL,"          \
    " PRIMARY KEY(key, idx)) STRICT, WITHOUT ROWID;"                                           \
    "CREATE TABLE corrected(idx INTEGER NOT NULL, by_idx INTEGER NOT NULL, key TEXT NOT NULL," \
    " hash BLOB NOT NULL, form BLOB NOT NULL, PRIMARY KEY(idx, by_idx)) STRICT, WITHOUT "      \
    "ROWID;"                                                                                   \
    "CREATE INDEX corrected_key ON corrected(key);"                                            \
    "CREATE TABLE once(token TEXT PRIMARY KEY, idx INTEGER NOT NULL, hash BLOB NOT NULL)"      \
    " STRICT, WITHOUT ROWID;"                                                                  \
    "CREATE TABLE receipt(size INTEGER PRIMARY KEY, time_s INTEGER NOT NULL,"                  \
    " arrived_s INTEGER NOT NULL) STRICT;"                                                     \
    "CREATE TABLE sent(bundle BLOB PRIMARY KEY, old INTEGER NOT NULL, size INTEGER NOT NULL,"  \
    " made_s INTEGER NOT NULL) STRICT, WITHOUT ROWID;"                                         \
    "CREATE TABLE fork(id INTEGER PRIMARY KEY, why TEXT NOT NULL, note BLOB NOT NULL,"         \
    " arrived_s INTEGER NOT NULL) STRICT;"                                                     \
    "CREATE TRIGGER ident_keep BEFORE UPDATE ON ident"                                         \
    " BEGIN SELECT RAISE(ABORT, 'ident is append-only'); END;"                                 \
    "CREATE TRIGGER ident_stay BEFORE DELETE ON ident"                                         \
    " BEGIN SELECT RAISE(ABORT, 'ident is append-only'); END;"                                 \
    "CREATE TRIGGER fork_keep BEFORE UPDATE ON fork"                                           \
    " BEGIN SELECT RAISE(ABORT, 'evidence is append-only'); END;"                              \
    "CREATE TRIGGER fork_stay BEFORE DELETE ON fork"                                           \
    " BEGIN SELECT RAISE(ABORT, 'evidence is append-only'); END;"

#define FSP_SQL_META_GET "SELECT value FROM meta WHERE key = ?1"
#define FSP_SQL_META_SET                                                                       \
    "INSERT INTO meta(key, value) VALUES(?1, ?2)"                                              \
    " ON CONFLICT(key) DO UPDATE SET value = excluded.value"
#define FSP_SQL_IDENT_ADD "INSERT INTO ident(key, idx, hash) VALUES(?1, ?2, ?3)"
#define FSP_SQL_IDENT_GET                                                                      \
    "SELECT hash, idx, 0 FROM ident WHERE key = ?1"                                            \
    " UNION ALL SELECT hash, idx, 1 FROM corrected WHERE key = ?1"
#define FSP_SQL_CORRECTED_ADD                                                                  \
    "INSERT INTO corrected(idx, by_idx, key, hash, form) VALUES(?1, ?2, ?3, ?4, ?5)"
#define FSP_SQL_CORRECTED_LAST                                                                 \
    "SELECT form FROM corrected WHERE idx = ?1 ORDER BY by_idx DESC LIMIT 1"
#define FSP_SQL_CORRECTED_DROP                                                                 \
    "DELETE FROM corrected WHERE by_idx >= ?1"                                                 \
    " AND idx = (SELECT idx FROM corrected WHERE by_idx = ?1)"
#define FSP_SQL_ONCE_ADD "INSERT INTO once(token, idx, hash) VALUES(?1, ?2, ?3)"
#define FSP_SQL_ONCE_GET "SELECT idx, hash FROM once WHERE token = ?1"
#define FSP_SQL_RECEIPT_ADD                                                                    \
    "INSERT INTO receipt(size, time_s, arrived_s) VALUES(?1, ?2, ?3)"                          \
    " ON CONFLICT(size) DO NOTHING"
#define FSP_SQL_RECEIPT_LAST "SELECT size, time_s FROM receipt ORDER BY size DESC LIMIT 1"
#define FSP_SQL_RECEIPT_HAS  "SELECT 1 FROM receipt WHERE size = ?1"
#define FSP_SQL_SENT_ADD                                                                       \
    "INSERT INTO sent(bundle, old, size, made_s) VALUES(?1, ?2, ?3, ?4)"                       \
    " ON CONFLICT(bundle) DO NOTHING"
#define FSP_SQL_SENT_HAS   "SELECT 1 FROM sent WHERE bundle = ?1"
#define FSP_SQL_SENT_DROP  "DELETE FROM sent WHERE size <= ?1"
#define FSP_SQL_FORK_ADD   "INSERT INTO fork(why, note, arrived_s) VALUES(?1, ?2, ?3)"
#define FSP_SQL_FORK_FIRST "SELECT why FROM fork ORDER BY id LIMIT 1"
#define FSP_SQL_FORK_SAME  "SELECT 1 FROM fork WHERE note = ?1"

#endif
