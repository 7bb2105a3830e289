/* roster: who may inspect and countersign. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "line/say.h"
#include "office/cmd.h"
#include "office/rosters.h"
#include "office/table.h"

#define DAY_LEN 10 /* 2026-03-01 */

struct rostering {
    struct fsp_office_keys keys;
    struct fsp_shelf *shelf;
    struct fsp_roster *roster;
    struct fsp_buf out;
};

/* A day of UTC, its first second. */
static enum fsp_rc
read_day(const char *option, const char *text, int64_t *out, struct fsp_err *err)
{
    char time[FSP_TIME_TEXT_LEN + 1] = "0000-00-00T00:00:00Z";

    if (strlen(text) == DAY_LEN) {
        memcpy(time, text, DAY_LEN);
        if (fsp_time_parse(time, NULL, out, NULL) == FSP_OK)
            return FSP_OK;
    }
    return fsp_err_set(err, FSP_EINVAL, "--%s %.40s: not a day of the form 2026-03-01 (UTC)",
            option, text);
}

static enum fsp_rc
need_day(struct fsp_args *args, const char *option, int64_t *out, struct fsp_err *err)
{
    const char *text = fsp_args_get(args, option);

    if (text == NULL)
        return fsp_err_set(err, FSP_EINVAL, "--%s DAY is needed, as 2026-03-01", option);
    return read_day(option, text, out, err);
}

static enum fsp_rc
read_may(struct fsp_args *args, unsigned *may, struct fsp_err *err)
{
    const char *text = fsp_args_get(args, "may");

    *may = 0;
    if (text != NULL && strcmp(text, "inspect") == 0)
        *may = FSP_MAY_INSPECT;
    else if (text != NULL && strcmp(text, "countersign") == 0)
        *may = FSP_MAY_COUNTERSIGN;
    else if (text != NULL && (strcmp(text, "inspect,countersign") == 0 ||
                                     strcmp(text, "countersign,inspect") == 0))
        *may = FSP_MAY_INSPECT | FSP_MAY_COUNTERSIGN;
    else
        return fsp_err_set(err, FSP_EINVAL,
                "--may is needed: inspect, countersign, or inspect,countersign");
    return FSP_OK;
}

/* ---- changes ------------------------------------------------------------------------------- */

static enum fsp_rc
add(struct fsp_args *args, struct fsp_roster *roster, struct fsp_err *err)
{
    const char *text = fsp_args_rest(args, 1);
    const char *to = fsp_args_get(args, "to");
    struct fsp_roster_signer *signer = &roster->signer[roster->n];
    char fleet[FSP_NAME_MAX + 1];
    enum fsp_rc rc;

    if (roster->n == FSP_ROSTER_SIGNERS_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "the roster has %d keys, and no room for more",
                FSP_ROSTER_SIGNERS_MAX);
    memset(signer, 0, sizeof(*signer));
    rc = fsp_vkey_parse(&signer->vkey, text, strlen(text), err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, FSP_EINVAL, "the signer's verifier key");
    if (!fsp_signer_key_parts(&signer->vkey, fleet, &signer->name) ||
            strcmp(fleet, roster->fleet) != 0)
        return fsp_err_set(err, FSP_EINVAL, "%s: not the key of a signer of fleet %s",
                signer->vkey.name, roster->fleet);
    for (size_t i = 0; i < roster->n; i++)
        if (memcmp(roster->signer[i].vkey.pub, signer->vkey.pub, sizeof(signer->vkey.pub)) == 0)
            return fsp_err_set(err, FSP_EINVAL,
                    "%s: this key is on the roster already; use 'roster end' or 'roster "
                    "revoke', and a new key for a new period",
                    signer->vkey.name);
    signer->until_s = INT64_MAX;
    rc = need_day(args, "from", &signer->from_s, err);
    if (rc == FSP_OK && to != NULL) {
        rc = read_day("to", to, &signer->until_s, err);
        signer->until_s += rc == FSP_OK ? FSP_S_PER_DAY : 0;
    }
    if (rc == FSP_OK && signer->until_s <= signer->from_s)
        rc = fsp_err_set(err, FSP_EINVAL, "--to is before --from");
    if (rc == FSP_OK)
        rc = read_may(args, &signer->may, err);
    if (rc == FSP_OK)
        roster->n++;
    return rc;
}

/* By the whole verifier key, or by the name when that says which. */
static enum fsp_rc
find(struct fsp_roster *roster, const char *text, struct fsp_roster_signer **out,
        struct fsp_err *err)
{
    struct fsp_vkey vkey;
    bool by_key = fsp_vkey_parse(&vkey, text, strlen(text), NULL) == FSP_OK;
    size_t found = 0;

    for (size_t i = 0; i < roster->n; i++) {
        struct fsp_roster_signer *signer = &roster->signer[i];

        if (by_key ? !fsp_vkey_equal(&signer->vkey, &vkey) : strcmp(signer->name, text) != 0)
            continue;
        *out = signer;
        found++;
    }
    if (found == 0)
        return fsp_err_set(err, FSP_ENOTFOUND, "%.200s: not on the roster", text);
    if (found > 1)
        return fsp_err_set(err, FSP_EINVAL,
                "%.60s has %zu keys on the roster; give the verifier key", text, found);
    return FSP_OK;
}

static enum fsp_rc
end(struct fsp_args *args, struct fsp_roster *roster, struct fsp_err *err)
{
    struct fsp_roster_signer *signer = NULL;
    int64_t day_s = 0;
    enum fsp_rc rc = find(roster, fsp_args_rest(args, 1), &signer, err);

    if (rc == FSP_OK)
        rc = need_day(args, "to", &day_s, err);
    if (rc != FSP_OK)
        return rc;
    if (day_s < signer->from_s)
        return fsp_err_set(err, FSP_EINVAL, "--to is before the first day of %s", signer->name);
    signer->until_s = day_s + FSP_S_PER_DAY;
    return FSP_OK;
}

static enum fsp_rc
revoke(struct fsp_args *args, struct fsp_roster *roster, struct fsp_err *err)
{
    const char *text = fsp_args_get(args, "at");
    struct fsp_roster_signer *signer = NULL;
    int64_t at_s = 0;
    enum fsp_rc rc = find(roster, fsp_args_rest(args, 1), &signer, err);

    if (rc == FSP_OK && text == NULL)
        rc = fsp_err_set(err, FSP_EINVAL,
                "--at TIME is needed: since when the key may be somebody else's");
    if (rc == FSP_OK && fsp_time_parse(text, NULL, &at_s, err) != FSP_OK)
        rc = fsp_err_wrap(err, FSP_EINVAL, "--at");
    if (rc != FSP_OK || signer == NULL)
        return rc;
    if (signer->revoked && signer->revoked_s <= at_s)
        return fsp_err_set(
                err, FSP_EINVAL, "%s is revoked since an earlier time already", signer->name);
    signer->revoked = true;
    signer->revoked_s = at_s;
    return FSP_OK;
}

static enum fsp_rc
again(struct fsp_args *args, struct fsp_roster *roster, struct fsp_err *err)
{
    (void)args;
    return roster->version > 0 ? FSP_OK
                               : fsp_err_set(err, FSP_ENOTFOUND, "there is no roster yet");
}

static const struct {
    const char *name;
    size_t words;
    enum fsp_rc (*run)(struct fsp_args *args, struct fsp_roster *roster, struct fsp_err *err);
} changes[] = {{"add", 2, add}, {"end", 2, end}, {"revoke", 2, revoke}, {"send", 1, again}};

/* The newest, or an empty one of our fleet. */
static enum fsp_rc
load(struct rostering *it, bool empty_too, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_rosters_newest(it->shelf, &it->keys, &it->roster, err);

    if (rc != FSP_ENOTFOUND || !empty_too)
        return rc;
    it->roster = calloc(1, sizeof(*it->roster));
    if (it->roster == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    return it->shelf->ops->fleet(it->shelf->ctx, it->roster->fleet, err);
}

static enum fsp_rc
change(struct fsp_args *args, struct rostering *it, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    const char *word = fsp_args_rest(args, 0);
    size_t k = 0;
    enum fsp_rc rc;

    while (k < sizeof(changes) / sizeof(changes[0]) && strcmp(changes[k].name, word) != 0)
        k++;
    if (k == sizeof(changes) / sizeof(changes[0]))
        return fsp_err_set(err, FSP_EINVAL,
                "'%.40s': a roster has 'add KEY', 'end KEY', 'revoke KEY' and 'send'", word);
    rc = fsp_args_rest_within(args, changes[k].words, changes[k].words, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->begin(it->shelf->ctx, true, err);
    if (rc == FSP_OK)
        rc = load(it, true, err);
    if (rc == FSP_OK)
        rc = changes[k].run(args, it->roster, err);
    if (rc == FSP_OK)
        rc = fsp_rosters_issue(it->shelf, &it->keys, office->env, it->roster, NULL, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->commit(it->shelf->ctx, err);
    else
        it->shelf->ops->rollback(it->shelf->ctx);
    if (rc == FSP_OK)
        fsp_buf_printf(&it->out, "roster %" PRIu64 " with %zu key%s waits for every rig\n",
                it->roster->version, it->roster->n, it->roster->n == 1 ? "" : "s");
    return rc;
}

/* ---- what is shown ------------------------------------------------------------------------- */

static void
day_text(int64_t at_s, char out[FSP_TIME_TEXT_LEN + 1])
{
    fsp_time_text(at_s, out);
    out[DAY_LEN] = '\0';
}

static const char *
may_text(unsigned may)
{
    if (may == (FSP_MAY_INSPECT | FSP_MAY_COUNTERSIGN))
        return "inspect,countersign";
    return may == FSP_MAY_INSPECT ? "inspect" : "countersign";
}

static void
show_json(const struct fsp_roster *roster, struct fsp_buf *out)
{
    bool first = true;

    fsp_buf_add_byte(out, '{');
    fsp_say_member_text(out, &first, "fleet", roster->fleet);
    fsp_say_member_count(out, &first, "version", roster->version);
    fsp_say_member_time(out, &first, "made", roster->made_s);
    fsp_say_key(out, &first, "signers");
    fsp_buf_add_byte(out, '[');
    for (size_t i = 0; i < roster->n; i++) {
        const struct fsp_roster_signer *signer = &roster->signer[i];
        char day[FSP_TIME_TEXT_LEN + 1];
        struct fsp_buf vkey;

        first = true;
        fsp_buf_init(&vkey, FSP_VKEY_MAX);
        fsp_vkey_write(&signer->vkey, &vkey);
        fsp_buf_add_text(out, i > 0 ? ",{" : "{");
        fsp_say_member_text(out, &first, "name", signer->name);
        fsp_say_member_text(out, &first, "key", fsp_buf_peek(&vkey));
        day_text(signer->from_s, day);
        fsp_say_member_text(out, &first, "from", day);
        if (signer->until_s != INT64_MAX)
            day_text(signer->until_s - FSP_S_PER_DAY, day);
        fsp_say_member_text(out, &first, "to", signer->until_s == INT64_MAX ? NULL : day);
        fsp_say_member_text(out, &first, "may", may_text(signer->may));
        fsp_say_member_time(out, &first, "revoked", signer->revoked ? signer->revoked_s : 0);
        fsp_buf_add_byte(out, '}');
        fsp_buf_fini(&vkey);
    }
    fsp_buf_add_text(out, "]}\n");
}

static void
show_table(const struct fsp_roster *roster, bool csv, struct fsp_buf *out)
{
    static const struct fsp_column columns[] = {FSP_COLUMN_TEXT("signer", "name"),
            FSP_COLUMN_TEXT("from", "from"), FSP_COLUMN_TEXT("to", "to"),
            FSP_COLUMN_TEXT("may", "may"), FSP_COLUMN_TIME("revoked", "revoked"),
            FSP_COLUMN_TEXT("key", "key")};
    struct fsp_table table;
    struct fsp_buf vkey;

    fsp_buf_init(&vkey, FSP_VKEY_MAX);
    fsp_table_begin(&table, columns, sizeof(columns) / sizeof(columns[0]),
            csv ? FSP_TABLE_CSV : FSP_TABLE_TEXT, out);
    for (size_t i = 0; i < roster->n; i++) {
        const struct fsp_roster_signer *signer = &roster->signer[i];
        char text[FSP_TIME_TEXT_LEN + 1];

        fsp_table_text(&table, "name", signer->name);
        day_text(signer->from_s, text);
        fsp_table_text(&table, "from", text);
        if (signer->until_s != INT64_MAX)
            day_text(signer->until_s - FSP_S_PER_DAY, text);
        fsp_table_text(&table, "to", signer->until_s == INT64_MAX ? NULL : text);
        fsp_table_text(&table, "may", may_text(signer->may));
        fsp_table_time(&table, "revoked", signer->revoked ? signer->revoked_s : 0);
        fsp_buf_reset(&vkey);
        fsp_vkey_write(&signer->vkey, &vkey);
        fsp_table_text(&table, "key", fsp_buf_peek(&vkey));
    }
    fsp_table_end(&table);
    fsp_buf_fini(&vkey);
}

static enum fsp_rc
show(struct fsp_args *args, struct rostering *it, struct fsp_err *err)
{
    char made[FSP_TIME_TEXT_LEN + 1];
    enum fsp_rc rc = it->shelf->ops->begin(it->shelf->ctx, false, err);

    if (rc == FSP_OK)
        rc = load(it, false, err);
    it->shelf->ops->rollback(it->shelf->ctx);
    if (rc != FSP_OK)
        return rc;
    if (fsp_args_has(args, "json")) {
        show_json(it->roster, &it->out);
    } else if (fsp_args_has(args, "csv")) {
        show_table(it->roster, true, &it->out);
    } else {
        fsp_time_text(it->roster->made_s, made);
        fsp_buf_printf(&it->out, "roster %" PRIu64 " of fleet %s, made %s\n",
                it->roster->version, it->roster->fleet, made);
        show_table(it->roster, false, &it->out);
    }
    return FSP_OK;
}

int
fsp_cmd_roster(struct fsp_args *args)
{
    struct rostering it = {.shelf = NULL};
    struct fsp_err err = {0};
    const char *store = NULL;
    bool writes = fsp_args_rest_count(args) > 0;
    enum fsp_rc rc = FSP_OK;
    int status;

    fsp_buf_init(&it.out, FSP_OFFICE_OUTPUT);
    if (fsp_args_has(args, "json") && fsp_args_has(args, "csv"))
        rc = fsp_err_set(&err, FSP_EINVAL, "--json and --csv: give one of them");
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, writes ? FSP_SHELF_WRITE : FSP_SHELF_READ, &it.shelf, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&it.keys, store, &err);
    if (rc == FSP_OK)
        rc = writes ? change(args, &it, &err) : show(args, &it, &err);
    status = rc == FSP_OK ? fsp_cmd_print(&it.out) : fsp_cmd_fail(rc, &err);
    fsp_roster_free(it.roster);
    fsp_office_keys_fini(&it.keys);
    fsp_shelf_close(it.shelf);
    fsp_buf_fini(&it.out);
    return status;
}
