#include "rig/head.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "rig/journal_priv.h"
#include "store/logtable.h"

#define SIGNED_NAME "signed-size%s"
#define SIGNED_MAX  ((size_t)1024)

/* ---- signed-size ------------------------------------------------------------------------- */

/* The next word up to the separator; NULL at the end. */
static char *
cut(char **rest, char separator)
{
    char *word = *rest;
    char *end = strchr(word, separator);

    if (end == NULL)
        return NULL;
    *end = '\0';
    *rest = end + 1;
    return word;
}

static char *
signed_path(const char *folder, const char *tail)
{
    char name[sizeof(SIGNED_NAME) + FSP_TAIL_MAX];

    (void)snprintf(name, sizeof(name), SIGNED_NAME, tail);
    return fsp_file_join(folder, name);
}

enum fsp_rc
fsp_signed_size_read(
        const char *folder, const char *tail, struct fsp_checkpoint *out, struct fsp_err *err)
{
    char *path = signed_path(folder, tail);
    uint8_t *bytes = NULL;
    size_t len = 0;
    char *rest;
    const char *origin;
    const char *size;
    const char *root;
    enum fsp_rc rc;

    memset(out, 0, sizeof(*out));
    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_file_read(path, SIGNED_MAX, &bytes, &len, err);
    if (rc != FSP_OK)
        goto out;
    rest = (char *)bytes;
    origin = cut(&rest, ' ');
    size = origin == NULL ? NULL : cut(&rest, ' ');
    root = size == NULL ? NULL : cut(&rest, '\n');
    if (root == NULL || *rest != '\0' || strlen(origin) > FSP_ORIGIN_MAX ||
            fsp_text_u64(size, strlen(size), &out->size) != FSP_OK ||
            fsp_unbase64_exact(root, strlen(root), out->root, FSP_HASH_LEN) != FSP_OK) {
        rc = fsp_err_set(err, FSP_EFORMAT, "%s: damaged; expected 'origin size root'", path);
        goto out;
    }
    memcpy(out->origin, origin, strlen(origin) + 1);
out:
    free(bytes);
    free(path);
    return rc;
}

enum fsp_rc
fsp_signed_size_write(const char *folder, const char *tail, const struct fsp_checkpoint *head,
        struct fsp_err *err)
{
    char *path = signed_path(folder, tail);
    struct fsp_buf line;
    enum fsp_rc rc;

    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fsp_buf_init(&line, SIGNED_MAX);
    fsp_buf_printf(&line, "%s %llu ", head->origin, (unsigned long long)head->size);
    fsp_base64(&line, head->root, FSP_HASH_LEN);
    fsp_buf_add_byte(&line, '\n');
    rc = fsp_buf_check(&line, "signed-size", err);
    if (rc == FSP_OK)
        rc = fsp_file_write(path, line.data, line.len, 0600, err);
    fsp_buf_fini(&line);
    free(path);
    return rc;
}

/* ---- ranges from stored bytes ------------------------------------------------------------ */

static enum fsp_rc
grow(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    (void)index;
    (void)err;
    fsp_range_append(ctx, bytes, len);
    return FSP_OK;
}

enum fsp_rc
fsp_head_range(struct fsp_db *db, int64_t log, uint64_t size, struct fsp_range *range,
        struct fsp_err *err)
{
    struct fsp_buf note;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = fsp_logtable_head_below(db, log, size, range, &note, err);
    fsp_buf_fini(&note);
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        fsp_range_init(range);
        rc = FSP_OK;
    }
    if (rc == FSP_OK && range->size < size)
        rc = fsp_logtable_scan(db, log, range->size, size, grow, range, err);
    return rc;
}

enum fsp_rc
fsp_head_confirm_tip(struct fsp_journal *journal, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_range tip;
    struct fsp_range found;
    uint8_t want[FSP_HASH_LEN];
    uint8_t got[FSP_HASH_LEN];
    enum fsp_rc rc;

    rc = fsp_db_begin_read(db, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_logtable_tip(db, journal->log, &tip, err);
    if (rc == FSP_OK)
        rc = fsp_head_range(db, journal->log, tip.size, &found, err);
    fsp_db_rollback(db);
    if (rc != FSP_OK)
        return rc;
    fsp_range_root(&tip, want);
    fsp_range_root(&found, got);
    if (memcmp(want, got, sizeof(want)) != 0)
        return fsp_err_set(err, FSP_ECORRUPT,
                "%s: the stored entries do not give the stored root; sign nothing, copy the "
                "folder, then run: farspool-rig check",
                fsp_journal_folder(journal));
    return FSP_OK;
}

/* ---- signing ----------------------------------------------------------------------------- */

/* signed-size never goes down. */
static enum fsp_rc
raise_signed_size(const struct fsp_journal *journal, const struct fsp_checkpoint *head,
        struct fsp_err *err)
{
    struct fsp_checkpoint last;
    enum fsp_rc rc = fsp_signed_size_read(journal->folder, journal->tail, &last, err);

    if (rc == FSP_OK && last.size < head->size)
        rc = fsp_signed_size_write(journal->folder, journal->tail, head, err);
    return rc;
}

static enum fsp_rc
make_head(struct fsp_journal *journal, uint64_t size, struct fsp_range *range,
        struct fsp_checkpoint *head, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_range tip;
    uint8_t root[FSP_HASH_LEN];
    enum fsp_rc rc;

    rc = fsp_logtable_tip(db, journal->log, &tip, err);
    if (rc != FSP_OK)
        return rc;
    if (size == 0 || size > tip.size)
        return fsp_err_set(err, FSP_EINVAL, "no head over %llu of %llu records",
                (unsigned long long)size, (unsigned long long)tip.size);
    rc = fsp_head_range(db, journal->log, size, range, err);
    if (rc != FSP_OK)
        return rc;
    (void)snprintf(
            head->origin, sizeof(head->origin), "%s", fsp_journal_about(journal)->origin);
    head->size = size;
    fsp_range_root(range, head->root);
    fsp_range_root(&tip, root);
    if (size == tip.size && memcmp(root, head->root, sizeof(root)) != 0)
        return fsp_err_set(err, FSP_ECORRUPT,
                "%s: the stored entries do not give the stored root; copy the folder, then "
                "run: "
                "farspool-rig check",
                fsp_journal_folder(journal));
    return FSP_OK;
}

static enum fsp_rc
sign_note(const struct fsp_checkpoint *head, const struct fsp_skey *skey, struct fsp_buf *note,
        uint8_t sig[FSP_SIG_LEN], struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_checkpoint_write(head, &text);
    rc = fsp_buf_check(&text, "a head", err);
    if (rc == FSP_OK)
        rc = fsp_skey_sign(skey, text.data, text.len, sig, err);
    if (rc == FSP_OK) {
        fsp_buf_add(note, text.data, text.len);
        fsp_buf_add_byte(note, '\n');
        fsp_note_add_line(note, fsp_skey_vkey(skey), sig, FSP_SIG_LEN);
        rc = fsp_buf_check(note, "a head", err);
    }
    fsp_buf_fini(&text);
    return rc;
}

enum fsp_rc
fsp_head_sign(struct fsp_journal *journal, const struct fsp_skey *skey, uint64_t size,
        struct fsp_checkpoint *head, uint8_t sig[FSP_SIG_LEN], struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    const struct fsp_env *env = fsp_journal_env(journal);
    struct fsp_range range;
    struct fsp_buf note;
    enum fsp_rc rc;

    memset(head, 0, sizeof(*head));
    rc = fsp_journal_rejudge(journal, err);
    if (rc != FSP_OK)
        return rc;
    if (fsp_journal_state(journal) != FSP_JOURNAL_SOUND)
        return fsp_err_set(err, FSP_EFORK, "%s: history incomplete: %s; nothing is signed",
                fsp_journal_folder(journal), fsp_journal_state_why(journal));
    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = fsp_db_begin(db, err);
    if (rc == FSP_OK && !fsp_vkey_equal(fsp_skey_vkey(skey), &journal->about.vkey))
        rc = fsp_err_set(err, FSP_EBUSY, "%s: the log was renewed meanwhile; try again",
                journal->folder);
    if (rc == FSP_OK)
        rc = make_head(journal, size, &range, head, err);
    if (rc == FSP_OK)
        rc = sign_note(head, skey, &note, sig, err);
    if (rc == FSP_OK)
        rc = fsp_logtable_add_head(db, journal->log, &range, note.data, note.len,
                env->utc_us(env->ctx) / FSP_US_PER_S, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc == FSP_OK)
        rc = raise_signed_size(journal, head, err);
    if (rc != FSP_OK) {
        fsp_db_rollback(db);
        memset(sig, 0, FSP_SIG_LEN);
    }
    fsp_buf_fini(&note);
    return rc;
}
