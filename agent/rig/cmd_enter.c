#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "record/check.h"
#include "record/kind.h"
#include "rig/account.h"
#include "rig/cmd.h"
#include "rig/inbox.h"
#include "rig/reel.h"
#include "rig/shown.h"
#include "rig/signing.h"

#define SHOWN_MAX ((size_t)8192) /* formulas of one entry */

static const struct fsp_kind *
find_kind(const char *name, struct fsp_err *err)
{
    const struct fsp_kind *kind = fsp_kind_find(name);

    if (kind == NULL)
        (void)fsp_err_set(err, FSP_EINVAL,
                "'%.60s': no such kind of record; see: farspool-rig enter --fields", name);
    return kind;
}

/* The kinds, or the fields of one. */
static int
show_fields(const char *name)
{
    struct fsp_err err = {.rc = FSP_OK};
    const struct fsp_kind *kind = NULL;
    struct fsp_buf out;

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (name != NULL) {
        kind = find_kind(name, &err);
        if (kind == NULL)
            return fsp_cmd_fail(&err, FSP_EINVAL);
        fsp_kind_help(kind, &out);
        return fsp_cmd_out(&out, 0);
    }
    for (size_t i = 0; (kind = fsp_kind_at(i)) != NULL; i++)
        fsp_buf_printf(&out, "%-13s %s\n", kind->name, kind->says);
    return fsp_cmd_out(&out, 0);
}

static void
warn_doubtful(const struct fsp_journal_added *added)
{
    if (added->clock_doubtful)
        fsp_cmd_warn("clock doubtful: this machine's clock is behind the last receipt or the "
                     "last record; set it right");
}

/* ---- enter ------------------------------------------------------------------------------- */

/* A text of lines under what stands above them. */
static void
text_lines(const char *before, const char *lines, struct fsp_buf *out)
{
    while (*lines != '\0') {
        size_t len = strcspn(lines, "\n");

        fsp_buf_add_text(out, before);
        fsp_text_show(out, lines, len);
        fsp_buf_add_byte(out, '\n');
        lines += len + (lines[len] == '\n' ? 1 : 0);
    }
}

/* A text of lines as a JSON list. */
static void
json_lines(const char *lines, struct fsp_buf *out)
{
    struct fsp_buf one;

    fsp_buf_init(&one, SHOWN_MAX);
    fsp_buf_add_byte(out, '[');
    while (*lines != '\0') {
        size_t len = strcspn(lines, "\n");

        fsp_buf_reset(&one);
        fsp_buf_add(&one, lines, len);
        fsp_cmd_json_text(out, fsp_buf_peek(&one));
        lines += len + (lines[len] == '\n' ? 1 : 0);
        if (*lines != '\0')
            fsp_buf_add_byte(out, ',');
    }
    fsp_buf_add_byte(out, ']');
    fsp_buf_fini(&one);
}

static void
json_figure(const struct fsp_record *record, const char *field, struct fsp_buf *out)
{
    const char *text = fsp_record_text(record, field);

    fsp_buf_add_text(out, text == NULL ? "null" : text);
}

/* What an entry of work shows, and what the account notes about any entry. */
static void
report_shown(const struct fsp_record *record, const struct fsp_shown *shown, bool json,
        struct fsp_buf *out)
{
    if (!json) {
        text_lines("    ", fsp_buf_peek(&shown->text), out);
        text_lines("    note: ", fsp_buf_peek(&shown->notes), out);
        return;
    }
    fsp_buf_add_text(out, ",\"notes\":");
    json_lines(fsp_buf_peek(&shown->notes), out);
    if (shown->text.len == 0)
        return;
    fsp_buf_add_text(out, ",\"factor\":");
    json_figure(record, "factor", out);
    fsp_buf_add_text(out, ",\"shown\":");
    json_lines(fsp_buf_peek(&shown->text), out);
    if (fsp_record_has(record, "rules") &&
            !fsp_op_needs(fsp_op_find(fsp_record_text(record, "op")), "ton-miles")) {
        fsp_buf_add_text(out, ",\"ton_miles\":");
        json_figure(record, "ton-miles", out);
    }
}

static void
report_entry(const struct fsp_journal_added *added, const struct fsp_record *record,
        const struct fsp_shown *shown, bool json, struct fsp_buf *out)
{
    if (json) {
        fsp_buf_printf(out, "{\"added\":%s,\"clock_doubtful\":%s,\"entry\":%" PRIu64,
                added->known ? "false" : "true", added->clock_doubtful ? "true" : "false",
                added->first);
        if (added->has_twin)
            fsp_buf_printf(out, ",\"identical_to\":%" PRIu64, added->twin);
        report_shown(record, shown, json, out);
        fsp_buf_add_text(out, "}\n");
    } else if (added->known) {
        fsp_buf_printf(
                out, "entered before with this token, as entry %" PRIu64 "\n", added->first);
    } else {
        fsp_buf_printf(out, "entry %" PRIu64 "\n", added->first);
        report_shown(record, shown, json, out);
    }
    if (added->has_twin)
        fsp_cmd_warn("entry %" PRIu64 " is identical; if this was one and the same, void it "
                     "(enter amend entry=%" PRIu64 " ...)",
                added->twin, added->first);
    warn_doubtful(added);
}

static void
warn_reel(const struct fsp_record *record)
{
    double above = fsp_reel_above(record);

    if (above > 0)
        fsp_cmd_warn("strength: %.1f %% above the table: is it the certificate's minimum "
                     "breaking force?",
                above);
}

/* The next one reads less: whoever folds the account leaves a state behind. */
static void
keep_state(struct fsp_journal *journal, const struct fsp_shown *shown)
{
    struct fsp_account *account = NULL;

    if (journal == NULL || shown->read < FSP_SHOWN_MANY)
        return;
    if (fsp_account_new(journal, 0, &account, NULL) == FSP_OK)
        fsp_account_free(account);
}

static enum fsp_rc
enter(struct fsp_args *args, struct fsp_buf *out, struct fsp_err *err)
{
    struct fsp_cmd_typed typed = {.items = NULL};
    struct fsp_check_context context;
    struct fsp_journal_added added;
    struct fsp_journal *journal = NULL;
    struct fsp_record *record = NULL;
    struct fsp_signing *signing = NULL;
    struct fsp_shown shown = {.read = 0};
    const struct fsp_kind *kind = find_kind(fsp_args_rest(args, 0), err);
    enum fsp_rc rc;

    if (kind == NULL)
        return FSP_EINVAL;
    fsp_buf_init(&shown.text, SHOWN_MAX);
    fsp_buf_init(&shown.notes, SHOWN_MAX);
    rc = fsp_cmd_typed(args, 1, &typed, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_WRITE, &journal, err);
    if (rc == FSP_OK)
        rc = fsp_journal_context(journal, &context, err);
    if (rc == FSP_OK)
        rc = fsp_signing_new(args, kind->name, journal, &typed, &signing, err);
    if (rc == FSP_OK)
        rc = fsp_check_typed(kind->name, typed.items, typed.n, &context, &record, err);
    if (rc == FSP_OK)
        rc = fsp_signing_sign(signing, args, record, err);
    if (rc == FSP_OK) {
        fsp_journal_on_new(journal, fsp_shown_fill, &shown);
        rc = fsp_journal_enter(journal, record, fsp_args_get(args, "once"),
                fsp_args_has(args, "also"), &added, err);
    }
    if (rc == FSP_OK) {
        report_entry(&added, record, &shown, fsp_args_has(args, "json"), out);
        warn_reel(record);
        fsp_signing_tell(journal, added.first, record);
    }
    fsp_record_free(record);
    fsp_signing_free(signing);
    keep_state(journal, &shown);
    fsp_buf_fini(&shown.text);
    fsp_buf_fini(&shown.notes);
    fsp_journal_close(journal);
    fsp_cmd_typed_free(&typed);
    return rc;
}

int
fsp_cmd_enter(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;
    enum fsp_rc rc;

    if (fsp_args_has(args, "fields"))
        return show_fields(fsp_args_rest(args, 0));
    rc = fsp_args_rest_within(args, 1, SIZE_MAX, &err);
    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK)
        rc = enter(args, &out, &err);
    if (rc != FSP_OK) {
        fsp_buf_fini(&out);
        return fsp_cmd_fail(&err, rc);
    }
    return fsp_cmd_out(&out, 0);
}

/* ---- take -------------------------------------------------------------------------------- */

static void
report_file(
        const char *path, const struct fsp_journal_added *added, bool json, struct fsp_buf *out)
{
    if (json) {
        if (out->len > 1)
            fsp_buf_add_byte(out, ',');
        fsp_buf_printf(out, "{\"added\":%zu,\"clock_doubtful\":%s,\"file\":", added->added,
                added->clock_doubtful ? "true" : "false");
        fsp_cmd_json_text(out, path);
        if (added->added > 0)
            fsp_buf_printf(out, ",\"first\":%" PRIu64, added->first);
        fsp_buf_printf(out, ",\"skipped\":%zu}", added->skipped);
        return;
    }
    fsp_buf_printf(out, "%s: %zu added", path, added->added);
    if (added->added == 1)
        fsp_buf_printf(out, " (entry %" PRIu64 ")", added->first);
    else if (added->added > 1)
        fsp_buf_printf(out, " (entries %" PRIu64 " to %" PRIu64 ")", added->first,
                added->first + added->added - 1);
    if (added->skipped > 0)
        fsp_buf_printf(out, ", %zu already there", added->skipped);
    fsp_buf_add_byte(out, '\n');
}

/* Each file whole, one after the other; the first failure gives the exit status. */
static int
take(struct fsp_args *args, struct fsp_journal *journal)
{
    bool json = fsp_args_has(args, "json");
    struct fsp_shown shown = {.read = 0};
    struct fsp_buf out;
    bool doubtful = false;
    int status = 0;

    fsp_buf_init(&shown.text, SHOWN_MAX);
    fsp_buf_init(&shown.notes, SHOWN_MAX);
    fsp_journal_on_new(journal, fsp_shown_fill, &shown);
    fsp_buf_init(&out, FSP_OUT_MAX);
    if (json)
        fsp_buf_add_byte(&out, '[');
    for (size_t i = 0; fsp_args_rest(args, i) != NULL; i++) {
        const char *path = fsp_args_rest(args, i);
        struct fsp_journal_added added;
        struct fsp_err err = {.rc = FSP_OK};
        enum fsp_rc rc =
                fsp_inbox_take_file(journal, path, fsp_args_has(args, "also"), &added, &err);

        if (rc == FSP_OK) {
            report_file(path, &added, json, &out);
            if (added.clock_doubtful && !doubtful)
                warn_doubtful(&added);
            doubtful = doubtful || added.clock_doubtful;
            continue;
        }
        rc = fsp_err_wrap(&err, rc, "nothing taken");
        if (status == 0)
            status = fsp_cmd_fail(&err, rc);
        else
            (void)fsp_cmd_fail(&err, rc);
        if (fsp_db_broken(fsp_journal_db(journal)))
            break;
    }
    keep_state(journal, &shown);
    fsp_buf_fini(&shown.text);
    fsp_buf_fini(&shown.notes);
    if (json)
        fsp_buf_add_text(&out, "]\n");
    return fsp_cmd_out(&out, status);
}

static int
show_template(const char *name)
{
    struct fsp_err err = {.rc = FSP_OK};
    const struct fsp_kind *kind = find_kind(name, &err);
    struct fsp_buf out;

    if (kind == NULL)
        return fsp_cmd_fail(&err, FSP_EINVAL);
    fsp_buf_init(&out, FSP_OUT_MAX);
    fsp_kind_template(kind, &out);
    return fsp_cmd_out(&out, 0);
}

int
fsp_cmd_take(struct fsp_args *args)
{
    const char *name = fsp_args_get(args, "template");
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_journal *journal = NULL;
    enum fsp_rc rc;
    int status;

    if (name != NULL)
        return show_template(name);
    rc = fsp_args_rest_within(args, 1, SIZE_MAX, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_WRITE, &journal, &err);
    if (rc != FSP_OK)
        return fsp_cmd_fail(&err, rc);
    status = take(args, journal);
    fsp_journal_close(journal);
    return status;
}
