/* Proof files: what is taken writes back to the same bytes, unless it had an extra line. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "proof/evidence.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct fsp_proof_file proof;
    struct fsp_err err;
    struct fsp_buf back;

    if (fsp_proof_init(NULL) != FSP_OK)
        abort();
    if (fsp_proof_parse(&proof, (const char *)data, size, &err) != FSP_OK)
        return 0;
    fsp_buf_init(&back, 2 * FSP_NOTE_MAX);
    fsp_proof_write(&back, proof.index, (const uint8_t(*)[FSP_HASH_LEN])proof.path, proof.n,
            proof.note, proof.note_len);
    assert(back.rc == FSP_OK && back.len <= size);
    assert(back.len < size || memcmp(back.data, data, size) == 0);
    fsp_buf_fini(&back);
    return 0;
}
