/* Signers' key files: what is taken names a signer's key, and begins with it. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "proof/roster.h"
#include "proof/signer.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char fleet[FSP_NAME_MAX + 1];
    const char *name = NULL;
    struct fsp_vkey vkey;
    struct fsp_buf start;
    struct fsp_err err;

    if (fsp_proof_init(NULL) != FSP_OK)
        abort();
    if (fsp_signer_parse(&vkey, data, size, &err) != FSP_OK) {
        assert(vkey.name[0] == '\0');
        return 0;
    }
    assert(fsp_signer_key_parts(&vkey, fleet, &name));
    fsp_buf_init(&start, FSP_NOTE_MAX);
    fsp_buf_add_text(&start, "farspool-signer/v1 ");
    fsp_vkey_write(&vkey, &start);
    fsp_buf_add_byte(&start, ' ');
    assert(start.len < size && memcmp(start.data, data, start.len) == 0);
    fsp_buf_fini(&start);
    return 0;
}
