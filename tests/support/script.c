#include "support/script.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "office/instruct.h"
#include "office/intake.h"
#include "office/keys.h"
#include "office/shelf.h"
#include "record/check.h"
#include "rig/head.h"
#include "rig/inbox.h"
#include "rig/journal.h"
#include "rig/pack.h"
#include "rig/push.h"
#include "rig/receipt.h"
#include "rig/renew.h"
#include "wire/invitation.h"

#define FLEET   "lantern-basin"
#define START_S INT64_C(1772323200) /* 2026-03-01T00:00:00Z */

/* ---- the script itself ----------------------------------------------------------------------- */

enum doing {
    MAKE_OFFICE,
    INVITE,
    MAKE_RIG,
    ENTER,
    INBOX,
    CARRY,
    TAKE, /* every bundle of the actions in `mail` */
    RECEIPT,
    INSTRUCT,
    TIDY,
    RENEW,
};

struct action {
    const char *name;
    enum doing doing;
    enum script_place place;
    int which;        /* ENTER: the record; INVITE: the rig; CARRY: entries carried again */
    const char *mail; /* TAKE, RECEIPT: names of the actions that sent it, two letters each */
};

/* The order of a working day. Names begin with two letters of their own. */
static const struct action actions[] = {
        {"of office init", MAKE_OFFICE, SCRIPT_OFFICE, 0, NULL},
        {"ih invite heron", INVITE, SCRIPT_OFFICE, 0, NULL},
        {"ie invite egret", INVITE, SCRIPT_OFFICE, 1, NULL},
        {"rh rig init heron", MAKE_RIG, SCRIPT_HERON, 0, NULL},
        {"re rig init egret", MAKE_RIG, SCRIPT_EGRET, 1, NULL},
        {"e0 enter the rig", ENTER, SCRIPT_HERON, 0, NULL},
        {"e1 enter the reel", ENTER, SCRIPT_HERON, 1, NULL},
        {"e2 enter a round trip", ENTER, SCRIPT_HERON, 2, NULL},
        {"sh take a day sheet from the inbox", INBOX, SCRIPT_HERON, 0, NULL},
        {"ca carry", CARRY, SCRIPT_HERON, 0, NULL},
        {"ta take heron's first", TAKE, SCRIPT_OFFICE, 0, "ca"},
        {"ra receipt", RECEIPT, SCRIPT_HERON, 0, "ta"},
        {"e3 enter a slip", ENTER, SCRIPT_HERON, 3, NULL},
        {"e4 enter work of egret", ENTER, SCRIPT_EGRET, 2, NULL},
        {"cb carry", CARRY, SCRIPT_EGRET, 0, NULL},
        {"tb take egret's, and heron's again", TAKE, SCRIPT_OFFICE, 0, "cb ca"},
        {"in instruct heron", INSTRUCT, SCRIPT_OFFICE, 0, NULL},
        {"cc carry with an overlap", CARRY, SCRIPT_HERON, 5, NULL},
        {"tc take the overlap", TAKE, SCRIPT_OFFICE, 0, "cc"},
        {"rc receipt with the instruction", RECEIPT, SCRIPT_HERON, 0, "tc"},
        {"ck tidy", TIDY, SCRIPT_OFFICE, 0, NULL},
        {"rn renew", RENEW, SCRIPT_HERON, 0, NULL},
        {"e5 enter behind the renewal", ENTER, SCRIPT_HERON, 4, NULL},
        {"cd carry both logs", CARRY, SCRIPT_HERON, 0, NULL},
        {"td take both logs", TAKE, SCRIPT_OFFICE, 0, "cd"},
        {"rd receipts", RECEIPT, SCRIPT_HERON, 0, "td"},
        {"rb receipt of egret", RECEIPT, SCRIPT_EGRET, 0, "tb"},
};
#define ACTIONS (sizeof(actions) / sizeof(actions[0]))

static const char *const rigs[SCRIPT_RIGS] = {"heron", "egret"};

static const struct {
    const char *kind;
    struct fsp_typed member[8];
    size_t n;
} records[] = {
        {"rig",
                {{"at", "2026-02-01T00:00:00Z"}, {"by", "clerk"}, {"mast", "142ft"},
                        {"drum", "30in"}, {"block", "47000lb"}},
                5},
        {"reel",
                {{"at", "2026-02-01T00:10:00Z"}, {"by", "clerk"}, {"reel", "LB-1"},
                        {"rope", "1-3/8in"}, {"grade", "EIPS"}, {"received", "5000ft"},
                        {"strung", "1850ft"}, {"lines", "10"}},
                8},
        {"work",
                {{"at", "2026-02-02T06:00:00Z"}, {"by", "clerk"}, {"op", "round-trip"},
                        {"depth", "9300ft"}},
                4},
        {"slip", {{"at", "2026-02-04T06:00:00Z"}, {"by", "clerk"}, {"length", "30ft"}}, 3},
        {"work",
                {{"at", "2026-02-06T06:00:00Z"}, {"by", "clerk"}, {"op", "round-trip"},
                        {"depth", "9500ft"}},
                4},
};

static const char sheet[] = "kind,at,by,op,depth\n"
                            "work,2026-02-03T01:00:00Z,clerk,round-trip,9310ft\n"
                            "work,2026-02-03T02:00:00Z,clerk,round-trip,9320ft\n"
                            "work,2026-02-03T03:00:00Z,clerk,round-trip,9330ft\n"
                            "work,2026-02-03T04:00:00Z,clerk,round-trip,9340ft\n";

size_t
script_actions(void)
{
    return ACTIONS;
}

const char *
script_name(size_t action)
{
    return actions[action].name;
}

enum script_place
script_place(size_t action)
{
    return actions[action].place;
}

bool
script_is_whole(size_t action)
{
    return actions[action].doing != TAKE;
}

bool
script_is_repeat(size_t action)
{
    for (size_t i = 0; i < action; i++)
        if (actions[i].doing == actions[action].doing)
            return true;
    return false;
}

/* ---- clock, randomness, mail ------------------------------------------------------------------- */

static int64_t
utc_us(void *ctx)
{
    const struct script *script = ctx;

    return script->now_us;
}

static void
random_bytes(void *ctx, void *out, size_t len)
{
    struct script *script = ctx;
    uint8_t *bytes = out;

    for (size_t i = 0; i < len; i++) {
        script->random = script->random * UINT64_C(6364136223846793005) + 1442695040888963407U;
        bytes[i] = (uint8_t)(script->random >> 56);
    }
}

void
script_init(struct script *script, const char *root)
{
    memset(script, 0, sizeof(*script));
    (void)snprintf(script->root, sizeof(script->root), "%s", root);
    script->env = (struct fsp_env){
            .utc_us = utc_us, .monotonic_us = utc_us, .random = random_bytes, .ctx = script};
}

static void
drop_mail(struct script_mail *mail)
{
    for (size_t i = 0; i < mail->n; i++)
        free(mail->piece[i].bytes);
    memset(mail, 0, sizeof(*mail));
}

void
script_fini(struct script *script)
{
    for (size_t i = 0; i < ACTIONS; i++)
        drop_mail(&script->mail[i]);
}

static enum fsp_rc
post(struct script_mail *mail, const void *bytes, size_t len, int status,
        struct script_piece **out, struct fsp_err *err)
{
    struct script_piece *piece = &mail->piece[mail->n];

    if (mail->n == SCRIPT_PIECES)
        return fsp_err_set(err, FSP_ELIMIT, "more pieces of mail than the script keeps");
    piece->bytes = malloc(len + 1);
    if (piece->bytes == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    memcpy(piece->bytes, bytes, len);
    piece->len = len;
    piece->status = status;
    mail->n++;
    if (out != NULL)
        *out = piece;
    return FSP_OK;
}

void
script_copy_mail(struct script *script, const struct script *from, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        drop_mail(&script->mail[i]);
        for (size_t k = 0; k < from->mail[i].n; k++) {
            const struct script_piece *piece = &from->mail[i].piece[k];
            struct script_piece *copy = NULL;

            if (post(&script->mail[i], piece->bytes, piece->len, piece->status, &copy, NULL) !=
                    FSP_OK)
                abort();
            copy->head = piece->head;
        }
    }
}

static void
path_of(const struct script *script, const char *name, char path[256])
{
    (void)snprintf(path, 256, "%.150s/%.80s", script->root, name);
}

static size_t
by_name(const char *two)
{
    for (size_t i = 0; i < ACTIONS; i++)
        if (strncmp(actions[i].name, two, 2) == 0)
            return i;
    abort();
}

/* ---- the office's actions ---------------------------------------------------------------------- */

struct office {
    struct fsp_office_keys keys;
    struct fsp_shelf *shelf;
};

static enum fsp_rc
open_office(struct script *script, struct office *office, struct fsp_err *err)
{
    char path[256];
    enum fsp_rc rc;

    memset(office, 0, sizeof(*office));
    path_of(script, "office", path);
    rc = fsp_shelf_open(&fsp_shelf_sqlite, path, FSP_SHELF_WRITE, &office->shelf, err);
    return rc == FSP_OK ? fsp_office_keys_load(&office->keys, path, err) : rc;
}

static void
close_office(struct office *office)
{
    fsp_shelf_close(office->shelf);
    fsp_office_keys_fini(&office->keys);
}

/* As farspool-office init, but in place and without TLS keys; the program's own init has a test of
 * its own. A half one is begun anew, as the command's way of building beside would. */
static enum fsp_rc
make_office(struct script *script, struct fsp_err *err)
{
    struct fsp_office_keys keys = {0};
    struct fsp_shelf *shelf = NULL;
    char beside[256];
    char path[256];
    char parent[256];
    enum fsp_rc rc;

    path_of(script, "office", path);
    path_of(script, "office.new-XXXXXX", beside);
    path_of(script, "", parent);
    if (fsp_file_exists(path))
        return FSP_OK;
    if (mkdtemp(beside) == NULL)
        return fsp_err_set(err, FSP_EIO, "%s", beside);
    rc = fsp_office_keys_make(&keys, FLEET, &script->env, err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_save(&keys, beside, err);
    if (rc == FSP_OK)
        rc = fsp_shelf_open(&fsp_shelf_sqlite, beside, FSP_SHELF_CREATE, &shelf, err);
    if (rc == FSP_OK)
        rc = shelf->ops->begin(shelf->ctx, true, err);
    if (rc == FSP_OK)
        rc = shelf->ops->set_fleet(shelf->ctx, FLEET, err);
    if (rc == FSP_OK)
        rc = shelf->ops->commit(shelf->ctx, err);
    if (rc == FSP_OK)
        rc = shelf->ops->tidy(shelf->ctx, true, err);
    fsp_shelf_close(shelf);
    fsp_office_keys_fini(&keys);
    if (rc == FSP_OK && rename(beside, path) != 0)
        rc = fsp_err_set(err, FSP_EIO, "rename %s", beside);
    return rc == FSP_OK ? fsp_file_sync_folder(parent, err) : rc;
}

static void
token_of(int rig, uint8_t token[FSP_TOKEN_LEN])
{
    for (size_t i = 0; i < FSP_TOKEN_LEN; i++)
        token[i] = (uint8_t)(17 * rig + (int)i);
}

static enum fsp_rc
invite(struct script *script, int rig, struct fsp_err *err)
{
    struct fsp_shelf_invitation known;
    uint8_t token[FSP_TOKEN_LEN];
    uint8_t mark[FSP_MARK_LEN];
    struct office office;
    struct fsp_shelf *shelf;
    enum fsp_rc rc = open_office(script, &office, err);

    token_of(rig, token);
    fsp_leaf_hash(token, sizeof(token), mark);
    shelf = office.shelf;
    if (rc == FSP_OK)
        rc = shelf->ops->begin(shelf->ctx, true, err);
    if (rc == FSP_OK && shelf->ops->invitation(shelf->ctx, mark, &known, NULL) == FSP_OK)
        shelf->ops->rollback(shelf->ctx);
    else if (rc == FSP_OK) {
        rc = shelf->ops->invite(shelf->ctx, rigs[rig], mark, START_S, err);
        if (rc == FSP_OK)
            rc = shelf->ops->commit(shelf->ctx, err);
        else
            shelf->ops->rollback(shelf->ctx);
    }
    close_office(&office);
    return rc;
}

static enum fsp_rc
take_one(struct fsp_intake *intake, const struct script_piece *bundle, struct script_mail *mail,
        struct fsp_err *err)
{
    struct script_piece *answer = NULL;
    struct fsp_buf text;
    int status = 0;
    enum fsp_rc rc;

    fsp_buf_init(&text, 2 * FSP_NOTE_MAX);
    rc = fsp_intake_take(intake, bundle->bytes, bundle->len, &status, &text, err);
    if (rc == FSP_OK && status != 200)
        rc = fsp_err_set(
                err, FSP_EVERIFY, "the office answers %d: %.200s", status, fsp_buf_peek(&text));
    if (rc == FSP_OK)
        rc = post(mail, text.data, text.len, status, &answer, err);
    if (rc == FSP_OK)
        answer->head = bundle->head;
    fsp_buf_fini(&text);
    return rc;
}

static enum fsp_rc
take(struct script *script, const struct action *action, struct script_mail *mail,
        struct fsp_err *err)
{
    struct fsp_intake *intake = NULL;
    struct office office;
    enum fsp_rc rc = open_office(script, &office, err);

    if (rc == FSP_OK)
        rc = fsp_intake_new(office.shelf, &office.keys, &script->env, &intake, err);
    for (const char *from = action->mail; rc == FSP_OK && *from != '\0';
            from += from[2] == ' ' ? 3 : 2) {
        const struct script_mail *bundles = &script->mail[by_name(from)];

        for (size_t i = 0; rc == FSP_OK && i < bundles->n; i++)
            rc = take_one(intake, &bundles->piece[i], mail, err);
    }
    fsp_intake_free(intake);
    close_office(&office);
    return rc;
}

static enum fsp_rc
instruct(struct script *script, struct fsp_err *err)
{
    static const char body[] = "look at the crown sheaves\n";
    struct fsp_instruct what = {.rig = "heron",
            .about = FSP_ABOUT_MESSAGE,
            .body = body,
            .body_len = sizeof(body) - 1};
    struct fsp_instruct_list list = {0};
    struct office office;
    struct fsp_shelf *shelf;
    enum fsp_rc rc = open_office(script, &office, err);

    shelf = office.shelf;
    if (rc == FSP_OK)
        rc = shelf->ops->begin(shelf->ctx, true, err);
    if (rc == FSP_OK) {
        rc = fsp_instruct_list(shelf, &office.keys, "heron", &list, err);
        /* A person who does it again looks first. */
        if (rc == FSP_OK && list.n == 0)
            rc = fsp_instruct_queue(shelf, &office.keys, &script->env, &what, NULL, err);
        if (rc == FSP_OK)
            rc = shelf->ops->commit(shelf->ctx, err);
        else
            shelf->ops->rollback(shelf->ctx);
    }
    fsp_instruct_list_free(&list);
    close_office(&office);
    return rc;
}

static enum fsp_rc
tidy(struct script *script, struct fsp_err *err)
{
    struct office office;
    enum fsp_rc rc = open_office(script, &office, err);

    if (rc == FSP_OK)
        rc = office.shelf->ops->tidy(office.shelf->ctx, true, err);
    close_office(&office);
    return rc;
}

/* ---- a rig's actions --------------------------------------------------------------------------- */

static enum fsp_rc
make_rig(struct script *script, int rig, struct fsp_err *err)
{
    struct fsp_invitation invitation = {.url = ""};
    struct office office;
    char path[256];
    enum fsp_rc rc = open_office(script, &office, err);

    path_of(script, rigs[rig], path);
    (void)snprintf(invitation.fleet, sizeof(invitation.fleet), "%s", FLEET);
    (void)snprintf(invitation.rig, sizeof(invitation.rig), "%s", rigs[rig]);
    if (rc == FSP_OK) {
        invitation.cosigner = *fsp_skey_vkey(office.keys.cosigner);
        invitation.instructions = *fsp_skey_vkey(office.keys.instructions);
        memcpy(invitation.box_pub, office.keys.box[0].pub, sizeof(invitation.box_pub));
        token_of(rig, invitation.token);
    }
    close_office(&office);
    if (rc != FSP_OK || fsp_file_exists(path))
        return rc;
    return fsp_journal_create(path, &invitation, &script->env, err);
}

static enum fsp_rc
open_rig(struct script *script, enum script_place place, struct fsp_journal **journal,
        struct fsp_err *err)
{
    char path[256];

    path_of(script, rigs[place - SCRIPT_HERON], path);
    return fsp_journal_open(path, FSP_JOURNAL_WRITE, &script->env, journal, err);
}

static enum fsp_rc
enter(struct fsp_journal *journal, const struct action *action, struct fsp_err *err)
{
    struct fsp_check_context context;
    struct fsp_journal_added added;
    struct fsp_record *record = NULL;
    enum fsp_rc rc = fsp_journal_context(journal, &context, err);

    if (rc == FSP_OK)
        rc = fsp_check_typed(records[action->which].kind, records[action->which].member,
                records[action->which].n, &context, &record, err);
    if (rc == FSP_OK)
        rc = fsp_journal_enter(journal, record, action->name, false, &added, err);
    fsp_record_free(record);
    return rc;
}

/* A sheet that the inbox refuses is a failure here. */
static void
said(void *ctx, const char *name, const struct fsp_journal_added *added,
        const struct fsp_err *failed)
{
    (void)added;
    if (failed != NULL)
        (void)fsp_err_set(ctx, failed->rc, "%.60s: %.300s", name, failed->text);
}

/* The sheet is dropped as people are told to: under another name, then renamed. */
static enum fsp_rc
inbox(struct fsp_journal *journal, struct fsp_err *err)
{
    struct fsp_err refused = {.rc = FSP_OK};
    struct fsp_inbox_listener listener = {.said = said, .ctx = &refused};
    char path[384];
    enum fsp_rc rc;

    (void)snprintf(path, sizeof(path), "%.250s/inbox/march.csv", fsp_journal_folder(journal));
    rc = fsp_file_write(path, sheet, sizeof(sheet) - 1, 0600, err);
    if (rc == FSP_OK)
        rc = fsp_inbox_round(journal, true, &listener, err);
    return rc == FSP_OK && refused.rc != FSP_OK
                   ? fsp_err_set(err, refused.rc, "%.400s", refused.text)
                   : rc;
}

static enum fsp_rc
pack(struct fsp_journal *journal, const struct fsp_skey *skey, const struct fsp_pack_want *want,
        struct script_mail *mail, struct fsp_err *err)
{
    struct script_piece *piece = NULL;
    struct fsp_range range;
    struct fsp_packed packed;
    enum fsp_rc rc;

    fsp_packed_init(&packed);
    rc = fsp_pack(journal, skey, want, &packed, err);
    if (rc == FSP_OK)
        rc = fsp_receipt_sent_of(journal, &packed, err);
    if (rc == FSP_OK)
        rc = fsp_head_range(fsp_journal_db(journal), packed.log, packed.size, &range, err);
    if (rc == FSP_OK)
        rc = post(mail, packed.bundle.data, packed.bundle.len, 0, &piece, err);
    if (rc == FSP_OK) {
        (void)snprintf(piece->head.origin, sizeof(piece->head.origin), "%s", want->log->origin);
        piece->head.size = packed.size;
        fsp_range_root(&range, piece->head.root);
    }
    fsp_packed_fini(&packed);
    return rc;
}

static enum fsp_rc
carry(struct fsp_journal *journal, const struct action *action, struct script_mail *mail,
        struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    struct fsp_skey *skey = NULL;
    int lock = -1;
    size_t n = 0;
    enum fsp_rc rc = fsp_push_lock(journal, &lock, err);

    if (rc == FSP_OK)
        rc = fsp_journal_key(journal, &skey, err);
    if (rc == FSP_OK)
        rc = fsp_head_confirm_tip(journal, err);
    if (rc == FSP_OK)
        rc = fsp_journal_logs(journal, &logs, &n, err);
    for (size_t i = 0; rc == FSP_OK && i < n; i++) {
        struct fsp_pack_want want = {.log = &logs[i],
                .old = logs[i].held,
                .to = UINT64_MAX,
                .payload = FSP_PACK_PAYLOAD_MOST,
                .enrol = true};

        if (want.old >= logs[i].size)
            continue;
        want.old -= want.old < (uint64_t)action->which ? want.old : (uint64_t)action->which;
        rc = pack(journal, skey, &want, mail, err);
    }
    free(logs);
    fsp_skey_free(skey);
    fsp_file_unlock(lock);
    return rc;
}

static enum fsp_rc
receipt(struct script *script, struct fsp_journal *journal, const struct action *action,
        struct fsp_err *err)
{
    const struct script_mail *mail = &script->mail[by_name(action->mail)];
    const char *mine = fsp_journal_about(journal)->rig;
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < mail->n; i++) {
        struct fsp_answer answer = {.status = mail->piece[i].status,
                .bytes = mail->piece[i].bytes,
                .len = mail->piece[i].len};
        struct fsp_verdict verdict;

        if (strstr(mail->piece[i].head.origin, mine) == NULL)
            continue; /* another rig's */
        rc = fsp_receipt_judge(journal, &answer, &verdict, err);
        if (rc == FSP_OK && verdict.kind != FSP_VERDICT_TAKEN)
            rc = fsp_err_set(err, FSP_EVERIFY, "the receipt is not taken: %s", verdict.why);
        if (rc == FSP_OK && verdict.words_ignored > 0)
            rc = fsp_err_set(
                    err, FSP_EVERIFY, "an instruction is ignored: %s", verdict.word_why);
    }
    return rc;
}

/* An interrupted renewal leaves at most a key file that nobody names. Chance never makes that name
 * again, but the script's does: it makes way. */
static void
make_way(struct fsp_journal *journal)
{
    DIR *dir = opendir(fsp_journal_folder(journal));
    const struct dirent *entry;

    /* One thread reads this stream. */
    while (dir != NULL && (entry = readdir(dir)) != NULL) { // NOLINT(concurrency-mt-unsafe)
        char path[512];

        (void)snprintf(
                path, sizeof(path), "%.200s/%s", fsp_journal_folder(journal), entry->d_name);
        if (strncmp(entry->d_name, "rig-", 4) == 0)
            (void)unlink(path);
    }
    if (dir != NULL)
        (void)closedir(dir);
}

static enum fsp_rc
renew(struct fsp_journal *journal, struct fsp_err *err)
{
    struct fsp_renew_options options = {.why = "rotation", .by = "clerk"};
    struct fsp_journal_log *logs = NULL;
    struct fsp_renew_report report;
    size_t n = 0;
    int lock = -1;
    enum fsp_rc rc = fsp_push_lock(journal, &lock, err);

    if (rc == FSP_OK)
        rc = fsp_journal_logs(journal, &logs, &n, err);
    if (rc == FSP_OK && n == 1) { /* a person who does it again looks first */
        make_way(journal);
        rc = fsp_renew(journal, &options, &report, err);
    }
    free(logs);
    fsp_file_unlock(lock);
    return rc;
}

static enum fsp_rc
run_rig(struct script *script, const struct action *action, struct script_mail *mail,
        struct fsp_err *err)
{
    struct fsp_journal *journal = NULL;
    enum fsp_rc rc;

    if (action->doing == MAKE_RIG)
        return make_rig(script, action->which, err);
    rc = open_rig(script, action->place, &journal, err);
    if (rc == FSP_OK && action->doing == ENTER)
        rc = enter(journal, action, err);
    else if (rc == FSP_OK && action->doing == INBOX)
        rc = inbox(journal, err);
    else if (rc == FSP_OK && action->doing == CARRY)
        rc = carry(journal, action, mail, err);
    else if (rc == FSP_OK && action->doing == RECEIPT)
        rc = receipt(script, journal, action, err);
    else if (rc == FSP_OK && action->doing == RENEW)
        rc = renew(journal, err);
    fsp_journal_close(journal);
    return rc;
}

enum fsp_rc
script_run(struct script *script, size_t action, struct fsp_err *err)
{
    const struct action *what = &actions[action];
    struct script_mail mail = {.n = 0};
    enum fsp_rc rc;

    script->now_us = (START_S + 60 * (int64_t)action) * FSP_US_PER_S;
    script->random = action + 1;
    if (what->place != SCRIPT_OFFICE)
        rc = run_rig(script, what, &mail, err);
    else if (what->doing == MAKE_OFFICE)
        rc = make_office(script, err);
    else if (what->doing == INVITE)
        rc = invite(script, what->which, err);
    else if (what->doing == TAKE)
        rc = take(script, what, &mail, err);
    else if (what->doing == INSTRUCT)
        rc = instruct(script, err);
    else
        rc = tidy(script, err);
    if (rc != FSP_OK) {
        drop_mail(&mail);
        return rc;
    }
    drop_mail(&script->mail[action]);
    script->mail[action] = mail;
    return FSP_OK;
}
