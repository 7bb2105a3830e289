/*
 * farspool-audit: verify records, registers and folders of them, offline, and show files of
 * evidence; and a witness's side of cosigning. Verifying reads only.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audit/cmd_cosign.h"
#include "audit/folder.h"
#include "audit/register.h"
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

/* What every kind of file ends in: a complaint, the report, the exit status. `told`: the report of
 * what does hold is worth printing although something does not. */
static int
tell(struct fsp_err *why, enum fsp_rc rc, bool told, struct fsp_buf *report)
{
    int status = status_of(rc);

    if (rc != FSP_OK) {
        if (status == EXIT_BAD)
            (void)fsp_err_wrap(why, rc, "NOT VERIFIED");
        complain(why);
    }
    if ((rc == FSP_OK || told) && print(report, why) != FSP_OK) {
        complain(why);
        status = worse(status, EXIT_UNREAD);
    }
    return status;
}

/* A record; the company is that of its folder, NULL: it stands alone. */
static int
verify_record(const struct fsp_audit_job *job, struct fsp_company *company, bool json)
{
    struct fsp_verdict *verdict = calloc(1, sizeof(*verdict));
    struct fsp_err err;
    struct fsp_buf buf;
    int status;

    if (verdict == NULL) {
        status = fsp_exit_status(fsp_err_set(&err, FSP_ENOMEM, "out of memory"));
        complain(&err);
        return status;
    }
    fsp_audit_init(verdict);
    fsp_buf_init(&buf, REPORT_MAX);
    if (company == NULL) {
        (void)fsp_audit_verify(verdict, job);
    } else if (fsp_audit_prove(verdict, job) == FSP_OK) {
        fsp_company_judge(company, verdict, job);
        if (verdict->rc != FSP_OK)
            (void)fsp_err_wrap(&verdict->err, verdict->rc, "%s", job->file);
    }
    err = verdict->err; /* the report shows it as it is */
    if (json)
        fsp_audit_json(verdict, job, &buf);
    else if (verdict->entry_verified)
        fsp_audit_text(verdict, job, &buf);
    status = tell(&err, verdict->rc, json || verdict->entry_verified, &buf);
    fsp_buf_fini(&buf);
    fsp_audit_fini(verdict);
    free(verdict);
    return status;
}

static int
verify_register(const struct fsp_audit_job *job, bool json)
{
    struct fsp_book *book = calloc(1, sizeof(*book));
    struct fsp_err err;
    struct fsp_buf buf;
    int status;

    if (book == NULL) {
        status = fsp_exit_status(fsp_err_set(&err, FSP_ENOMEM, "out of memory"));
        complain(&err);
        return status;
    }
    fsp_book_init(book);
    fsp_buf_init(&buf, REPORT_MAX);
    (void)fsp_audit_register(book, job);
    err = book->err;
    if (json)
        fsp_book_json(book, job, &buf);
    else if (book->complete)
        fsp_book_text(book, job, &buf);
    status = tell(&err, book->rc, json || book->complete, &buf);
    fsp_buf_fini(&buf);
    fsp_book_fini(book);
    free(book);
    return status;
}

/* Every record of the folder that is good joins the company, so that what they say of one another
 * is known before the first is judged. What is not good is told when its turn comes. */
static enum fsp_rc
gather(struct fsp_company *company, const struct fsp_folder *folder, struct fsp_audit_job *job,
        struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct fsp_verdict *verdict = calloc(1, sizeof(*verdict));

    if (verdict == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; rc == FSP_OK && i < folder->n; i++) {
        if (folder->file[i].kind != FSP_FOLDER_RECORD)
            continue;
        fsp_audit_init(verdict);
        job->file = folder->file[i].path;
        if (fsp_audit_prove(verdict, job) == FSP_OK)
            rc = fsp_company_add(company, verdict, err);
        fsp_audit_fini(verdict);
    }
    free(verdict);
    return rc;
}

static int
verify_in_folder(const struct fsp_folder_file *file, struct fsp_audit_job *job,
        struct fsp_company *company, bool json)
{
    struct fsp_err err;

    job->file = file->path;
    switch (file->kind) {
    case FSP_FOLDER_RECORD:
        return verify_record(job, company, json);
    case FSP_FOLDER_REGISTER:
        return verify_register(job, json);
    case FSP_FOLDER_ALONE:
        (void)fsp_err_set(&err, FSP_EVERIFY,
                "NOT VERIFIED: %s: the record that this proof belongs to is not here",
                file->path);
        complain(&err);
        return EXIT_BAD;
    case FSP_FOLDER_OTHER:
        (void)fsp_err_set(&err, FSP_OK, "%s: not evidence; not looked at", file->path);
        complain(&err);
        return 0;
    case FSP_FOLDER_KNOWN:
        break;
    }
    return 0;
}

static int
verify_folder(const struct fsp_audit_job *whole, bool json)
{
    struct fsp_audit_job job = *whole;
    struct fsp_company *company = NULL;
    struct fsp_folder folder = {.n = 0};
    struct fsp_err err;
    size_t verified = 0;
    int status = 0;
    enum fsp_rc rc = fsp_folder_list(&folder, whole->file, &err);

    if (rc == FSP_OK)
        rc = fsp_company_new(&company, whole, true, &err);
    if (rc == FSP_OK)
        rc = gather(company, &folder, &job, &err);
    for (size_t i = 0; rc == FSP_OK && i < folder.n; i++) {
        const bool is_piece = folder.file[i].kind == FSP_FOLDER_RECORD ||
                              folder.file[i].kind == FSP_FOLDER_REGISTER;

        if (is_piece && verified > 0 && !json)
            (void)fputc('\n', stdout);
        verified += is_piece ? 1 : 0;
        status = worse(status, verify_in_folder(&folder.file[i], &job, company, json));
    }
    if (rc == FSP_OK && verified == 0)
        rc = fsp_err_set(&err, FSP_ENOTFOUND, "%s: no record and no register in this folder",
                whole->file);
    if (rc != FSP_OK) {
        status = worse(status, status_of(rc));
        if (status_of(rc) == EXIT_BAD)
            (void)fsp_err_wrap(&err, rc, "NOT VERIFIED");
        complain(&err);
    }
    fsp_company_free(company);
    fsp_folder_free(&folder);
    return status;
}

static int
verify_one(const struct fsp_audit_job *job, bool json)
{
    if (fsp_is_folder(job->file))
        return verify_folder(job, json);
    return fsp_audit_is_register(job->file) ? verify_register(job, json)
                                            : verify_record(job, NULL, json);
}

static int
run_verify(struct fsp_args *args)
{
    static struct fsp_pins pins;
    struct fsp_err err;
    struct fsp_audit_job job = {.trust = fsp_args_get(args, "trust"),
            .pins = &pins,
            .instructions = fsp_args_get(args, "instructions"),
            .need_signature = fsp_args_has(args, "need-signature"),
            .fields = fsp_args_has(args, "fields")};
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
        status = worse(status, verify_one(&job, fsp_args_has(args, "json")));
    }
    return status;
}

/* The first bytes of a file that is larger than what is shown. */
static enum fsp_rc
read_beginning(const char *path, uint8_t **bytes, size_t *len, struct fsp_err *err)
{
    FILE *file = fopen(path, "rbe");
    enum fsp_rc rc = FSP_OK;

    *bytes = malloc(FSP_SHOW_MAX);
    *len = 0;
    if (file == NULL || *bytes == NULL) {
        rc = fsp_err_set(err, FSP_EIO, "%s: cannot be read", path);
    } else {
        *len = fread(*bytes, 1, FSP_SHOW_MAX, file);
        if (ferror(file))
            rc = fsp_err_set(err, FSP_EIO, "%s: cannot be read", path);
    }
    if (file != NULL)
        (void)fclose(file); /* read only */
    return rc;
}

static int
show_file(const char *path)
{
    uint8_t *bytes = NULL;
    size_t len = 0;
    bool whole = true;
    struct fsp_buf buf;
    struct fsp_err err;
    enum fsp_rc rc = fsp_file_read(path, FSP_SHOW_MAX, &bytes, &len, &err);

    if (rc == FSP_ELIMIT && strcmp(path, "-") != 0) {
        whole = false;
        rc = read_beginning(path, &bytes, &len, &err);
    }

    fsp_buf_init(&buf, 8 * FSP_SHOW_MAX);
    if (rc == FSP_OK) {
        fsp_text_show(&buf, path, strlen(path));
        fsp_buf_add_text(&buf, ": ");
        fsp_show(&buf, bytes, len);
        if (!whole)
            fsp_buf_printf(&buf, "(only the first %zu bytes are shown)\n", FSP_SHOW_MAX);
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

static int
run_cosign(struct fsp_args *args)
{
    struct fsp_buf said;
    struct fsp_err err;
    int status;
    enum fsp_rc rc;

    fsp_buf_init(&said, REPORT_MAX);
    rc = fsp_cmd_cosign(args, &said, &err);
    if (rc == FSP_OK)
        rc = print(&said, &err);
    status = status_of(rc);
    if (rc != FSP_OK) {
        if (status == EXIT_BAD)
            (void)fsp_err_wrap(&err, rc, "NOT COSIGNED");
        complain(&err);
    }
    fsp_buf_fini(&said);
    return status;
}

static const struct fsp_option cosign_options[] = {
        {.name = "state", .value_name = "DIR", .says = "what this witness has cosigned"},
        {.name = "key", .value_name = "FILE", .says = "its secret key"},
        {.name = "out", .value_name = "FILE", .says = "the cosigned head, or the new key"},
        {.name = "add-log",
                .value_name = "VKEY|FILE",
                .says = "cosign this log from now on: compare its fingerprint first"},
        {.name = "new-key", .value_name = "NAME", .says = "make a key of that name"},
        {.name = NULL},
};

static const struct fsp_option verify_options[] = {
        {.name = "trust",
                .value_name = "FILE",
                .says = "trust the keys of this policy, not of the one beside the record"},
        {.name = "pin",
                .value_name = "FINGERPRINT",
                .says = "accept only keys with these fingerprints (a comma list, or repeated)",
                .many = true},
        {.name = "instructions",
                .value_name = "VKEY|FILE",
                .says = "trust this key of the office for rosters, not the one beside them"},
        {.name = "need-signature",
                .says = "what a person should sign and has not well signed is not verified"},
        {.name = "fields", .says = "of a register: check the fields of every record too"},
        {.name = "json", .says = "one line of JSON for each record or register"},
        {.name = NULL},
};

static const struct fsp_command commands[] = {
        {.name = "verify",
                .synopsis = "FILE|FOLDER...",
                .says = "verify records and registers by what lies beside them",
                .options = verify_options,
                .run = run_verify},
        {.name = "show",
                .synopsis = "FILE...",
                .says = "show any file of evidence, safely",
                .run = run_show},
        {.name = "cosign",
                .synopsis = "[REQUEST]",
                .says = "be a witness: cosign a log's head after it was seen to have only "
                        "grown",
                .options = cosign_options,
                .run = run_cosign},
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
