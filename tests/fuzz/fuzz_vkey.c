/* Verifier keys and base64: there is one text for each value. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "proof/key.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct fsp_vkey vkey;
    struct fsp_buf bytes;
    struct fsp_buf back;

    if (fsp_proof_init(NULL) != FSP_OK)
        abort();
    fsp_buf_init(&bytes, 2 * FSP_NOTE_MAX);
    fsp_buf_init(&back, 2 * FSP_NOTE_MAX);
    if (fsp_unbase64((const char *)data, size, &bytes) == FSP_OK) {
        fsp_base64(&back, bytes.data, bytes.len);
        assert(back.len == size && (size == 0 || memcmp(back.data, data, size) == 0));
    }
    fsp_buf_reset(&back);
    if (fsp_vkey_parse(&vkey, (const char *)data, size, NULL) == FSP_OK) {
        fsp_vkey_write(&vkey, &back);
        assert(back.len == size && memcmp(back.data, data, size) == 0);
    }
    fsp_buf_fini(&bytes);
    fsp_buf_fini(&back);
    return 0;
}
