#include "rig/signing.h"

#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "base/mem.h"
#include "proof/attest.h"
#include "proof/roster.h"
#include "proof/signer.h"
#include "proof/tree.h"
#include "record/check.h"
#include "rig/account.h"
#include "rig/passphrase.h"
#include "store/logtable.h"

/* 64 zero bytes: stands for the signature while the rest is checked. */
#define NO_SIG                                                                                 \
    "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=="

struct fsp_signing {
    const char *path; /* the key file; NULL: unsigned */
    bool is_inspection;
    struct fsp_vkey vkey;
    char key_fleet[FSP_NAME_MAX + 1];
    const char *key_name; /* in vkey */
    char fleet[FSP_NAME_MAX + 1];
    char rig[FSP_NAME_MAX + 1];
    char *reel; /* hung now; NULL when none is */
};

static const char *
find(const struct fsp_cmd_typed *typed, const char *name)
{
    for (size_t i = 0; i < typed->n; i++)
        if (strcmp(typed->items[i].name, name) == 0 && typed->items[i].value[0] != '\0')
            return typed->items[i].value;
    return NULL;
}

/* One more typed member; the value is borrowed. */
static enum fsp_rc
add(struct fsp_cmd_typed *typed, const char *name, const char *value, struct fsp_err *err)
{
    char *copy = fsp_mem_text(name, strlen(name));
    struct fsp_typed *grown =
            copy != NULL ? realloc(typed->items, (typed->n + 1) * sizeof(*typed->items)) : NULL;

    if (grown == NULL) {
        free(copy);
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    typed->items = grown;
    typed->items[typed->n].name = copy;
    typed->items[typed->n].value = value;
    typed->n++;
    return FSP_OK;
}

/* What the store knows: filled in, or the same as typed. */
static enum fsp_rc
settle(struct fsp_cmd_typed *typed, const char *name, const char *value, const char *whose,
        struct fsp_err *err)
{
    const char *given = find(typed, name);

    if (given == NULL)
        return add(typed, name, value, err);
    if (strcmp(given, value) != 0)
        return fsp_err_set(
                err, FSP_EINVAL, "field %s: '%.80s', but %s is %s", name, given, whose, value);
    return FSP_OK;
}

/* Whether any entry hangs a reel of that name. */
struct reel_search {
    const char *name;
    bool found;
};

static enum fsp_rc
look_at(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct reel_search *search = ctx;
    struct fsp_record *record = NULL;
    const char *kind;
    const char *reel;

    (void)index;
    (void)err;
    if (search->found || fsp_record_parse(bytes, len, &record, NULL) != FSP_OK)
        return FSP_OK;
    kind = fsp_record_text(record, "kind");
    reel = fsp_record_text(record, "reel");
    search->found = kind != NULL && strcmp(kind, "reel") == 0 && reel != NULL &&
                    strcmp(reel, search->name) == 0;
    fsp_record_free(record);
    return FSP_OK;
}

static enum fsp_rc
know_reel(struct fsp_journal *journal, const char *name, bool *known, struct fsp_err *err)
{
    struct reel_search search = {.name = name};
    struct fsp_journal_log *logs = NULL;
    size_t n = 0;
    enum fsp_rc rc = fsp_journal_logs(journal, &logs, &n, err);

    for (size_t i = 0; rc == FSP_OK && i < n && !search.found; i++)
        rc = fsp_logtable_scan(
                fsp_journal_db(journal), logs[i].id, 0, logs[i].size, look_at, &search, err);
    free(logs);
    *known = search.found;
    return rc;
}

/* The line hung now. */
static enum fsp_rc
find_reel(struct fsp_signing *signing, struct fsp_journal *journal, struct fsp_err *err)
{
    struct fsp_account *account = NULL;
    const struct fsp_ledger_view *view;
    int64_t present_s = 0;
    enum fsp_rc rc = fsp_journal_present(journal, &present_s, err);

    if (rc == FSP_OK)
        rc = fsp_account_new(journal, present_s, &account, err);
    if (rc != FSP_OK)
        return rc;
    view = fsp_ledger_peek(fsp_account_ledger(account));
    if (view->reel != NULL) {
        signing->reel = fsp_mem_text(view->reel, strlen(view->reel));
        if (signing->reel == NULL)
            rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    fsp_account_free(account);
    return rc;
}

static enum fsp_rc
settle_reel(struct fsp_signing *signing, struct fsp_journal *journal,
        struct fsp_cmd_typed *typed, struct fsp_err *err)
{
    const char *given = find(typed, "reel");
    const char *scope = find(typed, "scope");
    bool known = false;
    enum fsp_rc rc = find_reel(signing, journal, err);

    if (rc != FSP_OK)
        return rc;
    if (given == NULL && signing->reel == NULL)
        return fsp_err_set(err, FSP_EINVAL,
                "field reel: no line is hung by this store's records; say which reel was "
                "examined");
    if (given == NULL)
        return add(typed, "reel", signing->reel, err);
    if ((signing->reel != NULL && strcmp(given, signing->reel) == 0) ||
            (scope != NULL && strcmp(scope, "before-use") == 0))
        return FSP_OK;
    rc = know_reel(journal, given, &known, err);
    if (rc == FSP_OK && !known)
        rc = fsp_err_set(err, FSP_EINVAL,
                "field reel: '%.80s' was never hung by this store's records; %s%s (scope "
                "before-use takes a reel that is not hung yet)",
                given, signing->reel != NULL ? "the line hung now is " : "none is hung now",
                signing->reel != NULL ? signing->reel : "");
    return rc;
}

static enum fsp_rc
settle_inspection(struct fsp_signing *signing, struct fsp_journal *journal,
        struct fsp_cmd_typed *typed, struct fsp_err *err)
{
    enum fsp_rc rc = settle(typed, "fleet", signing->fleet, "this store's fleet", err);

    if (rc == FSP_OK)
        rc = settle(typed, "rig", signing->rig, "this store's rig", err);
    if (rc == FSP_OK)
        rc = settle_reel(signing, journal, typed, err);
    return rc;
}

/* The key's owner, and a place for the signature. */
static enum fsp_rc
settle_signer(struct fsp_signing *signing, struct fsp_cmd_typed *typed, struct fsp_err *err)
{
    const char *field = signing->is_inspection ? "inspector" : "signer";
    enum fsp_rc rc = fsp_signer_peek(&signing->vkey, signing->path, err);

    if (rc != FSP_OK)
        return rc;
    if (!fsp_signer_key_parts(&signing->vkey, signing->key_fleet, &signing->key_name))
        return fsp_err_set(err, FSP_EFORMAT, "%s: no signer's key", signing->path);
    if (strcmp(signing->key_fleet, signing->fleet) != 0)
        return fsp_err_set(err, FSP_EINVAL, "%s: the key of a signer of fleet %s; this is %s",
                signing->path, signing->key_fleet, signing->fleet);
    if (find(typed, "sig") != NULL)
        return fsp_err_set(
                err, FSP_EINVAL, "field sig: made here with --signer; leave one of them out");
    rc = settle(typed, field, signing->key_name, "the key's owner", err);
    return rc == FSP_OK ? add(typed, "sig", NO_SIG, err) : rc;
}

enum fsp_rc
fsp_signing_new(struct fsp_args *args, const char *kind, struct fsp_journal *journal,
        struct fsp_cmd_typed *typed, struct fsp_signing **out, struct fsp_err *err)
{
    const struct fsp_journal_about *about = fsp_journal_about(journal);
    const char *path = fsp_args_get(args, "signer");
    bool is_inspection = strcmp(kind, "inspection") == 0;
    struct fsp_signing *signing = NULL;
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    if (path == NULL && fsp_args_has(args, "passphrase-from"))
        return fsp_err_set(err, FSP_EINVAL, "--passphrase-from goes with --signer FILE");
    if (path != NULL && !is_inspection && strcmp(kind, "countersign") != 0)
        return fsp_err_set(err, FSP_EINVAL,
                "kind %s is not signed by a person; --signer goes with inspection and "
                "countersign",
                kind);
    if (path == NULL && !is_inspection)
        return FSP_OK;
    signing = calloc(1, sizeof(*signing));
    if (signing == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    signing->path = path;
    signing->is_inspection = is_inspection;
    memcpy(signing->fleet, about->fleet, sizeof(signing->fleet));
    memcpy(signing->rig, about->rig, sizeof(signing->rig));
    if (is_inspection)
        rc = settle_inspection(signing, journal, typed, err);
    if (rc == FSP_OK && path != NULL)
        rc = settle_signer(signing, typed, err);
    if (rc != FSP_OK)
        goto out;
    *out = signing;
    signing = NULL;
out:
    fsp_signing_free(signing);
    return rc;
}

void
fsp_signing_free(struct fsp_signing *signing)
{
    if (signing == NULL)
        return;
    free(signing->reel);
    free(signing);
}

/* What is signed, from the record's canonical bytes as they will be stored but for `noted`. */
static enum fsp_rc
make_message(const struct fsp_signing *signing, const struct fsp_record *record,
        struct fsp_buf *message, struct fsp_err *err)
{
    uint8_t leaf[FSP_HASH_LEN];
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    const char *text = entry != NULL ? fsp_record_text(entry, "leaf") : NULL;
    struct fsp_buf bytes;
    enum fsp_rc rc;

    if (!signing->is_inspection) {
        if (text == NULL ||
                fsp_unbase64_exact(text, strlen(text), leaf, sizeof(leaf)) != FSP_OK)
            return fsp_err_set(err, FSP_EFORMAT, "field entry: names no leaf");
        fsp_countersign_message(leaf, message);
        return fsp_buf_check(message, "what is signed", err);
    }
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_record_write(record, &bytes);
    rc = fsp_buf_check(&bytes, "an inspection", err);
    if (rc == FSP_OK)
        rc = fsp_inspection_message(bytes.data, bytes.len, message, err);
    fsp_buf_fini(&bytes);
    return rc;
}

static enum fsp_rc
load_key(const struct fsp_signing *signing, struct fsp_args *args, struct fsp_skey **out,
        struct fsp_err *err)
{
    const struct fsp_passphrase_wish wish = {.from = fsp_args_get(args, "passphrase-from"),
            .option = "passphrase-from",
            .prompt = "passphrase of the signer's key: ",
            .twice = false};
    char *passphrase = NULL;
    enum fsp_rc rc = fsp_passphrase_get(&wish, &passphrase, err);

    *out = NULL;
    if (rc == FSP_OK)
        rc = fsp_signer_load(out, signing->path, passphrase, err);
    fsp_passphrase_free(passphrase);
    if (rc == FSP_OK && !fsp_vkey_equal(fsp_skey_vkey(*out), &signing->vkey)) {
        rc = fsp_err_set(err, FSP_EINVAL, "%s: changed meanwhile; try again", signing->path);
        fsp_skey_free(*out);
        *out = NULL;
    }
    return rc;
}

enum fsp_rc
fsp_signing_sign(struct fsp_signing *signing, struct fsp_args *args, struct fsp_record *record,
        struct fsp_err *err)
{
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_skey *skey = NULL;
    struct fsp_buf message;
    struct fsp_buf text;
    enum fsp_rc rc;

    if (signing == NULL || signing->path == NULL)
        return FSP_OK;
    fsp_buf_init(&message, FSP_ENTRY_MAX + 64);
    fsp_buf_init(&text, 128);
    rc = make_message(signing, record, &message, err);
    if (rc == FSP_OK)
        rc = load_key(signing, args, &skey, err);
    if (rc == FSP_OK)
        rc = fsp_skey_sign(skey, message.data, message.len, sig, err);
    if (rc != FSP_OK)
        goto out;
    fsp_base64(&text, sig, sizeof(sig));
    rc = fsp_buf_check(&text, "a signature", err);
    if (rc == FSP_OK)
        rc = fsp_record_set_text(record, "sig", fsp_buf_peek(&text), err);
out:
    fsp_skey_free(skey);
    fsp_buf_fini(&message);
    fsp_buf_fini(&text);
    return rc;
}

/* ---- what it came to --------------------------------------------------------------------- */

struct telling {
    struct fsp_attest *attest;
    int64_t log; /* where the entry in question stands */
    int64_t at_log;
    uint64_t index;
    struct fsp_buf bytes; /* the entry's */
};

static enum fsp_rc
note_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct telling *telling = ctx;
    struct fsp_attest_entry entry = {.bytes = bytes, .len = len};
    struct fsp_record *record = NULL;
    uint8_t leaf[FSP_HASH_LEN];
    enum fsp_rc rc;

    if (fsp_record_parse(bytes, len, &record, NULL) != FSP_OK)
        record = NULL;
    fsp_leaf_hash(bytes, len, leaf);
    entry.leaf = leaf;
    entry.record = record;
    rc = fsp_attest_note(telling->attest, &entry, err);
    if (telling->at_log == telling->log && index == telling->index)
        fsp_buf_add(&telling->bytes, bytes, len);
    fsp_record_free(record);
    return rc;
}

static enum fsp_rc
note_all(struct fsp_journal *journal, struct telling *telling, struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    size_t n = 0;
    enum fsp_rc rc = fsp_journal_logs(journal, &logs, &n, err);

    for (size_t i = 0; rc == FSP_OK && i < n; i++) {
        telling->at_log = logs[i].id;
        rc = fsp_logtable_scan(
                fsp_journal_db(journal), logs[i].id, 0, logs[i].size, note_entry, telling, err);
    }
    free(logs);
    return rc == FSP_OK ? fsp_buf_check(&telling->bytes, "an entry", err) : rc;
}

static enum fsp_rc
find_state(struct fsp_journal *journal, struct telling *telling, enum fsp_sig_state *state,
        struct fsp_err *err)
{
    struct fsp_attest_entry entry = {.record = NULL};
    struct fsp_record *record = NULL;
    uint8_t leaf[FSP_HASH_LEN];
    enum fsp_rc rc = note_all(journal, telling, err);

    if (rc == FSP_OK)
        rc = fsp_record_parse(telling->bytes.data, telling->bytes.len, &record, err);
    if (rc != FSP_OK)
        return rc;
    fsp_leaf_hash(telling->bytes.data, telling->bytes.len, leaf);
    entry.record = record;
    entry.bytes = telling->bytes.data;
    entry.len = telling->bytes.len;
    entry.leaf = leaf;
    *state = fsp_attest_state(telling->attest, &entry);
    fsp_record_free(record);
    return FSP_OK;
}

static void
tell_signed(struct fsp_journal *journal, uint64_t index)
{
    struct telling telling = {.log = fsp_journal_current(journal), .index = index};
    struct fsp_fold_about about = {.n_keys = 0};
    struct fsp_fold_log *logs = NULL;
    enum fsp_sig_state state = FSP_SIG_NONE;
    struct fsp_err err = {.rc = FSP_OK};
    enum fsp_rc rc = fsp_account_about(journal, 0, &about, &logs, &err);
    const struct fsp_attest_about whose = {
            .fleet = about.fleet, .rig = about.rig, .keys = about.keys, .n_keys = about.n_keys};

    fsp_buf_init(&telling.bytes, FSP_ENTRY_MAX);
    if (rc == FSP_OK)
        rc = fsp_attest_new(&telling.attest, &whose, &err);
    free(logs); /* and the keys with them */
    if (rc == FSP_OK)
        rc = find_state(journal, &telling, &state, &err);
    if (rc != FSP_OK)
        fsp_cmd_warn("entered, but its signature could not be judged: %s", err.text);
    else if (state != FSP_SIG_GOOD && fsp_attest_roster(telling.attest) == NULL)
        fsp_cmd_warn("the signature does not count yet: no roster has come from the office");
    else if (state != FSP_SIG_GOOD)
        fsp_cmd_warn("the signature does not count: %s (roster version %llu)",
                fsp_sig_state_text(state),
                (unsigned long long)fsp_attest_roster(telling.attest)->version);
    fsp_attest_free(telling.attest);
    fsp_buf_fini(&telling.bytes);
}

void
fsp_signing_tell(struct fsp_journal *journal, uint64_t index, const struct fsp_record *record)
{
    const char *kind = fsp_record_text(record, "kind");
    bool is_inspection = kind != NULL && strcmp(kind, "inspection") == 0;

    if (is_inspection && !fsp_record_has(record, "sig"))
        fsp_cmd_warn(
                "unsigned: nobody can prove who made this inspection, and a decision to run "
                "lifts nothing; sign with --signer FILE");
    else if (is_inspection || (kind != NULL && strcmp(kind, "countersign") == 0))
        tell_signed(journal, index);
}
