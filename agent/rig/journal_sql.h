/*
 * The rig store's own tables, beside those of store/logtable.h. STRICT, and append-only where a
 * row is history.
 *
 * meta     key, value: whose rig this is and whom it answers
 * chain    the logs of this store. ordinal is the place in the chain of renewals; NULL: set aside, a
 *          history of ours that the office does not hold, kept as evidence. upto NULL: the current
 *          log; else it is frozen and its entries below upto count. held is the office's position
 *          in it, token its invitation's ("": it enrols by its renewal)
 * ident    one row an entry: key is "at kind op", hash its identity (first 16 bytes)
 * moved    where an entry of a history set aside stands now, by its leaf
 * corrected  what an entry became by an amendment of this log (by_idx), so that a day sheet which
 *          holds the corrected row is known; derived, and taken back when the amendment is voided
 * once     tokens of `enter --once`
 * receipt  one row a verified receipt
 * sent     bundles handed to a courier and not yet answered
 * fork     signed heads that contradict a log, kept as evidence
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

/* The second step: more than one log. */
#define FSP_RIG_CHAIN                                                                          \
    "CREATE TABLE chain(id INTEGER PRIMARY KEY, ordinal INTEGER UNIQUE, origin TEXT NOT NULL," \
    " vkey TEXT NOT NULL, token TEXT NOT NULL, upto INTEGER, held INTEGER NOT NULL,"           \
    " went_back INTEGER NOT NULL) STRICT;"                                                     \
    "CREATE UNIQUE INDEX chain_current ON chain(upto IS NULL) WHERE upto IS NULL;"             \
    "INSERT INTO chain SELECT 1, 0, o.value, v.value, t.value, NULL,"                          \
    " CAST(h.value AS INTEGER),"                                                               \
    " ifnull((SELECT CAST(value AS INTEGER) FROM meta WHERE key = 'went-back'), 0)"            \
    " FROM meta o, meta v, meta t, meta h WHERE o.key = 'origin' AND v.key = 'vkey'"           \
    " AND t.key = 'token' AND h.key = 'held';"                                                 \
    "DELETE FROM meta WHERE key IN"                                                            \
    " ('origin', 'incarnation', 'vkey', 'token', 'held', 'went-back');"                        \
    "CREATE TRIGGER chain_keeps BEFORE UPDATE OF id, origin, vkey ON chain"                    \
    " BEGIN SELECT RAISE(ABORT, 'a log has its name and key for ever'); END;"                  \
    "CREATE TRIGGER chain_stays BEFORE DELETE ON chain"                                        \
    " BEGIN SELECT RAISE(ABORT, 'logs are kept'); END;"                                        \
    "CREATE TRIGGER entry_frozen BEFORE INSERT ON entry"                                       \
    " WHEN (SELECT upto FROM chain WHERE id = new.log) IS NOT NULL"                            \
    " BEGIN SELECT RAISE(ABORT, 'this log is closed'); END;"                                   \
    "CREATE TABLE ident_2(key TEXT NOT NULL, log INTEGER NOT NULL, idx INTEGER NOT NULL,"      \
    " hash BLOB NOT NULL, PRIMARY KEY(key, log, idx)) STRICT, WITHOUT ROWID;"                  \
    "INSERT INTO ident_2 SELECT key, 1, idx, hash FROM ident;"                                 \
    "DROP TABLE ident;"                                                                        \
    "ALTER TABLE ident_2 RENAME TO ident;"                                                     \
    "CREATE TRIGGER ident_keep BEFORE UPDATE ON ident"                                         \
    " BEGIN SELECT RAISE(ABORT, 'ident is append-only'); END;"                                 \
    "CREATE TRIGGER ident_stay BEFORE DELETE ON ident"                                         \
    " BEGIN SELECT RAISE(ABORT, 'ident is append-only'); END;"                                 \
    "CREATE TABLE corrected_2(log INTEGER NOT NULL, idx INTEGER NOT NULL,"                     \
    " by_log INTEGER NOT NULL, by_idx INTEGER NOT NULL, key TEXT NOT NULL,"                    \
    " hash BLOB NOT NULL, form BLOB NOT NULL, PRIMARY KEY(log, idx, by_log, by_idx))"          \
    " STRICT, WITHOUT ROWID;"                                                                  \
    "INSERT INTO corrected_2 SELECT 1, idx, 1, by_idx, key, hash, form FROM corrected;"        \
    "DROP TABLE corrected;"                                                                    \
    "ALTER TABLE corrected_2 RENAME TO corrected;"                                             \
    "CREATE INDEX corrected_key ON corrected(key);"                                            \
    "ALTER TABLE once ADD COLUMN log INTEGER NOT NULL DEFAULT 1;"                              \
    "CREATE TABLE receipt_2(log INTEGER NOT NULL, size INTEGER NOT NULL,"                      \
    " time_s INTEGER NOT NULL, arrived_s INTEGER NOT NULL, PRIMARY KEY(log, size))"            \
    " STRICT, WITHOUT ROWID;"                                                                  \
    "INSERT INTO receipt_2 SELECT 1, size, time_s, arrived_s FROM receipt;"                    \
    "DROP TABLE receipt;"                                                                      \
    "ALTER TABLE receipt_2 RENAME TO receipt;"                                                 \
    "ALTER TABLE sent ADD COLUMN log INTEGER NOT NULL DEFAULT 1;"                              \
    "ALTER TABLE fork ADD COLUMN log INTEGER NOT NULL DEFAULT 1;"                              \
    "CREATE TABLE moved(leaf BLOB PRIMARY KEY, log INTEGER NOT NULL, idx INTEGER NOT NULL)"    \
    " STRICT, WITHOUT ROWID;"

#define FSP_SQL_META_GET "SELECT value FROM meta WHERE key = ?1"
#define FSP_SQL_META_SET                                                                       \
    "INSERT INTO meta(key, value) VALUES(?1, ?2)"                                              \
    " ON CONFLICT(key) DO UPDATE SET value = excluded.value"

/* A log of the chain and its size; the current one has upto NULL. */
#define FSP_SQL_CHAIN                                                                          \
    "SELECT c.id, c.ordinal, c.origin, c.vkey, c.token, c.upto IS NULL,"                       \
    " ifnull(c.upto, ifnull((SELECT size FROM tip WHERE log = c.id), 0)), c.held,"             \
    " c.went_back FROM chain c "
#define FSP_SQL_CHAIN_CURRENT FSP_SQL_CHAIN "WHERE c.upto IS NULL"
#define FSP_SQL_CHAIN_ALL     FSP_SQL_CHAIN "WHERE c.ordinal IS NOT NULL ORDER BY c.ordinal"
#define FSP_SQL_CHAIN_ADD                                                                      \
    "INSERT INTO chain(id, ordinal, origin, vkey, token, upto, held, went_back)"               \
    " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, 0)"
#define FSP_SQL_CHAIN_NEXT  "SELECT max(id) + 1 FROM chain"
#define FSP_SQL_CHAIN_PLACE "UPDATE chain SET ordinal = ?2, upto = ?3 WHERE id = ?1"
#define FSP_SQL_CHAIN_HELD  "UPDATE chain SET held = ?2 WHERE id = ?1"
#define FSP_SQL_CHAIN_BACK  "UPDATE chain SET went_back = ?2 WHERE id = ?1"

#define FSP_SQL_IDENT_ADD "INSERT INTO ident(key, log, idx, hash) VALUES(?1, ?2, ?3, ?4)"
#define FSP_SQL_IDENT_GET                                                                      \
    "SELECT i.hash, i.idx, 0, i.log FROM ident i JOIN chain c ON c.id = i.log"                 \
    " WHERE i.key = ?1 AND c.ordinal IS NOT NULL AND (c.upto IS NULL OR i.idx < c.upto)"       \
    " UNION ALL SELECT k.hash, k.idx, 1, k.log FROM corrected k JOIN chain c ON c.id = k.log"  \
    " WHERE k.key = ?1 AND c.ordinal IS NOT NULL AND (c.upto IS NULL OR k.idx < c.upto)"
#define FSP_SQL_CORRECTED_ADD                                                                  \
    "INSERT INTO corrected(log, idx, by_log, by_idx, key, hash, form)"                         \
    " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)"
#define FSP_SQL_CORRECTED_LAST                                                                 \
    "SELECT k.form FROM corrected k JOIN chain c ON c.id = k.by_log WHERE k.log = ?1"          \
    " AND k.idx = ?2 AND c.ordinal IS NOT NULL ORDER BY c.ordinal DESC, k.by_idx DESC LIMIT 1"
#define FSP_SQL_CORRECTED_DROP                                                                 \
    "DELETE FROM corrected WHERE (log, idx) ="                                                 \
    " (SELECT log, idx FROM corrected WHERE by_log = ?1 AND by_idx = ?2)"                      \
    " AND ((SELECT ordinal FROM chain WHERE id = by_log), by_idx) >="                          \
    " ((SELECT ordinal FROM chain WHERE id = ?1), ?2)"
#define FSP_SQL_ONCE_ADD "INSERT INTO once(token, log, idx, hash) VALUES(?1, ?2, ?3, ?4)"
#define FSP_SQL_ONCE_GET "SELECT idx, hash, log FROM once WHERE token = ?1"
#define FSP_SQL_RECEIPT_ADD                                                                    \
    "INSERT INTO receipt(log, size, time_s, arrived_s) VALUES(?1, ?2, ?3, ?4)"                 \
    " ON CONFLICT(log, size) DO NOTHING"
#define FSP_SQL_RECEIPT_LAST                                                                   \
    "SELECT size, time_s FROM receipt WHERE log = ?1 ORDER BY size DESC LIMIT 1"
#define FSP_SQL_RECEIPT_TIME "SELECT ifnull(max(time_s), 0) FROM receipt"
#define FSP_SQL_RECEIPT_HAS  "SELECT 1 FROM receipt WHERE log = ?1 AND size = ?2"
#define FSP_SQL_SENT_ADD                                                                       \
    "INSERT INTO sent(bundle, log, old, size, made_s) VALUES(?1, ?2, ?3, ?4, ?5)"              \
    " ON CONFLICT(bundle) DO NOTHING"
#define FSP_SQL_SENT_HAS   "SELECT 1 FROM sent WHERE bundle = ?1"
#define FSP_SQL_SENT_DROP  "DELETE FROM sent WHERE log = ?1 AND size <= ?2"
#define FSP_SQL_FORK_ADD   "INSERT INTO fork(log, why, note, arrived_s) VALUES(?1, ?2, ?3, ?4)"
#define FSP_SQL_FORK_FIRST "SELECT why FROM fork WHERE log = ?1 ORDER BY id LIMIT 1"
#define FSP_SQL_FORK_SAME  "SELECT 1 FROM fork WHERE note = ?1"
#define FSP_SQL_MOVED_ADD                                                                      \
    "INSERT INTO moved(leaf, log, idx) VALUES(?1, ?2, ?3) ON CONFLICT(leaf) DO NOTHING"
#define FSP_SQL_MOVED_GET "SELECT log, idx FROM moved WHERE leaf = ?1"

#endif
