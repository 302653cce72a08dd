#include "base/reason.h"

#include <stdio.h>
#include <string.h>

/* strerror_r is one of two functions: POSIX's fills the buffer and returns a status, GNU's
 * returns the text. */
static const char *of_status(int status, int number, char *buffer, size_t room) {
    if (status != 0)
        (void)snprintf(buffer, room, "error %d", number);
    return buffer;
}

static const char *of_text(const char *text, int number, char *buffer, size_t room) {
    return text != NULL ? text : of_status(-1, number, buffer, room);
}

const char *spw_reason(int number, char *buffer, size_t room) {
    buffer[0] = '\0';
    return _Generic(strerror_r(number, buffer, room), int
                    : of_status, default
                    : of_text)(strerror_r(number, buffer, room), number, buffer, room);
}
