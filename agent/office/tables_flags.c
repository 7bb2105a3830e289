/* The table of flags: what needs a look, and who has looked. */
#include "office/flags.h"
#include "office/tables_priv.h"

#define COUNT_OF(array) (sizeof(array) / sizeof((array)[0]))

static const struct fsp_column flag_columns[] = {
        {"RIG", "rig", FSP_CELL_TEXT, 0, NULL, "the rig's name"},
        {"WEIGHT", "weight", FSP_CELL_TEXT, 0, NULL,
                ("stop (people may be hurt, or a history is in doubt), warn or tell; the "
                 "gravest "
                 "of a rig stand first")},
        {"FLAG", "kind", FSP_CELL_TEXT, 0, NULL, "what it is, in one word"},
        {"SINCE", "since", FSP_CELL_TIME, 0, NULL, "time of the evidence that raised it"},
        {NULL, "mark", FSP_CELL_TEXT, 0, NULL,
                "names this occurrence: another one has another mark"},
        {"REASON", "text", FSP_CELL_TEXT, 0, NULL, "the reason, in words"},
        {NULL, "cuts", FSP_CELL_COUNT, 0, NULL, "cuts that are the evidence"},
        {"LOOKED AT", "acknowledged_at", FSP_CELL_TIME, 0, NULL,
                "when somebody in the office looked at it"},
        {"BY", "acknowledged_by", FSP_CELL_TEXT, 0, NULL, "who"},
        {"NOTE", "note", FSP_CELL_TEXT, 0, NULL, "what was found"},
};

static void
flag_row(struct fsp_table *table, const char *rig, const struct fsp_flag *flag)
{
    bool looked = flag->acknowledged;

    fsp_table_text(table, "rig", rig);
    fsp_table_text(table, "weight", fsp_flag_weight_word(flag->weight));
    fsp_table_text(table, "kind", fsp_flag_kind_word(flag->kind));
    fsp_table_time(table, "since", flag->since_s);
    fsp_table_text(table, "mark", flag->mark);
    fsp_table_text(table, "text", flag->text);
    fsp_table_count(table, "cuts", true, flag->n_cuts);
    fsp_table_time(table, "acknowledged_at", looked ? flag->acknowledged_s : 0);
    fsp_table_text(table, "acknowledged_by", looked ? flag->acknowledged_by : NULL);
    fsp_table_text(table, "note", looked ? flag->note : NULL);
}

static enum fsp_rc
flag_rows(const struct fsp_tables_from *from, const struct fsp_fleet_rig *rig,
        struct fsp_table *table, struct fsp_err *err)
{
    struct fsp_flag flags[FSP_FLAGS_MAX];
    size_t n = 0;
    enum fsp_rc rc = fsp_flags_list(from->desk, rig, flags, &n, err);

    for (size_t i = 0; rc == FSP_OK && i < n; i++)
        flag_row(table, rig->name, &flags[i]);
    return rc;
}

static enum fsp_rc
flag_fill(const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err)
{
    return fsp_tables_each(from, flag_rows, table, err);
}

const struct fsp_tables_def fsp_tables_flags = {.name = "flags",
        .what = "What needs a look, each flag of each rig with its reason, and who has looked",
        .columns = flag_columns,
        .n = COUNT_OF(flag_columns),
        .fill = flag_fill};
