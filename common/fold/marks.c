/*
 * Form: magic, version, about, roster, logs, marks, sum. Integers are LEB128 (times zigzag); a
 * mark's index is the distance from the one before in its log.
 */
#include "fold/marks.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"

#define MAGIC     "fspmk"
#define MAGIC_LEN 5

/* A mark's first byte. */
#define KIND_BITS 0x03U
#define SIG_SHIFT 2
#define SIG_BITS  0x07U
#define VOIDS     0x20U
#define AIMED     0x40U
#define PERSONAL  0x80U

void
fsp_sum_close(struct fsp_buf *buf, size_t start)
{
    uint8_t hash[FSP_HASH_LEN];

    if (buf->rc != FSP_OK)
        return;
    fsp_leaf_hash(buf->data + start, buf->len - start, hash);
    fsp_buf_add(buf, hash, FSP_SUM_LEN);
}

bool
fsp_sum_holds(const uint8_t *bytes, size_t len)
{
    uint8_t hash[FSP_HASH_LEN];

    if (len < FSP_SUM_LEN)
        return false;
    fsp_leaf_hash(bytes, len - FSP_SUM_LEN, hash);
    return memcmp(hash, bytes + len - FSP_SUM_LEN, FSP_SUM_LEN) == 0;
}

void
fsp_marks_init(struct fsp_marks *marks)
{
    memset(marks, 0, sizeof(*marks));
}

void
fsp_marks_fini(struct fsp_marks *marks)
{
    free(marks->items);
    fsp_marks_init(marks);
}

enum fsp_rc
fsp_marks_add(struct fsp_marks *marks, const struct fsp_mark *mark, struct fsp_err *err)
{
    if (fsp_mem_grow((void **)&marks->items, &marks->cap, marks->n + 1, sizeof(*mark)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    marks->items[marks->n++] = *mark;
    return FSP_OK;
}

static int
compare(uint32_t log, uint64_t index, const struct fsp_mark *mark)
{
    if (log != mark->log)
        return log < mark->log ? -1 : 1;
    return (index > mark->index) - (index < mark->index);
}

static int
by_place(const void *left, const void *right)
{
    const struct fsp_mark *a = left;

    return compare(a->log, a->index, right);
}

void
fsp_marks_sort(struct fsp_marks *marks)
{
    if (marks->n > 1)
        qsort(marks->items, marks->n, sizeof(*marks->items), by_place);
}

struct fsp_mark *
fsp_marks_find(const struct fsp_marks *marks, uint32_t log, uint64_t index)
{
    size_t low = 0;
    size_t high = marks->n;

    while (low < high) {
        size_t middle = low + (high - low) / 2;
        int order = compare(log, index, &marks->items[middle]);

        if (order == 0)
            return &marks->items[middle];
        if (order > 0)
            low = middle + 1;
        else
            high = middle;
    }
    return NULL;
}

/* ---- stored form ---- */

static void
write_time(struct fsp_buf *buf, int64_t at_s)
{
    fsp_buf_add_varint(buf, ((uint64_t)at_s << 1) ^ (at_s < 0 ? UINT64_MAX : 0));
}

static void
write_mark(const struct fsp_mark *mark, uint64_t before, struct fsp_buf *buf)
{
    unsigned head = (unsigned)mark->kind | (unsigned)mark->sig << SIG_SHIFT;

    head |= mark->voids ? VOIDS : 0U;
    head |= mark->aimed ? AIMED : 0U;
    head |= mark->personal ? PERSONAL : 0U;
    fsp_buf_add_byte(buf, (uint8_t)head);
    fsp_buf_add_varint(buf, mark->index - before);
    write_time(buf, mark->at_s);
    if (mark->aimed) {
        fsp_buf_add_varint(buf, mark->to_log);
        fsp_buf_add_varint(buf, mark->to_index);
    }
}

void
fsp_marks_write(const struct fsp_marks *marks, struct fsp_buf *buf)
{
    size_t start = buf->len;
    size_t at = 0;

    fsp_buf_add(buf, MAGIC, MAGIC_LEN);
    fsp_buf_add_varint(buf, FSP_MARKS_VERSION);
    fsp_buf_add(buf, marks->about, sizeof(marks->about));
    fsp_buf_add_byte(buf, marks->has_roster ? 1 : 0);
    fsp_buf_add(buf, marks->roster, sizeof(marks->roster));
    fsp_buf_add_varint(buf, marks->roster_log);
    fsp_buf_add_varint(buf, marks->roster_index);
    fsp_buf_add_varint(buf, marks->unreadable);
    fsp_buf_add_varint(buf, marks->n_logs);
    for (size_t l = 0; l < marks->n_logs; l++) {
        size_t from = at;
        uint64_t before = 0;

        write_time(buf, marks->logs[l].id);
        fsp_buf_add_varint(buf, marks->logs[l].size);
        fsp_buf_add(buf, marks->logs[l].last, sizeof(marks->logs[l].last));
        while (at < marks->n && marks->items[at].log == l)
            at++;
        fsp_buf_add_varint(buf, at - from);
        for (; from < at; from++) {
            write_mark(&marks->items[from], before, buf);
            before = marks->items[from].index;
        }
    }
    fsp_sum_close(buf, start);
}

struct reader {
    struct fsp_cursor in;
    bool bad;
};

static uint64_t
read_u64(struct reader *reader, uint64_t most)
{
    uint64_t value = 0;

    if (reader->bad || fsp_cursor_varint(&reader->in, &value) != FSP_OK || value > most) {
        reader->bad = true;
        return 0;
    }
    return value;
}

static int64_t
read_time(struct reader *reader)
{
    uint64_t zigzag = read_u64(reader, UINT64_MAX);

    return (int64_t)(zigzag >> 1) ^ -(int64_t)(zigzag & 1);
}

static void
read_bytes(struct reader *reader, uint8_t *out, size_t len)
{
    const uint8_t *bytes = NULL;

    if (reader->bad || fsp_cursor_bytes(&reader->in, &bytes, len) != FSP_OK) {
        reader->bad = true;
        memset(out, 0, len);
        return;
    }
    memcpy(out, bytes, len);
}

static void
read_mark(struct reader *reader, struct fsp_mark *mark, uint64_t before)
{
    uint8_t head = 0;

    read_bytes(reader, &head, 1);
    mark->kind = (enum fsp_mark_kind)(head & KIND_BITS);
    if (((unsigned)head >> SIG_SHIFT & SIG_BITS) > FSP_SIG_OUT_OF_DATE)
        reader->bad = true;
    else
        mark->sig = (enum fsp_sig_state)((unsigned)head >> SIG_SHIFT & SIG_BITS);
    mark->voids = (head & VOIDS) != 0;
    mark->aimed = (head & AIMED) != 0;
    mark->personal = (head & PERSONAL) != 0;
    mark->index = before + read_u64(reader, UINT64_MAX - before);
    mark->at_s = read_time(reader);
    if (mark->aimed) {
        mark->to_log = (uint32_t)read_u64(reader, FSP_STATE_LOGS);
        mark->to_index = read_u64(reader, UINT64_MAX);
    }
}

static enum fsp_rc
read_log(struct reader *reader, struct fsp_marks *marks, uint32_t l, struct fsp_err *err)
{
    struct fsp_marks_log *log = &marks->logs[l];
    uint64_t before = 0;
    uint64_t n;
    enum fsp_rc rc = FSP_OK;

    log->id = read_time(reader);
    log->size = read_u64(reader, UINT64_MAX);
    read_bytes(reader, log->last, sizeof(log->last));
    n = read_u64(reader, UINT64_MAX);
    for (uint64_t i = 0; rc == FSP_OK && i < n && !reader->bad; i++) {
        struct fsp_mark mark = {.log = l};

        read_mark(reader, &mark, before);
        reader->bad = reader->bad || mark.index >= log->size || (i > 0 && mark.index == before);
        before = mark.index;
        if (!reader->bad)
            rc = fsp_marks_add(marks, &mark, err);
    }
    return rc;
}

enum fsp_rc
fsp_marks_read(struct fsp_marks *marks, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct reader reader = {.bad = false};
    uint8_t has_roster = 0;
    enum fsp_rc rc = FSP_OK;

    if (len < MAGIC_LEN + FSP_SUM_LEN || len > FSP_MARKS_MAX ||
            memcmp(bytes, MAGIC, MAGIC_LEN) != 0 || !fsp_sum_holds(bytes, len))
        return fsp_err_set(err, FSP_EFORMAT, "marks: damaged; read every entry instead");
    reader.in = (struct fsp_cursor){bytes, len - FSP_SUM_LEN, MAGIC_LEN};
    if (read_u64(&reader, UINT64_MAX) != FSP_MARKS_VERSION)
        return fsp_err_set(
                err, FSP_EFORMAT, "marks: of another version; read every entry instead");
    read_bytes(&reader, marks->about, sizeof(marks->about));
    read_bytes(&reader, &has_roster, 1);
    marks->has_roster = has_roster == 1;
    read_bytes(&reader, marks->roster, sizeof(marks->roster));
    marks->roster_log = (uint32_t)read_u64(&reader, FSP_STATE_LOGS);
    marks->roster_index = read_u64(&reader, UINT64_MAX);
    marks->unreadable = read_u64(&reader, UINT64_MAX);
    marks->n_logs = (size_t)read_u64(&reader, FSP_STATE_LOGS);
    for (uint32_t l = 0; rc == FSP_OK && l < marks->n_logs; l++)
        rc = read_log(&reader, marks, l, err);
    if (rc == FSP_OK && (reader.bad || reader.in.pos != reader.in.len))
        rc = fsp_err_set(err, FSP_EFORMAT, "marks: damaged; read every entry instead");
    if (rc != FSP_OK)
        fsp_marks_fini(marks);
    return rc;
}

void
fsp_marks_basis(const struct fsp_marks *marks, uint8_t basis[FSP_BASIS_LEN])
{
    uint8_t both[2 * FSP_HASH_LEN];
    uint8_t hash[FSP_HASH_LEN];

    memcpy(both, marks->about, FSP_HASH_LEN);
    memcpy(both + FSP_HASH_LEN, marks->roster, FSP_HASH_LEN);
    fsp_leaf_hash(both, sizeof(both), hash);
    memcpy(basis, hash, FSP_BASIS_LEN);
}
