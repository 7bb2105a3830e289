/*
 * The commands of farspool-rig, one file per group, and what they share.
 *
 * Each command returns the exit status. Results go to standard output, errors and warnings to
 * standard error, one line each.
 */
#ifndef FSP_RIG_CMD_H
#define FSP_RIG_CMD_H

#include <stdbool.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "cli/conf.h"
#include "cli/option.h"
#include "rig/journal.h"
#include "rig/linkstate.h"

#define FSP_OUT_MAX ((size_t)512 * 1024 * 1024) /* a whole log as text */

/* What main hands to every command. */
struct fsp_rig {
    struct fsp_conf *conf;
    const char *conf_path;        /* read at the start when it was there */
    const char *const *live_keys; /* for fsp_conf_reload() */
    char *const *argv;
};

/* cmd_init.c */
int fsp_cmd_init(struct fsp_args *args);
/* cmd_enter.c */
int fsp_cmd_enter(struct fsp_args *args);
int fsp_cmd_take(struct fsp_args *args);
/* cmd_read.c */
int fsp_cmd_line(struct fsp_args *args);
int fsp_cmd_print(struct fsp_args *args);
int fsp_cmd_check(struct fsp_args *args);
int fsp_cmd_reckon(struct fsp_args *args);
/* cmd_prove.c */
int fsp_cmd_prove(struct fsp_args *args);
/* cmd_push.c */
int fsp_cmd_push(struct fsp_args *args);
/* cmd_link.c */
int fsp_cmd_carry(struct fsp_args *args);
int fsp_cmd_receipt(struct fsp_args *args);
/* On a full disk what waits is still sent: the reserve is given up for it. */
void fsp_cmd_tend_reserve(const struct fsp_journal *journal);
/* The day's budget as configured. */
void fsp_cmd_budget(struct fsp_args *args, struct fsp_budget *budget);
/* The turn on the link (rig/turn.h), waiting as long as --patience says, else FSP_TURN_WAIT_S. */
enum fsp_rc fsp_cmd_turn(struct fsp_args *args, struct fsp_journal *journal, int *lock,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The link's state as a JSON object, for `line`. */
void fsp_cmd_link_json(const struct fsp_linkstate *state, const struct fsp_budget *budget,
        struct fsp_buf *out);
/* cmd_signer.c */
int fsp_cmd_signer(struct fsp_args *args);
/* cmd_renew.c */
int fsp_cmd_renew(struct fsp_args *args);
/* cmd_run.c */
int fsp_cmd_run(struct fsp_args *args);

/* cmd.c: what they share. */

/* Print "farspool-rig: text" to standard error (made safe to show) and return the exit status. */
int fsp_cmd_fail(const struct fsp_err *err, enum fsp_rc rc);
void fsp_cmd_warn(const char *fmt, ...) FSP_PRINTF(1, 2);
/* Write the buffer to standard output and return the exit status `good`, or 1. Frees the buffer. */
int fsp_cmd_out(struct fsp_buf *buf, int good);
/* The store of --store or the configuration. FSP_EINVAL when neither names one. */
enum fsp_rc fsp_cmd_folder(
        struct fsp_args *args, const char **folder, struct fsp_err *err) FSP_MUST_CHECK;
/* Open that store; the zone of --zone or the configuration is set. */
enum fsp_rc fsp_cmd_open(struct fsp_args *args, enum fsp_journal_use use,
        struct fsp_journal **out, struct fsp_err *err) FSP_MUST_CHECK;
/* The log of --log (origin or incarnation), else the current one. */
enum fsp_rc fsp_cmd_log(struct fsp_args *args, struct fsp_journal *journal,
        struct fsp_journal_log *log, struct fsp_err *err) FSP_MUST_CHECK;
/* Keep an invitation in the store as invitation-INCARNATION (0600): an office that was put back to a
 * day before it knows it again by this file. */
enum fsp_rc fsp_cmd_keep_invitation(struct fsp_journal *journal, const void *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* "field=value" words from the i-th positional word on, as typed members; the caller frees the
 * array and each name's copy with fsp_cmd_typed_free(). */
struct fsp_cmd_typed {
    struct fsp_typed *items;
    size_t n;
};
enum fsp_rc fsp_cmd_typed(struct fsp_args *args, size_t from, struct fsp_cmd_typed *typed,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_cmd_typed_free(struct fsp_cmd_typed *typed);

/* Instructions of the office that wait for the crew: a text; a JSON list; how many. */
enum fsp_rc fsp_cmd_words_text(
        struct fsp_journal *journal, struct fsp_buf *out, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_cmd_words_json(
        struct fsp_journal *journal, struct fsp_buf *out, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_cmd_words_count(
        struct fsp_journal *journal, size_t *n, struct fsp_err *err) FSP_MUST_CHECK;

/* JSON pieces: a quoted text; ,"name": in front of a value. */
void fsp_cmd_json_text(struct fsp_buf *buf, const char *text);
void fsp_cmd_json_time(struct fsp_buf *buf, bool known, int64_t utc_s);
const char *fsp_cmd_plural(uint64_t n); /* "" for 1, else "s" */

#endif
