/* witness: other cosigners of heads than the office; what to ask them, what they answered. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "line/say.h"
#include "office/chain.h"
#include "office/cmd.h"
#include "proof/note.h"
#include "proof/request.h"

#define TAKEN_MAX (2 * FSP_NOTE_MAX)

struct witnessing {
    struct fsp_shelf *shelf;
    struct fsp_buf out; /* to be printed */
    int64_t now_s;
};

/* --- add, list -------------------------------------------------------------------------------- */

static enum fsp_rc
add(struct fsp_args *args, struct witnessing *it, struct fsp_err *err)
{
    const char *name = fsp_args_rest(args, 1);
    const char *text = fsp_args_rest(args, 2);
    struct fsp_shelf_witness witness = {.added_s = it->now_s};
    struct fsp_vkey vkey;
    char fingerprint[65];
    enum fsp_rc rc = fsp_args_rest_within(args, 3, 3, err);

    if (rc == FSP_OK && (!fsp_text_name(name) || strcmp(name, "office") == 0 ||
                                strncmp(name, "office-", 7) == 0 || strcmp(name, "none") == 0 ||
                                strcmp(name, "witnesses") == 0))
        rc = fsp_err_set(err, FSP_EINVAL,
                "'%.40s': a witness's name is of a-z, 0-9 and inner hyphens, and none of "
                "office, "
                "none, witnesses",
                name);
    if (rc == FSP_OK)
        rc = fsp_vkey_parse(&vkey, text, strlen(text), err);
    if (rc == FSP_OK && vkey.type != FSP_KEY_COSIGNER)
        rc = fsp_err_set(err, FSP_EINVAL, "a witness's key is of type 0x04, this one is not");
    if (rc == FSP_OK)
        rc = it->shelf->ops->begin(it->shelf->ctx, true, err);
    if (rc != FSP_OK)
        return rc;
    (void)snprintf(witness.name, sizeof(witness.name), "%s", name);
    (void)snprintf(witness.vkey, sizeof(witness.vkey), "%s", text);
    rc = it->shelf->ops->add_witness(it->shelf->ctx, &witness, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->commit(it->shelf->ctx, err);
    else
        it->shelf->ops->rollback(it->shelf->ctx);
    if (rc == FSP_OK) {
        fsp_vkey_fingerprint(&vkey, fingerprint);
        fsp_buf_printf(&it->out, "%s: %s, fingerprint %s, to be compared by telephone\n", name,
                vkey.name, fingerprint);
    }
    return rc;
}

static enum fsp_rc
list(struct fsp_args *args, struct witnessing *it, struct fsp_err *err)
{
    const bool json = fsp_args_has(args, "json");
    struct fsp_shelf_witness witness = {.added_s = 0};
    bool first = true;
    enum fsp_rc rc = FSP_OK;

    if (json)
        fsp_buf_add_byte(&it->out, '[');
    while (rc == FSP_OK) {
        char at[FSP_TIME_TEXT_LEN + 1];

        rc = it->shelf->ops->next_witness(it->shelf->ctx, witness.name, &witness, err);
        if (rc != FSP_OK)
            break;
        fsp_time_text(witness.added_s, at);
        if (json) {
            bool member = true;

            fsp_buf_add_text(&it->out, first ? "{" : ",{");
            fsp_say_member_text(&it->out, &member, "name", witness.name);
            fsp_say_member_text(&it->out, &member, "vkey", witness.vkey);
            fsp_say_member_text(&it->out, &member, "added", at);
            fsp_buf_add_byte(&it->out, '}');
        } else {
            fsp_buf_printf(&it->out, "%s  %s  since %s\n", witness.name, witness.vkey, at);
        }
        first = false;
    }
    if (json)
        fsp_buf_add_text(&it->out, "]\n");
    else if (first)
        fsp_buf_add_text(&it->out, "no witness besides the office\n");
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

/* --- ask -------------------------------------------------------------------------------------- */

/* The one that is named, or the only one. */
static enum fsp_rc
find_witness(struct fsp_args *args, struct witnessing *it, struct fsp_shelf_witness *found,
        struct fsp_err *err)
{
    const char *name = fsp_args_get(args, "name");
    struct fsp_shelf_witness witness = {.added_s = 0};
    size_t n = 0;
    enum fsp_rc rc = FSP_OK;

    while (rc == FSP_OK) {
        rc = it->shelf->ops->next_witness(it->shelf->ctx, witness.name, &witness, err);
        if (rc == FSP_OK && (name == NULL || strcmp(name, witness.name) == 0)) {
            *found = witness;
            n++;
        }
    }
    if (rc != FSP_ENOTFOUND)
        return rc;
    if (n == 0)
        return fsp_err_set(err, FSP_ENOTFOUND, "%s: no such witness; witness add NAME VKEY",
                name == NULL ? "none is known" : name);
    return n == 1 ? FSP_OK
                  : fsp_err_set(
                            err, FSP_EINVAL, "there are %zu witnesses: say which by --name", n);
}

static enum fsp_rc
find_log(struct fsp_args *args, struct witnessing *it, struct fsp_shelf_log *log,
        struct fsp_err *err)
{
    const char *rig = fsp_args_rest(args, 1);
    const char *origin = fsp_args_get(args, "log");
    struct fsp_chain_log *chain = NULL;
    bool found = false;
    size_t n = 0;
    enum fsp_rc rc = fsp_chain_load(it->shelf, rig, &chain, &n, err);

    for (size_t i = 0; rc == FSP_OK && i < n; i++)
        if (origin == NULL || strcmp(origin, chain[i].log.origin) == 0) {
            *log = chain[i].log;
            found = true;
        }
    free(chain);
    if (rc == FSP_OK && !found)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "%s: no such log is held here", rig);
    return rc;
}

static enum fsp_rc
write_request(struct fsp_args *args, struct witnessing *it, const struct fsp_shelf_log *log,
        uint64_t old, struct fsp_buf *request, struct fsp_err *err)
{
    uint8_t(*leaves)[FSP_HASH_LEN] = NULL;
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    struct fsp_range range;
    struct fsp_buf note;
    size_t n = 0;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = it->shelf->ops->head_below(it->shelf->ctx, log->id, UINT64_MAX, &range, &note, err);
    if (rc == FSP_OK)
        rc = fsp_args_u64(args, "old", 0, range.size, &old, err);
    if (rc == FSP_OK && old > range.size)
        rc = fsp_err_set(err, FSP_ECORRUPT,
                "the witness cosigned %" PRIu64 " entries, the newest head is of %" PRIu64, old,
                range.size);
    if (rc == FSP_OK && old > 0 && old < range.size) {
        rc = it->shelf->ops->leaves(it->shelf->ctx, log->id, range.size, &leaves, err);
        if (rc == FSP_OK)
            fsp_tree_consistency(
                    (const uint8_t(*)[FSP_HASH_LEN])leaves, range.size, old, path, &n);
    }
    if (rc == FSP_OK) {
        fsp_request_write(request, old, (const uint8_t(*)[FSP_HASH_LEN])path, n,
                fsp_buf_peek(&note), note.len);
        rc = fsp_buf_check(request, "the request", err);
    }
    if (rc == FSP_OK)
        fsp_buf_printf(&it->out, "%s: from %" PRIu64 " to %" PRIu64 " entries\n", log->origin,
                old, range.size);
    free(leaves);
    fsp_buf_fini(&note);
    return rc;
}

static enum fsp_rc
ask(struct fsp_args *args, struct witnessing *it, struct fsp_err *err)
{
    const char *out = fsp_args_get(args, "out");
    struct fsp_shelf_witness witness = {.added_s = 0};
    struct fsp_shelf_log log = {.id = 0};
    struct fsp_vkey vkey;
    struct fsp_buf request;
    uint64_t old = 0;
    enum fsp_rc rc = fsp_args_rest_within(args, 2, 2, err);

    fsp_buf_init(&request, FSP_REQUEST_MAX);
    if (rc == FSP_OK && out == NULL)
        rc = fsp_err_set(err, FSP_EINVAL, "--out FILE is needed");
    if (rc == FSP_OK)
        rc = it->shelf->ops->begin(it->shelf->ctx, false, err);
    if (rc == FSP_OK)
        rc = find_witness(args, it, &witness, err);
    if (rc == FSP_OK)
        rc = find_log(args, it, &log, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->cosigned(it->shelf->ctx, log.id, witness.name, &old, err);
    if (rc == FSP_OK)
        rc = write_request(args, it, &log, old, &request, err);
    it->shelf->ops->rollback(it->shelf->ctx);
    if (rc == FSP_OK)
        rc = fsp_file_write(out, request.data, request.len, 0644, err);
    if (rc == FSP_OK)
        rc = fsp_vkey_make(&vkey, log.origin, FSP_KEY_NOTE, log.pub, err);
    if (rc == FSP_OK) {
        fsp_buf_printf(&it->out, "the log's key, for the witness to list once: ");
        fsp_vkey_write(&vkey, &it->out);
        fsp_buf_add_byte(&it->out, '\n');
    }
    fsp_buf_fini(&request);
    return rc;
}

/* --- take ------------------------------------------------------------------------------------- */

/* What came back: the parts of the note that are looked at. */
struct answer {
    struct fsp_note note;
    struct fsp_checkpoint head;
    struct fsp_shelf_log log;
};

/* The head that came must be the one that is kept for its size, to the byte of its text. */
static enum fsp_rc
check_head(struct witnessing *it, const struct answer *answer, struct fsp_err *err)
{
    uint8_t root[FSP_HASH_LEN];
    struct fsp_range range;
    struct fsp_buf note;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = it->shelf->ops->head_below(
            it->shelf->ctx, answer->log.id, answer->head.size, &range, &note, err);
    if (rc == FSP_ENOTFOUND || (rc == FSP_OK && range.size != answer->head.size))
        rc = fsp_err_set(err, FSP_ENOTFOUND, "%s: no head of %" PRIu64 " entries is kept here",
                answer->log.origin, answer->head.size);
    if (rc == FSP_OK) {
        fsp_range_root(&range, root);
        if (memcmp(root, answer->head.root, sizeof(root)) != 0)
            rc = fsp_err_set(err, FSP_EFORK,
                    "%s: the witness cosigned another root of %" PRIu64
                    " entries than is kept here: two histories; keep that file",
                    answer->log.origin, answer->head.size);
    }
    fsp_buf_fini(&note);
    return rc;
}

/* Keep every line of this witness; none is FSP_ENOTFOUND, one that does not hold FSP_EVERIFY. */
static enum fsp_rc
keep(struct witnessing *it, const struct answer *answer,
        const struct fsp_shelf_witness *witness, struct fsp_err *err)
{
    struct fsp_shelf_cosignature cosignature = {.log = answer->log.id,
            .size = answer->head.size,
            .witness = witness->name,
            .taken_s = it->now_s};
    struct fsp_vkey vkey;
    struct fsp_buf line;
    enum fsp_rc rc = fsp_vkey_parse(&vkey, witness->vkey, strlen(witness->vkey), err);

    if (rc == FSP_OK)
        rc = fsp_note_verify(&answer->note, &vkey, NULL, err);
    if (rc != FSP_OK)
        return rc;
    fsp_buf_init(&line, FSP_NOTE_MAX);
    for (size_t i = 0; rc == FSP_OK && i < answer->note.lines; i++) {
        const struct fsp_note_line *one = &answer->note.line[i];

        if (one->name_len != strlen(vkey.name) ||
                memcmp(one->name, vkey.name, one->name_len) != 0 ||
                memcmp(one->id, vkey.id, sizeof(one->id)) != 0)
            continue;
        fsp_buf_reset(&line);
        fsp_note_add_line(&line, &vkey, one->sig, one->sig_len);
        cosignature.line = fsp_buf_peek(&line);
        rc = fsp_buf_check(&line, "a cosignature", err);
        if (rc == FSP_OK)
            rc = it->shelf->ops->add_cosignature(it->shelf->ctx, &cosignature, err);
        break; /* one line a witness and head */
    }
    fsp_buf_fini(&line);
    if (rc == FSP_OK)
        fsp_buf_printf(&it->out, "%s: %s, %" PRIu64 " entries\n", witness->name,
                answer->log.origin, answer->head.size);
    return rc;
}

static enum fsp_rc
keep_all(struct witnessing *it, const struct answer *answer, struct fsp_err *err)
{
    struct fsp_shelf_witness witness = {.added_s = 0};
    size_t kept = 0;
    enum fsp_rc rc;

    for (;;) {
        rc = it->shelf->ops->next_witness(it->shelf->ctx, witness.name, &witness, err);
        if (rc != FSP_OK)
            break;
        rc = keep(it, answer, &witness, err);
        kept += rc == FSP_OK ? 1 : 0;
        if (rc != FSP_OK && rc != FSP_ENOTFOUND)
            return fsp_err_wrap(err, rc, "%s", witness.name);
    }
    if (rc != FSP_ENOTFOUND)
        return rc;
    return kept > 0 ? FSP_OK
                    : fsp_err_set(err, FSP_ENOTFOUND, "no witness known here cosigned it");
}

static enum fsp_rc
take(struct fsp_args *args, struct witnessing *it, struct fsp_err *err)
{
    const char *path = fsp_args_rest(args, 1);
    struct answer *answer = calloc(1, sizeof(*answer));
    struct fsp_vkey log;
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc;

    if (answer == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_args_rest_within(args, 2, 2, err);
    if (rc == FSP_OK)
        rc = fsp_file_read(path, TAKEN_MAX, &bytes, &len, err);
    if (rc == FSP_OK)
        rc = fsp_note_parse(&answer->note, bytes, len, err);
    if (rc == FSP_OK)
        rc = fsp_checkpoint_parse(&answer->head, answer->note.text, answer->note.text_len, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->begin(it->shelf->ctx, true, err);
    if (rc != FSP_OK)
        goto out;
    rc = it->shelf->ops->find_log(it->shelf->ctx, answer->head.origin, &answer->log, err);
    if (rc == FSP_OK)
        rc = fsp_vkey_make(&log, answer->log.origin, FSP_KEY_NOTE, answer->log.pub, err);
    if (rc == FSP_OK)
        rc = fsp_note_verify(&answer->note, &log, NULL, err);
    if (rc == FSP_OK)
        rc = check_head(it, answer, err);
    if (rc == FSP_OK)
        rc = keep_all(it, answer, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->commit(it->shelf->ctx, err);
    else
        it->shelf->ops->rollback(it->shelf->ctx);
out:
    if (rc != FSP_OK)
        fsp_buf_reset(&it->out);
    if (rc != FSP_OK && rc != FSP_EINVAL)
        (void)fsp_err_wrap(err, rc, "%s", path);
    free(bytes);
    free(answer);
    return rc;
}

int
fsp_cmd_witness(struct fsp_args *args)
{
    static const char *const words[] = {"add", "ask", "take"};
    const char *word = fsp_args_rest(args, 0);
    const bool writes = word != NULL && (strcmp(word, "add") == 0 || strcmp(word, "take") == 0);
    struct witnessing it = {.now_s = fsp_cmd_now_s(args)};
    struct fsp_err err = {0};
    enum fsp_rc rc;
    int status;

    fsp_buf_init(&it.out, FSP_OFFICE_OUTPUT);
    rc = fsp_cmd_shelf(args, writes ? FSP_SHELF_WRITE : FSP_SHELF_READ, &it.shelf, &err);
    if (rc == FSP_OK && word == NULL)
        rc = list(args, &it, &err);
    else if (rc == FSP_OK && strcmp(word, words[0]) == 0)
        rc = add(args, &it, &err);
    else if (rc == FSP_OK && strcmp(word, words[1]) == 0)
        rc = ask(args, &it, &err);
    else if (rc == FSP_OK && strcmp(word, words[2]) == 0)
        rc = take(args, &it, &err);
    else if (rc == FSP_OK)
        rc = fsp_err_set(&err, FSP_EINVAL, "'%.40s': add, ask or take", word);
    status = rc == FSP_OK ? fsp_cmd_print(&it.out) : fsp_cmd_fail(rc, &err);
    fsp_shelf_close(it.shelf);
    fsp_buf_fini(&it.out);
    return status;
}
