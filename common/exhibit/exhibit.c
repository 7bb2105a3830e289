#include "exhibit/exhibit.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "exhibit/exhibit_priv.h"

#define POLICY       "trust.tlog-policy"
#define ROSTER       "roster.note"
#define INSTRUCTIONS "instructions.vkey"
#define LOGS_MAX     (sizeof(((struct fsp_exhibit *)NULL)->used_log))

enum fsp_rc
fsp_exhibit_save(const struct fsp_exhibit *exhibit, const char *name,
        const struct fsp_buf *bytes, struct fsp_err *err)
{
    char *path = fsp_file_join(exhibit->wish->folder, name);
    enum fsp_rc rc = path == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                  : fsp_file_write(path, bytes->data, bytes->len, 0644, err);

    free(path);
    return rc;
}

enum fsp_rc
fsp_exhibit_folder(const struct fsp_exhibit *exhibit, struct fsp_err *err)
{
    const char *folder = exhibit->wish->folder;
    char *path = fsp_file_join(folder, POLICY);
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = path == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                  : fsp_file_folder(folder, 0755, err);

    if (rc == FSP_OK && fsp_file_exists(path)) {
        rc = fsp_file_read(path, FSP_NOTE_MAX, &bytes, &len, err);
        if (rc == FSP_OK &&
                (len != exhibit->policy.len || memcmp(bytes, exhibit->policy.data, len) != 0))
            rc = fsp_err_set(err, FSP_EINVAL,
                    "%s holds evidence by another policy, which would no longer verify: name "
                    "another folder",
                    folder);
    }
    free(bytes);
    free(path);
    return rc;
}

/* --- the policy ------------------------------------------------------------------------------ */

static size_t
used_offices(const struct fsp_exhibit *exhibit)
{
    size_t n = 0;

    for (size_t i = 0; i < exhibit->source->offices; i++)
        n += exhibit->used_office[i] ? 1 : 0;
    return n;
}

/* The office's keys that cosigned what is here; under one name when they are several. */
static void
add_office(struct fsp_exhibit *exhibit, struct fsp_buf *buf)
{
    const struct fsp_exhibit_source *source = exhibit->source;
    const size_t several = used_offices(exhibit);
    size_t n = 0;

    for (size_t i = 0; i < source->offices; i++) {
        if (!exhibit->used_office[i])
            continue;
        n++;
        if (several == 1)
            fsp_buf_add_text(buf, "witness office ");
        else
            fsp_buf_printf(buf, "witness office-%zu ", n);
        fsp_vkey_write(&source->office[i], buf);
        fsp_buf_add_byte(buf, '\n');
    }
    if (several < 2)
        return;
    fsp_buf_add_text(buf, "group office any");
    for (size_t i = 1; i <= n; i++)
        fsp_buf_printf(buf, " office-%zu", i);
    fsp_buf_add_byte(buf, '\n');
}

enum fsp_rc
fsp_exhibit_policy(struct fsp_exhibit *exhibit, struct fsp_policy **out, struct fsp_err *err)
{
    const struct fsp_exhibit_source *source = exhibit->source;
    struct fsp_buf *buf = &exhibit->policy;
    enum fsp_rc rc;

    fsp_buf_reset(buf);
    for (size_t i = 0; i < source->logs; i++) {
        if (!exhibit->used_log[i])
            continue;
        fsp_buf_add_text(buf, "log ");
        fsp_vkey_write(&source->log[i].vkey, buf);
        fsp_buf_add_byte(buf, '\n');
    }
    add_office(exhibit, buf);
    if (source->office_alone || source->witnesses == 0) {
        fsp_buf_add_text(buf, "quorum office\n");
    } else {
        for (size_t i = 0; i < source->witnesses; i++) {
            fsp_buf_printf(buf, "witness %s ", source->witness[i].name);
            fsp_vkey_write(&source->witness[i].vkey, buf);
            fsp_buf_add_byte(buf, '\n');
        }
        if (source->need == source->witnesses + 1)
            fsp_buf_add_text(buf, "group witnesses all office");
        else
            fsp_buf_printf(buf, "group witnesses %zu office", source->need);
        for (size_t i = 0; i < source->witnesses; i++)
            fsp_buf_printf(buf, " %s", source->witness[i].name);
        fsp_buf_add_text(buf, "\nquorum witnesses\n");
    }
    rc = fsp_buf_check(buf, "the policy", err);
    return rc == FSP_OK ? fsp_policy_parse(out, fsp_buf_peek(buf), buf->len, err) : rc;
}

/* --- the whole folder ------------------------------------------------------------------------ */

/* Roster and the key that signed it, when a person signs something here. */
static enum fsp_rc
save_roster(struct fsp_exhibit *exhibit, struct fsp_err *err)
{
    const struct fsp_exhibit_source *source = exhibit->source;
    struct fsp_buf buf;
    size_t len = 0;
    const char *note = fsp_attest_roster_note(exhibit->attest, &len);
    bool wanted = exhibit->wish->what != FSP_EXHIBIT_ENTRY;
    enum fsp_rc rc;

    for (size_t i = 0; i < exhibit->pieces; i++)
        wanted = wanted || exhibit->piece[i].is_signed_kind;
    if (!wanted)
        return FSP_OK;
    fsp_buf_init(&buf, FSP_NOTE_MAX);
    for (size_t i = 0; i < source->n_instructions; i++) {
        fsp_vkey_write(&source->instructions[i], &buf);
        fsp_buf_add_byte(&buf, '\n');
    }
    rc = fsp_buf_check(&buf, "the instructions key", err);
    if (rc == FSP_OK)
        rc = fsp_exhibit_save(exhibit, INSTRUCTIONS, &buf, err);
    if (rc == FSP_OK && note != NULL) {
        fsp_buf_reset(&buf);
        fsp_buf_add(&buf, note, len);
        rc = fsp_buf_check(&buf, "the roster", err);
        if (rc == FSP_OK)
            rc = fsp_exhibit_save(exhibit, ROSTER, &buf, err);
        exhibit->result->has_roster = rc == FSP_OK;
    }
    fsp_buf_fini(&buf);
    return rc;
}

static enum fsp_rc
make(struct fsp_exhibit *exhibit, struct fsp_err *err)
{
    const struct fsp_exhibit_source *source = exhibit->source;
    const struct fsp_attest_about about = {.fleet = source->fleet,
            .rig = source->rig,
            .keys = source->instructions,
            .n_keys = source->n_instructions};
    const struct fsp_exhibit_log *log = &source->log[source->chosen];
    const struct fsp_exhibit_wish *wish = exhibit->wish;
    enum fsp_rc rc;

    if (source->logs > LOGS_MAX || source->offices > FSP_ATTEST_KEYS_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "more logs or office keys than evidence can name");
    if ((wish->what == FSP_EXHIBIT_ENTRY && wish->first >= log->size) ||
            (wish->what == FSP_EXHIBIT_RANGE && wish->last >= log->size))
        return fsp_err_set(err, FSP_ENOTFOUND,
                "%s holds %llu entries, counted from 0: no entry %llu", log->origin,
                (unsigned long long)log->size,
                (unsigned long long)(wish->what == FSP_EXHIBIT_ENTRY ? wish->first
                                                                     : wish->last));
    rc = fsp_attest_new(&exhibit->attest, &about, err);
    if (rc == FSP_OK)
        rc = wish->what == FSP_EXHIBIT_ENTRY ? fsp_exhibit_records(exhibit, err)
                                             : fsp_exhibit_roll(exhibit, err);
    if (rc == FSP_OK)
        rc = save_roster(exhibit, err);
    if (rc == FSP_OK)
        rc = fsp_exhibit_summary(exhibit, err);
    return rc == FSP_OK ? fsp_exhibit_save(exhibit, POLICY, &exhibit->policy, err) : rc;
}

enum fsp_rc
fsp_exhibit_write(const struct fsp_exhibit_source *source, const struct fsp_exhibit_wish *wish,
        struct fsp_exhibit_result *result, struct fsp_err *err)
{
    struct fsp_exhibit *exhibit = calloc(1, sizeof(*exhibit));
    enum fsp_rc rc;

    memset(result, 0, sizeof(*result));
    if (exhibit == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    exhibit->source = source;
    exhibit->wish = wish;
    exhibit->result = result;
    fsp_buf_init(&exhibit->policy, FSP_NOTE_MAX);
    fsp_exhibit_head_init(&exhibit->from);
    fsp_exhibit_head_init(&exhibit->to);
    rc = make(exhibit, err);
    fsp_attest_free(exhibit->attest);
    free(exhibit->piece);
    fsp_exhibit_head_fini(&exhibit->from);
    fsp_exhibit_head_fini(&exhibit->to);
    fsp_buf_fini(&exhibit->policy);
    free(exhibit);
    return rc;
}
