/*
 * What journal.c, journal_make.c, journal_add.c and journal_amend.c share.
 */
#ifndef FSP_RIG_JOURNAL_PRIV_H
#define FSP_RIG_JOURNAL_PRIV_H

#include "rig/journal.h"

#define FSP_JOURNAL_DB          "journal.db"
#define FSP_JOURNAL_DB_ROLLBACK "journal.db-journal"
#define FSP_JOURNAL_KEY         "rig.key"

#define FSP_IDENT_LEN     16 /* bytes of the identity's hash kept; guards against accidents only */
#define FSP_IDENT_KEY_MAX ((size_t)256)

extern const struct fsp_db_schema fsp_journal_schema;

struct fsp_journal {
    char *folder;
    struct fsp_db *db;
    const struct fsp_env *env;
    struct fsp_journal_about about;
    enum fsp_journal_state state;
    struct fsp_buf why;
    bool has_zone;
    int zone_minutes;
};

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

/* Inside the transaction, before entry `index` is appended: when it is an amendment of an entry of
 * this log, check what the entry becomes and remember it. FSP_EFORMAT when it may not become that. */
enum fsp_rc fsp_journal_note_amendment(struct fsp_journal *journal,
        const struct fsp_record *record, uint64_t index, struct fsp_err *err) FSP_MUST_CHECK;

#endif
