/* Signed notes: whatever is taken has its parts inside the bytes, and no key nobody holds signed it. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "proof/note.h"

#define STRANGER "lantern-basin/office+8d7f48cc+BCmsuuFBvMrwsi4alNNNC8c2HlJtC/4SyJeUvJMilm3X"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct fsp_note note;
    struct fsp_checkpoint head;
    struct fsp_vkey vkey;
    struct fsp_err err;
    uint64_t time_s = 0;

    if (fsp_proof_init(NULL) != FSP_OK)
        abort();
    if (fsp_note_parse(&note, data, size, &err) != FSP_OK)
        return 0;
    assert(note.lines > 0 && note.lines <= FSP_NOTE_LINES_MAX);
    assert(note.text_len > 0 && note.text_len < size && note.text[note.text_len - 1] == '\n');
    for (size_t i = 0; i < note.lines; i++)
        assert(fsp_key_name_ok(note.line[i].name, note.line[i].name_len) &&
                note.line[i].sig_len > 0);
    if (fsp_vkey_parse(&vkey, STRANGER, strlen(STRANGER), NULL) != FSP_OK)
        abort();
    (void)fsp_note_verify(&note, &vkey, &time_s, &err);
    if (fsp_checkpoint_parse(&head, note.text, note.text_len, &err) == FSP_OK) {
        struct fsp_buf text;

        fsp_buf_init(&text, FSP_NOTE_MAX);
        fsp_checkpoint_write(&head, &text);
        assert(text.len == note.text_len && memcmp(text.data, note.text, text.len) == 0);
        fsp_buf_fini(&text);
    }
    return 0;
}
