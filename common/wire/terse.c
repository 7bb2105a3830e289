#include "wire/terse.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "wire/terse_priv.h"

/* The format's own figures: docs/formats.md, section 23. */
#define FORMS     224
#define MEMBERS   48
#define NAME      31
#define LITERAL   0x01 /* a line that is the entry itself */
#define FORM_BASE 0x20 /* the first form's byte */
#define MARKS_END 0x06

/* Places for values grow from these on, up to the members of every form; the buckets never fill. */
#define KEYS_FIRST ((size_t)512)
#define BUCKETS    ((size_t)16384)

/* An entry's members, as they stand. */
struct member {
    const char *name;
    uint8_t name_len;
    bool quoted;
    struct terse_text value;
};
struct members {
    size_t n;
    struct member member[MEMBERS];
    struct terse_text kind; /* "" when there is none */
    struct terse_text op;
};

struct sort {
    char kind[NAME];
    char op[NAME];
    uint8_t kind_len;
    uint8_t op_len;
};

/* One member of one sort of entry, and its last value. */
struct key {
    uint16_t form; /* the first form of its sort: the sort is there */
    uint8_t name_len;
    char name[NAME];
    struct terse_value last;
};

struct form {
    struct sort sort;
    uint8_t n;
    bool quoted[MEMBERS];
    uint16_t key[MEMBERS];
};

struct fsp_terse {
    size_t n_forms;
    struct form form[FORMS];
    struct key *keys;
    size_t n_keys;
    size_t cap_keys;
    uint16_t *buckets; /* key + 1, or 0 */
    struct terse_value at;
    struct terse_value noted;
    struct terse_value depth;
};

/* Values of the entry at hand that later members may follow. */
struct before {
    struct terse_value at;
    struct terse_value from;
    struct terse_value bit_depth;
};

static bool
is(const struct member *member, const char *name)
{
    return member->name_len == strlen(name) && memcmp(member->name, name, strlen(name)) == 0;
}

static bool
text_is(const struct terse_text *a, const char *b, size_t len)
{
    return a->len == len && memcmp(a->text, b, len) == 0;
}

static void
keep(struct terse_value *value, const struct terse_text *text)
{
    value->there = text->len <= TERSE_VALUE;
    value->len = value->there ? (uint8_t)text->len : 0;
    memcpy(value->text, text->text, value->len);
}

/* ---- cutting an entry --------------------------------------------------------------------- */

/* Behind the closing quote of the string that begins at i; 0 when there is none. */
static size_t
string_end(const char *text, size_t len, size_t i)
{
    for (i++; i < len; i++) {
        if (text[i] == '"')
            return i + 1;
        if (text[i] == '\\')
            i++;
    }
    return 0;
}

/* Where a value that is no string ends: at a comma or brace of the entry's own; 0: nowhere. */
static size_t
other_end(const char *text, size_t len, size_t i)
{
    size_t depth = 0;

    while (i < len) {
        char c = text[i];

        if (depth == 0 && (c == ',' || c == '}'))
            return i;
        if (c == '"') {
            i = string_end(text, len, i);
            if (i == 0)
                return 0;
            continue;
        }
        if (c == '[' || c == '{')
            depth++;
        if ((c == ']' || c == '}') && depth-- == 0)
            return 0;
        i++;
    }
    return 0;
}

/* `"name":`; behind it, or 0. */
static size_t
read_name(const char *text, size_t len, size_t i, struct member *member)
{
    size_t from = i + 1;

    if (i >= len || text[i] != '"')
        return 0;
    for (i = from; i < len; i++) {
        char c = text[i];

        if (!((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-'))
            break;
    }
    if (i == from || i - from > NAME || len - i < 2 || text[i] != '"' || text[i + 1] != ':')
        return 0;
    member->name = text + from;
    member->name_len = (uint8_t)(i - from);
    return i + 2;
}

/* Names stand in the order of their bytes, each once. */
static bool
in_order(const struct members *members)
{
    const struct member *b = &members->member[members->n];
    const struct member *a = b - 1;
    size_t least;
    int order;

    if (members->n == 0)
        return true;
    least = a->name_len < b->name_len ? a->name_len : b->name_len;
    order = memcmp(a->name, b->name, least);
    return order < 0 || (order == 0 && a->name_len < b->name_len);
}

static bool
note_sort(struct members *members, const struct member *member)
{
    bool kind = is(member, "kind");

    if (!kind && !is(member, "op"))
        return true;
    if (!member->quoted || member->value.len > NAME)
        return false;
    *(kind ? &members->kind : &members->op) = member->value;
    return true;
}

/* One member from i on; where its value ends, or 0. */
static size_t
read_member(const char *text, size_t len, size_t i, struct members *members)
{
    struct member *member = &members->member[members->n];
    size_t end;

    if (members->n == MEMBERS)
        return 0;
    i = read_name(text, len, i, member);
    if (i == 0 || i >= len || !in_order(members))
        return 0;
    member->quoted = text[i] == '"';
    end = member->quoted ? string_end(text, len, i) : other_end(text, len, i);
    if (end <= i)
        return 0;
    member->value.text = text + i + (member->quoted ? 1 : 0);
    member->value.len = end - i - (member->quoted ? 2 : 0);
    if (!note_sort(members, member))
        return 0;
    members->n++;
    return end;
}

static bool
has_control(const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++)
        if ((unsigned char)text[i] < 0x20)
            return true;
    return false;
}

/* False when the entry is not plain. */
static bool
cut(const char *text, size_t len, struct members *members)
{
    size_t i = 1;

    members->n = 0;
    members->kind = (struct terse_text){"", 0};
    members->op = (struct terse_text){"", 0};
    if (len == 0 || text[0] != '{' || has_control(text, len))
        return false;
    for (;;) {
        i = read_member(text, len, i, members);
        if (i == 0 || i >= len)
            return false;
        if (text[i] == '}')
            return i + 1 == len;
        if (text[i] != ',')
            return false;
        i++;
    }
}

/* ---- forms and keys ----------------------------------------------------------------------- */

static bool
sort_is(const struct sort *sort, const struct members *members)
{
    return text_is(&members->kind, sort->kind, sort->kind_len) &&
           text_is(&members->op, sort->op, sort->op_len);
}

static bool
form_is(const struct fsp_terse *terse, const struct form *form, const struct members *members)
{
    if (form->n != members->n || !sort_is(&form->sort, members))
        return false;
    for (size_t i = 0; i < members->n; i++) {
        const struct member *member = &members->member[i];
        const struct key *key = &terse->keys[form->key[i]];

        if (form->quoted[i] != member->quoted || key->name_len != member->name_len ||
                memcmp(key->name, member->name, key->name_len) != 0)
            return false;
    }
    return true;
}

/* FORMS when there is none. */
static size_t
find_form(const struct fsp_terse *terse, const struct members *members)
{
    for (size_t i = 0; i < terse->n_forms; i++)
        if (form_is(terse, &terse->form[i], members))
            return i;
    return FORMS;
}

static uint32_t
mix(uint32_t hash, const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++)
        hash = (hash ^ (unsigned char)text[i]) * UINT32_C(16777619); /* FNV-1a */
    return (hash ^ 0xffU) * UINT32_C(16777619);
}

/* The bucket of the member's key: where it is, or where it would be. */
static size_t
find_bucket(const struct fsp_terse *terse, const struct members *members,
        const struct member *member)
{
    uint32_t hash = mix(UINT32_C(2166136261), members->kind.text, members->kind.len);
    size_t at;

    hash = mix(hash, members->op.text, members->op.len);
    hash = mix(hash, member->name, member->name_len);
    for (at = hash % BUCKETS; terse->buckets[at] != 0; at = (at + 1) % BUCKETS) {
        const struct key *key = &terse->keys[terse->buckets[at] - 1];

        if (key->name_len == member->name_len &&
                memcmp(key->name, member->name, key->name_len) == 0 &&
                sort_is(&terse->form[key->form].sort, members))
            break;
    }
    return at;
}

static bool
add_key(struct fsp_terse *terse, size_t form, const struct member *member, size_t bucket)
{
    struct key *key;

    if (terse->n_keys == terse->cap_keys) {
        size_t cap = 2 * terse->cap_keys;
        struct key *keys = realloc(terse->keys, cap * sizeof(*keys));

        if (keys == NULL)
            return false;
        terse->keys = keys;
        terse->cap_keys = cap;
    }
    key = &terse->keys[terse->n_keys++];
    memset(key, 0, sizeof(*key));
    key->form = (uint16_t)form;
    key->name_len = member->name_len;
    memcpy(key->name, member->name, member->name_len);
    terse->buckets[bucket] = (uint16_t)terse->n_keys;
    return true;
}

/* The entry's form, a new one when there is room; FORMS without. False: out of memory. */
static bool
learn_form(struct fsp_terse *terse, const struct members *members, size_t *out)
{
    struct form *form;

    *out = find_form(terse, members);
    if (*out < FORMS || terse->n_forms == FORMS)
        return true;
    form = &terse->form[terse->n_forms];
    form->sort.kind_len = (uint8_t)members->kind.len;
    memcpy(form->sort.kind, members->kind.text, members->kind.len);
    form->sort.op_len = (uint8_t)members->op.len;
    memcpy(form->sort.op, members->op.text, members->op.len);
    form->n = (uint8_t)members->n;
    for (size_t i = 0; i < members->n; i++) {
        const struct member *member = &members->member[i];
        size_t bucket = find_bucket(terse, members, member);

        if (terse->buckets[bucket] == 0 && !add_key(terse, terse->n_forms, member, bucket))
            return false;
        form->quoted[i] = member->quoted;
        form->key[i] = (uint16_t)(terse->buckets[bucket] - 1);
    }
    *out = terse->n_forms++;
    return true;
}

static void
remember(struct fsp_terse *terse, const struct member *member)
{
    if (!member->quoted)
        return;
    if (is(member, "at"))
        keep(&terse->at, &member->value);
    else if (is(member, "noted"))
        keep(&terse->noted, &member->value);
    else if (is(member, "to") || is(member, "bit-depth") || is(member, "depth"))
        keep(&terse->depth, &member->value);
}

/* What a plain entry leaves behind. */
static bool
learn(struct fsp_terse *terse, const struct members *members)
{
    size_t form;

    if (!learn_form(terse, members, &form))
        return false;
    for (size_t i = 0; i < members->n; i++) {
        const struct member *member = &members->member[i];
        uint16_t key = terse->buckets[find_bucket(terse, members, member)];

        /* A member that no form has is forgotten with its entry. */
        if (key != 0)
            keep(&terse->keys[key - 1].last, &member->value);
        remember(terse, member);
    }
    return true;
}

/* ---- what a value is held against --------------------------------------------------------- */

static const struct terse_value *
either(const struct terse_value *first, const struct terse_value *last)
{
    return first->there ? first : last;
}

static struct terse_bases
find_bases(const struct fsp_terse *terse, const struct form *form, size_t i,
        const struct member *member, const struct before *before)
{
    const struct terse_value *last = &terse->keys[form->key[i]].last;
    struct terse_bases bases;

    if (!last->there)
        last = NULL;
    bases = (struct terse_bases){last, last};
    if (!member->quoted)
        return bases;
    if (is(member, "at"))
        bases.same = either(&terse->at, last);
    else if (is(member, "from") || is(member, "bit-depth"))
        bases.same = either(&terse->depth, last);
    else if (is(member, "to"))
        bases.same = either(&before->from, last);
    else if (is(member, "hole-depth"))
        bases.same = either(&before->bit_depth, last);
    bases.by = bases.same;
    if (is(member, "noted")) {
        bases.same = either(&terse->noted, last);
        bases.by = either(&before->at, last);
    }
    return bases;
}

static void
pass(struct before *before, const struct member *member)
{
    if (!member->quoted)
        return;
    if (is(member, "at"))
        keep(&before->at, &member->value);
    else if (is(member, "from"))
        keep(&before->from, &member->value);
    else if (is(member, "bit-depth"))
        keep(&before->bit_depth, &member->value);
}

/* ---- writing ------------------------------------------------------------------------------ */

static void
write_form(struct fsp_terse *terse, size_t index, const struct members *members,
        struct fsp_buf *out)
{
    const struct form *form = &terse->form[index];
    struct before before = {.at = {.there = false}};
    size_t end;

    fsp_buf_add_byte(out, (uint8_t)(FORM_BASE + index));
    end = out->len;
    for (size_t i = 0; i < members->n; i++) {
        const struct member *member = &members->member[i];
        struct terse_bases bases = find_bases(terse, form, i, member, &before);

        if (is(member, "kind") || is(member, "op"))
            continue;
        fsp_terse_token(&member->value, &bases, out);
        pass(&before, member);
        if (out->rc != FSP_OK)
            return;
        /* What is as before to the end of the line is not written. */
        if (out->data[out->len - 1] != TERSE_SAME)
            end = out->len;
    }
    out->len = end;
}

void
fsp_terse_write(struct fsp_terse *terse, const uint8_t *entry, size_t len, struct fsp_buf *out)
{
    struct members members;
    bool plain = cut((const char *)entry, len, &members);
    size_t form = plain ? find_form(terse, &members) : FORMS;

    if (form < FORMS) {
        write_form(terse, form, &members, out);
    } else {
        fsp_buf_add_byte(out, LITERAL);
        fsp_buf_add(out, entry, len);
    }
    fsp_buf_add_byte(out, '\n');
    if (plain && !learn(terse, &members))
        out->rc = FSP_ENOMEM;
}

/* ---- reading ------------------------------------------------------------------------------ */

/* The next token of a line: its mark, and up to the next one. At the end all is as before. */
static enum fsp_rc
next_token(struct terse_text *line, uint8_t *mark, struct terse_text *rest)
{
    size_t n = 1;

    *mark = TERSE_SAME;
    *rest = (struct terse_text){line->text, 0};
    if (line->len == 0)
        return FSP_OK;
    *mark = (uint8_t)line->text[0];
    if (*mark < TERSE_SAME || *mark > MARKS_END)
        return FSP_EFORMAT;
    while (n < line->len && (unsigned char)line->text[n] >= 0x20)
        n++;
    *rest = (struct terse_text){line->text + 1, n - 1};
    line->text += n;
    line->len -= n;
    return FSP_OK;
}

/* One member of the entry, appended; *member is it, but for its value, whose place is told by the
 * length: the buffer may move. */
static enum fsp_rc
read_value(const struct fsp_terse *terse, const struct form *form, size_t i,
        struct terse_text *line, struct before *before, struct fsp_buf *out)
{
    const struct key *key = &terse->keys[form->key[i]];
    struct member member = {
            .name = key->name, .name_len = key->name_len, .quoted = form->quoted[i]};
    struct terse_bases bases = find_bases(terse, form, i, &member, before);
    struct terse_text rest;
    uint8_t mark = 0;
    size_t from;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_add_byte(out, '"');
    fsp_buf_add(out, key->name, key->name_len);
    fsp_buf_add_text(out, member.quoted ? "\":\"" : "\":");
    from = out->len;
    if (is(&member, "kind")) {
        fsp_buf_add(out, form->sort.kind, form->sort.kind_len);
    } else if (is(&member, "op")) {
        fsp_buf_add(out, form->sort.op, form->sort.op_len);
    } else {
        rc = next_token(line, &mark, &rest);
        if (rc == FSP_OK)
            rc = fsp_terse_value(mark, &rest, &bases, out);
    }
    if (rc != FSP_OK || out->rc != FSP_OK)
        return rc;
    member.value = (struct terse_text){(const char *)fsp_buf_peek(out) + from, out->len - from};
    pass(before, &member);
    if (member.quoted)
        fsp_buf_add_byte(out, '"');
    return FSP_OK;
}

static enum fsp_rc
read_form(const struct fsp_terse *terse, const uint8_t *bytes, size_t len, struct fsp_buf *out)
{
    struct terse_text line = {(const char *)bytes + 1, len - 1};
    const struct form *form;
    struct before before = {.at = {.there = false}};
    size_t from = out->len;
    enum fsp_rc rc = FSP_OK;

    if (bytes[0] < FORM_BASE || (size_t)(bytes[0] - FORM_BASE) >= terse->n_forms)
        return FSP_EFORMAT;
    form = &terse->form[bytes[0] - FORM_BASE];
    for (size_t i = 0; rc == FSP_OK && i < form->n; i++) {
        fsp_buf_add_byte(out, i == 0 ? '{' : ',');
        rc = read_value(terse, form, i, &line, &before, out);
        if (rc == FSP_OK && out->len - from > FSP_ENTRY_MAX)
            rc = FSP_EFORMAT;
    }
    fsp_buf_add_byte(out, '}');
    return rc == FSP_OK && line.len > 0 ? FSP_EFORMAT : rc;
}

enum fsp_rc
fsp_terse_read(struct fsp_terse *terse, const uint8_t *line, size_t len, struct fsp_buf *out,
        struct fsp_err *err)
{
    struct members members;
    size_t from = out->len;
    enum fsp_rc rc = len < 2 && (len == 0 || line[0] == LITERAL) ? FSP_EFORMAT : FSP_OK;

    if (rc == FSP_OK && line[0] == LITERAL)
        fsp_buf_add(out, line + 1, len - 1);
    else if (rc == FSP_OK)
        rc = read_form(terse, line, len, out);
    if (rc != FSP_OK)
        return fsp_err_set(err, rc, "a line of the bundle is out of form");
    /* Both ends take from the entry as it stands what they remember. */
    if (out->rc == FSP_OK && cut((const char *)out->data + from, out->len - from, &members) &&
            !learn(terse, &members))
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fsp_buf_add_byte(out, '\n');
    return fsp_buf_check(out, "the entries", err);
}

/* ---- new and free ------------------------------------------------------------------------- */

enum fsp_rc
fsp_terse_new(const uint8_t *preset, size_t len, struct fsp_terse **out, struct fsp_err *err)
{
    struct fsp_terse *terse = calloc(1, sizeof(*terse));
    struct fsp_buf entry;
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    if (terse == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fsp_buf_init(&entry, FSP_ENTRY_MAX + 1);
    terse->cap_keys = KEYS_FIRST;
    terse->keys = calloc(KEYS_FIRST, sizeof(*terse->keys));
    terse->buckets = calloc(BUCKETS, sizeof(*terse->buckets));
    if (terse->keys == NULL || terse->buckets == NULL)
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    while (rc == FSP_OK && len > 0) {
        const uint8_t *end = memchr(preset, '\n', len);
        size_t line = end == NULL ? len : (size_t)(end - preset);

        fsp_buf_reset(&entry);
        rc = fsp_terse_read(terse, preset, line, &entry, err);
        preset += line;
        len -= line;
        if (len > 0) {
            preset++;
            len--;
        }
    }
    fsp_buf_fini(&entry);
    if (rc == FSP_OK) {
        *out = terse;
        terse = NULL;
    }
    fsp_terse_free(terse);
    return rc;
}

void
fsp_terse_free(struct fsp_terse *terse)
{
    if (terse == NULL)
        return;
    free(terse->keys);
    free(terse->buckets);
    free(terse);
}
