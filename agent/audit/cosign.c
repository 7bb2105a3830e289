#include "audit/cosign.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "proof/request.h"
#include "proof/tree.h"

#define LOGS      "logs"
#define LOCK      "lock"
#define MAGIC     "farspool-witness-state/v1\n"
#define LOGS_MAX  ((size_t)FSP_WITNESS_LOGS_MAX * (FSP_VKEY_MAX + 1))
#define STATE_MAX ((size_t)1024)

/* What was cosigned last of a log; size 0: nothing. */
struct state {
    uint64_t size;
    uint8_t root[FSP_HASH_LEN];
    uint64_t time_s;
};

/* --- the logs that may be cosigned ------------------------------------------------------------ */

/* Every line is a verifier key, empty or a comment; the one of this name into *log. */
static enum fsp_rc
find_in(const char *text, size_t len, const char *name, struct fsp_vkey *log,
        struct fsp_err *err)
{
    size_t number = 0;
    size_t pos = 0;

    while (pos < len) {
        const char *end = memchr(text + pos, '\n', len - pos);
        const size_t line = (end == NULL ? len : (size_t)(end - text)) - pos;
        struct fsp_vkey vkey;

        number++;
        if (line > 0 && text[pos] != '#') {
            enum fsp_rc rc = fsp_vkey_parse(&vkey, text + pos, line, err);

            if (rc != FSP_OK)
                return fsp_err_wrap(err, rc, "line %zu", number);
            if (strcmp(vkey.name, name) == 0 && vkey.type == FSP_KEY_NOTE) {
                *log = vkey;
                return FSP_OK;
            }
        }
        pos += line + 1;
    }
    return FSP_ENOTFOUND;
}

static enum fsp_rc
find_log(const char *state, const char *name, struct fsp_vkey *log, struct fsp_err *err)
{
    char *path = fsp_file_join(state, LOGS);
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = path == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                  : fsp_file_read(path, LOGS_MAX, &bytes, &len, err);

    if (rc == FSP_OK) {
        rc = find_in((const char *)bytes, len, name, log, err);
        if (rc != FSP_OK && rc != FSP_ENOTFOUND)
            (void)fsp_err_wrap(err, rc, "%s", path);
    }
    if (rc == FSP_ENOTFOUND)
        rc = fsp_err_set(err, rc,
                "the log %s is not among those that this witness cosigns: get its key from its "
                "keeper, compare the fingerprint by another way, then cosign --add-log VKEY",
                name);
    free(bytes);
    free(path);
    return rc;
}

enum fsp_rc
fsp_witness_add_log(const char *state, const struct fsp_vkey *log, struct fsp_err *err)
{
    char *path = fsp_file_join(state, LOGS);
    struct fsp_vkey known;
    struct fsp_buf text;
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = path == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                  : fsp_file_folder(state, 0700, err);

    fsp_buf_init(&text, LOGS_MAX);
    if (rc == FSP_OK && log->type != FSP_KEY_NOTE)
        rc = fsp_err_set(err, FSP_EINVAL, "not a log's key: it is of type 0x04");
    if (rc == FSP_OK)
        rc = fsp_file_read(path, LOGS_MAX, &bytes, &len, err);
    if (rc == FSP_ENOTFOUND)
        rc = FSP_OK;
    if (rc != FSP_OK)
        goto out;
    rc = find_in((const char *)bytes, len, log->name, &known, err);
    if (rc == FSP_OK && !fsp_vkey_equal(&known, log))
        rc = fsp_err_set(err, FSP_EVERIFY,
                "%s is listed with another key: a log never changes its key", log->name);
    if (rc != FSP_ENOTFOUND)
        goto out;
    fsp_buf_add(&text, bytes, len);
    if (len > 0 && bytes[len - 1] != '\n')
        fsp_buf_add_byte(&text, '\n');
    fsp_vkey_write(log, &text);
    fsp_buf_add_byte(&text, '\n');
    rc = fsp_buf_check(&text, path, err);
    if (rc == FSP_OK)
        rc = fsp_file_write(path, text.data, text.len, 0600, err);
out:
    free(bytes);
    fsp_buf_fini(&text);
    free(path);
    return rc;
}

/* --- state ------------------------------------------------------------------------------------ */

static char *
state_path(const char *folder, const char *origin)
{
    uint8_t hash[FSP_HASH_LEN];
    char name[2 * sizeof(hash) + sizeof(".head")];

    fsp_leaf_hash(origin, strlen(origin), hash);
    fsp_text_hex(name, hash, sizeof(hash));
    memcpy(name + 2 * sizeof(hash), ".head", sizeof(".head"));
    return fsp_file_join(folder, name);
}

static void
write_state(struct fsp_buf *buf, const char *origin, const struct state *state)
{
    fsp_buf_printf(buf, MAGIC "origin %s\nsize %" PRIu64 "\nroot ", origin, state->size);
    fsp_base64(buf, state->root, sizeof(state->root));
    fsp_buf_printf(buf, "\ntime %" PRIu64 "\n", state->time_s);
}

/* "word value" LF at *pos; moves behind it. */
static bool
next_value(const char **pos, const char *word, const char **value, size_t *len)
{
    const size_t n = strlen(word);
    const char *end = strchr(*pos, '\n');

    if (end == NULL || (size_t)(end - *pos) <= n || memcmp(*pos, word, n) != 0 ||
            (*pos)[n] != ' ')
        return false;
    *value = *pos + n + 1;
    *len = (size_t)(end - *value);
    *pos = end + 1;
    return true;
}

static bool
parse_state(const char *text, const char *origin, struct state *state)
{
    const char *value = NULL;
    size_t len = 0;

    if (strncmp(text, MAGIC, strlen(MAGIC)) != 0)
        return false;
    text += strlen(MAGIC);
    if (!next_value(&text, "origin", &value, &len) || len != strlen(origin) ||
            memcmp(value, origin, len) != 0)
        return false;
    if (!next_value(&text, "size", &value, &len) ||
            fsp_text_u64(value, len, &state->size) != FSP_OK)
        return false;
    if (!next_value(&text, "root", &value, &len) ||
            fsp_unbase64_exact(value, len, state->root, sizeof(state->root)) != FSP_OK)
        return false;
    return next_value(&text, "time", &value, &len) &&
           fsp_text_u64(value, len, &state->time_s) == FSP_OK && *text == '\0';
}

/* A state that cannot be read is never taken for none: that would be a rollback. */
static enum fsp_rc
load_state(const char *path, const char *origin, struct state *state, struct fsp_err *err)
{
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = fsp_file_read(path, STATE_MAX, &bytes, &len, err);

    memset(state, 0, sizeof(*state));
    if (rc == FSP_ENOTFOUND)
        return FSP_OK;
    if (rc == FSP_OK && (strlen((const char *)bytes) != len ||
                                !parse_state((const char *)bytes, origin, state)))
        rc = fsp_err_set(err, FSP_ECORRUPT,
                "%s: not the state of this log: nothing is cosigned until it is restored",
                path);
    free(bytes);
    return rc;
}

/* --- one request ------------------------------------------------------------------------------ */

static enum fsp_rc
check_signature(
        const struct fsp_request *request, const struct fsp_vkey *log, struct fsp_err *err)
{
    struct fsp_note *note = calloc(1, sizeof(*note));
    enum fsp_rc rc;

    if (note == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_note_parse(note, request->note, request->note_len, err);
    if (rc == FSP_OK)
        rc = fsp_note_verify(note, log, NULL, err);
    free(note);
    return rc == FSP_ENOTFOUND
                   ? fsp_err_set(err, FSP_EVERIFY, "the head is not signed by the log's key")
                   : rc;
}

/* The new head continues what was cosigned. */
static enum fsp_rc
check_growth(const struct fsp_request *request, const struct state *state, struct fsp_err *err)
{
    const struct fsp_checkpoint *head = &request->head;

    if (head->size < state->size)
        return fsp_err_set(err, FSP_EVERIFY,
                "rollback: this head is of %" PRIu64 " entries, one of %" PRIu64
                " was cosigned already",
                head->size, state->size);
    if (head->size == state->size && memcmp(head->root, state->root, FSP_HASH_LEN) != 0)
        return fsp_err_set(err, FSP_EFORK,
                "two histories: another head of %" PRIu64 " entries was cosigned already; keep "
                "both",
                head->size);
    if (request->old != state->size)
        return fsp_err_set(err, FSP_EAGAIN,
                "it is asked from %" PRIu64 " entries, but this witness has cosigned %" PRIu64
                ": farspool-office witness ask RIG --old %" PRIu64,
                request->old, state->size, state->size);
    return fsp_request_verify(request, state->root, err);
}

static enum fsp_rc
cosign_head(const struct fsp_witness_job *job, const struct fsp_request *request,
        uint64_t time_s, struct fsp_buf *out, struct fsp_err *err)
{
    uint8_t line[8 + FSP_SIG_LEN];
    enum fsp_rc rc = fsp_cosign(&request->head, job->key, time_s, line, err);

    if (rc != FSP_OK)
        return rc;
    fsp_buf_add(out, request->note, request->note_len);
    fsp_note_add_line(out, fsp_skey_vkey(job->key), line, sizeof(line));
    return fsp_buf_check(out, "the cosigned head", err);
}

static enum fsp_rc
cosign_locked(const struct fsp_witness_job *job, const struct fsp_request *request,
        struct fsp_buf *out, struct fsp_err *err)
{
    char *path = state_path(job->state, request->head.origin);
    struct fsp_buf text;
    struct fsp_vkey log;
    struct state state;
    enum fsp_rc rc;

    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = find_log(job->state, request->head.origin, &log, err);
    fsp_buf_init(&text, STATE_MAX);
    if (rc == FSP_OK)
        rc = check_signature(request, &log, err);
    if (rc == FSP_OK)
        rc = load_state(path, request->head.origin, &state, err);
    if (rc == FSP_OK)
        rc = check_growth(request, &state, err);
    if (rc != FSP_OK)
        goto out;
    state.size = request->head.size;
    memcpy(state.root, request->head.root, sizeof(state.root));
    if (job->now_s > 0 && (uint64_t)job->now_s > state.time_s)
        state.time_s =
                (uint64_t)job->now_s; /* never earlier than the last, whatever the clock */
    write_state(&text, request->head.origin, &state);
    rc = fsp_buf_check(&text, "the state", err);
    if (rc == FSP_OK)
        rc = fsp_file_write(path, text.data, text.len, 0600, err);
    /* Only now: what was cosigned must never be forgotten. */
    if (rc == FSP_OK)
        rc = cosign_head(job, request, state.time_s, out, err);
out:
    fsp_buf_fini(&text);
    free(path);
    return rc;
}

enum fsp_rc
fsp_witness_cosign(const struct fsp_witness_job *job, const char *request, size_t len,
        struct fsp_buf *out, struct fsp_checkpoint *head, struct fsp_err *err)
{
    struct fsp_request *parsed = calloc(1, sizeof(*parsed));
    char *lock_path = fsp_file_join(job->state, LOCK);
    int lock = -1;
    enum fsp_rc rc;

    if (parsed == NULL || lock_path == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    rc = fsp_request_parse(parsed, request, len, err);
    if (rc == FSP_OK && fsp_skey_vkey(job->key)->type != FSP_KEY_COSIGNER)
        rc = fsp_err_set(err, FSP_EINVAL, "not a witness's key: it is not of type 0x04");
    if (rc == FSP_OK)
        rc = fsp_file_folder(job->state, 0700, err);
    if (rc == FSP_OK)
        rc = fsp_file_lock(lock_path, false, &lock, err);
    if (rc == FSP_OK) {
        *head = parsed->head;
        rc = cosign_locked(job, parsed, out, err);
    }
out:
    fsp_file_unlock(lock);
    free(lock_path);
    free(parsed);
    return rc;
}
