/*
 * farspool-office: takes the rigs' bundles, keeps the shelf, compares the fleet, proves records.
 */
#include <stdio.h>

#include "office/cmd.h"
#include "proof/key.h"

#define OPTION_STORE                                                                           \
    {                                                                                          \
        "store", "DIR", "the office's store (default: from the configuration)", false          \
    }
#define OPTION_CONF                                                                            \
    {                                                                                          \
        "conf", "FILE", "the configuration (default: " FSP_OFFICE_CONF ")", false              \
    }
#define OPTION_JSON                                                                            \
    {                                                                                          \
        "json", NULL, "one JSON value for programs", false                                     \
    }
#define OPTION_CSV                                                                             \
    {                                                                                          \
        "csv", NULL, "the table as CSV", false                                                 \
    }
#define OPTION_TABLE                                                                           \
    {                                                                                          \
        "table", "NAME",                                                                       \
                "fleet, cuts, early, flags, inspections, reels, links, logs or instructions, " \
                "with the columns of docs/columns.md",                                         \
                false                                                                          \
    }
#define OPTION_AS_OF                                                                           \
    {                                                                                          \
        "as-of", "TIME",                                                                       \
                "what is due and late as of TIME; every record counts (default: now)", false   \
    }
#define OPTION_END                                                                             \
    {                                                                                          \
        NULL, NULL, NULL, false                                                                \
    }

static const struct fsp_option init_options[] = {OPTION_STORE, OPTION_CONF,
        {"fleet", "NAME", "the fleet's name: a-z, 0-9 and inner hyphens", false}, OPTION_END};
static const struct fsp_option invite_options[] = {OPTION_STORE, OPTION_CONF,
        {"url", "URL", "where the rig sends its bundles (default: by courier only)", false},
        {"out", "FILE", "the invitation, to be handed over on a safe way", false}, OPTION_END};
static const struct fsp_option serve_options[] = {OPTION_STORE, OPTION_CONF,
        {"listen", "[https://]ADDR:PORT",
                "take bundles here (default 127.0.0.1:8463, without TLS; port 0 picks one)",
                false},
        {"pages", "[https://]ADDR:PORT", "serve the pages here (default 127.0.0.1:8464)",
                false},
        OPTION_END};
static const struct fsp_option take_options[] = {OPTION_STORE, OPTION_CONF,
        {"receipt", "FILE", "write the answers, to be carried back to the rig", false},
        OPTION_END};
static const struct fsp_option table_options[] = {
        OPTION_STORE, OPTION_CONF, OPTION_JSON, OPTION_CSV, OPTION_AS_OF, OPTION_END};
static const struct fsp_option fleet_options[] = {OPTION_STORE, OPTION_CONF, OPTION_JSON,
        OPTION_CSV, OPTION_TABLE, OPTION_AS_OF, OPTION_END};
static const struct fsp_option rig_options[] = {OPTION_STORE, OPTION_CONF, OPTION_JSON,
        OPTION_CSV, OPTION_TABLE,
        {"inspections", NULL, "with --csv: the same as --table inspections", false},
        OPTION_AS_OF, OPTION_END};
static const struct fsp_option prove_options[] = {OPTION_STORE, OPTION_CONF,
        {"out", "DIR", "folder of the evidence (made when it is not there)", false},
        {"log", "ORIGIN", "another log of the rig than the current one", false},
        {"whole", NULL, "all entries of the log, as a register", false},
        {"inspections", NULL, "a register of inspections: all entries of a period", false},
        {"from", "TIME", "of the period (default: the log's beginning)", false},
        {"to", "TIME", "of the period (default: up to the newest head)", false},
        {"hold-back", NULL, "give what was not asked for as leaf hashes only", false},
        {"quorum", "office|all|N",
                "who must have cosigned: the office, all witnesses too, or N of them (default: "
                "all)",
                false},
        OPTION_JSON, OPTION_END};
static const struct fsp_option witness_options[] = {OPTION_STORE, OPTION_CONF,
        {"out", "FILE", "ask: the request, for the witness", false},
        {"name", "NAME", "ask: which witness, when there are several", false},
        {"log", "ORIGIN", "ask: another log of the rig than the current one", false},
        {"old", "N", "ask: the entries that the witness says it cosigned last", false},
        OPTION_JSON, OPTION_END};
static const struct fsp_option hand_back_options[] = {
        OPTION_STORE, OPTION_CONF, {"out", "FILE", "where to write it", false}, OPTION_END};
static const struct fsp_option confirm_options[] = {OPTION_STORE, OPTION_CONF,
        {"by", "NAME", "who looked at it", false},
        {"log", "ORIGIN", "only this log (default: every renewal that waits)", false},
        OPTION_END};
static const struct fsp_option instruct_options[] = {
        OPTION_STORE, OPTION_CONF, OPTION_JSON, OPTION_CSV, OPTION_END};
static const struct fsp_option roster_options[] = {OPTION_STORE, OPTION_CONF, OPTION_JSON,
        OPTION_CSV, {"from", "DAY", "first day that counts, as 2026-03-01 (UTC)", false},
        {"to", "DAY", "last day that counts (default: open)", false},
        {"may", "WHAT", "inspect, countersign, or inspect,countersign", false},
        {"at", "TIME", "since when a key may be somebody else's", false}, OPTION_END};
static const struct fsp_option keys_options[] = {
        OPTION_STORE, OPTION_CONF, OPTION_JSON, OPTION_END};
static const struct fsp_option user_options[] = {OPTION_STORE, OPTION_CONF,
        {"role", "ROLE", "add: reader, auditor, engineer or keeper", false},
        {"password-from", "FILE",
                "add, password: its first line, instead of asking; - reads one", false},
        {"last", "N", "trail: the newest N lines (default: 100)", false}, OPTION_JSON,
        OPTION_CSV, OPTION_END};
static const struct fsp_option readmit_options[] = {OPTION_STORE, OPTION_CONF, OPTION_END};
static const struct fsp_option backup_options[] = {OPTION_STORE, OPTION_CONF,
        {"out", "DIR", "a folder that is not there yet", false},
        {"with-keys", NULL, "the office's secret keys too", false}, OPTION_JSON, OPTION_END};
static const struct fsp_option check_options[] = {
        OPTION_STORE, OPTION_CONF, OPTION_JSON, OPTION_END};

static const struct fsp_command commands[] = {
        {"init", "", "make a store and the office's keys", init_options, fsp_cmd_init},
        {"invite", "RIG", "write an invitation for one log of a rig", invite_options,
                fsp_cmd_invite},
        {"serve", "", "take bundles and serve the pages until stopped", serve_options,
                fsp_cmd_serve},
        {"take", "FILE...", "take bundles that came as files", take_options, fsp_cmd_take},
        {"fleet", "", "every rig's line, what needs attention first", fleet_options,
                fsp_cmd_fleet},
        {"rig", "RIG", "one rig's account, logs, cuts and inspections", rig_options,
                fsp_cmd_rig},
        {"early", "", "rigs flagged for repeated early cuts, with the evidence", table_options,
                fsp_cmd_early},
        {"prove", "RIG [N | FROM-TO]", "write the evidence for entries, for an auditor",
                prove_options, fsp_cmd_prove},
        {"witness", "[add NAME VKEY | ask RIG | take FILE]",
                "let others cosign the heads too; without more, who does", witness_options,
                fsp_cmd_witness},
        {"hand-back", "RIG", "write all that is held of a rig, for the rig that lost it",
                hand_back_options, fsp_cmd_hand_back},
        {"confirm", "RIG", "say that a rig's renewal was looked at and is right",
                confirm_options, fsp_cmd_confirm},
        {"instruct", "RIG [message TEXT | program field=value...]",
                "write to a rig; without more, what was written and what came of it",
                instruct_options, fsp_cmd_instruct},
        {"roster", "[add KEY | end KEY | revoke KEY | send]",
                "who may inspect and countersign; every change is sent to every rig",
                roster_options, fsp_cmd_roster},
        {"keys", "[renew cosigner|instructions|box|pins]",
                "the office's keys; a new one that follows, told to every rig", keys_options,
                fsp_cmd_keys},
        {"readmit", "FILE",
                "know an invitation of this office again that a backup has forgotten",
                readmit_options, fsp_cmd_readmit},
        {"user", "[add NAME | role NAME ROLE | password NAME | close NAME | list | trail]",
                "accounts of the people who use the pages, and what they did", user_options,
                fsp_cmd_user},
        {"check", "", "verify the whole store again", check_options, fsp_cmd_check},
        {"backup", "", "copy the store while it is served, and verify the copy", backup_options,
                fsp_cmd_backup},
        {NULL, NULL, NULL, NULL, NULL},
};

static const struct fsp_program program = {"farspool-office", FSP_VERSION,
        "the office's end of the drilling-line record", commands};

static int
run(int argc, char *const argv[])
{
    struct fsp_err err = {0};
    struct fsp_args *args = NULL;
    struct fsp_office office = {.env = fsp_env_system()};
    struct fsp_buf out;
    enum fsp_rc rc;
    int status;

    fsp_buf_init(&out, FSP_OFFICE_OUTPUT);
    rc = fsp_args_parse(&program, argc, argv, &args, &err);
    if (rc == FSP_OK)
        rc = fsp_proof_init(&err);
    if (rc != FSP_OK) {
        status = fsp_cmd_fail(rc, &err);
        goto out;
    }
    fsp_args_set_ctx(args, &office);
    switch (fsp_args_wish(args)) {
    case FSP_ARGS_HELP:
        fsp_args_help(&program, fsp_args_command(args), &out);
        status = fsp_cmd_print(&out);
        break;
    case FSP_ARGS_VERSION:
        fsp_buf_printf(&out, "%s %s\n", program.name, program.version);
        status = fsp_cmd_print(&out);
        break;
    case FSP_ARGS_RUN:
    default:
        status = fsp_args_command(args)->run(args);
        break;
    }
out:
    fsp_conf_free(office.conf);
    fsp_args_free(args);
    fsp_buf_fini(&out);
    return status;
}

int
main(int argc, char *argv[])
{
    return run(argc, argv);
}
