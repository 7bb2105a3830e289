/*
 * prove: evidence for one entry, a range, the inspections of a period, or a whole log, into a
 * folder. Only public keys are read.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "exhibit/exhibit.h"
#include "line/say.h"
#include "office/chain.h"
#include "office/cmd.h"
#include "office/public.h"

/* The shelf as a source of evidence. */
struct proving {
    struct fsp_shelf *shelf;
    struct fsp_office_public keys;
    char fleet[FSP_NAME_MAX + 1];
    struct fsp_shelf_witness witness[FSP_EXHIBIT_WITNESS_MAX]; /* keeps the names */
    struct fsp_exhibit_witness witnesses[FSP_EXHIBIT_WITNESS_MAX];
    size_t n_witnesses;
    struct fsp_exhibit_log *log;
    size_t logs;
    struct fsp_exhibit_source source;
    struct fsp_exhibit_wish wish;
    struct fsp_exhibit_result result;
};

/* --- the shelf as a source -------------------------------------------------------------------- */

static enum fsp_rc
scan(void *ctx, int64_t log, const uint64_t within[2], fsp_exhibit_visit *visit,
        void *visit_ctx, struct fsp_err *err)
{
    struct fsp_shelf *shelf = ctx;

    return shelf->ops->scan(shelf->ctx, log, within, visit, visit_ctx, err);
}

static enum fsp_rc
leaves(void *ctx, int64_t log, uint64_t size, uint8_t (**out)[FSP_HASH_LEN],
        struct fsp_err *err)
{
    struct fsp_shelf *shelf = ctx;

    return shelf->ops->leaves(shelf->ctx, log, size, out, err);
}

static enum fsp_rc
head_covering(void *ctx, int64_t log, uint64_t index, struct fsp_range *range,
        struct fsp_buf *note, struct fsp_err *err)
{
    struct fsp_shelf *shelf = ctx;
    enum fsp_rc rc = shelf->ops->head_covering(shelf->ctx, log, index, range, note, err);

    return rc == FSP_OK ? shelf->ops->cosignatures(shelf->ctx, log, range->size, note, err)
                        : rc;
}

static enum fsp_rc
head_below(void *ctx, int64_t log, uint64_t size, struct fsp_range *range, struct fsp_buf *note,
        struct fsp_err *err)
{
    struct fsp_shelf *shelf = ctx;
    enum fsp_rc rc = shelf->ops->head_below(shelf->ctx, log, size, range, note, err);

    return rc == FSP_OK ? shelf->ops->cosignatures(shelf->ctx, log, range->size, note, err)
                        : rc;
}

static enum fsp_rc
load_witnesses(struct proving *it, struct fsp_err *err)
{
    struct fsp_shelf *shelf = it->shelf;
    const char *after = "";

    for (;;) {
        struct fsp_shelf_witness *witness = &it->witness[it->n_witnesses];
        struct fsp_shelf_witness more;
        enum fsp_rc rc;

        if (it->n_witnesses == FSP_EXHIBIT_WITNESS_MAX)
            witness = &more;
        rc = shelf->ops->next_witness(shelf->ctx, after, witness, err);
        if (rc == FSP_ENOTFOUND)
            return FSP_OK;
        if (rc == FSP_OK && it->n_witnesses == FSP_EXHIBIT_WITNESS_MAX)
            rc = fsp_err_set(
                    err, FSP_ELIMIT, "more than %d witnesses", FSP_EXHIBIT_WITNESS_MAX);
        if (rc == FSP_OK)
            rc = fsp_vkey_parse(&it->witnesses[it->n_witnesses].vkey, witness->vkey,
                    strlen(witness->vkey), err);
        if (rc != FSP_OK)
            return rc;
        it->witnesses[it->n_witnesses].name = witness->name;
        after = witness->name;
        it->n_witnesses++;
    }
}

/* office, all, or how many of office and witnesses. */
static enum fsp_rc
set_quorum(struct proving *it, const char *word, struct fsp_err *err)
{
    struct fsp_exhibit_source *source = &it->source;
    uint64_t need = it->n_witnesses + 1;

    source->witness = it->witnesses;
    source->witnesses = it->n_witnesses;
    source->office_alone =
            it->n_witnesses == 0 || (word != NULL && strcmp(word, "office") == 0);
    if (word != NULL && strcmp(word, "office") != 0 && strcmp(word, "all") != 0 &&
            (fsp_text_u64(word, strlen(word), &need) != FSP_OK || need < 1 ||
                    need > it->n_witnesses + 1))
        return fsp_err_set(err, FSP_EINVAL,
                "--quorum %.20s: office, all, or 1 to %zu (the office and %zu witnesses)", word,
                it->n_witnesses + 1, it->n_witnesses);
    source->need = source->office_alone ? 1 : (size_t)need;
    return FSP_OK;
}

/* The rig's logs in the order of renewals; the newest is chosen, or the one that is named. */
static enum fsp_rc
load_logs(struct proving *it, const char *rig, const char *origin, struct fsp_err *err)
{
    struct fsp_shelf *shelf = it->shelf;
    struct fsp_chain_log *chain = NULL;
    bool found = false;
    enum fsp_rc rc = fsp_chain_load(shelf, rig, &chain, &it->logs, err);

    if (rc == FSP_OK && it->logs > 0) {
        it->log = calloc(it->logs, sizeof(*it->log));
        if (it->log == NULL) {
            free(chain);
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        }
    }
    for (size_t i = 0; rc == FSP_OK && i < it->logs; i++) {
        struct fsp_exhibit_log *log = &it->log[i];
        struct fsp_range tip;

        log->id = chain[i].log.id;
        memcpy(log->origin, chain[i].log.origin, sizeof(log->origin));
        rc = fsp_vkey_make(&log->vkey, log->origin, FSP_KEY_NOTE, chain[i].log.pub, err);
        if (rc == FSP_OK)
            rc = shelf->ops->tip(shelf->ctx, log->id, &tip, err);
        if (rc == FSP_OK)
            log->size = tip.size;
        if (origin == NULL || strcmp(origin, log->origin) == 0) {
            it->source.chosen = i;
            found = true;
        }
    }
    free(chain);
    if (rc == FSP_OK && !found)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "%s: no log of this rig%s%s is held here", rig,
                origin == NULL ? "" : " named ", origin == NULL ? "" : origin);
    return rc;
}

/* --- what is asked for ------------------------------------------------------------------------ */

static enum fsp_rc
parse_wish(struct fsp_exhibit_wish *wish, const struct fsp_args *args, struct fsp_err *err)
{
    const struct fsp_exhibit_words words = {.numbers = fsp_args_rest(args, 1),
            .folder = fsp_args_get(args, "out"),
            .from = fsp_args_get(args, "from"),
            .to = fsp_args_get(args, "to"),
            .inspections = fsp_args_has(args, "inspections"),
            .whole = fsp_args_has(args, "whole"),
            .hold_back = fsp_args_has(args, "hold-back")};
    enum fsp_rc rc = fsp_args_rest_within(args, 1, 2, err);

    return rc == FSP_OK ? fsp_exhibit_words(wish, &words, err) : rc;
}

static void
fill_source(struct proving *it, const char *rig)
{
    struct fsp_exhibit_source *source = &it->source;

    source->ctx = it->shelf;
    source->fleet = it->fleet;
    source->rig = rig;
    source->log = it->log;
    source->logs = it->logs;
    source->office = it->keys.cosigner;
    source->offices = it->keys.cosigners;
    source->instructions = it->keys.instructions;
    source->n_instructions = it->keys.n_instructions;
    source->scan = scan;
    source->leaves = leaves;
    source->head_covering = head_covering;
    source->head_below = head_below;
}

static int
say(const struct proving *it, bool json)
{
    const struct fsp_exhibit_result *result = &it->result;
    const char *origin = it->log[it->source.chosen].origin;
    const char *folder = it->wish.folder;
    struct fsp_buf out;
    bool first = true;
    int status;

    fsp_buf_init(&out, 16384);
    if (json) {
        fsp_buf_add_byte(&out, '{');
        fsp_say_member_text(&out, &first, "origin", origin);
        if (it->wish.what == FSP_EXHIBIT_ENTRY)
            fsp_say_member_count(&out, &first, "index", it->wish.first);
        else
            fsp_say_member_count(&out, &first, "from", result->from);
        fsp_say_member_count(&out, &first, "size", result->size);
        fsp_say_member_count(&out, &first, "entries", result->entries);
        fsp_say_member_count(&out, &first, "held_back", result->held_back);
        fsp_say_member_count(&out, &first, "inspections", result->inspections);
        fsp_say_member_count(&out, &first, "companions", result->pairs);
        fsp_say_member_text(&out, &first, "file", result->file);
        fsp_say_member_text(&out, &first, "folder", folder);
        fsp_buf_add_text(&out, "}\n");
    } else if (it->wish.what == FSP_EXHIBIT_ENTRY) {
        fsp_buf_printf(&out,
                "%s/%" PRIu64 ".record.json, .tlog-proof and trust.tlog-policy: entry %" PRIu64
                " of %s in its head of %" PRIu64 "\n",
                folder, it->wish.first, it->wish.first, origin, result->size);
        if (result->pairs > 0)
            fsp_buf_printf(
                    &out, "with %zu entries that amend or countersign it\n", result->pairs);
        fsp_buf_printf(&out, "%s/summary.txt and summary.html say what is proved\n", folder);
    } else {
        fsp_buf_printf(&out,
                "%s/%s: entries %" PRIu64 " to %" PRIu64 " of %s, complete, %" PRIu64
                " held back\n"
                "%s/summary.txt and summary.html say what is proved\n",
                folder, result->file, result->from, result->size - 1, origin, result->held_back,
                folder);
    }
    status = fsp_cmd_print(&out);
    fsp_buf_fini(&out);
    return status;
}

static enum fsp_rc
prove(struct fsp_args *args, struct proving *it, struct fsp_err *err)
{
    const char *rig = fsp_args_rest(args, 0);
    const char *store = NULL;
    enum fsp_rc rc = parse_wish(&it->wish, args, err);

    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_READ, &it->shelf, err);
    if (rc == FSP_OK)
        rc = fsp_office_public_load(&it->keys, store, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->begin(it->shelf->ctx, false, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->fleet(it->shelf->ctx, it->fleet, err);
    if (rc == FSP_OK)
        rc = load_logs(it, rig, fsp_args_get(args, "log"), err);
    if (rc == FSP_OK)
        rc = load_witnesses(it, err);
    if (rc == FSP_OK)
        rc = set_quorum(it, fsp_args_get(args, "quorum"), err);
    if (rc != FSP_OK)
        return rc;
    fill_source(it, rig);
    return fsp_exhibit_write(&it->source, &it->wish, &it->result, err);
}

int
fsp_cmd_prove(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct proving *it = calloc(1, sizeof(*it));
    enum fsp_rc rc;
    int status;

    if (it == NULL)
        return fsp_cmd_fail(fsp_err_set(&err, FSP_ENOMEM, "out of memory"), &err);
    rc = prove(args, it, &err);
    status = rc == FSP_OK ? say(it, fsp_args_has(args, "json")) : fsp_cmd_fail(rc, &err);
    fsp_shelf_close(it->shelf);
    free(it->log);
    free(it);
    return status;
}
