/* keys: the office's own, and how one follows another. */
#include <inttypes.h>
#include <string.h>

#include "line/say.h"
#include "office/cmd.h"
#include "office/instruct.h"
#include "office/rosters.h"
#include "office/tls.h"
#include "proof/newkeys.h"

struct keeping {
    const char *store;
    struct fsp_office_keys keys;
    struct fsp_shelf *shelf;
    struct fsp_buf out;
};

/* ---- what is shown ------------------------------------------------------------------------- */

static void
say_key(struct keeping *it, bool json, const char *what, const struct fsp_vkey *vkey,
        bool today)
{
    char fingerprint[65];
    struct fsp_buf text;
    bool first = true;

    fsp_buf_init(&text, FSP_VKEY_MAX);
    fsp_vkey_write(vkey, &text);
    fsp_vkey_fingerprint(vkey, fingerprint);
    if (!json) {
        fsp_buf_printf(&it->out, "%-12s  %-8s  %s\n%24s%s\n", what, today ? "today" : "before",
                fingerprint, "", fsp_buf_peek(&text));
    } else {
        fsp_buf_add_byte(&it->out, '{');
        fsp_say_member_text(&it->out, &first, "what", what);
        fsp_say_member_bool(&it->out, &first, "today", today);
        fsp_say_member_text(&it->out, &first, "key", fsp_buf_peek(&text));
        fsp_say_member_text(&it->out, &first, "fingerprint", fingerprint);
        fsp_buf_add_text(&it->out, "},");
    }
    fsp_buf_fini(&text);
}

static void
say_box(struct keeping *it, bool json, const struct fsp_box_key *box, bool today)
{
    struct fsp_buf text;
    bool first = true;

    fsp_buf_init(&text, 64);
    fsp_base64(&text, box->pub, sizeof(box->pub));
    if (!json) {
        fsp_buf_printf(&it->out, "%-12s  %-8s  %s\n", "box", today ? "today" : "before",
                fsp_buf_peek(&text));
    } else {
        fsp_buf_add_byte(&it->out, '{');
        fsp_say_member_text(&it->out, &first, "what", "box");
        fsp_say_member_bool(&it->out, &first, "today", today);
        fsp_say_member_text(&it->out, &first, "key", fsp_buf_peek(&text));
        fsp_buf_add_text(&it->out, "},");
    }
    fsp_buf_fini(&text);
}

/* Rigs for which news of keys still waits: they may know the older ones only. */
static enum fsp_rc
say_waiting(struct keeping *it, bool json, struct fsp_err *err)
{
    char rig[FSP_NAME_MAX + 1] = "";
    bool any = false;
    enum fsp_rc rc = it->shelf->ops->begin(it->shelf->ctx, false, err);

    while (rc == FSP_OK) {
        bool wait = false;

        rc = it->shelf->ops->next_rig(it->shelf->ctx, rig, rig, err);
        if (rc == FSP_OK)
            rc = fsp_instruct_keys_wait(it->shelf, rig, &wait, err);
        if (rc != FSP_OK || !wait)
            continue;
        if (json)
            fsp_buf_printf(&it->out, "%s\"%s\"", any ? "," : "", rig);
        else
            fsp_buf_printf(&it->out, "%s%s", any ? ", " : "news of keys waits for: ", rig);
        any = true;
    }
    it->shelf->ops->rollback(it->shelf->ctx);
    if (any && !json)
        fsp_buf_add_byte(&it->out, '\n');
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
show(struct keeping *it, bool json, struct fsp_err *err)
{
    const struct fsp_office_keys *keys = &it->keys;
    enum fsp_rc rc;

    if (json)
        fsp_buf_add_text(&it->out, "{\"keys\":[");
    for (size_t i = 0; i < keys->n_cosigner_before; i++)
        say_key(it, json, "cosigner", fsp_skey_vkey(keys->cosigner_before[i]), false);
    say_key(it, json, "cosigner", fsp_skey_vkey(keys->cosigner), true);
    for (size_t i = 0; i < keys->n_instructions_ever; i++)
        say_key(it, json, "instructions", &keys->instructions_ever[i],
                i + 1 == keys->n_instructions_ever);
    for (size_t i = keys->n_box; i-- > 1;)
        say_box(it, json, &keys->box[i], false);
    say_box(it, json, &keys->box[0], true);
    if (json) {
        it->out.len--; /* the last comma */
        fsp_buf_add_text(&it->out, "],\"waiting\":[");
    }
    rc = say_waiting(it, json, err);
    if (json)
        fsp_buf_add_text(&it->out, "]}\n");
    return rc;
}

/* ---- one follows another ------------------------------------------------------------------- */

/* What every rig is told: that key, and who signs too. */
struct news {
    struct fsp_new_keys keys;
    const struct fsp_skey *also;
};

static void
make_news(const struct fsp_office_next *next, enum fsp_office_key which, struct news *news)
{
    struct fsp_new_keys *keys = &news->keys;

    memset(news, 0, sizeof(*news));
    keys->has_cosigner = which == FSP_OFFICE_COSIGNER;
    keys->has_instructions = which == FSP_OFFICE_INSTRUCTIONS;
    keys->has_box = which == FSP_OFFICE_BOX;
    if (keys->has_cosigner)
        keys->cosigner = *fsp_skey_vkey(next->skey);
    if (keys->has_instructions)
        keys->instructions = *fsp_skey_vkey(next->skey);
    if (keys->has_box)
        memcpy(keys->box_pub, next->box.pub, sizeof(keys->box_pub));
    news->also = keys->has_instructions ? next->skey : NULL;
}

/* An interrupted renewal has told this rig already. */
static enum fsp_rc
was_told(struct keeping *it, const char *rig, const struct fsp_buf *body, bool *told,
        struct fsp_err *err)
{
    struct fsp_shelf_instruction sent = {.seq = 0};
    struct fsp_buf store;
    enum fsp_rc rc = FSP_OK;

    *told = false;
    fsp_buf_init(&store, FSP_NOTE_MAX);
    while (rc == FSP_OK && !*told) {
        rc = it->shelf->ops->next_instruction(
                it->shelf->ctx, rig, sent.seq, &sent, &store, err);
        *told = rc == FSP_OK && sent.about == FSP_ABOUT_KEYS &&
                strstr(sent.note, fsp_buf_peek(body)) != NULL;
    }
    fsp_buf_fini(&store);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
tell_all(struct keeping *it, const struct fsp_env *env, const struct news *news, size_t *n,
        struct fsp_err *err)
{
    char rig[FSP_NAME_MAX + 1] = "";
    struct fsp_buf body;
    enum fsp_rc rc;

    fsp_buf_init(&body, 4096);
    fsp_new_keys_write(&news->keys, &body);
    rc = fsp_buf_check(&body, "news of keys", err);
    while (rc == FSP_OK) {
        struct fsp_instruct what = {.rig = rig,
                .about = FSP_ABOUT_KEYS,
                .body = fsp_buf_peek(&body),
                .body_len = body.len,
                .also = news->also};
        bool told = false;

        rc = it->shelf->ops->next_rig(it->shelf->ctx, rig, rig, err);
        if (rc == FSP_OK)
            rc = was_told(it, rig, &body, &told, err);
        if (rc == FSP_OK && !told)
            rc = fsp_instruct_queue(it->shelf, &it->keys, env, &what, NULL, err);
        *n += rc == FSP_OK ? 1 : 0;
    }
    fsp_buf_fini(&body);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

/* A rig that is invited later knows the new instructions key alone: the roster is signed by it. */
static enum fsp_rc
sign_roster_again(struct keeping *it, const struct fsp_env *env,
        const struct fsp_office_next *next, struct fsp_err *err)
{
    struct fsp_roster *roster = NULL;
    enum fsp_rc rc = fsp_rosters_newest(it->shelf, &it->keys, &roster, err);

    if (rc == FSP_ENOTFOUND)
        return FSP_OK;
    if (rc == FSP_OK)
        rc = fsp_rosters_issue(it->shelf, &it->keys, env, roster, next->skey, err);
    fsp_roster_free(roster);
    return rc;
}

/* First the key is on disk, then the rigs' news is committed, then the key is put into use: what is
 * interrupted is done again from where it stood. */
static enum fsp_rc
renew(struct fsp_args *args, struct keeping *it, enum fsp_office_key which, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    struct fsp_office_next next;
    struct news news;
    size_t n = 0;
    enum fsp_rc rc = fsp_office_keys_next(&it->keys, it->store, which, office->env, &next, err);

    if (rc == FSP_OK)
        rc = it->shelf->ops->begin(it->shelf->ctx, true, err);
    if (rc == FSP_OK) {
        make_news(&next, which, &news);
        rc = tell_all(it, office->env, &news, &n, err);
    }
    if (rc == FSP_OK && which == FSP_OFFICE_INSTRUCTIONS)
        rc = sign_roster_again(it, office->env, &next, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->commit(it->shelf->ctx, err);
    else
        it->shelf->ops->rollback(it->shelf->ctx);
    fsp_office_next_fini(&next);
    if (rc == FSP_OK)
        rc = fsp_office_keys_change(it->store, which, err);
    if (rc != FSP_OK)
        return rc;
    fsp_buf_printf(&it->out,
            "the %s key is followed by a new one; %zu rig%s will be told behind %s next "
            "receipt\n",
            fsp_office_key_text(which), n, n == 1 ? "" : "s", n == 1 ? "its" : "their");
    fsp_buf_add_text(&it->out, "restart 'farspool-office serve', which still signs with the "
                               "old one\n");
    fsp_office_keys_fini(&it->keys);
    rc = fsp_office_keys_load(&it->keys, it->store, err);
    return rc == FSP_OK ? show(it, false, err) : rc;
}

/* The TLS keys that count: today's and the spare, as invitations carry them. */
static enum fsp_rc
tell_pins(struct fsp_args *args, struct keeping *it, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    struct news news = {.also = NULL};
    struct fsp_office_tls tls;
    size_t n = 0;
    enum fsp_rc rc = fsp_office_tls_load(&tls, it->store, err);

    if (rc != FSP_OK)
        return rc;
    news.keys.n_pins = sizeof(tls.pins) / sizeof(tls.pins[0]);
    memcpy(news.keys.pins, tls.pins, sizeof(tls.pins));
    fsp_office_tls_fini(&tls);
    rc = it->shelf->ops->begin(it->shelf->ctx, true, err);
    if (rc == FSP_OK)
        rc = tell_all(it, office->env, &news, &n, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->commit(it->shelf->ctx, err);
    else
        it->shelf->ops->rollback(it->shelf->ctx);
    if (rc == FSP_OK)
        fsp_buf_printf(&it->out, "%zu rig%s will be told which TLS keys count\n", n,
                n == 1 ? "" : "s");
    return rc;
}

static enum fsp_rc
which_key(const char *word, enum fsp_office_key *which, struct fsp_err *err)
{
    static const enum fsp_office_key all[] = {
            FSP_OFFICE_COSIGNER, FSP_OFFICE_INSTRUCTIONS, FSP_OFFICE_BOX};

    for (size_t i = 0; i < sizeof(all) / sizeof(all[0]); i++)
        if (strcmp(fsp_office_key_text(all[i]), word) == 0) {
            *which = all[i];
            return FSP_OK;
        }
    return fsp_err_set(err, FSP_EINVAL,
            "'%.40s': the office's keys are 'cosigner', 'instructions', 'box' and 'pins'",
            word);
}

int
fsp_cmd_keys(struct fsp_args *args)
{
    struct keeping it = {.store = NULL};
    struct fsp_err err = {0};
    enum fsp_office_key which = FSP_OFFICE_BOX;
    bool pins = false;
    size_t words = fsp_args_rest_count(args);
    enum fsp_rc rc = words == 1 ? fsp_args_rest_within(args, 0, 0, &err)
                                : fsp_args_rest_within(args, 0, 2, &err);
    int status;

    fsp_buf_init(&it.out, FSP_OFFICE_OUTPUT);
    if (rc == FSP_OK && words == 2 && strcmp(fsp_args_rest(args, 0), "renew") != 0)
        rc = fsp_err_set(&err, FSP_EINVAL,
                "'%.40s': keys are shown, or one is renewed: 'renew'", fsp_args_rest(args, 0));
    pins = rc == FSP_OK && words == 2 && strcmp(fsp_args_rest(args, 1), "pins") == 0;
    if (rc == FSP_OK && words == 2 && !pins)
        rc = which_key(fsp_args_rest(args, 1), &which, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &it.store, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(
                args, words == 2 ? FSP_SHELF_WRITE : FSP_SHELF_READ, &it.shelf, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&it.keys, it.store, &err);
    if (rc == FSP_OK && words == 0)
        rc = show(&it, fsp_args_has(args, "json"), &err);
    else if (rc == FSP_OK)
        rc = pins ? tell_pins(args, &it, &err) : renew(args, &it, which, &err);
    status = rc == FSP_OK ? fsp_cmd_print(&it.out) : fsp_cmd_fail(rc, &err);
    fsp_office_keys_fini(&it.keys);
    fsp_shelf_close(it.shelf);
    fsp_buf_fini(&it.out);
    return status;
}
