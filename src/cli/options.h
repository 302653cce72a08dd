/* The options that the subcommands share. */
#ifndef SPW_CLI_OPTIONS_H
#define SPW_CLI_OPTIONS_H

#include "spanwright/spanwright.h"

#define CLI_DONE 0
#define CLI_NOT_YES 1
#define CLI_WRONG 2
#define CLI_GO (-1) /* options are read, go on */

typedef enum cli_command {
    CLI_MEASURE = 1,
    CLI_PLAN = 2,
    CLI_VERIFY = 4,
    CLI_SHEET = 8,
    CLI_BENCH = 16
} cli_command; /* bits of a set */

typedef struct cli_options {
    cli_command command;
    char **files; /* borrowed from argv */
    size_t n_files;
    const char **channels; /* borrowed text in an owned array */
    size_t n_channels;
    spw_measure_options measure; /* borrows channels */
    spw_bench bench;
    const char *bench_path, *pulses_path, *out_path;    /* borrowed from argv or NULL */
    const char *before, *after, *plan_path, *emit_path; /* the same */
    const char *verified_path, *earlier_path, *date;    /* the same */
    spw_text command_line;                              /* as it was called, for a shell */
    bool json, digest, force, quiet, gate;
    bool has_span, has_expect, has_timebase;
    double span_low_us, span_neutral_us, span_high_us;
    double expect_low_us, expect_high_us;
    unsigned jobs;
} cli_options;

/* Reads argv[2..] of `spanwright SUBCOMMAND ...` and the bench file. Returns
 * CLI_GO, or the exit status after help or a complaint. Free in every case. */
int cli_options_read(cli_options *options, cli_command command, int argc, char **argv);
void cli_options_free(cli_options *options);

#endif
