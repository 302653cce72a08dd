/* The subcommands. Each returns the exit status. */
#ifndef SPW_CLI_COMMANDS_H
#define SPW_CLI_COMMANDS_H

#include "cli/options.h"

int cli_measure(const cli_options *options);
int cli_plan(const cli_options *options);
int cli_verify(const cli_options *options);
int cli_sheet(const cli_options *options);
int cli_bench(const cli_options *options);

#endif
