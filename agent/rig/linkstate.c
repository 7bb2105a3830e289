#include "rig/linkstate.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "base/text.h"
#include "rig/link.h"
#include "store/db.h"

/* Keys of the meta table. */
#define KEY_BYTES "link-bytes" /* "day bytes" */
#define KEY_NEXT  "link-next"  /* "waits-for seconds", "nothing 0" */
#define KEY_WHY   "link-why"

/* TCP over IPv4: headers of a segment with timestamps (RFC 791, 9293, 7323), and what a segment
 * carries on a path of 1,500 bytes; an answer to every second one (RFC 5681, section 4.2). */
#define SEGMENT_HEAD 52
#define SEGMENT_LOAD 1448
/* Opening and closing is link.h's. A record of TLS adds 22 bytes (RFC 8446, section 5.2) for each
 * 16 KiB. */
#define TLS_RECORD_HEAD 22
#define TLS_RECORD_LOAD 16384

const char *
fsp_linkstate_wait(enum fsp_sync_wait wait)
{
    switch (wait) {
    case FSP_SYNC_FOR_NOTHING:
        return "nothing";
    case FSP_SYNC_FOR_MORE:
        return "more";
    case FSP_SYNC_FOR_DAY:
        return "day";
    case FSP_SYNC_FOR_LINK:
        return "link";
    case FSP_SYNC_FOR_POLL:
        return "poll";
    }
    return "nothing";
}

static int64_t
today(const struct fsp_env *env)
{
    int64_t now_s = env->utc_us(env->ctx) / FSP_US_PER_S;

    return now_s >= 0 ? now_s / FSP_S_PER_DAY : (now_s - FSP_S_PER_DAY + 1) / FSP_S_PER_DAY;
}

/* ---- kept -------------------------------------------------------------------------------- */

/* The value's text; "" when it is not there. */
static enum fsp_rc
get(struct fsp_db *db, const char *key, char *out, size_t size, struct fsp_err *err)
{
    struct fsp_buf buf;
    enum fsp_rc rc;

    out[0] = '\0';
    fsp_buf_init(&buf, size - 1);
    rc = fsp_journal_meta(db, key, &buf, err);
    if (rc == FSP_OK)
        memcpy(out, fsp_buf_peek(&buf), buf.len + 1);
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    fsp_buf_fini(&buf);
    return rc;
}

/* Two words, the second a number. What does not read is as if it were not there: a count, no more. */
static bool
split(char *text, const char **word, uint64_t *number)
{
    char *space = strchr(text, ' ');

    if (space == NULL)
        return false;
    *space = '\0';
    *word = text;
    return fsp_text_u64(space + 1, strlen(space + 1), number) == FSP_OK;
}

enum fsp_rc
fsp_linkstate_read(struct fsp_journal *journal, struct fsp_linkstate *out, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    char bytes[64];
    char next[64];
    const char *word;
    uint64_t number;
    enum fsp_rc rc;

    memset(out, 0, sizeof(*out));
    out->day = today(fsp_journal_env(journal));
    rc = fsp_db_begin_read(db, err);
    if (rc != FSP_OK)
        return rc;
    rc = get(db, KEY_BYTES, bytes, sizeof(bytes), err);
    if (rc == FSP_OK)
        rc = get(db, KEY_NEXT, next, sizeof(next), err);
    if (rc == FSP_OK)
        rc = get(db, KEY_WHY, out->why, sizeof(out->why), err);
    fsp_db_rollback(db);
    if (rc != FSP_OK)
        return rc;
    if (split(bytes, &word, &number)) {
        char day[24];

        (void)snprintf(day, sizeof(day), "%" PRId64, out->day);
        if (strcmp(day, word) == 0)
            out->bytes = number;
    }
    if (split(next, &word, &number) && number <= INT64_MAX) {
        for (int wait = FSP_SYNC_FOR_NOTHING; wait <= FSP_SYNC_FOR_POLL; wait++)
            if (strcmp(word, fsp_linkstate_wait((enum fsp_sync_wait)wait)) == 0)
                out->wait = (enum fsp_sync_wait)wait;
        out->next_s = (int64_t)number;
    }
    return FSP_OK;
}

enum fsp_rc
fsp_linkstate_write(
        struct fsp_journal *journal, const struct fsp_linkstate *state, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    char bytes[64];
    char next[64];
    enum fsp_rc rc = fsp_db_begin(db, err);

    (void)snprintf(bytes, sizeof(bytes), "%" PRId64 " %" PRIu64, state->day, state->bytes);
    (void)snprintf(next, sizeof(next), "%s %" PRId64, fsp_linkstate_wait(state->wait),
            state->next_s < 0 ? 0 : state->next_s);
    if (rc == FSP_OK)
        rc = fsp_journal_set_meta(db, KEY_BYTES, bytes, err);
    if (rc == FSP_OK)
        rc = fsp_journal_set_meta(db, KEY_NEXT, next, err);
    if (rc == FSP_OK)
        rc = fsp_journal_set_meta(db, KEY_WHY, state->why, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}

/* ---- reckoned ---------------------------------------------------------------------------- */

/* One direction: its bytes, the heads of its segments, and the other side's answers to them. */
static uint64_t
stream(size_t len)
{
    uint64_t segments = (len + SEGMENT_LOAD - 1) / SEGMENT_LOAD;

    return len + segments * SEGMENT_HEAD + (segments + 1) / 2 * SEGMENT_HEAD;
}

static size_t
in_records(size_t len, bool tls)
{
    return tls ? len + (len / TLS_RECORD_LOAD + 1) * TLS_RECORD_HEAD : len;
}

uint64_t
fsp_linkstate_exchange(const struct fsp_exchange *exchange)
{
    uint64_t bytes = stream(in_records(exchange->sent, exchange->tls));

    if (exchange->received > 0)
        bytes += stream(in_records(exchange->received, exchange->tls));
    if (exchange->connects)
        bytes += FSP_LINK_OPEN_BYTES + (exchange->tls ? (uint64_t)FSP_LINK_TLS_BYTES : 0U);
    return bytes;
}

static uint64_t
less(uint64_t a, uint64_t b)
{
    return a > b ? a - b : 0;
}

static uint64_t
reserve(const struct fsp_budget *budget)
{
    /* Divided first: the budget may be any number. */
    return budget->day_bytes / 100 * budget->reserve_percent;
}

void
fsp_linkstate_left(const struct fsp_linkstate *state, const struct fsp_budget *budget,
        const struct fsp_env *env, struct fsp_sync_event *event)
{
    int64_t utc_us = env->utc_us(env->ctx);
    int64_t day_us = FSP_S_PER_DAY * FSP_US_PER_S;
    int64_t into_us = utc_us % day_us;

    if (into_us < 0)
        into_us += day_us;
    event->day_ends_us = event->now_us + day_us - into_us;
    event->left = FSP_SYNC_NO_BUDGET;
    event->left_urgent = FSP_SYNC_NO_BUDGET;
    if (budget->day_bytes == 0)
        return;
    event->left_urgent = less(budget->day_bytes, state->bytes);
    event->left = less(event->left_urgent, reserve(budget));
}

/* ---- shown ------------------------------------------------------------------------------- */

bool
fsp_linkstate_used_up(const struct fsp_linkstate *state, const struct fsp_budget *budget)
{
    return budget->day_bytes > 0 &&
           less(budget->day_bytes, reserve(budget)) < state->bytes + FSP_SYNC_BUDGET_LEAST;
}

void
fsp_linkstate_text(const struct fsp_linkstate *state, const struct fsp_budget *budget,
        int64_t now_s, struct fsp_buf *out)
{
    char time[FSP_TIME_TEXT_LEN + 1];

    fsp_buf_printf(out, "link: %" PRIu64 " bytes used today (UTC)", state->bytes);
    if (budget->day_bytes > 0)
        fsp_buf_printf(out, " of %" PRIu64 ", %" PRIu64 " of them only for urgent records",
                budget->day_bytes, reserve(budget));
    fsp_buf_add_byte(out, '\n');
    if (fsp_linkstate_used_up(state, budget))
        fsp_buf_add_text(out, "day's bytes used up: routine records wait for the next day, "
                              "urgent ones go on\n");
    if (state->wait == FSP_SYNC_FOR_NOTHING || state->next_s == 0)
        return;
    fsp_time_text(state->next_s, time);
    if (state->wait == FSP_SYNC_FOR_POLL) {
        fsp_buf_printf(out, "nothing waits; the office is asked for its word: %s\n", time);
        return;
    }
    if (state->next_s <= now_s)
        fsp_buf_add_text(out, "next try: due now; run or push makes it");
    else
        fsp_buf_printf(out, "next try: %s", time);
    if (state->wait == FSP_SYNC_FOR_MORE)
        fsp_buf_add_text(out, " (waits for more records, or for these to get old)");
    else if (state->wait == FSP_SYNC_FOR_DAY)
        fsp_buf_add_text(out, " (waits for the next day's bytes)");
    fsp_buf_add_byte(out, '\n');
    if (state->wait == FSP_SYNC_FOR_LINK && state->why[0] != '\0') {
        fsp_buf_add_text(out, "last try: ");
        fsp_text_show(out, state->why, strlen(state->why));
        fsp_buf_add_byte(out, '\n');
    }
}
