/* The frame of pages that need no fleet, and the line that says who looks. */
#include <string.h>

#include "office/gate.h"

void
fsp_gate_page_who(struct fsp_html *html, const struct fsp_viewer *viewer)
{
    if (viewer == NULL)
        return;
    fsp_html_open(html, "div");
    fsp_html_attr(html, "class", "who");
    if (viewer->open) {
        fsp_html_element(html, "p", "notice",
                "No account exists yet: whoever reaches these pages can read them, and nothing "
                "can be changed. The first account is made with farspool-office user add.");
    } else {
        fsp_html_form(html, "/log-out", viewer->form_token);
        fsp_html_open(html, "a");
        fsp_html_attr(html, "href", "/people");
        fsp_html_text(html, viewer->name);
        fsp_html_close(html);
        fsp_html_text(html, " (");
        fsp_html_text(html, fsp_role_text(viewer->role));
        fsp_html_text(html, ") ");
        fsp_html_button(html, "Log out", NULL, NULL);
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

void
fsp_gate_page_begin(struct fsp_html *html, const struct fsp_viewer *viewer, const char *title)
{
    fsp_html_open(html, "html");
    fsp_html_attr(html, "lang", "en");
    fsp_html_open(html, "head");
    fsp_html_void(html, "meta");
    fsp_html_attr(html, "charset", "utf-8");
    fsp_html_void(html, "meta");
    fsp_html_attr(html, "name", "viewport");
    fsp_html_attr(html, "content", "width=device-width, initial-scale=1");
    fsp_html_open(html, "title");
    fsp_html_text(html, "Farspool \xc2\xb7 ");
    fsp_html_text(html, title);
    fsp_html_close(html);
    fsp_html_void(html, "link");
    fsp_html_attr(html, "rel", "stylesheet");
    fsp_html_attr(html, "href", "/style.css");
    fsp_html_void(html, "link");
    fsp_html_attr(html, "rel", "icon");
    fsp_html_attr(html, "href", "/farspool.svg");
    fsp_html_close(html);
    fsp_html_open(html, "body");
    fsp_html_open(html, "header");
    fsp_html_open(html, "p");
    fsp_html_open(html, "a");
    fsp_html_attr(html, "href", "/");
    fsp_html_text(html, "Farspool");
    fsp_html_close(html);
    fsp_html_close(html);
    fsp_gate_page_who(html, viewer);
    fsp_html_close(html);
    fsp_html_open(html, "main");
    fsp_html_element(html, "h1", NULL, title);
}

void
fsp_gate_page_end(struct fsp_html *html)
{
    fsp_html_close(html); /* main */
    fsp_html_close(html); /* body */
    fsp_html_close(html);
}

void
fsp_gate_page_fault(struct fsp_html *html, const char *text)
{
    fsp_html_open(html, "p");
    fsp_html_attr(html, "class", "fault");
    fsp_html_attr(html, "role", "alert");
    fsp_html_text(html, text);
    fsp_html_close(html);
}
