#include "unit/fold/shelved.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "proof/instruction.h"
#include "proof/note.h"
#include "proof/roster.h"
#include "proof/signer.h"
#include "record/check.h"
#include "record/record.h"

#define OUT_MAX ((size_t)32 * 1024 * 1024)

/* ---- the store ---- */

static enum fsp_rc
scan(void *ctx, int64_t log, const uint64_t within[2], fsp_fold_visit *visit, void *visit_ctx,
        struct fsp_err *err)
{
    struct shelved *shelved = ctx;
    size_t l = 0;

    while (l < shelved->n_logs && shelved->ids[l] != log)
        l++;
    assert_true(l < shelved->n_logs);
    for (uint64_t i = within[0]; i < within[1]; i++) {
        enum fsp_rc rc;

        assert_true(i < shelved->n[l]);
        shelved->scanned++;
        rc = visit(visit_ctx, i, shelved->entries[l][i].bytes.data,
                shelved->entries[l][i].bytes.len, err);
        if (rc != FSP_OK)
            return rc;
    }
    return FSP_OK;
}

static enum fsp_rc
marks(void *ctx, const char *owner, struct fsp_buf *out, struct fsp_err *err)
{
    struct shelved *shelved = ctx;

    assert_string_equal(owner, RIG);
    if (shelved->marks.len == 0)
        return fsp_err_set(err, FSP_ENOTFOUND, "none");
    fsp_buf_add(out, shelved->marks.data, shelved->marks.len);
    return fsp_buf_check(out, "marks", err);
}

static enum fsp_rc
state(void *ctx, const char *owner, int64_t cuts, struct fsp_buf *out, struct fsp_err *err)
{
    struct shelved *shelved = ctx;

    (void)owner;
    for (size_t i = 0; i < shelved->n_states; i++)
        if (shelved->states[i].cuts == cuts) {
            fsp_buf_add(out, shelved->states[i].bytes.data, shelved->states[i].bytes.len);
            return fsp_buf_check(out, "state", err);
        }
    return fsp_err_set(err, FSP_ENOTFOUND, "none");
}

static enum fsp_rc
states(void *ctx, const char *owner, fsp_fold_each *each, void *each_ctx, struct fsp_err *err)
{
    struct shelved *shelved = ctx;
    bool told[STATES_MAX] = {false};
    enum fsp_rc rc = FSP_OK;

    (void)owner;
    for (size_t k = 0; rc == FSP_OK && k < shelved->n_states; k++) {
        size_t latest = STATES_MAX;

        for (size_t i = 0; i < shelved->n_states; i++)
            if (!told[i] && (latest == STATES_MAX ||
                                    shelved->states[i].from_s > shelved->states[latest].from_s))
                latest = i;
        told[latest] = true;
        rc = each(each_ctx, shelved->states[latest].cuts, shelved->states[latest].from_s, err);
    }
    return rc;
}

static enum fsp_rc
keep_marks(void *ctx, const char *owner, const struct fsp_buf *bytes, struct fsp_err *err)
{
    struct shelved *shelved = ctx;

    (void)owner;
    fsp_buf_reset(&shelved->marks);
    fsp_buf_add(&shelved->marks, bytes->data, bytes->len);
    return fsp_buf_check(&shelved->marks, "marks", err);
}

static enum fsp_rc
drop_state(void *ctx, const char *owner, int64_t cuts, struct fsp_err *err)
{
    struct shelved *shelved = ctx;

    (void)owner;
    (void)err;
    for (size_t i = 0; i < shelved->n_states; i++)
        if (shelved->states[i].cuts == cuts) {
            fsp_buf_fini(&shelved->states[i].bytes);
            shelved->states[i] = shelved->states[--shelved->n_states];
            return FSP_OK;
        }
    return FSP_OK;
}

static enum fsp_rc
keep_state(void *ctx, const char *owner, const int64_t cuts_from[2],
        const struct fsp_buf *bytes, struct fsp_err *err)
{
    struct shelved *shelved = ctx;
    struct fsp_buf *into;

    assert_int_equal(drop_state(ctx, owner, cuts_from[0], err), FSP_OK);
    assert_true(shelved->n_states < STATES_MAX);
    into = &shelved->states[shelved->n_states].bytes;
    shelved->states[shelved->n_states].cuts = cuts_from[0];
    shelved->states[shelved->n_states++].from_s = cuts_from[1];
    fsp_buf_init(into, OUT_MAX);
    fsp_buf_add(into, bytes->data, bytes->len);
    return fsp_buf_check(into, "state", err);
}

void
shelved_store(struct shelved *shelved, struct fsp_fold_store *store)
{
    *store = (struct fsp_fold_store){
            shelved, RIG, scan, marks, state, states, keep_marks, keep_state, drop_state};
}

void
shelved_forget(struct shelved *shelved)
{
    fsp_buf_reset(&shelved->marks);
    while (shelved->n_states > 0)
        fsp_buf_fini(&shelved->states[--shelved->n_states].bytes);
}

/* ---- new and free ---- */

static int64_t
no_clock(void *ctx)
{
    (void)ctx;
    return 0;
}

static void
pseudo_random(void *ctx, void *out, size_t len)
{
    struct shelved *shelved = ctx;
    uint8_t *bytes = out;

    for (size_t i = 0; i < len; i++) { /* xorshift64 */
        shelved->random ^= shelved->random << 13;
        shelved->random ^= shelved->random >> 7;
        shelved->random ^= shelved->random << 17;
        bytes[i] = (uint8_t)shelved->random;
    }
}

static void
add_log(struct shelved *shelved)
{
    assert_true(shelved->n_logs < SHELVED_LOGS);
    shelved->entries[shelved->n_logs] =
            fsp_mem_array(SHELVED_ENTRIES, sizeof(shelved->entries[0][0]));
    assert_non_null(shelved->entries[shelved->n_logs]);
    shelved->ids[shelved->n_logs] = (int64_t)shelved->n_logs + 11;
    shelved->n_logs++;
}

struct shelved *
shelved_new(uint64_t seed)
{
    struct shelved *shelved = fsp_mem_array(1, sizeof(*shelved));
    char name[FSP_KEY_NAME_MAX + 1];
    struct fsp_err err = {0};

    assert_non_null(shelved);
    assert_ok(fsp_proof_init(&err), &err);
    shelved->random = seed * UINT64_C(0x9e3779b97f4a7c15) + 1;
    shelved->env = (struct fsp_env){.utc_us = no_clock,
            .monotonic_us = no_clock,
            .random = pseudo_random,
            .ctx = shelved};
    fsp_buf_init(&shelved->marks, OUT_MAX);
    add_log(shelved);
    assert_ok(fsp_skey_new(&shelved->office, FLEET "/instructions", FSP_KEY_NOTE, &shelved->env,
                      &err),
            &err);
    assert_ok(fsp_signer_key_name(FLEET, "k-ode", name, &err), &err);
    assert_ok(fsp_skey_new(&shelved->inspector, name, FSP_KEY_NOTE, &shelved->env, &err), &err);
    assert_ok(fsp_signer_key_name(FLEET, "b-fell", name, &err), &err);
    assert_ok(fsp_skey_new(&shelved->second, name, FSP_KEY_NOTE, &shelved->env, &err), &err);
    return shelved;
}

void
shelved_free(struct shelved *shelved)
{
    shelved_forget(shelved);
    fsp_buf_fini(&shelved->marks);
    for (size_t l = 0; l < shelved->n_logs; l++) {
        for (size_t i = 0; i < shelved->n[l]; i++)
            fsp_buf_fini(&shelved->entries[l][i].bytes);
        free(shelved->entries[l]);
    }
    fsp_skey_free(shelved->office);
    fsp_skey_free(shelved->inspector);
    fsp_skey_free(shelved->second);
    free(shelved);
}

void
shelved_renew(struct shelved *shelved)
{
    add_log(shelved);
}

/* ---- entries ---- */

size_t
shelved_bytes(struct shelved *shelved, const void *bytes, size_t len)
{
    size_t l = shelved->n_logs - 1;
    struct entry *entry = &shelved->entries[l][shelved->n[l]];

    assert_true(shelved->n[l] < SHELVED_ENTRIES);
    fsp_buf_init(&entry->bytes, FSP_ENTRY_MAX);
    fsp_buf_add(&entry->bytes, bytes, len);
    fsp_leaf_hash(bytes, len, entry->leaf);
    return shelved->n[l]++;
}

/* A record of this JSON without its last brace, checked; freed by the caller. */
static struct fsp_record *
checked(const char *kind, int64_t at_s, const char *members)
{
    struct fsp_check_context context = {.present_s = AS_OF};
    struct fsp_record *record = NULL;
    char at[FSP_TIME_TEXT_LEN + 1];
    struct fsp_err err = {0};
    struct fsp_buf json;

    fsp_time_text(at_s, at);
    fsp_buf_init(&json, FSP_ENTRY_MAX);
    fsp_buf_printf(&json, "{\"kind\":\"%s\",\"at\":\"%s\",\"by\":\"clerk\"%s%s}", kind, at,
            members[0] == '\0' ? "" : ",", members);
    assert_ok(fsp_check_json(fsp_buf_peek(&json), json.len, &context, &record, &err), &err);
    fsp_buf_fini(&json);
    return record;
}

static size_t
append(struct shelved *shelved, struct fsp_record *record, int64_t noted_s)
{
    char noted[FSP_TIME_TEXT_LEN + 1];
    struct fsp_err err = {0};
    struct fsp_buf bytes;
    size_t index;

    fsp_time_text(noted_s, noted);
    assert_ok(fsp_record_set_text(record, "noted", noted, &err), &err);
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_record_write(record, &bytes);
    index = shelved_bytes(shelved, bytes.data, bytes.len);
    fsp_buf_fini(&bytes);
    fsp_record_free(record);
    return index;
}

size_t
shelved_put(struct shelved *shelved, const char *kind, int64_t at_s, const char *members)
{
    return append(shelved, checked(kind, at_s, members), at_s + 30);
}

static void
set_sig(struct fsp_record *record, const struct fsp_skey *key, const struct fsp_buf *message)
{
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_err err = {0};
    struct fsp_buf text;

    assert_ok(fsp_skey_sign(key, message->data, message->len, sig, &err), &err);
    fsp_buf_init(&text, 128);
    fsp_base64(&text, sig, sizeof(sig));
    assert_ok(fsp_record_set_text(record, "sig", fsp_buf_peek(&text), &err), &err);
    fsp_buf_fini(&text);
}

size_t
shelved_inspect(struct shelved *shelved, int64_t at_s, const char *decision, const char *as,
        const struct fsp_skey *key)
{
    struct fsp_buf bytes;
    struct fsp_buf message;
    struct fsp_record *record;
    struct fsp_err err = {0};
    char members[400];

    (void)snprintf(members, sizeof(members),
            "\"fleet\":\"" FLEET "\",\"rig\":\"" RIG
            "\",\"reel\":\"R-1\",\"inspector\":\"%s\",\"scope\":\"monthly\",\"decision\":\"%"
            "s\"",
            as, decision);
    record = checked("inspection", at_s, members);
    if (key != NULL) {
        fsp_buf_init(&bytes, FSP_ENTRY_MAX);
        fsp_buf_init(&message, FSP_ENTRY_MAX);
        fsp_record_write(record, &bytes);
        assert_ok(fsp_inspection_message(bytes.data, bytes.len, &message, &err), &err);
        set_sig(record, key, &message);
        fsp_buf_fini(&message);
        fsp_buf_fini(&bytes);
    }
    return append(shelved, record, at_s + 30);
}

static void
name_entry(const struct shelved *shelved, size_t log, size_t index, struct fsp_buf *out)
{
    fsp_buf_printf(out, "\"entry\":{\"index\":%zu,\"leaf\":\"", index);
    fsp_base64(out, shelved->entries[log][index].leaf, FSP_HASH_LEN);
    fsp_buf_printf(out, "\",\"log\":\"%016zx\"}", log);
}

size_t
shelved_countersign(struct shelved *shelved, int64_t at_s, size_t log, size_t index,
        const struct fsp_skey *key)
{
    static const char zeros[] =
            "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
            "AAAAAAAAAAAAAAAAAAAA==";
    const char *name = strrchr(fsp_skey_vkey(key)->name, ':') + 1;
    struct fsp_record *record;
    struct fsp_buf members;
    struct fsp_buf message;

    fsp_buf_init(&members, 1024);
    fsp_buf_init(&message, 1024);
    name_entry(shelved, log, index, &members);
    fsp_buf_printf(&members, ",\"signer\":\"%s\",\"sig\":\"%s\"", name, zeros);
    record = checked("countersign", at_s, fsp_buf_peek(&members));
    fsp_countersign_message(shelved->entries[log][index].leaf, &message);
    set_sig(record, key, &message);
    fsp_buf_fini(&message);
    fsp_buf_fini(&members);
    return append(shelved, record, at_s + 30);
}

size_t
shelved_amend(struct shelved *shelved, int64_t at_s, size_t log, size_t index, const char *what)
{
    struct fsp_buf members;
    size_t place;

    fsp_buf_init(&members, 1024);
    name_entry(shelved, log, index, &members);
    fsp_buf_add_text(&members, ",\"reason\":\"mistyped\",");
    if (strcmp(what, "void") == 0)
        fsp_buf_add_text(&members, "\"void\":\"yes\"");
    else
        fsp_buf_printf(&members, "\"set\":{%s}", what);
    place = shelved_put(shelved, "amend", at_s, fsp_buf_peek(&members));
    fsp_buf_fini(&members);
    return place;
}

size_t
shelved_roster(struct shelved *shelved, int64_t at_s, bool with_second)
{
    struct fsp_roster *roster = fsp_mem_array(1, sizeof(*roster));
    struct fsp_instruction instruction = {.made_s = at_s, .about = FSP_ABOUT_ROSTER};
    const struct fsp_skey *signers[2] = {shelved->inspector, shelved->second};
    struct fsp_buf text;
    struct fsp_buf note;
    struct fsp_buf members;
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_err err = {0};
    size_t index;

    assert_non_null(roster);
    (void)snprintf(roster->fleet, sizeof(roster->fleet), "%s", FLEET);
    roster->version = ++shelved->roster;
    roster->made_s = at_s;
    roster->n = with_second ? 2 : 1;
    for (size_t i = 0; i < roster->n; i++)
        roster->signer[i] = (struct fsp_roster_signer){.vkey = *fsp_skey_vkey(signers[i]),
                .from_s = INT64_C(1767225600),
                .until_s = INT64_MAX,
                .may = FSP_MAY_INSPECT | FSP_MAY_COUNTERSIGN};
    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_buf_init(&members, FSP_ENTRY_MAX);
    fsp_roster_write(roster, &text);
    assert_ok(fsp_note_sign(&note, text.data, text.len, shelved->office, &err), &err);
    (void)snprintf(instruction.fleet, sizeof(instruction.fleet), "%s", FLEET);
    (void)snprintf(instruction.rig, sizeof(instruction.rig), "%s", RIG);
    instruction.body = fsp_buf_peek(&note);
    instruction.body_len = note.len;
    fsp_buf_reset(&text);
    fsp_instruction_write(&instruction, &text);
    assert_ok(fsp_skey_sign(shelved->office, text.data, text.len, sig, &err), &err);
    fsp_buf_add_text(&members, "\"bytes\":\"");
    fsp_base64(&members, text.data, text.len);
    fsp_buf_add_text(&members, "\",\"sig\":\"");
    fsp_base64(&members, sig, sizeof(sig));
    fsp_buf_add_byte(&members, '"');
    index = shelved_put(shelved, "instruction", at_s, fsp_buf_peek(&members));
    fsp_buf_fini(&members);
    fsp_buf_fini(&note);
    fsp_buf_fini(&text);
    fsp_roster_free(roster);
    return index;
}

void
shelved_open(struct shelved *shelved, int64_t at_s)
{
    (void)shelved_put(shelved, "rig", at_s,
            "\"mast\":\"142ft\",\"drum\":\"30in\",\"block\":\"47000lb\",\"bearing\":"
            "\"roller\"");
    (void)shelved_put(shelved, "reel", at_s + 60,
            "\"reel\":\"R-1\",\"rope\":\"1-3/8in\",\"grade\":\"EIPS\",\"received\":\"15000ft\","
            "\"strung\":\"1400ft\",\"lines\":10");
    (void)shelved_put(shelved, "drill-string", at_s + 120,
            "\"pipe\":\"19.5lb/ft\",\"stand\":\"93ft\",\"bha-weight\":\"60000lb\","
            "\"bha-length\":\"600ft\",\"mud\":\"10ppg\"");
    (void)shelved_put(shelved, "program", at_s + 180,
            "\"cut\":\"90ft\",\"first-goal\":\"1500\",\"later-goal\":\"1300\",\"slips\":3");
}

/* ---- folding ---- */

struct fsp_fold *
shelved_fold(struct shelved *shelved, const size_t *sizes, bool whole, size_t inspections)
{
    struct fsp_fold_log logs[SHELVED_LOGS];
    struct fsp_fold_about about = {.fleet = FLEET,
            .rig = RIG,
            .keys = fsp_skey_vkey(shelved->office),
            .n_keys = 1,
            .logs = logs,
            .as_of_s = AS_OF,
            .inspections = inspections,
            .whole = whole,
            .worth = 1};
    struct fsp_fold_store store;
    struct fsp_fold *fold = NULL;
    struct fsp_err err = {0};

    for (size_t l = 0; l < shelved->n_logs; l++) {
        uint64_t size = sizes == NULL ? shelved->n[l] : sizes[l];

        if (size > 0 || l == 0)
            logs[about.n_logs++] = (struct fsp_fold_log){shelved->ids[l], size};
    }
    shelved_store(shelved, &store);
    assert_ok(fsp_fold_new(&store, &about, &fold, &err), &err);
    return fold;
}

void
shelved_keep(struct shelved *shelved, const struct fsp_fold *fold)
{
    struct fsp_fold_store store;
    struct fsp_err err = {0};

    shelved_store(shelved, &store);
    if (fsp_fold_worth(fold))
        assert_ok(fsp_fold_keep(fold, &store, &err), &err);
}

void
shelved_says(const struct fsp_fold *fold, struct fsp_buf *out)
{
    fsp_buf_init(out, OUT_MAX);
    fsp_ledger_json(fsp_fold_ledger(fold), out);
    fsp_ledger_text(fsp_fold_ledger(fold), out);
    fsp_fold_findings_json(fold, out);
    fsp_fold_inspections_json(fold, out);
    fsp_buf_printf(out, "\n%llu entries, %llu unreadable, roster %llu",
            (unsigned long long)fsp_fold_entries(fold),
            (unsigned long long)fsp_fold_unreadable(fold),
            (unsigned long long)fsp_fold_roster(fold));
    assert_int_equal(out->rc, FSP_OK);
}
