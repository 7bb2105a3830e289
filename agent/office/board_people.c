/* /people: accounts and the trail, for keepers (and the trail for auditors); one's own password. */
#include <stdio.h>
#include <string.h>

#include "office/board_forms_priv.h"

#define TRAIL_SHOWN 200

/* What went wrong with which of the page's forms. */
struct outcome {
    const char *what; /* the form's `do`; NULL: none was sent */
    const char *fault;
    const char *done;
    int status;
};

static const struct fsp_html_choice roles[] = {{"reader", "reader: sees every page"},
        {"auditor", "auditor: and evidence and the trail"},
        {"engineer", "engineer: and acknowledges flags, writes instructions"},
        {"keeper", "keeper: and keeps accounts"}};
#define ROLES (sizeof(roles) / sizeof(roles[0]))

static const char *
fault_in(const struct outcome *outcome, const char *what)
{
    return outcome->what != NULL && strcmp(outcome->what, what) == 0 ? outcome->fault : NULL;
}

/* --- forms ------------------------------------------------------------------------------------- */

static void
begin_form(struct fsp_html *html, const struct fsp_viewer *viewer,
        const struct outcome *outcome, const char *what, const char *title)
{
    const char *fault = fault_in(outcome, what);

    fsp_html_open(html, "section");
    fsp_html_element(html, "h2", NULL, title);
    if (fault != NULL)
        fsp_gate_page_fault(html, fault);
    fsp_html_form(html, "/people", viewer->form_token);
    fsp_html_hidden(html, "do", what);
}

static void
end_form(struct fsp_html *html, const char *button)
{
    fsp_html_button(html, button, NULL, NULL);
    fsp_html_close(html);
    fsp_html_close(html);
}

static void
password_input(struct fsp_html *html, const char *name, const char *id, const char *label,
        bool current)
{
    const struct fsp_html_control control = {.name = name,
            .id = id,
            .label = label,
            .type = "password",
            .autocomplete = current ? "current-password" : "new-password",
            .hint = current || strcmp(name, "again") == 0
                            ? NULL
                            : "at least 10 characters; several words are easier to keep than "
                              "one hard one",
            .max = FSP_PASSWORD_MAX,
            .needed = true};

    fsp_html_input(html, &control);
}

static void
own_password(
        struct fsp_html *html, const struct fsp_viewer *viewer, const struct outcome *outcome)
{
    begin_form(html, viewer, outcome, "own-password", "Your password");
    password_input(html, "password", "own-now", "Password now", true);
    password_input(html, "new", "own-new", "New password", false);
    password_input(html, "again", "own-again", "The new one again", false);
    end_form(html, "Change it and log in again");
}

/* The name that a refused form bore, for that form alone. */
static const char *
typed_name(
        const struct fsp_http_request *request, const struct outcome *outcome, const char *what)
{
    return fault_in(outcome, what) != NULL ? fsp_http_value(request, "name") : NULL;
}

static void
keeper_forms(struct fsp_html *html, const struct fsp_http_request *request,
        const struct fsp_viewer *viewer, const struct outcome *outcome)
{
    struct fsp_html_control name = {.name = "name",
            .label = "Name",
            .autocomplete = "off",
            .max = FSP_NAME_MAX,
            .needed = true};
    struct fsp_html_control role = {.name = "role", .label = "Role"};

    begin_form(html, viewer, outcome, "add", "A new account");
    name.id = "add-name";
    name.value = typed_name(request, outcome, "add");
    name.hint = "a-z, 0-9 and inner hyphens";
    fsp_html_input(html, &name);
    role.id = "add-role";
    role.value = name.value != NULL ? fsp_http_value(request, "role") : NULL;
    fsp_html_select(html, &role, roles, ROLES);
    password_input(html, "new", "add-new", "Password", false);
    password_input(html, "again", "add-again", "The password again", false);
    password_input(html, "password", "add-own", "Your own password", true);
    end_form(html, "Add the account");

    name.hint = NULL;
    begin_form(html, viewer, outcome, "role", "Another role");
    name.id = "role-name";
    name.value = typed_name(request, outcome, "role");
    fsp_html_input(html, &name);
    role.id = "role-role";
    fsp_html_select(html, &role, roles, ROLES);
    password_input(html, "password", "role-own", "Your own password", true);
    end_form(html, "Change the role");

    begin_form(html, viewer, outcome, "password", "A new password for somebody");
    name.id = "password-name";
    name.value = typed_name(request, outcome, "password");
    fsp_html_input(html, &name);
    password_input(html, "new", "password-new", "New password", false);
    password_input(html, "again", "password-again", "The new one again", false);
    password_input(html, "password", "password-own", "Your own password", true);
    end_form(html, "Set the password");

    begin_form(html, viewer, outcome, "close", "Close an account");
    name.id = "close-name";
    name.value = typed_name(request, outcome, "close");
    fsp_html_input(html, &name);
    password_input(html, "password", "close-own", "Your own password", true);
    end_form(html, "Close the account");
}

/* --- tables ------------------------------------------------------------------------------------ */

#define COUNT(columns) (sizeof(columns) / sizeof((columns)[0]))

static enum fsp_rc
accounts_table(struct fsp_html *html, struct fsp_desk *desk, struct fsp_err *err)
{
    static const struct fsp_board_column columns[] = {
            {"Name", NULL}, {"Role", NULL}, {"Made", "t"}, {"Closed", "t"}, {"Last seen", "t"}};
    struct fsp_board_table table = {.cards = true};
    struct fsp_account account = {.role = FSP_ROLE_NONE};
    enum fsp_rc rc;

    fsp_board_table_begin(&table, html, "Accounts", columns, COUNT(columns));
    for (;;) {
        rc = fsp_people_next(desk, account.name, &account, err);
        if (rc != FSP_OK)
            break;
        fsp_board_row(&table);
        fsp_board_cell(&table, account.name);
        fsp_board_cell(&table, fsp_role_text(account.role));
        fsp_board_cell_time(&table, account.made_s, NULL);
        fsp_board_cell_time(&table, account.closed_s, NULL);
        fsp_board_cell_time(&table, account.seen_s, NULL);
        fsp_board_row_end(&table);
    }
    fsp_board_table_end(&table);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
trail_table(struct fsp_html *html, struct fsp_desk *desk, struct fsp_err *err)
{
    static const struct fsp_board_column columns[] = {
            {"Line", "n"}, {"At", "t"}, {"By", NULL}, {"Did", NULL}, {"What", NULL}};
    struct fsp_board_table table = {.cards = true};
    struct fsp_trail_line line = {.id = 0};
    enum fsp_rc rc = FSP_OK;

    fsp_board_table_begin(&table, html, "The trail, the newest first", columns, COUNT(columns));
    for (int i = 0; i < TRAIL_SHOWN; i++) {
        rc = fsp_people_trail_next(desk, line.id, &line, err);
        if (rc != FSP_OK)
            break;
        fsp_board_row(&table);
        fsp_board_cell_number(&table, true, (double)line.id, 0, NULL);
        fsp_board_cell_time(&table, line.at_s, NULL);
        fsp_board_cell(&table, line.by[0] == '\0' ? "nobody known" : line.by);
        fsp_board_cell(&table, line.did);
        fsp_board_cell(&table, line.what);
        fsp_board_row_end(&table);
    }
    fsp_board_table_end(&table);
    fsp_board_para(html,
            "The newest %d lines; all of them: farspool-office user trail --last N.",
            TRAIL_SHOWN);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static void
show(struct fsp_forms *forms, const struct fsp_http_request *request,
        const struct fsp_viewer *viewer, const struct outcome *outcome,
        struct fsp_http_answer *answer)
{
    const bool keeps = fsp_role_may(viewer->role, FSP_RIGHT_KEEP);
    struct fsp_err err = {0};
    struct fsp_desk *desk;
    struct fsp_html html;
    enum fsp_rc rc = FSP_OK;

    fsp_forms_begin(answer, &html, viewer, "People", "/people");
    if (outcome->status != 0)
        answer->status = outcome->status;
    if (outcome->done != NULL)
        fsp_forms_told(&html, outcome->done);
    desk = fsp_gate_take_desk(forms->about.gate);
    if (keeps)
        rc = accounts_table(&html, desk, &err);
    if (rc == FSP_OK && fsp_role_may(viewer->role, FSP_RIGHT_TRAIL))
        rc = trail_table(&html, desk, &err);
    fsp_gate_give_desk(forms->about.gate);
    own_password(&html, viewer, outcome);
    if (keeps)
        keeper_forms(&html, request, viewer, outcome);
    fsp_forms_end(&html);
    if (rc != FSP_OK)
        fsp_http_refuse(answer, 503, "the accounts cannot be read now; try again");
}

static void
handle_page(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_forms *forms = ctx;
    const struct outcome nothing = {.what = NULL,
            .done = fsp_http_value(request, "done") != NULL ? "It is done; the trail has it."
                                                            : NULL};
    struct fsp_viewer viewer;

    if (!fsp_gate_pass(forms->about.gate, request, FSP_RIGHT_READ, &viewer, answer))
        return;
    if (viewer.open) {
        fsp_http_refuse(answer, 200,
                "there is no account yet; make the first one with: farspool-office user add "
                "NAME --role keeper");
        return;
    }
    show(forms, request, &viewer, &nothing, answer);
}

/* --- changes ----------------------------------------------------------------------------------- */

/* Two entries of a new password that agree, hashed. */
static enum fsp_rc
hash_new(struct fsp_forms *forms, const struct fsp_http_request *request,
        char stored[static FSP_PASSWORD_STORED], struct fsp_err *err)
{
    const char *password = fsp_http_value(request, "new");
    const char *again = fsp_http_value(request, "again");

    if (password == NULL || again == NULL || strcmp(password, again) != 0)
        return fsp_err_set(
                err, FSP_EINVAL, "the two new passwords differ; nothing was changed");
    return fsp_gate_hash(forms->about.gate, password, stored, err);
}

static enum fsp_rc
change(struct fsp_forms *forms, const struct fsp_http_request *request,
        const struct fsp_viewer *viewer, const char *what, struct fsp_err *err)
{
    const bool own = strcmp(what, "own-password") == 0;
    const char *name = own ? viewer->name : fsp_http_value(request, "name");
    const char *role = fsp_http_value(request, "role");
    const char *password = fsp_http_value(request, "password");
    const struct fsp_by by = {.name = viewer->name, .now_s = fsp_gate_now_s(forms->about.gate)};
    char stored[FSP_PASSWORD_STORED] = "";
    struct fsp_desk *desk;
    enum fsp_rc rc;

    if (name == NULL || password == NULL)
        return fsp_err_set(err, FSP_EINVAL, "a name and your own password are needed");
    if (!own && strcmp(name, viewer->name) == 0 && strcmp(what, "add") != 0)
        return fsp_err_set(err, FSP_EINVAL,
                "%s is yourself; another keeper has to do this, or the command", name);
    rc = fsp_gate_check_password(forms->about.gate, request, viewer, password, err);
    if (rc == FSP_OK && (own || strcmp(what, "add") == 0 || strcmp(what, "password") == 0))
        rc = hash_new(forms, request, stored, err);
    if (rc != FSP_OK)
        return rc;
    desk = fsp_gate_take_desk(forms->about.gate);
    if (strcmp(what, "add") == 0)
        rc = fsp_people_add_stored(
                desk, &by, name, fsp_role_of(role != NULL ? role : ""), stored, err);
    else if (strcmp(what, "role") == 0)
        rc = fsp_people_set_role(desk, &by, name, fsp_role_of(role != NULL ? role : ""), err);
    else if (strcmp(what, "close") == 0)
        rc = fsp_people_close(desk, &by, name, err);
    else
        rc = fsp_people_set_password(desk, &by, name, stored, err);
    fsp_gate_give_desk(forms->about.gate);
    fsp_secret_wipe(stored, sizeof(stored));
    return rc;
}

static void
handle_change(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_forms *forms = ctx;
    const char *what = fsp_http_value(request, "do");
    const bool own = what != NULL && strcmp(what, "own-password") == 0;
    struct outcome outcome = {.what = what, .status = 400};
    struct fsp_viewer viewer;
    struct fsp_err err = {0};
    enum fsp_rc rc;

    if (!fsp_gate_pass(forms->about.gate, request, own ? FSP_RIGHT_READ : FSP_RIGHT_KEEP,
                &viewer, answer))
        return;
    if (what == NULL) {
        fsp_http_refuse(answer, 400, "do: is missing");
        return;
    }
    rc = change(forms, request, &viewer, what, &err);
    if (rc == FSP_OK) {
        fsp_http_see_other(answer, own ? "/log-in" : "/people?done=yes");
        return;
    }
    if (rc == FSP_EAGAIN)
        outcome.status = 429;
    else if (rc == FSP_EVERIFY)
        outcome.status = 403;
    else if (rc == FSP_EIO || rc == FSP_ENOMEM || rc == FSP_EBUSY)
        outcome.status = 503;
    outcome.fault = err.text;
    show(forms, request, &viewer, &outcome, answer);
}

const struct fsp_http_route *
fsp_board_people_routes(void)
{
    static const char *const whats[] = {
            "own-password", "add", "role", "password", "close", NULL};
    static const char *const words[] = {"reader", "auditor", "engineer", "keeper", NULL};
    static const char *const yes[] = {"yes", NULL};
    static const struct fsp_form_field page_fields[] = {
            {.name = "done", .max = 3, .is = FSP_FIELD_WORD, .words = yes},
            {.name = NULL},
    };
    static const struct fsp_form_field change_fields[] = {
            FSP_GATE_FIELD,
            {.name = "do", .max = 20, .is = FSP_FIELD_WORD, .words = whats},
            {.name = "name", .max = FSP_NAME_MAX},
            {.name = "role", .max = 20, .is = FSP_FIELD_WORD, .words = words},
            {.name = "password", .max = FSP_PASSWORD_MAX},
            {.name = "new", .max = FSP_PASSWORD_MAX},
            {.name = "again", .max = FSP_PASSWORD_MAX},
            {.name = NULL},
    };
    static const struct fsp_http_route routes[] = {
            {.method = "GET", .path = "/people", .handle = handle_page, .fields = page_fields},
            {.method = "POST",
                    .path = "/people",
                    .body_max = FSP_FORMS_BODY_MAX,
                    .handle = handle_change,
                    .fields = change_fields},
            {.path = NULL},
    };

    return routes;
}
