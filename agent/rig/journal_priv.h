/*
 * What journal.c, journal_chain.c, journal_make.c, journal_add.c, journal_amend.c and renew*.c share.
 */
#ifndef FSP_RIG_JOURNAL_PRIV_H
#define FSP_RIG_JOURNAL_PRIV_H

#include "rig/journal.h"

#define FSP_JOURNAL_DB          "journal.db"
#define FSP_JOURNAL_DB_ROLLBACK "journal.db-journal"
#define FSP_JOURNAL_KEY         "rig%s.key" /* with the log's tail */
#define FSP_JOURNAL_KEY_1       "rig.key"

#define FSP_IDENT_LEN     16 /* bytes of the identity's hash kept; guards against accidents only */
#define FSP_IDENT_KEY_MAX ((size_t)256)

#define FSP_TAIL_MAX (FSP_INCARNATION_LEN + 1) /* "" or "-INCARNATION" */

extern const struct fsp_db_schema fsp_journal_schema;

struct fsp_journal {
    char *folder;
    struct fsp_db *db;
    const struct fsp_env *env;
    struct fsp_journal_about about;
    int64_t log;                 /* the current one */
    char tail[FSP_TAIL_MAX + 1]; /* of the names of its files */
    enum fsp_journal_state state;
    struct fsp_buf why;
    bool has_zone;
    int zone_minutes;
    fsp_journal_new *on_new;
    void *on_new_ctx;
};

/* Read which log is current, when it is another than before; inside a transaction or without. */
enum fsp_rc fsp_journal_refresh(
        struct fsp_journal *journal, struct fsp_err *err) FSP_MUST_CHECK;
/* The tail of the names of a log's files: "" for the first log. */
void fsp_journal_tail(int64_t id, const char *incarnation, char tail[FSP_TAIL_MAX + 1]);
/* *found when the folder has the size file of a log that was signed and that the database does not
 * know: the database alone was put back from a backup. */
enum fsp_rc fsp_journal_find_unknown(
        const struct fsp_journal *journal, bool *found, struct fsp_err *err) FSP_MUST_CHECK;
/* Inside a transaction: a row of the chain, as it stands in *log. */
enum fsp_rc fsp_journal_add_log(struct fsp_db *db, const struct fsp_journal_log *log,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Run one of the statements with a log (?1) and a number (?2). */
enum fsp_rc fsp_journal_set_number(struct fsp_db *db, const char *sql, int64_t log,
        uint64_t value, struct fsp_err *err) FSP_MUST_CHECK;

/* Latest `noted` in the log (0 without one) and the newest receipt's time (0 without one). */
enum fsp_rc fsp_journal_times(struct fsp_journal *journal, int64_t *noted_s, int64_t *receipt_s,
        struct fsp_err *err) FSP_MUST_CHECK;

/* How a record is matched with others: "at kind op", and its identity's hash. */
struct fsp_ident {
    char key[FSP_IDENT_KEY_MAX + 1];
    uint8_t hash[FSP_IDENT_LEN];
};
enum fsp_rc fsp_journal_ident(const struct fsp_record *record, struct fsp_ident *ident,
        struct fsp_err *err) FSP_MUST_CHECK;

/* The zone that a `rig` record names holds for times typed from here on. */
enum fsp_rc fsp_journal_keep_zone(
        struct fsp_db *db, const struct fsp_record *record, struct fsp_err *err) FSP_MUST_CHECK;

/* An entry of this store. */
struct fsp_place {
    int64_t log;
    uint64_t index;
};
/* Inside the transaction, before the entry is appended at `place`: when it is an amendment of an
 * entry of this store, check what that becomes and remember it. FSP_EFORMAT when it may not become
 * that. */
enum fsp_rc fsp_journal_note_amendment(struct fsp_journal *journal,
        const struct fsp_record *record, const struct fsp_place *place,
        struct fsp_err *err) FSP_MUST_CHECK;
/* *found when {log,index,leaf} is an entry of this store that counts, and where. */
enum fsp_rc fsp_journal_find_entry(struct fsp_journal *journal, const struct fsp_record *entry,
        struct fsp_place *place, bool *found, struct fsp_err *err) FSP_MUST_CHECK;
/* Inside the transaction of the entry at `place` (word.c): when it is an instruction of the office,
 * or answers one, remember that; new keys count from then on. */
enum fsp_rc fsp_journal_note_word(struct fsp_journal *journal, const struct fsp_record *record,
        const struct fsp_place *place, struct fsp_err *err) FSP_MUST_CHECK;
/* Inside the transaction: the identity row of the entry at `place`. */
enum fsp_rc fsp_journal_keep_ident(struct fsp_db *db, const struct fsp_place *place,
        const char *key, const uint8_t hash[FSP_IDENT_LEN], struct fsp_err *err) FSP_MUST_CHECK;

#endif
