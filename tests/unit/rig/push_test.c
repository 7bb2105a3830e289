#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "proof/note.h"
#include "rig/link.h"
#include "rig/push.h"
#include "unit/rig/loopback.h"
#include "unit/rig/rig_fixture.h"
#include "wire/answer.h"

/* ---- the link alone ----------------------------------------------------------------------- */

/* Send the request's own headers back, so that the test sees them. */
static void
echo(void *ctx, unsigned n, const char *headers, const uint8_t *body, size_t len,
        struct fsp_buf *out)
{
    struct fsp_buf text;

    (void)ctx;
    (void)n;
    fsp_buf_init(&text, 65536);
    fsp_buf_printf(&text, "%s|%.*s", headers, (int)len, (const char *)body);
    loopback_write(out, "200 OK", "", text.data, text.len);
    fsp_buf_fini(&text);
}

static void
redirect(void *ctx, unsigned n, const char *headers, const uint8_t *body, size_t len,
        struct fsp_buf *out)
{
    (void)ctx;
    (void)headers;
    (void)body;
    (void)len;
    if (n == 0)
        loopback_write(out, "302 Found", "Location: /elsewhere\r\nRetry-After: 7\r\n", "", 0);
    else
        loopback_write(out, "500 Followed", "", "", 0);
}

static void
endless(void *ctx, unsigned n, const char *headers, const uint8_t *body, size_t len,
        struct fsp_buf *out)
{
    size_t size = FSP_LINK_REPLY_MAX + 1000;
    char *page = calloc(1, size);

    (void)ctx;
    (void)n;
    (void)headers;
    (void)body;
    (void)len;
    loopback_write(out, "200 OK", "", page, size);
    free(page);
}

static void
hang_up(void *ctx, unsigned n, const char *headers, const uint8_t *body, size_t len,
        struct fsp_buf *out)
{
    (void)ctx;
    (void)n;
    (void)headers;
    (void)body;
    (void)len;
    (void)out;
}

static enum fsp_rc
post(loopback_reply *server, struct fsp_link_reply *reply, struct fsp_err *err)
{
    struct fsp_link_options options = {.quiet_s = 5};
    struct loopback loopback;
    struct fsp_link *link = NULL;
    enum fsp_rc rc;

    fsp_buf_init(&reply->body, FSP_LINK_REPLY_MAX);
    loopback_start(&loopback, server, NULL);
    assert_ok(fsp_link_new(&link, loopback.url, &options, err), err);
    rc = fsp_link_post(link, "payload", 7, reply, err);
    fsp_link_free(link);
    loopback_stop(&loopback);
    return rc;
}

static void
a_post_has_slim_headers_and_no_expect(void **state)
{
    struct fsp_link_reply reply;
    struct fsp_err err = {.rc = FSP_OK};
    const char *text;

    (void)state;
    assert_ok(post(echo, &reply, &err), &err);
    assert_int_equal(reply.status, 200);
    text = fsp_buf_peek(&reply.body);
    assert_memory_equal(text, "POST /bundle HTTP/1.1\r\n", 23);
    assert_non_null(strstr(text, "|payload"));
    assert_non_null(strstr(text, "Content-Length: 7\r\n"));
    assert_null(strstr(text, "Expect"));
    assert_null(strstr(text, "Accept"));
    assert_null(strstr(text, "Content-Type"));
    assert_null(strstr(text, "User-Agent"));
    assert_in_range(strchr(text, '|') - text, 1, 90);
    fsp_buf_fini(&reply.body);
}

static void
a_redirect_is_not_followed(void **state)
{
    struct fsp_link_reply reply;
    struct fsp_err err = {.rc = FSP_OK};

    (void)state;
    assert_ok(post(redirect, &reply, &err), &err);
    assert_int_equal(reply.status, 302);
    assert_int_equal(reply.after_us, 7 * FSP_US_PER_S);
    fsp_buf_fini(&reply.body);
}

static void
a_page_that_is_too_long_is_cut(void **state)
{
    struct fsp_link_reply reply;
    struct fsp_err err = {.rc = FSP_OK};

    (void)state;
    assert_ok(post(endless, &reply, &err), &err);
    assert_true(reply.cut);
    assert_int_equal(reply.body.len, FSP_LINK_REPLY_MAX);
    fsp_buf_fini(&reply.body);
}

static void
a_connection_that_breaks_is_unavailable(void **state)
{
    struct fsp_link_reply reply;
    struct fsp_err err = {.rc = FSP_OK};

    (void)state;
    assert_int_equal(post(hang_up, &reply, &err), FSP_EUNAVAIL);
    assert_non_null(strstr(err.text, "/bundle"));
    fsp_buf_fini(&reply.body);
}

static void
only_http_and_pinned_https_addresses_are_taken(void **state)
{
    static const char *const bad[] = {"", "https://office.example", "ftp://office.example",
            "file:///etc/passwd", "office"};
    struct fsp_link_options options = {.quiet_s = 5};
    struct fsp_link *link = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        assert_int_equal(fsp_link_new(&link, bad[i], &options, &err), FSP_EINVAL);
        assert_null(link);
    }
}

/* ---- a whole push -------------------------------------------------------------------------- */

/* What the child answers with: the fixture as it was when the server started. */
struct office {
    struct fixture *fixture;
    unsigned refuse_first;           /* this many requests get a 503 */
    unsigned gap_at;                 /* the request that gets a 409 for size 0; 0: none */
    struct fsp_push_options options; /* of the rig's push */
};

static void
cosigned(const struct office *office, const struct fsp_bundle *bundle, struct fsp_buf *note)
{
    const struct fsp_bundle_head *head = fsp_bundle_peek_head(bundle);
    const struct fsp_journal_about *about = fsp_journal_about(office->fixture->journal);
    uint8_t cosignature[8 + FSP_SIG_LEN];

    fsp_checkpoint_write(&head->head, note);
    fsp_buf_add_byte(note, '\n');
    fsp_note_add_line(note, &about->vkey, head->sig, FSP_SIG_LEN);
    if (fsp_cosign(&head->head, office->fixture->cosigner, 1000, cosignature, NULL) == FSP_OK)
        fsp_note_add_line(note, fsp_skey_vkey(office->fixture->cosigner), cosignature,
                sizeof(cosignature));
}

static void
gap(const struct office *office, const uint8_t *body, size_t len, struct fsp_buf *note)
{
    struct fsp_refusal refusal = {.status = 409, .size = 0};

    (void)snprintf(refusal.origin, sizeof(refusal.origin), "%s",
            fsp_journal_about(office->fixture->journal)->origin);
    fsp_bundle_digest(body, len, refusal.bundle);
    if (fsp_refusal_sign(note, &refusal, office->fixture->instructions, NULL) != FSP_OK)
        fsp_buf_reset(note);
}

static void
answer(void *ctx, unsigned n, const char *headers, const uint8_t *body, size_t len,
        struct fsp_buf *out)
{
    struct office *office = ctx;
    struct fsp_bundle *bundle = NULL;
    struct fsp_buf note;

    (void)headers;
    fsp_buf_init(&note, FSP_NOTE_MAX);
    if (n < office->refuse_first) {
        loopback_write(out, "503 Later", "", "", 0);
    } else if (office->gap_at != 0 && n == office->gap_at) {
        gap(office, body, len, &note);
        loopback_write(out, "409 Gap", "", note.data, note.len);
    } else if (fsp_bundle_open(body, len, &office->fixture->box, 1, &bundle, NULL) == FSP_OK) {
        cosigned(office, bundle, &note);
        loopback_write(out, "200 OK", "", note.data, note.len);
        fsp_bundle_free(bundle);
    } else {
        loopback_write(out, "400 Bad", "", "", 0);
    }
    fsp_buf_fini(&note);
}

struct pushed {
    struct loopback loopback;
    struct fsp_push *push;
};

/* The store's URL is set to the child's, the store reopened, the push made. */
static void
begin(struct fixture *fixture, struct office *office, struct pushed *pushed)
{
    struct fsp_push_options options = office->options;
    struct fsp_db *db = fsp_journal_db(fixture->journal);
    struct fsp_err err = {.rc = FSP_OK};

    options.link.quiet_s = 5;
    office->fixture = fixture;
    loopback_start(&pushed->loopback, answer, office);
    assert_ok(fsp_db_begin(db, &err), &err);
    assert_ok(fsp_journal_set_meta(db, "url", pushed->loopback.url, &err), &err);
    assert_ok(fsp_db_commit(db, &err), &err);
    fixture_reopen(fixture);
    assert_ok(fsp_push_new(fixture->journal, &options, &pushed->push, &err), &err);
}

static void
end(struct pushed *pushed)
{
    fsp_push_free(pushed->push);
    loopback_stop(&pushed->loopback);
}

static void
a_push_goes_on_until_nothing_is_pending(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_push_report report = {.records = 0};
    struct fsp_journal_progress progress;
    struct fsp_sync_action next;
    struct office office = {.refuse_first = 0};
    struct fsp_err err = {.rc = FSP_OK};
    struct pushed pushed;

    fixture_fill(fixture, 40);
    begin(fixture, &office, &pushed);
    assert_ok(fsp_push_round(pushed.push, &report, &next, &err), &err);
    assert_int_equal(next.kind, FSP_SYNC_REST);
    assert_int_equal(report.records, 40);
    assert_int_equal(report.held, 40);
    assert_true(report.bundles >= 1);
    assert_ok(fsp_journal_progress(fixture->journal, &progress, &err), &err);
    assert_int_equal(progress.held, 40);
    /* The connection is kept, and what came meanwhile goes next. */
    fixture_fill(fixture, 1);
    report = (struct fsp_push_report){.records = 0};
    assert_ok(fsp_push_round(pushed.push, &report, &next, &err), &err);
    assert_int_equal(report.records, 1);
    assert_int_equal(report.bundles, 1);
    report = (struct fsp_push_report){.records = 0};
    assert_ok(fsp_push_round(pushed.push, &report, &next, &err), &err);
    assert_int_equal(report.bundles + report.bytes, 0);
    end(&pushed);
}

static void
a_busy_office_is_waited_for_and_then_receives_everything(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_push_report report = {.records = 0};
    struct fsp_sync_action next;
    struct office office = {.refuse_first = 3};
    struct fsp_err err = {.rc = FSP_OK};
    struct pushed pushed;

    fixture_fill(fixture, 5);
    begin(fixture, &office, &pushed);
    for (int i = 0; i < 3; i++) {
        assert_ok(fsp_push_round(pushed.push, &report, &next, &err), &err);
        assert_int_equal(next.kind, FSP_SYNC_WAIT);
        assert_int_equal(report.tries, i + 1);
        assert_non_null(strstr(report.why, "503"));
        fixture->now_us = next.until_us; /* the clock of the test, nobody sleeps */
    }
    assert_ok(fsp_push_round(pushed.push, &report, &next, &err), &err);
    assert_int_equal(next.kind, FSP_SYNC_REST);
    assert_int_equal(report.held, 5);
    end(&pushed);
}

static void
an_office_that_went_back_is_refilled_within_one_push(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_push_report report = {.records = 0};
    struct fsp_sync_action next;
    struct office office = {.gap_at = 1};
    struct fsp_err err = {.rc = FSP_OK};
    struct pushed pushed;

    fixture_fill(fixture, 5);
    begin(fixture, &office, &pushed);
    assert_ok(fsp_push_round(pushed.push, &report, &next, &err), &err);
    fixture_fill(fixture, 1);
    report = (struct fsp_push_report){.records = 0};
    assert_ok(fsp_push_round(pushed.push, &report, &next, &err), &err);
    assert_int_equal(next.kind, FSP_SYNC_REST);
    assert_true(report.went_back);
    assert_int_equal(report.records, 6);
    assert_int_equal(report.held, 6);
    end(&pushed);
}

static void
a_second_pusher_is_told_to_come_later(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_push_report report = {.records = 0};
    struct fsp_sync_action next;
    struct office office = {.gap_at = 0};
    struct fsp_err err = {.rc = FSP_OK};
    struct pushed pushed;
    int lock = -1;

    fixture_fill(fixture, 1);
    begin(fixture, &office, &pushed);
    assert_ok(fsp_push_lock(fixture->journal, &lock, &err), &err);
    assert_int_equal(fsp_push_round(pushed.push, &report, &next, &err), FSP_EBUSY);
    fsp_file_unlock(lock);
    assert_ok(fsp_push_round(pushed.push, &report, &next, &err), &err);
    end(&pushed);
}

/* ---- what it costs, without a network ------------------------------------------------------ */

/* An office in the test's own process. */
struct desk {
    struct office office;
    struct fixture *fixture;
    struct fsp_carrier carrier;
    unsigned posts;
    uint64_t counted;  /* by the store, while the bundle was on its way */
    bool enrolment;    /* the last bundle carried it */
    bool down;         /* nobody answers */
    unsigned refusals; /* this many 403s first */
};

static enum fsp_rc
at_desk(void *ctx, const void *bytes, size_t len, struct fsp_link_reply *reply,
        struct fsp_err *err)
{
    struct desk *desk = ctx;
    struct fsp_linkstate link;
    struct fsp_bundle *bundle = NULL;

    desk->posts++;
    reply->connects = desk->posts == 1;
    reply->head = 100;
    fsp_buf_reset(&reply->body);
    assert_ok(fsp_linkstate_read(desk->fixture->journal, &link, err), err);
    desk->counted = link.bytes;
    if (desk->down)
        return fsp_err_set(err, FSP_EUNAVAIL, "nobody there");
    assert_ok(fsp_bundle_open(bytes, len, &desk->fixture->box, 1, &bundle, err), err);
    desk->enrolment = fsp_bundle_peek_head(bundle)->enrolment;
    reply->status = 200;
    if (desk->refusals > 0) {
        desk->refusals--;
        reply->status = 403;
    } else {
        cosigned(&desk->office, bundle, &reply->body);
    }
    fsp_bundle_free(bundle);
    return FSP_OK;
}

static struct fsp_push *
sit_down(struct desk *desk, struct fixture *fixture, const struct fsp_sync_plan *plan,
        uint64_t day_bytes)
{
    struct fsp_push_options options = {.plan = plan,
            .budget = {.day_bytes = day_bytes, .reserve_percent = 20},
            .carrier = &desk->carrier};
    struct fsp_push *push = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    memset(desk, 0, sizeof(*desk));
    desk->fixture = fixture;
    desk->office.fixture = fixture;
    desk->carrier = (struct fsp_carrier){.post = at_desk, .ctx = desk};
    assert_ok(fsp_push_new(fixture->journal, &options, &push, &err), &err);
    return push;
}

static struct fsp_sync_action
round_of(struct fsp_push *push, struct fsp_push_report *report)
{
    struct fsp_sync_action next;
    struct fsp_err err = {.rc = FSP_OK};

    *report = (struct fsp_push_report){.records = 0};
    assert_ok(fsp_push_round(push, report, &next, &err), &err);
    return next;
}

static void
bytes_are_counted_before_they_leave_and_set_right_after(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_push_report report;
    struct fsp_linkstate link;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_push *push;
    struct desk desk;

    push = sit_down(&desk, fixture, NULL, 0);
    fixture_fill(fixture, 3);
    assert_int_equal(round_of(push, &report).kind, FSP_SYNC_REST);
    assert_true(desk.counted > report.bytes);
    assert_ok(fsp_linkstate_read(fixture->journal, &link, &err), &err);
    assert_int_equal(link.bytes, report.used);
    assert_in_range(link.bytes, report.bytes + 500, report.bytes + 1500);
    fsp_push_free(push);
    /* The next process goes on counting. */
    fixture_reopen(fixture);
    push = sit_down(&desk, fixture, NULL, 0);
    fixture_fill(fixture, 1);
    (void)round_of(push, &report);
    assert_true(desk.counted > link.bytes);
    assert_true(report.used > link.bytes);
    fsp_push_free(push);
}

static void
a_used_up_day_is_waited_out_by_run_and_not_by_hand(void **state)
{
    static const struct fsp_sync_plan plan = {.enough = 1};
    struct fixture *fixture = *state;
    struct fsp_push_report report;
    struct fsp_sync_action next;
    struct fsp_linkstate link;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_push *push;
    struct desk desk;

    push = sit_down(&desk, fixture, &plan, 3000);
    fixture_fill(fixture, 3);
    assert_int_equal(round_of(push, &report).kind, FSP_SYNC_REST);
    fixture_fill(fixture, 1);
    next = round_of(push, &report);
    assert_int_equal(next.kind, FSP_SYNC_WAIT);
    assert_int_equal(next.wait, FSP_SYNC_FOR_DAY);
    assert_true(report.used_up);
    assert_int_equal(desk.posts, 1);
    assert_ok(fsp_linkstate_read(fixture->journal, &link, &err), &err);
    assert_int_equal(link.wait, FSP_SYNC_FOR_DAY);
    assert_int_equal(link.next_s, FIXTURE_NOW_S + 86400);
    fixture->now_us = next.until_us;
    assert_int_equal(round_of(push, &report).kind, FSP_SYNC_REST);
    assert_false(report.used_up);
    assert_int_equal(report.held, 4);
    fsp_push_free(push);
    /* By hand it goes whatever the budget says, and is counted. */
    push = sit_down(&desk, fixture, NULL, 1);
    fixture_fill(fixture, 1);
    assert_int_equal(round_of(push, &report).kind, FSP_SYNC_REST);
    assert_int_equal(report.held, 5);
    assert_ok(fsp_linkstate_read(fixture->journal, &link, &err), &err);
    assert_int_equal(link.bytes, report.used);
    assert_int_equal(link.wait, FSP_SYNC_FOR_NOTHING);
    fsp_push_free(push);
}

static void
with_nothing_pending_the_office_is_asked_now_and_then(void **state)
{
    static const struct fsp_sync_plan plan = {.enough = 1, .poll_us = 3600 * FSP_US_PER_S};
    struct fixture *fixture = *state;
    struct fsp_push_report report;
    struct fsp_sync_action next;
    struct fsp_linkstate link;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_push *push;
    struct desk desk;

    push = sit_down(&desk, fixture, &plan, 0);
    fixture_fill(fixture, 3);
    next = round_of(push, &report);
    assert_int_equal(next.wait, FSP_SYNC_FOR_POLL);
    assert_int_equal(report.bundles, 1);
    assert_int_equal(round_of(push, &report).wait, FSP_SYNC_FOR_POLL);
    assert_int_equal(desk.posts, 1);
    fixture->now_us = next.until_us;
    next = round_of(push, &report);
    assert_int_equal(desk.posts, 2);
    assert_int_equal(next.wait, FSP_SYNC_FOR_POLL);
    assert_int_equal(report.bundles, 0);
    assert_int_equal(report.records, 0);
    assert_in_range(report.bytes, 150, 400);
    assert_ok(fsp_linkstate_read(fixture->journal, &link, &err), &err);
    assert_int_equal(link.wait, FSP_SYNC_FOR_POLL);
    assert_int_equal(link.bytes, report.used);
    assert_string_equal(link.why, "");
    fsp_push_free(push);
}

static void
a_try_that_fails_is_counted_whole_and_its_reason_kept(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_push_report report;
    struct fsp_sync_action next;
    struct fsp_linkstate link;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_push *push;
    struct desk desk;

    push = sit_down(&desk, fixture, NULL, 0);
    desk.down = true;
    fixture_fill(fixture, 3);
    next = round_of(push, &report);
    assert_int_equal(next.wait, FSP_SYNC_FOR_LINK);
    assert_ok(fsp_linkstate_read(fixture->journal, &link, &err), &err);
    assert_true(link.bytes >= report.bytes);
    assert_string_equal(link.why, "nobody there");
    /* A round that only waits keeps the reason. */
    fixture->now_us = next.until_us - 1;
    if (round_of(push, &report).kind == FSP_SYNC_WAIT) {
        assert_ok(fsp_linkstate_read(fixture->journal, &link, &err), &err);
        assert_string_equal(link.why, "nobody there");
    }
    desk.down = false;
    fixture->now_us = next.until_us;
    assert_int_equal(round_of(push, &report).kind, FSP_SYNC_REST);
    assert_ok(fsp_linkstate_read(fixture->journal, &link, &err), &err);
    assert_string_equal(link.why, "");
    fsp_push_free(push);
}

static void
an_office_that_does_not_know_the_log_is_enrolled_with_again(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_push_report report;
    struct fsp_sync_action next;
    struct fsp_push *push;
    struct desk desk;

    push = sit_down(&desk, fixture, NULL, 0);
    fixture_fill(fixture, 2);
    (void)round_of(push, &report);
    assert_true(desk.enrolment);
    fixture_fill(fixture, 1);
    (void)round_of(push, &report);
    assert_false(desk.enrolment);
    fixture_fill(fixture, 1);
    desk.refusals = 1;
    next = round_of(push, &report);
    assert_int_equal(next.kind, FSP_SYNC_WAIT);
    assert_false(desk.enrolment);
    fixture->now_us = next.until_us;
    (void)round_of(push, &report);
    assert_true(desk.enrolment);
    fixture_fill(fixture, 1);
    (void)round_of(push, &report);
    assert_false(desk.enrolment);
    fsp_push_free(push);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_post_has_slim_headers_and_no_expect),
            cmocka_unit_test(a_redirect_is_not_followed),
            cmocka_unit_test(a_page_that_is_too_long_is_cut),
            cmocka_unit_test(a_connection_that_breaks_is_unavailable),
            cmocka_unit_test(only_http_and_pinned_https_addresses_are_taken),
            CASE(a_push_goes_on_until_nothing_is_pending),
            CASE(a_busy_office_is_waited_for_and_then_receives_everything),
            CASE(an_office_that_went_back_is_refilled_within_one_push),
            CASE(a_second_pusher_is_told_to_come_later),
            CASE(bytes_are_counted_before_they_leave_and_set_right_after),
            CASE(a_used_up_day_is_waited_out_by_run_and_not_by_hand),
            CASE(with_nothing_pending_the_office_is_asked_now_and_then),
            CASE(a_try_that_fails_is_counted_whole_and_its_reason_kept),
            CASE(an_office_that_does_not_know_the_log_is_enrolled_with_again),
    };
    struct fsp_err err = {.rc = FSP_OK};

    if (fsp_link_global(&err) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
