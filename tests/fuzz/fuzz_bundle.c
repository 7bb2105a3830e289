/* The inside of an opened bundle, answers and invitations: nothing crashes, what is taken is whole. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "wire/answer.h"
#include "wire/bundle_priv.h"
#include "wire/invitation.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void
try_answers(const uint8_t *data, size_t size)
{
    struct fsp_answers_cursor cursor;
    struct fsp_answers_frame frame;
    struct fsp_office_knows knows;

    assert(!fsp_answers_knows(data, size, &knows) || knows.dictionary > 0);
    if (fsp_answers_open(&cursor, data, size, NULL) != FSP_OK)
        return;
    while (fsp_answers_next(&cursor, &frame, NULL) == FSP_OK) {
        assert(frame.bytes >= data && frame.len <= size - (size_t)(frame.bytes - data));
        assert(frame.kind == FSP_FRAME_INSTRUCTION ||
                (frame.kind == FSP_FRAME_ANSWER && frame.status >= 100));
    }
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct fsp_invitation invitation;
    struct fsp_bundle *bundle = NULL;
    struct fsp_err err;
    size_t whole = 0;

    if (fsp_proof_init(NULL) != FSP_OK)
        abort();
    if (fsp_bundle_parse_inner(data, size, &bundle, &err) == FSP_OK) {
        const struct fsp_bundle_head *head = fsp_bundle_peek_head(bundle);
        size_t n;
        const struct fsp_entry_bytes *entries = fsp_bundle_peek_entries(bundle, &n);

        assert(head->head.size - head->old_size == n);
        for (size_t i = 0; i < n; i++)
            assert(entries[i].len > 0 &&
                    memchr(entries[i].bytes, '\n', entries[i].len) == NULL);
    }
    fsp_bundle_free(bundle);
    if (fsp_bundle_length(data, size, &whole, &err) == FSP_OK)
        assert(whole <= size);
    try_answers(data, size);
    if (fsp_invitation_read(&invitation, data, size, &err) == FSP_OK)
        assert(invitation.fleet[0] != '\0');
    return 0;
}
