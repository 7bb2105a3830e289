#include "audit/show.h"

#include <inttypes.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/text.h"
#include "proof/evidence.h"
#include "proof/instruction.h"
#include "proof/request.h"
#include "proof/roster.h"
#include "record/record.h"

#define SECRET_TAG   "farspool-key/v1 "
#define BOX_TAG      "farspool-box-key/v1 "
#define SIGNER_TAG   "farspool-signer/v1 "
#define STATE_TAG    "farspool-witness-state/v1\n"
#define REGISTER_TAG "farspool-register/v1\n"
#define NAME_WIDTH   12
#define LAST_SHOWN_S UINT64_C(253402300799) /* 9999-12-31T23:59:59Z */

static void
show_lines(struct fsp_buf *buf, const uint8_t *bytes, size_t len)
{
    size_t pos = 0;

    while (pos < len) {
        const uint8_t *end = memchr(bytes + pos, '\n', len - pos);
        size_t line_len = end == NULL ? len - pos : (size_t)(end - bytes) - pos;

        fsp_buf_add_text(buf, "  ");
        fsp_text_show(buf, bytes + pos, line_len);
        fsp_buf_add_byte(buf, '\n');
        pos += line_len + (end == NULL ? 0 : 1);
    }
    if (len == 0)
        fsp_buf_add_text(buf, "  (empty)\n");
    else if (bytes[len - 1] != '\n')
        fsp_buf_add_text(buf, "(no newline at the end)\n");
}

static void
show_key(struct fsp_buf *buf, const char *role, const struct fsp_vkey *vkey)
{
    char fingerprint[65];

    fsp_vkey_fingerprint(vkey, fingerprint);
    fsp_buf_printf(buf, "%s of %s, fingerprint %s\n", role, vkey->name, fingerprint);
}

static bool
begins_with(const uint8_t *bytes, size_t len, const char *tag)
{
    return len >= strlen(tag) && memcmp(bytes, tag, strlen(tag)) == 0;
}

/* The verifier key behind the tag; the secret that follows is never looked at. */
static void
show_public(struct fsp_buf *buf, const uint8_t *bytes, size_t len, size_t tag_len)
{
    const uint8_t *space = memchr(bytes + tag_len, ' ', len - tag_len);
    struct fsp_vkey vkey;

    if (space != NULL && fsp_vkey_parse(&vkey, (const char *)bytes + tag_len,
                                 (size_t)(space - bytes) - tag_len, NULL) == FSP_OK)
        show_key(buf, "key", &vkey);
}

static bool
show_secret(struct fsp_buf *buf, const uint8_t *bytes, size_t len)
{
    if (begins_with(bytes, len, BOX_TAG)) {
        fsp_buf_add_text(buf, "a SECRET box key, which belongs in no evidence; not shown\n");
        return true;
    }
    if (begins_with(bytes, len, SIGNER_TAG)) {
        fsp_buf_add_text(buf, "a person's SECRET key under a passphrase, which belongs in no "
                              "evidence; not shown\n");
        show_public(buf, bytes, len, strlen(SIGNER_TAG));
        return true;
    }
    if (!begins_with(bytes, len, SECRET_TAG))
        return false;
    fsp_buf_add_text(
            buf, "a SECRET key, which belongs in no evidence; its seed is not shown\n");
    show_public(buf, bytes, len, strlen(SECRET_TAG));
    return true;
}

static bool
show_vkey(struct fsp_buf *buf, const uint8_t *bytes, size_t len)
{
    struct fsp_vkey vkey;

    if (len > 0 && bytes[len - 1] == '\n')
        len--;
    if (fsp_vkey_parse(&vkey, (const char *)bytes, len, NULL) != FSP_OK)
        return false;
    show_key(buf, vkey.type == FSP_KEY_COSIGNER ? "verifier key (cosigner)" : "verifier key",
            &vkey);
    return true;
}

static bool
show_policy(struct fsp_buf *buf, const uint8_t *bytes, size_t len)
{
    struct fsp_policy *policy = NULL;

    if (fsp_policy_parse(&policy, (const char *)bytes, len, NULL) != FSP_OK)
        return false;
    fsp_buf_add_text(buf, "a policy: which logs and witnesses to trust\n");
    for (size_t i = 0; fsp_policy_key(policy, i) != NULL; i++) {
        const struct fsp_vkey *vkey = fsp_policy_key(policy, i);

        show_key(buf, vkey->type == FSP_KEY_COSIGNER ? "witness key" : "log key", vkey);
    }
    fsp_policy_free(policy);
    return true;
}

static void
show_signature(struct fsp_buf *buf, const struct fsp_note_line *line)
{
    char id[9];
    uint64_t time_s = 0;

    fsp_text_hex(id, line->id, sizeof(line->id));
    fsp_buf_add_text(buf, "signature line of ");
    fsp_text_show(buf, line->name, line->name_len);
    fsp_buf_printf(buf, ", key id %s", id);
    for (size_t i = 0; i < 8 && line->sig_len == 8 + FSP_SIG_LEN; i++)
        time_s = time_s << 8 | line->sig[i];
    if (line->sig_len == 8 + FSP_SIG_LEN && time_s <= LAST_SHOWN_S) {
        char at[FSP_TIME_TEXT_LEN + 1];

        fsp_time_text((int64_t)time_s, at);
        fsp_buf_printf(buf, ", cosigned %s", at);
    }
    fsp_buf_add_byte(buf, '\n');
}

static void
show_roster(struct fsp_buf *buf, const struct fsp_roster *roster)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(roster->made_s, at);
    fsp_buf_printf(buf,
            "a roster: who may sign in the fleet %s; version %" PRIu64 ", made %s\n",
            roster->fleet, roster->version, at);
    for (size_t i = 0; i < roster->n; i++) {
        const struct fsp_roster_signer *signer = &roster->signer[i];
        char from[FSP_TIME_TEXT_LEN + 1];
        char until[FSP_TIME_TEXT_LEN + 1];

        fsp_time_text(signer->from_s, from);
        fsp_time_text(signer->until_s, until);
        fsp_buf_printf(buf, "  %s: %s%s%s, from %.10s, before %.10s", signer->name,
                (signer->may & FSP_MAY_INSPECT) != 0 ? "inspect" : "",
                signer->may == (FSP_MAY_INSPECT | FSP_MAY_COUNTERSIGN) ? ", " : "",
                (signer->may & FSP_MAY_COUNTERSIGN) != 0 ? "countersign" : "", from,
                signer->until_s == INT64_MAX ? "- (open)" : until);
        if (signer->revoked) {
            fsp_time_text(signer->revoked_s, at);
            fsp_buf_printf(buf, ", REVOKED %s", at);
        }
        fsp_buf_add_byte(buf, '\n');
        show_key(buf, "    key", &signer->vkey);
    }
}

static void
show_instruction(struct fsp_buf *buf, const struct fsp_instruction *instruction)
{
    char id[2 * FSP_INSTRUCTION_ID_LEN + 1];
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_text_hex(id, instruction->id, sizeof(instruction->id));
    fsp_time_text(instruction->made_s, at);
    fsp_buf_printf(buf, "an instruction of the office to %s of %s about %s, id %s, made %s\n",
            instruction->rig, instruction->fleet,
            fsp_instruction_about_text(instruction->about), id, at);
}

/* What the text of a note is, whoever signed it. */
static void
show_text(struct fsp_buf *buf, const char *text, size_t len)
{
    struct fsp_checkpoint head;
    struct fsp_roster *roster = NULL;
    struct fsp_instruction instruction;

    if (fsp_checkpoint_parse(&head, text, len, NULL) == FSP_OK) {
        fsp_buf_printf(buf, "a log's signed head: %s with %" PRIu64 " entries\n", head.origin,
                head.size);
    } else if (fsp_roster_parse(&roster, text, len, NULL) == FSP_OK) {
        show_roster(buf, roster);
    } else if (fsp_instruction_parse(&instruction, text, len, NULL) == FSP_OK) {
        show_instruction(buf, &instruction);
    } else {
        fsp_buf_add_text(buf, "a signed note\n");
    }
    fsp_roster_free(roster);
}

static bool
show_note(struct fsp_buf *buf, const void *bytes, size_t len)
{
    struct fsp_note note;

    if (fsp_note_parse(&note, bytes, len, NULL) != FSP_OK)
        return false;
    show_text(buf, note.text, note.text_len);
    for (size_t i = 0; i < note.lines; i++)
        show_signature(buf, &note.line[i]);
    return true;
}

static bool
show_request(struct fsp_buf *buf, const uint8_t *bytes, size_t len)
{
    struct fsp_request request;

    if (fsp_request_parse(&request, (const char *)bytes, len, NULL) != FSP_OK)
        return false;
    fsp_buf_printf(buf,
            "a request to a witness, from %" PRIu64 " to %" PRIu64
            " entries, %zu hashes, with\n",
            request.old, request.head.size, request.n);
    return show_note(buf, request.note, request.note_len);
}

/* Kinds that are known by their first line, and whose lines say the rest. */
static bool
show_named(struct fsp_buf *buf, const uint8_t *bytes, size_t len)
{
    if (begins_with(bytes, len, REGISTER_TAG)) {
        fsp_buf_add_text(buf, "a register: a stretch of a log, complete; verify judges it\n");
        return true;
    }
    if (begins_with(bytes, len, STATE_TAG)) {
        fsp_buf_add_text(buf, "a witness's state: what it cosigned last of a log\n");
        return true;
    }
    return false;
}

static bool
show_proof(struct fsp_buf *buf, const uint8_t *bytes, size_t len)
{
    struct fsp_proof_file proof;

    if (fsp_proof_parse(&proof, (const char *)bytes, len, NULL) != FSP_OK)
        return false;
    fsp_buf_printf(
            buf, "a proof for entry %" PRIu64 ", %zu hashes, with\n", proof.index, proof.n);
    if (!show_note(buf, proof.note, proof.note_len))
        fsp_buf_add_text(buf, "no signed head that can be read\n");
    return true;
}

static void
show_member(struct fsp_buf *buf, const struct fsp_record *record, const char *name)
{
    const struct fsp_record *object = fsp_record_object(record, name);
    const char *text = fsp_record_text(record, name);
    struct fsp_buf canonical;
    int64_t number = 0;

    fsp_buf_add_text(buf, "  ");
    fsp_text_show(buf, name, strlen(name));
    for (size_t i = strlen(name); i < NAME_WIDTH; i++)
        fsp_buf_add_byte(buf, ' ');
    fsp_buf_add_byte(buf, ' ');
    fsp_buf_init(&canonical, FSP_ENTRY_MAX);
    if (text != NULL) {
        fsp_text_show(buf, text, strlen(text));
    } else if (fsp_record_int(record, name, &number)) {
        fsp_buf_printf(buf, "%" PRId64, number);
    } else if (object != NULL) {
        fsp_record_write(object, &canonical);
    } else {
        for (size_t i = 0; fsp_record_item(record, name, i) != NULL; i++) {
            fsp_buf_add_text(&canonical, i == 0 ? "" : " ");
            fsp_record_write(fsp_record_item(record, name, i), &canonical);
        }
    }
    fsp_text_show(buf, fsp_buf_peek(&canonical), canonical.len);
    fsp_buf_add_byte(buf, '\n');
    fsp_buf_fini(&canonical);
}

static bool
show_record(struct fsp_buf *buf, const uint8_t *bytes, size_t len)
{
    struct fsp_record *record = NULL;
    char hex[2 * FSP_HASH_LEN + 1];
    uint8_t leaf[FSP_HASH_LEN];

    if (fsp_record_parse(bytes, len, &record, NULL) != FSP_OK)
        return false;
    fsp_leaf_hash(bytes, len, leaf);
    fsp_text_hex(hex, leaf, sizeof(leaf));
    fsp_buf_printf(buf, "a record, leaf hash %s\n", hex);
    for (size_t i = 0; fsp_record_member(record, i) != NULL; i++)
        show_member(buf, record, fsp_record_member(record, i));
    fsp_record_free(record);
    return true;
}

void
fsp_show(struct fsp_buf *buf, const uint8_t *bytes, size_t len)
{
    if (show_secret(buf, bytes, len))
        return;
    if (!show_record(buf, bytes, len) && !show_proof(buf, bytes, len) &&
            !show_policy(buf, bytes, len) && !show_vkey(buf, bytes, len) &&
            !show_request(buf, bytes, len) && !show_named(buf, bytes, len) &&
            !show_note(buf, bytes, len))
        fsp_buf_printf(buf,
                "no record, proof, policy, key, register, request or signed note: %zu bytes\n",
                len);
    fsp_buf_add_text(buf, "The bytes (nothing of this was verified):\n");
    show_lines(buf, bytes, len);
}
