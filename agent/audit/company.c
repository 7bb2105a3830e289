#include "audit/company.h"

#include <stdlib.h>
#include <string.h>

#include "audit/verify.h"
#include "base/mem.h"
#include "base/text.h"

/* A record of the company, as far as others refer to it. */
struct member {
    uint8_t leaf[FSP_HASH_LEN];
    uint8_t target[FSP_HASH_LEN]; /* leaf that it names */
    bool has_target;
    bool amends;
    bool voids;
    uint64_t index;
    char origin[FSP_ORIGIN_MAX + 1];
    char name[FSP_NAME_MAX + 1];
    struct fsp_audit_signature signature; /* of a countersign, once judged */
    uint8_t *bytes;
    size_t len;
};

/* The records of one rig are attested together. */
struct crew {
    char names[2][FSP_NAME_MAX + 1];
    struct fsp_attest *attest;
};

struct fsp_company {
    struct fsp_audit_office office;
    struct crew crew[FSP_COMPANY_RIGS_MAX];
    size_t crews;
    struct member *member;
    size_t n;
    size_t cap;
};

/* --- small things ---------------------------------------------------------------------------- */

bool
fsp_origin_parts(const char *origin, char fleet[FSP_NAME_MAX + 1], char rig[FSP_NAME_MAX + 1])
{
    const char *first = strchr(origin, '/');
    const char *second = first == NULL ? NULL : strchr(first + 1, '/');

    if (second == NULL || first - origin > (ptrdiff_t)FSP_NAME_MAX ||
            second - first - 1 > (ptrdiff_t)FSP_NAME_MAX)
        return false;
    memcpy(fleet, origin, (size_t)(first - origin));
    fleet[first - origin] = '\0';
    memcpy(rig, first + 1, (size_t)(second - first - 1));
    rig[second - first - 1] = '\0';
    return true;
}

static bool
is_kind(const struct fsp_record *record, const char *kind)
{
    const char *text = record == NULL ? NULL : fsp_record_text(record, "kind");

    return text != NULL && strcmp(text, kind) == 0;
}

static void
copy_name(char *out, const struct fsp_record *record, const char *field)
{
    const char *text = fsp_record_text(record, field);

    const size_t len = text == NULL ? 0 : strnlen(text, FSP_NAME_MAX);

    if (len > 0)
        memcpy(out, text, len);
    out[len] = '\0';
}

/* The leaf that a countersign or an amendment names. */
static bool
names_leaf(const struct fsp_record *record, uint8_t leaf[FSP_HASH_LEN])
{
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    const char *text = entry == NULL ? NULL : fsp_record_text(entry, "leaf");

    return text != NULL && fsp_unbase64_exact(text, strlen(text), leaf, FSP_HASH_LEN) == FSP_OK;
}

/* --- attesting ------------------------------------------------------------------------------- */

enum fsp_rc
fsp_audit_attest(struct fsp_attest **out, char names[2][FSP_NAME_MAX + 1], const char *origin,
        const struct fsp_audit_office *office, struct fsp_err *err)
{
    struct fsp_attest_about about = {
            .fleet = names[0], .rig = names[1], .keys = office->key, .n_keys = office->n};
    enum fsp_rc rc;

    *out = NULL;
    if (!fsp_origin_parts(origin, names[0], names[1]))
        return FSP_OK;
    rc = fsp_attest_new(out, &about, err);
    if (rc == FSP_OK && office->roster != NULL && office->n > 0)
        rc = fsp_attest_take_roster(
                *out, (const char *)office->roster, office->roster_len, err);
    if (rc == FSP_OK)
        return rc;
    fsp_attest_free(*out);
    *out = NULL;
    return rc == FSP_ENOMEM
                   ? rc
                   : fsp_err_wrap(err, rc,
                             "the roster beside it (" FSP_AUDIT_ROSTER ") does not hold");
}

void
fsp_audit_sign(struct fsp_audit_signature *out, struct fsp_attest *attest,
        const struct fsp_attest_entry *entry, const struct fsp_audit_office *office,
        uint64_t cosigned_s)
{
    const struct fsp_roster *roster = attest == NULL ? NULL : fsp_attest_roster(attest);
    const struct fsp_roster_signer *who = NULL;

    memset(out, 0, sizeof(*out));
    out->trust = office->trust;
    out->asked = is_kind(entry->record, "inspection") || is_kind(entry->record, "countersign");
    if (out->asked)
        copy_name(out->name, entry->record,
                is_kind(entry->record, "inspection") ? "inspector" : "signer");
    /* Without `sig` nothing is there to judge, whoever may sign. */
    if (out->asked && !fsp_record_has(entry->record, "sig")) {
        out->judged = true;
        out->state = FSP_SIG_NONE;
        return;
    }
    if (roster == NULL || entry->record == NULL)
        return;
    out->state = fsp_attest_judge(attest, entry, &who);
    out->asked = out->asked || out->state != FSP_SIG_NONE;
    out->judged = true;
    out->version = roster->version;
    out->made_s = roster->made_s;
    if (who == NULL)
        return;
    fsp_vkey_fingerprint(&who->vkey, out->fingerprint);
    out->revoked_s = who->revoked ? who->revoked_s : 0;
    out->seen_after_revoked = who->revoked && out->state == FSP_SIG_GOOD && cosigned_s > 0 &&
                              (who->revoked_s < 0 || cosigned_s >= (uint64_t)who->revoked_s);
}

/* --- the company ----------------------------------------------------------------------------- */

enum fsp_rc
fsp_company_new(struct fsp_company **out, const struct fsp_audit_job *job, bool is_folder,
        struct fsp_err *err)
{
    struct fsp_company *company = calloc(1, sizeof(*company));
    enum fsp_rc rc;

    *out = NULL;
    if (company == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fsp_audit_office_init(&company->office);
    rc = fsp_audit_office_load(&company->office, job, is_folder, err);
    if (rc != FSP_OK) {
        fsp_company_free(company);
        return rc;
    }
    *out = company;
    return FSP_OK;
}

void
fsp_company_free(struct fsp_company *company)
{
    if (company == NULL)
        return;
    for (size_t i = 0; i < company->n; i++)
        free(company->member[i].bytes);
    free(company->member);
    for (size_t i = 0; i < company->crews; i++)
        fsp_attest_free(company->crew[i].attest);
    fsp_audit_office_fini(&company->office);
    free(company);
}

const struct fsp_audit_office *
fsp_company_office(const struct fsp_company *company)
{
    return &company->office;
}

/* The attest of the origin's rig, made when it is new; *out NULL when the origin is of no rig. */
static enum fsp_rc
find_crew(struct fsp_company *company, const char *origin, struct fsp_attest **out,
        struct fsp_err *err)
{
    char names[2][FSP_NAME_MAX + 1];
    struct crew *crew;
    enum fsp_rc rc;

    *out = NULL;
    if (!fsp_origin_parts(origin, names[0], names[1]))
        return FSP_OK;
    for (size_t i = 0; i < company->crews; i++) {
        crew = &company->crew[i];
        if (strcmp(crew->names[0], names[0]) == 0 && strcmp(crew->names[1], names[1]) == 0) {
            *out = crew->attest;
            return FSP_OK;
        }
    }
    if (company->crews == FSP_COMPANY_RIGS_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "records of more than %d rigs lie together here",
                FSP_COMPANY_RIGS_MAX);
    crew = &company->crew[company->crews];
    rc = fsp_audit_attest(&crew->attest, crew->names, origin, &company->office, err);
    if (rc == FSP_OK) {
        company->crews++;
        *out = crew->attest;
    }
    return rc;
}

enum fsp_rc
fsp_company_add(
        struct fsp_company *company, const struct fsp_verdict *verdict, struct fsp_err *err)
{
    const struct fsp_record *record = verdict->record;
    const struct fsp_attest_entry entry = {.record = record,
            .bytes = verdict->entry,
            .len = verdict->entry_len,
            .leaf = verdict->statement.leaf};
    struct fsp_attest *attest = NULL;
    struct member *member;
    enum fsp_rc rc = find_crew(company, verdict->statement.head.origin, &attest, err);

    if (rc != FSP_OK || record == NULL)
        return rc;
    if (company->n == FSP_COMPANY_RECORDS_MAX)
        return fsp_err_set(err, FSP_ELIMIT,
                "more than %d records lie together; a register holds any number",
                FSP_COMPANY_RECORDS_MAX);
    if (fsp_mem_grow((void **)&company->member, &company->cap, company->n + 1,
                sizeof(*company->member)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    member = &company->member[company->n];
    memset(member, 0, sizeof(*member));
    memcpy(member->leaf, verdict->statement.leaf, FSP_HASH_LEN);
    memcpy(member->origin, verdict->statement.head.origin, sizeof(member->origin));
    member->index = verdict->statement.index;
    member->amends = is_kind(record, "amend");
    member->voids = member->amends && fsp_record_has(record, "void");
    if (member->amends || is_kind(record, "countersign"))
        member->has_target = names_leaf(record, member->target);
    if (is_kind(record, "countersign")) {
        copy_name(member->name, record, "signer");
        member->bytes = (uint8_t *)fsp_mem_text(verdict->entry, verdict->entry_len);
        member->len = verdict->entry_len;
        if (member->bytes == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    company->n++;
    return attest == NULL ? FSP_OK : fsp_attest_note(attest, &entry, err);
}

/* A countersignature of the company, judged when it is asked for: the roster is whole by then. */
static void
judge_member(
        const struct fsp_company *company, struct fsp_attest *attest, struct member *member)
{
    struct fsp_attest_entry entry = {
            .bytes = member->bytes, .len = member->len, .leaf = member->leaf};
    struct fsp_record *record = NULL;

    if (member->bytes == NULL || member->signature.asked ||
            fsp_record_parse(member->bytes, member->len, &record, NULL) != FSP_OK)
        return;
    entry.record = record;
    fsp_audit_sign(&member->signature, attest, &entry, &company->office, 0);
    fsp_record_free(record);
}

static void
relate(struct fsp_company *company, struct fsp_attest *attest, struct fsp_verdict *verdict)
{
    uint8_t target[FSP_HASH_LEN];
    const bool names =
            (is_kind(verdict->record, "amend") || is_kind(verdict->record, "countersign")) &&
            names_leaf(verdict->record, target);

    for (size_t i = 0; i < company->n; i++) {
        struct member *member = &company->member[i];
        struct fsp_audit_relation *relation = &verdict->relation[verdict->relations];
        const bool of_us = member->has_target &&
                           memcmp(member->target, verdict->statement.leaf, FSP_HASH_LEN) == 0;

        if (!of_us && !(names && memcmp(member->leaf, target, FSP_HASH_LEN) == 0))
            continue;
        if (verdict->relations == FSP_COMPANY_RELATIONS_MAX) {
            verdict->more_relations++;
            continue;
        }
        memset(relation, 0, sizeof(*relation));
        relation->how = !of_us           ? FSP_NAMES
                        : member->voids  ? FSP_VOIDED_BY
                        : member->amends ? FSP_AMENDED_BY
                                         : FSP_COUNTERSIGNED_BY;
        relation->index = member->index;
        memcpy(relation->origin, member->origin, sizeof(relation->origin));
        if (relation->how == FSP_COUNTERSIGNED_BY) {
            judge_member(company, attest, member);
            memcpy(relation->name, member->name, sizeof(relation->name));
            relation->judged = member->signature.judged;
            relation->state = member->signature.state;
        }
        verdict->relations++;
    }
}

/* What a signature that is there, or is needed, does to the verdict. */
static void
weigh(struct fsp_verdict *verdict, const struct fsp_audit_job *job)
{
    const struct fsp_audit_signature *signature = &verdict->signature;
    const char *origin = verdict->statement.head.origin;
    const unsigned long long index = verdict->statement.index;
    const char *what = is_kind(verdict->record, "countersign")  ? "countersignature"
                       : is_kind(verdict->record, "inspection") ? "inspector's signature"
                                                                : "countersignature of it";

    if (signature->judged && signature->state == FSP_SIG_BAD)
        verdict->rc = fsp_err_set(&verdict->err, FSP_EVERIFY,
                "the %s does not hold; the record itself is entry %llu of %s, unchanged", what,
                index, origin);
    else if (job->need_signature && signature->asked &&
             (!signature->judged || signature->state != FSP_SIG_GOOD))
        verdict->rc = fsp_err_set(&verdict->err, FSP_EVERIFY,
                "a signature is needed and this record has none that counts (%s); it is entry "
                "%llu of %s, unchanged",
                signature->judged ? fsp_sig_state_text(signature->state)
                                  : "no roster to judge it by",
                index, origin);
}

void
fsp_company_judge(struct fsp_company *company, struct fsp_verdict *verdict,
        const struct fsp_audit_job *job)
{
    const struct fsp_attest_entry entry = {.record = verdict->record,
            .bytes = verdict->entry,
            .len = verdict->entry_len,
            .leaf = verdict->statement.leaf};
    struct fsp_attest *attest = NULL;
    uint64_t seen_s = 0;

    for (size_t i = 0; i < verdict->statement.cosigned; i++)
        if (seen_s == 0 || verdict->statement.cosigned_s[i] < seen_s)
            seen_s = verdict->statement.cosigned_s[i];
    verdict->has_roster_file = company->office.roster != NULL;
    verdict->office = company->office;
    verdict->office.roster = NULL; /* not ours to free */
    verdict->office.roster_len = 0;
    verdict->rc = find_crew(company, verdict->statement.head.origin, &attest, &verdict->err);
    if (verdict->rc != FSP_OK)
        return;
    fsp_audit_sign(&verdict->signature, attest, &entry, &company->office, seen_s);
    if (verdict->record != NULL)
        relate(company, attest, verdict);
    weigh(verdict, job);
}
