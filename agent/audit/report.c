#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "audit/verify.h"
#include "base/clock.h"
#include "base/text.h"

#define LAST_SHOWN_S INT64_C(253402300799) /* 9999-12-31T23:59:59Z */

/* What a record of some kind is told by, besides what all have. */
static const char *const told[] = {"fleet", "rig", "reel", "inspector", "scope", "decision",
        "entry", "op", "length", "reason"};

const char *
fsp_audit_not_proved(const struct fsp_verdict *verdict, size_t i)
{
    const char *kind =
            verdict->record == NULL ? NULL : fsp_record_text(verdict->record, "kind");
    const char *sentences[8];
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
    if (kind != NULL && strcmp(kind, "inspection") == 0)
        sentences[n++] = "who the inspector was: the inspector's own signature is not judged "
                         "without a roster";
    return i < n ? sentences[i] : NULL;
}

static const char *
trust_word(enum fsp_trust trust)
{
    switch (trust) {
    case FSP_TRUST_ENCLOSED:
        return "enclosed";
    case FSP_TRUST_GIVEN:
        return "given";
    case FSP_TRUST_PINNED:
        return "pinned";
    }
    return "enclosed";
}

/* A cosigner's time; out holds FSP_TIME_TEXT_LEN + 1. */
static void
time_text(uint64_t time_s, char *out)
{
    fsp_time_text(time_s > (uint64_t)LAST_SHOWN_S ? LAST_SHOWN_S : (int64_t)time_s, out);
}

static void
text_line(struct fsp_buf *buf, const char *label, const char *value)
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
            text_line(buf, common[i], value);
    }
    for (size_t i = 0; i < sizeof(told) / sizeof(told[0]); i++) {
        const char *value = fsp_record_text(record, told[i]);

        if (value != NULL)
            text_line(buf, told[i], value);
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
    text_line(buf, "signed by", statement->log.name);
    for (size_t i = 0; i < statement->cosigned; i++) {
        char at[FSP_TIME_TEXT_LEN + 1];

        time_text(statement->cosigned_s[i], at);
        fsp_buf_printf(buf, "  %-10s %s by %s\n", "cosigned", at, statement->cosigner[i].name);
    }
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
    for (size_t i = 0; i < statement->cosigned; i++) {
        char at[FSP_TIME_TEXT_LEN + 1];

        time_text(statement->cosigned_s[i], at);
        fsp_buf_printf(buf, "  %s had seen it by %s of its own clock\n",
                statement->cosigner[i].name, at);
    }
    fsp_buf_add_text(buf, "Not proved\n");
    for (size_t i = 0; fsp_audit_not_proved(verdict, i) != NULL; i++)
        fsp_buf_printf(buf, "  %s\n", fsp_audit_not_proved(verdict, i));
}

/* The keys that the statement rests on: the log's, then each cosigner's. */
static const struct fsp_vkey *
used_key(const struct fsp_statement *statement, size_t i)
{
    if (i == 0)
        return &statement->log;
    return i <= statement->cosigned ? &statement->cosigner[i - 1] : NULL;
}

static void
text_keys(
        const struct fsp_verdict *verdict, const struct fsp_audit_job *job, struct fsp_buf *buf)
{
    switch (verdict->trust) {
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
    for (size_t i = 0; used_key(&verdict->statement, i) != NULL; i++) {
        const struct fsp_vkey *vkey = used_key(&verdict->statement, i);
        char fingerprint[65];

        fsp_vkey_fingerprint(vkey, fingerprint);
        fsp_buf_printf(buf, "%s %s %s", i == 0 ? "" : ",", vkey->name, fingerprint);
    }
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_audit_text(
        const struct fsp_verdict *verdict, const struct fsp_audit_job *job, struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, "VERIFIED ");
    fsp_text_show(buf, job->file, strlen(job->file));
    fsp_buf_add_text(buf, "\nRecord\n");
    text_record(verdict, buf);
    text_statement(&verdict->statement, buf);
    for (size_t i = 0; i < verdict->doubts; i++)
        fsp_buf_printf(buf, "Doubt\n  %s\n", verdict->doubt[i]);
    text_proved(verdict, buf);
    text_keys(verdict, job, buf);
}

/* A JSON string of any bytes: what is not printable shows as \xHH, with the backslash escaped. */
static void
json_text(struct fsp_buf *buf, const char *text)
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

static void
json_member(struct fsp_buf *buf, const char *name, const char *value)
{
    fsp_buf_printf(buf, ",\"%s\":", name);
    json_text(buf, value);
}

static void
json_key(struct fsp_buf *buf, const struct fsp_vkey *vkey)
{
    char fingerprint[65];

    fsp_vkey_fingerprint(vkey, fingerprint);
    fsp_buf_add_text(buf, "{\"name\":");
    json_text(buf, vkey->name);
    json_member(buf, "fingerprint", fingerprint);
    fsp_buf_add_byte(buf, '}');
}

static void
json_statement(const struct fsp_statement *statement, struct fsp_buf *buf)
{
    char leaf[2 * FSP_HASH_LEN + 1];

    fsp_text_hex(leaf, statement->leaf, FSP_HASH_LEN);
    json_member(buf, "log", statement->head.origin);
    fsp_buf_printf(buf,
            ",\"index\":%" PRIu64 ",\"leaf\":\"%s\",\"size\":%" PRIu64 ",\"root\":\"",
            statement->index, leaf, statement->head.size);
    fsp_base64(buf, statement->head.root, FSP_HASH_LEN);
    fsp_buf_add_text(buf, "\",\"signed\":");
    json_key(buf, &statement->log);
    fsp_buf_add_text(buf, ",\"cosigned\":[");
    for (size_t i = 0; i < statement->cosigned; i++) {
        char at[FSP_TIME_TEXT_LEN + 1];

        time_text(statement->cosigned_s[i], at);
        fsp_buf_printf(buf,
                "%s{\"at\":\"%s\",\"time_s\":%" PRIu64 ",\"key\":", i == 0 ? "" : ",", at,
                statement->cosigned_s[i]);
        json_key(buf, &statement->cosigner[i]);
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
        json_member(buf, "unread", verdict->unread);
    }
    fsp_buf_add_text(buf, ",\"doubts\":[");
    for (size_t i = 0; i < verdict->doubts; i++) {
        fsp_buf_add_text(buf, i == 0 ? "" : ",");
        json_text(buf, verdict->doubt[i]);
    }
    fsp_buf_add_text(buf, "],\"not_proved\":[");
    for (size_t i = 0; fsp_audit_not_proved(verdict, i) != NULL; i++) {
        fsp_buf_add_text(buf, i == 0 ? "" : ",");
        json_text(buf, fsp_audit_not_proved(verdict, i));
    }
    fsp_buf_add_byte(buf, ']');
}

void
fsp_audit_json(
        const struct fsp_verdict *verdict, const struct fsp_audit_job *job, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "{\"verified\":%s,\"file\":", verdict->rc == FSP_OK ? "true" : "false");
    json_text(buf, job->file);
    json_member(buf, "trust", trust_word(verdict->trust));
    if (verdict->rc == FSP_OK)
        json_verified(verdict, buf);
    else
        json_member(buf, "why", verdict->err.text);
    fsp_buf_add_text(buf, "}\n");
}
