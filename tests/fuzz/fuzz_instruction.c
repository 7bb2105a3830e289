/* Instructions: what is taken is written again as the same bytes, its parts lie inside them, and no
 * key nobody holds signed it. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "proof/instruction.h"

#define STRANGER                                                                               \
    "lantern-basin/instructions+9666fadf+ARdFU7RW3d/GkI7KscEB/mqyHiuqBhd5W31DpjSCmT/V"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct fsp_instruction got;
    struct fsp_vkey key;
    struct fsp_err err;

    if (fsp_proof_init(NULL) != FSP_OK ||
            fsp_vkey_parse(&key, STRANGER, strlen(STRANGER), NULL) != FSP_OK)
        abort();
    (void)fsp_instruction_read(&got, data, size, &key, 1, &err);
    if (fsp_instruction_parse(&got, (const char *)data, size, &err) != FSP_OK)
        return 0;
    assert(got.text == (const char *)data && got.text_len == size);
    assert(got.body_len > 0 && got.body + got.body_len == got.text + got.text_len);
    if (got.about != FSP_ABOUT_OTHER) {
        struct fsp_buf again;

        fsp_buf_init(&again, 2 * FSP_INSTRUCTION_TEXT_MAX);
        fsp_instruction_write(&got, &again);
        assert(again.len == size && memcmp(again.data, data, size) == 0);
        fsp_buf_fini(&again);
    }
    return 0;
}
