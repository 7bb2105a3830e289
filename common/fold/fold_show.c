/* Inspections: the newest, who signed and countersigned them, and what became of their voids. */
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "fold/fold_priv.h"
#include "line/finding.h"
#include "line/say.h"

static enum fsp_rc
no_memory(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_ENOMEM, "out of memory");
}

/* Newest first. */
static int
by_time(const void *left, const void *right)
{
    const struct fsp_mark *a = *(const struct fsp_mark *const *)left;
    const struct fsp_mark *b = *(const struct fsp_mark *const *)right;

    if (a->at_s != b->at_s)
        return a->at_s > b->at_s ? -1 : 1;
    if (a->log != b->log)
        return a->log > b->log ? -1 : 1;
    return (a->index < b->index) - (a->index > b->index);
}

static int
by_entry(const void *left, const void *right)
{
    const struct fsp_fold_inspection *a = *(struct fsp_fold_inspection *const *)left;
    const struct fsp_fold_inspection *b = *(struct fsp_fold_inspection *const *)right;

    if (a->log != b->log)
        return a->log < b->log ? -1 : 1;
    return (a->index > b->index) - (a->index < b->index);
}

static struct fsp_fold_inspection *
find_shown(struct fsp_fold_inspection **list, size_t n, uint32_t log, uint64_t index)
{
    const struct fsp_fold_inspection key = {.log = log, .index = index};
    const struct fsp_fold_inspection *at = &key;
    struct fsp_fold_inspection **found =
            n == 0 ? NULL
                   : bsearch((const void *)&at, (void *)list, n, sizeof(void *), by_entry);

    return found == NULL ? NULL : *found;
}

static enum fsp_rc
fill(struct fsp_fold *fold, const struct fsp_fold_store *store, const struct fsp_mark *mark,
        struct fsp_fold_inspection *out, struct fsp_err *err)
{
    struct fsp_seen *seen = NULL;
    enum fsp_rc rc = fsp_fold_read_one(fold, store, mark->log, mark->index, &seen, err);

    out->log = mark->log;
    out->index = mark->index;
    out->at_s = mark->at_s;
    out->sig = mark->sig;
    if (rc != FSP_OK || seen == NULL || seen->record == NULL)
        return rc;
    out->inspector = fsp_record_text(seen->record, "inspector");
    out->reel = fsp_record_text(seen->record, "reel");
    out->scope = fsp_record_text(seen->record, "scope");
    out->decision = fsp_record_text(seen->record, "decision");
    return FSP_OK;
}

static enum fsp_rc
add_countersign(struct fsp_fold *fold, const struct fsp_fold_store *store,
        const struct fsp_mark *mark, struct fsp_fold_inspection *to, struct fsp_err *err)
{
    struct fsp_fold_countersign *by =
            realloc(to->by, (to->n_by + 1) * sizeof(*by)); /* one or two */
    struct fsp_seen *seen = NULL;
    enum fsp_rc rc;

    if (by == NULL)
        return no_memory(err);
    to->by = by;
    by = &by[to->n_by++];
    *by = (struct fsp_fold_countersign){
            .log = mark->log, .index = mark->index, .at_s = mark->at_s, .sig = mark->sig};
    rc = fsp_fold_read_one(fold, store, mark->log, mark->index, &seen, err);
    if (rc == FSP_OK && seen != NULL && seen->record != NULL)
        by->signer = fsp_record_text(seen->record, "signer");
    return rc;
}

/* Whether only a signature takes it out, as in the ledger: a signed void, in the end of an inspection. */
static bool
guarded(const struct fsp_fold *fold, const struct fsp_mark *mark)
{
    while (mark->kind == FSP_MARK_AMEND && mark->voids && mark->aimed &&
            mark->sig == FSP_SIG_GOOD) {
        const struct fsp_mark *target =
                fsp_marks_find(&fold->marks, mark->to_log, mark->to_index);

        if (target == NULL || target >= mark)
            return false;
        mark = target;
    }
    return mark->kind == FSP_MARK_INSPECTION;
}

/* Amendments from the newest back, as the ledger takes them: one that is voided voids nothing. */
static enum fsp_rc
note_voids(
        struct fsp_fold *fold, struct fsp_fold_inspection **list, size_t n, struct fsp_err *err)
{
    bool *dead = fsp_mem_array(fold->marks.n, sizeof(*dead));

    if (dead == NULL)
        return no_memory(err);
    for (size_t i = fold->marks.n; i-- > 0;) {
        const struct fsp_mark *mark = &fold->marks.items[i];
        const struct fsp_mark *target;
        struct fsp_fold_inspection *shown;

        if (mark->kind != FSP_MARK_AMEND || !mark->voids || !mark->aimed || dead[i])
            continue;
        target = fsp_marks_find(&fold->marks, mark->to_log, mark->to_index);
        if (target == NULL || target >= mark)
            continue;
        if (target->kind == FSP_MARK_AMEND &&
                (mark->sig == FSP_SIG_GOOD || !guarded(fold, target)))
            dead[target - fold->marks.items] = true;
        shown = find_shown(list, n, mark->to_log, mark->to_index);
        if (shown != NULL && mark->sig == FSP_SIG_GOOD)
            shown->voided = FSP_VOIDED;
        else if (shown != NULL && shown->voided == FSP_NOT_VOIDED)
            shown->voided = FSP_DISPUTED;
    }
    free(dead);
    return FSP_OK;
}

static enum fsp_rc
note_others(struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    size_t n = fold->inspections == NULL ? 0 : fold->n_shown;
    struct fsp_fold_inspection **list = fsp_mem_array(n, sizeof(void *));
    enum fsp_rc rc = FSP_OK;

    if (list == NULL)
        return no_memory(err);
    for (size_t i = 0; i < n; i++)
        list[i] = &fold->inspections[i];
    if (n > 1)
        qsort((void *)list, n, sizeof(void *), by_entry);
    for (size_t i = 0; rc == FSP_OK && n > 0 && i < fold->marks.n; i++) {
        const struct fsp_mark *mark = &fold->marks.items[i];
        struct fsp_fold_inspection *shown;

        if (mark->kind != FSP_MARK_COUNTERSIGN || !mark->aimed)
            continue;
        shown = find_shown(list, n, mark->to_log, mark->to_index);
        if (shown != NULL)
            rc = add_countersign(fold, store, mark, shown, err);
    }
    if (rc == FSP_OK && n > 0)
        rc = note_voids(fold, list, n, err);
    free((void *)list);
    return rc;
}

enum fsp_rc
fsp_fold_collect(struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    const struct fsp_mark **list = fsp_mem_array(fold->marks.n, sizeof(void *));
    size_t wanted;
    enum fsp_rc rc = FSP_OK;

    if (list == NULL)
        return no_memory(err);
    for (size_t i = 0; i < fold->marks.n; i++)
        if (fold->marks.items[i].kind == FSP_MARK_INSPECTION)
            list[fold->n_inspections++] = &fold->marks.items[i];
    if (fold->n_inspections > 1)
        qsort((void *)list, fold->n_inspections, sizeof(void *), by_time);
    wanted = fold->n_inspections < fold->about.inspections ? fold->n_inspections
                                                           : fold->about.inspections;
    fold->inspections = fsp_mem_array(wanted, sizeof(*fold->inspections));
    if (fold->inspections == NULL)
        rc = no_memory(err);
    for (size_t i = 0; rc == FSP_OK && fold->inspections != NULL && i < wanted; i++) {
        fold->n_shown++;
        rc = fill(fold, store, list[i], &fold->inspections[i], err);
    }
    free((void *)list);
    return rc == FSP_OK ? note_others(fold, store, err) : rc;
}

void
fsp_fold_shown_free(struct fsp_fold *fold)
{
    for (size_t i = 0; i < fold->n_shown; i++)
        free(fold->inspections[i].by);
    free(fold->inspections);
    fold->inspections = NULL;
    fold->n_shown = 0;
}

const struct fsp_fold_inspection *
fsp_fold_inspection(const struct fsp_fold *fold, size_t i)
{
    return i < fold->n_shown ? &fold->inspections[i] : NULL;
}

size_t
fsp_fold_inspections(const struct fsp_fold *fold)
{
    return fold->n_inspections;
}

bool
fsp_fold_finding_sig(const struct fsp_fold *fold, size_t i, enum fsp_sig_state *sig)
{
    uint64_t index = 0;
    int64_t at_s = 0;

    *sig = FSP_SIG_NONE;
    if (!fsp_ledger_finding_entry(fold->ledger, i, &at_s, &index))
        return false;
    for (uint32_t l = 0; l < fold->n_logs; l++) {
        const struct fsp_mark *mark = fsp_marks_find(&fold->marks, l, index);

        if (mark != NULL && mark->kind == FSP_MARK_INSPECTION && mark->at_s == at_s) {
            *sig = mark->sig;
            break;
        }
    }
    return true;
}

/* ---- one entry ---- */

bool
fsp_fold_entry_sig(
        const struct fsp_fold *fold, uint32_t log, uint64_t index, enum fsp_sig_state *sig)
{
    const struct fsp_mark *mark = fsp_marks_find(&fold->marks, log, index);

    *sig = FSP_SIG_NONE;
    if (mark == NULL ||
            (mark->kind != FSP_MARK_INSPECTION && mark->kind != FSP_MARK_COUNTERSIGN))
        return false;
    *sig = mark->sig;
    return true;
}

bool
fsp_fold_reference(const struct fsp_fold *fold, uint32_t log, uint64_t index, size_t i,
        struct fsp_fold_reference *out)
{
    for (size_t m = 0; m < fold->marks.n; m++) {
        const struct fsp_mark *mark = &fold->marks.items[m];

        if (!mark->aimed || mark->to_log != log || mark->to_index != index || i-- > 0)
            continue;
        out->how = mark->kind != FSP_MARK_AMEND ? FSP_REFERS_COUNTERSIGNS
                   : mark->voids                ? FSP_REFERS_VOIDS
                                                : FSP_REFERS_AMENDS;
        out->log = mark->log;
        out->index = mark->index;
        out->at_s = mark->at_s;
        out->sig = mark->sig;
        return true;
    }
    return false;
}

/* ---- in words ---- */

const char *
fsp_fold_void_text(enum fsp_fold_void voided)
{
    switch (voided) {
    case FSP_VOIDED:
        return "voided";
    case FSP_DISPUTED:
        return "disputed";
    case FSP_NOT_VOIDED:
        break;
    }
    return NULL;
}

void
fsp_fold_say_signed(const struct fsp_fold_inspection *inspection, struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, fsp_sig_state_text(inspection->sig));
    for (size_t i = 0; i < inspection->n_by; i++) {
        const struct fsp_fold_countersign *by = &inspection->by[i];
        const char *signer = by->signer == NULL ? "?" : by->signer;

        fsp_buf_add_text(buf, ", countersigned by ");
        fsp_text_show(buf, signer, strlen(signer));
        fsp_buf_printf(buf, " (%s)", fsp_sig_state_text(by->sig));
    }
    if (fsp_fold_void_text(inspection->voided) != NULL)
        fsp_buf_printf(buf, ", %s", fsp_fold_void_text(inspection->voided));
}

static void
countersigns_json(const struct fsp_fold_inspection *inspection, struct fsp_buf *buf)
{
    fsp_buf_add_byte(buf, '[');
    for (size_t i = 0; i < inspection->n_by; i++) {
        const struct fsp_fold_countersign *by = &inspection->by[i];
        bool first = true;

        fsp_buf_add_text(buf, i > 0 ? ",{" : "{");
        fsp_say_member_time(buf, &first, "at", by->at_s);
        fsp_say_member_count(buf, &first, "index", by->index);
        fsp_say_member_count(buf, &first, "log", by->log);
        fsp_say_member_text(buf, &first, "signature", fsp_sig_state_text(by->sig));
        fsp_say_member_text(buf, &first, "signer", by->signer);
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
}

void
fsp_fold_inspections_json(const struct fsp_fold *fold, struct fsp_buf *buf)
{
    fsp_buf_add_byte(buf, '[');
    for (size_t i = 0; i < fold->n_shown; i++) {
        const struct fsp_fold_inspection *one = &fold->inspections[i];
        bool first = true;

        fsp_buf_add_text(buf, i > 0 ? ",{" : "{");
        fsp_say_member_time(buf, &first, "at", one->at_s);
        fsp_say_key(buf, &first, "countersigned");
        countersigns_json(one, buf);
        fsp_say_member_text(buf, &first, "decision", one->decision);
        fsp_say_member_count(buf, &first, "index", one->index);
        fsp_say_member_text(buf, &first, "inspector", one->inspector);
        fsp_say_member_count(buf, &first, "log", one->log);
        fsp_say_member_text(buf, &first, "reel", one->reel);
        fsp_say_member_text(buf, &first, "scope", one->scope);
        fsp_say_member_text(buf, &first, "signature", fsp_sig_state_text(one->sig));
        fsp_say_member_text(buf, &first, "void", fsp_fold_void_text(one->voided));
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
}

void
fsp_fold_findings_json(const struct fsp_fold *fold, struct fsp_buf *buf)
{
    enum fsp_sig_state sig;

    fsp_buf_add_byte(buf, '[');
    for (size_t i = 0; fsp_fold_finding_sig(fold, i, &sig); i++) {
        bool first = true;

        fsp_buf_add_text(buf, i > 0 ? ",{" : "{");
        fsp_say_member_text(buf, &first, "signature", fsp_sig_state_text(sig));
        fsp_say_member_text(buf, &first, "text", fsp_ledger_finding(fold->ledger, i));
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
}
