#include "rig/word.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "record/check.h"
#include "rig/journal_priv.h"
#include "rig/trust.h"
#include "rig/word_sql.h"
#include "store/logtable.h"

/* ---- what is remembered of entries -------------------------------------------------------- */

/* Keys that a verified instruction names. One whose body is odd names none. */
static enum fsp_rc
take_keys(struct fsp_journal *journal, const struct fsp_instruction *instruction,
        struct fsp_err *err)
{
    struct fsp_new_keys keys;

    if (fsp_new_keys_read(&keys, instruction->fleet, instruction->body, instruction->body_len,
                NULL) != FSP_OK)
        return FSP_OK;
    return fsp_trust_add(journal, &keys, err);
}

static enum fsp_rc
note_instruction(struct fsp_journal *journal, const struct fsp_record *record,
        const struct fsp_place *place, struct fsp_err *err)
{
    const struct fsp_journal_about *about = fsp_journal_about(journal);
    struct fsp_instruction instruction;
    struct fsp_stmt *stmt = NULL;
    struct fsp_trust trust;
    struct fsp_buf note;
    enum fsp_rc rc = fsp_trust_load(journal, &trust, err);

    fsp_buf_init(&note, FSP_NOTE_MAX);
    if (rc != FSP_OK ||
            fsp_instruction_of_record(
                    &instruction, record, trust.ever, trust.n_ever, &note, NULL) != FSP_OK ||
            strcmp(instruction.fleet, about->fleet) != 0 ||
            strcmp(instruction.rig, about->rig) != 0)
        goto out;
    rc = fsp_stmt_get(journal->db, FSP_SQL_WORD_ADD, &stmt, err);
    if (rc != FSP_OK)
        goto out;
    fsp_stmt_bind_int(stmt, 1, place->log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)place->index);
    fsp_stmt_bind_blob(stmt, 3, instruction.id, sizeof(instruction.id));
    fsp_stmt_bind_text(stmt, 4, fsp_instruction_about_text(instruction.about));
    rc = fsp_stmt_run(stmt, err);
    if (rc == FSP_OK && instruction.about == FSP_ABOUT_KEYS)
        rc = take_keys(journal, &instruction, err);
out:
    fsp_buf_fini(&note);
    return rc;
}

/* A done names the instruction as its `entry`, a program as its `instruction`. */
static enum fsp_rc
note_answer(struct fsp_journal *journal, const struct fsp_record *entry,
        const struct fsp_place *place, struct fsp_err *err)
{
    struct fsp_place target = {.log = 0};
    struct fsp_stmt *stmt = NULL;
    bool found = false;
    enum fsp_rc rc = fsp_journal_find_entry(journal, entry, &target, &found, err);

    if (rc != FSP_OK || !found)
        return rc;
    rc = fsp_stmt_get(journal->db, FSP_SQL_WORD_ANSWER, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, target.log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)target.index);
    fsp_stmt_bind_int(stmt, 3, place->log);
    fsp_stmt_bind_int(stmt, 4, (int64_t)place->index);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_journal_note_word(struct fsp_journal *journal, const struct fsp_record *record,
        const struct fsp_place *place, struct fsp_err *err)
{
    const char *kind = fsp_record_text(record, "kind");
    const struct fsp_record *entry = NULL;

    if (kind == NULL)
        return FSP_OK;
    if (strcmp(kind, "instruction") == 0)
        return note_instruction(journal, record, place, err);
    if (strcmp(kind, "done") == 0)
        entry = fsp_record_object(record, "entry");
    else if (strcmp(kind, "program") == 0)
        entry = fsp_record_object(record, "instruction");
    return entry != NULL ? note_answer(journal, entry, place, err) : FSP_OK;
}

/* ---- taking ------------------------------------------------------------------------------- */

static void
ignore(struct fsp_word *out, const char *why)
{
    out->outcome = FSP_WORD_IGNORED;
    (void)snprintf(out->why, sizeof(out->why), "%.250s", why);
}

static enum fsp_rc
is_known(struct fsp_journal *journal, const uint8_t *id, bool *known, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_WORD_HAS, &stmt, err);

    *known = false;
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_blob(stmt, 1, id, FSP_INSTRUCTION_ID_LEN);
    rc = fsp_stmt_step(stmt, known, err);
    fsp_stmt_reset(stmt);
    return rc;
}

/* Ours, by a key whose answers count. False with the reason in out. */
static enum fsp_rc
verify(struct fsp_journal *journal, const void *note, size_t len,
        struct fsp_instruction *instruction, struct fsp_word *out, struct fsp_err *err)
{
    const struct fsp_journal_about *about = fsp_journal_about(journal);
    struct fsp_err why = {.rc = FSP_OK};
    struct fsp_trust trust;
    enum fsp_rc rc = fsp_trust_load(journal, &trust, err);

    if (rc != FSP_OK)
        return rc;
    out->outcome = FSP_WORD_TAKEN;
    rc = fsp_instruction_read(
            instruction, note, len, trust.instructions, trust.n_instructions, &why);
    if (rc == FSP_ENOMEM)
        return fsp_err_set(err, rc, "%s", why.text);
    if (rc != FSP_OK)
        ignore(out, why.text);
    else if (strcmp(instruction->fleet, about->fleet) != 0 ||
             strcmp(instruction->rig, about->rig) != 0)
        ignore(out, "the instruction is for another rig");
    else if (fsp_journal_state(journal) != FSP_JOURNAL_SOUND)
        ignore(out, "history incomplete: nothing is added to this log");
    return FSP_OK;
}

static enum fsp_rc
make_record(struct fsp_journal *journal, const struct fsp_instruction *instruction,
        struct fsp_record **record, struct fsp_err *err)
{
    struct fsp_check_context context;
    char now[FSP_TIME_TEXT_LEN + 1];
    struct fsp_buf bytes;
    struct fsp_buf sig;
    enum fsp_rc rc = fsp_journal_context(journal, &context, err);

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_buf_init(&sig, 256);
    fsp_base64(&bytes, instruction->text, instruction->text_len);
    fsp_base64(&sig, instruction->sig, sizeof(instruction->sig));
    fsp_time_text(journal->env->utc_us(journal->env->ctx) / FSP_US_PER_S, now);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&bytes, "an instruction", err);
    if (rc == FSP_OK) {
        const struct fsp_typed members[] = {{"at", now}, {"by", "office"},
                {"bytes", fsp_buf_peek(&bytes)}, {"sig", fsp_buf_peek(&sig)}};

        rc = fsp_check_typed("instruction", members, 4, &context, record, err);
    }
    fsp_buf_fini(&sig);
    fsp_buf_fini(&bytes);
    return rc;
}

/* The token makes it one entry even when two processes take it at once; and it cannot be one of
 * `enter --once` by accident, which would have to name the instruction's id. */
static enum fsp_rc
append(struct fsp_journal *journal, const struct fsp_instruction *instruction,
        struct fsp_word *out, struct fsp_err *err)
{
    char once[sizeof("instruction ") + (size_t)2 * FSP_INSTRUCTION_ID_LEN] = "instruction ";
    struct fsp_journal_added added;
    struct fsp_record *record = NULL;
    bool known = false;
    enum fsp_rc rc = make_record(journal, instruction, &record, err);

    fsp_text_hex(once + strlen(once), instruction->id, sizeof(instruction->id));
    if (rc == FSP_OK)
        rc = fsp_journal_enter(journal, record, once, true, &added, err);
    if (rc == FSP_OK && !added.known)
        out->index = added.first;
    if (rc == FSP_OK && added.known)
        out->outcome = FSP_WORD_KNOWN;
    if (rc == FSP_EINVAL && is_known(journal, instruction->id, &known, err) == FSP_OK &&
            known) {
        fsp_err_clear(err);
        out->outcome = FSP_WORD_KNOWN;
        rc = FSP_OK;
    }
    fsp_record_free(record);
    return rc;
}

enum fsp_rc
fsp_word_take(struct fsp_journal *journal, const void *note, size_t len, struct fsp_word *out,
        struct fsp_err *err)
{
    struct fsp_instruction instruction = {.about = FSP_ABOUT_OTHER};
    bool known = false;
    enum fsp_rc rc;

    memset(out, 0, sizeof(*out));
    rc = verify(journal, note, len, &instruction, out, err);
    if (rc != FSP_OK || out->outcome == FSP_WORD_IGNORED)
        return rc;
    out->about = instruction.about;
    rc = is_known(journal, instruction.id, &known, err);
    if (rc != FSP_OK)
        return rc;
    if (known) {
        out->outcome = FSP_WORD_KNOWN;
        return FSP_OK;
    }
    return append(journal, &instruction, out, err);
}

/* ---- reading ------------------------------------------------------------------------------ */

enum fsp_rc
fsp_word_newest(struct fsp_journal *journal, uint8_t id[FSP_INSTRUCTION_ID_LEN], bool *found,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_WORD_NEWEST, &stmt, err);

    *found = false;
    if (rc != FSP_OK)
        return rc;
    rc = fsp_stmt_step(stmt, found, err);
    if (rc == FSP_OK && *found) {
        size_t len = 0;
        const uint8_t *bytes = fsp_stmt_blob(stmt, 0, &len);

        if (bytes == NULL || len != FSP_INSTRUCTION_ID_LEN)
            rc = fsp_err_set(err, FSP_ECORRUPT, "the store's list of instructions is damaged");
        else
            memcpy(id, bytes, len);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

/* "<origin> <index>" of the answer, as the statement joins them. */
static enum fsp_rc
read_answer(struct fsp_word_entry *entry, const char *text, struct fsp_err *err)
{
    const char *space = strrchr(text, ' ');
    size_t len = space == NULL ? sizeof(entry->by_origin) : (size_t)(space - text);

    if (space == NULL || len >= sizeof(entry->by_origin) ||
            fsp_text_u64(space + 1, strlen(space + 1), &entry->by_index) != FSP_OK)
        return fsp_err_set(err, FSP_ECORRUPT, "the store's list of instructions is damaged");
    memcpy(entry->by_origin, text, len);
    entry->by_origin[len] = '\0';
    entry->answered = true;
    return FSP_OK;
}

static enum fsp_rc
read_entry(struct fsp_journal *journal, int64_t log, struct fsp_word_entry *entry,
        struct fsp_buf *buf, struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    struct fsp_trust trust;
    struct fsp_buf bytes;
    enum fsp_rc rc = fsp_trust_load(journal, &trust, err);

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    if (rc == FSP_OK)
        rc = fsp_logtable_get(journal->db, log, entry->index, &bytes, err);
    if (rc == FSP_OK)
        rc = fsp_record_parse(bytes.data, bytes.len, &record, err);
    if (rc == FSP_OK)
        fsp_leaf_hash(bytes.data, bytes.len, entry->leaf);
    if (rc == FSP_OK)
        rc = fsp_instruction_of_record(
                &entry->instruction, record, trust.ever, trust.n_ever, buf, err);
    fsp_record_free(record);
    fsp_buf_fini(&bytes);
    return rc;
}

void
fsp_word_name(const struct fsp_journal *journal, const struct fsp_word_entry *entry,
        struct fsp_buf *out)
{
    const char *slash = strrchr(entry->origin, '/');

    if (strcmp(entry->origin, fsp_journal_about(journal)->origin) == 0) {
        fsp_buf_printf(out, "%llu", (unsigned long long)entry->index);
        return;
    }
    fsp_buf_printf(out, "{\"index\":%llu,\"leaf\":\"", (unsigned long long)entry->index);
    fsp_base64(out, entry->leaf, sizeof(entry->leaf));
    fsp_buf_printf(out, "\",\"log\":\"%s\"}", slash == NULL ? entry->origin : slash + 1);
}

enum fsp_rc
fsp_word_next(struct fsp_journal *journal, struct fsp_word_entry *entry, struct fsp_buf *buf,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    const char *origin;
    const char *answer;
    int64_t log = 0;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_WORD_NEXT, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, entry->ordinal);
    fsp_stmt_bind_int(stmt, 2, (int64_t)entry->index);
    memset(entry, 0, sizeof(*entry));
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no more instructions");
    if (rc != FSP_OK)
        goto out;
    entry->ordinal = fsp_stmt_int(stmt, 0);
    entry->index = (uint64_t)fsp_stmt_int(stmt, 1);
    log = fsp_stmt_int(stmt, 2);
    origin = fsp_stmt_text(stmt, 3);
    answer = fsp_stmt_text(stmt, 4);
    if (origin == NULL || strlen(origin) >= sizeof(entry->origin)) {
        rc = fsp_err_set(err, FSP_ECORRUPT, "the store's list of logs is damaged");
        goto out;
    }
    memcpy(entry->origin, origin, strlen(origin) + 1);
    if (answer != NULL)
        rc = read_answer(entry, answer, err);
out:
    fsp_stmt_reset(stmt);
    if (rc == FSP_OK)
        rc = read_entry(journal, log, entry, buf, err);
    /* Rosters and keys are taken without a person; what is newer than this program is shown. */
    entry->waits = rc == FSP_OK && !entry->answered &&
                   entry->instruction.about != FSP_ABOUT_ROSTER &&
                   entry->instruction.about != FSP_ABOUT_KEYS;
    return rc;
}
