/*
 * Who may see a page and who may change something: sessions, rights and forms of the office's pages.
 *
 * As long as no account exists every page can be read by whoever reaches the listener and nothing can
 * be changed; from the first account on (`farspool-office user add`) every page asks for a log-in.
 * Every change is a POST with the session's form token; without it, or with another's, it is 403 and
 * nothing happens. Cookies are HttpOnly, SameSite=Strict, and Secure over TLS. Checking a password
 * takes 64 MiB: at most FSP_GATE_HASHES are checked at a time, the others wait.
 *
 * Ownership: new/free; store and env are borrowed. A viewer is the caller's.
 * Threads: any; the desk inside is used by one at a time.
 * Errors: FSP_EVERIFY, FSP_EAGAIN, FSP_EINVAL as people.h; those of the desk. In pass they become
 * answers: 303 to /log-in, 403, 503.
 */
#ifndef FSP_OFFICE_GATE_H
#define FSP_OFFICE_GATE_H

#include <stdbool.h>

#include "base/clock.h"
#include "base/err.h"
#include "office/people.h"
#include "web/html.h"
#include "web/http.h"

#define FSP_GATE_HASHES 2
/* The hidden field of every form, for a route's table. */
#define FSP_GATE_FIELD                                                                         \
    {                                                                                          \
        .name = "form", .max = FSP_TOKEN_TEXT_LEN, .is = FSP_FIELD_TOKEN                       \
    }

struct fsp_gate;

enum fsp_rc fsp_gate_new(const char *store, const struct fsp_env *env, struct fsp_gate **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_gate_free(struct fsp_gate *gate);

/* /log-in and /log-out; their context is the gate. Static. */
const struct fsp_http_route *fsp_gate_routes(void);

/* Whether pages may be served there: "ADDR:PORT" without TLS only on this machine, unless behind a
 * proxy that adds it. FSP_EINVAL says what to do. */
enum fsp_rc fsp_gate_may_listen(
        const char *address, bool tls, bool behind_proxy, struct fsp_err *err) FSP_MUST_CHECK;

/* Whether this request may do what it asks for. Fills in viewer; false: the answer is made (303 to
 * /log-in, 403, 503). A POST must bear the session's form token, whatever it asks for; its route's
 * table has FSP_GATE_FIELD. */
bool fsp_gate_pass(struct fsp_gate *gate, const struct fsp_http_request *request,
        enum fsp_right right, struct fsp_viewer *viewer, struct fsp_http_answer *answer);
/* The same without the form's token: for a handler that shows the form again, with what was typed,
 * when fsp_gate_form_good() says no. It must change nothing then. */
bool fsp_gate_look(struct fsp_gate *gate, const struct fsp_http_request *request,
        enum fsp_right right, struct fsp_viewer *viewer, struct fsp_http_answer *answer);

/* Whether the request bears the session's form token, and comes from no other site. */
bool fsp_gate_form_good(
        const struct fsp_http_request *request, const struct fsp_viewer *viewer);

/* A line in the trail; best effort is not enough: FSP_EIO means the change must not be made. */
enum fsp_rc fsp_gate_trail(struct fsp_gate *gate, const struct fsp_viewer *viewer,
        const char *did, const char *what, struct fsp_err *err) FSP_MUST_CHECK;

/* The desk, for one at a time: give it back soon. */
struct fsp_desk *fsp_gate_take_desk(struct fsp_gate *gate);
void fsp_gate_give_desk(struct fsp_gate *gate);
int64_t fsp_gate_now_s(const struct fsp_gate *gate);

/* The viewer's own password, asked for again before something grave. Throttled as a log-in. */
enum fsp_rc fsp_gate_check_password(struct fsp_gate *gate,
        const struct fsp_http_request *request, const struct fsp_viewer *viewer,
        const char *password, struct fsp_err *err) FSP_MUST_CHECK;
/* A new password's stored text, when its turn comes. */
enum fsp_rc fsp_gate_hash(struct fsp_gate *gate, const char *password,
        char stored[static FSP_PASSWORD_STORED], struct fsp_err *err) FSP_MUST_CHECK;

/* --- gate_page.c: pages that need no fleet ---------------------------------------------------- */

/* Down to the open <main> with its heading, and from its end on. viewer NULL: nobody yet. */
void fsp_gate_page_begin(
        struct fsp_html *html, const struct fsp_viewer *viewer, const char *title);
void fsp_gate_page_end(struct fsp_html *html);
/* One paragraph that tells what went wrong, read out at once. */
void fsp_gate_page_fault(struct fsp_html *html, const char *text);
/* Who looks, and the way in or out; for the frame of every page. */
void fsp_gate_page_who(struct fsp_html *html, const struct fsp_viewer *viewer);

#endif
