#include "audit/register.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/mem.h"
#include "proof/register.h"
#include "record/check.h"
#include "record/glance.h"

#define PIECE ((size_t)256 * 1024)
#define MAGIC "farspool-register/v1\n"

/* An amendment, until it is known which inspections are listed. */
struct amendment {
    uint8_t target[FSP_HASH_LEN];
    uint64_t index;
};

/* The two readings of one file. */
struct reading {
    struct fsp_book *book;
    const struct fsp_audit_job *job;
    char names[2][FSP_NAME_MAX + 1];
    struct fsp_attest *attest;   /* NULL: the origin is of no rig */
    uint64_t noted;              /* entries that the attest knows */
    uint64_t again;              /* the same, met while verifying */
    uint8_t chain[FSP_HASH_LEN]; /* over their leaves, of the first reading */
    uint8_t chain_again[FSP_HASH_LEN];
    uint64_t seen_s; /* when the office first saw the head of `to`, 0: unknown */
    struct amendment *amendment;
    size_t amendments;
    size_t cap;
    size_t cap_lines;
};

void
fsp_book_init(struct fsp_book *book)
{
    memset(book, 0, sizeof(*book));
    fsp_audit_office_init(&book->office);
}

void
fsp_book_fini(struct fsp_book *book)
{
    fsp_policy_free(book->policy);
    fsp_audit_office_fini(&book->office);
    free(book->line);
    fsp_book_init(book);
}

bool
fsp_audit_is_register(const char *path)
{
    char first[sizeof(MAGIC) - 1];
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    ssize_t n;

    if (fd < 0)
        return false;
    n = read(fd, first, sizeof(first));
    (void)close(fd); /* read only */
    return n == (ssize_t)sizeof(first) && memcmp(first, MAGIC, sizeof(first)) == 0;
}

/* --- the heads ------------------------------------------------------------------------------- */

static enum fsp_rc
see_top(void *ctx, const struct fsp_register_top *top, struct fsp_err *err)
{
    struct reading *reading = ctx;
    struct fsp_book *book = reading->book;
    enum fsp_rc rc =
            fsp_head_verify(book->policy, top->to_head, top->to_head_len, &book->to, err);

    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "the head of %" PRIu64, top->to);
    book->has_from = top->from_head != NULL;
    if (book->has_from) {
        rc = fsp_head_verify(
                book->policy, top->from_head, top->from_head_len, &book->from, err);
        if (rc != FSP_OK)
            return fsp_err_wrap(err, rc, "the head of %" PRIu64, top->range.size);
        if (!fsp_vkey_equal(&book->from.log, &book->to.log))
            return fsp_err_set(err, FSP_EVERIFY, "the two heads are signed by different keys");
    }
    for (size_t i = 0; i < book->to.cosigned; i++)
        if (reading->seen_s == 0 || book->to.cosigned_s[i] < reading->seen_s)
            reading->seen_s = book->to.cosigned_s[i];
    return FSP_OK;
}

/* --- entries that say something of persons --------------------------------------------------- */

static bool
is_kind(const struct fsp_record *record, const char *kind)
{
    const char *text = fsp_record_text(record, "kind");

    return text != NULL && strcmp(text, kind) == 0;
}

static void
copy_text(char *out, size_t size, const struct fsp_record *record, const char *field)
{
    const char *text = fsp_record_text(record, field);

    const size_t len = text == NULL ? 0 : strnlen(text, size - 1);

    if (len > 0)
        memcpy(out, text, len);
    out[len] = '\0';
}

/* Whether the attest knows this entry: the first countersignatures and every instruction. */
static bool
is_noted(const struct fsp_record *record, uint64_t *countersigns)
{
    if (is_kind(record, "instruction"))
        return true;
    if (!is_kind(record, "countersign"))
        return false;
    (*countersigns)++;
    return *countersigns <= FSP_BOOK_COUNTERSIGN_MAX;
}

static enum fsp_rc
judge_inspection(struct reading *reading, uint64_t index, const struct fsp_attest_entry *entry,
        struct fsp_err *err)
{
    struct fsp_book *book = reading->book;
    struct fsp_book_line line = {.index = index};

    fsp_audit_sign(&line.signature, reading->attest, entry, &book->office, reading->seen_s);
    book->inspections++;
    if (line.signature.judged)
        book->by_state[line.signature.state]++;
    else
        book->unjudged++;
    if (line.signature.judged && line.signature.state == FSP_SIG_BAD &&
            reading->book->rc == FSP_OK) {
        book->rc = FSP_EVERIFY;
        (void)fsp_err_set(&book->err, FSP_EVERIFY,
                "the inspector's signature of entry %" PRIu64
                " does not hold; the log itself is complete and unchanged",
                index);
    }
    if (book->lines == FSP_BOOK_LISTED_MAX)
        return FSP_OK;
    if (fsp_mem_grow((void **)&book->line, &reading->cap_lines, book->lines + 1,
                sizeof(*book->line)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    memcpy(line.leaf, entry->leaf, FSP_HASH_LEN);
    (void)fsp_record_time(entry->record, "at", &line.at_s);
    copy_text(line.inspector, sizeof(line.inspector), entry->record, "inspector");
    copy_text(line.reel, sizeof(line.reel), entry->record, "reel");
    copy_text(line.decision, sizeof(line.decision), entry->record, "decision");
    if (reading->attest != NULL)
        line.countersigned = fsp_attest_countersigned(reading->attest, entry->leaf);
    book->line[book->lines++] = line;
    return FSP_OK;
}

static enum fsp_rc
keep_amendment(struct reading *reading, uint64_t index, const struct fsp_record *record,
        struct fsp_err *err)
{
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    const char *leaf = entry == NULL ? NULL : fsp_record_text(entry, "leaf");
    struct amendment *amendment;

    reading->book->amends++;
    if (leaf == NULL || reading->amendments == FSP_BOOK_AMENDS_MAX)
        return FSP_OK;
    if (fsp_mem_grow((void **)&reading->amendment, &reading->cap, reading->amendments + 1,
                sizeof(*reading->amendment)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    amendment = &reading->amendment[reading->amendments];
    amendment->index = index;
    if (fsp_unbase64_exact(leaf, strlen(leaf), amendment->target, FSP_HASH_LEN) == FSP_OK)
        reading->amendments++;
    return FSP_OK;
}

static enum fsp_rc
judge_entry(struct reading *reading, uint64_t index, const struct fsp_attest_entry *entry,
        struct fsp_err *err)
{
    if (is_kind(entry->record, "inspection"))
        return judge_inspection(reading, index, entry, err);
    if (is_kind(entry->record, "amend"))
        return keep_amendment(reading, index, entry->record, err);
    if (is_noted(entry->record, &reading->book->countersigns)) {
        reading->again++;
        fsp_node_hash(reading->chain_again, entry->leaf, reading->chain_again);
    }
    return FSP_OK;
}

/* Every field of the record, against its kind: asked for with --fields. */
static void
check_fields(struct fsp_book *book, uint64_t index, const uint8_t *bytes, size_t len)
{
    struct fsp_record *record = NULL;
    struct fsp_err why;

    if (fsp_check_stored(bytes, len, &record, &why) == FSP_OK) {
        fsp_record_free(record);
        return;
    }
    if (book->odd == 0) {
        book->first_odd = index;
        (void)snprintf(book->odd_why, sizeof(book->odd_why), "%s", why.text);
    }
    book->odd++;
}

static enum fsp_rc
see_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len,
        const uint8_t leaf[FSP_HASH_LEN], struct fsp_err *err)
{
    struct reading *reading = ctx;
    struct fsp_attest_entry entry = {.bytes = bytes, .len = len, .leaf = leaf};
    struct fsp_record *record = NULL;
    enum fsp_rc rc;

    if (bytes == NULL)
        return FSP_OK;
    if (reading->book->fields_checked)
        check_fields(reading->book, index, bytes, len);
    if (fsp_glance(bytes, len) == FSP_GLANCE_OTHER)
        return FSP_OK;
    rc = fsp_record_parse(bytes, len, &record, err);
    if (rc == FSP_ENOMEM)
        return rc;
    if (rc != FSP_OK) /* an entry that is no record is still an entry */
        return FSP_OK;
    entry.record = record;
    rc = judge_entry(reading, index, &entry, err);
    fsp_record_free(record);
    return rc;
}

/* --- first reading: roster and countersignatures --------------------------------------------- */

static enum fsp_rc
note_entry(struct reading *reading, const uint8_t *bytes, size_t len, uint64_t *countersigns,
        struct fsp_err *err)
{
    const enum fsp_glance word = fsp_glance(bytes, len);
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_attest_entry entry = {.bytes = bytes, .len = len, .leaf = leaf};
    struct fsp_record *record = NULL;
    enum fsp_rc rc;

    if (word == FSP_GLANCE_OTHER || word == FSP_GLANCE_INSPECTION || word == FSP_GLANCE_AMEND)
        return FSP_OK;
    rc = fsp_record_parse(bytes, len, &record, err);
    if (rc != FSP_OK)
        return rc == FSP_ENOMEM ? rc : FSP_OK;
    if (is_noted(record, countersigns)) {
        entry.record = record;
        fsp_leaf_hash(bytes, len, leaf);
        reading->noted++;
        fsp_node_hash(reading->chain, leaf, reading->chain);
        rc = fsp_attest_note(reading->attest, &entry, err);
    }
    fsp_record_free(record);
    return rc;
}

/* A line of the file; what is odd is told by the second reading. */
static enum fsp_rc
note_line(struct reading *reading, const char *line, size_t len, uint64_t *countersigns,
        struct fsp_err *err)
{
    char origin[FSP_ORIGIN_MAX + 1];

    if (reading->attest != NULL)
        return len > 6 && memcmp(line, "entry ", 6) == 0
                       ? note_entry(
                                 reading, (const uint8_t *)line + 6, len - 6, countersigns, err)
                       : FSP_OK;
    if (len < 8 || len - 7 > FSP_ORIGIN_MAX || memcmp(line, "origin ", 7) != 0)
        return FSP_OK;
    memcpy(origin, line + 7, len - 7);
    origin[len - 7] = '\0';
    return fsp_audit_attest(
            &reading->attest, reading->names, origin, &reading->book->office, err);
}

/* The whole lines of a buffer; *used is where the rest begins. */
static enum fsp_rc
note_lines(struct reading *reading, const char *text, size_t len, size_t *used,
        uint64_t *countersigns, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    *used = 0;
    while (rc == FSP_OK && *used < len) {
        const char *line = text + *used;
        const char *end = memchr(line, '\n', len - *used);

        if (end == NULL)
            break;
        rc = note_line(reading, line, (size_t)(end - line), countersigns, err);
        *used += (size_t)(end - line) + 1;
    }
    return rc;
}

static enum fsp_rc
read_piece(int fd, char *piece, size_t max, size_t *len, struct fsp_err *err)
{
    ssize_t n;

    do {
        n = read(fd, piece, max);
    } while (n < 0 && errno == EINTR);
    if (n < 0)
        return fsp_err_sys(err, FSP_EIO, errno, "it cannot be read");
    *len = (size_t)n;
    return FSP_OK;
}

static enum fsp_rc
first_reading(struct reading *reading, int fd, char *piece, struct fsp_err *err)
{
    uint64_t countersigns = 0;
    size_t have = 0;

    for (;;) {
        size_t n = 0;
        size_t used = 0;
        enum fsp_rc rc;

        if (have == PIECE) /* a line that long is no line of a register */
            return FSP_OK;
        rc = read_piece(fd, piece + have, PIECE - have, &n, err);
        if (rc != FSP_OK || n == 0)
            return rc;
        have += n;
        rc = note_lines(reading, piece, have, &used, &countersigns, err);
        if (rc != FSP_OK)
            return rc;
        memmove(piece, piece + used, have - used);
        have -= used;
    }
}

/* --- second reading: everything -------------------------------------------------------------- */

static enum fsp_rc
second_reading(struct reading *reading, int fd, char *piece, struct fsp_err *err)
{
    const struct fsp_register_hooks hooks = {
            .top = see_top, .entry = see_entry, .ctx = reading};
    struct fsp_register *reg = NULL;
    size_t n = 1;
    enum fsp_rc rc = fsp_register_new(&reg, &hooks, err);

    while (rc == FSP_OK && n > 0) {
        rc = read_piece(fd, piece, PIECE, &n, err);
        if (rc == FSP_OK && n > 0)
            rc = fsp_register_feed(reg, piece, n, err);
    }
    if (rc == FSP_OK)
        rc = fsp_register_finish(reg, &reading->book->held_back, err);
    fsp_register_free(reg);
    if (rc == FSP_OK && reading->attest != NULL &&
            (reading->noted != reading->again ||
                    memcmp(reading->chain, reading->chain_again, FSP_HASH_LEN) != 0))
        rc = fsp_err_set(err, FSP_EVERIFY, "it was changed while it was read");
    return rc;
}

static int
by_target(const void *a, const void *b)
{
    const struct amendment *left = a;
    const struct amendment *right = b;
    const int order = memcmp(left->target, right->target, FSP_HASH_LEN);

    return order != 0 ? order : (left->index > right->index) - (left->index < right->index);
}

static void
relate_amendments(struct reading *reading)
{
    struct fsp_book *book = reading->book;

    if (reading->amendments > 0)
        qsort(reading->amendment, reading->amendments, sizeof(*reading->amendment), by_target);
    for (size_t i = 0; i < book->lines; i++) {
        struct fsp_book_line *line = &book->line[i];
        size_t low = 0;
        size_t high = reading->amendments;

        while (low < high) {
            const size_t middle = low + (high - low) / 2;

            if (memcmp(reading->amendment[middle].target, line->leaf, FSP_HASH_LEN) < 0)
                low = middle + 1;
            else
                high = middle;
        }
        for (; low < reading->amendments &&
                memcmp(reading->amendment[low].target, line->leaf, FSP_HASH_LEN) == 0;
                low++) {
            line->amended++;
            line->amended_by = reading->amendment[low].index;
        }
    }
}

/* What is missing of signatures, when they are needed. */
static void
weigh_need(struct fsp_book *book)
{
    const uint64_t good = book->by_state[FSP_SIG_GOOD];

    if (book->rc == FSP_OK && good != book->inspections)
        book->rc = fsp_err_set(&book->err, FSP_EVERIFY,
                "signatures are needed, and %" PRIu64 " of %" PRIu64
                " inspections have none that counts; the log itself is complete and unchanged",
                book->inspections - good, book->inspections);
}

static enum fsp_rc
read_twice(struct reading *reading, int fd, char *piece, struct fsp_err *err)
{
    struct fsp_book *book = reading->book;
    const struct fsp_roster *roster;
    enum fsp_rc rc = first_reading(reading, fd, piece, err);

    if (rc == FSP_OK && lseek(fd, 0, SEEK_SET) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "a register is read twice, from a file");
    if (rc == FSP_OK)
        rc = second_reading(reading, fd, piece, err);
    if (rc != FSP_OK)
        return rc;
    roster = reading->attest == NULL ? NULL : fsp_attest_roster(reading->attest);
    if (roster != NULL) {
        book->roster_version = roster->version;
        book->roster_made_s = roster->made_s;
    }
    book->complete = true;
    relate_amendments(reading);
    return FSP_OK;
}

static enum fsp_rc
judge(struct reading *reading, struct fsp_err *err)
{
    struct fsp_book *book = reading->book;
    const struct fsp_audit_job *job = reading->job;
    char *piece = malloc(PIECE);
    int fd = -1;
    enum fsp_rc rc;

    if (piece == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_audit_policy(&book->policy, job, false, err);
    if (rc == FSP_OK)
        rc = fsp_audit_office_load(&book->office, job, false, err);
    if (rc == FSP_OK) {
        fd = open(job->file, O_RDONLY | O_CLOEXEC);
        if (fd < 0)
            rc = fsp_err_sys(err, errno == ENOENT ? FSP_ENOTFOUND : FSP_EIO, errno,
                    "it cannot be opened");
    }
    if (rc == FSP_OK)
        rc = read_twice(reading, fd, piece, err);
    if (fd >= 0)
        (void)close(fd); /* read only */
    free(piece);
    return rc;
}

enum fsp_rc
fsp_audit_register(struct fsp_book *book, const struct fsp_audit_job *job)
{
    struct reading *reading = calloc(1, sizeof(*reading));
    struct fsp_err err = {.rc = FSP_OK};
    enum fsp_rc rc;

    book->trust = fsp_audit_trust(job);
    book->fields_checked = job->fields;
    if (reading == NULL) {
        book->rc = fsp_err_set(&book->err, FSP_ENOMEM, "out of memory");
        return book->rc;
    }
    reading->book = book;
    reading->job = job;
    rc = judge(reading, &err);
    if (rc != FSP_OK) { /* worse than any signature */
        book->rc = rc;
        book->err = err;
    } else if (job->need_signature) {
        weigh_need(book);
    }
    if (book->rc != FSP_OK)
        (void)fsp_err_wrap(&book->err, book->rc, "%s", job->file);
    fsp_attest_free(reading->attest);
    free(reading->amendment);
    free(reading);
    return book->rc;
}
