/*
 * What the commands of farspool-office share, and the commands themselves.
 *
 * Only these files print, read the environment and turn codes into exit statuses.
 */
#ifndef FSP_OFFICE_CMD_H
#define FSP_OFFICE_CMD_H

#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "cli/conf.h"
#include "cli/option.h"
#include "office/fleet.h"
#include "office/shelf.h"

#define FSP_OFFICE_CONF   "/etc/farspool/office.conf"
#define FSP_OFFICE_OUTPUT ((size_t)256 * 1024 * 1024) /* most that a command prints */

/* Made by main, found through fsp_args_ctx(). */
struct fsp_office {
    const struct fsp_env *env;
    struct fsp_conf *conf; /* NULL until fsp_cmd_conf() */
};

int fsp_cmd_init(struct fsp_args *args);
int fsp_cmd_invite(struct fsp_args *args);
int fsp_cmd_serve(struct fsp_args *args);
int fsp_cmd_take(struct fsp_args *args);
int fsp_cmd_fleet(struct fsp_args *args);
int fsp_cmd_rig(struct fsp_args *args);
int fsp_cmd_early(struct fsp_args *args);
int fsp_cmd_prove(struct fsp_args *args);
int fsp_cmd_witness(struct fsp_args *args);
int fsp_cmd_instruct(struct fsp_args *args);
int fsp_cmd_roster(struct fsp_args *args);
int fsp_cmd_keys(struct fsp_args *args);
int fsp_cmd_check(struct fsp_args *args);
int fsp_cmd_backup(struct fsp_args *args);
int fsp_cmd_hand_back(struct fsp_args *args);
int fsp_cmd_confirm(struct fsp_args *args);
int fsp_cmd_readmit(struct fsp_args *args);
int fsp_cmd_user(struct fsp_args *args);

/* "farspool-office: text" to standard error; the exit status. */
int fsp_cmd_fail(enum fsp_rc rc, const struct fsp_err *err);
/* A line to standard error that is no failure. */
void fsp_cmd_warn(const char *fmt, ...) FSP_PRINTF(1, 2);
/* Write the buffer to standard output; the exit status. */
int fsp_cmd_print(const struct fsp_buf *buf);

/* Load --conf, or FSP_OFFICE_CONF when it is there, or the fallbacks. */
enum fsp_rc fsp_cmd_conf(struct fsp_args *args, struct fsp_err *err) FSP_MUST_CHECK;
/* --store or the configuration's. Peek. */
enum fsp_rc fsp_cmd_store(
        struct fsp_args *args, const char **store, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_cmd_shelf(struct fsp_args *args, enum fsp_shelf_access access,
        struct fsp_shelf **shelf, struct fsp_err *err) FSP_MUST_CHECK;
/* Seconds since 1970 by the clock. */
int64_t fsp_cmd_now_s(struct fsp_args *args);

#endif
