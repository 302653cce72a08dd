/* The options that the subcommands share. */
#include "cli/options.h"

#include "cli/complain.h"
#include "cli/help.h"
#include "cli/table.h"
#include "cli/values.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MOST_JOBS 64
#define HIGHEST_RATE_HZ 1e12       /* a picosecond a sample */
#define LONGEST_S 1e9              /* thirty years */
#define WORST_TIMEBASE_PPM 100000. /* as in the bench file */

static int read_span(cli_options *options, const char *text) {
    double v[3];
    size_t n = cli_split_numbers(text, v);
    if (n < 2)
        return cli_complain("--span %s: give LOW:HIGH or LOW:NEUTRAL:HIGH in us, for example "
                            "--span 1000:2000",
                            cli_safe(text).text);
    double neutral = n == 3 ? v[1] : NAN, high = v[n - 1];
    if (!(v[0] > 0.0 && v[0] < high))
        return cli_complain("--span %s: the low end must be above 0 and below the high end",
                            cli_safe(text).text);
    if (n == 3 && !(v[0] < neutral && neutral < high))
        return cli_complain("--span %s: neutral must be between the ends", cli_safe(text).text);
    if (cli_ask_unit("--span", text, v, n, true) != CLI_GO)
        return CLI_WRONG;
    options->has_span = true;
    options->span_low_us = v[0];
    options->span_neutral_us = neutral;
    options->span_high_us = high;
    return CLI_GO;
}

static int read_expect(cli_options *options, const char *text) {
    double v[3];
    size_t n = cli_split_numbers(text, v);
    if (n == 2 && v[0] > 0.0 && v[0] < v[1] &&
        cli_ask_unit("--expect", text, v, n, false) != CLI_GO)
        return CLI_WRONG;
    return cli_range("--expect", text, "500:2500", &options->expect_low_us,
                     &options->expect_high_us);
}

static int read_time_unit(cli_options *options, const char *text) {
    static const char *const names[] = {"s", "ms", "us", "ns"};
    static const spw_time_unit units[] = {SPW_TIME_S, SPW_TIME_MS, SPW_TIME_US, SPW_TIME_NS};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (strcmp(text, names[i]) == 0) {
            options->measure.read.time_unit = units[i];
            return CLI_GO;
        }
    return cli_complain("--time-unit %s: give s, ms, us or ns", cli_safe(text).text);
}

static int read_polarity(cli_options *options, const char *text) {
    options->measure.has_polarity = strcmp(text, "auto") != 0;
    if (strcmp(text, "positive") == 0)
        options->measure.polarity = SPW_POLARITY_POSITIVE;
    else if (strcmp(text, "negative") == 0)
        options->measure.polarity = SPW_POLARITY_NEGATIVE;
    else if (options->measure.has_polarity)
        return cli_complain("--polarity %s: give auto, positive or negative", cli_safe(text).text);
    return CLI_GO;
}

static int read_jobs(cli_options *options, const char *text) {
    double value;
    if (spw_parse_number(text, &value) != SPW_OK || value != floor(value) || value < 1.0 ||
        value > MOST_JOBS)
        return cli_complain("--jobs %s: give a whole number from 1 to %d", cli_safe(text).text,
                            MOST_JOBS);
    options->jobs = (unsigned)value;
    return CLI_GO;
}

static int read_channel(cli_options *options, const char *text) {
    if (text[0] == '\0')
        return cli_complain("--channel needs a name");
    options->channels[options->n_channels++] = text;
    return CLI_GO;
}

static int read_name(const char *option, const char *text, const char **name) {
    if (text[0] == '\0')
        return cli_complain("%s needs a channel's name", option);
    *name = text;
    return CLI_GO;
}

static int read_file_name(const char *name, const char *text, const char **path) {
    bool standard = strcmp(text, "-") == 0, output = strcmp(name, "-o") == 0;
    if (text[0] == '\0' || (standard && !output))
        return cli_complain("%s needs a file name", name);
    *path = standard ? NULL : text;
    return CLI_GO;
}

static int read_option(cli_options *options, cli_code code, const char *value) {
    spw_measure_options *measure = &options->measure;
    switch (code) {
    case CLI_OPT_CHANNEL:
        return read_channel(options, value);
    case CLI_OPT_RATE:
        measure->read.has_rate = true;
        return cli_rate("--rate", value, 1.0, HIGHEST_RATE_HZ, &measure->read.rate_hz);
    case CLI_OPT_TIME_UNIT:
        return read_time_unit(options, value);
    case CLI_OPT_POLARITY:
        return read_polarity(options, value);
    case CLI_OPT_TIMEBASE:
        options->has_timebase = true;
        return cli_up_to("--timebase-ppm", value, WORST_TIMEBASE_PPM, "parts in a million",
                         &measure->timebase_ppm);
    case CLI_OPT_KNOWN_FRAME:
        return cli_within("--known-frame-us", value, 100.0, 1e6, "us", &measure->known_frame_us);
    case CLI_OPT_WIDTH_WINDOW:
        return cli_range("--width-window", value, "200:3500", &measure->width_low_us,
                         &measure->width_high_us);
    case CLI_OPT_FROM:
        return cli_up_to("--from", value, LONGEST_S, "seconds", &measure->from_s);
    case CLI_OPT_TO:
        return cli_up_to("--to", value, LONGEST_S, "seconds", &measure->to_s);
    case CLI_OPT_BENCH:
        return read_file_name("--bench", value, &options->bench_path);
    case CLI_OPT_EXPECT:
        options->has_expect = true;
        return read_expect(options, value);
    case CLI_OPT_SPAN:
        return read_span(options, value);
    case CLI_OPT_EMIT_C:
        return read_file_name("--emit-c", value, &options->emit_path);
    case CLI_OPT_BEFORE:
        return read_name("--before", value, &options->before);
    case CLI_OPT_AFTER:
        return read_name("--after", value, &options->after);
    case CLI_OPT_PLAN:
        return read_file_name("--plan", value, &options->plan_path);
    case CLI_OPT_VERIFIED:
        return read_file_name("--verified", value, &options->verified_path);
    case CLI_OPT_EARLIER:
        return read_file_name("--earlier", value, &options->earlier_path);
    case CLI_OPT_DATE:
        options->date = value;
        return cli_date("--date", value);
    case CLI_OPT_PULSES:
        return read_file_name("--pulses", value, &options->pulses_path);
    case CLI_OPT_JOBS:
        return read_jobs(options, value);
    case CLI_OPT_OUTPUT:
        return read_file_name("-o", value, &options->out_path);
    case CLI_OPT_JSON:
        options->json = true;
        break;
    case CLI_OPT_DIGEST:
        options->digest = true;
        break;
    case CLI_OPT_FORCE:
        options->force = true;
        break;
    case CLI_OPT_QUIET:
        options->quiet = true;
        break;
    case CLI_OPT_GATE:
        options->gate = true;
        break;
    case CLI_OPT_HELP:
        return cli_help_command(options->command);
    }
    return CLI_GO;
}

/* A long option that getopt_long could not take. */
static int refuse_long(const cli_options *options, const char *word) {
    char name[64];
    size_t length = strcspn(word + 2, "=");
    if (length >= sizeof name)
        length = sizeof name - 1;
    memcpy(name, word + 2, length);
    name[length] = '\0';
    unsigned takers = cli_option_takers(name);
    if ((takers & options->command) != 0)
        return cli_complain("--%s takes no value", name);
    if (takers != 0)
        return cli_complain("--%s belongs to spanwright %s", name,
                            cli_command_name((cli_command)takers));
    const char *nearest = cli_nearest_option(options->command, name);
    if (nearest != NULL)
        return cli_complain("unknown option --%s: did you mean --%s?", cli_safe(name).text,
                            nearest);
    return cli_complain("unknown option --%s: spanwright %s --help lists them", cli_safe(name).text,
                        cli_command_name(options->command));
}

/* What getopt_long could not take: `word` is the last argument it looked at. */
static int refuse_option(const cli_options *options, const char *word) {
    if (optopt == 0 || optopt >= CLI_OPT_CHANNEL)
        return refuse_long(options, word);
    char letter = (char)optopt;
    return cli_complain("unknown option -%.*s: spanwright %s --help lists them", 4,
                        spw_text_safe((char[8]){""}, 8, &letter, 1),
                        cli_command_name(options->command));
}

static int missing_value(const cli_options *options, const char *word) {
    return cli_complain("%s needs a value: spanwright %s --help shows it", cli_safe(word).text,
                        cli_command_name(options->command));
}

static int read_arguments(cli_options *options, int argc, char **argv) {
    struct option table[CLI_MOST_OPTIONS];
    cli_getopt_table(options->command, table);
    opterr = 0;
    optind = 0; /* a fresh start: getopt permutes */
    for (;;) {
        int code = getopt_long(argc, argv, ":o:h", table, NULL);
        int status;
        if (code == -1)
            break;
        if (code == ':')
            status = missing_value(options, argv[optind - 1]);
        else if (code == '?')
            status = refuse_option(options, argv[optind - 1]);
        else
            status = read_option(options,
                                 code == 'o'   ? CLI_OPT_OUTPUT
                                 : code == 'h' ? CLI_OPT_HELP
                                               : (cli_code)code,
                                 optarg);
        if (status != CLI_GO)
            return status;
    }
    options->files = argv + optind;
    options->n_files = (size_t)(argc - optind);
    return CLI_GO;
}

/* The bench file fills what no option said. */
static int apply_bench(cli_options *options) {
    spw_error error;
    spw_error_clear(&error);
    if (options->bench_path != NULL &&
        spw_bench_read(options->bench_path, &options->bench, &error) != SPW_OK) {
        spw_error_file(&error, options->bench_path);
        return cli_complain_error(&error);
    }
    spw_servo *servo = &options->bench.servo;
    if (options->has_expect) {
        servo->expected_low_us = options->expect_low_us;
        servo->expected_high_us = options->expect_high_us;
        if (!(servo->neutral_us > servo->expected_low_us &&
              servo->neutral_us < servo->expected_high_us))
            servo->neutral_us = 0.5 * (servo->expected_low_us + servo->expected_high_us);
    }
    options->measure.neutral_us = servo->neutral_us;
    if (!options->has_timebase && isfinite(options->bench.recorder.timebase_ppm))
        options->measure.timebase_ppm = options->bench.recorder.timebase_ppm;
    if (options->n_channels == 0 && options->bench.controller.channel[0] != '\0' &&
        !options->has_span)
        options->channels[options->n_channels++] = options->bench.controller.channel;
    options->measure.channels = options->channels;
    options->measure.n_channels = options->n_channels;
    return CLI_GO;
}

static int check_sheet(const cli_options *options) {
    if (options->out_path == NULL)
        return cli_complain("sheet needs a file to write: -o FILE.html");
    return CLI_GO;
}

static int check_files(const cli_options *options) {
    const char *command = cli_command_name(options->command);
    size_t inputs = 0;
    if (options->command == CLI_BENCH)
        return options->n_files == 0
                   ? CLI_GO
                   : cli_complain("bench takes no file: it prints a bench file to start from");
    if (options->has_span && options->n_files > 0)
        return cli_complain("give either --span or captures, not both");
    if (options->has_span && !(isnan(options->measure.from_s) && isnan(options->measure.to_s)))
        return cli_complain("--from and --to need a capture: --span has no times");
    if (options->has_span && options->pulses_path != NULL)
        return cli_complain("--pulses needs a capture: --span has no pulses");
    if (options->command == CLI_VERIFY && options->n_files > 2)
        return cli_complain("verify takes one capture of both lines, or two: before and after");
    if (options->command == CLI_VERIFY && options->n_files == 1 &&
        (options->before == NULL || options->after == NULL))
        return cli_complain("one capture of both lines: say which channel is which with --before "
                            "CHANNEL --after CHANNEL");
    if (!options->has_span && options->n_files == 0)
        return cli_complain("%s needs a capture: spanwright %s --help shows how", command, command);
    for (size_t i = 0; i < options->n_files; i++)
        inputs += strcmp(options->files[i], "-") == 0;
    if (inputs > 1)
        return cli_complain("- is given twice: standard input can be read only once");
    if (inputs > 0 && options->digest)
        return cli_complain("--digest needs files: standard input can be read only once");
    return options->command == CLI_SHEET ? check_sheet(options) : CLI_GO;
}

/* Before getopt changes the order of the words. argv[0] is the subcommand. */
static void keep_command_line(cli_options *options, int argc, char **argv) {
    spw_text_puts(&options->command_line, "spanwright");
    for (int i = 0; i < argc; i++) {
        spw_text_puts(&options->command_line, " ");
        spw_text_shell_word(&options->command_line, argv[i]);
    }
}

int cli_options_read(cli_options *options, cli_command command, int argc, char **argv) {
    *options = (cli_options){.command = command, .jobs = 1, .span_neutral_us = NAN};
    options->measure = spw_measure_defaults();
    options->bench = spw_bench_defaults();
    options->channels = calloc((size_t)argc + 1, sizeof *options->channels);
    if (options->channels == NULL)
        return cli_complain("out of memory");
    keep_command_line(options, argc, argv);
    if (spw_text_status(&options->command_line) != SPW_OK)
        return cli_complain("out of memory");
    int status = read_arguments(options, argc, argv);
    if (status == CLI_GO)
        status = check_files(options);
    if (command == CLI_SHEET) /* a sheet shows the digest of every capture that has one */
        options->digest = true;
    return status == CLI_GO ? apply_bench(options) : status;
}

void cli_options_free(cli_options *options) {
    free(options->channels);
    options->channels = NULL;
    spw_text_free(&options->command_line);
}
