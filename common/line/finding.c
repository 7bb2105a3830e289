#include "line/finding.h"

#include "line/ledger_priv.h"

bool
fsp_ledger_finding_entry(
        const struct fsp_ledger *ledger, size_t i, int64_t *at_s, uint64_t *index)
{
    const struct fold *fold = &ledger->fold;

    *at_s = 0;
    *index = 0;
    if (i >= ledger->view.findings)
        return false;
    if (fold->stop.open && i-- == 0) {
        *at_s = fold->stop.at_s;
        *index = fold->stop.index;
        return true;
    }
    *at_s = fold->defects[i].at_s;
    *index = fold->defects[i].index;
    return true;
}
