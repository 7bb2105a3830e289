/* Accounts, sessions, the throttle and the trail, on a real file and a clock that the test says. */
#include "support/test.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "office/people.h"
#include "proof/key.h"

#define T0       INT64_C(1700000000)
#define PASSWORD "words of anna"

struct fixture {
    char folder[64];
    struct fsp_desk *desk;
    struct fsp_by by;
};

static int
setup(void **state)
{
    struct fixture *f = calloc(1, sizeof(*f));
    struct fsp_err err = {0};

    assert_non_null(f);
    /* in memory, where there is such a folder: the tests of durability are others */
    (void)snprintf(f->folder, sizeof(f->folder), "%s/fsp-people-XXXXXX",
            access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
    assert_non_null(mkdtemp(f->folder));
    assert_ok(fsp_desk_open(f->folder, true, &f->desk, &err), &err);
    f->by = (struct fsp_by){.name = "command", .now_s = T0};
    *state = f;
    return 0;
}

static int
teardown(void **state)
{
    static const char *const names[] = {"desk.db", "desk.db-journal"};
    struct fixture *f = *state;
    char path[128];

    fsp_desk_close(f->desk);
    for (size_t i = 0; i < 2; i++) {
        (void)snprintf(path, sizeof(path), "%s/%s", f->folder, names[i]);
        (void)unlink(path);
    }
    (void)rmdir(f->folder);
    free(f);
    return 0;
}

static void
reopen(struct fixture *f)
{
    struct fsp_err err = {0};

    fsp_desk_close(f->desk);
    assert_ok(fsp_desk_open(f->folder, true, &f->desk, &err), &err);
}

static void
add(struct fixture *f, const char *name, enum fsp_role role)
{
    struct fsp_err err = {0};

    assert_ok(fsp_people_add(f->desk, &f->by, name, role, PASSWORD, &err), &err);
}

/* A log-in whose password is right or wrong, without the work of a hash. */
static enum fsp_rc
log_in(struct fixture *f, struct fsp_login *login, bool right, struct fsp_login_tokens *tokens)
{
    struct fsp_err err = {0};
    int64_t wait_s = 0;
    enum fsp_rc rc = fsp_people_try(f->desk, login, &wait_s, &err);

    memset(tokens, 0, sizeof(*tokens));
    if (rc == FSP_EAGAIN) {
        assert_in_range(wait_s, 1, FSP_LOGIN_WAIT_MAX_S);
        return rc;
    }
    assert_ok(rc, &err);
    assert_int_equal(wait_s, 0);
    return fsp_people_tried(f->desk, login, right, fsp_env_system(), tokens, &err);
}

static unsigned
trail_lines(struct fixture *f, const char *did, char *what, size_t size)
{
    struct fsp_trail_line line = {.id = 0};
    struct fsp_err err = {0};
    unsigned n = 0;

    while (fsp_people_trail_next(f->desk, line.id, &line, &err) == FSP_OK) {
        if (strcmp(line.did, did) != 0)
            continue;
        if (n == 0 && what != NULL)
            (void)snprintf(what, size, "%.60s|%s", line.by, line.what);
        n++;
    }
    return n;
}

static void
each_role_may_what_it_may(void **state)
{
    static const struct {
        enum fsp_role role;
        bool may[6]; /* read, evidence, trail, acknowledge, instruct, keep */
    } rows[] = {
            {FSP_ROLE_NONE, {false, false, false, false, false, false}},
            {FSP_ROLE_READER, {true, false, false, false, false, false}},
            {FSP_ROLE_AUDITOR, {true, true, true, false, false, false}},
            {FSP_ROLE_ENGINEER, {true, true, false, true, true, false}},
            {FSP_ROLE_KEEPER, {true, true, true, true, true, true}},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        for (int right = FSP_RIGHT_READ; right <= FSP_RIGHT_KEEP; right++)
            if (fsp_role_may(rows[i].role, (enum fsp_right)right) != rows[i].may[right])
                fail_msg("role %zu, right %d", i, right);
        if (i > 0)
            assert_int_equal(fsp_role_of(fsp_role_text(rows[i].role)), rows[i].role);
    }
    assert_int_equal(fsp_role_of(""), FSP_ROLE_NONE);
    assert_int_equal(fsp_role_of("root"), FSP_ROLE_NONE);
}

static void
accounts_are_added_once_and_a_closed_name_is_not_given_again(void **state)
{
    struct fixture *f = *state;
    struct fsp_account account;
    struct fsp_err err = {0};
    bool any = true;

    assert_ok(fsp_people_any(f->desk, &any, &err), &err);
    assert_false(any);
    assert_int_equal(fsp_people_add(f->desk, &f->by, "Anna", FSP_ROLE_READER, PASSWORD, &err),
            FSP_EINVAL);
    assert_int_equal(
            fsp_people_add(f->desk, &f->by, "command", FSP_ROLE_READER, PASSWORD, &err),
            FSP_EINVAL);
    assert_int_equal(
            fsp_people_add(f->desk, &f->by, "anna", FSP_ROLE_NONE, PASSWORD, &err), FSP_EINVAL);
    assert_int_equal(fsp_people_add(f->desk, &f->by, "anna", FSP_ROLE_READER, "short", &err),
            FSP_EINVAL);
    add(f, "anna", FSP_ROLE_KEEPER);
    assert_int_equal(fsp_people_add(f->desk, &f->by, "anna", FSP_ROLE_READER, PASSWORD, &err),
            FSP_EINVAL);
    assert_ok(fsp_people_find(f->desk, "anna", &account, &err), &err);
    assert_int_equal(account.role, FSP_ROLE_KEEPER);
    assert_int_equal(account.made_s, T0);
    assert_ok(fsp_people_close(f->desk, &f->by, "anna", &err), &err);
    assert_int_equal(fsp_people_close(f->desk, &f->by, "anna", &err), FSP_EINVAL);
    assert_int_equal(fsp_people_add(f->desk, &f->by, "anna", FSP_ROLE_READER, PASSWORD, &err),
            FSP_EINVAL);
    assert_int_equal(fsp_people_close(f->desk, &f->by, "nobody", &err), FSP_ENOTFOUND);
    assert_ok(fsp_people_any(f->desk, &any, &err), &err);
    assert_true(any); /* the pages stay shut */
    assert_int_equal(fsp_people_next(f->desk, "", &account, &err), FSP_OK);
    assert_string_equal(account.name, "anna");
    assert_int_equal(fsp_people_next(f->desk, "anna", &account, &err), FSP_ENOTFOUND);
    assert_int_equal(trail_lines(f, "account added", NULL, 0), 1);
    assert_int_equal(trail_lines(f, "account closed", NULL, 0), 1);
}

static void
a_session_lasts_until_it_is_idle_old_or_logged_out(void **state)
{
    struct fixture *f = *state;
    struct fsp_login login = {.name = "anna", .client = "192.0.2.1", .now_s = T0};
    struct fsp_login_tokens tokens;
    struct fsp_login_tokens others;
    struct fsp_viewer viewer;
    struct fsp_viewer second;
    struct fsp_err err = {0};
    int64_t now = T0;

    add(f, "anna", FSP_ROLE_ENGINEER);
    assert_int_equal(log_in(f, &login, true, &tokens), FSP_OK);
    assert_int_equal(log_in(f, &login, true, &others), FSP_OK);
    assert_ok(fsp_people_viewer(f->desk, tokens.session, now, fsp_env_system(), &viewer, &err),
            &err);
    assert_string_equal(viewer.name, "anna");
    assert_int_equal(viewer.role, FSP_ROLE_ENGINEER);
    assert_ok(fsp_people_viewer(f->desk, tokens.session, now, fsp_env_system(), &second, &err),
            &err);
    assert_int_not_equal(strcmp(viewer.form_token, second.form_token), 0);
    assert_true(fsp_people_form_good(&viewer, second.form_token));
    assert_ok(fsp_people_viewer(f->desk, others.session, now, fsp_env_system(), &second, &err),
            &err);
    assert_false(fsp_people_form_good(&viewer, second.form_token)); /* another session's */
    assert_false(fsp_people_form_good(&viewer, NULL));
    assert_false(fsp_people_form_good(&viewer, ""));
    assert_false(fsp_people_form_good(&viewer, tokens.session));
    while (now + FSP_SESSION_IDLE_S <= T0 + FSP_SESSION_MAX_S) { /* used often: lives on */
        now += FSP_SESSION_IDLE_S;
        assert_ok(fsp_people_viewer(
                          f->desk, tokens.session, now, fsp_env_system(), &viewer, &err),
                &err);
    }
    assert_int_equal(fsp_people_viewer(f->desk, tokens.session, T0 + FSP_SESSION_MAX_S + 1,
                             fsp_env_system(), &viewer, &err),
            FSP_EVERIFY);
    assert_string_equal(viewer.name, "");
    assert_int_equal(fsp_people_viewer(f->desk, others.session, T0 + FSP_SESSION_IDLE_S + 1,
                             fsp_env_system(), &viewer, &err),
            FSP_EVERIFY);
    assert_ok(fsp_people_log_out(f->desk, others.session, T0, &err), &err);
    assert_ok(fsp_people_log_out(f->desk, others.session, T0, &err), &err);
    assert_int_equal(
            fsp_people_viewer(f->desk, others.session, T0, fsp_env_system(), &viewer, &err),
            FSP_EVERIFY);
    assert_int_equal(trail_lines(f, "log-in", NULL, 0), 2);
    assert_int_equal(trail_lines(f, "log-out", NULL, 0), 1);
}

static void
changes_of_an_account_end_its_sessions_and_no_others(void **state)
{
    struct fixture *f = *state;
    struct fsp_login login = {.name = "anna", .client = "192.0.2.1", .now_s = T0};
    struct fsp_login other = {.name = "bo", .client = "192.0.2.1", .now_s = T0};
    struct fsp_login_tokens tokens;
    struct fsp_login_tokens bos;
    struct fsp_viewer viewer;
    struct fsp_err err = {0};

    add(f, "anna", FSP_ROLE_ENGINEER);
    add(f, "bo", FSP_ROLE_READER);
    assert_int_equal(log_in(f, &other, true, &bos), FSP_OK);
    for (int change = 0; change < 3; change++) {
        assert_int_equal(log_in(f, &login, true, &tokens), FSP_OK);
        if (change == 0)
            assert_ok(
                    fsp_people_set_role(f->desk, &f->by, "anna", FSP_ROLE_READER, &err), &err);
        else if (change == 1)
            assert_ok(
                    fsp_people_set_password(f->desk, &f->by, "anna", login.stored, &err), &err);
        else
            assert_ok(fsp_people_close(f->desk, &f->by, "anna", &err), &err);
        assert_int_equal(
                fsp_people_viewer(f->desk, tokens.session, T0, fsp_env_system(), &viewer, &err),
                FSP_EVERIFY);
    }
    assert_int_equal(log_in(f, &login, true, &tokens), FSP_EVERIFY); /* closed */
    assert_ok(
            fsp_people_viewer(f->desk, bos.session, T0, fsp_env_system(), &viewer, &err), &err);
}

static void
a_password_changed_while_it_was_checked_does_not_let_in(void **state)
{
    struct fixture *f = *state;
    struct fsp_login login = {.name = "anna", .client = "192.0.2.1", .now_s = T0};
    struct fsp_login_tokens tokens;
    struct fsp_err err = {0};
    int64_t wait_s = 0;

    add(f, "anna", FSP_ROLE_ENGINEER);
    assert_ok(fsp_people_try(f->desk, &login, &wait_s, &err), &err);
    assert_ok(fsp_password_verify(login.stored, PASSWORD, &err), &err);
    assert_ok(fsp_people_set_password(f->desk, &f->by, "anna", "$argon2id$other", &err), &err);
    assert_int_equal(fsp_people_tried(f->desk, &login, true, fsp_env_system(), &tokens, &err),
            FSP_EVERIFY);
    assert_string_equal(tokens.session, "");
}

/* How many of `tries` were not throttled, one a second. */
static unsigned
hammer(struct fixture *f, struct fsp_login *login, unsigned tries)
{
    struct fsp_login_tokens tokens;
    unsigned let = 0;

    for (unsigned i = 0; i < tries; i++, login->now_s++)
        let += log_in(f, login, false, &tokens) == FSP_EVERIFY;
    return let;
}

static void
failures_are_throttled_by_name_across_a_restart_and_forgotten_in_time(void **state)
{
    struct fixture *f = *state;
    struct fsp_login login = {.name = "anna", .client = "192.0.2.1", .now_s = T0};
    struct fsp_login elsewhere = {.name = "anna", .client = "198.51.100.1", .now_s = T0};
    struct fsp_login unknown = {.name = "nobody", .client = "203.0.113.1", .now_s = T0};
    struct fsp_login_tokens tokens;
    unsigned let;

    add(f, "anna", FSP_ROLE_ENGINEER);
    let = hammer(f, &login, 1000);
    /* 5 free ones, then after waits of 2, 4, 8 … 256 s; the one after 512 s comes too late */
    assert_int_equal(let, FSP_LOGIN_FREE + 8);
    assert_int_equal(hammer(f, &unknown, 1000), let); /* an unknown name is treated the same */
    elsewhere.now_s = login.now_s;
    reopen(f);
    assert_int_equal(log_in(f, &elsewhere, true, &tokens), FSP_EAGAIN);
    elsewhere.now_s += FSP_LOGIN_WAIT_MAX_S;
    assert_int_equal(log_in(f, &elsewhere, true, &tokens), FSP_OK);
    elsewhere.browser = NULL;
    assert_int_equal(log_in(f, &elsewhere, true, &tokens), FSP_OK); /* the count is gone */
}

static void
addresses_are_throttled_across_names(void **state)
{
    struct fixture *f = *state;
    char name[32];
    char client[64];
    struct fsp_login login = {.name = name, .client = client, .now_s = T0};
    struct fsp_login_tokens tokens;
    unsigned let = 0;

    for (unsigned i = 0; i < 200; i++) { /* one network of IPv6 is one address */
        (void)snprintf(name, sizeof(name), "name-%u", i);
        (void)snprintf(client, sizeof(client), "2001:db8:0:1::%x", i + 1);
        let += log_in(f, &login, false, &tokens) == FSP_EVERIFY;
    }
    assert_int_equal(let, FSP_LOGIN_FREE_ADDRESS);
    (void)snprintf(client, sizeof(client), "2001:db8:0:2::1");
    assert_int_equal(log_in(f, &login, false, &tokens), FSP_EVERIFY);
}

static void
a_good_log_in_does_not_clear_its_address(void **state)
{
    struct fixture *f = *state;
    char name[32];
    struct fsp_login own = {.name = "anna", .client = "192.0.2.1", .now_s = T0};
    struct fsp_login login = {.name = name, .client = "192.0.2.1", .now_s = T0};
    struct fsp_login_tokens tokens;
    unsigned let = 0;

    add(f, "anna", FSP_ROLE_READER);
    for (unsigned i = 0; i < 60; i++) { /* one of their own between the tries at others' */
        (void)snprintf(name, sizeof(name), "name-%u", i);
        let += log_in(f, &login, false, &tokens) == FSP_EVERIFY;
        (void)log_in(f, &own, true, &tokens);
    }
    assert_int_equal(let, FSP_LOGIN_FREE_ADDRESS);
}

static void
nobody_is_locked_out_by_others(void **state)
{
    struct fixture *f = *state;
    struct fsp_login_tokens tokens;
    struct fsp_login_tokens later;
    struct fsp_login login = {.name = "anna", .client = "192.0.2.1", .now_s = T0};
    struct fsp_login attacker = {.name = "anna", .client = "192.0.2.1", .now_s = T0};
    struct fsp_err err = {0};

    add(f, "anna", FSP_ROLE_ENGINEER);
    add(f, "bo", FSP_ROLE_ENGINEER);
    assert_int_equal(log_in(f, &login, true, &tokens), FSP_OK);
    assert_int_equal(strlen(tokens.browser), FSP_TOKEN_TEXT_LEN);
    (void)hammer(f, &attacker, 2000); /* from the same address, and for ever */
    login.now_s = attacker.now_s;
    login.browser = tokens.browser;
    assert_int_equal(log_in(f, &login, true, &later), FSP_OK);
    assert_string_equal(later.browser, ""); /* the old one stays good */
    /* the browser's token is of one account, and is throttled itself */
    login.name = "bo";
    (void)log_in(f, &login, false, &later);
    assert_false(login.known);
    login.name = "anna";
    assert_int_equal(hammer(f, &login, 30), FSP_LOGIN_FREE + 3);
    /* a keeper's new password opens the account again, and forgets the browser */
    assert_ok(fsp_people_set_password(f->desk, &f->by, "anna", login.stored, &err), &err);
    login.client = "198.51.100.9";
    assert_int_equal(log_in(f, &login, true, &later), FSP_OK);
    assert_int_equal(strlen(later.browser), FSP_TOKEN_TEXT_LEN);
}

static void
a_clock_that_was_far_ahead_shuts_nobody_out(void **state)
{
    struct fixture *f = *state;
    struct fsp_login login = {
            .name = "anna", .client = "192.0.2.1", .now_s = T0 + 365 * FSP_S_PER_DAY};
    struct fsp_login_tokens tokens;

    add(f, "anna", FSP_ROLE_ENGINEER);
    (void)hammer(f, &login, 100);
    login.now_s = T0;
    assert_int_equal(log_in(f, &login, true, &tokens), FSP_OK);
}

static void
refusals_in_the_trail_are_few_and_hold_no_typed_name(void **state)
{
    struct fixture *f = *state;
    char name[64];
    char client[64];
    char what[700];
    struct fsp_login login = {.name = name, .client = client, .now_s = T0};
    struct fsp_login_tokens tokens;

    add(f, "anna", FSP_ROLE_ENGINEER);
    (void)snprintf(client, sizeof(client), "192.0.2.1");
    (void)snprintf(name, sizeof(name), "my secret words");
    assert_int_equal(log_in(f, &login, false, &tokens), FSP_EVERIFY);
    assert_int_equal(trail_lines(f, "refused", what, sizeof(what)), 1);
    assert_string_equal(what, "|log-in as somebody unknown from 192.0.2.1, failure 1");
    (void)snprintf(name, sizeof(name), "anna");
    for (int i = 0; i < 4; i++)
        assert_int_equal(log_in(f, &login, false, &tokens), FSP_EVERIFY);
    assert_int_equal(trail_lines(f, "refused", what, sizeof(what)), 1 + 3); /* 1, 2, 4 */
    assert_string_equal(what, "|log-in as anna from 192.0.2.1, failure 4");
    for (unsigned i = 0; i < FSP_TRAIL_REFUSALS + 20; i++) {
        (void)snprintf(name, sizeof(name), "name-%u", i);
        (void)snprintf(client, sizeof(client), "10.0.%u.%u", i / 200, i % 200);
        assert_int_equal(log_in(f, &login, false, &tokens), FSP_EVERIFY);
    }
    assert_int_equal(trail_lines(f, "refused", what, sizeof(what)), FSP_TRAIL_REFUSALS);
    assert_non_null(strstr(what, "further ones of these 24 hours are not written"));
    login.now_s += FSP_S_PER_DAY + 1;
    assert_int_equal(log_in(f, &login, false, &tokens), FSP_EVERIFY);
    assert_int_equal(trail_lines(f, "refused", NULL, 0), FSP_TRAIL_REFUSALS + 1);
}

static void
the_trail_cannot_be_changed(void **state)
{
    struct fixture *f = *state;
    struct fsp_err err = {0};

    assert_ok(fsp_people_trail_add(f->desk, &f->by, "acknowledged", "heron: seen", &err), &err);
    assert_int_not_equal(
            fsp_db_run(fsp_desk_db(f->desk), "UPDATE trail SET what = ''", &err), FSP_OK);
    assert_int_not_equal(fsp_db_run(fsp_desk_db(f->desk), "DELETE FROM trail", &err), FSP_OK);
    assert_int_equal(trail_lines(f, "acknowledged", NULL, 0), 1);
    assert_int_equal(
            fsp_people_trail_add(f->desk, &f->by, "acknowledged", "bad \xe2\x80\xae", &err),
            FSP_EINVAL);
}

static void
sessions_of_one_account_are_few(void **state)
{
    struct fixture *f = *state;
    struct fsp_login login = {.name = "anna", .client = "192.0.2.1", .now_s = T0};
    struct fsp_login_tokens first;
    struct fsp_login_tokens tokens;
    struct fsp_viewer viewer;
    struct fsp_err err = {0};

    add(f, "anna", FSP_ROLE_READER);
    assert_int_equal(log_in(f, &login, true, &first), FSP_OK);
    for (int i = 0; i < FSP_SESSIONS_MAX; i++) {
        login.now_s++;
        assert_int_equal(log_in(f, &login, true, &tokens), FSP_OK);
    }
    assert_int_equal(fsp_people_viewer(f->desk, first.session, login.now_s, fsp_env_system(),
                             &viewer, &err),
            FSP_EVERIFY);
    assert_ok(fsp_people_viewer(
                      f->desk, tokens.session, login.now_s, fsp_env_system(), &viewer, &err),
            &err);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(each_role_may_what_it_may),
            TEST(accounts_are_added_once_and_a_closed_name_is_not_given_again),
            TEST(a_session_lasts_until_it_is_idle_old_or_logged_out),
            TEST(changes_of_an_account_end_its_sessions_and_no_others),
            TEST(a_password_changed_while_it_was_checked_does_not_let_in),
            TEST(failures_are_throttled_by_name_across_a_restart_and_forgotten_in_time),
            TEST(addresses_are_throttled_across_names),
            TEST(a_good_log_in_does_not_clear_its_address),
            TEST(nobody_is_locked_out_by_others),
            TEST(a_clock_that_was_far_ahead_shuts_nobody_out),
            TEST(refusals_in_the_trail_are_few_and_hold_no_typed_name),
            TEST(the_trail_cannot_be_changed),
            TEST(sessions_of_one_account_are_few),
    };
    struct fsp_err err = {0};

    if (fsp_proof_init(&err) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
