#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "exhibit/exhibit_priv.h"
#include "exhibit/page.h"

#define SUMMARY_MAX ((size_t)1024 * 1024)

static const char by_hand[] = "Without any program of ours: docs/verify-by-hand.md, with "
                              "sha256sum, openssl, base64 and "
                              "jq.";

static const char *
time_of(int64_t time_s, char out[FSP_TIME_TEXT_LEN + 1])
{
    fsp_time_text(time_s, out);
    return out;
}

static bool
is_one(const struct fsp_exhibit *exhibit)
{
    return exhibit->wish->what == FSP_EXHIBIT_ENTRY;
}

static size_t
witnesses(const struct fsp_exhibit *exhibit)
{
    return exhibit->source->office_alone ? 0 : exhibit->source->witnesses;
}

/* --- what it is ------------------------------------------------------------------------------ */

static void
title(const struct fsp_exhibit *exhibit, char *out, size_t size)
{
    const char *rig = exhibit->source->rig;
    const struct fsp_exhibit_result *result = exhibit->result;

    switch (exhibit->wish->what) {
    case FSP_EXHIBIT_ENTRY:
        (void)snprintf(out, size, "Evidence: entry %" PRIu64 " of the log of %s",
                exhibit->wish->first, rig);
        return;
    case FSP_EXHIBIT_RANGE:
        (void)snprintf(out, size,
                "Evidence: entries %" PRIu64 " to %" PRIu64 " of the log of %s",
                exhibit->wish->first, exhibit->wish->last, rig);
        return;
    case FSP_EXHIBIT_INSPECTIONS:
        (void)snprintf(out, size, "Evidence: inspections in the log of %s", rig);
        return;
    case FSP_EXHIBIT_WHOLE:
        (void)snprintf(out, size, "Evidence: the log of %s, entries 0 to %" PRIu64, rig,
                result->size - 1);
        return;
    }
}

static void
files(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    const struct fsp_exhibit_result *result = exhibit->result;

    fsp_page_heading(page, "What lies here");
    fsp_page_value(page, "fleet", "%s", exhibit->source->fleet);
    fsp_page_value(page, "rig", "%s", exhibit->source->rig);
    fsp_page_value(page, "log", "%s", exhibit->source->log[exhibit->source->chosen].origin);
    if (is_one(exhibit)) {
        fsp_page_value(page, "record", "%s, the entry as it lies in the log", result->file);
        fsp_page_value(page, "proof", "%" PRIu64 ".tlog-proof, its place in the signed log",
                exhibit->wish->first);
        if (result->pairs > 0)
            fsp_page_value(page, "and",
                    "%zu more records with their proofs, which amend or "
                    "countersign it",
                    result->pairs);
    } else {
        fsp_page_value(page, "register",
                "%s, %" PRIu64 " entries, %" PRIu64 " of them held back", result->file,
                result->entries, result->held_back);
    }
    fsp_page_value(page, "policy", "trust.tlog-policy, whose signatures are asked for");
    if (result->has_roster)
        fsp_page_value(page, "roster",
                "roster.note, who may inspect and countersign; signed by "
                "the key in instructions.vkey");
}

static void
the_entry(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    const struct fsp_exhibit_piece *piece = &exhibit->piece[0];
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_page_heading(page, "The entry");
    fsp_page_value(page, "kind", "%s", piece->kind);
    fsp_page_value(page, "at", "%s, by the rig's clock or as entered", piece->at);
    if (piece->noted[0] != '\0')
        fsp_page_value(page, "noted", "%s, the rig's clock when it was entered", piece->noted);
    fsp_page_value(page, "by", "%s", piece->by);
    if (piece->name[0] != '\0')
        fsp_page_value(page, strcmp(piece->kind, "countersign") == 0 ? "signer" : "inspector",
                "%s", piece->name);
    if (piece->reel[0] != '\0')
        fsp_page_value(page, "reel", "%s", piece->reel);
    if (piece->decision[0] != '\0')
        fsp_page_value(page, "decision", "%s", piece->decision);
    if (piece->names[0] != '\0')
        fsp_page_value(page, "about", "%s", piece->names);
    if (piece->is_signed_kind)
        fsp_page_value(page, "signature", "%s", fsp_sig_state_text(piece->sig));
    fsp_page_value(page, "first seen", "by the office, %s of its own clock",
            time_of(piece->seen_s, at));
}

static void
companions(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    static const char *const columns[] = {
            "entry", "what", "at", "who", "signature", "first seen by the office", NULL};

    if (exhibit->pieces > 1) {
        fsp_page_heading(page, "Entries that amend or countersign it");
        fsp_page_columns(page, columns);
    }
    for (size_t i = 1; i < exhibit->pieces; i++) {
        const struct fsp_exhibit_piece *piece = &exhibit->piece[i];
        char what[128];
        char seen[FSP_TIME_TEXT_LEN + 1];
        const char *cells[7] = {piece->stem, what, piece->at,
                piece->name[0] != '\0' ? piece->name : piece->by,
                piece->is_signed_kind ? fsp_sig_state_text(piece->sig) : "",
                time_of(piece->seen_s, seen), NULL};

        (void)snprintf(what, sizeof(what), "%s %s",
                piece->voids                        ? "voids"
                : strcmp(piece->kind, "amend") == 0 ? "amends"
                                                    : "countersigns",
                piece->names);
        fsp_page_row(page, cells);
    }
    if (exhibit->pieces > 1)
        fsp_page_para(page, "Both versions stand in the log: what was first entered, and what "
                            "amends it. Neither can be taken out.");
    if (exhibit->unseen > 0)
        fsp_page_para(page,
                "%" PRIu64
                " more entries refer to it, and are under no head yet that the policy "
                "accepts; prove again later.",
                exhibit->unseen);
}

static void
inspections(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    static const char *const columns[] = {
            "entry", "at", "reel", "inspector", "decision", "signature", "countersigned", NULL};

    fsp_page_heading(page, "Inspections in it");
    fsp_page_para(page, "%" PRIu64 " inspections stand in this register.",
            exhibit->result->inspections);
    if (exhibit->pieces > 0)
        fsp_page_columns(page, columns);
    for (size_t i = 0; i < exhibit->pieces; i++) {
        const struct fsp_exhibit_piece *piece = &exhibit->piece[i];
        char index[24];
        const char *cells[8] = {index, piece->at, piece->reel, piece->name, piece->decision,
                fsp_sig_state_text(piece->sig),
                piece->countersigned == FSP_SIG_NONE ? ""
                                                     : fsp_sig_state_text(piece->countersigned),
                NULL};

        (void)snprintf(index, sizeof(index), "%" PRIu64, piece->index);
        fsp_page_row(page, cells);
    }
    if (exhibit->more > 0)
        fsp_page_para(
                page, "And %" PRIu64 " more, which farspool-audit counts.", exhibit->more);
}

/* --- what is proved, and what not ------------------------------------------------------------ */

static void
proved_of_one(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    const struct fsp_exhibit_piece *piece = &exhibit->piece[0];
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_page_point(page,
            "These bytes, all of them and no others, are entry %" PRIu64
            " of that log; nothing at or before it can be changed without another root than "
            "the "
            "one that was signed.",
            piece->index);
    fsp_page_point(page, "The rig's key signed that log of %" PRIu64 " entries.",
            exhibit->result->size);
    fsp_page_point(
            page, "The office had seen it by %s of its own clock.", time_of(piece->seen_s, at));
    if (piece->is_signed_kind && piece->sig == FSP_SIG_GOOD)
        fsp_page_point(page,
                "%s signed it: the signature holds for the key that the roster gives to that "
                "name, in its period.",
                piece->name);
}

static void
proved_of_roll(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    const struct fsp_exhibit_result *result = exhibit->result;
    char from[FSP_TIME_TEXT_LEN + 1];
    char to[FSP_TIME_TEXT_LEN + 1];

    if (result->from > 0)
        fsp_page_point(page,
                "Complete: between the head of %" PRIu64
                " entries, which the office cosigned at "
                "%s, and the head of %" PRIu64 ", which it cosigned at %s, the log has exactly "
                "these %" PRIu64 " entries in this order. None is left out, changed, added or "
                "moved.",
                result->from, time_of(exhibit->from.seen_s, from), result->size,
                time_of(exhibit->to.seen_s, to), result->entries);
    else
        fsp_page_point(page,
                "Complete: from its beginning to the head of %" PRIu64 ", which the office "
                "cosigned at %s, the log has exactly these %" PRIu64 " entries in this order. "
                "None is left out, changed, added or moved.",
                result->size, time_of(exhibit->to.seen_s, to), result->entries);
    fsp_page_point(
            page, "The rig's key signed %s.", result->from > 0 ? "both heads" : "that head");
    if (result->held_back > 0)
        fsp_page_point(page,
                "%" PRIu64
                " entries are held back. That they exist, and where, is proved; what "
                "they say is not here.",
                result->held_back);
}

static void
proved(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    fsp_page_heading(page, "What is proved");
    if (is_one(exhibit))
        proved_of_one(exhibit, page);
    else
        proved_of_roll(exhibit, page);
    if (witnesses(exhibit) > 0)
        fsp_page_point(page,
                "At least %zu of %zu cosigned it: the office and %zu witnesses of somebody "
                "else.",
                exhibit->source->need, witnesses(exhibit) + 1, witnesses(exhibit));
    fsp_page_para(page, "All this for keys that are known from elsewhere: see below.");
}

/* What a period leaves open. */
static void
open_of_period(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    const struct fsp_exhibit_wish *wish = exhibit->wish;
    char text[FSP_TIME_TEXT_LEN + 1];
    char seen[FSP_TIME_TEXT_LEN + 1];

    if (wish->what != FSP_EXHIBIT_INSPECTIONS)
        return;
    if (wish->has_to && !exhibit->seen_after)
        fsp_page_point(page,
                "Anything between %s and %s: the office has seen nothing of this log since the "
                "first.",
                time_of(exhibit->to.seen_s, seen), time_of(wish->to_s, text));
    fsp_page_point(page,
            "That an inspection of this period was not entered later: what reached "
            "the office after the last head is not in here.");
}

static void
open_of_signatures(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    size_t bad = 0;
    size_t all = 0;

    for (size_t i = 0; i < exhibit->pieces; i++) {
        all += exhibit->piece[i].is_signed_kind ? 1 : 0;
        bad += exhibit->piece[i].is_signed_kind && exhibit->piece[i].sig != FSP_SIG_GOOD ? 1
                                                                                         : 0;
    }
    if (bad > 0)
        fsp_page_point(page,
                "Who signed: %zu of %zu inspections and countersignatures told above have no "
                "signature that counts; the name there is only what somebody entered.",
                bad, all);
    if (all > bad)
        fsp_page_point(page, "That the roster here is the newest: a later one may have revoked "
                             "a key. And a signature proves the key, not the hand.");
}

static void
not_proved(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    char seen[FSP_TIME_TEXT_LEN + 1];
    const int64_t seen_s = is_one(exhibit) ? exhibit->piece[0].seen_s : exhibit->to.seen_s;

    fsp_page_heading(page, "What is not proved");
    fsp_page_point(page, "Whose keys these are: they came with the evidence. Compare the "
                         "fingerprints below with ones got elsewhere.");
    fsp_page_point(page,
            "When something was written before the office saw it, at the latest %s: until then "
            "the times are the rig's own clock.",
            time_of(seen_s, seen));
    fsp_page_point(page, "That what the entries say is true, and that nothing was left "
                         "unentered: what was never entered is in no log.");
    if (exhibit->result->held_back > 0)
        fsp_page_point(page,
                "That none of the %" PRIu64
                " entries held back is an inspection, or amends one: "
                "any of them could be.",
                exhibit->result->held_back);
    if (is_one(exhibit))
        fsp_page_point(page,
                "That nothing else is in the log: one entry says nothing about the "
                "others, nor about later entries that amend it.");
    open_of_period(exhibit, page);
    open_of_signatures(exhibit, page);
    if (witnesses(exhibit) == 0)
        fsp_page_point(page, "That rig and office did not invent the history together: only a "
                             "second witness, of somebody else, excludes that.");
}

static void
key_value(struct fsp_page *page, const char *label, const struct fsp_vkey *vkey)
{
    char fingerprint[65];

    fsp_vkey_fingerprint(vkey, fingerprint);
    fsp_page_value(page, label, "%s %s", fingerprint, vkey->name);
}

static void
keys(const struct fsp_exhibit *exhibit, struct fsp_page *page)
{
    const struct fsp_exhibit_source *source = exhibit->source;

    fsp_page_heading(page, "Keys, to compare with ones got elsewhere");
    for (size_t i = 0; i < source->logs; i++)
        if (exhibit->used_log[i])
            key_value(page, "log", &source->log[i].vkey);
    for (size_t i = 0; i < source->offices; i++)
        if (exhibit->used_office[i])
            key_value(page, "office", &source->office[i]);
    for (size_t i = 0; i < witnesses(exhibit); i++)
        key_value(page, source->witness[i].name, &source->witness[i].vkey);
    for (size_t i = 0; exhibit->result->has_roster && i < source->n_instructions; i++)
        key_value(page, "roster", &source->instructions[i]);
    fsp_page_heading(page, "How to check");
    fsp_page_para(page, "farspool-audit verify on this folder; with --pin and the fingerprints "
                        "above once they are known to be right.");
    if (is_one(exhibit) || exhibit->result->from == 0)
        fsp_page_para(page, "%s", by_hand);
    fsp_page_para(page, "This summary was written by whoever made the evidence. It proves "
                        "nothing by itself: the check does.");
}

enum fsp_rc
fsp_exhibit_summary(struct fsp_exhibit *exhibit, struct fsp_err *err)
{
    struct fsp_page page;
    struct fsp_buf text;
    struct fsp_buf html;
    char name[192];
    enum fsp_rc rc;

    fsp_buf_init(&text, SUMMARY_MAX);
    fsp_buf_init(&html, SUMMARY_MAX);
    title(exhibit, name, sizeof(name));
    fsp_page_begin(&page, &text, &html, name);
    files(exhibit, &page);
    if (is_one(exhibit)) {
        the_entry(exhibit, &page);
        companions(exhibit, &page);
    } else {
        inspections(exhibit, &page);
    }
    proved(exhibit, &page);
    not_proved(exhibit, &page);
    keys(exhibit, &page);
    fsp_page_end(&page);
    rc = fsp_buf_check(&text, "the summary", err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&html, "the summary", err);
    if (rc == FSP_OK)
        rc = fsp_exhibit_save(exhibit, "summary.txt", &text, err);
    if (rc == FSP_OK)
        rc = fsp_exhibit_save(exhibit, "summary.html", &html, err);
    fsp_buf_fini(&text);
    fsp_buf_fini(&html);
    return rc;
}
