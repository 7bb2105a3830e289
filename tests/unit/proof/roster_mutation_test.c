#include "support/test.h"

#include <string.h>

#include "base/text.h"
#include "proof/note.h"
#include "proof/roster.h"
#include "support/evidence.h"
#include "support/mutate.h"

#define MUTATIONS 10000

static struct fsp_skey *office;
static struct fsp_skey *ada;
static struct fsp_buf text;
static struct fsp_buf note;

static int
set_up(void **state)
{
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);

    (void)state;
    if (fsp_skey_new(&office, "lantern-basin/instructions", FSP_KEY_NOTE, &env, NULL) !=
                    FSP_OK ||
            fsp_skey_new(&ada, "lantern-basin/signer:ada", FSP_KEY_NOTE, &env, NULL) != FSP_OK)
        return -1;
    fsp_buf_init(&text, FSP_ROSTER_TEXT_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_buf_add_text(&text, "farspool-roster/v1\nfleet lantern-basin\nversion 12\n"
                            "made 2026-04-15T12:30:00Z\nsigner ");
    fsp_vkey_write(fsp_skey_vkey(ada), &text);
    fsp_buf_add_text(&text, " 2026-03-01 2026-03-31 inspect revoked 2026-03-20T06:00:00Z\n");
    return fsp_note_sign(&note, text.data, text.len, office, NULL) == FSP_OK ? 0 : -1;
}

static int
tear_down(void **state)
{
    (void)state;
    fsp_skey_free(office);
    fsp_skey_free(ada);
    fsp_buf_fini(&text);
    fsp_buf_fini(&note);
    return 0;
}

/* A list that was taken without its signature is one that would be written the same. */
static void
assert_written_the_same(const struct fsp_roster *roster, const struct fsp_buf *given, size_t i)
{
    struct fsp_buf again;

    fsp_buf_init(&again, FSP_ROSTER_TEXT_MAX);
    fsp_roster_write(roster, &again);
    if (again.len != given->len || memcmp(again.data, given->data, given->len) != 0)
        fail_msg("mutation %zu is read and written as another: %s", i, fsp_buf_peek(&again));
    fsp_buf_fini(&again);
}

static void
ten_thousand_mutated_texts_are_refused_or_read_as_they_stand(void **state)
{
    struct seeded seeded = {.state = 51};
    struct fsp_buf other;
    struct fsp_buf spare;
    size_t taken = 0;

    (void)state;
    fsp_buf_init(&other, 2 * FSP_NOTE_MAX);
    fsp_buf_init(&spare, 2 * FSP_NOTE_MAX);
    for (size_t i = 0; i < MUTATIONS; i++) {
        struct fsp_roster *roster = NULL;
        struct fsp_err err = {.rc = FSP_OK};

        mutate(&other, &spare, &text, &seeded);
        if (fsp_roster_parse(&roster, fsp_buf_peek(&other), other.len, &err) == FSP_OK) {
            assert_written_the_same(roster, &other, i);
            taken++;
        } else {
            assert_null(roster);
            assert_true(fsp_text_printable(err.text, strlen(err.text)));
        }
        fsp_roster_free(roster);
    }
    assert_true(taken > 0 && taken < MUTATIONS / 10); /* a changed digit is a roster too */
    fsp_buf_fini(&other);
    fsp_buf_fini(&spare);
}

static void
ten_thousand_mutated_signed_rosters_say_nothing_else(void **state)
{
    struct seeded seeded = {.state = 52};
    struct fsp_buf other;
    struct fsp_buf spare;

    (void)state;
    fsp_buf_init(&other, 2 * FSP_NOTE_MAX);
    fsp_buf_init(&spare, 2 * FSP_NOTE_MAX);
    for (size_t i = 0; i < MUTATIONS; i++) {
        struct fsp_roster *roster = NULL;

        mutate(&other, &spare, &note, &seeded);
        if (fsp_roster_read(&roster, other.data, other.len, fsp_skey_vkey(office), NULL) ==
                FSP_OK)
            assert_written_the_same(roster, &text, i);
        fsp_roster_free(roster);
    }
    fsp_buf_fini(&other);
    fsp_buf_fini(&spare);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test_setup_teardown(
                    ten_thousand_mutated_texts_are_refused_or_read_as_they_stand, set_up,
                    tear_down),
            cmocka_unit_test_setup_teardown(
                    ten_thousand_mutated_signed_rosters_say_nothing_else, set_up, tear_down),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests_name("roster mutation", tests, NULL, NULL);
}
