#include "rig/knows.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "store/db.h"
#include "wire/dictionary.h"

/* "dictionary short", of the meta table: "2 1". */
#define KEY "office-knows"

static void
parse(const char *text, size_t len, struct fsp_office_knows *out)
{
    const char *space = memchr(text, ' ', len);
    uint64_t dictionary = 0;

    /* What does not read is as if it were not there: it will be said again. */
    if (space == NULL || len - (size_t)(space - text) != 2 ||
            fsp_text_u64(text, (size_t)(space - text), &dictionary) != FSP_OK || dictionary < 1)
        return;
    out->dictionary =
            dictionary < FSP_DICTIONARY_NEWEST ? (unsigned)dictionary : FSP_DICTIONARY_NEWEST;
    out->short_receipt = space[1] == '1';
}

enum fsp_rc
fsp_knows_read(struct fsp_journal *journal, struct fsp_office_knows *out, struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    *out = (struct fsp_office_knows){.dictionary = FSP_DICTIONARY_FIRST};
    fsp_buf_init(&text, 32);
    rc = fsp_journal_meta(fsp_journal_db(journal), KEY, &text, err);
    if (rc == FSP_OK)
        parse(fsp_buf_peek(&text), text.len, out);
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    fsp_buf_fini(&text);
    return rc;
}

enum fsp_rc
fsp_knows_keep(
        struct fsp_journal *journal, const struct fsp_office_knows *knows, struct fsp_err *err)
{
    const struct fsp_office_knows nothing = {.dictionary = FSP_DICTIONARY_FIRST};
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_office_knows kept;
    char text[24];
    enum fsp_rc rc = fsp_knows_read(journal, &kept, err);

    if (knows == NULL)
        knows = &nothing;
    if (rc != FSP_OK || (kept.dictionary == knows->dictionary &&
                                kept.short_receipt == knows->short_receipt))
        return rc;
    (void)snprintf(
            text, sizeof(text), "%u %d", knows->dictionary, knows->short_receipt ? 1 : 0);
    rc = fsp_db_begin(db, err);
    if (rc == FSP_OK)
        rc = fsp_journal_set_meta(db, KEY, text, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}

enum fsp_rc
fsp_knows_hear(
        struct fsp_journal *journal, const void *answers, size_t len, struct fsp_err *err)
{
    struct fsp_office_knows knows;

    if (!fsp_answers_knows(answers, len, &knows))
        return FSP_OK;
    if (knows.dictionary > FSP_DICTIONARY_NEWEST)
        knows.dictionary = FSP_DICTIONARY_NEWEST;
    return fsp_knows_keep(journal, &knows, err);
}
