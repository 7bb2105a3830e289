#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/clock.h"
#include "base/file.h"
#include "base/text.h"
#include "rig/cmd.h"
#include "rig/head.h"
#include "rig/knows.h"
#include "rig/pack.h"
#include "rig/push.h"
#include "rig/receipt.h"
#include "rig/reserve.h"
#include "rig/turn.h"
#include "wire/answer.h"

#define SAY_WAIT_MS 2000u /* a wait longer than this is said */

/* ---- what the link costs ------------------------------------------------------------------ */

void
fsp_cmd_budget(struct fsp_args *args, struct fsp_budget *budget)
{
    const struct fsp_rig *rig = fsp_args_ctx(args);

    budget->day_bytes = (uint64_t)fsp_conf_int(rig->conf, "link", "day-bytes");
    budget->reserve_percent = (unsigned)fsp_conf_int(rig->conf, "link", "reserve-percent");
}

void
fsp_cmd_link_json(
        const struct fsp_linkstate *state, const struct fsp_budget *budget, struct fsp_buf *out)
{
    struct fsp_buf why;

    fsp_buf_init(&why, (size_t)FSP_LINKSTATE_WHY_MAX * 4);
    fsp_text_show(&why, state->why, strlen(state->why));
    fsp_buf_printf(out, "{\"bytes_today\":%" PRIu64 ",\"day_bytes\":", state->bytes);
    if (budget->day_bytes > 0)
        fsp_buf_printf(out, "%" PRIu64, budget->day_bytes);
    else
        fsp_buf_add_text(out, "null");
    fsp_buf_add_text(out, ",\"last_failure\":");
    if (why.len > 0 && fsp_buf_check(&why, "a reason", NULL) == FSP_OK)
        fsp_cmd_json_text(out, fsp_buf_peek(&why));
    else
        fsp_buf_add_text(out, "null");
    fsp_buf_add_text(out, ",\"next_try\":");
    fsp_cmd_json_time(out, state->next_s != 0, state->next_s);
    fsp_buf_printf(out, ",\"used_up\":%s,\"waits_for\":\"%s\"}",
            fsp_linkstate_used_up(state, budget) ? "true" : "false",
            fsp_linkstate_wait(state->wait));
    fsp_buf_fini(&why);
}

/* On a full disk what waits is still sent. */
void
fsp_cmd_tend_reserve(const struct fsp_journal *journal)
{
    if (fsp_reserve_tend(fsp_journal_folder(journal)))
        fsp_cmd_warn("the disk is full; the reserve is given up so that what waits can be "
                     "sent: free space now (docs/durability.md)");
}

/* ---- carry ------------------------------------------------------------------------------- */

struct load {
    struct fsp_buf file;
    uint64_t from; /* of the current log */
    uint64_t to;
    uint64_t records;
    uint64_t bundles;
};

/* One log's part. What is appended meanwhile is carried next time. A full file leaves the rest for
 * the next one, which begins after this one's receipt. */
static enum fsp_rc
load_log(struct fsp_journal *journal, const struct fsp_skey *skey,
        const struct fsp_journal_log *log, struct load *load, struct fsp_err *err)
{
    struct fsp_packed packed;
    enum fsp_rc rc = FSP_OK;

    fsp_packed_init(&packed);
    load->from = log->held;
    load->to = log->held;
    while (rc == FSP_OK && load->to < log->size &&
            load->file.len + FSP_BUNDLE_MAX <= load->file.max) {
        /* The office may be another one than the last receipt's: a few bytes enrol it anew. */
        struct fsp_pack_want want = {.log = log,
                .old = load->to,
                .to = UINT64_MAX,
                .payload = FSP_PACK_PAYLOAD_MOST,
                .enrol = true};

        rc = fsp_pack(journal, skey, &want, &packed, err);
        if (rc == FSP_OK)
            rc = fsp_receipt_sent_of(journal, &packed, err);
        if (rc != FSP_OK)
            break;
        fsp_buf_add(&load->file, packed.bundle.data, packed.bundle.len);
        rc = fsp_buf_check(&load->file, "the courier's file", err);
        load->records += packed.size - load->to;
        load->to = packed.size;
        load->bundles++;
    }
    fsp_packed_fini(&packed);
    return rc;
}

/* The closed logs first: the office takes a renewal when it has what it continues. */
static enum fsp_rc
load_bundles(struct fsp_journal *journal, const struct fsp_skey *skey, struct load *load,
        struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    size_t n = 0;
    enum fsp_rc rc = fsp_head_confirm_tip(journal, err);

    if (rc == FSP_OK)
        rc = fsp_journal_logs(journal, &logs, &n, err);
    for (size_t i = 0; rc == FSP_OK && i < n; i++)
        rc = load_log(journal, skey, &logs[i], load, err);
    free(logs);
    return rc;
}

enum fsp_rc
fsp_cmd_turn(struct fsp_args *args, struct fsp_journal *journal, int *lock, struct fsp_err *err)
{
    const char *folder = fsp_journal_folder(journal);
    uint64_t wait_s = FSP_TURN_WAIT_S;
    unsigned wait_ms;
    enum fsp_rc rc = fsp_args_u64(args, "patience", 0, 86400, &wait_s, err);

    *lock = -1;
    if (rc != FSP_OK)
        return rc;
    wait_ms = (unsigned)wait_s * 1000;
    rc = fsp_turn_take(folder, wait_ms < SAY_WAIT_MS ? wait_ms : SAY_WAIT_MS, lock, err);
    if (rc == FSP_EBUSY && wait_ms > SAY_WAIT_MS) {
        fsp_cmd_warn("another process is sending for this rig; its turn ends with the bundle "
                     "that is on its way, this waits at most %" PRIu64 " s",
                wait_s);
        rc = fsp_turn_take(folder, wait_ms - SAY_WAIT_MS, lock, err);
    }
    /* The other process may have renewed the log, or seen a fork. */
    if (rc == FSP_OK)
        rc = fsp_journal_rejudge(journal, err);
    return rc;
}

static enum fsp_rc
carry_locked(struct fsp_args *args, struct fsp_journal *journal, struct load *load,
        const char *path, struct fsp_err *err)
{
    struct fsp_skey *skey = NULL;
    int lock = -1;
    enum fsp_rc rc = fsp_cmd_turn(args, journal, &lock, err);

    if (rc == FSP_OK)
        fsp_cmd_tend_reserve(journal);
    if (rc == FSP_OK)
        rc = fsp_journal_key(journal, &skey, err);
    if (rc == FSP_OK)
        rc = load_bundles(journal, skey, load, err);
    if (rc == FSP_OK && load->bundles > 0)
        rc = fsp_file_write(path, load->file.data, load->file.len, 0600, err);
    fsp_skey_free(skey);
    fsp_file_unlock(lock);
    return rc;
}

static void
report_carry(const struct load *load, const char *path, bool json, struct fsp_buf *out)
{
    uint64_t records = load->records;

    if (json) {
        fsp_buf_printf(out,
                "{\"bundles\":%" PRIu64 ",\"bytes\":%zu,\"from\":%" PRIu64
                ",\"records\":%" PRIu64 ",\"size\":%" PRIu64 "}\n",
                load->bundles, load->file.len, load->from, records, load->to);
        return;
    }
    if (load->bundles == 0)
        fsp_buf_printf(out, "nothing pending; office holds %" PRIu64 "; no file written\n",
                load->from);
    else
        fsp_buf_printf(out,
                "%s: %" PRIu64 " record%s in %" PRIu64
                " bundle%s, %zu bytes (to record %" PRIu64 ")\n",
                path, records, fsp_cmd_plural(records), load->bundles,
                fsp_cmd_plural(load->bundles), load->file.len, load->to - 1);
}

int
fsp_cmd_carry(struct fsp_args *args)
{
    const char *path = fsp_args_get(args, "out");
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_journal *journal = NULL;
    struct load load = {.bundles = 0};
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);

    fsp_buf_init(&out, FSP_OUT_MAX);
    fsp_buf_init(&load.file, FSP_COURIER_MAX);
    if (rc == FSP_OK && path == NULL)
        rc = fsp_err_set(&err, FSP_EINVAL, "--out FILE is needed: where to write the bundles");
    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_WRITE, &journal, &err);
    if (rc == FSP_OK)
        rc = carry_locked(args, journal, &load, path, &err);
    if (rc == FSP_OK)
        report_carry(&load, path, fsp_args_has(args, "json"), &out);
    fsp_journal_close(journal);
    fsp_buf_fini(&load.file);
    if (rc != FSP_OK) {
        fsp_buf_fini(&out);
        return fsp_cmd_fail(&err, rc);
    }
    return fsp_cmd_out(&out, 0);
}

/* ---- receipt ----------------------------------------------------------------------------- */

struct tally {
    uint64_t taken;
    uint64_t gaps; /* good refusals: the next carry begins earlier */
    uint64_t other;
    uint64_t words; /* instructions that are entries now */
    bool forked;
};

/* An instruction stands on its own, whatever was said of the answer before it. */
static enum fsp_rc
take_word(struct fsp_journal *journal, const struct fsp_answers_frame *frame,
        struct tally *tally, struct fsp_err *err)
{
    struct fsp_verdict verdict = {.words = 0};
    enum fsp_rc rc = fsp_receipt_word(journal, frame->bytes, frame->len, &verdict, err);

    tally->words += verdict.words;
    if (rc == FSP_OK && verdict.words_ignored > 0)
        fsp_cmd_warn("an instruction is ignored: %s", verdict.word_why);
    return rc;
}

static enum fsp_rc
judge_all(struct fsp_journal *journal, const uint8_t *bytes, size_t len, struct tally *tally,
        struct fsp_err *err)
{
    struct fsp_answers_cursor cursor;
    enum fsp_rc rc = fsp_answers_open(&cursor, bytes, len, err);

    while (rc == FSP_OK) {
        struct fsp_answer answer = {.sent = NULL};
        struct fsp_verdict verdict;
        struct fsp_answers_frame frame;

        rc = fsp_answers_next(&cursor, &frame, err);
        if (rc == FSP_ENOTFOUND) {
            fsp_err_clear(err);
            return tally->taken == 0 ? FSP_OK : fsp_knows_hear(journal, bytes, len, err);
        }
        if (rc != FSP_OK)
            break;
        if (frame.kind == FSP_FRAME_INSTRUCTION) {
            rc = take_word(journal, &frame, tally, err);
            continue;
        }
        answer.status = frame.status;
        answer.bytes = frame.bytes;
        answer.len = frame.len;
        rc = fsp_receipt_judge(journal, &answer, &verdict, err);
        if (rc != FSP_OK)
            break;
        if (verdict.kind == FSP_VERDICT_TAKEN) {
            tally->taken++;
            continue;
        }
        tally->gaps += verdict.kind == FSP_VERDICT_GAP;
        tally->other += verdict.kind != FSP_VERDICT_GAP;
        tally->forked = tally->forked || verdict.kind == FSP_VERDICT_CONTRADICT;
        fsp_cmd_warn("%s", verdict.why);
    }
    return rc;
}

static enum fsp_rc
receipt(struct fsp_args *args, struct fsp_buf *out, struct fsp_err *err)
{
    const char *path = fsp_args_rest(args, 0);
    struct fsp_journal_progress progress;
    struct tally tally = {.taken = 0};
    struct fsp_journal *journal = NULL;
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = fsp_cmd_open(args, FSP_JOURNAL_WRITE, &journal, err);

    if (rc == FSP_OK)
        rc = fsp_file_read(path, FSP_COURIER_MAX, &bytes, &len, err);
    if (rc != FSP_OK)
        goto out;
    rc = judge_all(journal, bytes, len, &tally, err);
    if (rc != FSP_OK) {
        rc = fsp_err_wrap(err, rc, "%s", path);
        goto out;
    }
    rc = fsp_journal_progress(journal, &progress, err);
    if (rc != FSP_OK)
        goto out;
    if (fsp_args_has(args, "json"))
        fsp_buf_printf(out,
                "{\"held\":%" PRIu64 ",\"instructions\":%" PRIu64 ",\"other\":%" PRIu64
                ",\"pending\":%" PRIu64 ",\"receipts\":%" PRIu64 "}\n",
                progress.held, tally.words, tally.other,
                progress.size - progress.held + progress.older, tally.taken);
    else
        fsp_buf_printf(out,
                "%" PRIu64 " receipt%s; office holds %" PRIu64 " of %" PRIu64 " records\n",
                tally.taken, fsp_cmd_plural(tally.taken), progress.held, progress.size);
    if (tally.words > 0 && !fsp_args_has(args, "json"))
        fsp_buf_printf(out,
                "%" PRIu64 " instruction%s from the office; see: farspool-rig line\n",
                tally.words, fsp_cmd_plural(tally.words));
    if (tally.forked)
        rc = fsp_err_set(
                err, FSP_EFORK, "history incomplete: %s", fsp_journal_state_why(journal));
    else if (tally.taken + tally.gaps == 0 && tally.other > 0)
        rc = fsp_err_set(err, FSP_EVERIFY, "%s: no receipt in it holds for this log", path);
out:
    free(bytes);
    fsp_journal_close(journal);
    return rc;
}

int
fsp_cmd_receipt(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, 1, &err);
    int status;

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK)
        rc = receipt(args, &out, &err);
    status = fsp_cmd_out(&out, 0);
    return rc == FSP_OK ? status : fsp_cmd_fail(&err, rc);
}
