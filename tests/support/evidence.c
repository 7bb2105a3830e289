#include "support/evidence.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "proof/note.h"
#include "proof/tree.h"

static int64_t
no_clock(void *ctx)
{
    (void)ctx;
    return 0;
}

static void
count_up(void *ctx, void *out, size_t len)
{
    struct counting *counting = ctx;
    uint8_t *bytes = out;

    for (size_t i = 0; i < len; i++)
        bytes[i] = counting->next++;
}

struct fsp_env
evidence_counting_env(struct counting *counting)
{
    return (struct fsp_env){
            .utc_us = no_clock, .monotonic_us = no_clock, .random = count_up, .ctx = counting};
}

/* An xorshift generator: any seed but 0 will do. */
uint64_t
evidence_random(struct seeded *seeded)
{
    uint64_t x = seeded->state == 0 ? UINT64_C(88172645463325252) : seeded->state;

    x ^= x << 13;
    x ^= x >> 7;
    x ^= x << 17;
    seeded->state = x;
    return x;
}

static void
draw(void *ctx, void *out, size_t len)
{
    uint8_t *bytes = out;

    for (size_t i = 0; i < len; i++)
        bytes[i] = (uint8_t)(evidence_random(ctx) >> 24);
}

struct fsp_env
evidence_seeded_env(struct seeded *seeded)
{
    return (struct fsp_env){
            .utc_us = no_clock, .monotonic_us = no_clock, .random = draw, .ctx = seeded};
}

void
evidence_record(struct fsp_buf *buf, size_t i, bool inspection)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text((int64_t)EVIDENCE_TIME_S - 86400 + (int64_t)i, at);
    if (inspection)
        fsp_buf_printf(buf,
                "{\"at\":\"%s\",\"by\":\"clerk\",\"decision\":\"run\",\"fleet\":"
                "\"lantern-basin\",\"inspector\":\"A. Rope-Hand\",\"kind\":\"inspection\","
                "\"noted\":\"%s\",\"reel\":\"LB-7\",\"rig\":\"heron\",\"scope\":\"monthly\","
                "\"v\":1}",
                at, at);
    else
        fsp_buf_printf(buf,
                "{\"at\":\"%s\",\"by\":\"clerk\",\"kind\":\"state\",\"noted\":\"%s\","
                "\"state\":\"working\",\"v\":1}",
                at, at);
}

void
evidence_init(struct evidence *evidence)
{
    memset(evidence, 0, sizeof(*evidence));
    fsp_buf_init(&evidence->record, FSP_ENTRY_MAX);
    fsp_buf_init(&evidence->proof, FSP_NOTE_MAX);
    fsp_buf_init(&evidence->policy, FSP_NOTE_MAX);
    fsp_buf_init(&evidence->note, FSP_NOTE_MAX);
}

void
evidence_fini(struct evidence *evidence)
{
    fsp_buf_fini(&evidence->record);
    fsp_buf_fini(&evidence->proof);
    fsp_buf_fini(&evidence->policy);
    fsp_buf_fini(&evidence->note);
    fsp_skey_free(evidence->log);
    for (size_t i = 0; i < evidence->witnesses; i++)
        fsp_skey_free(evidence->witness[i]);
    evidence_init(evidence);
}

static enum fsp_rc
make_keys(struct evidence *evidence, const struct evidence_plan *plan,
        const struct fsp_env *env, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_skey_new(&evidence->log, EVIDENCE_ORIGIN, FSP_KEY_NOTE, env, err);

    for (size_t i = 0; rc == FSP_OK && i < plan->witnesses; i++) {
        char name[64];

        (void)snprintf(
                name, sizeof(name), i == 0 ? "lantern-basin/office" : "witness-%zu.example", i);
        rc = fsp_skey_new(&evidence->witness[i], name, FSP_KEY_COSIGNER, env, err);
        if (rc == FSP_OK)
            evidence->witnesses++;
    }
    return rc;
}

static void
write_policy(struct evidence *evidence)
{
    if (evidence->witnesses == 1) {
        fsp_policy_write(&evidence->policy, fsp_skey_vkey(evidence->log),
                fsp_skey_vkey(evidence->witness[0]));
        return;
    }
    fsp_buf_add_text(&evidence->policy, "# a log and its witnesses\n\nlog ");
    fsp_vkey_write(fsp_skey_vkey(evidence->log), &evidence->policy);
    for (size_t i = 0; i < evidence->witnesses; i++) {
        fsp_buf_printf(&evidence->policy, "\nwitness w%zu ", i);
        fsp_vkey_write(fsp_skey_vkey(evidence->witness[i]), &evidence->policy);
    }
    fsp_buf_printf(&evidence->policy, "\ngroup most %zu", evidence->witnesses - 1);
    for (size_t i = 0; i < evidence->witnesses; i++)
        fsp_buf_printf(&evidence->policy, " w%zu", i);
    fsp_buf_add_text(&evidence->policy, "\nquorum most\n");
}

static enum fsp_rc
sign_head(struct evidence *evidence, uint64_t time_s, struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_checkpoint_write(&evidence->head, &text);
    rc = fsp_note_sign(&evidence->note, text.data, text.len, evidence->log, err);
    for (size_t i = 0; rc == FSP_OK && i < evidence->witnesses; i++) {
        uint8_t line[8 + FSP_SIG_LEN];

        rc = fsp_cosign(&evidence->head, evidence->witness[i], time_s + i, line, err);
        if (rc == FSP_OK)
            fsp_note_add_line(
                    &evidence->note, fsp_skey_vkey(evidence->witness[i]), line, sizeof(line));
    }
    fsp_buf_fini(&text);
    return rc == FSP_OK ? fsp_buf_check(&evidence->note, "a note", err) : rc;
}

enum fsp_rc
evidence_make(struct evidence *evidence, const struct evidence_plan *plan,
        const struct fsp_env *env, struct fsp_err *err)
{
    uint8_t(*leaves)[FSP_HASH_LEN] = fsp_mem_array(plan->size, FSP_HASH_LEN);
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    struct fsp_range range;
    struct fsp_buf entry;
    size_t n = 0;
    enum fsp_rc rc;

    fsp_buf_init(&entry, FSP_ENTRY_MAX);
    fsp_range_init(&range);
    if (leaves == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    for (size_t i = 0; i < plan->size; i++) {
        fsp_buf_reset(&entry);
        if (plan->entries != NULL)
            fsp_buf_add_text(&entry, plan->entries[i]);
        else
            evidence_record(&entry, i, i == plan->index);
        fsp_leaf_hash(entry.data, entry.len, leaves[i]);
        fsp_range_append_leaf(&range, leaves[i]);
        if (i == plan->index)
            fsp_buf_add(&evidence->record, entry.data, entry.len);
    }
    (void)snprintf(evidence->head.origin, sizeof(evidence->head.origin), "%s", EVIDENCE_ORIGIN);
    evidence->head.size = range.size;
    fsp_range_root(&range, evidence->head.root);
    rc = make_keys(evidence, plan, env, err);
    if (rc == FSP_OK)
        rc = sign_head(evidence, plan->time_s, err);
    if (rc != FSP_OK)
        goto out;
    write_policy(evidence);
    fsp_tree_inclusion(
            (const uint8_t(*)[FSP_HASH_LEN])leaves, plan->size, plan->index, path, &n);
    fsp_proof_write(&evidence->proof, plan->index, (const uint8_t(*)[FSP_HASH_LEN])path, n,
            fsp_buf_peek(&evidence->note), evidence->note.len);
    rc = fsp_buf_check(&evidence->proof, "a proof", err);
out:
    fsp_buf_fini(&entry);
    free(leaves);
    return rc;
}

enum fsp_rc
evidence_example(struct evidence *evidence, size_t *index, struct fsp_err *err)
{
    static const char *const entries[] = {
            "{\"at\":\"2026-03-01T00:00:00Z\",\"by\":\"clerk\",\"kind\":\"state\","
            "\"noted\":\"2026-03-01T00:01:00Z\",\"state\":\"working\",\"v\":1}",
            "{\"at\":\"2026-03-01T06:00:00Z\",\"by\":\"clerk\",\"complete\":\"yes\","
            "\"kind\":\"tour\",\"noted\":\"2026-03-01T06:05:00Z\",\"tour\":\"night\",\"v\":1}",
            "{\"at\":\"2026-03-01T07:00:00Z\",\"by\":\"clerk\",\"kind\":\"slip\","
            "\"length\":\"30 ft\",\"noted\":\"2026-03-01T07:10:00Z\",\"v\":1}"};
    const struct evidence_plan plan = {.entries = entries,
            .size = sizeof(entries) / sizeof(entries[0]),
            .index = 1,
            .witnesses = 1,
            .time_s = EVIDENCE_TIME_S};
    struct counting counting = {0};
    const struct fsp_env env = evidence_counting_env(&counting);

    *index = plan.index;
    return evidence_make(evidence, &plan, &env, err);
}
