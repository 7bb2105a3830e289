/* Views over the stored entries for other tools: docs/sql-views.md. They hold no number of ours. */
#include <string.h>

#include "office/shelf_sqlite_priv.h"

#define VIEWS 11

/* An entry that is no JSON object in UTF-8 is a row all the same, with nothing known of it: a reading
 * tool must never stumble over what one rig sent. SQLite's own decoding is lax, so text that is not
 * plain ASCII is decoded, encoded again and compared; half a surrogate may not come by an escape
 * either. Never edited once it has landed: other tools rely on the columns. */
const char fsp_shelf_views_sql[] =
        "CREATE VIEW v_log AS SELECT l.rig AS rig, l.origin AS origin, l.id AS log, "
        "coalesce(t.size, 0) AS size, strftime('%Y-%m-%dT%H:%M:%SZ', l.enrolled_s, "
        "'unixepoch') AS enrolled, CASE WHEN l.heard_s > 0 THEN "
        "strftime('%Y-%m-%dT%H:%M:%SZ', l.heard_s, 'unixepoch') END AS heard FROM "
        "rig_log l LEFT JOIN tip t ON t.log = l.id;"
        "CREATE VIEW v_head AS SELECT l.rig AS rig, l.origin AS origin, h.log AS log,"
        " h.size AS size, strftime('%Y-%m-%dT%H:%M:%SZ', h.time_s, 'unixepoch') AS "
        "cosigned, CAST(h.note AS TEXT) AS note FROM head h JOIN rig_log l ON l.id = "
        "h.log;"
        "CREATE VIEW v_entry AS SELECT rig, origin, log, idx, json_extract(json, "
        "'$.kind') AS kind, json_extract(json, '$.at') AS at, json_extract(json, "
        "'$.by') AS by, json IS NOT NULL AS readable, json FROM (SELECT l.rig AS rig,"
        " l.origin AS origin, e.log AS log, e.idx AS idx, CASE WHEN instr(e.bytes, "
        "x'00') = 0 AND replace(CAST(e.bytes AS TEXT), '\\\\', '') NOT LIKE '%\\ud%' "
        "THEN CASE WHEN CAST(e.bytes AS TEXT) NOT GLOB '*[^' || char(1) || '-~]*' OR "
        "(WITH RECURSIVE c(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM c WHERE i < "
        "length(CAST(e.bytes AS TEXT))) SELECT "
        "group_concat(char(unicode(substr(CAST(e.bytes AS TEXT), i, 1))), '') FROM c)"
        " = CAST(e.bytes AS TEXT) THEN CASE WHEN json_valid(CAST(e.bytes AS TEXT)) "
        "THEN CASE WHEN json_type(CAST(e.bytes AS TEXT)) = 'object' THEN CAST(e.bytes"
        " AS TEXT) END END END END AS json FROM entry e JOIN rig_log l ON l.id = "
        "e.log);"
        "CREATE VIEW v_cut AS SELECT rig, origin, log, idx, at, by, "
        "json_extract(json, '$.length') AS length, json_extract(json, '$.reason') AS "
        "reason, json_extract(json, '$.laps') AS laps, json_extract(json, "
        "'$.measured') AS measured, json_extract(json, '$.slipped') AS slipped, "
        "json_extract(json, '$.place') AS place, json_extract(json, '$.condition') AS"
        " condition, json_extract(json, '$.\"dead-wraps\"') AS dead_wraps, "
        "json_extract(json, '$.supervisor') AS supervisor, json_extract(json, "
        "'$.note') AS note FROM v_entry WHERE kind = 'cut';"
        "CREATE VIEW v_slip AS SELECT rig, origin, log, idx, at, by, "
        "json_extract(json, '$.length') AS length, json_extract(json, '$.laps') AS "
        "laps, json_extract(json, '$.\"dead-wraps\"') AS dead_wraps, "
        "json_extract(json, '$.supervisor') AS supervisor, json_extract(json, "
        "'$.note') AS note FROM v_entry WHERE kind = 'slip';"
        "CREATE VIEW v_work AS SELECT rig, origin, log, idx, at, by, "
        "json_extract(json, '$.op') AS op, json_extract(json, '$.from') AS "
        "from_depth, json_extract(json, '$.to') AS to_depth, json_extract(json, "
        "'$.depth') AS depth, json_extract(json, '$.hookload') AS hookload, "
        "json_extract(json, '$.pull') AS pull, json_extract(json, '$.service') AS "
        "service, json_extract(json, '$.\"ton-miles\"') AS shown_ton_miles, "
        "json_extract(json, '$.factor') AS shown_factor, json_extract(json, '$.note')"
        " AS note FROM v_entry WHERE kind = 'work';";
const char fsp_shelf_views_more_sql[] =
        "CREATE VIEW v_inspection AS SELECT rig, origin, log, idx, at, by, "
        "json_extract(json, '$.reel') AS reel, json_extract(json, '$.inspector') AS "
        "inspector, json_extract(json, '$.scope') AS scope, json_extract(json, "
        "'$.decision') AS decision, json_extract(json, '$.event') AS event, "
        "json_extract(json, '$.extent') AS extent, json_extract(json, '$.\"cut-to\"')"
        " AS cut_to, json_extract(json, '$.qualification') AS qualification, "
        "json_extract(json, '$.employer') AS employer, CASE WHEN json_type(json, "
        "'$.places') = 'array' THEN json_extract(json, '$.places') END AS places, "
        "CASE WHEN json_type(json, '$.defects') = 'array' THEN json_extract(json, "
        "'$.defects') END AS defects, json_type(json, '$.sig') IS NOT NULL AS "
        "bears_signature, json_extract(json, '$.note') AS note FROM v_entry WHERE "
        "kind = 'inspection';"
        "CREATE VIEW v_countersign AS SELECT rig, origin, log, idx, at, by, "
        "json_extract(json, '$.entry.log') AS entry_log, json_extract(json, "
        "'$.entry.index') AS entry_idx, json_extract(json, '$.entry.leaf') AS "
        "entry_leaf, json_extract(json, '$.signer') AS signer FROM v_entry WHERE kind"
        " = 'countersign';"
        "CREATE VIEW v_reel AS SELECT rig, origin, log, idx, at, by, "
        "json_extract(json, '$.reel') AS reel, json_extract(json, '$.rope') AS rope, "
        "json_extract(json, '$.grade') AS grade, json_extract(json, '$.received') AS "
        "received, json_extract(json, '$.strung') AS strung, json_extract(json, "
        "'$.lines') AS lines, json_extract(json, '$.build') AS build, "
        "json_extract(json, '$.class') AS class, json_extract(json, '$.core') AS "
        "core, json_extract(json, '$.lay') AS lay, json_extract(json, "
        "'$.certificate') AS certificate, json_extract(json, '$.strength') AS "
        "strength, json_extract(json, '$.state') AS state, json_extract(json, "
        "'$.note') AS note FROM v_entry WHERE kind = 'reel';"
        "CREATE VIEW v_program AS SELECT rig, origin, log, idx, at, by, "
        "json_extract(json, '$.cut') AS cut, json_extract(json, '$.\"first-goal\"') "
        "AS first_goal, json_extract(json, '$.\"later-goal\"') AS later_goal, "
        "json_extract(json, '$.slips') AS slips, json_extract(json, '$.\"per-foot\"')"
        " AS per_foot, json_extract(json, '$.basis') AS basis, json_extract(json, "
        "'$.approved') AS approved, json_extract(json, '$.note') AS note FROM v_entry"
        " WHERE kind = 'program';"
        "CREATE VIEW v_amend AS SELECT rig, origin, log, idx, at, by, "
        "json_extract(json, '$.entry.log') AS entry_log, json_extract(json, "
        "'$.entry.index') AS entry_idx, json_extract(json, '$.entry.leaf') AS "
        "entry_leaf, json_extract(json, '$.reason') AS reason, CASE WHEN "
        "json_type(json, '$.set') = 'object' THEN json_extract(json, '$.set') END AS "
        "fields, json_type(json, '$.void') IS NOT NULL AS voids FROM v_entry WHERE "
        "kind = 'amend';";

#define SQL_VIEWS "SELECT name, sql FROM sqlite_schema WHERE type = 'view'"

/* A view that says something else than it should would mislead whoever reads it. */
enum fsp_rc
fsp_shelf_views_check(struct fsp_db *db, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = true;
    size_t n = 0;
    enum fsp_rc rc = fsp_stmt_get(db, SQL_VIEWS, &stmt, err);

    while (rc == FSP_OK && row) {
        const char *sql;

        rc = fsp_stmt_step(stmt, &row, err);
        if (rc != FSP_OK || !row)
            break;
        n++;
        sql = fsp_stmt_text(stmt, 1);
        if (sql == NULL || (strstr(fsp_shelf_views_sql, sql) == NULL &&
                                   strstr(fsp_shelf_views_more_sql, sql) == NULL))
            rc = fsp_err_set(err, FSP_ECORRUPT,
                    "view %.60s is not what this version made; do not trust what it shows",
                    fsp_stmt_text(stmt, 0));
    }
    if (stmt != NULL)
        fsp_stmt_reset(stmt);
    if (rc == FSP_OK && n != VIEWS)
        rc = fsp_err_set(err, FSP_ECORRUPT, "the store has %zu views, not %d", n, VIEWS);
    return rc;
}
