#include "audit/verify.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"

#define RECORD_TAIL ".record.json"
#define PROOF_TAIL  ".tlog-proof"

/* The paths and bytes of one piece of evidence. */
struct exhibit {
    struct fsp_buf record_path;
    struct fsp_buf proof_path;
    uint8_t *record;
    size_t record_len;
    uint8_t *proof;
    size_t proof_len;
};

void
fsp_audit_init(struct fsp_verdict *verdict)
{
    memset(verdict, 0, sizeof(*verdict));
}

void
fsp_audit_fini(struct fsp_verdict *verdict)
{
    fsp_policy_free(verdict->policy);
    fsp_record_free(verdict->record);
    free(verdict->entry);
    fsp_audit_init(verdict);
}

static bool
ends_with(const char *text, const char *tail)
{
    size_t len = strlen(text);
    size_t tail_len = strlen(tail);

    return len > tail_len && strcmp(text + len - tail_len, tail) == 0;
}

static enum fsp_rc
find_paths(struct exhibit *exhibit, const struct fsp_audit_job *job, struct fsp_err *err)
{
    const char *tail = ends_with(job->file, RECORD_TAIL)  ? RECORD_TAIL
                       : ends_with(job->file, PROOF_TAIL) ? PROOF_TAIL
                                                          : NULL;
    size_t stem_len;
    enum fsp_rc rc;

    if (tail == NULL)
        return fsp_err_set(err, FSP_EINVAL,
                "%s: name the record, N" RECORD_TAIL " (its N" PROOF_TAIL
                " is looked for beside it)",
                job->file);
    stem_len = strlen(job->file) - strlen(tail);
    fsp_buf_add(&exhibit->record_path, job->file, stem_len);
    fsp_buf_add_text(&exhibit->record_path, RECORD_TAIL);
    fsp_buf_add(&exhibit->proof_path, job->file, stem_len);
    fsp_buf_add_text(&exhibit->proof_path, PROOF_TAIL);
    rc = fsp_buf_check(&exhibit->record_path, "a path", err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&exhibit->proof_path, "a path", err);
    return rc;
}

static enum fsp_rc
read_files(struct exhibit *exhibit, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_file_read(fsp_buf_peek(&exhibit->record_path), FSP_ENTRY_MAX,
            &exhibit->record, &exhibit->record_len, err);

    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "the record cannot be read");
    rc = fsp_file_read(fsp_buf_peek(&exhibit->proof_path), FSP_NOTE_MAX, &exhibit->proof,
            &exhibit->proof_len, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "the proof that belongs to the record cannot be read");
    return FSP_OK;
}

static void
exhibit_init(struct exhibit *exhibit)
{
    memset(exhibit, 0, sizeof(*exhibit));
    fsp_buf_init(&exhibit->record_path, FSP_AUDIT_PATH_MAX);
    fsp_buf_init(&exhibit->proof_path, FSP_AUDIT_PATH_MAX);
}

static void
exhibit_fini(struct exhibit *exhibit)
{
    fsp_buf_fini(&exhibit->record_path);
    fsp_buf_fini(&exhibit->proof_path);
    free(exhibit->record);
    free(exhibit->proof);
}

static void
add_doubt(struct fsp_verdict *verdict, const char *text)
{
    if (verdict->doubts == FSP_AUDIT_DOUBTS_MAX)
        return;
    (void)snprintf(verdict->doubt[verdict->doubts], sizeof(verdict->doubt[0]), "%s", text);
    verdict->doubts++;
}

/* A text of the record made safe, at most about 60 characters of it. */
static void
quote(char *out, size_t size, const char *text)
{
    struct fsp_buf buf;

    fsp_buf_init(&buf, 1024);
    fsp_text_show(&buf, text, strnlen(text, 60));
    (void)snprintf(out, size, "%s", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

/* True when `text` is the n-th part of an origin <fleet>/<rig>/<incarnation>. */
static bool
is_part(const char *origin, size_t n, const char *text)
{
    for (; n > 0; n--) {
        origin = strchr(origin, '/');
        if (origin == NULL)
            return false;
        origin++;
    }
    return strcspn(origin, "/") == strlen(text) && strncmp(origin, text, strlen(text)) == 0;
}

static void
look_for_doubts(struct fsp_verdict *verdict)
{
    static const char *const member[] = {"fleet", "rig"};
    const char *origin = verdict->statement.head.origin;
    const char *kind = fsp_record_text(verdict->record, "kind");
    int64_t at = 0;

    if (kind != NULL && strcmp(kind, "inspection") == 0) {
        for (size_t i = 0; i < 2; i++) {
            const char *value = fsp_record_text(verdict->record, member[i]);
            char text[FSP_ERR_TEXT_MAX];
            char quoted[300];

            if (value == NULL || is_part(origin, i, value))
                continue;
            quote(quoted, sizeof(quoted), value);
            (void)snprintf(text, sizeof(text),
                    "the inspection names %s %s, but lies in another one's log", member[i],
                    quoted);
            add_doubt(verdict, text);
        }
    }
    if (fsp_record_time(verdict->record, "at", &at) && verdict->statement.cosigned > 0 &&
            at > 0 && (uint64_t)at > verdict->statement.cosigned_s[0] + 86400)
        add_doubt(verdict,
                "the record's own time lies more than a day after the time when it was "
                "cosigned: a clock was wrong");
}

static enum fsp_rc
judge(struct fsp_verdict *verdict, struct exhibit *exhibit, const struct fsp_audit_job *job)
{
    struct fsp_proof_file proof;
    struct fsp_err unread;
    enum fsp_rc rc = fsp_audit_policy(&verdict->policy, job, false, &verdict->err);

    if (rc == FSP_OK)
        rc = fsp_proof_parse(
                &proof, (const char *)exhibit->proof, exhibit->proof_len, &verdict->err);
    if (rc == FSP_OK)
        rc = fsp_evidence_verify(verdict->policy, exhibit->record, exhibit->record_len, &proof,
                &verdict->statement, &verdict->err);
    if (rc != FSP_OK)
        return rc;
    verdict->entry_verified = true;
    if (fsp_record_parse(exhibit->record, exhibit->record_len, &verdict->record, &unread) !=
            FSP_OK)
        (void)snprintf(verdict->unread, sizeof(verdict->unread), "%s", unread.text);
    else
        look_for_doubts(verdict);
    verdict->entry = exhibit->record; /* ownership moved to the verdict */
    verdict->entry_len = exhibit->record_len;
    exhibit->record = NULL;
    return FSP_OK;
}

enum fsp_rc
fsp_audit_prove(struct fsp_verdict *verdict, const struct fsp_audit_job *job)
{
    struct exhibit exhibit;

    verdict->trust = fsp_audit_trust(job);
    exhibit_init(&exhibit);
    verdict->rc = find_paths(&exhibit, job, &verdict->err);
    if (verdict->rc == FSP_OK)
        verdict->rc = read_files(&exhibit, &verdict->err);
    if (verdict->rc == FSP_OK) {
        verdict->rc = judge(verdict, &exhibit, job);
        if (verdict->rc != FSP_OK)
            (void)fsp_err_wrap(
                    &verdict->err, verdict->rc, "%s", fsp_buf_peek(&exhibit.record_path));
        if (verdict->rc == FSP_EVERIFY && exhibit.record_len > 0 &&
                exhibit.record[exhibit.record_len - 1] == '\n')
            (void)fsp_err_wrap(&verdict->err, verdict->rc,
                    "(the record's file ends in a newline, which no entry has)");
    }
    exhibit_fini(&exhibit);
    return verdict->rc;
}

enum fsp_rc
fsp_audit_verify(struct fsp_verdict *verdict, const struct fsp_audit_job *job)
{
    struct fsp_company *company = NULL;

    if (fsp_audit_prove(verdict, job) != FSP_OK)
        return verdict->rc;
    verdict->rc = fsp_company_new(&company, job, false, &verdict->err);
    if (verdict->rc == FSP_OK)
        fsp_company_judge(company, verdict, job);
    if (verdict->rc != FSP_OK)
        (void)fsp_err_wrap(&verdict->err, verdict->rc, "%s", job->file);
    fsp_company_free(company);
    return verdict->rc;
}
