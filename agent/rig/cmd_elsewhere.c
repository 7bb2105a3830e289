/*
 * run and push in the program that most commands are: it becomes farspool-rig-link, which is the same
 * program with the network's libraries. Loading these takes longer than all that the other commands do.
 */
#include <errno.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "rig/cmd.h"

#define LINK_NAME "farspool-rig-link"

/* From this program's folder, or the usual place. */
static const struct {
    bool from_own;
    const char *path;
} places[] = {{true, "/" LINK_NAME}, {true, "/../lib/farspool/" LINK_NAME},
        {false, "/usr/lib/farspool/" LINK_NAME}};

static int
become_link(struct fsp_args *args)
{
    const struct fsp_rig *rig = fsp_args_ctx(args);
    char own[PATH_MAX];
    char path[PATH_MAX + 64];
    struct fsp_err err = {.rc = FSP_OK};
    ssize_t len = readlink("/proc/self/exe", own, sizeof(own) - 1);
    char *slash;

    own[len < 0 ? 0 : len] = '\0';
    slash = strrchr(own, '/');
    if (slash != NULL)
        *slash = '\0';
    for (size_t i = 0; i < sizeof(places) / sizeof(places[0]); i++) {
        if (places[i].from_own && slash == NULL)
            continue; /* no /proc: only the usual place is known */
        (void)snprintf(
                path, sizeof(path), "%s%s", places[i].from_own ? own : "", places[i].path);
        (void)execv(path, rig->argv);
        if (errno != ENOENT)
            break;
    }
    (void)fsp_err_sys(&err, FSP_EIO, errno, "%s: cannot be started; install farspool-rig again",
            LINK_NAME);
    return fsp_cmd_fail(&err, FSP_EIO);
}

int
fsp_cmd_run(struct fsp_args *args)
{
    return become_link(args);
}

int
fsp_cmd_push(struct fsp_args *args)
{
    return become_link(args);
}
