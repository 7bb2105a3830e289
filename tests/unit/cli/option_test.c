#include "support/test.h"

#include <string.h>

#include "cli/option.h"

static int
run_nothing(struct fsp_args *args)
{
    (void)args;
    return 0;
}

static const struct fsp_option take_options[] = {
        {"store", "DIR", "the store", false},
        {"once", "TOKEN", "take it once only", false},
        {"json", NULL, "answer as JSON", false},
        {"pin", "FINGERPRINT", "a key to trust", true},
        {NULL, NULL, NULL, false},
};

static const struct fsp_command commands[] = {
        {"take", "FILE...", "take day sheets", take_options, run_nothing},
        {"print", "", "print the entries", NULL, run_nothing},
        {NULL, NULL, NULL, NULL, NULL},
};

static const struct fsp_program program = {
        "farspool-rig", "0.1.0", "keeps a line's record", commands};

#define WORDS_MAX 16

/* argv from "a b c"; the words live until the next call. */
static enum fsp_rc
parse(const char *line, struct fsp_args **args, struct fsp_err *err)
{
    static char copy[400];
    static char name[] = "farspool-rig";
    static char *argv[WORDS_MAX];
    int argc = 1;

    argv[0] = name;
    (void)snprintf(copy, sizeof(copy), "%s", line);
    for (char *p = copy; *p != '\0' && argc < WORDS_MAX;) {
        argv[argc++] = p;
        p += strcspn(p, " ");
        if (*p != '\0')
            *p++ = '\0';
    }
    return fsp_args_parse(&program, argc, argv, args, err);
}

static struct fsp_args *
parsed(const char *line)
{
    struct fsp_args *args = NULL;
    struct fsp_err err;

    assert_ok(parse(line, &args, &err), &err);
    assert_non_null(args);
    return args;
}

static void
options_and_words_come_in_any_order(void **state)
{
    static const char *const lines[] = {
            "take --store R march.csv april.csv --json",
            "take march.csv --store=R --json april.csv",
            "take --json --store R -- march.csv april.csv",
    };

    (void)state;
    for (size_t i = 0; i < sizeof(lines) / sizeof(lines[0]); i++) {
        struct fsp_args *args = parsed(lines[i]);

        assert_int_equal(fsp_args_wish(args), FSP_ARGS_RUN);
        assert_ptr_equal(fsp_args_command(args), &commands[0]);
        assert_string_equal(fsp_args_get(args, "store"), "R");
        assert_true(fsp_args_has(args, "json"));
        assert_null(fsp_args_get(args, "json"));
        assert_false(fsp_args_has(args, "once"));
        assert_int_equal(fsp_args_rest_count(args), 2);
        assert_string_equal(fsp_args_rest(args, 0), "march.csv");
        assert_string_equal(fsp_args_rest(args, 1), "april.csv");
        assert_null(fsp_args_rest(args, 2));
        fsp_args_free(args);
    }
}

static void
words_that_look_odd_are_positional(void **state)
{
    struct fsp_args *args = parsed("take - at=-5 -- --store -x");

    (void)state;
    assert_int_equal(fsp_args_rest_count(args), 4);
    assert_string_equal(fsp_args_rest(args, 0), "-");
    assert_string_equal(fsp_args_rest(args, 2), "--store");
    assert_false(fsp_args_has(args, "store"));
    fsp_args_free(args);
    args = parsed("take --once= --store --json");
    assert_string_equal(fsp_args_get(args, "once"), "");
    assert_string_equal(fsp_args_get(args, "store"), "--json");
    fsp_args_free(args);
    fsp_args_free(NULL);
}

static void
some_options_may_be_given_again(void **state)
{
    struct fsp_args *args = parsed("take --pin a --pin=b");

    (void)state;
    assert_string_equal(fsp_args_nth(args, "pin", 0), "a");
    assert_string_equal(fsp_args_nth(args, "pin", 1), "b");
    assert_null(fsp_args_nth(args, "pin", 2));
    assert_string_equal(fsp_args_get(args, "pin"), "b");
    fsp_args_free(args);
}

static void
faults_suggest_what_was_meant(void **state)
{
    static const char *const rows[][2] = {
            {"", "no command given; see farspool-rig --help"},
            {"tkae", "unknown command 'tkae'; did you mean take?"},
            {"xyzzy", "unknown command 'xyzzy'; see farspool-rig --help"},
            {"--store R take", "the command comes first"},
            {"take --stroe R",
                    "unknown option '--stroe' of farspool-rig take; did you mean --store?"},
            {"take --stroe=R", "did you mean --store?"},
            {"take --xyzzy", "unknown option '--xyzzy'; see farspool-rig take --help"},
            {"print --json", "unknown option '--json'"},
            {"take -s R", "options begin with two dashes"},
            {"take --store", "option --store needs a value: --store DIR"},
            {"take --json=yes", "option --json takes no value"},
            {"take --store a --store b", "option --store is given twice"},
            {"help xyzzy", "unknown command"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_args *args = NULL;
        struct fsp_err err = {FSP_OK, 0, ""};

        assert_int_equal(parse(rows[i][0], &args, &err), FSP_EINVAL);
        if (strstr(err.text, rows[i][1]) == NULL)
            fail_msg("%s: %s", rows[i][0], err.text);
        assert_null(args);
    }
}

static void
numbers_are_whole_and_within_their_range(void **state)
{
    struct fsp_args *args = parsed("take --once 12 --store 1x");
    struct fsp_err err;
    uint64_t value = 7;

    (void)state;
    assert_ok(fsp_args_u64(args, "pin", 1, 20, &value, &err), &err);
    assert_int_equal(value, 7);
    assert_ok(fsp_args_u64(args, "once", 1, 20, &value, &err), &err);
    assert_int_equal(value, 12);
    assert_int_equal(fsp_args_u64(args, "once", 13, 20, &value, &err), FSP_EINVAL);
    assert_int_equal(fsp_args_u64(args, "store", 1, 20, &value, &err), FSP_EINVAL);
    assert_string_equal(err.text, "option --store: '1x' is not a whole number from 1 to 20");
    assert_int_equal(value, 12);
    fsp_args_free(args);
}

static void
the_count_of_words_is_checked(void **state)
{
    struct fsp_args *args = parsed("take a b");
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_args_rest_within(args, 1, 2, &err), &err);
    assert_int_equal(fsp_args_rest_within(args, 3, 9, &err), FSP_EINVAL);
    assert_string_equal(err.text, "something is missing; usage: farspool-rig take FILE...");
    assert_int_equal(fsp_args_rest_within(args, 0, 1, &err), FSP_EINVAL);
    fsp_args_free(args);
}

static void
help_and_version_are_wishes(void **state)
{
    struct fsp_args *args = parsed("--help");

    (void)state;
    assert_int_equal(fsp_args_wish(args), FSP_ARGS_HELP);
    assert_null(fsp_args_command(args));
    fsp_args_free(args);
    args = parsed("--version");
    assert_int_equal(fsp_args_wish(args), FSP_ARGS_VERSION);
    fsp_args_free(args);
    args = parsed("help take");
    assert_int_equal(fsp_args_wish(args), FSP_ARGS_HELP);
    assert_ptr_equal(fsp_args_command(args), &commands[0]);
    fsp_args_free(args);
    args = parsed("take --store R --help --bogus");
    assert_int_equal(fsp_args_wish(args), FSP_ARGS_HELP);
    fsp_args_free(args);
}

static void
help_is_printed_from_the_table(void **state)
{
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 4096);
    fsp_args_help(&program, NULL, &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf), "farspool-rig: keeps a line's record\n"));
    assert_non_null(
            strstr(fsp_buf_peek(&buf), "  take                      take day sheets\n"));
    fsp_buf_reset(&buf);
    fsp_args_help(&program, &commands[0], &buf);
    assert_non_null(
            strstr(fsp_buf_peek(&buf), "usage: farspool-rig take [option...] FILE...\n"));
    assert_non_null(strstr(fsp_buf_peek(&buf), "  --store DIR               the store\n"));
    fsp_buf_reset(&buf);
    fsp_args_words(&program, &buf);
    assert_string_equal(
            fsp_buf_peek(&buf), "take --store= --once= --json --pin= --help\nprint --help\n");
    fsp_buf_fini(&buf);
}

static void
codes_become_exit_statuses(void **state)
{
    (void)state;
    assert_int_equal(fsp_exit_status(FSP_OK), 0);
    assert_int_equal(fsp_exit_status(FSP_EFORMAT), 1);
    assert_int_equal(fsp_exit_status(FSP_EIO), 1);
    assert_int_equal(fsp_exit_status(FSP_EVERIFY), 2);
    assert_int_equal(fsp_exit_status(FSP_ECORRUPT), 2);
    assert_int_equal(fsp_exit_status(FSP_EFORK), 2);
    assert_int_equal(fsp_exit_status(FSP_EINVAL), 64);
    assert_int_equal(fsp_exit_status(FSP_EUNAVAIL), 69);
    assert_int_equal(fsp_exit_status(FSP_EBUSY), 75);
    assert_int_equal(fsp_exit_status(FSP_EAGAIN), 75);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(options_and_words_come_in_any_order),
            cmocka_unit_test(words_that_look_odd_are_positional),
            cmocka_unit_test(some_options_may_be_given_again),
            cmocka_unit_test(faults_suggest_what_was_meant),
            cmocka_unit_test(numbers_are_whole_and_within_their_range),
            cmocka_unit_test(the_count_of_words_is_checked),
            cmocka_unit_test(help_and_version_are_wishes),
            cmocka_unit_test(help_is_printed_from_the_table),
            cmocka_unit_test(codes_become_exit_statuses),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
