#include "office/keys.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"

#define FOLDER           "keys"
#define COSIGNER         "office.key"
#define INSTRUCTIONS     "instructions.key"
#define BOX              "box.key"
#define OLD_COSIGNER     "office"
#define OLD_INSTRUCTIONS "instructions"
#define OLD_BOX          "box"
#define NEXT             "next-"
#define BOX_WORD         "farspool-box-key/v1 "
#define BOX_FILE_MAX     ((size_t)256)

/* --- making ---------------------------------------------------------------------------------- */

enum fsp_rc
fsp_office_keys_make(struct fsp_office_keys *keys, const char *fleet, const struct fsp_env *env,
        struct fsp_err *err)
{
    enum fsp_rc rc;
    char name[FSP_NAME_MAX + sizeof("/instructions")];

    memset(keys, 0, sizeof(*keys));
    (void)snprintf(name, sizeof(name), "%.*s/office", (int)FSP_NAME_MAX, fleet);
    rc = fsp_skey_new(&keys->cosigner, name, FSP_KEY_COSIGNER, env, err);
    (void)snprintf(name, sizeof(name), "%.*s/instructions", (int)FSP_NAME_MAX, fleet);
    if (rc == FSP_OK)
        rc = fsp_skey_new(&keys->instructions, name, FSP_KEY_NOTE, env, err);
    if (rc == FSP_OK)
        rc = fsp_box_key_make(&keys->box[0], env, err);
    if (rc == FSP_OK) {
        keys->n_box = 1;
        keys->instructions_ever[keys->n_instructions_ever++] =
                *fsp_skey_vkey(keys->instructions);
    } else {
        fsp_office_keys_fini(keys);
    }
    return rc;
}

void
fsp_office_keys_fini(struct fsp_office_keys *keys)
{
    fsp_skey_free(keys->cosigner);
    fsp_skey_free(keys->instructions);
    for (size_t i = 0; i < keys->n_cosigner_before; i++)
        fsp_skey_free(keys->cosigner_before[i]);
    for (size_t i = 0; i < keys->n_instructions_before; i++)
        fsp_skey_free(keys->instructions_before[i]);
    explicit_bzero(keys, sizeof(*keys));
}

/* --- files ----------------------------------------------------------------------------------- */

static enum fsp_rc
no_memory(struct fsp_err *err)
{
    (void)fsp_err_set(err, FSP_ENOMEM, "out of memory");
    return FSP_ENOMEM;
}

static enum fsp_rc
save_box(const struct fsp_box_key *box, const char *path, struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&text, BOX_FILE_MAX);
    if (fsp_buf_room(&text, BOX_FILE_MAX - 1) ==
            NULL) /* one block, so that one wipe is enough */
        return no_memory(err);
    fsp_buf_add_text(&text, BOX_WORD);
    fsp_base64(&text, box->pub, sizeof(box->pub));
    fsp_buf_add_byte(&text, ' ');
    fsp_base64(&text, box->secret, sizeof(box->secret));
    fsp_buf_add_byte(&text, '\n');
    rc = fsp_buf_check(&text, path, err);
    if (rc == FSP_OK)
        rc = fsp_file_create(path, text.data, text.len, 0600, err);
    if (text.data != NULL)
        explicit_bzero(text.data, text.cap);
    fsp_buf_fini(&text);
    return rc;
}

static enum fsp_rc
parse_box(struct fsp_box_key *box, const char *text, size_t len)
{
    const size_t word = sizeof(BOX_WORD) - 1;
    const size_t b64 = 44; /* of 32 bytes */
    uint8_t pub[sizeof(box->pub)];

    if (len != word + b64 + 1 + b64 + 1 || memcmp(text, BOX_WORD, word) != 0 ||
            text[word + b64] != ' ' || text[len - 1] != '\n')
        return FSP_EFORMAT;
    if (fsp_unbase64_exact(text + word, b64, box->pub, sizeof(box->pub)) != FSP_OK ||
            fsp_unbase64_exact(text + word + b64 + 1, b64, box->secret, sizeof(box->secret)) !=
                    FSP_OK)
        return FSP_EFORMAT;
    memcpy(pub, box->pub, sizeof(pub));
    if (fsp_box_key_complete(box, NULL) != FSP_OK || memcmp(pub, box->pub, sizeof(pub)) != 0)
        return FSP_EFORMAT; /* halves of two pairs */
    return FSP_OK;
}

static enum fsp_rc
load_box(struct fsp_box_key *box, const char *path, struct fsp_err *err)
{
    struct stat st;
    uint8_t *text = NULL;
    size_t len = 0;
    enum fsp_rc rc = fsp_file_read(path, BOX_FILE_MAX, &text, &len, err);

    if (rc != FSP_OK)
        return rc;
    if (stat(path, &st) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s", path);
    else if ((st.st_mode & (S_IRWXG | S_IRWXO)) != 0)
        rc = fsp_err_set(
                err, FSP_EFORMAT, "%s: others may read this secret key; chmod 600 it", path);
    else if (parse_box(box, (const char *)text, len) != FSP_OK)
        rc = fsp_err_set(err, FSP_EFORMAT, "%s: not a box key", path);
    explicit_bzero(text, len);
    free(text);
    return rc;
}

enum fsp_rc
fsp_office_keys_save(const struct fsp_office_keys *keys, const char *store, struct fsp_err *err)
{
    char *folder = fsp_file_join(store, FOLDER);
    char *cosigner = folder == NULL ? NULL : fsp_file_join(folder, COSIGNER);
    char *instructions = folder == NULL ? NULL : fsp_file_join(folder, INSTRUCTIONS);
    char *box = folder == NULL ? NULL : fsp_file_join(folder, BOX);
    enum fsp_rc rc = cosigner == NULL || instructions == NULL || box == NULL
                             ? no_memory(err)
                             : fsp_file_folder(folder, 0700, err);

    if (rc == FSP_OK)
        rc = fsp_skey_save(keys->cosigner, cosigner, err);
    if (rc == FSP_OK)
        rc = fsp_skey_save(keys->instructions, instructions, err);
    if (rc == FSP_OK)
        rc = save_box(&keys->box[0], box, err);
    free(box);
    free(instructions);
    free(cosigner);
    free(folder);
    return rc;
}

static bool
old_box_name(const char *name)
{
    size_t len = strlen(name);

    return strncmp(name, "box-", 4) == 0 && len > 8 && strcmp(name + len - 4, ".key") == 0;
}

static enum fsp_rc
load_old_boxes(struct fsp_office_keys *keys, const char *folder, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    DIR *dir = opendir(folder);

    if (dir == NULL)
        return fsp_err_sys(err, FSP_EIO, errno, "%s", folder);
    while (rc == FSP_OK) {
        const struct dirent *item =
                readdir(dir); /* NOLINT(concurrency-mt-unsafe): own stream */
        char *path;

        if (item == NULL)
            break;
        if (!old_box_name(item->d_name))
            continue;
        if (keys->n_box == FSP_BOX_KEYS_MAX) {
            rc = fsp_err_set(
                    err, FSP_ELIMIT, "%s: more than %d box keys", folder, FSP_BOX_KEYS_MAX);
            break;
        }
        path = fsp_file_join(folder, item->d_name);
        rc = path == NULL ? no_memory(err) : load_box(&keys->box[keys->n_box], path, err);
        if (rc == FSP_OK)
            keys->n_box++;
        free(path);
    }
    (void)closedir(dir); /* read only */
    return rc;
}

/* FOLDER/<what>-<number>.key; the caller frees. */
static char *
numbered(const char *folder, const char *what, size_t number)
{
    char name[64];

    (void)snprintf(name, sizeof(name), "%s-%zu.key", what, number);
    return fsp_file_join(folder, name);
}

/* The number-th of those that were followed; *skey NULL past the last. */
static enum fsp_rc
load_before(const char *folder, const char *what, size_t number, struct fsp_skey **skey,
        struct fsp_err *err)
{
    char *path = numbered(folder, what, number);
    enum fsp_rc rc = FSP_OK;

    *skey = NULL;
    if (path == NULL)
        return no_memory(err);
    if (fsp_file_exists(path))
        rc = fsp_skey_load(skey, path, err);
    free(path);
    return rc;
}

/* An interrupted change may have left today's key under a number too. */
static enum fsp_rc
load_all_before(struct fsp_office_keys *keys, const char *folder, struct fsp_err *err)
{
    struct fsp_skey *skey = NULL;
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 1; rc == FSP_OK && i <= FSP_KEYS_BEFORE_MAX; i++) {
        rc = load_before(folder, OLD_COSIGNER, i, &skey, err);
        if (rc != FSP_OK || skey == NULL)
            break;
        if (fsp_vkey_equal(fsp_skey_vkey(skey), fsp_skey_vkey(keys->cosigner)))
            fsp_skey_free(skey);
        else
            keys->cosigner_before[keys->n_cosigner_before++] = skey;
    }
    for (size_t i = 1; rc == FSP_OK && i <= FSP_KEYS_BEFORE_MAX; i++) {
        rc = load_before(folder, OLD_INSTRUCTIONS, i, &skey, err);
        if (rc != FSP_OK || skey == NULL)
            break;
        if (fsp_vkey_equal(fsp_skey_vkey(skey), fsp_skey_vkey(keys->instructions))) {
            fsp_skey_free(skey);
            continue;
        }
        keys->instructions_before[keys->n_instructions_before++] = skey;
        keys->instructions_ever[keys->n_instructions_ever++] = *fsp_skey_vkey(skey);
    }
    if (rc == FSP_OK)
        keys->instructions_ever[keys->n_instructions_ever++] =
                *fsp_skey_vkey(keys->instructions);
    return rc;
}

/* A key file that is lost or damaged: what a keeper does about it. */
static enum fsp_rc
say_way_back(enum fsp_rc rc, struct fsp_err *err)
{
    char text[FSP_ERR_TEXT_MAX];

    if (err == NULL)
        return rc;
    memcpy(text, err->text, sizeof(text));
    return fsp_err_set(err, rc,
            "%.360s; without its keys the office signs nothing: put their copy back "
            "(docs/durability.md)",
            text);
}

enum fsp_rc
fsp_office_keys_load(struct fsp_office_keys *keys, const char *store, struct fsp_err *err)
{
    char *folder = fsp_file_join(store, FOLDER);
    char *cosigner = folder == NULL ? NULL : fsp_file_join(folder, COSIGNER);
    char *instructions = folder == NULL ? NULL : fsp_file_join(folder, INSTRUCTIONS);
    char *box = folder == NULL ? NULL : fsp_file_join(folder, BOX);
    enum fsp_rc rc = FSP_OK;

    memset(keys, 0, sizeof(*keys));
    if (cosigner == NULL || instructions == NULL || box == NULL)
        rc = no_memory(err);
    if (rc == FSP_OK)
        rc = fsp_skey_load(&keys->cosigner, cosigner, err);
    if (rc == FSP_OK)
        rc = fsp_skey_load(&keys->instructions, instructions, err);
    if (rc == FSP_OK)
        rc = load_box(&keys->box[0], box, err);
    if (rc == FSP_OK) {
        keys->n_box = 1;
        rc = load_old_boxes(keys, folder, err);
    }
    if (rc == FSP_OK)
        rc = load_all_before(keys, folder, err);
    if (rc == FSP_OK && (fsp_skey_vkey(keys->cosigner)->type != FSP_KEY_COSIGNER ||
                                fsp_skey_vkey(keys->instructions)->type != FSP_KEY_NOTE))
        rc = fsp_err_set(
                err, FSP_EFORMAT, "%s: office.key and instructions.key are mixed up", folder);
    if (rc == FSP_ENOTFOUND || rc == FSP_EFORMAT)
        rc = say_way_back(rc, err);
    if (rc != FSP_OK)
        fsp_office_keys_fini(keys);
    free(box);
    free(instructions);
    free(cosigner);
    free(folder);
    return rc;
}

/* --- a key that follows another ------------------------------------------------------------ */

/* How each kind is named in the folder: WHAT.key, WHAT-N.key, next-WHAT.key. */
static const char *
stem(enum fsp_office_key which)
{
    switch (which) {
    case FSP_OFFICE_COSIGNER:
        return OLD_COSIGNER;
    case FSP_OFFICE_INSTRUCTIONS:
        return OLD_INSTRUCTIONS;
    case FSP_OFFICE_BOX:
        return OLD_BOX;
    }
    return OLD_BOX;
}

const char *
fsp_office_key_text(enum fsp_office_key which)
{
    return which == FSP_OFFICE_COSIGNER ? "cosigner" : stem(which);
}

void
fsp_office_next_fini(struct fsp_office_next *next)
{
    fsp_skey_free(next->skey);
    explicit_bzero(next, sizeof(*next));
}

/* The first number that is free; 0 when there are as many as are kept. */
static enum fsp_rc
free_number(const char *folder, enum fsp_office_key which, size_t *number, struct fsp_err *err)
{
    size_t most = which == FSP_OFFICE_BOX ? FSP_BOX_KEYS_MAX - 1 : FSP_KEYS_BEFORE_MAX;

    *number = 0;
    for (size_t i = 1; i <= most && *number == 0; i++) {
        char *path = numbered(folder, stem(which), i);

        if (path == NULL)
            return no_memory(err);
        if (!fsp_file_exists(path))
            *number = i;
        free(path);
    }
    if (*number == 0)
        return fsp_err_set(err, FSP_ELIMIT,
                "%s: %zu %s keys were followed by others already, and no more are kept", folder,
                most, fsp_office_key_text(which));
    return FSP_OK;
}

/* FOLDER/next-WHAT.key; the caller frees. */
static char *
next_path(const char *folder, enum fsp_office_key which)
{
    char name[64];

    (void)snprintf(name, sizeof(name), NEXT "%s.key", stem(which));
    return fsp_file_join(folder, name);
}

static enum fsp_rc
make_next(const struct fsp_office_keys *keys, enum fsp_office_key which, const char *path,
        const struct fsp_env *env, struct fsp_err *err)
{
    const struct fsp_skey *today =
            which == FSP_OFFICE_COSIGNER ? keys->cosigner : keys->instructions;
    const struct fsp_vkey *vkey = fsp_skey_vkey(today);
    struct fsp_office_next next = {.skey = NULL};
    enum fsp_rc rc;

    if (which == FSP_OFFICE_BOX)
        rc = fsp_box_key_make(&next.box, env, err);
    else
        rc = fsp_skey_new(&next.skey, vkey->name, vkey->type, env, err);
    if (rc == FSP_OK)
        rc = which == FSP_OFFICE_BOX ? save_box(&next.box, path, err)
                                     : fsp_skey_save(next.skey, path, err);
    fsp_office_next_fini(&next);
    return rc;
}

enum fsp_rc
fsp_office_keys_next(const struct fsp_office_keys *keys, const char *store,
        enum fsp_office_key which, const struct fsp_env *env, struct fsp_office_next *next,
        struct fsp_err *err)
{
    char *folder = fsp_file_join(store, FOLDER);
    char *path = folder == NULL ? NULL : next_path(folder, which);
    size_t number = 0;
    enum fsp_rc rc = path == NULL ? no_memory(err) : free_number(folder, which, &number, err);

    memset(next, 0, sizeof(*next));
    if (rc == FSP_OK && !fsp_file_exists(path))
        rc = make_next(keys, which, path, env, err);
    if (rc == FSP_OK)
        rc = which == FSP_OFFICE_BOX ? load_box(&next->box, path, err)
                                     : fsp_skey_load(&next->skey, path, err);
    free(path);
    free(folder);
    return rc;
}

/* One file under two names. */
static bool
same_file(const char *a, const char *b)
{
    struct stat first;
    struct stat second;

    return stat(a, &first) == 0 && stat(b, &second) == 0 && first.st_dev == second.st_dev &&
           first.st_ino == second.st_ino;
}

/* Today's key gets a number as its second name; it has one already after an interrupted change. */
static enum fsp_rc
keep_today(
        const char *folder, enum fsp_office_key which, const char *today, struct fsp_err *err)
{
    size_t number = 0;
    char *last = NULL;
    char *old = NULL;
    enum fsp_rc rc = free_number(folder, which, &number, err);

    if (rc != FSP_OK)
        return rc;
    last = numbered(folder, stem(which), number - 1);
    old = numbered(folder, stem(which), number);
    if (last == NULL || old == NULL)
        rc = no_memory(err);
    else if (!same_file(last, today) && link(today, old) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s", old);
    free(old);
    free(last);
    return rc == FSP_OK ? fsp_file_sync_folder(folder, err) : rc;
}

/* So there is a key of today's at every moment. */
static enum fsp_rc
change(const char *folder, enum fsp_office_key which, const char *next, struct fsp_err *err)
{
    char name[64];
    char *today;
    enum fsp_rc rc;

    (void)snprintf(name, sizeof(name), "%s.key", stem(which));
    today = fsp_file_join(folder, name);
    rc = today == NULL ? no_memory(err) : keep_today(folder, which, today, err);
    if (rc == FSP_OK && rename(next, today) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s", today);
    if (rc == FSP_OK)
        rc = fsp_file_sync_folder(folder, err);
    free(today);
    return rc;
}

enum fsp_rc
fsp_office_keys_change(const char *store, enum fsp_office_key which, struct fsp_err *err)
{
    char *folder = fsp_file_join(store, FOLDER);
    char *next = folder == NULL ? NULL : next_path(folder, which);
    enum fsp_rc rc = next == NULL ? no_memory(err) : FSP_OK;

    if (rc == FSP_OK && fsp_file_exists(next))
        rc = change(folder, which, next, err);
    free(next);
    free(folder);
    return rc;
}
