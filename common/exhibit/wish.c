#include <inttypes.h>
#include <string.h>

#include "base/clock.h"
#include "base/text.h"
#include "exhibit/exhibit.h"

enum fsp_rc
fsp_exhibit_numbers(struct fsp_exhibit_wish *wish, const char *word, struct fsp_err *err)
{
    const char *dash = strchr(word, '-');
    const size_t len = dash == NULL ? strlen(word) : (size_t)(dash - word);

    wish->what = dash == NULL ? FSP_EXHIBIT_ENTRY : FSP_EXHIBIT_RANGE;
    if (fsp_text_u64(word, len, &wish->first) != FSP_OK ||
            (dash != NULL && fsp_text_u64(dash + 1, strlen(dash + 1), &wish->last) != FSP_OK) ||
            (dash != NULL && wish->last < wish->first))
        return fsp_err_set(err, FSP_EINVAL,
                "'%.40s': an entry's number is needed, counted from 0, or FROM-TO", word);
    if (dash == NULL)
        wish->last = wish->first;
    return FSP_OK;
}

static enum fsp_rc
take_time(const char *text, const char *name, bool *has, int64_t *time_s, struct fsp_err *err)
{
    *has = text != NULL;
    if (text == NULL || fsp_time_parse(text, NULL, time_s, NULL) == FSP_OK)
        return FSP_OK;
    return fsp_err_set(err, FSP_EINVAL, "--%s %.40s: a time is needed, as 2026-03-01T00:00:00Z",
            name, text);
}

enum fsp_rc
fsp_exhibit_words(struct fsp_exhibit_wish *wish, const struct fsp_exhibit_words *words,
        struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    wish->folder = words->folder;
    wish->hold_back = words->hold_back;
    if (words->folder == NULL)
        return fsp_err_set(err, FSP_EINVAL, "--out DIR is needed: where to write the evidence");
    if (words->inspections && words->whole)
        return fsp_err_set(err, FSP_EINVAL, "either --inspections or --whole");
    if ((words->inspections || words->whole) == (words->numbers != NULL))
        return fsp_err_set(err, FSP_EINVAL,
                "say what to prove: an entry's number, FROM-TO, --inspections or --whole");
    if (words->numbers != NULL)
        rc = fsp_exhibit_numbers(wish, words->numbers, err);
    else
        wish->what = words->whole ? FSP_EXHIBIT_WHOLE : FSP_EXHIBIT_INSPECTIONS;
    if (rc == FSP_OK)
        rc = take_time(words->from, "from", &wish->has_from, &wish->from_s, err);
    if (rc == FSP_OK)
        rc = take_time(words->to, "to", &wish->has_to, &wish->to_s, err);
    if (rc != FSP_OK)
        return rc;
    if ((wish->has_from || wish->has_to) && !words->inspections)
        return fsp_err_set(err, FSP_EINVAL, "--from and --to go with --inspections");
    if (wish->has_from && wish->has_to && wish->from_s > wish->to_s)
        return fsp_err_set(err, FSP_EINVAL, "--from is behind --to");
    if (wish->hold_back && (words->whole || wish->what == FSP_EXHIBIT_ENTRY))
        return fsp_err_set(
                err, FSP_EINVAL, "--hold-back goes with --inspections or with FROM-TO");
    return FSP_OK;
}
