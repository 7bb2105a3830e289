/*
 * Configuration: ini files read against one table of keys.
 *
 * The table drives parsing, the effective configuration, the example file and the check of its
 * man page. Unknown sections and keys, keys given twice and values out of range are errors that
 * name file, line, key and what is allowed. Reading is all or nothing: after a failure the
 * values are what they were.
 *
 * Ownership: new/free; the table is the program's and static; texts are borrowed ("peek") until
 * the next load or free.
 * Units: an integer's unit is in its key's name.
 * Threads: one fsp_conf, one thread.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_ENOTFOUND (no such file), FSP_EIO, FSP_ENOMEM.
 */
#ifndef FSP_CLI_CONF_H
#define FSP_CLI_CONF_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"

#define FSP_CONF_LINE_MAX 198 /* characters of one line, inih's own limit */

enum fsp_conf_type {
    FSP_CONF_TEXT, /* least..most bytes */
    FSP_CONF_INT,  /* within least..most */
    FSP_CONF_BOOL, /* yes or no */
    FSP_CONF_PATH, /* absolute; least 0 also allows empty */
};

struct fsp_conf_key {
    const char *section; /* NULL ends the table */
    const char *name;
    enum fsp_conf_type type;
    const char *fallback; /* as it would be written; the value when the key is not given */
    int64_t least, most;
    const char *says;
};

struct fsp_conf; /* opaque */

/* Every key at its fallback. */
enum fsp_rc fsp_conf_new(const struct fsp_conf_key *keys, struct fsp_conf **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_conf_free(struct fsp_conf *conf);

/* Read a file (again): what it does not name goes back to its fallback. */
enum fsp_rc fsp_conf_load(
        struct fsp_conf *conf, const char *path, struct fsp_err *err) FSP_MUST_CHECK;
/* The same from memory; `path` is only named in errors. */
enum fsp_rc fsp_conf_parse(struct fsp_conf *conf, const char *text, size_t len,
        const char *path, struct fsp_err *err) FSP_MUST_CHECK;

/* Read the file again for a program that runs: the keys named in `live` ("section.name", NULL at the
 * end; each must be in the table) take what it says now, the others keep what they have, and their
 * texts stay where they are. taken and held, both emptied first, name the keys with another value in
 * the file than before, parted by commas: those that took it, and those that hold it from the next
 * start. */
enum fsp_rc fsp_conf_reload(struct fsp_conf *conf, const char *path, const char *const *live,
        struct fsp_buf *taken, struct fsp_buf *held, struct fsp_err *err) FSP_MUST_CHECK;

/* The key must be in the table with that type (our own bug otherwise). Peek. */
const char *fsp_conf_text(const struct fsp_conf *conf, const char *section, const char *name);
int64_t fsp_conf_int(const struct fsp_conf *conf, const char *section, const char *name);
bool fsp_conf_bool(const struct fsp_conf *conf, const char *section, const char *name);

/* The effective configuration as an ini file that reads back to itself; with what each key says
 * and allows as comments when `says` is set (the example file). */
void fsp_conf_print(const struct fsp_conf *conf, bool says, struct fsp_buf *buf);

#endif
