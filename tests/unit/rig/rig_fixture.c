#include "support/test.h"

#include "rig/inbox.h"
#include "unit/rig/rig_fixture.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "record/check.h"

static int64_t
utc_us(void *ctx)
{
    const struct fixture *fixture = ctx;

    return fixture->now_us;
}

static void
random_bytes(void *ctx, void *out, size_t len)
{
    struct fixture *fixture = ctx;
    uint8_t *bytes = out;

    for (size_t i = 0; i < len; i++) {
        fixture->random = fixture->random * UINT64_C(6364136223846793005) + 1;
        bytes[i] = (uint8_t)(fixture->random >> 56);
    }
}

static void
make_office(struct fixture *fixture)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_invitation *invitation = &fixture->invitation;

    assert_ok(fsp_skey_new(&fixture->cosigner, "lantern-basin/office", FSP_KEY_COSIGNER,
                      &fixture->env, &err),
            &err);
    assert_ok(fsp_skey_new(&fixture->instructions, "lantern-basin/instructions", FSP_KEY_NOTE,
                      &fixture->env, &err),
            &err);
    assert_int_equal(fsp_box_key_make(&fixture->box, fsp_env_system(), NULL), FSP_OK);
    (void)snprintf(invitation->fleet, sizeof(invitation->fleet), "lantern-basin");
    (void)snprintf(invitation->rig, sizeof(invitation->rig), "heron");
    (void)snprintf(invitation->url, sizeof(invitation->url), "http://127.0.0.1:1");
    invitation->cosigner = *fsp_skey_vkey(fixture->cosigner);
    invitation->instructions = *fsp_skey_vkey(fixture->instructions);
    memcpy(invitation->box_pub, fixture->box.pub, sizeof(invitation->box_pub));
    random_bytes(fixture, invitation->token, sizeof(invitation->token));
}

int
fixture_setup(void **state)
{
    struct fixture *fixture = calloc(1, sizeof(*fixture));
    struct fsp_err err = {.rc = FSP_OK};

    *state = fixture;
    if (fixture == NULL)
        return -1;
    assert_ok(fsp_proof_init(&err), &err);
    (void)snprintf(fixture->parent, sizeof(fixture->parent), "/tmp/fsp-rig-XXXXXX");
    if (mkdtemp(fixture->parent) == NULL) {
        free(fixture);
        *state = NULL;
        return -1;
    }
    (void)snprintf(fixture->folder, sizeof(fixture->folder), "%s/store", fixture->parent);
    fixture->now_us = FIXTURE_NOW_S * FSP_US_PER_S;
    fixture->random = 7;
    fixture->env = (struct fsp_env){
            .utc_us = utc_us, .monotonic_us = utc_us, .random = random_bytes, .ctx = fixture};
    make_office(fixture);
    assert_ok(fsp_journal_create(fixture->folder, &fixture->invitation, &fixture->env, &err),
            &err);
    fixture_reopen(fixture);
    return 0;
}

void
fixture_reopen(struct fixture *fixture)
{
    struct fsp_err err = {.rc = FSP_OK};

    fsp_journal_close(fixture->journal);
    fixture->journal = NULL;
    assert_ok(fsp_journal_open(fixture->folder, FSP_JOURNAL_WRITE, &fixture->env,
                      &fixture->journal, &err),
            &err);
}

void
fixture_remove(const char *folder)
{
    static const char *const inner[] = {"/store/inbox/taken", "/store/inbox/refused",
            "/store/inbox", "/store", "/copy", ""};

    for (size_t i = 0; i < sizeof(inner) / sizeof(inner[0]); i++) {
        char path[512];
        const struct dirent *entry;
        DIR *dir;

        (void)snprintf(path, sizeof(path), "%.200s%s", folder, inner[i]);
        dir = opendir(path);
        if (dir == NULL)
            continue;
        /* One thread reads this stream. */
        while ((entry = readdir(dir)) != NULL) { // NOLINT(concurrency-mt-unsafe)
            char file[1024];

            (void)snprintf(file, sizeof(file), "%s/%s", path, entry->d_name);
            (void)unlink(file);
        }
        (void)closedir(dir);
        (void)rmdir(path);
    }
}

int
fixture_teardown(void **state)
{
    struct fixture *fixture = *state;

    fsp_journal_close(fixture->journal);
    fsp_skey_free(fixture->cosigner);
    fsp_skey_free(fixture->instructions);
    fixture_remove(fixture->parent);
    free(fixture);
    return 0;
}

struct fsp_record *
fixture_record(struct fixture *fixture, int at, const char *depth)
{
    struct fsp_check_context context;
    struct fsp_record *record = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    char time[32];
    struct fsp_typed members[] = {
            {"at", time},
            {"by", "clerk"},
            {"op", "round-trip"},
            {"depth", depth},
    };

    (void)snprintf(
            time, sizeof(time), "2026-02-01T%02d:%02d:%02dZ", at / 3600, at / 60 % 60, at % 60);
    assert_ok(fsp_journal_context(fixture->journal, &context, &err), &err);
    assert_ok(fsp_check_typed("work", members, 4, &context, &record, &err), &err);
    return record;
}

void
fixture_fill(struct fixture *fixture, int n)
{
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    for (int i = 0; i < n; i++) {
        struct fsp_journal_progress progress;
        struct fsp_record *record;

        assert_ok(fsp_journal_progress(fixture->journal, &progress, &err), &err);
        record = fixture_record(fixture, (int)progress.size, "4000ft");
        assert_ok(fsp_journal_enter(fixture->journal, record, NULL, false, &added, &err), &err);
        fsp_record_free(record);
    }
}

const char *
fixture_file(struct fixture *fixture, const char *name, const char *text)
{
    static char path[256];
    struct fsp_err err = {.rc = FSP_OK};

    (void)snprintf(path, sizeof(path), "%s/%s", fixture->parent, name);
    assert_ok(fsp_file_write(path, text, strlen(text), 0600, &err), &err);
    return path;
}

uint64_t
fixture_size(struct fixture *fixture)
{
    struct fsp_journal_progress progress;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_journal_progress(fixture->journal, &progress, &err), &err);
    return progress.size;
}

enum fsp_rc
fixture_take(struct fixture *fixture, const char *text, bool also,
        struct fsp_journal_added *added, struct fsp_err *err)
{
    return fsp_inbox_take_file(
            fixture->journal, fixture_file(fixture, "sheet.csv", text), also, added, err);
}
