/* Help and the nearest names. */
#include "cli/help.h"

#include "cli/answer.h"
#include "cli/table.h"

#include <string.h>

#define NAME_COLUMNS 32
#define LONGEST_NAME 40
#define FAR_AWAY 100

static const struct {
    const char *name;
    cli_command command;
    const char *usage; /* lines */
    const char *does;
} commands[] = {
    {"measure", CLI_MEASURE, "spanwright measure [OPTIONS] CAPTURE...\n",
     "What does this controller send? Frame period, pulse width (the pulse duration\n"
     "of IEEE Std 181), holds, range, step, polarity and events of each channel, with\n"
     "their uncertainty.\n"},
    {"plan", CLI_PLAN,
     "spanwright plan [OPTIONS] CAPTURE...\n"
     "       spanwright plan [OPTIONS] --span LOW:HIGH\n"
     "       spanwright plan [OPTIONS] --span LOW:NEUTRAL:HIGH\n",
     "Does the controller cover the servo's range; which remap closes the gap; what\n"
     "will the joint do? Several captures of one channel pool their holds.\n"},
    {"verify", CLI_VERIFY,
     "spanwright verify [OPTIONS] CAPTURE --before CHANNEL --after CHANNEL\n"
     "       spanwright verify [OPTIONS] BEFORE AFTER\n",
     "Does the fitted adapter do what was planned? One capture of both lines is\n"
     "compared pulse by pulse, two captures of the same commands level by level.\n"
     "Without --plan the line is fitted and nothing is judged against a plan.\n"},
    {"sheet", CLI_SHEET, "spanwright sheet [OPTIONS] CAPTURE... -o FILE.html\n",
     "Writes the inspection sheet: one HTML page with verdict, advice, pictures,\n"
     "figures and what is needed to repeat them. It loads nothing and runs nothing,\n"
     "and prints on two sides.\n"},
    {"bench", CLI_BENCH, "spanwright bench [OPTIONS]\n",
     "Prints a bench file to start from: every key with its unit, its default and\n"
     "what it means.\n"},
};
#define COMMANDS (sizeof commands / sizeof commands[0])

static const char overview[] =
    "spanwright measures the control pulses of hobby servos from captures, judges\n"
    "the controller's range against the servo's, and plans a range adapter.\n"
    "\n"
    "usage: spanwright SUBCOMMAND [OPTIONS] FILE...\n"
    "\n"
    "  measure CAPTURE...      what does this controller send?\n"
    "  plan CAPTURE...         does it cover the servo's range; which remap closes\n"
    "                          the gap; what will the joint do?\n"
    "  plan --span LOW:HIGH    the same for a range in us that you know\n"
    "  verify CAPTURE...       does the fitted adapter do what was planned?\n"
    "  sheet CAPTURE... -o FILE.html\n"
    "                          write the inspection sheet\n"
    "  bench                   print a bench file to start from\n"
    "\n"
    "A capture is a VCD file, a table (CSV, TSV), a sound recording (WAV, FLAC, ...)\n"
    "or raw logic bytes (with --rate); - is standard input; gzip, xz and zstd are\n"
    "read too. spanwright SUBCOMMAND --help lists the options.\n"
    "\n"
    "Exit status: 0 done; 1 done, and the answer is not yes (verify, plan --gate);\n"
    "2 the call or the input was wrong.\n"
    "\n"
    "Servos move fingers into gears, and line inputs die of battery voltage: take\n"
    "the horn off before you drive a controller to its ends, and use a divider. The\n"
    "event's rules, local codes and whoever is responsible on site come first.\n";

const char *cli_command_name(cli_command command) {
    for (size_t i = 0; i < COMMANDS; i++)
        if (commands[i].command == command)
            return commands[i].name;
    return "";
}

unsigned cli_find_command(const char *name) {
    for (size_t i = 0; i < COMMANDS; i++)
        if (strcmp(commands[i].name, name) == 0)
            return commands[i].command;
    return 0;
}

int cli_help(void) {
    return cli_print(overview, sizeof overview - 1);
}

int cli_version(void) {
    static const char version[] = "spanwright " SPW_VERSION "\n";
    return cli_print(version, sizeof version - 1);
}

static void put_option(spw_text *text, const cli_option *option) {
    size_t before = text->length;
    spw_text_printf(text, "  --%s%s%s", option->name, option->value != NULL ? " " : "",
                    option->value != NULL ? option->value : "");
    for (const char *line = option->help; *line != '\0';) {
        size_t length = strcspn(line, "\n"), used = text->length - before;
        int gap = used < NAME_COLUMNS ? (int)(NAME_COLUMNS - used) : 1;
        spw_text_printf(text, "%*s%.*s\n", gap, "", (int)length, line);
        before = text->length;
        line += length + (line[length] == '\n');
    }
}

int cli_help_command(cli_command command) {
    spw_text text = {0};
    for (size_t i = 0; i < COMMANDS; i++)
        if (commands[i].command == command)
            spw_text_printf(&text, "usage: %s\n%s\n", commands[i].usage, commands[i].does);
    for (size_t i = 0; i < cli_option_count; i++)
        if ((cli_option_table[i].commands & command) != 0)
            put_option(&text, &cli_option_table[i]);
    int status = cli_print_text(&text);
    spw_text_free(&text);
    return status;
}

static size_t least(size_t a, size_t b) {
    return a < b ? a : b;
}

/* Edit distance with neighbours changed places (optimal string alignment). */
static size_t distance(const char *a, const char *b) {
    size_t n = strlen(a), m = strlen(b), cost[LONGEST_NAME + 1][LONGEST_NAME + 1];
    if (n > LONGEST_NAME || m > LONGEST_NAME)
        return FAR_AWAY;
    for (size_t i = 0; i <= n; i++)
        cost[i][0] = i;
    for (size_t k = 0; k <= m; k++)
        cost[0][k] = k;
    for (size_t i = 1; i <= n; i++)
        for (size_t k = 1; k <= m; k++) {
            size_t change = cost[i - 1][k - 1] + (a[i - 1] != b[k - 1]);
            cost[i][k] = least(change, least(cost[i - 1][k], cost[i][k - 1]) + 1);
            if (i > 1 && k > 1 && a[i - 1] == b[k - 2] && a[i - 2] == b[k - 1])
                cost[i][k] = least(cost[i][k], cost[i - 2][k - 2] + 1);
        }
    return cost[n][m];
}

/* How far a name may be off and still be meant. */
static size_t tolerance(const char *name) {
    return 1 + strlen(name) / 3;
}

const char *cli_nearest_command(const char *name) {
    const char *nearest = NULL;
    size_t best = tolerance(name);
    for (size_t i = 0; i < COMMANDS; i++) {
        size_t d = distance(name, commands[i].name);
        if (d > best || (d == best && nearest != NULL))
            continue;
        best = d;
        nearest = commands[i].name;
    }
    return nearest;
}

const char *cli_nearest_option(cli_command command, const char *name) {
    const char *nearest = NULL;
    size_t best = tolerance(name);
    for (size_t i = 0; i < cli_option_count; i++) {
        const cli_option *option = &cli_option_table[i];
        if ((option->commands & command) == 0)
            continue;
        size_t d = distance(name, option->name);
        if (d > best || (d == best && nearest != NULL))
            continue;
        best = d;
        nearest = option->name;
    }
    return nearest;
}
