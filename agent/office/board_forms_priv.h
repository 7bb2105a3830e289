/*
 * What board_forms.c, board_instruct.c and board_people.c share.
 */
#ifndef FSP_OFFICE_BOARD_FORMS_PRIV_H
#define FSP_OFFICE_BOARD_FORMS_PRIV_H

#include "office/board_forms.h"
#include "office/board_priv.h"

#define FSP_FORMS_BODY_MAX ((size_t)48 * 1024)

struct fsp_forms {
    struct fsp_forms_about about;
};

/* A page of ours with its heading, in the frame of all pages: begin before, end after what is in it.
 * here: its place in the navigation, NULL. */
void fsp_forms_begin(struct fsp_http_answer *answer, struct fsp_html *html,
        const struct fsp_viewer *viewer, const char *title, const char *here);
void fsp_forms_end(struct fsp_html *html);
/* One paragraph that says what was done. */
void fsp_forms_told(struct fsp_html *html, const char *text);

#endif
