/* The frame of every page: head, navigation, who looks, banners, and the end. */
#include <stdio.h>
#include <string.h>

#include "office/board_priv.h"

#define LAG_TOLD_S 10 /* a view that is behind for less is not worth a line */

static const struct {
    const char *href;
    const char *text;
    enum fsp_right right;
} places[] = {
        {"/", "Fleet", FSP_RIGHT_READ},
        {"/early", "Early cuts", FSP_RIGHT_READ},
        {"/line-life", "Line life", FSP_RIGHT_READ},
        {"/inspections", "Inspections", FSP_RIGHT_READ},
        {"/links", "Links", FSP_RIGHT_READ},
        {"/people", "People", FSP_RIGHT_EVIDENCE},
};

static void
head(struct fsp_html *html, const struct fsp_board_page *page)
{
    fsp_html_open(html, "head");
    fsp_html_void(html, "meta");
    fsp_html_attr(html, "charset", "utf-8");
    fsp_html_void(html, "meta");
    fsp_html_attr(html, "name", "viewport");
    fsp_html_attr(html, "content", "width=device-width, initial-scale=1");
    fsp_html_open(html, "title");
    fsp_html_text(html, page->title);
    fsp_html_text(html, " \xc2\xb7 ");
    if (page->fleet != NULL) {
        fsp_html_text(html, page->fleet->name);
        fsp_html_text(html, " \xc2\xb7 ");
    }
    fsp_html_text(html, "Farspool");
    fsp_html_close(html);
    fsp_html_void(html, "link");
    fsp_html_attr(html, "rel", "stylesheet");
    fsp_html_attr(html, "href", "/style.css");
    fsp_html_void(html, "link");
    fsp_html_attr(html, "rel", "icon");
    fsp_html_attr(html, "href", "/farspool.svg");
    if (page->plots) {
        fsp_html_script(html, "/chart.js");
        fsp_html_script(html, "/board.js");
    }
    fsp_html_close(html);
}

static void
navigation(struct fsp_html *html, const struct fsp_board_page *page)
{
    const struct fsp_viewer *viewer = page->viewer;

    fsp_html_open(html, "nav");
    fsp_html_attr(html, "aria-label", "Pages");
    fsp_html_open(html, "ul");
    for (size_t i = 0; i < sizeof(places) / sizeof(places[0]); i++) {
        if (places[i].right != FSP_RIGHT_READ &&
                (viewer->open || !fsp_role_may(viewer->role, places[i].right)))
            continue;
        fsp_html_open(html, "li");
        fsp_html_open(html, "a");
        fsp_html_attr(html, "href", places[i].href);
        if (page->here != NULL && strcmp(page->here, places[i].href) == 0)
            fsp_html_attr(html, "aria-current", "page");
        fsp_html_text(html, places[i].text);
        fsp_html_close(html);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    fsp_html_close(html);
}

static void
who(struct fsp_html *html, const struct fsp_viewer *viewer)
{
    if (viewer->name[0] == '\0')
        return;
    fsp_html_form(html, "/log-out", viewer->form_token);
    fsp_html_open(html, "span");
    fsp_html_attr(html, "class", "who");
    fsp_html_text(html, viewer->name);
    fsp_html_text(html, " (");
    fsp_html_text(html, fsp_role_text(viewer->role));
    fsp_html_text(html, ")");
    fsp_html_close(html);
    fsp_html_button(html, "Log out", NULL, NULL);
    fsp_html_close(html);
}

static void
top(struct fsp_html *html, const struct fsp_board_page *page)
{
    fsp_html_open(html, "header");
    fsp_html_open(html, "p");
    fsp_html_attr(html, "class", "brand");
    fsp_html_text(html, "Farspool");
    if (page->fleet != NULL) {
        fsp_html_text(html, " \xc2\xb7 ");
        fsp_html_element(html, "span", NULL, page->fleet->name);
    }
    fsp_html_close(html);
    navigation(html, page);
    who(html, page->viewer);
    fsp_html_close(html);
}

static void
banner(struct fsp_html *html, const char *text)
{
    fsp_html_open(html, "p");
    fsp_html_attr(html, "class", "banner");
    fsp_html_text(html, text);
    fsp_html_close(html);
}

static void
banners(struct fsp_html *html, const struct fsp_board_page *page)
{
    const struct fsp_live_lag *lag = page->lag;
    char text[512];

    if (page->viewer->open)
        banner(html, "Open: no account exists, so whoever reaches this address reads every "
                     "page, and nothing can be changed here. The first account is made with "
                     "farspool-office user add.");
    if (page->fleet != NULL && page->fleet->waiting > 0) {
        (void)snprintf(text, sizeof(text),
                "Filling: %zu of %zu rigs are not read yet; what is missing here comes when "
                "the page is opened again.",
                page->fleet->waiting, page->fleet->waiting + page->fleet->n);
        banner(html, text);
    }
    if (lag != NULL && lag->failed) {
        (void)snprintf(text, sizeof(text),
                "What stands here is older than what was received: %.256s", lag->failure);
        banner(html, text);
    } else if (lag != NULL && lag->entries > 0 && page->lag_s >= LAG_TOLD_S) {
        (void)snprintf(text, sizeof(text),
                "%llu entries of %zu rigs were received and are not counted here yet, the "
                "first of them for %lld s.",
                (unsigned long long)lag->entries, lag->rigs, (long long)page->lag_s);
        banner(html, text);
    }
}

void
fsp_board_begin(struct fsp_html *html, const struct fsp_board_page *page)
{
    fsp_html_open(html, "html");
    fsp_html_attr(html, "lang", "en");
    head(html, page);
    fsp_html_open(html, "body");
    fsp_html_open(html, "a");
    fsp_html_attr(html, "class", "skip");
    fsp_html_attr(html, "href", "#main");
    fsp_html_text(html, "Skip to the content");
    fsp_html_close(html);
    top(html, page);
    fsp_html_open(html, "main");
    fsp_html_attr(html, "id", "main");
    fsp_html_attr(html, "tabindex", "-1");
    fsp_html_element(html, "h1", NULL, page->title);
    if (page->fleet != NULL) {
        fsp_html_open(html, "p");
        fsp_html_attr(html, "class", "as-of");
        fsp_html_text(html, "As of ");
        fsp_board_time(html, page->fleet->as_of_s);
        fsp_html_text(html, ". Times are in UTC.");
        fsp_html_close(html);
    }
    banners(html, page);
}

void
fsp_board_end(struct fsp_html *html)
{
    fsp_html_close(html); /* main */
    fsp_html_element(html, "footer", NULL,
            "Counted from the rigs' signed records as the office holds them. Design factors "
            "and goals hold for sound line only; mast, block, anchor, drawworks and pipe are "
            "not checked here.");
    fsp_html_close(html);
    fsp_html_close(html);
}

void
fsp_board_caution(struct fsp_html *html)
{
    fsp_html_element(html, "p", "caution",
            "What is said here is the line's limit, never the rig's. An inspection overrules "
            "every count. The makers' figures, local codes and licensed practice come first.");
}
