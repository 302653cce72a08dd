/* Columns that hold pulse widths, as a controller or a tester prints them, and
 * columns of degrees, which say nothing of pulses. */
#include "capture/table/reading.h"

#include <math.h>
#include <string.h>

/* Of the values, this share has to be a width. A log prints 0 for no pulse. */
#define WIDTHS_SHARE 0.9
/* The fastest frame, 560 Hz, lasts 1.8 ms; samples of a line come far faster. */
#define ROW_LEAST_S 1.7e-3
/* A line's low level lies well below its high one. */
#define LOW_SHARE 0.7

/* Microseconds in the unit that the column's name has; NAN when it has none, 0 when
 * it is another than us and ms. */
static double named_unit_us(const spw_table_cell *name) {
    size_t name_length;
    int exponent;
    if (!spw_table_time_unit(name->text, name->length, &name_length, &exponent))
        return NAN;
    return exponent == -6 ? 1 : exponent == -3 ? 1e3 : 0;
}

static double share_of_widths(const spw_table_probe *probe, size_t c, double unit_us, bool named) {
    size_t values = 0, widths = 0;
    for (size_t i = 0; i < probe->rows; i++) {
        double us = probe->value[i * probe->channels + c] * unit_us;
        if (isnan(us) || us == 0)
            continue;
        values++;
        widths += us >= SPW_TABLE_WIDTH_LEAST_US && us <= SPW_TABLE_WIDTH_MOST_US;
    }
    /* half of the readings may be missing ones, and more in a column that says what it holds */
    bool enough = values >= 2 && (named || values * 2 >= probe->rows);
    return enough ? (double)widths / (double)values : 0;
}

/* Rows that go from one of two levels to the other: volts of a line, each at a change. */
static bool like_a_line(const spw_table_probe *probe, size_t c) {
    return probe->two_levels[c] && probe->low[c] < LOW_SHARE * probe->high[c] &&
           spw_table_probe_changing(probe) >= 0.9;
}

static double usual_row_s(const table_reading *reading) {
    if (reading->options->has_rate)
        return 1 / reading->options->rate_hz;
    return spw_table_tick_s(&reading->fit.clock, (double)reading->fit.usual_step);
}

static void judge(table_reading *reading, size_t c) {
    const spw_table_probe *probe = &reading->probe;
    spw_table_column *column = &reading->layout.column[probe->column[c]];
    double unit_us = named_unit_us(&column->name);
    bool named = unit_us > 0;
    if (column->role != SPW_ROLE_SAMPLES || column->named_volts || unit_us == 0 ||
        (!named && like_a_line(probe, c)))
        return;
    double scale = named ? unit_us : 1;
    if (share_of_widths(probe, c, scale, named) < WIDTHS_SHARE)
        return;
    column->role = SPW_ROLE_WIDTH;
    column->factor = scale;
    column->unit_named = named;
    reading->widths++;
}

static bool is_letter(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

/* Does a name have the word, whole ("servo_deg", "Angle 1", not "rectangle")? */
static bool has_word(const spw_table_cell *name, const char *word) {
    size_t n = strlen(word);
    for (size_t i = 0; i + n <= name->length; i++) {
        bool starts = i == 0 || !is_letter(name->text[i - 1]);
        bool ends = i + n == name->length || !is_letter(name->text[i + n]);
        size_t k = 0;
        while (k < n && (name->text[i + k] | 0x20) == word[k])
            k++;
        if (starts && ends && k == n)
            return true;
    }
    return false;
}

static bool names_degrees(const spw_table_cell *name) {
    static const char *const words[] = {"deg", "degs", "degree", "degrees", "angle", "angles"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (has_word(name, words[i]))
            return true;
    return memmem(name->text, name->length, "\xc2\xb0", 2) != NULL;
}

/* Numbers that are no volts of a servo's line, in rows too far apart to show pulses. */
static bool like_degrees(const table_reading *reading, size_t c, double row_s) {
    static const double VOLTS_MOST = 30, DEGREES_MOST = 360;
    const spw_table_probe *probe = &reading->probe;
    const spw_table_column *column = &reading->layout.column[probe->column[c]];
    double most = 0;
    if (row_s < ROW_LEAST_S || column->named_volts || like_a_line(probe, c))
        return false;
    for (size_t i = 0; i < probe->rows; i++)
        most = fmax(most, fabs(probe->value[i * probe->channels + c]));
    return most > VOLTS_MOST && most <= DEGREES_MOST;
}

/* Degrees are left aside; where there is nothing else the table is refused. */
static spw_status leave_degrees(table_reading *reading, double row_s) {
    size_t left = 0, first = 0;
    bool named = false;
    char name[64] = "";
    for (size_t c = 0; c < reading->probe.channels; c++) {
        size_t k = reading->probe.column[c];
        spw_table_column *column = &reading->layout.column[k];
        bool named_so = names_degrees(&column->name);
        if (column->role != SPW_ROLE_SAMPLES || (!named_so && !like_degrees(reading, c, row_s)))
            continue;
        column->role = SPW_ROLE_SKIP;
        if (left++ == 0) {
            first = k + 1;
            named = named_so;
            spw_text_safe(name, sizeof name, column->name.text, column->name.length);
        }
    }
    if (left == 0)
        return SPW_OK;
    const char *held = named ? "degrees" : "numbers like degrees";
    if (left == reading->probe.channels)
        return spw_error_set(reading->error, SPW_ERR_FORMAT,
                             "column %zu (%s) holds %s, which tell neither levels nor pulse "
                             "widths; record the line itself, or log the widths in us",
                             first, name, held);
    return WARN("column %zu (%s) holds %s and is left aside", first, name, held);
}

/* Beside widths a log may print anything: frame lengths, counts, volts of a battery. */
static spw_status leave_others(table_reading *reading) {
    spw_status status = SPW_OK;
    for (size_t c = 0; c < reading->probe.channels && status == SPW_OK; c++) {
        size_t k = reading->probe.column[c];
        spw_table_column *column = &reading->layout.column[k];
        if (column->role != SPW_ROLE_SAMPLES)
            continue;
        char name[64];
        column->role = SPW_ROLE_SKIP;
        status =
            SAY("column %zu (%s) holds numbers that are no pulse widths and is left aside", k + 1,
                spw_text_safe(name, sizeof name, column->name.text, column->name.length));
    }
    return status;
}

/* Widths whose rows would be seconds apart, in a unit that nobody named. */
static spw_status refuse_unit(table_reading *reading) {
    const char *fits = spw_table_unit_that_fits(reading->row_apart);
    if (reading->widths == 0 || reading->options->has_rate || fits == NULL ||
        reading->layout.unit_source != SPW_UNIT_BY_DEFAULT)
        return SPW_OK;
    return spw_error_set(reading->error, SPW_ERR_FORMAT,
                         "the rows hold pulse widths at times that are %.6g apart, in a unit that "
                         "the table does not name; if it is %s, give --time-unit %s",
                         reading->row_apart, strcmp(fits, "ms") == 0 ? "milliseconds" : fits, fits);
}

/* When a row was printed is told by its digits, even where rows come in step. */
static void go_by_rows(spw_table_clock *clock) {
    clock->kind = SPW_CLOCK_ROWS;
    clock->resolution_s = spw_table_tick_s(clock, fmax(2 * clock->narrow, 1));
}

spw_status spw_table_find_widths(table_reading *reading) {
    double row_s = usual_row_s(reading);
    reading->row_apart = (double)reading->fit.usual_step * pow(10, reading->fit.clock.place);
    for (size_t c = 0; c < reading->probe.channels && row_s >= ROW_LEAST_S; c++)
        judge(reading, c);
    if (reading->widths > 0 && !reading->options->has_rate)
        go_by_rows(&reading->clock);
    spw_status status = refuse_unit(reading);
    if (status == SPW_OK)
        status = leave_degrees(reading, row_s);
    return status == SPW_OK && reading->widths > 0 ? leave_others(reading) : status;
}
