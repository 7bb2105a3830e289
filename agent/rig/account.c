#include "rig/account.h"

#include <stdlib.h>

#include "base/mem.h"
#include "proof/tree.h"
#include "record/check.h"
#include "record/record.h"
#include "store/logtable.h"

struct fsp_account {
    struct fsp_ledger *ledger;
    struct fsp_record **records;
    size_t n;
    size_t cap;
};

static enum fsp_rc
add(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct fsp_account *account = ctx;
    struct fsp_ledger_entry entry = {.log = 0, .index = index, .sig = FSP_SIG_NONE};
    struct fsp_record *record = NULL;

    if (fsp_mem_grow((void **)&account->records, &account->cap, account->n + 1,
                sizeof(struct fsp_record *)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    if (fsp_check_stored(bytes, len, &record, NULL) != FSP_OK) {
        fsp_record_free(record);
        record = NULL;
    }
    account->records[account->n++] = record;
    entry.record = record;
    fsp_leaf_hash(bytes, len, entry.leaf);
    return fsp_ledger_add(account->ledger, &entry, err);
}

enum fsp_rc
fsp_account_new(struct fsp_journal *journal, int64_t as_of_s, struct fsp_account **out,
        struct fsp_err *err)
{
    struct fsp_account *account = calloc(1, sizeof(*account));
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_range tip;
    enum fsp_rc rc;

    *out = NULL;
    if (account == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_ledger_new(&account->ledger, err);
    if (rc == FSP_OK)
        rc = fsp_logtable_tip(db, FSP_RIG_LOG, &tip, err);
    if (rc == FSP_OK)
        rc = fsp_logtable_scan(db, FSP_RIG_LOG, 0, tip.size, add, account, err);
    if (rc == FSP_OK)
        rc = fsp_ledger_fold(account->ledger, as_of_s, err);
    if (rc != FSP_OK) {
        fsp_account_free(account);
        return rc;
    }
    *out = account;
    return FSP_OK;
}

void
fsp_account_free(struct fsp_account *account)
{
    if (account == NULL)
        return;
    fsp_ledger_free(account->ledger);
    for (size_t i = 0; i < account->n; i++)
        fsp_record_free(account->records[i]);
    free(account->records);
    free(account);
}

const struct fsp_ledger *
fsp_account_ledger(const struct fsp_account *account)
{
    return account->ledger;
}
