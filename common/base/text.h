/*
 * Text from outside, made safe to show; hexadecimal; names.
 *
 * Ownership: outputs go into the caller's storage.
 * Errors: FSP_EFORMAT.
 */
#ifndef FSP_BASE_TEXT_H
#define FSP_BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"

/* Valid UTF-8 (no surrogates, no overlong forms) without control characters (C0, C1, DEL), line
 * and paragraph separators or the bidirectional controls (U+061C, U+200E/F, U+202A-E, U+2066-9). */
bool fsp_text_printable(const void *text, size_t len);
/* Append the text; what fsp_text_printable() refuses is shown as \xHH per byte. */
void fsp_text_show(struct fsp_buf *buf, const void *text, size_t len);

/* Lower-case hexadecimal, NUL-terminated; out holds 2 * len + 1. */
void fsp_text_hex(char *out, const uint8_t *bytes, size_t len);
/* The value of a hexadecimal digit (either case), -1 for anything else. */
int fsp_text_hex_digit(char c);
/* Exactly 2 * len hexadecimal digits (either case). */
enum fsp_rc fsp_text_unhex(uint8_t *out, size_t len, const char *text) FSP_MUST_CHECK;

/* A fleet's or rig's name: 1 to FSP_NAME_MAX of a-z 0-9 and inner '-'. */
bool fsp_text_name(const char *name);

/* Decimal digits without sign or leading zero, all of the text, at most UINT64_MAX. */
enum fsp_rc fsp_text_u64(const char *text, size_t len, uint64_t *out) FSP_MUST_CHECK;

/* Of the n words, the one nearest to `word` by edits, when near enough to be meant; else NULL. */
const char *fsp_text_nearest(const char *word, const char *const *words, size_t n);

#endif
