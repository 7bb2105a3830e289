#include "proof/evidence.h"

#include <string.h>

#include "base/text.h"
#include "proof/policy_priv.h"

#define MAGIC "c2sp.org/tlog-proof@v1"
#define EXTRA "extra "
#define INDEX "index "

void
fsp_proof_write(struct fsp_buf *buf, uint64_t index, const uint8_t (*path)[FSP_HASH_LEN],
        size_t n, const char *note, size_t note_len)
{
    fsp_buf_printf(buf, MAGIC "\n" INDEX "%llu\n", (unsigned long long)index);
    for (size_t i = 0; i < n; i++) {
        fsp_base64(buf, path[i], FSP_HASH_LEN);
        fsp_buf_add_byte(buf, '\n');
    }
    fsp_buf_add_byte(buf, '\n');
    fsp_buf_add(buf, note, note_len);
}

struct lines {
    const char *pos;
    const char *end;
    size_t number; /* of the line taken last */
};

/* The next line without its LF; false when the bytes end before an LF. */
static bool
next_line(struct lines *lines, const char **line, size_t *len)
{
    const char *stop = lines->pos == lines->end
                               ? NULL
                               : memchr(lines->pos, '\n', (size_t)(lines->end - lines->pos));

    lines->number++;
    if (stop == NULL)
        return false;
    *line = lines->pos;
    *len = (size_t)(stop - lines->pos);
    lines->pos = stop + 1;
    return true;
}

static bool
begins_with(const char *line, size_t len, const char *word)
{
    return len >= strlen(word) && memcmp(line, word, strlen(word)) == 0;
}

/* `extra` carries bytes of somebody's application; nothing vouches for them, none are used. */
static enum fsp_rc
check_extra(const char *text, size_t len, struct fsp_err *err)
{
    struct fsp_buf decoded;
    enum fsp_rc rc;

    fsp_buf_init(&decoded, FSP_NOTE_MAX);
    rc = fsp_unbase64(text, len, &decoded);
    fsp_buf_fini(&decoded);
    if (rc == FSP_ENOMEM)
        return fsp_err_set(err, rc, "out of memory");
    if (rc != FSP_OK || len == 0)
        return fsp_err_set(err, FSP_EFORMAT, "line 2: no canonical base64 behind extra");
    return FSP_OK;
}

static enum fsp_rc
parse_path(struct fsp_proof_file *proof, struct lines *lines, struct fsp_err *err)
{
    const char *line;
    size_t len;

    for (;;) {
        if (!next_line(lines, &line, &len))
            return fsp_err_set(
                    err, FSP_EFORMAT, "ends before the checkpoint (a file cut short?)");
        if (len == 0)
            return FSP_OK;
        if (proof->n == FSP_TREE_LEVELS)
            return fsp_err_set(err, FSP_ELIMIT, "line %zu: over %d hashes", lines->number,
                    FSP_TREE_LEVELS);
        if (fsp_unbase64_exact(line, len, proof->path[proof->n], FSP_HASH_LEN) != FSP_OK)
            return fsp_err_set(err, FSP_EFORMAT,
                    "line %zu: no canonical base64 of a 32-byte hash", lines->number);
        proof->n++;
    }
}

static enum fsp_rc
parse_proof(struct fsp_proof_file *proof, const char *bytes, size_t size, struct fsp_err *err)
{
    struct lines lines = {.pos = bytes, .end = bytes + size};
    const char *line = NULL;
    size_t len = 0;
    enum fsp_rc rc;

    if (size > FSP_NOTE_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "over %zu bytes", FSP_NOTE_MAX);
    if (!next_line(&lines, &line, &len) || len != strlen(MAGIC) ||
            !begins_with(line, len, MAGIC))
        return fsp_err_set(err, FSP_EFORMAT, "its first line is not \"%s\"", MAGIC);
    if (!next_line(&lines, &line, &len))
        return fsp_err_set(err, FSP_EFORMAT, "ends before its index (a file cut short?)");
    if (begins_with(line, len, EXTRA)) {
        rc = check_extra(line + strlen(EXTRA), len - strlen(EXTRA), err);
        if (rc != FSP_OK)
            return rc;
        if (!next_line(&lines, &line, &len))
            return fsp_err_set(err, FSP_EFORMAT, "ends before its index (a file cut short?)");
    }
    if (!begins_with(line, len, INDEX) ||
            fsp_text_u64(line + strlen(INDEX), len - strlen(INDEX), &proof->index) != FSP_OK)
        return fsp_err_set(err, FSP_EFORMAT, "line %zu: no \"index\" and number", lines.number);
    rc = parse_path(proof, &lines, err);
    if (rc != FSP_OK)
        return rc;
    if (lines.pos == lines.end)
        return fsp_err_set(err, FSP_EFORMAT, "has no checkpoint (a file cut short?)");
    proof->note = lines.pos;
    proof->note_len = (size_t)(lines.end - lines.pos);
    return FSP_OK;
}

enum fsp_rc
fsp_proof_parse(
        struct fsp_proof_file *proof, const char *bytes, size_t len, struct fsp_err *err)
{
    enum fsp_rc rc;

    memset(proof, 0, sizeof(*proof));
    rc = parse_proof(proof, bytes, len, err);
    if (rc == FSP_OK)
        return rc;
    memset(proof, 0, sizeof(*proof));
    return fsp_err_wrap(err, rc, "proof");
}

/* Find the log of the policy that signed the head under its own name. */
static enum fsp_rc
judge_log(const struct fsp_policy *policy, const struct fsp_note *note,
        struct fsp_statement *statement, struct fsp_err *err)
{
    bool found = false;

    for (size_t i = 0; i < policy->logs; i++) {
        enum fsp_rc rc = fsp_note_verify(note, &policy->log[i], NULL, err);

        if (rc == FSP_ENOTFOUND)
            continue;
        if (rc != FSP_OK)
            return rc;
        if (strcmp(policy->log[i].name, statement->head.origin) != 0)
            continue;
        statement->log = policy->log[i];
        found = true;
    }
    if (!found)
        return fsp_err_set(err, FSP_EVERIFY,
                "the head of %s is not signed by a log of that name in the policy",
                statement->head.origin);
    return FSP_OK;
}

static enum fsp_rc
judge_witnesses(const struct fsp_policy *policy, const struct fsp_note *note,
        struct fsp_statement *statement, struct fsp_err *err)
{
    bool cosigned[FSP_POLICY_KEYS_MAX] = {false};

    for (size_t i = 0; i < policy->witnesses; i++) {
        uint64_t time_s = 0;
        enum fsp_rc rc = fsp_note_verify(note, &policy->witness[i], &time_s, err);

        if (rc == FSP_ENOTFOUND)
            continue;
        if (rc != FSP_OK)
            return rc;
        cosigned[i] = true;
        statement->cosigner[statement->cosigned] = policy->witness[i];
        statement->cosigned_s[statement->cosigned] = time_s;
        statement->cosigned++;
    }
    if (!fsp_policy_satisfied(policy, cosigned))
        return fsp_err_set(err, FSP_EVERIFY,
                "the head is not cosigned by the witnesses that the policy requires "
                "(%zu of %zu did)",
                statement->cosigned, policy->witnesses);
    return FSP_OK;
}

/* The head's part of a statement; the rest of `statement` is left as it is. */
static enum fsp_rc
judge_head(const struct fsp_policy *policy, const void *bytes, size_t len,
        struct fsp_statement *statement, struct fsp_err *err)
{
    struct fsp_note note;
    enum fsp_rc rc = fsp_note_parse(&note, bytes, len, err);

    if (rc == FSP_OK)
        rc = fsp_checkpoint_parse(&statement->head, note.text, note.text_len, err);
    if (rc == FSP_OK)
        rc = judge_log(policy, &note, statement, err);
    return rc == FSP_OK ? judge_witnesses(policy, &note, statement, err) : rc;
}

enum fsp_rc
fsp_head_verify(const struct fsp_policy *policy, const void *note, size_t len,
        struct fsp_statement *statement, struct fsp_err *err)
{
    struct fsp_statement got = {.index = 0};
    enum fsp_rc rc = judge_head(policy, note, len, &got, err);

    memset(statement, 0, sizeof(*statement));
    if (rc == FSP_OK)
        *statement = got;
    return rc;
}

enum fsp_rc
fsp_evidence_verify(const struct fsp_policy *policy, const void *record, size_t record_len,
        const struct fsp_proof_file *proof, struct fsp_statement *statement,
        struct fsp_err *err)
{
    struct fsp_statement got = {.index = proof->index};
    enum fsp_rc rc;

    memset(statement, 0, sizeof(*statement));
    if (record_len > FSP_ENTRY_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "the record is over %zu bytes", FSP_ENTRY_MAX);
    rc = judge_head(policy, proof->note, proof->note_len, &got, err);
    if (rc != FSP_OK)
        return rc;
    fsp_leaf_hash(record, record_len, got.leaf);
    if (fsp_tree_verify_inclusion(got.index, got.head.size, got.leaf,
                (const uint8_t(*)[FSP_HASH_LEN])proof->path, proof->n, got.head.root) != FSP_OK)
        return fsp_err_set(err, FSP_EVERIFY,
                "the record is not entry %llu of the signed tree of %llu entries: the record, "
                "or the proof, was changed or belongs elsewhere",
                (unsigned long long)got.index, (unsigned long long)got.head.size);
    *statement = got;
    return FSP_OK;
}
