/* Forms: every control with its label, hint and fault tied to it. */
#include <stdio.h>
#include <string.h>

#include "web/html.h"

#define ID_MAX 80

void
fsp_html_form(struct fsp_html *html, const char *action, const char *token)
{
    fsp_html_open(html, "form");
    fsp_html_attr(html, "method", "post");
    fsp_html_attr(html, "action", action);
    fsp_html_attr(html, "accept-charset", "utf-8");
    if (token != NULL)
        fsp_html_hidden(html, "form", token);
}

void
fsp_html_search(struct fsp_html *html, const char *action)
{
    fsp_html_open(html, "form");
    fsp_html_attr(html, "method", "get");
    fsp_html_attr(html, "action", action);
    fsp_html_attr(html, "accept-charset", "utf-8");
}

void
fsp_html_hidden(struct fsp_html *html, const char *name, const char *value)
{
    fsp_html_void(html, "input");
    fsp_html_attr(html, "type", "hidden");
    fsp_html_attr(html, "name", name);
    fsp_html_attr(html, "value", value);
}

static const char *
own_id(const struct fsp_html_control *control)
{
    return control->id != NULL ? control->id : control->name;
}

static void
id_of(const struct fsp_html_control *control, const char *what, char out[static ID_MAX])
{
    (void)snprintf(out, ID_MAX, "%.60s-%s", own_id(control), what);
}

/* The paragraph, its label, and what is said of it. */
static void
begin_control(struct fsp_html *html, const struct fsp_html_control *control)
{
    char id[ID_MAX];

    fsp_html_open(html, "p");
    fsp_html_attr(html, "class", "control");
    fsp_html_open(html, "label");
    fsp_html_attr(html, "for", own_id(control));
    fsp_html_text(html, control->label);
    fsp_html_close(html);
    if (control->hint != NULL) {
        id_of(control, "hint", id);
        fsp_html_open(html, "span");
        fsp_html_attr(html, "class", "hint");
        fsp_html_attr(html, "id", id);
        fsp_html_text(html, control->hint);
        fsp_html_close(html);
    }
    if (control->fault != NULL) {
        id_of(control, "fault", id);
        fsp_html_open(html, "span");
        fsp_html_attr(html, "class", "fault");
        fsp_html_attr(html, "id", id);
        fsp_html_text(html, control->fault);
        fsp_html_close(html);
    }
}

/* The attributes that every kind of control bears. */
static void
common_attrs(struct fsp_html *html, const struct fsp_html_control *control)
{
    char hint[ID_MAX];
    char fault[ID_MAX];
    char both[2 * ID_MAX + 1];
    char max[24];

    fsp_html_attr(html, "id", own_id(control));
    fsp_html_attr(html, "name", control->name);
    if (control->autocomplete != NULL)
        fsp_html_attr(html, "autocomplete", control->autocomplete);
    if (control->max > 0) {
        (void)snprintf(max, sizeof(max), "%zu", control->max);
        fsp_html_attr(html, "maxlength", max);
    }
    if (control->needed)
        fsp_html_attr(html, "required", "");
    if (control->first)
        fsp_html_attr(html, "autofocus", "");
    if (control->fault != NULL)
        fsp_html_attr(html, "aria-invalid", "true");
    if (control->hint == NULL && control->fault == NULL)
        return;
    id_of(control, "hint", hint);
    id_of(control, "fault", fault);
    (void)snprintf(both, sizeof(both), "%s%s%s", control->hint != NULL ? hint : "",
            control->hint != NULL && control->fault != NULL ? " " : "",
            control->fault != NULL ? fault : "");
    fsp_html_attr(html, "aria-describedby", both);
}

void
fsp_html_input(struct fsp_html *html, const struct fsp_html_control *control)
{
    const char *type = control->type != NULL ? control->type : "text";

    begin_control(html, control);
    fsp_html_void(html, "input");
    fsp_html_attr(html, "type", type);
    common_attrs(html, control);
    if (control->value != NULL && strcmp(type, "password") != 0)
        fsp_html_attr(html, "value", control->value);
    fsp_html_close(html);
}

/* The value line by line: fsp_html_text() would show a line's end as an escape. */
static void
lines(struct fsp_html *html, const char *text)
{
    while (text != NULL) {
        const size_t len = strcspn(text, "\n");

        fsp_html_text_n(html, text, len);
        if (text[len] == '\0')
            break;
        fsp_html_line(html);
        text += len + 1;
    }
}

void
fsp_html_hidden_lines(struct fsp_html *html, const char *name, const char *value)
{
    fsp_html_open(html, "textarea");
    fsp_html_attr(html, "name", name);
    fsp_html_attr(html, "hidden", "");
    fsp_html_attr(html, "readonly", "");
    fsp_html_line(html);
    lines(html, value);
    fsp_html_close(html);
}

void
fsp_html_textarea(struct fsp_html *html, const struct fsp_html_control *control, unsigned rows)
{
    char number[16];

    begin_control(html, control);
    fsp_html_open(html, "textarea");
    common_attrs(html, control);
    (void)snprintf(number, sizeof(number), "%u", rows);
    fsp_html_attr(html, "rows", number);
    fsp_html_line(html); /* a parser drops the first one, and only that */
    lines(html, control->value);
    fsp_html_close(html);
    fsp_html_close(html);
}

void
fsp_html_select(struct fsp_html *html, const struct fsp_html_control *control,
        const struct fsp_html_choice *choices, size_t n)
{
    begin_control(html, control);
    fsp_html_open(html, "select");
    common_attrs(html, control);
    for (size_t i = 0; i < n; i++) {
        fsp_html_open(html, "option");
        fsp_html_attr(html, "value", choices[i].value);
        if (control->value != NULL && strcmp(control->value, choices[i].value) == 0)
            fsp_html_attr(html, "selected", "");
        fsp_html_text(html, choices[i].text != NULL ? choices[i].text : choices[i].value);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    fsp_html_close(html);
}

void
fsp_html_check(struct fsp_html *html, const char *name, const char *label, bool ticked)
{
    fsp_html_open(html, "p");
    fsp_html_attr(html, "class", "control");
    fsp_html_void(html, "input");
    fsp_html_attr(html, "type", "checkbox");
    fsp_html_attr(html, "id", name);
    fsp_html_attr(html, "name", name);
    fsp_html_attr(html, "value", "yes");
    if (ticked)
        fsp_html_attr(html, "checked", "");
    fsp_html_open(html, "label");
    fsp_html_attr(html, "for", name);
    fsp_html_text(html, label);
    fsp_html_close(html);
    fsp_html_close(html);
}

void
fsp_html_button(struct fsp_html *html, const char *text, const char *name, const char *value)
{
    fsp_html_open(html, "button");
    fsp_html_attr(html, "type", "submit");
    if (name != NULL)
        fsp_html_attr(html, "name", name);
    if (value != NULL)
        fsp_html_attr(html, "value", value);
    fsp_html_text(html, text);
    fsp_html_close(html);
}
