#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/mem.h"
#include "exhibit/exhibit_priv.h"
#include "proof/register.h"
#include "record/glance.h"

#define PIECE ((size_t)256 * 1024)

/* A register on its way into its file. */
struct roll {
    struct fsp_exhibit *exhibit;
    FILE *file;
    struct fsp_buf buf;
    uint8_t (*inspection)[FSP_HASH_LEN]; /* leaves of every inspection of the rig, sorted */
    size_t inspections;
    size_t cap;
};

/* --- which heads ----------------------------------------------------------------------------- */

/* Latest head at or before what was asked for, earliest at or behind it: the narrowest stretch of
 * which completeness can be proved. */
static enum fsp_rc
choose_heads(struct fsp_exhibit *exhibit, struct fsp_err *err)
{
    const struct fsp_exhibit_source *source = exhibit->source;
    const struct fsp_exhibit_wish *wish = exhibit->wish;
    const uint64_t size = source->log[source->chosen].size;
    enum fsp_rc rc = FSP_OK;

    if (wish->what == FSP_EXHIBIT_RANGE) {
        rc = fsp_exhibit_head_below(source, wish->first, INT64_MAX, &exhibit->from, err);
        return rc == FSP_OK ? fsp_exhibit_head_above(
                                      source, source->chosen, wish->last, &exhibit->to, err)
                            : rc;
    }
    if (wish->what == FSP_EXHIBIT_INSPECTIONS && wish->has_from)
        rc = fsp_exhibit_head_below(source, size, wish->from_s, &exhibit->from, err);
    if (rc != FSP_OK)
        return rc;
    /* No end: later than any head, so the newest. */
    rc = fsp_exhibit_head_since(source,
            wish->what == FSP_EXHIBIT_INSPECTIONS && wish->has_to ? wish->to_s : INT64_MAX,
            &exhibit->to, &exhibit->seen_after, err);
    if (rc == FSP_OK && exhibit->from.range.size >= exhibit->to.range.size)
        rc = fsp_err_set(err, FSP_ENOTFOUND,
                "no entry reached the office between those times (its newest head that counts "
                "is of %" PRIu64 " entries): there is nothing to prove",
                exhibit->to.range.size);
    return rc;
}

/* --- what is shown --------------------------------------------------------------------------- */

static int
by_bytes(const void *a, const void *b)
{
    return memcmp(a, b, FSP_HASH_LEN);
}

/* With --hold-back an amendment is shown when it amends an inspection: all of them must be known. */
static enum fsp_rc
keep_inspection(
        void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct roll *roll = ctx;
    const enum fsp_glance glance = fsp_glance(bytes, len);

    (void)index;
    if (glance != FSP_GLANCE_INSPECTION && glance != FSP_GLANCE_UNSURE)
        return FSP_OK;
    if (fsp_mem_grow((void **)&roll->inspection, &roll->cap, roll->inspections + 1,
                FSP_HASH_LEN) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fsp_leaf_hash(bytes, len, roll->inspection[roll->inspections]);
    roll->inspections++;
    return FSP_OK;
}

static enum fsp_rc
keep_inspections(struct roll *roll, struct fsp_err *err)
{
    const struct fsp_exhibit_source *source = roll->exhibit->source;
    enum fsp_rc rc = FSP_OK;

    if (!roll->exhibit->wish->hold_back || roll->exhibit->wish->what != FSP_EXHIBIT_INSPECTIONS)
        return FSP_OK;
    for (size_t i = 0; rc == FSP_OK && i < source->logs; i++) {
        const uint64_t within[2] = {0, source->log[i].size};

        if (within[1] > 0)
            rc = source->scan(
                    source->ctx, source->log[i].id, within, keep_inspection, roll, err);
    }
    if (rc == FSP_OK && roll->inspections > 0)
        qsort(roll->inspection, roll->inspections, FSP_HASH_LEN, by_bytes);
    return rc;
}

static bool
amends_inspection(const struct roll *roll, const struct fsp_record *record)
{
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    const char *base64 = entry == NULL ? NULL : fsp_record_text(entry, "leaf");
    uint8_t leaf[FSP_HASH_LEN];

    return base64 != NULL && roll->inspections > 0 &&
           fsp_unbase64_exact(base64, strlen(base64), leaf, sizeof(leaf)) == FSP_OK &&
           bsearch(leaf, roll->inspection, roll->inspections, FSP_HASH_LEN, by_bytes) != NULL;
}

/* record NULL: it is none of the kinds that matter here, or none that can be read. */
static bool
is_shown(const struct roll *roll, uint64_t index, const struct fsp_record *record)
{
    const struct fsp_exhibit_wish *wish = roll->exhibit->wish;
    const char *kind = record == NULL ? NULL : fsp_record_text(record, "kind");

    if (!wish->hold_back || wish->what == FSP_EXHIBIT_WHOLE)
        return true;
    if (wish->what == FSP_EXHIBIT_RANGE)
        return index >= wish->first && index <= wish->last;
    if (kind == NULL)
        return false;
    if (strcmp(kind, "amend") == 0)
        return amends_inspection(roll, record);
    return strcmp(kind, "inspection") == 0 || strcmp(kind, "countersign") == 0;
}

/* --- writing --------------------------------------------------------------------------------- */

static enum fsp_rc
flush(struct roll *roll, bool all, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_buf_check(&roll->buf, "the register", err);

    if (rc != FSP_OK || (!all && roll->buf.len < PIECE))
        return rc;
    if (roll->buf.len > 0 &&
            fwrite(roll->buf.data, 1, roll->buf.len, roll->file) != roll->buf.len)
        return fsp_err_sys(err, FSP_EIO, errno, "the register cannot be written");
    fsp_buf_reset(&roll->buf);
    return FSP_OK;
}

/* An inspection is told in the summary; the first of them one by one. */
static enum fsp_rc
tell(struct roll *roll, uint64_t index, const struct fsp_attest_entry *entry,
        struct fsp_err *err)
{
    struct fsp_exhibit *exhibit = roll->exhibit;
    struct fsp_exhibit_piece *piece;

    exhibit->result->inspections++;
    if (exhibit->pieces == FSP_EXHIBIT_LISTED_MAX) {
        exhibit->more++;
        return FSP_OK;
    }
    if (fsp_mem_grow((void **)&exhibit->piece, &exhibit->cap, exhibit->pieces + 1,
                sizeof(*exhibit->piece)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    piece = &exhibit->piece[exhibit->pieces++];
    memset(piece, 0, sizeof(*piece));
    piece->log = exhibit->source->chosen;
    piece->index = index;
    fsp_exhibit_tell(exhibit, piece, entry);
    return FSP_OK;
}

static enum fsp_rc
put_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct roll *roll = ctx;
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_attest_entry entry = {.bytes = bytes, .len = len, .leaf = leaf};
    struct fsp_record *record = NULL;
    bool shown;
    enum fsp_rc rc = FSP_OK;

    if (fsp_glance(bytes, len) != FSP_GLANCE_OTHER) {
        rc = fsp_record_parse(bytes, len, &record, err);
        if (rc == FSP_ENOMEM)
            return rc;
    }
    fsp_leaf_hash(bytes, len, leaf);
    shown = is_shown(roll, index, record);
    if (shown)
        fsp_register_write_entry(bytes, len, &roll->buf);
    else
        fsp_register_write_held_back(leaf, &roll->buf);
    roll->exhibit->result->held_back += shown ? 0 : 1;
    rc = FSP_OK;
    if (shown && record != NULL && fsp_record_text(record, "kind") != NULL &&
            strcmp(fsp_record_text(record, "kind"), "inspection") == 0) {
        entry.record = record;
        rc = tell(roll, index, &entry, err);
    }
    fsp_record_free(record);
    return rc == FSP_OK ? flush(roll, false, err) : rc;
}

static enum fsp_rc
write_roll(struct roll *roll, struct fsp_err *err)
{
    struct fsp_exhibit *exhibit = roll->exhibit;
    const struct fsp_exhibit_source *source = exhibit->source;
    const struct fsp_exhibit_log *log = &source->log[source->chosen];
    struct fsp_register_top top = {.range = exhibit->from.range,
            .to = exhibit->to.range.size,
            .from_head = fsp_buf_peek(&exhibit->from.note),
            .from_head_len = exhibit->from.note.len,
            .to_head = fsp_buf_peek(&exhibit->to.note),
            .to_head_len = exhibit->to.note.len};
    const uint64_t within[2] = {exhibit->from.range.size, exhibit->to.range.size};
    enum fsp_rc rc;

    memcpy(top.origin, log->origin, sizeof(top.origin));
    fsp_register_write_top(&top, &roll->buf);
    rc = source->scan(source->ctx, log->id, within, put_entry, roll, err);
    fsp_register_write_end(&roll->buf);
    if (rc == FSP_OK)
        rc = flush(roll, true, err);
    if (rc == FSP_OK && (fflush(roll->file) != 0 || fsync(fileno(roll->file)) != 0))
        rc = fsp_err_sys(err, FSP_EIO, errno, "the register cannot be written");
    return rc;
}

/* --- reading it again ------------------------------------------------------------------------ */

static enum fsp_rc
judge_heads(void *ctx, const struct fsp_register_top *top, struct fsp_err *err)
{
    struct fsp_statement *statement = calloc(1, sizeof(*statement));
    enum fsp_rc rc = statement == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                       : fsp_head_verify(ctx, top->to_head, top->to_head_len,
                                                 statement, err);

    if (rc == FSP_OK && top->from_head != NULL)
        rc = fsp_head_verify(ctx, top->from_head, top->from_head_len, statement, err);
    free(statement);
    return rc;
}

/* What leaves is what verifies. */
static enum fsp_rc
read_again(FILE *file, struct fsp_policy *policy, struct fsp_err *err)
{
    const struct fsp_register_hooks hooks = {.top = judge_heads, .ctx = policy};
    struct fsp_register *reg = NULL;
    char *piece = malloc(PIECE);
    size_t n = 1;
    enum fsp_rc rc = piece == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                   : fsp_register_new(&reg, &hooks, err);

    if (rc == FSP_OK && fseeko(file, 0, SEEK_SET) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "the register cannot be read again");
    while (rc == FSP_OK && n > 0) {
        n = fread(piece, 1, PIECE, file);
        if (ferror(file))
            rc = fsp_err_sys(err, FSP_EIO, errno, "the register cannot be read again");
        else
            rc = fsp_register_feed(reg, piece, n, err);
    }
    if (rc == FSP_OK)
        rc = fsp_register_finish(reg, NULL, err);
    fsp_register_free(reg);
    free(piece);
    return rc == FSP_OK || rc == FSP_ENOMEM || rc == FSP_EIO
                   ? rc
                   : fsp_err_wrap(err, FSP_ECORRUPT, "the register does not verify");
}

static enum fsp_rc
make_file(struct roll *roll, const char *path, struct fsp_err *err)
{
    struct fsp_policy *policy = NULL;
    struct fsp_buf beside;
    enum fsp_rc rc;

    fsp_buf_init(&beside, strlen(path) + 8);
    fsp_buf_printf(&beside, "%s.new", path);
    rc = fsp_buf_check(&beside, "a path", err);
    if (rc == FSP_OK)
        rc = fsp_exhibit_policy(roll->exhibit, &policy, err);
    if (rc == FSP_OK) {
        roll->file = fopen(fsp_buf_peek(&beside), "w+be");
        if (roll->file == NULL)
            rc = fsp_err_sys(err, FSP_EIO, errno, "%s", fsp_buf_peek(&beside));
    }
    if (rc == FSP_OK)
        rc = write_roll(roll, err);
    if (rc == FSP_OK)
        rc = read_again(roll->file, policy, err);
    if (roll->file != NULL && fclose(roll->file) != 0 && rc == FSP_OK)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s", path);
    if (rc == FSP_OK && rename(fsp_buf_peek(&beside), path) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s", path);
    if (rc != FSP_OK && roll->file != NULL)
        (void)unlink(fsp_buf_peek(&beside)); /* the failure is told already */
    if (rc == FSP_OK)
        rc = fsp_file_sync_folder(roll->exhibit->wish->folder, err);
    fsp_policy_free(policy);
    fsp_buf_fini(&beside);
    return rc;
}

enum fsp_rc
fsp_exhibit_roll(struct fsp_exhibit *exhibit, struct fsp_err *err)
{
    struct roll roll = {.exhibit = exhibit};
    struct fsp_exhibit_result *result = exhibit->result;
    char *path = NULL;
    enum fsp_rc rc;

    fsp_buf_init(&roll.buf, PIECE + 4 * FSP_NOTE_MAX);
    rc = choose_heads(exhibit, err);
    if (rc == FSP_OK)
        rc = fsp_exhibit_attest(exhibit, err);
    if (rc == FSP_OK)
        rc = keep_inspections(&roll, err);
    if (rc != FSP_OK)
        goto out;
    exhibit->used_log[exhibit->source->chosen] = true;
    exhibit->used_office[exhibit->to.office] = true;
    if (exhibit->from.range.size > 0)
        exhibit->used_office[exhibit->from.office] = true;
    result->from = exhibit->from.range.size;
    result->size = exhibit->to.range.size;
    result->entries = result->size - result->from;
    (void)snprintf(result->file, sizeof(result->file), "%" PRIu64 "-%" PRIu64 ".register",
            result->from, result->size - 1);
    path = fsp_file_join(exhibit->wish->folder, result->file);
    if (path == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    rc = fsp_exhibit_folder(exhibit, err);
    if (rc == FSP_OK)
        rc = make_file(&roll, path, err);
out:
    free(path);
    free(roll.inspection);
    fsp_buf_fini(&roll.buf);
    return rc;
}
