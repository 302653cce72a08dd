/* The table of options: the one place that names them, for getopt and help. */
#ifndef SPW_CLI_TABLE_H
#define SPW_CLI_TABLE_H

#include "cli/options.h"

#include <getopt.h>

typedef enum cli_code {
    CLI_OPT_CHANNEL = 256,
    CLI_OPT_RATE,
    CLI_OPT_TIME_UNIT,
    CLI_OPT_POLARITY,
    CLI_OPT_TIMEBASE,
    CLI_OPT_KNOWN_FRAME,
    CLI_OPT_WIDTH_WINDOW,
    CLI_OPT_FROM,
    CLI_OPT_TO,
    CLI_OPT_BENCH,
    CLI_OPT_EXPECT,
    CLI_OPT_SPAN,
    CLI_OPT_JSON,
    CLI_OPT_PULSES,
    CLI_OPT_DIGEST,
    CLI_OPT_JOBS,
    CLI_OPT_OUTPUT,
    CLI_OPT_FORCE,
    CLI_OPT_QUIET,
    CLI_OPT_GATE,
    CLI_OPT_EMIT_C,
    CLI_OPT_BEFORE,
    CLI_OPT_AFTER,
    CLI_OPT_PLAN,
    CLI_OPT_VERIFIED,
    CLI_OPT_EARLIER,
    CLI_OPT_DATE,
    CLI_OPT_HELP
} cli_code;

typedef struct cli_option {
    const char *name;  /* long name */
    const char *value; /* what it takes, as help shows it; NULL: nothing */
    cli_code code;
    unsigned commands; /* set of cli_command */
    const char *help;  /* lines of at most 48 columns */
} cli_option;

extern const cli_option cli_option_table[];
extern const size_t cli_option_count;

/* The subcommands that take an option of exactly this name; 0: none. */
unsigned cli_option_takers(const char *name);

/* The options of one subcommand for getopt_long; `out` has room for all and an end mark. */
#define CLI_MOST_OPTIONS 32
void cli_getopt_table(cli_command command, struct option out[CLI_MOST_OPTIONS]);

#endif
