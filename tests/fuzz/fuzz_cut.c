/* Members cut out: what stays is canonical, holds none of them, and cutting again changes nothing. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "record/cut.h"
#include "record/record.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char *const names[] = {"noted", "sig"};
    struct fsp_record *record = NULL;
    struct fsp_buf whole;
    struct fsp_buf once;
    struct fsp_buf twice;
    struct fsp_err err;

    fsp_buf_init(&whole, FSP_ENTRY_MAX);
    fsp_buf_init(&once, FSP_ENTRY_MAX);
    fsp_buf_init(&twice, FSP_ENTRY_MAX);
    if (fsp_record_cut(data, size, names, 2, &once, &err) != FSP_OK)
        goto out;
    if (fsp_record_cut(data, size, NULL, 0, &whole, &err) != FSP_OK ||
            fsp_record_cut(once.data, once.len, names, 2, &twice, &err) != FSP_OK ||
            fsp_record_parse(once.data, once.len, &record, &err) != FSP_OK)
        abort();
    assert(whole.len == size && memcmp(whole.data, data, size) == 0);
    assert(twice.len == once.len && memcmp(twice.data, once.data, once.len) == 0);
    assert(!fsp_record_has(record, "noted") && !fsp_record_has(record, "sig"));
    fsp_buf_reset(&twice);
    fsp_record_write(record, &twice);
    assert(twice.len == once.len && memcmp(twice.data, once.data, once.len) == 0);
out:
    fsp_record_free(record);
    fsp_buf_fini(&whole);
    fsp_buf_fini(&once);
    fsp_buf_fini(&twice);
    return 0;
}
