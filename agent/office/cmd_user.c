/* user: accounts of the people who use the pages, and the trail of what they did. */
#include <stdio.h>
#include <string.h>

#include "cli/secret.h"
#include "office/cmd.h"
#include "office/people.h"
#include "office/table.h"
#include "proof/signer.h"

#define TRAIL_USUAL 100
#define TRAIL_MOST  1000000

struct using
{
    struct fsp_desk *desk;
    struct fsp_by by;
    struct fsp_buf out;
};

/* --- what is changed --------------------------------------------------------------------------- */

/* A new password in locked memory, typed twice or read. Free it with fsp_passphrase_free(). */
static enum fsp_rc
new_password(struct fsp_args *args, const char *name, char **out, struct fsp_err *err)
{
    char prompt[FSP_NAME_MAX + 32];
    const struct fsp_secret_wish wish = {.what = "password",
            .from = fsp_args_get(args, "password-from"),
            .option = "password-from",
            .prompt = prompt,
            .size = FSP_PASSWORD_MAX + 2};
    char *again = fsp_passphrase_new();
    enum fsp_rc rc;

    *out = fsp_passphrase_new();
    (void)snprintf(prompt, sizeof(prompt), "new password of %.63s: ", name);
    if (*out == NULL || again == NULL)
        rc = fsp_err_set(err, FSP_ENOMEM, "out of (lockable) memory");
    else
        rc = fsp_secret_get(&wish, *out, again, err);
    if (rc == FSP_OK)
        rc = fsp_password_check(*out, err);
    fsp_passphrase_free(again);
    if (rc != FSP_OK) {
        fsp_passphrase_free(*out);
        *out = NULL;
    }
    return rc;
}

static enum fsp_rc
role_of(const char *text, enum fsp_role *role, struct fsp_err *err)
{
    *role = text == NULL ? FSP_ROLE_NONE : fsp_role_of(text);
    if (*role != FSP_ROLE_NONE)
        return FSP_OK;
    if (text == NULL)
        return fsp_err_set(err, FSP_EINVAL, "--role: give reader, auditor, engineer or keeper");
    return fsp_err_set(
            err, FSP_EINVAL, "'%.40s': a role is reader, auditor, engineer or keeper", text);
}

static enum fsp_rc
add(struct fsp_args *args, struct using *it, struct fsp_err *err)
{
    const char *name = fsp_args_rest(args, 1);
    enum fsp_role role = FSP_ROLE_NONE;
    char *password = NULL;
    enum fsp_rc rc = role_of(fsp_args_get(args, "role"), &role, err);

    if (rc == FSP_OK)
        rc = new_password(args, name, &password, err);
    if (rc == FSP_OK)
        rc = fsp_people_add(it->desk, &it->by, name, role, password, err);
    fsp_passphrase_free(password);
    if (rc == FSP_OK)
        fsp_buf_printf(&it->out, "%s may log in as %s\n", name, fsp_role_text(role));
    return rc;
}

static enum fsp_rc
change_role(struct fsp_args *args, struct using *it, struct fsp_err *err)
{
    const char *name = fsp_args_rest(args, 1);
    enum fsp_role role = FSP_ROLE_NONE;
    enum fsp_rc rc = role_of(fsp_args_rest(args, 2), &role, err);

    if (rc == FSP_OK)
        rc = fsp_people_set_role(it->desk, &it->by, name, role, err);
    if (rc == FSP_OK)
        fsp_buf_printf(
                &it->out, "%s is %s now and has to log in again\n", name, fsp_role_text(role));
    return rc;
}

static enum fsp_rc
change_password(struct fsp_args *args, struct using *it, struct fsp_err *err)
{
    const char *name = fsp_args_rest(args, 1);
    char stored[FSP_PASSWORD_STORED];
    struct fsp_account account;
    char *password = NULL;
    enum fsp_rc rc = fsp_people_find(it->desk, name, &account, err);

    if (rc == FSP_ENOTFOUND)
        return fsp_err_wrap(err, rc, "%.63s", name);
    if (rc == FSP_OK)
        rc = new_password(args, name, &password, err);
    if (rc == FSP_OK)
        rc = fsp_password_hash(password, stored, err);
    fsp_passphrase_free(password);
    if (rc == FSP_OK)
        rc = fsp_people_set_password(it->desk, &it->by, name, stored, err);
    fsp_secret_wipe(stored, sizeof(stored));
    if (rc == FSP_OK)
        fsp_buf_printf(&it->out, "%s has a new password and has to log in again\n", name);
    return rc;
}

static enum fsp_rc
close_account(struct fsp_args *args, struct using *it, struct fsp_err *err)
{
    const char *name = fsp_args_rest(args, 1);
    enum fsp_rc rc = fsp_people_close(it->desk, &it->by, name, err);

    if (rc == FSP_OK)
        fsp_buf_printf(&it->out, "%s may not log in any more\n", name);
    return rc;
}

/* --- what is listed ---------------------------------------------------------------------------- */

static enum fsp_table_form
form_of(const struct fsp_args *args)
{
    if (fsp_args_has(args, "json"))
        return FSP_TABLE_JSON;
    return fsp_args_has(args, "csv") ? FSP_TABLE_CSV : FSP_TABLE_TEXT;
}

static enum fsp_rc
list(struct fsp_args *args, struct using *it, struct fsp_err *err)
{
    static const struct fsp_column columns[] = {FSP_COLUMN_TEXT("name", "name"),
            FSP_COLUMN_TEXT("role", "role"), FSP_COLUMN_TIME("made", "made"),
            FSP_COLUMN_TIME("closed", "closed"), FSP_COLUMN_TIME("last seen", "seen")};
    struct fsp_account account = {.role = FSP_ROLE_NONE};
    struct fsp_table table;
    enum fsp_rc rc = FSP_OK;
    bool any;

    fsp_table_begin(
            &table, columns, sizeof(columns) / sizeof(columns[0]), form_of(args), &it->out);
    while (it->desk != NULL) {
        rc = fsp_people_next(it->desk, account.name, &account, err);
        if (rc != FSP_OK)
            break;
        fsp_table_text(&table, "name", account.name);
        fsp_table_text(&table, "role", fsp_role_text(account.role));
        fsp_table_time(&table, "made", account.made_s);
        fsp_table_time(&table, "closed", account.closed_s);
        fsp_table_time(&table, "seen", account.seen_s);
    }
    any = table.rows > 0;
    fsp_table_end(&table);
    if (!any && form_of(args) == FSP_TABLE_TEXT) {
        fsp_buf_reset(&it->out); /* the titles alone say nothing */
        fsp_buf_add_text(&it->out, "no account yet: the pages can be read by whoever reaches "
                                   "them, and nothing can be changed there\n");
    }
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
trail(struct fsp_args *args, struct using *it, struct fsp_err *err)
{
    static const struct fsp_column columns[] = {{"line", "line", FSP_CELL_COUNT, 0, NULL, NULL},
            FSP_COLUMN_TIME("at", "at"), FSP_COLUMN_TEXT("by", "by"),
            FSP_COLUMN_TEXT("did", "did"), FSP_COLUMN_TEXT("what", "what")};
    struct fsp_trail_line line = {.id = 0};
    struct fsp_table table;
    uint64_t most = TRAIL_USUAL;
    enum fsp_rc rc = fsp_args_u64(args, "last", 1, TRAIL_MOST, &most, err);

    if (rc != FSP_OK)
        return rc;
    fsp_table_begin(
            &table, columns, sizeof(columns) / sizeof(columns[0]), form_of(args), &it->out);
    for (uint64_t n = 0; n < most && it->desk != NULL; n++) {
        rc = fsp_people_trail_next(it->desk, line.id, &line, err);
        if (rc != FSP_OK)
            break;
        fsp_table_count(&table, "line", true, (uint64_t)line.id);
        fsp_table_time(&table, "at", line.at_s);
        fsp_table_text(&table, "by", line.by[0] == '\0' ? NULL : line.by);
        fsp_table_text(&table, "did", line.did);
        fsp_table_text(&table, "what", line.what);
    }
    fsp_table_end(&table);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

/* --- the words --------------------------------------------------------------------------------- */

static const struct word {
    const char *name;
    size_t words; /* with its own */
    bool writes;
    enum fsp_rc (*run)(struct fsp_args *args, struct using *it, struct fsp_err *err);
} verbs[] = {
        {"add", 2, true, add},
        {"role", 3, true, change_role},
        {"password", 2, true, change_password},
        {"close", 2, true, close_account},
        {"list", 1, false, list},
        {"trail", 1, false, trail},
};

static const struct word *
find_verb(struct fsp_args *args)
{
    const char *name = fsp_args_rest_count(args) == 0 ? "list" : fsp_args_rest(args, 0);

    for (size_t i = 0; i < sizeof(verbs) / sizeof(verbs[0]); i++)
        if (strcmp(verbs[i].name, name) == 0 &&
                (fsp_args_rest_count(args) == verbs[i].words ||
                        (fsp_args_rest_count(args) == 0 && verbs[i].words == 1)))
            return &verbs[i];
    return NULL;
}

/* A store of another program, or none, is found before a desk is made beside it. */
static enum fsp_rc
open_desk(struct fsp_args *args, const struct word *verb, struct using *it, struct fsp_err *err)
{
    struct fsp_shelf *shelf = NULL;
    const char *store = NULL;
    enum fsp_rc rc =
            fsp_cmd_shelf(args, verb->writes ? FSP_SHELF_WRITE : FSP_SHELF_READ, &shelf, err);

    fsp_shelf_close(shelf);
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_desk_open(store, verb->writes, &it->desk, err);
    if (rc != FSP_ENOTFOUND || verb->writes)
        return rc;
    fsp_err_clear(err);
    return FSP_OK; /* no desk: nobody, nothing */
}

int
fsp_cmd_user(struct fsp_args *args)
{
    struct using it = {.desk = NULL, .by = {.name = "command", .now_s = fsp_cmd_now_s(args)}};
    const struct word *verb = find_verb(args);
    struct fsp_err err = {0};
    enum fsp_rc rc = FSP_OK;
    int status;

    fsp_buf_init(&it.out, FSP_OFFICE_OUTPUT);
    if (verb == NULL)
        rc = fsp_err_set(&err, FSP_EINVAL,
                "user add NAME, user role NAME ROLE, user password NAME, user close NAME, user "
                "list or user trail");
    if (rc == FSP_OK && fsp_args_has(args, "json") && fsp_args_has(args, "csv"))
        rc = fsp_err_set(&err, FSP_EINVAL, "--json and --csv: give one of them");
    if (rc == FSP_OK && verb != NULL)
        rc = open_desk(args, verb, &it, &err);
    if (rc == FSP_OK && verb != NULL)
        rc = verb->run(args, &it, &err);
    status = rc == FSP_OK ? fsp_cmd_print(&it.out) : fsp_cmd_fail(rc, &err);
    fsp_desk_close(it.desk);
    fsp_buf_fini(&it.out);
    return status;
}
