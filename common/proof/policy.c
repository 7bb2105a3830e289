#include "proof/policy_priv.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"

/* Words of a line: the longest useful one is a group of every name. */
#define WORDS_MAX (FSP_POLICY_NAMES_MAX + 3)

struct word {
    const char *text;
    size_t len;
};

static bool
is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static bool
word_is(const struct word *word, const char *text)
{
    return word->len == strlen(text) && memcmp(word->text, text, word->len) == 0;
}

/* Split at spaces and tabs; returns how many words there are, WORDS_MAX + 1 when too many. */
static size_t
split_words(const char *line, size_t len, struct word *words)
{
    size_t n = 0;
    size_t pos = 0;

    for (;;) {
        size_t from;

        while (pos < len && is_blank(line[pos]))
            pos++;
        if (pos == len)
            return n;
        if (n == WORDS_MAX)
            return WORDS_MAX + 1;
        from = pos;
        while (pos < len && !is_blank(line[pos]))
            pos++;
        words[n].text = line + from;
        words[n].len = pos - from;
        n++;
    }
}

static struct fsp_policy_name *
find_name(struct fsp_policy *policy, const struct word *word)
{
    for (size_t i = 0; i < policy->names; i++)
        if (word_is(word, policy->name[i].text))
            return &policy->name[i];
    return NULL;
}

/* Keys of one kind: of its type, and none twice. */
static enum fsp_rc
add_key(struct fsp_vkey *keys, size_t *n, enum fsp_key_type type, const struct word *word,
        struct fsp_err *err)
{
    const char *kind = type == FSP_KEY_NOTE ? "log" : "witness";
    enum fsp_rc rc;

    if (*n == FSP_POLICY_KEYS_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "more than %d keys", FSP_POLICY_KEYS_MAX);
    rc = fsp_vkey_parse(&keys[*n], word->text, word->len, err);
    if (rc != FSP_OK)
        return rc;
    if (keys[*n].type != type)
        return fsp_err_set(err, FSP_EFORMAT, "a %s's key is of type 0x%02x, this one is not",
                kind, (unsigned)type);
    for (size_t i = 0; i < *n; i++)
        if (memcmp(keys[i].pub, keys[*n].pub, sizeof(keys[i].pub)) == 0)
            return fsp_err_set(err, FSP_EFORMAT, "the same %s's key a second time", kind);
    (*n)++;
    return FSP_OK;
}

static enum fsp_rc
add_name(struct fsp_policy *policy, const struct word *word, struct fsp_err *err)
{
    struct fsp_policy_name *name = &policy->name[policy->names];

    if (word_is(word, "none") || find_name(policy, word) != NULL)
        return fsp_err_set(err, FSP_EFORMAT, "a name that is taken already");
    memset(name, 0, sizeof(*name));
    name->text = fsp_mem_text(word->text, word->len);
    if (name->text == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    policy->names++;
    return FSP_OK;
}

static enum fsp_rc
take_witness(struct fsp_policy *policy, const struct word *words, size_t n, struct fsp_err *err)
{
    enum fsp_rc rc;

    if (n != 3 && n != 4)
        return fsp_err_set(err, FSP_EFORMAT, "not of the form: witness NAME VKEY [URL]");
    rc = add_key(policy->witness, &policy->witnesses, FSP_KEY_COSIGNER, &words[2], err);
    if (rc != FSP_OK)
        return rc;
    rc = add_name(policy, &words[1], err);
    if (rc != FSP_OK)
        return rc;
    policy->name[policy->names - 1].witness = policy->witnesses - 1;
    return FSP_OK;
}

/* How many of n members a group needs; 0 when the word is none of all, any, 1..n. */
static size_t
threshold(const struct word *word, size_t n)
{
    uint64_t k = 0;

    if (word_is(word, "all"))
        return n;
    if (word_is(word, "any"))
        return 1;
    if (fsp_text_u64(word->text, word->len, &k) != FSP_OK || k > n)
        return 0;
    return (size_t)k;
}

static enum fsp_rc
take_group(struct fsp_policy *policy, const struct word *words, size_t n, struct fsp_err *err)
{
    struct fsp_policy_name group = {.text = NULL};
    enum fsp_rc rc;

    if (n < 4)
        return fsp_err_set(
                err, FSP_EFORMAT, "not of the form: group NAME all|any|NUMBER MEMBER...");
    if (policy->groups == FSP_POLICY_GROUPS_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "more than %d groups", FSP_POLICY_GROUPS_MAX);
    group.n = n - 3;
    group.need = threshold(&words[2], group.n);
    if (group.need == 0)
        return fsp_err_set(err, FSP_EFORMAT,
                "a group needs all, any or a number from 1 to its %zu members", group.n);
    for (size_t i = 0; i < group.n; i++) {
        struct fsp_policy_name *member = find_name(policy, &words[3 + i]);

        if (member == NULL)
            return fsp_err_set(
                    err, FSP_EFORMAT, "member %zu is not named by a line above", i + 1);
        if (member->used)
            return fsp_err_set(err, FSP_EFORMAT, "member %zu is in a group already", i + 1);
        member->used = true;
        group.member[i] = (size_t)(member - policy->name);
    }
    rc = add_name(policy, &words[1], err);
    if (rc != FSP_OK)
        return rc;
    group.text = policy->name[policy->names - 1].text;
    policy->name[policy->names - 1] = group;
    policy->groups++;
    return FSP_OK;
}

static enum fsp_rc
take_quorum(struct fsp_policy *policy, const struct word *words, size_t n, struct fsp_err *err)
{
    const struct fsp_policy_name *name;

    if (n != 2)
        return fsp_err_set(err, FSP_EFORMAT, "not of the form: quorum NAME, or quorum none");
    if (policy->has_quorum)
        return fsp_err_set(err, FSP_EFORMAT, "a second quorum line");
    policy->has_quorum = true;
    if (word_is(&words[1], "none")) {
        policy->quorum_none = true;
        return FSP_OK;
    }
    name = find_name(policy, &words[1]);
    if (name == NULL)
        return fsp_err_set(err, FSP_EFORMAT, "the quorum is not named by a line above");
    policy->quorum = (size_t)(name - policy->name);
    return FSP_OK;
}

static enum fsp_rc
take_line(struct fsp_policy *policy, const char *line, size_t len, struct fsp_err *err)
{
    struct word words[WORDS_MAX];
    size_t n;

    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char)line[i];

        if ((c < 0x20u && c != '\t') || c == 0x7Fu)
            return fsp_err_set(err, FSP_EFORMAT, "a control character");
    }
    n = split_words(line, len, words);
    if (n == 0 || words[0].text[0] == '#')
        return FSP_OK;
    if (n > WORDS_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "more than %d words", WORDS_MAX);
    if (word_is(&words[0], "log")) {
        if (n != 2 && n != 3)
            return fsp_err_set(err, FSP_EFORMAT, "not of the form: log VKEY [URL]");
        return add_key(policy->log, &policy->logs, FSP_KEY_NOTE, &words[1], err);
    }
    if (word_is(&words[0], "witness"))
        return take_witness(policy, words, n, err);
    if (word_is(&words[0], "group"))
        return take_group(policy, words, n, err);
    if (word_is(&words[0], "quorum"))
        return take_quorum(policy, words, n, err);
    return fsp_err_set(err, FSP_EFORMAT, "begins with none of log, witness, group, quorum, #");
}

static enum fsp_rc
take_lines(struct fsp_policy *policy, const char *bytes, size_t len, struct fsp_err *err)
{
    size_t number = 0;
    size_t pos = 0;

    while (pos < len) {
        const char *end = memchr(bytes + pos, '\n', len - pos);
        enum fsp_rc rc;

        number++;
        if (end == NULL)
            return fsp_err_set(err, FSP_EFORMAT,
                    "line %zu does not end in a newline (a file cut short?)", number);
        rc = take_line(policy, bytes + pos, (size_t)(end - bytes) - pos, err);
        if (rc != FSP_OK)
            return fsp_err_wrap(err, rc, "line %zu", number);
        pos = (size_t)(end - bytes) + 1;
    }
    if (!policy->has_quorum)
        return fsp_err_set(err, FSP_EFORMAT, "has no quorum line");
    return FSP_OK;
}

enum fsp_rc
fsp_policy_parse(struct fsp_policy **out, const char *bytes, size_t len, struct fsp_err *err)
{
    struct fsp_policy *policy = NULL;
    enum fsp_rc rc;

    *out = NULL;
    if (len > FSP_NOTE_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "policy: over %zu bytes", FSP_NOTE_MAX);
    policy = calloc(1, sizeof(*policy));
    if (policy == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory for a policy");
    rc = take_lines(policy, bytes, len, err);
    if (rc != FSP_OK) {
        fsp_policy_free(policy);
        return fsp_err_wrap(err, rc, "policy");
    }
    *out = policy;
    return FSP_OK;
}

void
fsp_policy_free(struct fsp_policy *policy)
{
    if (policy == NULL)
        return;
    for (size_t i = 0; i < policy->names; i++)
        free(policy->name[i].text);
    free(policy);
}

const struct fsp_vkey *
fsp_policy_key(const struct fsp_policy *policy, size_t i)
{
    if (i < policy->logs)
        return &policy->log[i];
    i -= policy->logs;
    return i < policy->witnesses ? &policy->witness[i] : NULL;
}

void
fsp_policy_write(
        struct fsp_buf *buf, const struct fsp_vkey *log, const struct fsp_vkey *witness)
{
    fsp_buf_add_text(buf, "log ");
    fsp_vkey_write(log, buf);
    fsp_buf_add_text(buf, "\nwitness office ");
    fsp_vkey_write(witness, buf);
    fsp_buf_add_text(buf, "\nquorum office\n");
}

bool
fsp_policy_satisfied(const struct fsp_policy *policy, const bool *cosigned)
{
    bool good[FSP_POLICY_NAMES_MAX] = {false};

    if (policy->quorum_none)
        return true;
    /* Members stand before their group, so one pass in order settles every name. */
    for (size_t i = 0; i < policy->names; i++) {
        const struct fsp_policy_name *name = &policy->name[i];
        size_t have = 0;

        for (size_t j = 0; j < name->n; j++)
            if (good[name->member[j]])
                have++;
        good[i] = name->need == 0 ? cosigned[name->witness] : have >= name->need;
    }
    return good[policy->quorum];
}
