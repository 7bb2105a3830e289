#include "proof/attest.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "base/mem.h"
#include "proof/instruction.h"
#include "proof/signer.h"

#define MESSAGE_MAX (FSP_ENTRY_MAX + 64)

/* What a countersignature says, kept until the roster is known. */
struct countersign {
    uint8_t leaf[FSP_HASH_LEN];
    uint8_t sig[FSP_SIG_LEN];
    bool has_sig; /* 64 bytes in base64 */
    char *signer;
    int64_t at_s;
    int64_t noted_s;
};

struct fsp_attest {
    const char *fleet;
    const char *rig;
    struct fsp_vkey keys[FSP_ATTEST_KEYS_MAX];
    size_t n_keys;
    struct fsp_roster *roster;
    struct fsp_buf note;    /* the roster's signed note */
    struct fsp_buf spare;   /* an instruction's note while it is read */
    struct fsp_buf message; /* what a signature is judged over */
    struct countersign *countersigns;
    size_t n;
    size_t cap;
    bool sorted;
};

enum fsp_rc
fsp_attest_new(
        struct fsp_attest **out, const struct fsp_attest_about *about, struct fsp_err *err)
{
    struct fsp_attest *attest = NULL;

    *out = NULL;
    if (about->n_keys > FSP_ATTEST_KEYS_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "more than %d instructions keys of one office",
                FSP_ATTEST_KEYS_MAX);
    attest = calloc(1, sizeof(*attest));
    if (attest == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "signatures: out of memory");
    attest->fleet = about->fleet;
    attest->rig = about->rig;
    attest->n_keys = about->n_keys;
    if (about->n_keys > 0)
        memcpy(attest->keys, about->keys, about->n_keys * sizeof(about->keys[0]));
    fsp_buf_init(&attest->note, FSP_NOTE_MAX);
    fsp_buf_init(&attest->spare, FSP_NOTE_MAX);
    fsp_buf_init(&attest->message, MESSAGE_MAX);
    attest->sorted = true;
    *out = attest;
    return FSP_OK;
}

void
fsp_attest_free(struct fsp_attest *attest)
{
    if (attest == NULL)
        return;
    for (size_t i = 0; i < attest->n; i++)
        free(attest->countersigns[i].signer);
    free(attest->countersigns);
    fsp_roster_free(attest->roster);
    fsp_buf_fini(&attest->note);
    fsp_buf_fini(&attest->spare);
    fsp_buf_fini(&attest->message);
    free(attest);
}

static bool
is_kind(const struct fsp_record *record, const char *kind)
{
    const char *text = record != NULL ? fsp_record_text(record, "kind") : NULL;

    return text != NULL && strcmp(text, kind) == 0;
}

static bool
text_is(const struct fsp_record *record, const char *field, const char *want)
{
    const char *text = fsp_record_text(record, field);

    return text != NULL && strcmp(text, want) == 0;
}

static void
read_times(const struct fsp_record *record, int64_t *at_s, int64_t *noted_s)
{
    *at_s = 0; /* before every roster, when the record has no time */
    (void)fsp_record_time(record, "at", at_s);
    *noted_s = *at_s;
    (void)fsp_record_time(record, "noted", noted_s);
}

static bool
read_sig(const struct fsp_record *record, uint8_t sig[FSP_SIG_LEN])
{
    const char *text = fsp_record_text(record, "sig");

    return text != NULL && fsp_unbase64_exact(text, strlen(text), sig, FSP_SIG_LEN) == FSP_OK;
}

/* Whether b takes the place of a: by version; by what else they say when an office gave one
 * version twice, so that the order of arrival decides nothing. */
static bool
is_newer(const struct fsp_roster *a, const struct fsp_buf *note_a, const struct fsp_roster *b,
        const char *note_b, size_t len_b)
{
    size_t least = note_a->len < len_b ? note_a->len : len_b;
    int order;

    if (a == NULL || a->version != b->version)
        return a == NULL || b->version > a->version;
    if (a->made_s != b->made_s)
        return b->made_s > a->made_s;
    order = memcmp(note_a->data, note_b, least);
    return order < 0 || (order == 0 && len_b > note_a->len);
}

/* A roster by any of the keys that count; others change nothing. */
static enum fsp_rc
take_roster(struct fsp_attest *attest, const char *note, size_t len, struct fsp_err *err)
{
    struct fsp_roster *roster = NULL;
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; roster == NULL && i < attest->n_keys; i++) {
        rc = fsp_roster_read(&roster, note, len, &attest->keys[i], err);
        if (rc == FSP_ENOMEM)
            return rc;
    }
    rc = FSP_OK;
    if (roster == NULL || strcmp(roster->fleet, attest->fleet) != 0 ||
            !is_newer(attest->roster, &attest->note, roster, note, len))
        goto out;
    fsp_buf_reset(&attest->note);
    fsp_buf_add(&attest->note, note, len);
    fsp_roster_free(attest->roster);
    attest->roster = NULL;
    rc = fsp_buf_check(&attest->note, "a roster", err);
    if (rc != FSP_OK)
        goto out;
    attest->roster = roster;
    roster = NULL;
out:
    fsp_roster_free(roster);
    return rc;
}

static enum fsp_rc
note_instruction(
        struct fsp_attest *attest, const struct fsp_record *record, struct fsp_err *err)
{
    struct fsp_instruction instruction;
    enum fsp_rc rc;

    fsp_buf_reset(&attest->spare);
    rc = fsp_instruction_of_record(
            &instruction, record, attest->keys, attest->n_keys, &attest->spare, err);
    if (rc == FSP_ENOMEM)
        return rc;
    if (rc != FSP_OK || instruction.about != FSP_ABOUT_ROSTER ||
            strcmp(instruction.fleet, attest->fleet) != 0 ||
            strcmp(instruction.rig, attest->rig) != 0)
        return FSP_OK;
    return take_roster(attest, instruction.body, instruction.body_len, err);
}

static enum fsp_rc
note_countersign(
        struct fsp_attest *attest, const struct fsp_record *record, struct fsp_err *err)
{
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    const char *leaf = entry != NULL ? fsp_record_text(entry, "leaf") : NULL;
    const char *signer = fsp_record_text(record, "signer");
    struct countersign *countersign;

    if (leaf == NULL || signer == NULL)
        return FSP_OK;
    if (fsp_mem_grow((void **)&attest->countersigns, &attest->cap, attest->n + 1,
                sizeof(*attest->countersigns)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "countersignatures: out of memory");
    countersign = &attest->countersigns[attest->n];
    memset(countersign, 0, sizeof(*countersign));
    if (fsp_unbase64_exact(leaf, strlen(leaf), countersign->leaf, FSP_HASH_LEN) != FSP_OK)
        return FSP_OK;
    countersign->signer = fsp_mem_text(signer, strlen(signer));
    if (countersign->signer == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "countersignatures: out of memory");
    countersign->has_sig = read_sig(record, countersign->sig);
    read_times(record, &countersign->at_s, &countersign->noted_s);
    attest->n++;
    attest->sorted = false;
    return FSP_OK;
}

enum fsp_rc
fsp_attest_note(
        struct fsp_attest *attest, const struct fsp_attest_entry *entry, struct fsp_err *err)
{
    if (is_kind(entry->record, "instruction"))
        return note_instruction(attest, entry->record, err);
    if (is_kind(entry->record, "countersign"))
        return note_countersign(attest, entry->record, err);
    return FSP_OK;
}

static enum fsp_sig_state
judge_inspection(struct fsp_attest *attest, const struct fsp_attest_entry *entry,
        const struct fsp_roster_signer **who)
{
    const struct fsp_record *record = entry->record;
    const char *inspector = fsp_record_text(record, "inspector");
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_signed what = {
            .name = inspector != NULL ? inspector : "", .may = FSP_MAY_INSPECT, .sig = sig};

    if (!fsp_record_has(record, "sig"))
        return FSP_SIG_NONE;
    fsp_buf_reset(&attest->message);
    if (!text_is(record, "fleet", attest->fleet) || !text_is(record, "rig", attest->rig) ||
            !read_sig(record, sig) ||
            fsp_inspection_message(entry->bytes, entry->len, &attest->message, NULL) != FSP_OK)
        return FSP_SIG_BAD;
    what.message = attest->message.data;
    what.len = attest->message.len;
    read_times(record, &what.at_s, &what.noted_s);
    return fsp_roster_judge(attest->roster, &what, who);
}

static enum fsp_sig_state
judge_countersign(struct fsp_attest *attest, const struct countersign *countersign,
        const struct fsp_roster_signer **who)
{
    struct fsp_signed what = {.name = countersign->signer,
            .may = FSP_MAY_COUNTERSIGN,
            .at_s = countersign->at_s,
            .noted_s = countersign->noted_s,
            .sig = countersign->sig};

    fsp_buf_reset(&attest->message);
    fsp_countersign_message(countersign->leaf, &attest->message);
    if (!countersign->has_sig || attest->message.rc != FSP_OK)
        return FSP_SIG_BAD;
    what.message = attest->message.data;
    what.len = attest->message.len;
    return fsp_roster_judge(attest->roster, &what, who);
}

static enum fsp_sig_state
state_of_countersign(struct fsp_attest *attest, const struct fsp_record *record,
        const struct fsp_roster_signer **who)
{
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    const char *leaf = entry != NULL ? fsp_record_text(entry, "leaf") : NULL;
    const char *signer = fsp_record_text(record, "signer");
    struct countersign countersign = {.has_sig = false};
    enum fsp_sig_state state;

    if (leaf == NULL || signer == NULL ||
            fsp_unbase64_exact(leaf, strlen(leaf), countersign.leaf, FSP_HASH_LEN) != FSP_OK)
        return FSP_SIG_BAD;
    countersign.signer = fsp_mem_text(signer, strlen(signer));
    if (countersign.signer == NULL)
        return FSP_SIG_BAD;
    countersign.has_sig = read_sig(record, countersign.sig);
    read_times(record, &countersign.at_s, &countersign.noted_s);
    state = judge_countersign(attest, &countersign, who);
    free(countersign.signer);
    return state;
}

static int
by_leaf(const void *a, const void *b)
{
    const struct countersign *left = a;
    const struct countersign *right = b;

    return memcmp(left->leaf, right->leaf, FSP_HASH_LEN);
}

/* The first countersignature that names the leaf or a later one. */
static size_t
first_of(struct fsp_attest *attest, const uint8_t *leaf)
{
    size_t low = 0;
    size_t high = attest->n;

    if (!attest->sorted && attest->n > 0)
        qsort(attest->countersigns, attest->n, sizeof(*attest->countersigns), by_leaf);
    attest->sorted = true;
    while (low < high) {
        size_t middle = low + (high - low) / 2;

        if (memcmp(attest->countersigns[middle].leaf, leaf, FSP_HASH_LEN) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* The more a state says for the entry, the higher. */
static int
worth(enum fsp_sig_state state)
{
    switch (state) {
    case FSP_SIG_NONE:
        return 0;
    case FSP_SIG_BAD:
        return 1;
    case FSP_SIG_OFF_ROSTER:
        return 2;
    case FSP_SIG_OUT_OF_DATE:
        return 3;
    case FSP_SIG_GOOD:
        return 4;
    }
    return 0;
}

static enum fsp_sig_state
best_countersign(struct fsp_attest *attest, const uint8_t *leaf)
{
    enum fsp_sig_state best = FSP_SIG_NONE;

    for (size_t i = first_of(attest, leaf);
            i < attest->n && best != FSP_SIG_GOOD &&
            memcmp(attest->countersigns[i].leaf, leaf, FSP_HASH_LEN) == 0;
            i++) {
        enum fsp_sig_state state = judge_countersign(attest, &attest->countersigns[i], NULL);

        if (worth(state) > worth(best))
            best = state;
    }
    return best;
}

enum fsp_sig_state
fsp_attest_judge(struct fsp_attest *attest, const struct fsp_attest_entry *entry,
        const struct fsp_roster_signer **who)
{
    *who = NULL;
    if (is_kind(entry->record, "inspection"))
        return judge_inspection(attest, entry, who);
    if (is_kind(entry->record, "countersign"))
        return state_of_countersign(attest, entry->record, who);
    return best_countersign(attest, entry->leaf);
}

enum fsp_sig_state
fsp_attest_countersigned(struct fsp_attest *attest, const uint8_t leaf[FSP_HASH_LEN])
{
    return best_countersign(attest, leaf);
}

enum fsp_sig_state
fsp_attest_state(struct fsp_attest *attest, const struct fsp_attest_entry *entry)
{
    const struct fsp_roster_signer *who = NULL;

    return fsp_attest_judge(attest, entry, &who);
}

enum fsp_rc
fsp_attest_take_roster(
        struct fsp_attest *attest, const char *note, size_t len, struct fsp_err *err)
{
    struct fsp_roster *roster = NULL;
    struct fsp_err first = {.rc = FSP_OK};
    enum fsp_rc rc = FSP_EVERIFY;

    (void)fsp_err_set(&first, rc, "no key of the office's instructions is known");
    for (size_t i = 0; rc != FSP_OK && rc != FSP_ENOMEM && i < attest->n_keys; i++)
        rc = fsp_roster_read(&roster, note, len, &attest->keys[i], i == 0 ? &first : NULL);
    if (rc == FSP_OK && strcmp(roster->fleet, attest->fleet) != 0)
        rc = fsp_err_set(&first, FSP_EVERIFY, "it is of the fleet %s, not of %s", roster->fleet,
                attest->fleet);
    fsp_roster_free(roster);
    if (rc != FSP_OK)
        return fsp_err_set(err, rc, "%s", first.text);
    return take_roster(attest, note, len, err);
}

const struct fsp_roster *
fsp_attest_roster(const struct fsp_attest *attest)
{
    return attest->roster;
}

const char *
fsp_attest_roster_note(const struct fsp_attest *attest, size_t *len)
{
    *len = attest->roster != NULL ? attest->note.len : 0;
    return attest->roster != NULL ? fsp_buf_peek(&attest->note) : NULL;
}
