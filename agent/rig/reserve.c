#include "rig/reserve.h"

#include <stdint.h>
#include <stdlib.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include "base/file.h"
#include "base/mem.h"

/* Real bytes: some file systems give a hole, or zeros, no room. */
static void
make(const char *path)
{
    uint8_t *bytes = fsp_mem_array(FSP_RESERVE_BYTES, 1);
    uint32_t x = 1;

    if (bytes == NULL)
        return;
    for (size_t i = 0; i < FSP_RESERVE_BYTES; i++) {
        x = x * 1664525u + 1013904223u;
        bytes[i] = (uint8_t)(x >> 24);
    }
    /* Without it everything goes on as it would; the next sender tries again. */
    if (fsp_file_write(path, bytes, FSP_RESERVE_BYTES, 0600, NULL) != FSP_OK)
        (void)unlink(path);
    free(bytes);
}

bool
fsp_reserve_tend(const char *folder)
{
    char *path = fsp_file_join(folder, FSP_RESERVE_NAME);
    struct statvfs disk;
    bool given_up = false;

    if (path != NULL && statvfs(folder, &disk) == 0) {
        uint64_t room = (uint64_t)disk.f_bavail * disk.f_frsize;

        if (room < FSP_RESERVE_LEAST)
            given_up = unlink(path) == 0;
        else if (room > FSP_RESERVE_ROOM && !fsp_file_exists(path))
            make(path);
    }
    free(path);
    return given_up;
}
