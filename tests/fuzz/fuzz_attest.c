/*
 * A log's entries, one a line: no order of them matters, and nothing is ever signed but what the
 * corpus's own keys signed (docs/formats.md section 15).
 */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "proof/attest.h"
#include "proof/signer.h"

#define OFFICE                                                                                 \
    "lantern-basin/instructions+9666fadf+ARdFU7RW3d/GkI7KscEB/mqyHiuqBhd5W31DpjSCmT/V"
#define LINES_MAX 64
/* Leaf hashes of the one message of an inspection and of the one amendment ever signed. */
#define MESSAGE_LEAF "c3bb1874e3a9acfab536ea5dd835813bf73c4e2d4243c500a34f9b646e30ae04"
#define AMEND_LEAF   "d74267eaee5994615f1f3bf8e8dc332a87a896fee4b1eade5d0855029a389285"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct entries {
    struct fsp_attest_entry entry[LINES_MAX];
    struct fsp_record *record[LINES_MAX];
    uint8_t leaf[LINES_MAX][FSP_HASH_LEN];
    size_t n;
};

static void
cut_lines(struct entries *entries, const uint8_t *data, size_t size)
{
    while (size > 0 && entries->n < LINES_MAX) {
        const uint8_t *end = memchr(data, '\n', size);
        size_t len = end != NULL ? (size_t)(end - data) : size;
        size_t i = entries->n++;

        if (fsp_record_parse(data, len, &entries->record[i], NULL) != FSP_OK)
            entries->record[i] = NULL;
        fsp_leaf_hash(data, len, entries->leaf[i]);
        entries->entry[i] = (struct fsp_attest_entry){.record = entries->record[i],
                .bytes = data,
                .len = len,
                .leaf = entries->leaf[i]};
        if (end == NULL)
            break;
        data = end + 1;
        size -= len + 1;
    }
}

static struct fsp_attest *
attest(const struct entries *entries, bool backwards)
{
    static struct fsp_vkey office;
    const struct fsp_attest_about about = {
            .fleet = "lantern-basin", .rig = "heron", .keys = &office, .n_keys = 1};
    struct fsp_attest *attest = NULL;

    if (fsp_vkey_parse(&office, OFFICE, strlen(OFFICE), NULL) != FSP_OK ||
            fsp_attest_new(&attest, &about, NULL) != FSP_OK)
        abort();
    for (size_t i = 0; i < entries->n; i++)
        if (fsp_attest_note(attest, &entries->entry[backwards ? entries->n - 1 - i : i],
                    NULL) != FSP_OK)
            abort();
    return attest;
}

static bool
is_leaf(const uint8_t *leaf, const char *hex)
{
    char text[2 * FSP_HASH_LEN + 1];

    fsp_text_hex(text, leaf, FSP_HASH_LEN);
    return strcmp(text, hex) == 0;
}

/* Whether this entry may have a good signature. */
static bool
was_signed(const struct fsp_attest_entry *entry)
{
    const char *kind = fsp_record_text(entry->record, "kind");
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_buf message;
    bool known;

    if (kind != NULL && strcmp(kind, "countersign") == 0)
        return true; /* over a leaf that was signed, wherever it stands */
    if (kind == NULL || strcmp(kind, "inspection") != 0)
        return is_leaf(entry->leaf, AMEND_LEAF);
    fsp_buf_init(&message, FSP_ENTRY_MAX + 64);
    if (fsp_inspection_message(entry->bytes, entry->len, &message, NULL) != FSP_OK)
        abort();
    fsp_leaf_hash(message.data, message.len, leaf);
    known = is_leaf(leaf, MESSAGE_LEAF);
    fsp_buf_fini(&message);
    return known;
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct entries *entries = calloc(1, sizeof(*entries));
    struct fsp_attest *forwards;
    struct fsp_attest *backwards;

    if (entries == NULL || fsp_proof_init(NULL) != FSP_OK)
        abort();
    cut_lines(entries, data, size);
    forwards = attest(entries, false);
    backwards = attest(entries, true);
    for (size_t i = 0; i < entries->n; i++) {
        enum fsp_sig_state state = fsp_attest_state(forwards, &entries->entry[i]);

        assert(state == fsp_attest_state(backwards, &entries->entry[i]));
        assert(state != FSP_SIG_GOOD || was_signed(&entries->entry[i]));
        fsp_record_free(entries->record[i]);
    }
    fsp_attest_free(forwards);
    fsp_attest_free(backwards);
    free(entries);
    return 0;
}
