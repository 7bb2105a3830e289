/*
 * What journal.c, journal_make.c and journal_add.c share.
 */
#ifndef FSP_RIG_JOURNAL_PRIV_H
#define FSP_RIG_JOURNAL_PRIV_H

#include "rig/journal.h"

#define FSP_JOURNAL_DB          "journal.db"
#define FSP_JOURNAL_DB_ROLLBACK "journal.db-journal"
#define FSP_JOURNAL_KEY         "rig.key"

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

#endif
