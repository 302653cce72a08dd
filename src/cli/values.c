/* Numbers as options give them. */
#include "cli/values.h"

#include "cli/complain.h"

#include <string.h>

static int number(const char *name, const char *text, double *value) {
    if (spw_parse_number(text, value) == SPW_OK)
        return CLI_GO;
    return cli_complain("%s %s: this is no number", name, cli_safe(text).text);
}

int cli_positive(const char *name, const char *text, const char *unit, double *value) {
    int status = number(name, text, value);
    if (status == CLI_GO && !(*value > 0.0))
        return cli_complain("%s %s: give a number above 0 (%s)", name, cli_safe(text).text, unit);
    return status;
}

int cli_within(const char *name, const char *text, double least, double most, const char *unit,
               double *value) {
    int status = cli_positive(name, text, unit, value);
    if (status == CLI_GO && !(*value >= least && *value <= most))
        return cli_complain("%s %s: give a number from %g to %.0f (%s)", name, cli_safe(text).text,
                            least, most, unit);
    return status;
}

int cli_rate(const char *name, const char *text, double least, double most, double *value) {
    static const struct {
        char letter;
        double factor;
    } suffix[] = {{'k', 1e3}, {'M', 1e6}, {'G', 1e9}};
    char digits[64];
    size_t length = strlen(text);
    double factor = 1;
    for (size_t i = 0; length > 1 && i < sizeof suffix / sizeof suffix[0]; i++)
        if (text[length - 1] == suffix[i].letter)
            factor = suffix[i].factor;
    if (factor == 1 || length > sizeof digits)
        return cli_within(name, text, least, most, "samples a second", value);
    memcpy(digits, text, length - 1);
    digits[length - 1] = '\0';
    if (spw_parse_number(digits, value) != SPW_OK)
        return cli_complain("%s %s: this is no number", name, cli_safe(text).text);
    *value *= factor;
    if (!(*value >= least && *value <= most))
        return cli_complain("%s %s: give a number from %g to %.0f (samples a second)", name,
                            cli_safe(text).text, least, most);
    return CLI_GO;
}

static bool are_widths(const double *us, size_t n, double factor) {
    for (size_t i = 0; i < n; i++)
        if (!(us[i] * factor >= CLI_LEAST_WIDTH_US && us[i] * factor <= CLI_MOST_WIDTH_US))
            return false;
    return true;
}

int cli_ask_unit(const char *name, const char *text, const double *widths, size_t n,
                 bool must_fit) {
    static const struct {
        const char *unit;
        double us;
    } units[] = {{"ms", 1e3}, {"s", 1e6}, {"ns", 1e-3}};
    if (are_widths(widths, n, 1))
        return CLI_GO;
    for (size_t u = 0; u < sizeof units / sizeof units[0]; u++) {
        if (!are_widths(widths, n, units[u].us))
            continue;
        spw_text meant = {0};
        for (size_t i = 0; i < n; i++)
            spw_text_printf(&meant, "%s%.7g", i > 0 ? ":" : "", widths[i] * units[u].us);
        int status = spw_text_status(&meant) == SPW_OK
                         ? cli_complain("%s %s: widths are given in us. %s? %s %s is %s", name,
                                        cli_safe(text).text, units[u].unit, cli_safe(text).text,
                                        units[u].unit, meant.data)
                         : cli_complain("out of memory");
        spw_text_free(&meant);
        return status;
    }
    if (!must_fit)
        return CLI_GO;
    return cli_complain("%s %s: give widths from %.0f to %.0f us", name, cli_safe(text).text,
                        CLI_LEAST_WIDTH_US, CLI_MOST_WIDTH_US);
}

int cli_up_to(const char *name, const char *text, double most, const char *unit, double *value) {
    int status = number(name, text, value);
    if (status == CLI_GO && !(*value >= 0.0))
        return cli_complain("%s %s: give 0 or more (%s)", name, cli_safe(text).text, unit);
    if (status == CLI_GO && *value > most)
        return cli_complain("%s %s: give %.0f or less (%s)", name, cli_safe(text).text, most, unit);
    return status;
}

/* Splits at ':' into numbers; returns how many, 0 when it cannot be read. */
size_t cli_split_numbers(const char *text, double values[3]) {
    size_t n = 0;
    for (;;) {
        char part[64];
        size_t length = strcspn(text, ":");
        if (n == 3 || length >= sizeof part)
            return 0;
        memcpy(part, text, length);
        part[length] = '\0';
        if (spw_parse_number(part, &values[n++]) != SPW_OK)
            return 0;
        if (text[length] == '\0')
            return n;
        text += length + 1;
    }
}

int cli_range(const char *name, const char *text, const char *example, double *low, double *high) {
    double values[3];
    if (cli_split_numbers(text, values) != 2)
        return cli_complain("%s %s: give LOW:HIGH in us, for example %s %s", name,
                            cli_safe(text).text, name, example);
    if (!(values[0] > 0.0 && values[0] < values[1]))
        return cli_complain("%s %s: both must be above 0 and LOW below HIGH", name,
                            cli_safe(text).text);
    if (values[1] > CLI_LONGEST_US)
        return cli_complain("%s %s: give at most %.0f us", name, cli_safe(text).text,
                            CLI_LONGEST_US);
    *low = values[0];
    *high = values[1];
    return CLI_GO;
}

int cli_date(const char *name, const char *text) {
    static const int most[] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    static const char form[] = "0000-00-00";
    bool good = strlen(text) == sizeof form - 1;
    for (size_t i = 0; good && i < sizeof form - 1; i++)
        good = form[i] == '-' ? text[i] == '-' : text[i] >= '0' && text[i] <= '9';
    int month = good ? 10 * (text[5] - '0') + text[6] - '0' : 0,
        day = good ? 10 * (text[8] - '0') + text[9] - '0' : 0;
    if (!good || month < 1 || month > 12 || day < 1 || day > most[month - 1])
        return cli_complain("%s %s: give a day as YYYY-MM-DD", name, cli_safe(text).text);
    return CLI_GO;
}
