/* The bytes of the file itself. Plain reads, no mapping: pipes work alike, and
 * a read buffer that stays in the processor's cache costs less than page
 * faults. Interrupted reads go on; a pipe set to non-blocking is waited for. */
#include "capture/source/input.h"
#include "base/reason.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static ssize_t read_some(spw_input *input, char *data, size_t room) {
    for (;;) {
        ssize_t got = read(input->fd, data, room);
        if (got >= 0) {
            input->done += (uint64_t)got;
            if (input->options.progress != NULL && got > 0)
                input->options.progress(input->options.progress_context, input->done, input->total);
            return got;
        }
        if (errno == EAGAIN || errno == EWOULDBLOCK) {
            struct pollfd waiting = {.fd = input->fd, .events = POLLIN};
            if (poll(&waiting, 1, -1) >= 0)
                continue;
        }
        if (errno == EINTR)
            continue;
        input->failure = errno;
        return -1;
    }
}

/* What to do about a file that the system does not let us read. */
static const char *remedy(int reason) {
    switch (reason) {
    case ENOENT:
    case ENOTDIR:
        return "check the name and the folder";
    case EACCES:
    case EPERM:
        return "ask for permission to read it";
    case EISDIR:
        return "name a file in it";
    case EBADF:
        return "it is closed: pipe a capture into it or name a file";
    case EMFILE:
    case ENFILE:
        return "close other files or name fewer captures";
    default:
        return "copy it to a disk that works and read the copy";
    }
}

static spw_status refused(spw_error *error, const char *what, int reason) {
    char text[128];
    return spw_error_set(error, SPW_ERR_IO, "%s: %s; %s", what,
                         spw_reason(reason, text, sizeof text), remedy(reason));
}

static spw_status open_descriptor(spw_input *input, const char *path, spw_error *error) {
    if (strcmp(path, "-") == 0) {
        input->fd = STDIN_FILENO;
        input->owned = false;
        return SPW_OK;
    }
    do
        input->fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
    while (input->fd < 0 && errno == EINTR);
    if (input->fd < 0)
        return refused(error, "cannot be opened", errno);
    input->owned = true;
    return SPW_OK;
}

static spw_status learn_size(spw_input *input, spw_error *error) {
    struct stat status;
    if (fstat(input->fd, &status) != 0)
        return refused(error, "cannot be read", errno);
    if (S_ISDIR(status.st_mode))
        return refused(error, "cannot be read as a capture", EISDIR);
    if (!S_ISREG(status.st_mode))
        return SPW_OK;
    off_t at = lseek(input->fd, 0, SEEK_CUR); /* a redirected file may be partly read */
    if (at >= 0 && at < status.st_size)
        input->total = (uint64_t)(status.st_size - at);
    (void)posix_fadvise(input->fd, 0, 0, POSIX_FADV_SEQUENTIAL);
    return SPW_OK;
}

static spw_status read_head(spw_input *input, spw_error *error) {
    while (input->head_length < sizeof input->head) {
        ssize_t got = read_some(input, input->head + input->head_length,
                                sizeof input->head - input->head_length);
        if (got < 0 && input->head_length == 0)
            return refused(error, "cannot be read", input->failure);
        if (got <= 0)
            break;
        input->head_length += (size_t)got;
    }
    if (input->head_length == 0)
        return spw_error_set(error, SPW_ERR_EMPTY,
                             "the file is empty; record the capture again or name another file");
    return SPW_OK;
}

spw_status spw_input_open(spw_input *input, const char *path, const spw_read_options *options,
                          spw_error *error) {
    *input = (spw_input){.fd = -1};
    if (options != NULL)
        input->options = *options;
    spw_status status = open_descriptor(input, path, error);
    if (status == SPW_OK)
        status = learn_size(input, error);
    if (status == SPW_OK)
        status = read_head(input, error);
    if (status != SPW_OK)
        spw_input_close(input);
    return status;
}

ssize_t spw_input_read(spw_input *input, char *data, size_t room) {
    size_t waiting = input->head_length - input->head_given;
    if (waiting > 0) {
        size_t n = waiting < room ? waiting : room;
        memcpy(data, input->head + input->head_given, n);
        input->head_given += n;
        return (ssize_t)n;
    }
    return input->failure != 0 ? -1 : read_some(input, data, room);
}

void spw_input_close(spw_input *input) {
    if (input->owned && input->fd >= 0)
        (void)close(input->fd);
    input->fd = -1;
}
