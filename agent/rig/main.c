/* farspool-rig: the option table, the configuration, and nothing else. */
#include <stdio.h>
#include <stdlib.h>

#include "base/file.h"
#include "cli/conf.h"
#include "cli/option.h"
#include "proof/key.h"
#include "rig/cmd.h"

#define CONF_PATH "/etc/farspool/rig.conf"

#define STORE                                                                                  \
    {                                                                                          \
        .name = "store", .value_name = "DIR", .says = "the store's folder"                     \
    }
#define JSON                                                                                   \
    {                                                                                          \
        .name = "json", .says = "the answer as JSON"                                           \
    }
#define ZONE                                                                                   \
    {                                                                                          \
        .name = "zone", .value_name = "OFFSET",                                                \
        .says = "times typed without an offset are in this zone, as +01:00"                    \
    }
#define ALSO                                                                                   \
    {                                                                                          \
        .name = "also",                                                                        \
        .says = "take it although another entry has the same time, kind and op"                \
    }

#define PASSPHRASE_FROM                                                                        \
    {                                                                                          \
        .name = "passphrase-from", .value_name = "FILE",                                       \
        .says = "the key's passphrase is the first line of FILE (- for standard input)"        \
    }

#define LOG                                                                                    \
    {                                                                                          \
        .name = "log", .value_name = "ORIGIN",                                                 \
        .says = "another log of this store than the current one"                               \
    }

#define TURN                                                                                   \
    {                                                                                          \
        .name = "patience", .value_name = "SECONDS",                                           \
        .says = "wait so long for a process that is sending for this rig (default: 90)"        \
    }

static const struct fsp_option init_options[] = {
        STORE,
        {.name = "invitation", .value_name = "FILE", .says = "the office's invitation"},
        {.name = "hand-back",
                .value_name = "FILE",
                .says = "what the office holds of this rig: for a PC that replaces another"},
        {.name = "why", .value_name = "TEXT", .says = "with --hand-back: why, for the record"},
        {.name = NULL},
};
static const struct fsp_option renew_options[] = {
        STORE,
        {.name = "why", .value_name = "TEXT", .says = "why a new log begins, for the record"},
        {.name = "by", .value_name = "NAME", .says = "who does it, for the record"},
        {.name = "invitation",
                .value_name = "FILE",
                .says = "a new invitation, when the old key is lost"},
        {.name = "hand-back",
                .value_name = "FILE",
                .says = "what the office holds, when this store is not whole"},
        TURN,
        JSON,
        {.name = NULL},
};
static const struct fsp_option enter_options[] = {
        STORE,
        {.name = "signer",
                .value_name = "FILE",
                .says = "sign an inspection or countersignature with the key in FILE"},
        PASSPHRASE_FROM,
        {.name = "once",
                .value_name = "TOKEN",
                .says = "the same token adds the record once, however often it is sent"},
        ALSO,
        ZONE,
        {.name = "fields", .says = "show the kinds of record, or the fields of KIND"},
        JSON,
        {.name = NULL},
};
static const struct fsp_option take_options[] = {
        STORE,
        ALSO,
        ZONE,
        {.name = "template", .value_name = "KIND", .says = "print the CSV header for a kind"},
        JSON,
        {.name = NULL},
};
static const struct fsp_option line_options[] = {
        STORE,
        {.name = "as-of",
                .value_name = "TIME",
                .says = "what is due and late as of TIME; every record counts (default: now)"},
        {.name = "job",
                .value_name = "JOB",
                .says = "will it make it? a next job, as \"op=round-trip depth=9500ft\"; in "
                        "order",
                .many = true},
        ZONE,
        JSON,
        {.name = NULL},
};
static const struct fsp_option run_options[] = {
        STORE,
        {.name = "every", .value_name = "SECONDS", .says = "look at the inbox this often"},
        {.name = "once", .says = "one round: the inbox, then one push"},
        {.name = "pages",
                .value_name = "ADDR:PORT",
                .says = "serve the crew's page on this PC, as 127.0.0.1:8465"},
        ZONE,
        {.name = NULL},
};
static const struct fsp_option push_options[] = {
        STORE,
        {.name = "patience",
                .value_name = "SECONDS",
                .says = "try again for this long when the office cannot be reached"},
        JSON,
        {.name = NULL},
};
static const struct fsp_option out_options[] = {
        STORE,
        {.name = "out", .value_name = "PATH", .says = "where to write"},
        TURN,
        JSON,
        {.name = NULL},
};
static const struct fsp_option signer_options[] = {
        {.name = "fleet", .value_name = "FLEET", .says = "new: whose roster it is meant for"},
        {.name = "out", .value_name = "FILE", .says = "new: where the key file goes"},
        PASSPHRASE_FROM,
        {.name = "new-passphrase-from",
                .value_name = "FILE",
                .says = "passphrase: the new one is the first line of FILE"},
        JSON,
        {.name = NULL},
};
static const struct fsp_option prove_options[] = {
        STORE,
        LOG,
        {.name = "out", .value_name = "DIR", .says = "where to write the evidence"},
        {.name = "whole", .says = "all entries of the log, as a register"},
        {.name = "inspections", .says = "a register of inspections: all entries of a period"},
        {.name = "from",
                .value_name = "TIME",
                .says = "of the period (default: the log's beginning)"},
        {.name = "to",
                .value_name = "TIME",
                .says = "of the period (default: up to the newest receipt)"},
        {.name = "hold-back", .says = "give what was not asked for as leaf hashes only"},
        JSON,
        {.name = NULL},
};
static const struct fsp_option print_options[] = {STORE, LOG, JSON, {.name = NULL}};
static const struct fsp_option json_options[] = {JSON, {.name = NULL}};
static const struct fsp_option store_options[] = {STORE, JSON, {.name = NULL}};

static const struct fsp_command commands[] = {
        {"init", "", "make a store from the office's invitation", init_options, fsp_cmd_init},
        {"renew", "", "begin a new log with a new key, continuing the old one", renew_options,
                fsp_cmd_renew},
        {"enter", "KIND field=value...", "add one record", enter_options, fsp_cmd_enter},
        {"take", "FILE...", "add day sheets, CSV or JSON lines; each file whole or not at all",
                take_options, fsp_cmd_take},
        {"line", "", "show what the line has done and what is due", line_options, fsp_cmd_line},
        {"reckon", "WHAT field=value...", "compute without a store", json_options,
                fsp_cmd_reckon},
        {"run", "", "take what is dropped into the inbox and push, until stopped", run_options,
                fsp_cmd_run},
        {"push", "", "send everything the office lacks, now", push_options, fsp_cmd_push},
        {"carry", "", "write what the office lacks as a file for a courier (--out FILE)",
                out_options, fsp_cmd_carry},
        {"receipt", "FILE", "take the office's answers that a courier brought", store_options,
                fsp_cmd_receipt},
        {"prove", "[N | FROM-TO]", "write the evidence for entries that have a receipt",
                prove_options, fsp_cmd_prove},
        {"signer", "new NAME | show FILE | passphrase FILE",
                "make a person's key for signing inspections, show it, change its passphrase",
                signer_options, fsp_cmd_signer},
        {"print", "[FROM [TO]]",
                "entries exactly as stored, one a line; FROM to TO, both "
                "included",
                print_options, fsp_cmd_print},
        {"check", "", "verify the whole store again", store_options, fsp_cmd_check},
        {.name = NULL},
};

static const struct fsp_program program = {
        .name = "farspool-rig",
        .version = FSP_VERSION,
        .says = "keep the drilling line's record on the rig and bring it to the office",
        .commands = commands,
};

static const struct fsp_conf_key conf_keys[] = {
        {"rig", "store", FSP_CONF_PATH, "", 0, 4096, "the store's folder"},
        {"rig", "zone", FSP_CONF_TEXT, "", 0, 6,
                "offset for times typed without one until a rig record names one, as +01:00"},
        {"rig", "every-s", FSP_CONF_INT, "30", 1, 86400, "how often run looks at the inbox"},
        {"rig", "patience-s", FSP_CONF_INT, "60", 0, 86400,
                "how long push tries again when the office cannot be reached"},
        {"station", "pages", FSP_CONF_TEXT, "", 0, 64,
                "where run serves the crew's page, on this PC; empty: nowhere"},
        {"link", "enough-records", FSP_CONF_INT, "20", 1, 1000000,
                "run sends when so many records wait; an urgent one is sent at once"},
        {"link", "old-s", FSP_CONF_INT, "30", 0, 86400,
                "and fewer when they have waited this long"},
        {"link", "day-bytes", FSP_CONF_INT, "0", 0, 1000000000000,
                "bytes on the link that run may use in a day of UTC; 0: no limit"},
        {"link", "reserve-percent", FSP_CONF_INT, "20", 0, 90,
                "share of day-bytes kept for urgent records"},
        {"link", "poll-s", FSP_CONF_INT, "21600", 0, 604800,
                "with nothing to send, run asks the office for its word once in so long; 0: "
                "never"},
        {.section = NULL},
};

/* What run takes over on SIGHUP; the others hold from the next start. */
static const char *const live_keys[] = {
        "rig.every-s",
        "link.enough-records",
        "link.old-s",
        "link.day-bytes",
        "link.reserve-percent",
        "link.poll-s",
        NULL,
};

/* FARSPOOL_RIG_CONF must exist when it is set; the default file need not. */
static enum fsp_rc
load_conf(struct fsp_rig *rig, struct fsp_err *err)
{
    /* Read before any thread is started. */
    const char *path = getenv("FARSPOOL_RIG_CONF"); // NOLINT(concurrency-mt-unsafe)
    bool named = path != NULL && path[0] != '\0';

    rig->conf_path = named ? path : CONF_PATH;
    rig->live_keys = live_keys;
    if (!named && !fsp_file_exists(CONF_PATH))
        return FSP_OK;
    return fsp_conf_load(rig->conf, rig->conf_path, err);
}

static int
show(struct fsp_args *args)
{
    struct fsp_buf out;

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (fsp_args_wish(args) == FSP_ARGS_VERSION)
        fsp_buf_printf(&out, "%s %s\n", program.name, program.version);
    else
        fsp_args_help(&program, fsp_args_command(args), &out);
    return fsp_cmd_out(&out, 0);
}

int
main(int argc, char *argv[])
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_args *args = NULL;
    struct fsp_rig rig = {.conf = NULL};
    int status = 0;
    enum fsp_rc rc = fsp_args_parse(&program, argc, argv, &args, &err);

    if (rc == FSP_OK && fsp_args_wish(args) != FSP_ARGS_RUN) {
        status = show(args);
        goto out;
    }
    if (rc == FSP_OK)
        rc = fsp_proof_init(&err);
    if (rc == FSP_OK)
        rc = fsp_conf_new(conf_keys, &rig.conf, &err);
    if (rc == FSP_OK)
        rc = load_conf(&rig, &err);
    if (rc != FSP_OK) {
        status = fsp_cmd_fail(&err, rc);
        goto out;
    }
    rig.argv = argv;
    fsp_args_set_ctx(args, &rig);
    status = fsp_args_command(args)->run(args);
out:
    fsp_args_free(args);
    fsp_conf_free(rig.conf);
    return status;
}
