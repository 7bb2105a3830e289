/* POST /acknowledge, and what the pages with forms share. */
#include "office/board_forms.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "office/board_forms_priv.h"

enum fsp_rc
fsp_forms_new(const struct fsp_forms_about *about, struct fsp_forms **out, struct fsp_err *err)
{
    struct fsp_forms *forms = calloc(1, sizeof(*forms));

    *out = forms;
    if (forms == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    forms->about = *about;
    return FSP_OK;
}

void
fsp_forms_free(struct fsp_forms *forms)
{
    free(forms);
}

void
fsp_forms_begin(struct fsp_http_answer *answer, struct fsp_html *html,
        const struct fsp_viewer *viewer, const char *title, const char *here)
{
    const struct fsp_board_page page = {.viewer = viewer, .title = title, .here = here};

    answer->type = "text/html; charset=utf-8";
    fsp_html_begin(html, &answer->body);
    fsp_board_begin(html, &page);
}

void
fsp_forms_end(struct fsp_html *html)
{
    fsp_board_end(html);
    fsp_html_end(html);
}

void
fsp_forms_told(struct fsp_html *html, const char *text)
{
    fsp_html_open(html, "p");
    fsp_html_attr(html, "class", "banner");
    fsp_html_attr(html, "role", "status");
    fsp_html_text(html, text);
    fsp_html_close(html);
}

/* --- acknowledging ----------------------------------------------------------------------------- */

struct saw {
    const char *rig;
    const char *mark;
    const char *note;
    struct fsp_flag flag; /* as the view and the desk have it now */
};

/* The form again, with what was typed. */
static void
show_again(const struct fsp_viewer *viewer, const struct saw *saw, const char *fault,
        struct fsp_http_answer *answer)
{
    const struct fsp_html_control note = {.name = "note",
            .label = "You have looked: what you found",
            .value = saw->note,
            .autocomplete = "off",
            .max = FSP_FLAG_NOTE_MAX,
            .needed = true,
            .first = true};
    char base[24];
    char href[FSP_BOARD_LINK_MAX];
    struct fsp_html html;

    fsp_forms_begin(answer, &html, viewer, "Acknowledge a flag", NULL);
    fsp_gate_page_fault(&html, fault);
    fsp_html_element(&html, "p", NULL, saw->flag.text);
    if (saw->flag.acknowledged) {
        fsp_html_open(&html, "p");
        fsp_html_text(&html, "Said meanwhile by ");
        fsp_html_text(&html, saw->flag.acknowledged_by);
        fsp_html_text(&html, " (");
        fsp_board_time(&html, saw->flag.acknowledged_s);
        fsp_html_text(&html, "): ");
        fsp_html_text(&html, saw->flag.note);
        fsp_html_close(&html);
    }
    (void)snprintf(base, sizeof(base), "%lld", (long long)saw->flag.acknowledged_s);
    fsp_html_form(&html, "/acknowledge", viewer->form_token);
    fsp_html_hidden(&html, "rig", saw->rig);
    fsp_html_hidden(&html, "mark", saw->mark);
    fsp_html_hidden(&html, "base", base);
    fsp_html_input(&html, &note);
    fsp_html_button(&html, "Acknowledge", NULL, NULL);
    fsp_html_close(&html);
    fsp_html_open(&html, "p");
    fsp_board_rig_href(saw->rig, href);
    fsp_board_link(&html, "Back to the rig", href);
    fsp_html_close(&html);
    fsp_forms_end(&html);
}

/* The flag of this mark in the newest view. FSP_ENOTFOUND: there is no such rig, or the flag is gone. */
static enum fsp_rc
find_flag(struct fsp_forms *forms, struct saw *saw, struct fsp_err *err)
{
    const struct fsp_fleet *fleet = fsp_live_hold(forms->about.live);
    const struct fsp_fleet_rig *rig = fsp_fleet_find(fleet, saw->rig);
    enum fsp_rc rc = fsp_err_set(err, FSP_ENOTFOUND,
            rig == NULL ? "no such rig in this fleet"
                        : "this flag is not raised any more; nothing was changed");

    for (size_t i = 0; rig != NULL && i < rig->n_flags; i++)
        if (strcmp(rig->flags[i].mark, saw->mark) == 0) {
            saw->flag = rig->flags[i];
            rc = FSP_OK;
        }
    fsp_live_release(forms->about.live, fleet);
    return rc;
}

/* Between reading who looked and saying who looks nobody else gets at the desk. */
static enum fsp_rc
acknowledge(struct fsp_forms *forms, const struct fsp_viewer *viewer, const char *base,
        struct saw *saw, struct fsp_err *err)
{
    struct fsp_desk *desk = fsp_gate_take_desk(forms->about.gate);
    char now[24];
    enum fsp_rc rc = fsp_flags_acknowledged(desk, saw->rig, &saw->flag, 1, err);

    (void)snprintf(now, sizeof(now), "%lld", (long long)saw->flag.acknowledged_s);
    if (rc == FSP_OK && strcmp(base, now) != 0) {
        /* sent twice, by a double click: it is said already */
        rc = strcmp(saw->flag.acknowledged_by, viewer->name) == 0 &&
                             strcmp(saw->flag.note, saw->note) == 0
                     ? FSP_OK
                     : fsp_err_set(err, FSP_EAGAIN,
                               "somebody else acknowledged this flag since you opened the "
                               "page; "
                               "nothing was changed, and what you typed stands below");
    } else if (rc == FSP_OK) {
        rc = fsp_flags_acknowledge(desk, saw->rig, saw->mark, viewer->name, saw->note,
                fsp_gate_now_s(forms->about.gate), err);
    }
    fsp_gate_give_desk(forms->about.gate);
    return rc;
}

static void
handle_acknowledge(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_forms *forms = ctx;
    const char *base = fsp_http_value(request, "base");
    struct saw saw = {.rig = fsp_http_value(request, "rig"),
            .mark = fsp_http_value(request, "mark"),
            .note = fsp_http_value(request, "note")};
    char href[FSP_BOARD_LINK_MAX];
    struct fsp_viewer viewer;
    struct fsp_err err = {0};
    enum fsp_rc rc;

    if (!fsp_gate_look(forms->about.gate, request, FSP_RIGHT_ACKNOWLEDGE, &viewer, answer))
        return;
    if (saw.rig == NULL || saw.mark == NULL || base == NULL) {
        fsp_http_refuse(answer, 400, "rig, mark and base are needed; use the rig's page");
        return;
    }
    rc = find_flag(forms, &saw, &err);
    if (rc != FSP_OK) {
        fsp_http_refuse(answer, 404, err.text);
        return;
    }
    if (!fsp_gate_form_good(request, &viewer)) {
        show_again(&viewer, &saw,
                "This form was not of your session and nothing was changed. Look at it again "
                "and "
                "send it from here.",
                answer);
        answer->status = 403;
        return;
    }
    if (saw.note == NULL)
        rc = fsp_err_set(&err, FSP_EINVAL, "the note is empty: say what was found");
    else
        rc = acknowledge(forms, &viewer, base, &saw, &err);
    if (rc == FSP_OK) {
        fsp_board_rig_href(saw.rig, href);
        fsp_http_see_other(answer, href);
        return;
    }
    if (rc != FSP_EAGAIN && rc != FSP_EINVAL) {
        fsp_http_refuse(answer, 503, "the desk cannot be written now; nothing was changed");
        return;
    }
    show_again(&viewer, &saw, err.text, answer);
    answer->status = rc == FSP_EAGAIN ? 409 : 400;
}

const struct fsp_http_route *
fsp_board_form_routes(void)
{
    static const struct fsp_form_field fields[] = {
            FSP_GATE_FIELD,
            {.name = "rig", .max = FSP_NAME_MAX, .is = FSP_FIELD_NAME},
            {.name = "mark", .max = FSP_FLAG_MARK_MAX},
            {.name = "base", .max = 20, .is = FSP_FIELD_COUNT},
            {.name = "note", .max = FSP_FLAG_NOTE_MAX},
            {.name = NULL},
    };
    static const struct fsp_http_route routes[] = {
            {.method = "POST",
                    .path = "/acknowledge",
                    .body_max = FSP_FORMS_BODY_MAX,
                    .handle = handle_acknowledge,
                    .fields = fields},
            {.path = NULL},
    };

    return routes;
}
