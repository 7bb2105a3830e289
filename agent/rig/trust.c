#include "rig/trust.h"

#include <string.h>

#include "base/text.h"
#include "rig/journal_priv.h"
#include "rig/word_sql.h"

/* One more, once. More than an office hands over are not kept. */
static void
add(struct fsp_vkey *keys, size_t *n, const struct fsp_vkey *key)
{
    for (size_t i = 0; i < *n; i++)
        if (fsp_vkey_equal(&keys[i], key))
            return;
    if (*n < FSP_ATTEST_KEYS_MAX)
        keys[(*n)++] = *key;
}

static enum fsp_rc
damaged(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_ECORRUPT, "the store's list of the office's keys is damaged");
}

static enum fsp_rc
add_row(struct fsp_trust *trust, const char *what, const char *value, struct fsp_err *err)
{
    struct fsp_vkey vkey;

    if (what == NULL || value == NULL)
        return damaged(err);
    if (strcmp(what, "renewed") == 0) {
        trust->n_cosigners = 0;
        trust->n_instructions = 0;
        return FSP_OK;
    }
    if (strcmp(what, "box") == 0)
        return strlen(value) == 2 * sizeof(trust->box_pub) &&
                               fsp_text_unhex(trust->box_pub, sizeof(trust->box_pub), value) ==
                                       FSP_OK
                       ? FSP_OK
                       : damaged(err);
    if (fsp_vkey_parse(&vkey, value, strlen(value), NULL) != FSP_OK)
        return damaged(err);
    if (strcmp(what, "cosigner") == 0) {
        add(trust->cosigners, &trust->n_cosigners, &vkey);
        add(trust->cosigners_ever, &trust->n_cosigners_ever, &vkey);
    } else {
        add(trust->instructions, &trust->n_instructions, &vkey);
        add(trust->ever, &trust->n_ever, &vkey);
    }
    return FSP_OK;
}

enum fsp_rc
fsp_trust_load(struct fsp_journal *journal, struct fsp_trust *trust, struct fsp_err *err)
{
    const struct fsp_journal_about *about = fsp_journal_about(journal);
    struct fsp_stmt *stmt = NULL;
    bool row = true;
    enum fsp_rc rc = fsp_stmt_get(fsp_journal_db(journal), FSP_SQL_KEY_ALL, &stmt, err);

    memset(trust, 0, sizeof(*trust));
    add(trust->cosigners, &trust->n_cosigners, &about->cosigner);
    add(trust->cosigners_ever, &trust->n_cosigners_ever, &about->cosigner);
    add(trust->instructions, &trust->n_instructions, &about->instructions);
    add(trust->ever, &trust->n_ever, &about->instructions);
    memcpy(trust->box_pub, about->box_pub, sizeof(trust->box_pub));
    while (rc == FSP_OK && row) {
        rc = fsp_stmt_step(stmt, &row, err);
        if (rc == FSP_OK && row)
            rc = add_row(trust, fsp_stmt_text(stmt, 0), fsp_stmt_text(stmt, 1), err);
    }
    if (stmt != NULL)
        fsp_stmt_reset(stmt);
    return rc;
}

static enum fsp_rc
cosigned_by(const struct fsp_vkey *keys, size_t n, const struct fsp_note *note,
        const struct fsp_vkey **cosigner, uint64_t *time_s, struct fsp_err *err)
{
    *cosigner = NULL;
    *time_s = 0;
    for (size_t i = 0; i < n; i++) {
        uint64_t line_s = 0;
        enum fsp_rc rc = fsp_note_verify(note, &keys[i], &line_s, err);

        if (rc == FSP_ENOTFOUND)
            continue;
        if (rc != FSP_OK)
            return rc;
        if (*cosigner == NULL) {
            *cosigner = &keys[i];
            *time_s = line_s;
        }
    }
    return *cosigner != NULL
                   ? FSP_OK
                   : fsp_err_set(err, FSP_EVERIFY, "no cosigner of the office signed it");
}

enum fsp_rc
fsp_trust_cosigned(const struct fsp_trust *trust, const struct fsp_note *note,
        const struct fsp_vkey **cosigner, uint64_t *time_s, struct fsp_err *err)
{
    return cosigned_by(trust->cosigners, trust->n_cosigners, note, cosigner, time_s, err);
}

enum fsp_rc
fsp_trust_was_cosigned(const struct fsp_trust *trust, const struct fsp_note *note,
        const struct fsp_vkey **cosigner, struct fsp_err *err)
{
    uint64_t time_s = 0;

    return cosigned_by(
            trust->cosigners_ever, trust->n_cosigners_ever, note, cosigner, &time_s, err);
}

/* ---- writing ------------------------------------------------------------------------------ */

static enum fsp_rc
keep(struct fsp_journal *journal, const char *what, const char *value, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(fsp_journal_db(journal), FSP_SQL_KEY_ADD, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, what);
    fsp_stmt_bind_text(stmt, 2, value);
    return fsp_stmt_run(stmt, err);
}

static enum fsp_rc
keep_vkey(struct fsp_journal *journal, const char *what, const struct fsp_vkey *vkey,
        struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&text, FSP_VKEY_MAX);
    fsp_vkey_write(vkey, &text);
    rc = fsp_buf_check(&text, "a verifier key", err);
    if (rc == FSP_OK)
        rc = keep(journal, what, fsp_buf_peek(&text), err);
    fsp_buf_fini(&text);
    return rc;
}

/* The journal's own fields: what the link compares the office's TLS key with. */
static enum fsp_rc
keep_pins(struct fsp_journal *journal, const uint8_t pins[][32], size_t n, struct fsp_err *err)
{
    static const char *const keys[FSP_PINS] = {"pin", "pin-spare"};
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < FSP_PINS; i++) {
        const uint8_t *pin = pins[i < n ? i : 0]; /* only one: it stands for both */
        char hex[2 * FSP_PIN_LEN + 1];

        fsp_text_hex(hex, pin, FSP_PIN_LEN);
        rc = fsp_journal_set_meta(fsp_journal_db(journal), keys[i], hex, err);
    }
    return rc;
}

enum fsp_rc
fsp_trust_add(struct fsp_journal *journal, const struct fsp_new_keys *keys, struct fsp_err *err)
{
    char hex[2 * sizeof(keys->box_pub) + 1];
    enum fsp_rc rc = FSP_OK;

    if (keys->has_cosigner)
        rc = keep_vkey(journal, "cosigner", &keys->cosigner, err);
    if (rc == FSP_OK && keys->has_instructions)
        rc = keep_vkey(journal, "instructions", &keys->instructions, err);
    if (rc == FSP_OK && keys->has_box) {
        fsp_text_hex(hex, keys->box_pub, sizeof(keys->box_pub));
        rc = keep(journal, "box", hex, err);
    }
    if (rc == FSP_OK && keys->n_pins > 0)
        rc = keep_pins(journal, keys->pins, keys->n_pins, err);
    return rc;
}

enum fsp_rc
fsp_trust_invited(struct fsp_journal *journal, const struct fsp_invitation *invitation,
        struct fsp_err *err)
{
    struct fsp_new_keys keys = {.has_cosigner = true,
            .cosigner = invitation->cosigner,
            .has_instructions = true,
            .instructions = invitation->instructions,
            .has_box = true};
    char token[2 * FSP_TOKEN_LEN + 1];
    enum fsp_rc rc;

    memcpy(keys.box_pub, invitation->box_pub, sizeof(keys.box_pub));
    if (invitation->has_pins) {
        keys.n_pins = FSP_PINS;
        memcpy(keys.pins, invitation->pins, sizeof(invitation->pins));
    }
    fsp_text_hex(token, invitation->token, sizeof(invitation->token));
    rc = keep(journal, "renewed", token, err);
    return rc == FSP_OK ? fsp_trust_add(journal, &keys, err) : rc;
}
