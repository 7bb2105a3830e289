/*
 * Tables of the office's word in the rig's store; all of them follow from entries of the log, but the
 * keys of an invitation, and are written in the transaction that appends the entry.
 *
 * instruction         which entry is one, by its id; only those whose signature held
 * instruction_answer  which entry answers it: a done, or a program that names it
 * office_key          keys of the office beside those of the first invitation (meta), in the order in
 *                     which they came to count. what: cosigner, instructions, box; renewed: an invitation
 *                     by hand: from here on earlier ones only vouch for what is in the log
 */
#ifndef FSP_RIG_WORD_SQL_H
#define FSP_RIG_WORD_SQL_H

#define FSP_RIG_WORD                                                                           \
    "CREATE TABLE instruction(log INTEGER NOT NULL, idx INTEGER NOT NULL, id BLOB NOT NULL,"   \
    " about TEXT NOT NULL, PRIMARY KEY(log, idx)) STRICT, WITHOUT ROWID;"                      \
    "CREATE INDEX instruction_id ON instruction(id);"                                          \
    "CREATE TABLE instruction_answer(log INTEGER NOT NULL, idx INTEGER NOT NULL,"              \
    " by_log INTEGER NOT NULL, by_idx INTEGER NOT NULL,"                                       \
    " PRIMARY KEY(log, idx, by_log, by_idx)) STRICT, WITHOUT ROWID;"                           \
    "CREATE TABLE office_key(seq INTEGER PRIMARY KEY AUTOINCREMENT, what TEXT NOT NULL,"       \
    " value TEXT NOT NULL) STRICT;"

/* Entries that count: of logs in the chain, below where they were closed. */
#define FSP_SQL_WORD_COUNTS                                                                    \
    " JOIN chain c ON c.id = i.log WHERE c.ordinal IS NOT NULL"                                \
    " AND (c.upto IS NULL OR i.idx < c.upto)"
#define FSP_SQL_WORD_ADD                                                                       \
    "INSERT INTO instruction(log, idx, id, about) VALUES(?1, ?2, ?3, ?4) ON CONFLICT DO "      \
    "NOTHING"
#define FSP_SQL_WORD_HAS "SELECT 1 FROM instruction i" FSP_SQL_WORD_COUNTS " AND i.id = ?1"
#define FSP_SQL_WORD_NEWEST                                                                    \
    "SELECT i.id FROM instruction i" FSP_SQL_WORD_COUNTS                                       \
    " ORDER BY c.ordinal DESC, i.idx DESC LIMIT 1"
/* The next behind (ordinal ?1, index ?2), with the entry that answered it last. */
#define FSP_SQL_WORD_NEXT                                                                      \
    "SELECT c.ordinal, i.idx, i.log, c.origin, (SELECT b.origin || ' ' || a.by_idx"            \
    " FROM instruction_answer a JOIN chain b ON b.id = a.by_log WHERE a.log = i.log"           \
    " AND a.idx = i.idx AND b.ordinal IS NOT NULL AND (b.upto IS NULL OR a.by_idx < b.upto)"   \
    " ORDER BY b.ordinal DESC, a.by_idx DESC LIMIT 1) FROM instruction i" FSP_SQL_WORD_COUNTS  \
    " AND (c.ordinal, i.idx) > (?1, ?2) ORDER BY c.ordinal, i.idx LIMIT 1"
#define FSP_SQL_WORD_ANSWER                                                                    \
    "INSERT INTO instruction_answer(log, idx, by_log, by_idx)"                                 \
    " SELECT log, idx, ?3, ?4 FROM instruction WHERE log = ?1 AND idx = ?2 ON CONFLICT DO "    \
    "NOTHING"
#define FSP_SQL_KEY_ADD                                                                        \
    "INSERT INTO office_key(what, value) SELECT ?1, ?2 WHERE NOT EXISTS"                       \
    " (SELECT 1 FROM office_key WHERE what = ?1 AND value = ?2 AND seq >"                      \
    " ifnull((SELECT max(seq) FROM office_key WHERE what = 'renewed'), 0))"
#define FSP_SQL_KEY_ALL "SELECT what, value FROM office_key ORDER BY seq"

#endif
