/* Entries as terse lines: terse_lines write|read [alone] < lines > lines; the state begins after
 * dictionary 2, or (alone) empty. For tests/e2e/test_terse.py, which has a reader and writer of its own. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "wire/dictionary.h"
#include "wire/terse.h"

int
main(int argc, char **argv)
{
    struct fsp_terse *terse = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;
    const uint8_t *preset;
    char *line = NULL;
    size_t cap = 0;
    size_t len;
    ssize_t got;

    preset = fsp_dictionary(FSP_DICTIONARY_TERSE, &len);
    fsp_buf_init(&out, FSP_TERSE_MAX);
    if (argc < 2 || fsp_terse_new(preset, argc > 2 ? 0 : len, &terse, &err) != FSP_OK)
        return 64;
    while ((got = getline(&line, &cap, stdin)) > 0) {
        fsp_buf_reset(&out);
        if (line[got - 1] == '\n')
            got--;
        if (strcmp(argv[1], "write") == 0)
            fsp_terse_write(terse, (const uint8_t *)line, (size_t)got, &out);
        else if (fsp_terse_read(terse, (const uint8_t *)line, (size_t)got, &out, &err) !=
                 FSP_OK) {
            (void)printf("refused\n");
            break;
        }
        if (fwrite(out.data, 1, out.len, stdout) != out.len)
            return 1;
    }
    free(line);
    fsp_buf_fini(&out);
    fsp_terse_free(terse);
    return fflush(stdout) == 0 ? 0 : 1;
}
