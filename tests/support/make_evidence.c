/*
 * make_evidence DIR SEED SIZE INDEX WITNESSES: writes INDEX.record.json, INDEX.tlog-proof and
 * trust.tlog-policy of an invented log into DIR, the same bytes for the same numbers.
 * make_evidence DIR example: the worked example of docs/formats.md.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "support/evidence.h"

static enum fsp_rc
number(const char *text, uint64_t least, uint64_t most, uint64_t *out, struct fsp_err *err)
{
    if (fsp_text_u64(text, strlen(text), out) != FSP_OK || *out < least || *out > most)
        return fsp_err_set(err, FSP_EINVAL, "\"%s\" is no number from %llu to %llu", text,
                (unsigned long long)least, (unsigned long long)most);
    return FSP_OK;
}

static enum fsp_rc
save(const char *folder, const char *name, const struct fsp_buf *buf, struct fsp_err *err)
{
    char *path = fsp_file_join(folder, name);
    enum fsp_rc rc = FSP_ENOMEM;

    if (path != NULL)
        rc = fsp_file_write(path, buf->data, buf->len, 0644, err);
    free(path);
    return rc;
}

/* plan NULL: the worked example. */
static enum fsp_rc
make(const char *folder, const struct evidence_plan *plan, uint64_t seed, struct fsp_err *err)
{
    struct seeded seeded = {.state = seed};
    struct fsp_env env = evidence_seeded_env(&seeded);
    struct evidence evidence;
    size_t index = plan == NULL ? 0 : plan->index;
    char name[64];
    enum fsp_rc rc;

    evidence_init(&evidence);
    rc = plan == NULL ? evidence_example(&evidence, &index, err)
                      : evidence_make(&evidence, plan, &env, err);
    if (rc != FSP_OK)
        goto out;
    (void)snprintf(name, sizeof(name), "%zu.record.json", index);
    rc = save(folder, name, &evidence.record, err);
    if (rc != FSP_OK)
        goto out;
    (void)snprintf(name, sizeof(name), "%zu.tlog-proof", index);
    rc = save(folder, name, &evidence.proof, err);
    if (rc == FSP_OK)
        rc = save(folder, "trust.tlog-policy", &evidence.policy, err);
out:
    evidence_fini(&evidence);
    return rc;
}

static enum fsp_rc
make_from_words(char *const words[], struct fsp_err *err)
{
    struct evidence_plan plan = {.time_s = EVIDENCE_TIME_S};
    uint64_t seed = 0;
    uint64_t size = 0;
    uint64_t index = 0;
    uint64_t witnesses = 0;
    enum fsp_rc rc = number(words[1], 1, UINT64_MAX, &seed, err);

    if (rc == FSP_OK)
        rc = number(words[2], 1, 1000000, &size, err);
    if (rc == FSP_OK)
        rc = number(words[3], 0, size - 1, &index, err);
    if (rc == FSP_OK)
        rc = number(words[4], 1, EVIDENCE_WITNESSES_MAX, &witnesses, err);
    if (rc != FSP_OK)
        return rc;
    plan.size = (size_t)size;
    plan.index = (size_t)index;
    plan.witnesses = (size_t)witnesses;
    return make(words[0], &plan, seed, err);
}

int
main(int argc, char *argv[])
{
    struct fsp_err err;
    enum fsp_rc rc;

    if (argc != 6 && !(argc == 3 && strcmp(argv[2], "example") == 0)) {
        (void)fputs(
                "usage: make_evidence DIR example | DIR SEED SIZE INDEX WITNESSES\n", stderr);
        return 64;
    }
    rc = fsp_proof_init(&err);
    if (rc == FSP_OK)
        rc = argc == 3 ? make(argv[1], NULL, 1, &err) : make_from_words(argv + 1, &err);
    if (rc != FSP_OK) {
        (void)fprintf(stderr, "make_evidence: %s\n", err.text);
        return 1;
    }
    return 0;
}
