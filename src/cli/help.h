/* Help, version, and the nearest name to a mistyped one. */
#ifndef SPW_CLI_HELP_H
#define SPW_CLI_HELP_H

#include "cli/options.h"

const char *cli_command_name(cli_command command);
/* Print to standard output; return the exit status. */
int cli_help(void);
int cli_help_command(cli_command command);
int cli_version(void);

/* The subcommand called `name`, or 0. */
unsigned cli_find_command(const char *name);
/* The nearest subcommand, or NULL when none is near. */
const char *cli_nearest_command(const char *name);
/* The nearest long option of a subcommand (without "--"), or NULL. */
const char *cli_nearest_option(cli_command command, const char *name);

#endif
