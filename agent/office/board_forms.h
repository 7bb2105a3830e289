/*
 * Pages that change something: instructions for a rig, acknowledging a flag, people.
 *
 *   /instruct?rig=NAME  what was written to a rig and what came of it, which programme was in force at
 *                       each cut; write a message or a programme, review it, sign it (POST)
 *   /acknowledge        POST: somebody looked at a flag, and says what was found
 *   /people             accounts and trail, for keepers and auditors; one's own password
 *
 * A form that was opened before somebody else changed the same thing is refused with what changed, and
 * shown again with what was typed. What is signed is shown before, byte for byte; it bears its id
 * from then on, so that a form sent twice is one instruction. The trail's line comes before the change.
 *
 * Ownership: new/free; what `about` points to is borrowed.
 * Threads: any. Each change opens the store for itself, as the command does.
 * Errors: become answers.
 */
#ifndef FSP_OFFICE_BOARD_FORMS_H
#define FSP_OFFICE_BOARD_FORMS_H

#include "base/clock.h"
#include "base/err.h"
#include "office/gate.h"
#include "office/live.h"
#include "office/shelf.h"
#include "web/http.h"

struct fsp_forms_about {
    const struct fsp_shelf_ops *ops;
    const char *store;
    const struct fsp_env *env;
    struct fsp_gate *gate;
    struct fsp_live *live; /* NULL: flags are not held against the newest view */
};

struct fsp_forms;

enum fsp_rc fsp_forms_new(const struct fsp_forms_about *about, struct fsp_forms **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_forms_free(struct fsp_forms *forms);

/* Their context is the forms. Static. */
const struct fsp_http_route *fsp_board_form_routes(void);
const struct fsp_http_route *fsp_board_people_routes(void);
const struct fsp_http_route *fsp_board_instruct_routes(void);

#endif
