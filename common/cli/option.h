/*
 * One option table per program: it drives parsing, --help, --version, completion and the checks
 * of the man pages.
 *
 * A program is a list of commands, each with its options. Words are parsed in any order:
 * `--name value`, `--name=value`, flags, positional words; after `--` everything is positional,
 * a lone `-` is positional too. A first word `help` is the same as --help.
 *
 * Ownership: tables are the program's and static; fsp_args borrows tables and argv until it is
 * freed.
 * Threads: one fsp_args, one thread.
 * Errors: FSP_EINVAL with the nearest suggestion, FSP_ENOMEM.
 */
#ifndef FSP_CLI_OPTION_H
#define FSP_CLI_OPTION_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"

struct fsp_option {
    const char *name;       /* without the dashes; NULL ends the table */
    const char *value_name; /* shown in the help, e.g. DIR; NULL: a flag */
    const char *says;
    bool many; /* may be given more than once: fsp_args_nth() */
};

struct fsp_args; /* opaque */

struct fsp_command {
    const char *name;                  /* NULL ends the table */
    const char *synopsis;              /* positional words, e.g. "KIND field=value...", or "" */
    const char *says;                  /* one line */
    const struct fsp_option *options;  /* ends with a NULL name; NULL: none */
    int (*run)(struct fsp_args *args); /* returns the exit status */
};

struct fsp_program {
    const char *name;
    const char *version;
    const char *says;                   /* one line */
    const struct fsp_command *commands; /* ends with a NULL name */
};

enum fsp_args_wish {
    FSP_ARGS_RUN,     /* run fsp_args_command() */
    FSP_ARGS_HELP,    /* print fsp_args_help() to standard output, exit 0 */
    FSP_ARGS_VERSION, /* print "name version", exit 0 */
};

/* Parse argv[1..]. No command at all is FSP_EINVAL. */
enum fsp_rc fsp_args_parse(const struct fsp_program *program, int argc, char *const argv[],
        struct fsp_args **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_args_free(struct fsp_args *args);

enum fsp_args_wish fsp_args_wish(const struct fsp_args *args);
/* NULL for help and version of the whole program. */
const struct fsp_command *fsp_args_command(const struct fsp_args *args);
/* The option's value (the last one given), NULL when absent or a flag. */
const char *fsp_args_get(const struct fsp_args *args, const char *name);
/* The i-th value of an option that may be given more than once, NULL past the end. */
const char *fsp_args_nth(const struct fsp_args *args, const char *name, size_t i);
/* True when the flag or option was given. */
bool fsp_args_has(const struct fsp_args *args, const char *name);
/* The option as a whole number within least..most; *out keeps its value when the option is
 * absent. FSP_EINVAL names option, value and range. */
enum fsp_rc fsp_args_u64(const struct fsp_args *args, const char *name, uint64_t least,
        uint64_t most, uint64_t *out, struct fsp_err *err);
/* i-th positional word, NULL past the end; how many there are. */
const char *fsp_args_rest(const struct fsp_args *args, size_t i);
size_t fsp_args_rest_count(const struct fsp_args *args);
/* FSP_EINVAL with the command's synopsis unless least <= count <= most. */
enum fsp_rc fsp_args_rest_within(const struct fsp_args *args, size_t least, size_t most,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Whatever main wants its commands to find; borrowed. */
void fsp_args_set_ctx(struct fsp_args *args, void *ctx);
void *fsp_args_ctx(const struct fsp_args *args);

/* Help of the whole program (command NULL) or of one command. */
void fsp_args_help(const struct fsp_program *program, const struct fsp_command *command,
        struct fsp_buf *buf);
/* One line a command: its name, then its options with dashes, value options ending in '='; for
 * the bash completion. */
void fsp_args_words(const struct fsp_program *program, struct fsp_buf *buf);

/* 0 good, 64 usage (EINVAL), 2 verification failed (EVERIFY, ECORRUPT, EFORK), 69 unavailable,
 * 75 try later (EAGAIN, EBUSY), else 1. */
int fsp_exit_status(enum fsp_rc rc);

#endif
