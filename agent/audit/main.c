/*
 * farspool-audit: verify a record's proof, offline, and show files of evidence. Reads only.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audit/show.h"
#include "audit/verify.h"
#include "base/file.h"
#include "base/text.h"
#include "cli/option.h"

#define NAME        "farspool-audit"
#define REPORT_MAX  ((size_t)1024 * 1024)
#define EXIT_BAD    2
#define EXIT_UNREAD 1

/* One line on standard error, made safe. */
static void
complain(const struct fsp_err *err)
{
    struct fsp_buf buf;

    fsp_buf_init(&buf, 8 * (size_t)FSP_ERR_TEXT_MAX);
    fsp_text_show(&buf, err->text, strlen(err->text));
    (void)fprintf(stderr, "%s: %s\n", NAME, fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

static enum fsp_rc
print(const struct fsp_buf *buf, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_buf_check(buf, "the report", err);

    if (rc != FSP_OK)
        return rc;
    if (fwrite(fsp_buf_peek(buf), 1, buf->len, stdout) != buf->len || fflush(stdout) != 0)
        return fsp_err_set(err, FSP_EIO, "standard output could not be written");
    return FSP_OK;
}

/* 2 for evidence that is not good, 1 for files that cannot be read, 64 for usage. */
static int
status_of(enum fsp_rc rc)
{
    if (rc == FSP_EFORMAT || rc == FSP_ELIMIT)
        return EXIT_BAD;
    return fsp_exit_status(rc);
}

/* Of two files' exit statuses the one that matters more: bad evidence, then any other fault. */
static int
worse(int a, int b)
{
    if (a == EXIT_BAD || b == EXIT_BAD)
        return EXIT_BAD;
    return a == 0 ? b : a;
}

static int
verify_file(const struct fsp_audit_job *job, bool json)
{
    struct fsp_verdict verdict;
    struct fsp_buf buf;
    int status;

    fsp_audit_init(&verdict);
    fsp_buf_init(&buf, REPORT_MAX);
    status = status_of(fsp_audit_verify(&verdict, job));
    if (verdict.rc != FSP_OK) {
        if (status == EXIT_BAD)
            (void)fsp_err_wrap(&verdict.err, verdict.rc, "NOT VERIFIED");
        complain(&verdict.err);
    }
    if (json)
        fsp_audit_json(&verdict, job, &buf);
    else if (verdict.rc == FSP_OK)
        fsp_audit_text(&verdict, job, &buf);
    if (print(&buf, &verdict.err) != FSP_OK) {
        complain(&verdict.err);
        status = worse(status, EXIT_UNREAD);
    }
    fsp_buf_fini(&buf);
    fsp_audit_fini(&verdict);
    return status;
}

static int
run_verify(struct fsp_args *args)
{
    static struct fsp_pins pins;
    struct fsp_err err;
    struct fsp_audit_job job = {.trust = fsp_args_get(args, "trust"), .pins = &pins};
    int status = 0;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, SIZE_MAX, &err);

    pins.n = 0;
    for (size_t i = 0; rc == FSP_OK && fsp_args_nth(args, "pin", i) != NULL; i++)
        rc = fsp_pins_add(&pins, fsp_args_nth(args, "pin", i), &err);
    if (rc != FSP_OK) {
        complain(&err);
        return fsp_exit_status(rc);
    }
    for (size_t i = 0; i < fsp_args_rest_count(args); i++) {
        job.file = fsp_args_rest(args, i);
        if (i > 0 && !fsp_args_has(args, "json"))
            (void)fputc('\n', stdout);
        status = worse(status, verify_file(&job, fsp_args_has(args, "json")));
    }
    return status;
}

static int
show_file(const char *path)
{
    uint8_t *bytes = NULL;
    size_t len = 0;
    struct fsp_buf buf;
    struct fsp_err err;
    enum fsp_rc rc = fsp_file_read(path, FSP_SHOW_MAX, &bytes, &len, &err);

    fsp_buf_init(&buf, 8 * FSP_SHOW_MAX);
    if (rc == FSP_OK) {
        fsp_text_show(&buf, path, strlen(path));
        fsp_buf_add_text(&buf, ": ");
        fsp_show(&buf, bytes, len);
        rc = print(&buf, &err);
    }
    if (rc != FSP_OK)
        complain(&err);
    fsp_buf_fini(&buf);
    free(bytes);
    return rc == FSP_OK ? 0 : EXIT_UNREAD;
}

static int
run_show(struct fsp_args *args)
{
    struct fsp_err err;
    int status = 0;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, SIZE_MAX, &err);

    if (rc != FSP_OK) {
        complain(&err);
        return fsp_exit_status(rc);
    }
    for (size_t i = 0; i < fsp_args_rest_count(args); i++)
        status = worse(status, show_file(fsp_args_rest(args, i)));
    return status;
}

static const struct fsp_option verify_options[] = {
        {.name = "trust",
                .value_name = "FILE",
                .says = "trust the keys of this policy, not of the one beside the record"},
        {.name = "pin",
                .value_name = "FINGERPRINT",
                .says = "accept only keys with these fingerprints (a comma list, or repeated)",
                .many = true},
        {.name = "json", .says = "one line of JSON for each record"},
        {.name = NULL},
};

static const struct fsp_command commands[] = {
        {.name = "verify",
                .synopsis = "N.record.json...",
                .says = "verify records by the proof and policy beside them",
                .options = verify_options,
                .run = run_verify},
        {.name = "show",
                .synopsis = "FILE...",
                .says = "show a record, proof, policy, note or key, safely",
                .run = run_show},
        {.name = NULL},
};

static const struct fsp_program program = {
        .name = NAME,
        .version = FSP_VERSION,
        .says = "prove a drilling-line record, offline, without trusting rig or office",
        .commands = commands,
};

static int
print_help(const struct fsp_args *args)
{
    struct fsp_buf buf;
    struct fsp_err err;
    int status = 0;

    fsp_buf_init(&buf, REPORT_MAX);
    if (fsp_args_wish(args) == FSP_ARGS_VERSION)
        fsp_buf_printf(&buf, "%s %s\n", program.name, program.version);
    else
        fsp_args_help(&program, fsp_args_command(args), &buf);
    if (print(&buf, &err) != FSP_OK) {
        complain(&err);
        status = EXIT_UNREAD;
    }
    fsp_buf_fini(&buf);
    return status;
}

int
main(int argc, char *argv[])
{
    struct fsp_args *args = NULL;
    struct fsp_err err;
    int status;
    enum fsp_rc rc = fsp_proof_init(&err);

    if (rc == FSP_OK)
        rc = fsp_args_parse(&program, argc, argv, &args, &err);
    if (rc != FSP_OK) {
        complain(&err);
        return fsp_exit_status(rc);
    }
    status = fsp_args_wish(args) == FSP_ARGS_RUN ? fsp_args_command(args)->run(args)
                                                 : print_help(args);
    fsp_args_free(args);
    return status;
}
