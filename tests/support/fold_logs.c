/*
 * The account of logs given as files, for tests that compare it with one reckoned otherwise.
 *
 *     fold_logs AS_OF FILE...     one file a log, in the order of the rig's chain of renewals, one
 *                                 stored entry a line; prints the account's JSON
 *
 * An entry that cannot be read is one all the same. No signature is looked at.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/file.h"
#include "base/mem.h"
#include "line/ledger.h"
#include "proof/tree.h"
#include "record/check.h"

#define FILE_MAX ((size_t)64 * 1024 * 1024)

struct logs {
    struct fsp_ledger *ledger;
    struct fsp_record **records;
    size_t n, cap;
};

static enum fsp_rc
add_entry(struct logs *logs, struct fsp_ledger_entry *entry, const char *line, size_t len,
        struct fsp_err *err)
{
    struct fsp_record *record = NULL;

    if (fsp_mem_grow((void **)&logs->records, &logs->cap, logs->n + 1,
                sizeof(struct fsp_record *)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    if (fsp_check_stored((const uint8_t *)line, len, &record, NULL) != FSP_OK)
        record = NULL;
    logs->records[logs->n++] = record;
    entry->record = record;
    fsp_leaf_hash((const uint8_t *)line, len, entry->leaf);
    return fsp_ledger_add(logs->ledger, entry, err);
}

static enum fsp_rc
add_log(struct logs *logs, const char *path, uint32_t log, struct fsp_err *err)
{
    struct fsp_ledger_entry entry = {.log = log, .sig = FSP_SIG_NONE};
    uint8_t *bytes = NULL;
    size_t len = 0, from = 0;
    enum fsp_rc rc = fsp_file_read(path, FILE_MAX, &bytes, &len, err);

    while (rc == FSP_OK && from < len) {
        const uint8_t *end = memchr(bytes + from, '\n', len - from);
        size_t n = end == NULL ? len - from : (size_t)(end - bytes) - from;

        rc = add_entry(logs, &entry, (const char *)bytes + from, n, err);
        entry.index++;
        from += n + 1;
    }
    free(bytes);
    return rc;
}

static enum fsp_rc
run(int argc, char **argv, struct fsp_err *err)
{
    struct logs logs = {.ledger = NULL};
    struct fsp_buf out;
    int64_t as_of_s = 0;
    enum fsp_rc rc = fsp_time_parse(argv[1], NULL, &as_of_s, err);
    int i;

    fsp_buf_init(&out, FILE_MAX);
    if (rc == FSP_OK)
        rc = fsp_ledger_new(&logs.ledger, err);
    for (i = 2; rc == FSP_OK && i < argc; i++)
        rc = add_log(&logs, argv[i], (uint32_t)(i - 2), err);
    if (rc == FSP_OK)
        rc = fsp_ledger_fold(logs.ledger, as_of_s, err);
    if (rc == FSP_OK) {
        fsp_ledger_json(logs.ledger, &out);
        rc = fsp_buf_check(&out, "the account", err);
    }
    if (rc == FSP_OK)
        (void)printf("%s\n", fsp_buf_peek(&out));
    fsp_ledger_free(logs.ledger);
    for (size_t k = 0; k < logs.n; k++)
        fsp_record_free(logs.records[k]);
    free(logs.records);
    fsp_buf_fini(&out);
    return rc;
}

int
main(int argc, char **argv)
{
    struct fsp_err err = {.rc = FSP_OK};

    if (argc < 3) {
        (void)fputs("usage: fold_logs AS_OF FILE...\n", stderr);
        return 64;
    }
    if (run(argc, argv, &err) == FSP_OK)
        return 0;
    (void)fprintf(stderr, "fold_logs: %s\n", err.text);
    return 1;
}
