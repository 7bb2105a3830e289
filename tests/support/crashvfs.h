/*
 * A disk that loses power: what a program does to the files below one folder is recorded, and the
 * folder is built again as it could be found after a power cut at any moment of the recording.
 *
 * The recorder (crashvfs.c) stands between the program and the C library: SQLite's own file layer,
 * base/file.c and everything else write through it, so that creating, renaming and unlinking count as
 * well as writing. Linked into a test it records when told to; preloaded into a program it records
 * what lies below FSP_CRASH_ROOT and leaves the recording in FSP_CRASH_TRACE. Nothing is synced to
 * the real disk.
 *
 * The model (crashdisk.c) is what POSIX promises and no more: fsync of a file makes its bytes safe,
 * not its name; fsync of a folder makes the names in it safe, not what they stand for. Whatever is
 * not safe when the power goes is dropped, kept, or garbled: each name as a coin falls, each sector
 * of 512 bytes written, not written, or full of junk.
 *
 * Ownership: one recording at a time, kept in the process until the next begins.
 * Threads: recording from any; everything else from one.
 * Errors: the test ends (abort) when memory or the real disk fails.
 */
#ifndef FSP_TESTS_SUPPORT_CRASHVFS_H
#define FSP_TESTS_SUPPORT_CRASHVFS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define CRASHVFS_NONE   SIZE_MAX
#define CRASHVFS_SECTOR 512

enum crashvfs_kind {
    CRASHVFS_OPEN,  /* file: a number of its own; size 1: a folder */
    CRASHVFS_WRITE, /* data at offset */
    CRASHVFS_SIZE,  /* the file is so long now */
    CRASHVFS_SYNC,  /* of the file or folder that was opened as `file` */
    CRASHVFS_MKDIR,
    CRASHVFS_RENAME,
    CRASHVFS_LINK,
    CRASHVFS_UNLINK, /* or rmdir */
};

struct crashvfs_event {
    enum crashvfs_kind kind;
    size_t file;
    uint64_t offset;
    uint64_t size;
    char *path; /* below the root, "" is the root itself; NULL where `file` says it */
    char *to;
    uint8_t *data;
};

/* ---- the recorder -------------------------------------------------------------------------- */

/* Record from now on what happens below root (an absolute path, empty now); forget what was. */
void crashvfs_begin(const char *root);
/* Record no more; what was recorded stays. */
void crashvfs_end(void);
/* Append the recording that a preloaded program left. */
void crashvfs_load(const char *trace);
size_t crashvfs_events(void);
const struct crashvfs_event *crashvfs_event(size_t i);

/* ---- the model ----------------------------------------------------------------------------- */

enum crashvfs_way {
    CRASHVFS_DROP,
    CRASHVFS_KEEP,
    CRASHVFS_GARBLE,
};

struct crashvfs_cut {
    size_t at;     /* events before it have happened */
    size_t unsync; /* this sync did nothing; CRASHVFS_NONE */
    enum crashvfs_way way;
    uint64_t seed; /* of GARBLE */
};

/* Make `into` (removed first) what is found after the cut. */
void crashvfs_build(const struct crashvfs_cut *cut, const char *into);

/* What the event is about, as "sync heron/journal.db"; static until the next call. */
const char *crashvfs_say(size_t event);
/* The next sync of the same file or folder; CRASHVFS_NONE when there is none. */
size_t crashvfs_synced_again(size_t sync);
/* Whether anything was not yet safe that this sync makes safe. */
bool crashvfs_was_needed(size_t sync);

/* rm -r. */
void crashvfs_remove(const char *folder);

#endif
