#define _GNU_SOURCE /* memmem() */
#include "rig/urgent.h"

#include <string.h>

#include "line/hoist.h"
#include "record/record.h"

/* True when the canonical bytes hold the text somewhere: cheap, and never false for a record that
 * has it as a member. Most records need no parsing. */
static bool
holds(const uint8_t *bytes, size_t len, const char *text)
{
    return memmem(bytes, len, text, strlen(text)) != NULL;
}

static bool
is(const struct fsp_record *record, const char *field, const char *value)
{
    const char *text = fsp_record_text(record, field);

    return text != NULL && strcmp(text, value) == 0;
}

/* As the ledger judges it. */
static bool
is_low(const struct fsp_record *work)
{
    double factor;

    return fsp_record_number(work, "factor", &factor) && factor > 0 &&
           factor < fsp_hoist_least(
                            fsp_record_text(work, "service"), fsp_record_text(work, "op"));
}

bool
fsp_urgent(const uint8_t *bytes, size_t len)
{
    struct fsp_record *record = NULL;
    bool urgent = false;

    if (!holds(bytes, len, "\"cut\"") && !holds(bytes, len, "\"inspection\"") &&
            !holds(bytes, len, "\"factor\""))
        return false;
    if (fsp_record_parse(bytes, len, &record, NULL) != FSP_OK)
        return false;
    if (is(record, "kind", "cut"))
        urgent = true;
    else if (is(record, "kind", "inspection"))
        urgent = fsp_record_has(record, "decision") && !is(record, "decision", "run");
    else if (is(record, "kind", "work"))
        urgent = is_low(record);
    fsp_record_free(record);
    return urgent;
}
