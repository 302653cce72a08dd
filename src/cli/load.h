/* Measuring the captures of a command line, one after another or several at once. */
#ifndef SPW_CLI_LOAD_H
#define SPW_CLI_LOAD_H

#include "cli/options.h"

typedef struct cli_loaded {
    spw_capture *capture; /* NULL when it failed: error says why */
    char digest[65];      /* "" without --digest */
    spw_error error;
} cli_loaded;

/* Measures options->files in the order given; complaints and warnings come in
 * that order too, whatever --jobs is. *loaded has n_files items.
 * CLI_DONE when all went well; CLI_WRONG after complaints, when some may still be good. */
int cli_load(const cli_options *options, cli_loaded **loaded);
void cli_loaded_free(cli_loaded *loaded, size_t n);

#endif
