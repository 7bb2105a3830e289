#define _XOPEN_SOURCE 700 /* nftw() */
#include "office_support.h"

#include <ftw.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "proof/tree.h"
#include "wire/dictionary.h"

static int64_t
utc_us(void *ctx)
{
    return ((struct office *)ctx)->now_us;
}

static void
pseudo_random(void *ctx, void *out, size_t len)
{
    struct office *office = ctx;
    uint8_t *bytes = out;

    for (size_t i = 0; i < len; i++) { /* xorshift64 */
        office->seed ^= office->seed << 13;
        office->seed ^= office->seed >> 7;
        office->seed ^= office->seed << 17;
        bytes[i] = (uint8_t)office->seed;
    }
}

void
office_start(struct office *office)
{
    struct fsp_err err = {0};

    memset(office, 0, sizeof(*office));
    (void)snprintf(office->folder, sizeof(office->folder), "/tmp/fsp-office-XXXXXX");
    assert_non_null(mkdtemp(office->folder));
    office->now_us = START_S * FSP_US_PER_S;
    office->seed =
            (uint64_t)(uintptr_t)office->folder ^ (uint64_t)getpid() ^ 0x9e3779b97f4a7c15u;
    office->env = (struct fsp_env){
            .utc_us = utc_us, .monotonic_us = utc_us, .random = pseudo_random, .ctx = office};
    assert_ok(fsp_proof_init(&err), &err);
    assert_ok(fsp_office_keys_make(&office->keys, FLEET, &office->env, &err), &err);
    assert_ok(fsp_shelf_open(&fsp_shelf_sqlite, office->folder, FSP_SHELF_CREATE,
                      &office->shelf, &err),
            &err);
    assert_ok(office->shelf->ops->begin(office->shelf->ctx, true, &err), &err);
    assert_ok(office->shelf->ops->set_fleet(office->shelf->ctx, FLEET, &err), &err);
    assert_ok(office->shelf->ops->commit(office->shelf->ctx, &err), &err);
    assert_ok(fsp_intake_new(office->shelf, &office->keys, &office->env, &office->intake, &err),
            &err);
}

static int
remove_one(const char *path, const struct stat *st, int kind, struct FTW *at)
{
    (void)st;
    (void)kind;
    (void)at;
    return remove(path);
}

void
remove_folder(const char *folder)
{
    /* NOLINTNEXTLINE(concurrency-mt-unsafe): one thread */
    assert_int_equal(nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS), 0);
}

void
office_stop(struct office *office)
{
    fsp_intake_free(office->intake);
    fsp_shelf_close(office->shelf);
    fsp_office_keys_fini(&office->keys);
    remove_folder(office->folder);
}

void
office_invite(struct office *office, const char *rig, uint8_t token[FSP_TOKEN_LEN])
{
    struct fsp_shelf *shelf = office->shelf;
    struct fsp_err err = {0};
    uint8_t mark[FSP_MARK_LEN];

    office->env.random(office->env.ctx, token, FSP_TOKEN_LEN);
    fsp_leaf_hash(token, FSP_TOKEN_LEN, mark);
    assert_ok(shelf->ops->begin(shelf->ctx, true, &err), &err);
    assert_ok(shelf->ops->invite(shelf->ctx, rig, mark, START_S, &err), &err);
    assert_ok(shelf->ops->commit(shelf->ctx, &err), &err);
}

uint64_t
office_size(struct office *office, const struct rig *rig)
{
    struct fsp_shelf *shelf = office->shelf;
    struct fsp_shelf_log log;
    struct fsp_range range;
    struct fsp_err err = {0};

    if (shelf->ops->find_log(shelf->ctx, rig->origin, &log, &err) != FSP_OK)
        return UINT64_MAX;
    assert_ok(shelf->ops->tip(shelf->ctx, log.id, &range, &err), &err);
    return range.size;
}

void
rig_start(struct rig *rig, struct office *office, const char *name, const char *incarnation)
{
    struct fsp_err err = {0};

    memset(rig, 0, sizeof(*rig));
    (void)snprintf(rig->origin, sizeof(rig->origin), FLEET "/%s/%s", name, incarnation);
    assert_ok(fsp_skey_new(&rig->skey, rig->origin, FSP_KEY_NOTE, &office->env, &err), &err);
    office_invite(office, name, rig->token);
}

void
rig_stop(struct rig *rig)
{
    fsp_skey_free(rig->skey);
    for (size_t i = 0; i < rig->n; i++)
        free(rig->entries[i]);
    memset(rig, 0, sizeof(*rig));
}

void
rig_add(struct rig *rig, const char *entry)
{
    assert_true(rig->n < ENTRIES_MAX);
    rig->entries[rig->n] = strdup(entry);
    assert_non_null(rig->entries[rig->n]);
    rig->n++;
}

void
rig_add_many(struct rig *rig, size_t n)
{
    char entry[128];

    for (size_t i = 0; i < n; i++) {
        (void)snprintf(entry, sizeof(entry),
                "{\"at\":\"2026-03-01T00:00:%02zuZ\",\"by\":\"clerk\",\"kind\":\"note\",\"n\":%"
                "zu}",
                rig->n % 60, rig->n);
        rig_add(rig, entry);
    }
}

void
rig_bundle(const struct rig *rig, const struct office *office, uint64_t from, uint64_t to,
        bool enrolment, struct fsp_buf *out)
{
    struct fsp_entry_bytes entries[ENTRIES_MAX];
    struct fsp_bundle_head head;
    struct fsp_range range;
    struct fsp_buf text;
    struct fsp_err err = {0};

    memset(&head, 0, sizeof(head));
    fsp_range_init(&range);
    for (size_t i = 0; i < to; i++) {
        entries[i].bytes = (const uint8_t *)rig->entries[i];
        entries[i].len = strlen(rig->entries[i]);
        fsp_range_append(&range, entries[i].bytes, entries[i].len);
        if (rig->instead != NULL && i == rig->at) {
            entries[i].bytes = (const uint8_t *)rig->instead;
            entries[i].len = strlen(rig->instead);
        }
    }
    memcpy(head.head.origin, rig->origin, sizeof(rig->origin));
    head.head.size = to;
    fsp_range_root(&range, head.head.root);
    head.old_size = from;
    head.enrolment = enrolment && !rig->by_renewal;
    head.renewal = enrolment && rig->by_renewal;
    head.dictionary = rig->untold ? FSP_DICTIONARY_FIRST : FSP_DICTIONARY_NEWEST;
    head.short_receipt = rig->short_receipt;
    head.has_newest = rig->newest != NULL;
    if (rig->newest != NULL)
        memcpy(head.newest, rig->newest, sizeof(head.newest));
    if (enrolment) {
        memcpy(head.rig_pub, fsp_skey_vkey(rig->skey)->pub, sizeof(head.rig_pub));
        memcpy(head.token, rig->token, sizeof(head.token));
    }
    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_checkpoint_write(&head.head, &text);
    assert_ok(fsp_skey_sign(rig->skey, text.data, text.len, head.sig, &err), &err);
    fsp_buf_fini(&text);
    assert_ok(fsp_bundle_seal(out, &head, entries + from, (size_t)(to - from),
                      office->keys.box[0].pub, &err),
            &err);
}

int
rig_send(const struct rig *rig, struct office *office, const uint64_t within[2], bool enrolment,
        struct fsp_buf *answer)
{
    struct fsp_buf bundle;
    struct fsp_buf own;
    struct fsp_err err = {0};
    int status = 0;

    fsp_buf_init(&bundle, 2 * FSP_BUNDLE_MAX);
    fsp_buf_init(&own, FSP_NOTE_MAX);
    rig_bundle(rig, office, within[0], within[1], enrolment, &bundle);
    assert_ok(fsp_intake_take(office->intake, bundle.data, bundle.len, &status,
                      answer == NULL ? &own : answer, &err),
            &err);
    fsp_buf_fini(&own);
    fsp_buf_fini(&bundle);
    return status;
}

uint64_t
receipt_size(const struct fsp_buf *answer, const struct rig *rig, const struct office *office,
        uint64_t *time_s)
{
    struct fsp_note *note = calloc(1, sizeof(*note));
    struct fsp_checkpoint head;
    struct fsp_err err = {0};
    uint64_t when = 0;

    assert_non_null(note);
    assert_ok(fsp_note_parse(note, answer->data, answer->len, &err), &err);
    assert_ok(fsp_checkpoint_parse(&head, note->text, note->text_len, &err), &err);
    assert_string_equal(head.origin, rig->origin);
    assert_ok(fsp_note_verify(note, fsp_skey_vkey(rig->skey), NULL, &err), &err);
    assert_ok(fsp_note_verify(note, fsp_skey_vkey(office->keys.cosigner), &when, &err), &err);
    free(note);
    if (time_s != NULL)
        *time_s = when;
    return head.size;
}
