/* Files written whole or not at all. */
#include "base/array.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define BUFFER_BYTES 65536

struct spw_output {
    char *path;
    char *temporary;
    int fd;
    size_t used;
    char buffer[BUFFER_BYTES];
};

static spw_status refused(spw_error *error, const char *path, const char *doing, int reason) {
    char safe[256], why[128];
    spw_text_safe(safe, sizeof safe, path, strlen(path));
    return spw_error_set(error, SPW_ERR_IO, "cannot %s %s: %s", doing, safe,
                         strerror_r(reason, why, sizeof why));
}

/* A name in the target's own folder, so that the rename stays within one
 * file system. */
static char *temporary_beside(const char *path) {
    static const char suffix[] = ".spanwright-XXXXXX";
    size_t length = strlen(path);
    char *name = malloc(length + sizeof suffix);
    if (name == NULL)
        return NULL;
    memcpy(name, path, length);
    memcpy(name + length, suffix, sizeof suffix);
    return name;
}

static spw_status check_target(const char *path, bool force, mode_t *mode, spw_error *error) {
    struct stat there;
    *mode = 0;
    if (stat(path, &there) != 0)
        return SPW_OK;
    char safe[256];
    spw_text_safe(safe, sizeof safe, path, strlen(path));
    if (S_ISDIR(there.st_mode))
        return spw_error_set(error, SPW_ERR_ARGUMENT, "%s is a folder: name a file to write to",
                             safe);
    if (!S_ISREG(there.st_mode))
        return spw_error_set(error, SPW_ERR_ARGUMENT,
                             "%s is no ordinary file: name another file to write to", safe);
    if (!force)
        return spw_error_set(error, SPW_ERR_ARGUMENT,
                             "%s exists: use --force to overwrite it, or name another file", safe);
    *mode = there.st_mode & 07777;
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
    opened->path = spw_duplicate(path, strlen(path));
    opened->temporary = temporary_beside(path);
    if (opened->path == NULL || opened->temporary == NULL) {
        status = spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    } else {
        opened->fd = mkstemp(opened->temporary);
        if (opened->fd < 0)
            status = refused(error, path, "write", errno);
    }
    if (status != SPW_OK) {
        free(opened->path);
        free(opened->temporary);
        free(opened);
        return status;
    }
    if (mode == 0) { /* what open(2) with 0666 would have given */
        mode_t mask = umask(0);
        umask(mask);
        mode = 0666 & ~mask;
    }
    if (fchmod(opened->fd, mode) != 0) {
        status = refused(error, path, "set the permissions of", errno);
        spw_output_discard(opened);
        return status;
    }
    *output = opened;
    return SPW_OK;
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

spw_status spw_output_commit(spw_output *output, spw_error *error) {
    spw_status status = flush(output, error);
    if (status == SPW_OK && fsync(output->fd) != 0 && errno != EINVAL && errno != EROFS)
        status = refused(error, output->path, "write", errno);
    int fd = output->fd;
    output->fd = -1;
    if (close(fd) != 0 && status == SPW_OK)
        status = refused(error, output->path, "write", errno);
    if (status == SPW_OK && rename(output->temporary, output->path) != 0)
        status = refused(error, output->path, "write", errno);
    if (status == SPW_OK) {
        free(output->temporary);
        output->temporary = NULL;
    }
    spw_output_discard(output);
    return status;
}

void spw_output_discard(spw_output *output) {
    if (output == NULL)
        return;
    if (output->fd >= 0)
        (void)close(output->fd);
    if (output->temporary != NULL)
        (void)unlink(output->temporary);
    free(output->temporary);
    free(output->path);
    free(output);
}
