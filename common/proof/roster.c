#include "proof/roster.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/text.h"
#include "proof/note.h"

#define TITLE     "farspool-roster/v1"
#define NAME_SIGN "/signer:"
#define WORDS_MAX 7
#define DAY_LEN   ((size_t)10) /* 2026-03-01 */

/* A line cut at its spaces: words point into it, none is empty. */
struct words {
    const char *word[WORDS_MAX];
    size_t len[WORDS_MAX];
    size_t n;
};

static const struct {
    const char *text;
    unsigned may;
} mays[] = {{"inspect", FSP_MAY_INSPECT}, {"countersign", FSP_MAY_COUNTERSIGN},
        {"inspect,countersign", FSP_MAY_INSPECT | FSP_MAY_COUNTERSIGN}};
#define MAYS (sizeof(mays) / sizeof(mays[0]))

enum fsp_rc
fsp_signer_key_name(const char *fleet, const char *name, char *out, struct fsp_err *err)
{
    out[0] = '\0';
    if (!fsp_text_name(fleet) || !fsp_text_name(name))
        return fsp_err_set(err, FSP_EINVAL,
                "names of a fleet and of a signer have 1 to %zu of a-z, 0-9 and inner '-'",
                FSP_NAME_MAX);
    (void)snprintf(out, FSP_KEY_NAME_MAX + 1, "%.*s" NAME_SIGN "%.*s", (int)FSP_NAME_MAX, fleet,
            (int)FSP_NAME_MAX, name);
    return FSP_OK;
}

bool
fsp_signer_key_parts(const struct fsp_vkey *vkey, char *fleet, const char **name)
{
    const char *slash = strchr(vkey->name, '/');
    size_t len = slash != NULL ? (size_t)(slash - vkey->name) : 0;

    fleet[0] = '\0';
    *name = NULL;
    if (vkey->type != FSP_KEY_NOTE || slash == NULL || len > FSP_NAME_MAX ||
            strncmp(slash, NAME_SIGN, strlen(NAME_SIGN)) != 0)
        return false;
    memcpy(fleet, vkey->name, len);
    fleet[len] = '\0';
    if (!fsp_text_name(fleet) || !fsp_text_name(slash + strlen(NAME_SIGN)))
        return false;
    *name = slash + strlen(NAME_SIGN);
    return true;
}

static bool
is_word(const struct words *words, size_t i, const char *text)
{
    return i < words->n && words->len[i] == strlen(text) &&
           memcmp(words->word[i], text, words->len[i]) == 0;
}

/* At single spaces; false for an empty word or too many. */
static bool
cut_words(const char *line, size_t len, struct words *words)
{
    const char *end = line + len;

    memset(words, 0, sizeof(*words));
    for (;;) {
        const char *space = memchr(line, ' ', (size_t)(end - line));
        size_t word_len = (size_t)((space != NULL ? space : end) - line);

        if (word_len == 0 || words->n == WORDS_MAX)
            return false;
        words->word[words->n] = line;
        words->len[words->n++] = word_len;
        if (space == NULL)
            return true;
        line = space + 1;
    }
}

/* The one form that is written. */
static bool
read_time(const char *text, size_t len, int64_t *out)
{
    char copy[FSP_TIME_TEXT_LEN + 1];
    char again[FSP_TIME_TEXT_LEN + 1];

    if (len != FSP_TIME_TEXT_LEN)
        return false;
    memcpy(copy, text, len);
    copy[len] = '\0';
    if (fsp_time_parse(copy, NULL, out, NULL) != FSP_OK)
        return false;
    fsp_time_text(*out, again);
    return strcmp(again, copy) == 0;
}

static bool
read_day(const char *text, size_t len, int64_t *out)
{
    char copy[FSP_TIME_TEXT_LEN + 1] = "0000-00-00T00:00:00Z";

    if (len != DAY_LEN)
        return false;
    memcpy(copy, text, len);
    return read_time(copy, FSP_TIME_TEXT_LEN, out);
}

static enum fsp_rc
read_vkey(const struct fsp_roster *roster, struct fsp_roster_signer *signer,
        const struct words *words, struct fsp_err *err)
{
    char fleet[FSP_NAME_MAX + 1];
    enum fsp_rc rc = fsp_vkey_parse(&signer->vkey, words->word[1], words->len[1], err);

    if (rc != FSP_OK)
        return rc;
    if (!fsp_signer_key_parts(&signer->vkey, fleet, &signer->name) ||
            strcmp(fleet, roster->fleet) != 0)
        return fsp_err_set(err, FSP_EFORMAT,
                "the key is not of type 0x01 with a name %s" NAME_SIGN "NAME", roster->fleet);
    for (size_t i = 0; i < roster->n; i++)
        if (memcmp(roster->signer[i].vkey.pub, signer->vkey.pub, sizeof(signer->vkey.pub)) == 0)
            return fsp_err_set(err, FSP_EFORMAT,
                    "the key is on the roster twice; somebody who comes back needs a new key");
    return FSP_OK;
}

/* signer <verifier key> <from> <to>|- <may> [revoked <time>] */
static enum fsp_rc
read_signer(struct fsp_roster *roster, const struct words *words, struct fsp_err *err)
{
    struct fsp_roster_signer *signer = &roster->signer[roster->n];
    enum fsp_rc rc;

    if (!is_word(words, 0, "signer") || (words->n != 5 && words->n != 7) ||
            (words->n == 7 && !is_word(words, 5, "revoked")))
        return fsp_err_set(
                err, FSP_EFORMAT, "not of the form 'signer KEY FROM TO|- MAY [revoked TIME]'");
    rc = read_vkey(roster, signer, words, err);
    if (rc != FSP_OK)
        return rc;
    if (!read_day(words->word[2], words->len[2], &signer->from_s))
        return fsp_err_set(
                err, FSP_EFORMAT, "the first day is no day of the form 2026-03-01 (UTC)");
    signer->until_s = INT64_MAX;
    if (!is_word(words, 3, "-")) {
        if (!read_day(words->word[3], words->len[3], &signer->until_s))
            return fsp_err_set(err, FSP_EFORMAT,
                    "the last day is neither - nor a day of the form 2026-03-01 (UTC)");
        signer->until_s += FSP_S_PER_DAY;
        if (signer->until_s <= signer->from_s)
            return fsp_err_set(err, FSP_EFORMAT, "the last day is before the first");
    }
    for (size_t i = 0; i < MAYS; i++)
        if (is_word(words, 4, mays[i].text))
            signer->may = mays[i].may;
    if (signer->may == 0)
        return fsp_err_set(err, FSP_EFORMAT,
                "a signer may 'inspect', 'countersign' or 'inspect,countersign'");
    signer->revoked = words->n == 7;
    if (signer->revoked && !read_time(words->word[6], words->len[6], &signer->revoked_s))
        return fsp_err_set(
                err, FSP_EFORMAT, "revoked at no time of the form 2026-03-01T00:00:00Z");
    roster->n++;
    return FSP_OK;
}

static enum fsp_rc
read_line(struct fsp_roster *roster, size_t number, const struct words *words,
        struct fsp_err *err)
{
    switch (number) {
    case 1:
        if (words->n == 1 && is_word(words, 0, TITLE))
            return FSP_OK;
        return fsp_err_set(err, FSP_EFORMAT, "no roster of the form " TITLE);
    case 2:
        if (words->n == 2 && is_word(words, 0, "fleet") && words->len[1] <= FSP_NAME_MAX) {
            memcpy(roster->fleet, words->word[1], words->len[1]);
            roster->fleet[words->len[1]] = '\0';
            if (fsp_text_name(roster->fleet))
                return FSP_OK;
        }
        return fsp_err_set(err, FSP_EFORMAT, "not of the form 'fleet NAME'");
    case 3:
        if (words->n == 2 && is_word(words, 0, "version") &&
                fsp_text_u64(words->word[1], words->len[1], &roster->version) == FSP_OK &&
                roster->version > 0)
            return FSP_OK;
        return fsp_err_set(err, FSP_EFORMAT, "not of the form 'version NUMBER', from 1");
    case 4:
        if (words->n == 2 && is_word(words, 0, "made") &&
                read_time(words->word[1], words->len[1], &roster->made_s))
            return FSP_OK;
        return fsp_err_set(err, FSP_EFORMAT, "not of the form 'made 2026-03-01T00:00:00Z'");
    default:
        if (roster->n == FSP_ROSTER_SIGNERS_MAX)
            return fsp_err_set(err, FSP_ELIMIT, "more than %d signers", FSP_ROSTER_SIGNERS_MAX);
        return read_signer(roster, words, err);
    }
}

static enum fsp_rc
read_text(struct fsp_roster *roster, const char *text, size_t len, struct fsp_err *err)
{
    const char *end = text + len;
    size_t number = 0;

    if (len > FSP_ROSTER_TEXT_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "over %zu bytes", FSP_ROSTER_TEXT_MAX);
    while (text < end) {
        const char *line_end = memchr(text, '\n', (size_t)(end - text));
        struct words words;
        enum fsp_rc rc;

        number++;
        if (line_end == NULL)
            return fsp_err_set(err, FSP_EFORMAT, "line %zu has no end", number);
        if (!fsp_text_printable(text, (size_t)(line_end - text)))
            return fsp_err_set(
                    err, FSP_EFORMAT, "line %zu has characters that are no text", number);
        rc = cut_words(text, (size_t)(line_end - text), &words)
                     ? read_line(roster, number, &words, err)
                     : fsp_err_set(err, FSP_EFORMAT, "not words parted by single spaces");
        if (rc != FSP_OK)
            return fsp_err_wrap(err, rc, "line %zu", number);
        text = line_end + 1;
    }
    return number >= 4 ? FSP_OK : fsp_err_set(err, FSP_EFORMAT, "it is not complete");
}

enum fsp_rc
fsp_roster_parse(struct fsp_roster **out, const char *text, size_t len, struct fsp_err *err)
{
    struct fsp_roster *roster = calloc(1, sizeof(*roster));
    enum fsp_rc rc;

    *out = NULL;
    if (roster == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "roster: out of memory");
    rc = read_text(roster, text, len, err);
    if (rc != FSP_OK)
        goto out;
    *out = roster;
    roster = NULL;
out:
    fsp_roster_free(roster);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "roster");
}

void
fsp_roster_free(struct fsp_roster *roster)
{
    free(roster);
}

static void
write_day(int64_t at_s, struct fsp_buf *buf)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(at_s, text);
    fsp_buf_add(buf, text, DAY_LEN);
}

void
fsp_roster_write(const struct fsp_roster *roster, struct fsp_buf *buf)
{
    char time[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(roster->made_s, time);
    fsp_buf_printf(buf, TITLE "\nfleet %s\nversion %" PRIu64 "\nmade %s\n", roster->fleet,
            roster->version, time);
    for (size_t i = 0; i < roster->n; i++) {
        const struct fsp_roster_signer *signer = &roster->signer[i];

        fsp_buf_add_text(buf, "signer ");
        fsp_vkey_write(&signer->vkey, buf);
        fsp_buf_add_byte(buf, ' ');
        write_day(signer->from_s, buf);
        fsp_buf_add_byte(buf, ' ');
        if (signer->until_s == INT64_MAX)
            fsp_buf_add_byte(buf, '-');
        else
            write_day(signer->until_s - FSP_S_PER_DAY, buf);
        for (size_t m = 0; m < MAYS; m++)
            if (mays[m].may == signer->may)
                fsp_buf_printf(buf, " %s", mays[m].text);
        if (signer->revoked) {
            fsp_time_text(signer->revoked_s, time);
            fsp_buf_printf(buf, " revoked %s", time);
        }
        fsp_buf_add_byte(buf, '\n');
    }
}

enum fsp_rc
fsp_roster_read(struct fsp_roster **out, const void *note, size_t len,
        const struct fsp_vkey *instructions, struct fsp_err *err)
{
    struct fsp_roster *roster = NULL;
    char name[FSP_NAME_MAX + sizeof("/instructions")];
    struct fsp_note parsed;
    enum fsp_rc rc;

    *out = NULL;
    rc = fsp_note_parse(&parsed, note, len, err);
    if (rc == FSP_OK)
        rc = fsp_note_verify(&parsed, instructions, NULL, err);
    if (rc == FSP_ENOTFOUND)
        rc = fsp_err_set(err, FSP_EVERIFY, "not signed by %s", instructions->name);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "roster");
    rc = fsp_roster_parse(&roster, parsed.text, parsed.text_len, err);
    if (rc != FSP_OK)
        return rc;
    (void)snprintf(name, sizeof(name), "%s/instructions", roster->fleet);
    if (instructions->type != FSP_KEY_NOTE || strcmp(instructions->name, name) != 0) {
        fsp_roster_free(roster);
        return fsp_err_set(err, FSP_EVERIFY,
                "roster: signed by %s, which is not the instructions key of its fleet",
                instructions->name);
    }
    *out = roster;
    return FSP_OK;
}

/* How one line judges a signature that holds for its key. */
static enum fsp_sig_state
judge_period(const struct fsp_roster_signer *signer, const struct fsp_signed *what)
{
    int64_t latest_s = what->noted_s > what->at_s ? what->noted_s : what->at_s;

    if ((signer->may & what->may) != what->may)
        return FSP_SIG_OFF_ROSTER;
    if (what->at_s < signer->from_s || what->at_s >= signer->until_s)
        return FSP_SIG_OUT_OF_DATE;
    /* `at` is the signer's own word: whoever stole the key writes an earlier one. */
    if (signer->revoked && latest_s >= signer->revoked_s)
        return FSP_SIG_OUT_OF_DATE;
    return FSP_SIG_GOOD;
}

enum fsp_sig_state
fsp_roster_judge(const struct fsp_roster *roster, const struct fsp_signed *what,
        const struct fsp_roster_signer **who)
{
    enum fsp_sig_state state = FSP_SIG_OFF_ROSTER;

    if (who != NULL)
        *who = NULL;
    for (size_t i = 0; roster != NULL && i < roster->n; i++) {
        const struct fsp_roster_signer *signer = &roster->signer[i];

        if (strcmp(signer->name, what->name) != 0)
            continue;
        if (fsp_vkey_verify(&signer->vkey, what->message, what->len, what->sig) == FSP_OK) {
            /* No other line has this key. */
            if (who != NULL)
                *who = signer;
            return judge_period(signer, what);
        }
        state = FSP_SIG_BAD;
    }
    return state;
}
