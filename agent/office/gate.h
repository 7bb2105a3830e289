/*
 * Who may see a page and who may change something: sessions, rights and forms of the office's pages.
 *
 * As long as no account exists every page can be read by whoever reaches the listener and nothing can
 * be changed; from the first account on (`farspool-office user add`) every page asks for a log-in.
 * Every change is a POST with the session's form token; without it, or with another's, it is 403 and
 * nothing happens. Cookies are HttpOnly, SameSite=Strict, and Secure over TLS.
 *
 * Ownership: new/free; store and env are borrowed. A viewer is the caller's.
 * Threads: any; the desk inside is used by one at a time.
 */
#ifndef FSP_OFFICE_GATE_H
#define FSP_OFFICE_GATE_H

#include <stdbool.h>

#include "base/clock.h"
#include "base/err.h"
#include "office/people.h"
#include "web/http.h"

struct fsp_gate;

enum fsp_rc fsp_gate_new(const char *store, const struct fsp_env *env, struct fsp_gate **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_gate_free(struct fsp_gate *gate);

/* Whether this request may do what it asks for. Fills in viewer; false: the answer is made (303 to
 * /log-in, 403, 503). A POST must bear the session's form token, whatever it asks for. */
bool fsp_gate_pass(struct fsp_gate *gate, const struct fsp_http_request *request,
        enum fsp_right right, struct fsp_viewer *viewer, struct fsp_http_answer *answer);

/* A line in the trail; best effort is not enough: FSP_EIO means the change must not be made. */
enum fsp_rc fsp_gate_trail(struct fsp_gate *gate, const struct fsp_viewer *viewer,
        const char *did, const char *what, struct fsp_err *err) FSP_MUST_CHECK;

#endif
