/* Registers: two readings, whole and in pieces, say the same; entries come in order and hash to the
 * leaves given with them. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "proof/register.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct seen {
    uint64_t from;
    uint64_t to;
    uint64_t next;
    uint64_t held_back;
};

static enum fsp_rc
see_top(void *ctx, const struct fsp_register_top *top, struct fsp_err *err)
{
    struct seen *seen = ctx;

    (void)err;
    assert(strlen(top->origin) > 0 && top->range.size <= top->to);
    seen->from = top->range.size;
    seen->to = top->to;
    seen->next = seen->from;
    return FSP_OK;
}

static enum fsp_rc
see_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len,
        const uint8_t leaf[FSP_HASH_LEN], struct fsp_err *err)
{
    struct seen *seen = ctx;
    uint8_t own[FSP_HASH_LEN];

    (void)err;
    assert(index == seen->next && index < seen->to && len <= FSP_ENTRY_MAX);
    seen->next++;
    if (bytes == NULL) {
        seen->held_back++;
        return FSP_OK;
    }
    fsp_leaf_hash(bytes, len, own);
    assert(memcmp(own, leaf, sizeof(own)) == 0);
    return FSP_OK;
}

static enum fsp_rc
read_in_pieces(const uint8_t *data, size_t size, size_t piece, struct seen *seen)
{
    const struct fsp_register_hooks hooks = {.top = see_top, .entry = see_entry, .ctx = seen};
    struct fsp_register *reg = NULL;
    uint64_t held_back = 0;
    enum fsp_rc rc;

    memset(seen, 0, sizeof(*seen));
    if (fsp_register_new(&reg, &hooks, NULL) != FSP_OK)
        abort();
    rc = FSP_OK;
    for (size_t pos = 0; rc == FSP_OK && pos < size; pos += piece)
        rc = fsp_register_feed(reg, data + pos, size - pos < piece ? size - pos : piece, NULL);
    if (rc == FSP_OK)
        rc = fsp_register_finish(reg, &held_back, NULL);
    if (rc == FSP_OK)
        assert(seen->next == seen->to && held_back == seen->held_back);
    fsp_register_free(reg);
    return rc;
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct seen whole;
    struct seen pieces;
    enum fsp_rc rc;

    if (fsp_proof_init(NULL) != FSP_OK)
        abort();
    rc = read_in_pieces(data, size, size == 0 ? 1 : size, &whole);
    assert(read_in_pieces(data, size, 7, &pieces) == rc);
    assert(memcmp(&whole, &pieces, sizeof(whole)) == 0);
    return 0;
}
