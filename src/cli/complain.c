/* One sentence on standard error. */
#include "cli/complain.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define SENTENCE_BYTES 4096

cli_word cli_safe(const char *word) {
    cli_word safe = {""};
    spw_text_safe(safe.text, sizeof safe.text, word, strlen(word));
    return safe;
}

/* The last gate to a terminal: parts are made safe where they come from, and once more
 * here, which changes nothing then. One write a sentence. */
static void say(const char *sentence) {
    char safe[SENTENCE_BYTES];
    spw_text_safe(safe, sizeof safe, sentence, strlen(sentence));
    (void)fprintf(stderr, "spanwright: %s\n", safe);
}

int cli_complain(const char *format, ...) {
    char sentence[SENTENCE_BYTES];
    va_list arguments;
    va_start(arguments, format);
    if (vsnprintf(sentence, sizeof sentence, format, arguments) < 0)
        sentence[0] = '\0';
    va_end(arguments);
    say(sentence);
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
    char safe[256], whole[SENTENCE_BYTES];
    spw_text_safe(safe, sizeof safe, path, strlen(path));
    (void)snprintf(whole, sizeof whole, "warning: %s: %s", safe, sentence);
    say(whole);
}
