/* What the office says of a rig beside its account: who signed, what the review advises, how its logs
 * hang together. */
#include <string.h>

#include "base/clock.h"
#include "base/text.h"
#include "line/say.h"
#include "office/show_priv.h"
#include "office/tables_priv.h"

/* --- advice ---------------------------------------------------------------------------------- */

void
fsp_show_advice(const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    struct fsp_buf line;

    for (size_t i = 0; i < rig->n_advice; i++) {
        const struct fsp_advice *advice = &rig->advice[i];

        fsp_buf_init(&line, FSP_ADVICE_TEXT_MAX + 200);
        fsp_buf_printf(&line, "%s: %s", fsp_advice_text(advice->kind), advice->text);
        if (advice->followed != FSP_FOLLOWED_UNKNOWN)
            fsp_buf_printf(&line, " (it followed %s)", fsp_followed_text(advice->followed));
        fsp_show_line(buf, "advice", fsp_buf_peek(&line));
        fsp_buf_fini(&line);
    }
}

/* --- signatures ------------------------------------------------------------------------------ */

void
fsp_show_findings(const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    enum fsp_sig_state sig;

    for (size_t i = 0; fsp_fold_finding_sig(rig->fold, i, &sig); i++) {
        struct fsp_buf line;

        fsp_buf_init(&line, 4096);
        fsp_buf_printf(
                &line, "%s: %s", fsp_sig_state_text(sig), fsp_ledger_finding(rig->ledger, i));
        fsp_show_line(buf, "open finding", fsp_buf_peek(&line));
        fsp_buf_fini(&line);
    }
}

void
fsp_show_signed_json(const struct fsp_fleet_rig *rig, bool *first, struct fsp_buf *buf)
{
    fsp_say_key(buf, first, "advice");
    fsp_review_advice_json(rig->advice, rig->n_advice, buf);
    fsp_say_key(buf, first, "findings");
    fsp_fold_findings_json(rig->fold, buf);
    fsp_say_key(buf, first, "inspections");
    fsp_fold_inspections_json(rig->fold, buf);
    fsp_say_member_count(buf, first, "inspections_held", fsp_fold_inspections(rig->fold));
    fsp_say_member_count(buf, first, "roster", fsp_fold_roster(rig->fold));
}

/* --- the chain of logs ----------------------------------------------------------------------- */

void
fsp_show_renewal(
        const struct fsp_fleet_rig *rig, const struct fsp_fleet_log *log, struct fsp_buf *buf)
{
    const struct fsp_fleet_log *from = fsp_tables_continued(rig, log);
    struct fsp_buf flags;

    if (!log->chain.renewed)
        return;
    if (from != NULL)
        fsp_buf_printf(buf, ", continues %s from entry %llu on", from->log.origin,
                (unsigned long long)log->chain.renewal.from_size);
    fsp_buf_init(&flags, 1024);
    fsp_chain_flag_text(&log->chain, &flags);
    if (flags.len > 0)
        fsp_buf_printf(buf, ", %s", fsp_buf_peek(&flags));
    if (log->chain.renewal.confirmed) {
        fsp_buf_add_text(buf, ", confirmed by ");
        fsp_text_show(
                buf, log->chain.renewal.confirmed_by, strlen(log->chain.renewal.confirmed_by));
    }
    fsp_buf_fini(&flags);
}

void
fsp_show_renewal_json(const struct fsp_fleet_rig *rig, const struct fsp_fleet_log *log,
        bool *first, struct fsp_buf *buf)
{
    const struct fsp_shelf_renewal *renewal = &log->chain.renewal;
    const struct fsp_fleet_log *from = fsp_tables_continued(rig, log);
    bool inner = true;

    fsp_say_key(buf, first, "renewal");
    if (!log->chain.renewed) {
        fsp_buf_add_text(buf, "null");
        return;
    }
    fsp_buf_add_byte(buf, '{');
    fsp_say_member_bool(buf, &inner, "confirmed", renewal->confirmed);
    fsp_say_member_text(
            buf, &inner, "confirmed_by", renewal->confirmed ? renewal->confirmed_by : NULL);
    fsp_say_member_text(buf, &inner, "from", from == NULL ? NULL : from->log.origin);
    fsp_say_member_count(buf, &inner, "from_size", renewal->from_size);
    fsp_say_member_text(buf, &inner, "how", fsp_tables_renewal_text(renewal->how));
    fsp_say_member_bool(buf, &inner, "second", log->chain.second);
    fsp_say_member_time(buf, &inner, "seen", renewal->seen_s);
    fsp_buf_add_byte(buf, '}');
}
