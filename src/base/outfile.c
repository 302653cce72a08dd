/* Files written whole or not at all.
 *
 * Where the system can, the new content has no name until it is complete (O_TMPFILE of
 * open(2), linkat(2)): a run that is killed leaves nothing behind. Elsewhere, and for
 * the moment in which an old file is replaced, its name is TEMPORARY and 16 hex digits
 * in the target's own folder, so that the rename stays within one file system. */
#include "base/array.h"
#include "base/reason.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define BUFFER_BYTES 65536
#define TEMPORARY ".spanwright-"
#define TRIES 64
#define FIRST_FREE_FD 3

struct spw_output {
    char *path;      /* of the target; a symbolic link is followed */
    char *temporary; /* room for TEMPORARY's name beside it */
    size_t folder;   /* length of the folder's name in both, 0: the current one */
    bool named;      /* the temporary name is taken by our file */
    bool force;
    bool settled;
    int fd;
    size_t used;
    char buffer[BUFFER_BYTES];
};

static spw_status refused(spw_error *error, const char *path, const char *doing, int reason) {
    char safe[256], why[128];
    spw_text_safe(safe, sizeof safe, path, strlen(path));
    return spw_error_set(error, SPW_ERR_IO, "cannot %s %s: %s", doing, safe,
                         spw_reason(reason, why, sizeof why));
}

static spw_status wrong_target(spw_error *error, const char *path, const char *what) {
    char safe[256];
    spw_text_safe(safe, sizeof safe, path, strlen(path));
    return spw_error_set(error, SPW_ERR_ARGUMENT, "%s %s", safe, what);
}

static spw_status target_exists(spw_error *error, const char *path) {
    return wrong_target(error, path, "exists: use --force to overwrite it, or name another file");
}

/* The mode of the file that is there; 0: none is. */
static spw_status check_target(const char *path, bool force, mode_t *mode, spw_error *error) {
    struct stat there;
    *mode = 0;
    if (stat(path, &there) != 0) {
        if (lstat(path, &there) == 0 && S_ISLNK(there.st_mode))
            return wrong_target(error, path, "is a symbolic link to nothing: name the file itself");
        return SPW_OK; /* whatever else is wrong shows when the file is made */
    }
    if (S_ISDIR(there.st_mode))
        return wrong_target(error, path, "is a folder: name a file to write to");
    if (!S_ISREG(there.st_mode))
        return wrong_target(error, path, "is no ordinary file: name another file to write to");
    if (!force)
        return target_exists(error, path);
    *mode = there.st_mode & 0777; /* content of ours runs as nobody else */
    return SPW_OK;
}

/* Where the bytes go: a link is kept and the file it leads to replaced. */
static char *follow(const char *path) {
    struct stat there;
    if (lstat(path, &there) == 0 && S_ISLNK(there.st_mode))
        return realpath(path, NULL);
    return spw_duplicate(path, strlen(path));
}

static bool name_it(spw_output *output) {
    static const char hex[] = "0123456789abcdef";
    unsigned char noise[8];
    if (getentropy(noise, sizeof noise) != 0)
        return false;
    char *at = output->temporary + output->folder + sizeof TEMPORARY - 1;
    for (size_t i = 0; i < sizeof noise; i++) {
        *at++ = hex[noise[i] >> 4];
        *at++ = hex[noise[i] & 15];
    }
    return true;
}

/* A file without a name, or -1 where the system cannot make one or name it later. */
static int open_unnamed(const spw_output *output) {
    int fd = -1;
#ifdef O_TMPFILE
    char *folder = output->temporary, kept = folder[output->folder];
    folder[output->folder] = '\0';
    fd = open(output->folder > 0 ? folder : ".", O_TMPFILE | O_WRONLY | O_CLOEXEC, 0666);
    folder[output->folder] = kept;
    char self[64];
    (void)snprintf(self, sizeof self, "/proc/self/fd/%d", fd);
    if (fd >= 0 && access(self, F_OK) != 0) {
        (void)close(fd);
        fd = -1;
    }
#else
    (void)output;
#endif
    return fd;
}

static int open_named(spw_output *output) {
    int fd = -1;
    for (int i = 0; i < TRIES; i++) {
        if (!name_it(output))
            return -1;
        fd = open(output->temporary, O_CREAT | O_EXCL | O_WRONLY | O_CLOEXEC, 0666);
        if (fd >= 0 || errno != EEXIST)
            break;
    }
    output->named = fd >= 0;
    return fd;
}

/* Never a descriptor that a program may take for standard output or error. */
static int above_standard(int fd) {
    if (fd < 0 || fd >= FIRST_FREE_FD)
        return fd;
    int moved = fcntl(fd, F_DUPFD_CLOEXEC, FIRST_FREE_FD);
    int reason = errno;
    (void)close(fd);
    errno = reason;
    return moved;
}

static spw_status make_names(spw_output *output, const char *path, spw_error *error) {
    output->path = follow(path);
    if (output->path == NULL && errno != ENOMEM)
        return refused(error, path, "write", errno);
    const char *slash = output->path != NULL ? strrchr(output->path, '/') : NULL;
    output->folder = slash != NULL ? (size_t)(slash - output->path) + 1 : 0;
    output->temporary = calloc(1, output->folder + sizeof TEMPORARY + 16);
    if (output->path == NULL || output->temporary == NULL)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    memcpy(output->temporary, output->path, output->folder);
    memcpy(output->temporary + output->folder, TEMPORARY, sizeof TEMPORARY);
    return SPW_OK;
}

static spw_status make_file(spw_output *output, mode_t mode, spw_error *error) {
    const char *name = output->path + output->folder;
    if (*name == '\0' || strcmp(name, ".") == 0 || strcmp(name, "..") == 0)
        return refused(error, output->path, "write", EISDIR);
    output->fd = open_unnamed(output);
    if (output->fd < 0)
        output->fd = open_named(output);
    output->fd = above_standard(output->fd);
    if (output->fd < 0)
        return refused(error, output->path, "write", errno);
    /* A new file has what the umask leaves of 0666; one that replaces, the old one's. */
    if (mode != 0 && fchmod(output->fd, mode) != 0)
        return refused(error, output->path, "set the permissions of", errno);
    return SPW_OK;
}

spw_status spw_output_open(const char *path, bool force, spw_output **output, spw_error *error) {
    mode_t mode;
    spw_status status = check_target(path, force, &mode, error);
    if (status != SPW_OK)
        return status;
    spw_output *opened = calloc(1, sizeof *opened);
    if (opened == NULL)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    opened->fd = -1;
    opened->force = force;
    status = make_names(opened, path, error);
    if (status == SPW_OK)
        status = make_file(opened, mode, error);
    if (status == SPW_OK)
        *output = opened;
    else
        spw_output_discard(opened);
    return status;
}

static spw_status flush(spw_output *output, spw_error *error) {
    size_t at = 0;
    while (at < output->used) {
        ssize_t wrote = write(output->fd, output->buffer + at, output->used - at);
        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote <= 0)
            return refused(error, output->path, "write", wrote < 0 ? errno : ENOSPC);
        at += (size_t)wrote;
    }
    output->used = 0;
    return SPW_OK;
}

spw_status spw_output_write(spw_output *output, const char *bytes, size_t length,
                            spw_error *error) {
    output->settled = false;
    while (length > 0) {
        if (output->used == BUFFER_BYTES) {
            spw_status status = flush(output, error);
            if (status != SPW_OK)
                return status;
        }
        size_t part = BUFFER_BYTES - output->used;
        if (part > length)
            part = length;
        memcpy(output->buffer + output->used, bytes, part);
        output->used += part;
        bytes += part;
        length -= part;
    }
    return SPW_OK;
}

spw_status spw_output_settle(spw_output *output, spw_error *error) {
    spw_status status = output->settled ? SPW_OK : flush(output, error);
    if (status != SPW_OK || output->settled)
        return status;
    int result;
    do
        result = fsync(output->fd);
    while (result != 0 && errno == EINTR);
    if (result != 0 && errno != EINVAL && errno != EROFS) /* a file system without it */
        return refused(error, output->path, "write", errno);
    output->settled = true;
    return SPW_OK;
}

/* Gives our file the name `to`, unless something has it. */
static int link_to(const spw_output *output, const char *to) {
    char self[64];
    if (output->named)
        return link(output->temporary, to);
    (void)snprintf(self, sizeof self, "/proc/self/fd/%d", output->fd);
    return linkat(AT_FDCWD, self, AT_FDCWD, to, AT_SYMLINK_FOLLOW);
}

static int take_temporary_name(spw_output *output) {
    int result = -1;
    for (int i = 0; i < TRIES && !output->named; i++) {
        if (!name_it(output))
            return -1;
        result = link_to(output, output->temporary);
        output->named = result == 0;
        if (result != 0 && errno != EEXIST)
            return -1;
    }
    return output->named ? 0 : result;
}

/* Into place: without `force` never over a file that has come since. */
static spw_status put_in_place(spw_output *output, spw_error *error) {
    if (link_to(output, output->path) == 0)
        return SPW_OK; /* discarding takes the other name away, if there is one */
    if (errno == EEXIST && !output->force)
        return target_exists(error, output->path);
    /* Something is there, or the file system knows one name a file only. */
    if (take_temporary_name(output) != 0 || rename(output->temporary, output->path) != 0)
        return refused(error, output->path, "write", errno);
    output->named = false;
    return SPW_OK;
}

/* So that the new name outlives a power cut, where the folder lets itself be flushed. */
static void settle_folder(spw_output *output) {
    output->path[output->folder] = '\0';
    int fd = open(output->folder > 0 ? output->path : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return;
    (void)fsync(fd);
    (void)close(fd);
}

spw_status spw_output_commit(spw_output *output, spw_error *error) {
    spw_status status = spw_output_settle(output, error);
    if (status == SPW_OK)
        status = put_in_place(output, error);
    if (status == SPW_OK)
        settle_folder(output);
    spw_output_discard(output);
    return status;
}

void spw_output_discard(spw_output *output) {
    if (output == NULL)
        return;
    if (output->named)
        (void)unlink(output->temporary);
    if (output->fd >= 0)
        (void)close(output->fd);
    free(output->temporary);
    free(output->path);
    free(output);
}
