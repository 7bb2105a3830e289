/*
 * Secrets as a person gives them: typed at the terminal without echo, or the first line of a file.
 * The one place below the programs that asks at a terminal.
 *
 * Ownership: the caller's storage, in memory it locks and wipes.
 * Threads: one; the terminal and the signals of the process are used while it is asked.
 * Errors: FSP_EINVAL (nowhere to ask, two entries that differ, empty), FSP_ELIMIT, FSP_EFORMAT, FSP_EIO,
 * FSP_ENOTFOUND.
 */
#ifndef FSP_CLI_SECRET_H
#define FSP_CLI_SECRET_H

#include <stddef.h>

#include "base/err.h"

struct fsp_secret_wish {
    const char *what;   /* "passphrase", "password": for messages */
    const char *from;   /* a file, "-" for standard input; NULL: ask at the terminal */
    const char *option; /* the option that names the file, for messages */
    const char *prompt; /* "passphrase of heron.signer: " */
    size_t size;        /* bytes of out and again: two more than the longest */
};

/* Nothing prompts unless standard input is a terminal. again: as out, for a new secret, which is typed
 * twice; NULL for one that is known. */
enum fsp_rc fsp_secret_get(const struct fsp_secret_wish *wish, char *out, char *again,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
