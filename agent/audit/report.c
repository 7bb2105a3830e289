#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "audit/report_priv.h"
#include "audit/verify.h"
#include "base/clock.h"
#include "base/text.h"

#define LAST_SHOWN_S INT64_C(253402300799) /* 9999-12-31T23:59:59Z */

/* What a record of some kind is told by, besides what all have. */
static const char *const told[] = {"fleet", "rig", "reel", "inspector", "scope", "decision",
        "entry", "op", "length", "reason"};

/* What is left open about the person who signed, or should have. */
static size_t
not_proved_of_signature(const struct fsp_verdict *verdict, const char **sentences)
{
    const struct fsp_audit_signature *signature = &verdict->signature;
    size_t n = 0;

    if (!signature->asked)
        return 0;
    if (!signature->judged) {
        sentences[n++] = "who the inspector was: the inspector's own signature is not judged "
                         "without a roster";
        return n;
    }
    if (signature->state != FSP_SIG_GOOD) {
        sentences[n++] = "who the signer was: no signature counts, so the name is only what "
                         "somebody entered";
        return n;
    }
    sentences[n++] = "that this roster is the newest: a later one may have revoked the key";
    if (signature->trust == FSP_TRUST_ENCLOSED)
        sentences[n++] = "whose key signed the roster: the office's instructions key came with "
                         "the evidence";
    return n;
}

const char *
fsp_audit_not_proved(const struct fsp_verdict *verdict, size_t i)
{
    const char *sentences[10];
    size_t n = 0;

    if (verdict->trust == FSP_TRUST_ENCLOSED)
        sentences[n++] = "whose keys these are: they came with the evidence";
    sentences[n++] = "when it was written before that time: the times inside are the rig's own "
                     "clock";
    sentences[n++] = "that what it says is true, or that nothing was left unentered";
    sentences[n++] = "that no later entry amends it";
    if (verdict->statement.cosigned == 0)
        sentences[n++] = "that anybody but the rig has seen it: no witness cosigned";
    else if (verdict->statement.cosigned == 1)
        sentences[n++] =
                "that rig and office did not invent the history together: only a second "
                "witness excludes that";
    n += not_proved_of_signature(verdict, sentences + n);
    return i < n ? sentences[i] : NULL;
}

/* A cosigner's time; out holds FSP_TIME_TEXT_LEN + 1. */
void
fsp_report_time(uint64_t time_s, char *out)
{
    fsp_time_text(time_s > (uint64_t)LAST_SHOWN_S ? LAST_SHOWN_S : (int64_t)time_s, out);
}

void
fsp_report_line(struct fsp_buf *buf, const char *label, const char *value)
{
    fsp_buf_printf(buf, "  %-10s ", label);
    fsp_text_show(buf, value, strnlen(value, 300));
    fsp_buf_add_byte(buf, '\n');
}

static void
text_record(const struct fsp_verdict *verdict, struct fsp_buf *buf)
{
    static const char *const common[] = {"kind", "at", "noted", "by"};
    const struct fsp_record *record = verdict->record;

    if (record == NULL) {
        fsp_buf_add_text(buf, "  its bytes are proved, but they are no record that this "
                              "program can read: ");
        fsp_text_show(buf, verdict->unread, strlen(verdict->unread));
        fsp_buf_add_byte(buf, '\n');
        return;
    }
    for (size_t i = 0; i < sizeof(common) / sizeof(common[0]); i++) {
        const char *value = fsp_record_text(record, common[i]);

        if (value != NULL)
            fsp_report_line(buf, common[i], value);
    }
    for (size_t i = 0; i < sizeof(told) / sizeof(told[0]); i++) {
        const char *value = fsp_record_text(record, told[i]);

        if (value != NULL)
            fsp_report_line(buf, told[i], value);
    }
}

static void
text_statement(const struct fsp_statement *statement, struct fsp_buf *buf)
{
    char leaf[2 * FSP_HASH_LEN + 1];

    fsp_text_hex(leaf, statement->leaf, FSP_HASH_LEN);
    fsp_buf_printf(buf,
            "Where\n"
            "  %-10s %" PRIu64 " (the first is 0)\n"
            "  %-10s %s\n"
            "  %-10s %s\n"
            "  %-10s %" PRIu64 " entries, root ",
            "entry", statement->index, "log", statement->head.origin, "leaf", leaf, "tree",
            statement->head.size);
    fsp_base64(buf, statement->head.root, FSP_HASH_LEN);
    fsp_buf_add_byte(buf, '\n');
    fsp_report_line(buf, "signed by", statement->log.name);
    for (size_t i = 0; i < statement->cosigned; i++) {
        char at[FSP_TIME_TEXT_LEN + 1];

        fsp_report_time(statement->cosigned_s[i], at);
        fsp_buf_printf(buf, "  %-10s %s by %s\n", "cosigned", at, statement->cosigner[i].name);
    }
}

static void
text_signature(const struct fsp_verdict *verdict, struct fsp_buf *buf)
{
    const struct fsp_audit_signature *signature = &verdict->signature;
    char at[FSP_TIME_TEXT_LEN + 1];

    if (!signature->asked)
        return;
    fsp_buf_add_text(buf, "Signature\n");
    if (!signature->judged) {
        fsp_report_line(buf, "state",
                !verdict->has_roster_file ? "there, not judged without a roster"
                : verdict->office.n > 0   ? "there, not judged: the roster is of another log"
                                          : "there, not judged: the roster's key is not known");
        return;
    }
    fsp_report_line(buf, "state", fsp_sig_state_text(signature->state));
    fsp_report_line(buf, "signer", signature->name);
    if (signature->fingerprint[0] != '\0')
        fsp_report_line(buf, "key", signature->fingerprint);
    if (signature->version > 0) {
        fsp_time_text(signature->made_s, at);
        fsp_buf_printf(
                buf, "  %-10s version %" PRIu64 " of %s\n", "roster", signature->version, at);
    }
    if (signature->seen_after_revoked) {
        fsp_time_text(signature->revoked_s, at);
        fsp_buf_printf(buf,
                "  the key was revoked from %s on, and the office first saw this entry after "
                "that: who stole the key could have written an earlier time\n",
                at);
    }
}

static void
text_relations(const struct fsp_verdict *verdict, struct fsp_buf *buf)
{
    if (verdict->relations > 0)
        fsp_buf_add_text(buf, "Beside it\n");
    for (size_t i = 0; i < verdict->relations; i++) {
        const struct fsp_audit_relation *relation = &verdict->relation[i];

        fsp_buf_printf(
                buf, "  %s entry %" PRIu64, fsp_relation_text(relation->how), relation->index);
        if (strcmp(relation->origin, verdict->statement.head.origin) != 0)
            fsp_buf_printf(buf, " of %s", relation->origin);
        if (relation->how == FSP_COUNTERSIGNED_BY) {
            fsp_buf_add_text(buf, ", by ");
            fsp_text_show(buf, relation->name, strlen(relation->name));
            fsp_buf_printf(buf, ": %s",
                    relation->judged ? fsp_sig_state_text(relation->state)
                                     : "not judged without a roster");
        }
        fsp_buf_add_byte(buf, '\n');
    }
    if (verdict->more_relations > 0)
        fsp_buf_printf(buf, "  and %zu more\n", verdict->more_relations);
}

static void
text_proved(const struct fsp_verdict *verdict, struct fsp_buf *buf)
{
    const struct fsp_statement *statement = &verdict->statement;

    fsp_buf_printf(buf,
            "Proved\n"
            "  these bytes, unchanged, are entry %" PRIu64 " of that log, whose key signed the "
            "tree\n",
            statement->index);
    if (verdict->signature.judged && verdict->signature.state == FSP_SIG_GOOD &&
            verdict->signature.fingerprint[0] != '\0') {
        fsp_buf_add_text(buf, "  the key that the roster gives to ");
        fsp_text_show(buf, verdict->signature.name, strlen(verdict->signature.name));
        fsp_buf_add_text(buf, " signed it\n");
    }
    for (size_t i = 0; i < statement->cosigned; i++) {
        char at[FSP_TIME_TEXT_LEN + 1];

        fsp_report_time(statement->cosigned_s[i], at);
        fsp_buf_printf(buf, "  %s had seen it by %s of its own clock\n",
                statement->cosigner[i].name, at);
    }
    fsp_buf_add_text(buf, "Not proved\n");
    for (size_t i = 0; fsp_audit_not_proved(verdict, i) != NULL; i++)
        fsp_buf_printf(buf, "  %s\n", fsp_audit_not_proved(verdict, i));
}

const char *
fsp_relation_text(enum fsp_relation how)
{
    switch (how) {
    case FSP_COUNTERSIGNED_BY:
        return "countersigned by";
    case FSP_AMENDED_BY:
        return "amended by";
    case FSP_VOIDED_BY:
        return "voided by";
    case FSP_NAMES:
        return "names";
    }
    return "names";
}

/* The keys that the statement rests on: the log's, then each cosigner's. */
static const struct fsp_vkey *
used_key(const struct fsp_statement *statement, size_t i)
{
    if (i == 0)
        return &statement->log;
    return i <= statement->cosigned ? &statement->cosigner[i - 1] : NULL;
}

void
fsp_report_keys(const struct fsp_statement *statement, enum fsp_trust trust,
        const struct fsp_audit_job *job, struct fsp_buf *buf)
{
    switch (trust) {
    case FSP_TRUST_ENCLOSED:
        fsp_buf_add_text(buf, "The keys came with the evidence; compare their fingerprints "
                              "with ones got elsewhere:");
        break;
    case FSP_TRUST_GIVEN:
        fsp_buf_add_text(buf, "The keys are those of ");
        fsp_text_show(buf, job->trust, strlen(job->trust));
        fsp_buf_add_text(buf, ", fingerprints:");
        break;
    case FSP_TRUST_PINNED:
        fsp_buf_add_text(buf, "The keys have the fingerprints given with --pin:");
        break;
    }
    for (size_t i = 0; used_key(statement, i) != NULL; i++) {
        const struct fsp_vkey *vkey = used_key(statement, i);
        char fingerprint[65];

        fsp_vkey_fingerprint(vkey, fingerprint);
        fsp_buf_printf(buf, "%s %s %s", i == 0 ? "" : ",", vkey->name, fingerprint);
    }
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_report_office_keys(const struct fsp_audit_office *office, struct fsp_buf *buf)
{
    if (office->n == 0)
        return;
    fsp_buf_add_text(buf, office->trust == FSP_TRUST_ENCLOSED
                                  ? "The roster's key came with the evidence too:"
                          : office->trust == FSP_TRUST_GIVEN
                                  ? "The roster's key was given with --instructions:"
                                  : "The roster's key has a fingerprint given with --pin:");
    for (size_t i = 0; i < office->n; i++) {
        char fingerprint[65];

        fsp_vkey_fingerprint(&office->key[i], fingerprint);
        fsp_buf_printf(buf, "%s %s %s", i == 0 ? "" : ",", office->key[i].name, fingerprint);
    }
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_audit_text(
        const struct fsp_verdict *verdict, const struct fsp_audit_job *job, struct fsp_buf *buf)
{
    fsp_buf_add_text(
            buf, verdict->rc == FSP_OK ? "VERIFIED " : "ENTRY VERIFIED, SIGNATURE NOT ");
    fsp_text_show(buf, job->file, strlen(job->file));
    fsp_buf_add_text(buf, "\nRecord\n");
    text_record(verdict, buf);
    text_signature(verdict, buf);
    text_relations(verdict, buf);
    text_statement(&verdict->statement, buf);
    for (size_t i = 0; i < verdict->doubts; i++)
        fsp_buf_printf(buf, "Doubt\n  %s\n", verdict->doubt[i]);
    text_proved(verdict, buf);
    if (verdict->signature.version > 0)
        fsp_report_office_keys(&verdict->office, buf);
    fsp_report_keys(&verdict->statement, verdict->trust, job, buf);
}

/* A JSON string of any bytes: what is not printable shows as \xHH, with the backslash escaped. */
void
fsp_report_json_text(struct fsp_buf *buf, const char *text)
{
    struct fsp_buf shown;

    fsp_buf_init(&shown, 8 * FSP_ENTRY_MAX);
    fsp_text_show(&shown, text, strlen(text));
    if (shown.rc != FSP_OK && buf->rc == FSP_OK)
        buf->rc = shown.rc;
    fsp_buf_add_byte(buf, '"');
    for (size_t i = 0; i < shown.len; i++) {
        if (shown.data[i] == '"' || shown.data[i] == '\\')
            fsp_buf_add_byte(buf, '\\');
        fsp_buf_add_byte(buf, shown.data[i]);
    }
    fsp_buf_add_byte(buf, '"');
    fsp_buf_fini(&shown);
}

void
fsp_report_json_member(struct fsp_buf *buf, const char *name, const char *value)
{
    fsp_buf_printf(buf, ",\"%s\":", name);
    fsp_report_json_text(buf, value);
}

void
fsp_report_json_key(struct fsp_buf *buf, const struct fsp_vkey *vkey)
{
    char fingerprint[65];

    fsp_vkey_fingerprint(vkey, fingerprint);
    fsp_buf_add_text(buf, "{\"name\":");
    fsp_report_json_text(buf, vkey->name);
    fsp_report_json_member(buf, "fingerprint", fingerprint);
    fsp_buf_add_byte(buf, '}');
}

void
fsp_report_json_head(const struct fsp_statement *statement, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "\"size\":%" PRIu64 ",\"root\":\"", statement->head.size);
    fsp_base64(buf, statement->head.root, FSP_HASH_LEN);
    fsp_buf_add_text(buf, "\",\"signed\":");
    fsp_report_json_key(buf, &statement->log);
    fsp_buf_add_text(buf, ",\"cosigned\":[");
    for (size_t i = 0; i < statement->cosigned; i++) {
        char at[FSP_TIME_TEXT_LEN + 1];

        fsp_report_time(statement->cosigned_s[i], at);
        fsp_buf_printf(buf,
                "%s{\"at\":\"%s\",\"time_s\":%" PRIu64 ",\"key\":", i == 0 ? "" : ",", at,
                statement->cosigned_s[i]);
        fsp_report_json_key(buf, &statement->cosigner[i]);
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
}

static void
json_statement(const struct fsp_statement *statement, struct fsp_buf *buf)
{
    char leaf[2 * FSP_HASH_LEN + 1];

    fsp_text_hex(leaf, statement->leaf, FSP_HASH_LEN);
    fsp_report_json_member(buf, "log", statement->head.origin);
    fsp_buf_printf(buf, ",\"index\":%" PRIu64 ",\"leaf\":\"%s\",", statement->index, leaf);
    fsp_report_json_head(statement, buf);
}

static void
json_signature(const struct fsp_verdict *verdict, struct fsp_buf *buf)
{
    const struct fsp_audit_signature *signature = &verdict->signature;
    char at[FSP_TIME_TEXT_LEN + 1];

    if (!signature->asked)
        return;
    fsp_buf_add_text(buf, ",\"signature\":{\"state\":");
    fsp_report_json_text(
            buf, signature->judged ? fsp_sig_state_text(signature->state) : "not judged");
    fsp_report_json_member(buf, "signer", signature->name);
    if (signature->fingerprint[0] != '\0')
        fsp_report_json_member(buf, "fingerprint", signature->fingerprint);
    if (signature->version > 0) {
        fsp_time_text(signature->made_s, at);
        fsp_buf_printf(buf,
                ",\"roster\":{\"version\":%" PRIu64 ",\"made\":\"%s\",\"trust\":\"%s\"}",
                signature->version, at, fsp_trust_word(signature->trust));
    }
    if (signature->seen_after_revoked)
        fsp_buf_add_text(buf, ",\"seen_after_revoked\":true");
    fsp_buf_add_byte(buf, '}');
}

static void
json_relations(const struct fsp_verdict *verdict, struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, ",\"beside\":[");
    for (size_t i = 0; i < verdict->relations; i++) {
        const struct fsp_audit_relation *relation = &verdict->relation[i];

        fsp_buf_printf(buf, "%s{\"is\":\"%s\",\"index\":%" PRIu64, i == 0 ? "" : ",",
                fsp_relation_text(relation->how), relation->index);
        fsp_report_json_member(buf, "log", relation->origin);
        if (relation->how == FSP_COUNTERSIGNED_BY) {
            fsp_report_json_member(buf, "signer", relation->name);
            fsp_report_json_member(buf, "state",
                    relation->judged ? fsp_sig_state_text(relation->state) : "not judged");
        }
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
}

static void
json_verified(const struct fsp_verdict *verdict, struct fsp_buf *buf)
{
    json_statement(&verdict->statement, buf);
    if (verdict->record != NULL) {
        fsp_buf_add_text(buf, ",\"record\":");
        fsp_record_write(verdict->record, buf);
    } else {
        fsp_report_json_member(buf, "unread", verdict->unread);
    }
    json_signature(verdict, buf);
    json_relations(verdict, buf);
    fsp_buf_add_text(buf, ",\"doubts\":[");
    for (size_t i = 0; i < verdict->doubts; i++) {
        fsp_buf_add_text(buf, i == 0 ? "" : ",");
        fsp_report_json_text(buf, verdict->doubt[i]);
    }
    fsp_buf_add_text(buf, "],\"not_proved\":[");
    for (size_t i = 0; fsp_audit_not_proved(verdict, i) != NULL; i++) {
        fsp_buf_add_text(buf, i == 0 ? "" : ",");
        fsp_report_json_text(buf, fsp_audit_not_proved(verdict, i));
    }
    fsp_buf_add_byte(buf, ']');
}

void
fsp_audit_json(
        const struct fsp_verdict *verdict, const struct fsp_audit_job *job, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "{\"verified\":%s,\"file\":", verdict->rc == FSP_OK ? "true" : "false");
    fsp_report_json_text(buf, job->file);
    fsp_report_json_member(buf, "trust", fsp_trust_word(verdict->trust));
    fsp_buf_printf(buf, ",\"entry_verified\":%s", verdict->entry_verified ? "true" : "false");
    if (verdict->rc != FSP_OK)
        fsp_report_json_member(buf, "why", verdict->err.text);
    if (verdict->entry_verified)
        json_verified(verdict, buf);
    fsp_buf_add_text(buf, "}\n");
}
