/* Status names and errors that a person can act on. */
#include "base/plain.h"

#include <string.h>

const char *spw_status_text(spw_status status) {
    switch (status) {
    case SPW_OK:
        return "done";
    case SPW_ERR_MEMORY:
        return "out of memory";
    case SPW_ERR_IO:
        return "the system refused";
    case SPW_ERR_FORMAT:
        return "the content is not what it should be";
    case SPW_ERR_ARGUMENT:
        return "the call is wrong";
    case SPW_ERR_EMPTY:
        return "too little data";
    case SPW_ERR_LIMIT:
        return "a limit was passed";
    case SPW_ERR_UNSUPPORTED:
        return "not supported";
    case SPW_ERR_NUMERIC:
        return "a computation did not converge";
    }
    return "unknown status";
}

void spw_error_clear(spw_error *error) {
    if (error == NULL)
        return;
    *error = (spw_error){.status = SPW_OK, .line = SPW_NOWHERE, .byte = SPW_NOWHERE};
}

static void fill(spw_error *error, spw_status status, uint64_t line, uint64_t byte,
                 const char *format, va_list arguments) {
    if (error == NULL)
        return;
    error->status = status;
    error->line = line;
    error->byte = byte;
    if (spw_plain_print(error->message, sizeof error->message, format, arguments) < 0)
        error->message[0] = '\0'; /* the status says it */
}

spw_status spw_error_set(spw_error *error, spw_status status, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    fill(error, status, SPW_NOWHERE, SPW_NOWHERE, format, arguments);
    va_end(arguments);
    return status;
}

spw_status spw_error_at(spw_error *error, spw_status status, uint64_t line, uint64_t byte,
                        const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    fill(error, status, line, byte, format, arguments);
    va_end(arguments);
    return status;
}

void spw_error_file(spw_error *error, const char *path) {
    if (error != NULL && error->file[0] == '\0')
        spw_text_safe(error->file, sizeof error->file, path, strlen(path));
}
