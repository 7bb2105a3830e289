#include "wire/bundle.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "wire/bundle_priv.h"
#include "wire/dictionary.h"
#include "wire/seal.h"
#include "wire/terse.h"

#define MAGIC          "FSB1"
#define MAGIC_LEN      4
#define BOX_ID_LEN     8
#define FLAG_ENROLMENT 0x01u
#define FLAG_NEWEST    0x02u
#define FLAG_RENEWAL   0x04u
#define FLAG_SHORT     0x08u
#define FLAGS_KNOWN    (FLAG_ENROLMENT | FLAG_NEWEST | FLAG_RENEWAL | FLAG_SHORT)
#define BOX_CONTEXT    "farspool-box/v1\n"

struct fsp_bundle {
    struct fsp_bundle_head head;
    struct fsp_buf lines; /* the inflated entries; entry[] points into it */
    struct fsp_entry_bytes *entry;
    size_t n;
};

void
fsp_box_key_id(const uint8_t pub[32], uint8_t id[8])
{
    uint8_t hash[crypto_hash_sha256_BYTES];
    crypto_hash_sha256_state state;

    (void)crypto_hash_sha256_init(&state);
    (void)crypto_hash_sha256_update(&state, (const uint8_t *)BOX_CONTEXT, strlen(BOX_CONTEXT));
    (void)crypto_hash_sha256_update(&state, pub, 32);
    (void)crypto_hash_sha256_final(&state, hash);
    memcpy(id, hash, 8);
}

enum fsp_rc
fsp_box_key_complete(struct fsp_box_key *key, struct fsp_err *err)
{
    if (crypto_scalarmult_base(key->pub, key->secret) != 0)
        return fsp_err_set(err, FSP_EFORMAT, "this is no box key");
    fsp_box_key_id(key->pub, key->id);
    return FSP_OK;
}

enum fsp_rc
fsp_box_key_make(struct fsp_box_key *key, const struct fsp_env *env, struct fsp_err *err)
{
    env->random(env->ctx, key->secret, sizeof(key->secret));
    return fsp_box_key_complete(key, err);
}

void
fsp_box_key_wipe(struct fsp_box_key *key)
{
    sodium_memzero(key, sizeof(*key));
}

void
fsp_bundle_digest(const void *bytes, size_t len, uint8_t digest[32])
{
    (void)crypto_hash_sha256(digest, bytes, len);
}

static enum fsp_rc
new_terse(unsigned dictionary, struct fsp_terse **out, struct fsp_err *err)
{
    size_t len;
    const uint8_t *preset = fsp_dictionary(dictionary, &len);

    return fsp_terse_new(preset, len, out, err);
}

/* Every entry and an LF, in order; with a state each as a terse line. */
static enum fsp_rc
join_entries(struct fsp_buf *lines, struct fsp_terse *terse,
        const struct fsp_entry_bytes *entries, size_t n, struct fsp_err *err)
{
    size_t whole = 0;

    if (n > FSP_BUNDLE_ENTRIES)
        return fsp_err_set(err, FSP_ELIMIT, "%zu entries; one bundle takes at most %zu", n,
                FSP_BUNDLE_ENTRIES);
    for (size_t i = 0; i < n; i++) {
        if (entries[i].len == 0 || entries[i].len > FSP_ENTRY_MAX ||
                memchr(entries[i].bytes, '\n', entries[i].len) != NULL)
            return fsp_err_set(err, FSP_EINVAL,
                    "entry %zu of the bundle is empty, too long or has a line break", i);
        whole += entries[i].len + 1;
        if (whole > FSP_BUNDLE_INFLATED)
            return fsp_err_set(err, FSP_ELIMIT, "the bundle's entries have over %zu bytes",
                    FSP_BUNDLE_INFLATED);
        if (terse != NULL) {
            fsp_terse_write(terse, entries[i].bytes, entries[i].len, lines);
            continue;
        }
        fsp_buf_add(lines, entries[i].bytes, entries[i].len);
        fsp_buf_add_byte(lines, '\n');
    }
    return fsp_buf_check(lines, "the bundle's entries", err);
}

static enum fsp_rc
deflate_entries(struct fsp_buf *out, unsigned dictionary, const struct fsp_entry_bytes *entries,
        size_t n, struct fsp_err *err)
{
    struct fsp_terse *terse = NULL;
    struct fsp_buf lines;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&lines, FSP_TERSE_MAX);
    if (dictionary >= FSP_DICTIONARY_TERSE)
        rc = new_terse(dictionary, &terse, err);
    if (rc == FSP_OK)
        rc = join_entries(&lines, terse, entries, n, err);
    if (rc == FSP_OK)
        rc = fsp_deflate(
                out, dictionary, (const uint8_t *)fsp_buf_peek(&lines), lines.len, err);
    fsp_terse_free(terse);
    fsp_buf_fini(&lines);
    return rc;
}

enum fsp_rc
fsp_bundle_payload_size(unsigned dictionary, const struct fsp_entry_bytes *entries, size_t n,
        size_t *out, struct fsp_err *err)
{
    struct fsp_buf deflated;
    enum fsp_rc rc;

    fsp_buf_init(&deflated, 2 * FSP_BUNDLE_INFLATED);
    rc = deflate_entries(&deflated, dictionary, entries, n, err);
    *out = deflated.len;
    fsp_buf_fini(&deflated);
    return rc;
}

static unsigned
dictionary_of(const struct fsp_bundle_head *head)
{
    return head->dictionary == 0 ? FSP_DICTIONARY_FIRST : head->dictionary;
}

static void
write_header(struct fsp_buf *inner, const struct fsp_bundle_head *head)
{
    size_t origin_len = strlen(head->head.origin);

    fsp_buf_add_byte(inner, (uint8_t)dictionary_of(head));
    fsp_buf_add_byte(inner, (uint8_t)((head->enrolment ? FLAG_ENROLMENT : 0u) |
                                      (head->has_newest ? FLAG_NEWEST : 0u) |
                                      (head->renewal ? FLAG_RENEWAL : 0u) |
                                      (head->short_receipt ? FLAG_SHORT : 0u)));
    fsp_buf_add_varint(inner, origin_len);
    fsp_buf_add(inner, head->head.origin, origin_len);
    fsp_buf_add_varint(inner, head->old_size);
    fsp_buf_add_varint(inner, head->head.size);
    fsp_buf_add(inner, head->head.root, FSP_HASH_LEN);
    fsp_buf_add(inner, head->sig, FSP_SIG_LEN);
    if (head->enrolment) {
        fsp_buf_add(inner, head->rig_pub, sizeof(head->rig_pub));
        fsp_buf_add(inner, head->token, FSP_TOKEN_LEN);
    }
    if (head->has_newest)
        fsp_buf_add(inner, head->newest, sizeof(head->newest));
    if (head->renewal)
        fsp_buf_add(inner, head->rig_pub, sizeof(head->rig_pub));
}

enum fsp_rc
fsp_bundle_seal(struct fsp_buf *out, const struct fsp_bundle_head *head,
        const struct fsp_entry_bytes *entries, size_t n, const uint8_t box_pub[32],
        struct fsp_err *err)
{
    struct fsp_buf inner;
    uint8_t id[8];
    enum fsp_rc rc;

    if (head->head.size < head->old_size || head->head.size - head->old_size != n)
        return fsp_err_set(err, FSP_EINVAL, "a bundle from %llu to %llu with %zu entries",
                (unsigned long long)head->old_size, (unsigned long long)head->head.size, n);
    if (head->enrolment && head->renewal)
        return fsp_err_set(err, FSP_EINVAL, "a bundle enrols by a token or by its renewal");
    fsp_buf_init(&inner, 2 * FSP_BUNDLE_INFLATED); /* deflate asks for room ahead */
    write_header(&inner, head);
    rc = fsp_buf_check(&inner, "a bundle", err);
    if (rc == FSP_OK)
        rc = deflate_entries(&inner, dictionary_of(head), entries, n, err);
    if (rc == FSP_OK && inner.len + FSP_SEAL_OVERHEAD + FSP_BUNDLE_OUTER_LEN > FSP_BUNDLE_MAX)
        rc = fsp_err_set(err, FSP_ELIMIT, "the bundle has %zu bytes; at most %zu are allowed",
                inner.len + FSP_SEAL_OVERHEAD + FSP_BUNDLE_OUTER_LEN, FSP_BUNDLE_MAX);
    if (rc == FSP_OK) {
        fsp_box_key_id(box_pub, id);
        fsp_buf_add(out, MAGIC, MAGIC_LEN);
        fsp_buf_add_u32le(out, (uint32_t)(sizeof(id) + inner.len + FSP_SEAL_OVERHEAD));
        fsp_buf_add(out, id, sizeof(id));
        rc = fsp_seal(out, inner.data, inner.len, box_pub, err);
    }
    fsp_buf_fini(&inner);
    return rc;
}

enum fsp_rc
fsp_bundle_length(const uint8_t *bytes, size_t len, size_t *whole, struct fsp_err *err)
{
    struct fsp_cursor cursor = {bytes, len, 0};
    const uint8_t *magic = NULL;
    uint32_t rest = 0;

    *whole = 0;
    if (fsp_cursor_bytes(&cursor, &magic, MAGIC_LEN) != FSP_OK ||
            fsp_cursor_u32le(&cursor, &rest) != FSP_OK)
        return fsp_err_set(
                err, FSP_EFORMAT, "the bundle was cut short: %zu bytes are left", len);
    if (memcmp(magic, MAGIC, MAGIC_LEN) != 0)
        return fsp_err_set(
                err, FSP_EFORMAT, "this is no Farspool bundle (it begins otherwise)");
    if (rest > FSP_BUNDLE_MAX - cursor.pos)
        return fsp_err_set(err, FSP_ELIMIT,
                "the bundle says it has %zu bytes; at most %zu are allowed",
                (size_t)rest + cursor.pos, FSP_BUNDLE_MAX);
    if (rest < BOX_ID_LEN + FSP_SEAL_OVERHEAD)
        return fsp_err_set(err, FSP_EFORMAT,
                "the bundle says it has %zu bytes: too few to hold anything",
                (size_t)rest + cursor.pos);
    if (rest > len - cursor.pos)
        return fsp_err_set(err, FSP_EFORMAT,
                "the bundle was cut short: %zu of %zu bytes are there", len,
                (size_t)rest + cursor.pos);
    *whole = cursor.pos + rest;
    return FSP_OK;
}

static enum fsp_rc
cut_short(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_EFORMAT, "the bundle's header is cut short");
}

static enum fsp_rc
read_array(struct fsp_cursor *cursor, uint8_t *out, size_t len)
{
    const uint8_t *bytes = NULL;
    enum fsp_rc rc = fsp_cursor_bytes(cursor, &bytes, len);

    if (rc == FSP_OK)
        memcpy(out, bytes, len);
    return rc;
}

static enum fsp_rc
read_origin(struct fsp_cursor *cursor, struct fsp_bundle_head *head, struct fsp_err *err)
{
    const uint8_t *bytes = NULL;
    uint64_t len = 0;

    if (fsp_cursor_varint(cursor, &len) != FSP_OK)
        return cut_short(err);
    if (len == 0 || len > FSP_ORIGIN_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "the origin has %llu bytes; 1 to %zu are allowed",
                (unsigned long long)len, FSP_ORIGIN_MAX);
    if (fsp_cursor_bytes(cursor, &bytes, (size_t)len) != FSP_OK)
        return cut_short(err);
    if (!fsp_key_name_ok((const char *)bytes, (size_t)len))
        return fsp_err_set(err, FSP_EFORMAT, "the origin is no key name");
    memcpy(head->head.origin, bytes, (size_t)len);
    head->head.origin[len] = '\0';
    return FSP_OK;
}

static enum fsp_rc
read_header(struct fsp_cursor *cursor, struct fsp_bundle_head *head, struct fsp_err *err)
{
    uint8_t flags = 0;
    enum fsp_rc rc;

    if (fsp_cursor_u8(cursor, &head->dictionary) != FSP_OK ||
            fsp_cursor_u8(cursor, &flags) != FSP_OK)
        return cut_short(err);
    if ((flags & ~FLAGS_KNOWN) != 0 ||
            (flags & (FLAG_ENROLMENT | FLAG_RENEWAL)) == (FLAG_ENROLMENT | FLAG_RENEWAL))
        return fsp_err_set(err, FSP_EFORMAT,
                "the bundle carries flags (%02x) that this program does not know", flags);
    rc = read_origin(cursor, head, err);
    if (rc != FSP_OK)
        return rc;
    if (fsp_cursor_varint(cursor, &head->old_size) != FSP_OK ||
            fsp_cursor_varint(cursor, &head->head.size) != FSP_OK ||
            read_array(cursor, head->head.root, FSP_HASH_LEN) != FSP_OK ||
            read_array(cursor, head->sig, FSP_SIG_LEN) != FSP_OK)
        return cut_short(err);
    head->enrolment = (flags & FLAG_ENROLMENT) != 0;
    if (head->enrolment &&
            (read_array(cursor, head->rig_pub, sizeof(head->rig_pub)) != FSP_OK ||
                    read_array(cursor, head->token, FSP_TOKEN_LEN) != FSP_OK))
        return cut_short(err);
    head->has_newest = (flags & FLAG_NEWEST) != 0;
    if (head->has_newest && read_array(cursor, head->newest, sizeof(head->newest)) != FSP_OK)
        return cut_short(err);
    head->short_receipt = (flags & FLAG_SHORT) != 0;
    head->renewal = (flags & FLAG_RENEWAL) != 0;
    if (head->renewal && read_array(cursor, head->rig_pub, sizeof(head->rig_pub)) != FSP_OK)
        return cut_short(err);
    if (head->head.size > INT64_MAX || head->old_size > head->head.size ||
            head->head.size - head->old_size > FSP_BUNDLE_ENTRIES)
        return fsp_err_set(err, FSP_ELIMIT, "the bundle says it goes from %llu to %llu",
                (unsigned long long)head->old_size, (unsigned long long)head->head.size);
    return FSP_OK;
}

/* Cut the inflated lines into exactly n entries. */
static enum fsp_rc
split_lines(struct fsp_bundle *bundle, size_t n, struct fsp_err *err)
{
    const uint8_t *next = bundle->lines.data;
    size_t left = bundle->lines.len;

    bundle->entry = fsp_mem_array(n, sizeof(*bundle->entry));
    if (bundle->entry == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory for %zu entries", n);
    while (left > 0) {
        const uint8_t *end = memchr(next, '\n', left);
        size_t len = end == NULL ? 0 : (size_t)(end - next);

        if (end == NULL || len == 0 || len > FSP_ENTRY_MAX || bundle->n == n)
            return fsp_err_set(err, FSP_EFORMAT,
                    "the entries do not match the header (%zu are announced)", n);
        bundle->entry[bundle->n].bytes = next;
        bundle->entry[bundle->n].len = len;
        bundle->n++;
        next = end + 1;
        left -= len + 1;
    }
    if (bundle->n != n)
        return fsp_err_set(err, FSP_EFORMAT, "the bundle holds %zu entries, %zu are announced",
                bundle->n, n);
    return FSP_OK;
}

/* Terse lines as the entries that they stand for, no more than the header announces. */
static enum fsp_rc
expand(struct fsp_bundle *bundle, const struct fsp_buf *terse_lines, size_t n,
        struct fsp_err *err)
{
    const uint8_t *next = terse_lines->data;
    size_t left = terse_lines->len;
    struct fsp_terse *terse = NULL;
    enum fsp_rc rc = new_terse(bundle->head.dictionary, &terse, err);

    while (rc == FSP_OK && left > 0) {
        const uint8_t *end = memchr(next, '\n', left);

        if (end == NULL || n-- == 0) {
            rc = fsp_err_set(err, FSP_EFORMAT, "the entries do not match the header");
            break;
        }
        rc = fsp_terse_read(terse, next, (size_t)(end - next), &bundle->lines, err);
        left -= (size_t)(end - next) + 1;
        next = end + 1;
    }
    fsp_terse_free(terse);
    return rc;
}

static enum fsp_rc
inflate_entries(struct fsp_bundle *bundle, const uint8_t *bytes, size_t len, size_t n,
        struct fsp_err *err)
{
    unsigned dictionary = bundle->head.dictionary;
    struct fsp_buf terse;
    enum fsp_rc rc;

    if (dictionary < FSP_DICTIONARY_TERSE)
        return fsp_inflate(&bundle->lines, dictionary, bytes, len, err);
    fsp_buf_init(&terse, FSP_TERSE_MAX);
    rc = fsp_inflate(&terse, dictionary, bytes, len, err);
    if (rc == FSP_OK)
        rc = expand(bundle, &terse, n, err);
    fsp_buf_fini(&terse);
    return rc;
}

enum fsp_rc
fsp_bundle_parse_inner(
        const uint8_t *bytes, size_t len, struct fsp_bundle **out, struct fsp_err *err)
{
    struct fsp_cursor cursor = {bytes, len, 0};
    struct fsp_bundle *bundle = calloc(1, sizeof(*bundle));
    size_t n = 0;
    enum fsp_rc rc;

    *out = NULL;
    if (bundle == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory for a bundle");
    fsp_buf_init(&bundle->lines, FSP_BUNDLE_INFLATED);
    rc = read_header(&cursor, &bundle->head, err);
    n = (size_t)(bundle->head.head.size - bundle->head.old_size);
    if (rc == FSP_OK)
        rc = inflate_entries(bundle, bytes + cursor.pos, len - cursor.pos, n, err);
    if (rc == FSP_OK)
        rc = split_lines(bundle, n, err);
    if (rc == FSP_OK) {
        *out = bundle;
        bundle = NULL;
    }
    fsp_bundle_free(bundle);
    return rc;
}

static const struct fsp_box_key *
find_key(const struct fsp_box_key *keys, size_t n, const uint8_t *id)
{
    for (size_t i = 0; i < n; i++)
        if (memcmp(keys[i].id, id, sizeof(keys[i].id)) == 0)
            return &keys[i];
    return NULL;
}

enum fsp_rc
fsp_bundle_open(const uint8_t *bytes, size_t len, const struct fsp_box_key *keys, size_t n_keys,
        struct fsp_bundle **out, struct fsp_err *err)
{
    const struct fsp_box_key *key;
    struct fsp_buf inner;
    size_t whole = 0;
    enum fsp_rc rc = fsp_bundle_length(bytes, len, &whole, err);

    *out = NULL;
    if (rc != FSP_OK)
        return rc;
    if (whole != len)
        return fsp_err_set(err, FSP_EFORMAT, "%zu bytes follow the bundle", len - whole);
    key = find_key(keys, n_keys, bytes + MAGIC_LEN + 4);
    if (key == NULL)
        return fsp_err_set(err, FSP_ENOTFOUND,
                "the bundle is sealed for another office's key: send it to the office that "
                "made "
                "the rig's invitation");
    fsp_buf_init(&inner, FSP_BUNDLE_MAX);
    rc = fsp_unseal(&inner, bytes + FSP_BUNDLE_OUTER_LEN, len - FSP_BUNDLE_OUTER_LEN, key->pub,
            key->secret, err);
    if (rc == FSP_OK)
        rc = fsp_bundle_parse_inner((const uint8_t *)fsp_buf_peek(&inner), inner.len, out, err);
    fsp_buf_fini(&inner);
    return rc;
}

void
fsp_bundle_free(struct fsp_bundle *bundle)
{
    if (bundle == NULL)
        return;
    fsp_buf_fini(&bundle->lines);
    free(bundle->entry);
    free(bundle);
}

const struct fsp_bundle_head *
fsp_bundle_peek_head(const struct fsp_bundle *bundle)
{
    return &bundle->head;
}

const struct fsp_entry_bytes *
fsp_bundle_peek_entries(const struct fsp_bundle *bundle, size_t *n)
{
    *n = bundle->n;
    return bundle->entry;
}
