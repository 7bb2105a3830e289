#include "office_support.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "office/instruct.h"

#define ALL(rig) ((const uint64_t[2]){0, (rig)->n})

struct fixture {
    struct office office;
    struct rig rig;
    struct fsp_buf answer;
    struct fsp_err err;
};

static void
start(struct fixture *f)
{
    memset(f, 0, sizeof(*f));
    office_start(&f->office);
    rig_start(&f->rig, &f->office, "heron", "a1");
    rig_add_many(&f->rig, 3);
    fsp_buf_init(&f->answer, FSP_NOTE_MAX);
}

static void
stop(struct fixture *f)
{
    fsp_buf_fini(&f->answer);
    rig_stop(&f->rig);
    office_stop(&f->office);
}

static enum fsp_rc
queue(struct fixture *f, const char *rig, const char *body, uint8_t *id)
{
    struct fsp_shelf *shelf = f->office.shelf;
    struct fsp_instruct what = {
            .rig = rig, .about = FSP_ABOUT_MESSAGE, .body = body, .body_len = strlen(body)};
    enum fsp_rc rc;

    assert_ok(shelf->ops->begin(shelf->ctx, true, &f->err), &f->err);
    rc = fsp_instruct_queue(shelf, &f->office.keys, &f->office.env, &what, id, &f->err);
    if (rc == FSP_OK)
        rc = shelf->ops->commit(shelf->ctx, &f->err);
    else
        shelf->ops->rollback(shelf->ctx);
    return rc;
}

/* Send everything; the bodies of the instructions that came behind the receipt, joined. */
static const char *
sent_words(struct fixture *f, struct fsp_buf *notes)
{
    static char bodies[1000];
    const struct fsp_vkey *key = fsp_skey_vkey(f->office.keys.instructions);
    struct fsp_answers_cursor cursor;
    struct fsp_answers_frame frame;
    size_t len = 0;

    bodies[0] = '\0';
    fsp_buf_reset(&f->answer);
    assert_int_equal(rig_send(&f->rig, &f->office, ALL(&f->rig), true, &f->answer), 200);
    if (!fsp_answers_are(f->answer.data, f->answer.len)) {
        assert_int_equal(receipt_size(&f->answer, &f->rig, &f->office, NULL), f->rig.n);
        return bodies;
    }
    assert_ok(fsp_answers_open(&cursor, f->answer.data, f->answer.len, &f->err), &f->err);
    assert_ok(fsp_answers_next(&cursor, &frame, &f->err), &f->err);
    assert_int_equal(frame.kind, FSP_FRAME_ANSWER);
    assert_int_equal(frame.status, 200);
    while (fsp_answers_next(&cursor, &frame, &f->err) == FSP_OK) {
        struct fsp_instruction got;

        assert_int_equal(frame.kind, FSP_FRAME_INSTRUCTION);
        assert_ok(fsp_instruction_read(&got, frame.bytes, frame.len, key, 1, &f->err), &f->err);
        assert_string_equal(got.rig, "heron");
        assert_true(len + got.body_len < sizeof(bodies));
        memcpy(bodies + len, got.body, got.body_len);
        len += got.body_len;
        bodies[len] = '\0';
        if (notes != NULL)
            fsp_buf_add(notes, frame.bytes, frame.len);
    }
    assert_int_equal(f->err.rc, FSP_ENOTFOUND);
    return bodies;
}

/* The record that a rig makes of a note, appended to its log. */
static void
keep(struct fixture *f, const void *bytes, size_t len)
{
    struct fsp_instruction got;
    struct fsp_buf json;

    assert_ok(fsp_instruction_read(
                      &got, bytes, len, fsp_skey_vkey(f->office.keys.instructions), 1, &f->err),
            &f->err);
    fsp_buf_init(&json, FSP_ENTRY_MAX);
    fsp_buf_add_text(&json, "{\"at\":\"2026-03-01T10:00:00Z\",\"by\":\"office\",\"bytes\":\"");
    fsp_base64(&json, got.text, got.text_len);
    fsp_buf_add_text(&json, "\",\"kind\":\"instruction\",\"sig\":\"");
    fsp_base64(&json, got.sig, sizeof(got.sig));
    fsp_buf_add_text(&json, "\",\"v\":1}");
    rig_add(&f->rig, fsp_buf_peek(&json));
    fsp_buf_fini(&json);
}

/* What waits for heron, as an answer's frames. */
static struct fsp_buf
waiting_notes(struct fixture *f)
{
    struct fsp_buf notes;

    fsp_buf_init(&notes, FSP_NOTE_MAX);
    (void)sent_words(f, &notes);
    return notes;
}

static void
without_instructions_the_answer_is_the_receipt_alone(void **state)
{
    struct fixture f;

    (void)state;
    start(&f);
    office_invite(&f.office, "plover", (uint8_t[FSP_TOKEN_LEN]){0});
    assert_ok(queue(&f, "plover", "for another rig\n", NULL), &f.err);
    assert_string_equal(sent_words(&f, NULL), "");
    assert_false(fsp_answers_are(f.answer.data, f.answer.len));
    stop(&f);
}

static void
instructions_come_behind_the_receipt_until_the_log_holds_them(void **state)
{
    struct fsp_buf notes;
    struct fixture f;

    (void)state;
    start(&f);
    assert_ok(queue(&f, "heron", "first\n", NULL), &f.err);
    notes = waiting_notes(&f);
    assert_ok(queue(&f, "heron", "second\n", NULL), &f.err);
    assert_string_equal(sent_words(&f, NULL), "first\nsecond\n"); /* the answer was lost */
    keep(&f, notes.data, notes.len);
    assert_string_equal(sent_words(&f, NULL), "second\n");
    assert_string_equal(sent_words(&f, NULL), "second\n"); /* wholly known */
    fsp_buf_fini(&notes);
    stop(&f);
}

static void
what_the_rig_says_it_has_is_not_sent_again(void **state)
{
    uint8_t ids[2][FSP_INSTRUCTION_ID_LEN];
    uint8_t unknown[FSP_INSTRUCTION_ID_LEN] = {1};
    struct fixture f;

    (void)state;
    start(&f);
    assert_ok(queue(&f, "heron", "first\n", ids[0]), &f.err);
    assert_ok(queue(&f, "heron", "second\n", ids[1]), &f.err);
    f.rig.newest = ids[0];
    assert_string_equal(sent_words(&f, NULL), "second\n");
    f.rig.newest = ids[1];
    assert_string_equal(sent_words(&f, NULL), "");
    f.rig.newest = unknown;
    assert_string_equal(sent_words(&f, NULL), "first\nsecond\n");
    f.rig.newest = NULL;
    stop(&f);
}

static void
one_answer_carries_eight_and_48_kib_at_most(void **state)
{
    static char body[9001];
    struct fixture f;

    (void)state;
    start(&f);
    for (int i = 0; i < 10; i++) {
        (void)snprintf(body, sizeof(body), "%d\n", i);
        assert_ok(queue(&f, "heron", body, NULL), &f.err);
    }
    assert_string_equal(sent_words(&f, NULL), "0\n1\n2\n3\n4\n5\n6\n7\n");
    stop(&f);
    start(&f);
    memset(body, 'x', 9000);
    body[8999] = '\n';
    body[9000] = '\0';
    for (int i = 0; i < 8; i++)
        assert_ok(queue(&f, "heron", body, NULL), &f.err);
    fsp_buf_reset(&f.answer);
    assert_int_equal(rig_send(&f.rig, &f.office, ALL(&f.rig), true, &f.answer), 200);
    assert_true(f.answer.len > 5 * (size_t)9000 && f.answer.len < 49152 + 1000);
    stop(&f);
}

static void
entries_that_only_look_like_instructions_change_nothing(void **state)
{
    static const char *const odd[] = {
            "{\"bytes\":\"ZmFyc3Bvb2wtaW5zdHJ1Y3Rpb24vdjEK\",\"kind\":\"instruction\"}",
            "{\"bytes\":\"ZmFyc3Bvb2wtaW5zdHJ1Y3Rpb24vdjEKx\",\"kind\":\"instruction\"}",
            "ZmFyc3Bvb2wtaW5zdHJ1Y3Rpb24vdjEK \xff",
            "{\"kind\":\"note\",\"note\":\"ZmFyc3Bvb2wtaW5zdHJ1Y3Rpb24vdjEK\"}",
    };
    struct fsp_instruct_list list;
    struct fsp_buf notes;
    struct fixture f;

    (void)state;
    start(&f);
    for (size_t i = 0; i < sizeof(odd) / sizeof(odd[0]); i++)
        rig_add(&f.rig, odd[i]);
    assert_ok(queue(&f, "heron", "first\n", NULL), &f.err);
    notes = waiting_notes(&f);
    /* The id of what waits, but another text. */
    notes.data[notes.len - 1] = '\n';
    *(strstr((char *)notes.data, "first")) = 'F';
    {
        struct fsp_buf json;

        fsp_buf_init(&json, FSP_ENTRY_MAX);
        fsp_buf_add_text(&json, "{\"bytes\":\"");
        fsp_base64(&json, notes.data,
                (size_t)(strstr((char *)notes.data, "\n\n\xe2") - (char *)notes.data) + 1);
        fsp_buf_add_text(&json, "\",\"kind\":\"instruction\",\"sig\":\"\"}");
        rig_add(&f.rig, fsp_buf_peek(&json));
        fsp_buf_fini(&json);
    }
    assert_string_equal(sent_words(&f, NULL), "first\n");
    assert_ok(
            fsp_instruct_list(f.office.shelf, &f.office.keys, "heron", &list, &f.err), &f.err);
    assert_int_equal(list.n, 1);
    assert_int_equal(list.items[0].state, FSP_INSTRUCT_WAITING);
    fsp_instruct_list_free(&list);
    fsp_buf_fini(&notes);
    stop(&f);
}

/* The name by which other entries name entry `index`. */
static void
name_entry(const struct rig *rig, size_t index, struct fsp_buf *out)
{
    uint8_t leaf[FSP_HASH_LEN];

    fsp_leaf_hash(rig->entries[index], strlen(rig->entries[index]), leaf);
    fsp_buf_printf(out, "{\"index\":%zu,\"leaf\":\"", index);
    fsp_base64(out, leaf, sizeof(leaf));
    fsp_buf_add_text(out, "\",\"log\":\"a1\"}");
}

static void
the_list_says_what_became_of_each(void **state)
{
    struct fsp_instruct_list list;
    struct fsp_buf notes;
    struct fsp_buf json;
    struct fixture f;

    (void)state;
    start(&f);
    assert_ok(queue(&f, "heron", "first\n", NULL), &f.err);
    notes = waiting_notes(&f);
    keep(&f, notes.data, notes.len);
    assert_ok(queue(&f, "heron", "second\n", NULL), &f.err);
    (void)sent_words(&f, NULL);
    assert_ok(
            fsp_instruct_list(f.office.shelf, &f.office.keys, "heron", &list, &f.err), &f.err);
    assert_int_equal(list.n, 2);
    assert_int_equal(list.items[0].state, FSP_INSTRUCT_IN_LOG);
    assert_int_equal(list.items[0].index, 3);
    assert_string_equal(list.items[0].origin, f.rig.origin);
    assert_int_equal(list.items[1].state, FSP_INSTRUCT_WAITING);
    assert_string_equal(list.items[1].body, "second\n");
    fsp_instruct_list_free(&list);
    fsp_buf_init(&json, FSP_ENTRY_MAX);
    fsp_buf_add_text(&json,
            "{\"answer\":\"looked at it\",\"at\":\"2026-03-01T11:00:00Z\",\"by\":"
            "\"driller\",\"entry\":");
    name_entry(&f.rig, 3, &json);
    fsp_buf_add_text(&json, ",\"kind\":\"done\",\"v\":1}");
    rig_add(&f.rig, fsp_buf_peek(&json));
    (void)sent_words(&f, NULL);
    assert_ok(
            fsp_instruct_list(f.office.shelf, &f.office.keys, "heron", &list, &f.err), &f.err);
    assert_int_equal(list.items[0].state, FSP_INSTRUCT_ANSWERED);
    assert_int_equal(list.items[0].by_index, 4);
    assert_string_equal(list.items[0].answer, "looked at it");
    assert_false(list.items[0].by_program);
    fsp_instruct_list_free(&list);
    fsp_buf_fini(&json);
    fsp_buf_fini(&notes);
    stop(&f);
}

/* Another office of the same keys, as after yesterday's backup: the instruction is not on its shelf. */
static void
what_was_sent_before_the_shelf_went_back_is_known_from_the_log(void **state)
{
    struct fsp_instruct_list list;
    struct fsp_buf notes;
    struct fixture f;

    (void)state;
    start(&f);
    assert_ok(queue(&f, "heron", "first\n", NULL), &f.err);
    notes = waiting_notes(&f);
    keep(&f, notes.data, notes.len);
    fsp_intake_free(f.office.intake);
    fsp_shelf_close(f.office.shelf);
    remove_folder(f.office.folder);
    assert_non_null(mkdtemp(strcpy(f.office.folder, "/tmp/fsp-office-XXXXXX")));
    assert_ok(fsp_shelf_open(&fsp_shelf_sqlite, f.office.folder, FSP_SHELF_CREATE,
                      &f.office.shelf, &f.err),
            &f.err);
    assert_ok(f.office.shelf->ops->begin(f.office.shelf->ctx, true, &f.err), &f.err);
    assert_ok(f.office.shelf->ops->set_fleet(f.office.shelf->ctx, FLEET, &f.err), &f.err);
    assert_ok(f.office.shelf->ops->commit(f.office.shelf->ctx, &f.err), &f.err);
    assert_ok(fsp_intake_new(
                      f.office.shelf, &f.office.keys, &f.office.env, &f.office.intake, &f.err),
            &f.err);
    office_invite(&f.office, "heron", f.rig.token);
    assert_string_equal(sent_words(&f, NULL), "");
    assert_ok(
            fsp_instruct_list(f.office.shelf, &f.office.keys, "heron", &list, &f.err), &f.err);
    assert_int_equal(list.n, 1);
    assert_true(list.items[0].lost);
    assert_int_equal(list.items[0].state, FSP_INSTRUCT_IN_LOG);
    assert_string_equal(list.items[0].body, "first\n");
    fsp_instruct_list_free(&list);
    fsp_buf_fini(&notes);
    stop(&f);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(without_instructions_the_answer_is_the_receipt_alone),
            cmocka_unit_test(instructions_come_behind_the_receipt_until_the_log_holds_them),
            cmocka_unit_test(what_the_rig_says_it_has_is_not_sent_again),
            cmocka_unit_test(one_answer_carries_eight_and_48_kib_at_most),
            cmocka_unit_test(entries_that_only_look_like_instructions_change_nothing),
            cmocka_unit_test(the_list_says_what_became_of_each),
            cmocka_unit_test(what_was_sent_before_the_shelf_went_back_is_known_from_the_log),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests_name("instruct", tests, NULL, NULL);
}
