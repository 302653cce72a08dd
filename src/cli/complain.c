/* One sentence on standard error. */
#include "cli/complain.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

cli_word cli_safe(const char *word) {
    cli_word safe = {""};
    spw_text_safe(safe.text, sizeof safe.text, word, strlen(word));
    return safe;
}

int cli_complain(const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    (void)fputs("spanwright: ", stderr);
    (void)vfprintf(stderr, format, arguments);
    (void)fputs("\n", stderr);
    va_end(arguments);
    return CLI_WRONG;
}

int cli_complain_error(const spw_error *error) {
    char place[64] = "";
    if (error->line != SPW_NOWHERE)
        (void)snprintf(place, sizeof place, "line %" PRIu64 ": ", error->line);
    else if (error->byte != SPW_NOWHERE)
        (void)snprintf(place, sizeof place, "byte %" PRIu64 ": ", error->byte);
    const char *message =
        error->message[0] != '\0' ? error->message : spw_status_text(error->status);
    const char *file = strcmp(error->file, "-") == 0 ? "standard input" : error->file;
    return cli_complain("%s%s%s%s", file, file[0] != '\0' ? ": " : "", place, message);
}

void cli_warn(const char *path, const char *sentence) {
    char safe[256];
    spw_text_safe(safe, sizeof safe, path, strlen(path));
    (void)fprintf(stderr, "spanwright: warning: %s: %s\n", safe, sentence);
}
