/*
 * Signed notes, checkpoints (heads) and cosignatures.
 *
 * Source: C2SP signed-note, tlog-checkpoint, tlog-cosignature at commit 5ba5ee8.
 *
 * Ownership: a parsed note borrows the bytes it was parsed from.
 * Errors: FSP_EFORMAT (no note), FSP_ELIMIT, FSP_EVERIFY (a known key's signature fails, or no
 * known signature at all).
 */
#ifndef FSP_PROOF_NOTE_H
#define FSP_PROOF_NOTE_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/key.h"
#include "proof/tree.h"

struct fsp_note_line {
    const char *name; /* borrowed, not NUL-terminated */
    size_t name_len;
    uint8_t id[4];
    const uint8_t *sig; /* inside note->decoded */
    size_t sig_len;
};

struct fsp_note {
    const char *text; /* what is signed, with its final LF; borrowed */
    size_t text_len;
    struct fsp_note_line line[FSP_NOTE_LINES_MAX];
    size_t lines;
    uint8_t decoded[FSP_NOTE_LINES_MAX * 256];
};

struct fsp_checkpoint {
    char origin[FSP_ORIGIN_MAX + 1];
    uint64_t size;
    uint8_t root[FSP_HASH_LEN];
};

/* Split and check the form; verifies nothing. */
enum fsp_rc fsp_note_parse(struct fsp_note *note, const void *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* FSP_OK when vkey signed it; FSP_ENOTFOUND when no line names it; FSP_EVERIFY when one does and
 * fails. For a cosigner *time_s (may be NULL) is its time, 0 for note keys; where a key signed
 * more than once all must hold, and the earliest time counts. */
enum fsp_rc fsp_note_verify(const struct fsp_note *note, const struct fsp_vkey *vkey,
        uint64_t *time_s, struct fsp_err *err) FSP_MUST_CHECK;
/* Append text, an empty line and one signature line by each key in turn: make the first with
 * fsp_note_sign(), add more with fsp_note_add_line(). Text must end in LF. */
enum fsp_rc fsp_note_sign(struct fsp_buf *buf, const void *text, size_t len,
        const struct fsp_skey *skey, struct fsp_err *err) FSP_MUST_CHECK;
/* One signature line for raw signature bytes. */
void fsp_note_add_line(
        struct fsp_buf *buf, const struct fsp_vkey *vkey, const uint8_t *sig, size_t len);

/* The three lines. */
void fsp_checkpoint_write(const struct fsp_checkpoint *head, struct fsp_buf *buf);
/* Parse a note's text as a checkpoint; extension lines are refused. */
enum fsp_rc fsp_checkpoint_parse(struct fsp_checkpoint *head, const char *text, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The 72 bytes behind the key id in a cosignature line: u64 big-endian time, signature. */
enum fsp_rc fsp_cosign(const struct fsp_checkpoint *head, const struct fsp_skey *cosigner,
        uint64_t time_s, uint8_t out[8 + FSP_SIG_LEN], struct fsp_err *err) FSP_MUST_CHECK;

#endif
