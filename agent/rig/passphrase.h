/*
 * Passphrases as a person gives them: typed at the terminal without echo, or the first line of a
 * file.
 *
 * Ownership: locked memory (proof/signer.h), wiped by fsp_passphrase_free().
 * Threads: one; the terminal and the signals of the process are used while it is asked.
 * Errors: FSP_EINVAL (nowhere to ask, two entries that differ), FSP_ELIMIT, FSP_EFORMAT, FSP_EIO,
 * FSP_ENOTFOUND, FSP_ENOMEM.
 */
#ifndef FSP_RIG_PASSPHRASE_H
#define FSP_RIG_PASSPHRASE_H

#include <stdbool.h>

#include "base/err.h"

struct fsp_passphrase_wish {
    const char *from;   /* a file, "-" for standard input; NULL: ask at the terminal */
    const char *option; /* the option that names the file, for messages */
    const char *prompt; /* "passphrase of heron.signer: " */
    bool twice;         /* a new one: typed twice */
};

/* Nothing prompts unless standard input is a terminal. */
enum fsp_rc fsp_passphrase_get(
        const struct fsp_passphrase_wish *wish, char **out, struct fsp_err *err) FSP_MUST_CHECK;

#endif
