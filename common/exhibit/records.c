#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "exhibit/exhibit_priv.h"
#include "record/glance.h"

/* --- what the logs say of one another -------------------------------------------------------- */

static bool
is_kind(const struct fsp_record *record, const char *kind)
{
    const char *text = record == NULL ? NULL : fsp_record_text(record, "kind");

    return text != NULL && strcmp(text, kind) == 0;
}

static void
copy(char *out, size_t size, const char *text)
{
    const size_t len = text == NULL ? 0 : strnlen(text, size - 1);

    if (len > 0)
        memcpy(out, text, len);
    out[len] = '\0';
}

/* The entry that this one names: its leaf, and a text for people. */
static bool
named(const struct fsp_record *record, uint8_t leaf[FSP_HASH_LEN], char *text, size_t size)
{
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    const char *base64 = entry == NULL ? NULL : fsp_record_text(entry, "leaf");
    int64_t index = 0;

    text[0] = '\0';
    if (entry != NULL && fsp_record_int(entry, "index", &index))
        (void)snprintf(text, size, "entry %" PRId64, index);
    return base64 != NULL &&
           fsp_unbase64_exact(base64, strlen(base64), leaf, FSP_HASH_LEN) == FSP_OK;
}

void
fsp_exhibit_tell(struct fsp_exhibit *exhibit, struct fsp_exhibit_piece *piece,
        const struct fsp_attest_entry *entry)
{
    const struct fsp_record *record = entry->record;
    uint8_t leaf[FSP_HASH_LEN];

    memcpy(piece->leaf, entry->leaf, FSP_HASH_LEN);
    if (record == NULL) {
        copy(piece->kind, sizeof(piece->kind), "not readable");
        return;
    }
    copy(piece->kind, sizeof(piece->kind), fsp_record_text(record, "kind"));
    copy(piece->at, sizeof(piece->at), fsp_record_text(record, "at"));
    copy(piece->noted, sizeof(piece->noted), fsp_record_text(record, "noted"));
    copy(piece->by, sizeof(piece->by), fsp_record_text(record, "by"));
    copy(piece->reel, sizeof(piece->reel), fsp_record_text(record, "reel"));
    copy(piece->decision, sizeof(piece->decision), fsp_record_text(record, "decision"));
    copy(piece->name, sizeof(piece->name),
            fsp_record_text(record, is_kind(record, "countersign") ? "signer" : "inspector"));
    if (is_kind(record, "amend") || is_kind(record, "countersign"))
        (void)named(record, leaf, piece->names, sizeof(piece->names));
    piece->voids = is_kind(record, "amend") && fsp_record_has(record, "void");
    piece->is_signed_kind = is_kind(record, "inspection") || is_kind(record, "countersign");
    piece->sig = fsp_attest_state(exhibit->attest, entry);
    if (is_kind(record, "inspection"))
        piece->countersigned = fsp_attest_countersigned(exhibit->attest, entry->leaf);
}

/* --- reading the logs for what refers to the entry -------------------------------------------- */

struct search {
    struct fsp_exhibit *exhibit;
    size_t log;
    bool keep; /* keep what refers to a piece, besides telling the attest */
};

static enum fsp_rc
add_piece(struct search *search, uint64_t index, const uint8_t *leaf, struct fsp_err *err)
{
    struct fsp_exhibit *exhibit = search->exhibit;
    struct fsp_exhibit_piece *piece;

    if (exhibit->pieces == FSP_EXHIBIT_PAIRS_MAX)
        return fsp_err_set(err, FSP_ELIMIT,
                "more than %d entries refer to this one: prove a range instead",
                FSP_EXHIBIT_PAIRS_MAX);
    if (fsp_mem_grow((void **)&exhibit->piece, &exhibit->cap, exhibit->pieces + 1,
                sizeof(*exhibit->piece)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    piece = &exhibit->piece[exhibit->pieces++];
    memset(piece, 0, sizeof(*piece));
    piece->log = search->log;
    piece->index = index;
    memcpy(piece->leaf, leaf, FSP_HASH_LEN);
    return FSP_OK;
}

/* Whether the record amends or countersigns a piece that is there already. */
static bool
refers(const struct fsp_exhibit *exhibit, const struct fsp_record *record)
{
    uint8_t target[FSP_HASH_LEN];
    char text[64];

    if ((!is_kind(record, "amend") && !is_kind(record, "countersign")) ||
            !named(record, target, text, sizeof(text)))
        return false;
    for (size_t i = 0; i < exhibit->pieces; i++)
        if (memcmp(exhibit->piece[i].leaf, target, FSP_HASH_LEN) == 0)
            return true;
    return false;
}

static enum fsp_rc
look_at(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct search *search = ctx;
    const enum fsp_glance glance = fsp_glance(bytes, len);
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_attest_entry entry = {.bytes = bytes, .len = len, .leaf = leaf};
    struct fsp_record *record = NULL;
    enum fsp_rc rc;

    if (glance == FSP_GLANCE_OTHER || glance == FSP_GLANCE_INSPECTION)
        return FSP_OK;
    rc = fsp_record_parse(bytes, len, &record, err);
    if (rc != FSP_OK) /* no record refers to anything */
        return rc == FSP_ENOMEM ? rc : FSP_OK;
    entry.record = record;
    fsp_leaf_hash(bytes, len, leaf);
    rc = fsp_attest_note(search->exhibit->attest, &entry, err);
    if (rc == FSP_OK && search->keep && refers(search->exhibit, record))
        rc = add_piece(search, index, leaf, err);
    fsp_record_free(record);
    return rc;
}

static enum fsp_rc
search_logs(struct fsp_exhibit *exhibit, bool keep, struct fsp_err *err)
{
    const struct fsp_exhibit_source *source = exhibit->source;
    struct search search = {.exhibit = exhibit, .keep = keep};
    enum fsp_rc rc = FSP_OK;

    for (search.log = 0; rc == FSP_OK && search.log < source->logs; search.log++) {
        const uint64_t within[2] = {0, source->log[search.log].size};

        if (within[1] > 0)
            rc = source->scan(
                    source->ctx, source->log[search.log].id, within, look_at, &search, err);
    }
    return rc;
}

enum fsp_rc
fsp_exhibit_attest(struct fsp_exhibit *exhibit, struct fsp_err *err)
{
    return search_logs(exhibit, false, err);
}

/* --- writing the pairs ----------------------------------------------------------------------- */

/* One entry, as it lies in the store. */
struct taken {
    struct fsp_buf record;
};

static enum fsp_rc
take(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct taken *taken = ctx;

    (void)index;
    fsp_buf_add(&taken->record, bytes, len);
    return fsp_buf_check(&taken->record, "an entry", err);
}

static enum fsp_rc
get_entry(const struct fsp_exhibit_source *source, size_t log, uint64_t index,
        struct taken *taken, struct fsp_err *err)
{
    const uint64_t within[2] = {index, index + 1};

    fsp_buf_reset(&taken->record);
    return source->scan(source->ctx, source->log[log].id, within, take, taken, err);
}

/* What a pair needs until the policy is whole: the proof's bytes and the record's. */
struct pair {
    struct fsp_buf record;
    struct fsp_buf proof;
};

/* The leaves of each log are computed once, or again when a head stands above the entries that count
 * (of a log that another one continues). */
struct leaves {
    uint8_t (*of[64])[FSP_HASH_LEN];
    uint64_t size[64];
};

static enum fsp_rc
need_leaves(const struct fsp_exhibit_source *source, size_t log, uint64_t size,
        struct leaves *leaves, struct fsp_err *err)
{
    const uint64_t want = size > source->log[log].size ? size : source->log[log].size;
    enum fsp_rc rc;

    if (leaves->of[log] != NULL && leaves->size[log] >= size)
        return FSP_OK;
    free(leaves->of[log]);
    leaves->of[log] = NULL;
    rc = source->leaves(source->ctx, source->log[log].id, want, &leaves->of[log], err);
    leaves->size[log] = rc == FSP_OK ? want : 0;
    return rc;
}

static enum fsp_rc
prove_piece(struct fsp_exhibit *exhibit, struct fsp_exhibit_piece *piece, struct leaves *leaves,
        struct pair *pair, struct fsp_err *err)
{
    const struct fsp_exhibit_source *source = exhibit->source;
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    struct fsp_exhibit_head head;
    size_t n = 0;
    enum fsp_rc rc;

    fsp_exhibit_head_init(&head);
    rc = fsp_exhibit_head_above(source, piece->log, piece->index, &head, err);
    if (rc == FSP_OK)
        rc = need_leaves(source, piece->log, head.range.size, leaves, err);
    if (rc == FSP_OK) {
        fsp_tree_inclusion((const uint8_t(*)[FSP_HASH_LEN])leaves->of[piece->log],
                head.range.size, piece->index, path, &n);
        fsp_proof_write(&pair->proof, piece->index, (const uint8_t(*)[FSP_HASH_LEN])path, n,
                fsp_buf_peek(&head.note), head.note.len);
        rc = fsp_buf_check(&pair->proof, "the proof", err);
    }
    if (rc == FSP_OK) {
        piece->seen_s = head.seen_s;
        exhibit->used_log[piece->log] = true;
        exhibit->used_office[head.office] = true;
        if (piece == exhibit->piece)
            exhibit->result->size = head.range.size;
    }
    fsp_exhibit_head_fini(&head);
    return rc;
}

static void
name_piece(const struct fsp_exhibit *exhibit, struct fsp_exhibit_piece *piece)
{
    const char *slash = strrchr(exhibit->source->log[piece->log].origin, '/');

    if (piece->log == exhibit->source->chosen || slash == NULL)
        (void)snprintf(piece->stem, sizeof(piece->stem), "%" PRIu64, piece->index);
    else
        (void)snprintf(
                piece->stem, sizeof(piece->stem), "%.32s-%" PRIu64, slash + 1, piece->index);
}

/* Record, proof, and what the summary tells. FSP_ENOTFOUND: under no head that counts yet. */
static enum fsp_rc
make_pair(struct fsp_exhibit *exhibit, struct fsp_exhibit_piece *piece, struct leaves *leaves,
        struct pair *pair, struct fsp_err *err)
{
    struct taken taken;
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_attest_entry entry = {.leaf = leaf};
    struct fsp_record *record = NULL;
    enum fsp_rc rc = prove_piece(exhibit, piece, leaves, pair, err);

    fsp_buf_init(&taken.record, FSP_ENTRY_MAX);
    if (rc == FSP_OK)
        rc = get_entry(exhibit->source, piece->log, piece->index, &taken, err);
    if (rc == FSP_OK) {
        fsp_leaf_hash(taken.record.data, taken.record.len, leaf);
        if (fsp_record_parse(taken.record.data, taken.record.len, &record, NULL) == FSP_OK)
            entry.record = record;
        entry.bytes = taken.record.data;
        entry.len = taken.record.len;
        fsp_exhibit_tell(exhibit, piece, &entry);
        fsp_buf_add(&pair->record, taken.record.data, taken.record.len);
        rc = fsp_buf_check(&pair->record, "the record", err);
    }
    fsp_record_free(record);
    fsp_buf_fini(&taken.record);
    name_piece(exhibit, piece);
    return rc;
}

/* What leaves is what verifies: the files' own bytes are judged before they are written. */
static enum fsp_rc
judge_pair(const struct fsp_policy *policy, const struct pair *pair, struct fsp_err *err)
{
    struct fsp_statement *statement = calloc(1, sizeof(*statement));
    struct fsp_proof_file *proof = calloc(1, sizeof(*proof));
    enum fsp_rc rc = FSP_ENOMEM;

    if (statement != NULL && proof != NULL) {
        rc = fsp_proof_parse(proof, fsp_buf_peek(&pair->proof), pair->proof.len, err);
        if (rc == FSP_OK)
            rc = fsp_evidence_verify(
                    policy, pair->record.data, pair->record.len, proof, statement, err);
    } else {
        (void)fsp_err_set(err, rc, "out of memory");
    }
    free(proof);
    free(statement);
    return rc == FSP_OK || rc == FSP_ENOMEM
                   ? rc
                   : fsp_err_wrap(err, FSP_ECORRUPT, "the evidence does not verify");
}

static enum fsp_rc
save_pair(const struct fsp_exhibit *exhibit, const struct fsp_exhibit_piece *piece,
        const struct pair *pair, struct fsp_err *err)
{
    char name[96];
    enum fsp_rc rc;

    (void)snprintf(name, sizeof(name), "%s.record.json", piece->stem);
    rc = fsp_exhibit_save(exhibit, name, &pair->record, err);
    (void)snprintf(name, sizeof(name), "%s.tlog-proof", piece->stem);
    return rc == FSP_OK ? fsp_exhibit_save(exhibit, name, &pair->proof, err) : rc;
}

/* A piece that came along and is under no head yet is left out and told. */
static void
drop_piece(struct fsp_exhibit *exhibit, size_t i)
{
    memmove(&exhibit->piece[i], &exhibit->piece[i + 1],
            (exhibit->pieces - i - 1) * sizeof(*exhibit->piece));
    exhibit->pieces--;
    exhibit->unseen++;
}

static enum fsp_rc
make_pairs(struct fsp_exhibit *exhibit, struct leaves *leaves, struct pair *pair,
        struct fsp_err *err)
{
    size_t i = 0;

    while (i < exhibit->pieces) {
        enum fsp_rc rc = make_pair(exhibit, &exhibit->piece[i], leaves, &pair[i], err);

        if (rc == FSP_ENOTFOUND && i > 0) {
            drop_piece(exhibit, i);
            continue;
        }
        if (rc != FSP_OK)
            return rc;
        i++;
    }
    return FSP_OK;
}

static enum fsp_rc
write_pairs(struct fsp_exhibit *exhibit, const struct pair *pair, struct fsp_err *err)
{
    struct fsp_policy *policy = NULL;
    enum fsp_rc rc = fsp_exhibit_policy(exhibit, &policy, err);

    for (size_t i = 0; rc == FSP_OK && i < exhibit->pieces; i++)
        rc = judge_pair(policy, &pair[i], err);
    if (rc == FSP_OK)
        rc = fsp_exhibit_folder(exhibit, err);
    for (size_t i = 0; rc == FSP_OK && i < exhibit->pieces; i++)
        rc = save_pair(exhibit, &exhibit->piece[i], &pair[i], err);
    fsp_policy_free(policy);
    return rc;
}

enum fsp_rc
fsp_exhibit_records(struct fsp_exhibit *exhibit, struct fsp_err *err)
{
    struct search search = {.exhibit = exhibit, .log = exhibit->source->chosen};
    struct taken taken;
    struct leaves *leaves = calloc(1, sizeof(*leaves));
    struct pair *pair = NULL;
    size_t pairs = 0;
    uint8_t leaf[FSP_HASH_LEN];
    enum fsp_rc rc;

    if (leaves == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fsp_buf_init(&taken.record, FSP_ENTRY_MAX);
    rc = get_entry(exhibit->source, search.log, exhibit->wish->first, &taken, err);
    if (rc == FSP_OK) {
        fsp_leaf_hash(taken.record.data, taken.record.len, leaf);
        rc = add_piece(&search, exhibit->wish->first, leaf, err);
    }
    if (rc == FSP_OK)
        rc = search_logs(exhibit, true, err);
    if (rc != FSP_OK)
        goto out;
    pair = fsp_mem_array(exhibit->pieces, sizeof(*pair));
    if (pair == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    pairs = exhibit->pieces;
    for (size_t i = 0; i < pairs; i++) {
        fsp_buf_init(&pair[i].record, FSP_ENTRY_MAX);
        fsp_buf_init(&pair[i].proof, 2 * FSP_NOTE_MAX);
    }
    rc = make_pairs(exhibit, leaves, pair, err);
    if (rc == FSP_OK)
        rc = write_pairs(exhibit, pair, err);
    if (rc == FSP_OK) {
        (void)snprintf(exhibit->result->file, sizeof(exhibit->result->file),
                "%" PRIu64 ".record.json", exhibit->wish->first);
        exhibit->result->entries = 1;
        exhibit->result->pairs = exhibit->pieces - 1;
    }
out:
    for (size_t i = 0; i < pairs; i++) {
        fsp_buf_fini(&pair[i].record);
        fsp_buf_fini(&pair[i].proof);
    }
    free(pair);
    for (size_t i = 0; i < sizeof(leaves->of) / sizeof(leaves->of[0]); i++)
        free(leaves->of[i]);
    free(leaves);
    fsp_buf_fini(&taken.record);
    return rc;
}
