#include "rig/runlog.h"

#include <stdio.h>
#include <string.h>

#include "base/clock.h"

#define LINES_AT_ONCE 20
#define LINE_EVERY_US (INT64_C(300) * FSP_US_PER_S)
#define AGAIN_US      (INT64_C(3600) * FSP_US_PER_S)

/* ---- one line ----------------------------------------------------------------------------- */

static void
begin(struct fsp_buf *line, const char *level, const char *event)
{
    fsp_buf_init(line, FSP_LOGLINE_MAX);
    fsp_logline_begin(line, level, event);
}

/* A log that cannot be written stops nothing. */
static void
put(struct fsp_buf *line, FILE *to)
{
    (void)fprintf(to, "%s\n", fsp_buf_peek(line));
    (void)fflush(to);
    fsp_buf_fini(line);
}

/* On the link's path: may it be said now? */
static bool
may_say(struct fsp_runlog *log, int64_t now_us)
{
    if (fsp_lograte_may(&log->rate, now_us))
        return true;
    log->unsaid++;
    return false;
}

static void
put_limited(struct fsp_runlog *log, struct fsp_buf *line, FILE *to)
{
    if (log->unsaid > 0)
        fsp_logline_u64(line, "unsaid", log->unsaid);
    log->unsaid = 0;
    put(line, to);
}

/* ---- events ------------------------------------------------------------------------------- */

void
fsp_runlog_init(struct fsp_runlog *log, bool once)
{
    memset(log, 0, sizeof(*log));
    log->once = once;
    log->rate = (struct fsp_lograte){.most = LINES_AT_ONCE, .every_us = LINE_EVERY_US};
    log->failures = log->rate;
}

void
fsp_runlog_start(
        const char *origin, const struct fsp_journal_progress *progress, uint64_t every_s)
{
    struct fsp_buf line;

    begin(&line, "info", "start");
    fsp_logline_text(&line, "log", origin);
    fsp_logline_u64(&line, "size", progress->size);
    fsp_logline_u64(&line, "pending", progress->size - progress->held + progress->older);
    fsp_logline_u64(&line, "every-s", every_s);
    put(&line, stdout);
}

void
fsp_runlog_file(struct fsp_runlog *log, const char *name, const struct fsp_journal_added *added,
        const struct fsp_err *failed)
{
    struct fsp_buf line;

    log->files++;
    if (failed != NULL) {
        begin(&line, "warn", "refused");
        fsp_logline_text(&line, "file", name);
        fsp_logline_text(&line, "why", failed->text);
        put(&line, stderr);
        return;
    }
    begin(&line, "info", "took");
    fsp_logline_text(&line, "file", name);
    fsp_logline_u64(&line, "added", added->added);
    fsp_logline_u64(&line, "there", added->skipped);
    put(&line, stdout);
}

static void
say_pushed(struct fsp_runlog *log, int64_t now_us)
{
    struct fsp_buf line;

    if (log->waiting.bundles == 0 || !may_say(log, now_us))
        return;
    begin(&line, "info", "pushed");
    fsp_logline_u64(&line, "records", log->waiting.records);
    fsp_logline_u64(&line, "bundles", log->waiting.bundles);
    fsp_logline_u64(&line, "bytes", log->waiting.bytes);
    fsp_logline_u64(&line, "held", log->held);
    put_limited(log, &line, stdout);
    log->waiting = (struct fsp_runlog_sums){.records = 0};
}

static void
say_words(const struct fsp_push_report *report)
{
    struct fsp_buf line;

    if (report->words > 0) {
        begin(&line, "info", "instructions");
        fsp_logline_u64(&line, "n", report->words);
        fsp_logline_text(&line, "see", "farspool-rig line");
        put(&line, stdout);
    }
    if (report->words_ignored > 0) {
        begin(&line, "warn", "instructions-ignored");
        fsp_logline_u64(&line, "n", report->words_ignored);
        fsp_logline_text(&line, "why", report->word_why);
        put(&line, stderr);
    }
}

static void
say_day(struct fsp_runlog *log, const struct fsp_push_report *report)
{
    struct fsp_buf line;

    if (report->used_up == log->used_up)
        return;
    log->used_up = report->used_up;
    begin(&line, report->used_up ? "warn" : "info", "day");
    fsp_logline_text(&line, "state", report->used_up ? "used-up" : "new");
    if (report->used_up) {
        fsp_logline_u64(&line, "bytes", report->used);
        fsp_logline_text(
                &line, "why", "routine records wait for the next day (UTC), urgent ones go on");
    }
    put(&line, report->used_up ? stderr : stdout);
}

static void
say_down(struct fsp_runlog *log, const struct fsp_sync_action *next, int64_t now_us)
{
    int64_t wait_us = next->until_us - now_us;
    struct fsp_buf line;

    if (log->once || !may_say(log, now_us))
        return;
    begin(&line, "warn", "link");
    fsp_logline_text(&line, "state", "down");
    fsp_logline_text(&line, "why", log->why);
    fsp_logline_u64(&line, "tries", log->tries);
    fsp_logline_u64(&line, "next-s", wait_us > 0 ? (uint64_t)(wait_us / FSP_US_PER_S) : 0);
    put_limited(log, &line, stderr);
    log->said = true;
}

static void
say_up(struct fsp_runlog *log, int64_t now_us)
{
    struct fsp_buf line;

    log->down = false;
    if (!log->said || !may_say(log, now_us))
        return;
    begin(&line, "info", "link");
    fsp_logline_text(&line, "state", "up");
    fsp_logline_u64(&line, "down-s", (uint64_t)((now_us - log->down_us) / FSP_US_PER_S));
    fsp_logline_u64(&line, "tries", log->tries);
    put_limited(log, &line, stdout);
    log->said = false;
}

/* Down with a reason, or with another one; up with the first receipt. */
static void
see_link(struct fsp_runlog *log, const struct fsp_push_report *report,
        const struct fsp_sync_action *next, int64_t now_us)
{
    bool other = strcmp(log->why, report->why) != 0;

    if (log->down && report->bundles > 0)
        say_up(log, now_us);
    if (next->kind != FSP_SYNC_WAIT || next->wait != FSP_SYNC_FOR_LINK ||
            report->why[0] == '\0') {
        if (next->kind ==
                FSP_SYNC_REST) /* a courier's receipts emptied the log: nobody knows */
            log->down = false;
        return;
    }
    (void)snprintf(log->why, sizeof(log->why), "%s", report->why);
    if (!log->down) {
        log->down_us = now_us;
        log->tries = 0;
    }
    log->tries += report->tries;
    if (!log->down || other || !log->said) {
        log->down = true;
        say_down(log, next, now_us);
    }
}

void
fsp_runlog_push(struct fsp_runlog *log, const struct fsp_push_report *report,
        const struct fsp_sync_action *next, int64_t now_us)
{
    struct fsp_buf line;

    log->held = report->held != 0 ? report->held : log->held;
    log->waiting.records += report->records;
    log->waiting.bundles += report->bundles;
    log->waiting.bytes += report->bytes;
    log->all.records += report->records;
    log->all.bundles += report->bundles;
    log->all.bytes += report->bytes;
    say_pushed(log, now_us);
    say_words(report);
    if (report->went_back) {
        begin(&line, "warn", "went-back");
        fsp_logline_u64(&line, "held", report->held);
        fsp_logline_text(&line, "why", "the office held less than it had receipted");
        put(&line, stderr);
    }
    if (next != NULL) {
        say_day(log, report);
        see_link(log, report, next, now_us);
    }
}

void
fsp_runlog_failure(struct fsp_runlog *log, const char *what, const char *why, int64_t now_us)
{
    struct fsp_buf line;

    if (log->once || (strcmp(log->failed, why) == 0 && now_us - log->failed_us < AGAIN_US) ||
            !fsp_lograte_may(&log->failures, now_us))
        return;
    (void)snprintf(log->failed, sizeof(log->failed), "%s", why);
    log->failed_us = now_us;
    begin(&line, "err", "failed");
    fsp_logline_text(&line, "what", what);
    fsp_logline_text(&line, "why", why);
    put(&line, stderr);
}

void
fsp_runlog_good(struct fsp_runlog *log, int64_t now_us)
{
    struct fsp_buf line;

    say_pushed(log, now_us);
    if (log->failed[0] == '\0')
        return;
    log->failed[0] = '\0';
    begin(&line, "info", "failed");
    fsp_logline_text(&line, "state", "good");
    fsp_logline_u64(&line, "after-s", (uint64_t)((now_us - log->failed_us) / FSP_US_PER_S));
    put(&line, stdout);
}

void
fsp_runlog_reload(const char *path, const char *taken, const char *held, const char *why)
{
    struct fsp_buf line;

    begin(&line, why == NULL ? "info" : "err", "reload");
    if (why == NULL) {
        fsp_logline_text(&line, "file", path);
        fsp_logline_text(&line, "taken", taken);
        fsp_logline_text(&line, "from-next-start", held);
    } else {
        fsp_logline_text(&line, "why", why);
        fsp_logline_text(&line, "state", "the old configuration holds");
    }
    put(&line, why == NULL ? stdout : stderr);
}

void
fsp_runlog_stop(const struct fsp_runlog *log)
{
    struct fsp_buf line;

    begin(&line, "info", "stop");
    fsp_logline_u64(&line, "records", log->all.records);
    fsp_logline_u64(&line, "bundles", log->all.bundles);
    fsp_logline_u64(&line, "bytes", log->all.bytes);
    fsp_logline_u64(&line, "files", log->files);
    put(&line, stdout);
}

const char *
fsp_runlog_why(const struct fsp_runlog *log)
{
    return log->why;
}
