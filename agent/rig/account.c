#include "rig/account.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/file.h"
#include "base/mem.h"
#include "base/text.h"
#include "fold/fold_db.h"
#include "rig/journal_priv.h"
#include "rig/trust.h"

struct fsp_account {
    struct fsp_fold *fold;
};

/* The logs with the keys behind them, in one block. */
static struct fsp_fold_log *
copy_logs(const struct fsp_journal_log *chain, size_t n, const struct fsp_trust *trust,
        struct fsp_fold_about *about)
{
    size_t keys = trust->n_ever * sizeof(trust->ever[0]);
    struct fsp_fold_log *logs = fsp_mem_array(1, n * sizeof(*logs) + keys);
    void *behind = logs == NULL ? NULL : (void *)(logs + n);

    if (logs == NULL)
        return NULL;
    for (size_t i = 0; i < n; i++)
        logs[i] = (struct fsp_fold_log){chain[i].id, chain[i].size};
    memcpy(behind, trust->ever, keys);
    about->logs = logs;
    about->n_logs = n;
    about->keys = behind;
    about->n_keys = trust->n_ever;
    return logs;
}

enum fsp_rc
fsp_account_about(struct fsp_journal *journal, int64_t as_of_s, struct fsp_fold_about *about,
        struct fsp_fold_log **logs, struct fsp_err *err)
{
    const struct fsp_journal_about *whose = fsp_journal_about(journal);
    struct fsp_journal_log *chain = NULL;
    struct fsp_trust trust = {.n_ever = 0};
    size_t n = 0;
    enum fsp_rc rc = fsp_trust_load(journal, &trust, err);

    *logs = NULL;
    *about = (struct fsp_fold_about){
            .fleet = whose->fleet, .rig = whose->rig, .as_of_s = as_of_s, .inspections = 1};
    if (rc == FSP_OK)
        rc = fsp_journal_logs(journal, &chain, &n, err);
    if (rc == FSP_OK) {
        *logs = copy_logs(chain, n, &trust, about);
        if (*logs == NULL)
            rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    free(chain);
    return rc;
}

/* A connection that writes, waits for nobody, and is gone after the call. */
static enum fsp_rc
open_aside(struct fsp_journal *journal, struct fsp_db **db, struct fsp_err *err)
{
    char *path = fsp_file_join(fsp_journal_folder(journal), FSP_JOURNAL_DB);
    enum fsp_rc rc;

    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_db_open(path, FSP_DB_RIG, false, &fsp_journal_schema, db, err);
    free(path);
    if (rc == FSP_OK)
        rc = fsp_db_run(*db, "PRAGMA busy_timeout=0", err);
    return rc == FSP_OK ? fsp_db_begin(*db, err) : rc;
}

/* Best effort: whatever fails, the next fold reads more. NULL: throw all of it away. */
static void
keep(struct fsp_journal *journal, const struct fsp_fold *fold)
{
    struct fsp_db *db = NULL;
    struct fsp_fold_store store;
    enum fsp_rc rc = open_aside(journal, &db, NULL);

    if (rc == FSP_OK) {
        fsp_fold_store_db(db, "", &store);
        rc = fold == NULL ? fsp_fold_forget(&store, NULL) : fsp_fold_keep(fold, &store, NULL);
    }
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, NULL);
    if (rc != FSP_OK && db != NULL)
        fsp_db_rollback(db);
    fsp_db_close(db);
}

enum fsp_rc
fsp_account_new(struct fsp_journal *journal, int64_t as_of_s, struct fsp_account **out,
        struct fsp_err *err)
{
    struct fsp_account *account = calloc(1, sizeof(*account));
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_fold_about about;
    struct fsp_fold_log *logs = NULL;
    struct fsp_fold_store store;
    enum fsp_rc rc;

    *out = NULL;
    if (account == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_db_begin_read(db, err);
    if (rc != FSP_OK)
        goto out;
    rc = fsp_account_about(journal, as_of_s, &about, &logs, err);
    fsp_fold_store_db(db, "", &store);
    if (rc == FSP_OK)
        rc = fsp_fold_new(&store, &about, &account->fold, err);
    fsp_db_rollback(db); /* nothing was written */
    if (rc == FSP_OK && fsp_fold_worth(account->fold))
        keep(journal, account->fold);
out:
    free(logs);
    if (rc != FSP_OK) {
        fsp_account_free(account);
        account = NULL;
    }
    *out = account;
    return rc;
}

void
fsp_account_free(struct fsp_account *account)
{
    if (account == NULL)
        return;
    fsp_fold_free(account->fold);
    free(account);
}

const struct fsp_ledger *
fsp_account_ledger(const struct fsp_account *account)
{
    return fsp_fold_ledger(account->fold);
}

const struct fsp_fold *
fsp_account_fold(const struct fsp_account *account)
{
    return account->fold;
}

/* ---- who signed ---- */

static void
show(struct fsp_buf *buf, const char *text)
{
    if (text == NULL)
        fsp_buf_add_byte(buf, '?');
    else
        fsp_text_show(buf, text, strlen(text));
}

void
fsp_account_signed_text(const struct fsp_account *account, struct fsp_buf *buf)
{
    const struct fsp_fold_inspection *newest = fsp_fold_inspection(account->fold, 0);
    char at[FSP_TIME_TEXT_LEN + 1];
    enum fsp_sig_state sig;

    for (size_t i = 0; fsp_fold_finding_sig(account->fold, i, &sig); i++) {
        fsp_buf_printf(buf, "open finding, %s: ", fsp_sig_state_text(sig));
        show(buf, fsp_ledger_finding(fsp_account_ledger(account), i));
        fsp_buf_add_byte(buf, '\n');
    }
    if (newest == NULL)
        return;
    fsp_time_text(newest->at_s, at);
    fsp_buf_printf(buf, "newest inspection: %.10s by ", at);
    show(buf, newest->inspector);
    fsp_buf_add_text(buf, " says ");
    show(buf, newest->decision);
    fsp_buf_add_text(buf, "; ");
    fsp_fold_say_signed(newest, buf);
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_account_signed_json(const struct fsp_account *account, struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, "\"findings\":");
    fsp_fold_findings_json(account->fold, buf);
    fsp_buf_add_text(buf, ",\"inspections\":");
    fsp_fold_inspections_json(account->fold, buf);
}

/* ---- check ---- */

enum fsp_rc
fsp_account_check(
        struct fsp_journal *journal, struct fsp_fold_checked *checked, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_fold_about about;
    struct fsp_fold_log *logs = NULL;
    struct fsp_fold_store store;
    enum fsp_rc rc = fsp_db_begin_read(db, err);

    memset(checked, 0, sizeof(*checked));
    if (rc != FSP_OK)
        return rc;
    rc = fsp_account_about(journal, 0, &about, &logs, err);
    fsp_fold_store_db(db, "", &store);
    if (rc == FSP_OK)
        rc = fsp_fold_check(&store, &about, checked, err);
    fsp_db_rollback(db);
    free(logs);
    if (rc == FSP_OK && checked->damaged + checked->differ > 0)
        keep(journal, NULL);
    return rc;
}
