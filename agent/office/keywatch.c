#include "office/keywatch.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/mem.h"

/* Times of a file system are coarse: after a change a few looks more read again. */
#define LOOKS_MORE 2

struct set {
    struct fsp_office_keys keys;
    struct set *before;
};

struct fsp_keywatch {
    char *store;
    char *folder;
    struct set *newest;
    struct timespec changed; /* of the folder, as last read */
    unsigned looks;          /* that read in any case */
};

static enum fsp_rc
read_set(const struct fsp_keywatch *watch, struct set **out, struct fsp_err *err)
{
    struct set *set = fsp_mem_array(1, sizeof(*set));
    enum fsp_rc rc = set == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                 : fsp_office_keys_load(&set->keys, watch->store, err);

    if (rc != FSP_OK) {
        free(set);
        set = NULL;
    }
    *out = set;
    return rc;
}

static void
free_sets(struct set *set)
{
    while (set != NULL) {
        struct set *before = set->before;

        fsp_office_keys_fini(&set->keys);
        free(set);
        set = before;
    }
}

static bool
is_same(const struct fsp_office_keys *a, const struct fsp_office_keys *b)
{
    return fsp_vkey_equal(fsp_skey_vkey(a->cosigner), fsp_skey_vkey(b->cosigner)) &&
           fsp_vkey_equal(fsp_skey_vkey(a->instructions), fsp_skey_vkey(b->instructions)) &&
           a->n_cosigner_before == b->n_cosigner_before &&
           a->n_instructions_ever == b->n_instructions_ever && a->n_box == b->n_box &&
           memcmp(a->box[0].pub, b->box[0].pub, sizeof(a->box[0].pub)) == 0;
}

/* False when the folder is not there: reading says why. */
static bool
folder_time(const struct fsp_keywatch *watch, struct timespec *changed)
{
    struct stat st;

    if (stat(watch->folder, &st) != 0)
        return false;
    *changed = st.st_mtim;
    return true;
}

enum fsp_rc
fsp_keywatch_new(const char *store, struct fsp_keywatch **out, struct fsp_err *err)
{
    struct fsp_keywatch *watch = fsp_mem_array(1, sizeof(*watch));
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    if (watch == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    watch->store = fsp_mem_text(store, strlen(store));
    watch->folder = fsp_file_join(store, "keys");
    if (watch->store == NULL || watch->folder == NULL)
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    watch->looks = LOOKS_MORE;
    if (rc == FSP_OK)
        rc = read_set(watch, &watch->newest, err);
    if (rc != FSP_OK) {
        fsp_keywatch_free(watch);
        return rc;
    }
    *out = watch;
    return FSP_OK;
}

void
fsp_keywatch_free(struct fsp_keywatch *watch)
{
    if (watch == NULL)
        return;
    free_sets(watch->newest);
    free(watch->folder);
    free(watch->store);
    free(watch);
}

const struct fsp_office_keys *
fsp_keywatch_keys(const struct fsp_keywatch *watch)
{
    return &watch->newest->keys;
}

enum fsp_rc
fsp_keywatch_look(struct fsp_keywatch *watch, bool *changed, struct fsp_err *err)
{
    struct timespec now = {.tv_sec = 0};
    struct set *fresh = NULL;
    bool moved = !folder_time(watch, &now) || now.tv_sec != watch->changed.tv_sec ||
                 now.tv_nsec != watch->changed.tv_nsec;
    enum fsp_rc rc;

    *changed = false;
    if (moved)
        watch->looks = LOOKS_MORE + 1;
    if (watch->looks == 0)
        return FSP_OK;
    watch->looks--;
    rc = read_set(watch, &fresh, err);
    if (rc != FSP_OK) {
        watch->looks = LOOKS_MORE; /* until there is a whole set again */
        return rc;
    }
    watch->changed = now;
    if (is_same(&fresh->keys, &watch->newest->keys)) {
        free_sets(fresh);
        return FSP_OK;
    }
    fresh->before = watch->newest;
    watch->newest = fresh;
    *changed = true;
    return FSP_OK;
}
