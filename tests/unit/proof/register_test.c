#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "proof/evidence.h"
#include "proof/register.h"
#include "support/evidence.h"

#define MUTATIONS 10000
#define LOG_MAX   70
#define DASH      "\xe2\x80\x94" /* begins a signature line */

/* A log of invented records with every head signed and cosigned, from fixed seeds. */
static struct fsp_skey *log_key;
static struct fsp_skey *witness;
static struct fsp_policy *policy;
static struct fsp_buf record[LOG_MAX];
static struct fsp_range range[LOG_MAX + 1];
static struct fsp_buf head[LOG_MAX + 1];

static void
sign_head(size_t size)
{
    struct fsp_checkpoint checkpoint = {.origin = EVIDENCE_ORIGIN, .size = size};
    uint8_t line[8 + FSP_SIG_LEN];
    struct fsp_buf text;
    struct fsp_err err;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&head[size], FSP_NOTE_MAX);
    fsp_range_root(&range[size], checkpoint.root);
    fsp_checkpoint_write(&checkpoint, &text);
    assert_ok(fsp_note_sign(&head[size], text.data, text.len, log_key, &err), &err);
    assert_ok(fsp_cosign(&checkpoint, witness, EVIDENCE_TIME_S, line, &err), &err);
    fsp_note_add_line(&head[size], fsp_skey_vkey(witness), line, sizeof(line));
    fsp_buf_fini(&text);
}

static int
set_up(void **state)
{
    struct counting counting = {0};
    const struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_buf text;
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_skey_new(&log_key, EVIDENCE_ORIGIN, FSP_KEY_NOTE, &env, &err), &err);
    assert_ok(
            fsp_skey_new(&witness, "lantern-basin/office", FSP_KEY_COSIGNER, &env, &err), &err);
    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_policy_write(&text, fsp_skey_vkey(log_key), fsp_skey_vkey(witness));
    assert_ok(fsp_policy_parse(&policy, fsp_buf_peek(&text), text.len, &err), &err);
    fsp_buf_fini(&text);
    fsp_range_init(&range[0]);
    sign_head(0);
    for (size_t i = 0; i < LOG_MAX; i++) {
        fsp_buf_init(&record[i], FSP_ENTRY_MAX);
        evidence_record(&record[i], i, i % 7 == 3);
        range[i + 1] = range[i];
        fsp_range_append(&range[i + 1], record[i].data, record[i].len);
        sign_head(i + 1);
    }
    return 0;
}

static int
tear_down(void **state)
{
    (void)state;
    for (size_t i = 0; i < LOG_MAX; i++)
        fsp_buf_fini(&record[i]);
    for (size_t i = 0; i <= LOG_MAX; i++)
        fsp_buf_fini(&head[i]);
    fsp_policy_free(policy);
    fsp_skey_free(log_key);
    fsp_skey_free(witness);
    return 0;
}

static void
write_register(struct fsp_buf *buf, size_t from, size_t to, uint64_t held_back)
{
    struct fsp_register_top top = {.origin = EVIDENCE_ORIGIN,
            .range = range[from],
            .to = to,
            .from_head = from == 0 ? NULL : fsp_buf_peek(&head[from]),
            .from_head_len = from == 0 ? 0 : head[from].len,
            .to_head = fsp_buf_peek(&head[to]),
            .to_head_len = head[to].len};

    fsp_register_write_top(&top, buf);
    for (size_t i = from; i < to; i++) {
        uint8_t leaf[FSP_HASH_LEN];

        fsp_leaf_hash(record[i].data, record[i].len, leaf);
        if (((held_back >> (i % 64)) & 1) != 0)
            fsp_register_write_held_back(leaf, buf);
        else
            fsp_register_write_entry(record[i].data, record[i].len, buf);
    }
    fsp_register_write_end(buf);
    assert_int_equal(buf->rc, FSP_OK);
}

/* What a reading said; two readings that say the same have the same `said`. */
struct reading {
    struct fsp_buf said;
    size_t entries;
    size_t held_back;
    bool top_seen;
};

static enum fsp_rc
see_top(void *ctx, const struct fsp_register_top *top, struct fsp_err *err)
{
    struct reading *reading = ctx;
    static struct fsp_statement statement;
    enum fsp_rc rc = fsp_head_verify(policy, top->to_head, top->to_head_len, &statement, err);

    assert_false(reading->top_seen);
    reading->top_seen = true;
    assert_true((top->from_head == NULL) == (top->range.size == 0));
    if (rc == FSP_OK && top->from_head != NULL)
        rc = fsp_head_verify(policy, top->from_head, top->from_head_len, &statement, err);
    fsp_buf_printf(&reading->said, "%s %llu %llu\n", top->origin,
            (unsigned long long)top->range.size, (unsigned long long)top->to);
    return rc;
}

static enum fsp_rc
see_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len,
        const uint8_t leaf[FSP_HASH_LEN], struct fsp_err *err)
{
    struct reading *reading = ctx;
    uint8_t own[FSP_HASH_LEN];

    (void)err;
    reading->entries++;
    if (bytes == NULL) {
        reading->held_back++;
    } else {
        fsp_leaf_hash(bytes, len, own);
        assert_memory_equal(own, leaf, FSP_HASH_LEN);
    }
    fsp_buf_add_u64be(&reading->said, index);
    fsp_buf_add(&reading->said, leaf, FSP_HASH_LEN);
    return FSP_OK;
}

/* piece 0: all at once; else pieces of up to that many bytes, from the seed. */
static enum fsp_rc
read_register(struct reading *reading, const void *bytes, size_t len, size_t piece,
        struct fsp_err *err)
{
    struct fsp_register_hooks hooks = {.top = see_top, .entry = see_entry, .ctx = reading};
    struct seeded seeded = {.state = piece + 1};
    struct fsp_register *reg = NULL;
    uint64_t held_back = 0;
    size_t pos = 0;
    enum fsp_rc rc;

    fsp_buf_reset(&reading->said);
    reading->entries = 0;
    reading->held_back = 0;
    reading->top_seen = false;
    rc = fsp_register_new(&reg, &hooks, err);
    while (rc == FSP_OK && pos < len) {
        size_t n = piece == 0 ? len : 1 + (size_t)(evidence_random(&seeded) % piece);

        n = n < len - pos ? n : len - pos;
        rc = fsp_register_feed(reg, (const char *)bytes + pos, n, err);
        pos += n;
    }
    if (rc == FSP_OK)
        rc = fsp_register_finish(reg, &held_back, err);
    else if (reg != NULL)
        assert_int_equal(fsp_register_finish(reg, NULL, NULL), rc);
    if (rc == FSP_OK)
        assert_int_equal(held_back, reading->held_back);
    fsp_register_free(reg);
    return rc;
}

static void
reading_init(struct reading *reading)
{
    memset(reading, 0, sizeof(*reading));
    fsp_buf_init(&reading->said, (size_t)1 << 20);
}

static void
every_range_of_a_log_is_read_as_it_was_written_whatever_the_pieces(void **state)
{
    struct seeded seeded = {.state = 77};
    struct reading reading;
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    reading_init(&reading);
    fsp_buf_init(&buf, (size_t)1 << 20);
    for (size_t i = 0; i < 400; i++) {
        const size_t to = (size_t)(evidence_random(&seeded) % (LOG_MAX + 1));
        const size_t from = (size_t)(evidence_random(&seeded) % (to + 1));
        const uint64_t held_back = i % 3 == 0 ? 0 : evidence_random(&seeded);
        const size_t piece = i % 4 == 0 ? 0 : (size_t)(evidence_random(&seeded) % 200) + 1;

        fsp_buf_reset(&buf);
        write_register(&buf, from, to, held_back);
        assert_ok(read_register(&reading, buf.data, buf.len, piece, &err), &err);
        assert_true(reading.top_seen);
        assert_int_equal(reading.entries, to - from);
        if (held_back == 0)
            assert_int_equal(reading.held_back, 0);
    }
    fsp_buf_fini(&buf);
    fsp_buf_fini(&reading.said);
}

static void
every_flipped_bit_is_refused_or_says_the_same(void **state)
{
    struct reading whole;
    struct reading other;
    struct fsp_buf buf;
    struct fsp_err err;
    size_t same = 0;

    (void)state;
    reading_init(&whole);
    reading_init(&other);
    fsp_buf_init(&buf, (size_t)1 << 20);
    write_register(&buf, 2, 5, 1u << 3);
    assert_ok(read_register(&whole, buf.data, buf.len, 0, &err), &err);
    for (size_t i = 0; i < buf.len * 8; i++) {
        buf.data[i / 8] ^= (uint8_t)(1u << (i % 8));
        if (read_register(&other, buf.data, buf.len, 0, &err) == FSP_OK) {
            same++;
            if (other.said.len != whole.said.len ||
                    memcmp(other.said.data, whole.said.data, whole.said.len) != 0)
                fail_msg("bit %zu of byte %zu proves something else", i % 8, i / 8);
        } else {
            assert_true(err.text[0] != '\0');
        }
        buf.data[i / 8] ^= (uint8_t)(1u << (i % 8));
    }
    /* No byte is without meaning: not a single flipped bit may pass. */
    assert_int_equal(same, 0);
    fsp_buf_fini(&buf);
    fsp_buf_fini(&whole.said);
    fsp_buf_fini(&other.said);
}

static void
every_truncation_is_refused(void **state)
{
    struct reading reading;
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    reading_init(&reading);
    fsp_buf_init(&buf, (size_t)1 << 20);
    write_register(&buf, 2, 5, 1u << 3);
    for (size_t len = 0; len < buf.len; len++)
        if (read_register(&reading, buf.data, len, len % 2 == 0 ? 0 : 31, &err) == FSP_OK)
            fail_msg("a register cut to %zu of %zu bytes is accepted", len, buf.len);
    assert_ok(read_register(&reading, buf.data, buf.len, 0, &err), &err);
    fsp_buf_add_byte(&buf, '\n');
    assert_int_equal(read_register(&reading, buf.data, buf.len, 0, &err), FSP_EFORMAT);
    fsp_buf_fini(&buf);
    fsp_buf_fini(&reading.said);
}

/* The n-th line (from 0), with its LF. */
static const char *
line_at(const struct fsp_buf *buf, size_t n, size_t *len)
{
    const char *pos = fsp_buf_peek(buf);

    for (; n > 0; n--)
        pos = strchr(pos, '\n') + 1;
    *len = (size_t)(strchr(pos, '\n') - pos) + 1;
    return pos;
}

static size_t
count_lines(const struct fsp_buf *buf)
{
    size_t n = 0;

    for (size_t i = 0; i < buf->len; i++)
        n += buf->data[i] == '\n' ? 1 : 0;
    return n;
}

static void
a_line_dropped_doubled_or_swapped_with_another_is_refused(void **state)
{
    struct reading reading;
    struct fsp_buf buf;
    struct fsp_buf other;
    struct fsp_err err;
    size_t lines;

    (void)state;
    reading_init(&reading);
    fsp_buf_init(&buf, (size_t)1 << 20);
    fsp_buf_init(&other, (size_t)1 << 20);
    write_register(&buf, 3, 9, 1u << 5);
    lines = count_lines(&buf);
    for (size_t i = 0; i < lines; i++) {
        size_t len = 0;
        const char *line = line_at(&buf, i, &len);
        const size_t at = (size_t)(line - fsp_buf_peek(&buf));

        fsp_buf_reset(&other);
        fsp_buf_add(&other, buf.data, at);
        fsp_buf_add(&other, buf.data + at + len, buf.len - at - len);
        if (read_register(&reading, other.data, other.len, 0, &err) == FSP_OK)
            fail_msg("line %zu dropped: accepted", i + 1);
        fsp_buf_reset(&other);
        fsp_buf_add(&other, buf.data, at + len);
        fsp_buf_add(&other, buf.data + at, buf.len - at);
        if (read_register(&reading, other.data, other.len, 0, &err) == FSP_OK)
            fail_msg("line %zu doubled: accepted", i + 1);
        for (size_t j = i + 1; j < lines; j++) {
            size_t second_len = 0;
            const char *second = line_at(&buf, j, &second_len);

            if (second_len == len && memcmp(line, second, len) == 0)
                continue; /* the same line, as the empty ones of two heads */
            if (memcmp(line, DASH, strlen(DASH)) == 0 &&
                    memcmp(second, DASH, strlen(DASH)) == 0)
                continue; /* signature lines of one head: their order says nothing */
            fsp_buf_reset(&other);
            fsp_buf_add(&other, buf.data, at);
            fsp_buf_add(&other, second, second_len);
            fsp_buf_add(&other, line + len, (size_t)(second - line) - len);
            fsp_buf_add(&other, line, len);
            fsp_buf_add(&other, second + second_len,
                    buf.len - (size_t)(second - fsp_buf_peek(&buf)) - second_len);
            assert_int_equal(other.len, buf.len);
            if (read_register(&reading, other.data, other.len, 0, &err) == FSP_OK)
                fail_msg("lines %zu and %zu swapped: accepted", i + 1, j + 1);
        }
    }
    fsp_buf_fini(&other);
    fsp_buf_fini(&buf);
    fsp_buf_fini(&reading.said);
}

static void
an_entry_given_as_its_leaf_is_counted_as_held_back_and_changes_nothing_else(void **state)
{
    struct reading whole;
    struct reading held;
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    reading_init(&whole);
    reading_init(&held);
    fsp_buf_init(&buf, (size_t)1 << 20);
    write_register(&buf, 0, 9, 0);
    assert_ok(read_register(&whole, buf.data, buf.len, 0, &err), &err);
    fsp_buf_reset(&buf);
    write_register(&buf, 0, 9, UINT64_MAX);
    assert_ok(read_register(&held, buf.data, buf.len, 0, &err), &err);
    assert_int_equal(held.held_back, 9);
    assert_int_equal(whole.said.len, held.said.len);
    assert_memory_equal(whole.said.data, held.said.data, held.said.len);
    fsp_buf_fini(&buf);
    fsp_buf_fini(&whole.said);
    fsp_buf_fini(&held.said);
}

static void
refused(const char *text, enum fsp_rc want, const char *says)
{
    struct reading reading;
    struct fsp_err err;
    enum fsp_rc rc;

    reading_init(&reading);
    rc = read_register(&reading, text, strlen(text), 0, &err);
    if (rc != want || strstr(err.text, says) == NULL)
        fail_msg("%s\ngave %d: %s\nnot: %s", text, (int)rc, err.text, says);
    fsp_buf_fini(&reading.said);
}

#define TOP "farspool-register/v1\norigin a\n"

static void
a_top_that_is_no_register_is_refused_with_its_line(void **state)
{
    (void)state;
    refused("", FSP_EFORMAT, "before its \"end\"");
    refused("farspool-register/v2\n", FSP_EFORMAT, "first line");
    refused("farspool-register/v1\norigin \n", FSP_EFORMAT, "line 2");
    refused("farspool-register/v1\norigin a\x1b[2J\n", FSP_EFORMAT, "line 2");
    refused(TOP "from\n", FSP_EFORMAT, "line 3");
    refused(TOP "from 01\n", FSP_EFORMAT, "line 3");
    refused(TOP "from -1\n", FSP_EFORMAT, "line 3");
    refused(TOP "from 18446744073709551616\n", FSP_EFORMAT, "line 3");
    refused(TOP "from 0\nrange AAAAAAAAAAA=\n", FSP_EFORMAT, "line 4: expected \"to ");
    refused(TOP "from 1\nto 2\n", FSP_EFORMAT, "line 4: expected \"range\"");
    refused(TOP "from 1\nrange AAAAAAAAAAA=\n", FSP_EFORMAT, "line 4: not the compact range");
    refused(TOP "from 1\nrange !\n", FSP_EFORMAT, "line 4: not the compact range");
    refused(TOP "from 0\nto 0\nhead 0\n", FSP_ELIMIT, "line 5");
    refused(TOP "from 0\nto 0\nhead 65537\n", FSP_ELIMIT, "line 5");
    refused(TOP "from 0\nto 0\nhead 6\nnonote\nend\n", FSP_EFORMAT, "the head of 0");
}

static void
heads_of_another_log_size_or_root_are_refused(void **state)
{
    struct fsp_register_top top = {.origin = EVIDENCE_ORIGIN,
            .range = range[2],
            .to = 4,
            .from_head = fsp_buf_peek(&head[2]),
            .from_head_len = head[2].len,
            .to_head = fsp_buf_peek(&head[4]),
            .to_head_len = head[4].len};
    struct reading reading;
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    reading_init(&reading);
    fsp_buf_init(&buf, (size_t)1 << 20);
    (void)snprintf(top.origin, sizeof(top.origin), "lantern-basin/plover/0011223344556677");
    fsp_register_write_top(&top, &buf);
    assert_int_equal(read_register(&reading, buf.data, buf.len, 0, &err), FSP_EVERIFY);
    assert_non_null(strstr(err.text, "another log"));

    (void)snprintf(top.origin, sizeof(top.origin), "%s", EVIDENCE_ORIGIN);
    top.to_head = fsp_buf_peek(&head[5]);
    top.to_head_len = head[5].len;
    fsp_buf_reset(&buf);
    fsp_register_write_top(&top, &buf);
    assert_int_equal(read_register(&reading, buf.data, buf.len, 0, &err), FSP_EVERIFY);
    assert_non_null(strstr(err.text, "is of 5 entries"));

    top.to_head = fsp_buf_peek(&head[4]);
    top.to_head_len = head[4].len;
    top.range.root[0][7] ^= 1u;
    fsp_buf_reset(&buf);
    fsp_register_write_top(&top, &buf);
    assert_int_equal(read_register(&reading, buf.data, buf.len, 0, &err), FSP_EVERIFY);
    assert_non_null(strstr(err.text, "range of the first 2"));
    fsp_buf_fini(&buf);
    fsp_buf_fini(&reading.said);
}

static void
a_line_over_the_limit_is_refused_before_it_is_kept(void **state)
{
    struct reading reading;
    struct fsp_buf buf;
    struct fsp_err err;
    char *longest = fsp_mem_array(FSP_ENTRY_MAX + 2, 1);

    (void)state;
    assert_non_null(longest);
    reading_init(&reading);
    fsp_buf_init(&buf, (size_t)1 << 20);
    memset(longest, 'x', FSP_ENTRY_MAX + 1);
    write_register(&buf, 0, 1, 0);
    buf.len = (size_t)(strstr(fsp_buf_peek(&buf), "entry ") - fsp_buf_peek(&buf));
    fsp_register_write_entry(longest, FSP_ENTRY_MAX + 1, &buf);
    assert_int_equal(read_register(&reading, buf.data, buf.len, 0, &err), FSP_ELIMIT);
    assert_int_equal(read_register(&reading, buf.data, buf.len, 900, &err), FSP_ELIMIT);
    assert_int_equal(reading.entries, 0);
    buf.len = (size_t)(strstr(fsp_buf_peek(&buf), "entry ") - fsp_buf_peek(&buf));
    fsp_register_write_entry(longest, FSP_ENTRY_MAX, &buf);
    fsp_register_write_end(&buf);
    assert_int_equal(read_register(&reading, buf.data, buf.len, 900, &err), FSP_EVERIFY);
    assert_int_equal(reading.entries, 1);
    free(longest);
    fsp_buf_fini(&buf);
    fsp_buf_fini(&reading.said);
}

/* One to three pieces changed, left out or copied elsewhere. */
static void
mutate(struct fsp_buf *out, const struct fsp_buf *in, struct seeded *seeded)
{
    fsp_buf_reset(out);
    fsp_buf_add(out, in->data, in->len);
    for (size_t more = 1 + evidence_random(seeded) % 3; more > 0 && out->len > 1; more--) {
        const size_t at = (size_t)(evidence_random(seeded) % out->len);
        const size_t to = (size_t)(evidence_random(seeded) % out->len);
        size_t n = (size_t)(evidence_random(seeded) % 120);

        n = n < out->len - (at > to ? at : to) ? n : out->len - (at > to ? at : to);
        switch (evidence_random(seeded) % 3) {
        case 0:
            out->data[at] ^= (uint8_t)(1u << (evidence_random(seeded) % 8));
            break;
        case 1:
            memmove(out->data + at, out->data + at + n, out->len - at - n);
            out->len -= n;
            break;
        default:
            memmove(out->data + at, out->data + to, n);
            break;
        }
    }
}

static void
ten_thousand_mutated_registers_say_nothing_else(void **state)
{
    struct seeded seeded = {.state = 44};
    struct reading whole;
    struct reading other;
    struct fsp_buf buf;
    struct fsp_buf changed;
    struct fsp_err err;

    (void)state;
    reading_init(&whole);
    reading_init(&other);
    fsp_buf_init(&buf, (size_t)1 << 20);
    fsp_buf_init(&changed, (size_t)1 << 20);
    write_register(&buf, 5, 12, 0x900);
    assert_ok(read_register(&whole, buf.data, buf.len, 0, &err), &err);
    for (size_t i = 0; i < MUTATIONS; i++) {
        mutate(&changed, &buf, &seeded);
        if (read_register(&other, changed.data, changed.len, i % 2 * 50, &err) != FSP_OK)
            continue;
        if (other.said.len != whole.said.len ||
                memcmp(other.said.data, whole.said.data, whole.said.len) != 0)
            fail_msg("mutation %zu proves something else", i);
    }
    fsp_buf_fini(&changed);
    fsp_buf_fini(&buf);
    fsp_buf_fini(&whole.said);
    fsp_buf_fini(&other.said);
}

static enum fsp_rc
stop_here(void *ctx, uint64_t index, const uint8_t *bytes, size_t len,
        const uint8_t leaf[FSP_HASH_LEN], struct fsp_err *err)
{
    (void)ctx;
    (void)bytes;
    (void)len;
    (void)leaf;
    return index == 4 ? fsp_err_set(err, FSP_EBUSY, "enough") : FSP_OK;
}

static void
a_hook_that_fails_ends_the_reading_with_its_error_for_good(void **state)
{
    const struct fsp_register_hooks hooks = {.entry = stop_here};
    struct fsp_register *reg = NULL;
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&buf, (size_t)1 << 20);
    write_register(&buf, 2, 9, 0);
    assert_ok(fsp_register_new(&reg, &hooks, &err), &err);
    assert_int_equal(fsp_register_feed(reg, buf.data, buf.len, &err), FSP_EBUSY);
    assert_string_equal(err.text, "enough");
    assert_int_equal(fsp_register_feed(reg, "end\n", 4, &err), FSP_EBUSY);
    assert_int_equal(fsp_register_finish(reg, NULL, &err), FSP_EBUSY);
    fsp_register_free(reg);
    fsp_register_free(NULL);
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(
                    every_range_of_a_log_is_read_as_it_was_written_whatever_the_pieces),
            cmocka_unit_test(every_flipped_bit_is_refused_or_says_the_same),
            cmocka_unit_test(every_truncation_is_refused),
            cmocka_unit_test(a_line_dropped_doubled_or_swapped_with_another_is_refused),
            cmocka_unit_test(
                    an_entry_given_as_its_leaf_is_counted_as_held_back_and_changes_nothing_else),
            cmocka_unit_test(a_top_that_is_no_register_is_refused_with_its_line),
            cmocka_unit_test(heads_of_another_log_size_or_root_are_refused),
            cmocka_unit_test(a_line_over_the_limit_is_refused_before_it_is_kept),
            cmocka_unit_test(ten_thousand_mutated_registers_say_nothing_else),
            cmocka_unit_test(a_hook_that_fails_ends_the_reading_with_its_error_for_good),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
