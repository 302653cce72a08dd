/* The bytes of the file itself, as the system gives them. */
#ifndef SPW_CAPTURE_SOURCE_INPUT_H
#define SPW_CAPTURE_SOURCE_INPUT_H

#include "spanwright/capture.h"

#include <sys/types.h>

/* Enough of the beginning to tell compressed content and archives from a
 * capture: a tar archive has its mark at byte 257. */
#define SPW_INPUT_HEAD 512

typedef struct spw_input {
    int fd;         /* -1: none open */
    bool owned;     /* standard input stays open */
    uint64_t total; /* bytes to come, 0 when unknown */
    uint64_t done;
    int failure; /* errno of the read that failed, or 0 */
    size_t head_length;
    size_t head_given;
    char head[SPW_INPUT_HEAD];
    spw_read_options options; /* for its progress callback */
} spw_input;

/* Opens `path` ("-": standard input) and reads its first bytes into `head`.
 * Errors: IO, with the system's reason; EMPTY. */
spw_status spw_input_open(spw_input *input, const char *path, const spw_read_options *options,
                          spw_error *error) SPW_CHECKED;
/* Up to `room` bytes, `head` first. 0: the end; -1: see input->failure. */
ssize_t spw_input_read(spw_input *input, char *data, size_t room);
void spw_input_close(spw_input *input);

#endif
