/*
 * Numbers as people read them, and JSON pieces as machines do.
 *
 * Every text of the line's arithmetic goes through here, so that rig, office and tests write the
 * same bytes. JSON numbers are the shortest text that reads back as the same double.
 *
 * Units: SI in; FSP_UNITS_FIELD writes ft, lb, ton-miles; FSP_UNITS_METRIC m, kN, t-km.
 * Threads: pure; the program must leave LC_NUMERIC at "C".
 * Errors: stick in the buffer.
 */
#ifndef FSP_LINE_SAY_H
#define FSP_LINE_SAY_H

#include <stdbool.h>
#include <stdint.h>

#include "base/buf.h"

enum fsp_units {
    FSP_UNITS_FIELD = 0,
    FSP_UNITS_METRIC,
};

/* "1,234.50" with that many decimals; "unknown" when not finite. */
void fsp_say_number(struct fsp_buf *buf, double value, int decimals);
/* "9,300 ft" or "2,834.6 m"; whole feet and tenths of metres from 100 up, else one more decimal. */
void fsp_say_length(struct fsp_buf *buf, double metres, enum fsp_units units);
/* "11.5", "11.25". */
void fsp_say_laps(struct fsp_buf *buf, double laps);
/* "400,000 lb" or "1,779.3 kN". */
void fsp_say_load(struct fsp_buf *buf, double newtons, enum fsp_units units);
/* "53.70 ton-miles" or "78.40 t-km". */
void fsp_say_work(struct fsp_buf *buf, double joules, enum fsp_units units);

/* JSON: a number (null when not finite), a quoted string (null for NULL). */
void fsp_say_json_number(struct fsp_buf *buf, double value);
void fsp_say_json_text(struct fsp_buf *buf, const char *text);
/* The same for the first len bytes of a text. */
void fsp_say_json_piece(struct fsp_buf *buf, const char *text, size_t len);

/* One member of an object: the comma that is due, the key, the value. *first tells whether it is
 * the object's first member and is cleared. */
void fsp_say_key(struct fsp_buf *buf, bool *first, const char *key);
void fsp_say_member(struct fsp_buf *buf, bool *first, const char *key, double value);
void fsp_say_member_text(struct fsp_buf *buf, bool *first, const char *key, const char *text);
/* Seconds since 1970 as RFC 3339; null for 0, which is "not known". */
void fsp_say_member_time(struct fsp_buf *buf, bool *first, const char *key, int64_t utc_s);
void fsp_say_member_bool(struct fsp_buf *buf, bool *first, const char *key, bool value);
void fsp_say_member_count(struct fsp_buf *buf, bool *first, const char *key, uint64_t value);

#endif
