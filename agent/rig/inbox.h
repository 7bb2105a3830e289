/*
 * Day sheets as files: one file whole or refused, and the inbox folder.
 *
 * STORE/inbox is where sheets are dropped. What was taken moves to inbox/taken; what was refused
 * moves to inbox/refused, and the reason is beside it in NAME.reason before it is. A name that is
 * there already gets .2, .3 …; a very long one is cut. A file taken twice (a crash between commit and
 * move) adds nothing the second time.
 *
 * Still being written: names that begin with '.' or end in .part, .tmp or .reason are left alone
 * (write under such a name, then rename); so is a file that a process has open for writing, where
 * that can be known, one that was changed within 2 seconds, and one whose last line does not end
 * within 60. A file that changes while it is taken stays, and is looked at again.
 *
 * Ownership: results are values.
 * Threads: as the journal.
 * Errors: FSP_EFORMAT, FSP_ELIMIT for the file's own faults (line, field, found, allowed); others
 * are ours, and the file stays where it is.
 */
#ifndef FSP_RIG_INBOX_H
#define FSP_RIG_INBOX_H

#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"
#include "rig/journal.h"

/* Read, check, match and add one file. Nothing of it is kept when this fails. */
enum fsp_rc fsp_inbox_take_file(struct fsp_journal *journal, const char *path, bool also,
        struct fsp_journal_added *added, struct fsp_err *err) FSP_MUST_CHECK;

struct fsp_inbox_listener {
    /* A file was taken (failed NULL) or refused, and moved. May be NULL. */
    void (*said)(void *ctx, const char *name, const struct fsp_journal_added *added,
            const struct fsp_err *failed);
    /* Asked before each file; true ends the round. May be NULL. */
    bool (*stop)(void *ctx);
    void *ctx;
};

/* Take every file that lies in the inbox, in the order of names. Unless `all`, a file must have
 * been left alone for a while. A file that fails by no fault of its own (unreadable, cannot be moved,
 * no space) stays, the others are taken all the same; the first such failure is returned at the
 * end. */
enum fsp_rc fsp_inbox_round(struct fsp_journal *journal, bool all,
        const struct fsp_inbox_listener *listener, struct fsp_err *err) FSP_MUST_CHECK;

#endif
