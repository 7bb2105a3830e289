#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "cli/conf.h"

static const struct fsp_conf_key keys[] = {
        {"store", "folder", FSP_CONF_PATH, "/var/lib/farspool", 1, 0, "where the store is"},
        {"store", "inbox", FSP_CONF_PATH, "", 0, 0, "folder watched for day sheets"},
        {"link", "push-every-s", FSP_CONF_INT, "900", 10, 86400, "seconds between pushes"},
        {"link", "hold", FSP_CONF_BOOL, "no", 0, 0, "send nothing by itself"},
        {"page", "title", FSP_CONF_TEXT, "Farspool", 1, 20, "title of the page"},
        {NULL, NULL, FSP_CONF_TEXT, NULL, 0, 0, NULL},
};

static struct fsp_conf *
new_conf(void)
{
    struct fsp_conf *conf = NULL;
    struct fsp_err err;

    assert_ok(fsp_conf_new(keys, &conf, &err), &err);
    return conf;
}

static void
keys_have_their_fallbacks(void **state)
{
    struct fsp_conf *conf = new_conf();

    (void)state;
    assert_string_equal(fsp_conf_text(conf, "store", "folder"), "/var/lib/farspool");
    assert_int_equal(fsp_conf_int(conf, "link", "push-every-s"), 900);
    assert_false(fsp_conf_bool(conf, "link", "hold"));
    fsp_conf_free(conf);
    fsp_conf_free(NULL);
}

static void
what_a_file_names_is_taken_the_rest_falls_back(void **state)
{
    static const char first[] = "# a comment\n[store]\nfolder = /srv/r\n\n[link]\nhold=yes\n"
                                "push-every-s = 10\r\n[page]\ntitle = Heron = one";
    static const char second[] = "[link]\npush-every-s = 86400\n";
    struct fsp_conf *conf = new_conf();
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_conf_parse(conf, first, strlen(first), "rig.conf", &err), &err);
    assert_string_equal(fsp_conf_text(conf, "store", "folder"), "/srv/r");
    assert_string_equal(fsp_conf_text(conf, "page", "title"), "Heron = one");
    assert_int_equal(fsp_conf_int(conf, "link", "push-every-s"), 10);
    assert_true(fsp_conf_bool(conf, "link", "hold"));
    assert_ok(fsp_conf_parse(conf, second, strlen(second), "rig.conf", &err), &err);
    assert_string_equal(fsp_conf_text(conf, "store", "folder"), "/var/lib/farspool");
    assert_int_equal(fsp_conf_int(conf, "link", "push-every-s"), 86400);
    fsp_conf_free(conf);
}

static void
faults_name_file_line_key_and_range_and_change_nothing(void **state)
{
    static const char *const rows[][2] = {
            {"[link]\npush-every-s = 9\n", "rig.conf: line 2: push-every-s in [link]: '9' is "
                                           "not a whole number from 10 to 86400"},
            {"[link]\npush-every-s = 86401\n", "line 2"},
            {"[link]\npush-every-s = ten\n", "line 2"},
            {"[link]\npush-every-s =\n", "line 2"},
            {"[link]\n\nhold = maybe\n",
                    "line 3: hold in [link]: 'maybe' is neither yes nor no"},
            {"[link]\nhodl = yes\n",
                    "line 2: unknown key 'hodl' in [link]; did you mean hold?"},
            {"[lnik]\nhold = yes\n", "line 2: unknown section [lnik]; did you mean [link]?"},
            {"hold = yes\n", "line 1: unknown section []"},
            {"[store]\nfolder = srv\n",
                    "line 2: folder in [store]: 'srv' is not an absolute path"},
            {"[store]\nfolder =\n", "is not an absolute path"},
            {"[page]\ntitle = 123456789012345678901\n",
                    "title in [page]: 21 characters; 1 to 20"},
            {"[page]\ntitle = a\x01\n", "control or invisible"},
            {"[link]\nhold = yes\nhold = no\n", "line 3: hold in [link]: given twice"},
            {"[link]\nhold = yes\n   push-every-s = 5\n",
                    "line 3: hold in [link]: given twice"},
            {"[link\nhold = yes\n", "line 1: neither [section] nor key = value"},
            {"[link]\nhold\nhodl = yes\n", "line 2: neither [section] nor key = value"},
            {"[link]\nhodl = yes\nhold\n", "line 2: unknown key"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_conf *conf = new_conf();
        struct fsp_err err = {FSP_OK, 0, ""};

        assert_int_equal(fsp_conf_parse(conf, rows[i][0], strlen(rows[i][0]), "rig.conf", &err),
                FSP_EFORMAT);
        if (strstr(err.text, rows[i][1]) == NULL ||
                strncmp(err.text, "rig.conf: line ", 15) != 0)
            fail_msg("%s: %s", rows[i][0], err.text);
        assert_false(fsp_conf_bool(conf, "link", "hold"));
        assert_int_equal(fsp_conf_parse(conf, rows[i][0], strlen(rows[i][0]), "rig.conf", NULL),
                FSP_EFORMAT);
        fsp_conf_free(conf);
    }
}

static void
lines_have_a_limit(void **state)
{
    struct fsp_conf *conf = new_conf();
    struct fsp_err err = {FSP_OK, 0, ""};
    char text[300];

    (void)state;
    memset(text, '#', sizeof(text));
    text[FSP_CONF_LINE_MAX - 1] = '\n';
    assert_ok(fsp_conf_parse(conf, text, FSP_CONF_LINE_MAX, "rig.conf", &err), &err);
    text[FSP_CONF_LINE_MAX - 1] = '#';
    assert_int_equal(fsp_conf_parse(conf, text, sizeof(text), "rig.conf", &err), FSP_ELIMIT);
    assert_string_equal(err.text, "rig.conf: line 1: longer than 198 characters");
    assert_int_equal(fsp_conf_parse(conf, "[a]\0", 4, "rig.conf", &err), FSP_EFORMAT);
    fsp_conf_free(conf);
}

static void
a_file_that_is_not_there_is_named(void **state)
{
    struct fsp_conf *conf = new_conf();
    struct fsp_err err = {FSP_OK, 0, ""};

    (void)state;
    assert_int_equal(fsp_conf_load(conf, "/nonexistent/rig.conf", &err), FSP_ENOTFOUND);
    assert_non_null(strstr(err.text, "/nonexistent/rig.conf"));
    fsp_conf_free(conf);
}

static void
the_effective_configuration_reads_back_to_itself(void **state)
{
    static const char text[] = "[link]\nhold=yes\n[store]\ninbox=/in\n";
    struct fsp_conf *conf = new_conf();
    struct fsp_buf buf;
    struct fsp_buf again;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&buf, 4096);
    fsp_buf_init(&again, 4096);
    assert_ok(fsp_conf_parse(conf, text, strlen(text), "rig.conf", &err), &err);
    fsp_conf_print(conf, false, &buf);
    assert_string_equal(fsp_buf_peek(&buf),
            "[store]\nfolder = /var/lib/farspool\ninbox = /in\n\n[link]\npush-every-s = 900\n"
            "hold = yes\n\n[page]\ntitle = Farspool\n");
    assert_ok(fsp_conf_parse(conf, fsp_buf_peek(&buf), buf.len, "printed", &err), &err);
    fsp_conf_print(conf, false, &again);
    assert_string_equal(fsp_buf_peek(&buf), fsp_buf_peek(&again));
    fsp_buf_reset(&again);
    fsp_conf_print(conf, true, &again);
    assert_non_null(strstr(fsp_buf_peek(&again), "# seconds between pushes (10 to 86400)\n"));
    assert_ok(fsp_conf_parse(conf, fsp_buf_peek(&again), again.len, "printed", &err), &err);
    fsp_buf_fini(&buf);
    fsp_buf_fini(&again);
    fsp_conf_free(conf);
}

static void
put(const char *path, const char *text)
{
    struct fsp_err err;

    assert_ok(fsp_file_write(path, text, strlen(text), 0600, &err), &err);
}

static void
a_reload_takes_the_keys_that_may_change_and_names_the_others(void **state)
{
    static const char *const live[] = {"link.push-every-s", "link.hold", NULL};
    char folder[] = "/tmp/fsp-conf-XXXXXX";
    char path[80];
    struct fsp_conf *conf = new_conf();
    struct fsp_buf taken;
    struct fsp_buf held;
    struct fsp_err err;
    const char *store;

    (void)state;
    fsp_buf_init(&taken, 512);
    fsp_buf_init(&held, 512);
    assert_non_null(mkdtemp(folder));
    (void)snprintf(path, sizeof(path), "%s/rig.conf", folder);
    put(path, "[store]\nfolder=/srv/a\n[link]\npush-every-s=20\n");
    assert_ok(fsp_conf_load(conf, path, &err), &err);
    store = fsp_conf_text(conf, "store", "folder");
    put(path, "[store]\nfolder=/srv/b\n[link]\npush-every-s=30\nhold=yes\n[page]\ntitle=X\n");
    assert_ok(fsp_conf_reload(conf, path, live, &taken, &held, &err), &err);
    assert_string_equal(fsp_buf_peek(&taken), "link.push-every-s,link.hold");
    assert_string_equal(fsp_buf_peek(&held), "store.folder,page.title");
    assert_int_equal(fsp_conf_int(conf, "link", "push-every-s"), 30);
    assert_true(fsp_conf_bool(conf, "link", "hold"));
    assert_ptr_equal(fsp_conf_text(conf, "store", "folder"), store);
    assert_string_equal(store, "/srv/a");
    /* One fault, and nothing of the file is taken; what it no longer names falls back. */
    put(path, "[link]\nhold=no\npush-every-s=1\n");
    assert_int_equal(fsp_conf_reload(conf, path, live, &taken, &held, &err), FSP_EFORMAT);
    assert_true(fsp_conf_bool(conf, "link", "hold"));
    assert_int_equal(taken.len, 0);
    put(path, "[store]\nfolder=/srv/a\n");
    assert_ok(fsp_conf_reload(conf, path, live, &taken, &held, &err), &err);
    assert_string_equal(fsp_buf_peek(&taken), "link.push-every-s,link.hold");
    assert_int_equal(held.len, 0);
    assert_int_equal(fsp_conf_int(conf, "link", "push-every-s"), 900);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(fsp_conf_reload(conf, path, live, &taken, &held, &err), FSP_ENOTFOUND);
    assert_int_equal(rmdir(folder), 0);
    fsp_buf_fini(&taken);
    fsp_buf_fini(&held);
    fsp_conf_free(conf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(keys_have_their_fallbacks),
            cmocka_unit_test(what_a_file_names_is_taken_the_rest_falls_back),
            cmocka_unit_test(faults_name_file_line_key_and_range_and_change_nothing),
            cmocka_unit_test(lines_have_a_limit),
            cmocka_unit_test(a_file_that_is_not_there_is_named),
            cmocka_unit_test(the_effective_configuration_reads_back_to_itself),
            cmocka_unit_test(a_reload_takes_the_keys_that_may_change_and_names_the_others),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
