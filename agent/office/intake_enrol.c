/* Whose log is it: logs that are known, and those that enrol by a token or by a proved renewal. The
 * invariants are those of intake.c. */
#include <string.h>

#include "base/text.h"
#include "office/intake_priv.h"
#include "proof/renewal.h"

static enum fsp_rc
plain_403(const struct passage *p, const char *line)
{
    return fsp_intake_refuse(p, FSP_ANSWER_REFUSED, line);
}

/* Behind `<name>/` of a text, NULL when it does not begin so. */
static const char *
behind(const char *text, const char *name)
{
    size_t len = strlen(name);

    return strncmp(text, name, len) == 0 && text[len] == '/' ? text + len + 1 : NULL;
}

/* Origin must be <our fleet>/<the invited rig>/<incarnation>. */
static bool
origin_fits(const char *origin, const char *fleet, const char *rig)
{
    const char *rest = behind(origin, fleet);

    rest = rest == NULL ? NULL : behind(rest, rig);
    return rest != NULL && fsp_text_name(rest);
}

/* <our fleet>/<a rig>/<incarnation>: rig gets the name. */
static bool
split_origin(const char *origin, const char *fleet, char rig[FSP_NAME_MAX + 1])
{
    const char *rest = behind(origin, fleet);
    const char *slash = rest == NULL ? NULL : strchr(rest, '/');
    size_t len = slash == NULL ? 0 : (size_t)(slash - rest);

    if (len == 0 || len > FSP_NAME_MAX)
        return false;
    memcpy(rig, rest, len);
    rig[len] = '\0';
    return fsp_text_name(rig) && fsp_text_name(slash + 1);
}

/* ---- renewals ---------------------------------------------------------------------------- */

/* Set what the renewal names beside what is held. *fits is false when it is another history or
 * another rig's. FSP_OK with a status: the old log is wanted first (409). */
static enum fsp_rc
weigh(struct passage *p, const struct fsp_renewal *renewal, struct fsp_shelf_log *old,
        struct fsp_shelf_renewal *row, bool *fits, struct fsp_err *err)
{
    const struct fsp_checkpoint *from = &renewal->from;
    struct fsp_shelf *shelf = p->intake->shelf;
    struct fsp_range range;
    uint8_t root[FSP_HASH_LEN];
    enum fsp_rc rc;

    *fits = false;
    row->from_size = from->size;
    memcpy(row->from_root, from->root, sizeof(row->from_root));
    if (!origin_fits(from->origin, p->intake->fleet, p->log.rig) ||
            strcmp(from->origin, p->head->head.origin) == 0)
        return FSP_OK;
    rc = shelf->ops->find_log(shelf->ctx, from->origin, old, err);
    if (rc == FSP_ENOTFOUND && from->size == 0)
        return FSP_OK; /* nothing of it was ever signed: nothing can come */
    if (rc == FSP_ENOTFOUND)
        return fsp_intake_gap(p, from->origin, 0, err);
    if (rc == FSP_OK)
        rc = shelf->ops->tip(shelf->ctx, old->id, &range, err);
    if (rc != FSP_OK)
        return rc;
    if (range.size < from->size)
        return fsp_intake_gap(p, from->origin, old->id, err);
    row->closed_size = range.size;
    rc = fsp_intake_range(p, old->id, from->size, &range, err);
    if (rc != FSP_OK)
        return rc;
    fsp_range_root(&range, root);
    *fits = memcmp(root, from->root, sizeof(root)) == 0;
    return FSP_OK;
}

/* Is the proof the old key's? */
static bool
is_proved(const struct passage *p, const struct fsp_renewal *renewal,
        const struct fsp_shelf_log *old)
{
    struct fsp_vkey old_key;
    struct fsp_vkey new_key;

    return fsp_vkey_make(&old_key, old->origin, FSP_KEY_NOTE, old->pub, NULL) == FSP_OK &&
           fsp_vkey_make(&new_key, p->head->head.origin, FSP_KEY_NOTE, p->head->rig_pub,
                   NULL) == FSP_OK &&
           fsp_renewal_verify(renewal, &old_key, &new_key, NULL) == FSP_OK;
}

static void
fill_log(struct passage *p, const char *rig, const uint8_t mark[FSP_MARK_LEN])
{
    memset(&p->log, 0, sizeof(p->log));
    memcpy(p->log.rig, rig, strlen(rig));
    memcpy(p->log.origin, p->head->head.origin, sizeof(p->log.origin));
    memcpy(p->log.pub, p->head->rig_pub, sizeof(p->log.pub));
    memcpy(p->log.mark, mark, sizeof(p->log.mark));
    p->log.enrolled_s = p->intake->env->utc_us(p->intake->env->ctx) / FSP_US_PER_S;
    p->enrolled_now = true;
}

static enum fsp_rc
enrol(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    enum fsp_rc rc = shelf->ops->enrol(shelf->ctx, &p->log, err);

    if (rc == FSP_EINVAL)
        return plain_403(p, "this key belongs to another log; a new log needs a new key");
    return rc;
}

static enum fsp_rc
keep_renewal(struct passage *p, struct fsp_shelf_renewal *row, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;

    row->log = p->log.id;
    row->seen_s = p->log.enrolled_s;
    return shelf->ops->add_renewal(shelf->ctx, row, err);
}

/* By its first entry: the old key's word for the new one. The place of a token's mark is taken by
 * the proof's hash, so that one proof enrols one log. */
static enum fsp_rc
enrol_by_renewal(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    struct fsp_shelf_renewal row = {.how = FSP_RENEWAL_PROVED};
    struct fsp_renewal renewal;
    struct fsp_shelf_log old;
    uint8_t mark[FSP_MARK_LEN];
    char rig[FSP_NAME_MAX + 1];
    bool fits = false;
    enum fsp_rc rc;

    if (!split_origin(p->head->head.origin, p->intake->fleet, rig))
        return plain_403(p, "this log is of another fleet");
    if (p->head->old_size > 0)
        return fsp_intake_gap(p, p->head->head.origin, 0, err);
    if (p->n == 0 ||
            fsp_renewal_read(&renewal, p->entries[0].bytes, p->entries[0].len, NULL) != FSP_OK)
        return plain_403(p, "this log does not begin with a renewal");
    fsp_leaf_hash(renewal.proof, sizeof(renewal.proof), mark);
    fill_log(p, rig, mark);
    /* The proof first: what is held of a log is told to its key's holder only. */
    rc = shelf->ops->find_log(shelf->ctx, renewal.from.origin, &old, err);
    if (rc != FSP_OK && rc != FSP_ENOTFOUND)
        return rc;
    fits = rc == FSP_ENOTFOUND || is_proved(p, &renewal, &old);
    rc = fits ? weigh(p, &renewal, &old, &row, &fits, err) : FSP_OK;
    if (rc != FSP_OK || *p->status != 0)
        return rc;
    if (!fits)
        return plain_403(p, "the renewal does not fit the log that it continues, or is not "
                            "proved by its key; it needs a new invitation");
    row.from = old.id;
    memcpy(row.proof, renewal.proof, sizeof(row.proof));
    rc = shelf->ops->invite(shelf->ctx, rig, mark, p->log.enrolled_s, err);
    if (rc == FSP_OK)
        rc = enrol(p, err);
    return rc == FSP_OK && *p->status == 0 ? keep_renewal(p, &row, err) : rc;
}

/* A log that was invited may continue another one too: the old key was lost, or the PC. */
static enum fsp_rc
note_renewal(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf_renewal row = {.how = FSP_RENEWAL_UNFIT};
    struct fsp_renewal renewal;
    struct fsp_shelf_log old;
    bool fits = false;
    enum fsp_rc rc;

    if (p->head->old_size > 0 || p->n == 0 ||
            fsp_renewal_read(&renewal, p->entries[0].bytes, p->entries[0].len, NULL) != FSP_OK)
        return FSP_OK;
    rc = weigh(p, &renewal, &old, &row, &fits, err);
    if (rc != FSP_OK || *p->status != 0)
        return rc;
    if (fits) {
        row.from = old.id;
        row.how = is_proved(p, &renewal, &old) ? FSP_RENEWAL_PROVED : FSP_RENEWAL_INVITED;
        memcpy(row.proof, renewal.proof, sizeof(row.proof));
    }
    return keep_renewal(p, &row, err);
}

/* ---- all of them ------------------------------------------------------------------------- */

/* Enrol within the open transaction. *status stays 0 when it went well. */
static enum fsp_rc
enrol_by_token(struct passage *p, const uint8_t mark[FSP_MARK_LEN], struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    struct fsp_shelf_invitation invitation;
    enum fsp_rc rc = shelf->ops->invitation(shelf->ctx, mark, &invitation, err);

    if (rc == FSP_ENOTFOUND)
        return plain_403(p, "no such invitation; ask the office for one");
    if (rc != FSP_OK)
        return rc;
    if (invitation.used)
        return plain_403(p, "this invitation was used with another log; ask for a new one");
    if (!origin_fits(p->head->head.origin, p->intake->fleet, invitation.rig))
        return plain_403(p, "this invitation is for another rig or fleet");
    fill_log(p, invitation.rig, mark);
    rc = enrol(p, err);
    return rc == FSP_OK && *p->status == 0 ? note_renewal(p, err) : rc;
}

static enum fsp_rc
enrol_new(struct passage *p, const uint8_t mark[FSP_MARK_LEN], struct fsp_err *err)
{
    char rig[FSP_NAME_MAX + 1];

    if (p->head->enrolment)
        return enrol_by_token(p, mark, err);
    if (p->head->renewal)
        return enrol_by_renewal(p, err);
    /* An office that lost it says so in its own name: the rig begins again, with its enrolment. */
    if (split_origin(p->head->head.origin, p->intake->fleet, rig))
        return fsp_intake_gap(p, p->head->head.origin, 0, err);
    return plain_403(p, "this log is not enrolled here; send it with its invitation");
}

enum fsp_rc
fsp_intake_find_log(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    const struct fsp_bundle_head *head = p->head;
    uint8_t mark[FSP_MARK_LEN] = {0};
    enum fsp_rc rc = shelf->ops->find_log(shelf->ctx, head->head.origin, &p->log, err);

    if (rc != FSP_OK && rc != FSP_ENOTFOUND)
        return rc;
    if (head->enrolment)
        fsp_leaf_hash(head->token, sizeof(head->token), mark);
    if (rc == FSP_ENOTFOUND) {
        rc = enrol_new(p, mark, err);
        if (rc != FSP_OK || *p->status != 0)
            return rc;
    } else if ((head->enrolment && memcmp(mark, p->log.mark, sizeof(mark)) != 0) ||
               ((head->enrolment || head->renewal) &&
                       memcmp(head->rig_pub, p->log.pub, sizeof(p->log.pub)) != 0)) {
        return plain_403(p, "this log is enrolled with another key or invitation");
    }
    rc = shelf->ops->continued(shelf->ctx, p->log.id, 0, &p->closing, err);
    p->closed = rc == FSP_OK;
    if (rc != FSP_OK && rc != FSP_ENOTFOUND)
        return rc;
    rc = fsp_vkey_make(&p->vkey, p->log.origin, FSP_KEY_NOTE, p->log.pub, err);
    if (rc == FSP_EFORMAT || rc == FSP_EINVAL)
        return plain_403(p, "the rig's key is no good key");
    return rc;
}
