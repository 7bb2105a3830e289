/* Making a store: built beside its place, then renamed, so that there is all of it or nothing. */
#include "rig/journal.h"

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/mem.h"
#include "base/text.h"
#include "proof/tree.h"
#include "rig/head.h"
#include "rig/journal_priv.h"

static void
random_hex(const struct fsp_env *env, char out[FSP_INCARNATION_LEN + 1])
{
    uint8_t bytes[FSP_INCARNATION_LEN / 2];

    env->random(env->ctx, bytes, sizeof(bytes));
    fsp_text_hex(out, bytes, sizeof(bytes));
}

static enum fsp_rc
set_vkey(struct fsp_db *db, const char *key, const struct fsp_vkey *vkey, struct fsp_err *err)
{
    struct fsp_buf buf;
    enum fsp_rc rc;

    fsp_buf_init(&buf, FSP_VKEY_MAX);
    fsp_vkey_write(vkey, &buf);
    rc = fsp_buf_check(&buf, key, err);
    if (rc == FSP_OK)
        rc = fsp_journal_set_meta(db, key, fsp_buf_peek(&buf), err);
    fsp_buf_fini(&buf);
    return rc;
}

static enum fsp_rc
set_hex(struct fsp_db *db, const char *key, const uint8_t *bytes, size_t len,
        struct fsp_err *err)
{
    char text[65];

    fsp_text_hex(text, bytes, len);
    return fsp_journal_set_meta(db, key, text, err);
}

static enum fsp_rc
add_first_log(struct fsp_db *db, const struct fsp_journal_about *about, struct fsp_err *err)
{
    struct fsp_journal_log log = {.id = FSP_RIG_LOG, .current = true, .vkey = about->vkey};

    memcpy(log.origin, about->origin, sizeof(log.origin));
    fsp_text_hex(log.token, about->token, sizeof(about->token));
    return fsp_journal_add_log(db, &log, err);
}

static enum fsp_rc
write_about(struct fsp_db *db, const struct fsp_journal_about *about, struct fsp_err *err)
{
    const struct {
        const char *key;
        const char *value;
    } texts[] = {
            {"fleet", about->fleet},
            {"rig", about->rig},
            {"url", about->url},
    };
    enum fsp_rc rc = fsp_db_begin(db, err);

    if (rc != FSP_OK)
        return rc;
    for (size_t i = 0; rc == FSP_OK && i < sizeof(texts) / sizeof(texts[0]); i++)
        rc = fsp_journal_set_meta(db, texts[i].key, texts[i].value, err);
    if (rc == FSP_OK)
        rc = set_vkey(db, "cosigner", &about->cosigner, err);
    if (rc == FSP_OK)
        rc = set_vkey(db, "instructions", &about->instructions, err);
    if (rc == FSP_OK)
        rc = set_hex(db, "box", about->box_pub, sizeof(about->box_pub), err);
    if (rc == FSP_OK && about->has_pins)
        rc = set_hex(db, "pin", about->pins[0], FSP_PIN_LEN, err);
    if (rc == FSP_OK && about->has_pins)
        rc = set_hex(db, "pin-spare", about->pins[1], FSP_PIN_LEN, err);
    if (rc == FSP_OK)
        rc = add_first_log(db, about, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}

static enum fsp_rc
make_key(const char *folder, struct fsp_journal_about *about, const struct fsp_env *env,
        struct fsp_err *err)
{
    struct fsp_skey *skey = NULL;
    char *path = fsp_file_join(folder, FSP_JOURNAL_KEY_1);
    enum fsp_rc rc;

    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_skey_new(&skey, about->origin, FSP_KEY_NOTE, env, err);
    if (rc == FSP_OK)
        rc = fsp_skey_save(skey, path, err);
    if (rc == FSP_OK)
        about->vkey = *fsp_skey_vkey(skey);
    fsp_skey_free(skey);
    free(path);
    return rc;
}

static enum fsp_rc
make_database(const char *folder, const struct fsp_journal_about *about, struct fsp_err *err)
{
    struct fsp_db *db = NULL;
    char *path = fsp_file_join(folder, FSP_JOURNAL_DB);
    enum fsp_rc rc;

    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_db_open(path, FSP_DB_RIG, true, &fsp_journal_schema, &db, err);
    if (rc == FSP_OK)
        rc = write_about(db, about, err);
    fsp_db_close(db);
    free(path);
    return rc;
}

/* inbox, inbox/taken, inbox/refused. */
static enum fsp_rc
make_inbox(const char *folder, struct fsp_err *err)
{
    static const char *const names[] = {"inbox", "inbox/taken", "inbox/refused"};
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < sizeof(names) / sizeof(names[0]); i++) {
        char *path = fsp_file_join(folder, names[i]);

        if (path == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        rc = fsp_file_folder(path, 0700, err);
        free(path);
    }
    return rc;
}

static enum fsp_rc
fill(const char *folder, const struct fsp_invitation *invitation, const struct fsp_env *env,
        struct fsp_err *err)
{
    struct fsp_journal_about about = {.fleet = ""};
    struct fsp_checkpoint empty = {.size = 0};
    struct fsp_range range;
    enum fsp_rc rc;

    (void)snprintf(about.fleet, sizeof(about.fleet), "%s", invitation->fleet);
    (void)snprintf(about.rig, sizeof(about.rig), "%s", invitation->rig);
    random_hex(env, about.incarnation);
    (void)snprintf(about.origin, sizeof(about.origin), "%s/%s/%s", about.fleet, about.rig,
            about.incarnation);
    (void)snprintf(about.url, sizeof(about.url), "%s", invitation->url);
    about.cosigner = invitation->cosigner;
    about.instructions = invitation->instructions;
    memcpy(about.box_pub, invitation->box_pub, sizeof(about.box_pub));
    memcpy(about.token, invitation->token, sizeof(about.token));
    about.has_pins = invitation->has_pins;
    memcpy(about.pins, invitation->pins, sizeof(about.pins));

    rc = make_key(folder, &about, env, err);
    if (rc == FSP_OK)
        rc = make_database(folder, &about, err);
    if (rc == FSP_OK)
        rc = make_inbox(folder, err);
    if (rc == FSP_OK) {
        (void)snprintf(empty.origin, sizeof(empty.origin), "%s", about.origin);
        fsp_range_init(&range);
        fsp_range_root(&range, empty.root);
        rc = fsp_signed_size_write(folder, "", &empty, err);
    }
    if (rc == FSP_OK)
        rc = fsp_file_sync_folder(folder, err);
    return rc;
}

/* Take away what was made in the folder, which is ours alone. */
static void
clear(const char *folder)
{
    static const char *const inner[] = {"inbox/taken", "inbox/refused", "inbox", ""};

    for (size_t i = 0; i < sizeof(inner) / sizeof(inner[0]); i++) {
        char *path = inner[i][0] == '\0' ? fsp_mem_text(folder, strlen(folder))
                                         : fsp_file_join(folder, inner[i]);
        const struct dirent *entry;
        DIR *dir = path == NULL ? NULL : opendir(path);

        /* One thread reads this stream. */
        while (dir != NULL && (entry = readdir(dir)) != NULL) { // NOLINT(concurrency-mt-unsafe)
            char *file = fsp_file_join(path, entry->d_name);

            if (file != NULL)
                (void)unlink(file); /* no folder, no link is followed */
            free(file);
        }
        if (dir != NULL) {
            (void)closedir(dir);
            (void)rmdir(path);
        }
        free(path);
    }
}

static enum fsp_rc
move_into_place(const char *beside, const char *folder, struct fsp_err *err)
{
    char parent[PATH_MAX];
    char *slash;

    if (rename(beside, folder) != 0) {
        if (errno == ENOTEMPTY || errno == EEXIST || errno == ENOTDIR)
            return fsp_err_set(err, FSP_EINVAL,
                    "%s: is there already and not empty; a store is made once: use it, or name "
                    "another folder",
                    folder);
        return fsp_err_sys(err, FSP_EIO, errno, "%s", folder);
    }
    (void)snprintf(parent, sizeof(parent), "%s", folder);
    slash = strrchr(parent, '/');
    if (slash == NULL)
        return fsp_file_sync_folder(".", err);
    slash[slash == parent] = '\0';
    return fsp_file_sync_folder(parent, err);
}

static enum fsp_rc
fill_more(const char *folder, const struct fsp_env *env, fsp_journal_fill *more, void *ctx,
        struct fsp_err *err)
{
    struct fsp_journal *journal = NULL;
    enum fsp_rc rc = fsp_journal_open(folder, FSP_JOURNAL_WRITE, env, &journal, err);

    if (rc == FSP_OK)
        rc = more(journal, ctx, err);
    fsp_journal_close(journal);
    return rc;
}

enum fsp_rc
fsp_journal_create(const char *folder, const struct fsp_invitation *invitation,
        const struct fsp_env *env, struct fsp_err *err)
{
    return fsp_journal_create_filled(folder, invitation, env, NULL, NULL, err);
}

enum fsp_rc
fsp_journal_create_filled(const char *folder, const struct fsp_invitation *invitation,
        const struct fsp_env *env, fsp_journal_fill *more, void *ctx, struct fsp_err *err)
{
    static const char tail[] = ".new-XXXXXX";
    size_t len = strlen(folder);
    char beside[PATH_MAX];
    char place[PATH_MAX];
    enum fsp_rc rc;

    while (len > 1 && folder[len - 1] == '/')
        len--;
    if (len == 0 || len + sizeof(tail) + 32 > sizeof(beside))
        return fsp_err_set(err, FSP_EINVAL, "%s: no usable folder name", folder);
    (void)snprintf(place, sizeof(place), "%.*s", (int)len, folder);
    (void)snprintf(beside, sizeof(beside), "%.*s%s", (int)len, folder, tail);
    if (mkdtemp(beside) == NULL)
        return fsp_err_sys(err, FSP_EIO, errno,
                "%s: cannot make a folder beside it; name a folder inside one that you may "
                "write to",
                place);
    rc = fill(beside, invitation, env, err);
    if (rc == FSP_OK && more != NULL)
        rc = fill_more(beside, env, more, ctx, err);
    if (rc == FSP_OK)
        rc = move_into_place(beside, place, err);
    if (rc != FSP_OK)
        clear(beside);
    return rc;
}
