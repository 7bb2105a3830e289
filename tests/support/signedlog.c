#include "support/signedlog.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "proof/instruction.h"
#include "proof/note.h"
#include "proof/register.h"
#include "proof/signer.h"
#include "record/record.h"

static void
must(enum fsp_rc rc, const struct fsp_err *err)
{
    if (rc == FSP_OK)
        return;
    (void)fprintf(stderr, "signedlog: %s\n", err->text);
    abort();
}

void
signedlog_make(struct signedlog *log)
{
    struct counting counting = {0};
    const struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_err err;

    memset(log, 0, sizeof(*log));
    must(fsp_skey_new(&log->log, EVIDENCE_ORIGIN, FSP_KEY_NOTE, &env, &err), &err);
    must(fsp_skey_new(&log->office, "lantern-basin/office", FSP_KEY_COSIGNER, &env, &err),
            &err);
    must(fsp_skey_new(
                 &log->instructions, "lantern-basin/instructions", FSP_KEY_NOTE, &env, &err),
            &err);
    must(fsp_skey_new(&log->ada, "lantern-basin/signer:ada", FSP_KEY_NOTE, &env, &err), &err);
    must(fsp_skey_new(&log->ben, "lantern-basin/signer:ben", FSP_KEY_NOTE, &env, &err), &err);
    must(fsp_skey_new(&log->eve, "lantern-basin/signer:eve", FSP_KEY_NOTE, &env, &err), &err);
    fsp_buf_init(&log->roster, FSP_NOTE_MAX);
    fsp_range_init(&log->range[0]);
    log->head_s = EVIDENCE_TIME_S;
}

void
signedlog_free(struct signedlog *log)
{
    for (size_t i = 0; i < log->n; i++) {
        fsp_buf_fini(&log->entry[i]);
        fsp_buf_fini(&log->head[i + 1]);
    }
    fsp_buf_fini(&log->roster);
    fsp_skey_free(log->log);
    fsp_skey_free(log->office);
    fsp_skey_free(log->instructions);
    fsp_skey_free(log->ada);
    fsp_skey_free(log->ben);
    fsp_skey_free(log->eve);
}

void
signedlog_sign(struct signedlog *log, size_t size)
{
    struct fsp_checkpoint head = {.origin = EVIDENCE_ORIGIN, .size = size};
    uint8_t line[8 + FSP_SIG_LEN];
    struct fsp_buf text;
    struct fsp_err err;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&log->head[size], FSP_NOTE_MAX);
    fsp_range_root(&log->range[size], head.root);
    fsp_checkpoint_write(&head, &text);
    must(fsp_note_sign(&log->head[size], text.data, text.len, log->log, &err), &err);
    must(fsp_cosign(&head, log->office, log->head_s, line, &err), &err);
    fsp_note_add_line(&log->head[size], fsp_skey_vkey(log->office), line, sizeof(line));
    fsp_buf_fini(&text);
}

size_t
signedlog_put(struct signedlog *log, const char *json)
{
    const size_t i = log->n;
    struct fsp_record *record = NULL;
    struct fsp_err err;

    if (i == SIGNEDLOG_MAX)
        abort();
    must(fsp_record_parse((const uint8_t *)json, strlen(json), &record, &err), &err);
    fsp_buf_init(&log->entry[i], FSP_ENTRY_MAX);
    fsp_record_write(record, &log->entry[i]);
    must(fsp_buf_check(&log->entry[i], "an entry", &err), &err);
    fsp_record_free(record);
    fsp_leaf_hash(log->entry[i].data, log->entry[i].len, log->leaf[i]);
    log->range[i + 1] = log->range[i];
    fsp_range_append_leaf(&log->range[i + 1], log->leaf[i]);
    signedlog_sign(log, i + 1);
    log->n++;
    return i;
}

static void
add_sig(struct fsp_buf *json, const struct fsp_skey *key, const struct fsp_buf *message,
        uint8_t flip)
{
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_err err;

    must(fsp_skey_sign(key, message->data, message->len, sig, &err), &err);
    sig[0] ^= flip;
    fsp_buf_add_text(json, ",\"sig\":\"");
    fsp_base64(json, sig, sizeof(sig));
    fsp_buf_add_text(json, "\"");
}

static size_t
inspect(struct signedlog *log, const struct fsp_skey *key, const char *inspector,
        const char *at, uint8_t flip)
{
    struct fsp_buf json;
    struct fsp_buf message;
    struct fsp_err err;
    size_t index;

    fsp_buf_init(&json, FSP_ENTRY_MAX);
    fsp_buf_init(&message, 2 * FSP_ENTRY_MAX);
    fsp_buf_printf(&json,
            "{\"at\":\"%s\",\"by\":\"clerk\",\"decision\":\"run\",\"fleet\":\"lantern-basin\","
            "\"inspector\":\"%s\",\"kind\":\"inspection\",\"reel\":\"R-1\",\"rig\":\"heron\","
            "\"scope\":\"monthly\",\"v\":1}",
            at, inspector);
    must(fsp_inspection_message(json.data, json.len, &message, &err), &err);
    json.len--; /* the brace */
    if (key != NULL)
        add_sig(&json, key, &message, flip);
    fsp_buf_printf(&json, ",\"noted\":\"%s\"}", at);
    index = signedlog_put(log, fsp_buf_peek(&json));
    fsp_buf_fini(&json);
    fsp_buf_fini(&message);
    return index;
}

size_t
signedlog_inspect(struct signedlog *log, const struct fsp_skey *key, const char *inspector,
        const char *at)
{
    return inspect(log, key, inspector, at, 0);
}

size_t
signedlog_inspect_badly(struct signedlog *log)
{
    return inspect(log, log->ada, "ada", "2026-03-01T03:00:00Z", 1);
}

static void
add_name(struct fsp_buf *json, const struct signedlog *log, size_t entry)
{
    fsp_buf_printf(json, "\"entry\":{\"index\":%zu,\"leaf\":\"", entry);
    fsp_base64(json, log->leaf[entry], FSP_HASH_LEN);
    fsp_buf_add_text(json, "\",\"log\":\"5e1f3a90c2d47b86\"}");
}

size_t
signedlog_countersign(
        struct signedlog *log, const struct fsp_skey *key, const char *signer, size_t entry)
{
    struct fsp_buf json;
    struct fsp_buf message;
    size_t index;

    fsp_buf_init(&json, FSP_ENTRY_MAX);
    fsp_buf_init(&message, 128);
    fsp_countersign_message(log->leaf[entry], &message);
    fsp_buf_add_text(&json, "{\"at\":\"2026-03-01T05:00:00Z\",\"by\":\"clerk\",");
    add_name(&json, log, entry);
    fsp_buf_printf(&json, ",\"kind\":\"countersign\",\"signer\":\"%s\",\"v\":1", signer);
    add_sig(&json, key, &message, 0);
    fsp_buf_add_text(&json, "}");
    index = signedlog_put(log, fsp_buf_peek(&json));
    fsp_buf_fini(&json);
    fsp_buf_fini(&message);
    return index;
}

size_t
signedlog_amend(struct signedlog *log, size_t entry, bool voids)
{
    struct fsp_buf json;
    size_t index;

    fsp_buf_init(&json, FSP_ENTRY_MAX);
    fsp_buf_add_text(&json, "{\"at\":\"2026-03-01T06:00:00Z\",\"by\":\"clerk\",");
    add_name(&json, log, entry);
    fsp_buf_printf(&json, ",\"kind\":\"amend\",\"reason\":\"wrong\",%s,\"v\":1}",
            voids ? "\"void\":\"yes\"" : "\"set\":{\"note\":\"x\"}");
    index = signedlog_put(log, fsp_buf_peek(&json));
    fsp_buf_fini(&json);
    return index;
}

size_t
signedlog_roster(struct signedlog *log, unsigned version, const char *more)
{
    struct fsp_instruction instruction = {
            .fleet = "lantern-basin", .rig = "heron", .about = FSP_ABOUT_ROSTER};
    struct fsp_buf text;
    struct fsp_buf json;
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_err err;
    size_t index;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&json, FSP_NOTE_MAX);
    fsp_buf_printf(&text,
            "farspool-roster/v1\nfleet lantern-basin\nversion %u\nmade 2026-02-28T09:00:00Z\n"
            "signer ",
            version);
    fsp_vkey_write(fsp_skey_vkey(log->ada), &text);
    fsp_buf_add_text(&text, " 2026-03-01 - inspect\nsigner ");
    fsp_vkey_write(fsp_skey_vkey(log->ben), &text);
    fsp_buf_printf(&text, " 2026-03-01 - countersign%s\n", more);
    fsp_buf_reset(&log->roster);
    must(fsp_note_sign(&log->roster, text.data, text.len, log->instructions, &err), &err);
    instruction.id[7] = (uint8_t)version;
    instruction.made_s = 1772269200 + (int64_t)version;
    instruction.body = fsp_buf_peek(&log->roster);
    instruction.body_len = log->roster.len;
    fsp_buf_reset(&text);
    fsp_instruction_write(&instruction, &text);
    must(fsp_skey_sign(log->instructions, text.data, text.len, sig, &err), &err);
    fsp_buf_add_text(&json, "{\"at\":\"2026-02-28T10:00:00Z\",\"by\":\"office\",\"bytes\":\"");
    fsp_base64(&json, text.data, text.len);
    fsp_buf_add_text(&json, "\",\"kind\":\"instruction\",\"sig\":\"");
    fsp_base64(&json, sig, sizeof(sig));
    fsp_buf_add_text(&json, "\",\"v\":1}");
    index = signedlog_put(log, fsp_buf_peek(&json));
    fsp_buf_fini(&text);
    fsp_buf_fini(&json);
    return index;
}

/* --- files ------------------------------------------------------------------------------------ */

void
signedlog_save(const char *folder, const char *name, const struct fsp_buf *buf)
{
    char *path = fsp_file_join(folder, name);
    FILE *file = path == NULL ? NULL : fopen(path, "wb");

    /* Not synced: some tests write thousands. */
    if (file == NULL || fwrite(fsp_buf_peek(buf), 1, buf->len, file) != buf->len ||
            fclose(file) != 0)
        abort();
    free(path);
}

void
signedlog_save_pair(const struct signedlog *log, const char *folder, size_t index)
{
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    struct fsp_buf proof;
    char name[64];
    size_t n = 0;

    fsp_buf_init(&proof, 2 * FSP_NOTE_MAX);
    fsp_tree_inclusion((const uint8_t(*)[FSP_HASH_LEN])log->leaf, log->n, index, path, &n);
    fsp_proof_write(&proof, index, (const uint8_t(*)[FSP_HASH_LEN])path, n,
            fsp_buf_peek(&log->head[log->n]), log->head[log->n].len);
    (void)snprintf(name, sizeof(name), "%zu.record.json", index);
    signedlog_save(folder, name, &log->entry[index]);
    (void)snprintf(name, sizeof(name), "%zu.tlog-proof", index);
    signedlog_save(folder, name, &proof);
    fsp_buf_fini(&proof);
}

void
signedlog_register(const struct signedlog *log, size_t from, size_t to, uint64_t held_back,
        struct fsp_buf *buf)
{
    struct fsp_register_top top = {.origin = EVIDENCE_ORIGIN,
            .range = log->range[from],
            .to = to,
            .from_head = fsp_buf_peek(&log->head[from]),
            .from_head_len = log->head[from].len,
            .to_head = fsp_buf_peek(&log->head[to]),
            .to_head_len = log->head[to].len};

    fsp_register_write_top(&top, buf);
    for (size_t i = from; i < to; i++)
        if (((held_back >> i) & 1) != 0)
            fsp_register_write_held_back(log->leaf[i], buf);
        else
            fsp_register_write_entry(log->entry[i].data, log->entry[i].len, buf);
    fsp_register_write_end(buf);
}

void
signedlog_save_trust(const struct signedlog *log, const char *folder, bool roster)
{
    struct fsp_buf buf;

    fsp_buf_init(&buf, FSP_NOTE_MAX);
    fsp_policy_write(&buf, fsp_skey_vkey(log->log), fsp_skey_vkey(log->office));
    signedlog_save(folder, "trust.tlog-policy", &buf);
    if (roster) {
        signedlog_save(folder, "roster.note", &log->roster);
        fsp_buf_reset(&buf);
        fsp_vkey_write(fsp_skey_vkey(log->instructions), &buf);
        fsp_buf_add_byte(&buf, '\n');
        signedlog_save(folder, "instructions.vkey", &buf);
    }
    fsp_buf_fini(&buf);
}
