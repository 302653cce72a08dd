/* The table of options. */
#include "cli/table.h"

#include <string.h>

#define BOTH (CLI_MEASURE | CLI_PLAN)
#define ALL (BOTH | CLI_VERIFY)
#define PLUS (BOTH | CLI_SHEET)
#define EVERY (ALL | CLI_SHEET)

const cli_option cli_option_table[] = {
    {"channel", "NAME", CLI_OPT_CHANNEL, PLUS,
     "only this channel (repeatable); a unique ending\nafter a '.' is enough; of a sound "
     "recording\nleft, right, 1, 2 too"},
    {"rate", "HZ", CLI_OPT_RATE, EVERY,
     "samples a second (also 100k, 4M), of a raw dump\nor of a table without a time column"},
    {"time-unit", "s|ms|us|ns", CLI_OPT_TIME_UNIT, EVERY,
     "of a table's times when its header names none\n(without either: seconds)"},
    {"polarity", "auto|positive|negative", CLI_OPT_POLARITY, EVERY,
     "how to read the line; default auto"},
    {"timebase-ppm", "N", CLI_OPT_TIMEBASE, EVERY,
     "standard uncertainty of the recorder's clock;\ndefault 50"},
    {"known-frame-us", "N", CLI_OPT_KNOWN_FRAME, EVERY,
     "correct the recorder's clock by a frame period\nknown to be exact"},
    {"width-window", "LOW:HIGH", CLI_OPT_WIDTH_WINDOW, EVERY,
     "accepted pulse widths in us; default 200:3500"},
    {"from", "S", CLI_OPT_FROM, EVERY,
     "judge the capture from this instant on, in\nseconds; default its start"},
    {"to", "S", CLI_OPT_TO, EVERY, "and to this one; default its end"},
    {"bench", "FILE", CLI_OPT_BENCH, PLUS,
     "what no capture shows: servo, controller,\nadapter, joint (an INI file)"},
    {"expect", "LOW:HIGH", CLI_OPT_EXPECT, PLUS,
     "range the servo expects in us, instead of the\nbench file's; default 500:2500"},
    {"span", "LOW:HIGH", CLI_OPT_SPAN, CLI_PLAN,
     "or LOW:NEUTRAL:HIGH: the controller's range in\nus, instead of a capture"},
    {"gate", NULL, CLI_OPT_GATE, CLI_PLAN,
     "exit status 1 when the joint cannot do what the\nbench file asks, when the line is inverted, "
     "or\nwhen to measure again"},
    {"emit-c", "FILE.h", CLI_OPT_EMIT_C, CLI_PLAN,
     "write the remap as a C header for the adapter's\nprogram, in whole ticks"},
    {"before", "CHANNEL", CLI_OPT_BEFORE, CLI_VERIFY, "the adapter's input line"},
    {"after", "CHANNEL", CLI_OPT_AFTER, CLI_VERIFY, "the adapter's output line"},
    {"plan", "FILE", CLI_OPT_PLAN, CLI_VERIFY | CLI_SHEET,
     "what the adapter should do, as plan --json\nwrote it"},
    {"verified", "VERIFY.json", CLI_OPT_VERIFIED, CLI_SHEET,
     "what the adapter was seen to do, as verify\n--json wrote it"},
    {"earlier", "MEASURE.json", CLI_OPT_EARLIER, CLI_SHEET,
     "an earlier measurement to set beside, as\nmeasure --json wrote it"},
    {"date", "YYYY-MM-DD", CLI_OPT_DATE, CLI_SHEET,
     "of the inspection, instead of the bench file's;\nwithout both, SOURCE_DATE_EPOCH or a blank"},
    {"json", NULL, CLI_OPT_JSON, ALL, "the answer as JSON"},
    {"pulses", "FILE.csv", CLI_OPT_PULSES, EVERY, "write a row a pulse"},
    {"digest", NULL, CLI_OPT_DIGEST, ALL, "SHA-256 of each capture in the answer"},
    {"jobs", "N", CLI_OPT_JOBS, EVERY,
     "captures worked on at once, each with up to\n48 MiB and 64 bytes a pulse; default 1"},
    {"output", "FILE", CLI_OPT_OUTPUT, EVERY | CLI_BENCH,
     "(or -o FILE) write the answer there, whole or\nnot at all"},
    {"force", NULL, CLI_OPT_FORCE, EVERY | CLI_BENCH, "overwrite an existing file"},
    {"quiet", NULL, CLI_OPT_QUIET, EVERY, "no progress, no warnings on stderr"},
    {"help", NULL, CLI_OPT_HELP, EVERY | CLI_BENCH, "this text"},
};
const size_t cli_option_count = sizeof cli_option_table / sizeof cli_option_table[0];
_Static_assert(sizeof cli_option_table / sizeof cli_option_table[0] < CLI_MOST_OPTIONS,
               "room for every option and the end mark");

unsigned cli_option_takers(const char *name) {
    for (size_t i = 0; i < cli_option_count; i++)
        if (strcmp(cli_option_table[i].name, name) == 0)
            return cli_option_table[i].commands;
    return 0;
}

void cli_getopt_table(cli_command command, struct option out[CLI_MOST_OPTIONS]) {
    size_t n = 0;
    for (size_t i = 0; i < cli_option_count; i++) {
        const cli_option *option = &cli_option_table[i];
        if ((option->commands & command) == 0)
            continue;
        out[n++] =
            (struct option){option->name, option->value != NULL ? required_argument : no_argument,
                            NULL, (int)option->code};
    }
    out[n] = (struct option){NULL, 0, NULL, 0};
}
