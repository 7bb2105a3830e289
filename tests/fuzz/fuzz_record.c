/* Stored records and day sheets: what is taken comes back as the same bytes. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "record/check.h"
#include "record/sheet.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void
check_round_trip(const struct fsp_record *record)
{
    struct fsp_record *again = NULL;
    struct fsp_buf bytes;
    struct fsp_err err;

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_record_write(record, &bytes);
    if (fsp_buf_check(&bytes, "a record", &err) == FSP_OK &&
            fsp_check_stored(bytes.data, bytes.len, &again, &err) != FSP_OK)
        abort(); /* what was accepted must be readable for ever */
    fsp_record_free(again);
    fsp_buf_fini(&bytes);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct fsp_record *record = NULL;
    struct fsp_sheet *sheet = NULL;
    struct fsp_err err;
    size_t line;

    if (fsp_check_stored(data, size, &record, &err) == FSP_OK) {
        struct fsp_buf bytes;

        fsp_buf_init(&bytes, FSP_ENTRY_MAX);
        fsp_record_write(record, &bytes);
        assert(bytes.len == size && memcmp(bytes.data, data, size) == 0);
        fsp_buf_fini(&bytes);
    }
    fsp_record_free(record);
    if (fsp_sheet_new(data, size, fsp_sheet_guess(data, size), &sheet, &err) != FSP_OK)
        return 0;
    while (fsp_sheet_next(sheet, NULL, &record, &line, &err) == FSP_OK) {
        check_round_trip(record);
        fsp_record_free(record);
    }
    fsp_sheet_free(sheet);
    return 0;
}
