/* A line of progress on a terminal, when the work takes longer than a second. */
#ifndef SPW_CLI_PROGRESS_H
#define SPW_CLI_PROGRESS_H

#include "cli/options.h"

typedef struct cli_progress cli_progress;
/* NULL when nothing is to be shown (no terminal, --quiet, no memory). */
cli_progress *cli_progress_new(size_t captures, bool quiet);
/* Makes reading capture number `index` tell its progress. NULL progress: nothing. */
void cli_progress_attach(cli_progress *progress, size_t index, spw_read_options *read);
/* Clears the line. */
void cli_progress_free(cli_progress *progress);

#endif
