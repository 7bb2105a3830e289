#include "cli/option.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"

#define NAMES_MAX 64

struct given {
    const struct fsp_option *option;
    const char *value;
};

struct fsp_args {
    enum fsp_args_wish wish;
    const struct fsp_program *program;
    const struct fsp_command *command;
    struct given *given;
    size_t given_n;
    const char **rest;
    size_t rest_n;
    void *ctx;
};

static const struct fsp_option *
find_option(const struct fsp_command *command, const char *name, size_t len)
{
    const struct fsp_option *option = command->options;

    for (; option != NULL && option->name != NULL; option++) {
        if (strlen(option->name) == len && memcmp(option->name, name, len) == 0)
            return option;
    }
    return NULL;
}

static enum fsp_rc
unknown_option(const struct fsp_args *args, const char *word, struct fsp_err *err)
{
    const char *names[NAMES_MAX];
    char typed[40] = "";
    const struct fsp_option *option = args->command->options;
    size_t n = 0;
    size_t len = strcspn(word, "=");
    const char *near;

    for (; option != NULL && option->name != NULL && n < NAMES_MAX; option++)
        names[n++] = option->name;
    if (len < sizeof(typed))
        memcpy(typed, word, len);
    near = fsp_text_nearest(typed, names, n);
    if (near != NULL)
        return fsp_err_set(err, FSP_EINVAL,
                "unknown option '--%.60s' of %s %s; did you mean --%s?", word,
                args->program->name, args->command->name, near);
    return fsp_err_set(err, FSP_EINVAL, "unknown option '--%.60s'; see %s %s --help", word,
            args->program->name, args->command->name);
}

static enum fsp_rc
find_command(struct fsp_args *args, const char *word, struct fsp_err *err)
{
    const char *names[NAMES_MAX];
    const struct fsp_command *command = args->program->commands;
    const char *near;
    size_t n = 0;

    for (; command->name != NULL; command++) {
        if (strcmp(command->name, word) == 0) {
            args->command = command;
            return FSP_OK;
        }
        if (n < NAMES_MAX)
            names[n++] = command->name;
    }
    near = fsp_text_nearest(word, names, n);
    if (near != NULL)
        return fsp_err_set(
                err, FSP_EINVAL, "unknown command '%.60s'; did you mean %s?", word, near);
    return fsp_err_set(err, FSP_EINVAL, "unknown command '%.60s'; see %s --help", word,
            args->program->name);
}

/* One word that begins with two dashes. *used_next is set when the next word was its value. */
static enum fsp_rc
take_option(struct fsp_args *args, const char *word, const char *next, bool *used_next,
        struct fsp_err *err)
{
    size_t len = strcspn(word, "=");
    const struct fsp_option *option = find_option(args->command, word, len);
    const char *value = word[len] == '=' ? word + len + 1 : NULL;

    if (option == NULL)
        return unknown_option(args, word, err);
    if (option->value_name == NULL && value != NULL)
        return fsp_err_set(err, FSP_EINVAL, "option --%s takes no value", option->name);
    if (option->value_name != NULL && value == NULL) {
        if (next == NULL)
            return fsp_err_set(err, FSP_EINVAL, "option --%s needs a value: --%s %s",
                    option->name, option->name, option->value_name);
        value = next;
        *used_next = true;
    }
    if (!option->many && fsp_args_has(args, option->name))
        return fsp_err_set(err, FSP_EINVAL, "option --%s is given twice", option->name);
    args->given[args->given_n].option = option;
    args->given[args->given_n].value = value;
    args->given_n++;
    return FSP_OK;
}

static enum fsp_rc
parse_words(struct fsp_args *args, int argc, char *const argv[], struct fsp_err *err)
{
    bool only_rest = false;

    for (int i = 2; i < argc; i++) {
        const char *word = argv[i];
        bool used_next = false;
        enum fsp_rc rc;

        if (only_rest || word[0] != '-' || word[1] == '\0') {
            args->rest[args->rest_n++] = word;
            continue;
        }
        if (word[1] != '-')
            return fsp_err_set(err, FSP_EINVAL,
                    "options begin with two dashes, '%.60s' does not; put -- before a word "
                    "that begins with a dash",
                    word);
        if (word[2] == '\0') {
            only_rest = true;
            continue;
        }
        if (strcmp(word, "--help") == 0) {
            args->wish = FSP_ARGS_HELP;
            return FSP_OK;
        }
        rc = take_option(args, word + 2, i + 1 < argc ? argv[i + 1] : NULL, &used_next, err);
        if (rc != FSP_OK)
            return rc;
        if (used_next)
            i++;
    }
    return FSP_OK;
}

/* The words that stand for themselves instead of a command. */
static bool
take_wish(struct fsp_args *args, const char *word)
{
    if (strcmp(word, "--help") == 0 || strcmp(word, "help") == 0 || strcmp(word, "-h") == 0) {
        args->wish = FSP_ARGS_HELP;
        return true;
    }
    if (strcmp(word, "--version") == 0) {
        args->wish = FSP_ARGS_VERSION;
        return true;
    }
    return false;
}

static enum fsp_rc
parse_all(struct fsp_args *args, int argc, char *const argv[], struct fsp_err *err)
{
    enum fsp_rc rc;

    if (argc < 2)
        return fsp_err_set(
                err, FSP_EINVAL, "no command given; see %s --help", args->program->name);
    if (take_wish(args, argv[1])) {
        if (argc > 2 && args->wish == FSP_ARGS_HELP)
            return find_command(args, argv[2], err);
        return FSP_OK;
    }
    if (argv[1][0] == '-')
        return fsp_err_set(err, FSP_EINVAL,
                "the command comes first, then its options ('%.60s'); see %s --help", argv[1],
                args->program->name);
    rc = find_command(args, argv[1], err);
    return rc == FSP_OK ? parse_words(args, argc, argv, err) : rc;
}

enum fsp_rc
fsp_args_parse(const struct fsp_program *program, int argc, char *const argv[],
        struct fsp_args **out, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct fsp_args *args = NULL;
    size_t n = argc > 0 ? (size_t)argc : 1;

    *out = NULL;
    args = fsp_mem_array(1, sizeof(*args));
    if (args == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "options");
        goto out;
    }
    args->program = program;
    args->given = fsp_mem_array(n, sizeof(*args->given));
    args->rest = fsp_mem_array(n, sizeof(*args->rest));
    if (args->given == NULL || args->rest == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "options");
        goto out;
    }
    rc = parse_all(args, argc, argv, err);
    if (rc != FSP_OK)
        goto out;
    *out = args;
    args = NULL;
out:
    fsp_args_free(args);
    return rc;
}

void
fsp_args_free(struct fsp_args *args)
{
    if (args == NULL)
        return;
    free(args->given);
    free(args->rest);
    free(args);
}

enum fsp_args_wish
fsp_args_wish(const struct fsp_args *args)
{
    return args->wish;
}

const struct fsp_command *
fsp_args_command(const struct fsp_args *args)
{
    return args->command;
}

const char *
fsp_args_get(const struct fsp_args *args, const char *name)
{
    for (size_t i = args->given_n; i > 0; i--) {
        if (strcmp(args->given[i - 1].option->name, name) == 0)
            return args->given[i - 1].value;
    }
    return NULL;
}

const char *
fsp_args_nth(const struct fsp_args *args, const char *name, size_t i)
{
    for (size_t k = 0; k < args->given_n; k++) {
        if (strcmp(args->given[k].option->name, name) != 0)
            continue;
        if (i == 0)
            return args->given[k].value;
        i--;
    }
    return NULL;
}

bool
fsp_args_has(const struct fsp_args *args, const char *name)
{
    for (size_t i = 0; i < args->given_n; i++) {
        if (strcmp(args->given[i].option->name, name) == 0)
            return true;
    }
    return false;
}

enum fsp_rc
fsp_args_u64(const struct fsp_args *args, const char *name, uint64_t least, uint64_t most,
        uint64_t *out, struct fsp_err *err)
{
    const char *text = fsp_args_get(args, name);
    uint64_t value = 0;

    if (text == NULL)
        return FSP_OK;
    if (fsp_text_u64(text, strlen(text), &value) != FSP_OK || value < least || value > most)
        return fsp_err_set(err, FSP_EINVAL,
                "option --%s: '%.40s' is not a whole number from %" PRIu64 " to %" PRIu64, name,
                text, least, most);
    *out = value;
    return FSP_OK;
}

const char *
fsp_args_rest(const struct fsp_args *args, size_t i)
{
    return i < args->rest_n ? args->rest[i] : NULL;
}

size_t
fsp_args_rest_count(const struct fsp_args *args)
{
    return args->rest_n;
}

enum fsp_rc
fsp_args_rest_within(
        const struct fsp_args *args, size_t least, size_t most, struct fsp_err *err)
{
    const char *synopsis = args->command->synopsis;

    if (args->rest_n >= least && args->rest_n <= most)
        return FSP_OK;
    return fsp_err_set(err, FSP_EINVAL, "%s; usage: %s %s%s%s",
            args->rest_n < least ? "something is missing" : "too many words",
            args->program->name, args->command->name, synopsis[0] != '\0' ? " " : "", synopsis);
}

void
fsp_args_set_ctx(struct fsp_args *args, void *ctx)
{
    args->ctx = ctx;
}

void *
fsp_args_ctx(const struct fsp_args *args)
{
    return args->ctx;
}

/* Two columns: the first padded, the second after at least two blanks. */
static void
help_row(struct fsp_buf *buf, const char *left, const char *value, const char *says)
{
    char column[64];
    int len = snprintf(column, sizeof(column), "%s%s%s", left, value != NULL ? " " : "",
            value != NULL ? value : "");

    fsp_buf_printf(buf, len > 26 ? "  %s\n%30s%s\n" : "  %-26s%s%s\n", column, "", says);
}

static void
help_option(struct fsp_buf *buf, const struct fsp_option *option)
{
    char left[48];

    (void)snprintf(left, sizeof(left), "--%s", option->name);
    help_row(buf, left, option->value_name, option->says);
}

void
fsp_args_help(const struct fsp_program *program, const struct fsp_command *command,
        struct fsp_buf *buf)
{
    const struct fsp_option *option;

    if (command == NULL) {
        fsp_buf_printf(buf, "%s: %s\n\nusage: %s COMMAND [option...] [word...]\n\n",
                program->name, program->says, program->name);
        for (command = program->commands; command->name != NULL; command++)
            help_row(buf, command->name, NULL, command->says);
        fsp_buf_printf(buf, "\n%s COMMAND --help says more; --version names the version.\n",
                program->name);
        return;
    }
    fsp_buf_printf(buf, "usage: %s %s%s%s%s\n\n%s\n", program->name, command->name,
            command->options != NULL && command->options->name != NULL ? " [option...]" : "",
            command->synopsis[0] != '\0' ? " " : "", command->synopsis, command->says);
    option = command->options;
    if (option != NULL && option->name != NULL)
        fsp_buf_add_text(buf, "\n");
    for (; option != NULL && option->name != NULL; option++)
        help_option(buf, option);
}

void
fsp_args_words(const struct fsp_program *program, struct fsp_buf *buf)
{
    for (const struct fsp_command *c = program->commands; c->name != NULL; c++) {
        fsp_buf_add_text(buf, c->name);
        for (const struct fsp_option *o = c->options; o != NULL && o->name != NULL; o++)
            fsp_buf_printf(buf, " --%s%s", o->name, o->value_name != NULL ? "=" : "");
        fsp_buf_add_text(buf, " --help\n");
    }
}

int
fsp_exit_status(enum fsp_rc rc)
{
    switch (rc) {
    case FSP_OK:
        return 0;
    case FSP_EINVAL:
        return 64;
    case FSP_EVERIFY:
    case FSP_ECORRUPT:
    case FSP_EFORK:
        return 2;
    case FSP_EUNAVAIL:
        return 69;
    case FSP_EAGAIN:
    case FSP_EBUSY:
        return 75;
    case FSP_EFORMAT:
    case FSP_ELIMIT:
    case FSP_ENOMEM:
    case FSP_EIO:
    case FSP_ENOTFOUND:
        return 1;
    }
    return 1;
}
