#include "rig/reckon.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "record/check.h"
#include "rig/reckon_priv.h"

#define TEXT_MAX ((size_t)64 * 1024)

enum form {
    FORM_QUANTITY,
    FORM_COUNT,
    FORM_NUMBER,
    FORM_WORD,
};

static const struct {
    const char *name;
    enum form form;
    enum fsp_dim dim;
    const char *words;
} fields[FIELDS] = {
        [F_DEPTH] = {"depth", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_FROM] = {"from", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_TO] = {"to", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_STAND] = {"stand", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_PIPE] = {"pipe", FORM_QUANTITY, FSP_DIM_LINEAR, NULL},
        [F_BHA_WEIGHT] = {"bha-weight", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_BHA_LENGTH] = {"bha-length", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_BLOCK] = {"block", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_MUD] = {"mud", FORM_QUANTITY, FSP_DIM_DENSITY, NULL},
        [F_DRIVE] = {"drive", FORM_WORD, FSP_DIM_NONE, "kelly top-drive"},
        [F_REAMS] = {"reams", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_PASSES] = {"passes", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_CASING] = {"casing", FORM_QUANTITY, FSP_DIM_LINEAR, NULL},
        [F_JOINT] = {"joint", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_SECTIONS] = {"sections", FORM_WORD, FSP_DIM_NONE, NULL},
        [F_LANDING] = {"landing-string", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_LINER] = {"liner-length", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_COUNT] = {"count", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_STROKE] = {"stroke", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_UP] = {"up", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_DOWN] = {"down", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_MULTIPLIER] = {"multiplier", FORM_NUMBER, FSP_DIM_NONE, NULL},
        [F_TON_MILES] = {"ton-miles", FORM_QUANTITY, FSP_DIM_WORK, NULL},
        [F_DEEP] = {"deep", FORM_QUANTITY, FSP_DIM_WORK, NULL},
        [F_SHALLOW] = {"shallow", FORM_QUANTITY, FSP_DIM_WORK, NULL},
        [F_HOOKLOAD] = {"hookload", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_LINES] = {"lines", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_ROPE] = {"rope", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_GRADE] = {"grade", FORM_WORD, FSP_DIM_NONE, NULL},
        [F_STRENGTH] = {"strength", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_BEARING] = {"bearing", FORM_WORD, FSP_DIM_NONE, "roller plain"},
        [F_ROLLING] = {"rolling", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_SHEAVE_EFFICIENCY] = {"sheave-efficiency", FORM_QUANTITY, FSP_DIM_SHARE, NULL},
        [F_SERVICE] = {"service", FORM_WORD, FSP_DIM_NONE, "drilling casing stuck-pipe"},
        [F_RATING_MAST] = {"rating-mast", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_RATING_MAST_LINES] = {"rating-mast-lines", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_RATING_CROWN] = {"rating-crown", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_RATING_BLOCK] = {"rating-block", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_RATING_HOOK] = {"rating-hook", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_RATING_TOP_DRIVE] = {"rating-top-drive", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_RATING_DRAWWORKS] = {"rating-drawworks", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_RATING_ANCHOR] = {"rating-anchor", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_MAST] = {"mast", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_DRUM] = {"drum", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_SLIPS] = {"slips", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_CROSSOVERS] = {"crossovers", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_CROWN] = {"crown", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_BLOCK_LOW] = {"block-low", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_PICK_LOW] = {"pick-low", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_PICK_HIGH] = {"pick-high", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_WRAPS_LOW] = {"wraps-low", FORM_NUMBER, FSP_DIM_NONE, NULL},
        [F_LAPS_PER_LAYER] = {"laps-per-layer", FORM_NUMBER, FSP_DIM_NONE, NULL},
        [F_DEAD_WRAPS] = {"dead-wraps", FORM_NUMBER, FSP_DIM_NONE, NULL},
        [F_SHEAVE] = {"sheave", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_FAST_LINE] = {"fast-line", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_DEAD_LINE] = {"dead-line", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_CUT] = {"cut", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_GOAL] = {"goal", FORM_QUANTITY, FSP_DIM_WORK, NULL},
        [F_FORMATION] = {"formation", FORM_WORD, FSP_DIM_NONE, "soft normal hard"},
        [F_FACTOR] = {"factor", FORM_NUMBER, FSP_DIM_NONE, NULL},
};

const char *
fsp_reckon_name(enum fsp_reckon_field field)
{
    return fields[field].name;
}

void
fsp_reckon_member(struct fsp_reckon_out *out, const char *key, double value)
{
    fsp_say_member(&out->members, &out->first, key, value);
}

bool
fsp_reckon_says(const struct fsp_reckon_in *in, enum fsp_reckon_field field, const char *word)
{
    return in->given[field] && strcmp(in->text[field], word) == 0;
}

double
fsp_reckon_or(const struct fsp_reckon_in *in, enum fsp_reckon_field field, double other)
{
    return in->given[field] ? in->value[field] : other;
}

bool
fsp_reckon_rare(const struct fsp_reckon_in *in)
{
    return fsp_reckon_says(in, F_SERVICE, "casing") ||
           fsp_reckon_says(in, F_SERVICE, "stuck-pipe");
}

#define STRING_FIELDS "stand pipe block mud [bha-weight] [bha-length]"

/* ---- the table of subjects, input and output ---- */

static const struct fsp_reckon_subject subjects[] = {
        {"round-trip", "depth " STRING_FIELDS, FSP_OP_ROUND_TRIP, fsp_reckon_work},
        {"half-trip", "depth " STRING_FIELDS, FSP_OP_HALF_TRIP, fsp_reckon_work},
        {"pull-out", "from to " STRING_FIELDS, FSP_OP_PULL_OUT, fsp_reckon_work},
        {"run-in", "from to " STRING_FIELDS, FSP_OP_RUN_IN, fsp_reckon_work},
        {"short-trip", "from to " STRING_FIELDS, FSP_OP_SHORT_TRIP, fsp_reckon_work},
        {"coring", "from to " STRING_FIELDS, FSP_OP_CORING, fsp_reckon_work},
        {"drilling", "from to " STRING_FIELDS " [drive] [reams]", FSP_OP_DRILLING,
                fsp_reckon_work},
        {"reaming", "from to " STRING_FIELDS " [passes]", FSP_OP_REAMING, fsp_reckon_work},
        {"casing", "depth joint block mud [casing] [sections] [landing-string] [pipe] [stand]",
                FSP_OP_CASING, fsp_reckon_work},
        {"liner", "depth joint liner-length stand pipe block mud [casing] [sections]",
                FSP_OP_LINER, fsp_reckon_work},
        {"moves", "count stroke up down [multiplier]", FSP_OP_MOVES, fsp_reckon_work},
        {"trips", "deep shallow [drive] [reams]", FSP_OP_NONE, fsp_reckon_trips},
        {"counted", "ton-miles", FSP_OP_COUNTED, fsp_reckon_work},
        {"stated", "ton-miles", FSP_OP_STATED, fsp_reckon_work},
        {"lift",
                "hookload lines [rope] [grade] [strength] [bearing] [sheave-efficiency] "
                "[rolling] [service] "
                "[factor] [rating-mast] [rating-mast-lines] [rating-crown] [rating-block] "
                "[rating-hook] [rating-top-drive] [rating-drawworks] [rating-anchor]",
                FSP_OP_NONE, fsp_reckon_lift},
        {"cut",
                "mast drum [rope] [slips] [crossovers] [lines] [crown] [block-low] [pick-low] "
                "[pick-high] "
                "[wraps-low] [laps-per-layer] [dead-wraps] [sheave] [fast-line] [dead-line]",
                FSP_OP_NONE, fsp_reckon_cut},
        {"slips", "cut goal slips", FSP_OP_NONE, fsp_reckon_slips},
        {"goal", "rope cut [formation] [factor]", FSP_OP_NONE, fsp_reckon_goal},
};

#define SUBJECTS (sizeof(subjects) / sizeof(subjects[0]))

const char *
fsp_reckon_what(size_t i)
{
    return i < SUBJECTS ? subjects[i].name : NULL;
}

static const struct fsp_reckon_subject *
find_subject(const char *what)
{
    size_t i;

    for (i = 0; what != NULL && i < SUBJECTS; i++) {
        if (strcmp(subjects[i].name, what) == 0)
            return &subjects[i];
    }
    return NULL;
}

const char *
fsp_reckon_fields(const char *what)
{
    const struct fsp_reckon_subject *subject = find_subject(what);

    return subject == NULL ? NULL : subject->fields;
}

/* 0: the subject does not take it, 1: optional, 2: required. */
static int
takes(const char *list, const char *name)
{
    size_t len = strlen(name);
    const char *at = list;

    while (*at != 0) {
        size_t n = strcspn(at, " ");
        bool optional = *at == '[';

        if (n == len + (optional ? 2 : 0) && strncmp(at + (optional ? 1 : 0), name, len) == 0)
            return optional ? 1 : 2;
        at += n;
        at += strspn(at, " ");
    }
    return 0;
}

static bool
word_in(const char *list, const char *word)
{
    return strchr(word, ' ') == NULL && takes(list, word) == 2;
}

static enum fsp_rc
read_count(const char *text, double *out, struct fsp_err *err)
{
    uint64_t value;

    if (fsp_text_u64(text, strlen(text), &value) != FSP_OK || value > 1000000)
        return fsp_err_set(err, FSP_EFORMAT,
                "found \"%.40s\"; allowed: a whole number to 1,000,000", text);
    *out = (double)value;
    return FSP_OK;
}

/* Where 0 would pass for "not given". */
static bool
never_zero(enum fsp_reckon_field field)
{
    return field == F_MULTIPLIER || field == F_PASSES || field == F_ROLLING ||
           field == F_LAPS_PER_LAYER || field == F_SHEAVE || field == F_DEAD_LINE ||
           field == F_FAST_LINE || field == F_CROWN;
}

static enum fsp_rc
check_zero(enum fsp_reckon_field field, double value, const char *text, struct fsp_err *err)
{
    if (value > 0)
        return FSP_OK;
    if (field == F_MUD && *text >= '0' && *text <= '9')
        return fsp_err_set(
                err, FSP_EFORMAT, "found \"%.40s\"; allowed: air, or a density above 0", text);
    if (never_zero(field))
        return fsp_err_set(err, FSP_EFORMAT, "found \"%.40s\"; allowed: above 0", text);
    return FSP_OK;
}

static enum fsp_rc
read_value(struct fsp_reckon_in *in, enum fsp_reckon_field field, const char *text,
        struct fsp_err *err)
{
    const struct fsp_unit *unit = NULL;
    enum fsp_rc rc = FSP_OK;

    switch (fields[field].form) {
    case FORM_QUANTITY:
        rc = fsp_quantity_parse(text, fields[field].dim, &in->value[field], &unit, err);
        if (rc == FSP_OK && in->value[field] < 0)
            rc = fsp_err_set(err, FSP_EFORMAT, "found \"%.40s\"; allowed: not below 0", text);
        break;
    case FORM_COUNT:
        rc = read_count(text, &in->value[field], err);
        break;
    case FORM_NUMBER:
        rc = fsp_number_parse(text, &in->value[field], err);
        break;
    case FORM_WORD:
        if (fields[field].words != NULL && !word_in(fields[field].words, text))
            rc = fsp_err_set(err, FSP_EFORMAT, "found \"%.40s\"; allowed: %s", text,
                    fields[field].words);
        break;
    }
    if (rc == FSP_OK)
        rc = check_zero(field, in->value[field], text, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "%s", fields[field].name);
    if (unit != NULL && fields[field].dim == FSP_DIM_WORK)
        in->units =
                strncmp(unit->name, "ton-mile", 8) == 0 ? FSP_UNITS_FIELD : FSP_UNITS_METRIC;
    if (unit != NULL &&
            (fields[field].dim == FSP_DIM_LENGTH || fields[field].dim == FSP_DIM_LOAD) &&
            field != F_ROPE && field != F_DRUM && !in->units_known) {
        bool american = strcmp(unit->name, "ft") == 0 || strcmp(unit->name, "in") == 0 ||
                        strstr(unit->name, "lb") != NULL || strcmp(unit->name, "kip") == 0;

        in->units = american ? FSP_UNITS_FIELD : FSP_UNITS_METRIC;
        in->units_known = true;
    }
    in->given[field] = true;
    in->text[field] = text;
    return FSP_OK;
}

static enum fsp_rc
unknown_field(const struct fsp_reckon_subject *subject, const char *name, struct fsp_err *err)
{
    const char *names[FIELDS];
    const char *near;
    size_t n = 0, i;

    for (i = 0; i < FIELDS; i++) {
        if (takes(subject->fields, fields[i].name) != 0)
            names[n++] = fields[i].name;
    }
    near = fsp_text_nearest(name, names, n);
    return fsp_err_set(err, FSP_EINVAL, "%.40s: %s does not take this field%s%s%s; fields: %s",
            name, subject->name, near != NULL ? " (did you mean " : "",
            near != NULL ? near : "", near != NULL ? "?)" : "", subject->fields);
}

static enum fsp_rc
read_member(const struct fsp_reckon_subject *subject, const struct fsp_typed *typed,
        struct fsp_reckon_in *in, struct fsp_err *err)
{
    size_t i;

    if (!fsp_text_printable(typed->name, strlen(typed->name)) ||
            !fsp_text_printable(typed->value, strlen(typed->value)))
        return fsp_err_set(err, FSP_EFORMAT, "a field has characters that cannot be shown");
    for (i = 0; i < FIELDS; i++) {
        if (strcmp(fields[i].name, typed->name) == 0)
            break;
    }
    if (i == FIELDS || takes(subject->fields, typed->name) == 0)
        return unknown_field(subject, typed->name, err);
    if (in->given[i])
        return fsp_err_set(err, FSP_EINVAL, "%s: given twice", typed->name);
    if (*typed->value == 0)
        return FSP_OK; /* empty is "not given" */
    return read_value(in, (enum fsp_reckon_field)i, typed->value, err);
}

static enum fsp_rc
read_input(const struct fsp_reckon_subject *subject, const struct fsp_typed *members, size_t n,
        struct fsp_reckon_in *in, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    size_t i;

    memset(in, 0, sizeof(*in));
    for (i = 0; i < n && rc == FSP_OK; i++)
        rc = read_member(subject, &members[i], in, err);
    for (i = 0; i < FIELDS && rc == FSP_OK; i++) {
        if (takes(subject->fields, fields[i].name) == 2 && !in->given[i])
            rc = fsp_err_set(err, FSP_EINVAL, "%s: missing; %s needs: %s", fields[i].name,
                    subject->name, subject->fields);
    }
    return rc;
}

/* The i-th line of a text that ends each with LF; its length, 0 past the end. */
static size_t
line_at(const char *text, size_t i, const char **line)
{
    while (i-- > 0 && *text != 0)
        text += strcspn(text, "\n") + 1;
    *line = text;
    return strcspn(text, "\n");
}

/* A list of texts, one a line. */
static void
write_list(const struct fsp_buf *lines, struct fsp_buf *out)
{
    const char *line;
    size_t i, len;

    fsp_buf_add_byte(out, '[');
    for (i = 0; (len = line_at(fsp_buf_peek(lines), i, &line)) > 0; i++) {
        if (i > 0)
            fsp_buf_add_byte(out, ',');
        fsp_say_json_piece(out, line, len);
    }
    fsp_buf_add_byte(out, ']');
}

static void
write_json(const struct fsp_reckon_out *answer, struct fsp_buf *out)
{
    fsp_buf_add_text(out, "{\"assumed\":");
    write_list(&answer->assumed, out);
    fsp_buf_add_byte(out, ',');
    fsp_buf_add(out, answer->members.data, answer->members.len);
    fsp_buf_add_text(out, ",\"cautions\":");
    write_list(&answer->cautions, out);
    fsp_buf_add_text(out, ",\"duties\":");
    write_list(&answer->duties, out);
    fsp_buf_add_text(out, ",\"formula\":");
    fsp_say_json_text(out, fsp_buf_peek(&answer->text));
    fsp_buf_add_text(out, "}\n");
}

static void
write_lines(const char *label, const struct fsp_buf *lines, struct fsp_buf *out)
{
    const char *line;
    size_t i, len;

    for (i = 0; (len = line_at(fsp_buf_peek(lines), i, &line)) > 0; i++)
        fsp_buf_printf(out, "%s: %.*s\n", label, (int)len, line);
}

static void
write_text(const struct fsp_reckon_out *answer, struct fsp_buf *out)
{
    fsp_buf_add(out, answer->text.data, answer->text.len);
    write_lines("Assumed", &answer->assumed, out);
    write_lines("Duty", &answer->duties, out);
    write_lines("Caution", &answer->cautions, out);
}

static enum fsp_rc
check_answer(const struct fsp_reckon_out *answer, struct fsp_err *err)
{
    const struct fsp_buf *parts[] = {&answer->members, &answer->text, &answer->assumed,
            &answer->cautions, &answer->duties};
    enum fsp_rc rc = FSP_OK;
    size_t i;

    for (i = 0; i < sizeof(parts) / sizeof(parts[0]) && rc == FSP_OK; i++)
        rc = fsp_buf_check(parts[i], "reckon", err);
    return rc;
}

enum fsp_rc
fsp_reckon_run(const char *what, const struct fsp_typed *members, size_t n, bool json,
        struct fsp_buf *out, struct fsp_err *err)
{
    const struct fsp_reckon_subject *subject = find_subject(what);
    struct fsp_reckon_out answer = {.first = true};
    struct fsp_reckon_in in;
    enum fsp_rc rc;

    fsp_buf_init(&answer.members, TEXT_MAX);
    fsp_buf_init(&answer.text, TEXT_MAX);
    fsp_buf_init(&answer.assumed, TEXT_MAX);
    fsp_buf_init(&answer.cautions, TEXT_MAX);
    fsp_buf_init(&answer.duties, TEXT_MAX);
    if (subject == NULL) {
        rc = fsp_err_set(err, FSP_EINVAL,
                "%.40s: cannot be reckoned; allowed: round-trip half-trip pull-out run-in "
                "short-trip coring drilling reaming casing liner moves counted stated lift cut "
                "goal",
                what == NULL ? "(nothing)" : what);
        goto out;
    }
    rc = read_input(subject, members, n, &in, err);
    if (rc == FSP_OK)
        rc = subject->reckon(subject, &in, &answer, err);
    if (rc == FSP_OK)
        rc = check_answer(&answer, err);
    if (rc != FSP_OK)
        goto out;
    if (json)
        write_json(&answer, out);
    else
        write_text(&answer, out);
    rc = fsp_buf_check(out, "reckon", err);
out:
    fsp_buf_fini(&answer.members);
    fsp_buf_fini(&answer.text);
    fsp_buf_fini(&answer.assumed);
    fsp_buf_fini(&answer.cautions);
    fsp_buf_fini(&answer.duties);
    return rc;
}
