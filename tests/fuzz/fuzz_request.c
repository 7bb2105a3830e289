/* Requests to a witness: what is taken is written again as the same bytes and lies inside them. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "proof/request.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct fsp_request request;
    const uint8_t root[FSP_HASH_LEN] = {0};
    struct fsp_buf again;

    if (fsp_proof_init(NULL) != FSP_OK)
        abort();
    if (fsp_request_parse(&request, (const char *)data, size, NULL) != FSP_OK)
        return 0;
    assert(request.note + request.note_len == (const char *)data + size);
    assert(request.old <= request.head.size);
    (void)fsp_request_verify(&request, root, NULL);
    fsp_buf_init(&again, 2 * FSP_REQUEST_MAX);
    fsp_request_write(&again, request.old, (const uint8_t(*)[FSP_HASH_LEN])request.path,
            request.n, request.note, request.note_len);
    assert(again.len == size && memcmp(again.data, data, size) == 0);
    fsp_buf_fini(&again);
    return 0;
}
