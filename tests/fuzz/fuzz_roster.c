/* Rosters: what is taken is written the same, and nobody but the office's key brings one. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "proof/note.h"
#include "proof/roster.h"

/* Nobody has the secret of this one (docs/formats.md section 3's rules hold for it). */
#define STRANGER "lantern-basin/office+8d7f48cc+BCmsuuFBvMrwsi4alNNNC8c2HlJtC/4SyJeUvJMilm3X"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void
check(const struct fsp_roster *roster, const uint8_t *data, size_t size)
{
    static const uint8_t sig[FSP_SIG_LEN];
    const struct fsp_signed what = {.name = "ada",
            .may = FSP_MAY_INSPECT,
            .at_s = 1772352000,
            .noted_s = 1772352000,
            .message = data,
            .len = size,
            .sig = sig};
    const struct fsp_roster_signer *who = NULL;
    struct fsp_buf again;

    assert(roster->n <= FSP_ROSTER_SIGNERS_MAX && roster->version > 0);
    fsp_buf_init(&again, FSP_ROSTER_TEXT_MAX);
    fsp_roster_write(roster, &again);
    assert(again.len == size && memcmp(again.data, data, size) == 0);
    assert(fsp_roster_judge(roster, &what, &who) != FSP_SIG_GOOD && who == NULL);
    fsp_buf_fini(&again);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct fsp_roster *roster = NULL;
    struct fsp_vkey vkey;
    struct fsp_err err;

    if (fsp_proof_init(NULL) != FSP_OK ||
            fsp_vkey_parse(&vkey, STRANGER, strlen(STRANGER), NULL) != FSP_OK)
        abort();
    if (fsp_roster_parse(&roster, (const char *)data, size, &err) == FSP_OK)
        check(roster, data, size);
    fsp_roster_free(roster);
    if (fsp_roster_read(&roster, data, size, &vkey, &err) == FSP_OK)
        abort();
    return 0;
}
