#include "rig/turn.h"

#include <fcntl.h>
#include <stdlib.h>
#include <sys/file.h>
#include <time.h>
#include <unistd.h>

#include "base/file.h"

#define LOOK_MS 10u /* between two looks at a lock that is held */

static void
sleep_ms(unsigned ms)
{
    struct timespec left = {.tv_sec = ms / 1000, .tv_nsec = (long)(ms % 1000) * 1000000};

    (void)nanosleep(&left, NULL); /* an early wake only looks earlier */
}

static enum fsp_rc
lock(const char *folder, const char *name, int *fd, struct fsp_err *err)
{
    char *path = fsp_file_join(folder, name);
    enum fsp_rc rc = path == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                  : fsp_file_lock(path, false, fd, err);

    free(path);
    return rc;
}

/* Try until *left_ms are over. */
static enum fsp_rc
lock_within(
        const char *folder, const char *name, unsigned *left_ms, int *fd, struct fsp_err *err)
{
    enum fsp_rc rc = lock(folder, name, fd, err);

    while (rc == FSP_EBUSY && *left_ms > 0) {
        unsigned step_ms = *left_ms < LOOK_MS ? *left_ms : LOOK_MS;

        sleep_ms(step_ms);
        *left_ms -= step_ms;
        rc = lock(folder, name, fd, err);
    }
    if (rc == FSP_OK)
        fsp_err_clear(err);
    return rc;
}

/* Behind those who wait already: they let go of link.next when they have link.lock. */
static enum fsp_rc
queue(const char *folder, unsigned wait_ms, int *fd, struct fsp_err *err)
{
    int next = -1;
    enum fsp_rc rc = lock_within(folder, "link.next", &wait_ms, &next, err);

    if (rc == FSP_OK)
        rc = lock_within(folder, "link.lock", &wait_ms, fd, err);
    fsp_file_unlock(next);
    return rc;
}

enum fsp_rc
fsp_turn_take(const char *folder, unsigned wait_ms, int *fd, struct fsp_err *err)
{
    enum fsp_rc rc;

    *fd = -1;
    rc = lock(folder, "link.lock", fd, err);
    if (rc == FSP_EBUSY && wait_ms > 0)
        rc = queue(folder, wait_ms, fd, err);
    if (rc == FSP_EBUSY)
        rc = fsp_err_set(err, FSP_EBUSY,
                "%s: another process is sending or signing for this rig; try again later",
                folder);
    return rc;
}

bool
fsp_turn_wanted(const char *folder)
{
    char *path = fsp_file_join(folder, "link.next");
    int fd = path == NULL ? -1 : open(path, O_RDWR | O_CLOEXEC);
    bool wanted = fd >= 0 && flock(fd, LOCK_EX | LOCK_NB) != 0;

    fsp_file_unlock(fd);
    free(path);
    return wanted;
}

enum fsp_rc
fsp_turn_give(const char *folder, int *fd, struct fsp_err *err)
{
    enum fsp_rc rc;

    fsp_file_unlock(*fd);
    *fd = -1;
    rc = queue(folder, FSP_TURN_WAIT_S * 1000, fd, err);
    if (rc == FSP_EBUSY)
        rc = fsp_err_set(
                err, FSP_EBUSY, "%s: who got the turn on the link does not end it", folder);
    return rc;
}
