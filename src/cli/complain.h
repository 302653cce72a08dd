/* One sentence on standard error, and the exit status that goes with it. */
#ifndef SPW_CLI_COMPLAIN_H
#define SPW_CLI_COMPLAIN_H

#include "cli/options.h"

/* "spanwright: sentence"; returns CLI_WRONG. Arguments must be safe to show. */
int cli_complain(const char *format, ...) SPW_PRINTF(1, 2);
/* "spanwright: FILE: line N: sentence" (or byte N); returns CLI_WRONG. */
int cli_complain_error(const spw_error *error);
/* "spanwright: warning: FILE: sentence" */
void cli_warn(const char *path, const char *sentence);

/* A word of the command line, safe to show. */
typedef struct cli_word {
    char text[128];
} cli_word;
cli_word cli_safe(const char *word);

#endif
