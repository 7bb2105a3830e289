#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "exhibit/exhibit_priv.h"

void
fsp_exhibit_head_init(struct fsp_exhibit_head *head)
{
    memset(head, 0, sizeof(*head));
    fsp_buf_init(&head->note, FSP_NOTE_MAX);
}

void
fsp_exhibit_head_fini(struct fsp_exhibit_head *head)
{
    fsp_buf_fini(&head->note);
    fsp_exhibit_head_init(head);
}

/* Who cosigned the head. A signature by a key that counts and does not hold is a store gone bad. */
static enum fsp_rc
count_words(const struct fsp_exhibit_source *source, struct fsp_exhibit_head *head,
        struct fsp_err *err)
{
    struct fsp_note *note = calloc(1, sizeof(*note));
    bool office = false;
    uint64_t time_s = 0;
    enum fsp_rc rc = note == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory") : FSP_OK;

    head->agreed = 0;
    if (rc == FSP_OK)
        rc = fsp_note_parse(note, head->note.data, head->note.len, err);
    for (size_t i = 0; rc == FSP_OK && !office && i < source->offices; i++) {
        rc = fsp_note_verify(note, &source->office[i], &time_s, err);
        if (rc == FSP_OK) {
            office = true;
            head->office = i;
            head->seen_s = time_s > INT64_MAX ? INT64_MAX : (int64_t)time_s;
        } else if (rc == FSP_ENOTFOUND) {
            rc = FSP_OK;
        }
    }
    head->agreed = office ? 1 : 0;
    for (size_t i = 0; rc == FSP_OK && i < source->witnesses; i++) {
        rc = fsp_note_verify(note, &source->witness[i].vkey, NULL, err);
        if (rc == FSP_OK)
            head->agreed++;
        else if (rc == FSP_ENOTFOUND)
            rc = FSP_OK;
    }
    free(note);
    if (rc == FSP_OK && !office)
        head->agreed = 0; /* without the office nothing says when */
    return rc == FSP_EVERIFY || rc == FSP_EFORMAT
                   ? fsp_err_wrap(err, FSP_ECORRUPT, "the head of %" PRIu64 " in the store",
                             head->range.size)
                   : rc;
}

static bool
is_enough(const struct fsp_exhibit_source *source, const struct fsp_exhibit_head *head)
{
    return head->agreed > 0 && (source->office_alone || head->agreed >= source->need);
}

enum fsp_rc
fsp_exhibit_head_above(const struct fsp_exhibit_source *source, size_t log, uint64_t index,
        struct fsp_exhibit_head *head, struct fsp_err *err)
{
    uint64_t above = index;
    size_t most = 0;

    for (;;) {
        enum fsp_rc rc = source->head_covering(
                source->ctx, source->log[log].id, above, &head->range, &head->note, err);

        if (rc == FSP_ENOTFOUND)
            break;
        if (rc == FSP_OK)
            rc = count_words(source, head, err);
        if (rc != FSP_OK)
            return rc;
        if (is_enough(source, head))
            return FSP_OK;
        most = head->agreed > most ? head->agreed : most;
        above = head->range.size;
    }
    if (most == 0)
        return fsp_err_set(err, FSP_ENOTFOUND,
                "entry %" PRIu64 " is under no head that the office has cosigned yet", index);
    return fsp_err_set(err, FSP_ENOTFOUND,
            "no head over entry %" PRIu64
            " is cosigned by %zu of office and witnesses (at most "
            "%zu did): ask the witness, or give --quorum",
            index, source->need, most);
}

enum fsp_rc
fsp_exhibit_head_below(const struct fsp_exhibit_source *source, uint64_t size, int64_t by_s,
        struct fsp_exhibit_head *head, struct fsp_err *err)
{
    const int64_t log = source->log[source->chosen].id;

    while (size > 0) {
        enum fsp_rc rc =
                source->head_below(source->ctx, log, size, &head->range, &head->note, err);

        if (rc == FSP_ENOTFOUND)
            break;
        if (rc == FSP_OK)
            rc = count_words(source, head, err);
        if (rc != FSP_OK)
            return rc;
        if (head->range.size == 0)
            break;
        if (is_enough(source, head) && head->seen_s <= by_s)
            return FSP_OK;
        size = head->range.size - 1;
    }
    fsp_range_init(&head->range);
    fsp_buf_reset(&head->note);
    head->agreed = 0;
    head->seen_s = 0;
    return FSP_OK;
}

enum fsp_rc
fsp_exhibit_head_since(const struct fsp_exhibit_source *source, int64_t from_s,
        struct fsp_exhibit_head *head, bool *late, struct fsp_err *err)
{
    const uint64_t size = source->log[source->chosen].size;
    uint64_t above = 0;
    enum fsp_rc rc;

    *late = false;
    /* Most often the newest will do, and tells at once whether any is late enough. */
    rc = fsp_exhibit_head_below(source, size, INT64_MAX, head, err);
    if (rc != FSP_OK)
        return rc;
    if (head->range.size == 0)
        return fsp_err_set(err, FSP_ENOTFOUND,
                "no head of this log is cosigned by all that are asked for; %s",
                source->office_alone || source->need == 1
                        ? "push or carry first"
                        : "ask the witness, or give --quorum");
    if (head->seen_s < from_s)
        return FSP_OK;
    *late = true;
    do {
        rc = fsp_exhibit_head_above(source, source->chosen, above, head, err);
        above = head->range.size;
    } while (rc == FSP_OK && head->seen_s < from_s);
    return rc;
}
