/* What a table was taken for, and what was wrong in it, in sentences. */
#include "capture/table/reading.h"

#define COUNTED(n, one, many) ((n) == 1 ? (one) : (many))

#include <string.h>

static const char *separator_name(char separator) {
    return separator == ','   ? "commas"
           : separator == ';' ? "semicolons"
           : separator == ' ' ? "blanks"
                              : "tabs";
}

spw_status spw_table_say_dialect(table_reading *reading) {
    const spw_table_layout *layout = &reading->layout;
    size_t columns = 0;
    for (size_t k = 0; k < layout->columns; k++)
        columns += layout->column[k].value;
    spw_status status = columns == 1 ? SAY("a table of one column, decimal %s",
                                           layout->dialect.mark == '.' ? "points" : "commas")
                                     : SAY("a table of %zu columns, %s between them, decimal %s",
                                           columns, separator_name(layout->dialect.separator),
                                           layout->dialect.mark == '.' ? "points" : "commas");
    if (status == SPW_OK && layout->names_line > 0)
        status = SAY("names from line %llu, numbers from line %llu",
                     (unsigned long long)layout->names_line, (unsigned long long)layout->data_line);
    else if (status == SPW_OK)
        status = SAY("no row of names, numbers from line %llu and column %zu",
                     (unsigned long long)layout->data_line, layout->first + 1);
    bool told_there = layout->told_rate_hz > 0 && layout->told_line == layout->names_line;
    if (status == SPW_OK && layout->named > 1 && layout->named != layout->filled && !told_there)
        status = WARN("line %llu names %zu columns, the rows of numbers have %zu: check that each "
                      "name stands over its column",
                      (unsigned long long)layout->names_line, layout->named, layout->filled);
    if (status == SPW_OK && layout->beside_words)
        status = SAY("words in the columns left of column %zu are left aside", layout->first + 1);
    return status;
}

static const char *unit_name(int exponent) {
    switch (exponent) {
    case 0:
        return "s";
    case -3:
        return "ms";
    case -6:
        return "us";
    case -9:
        return "ns";
    case -12:
        return "ps";
    default:
        return "fs";
    }
}

/* Frames of control pulses come 1.7 to 250 ms apart: the unit that makes them so of
 * numbers `apart`; NULL when they are so in seconds, or in no unit. */
const char *spw_table_unit_that_fits(double apart) {
    static const struct {
        const char *name;
        double in_ms;
    } units[] = {{"ms", 1}, {"us", 1e-3}, {"ns", 1e-6}};
    static const double SHORTEST_MS = 1.7, LONGEST_MS = 250;
    if (apart * 1e3 <= LONGEST_MS)
        return NULL;
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (apart * units[i].in_ms >= SHORTEST_MS && apart * units[i].in_ms <= LONGEST_MS)
            return units[i].name;
    return NULL;
}

static spw_status say_seconds(table_reading *reading) {
    const spw_table_probe *probe = &reading->probe;
    double apart = spw_table_probe_spacing(probe, &reading->fit.clock);
    const char *fits = spw_table_unit_that_fits(apart);
    spw_status status = SAY("time in column %zu, taken as seconds: the table names no unit",
                            reading->layout.time_column + 1);
    if (status == SPW_OK && fits != NULL)
        return WARN("the times name no unit and were taken as seconds, which makes them %.6g s "
                    "apart: if they are %s, give --time-unit %s",
                    apart, strcmp(fits, "ms") == 0 ? "milliseconds" : fits, fits);
    if (status == SPW_OK && probe->time[0].exponent >= 0 &&
        probe->time[probe->rows - 1].exponent >= 0)
        status = WARN("the times are whole numbers without a unit and were taken as seconds; "
                      "--time-unit ms, us or ns says otherwise");
    return status;
}

spw_status spw_table_say_unit(table_reading *reading) {
    const spw_table_layout *layout = &reading->layout;
    const char *unit = unit_name(layout->time_exponent);
    size_t column = layout->time_column + 1;
    spw_status status = SPW_OK;
    switch (layout->unit_source) {
    case SPW_UNIT_BY_HEADER:
        status = SAY("time in column %zu, in %s as the header says", column, unit);
        if (status == SPW_OK && reading->options->time_unit != SPW_TIME_AUTO)
            status = WARN("the header names the unit of time, %s; --time-unit is left aside", unit);
        break;
    case SPW_UNIT_BY_OPTION:
        status = SAY("time in column %zu, in %s as --time-unit says", column, unit);
        break;
    case SPW_UNIT_BY_SIZE:
        status = SAY("time in column %zu, in %s since 1970 by its size", column, unit);
        break;
    case SPW_UNIT_BY_CALENDAR:
        status = SAY("time in column %zu, as %s", column,
                     reading->probe.time_of_day ? "time of day" : "calendar time");
        break;
    case SPW_UNIT_BY_DEFAULT:
        status = say_seconds(reading);
        break;
    }
    if (status == SPW_OK && (reading->clock.first.low | reading->clock.first.high) != 0)
        status = SAY("times count from the first row");
    return status;
}

spw_status spw_table_say_clock(table_reading *reading) {
    const spw_table_clock *clock = &reading->clock;
    switch (clock->kind) {
    case SPW_CLOCK_RATE:
        if (reading->widths > 0)
            return SAY("rows are readings of pulse widths, %.9g a second by --rate",
                       clock->rate_hz);
        return SAY("rows are samples, %.9g a second by --rate", clock->rate_hz);
    case SPW_CLOCK_ROWS:
        if (reading->widths > 0)
            return SAY("rows are readings of pulse widths, each at its own time");
        return SAY("rows are %s, each at its own time",
                   reading->fit.uneven_samples ? "samples at uneven steps" : "changes");
    case SPW_CLOCK_EVEN:
        break;
    }
    if (clock->rebuilt)
        return SAY("the times are rounded; rebuilt from the row's number with an even step of "
                   "%.9g us (%.9g rows a second), which every row fits",
                   1e6 / clock->rate_hz, clock->rate_hz);
    return SAY("rows are samples, %.9g us apart (%.9g a second)", 1e6 / clock->rate_hz,
               clock->rate_hz);
}

spw_status spw_table_say_count_column(table_reading *reading) {
    return reading->layout.count_column == SPW_TABLE_NONE
               ? SPW_OK
               : SAY("column %zu counts rows or days and is left aside",
                     reading->layout.count_column + 1);
}

/* Named columns that hold no channel. */
spw_status spw_table_say_left_out(table_reading *reading) {
    const spw_table_layout *layout = &reading->layout;
    size_t channels = 0;
    for (size_t k = 0; k < layout->columns; k++) {
        const spw_table_column *column = &layout->column[k];
        channels += column->value && k != layout->time_column && k != layout->count_column;
        if (column->value || column->name.length == 0)
            continue;
        char name[64];
        spw_text_safe(name, sizeof name, column->name.text, column->name.length);
        const char *held = column->calendar ? "calendar times"
                           : column->filled ? "words, or numbers in few rows only"
                                            : "nothing";
        spw_status status =
            column->calendar
                ? SAY("column %zu (%s) holds %s and is left aside", k + 1, name, held)
                : WARN("column %zu (%s) holds %s and is left aside", k + 1, name, held);
        if (status != SPW_OK)
            return status;
    }
    return channels <= SPW_TABLE_CHANNELS_MAX
               ? SPW_OK
               : WARN("the table has %zu channels; the first %zu are read, the limit", channels,
                      SPW_TABLE_CHANNELS_MAX);
}

spw_status spw_table_warn_cells(table_reading *reading) {
    for (size_t k = 0; k < reading->layout.columns; k++) {
        const spw_table_column *column = &reading->layout.column[k];
        if (column->bad == 0 || column->role < SPW_ROLE_LOGIC)
            continue;
        const char *name = reading->names[column->channel];
        char safe[64];
        spw_status status =
            WARN("%s: %llu %s no %s and count as unknown, the first in line %llu",
                 spw_text_safe(safe, sizeof safe, name, strlen(name)),
                 (unsigned long long)column->bad, COUNTED(column->bad, "cell holds", "cells hold"),
                 column->role == SPW_ROLE_LOGIC   ? "0 or 1"
                 : column->role == SPW_ROLE_WIDTH ? "pulse width"
                                                  : "usable number (below 1e30)",
                 (unsigned long long)column->bad_line);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

spw_status spw_table_warn_rows(table_reading *reading, const spw_table_run *run) {
    spw_status status = SPW_OK;
    if (run->junk > 0)
        status = WARN("%llu %s no numbers where they should and count for nothing, the "
                      "first in line %llu",
                      (unsigned long long)run->junk, COUNTED(run->junk, "row holds", "rows hold"),
                      (unsigned long long)run->junk_line);
    if (status == SPW_OK && run->gaps > 0)
        status = WARN("%llu %s missing in %llu %s, the first before line %llu; %s",
                      (unsigned long long)run->missing, COUNTED(run->missing, "row is", "rows are"),
                      (unsigned long long)run->gaps, COUNTED(run->gaps, "place", "places"),
                      (unsigned long long)run->gap_line,
                      run->sampled > 0 ? "samples there are unknown" : "levels hold meanwhile");
    if (status == SPW_OK && run->off > 0)
        status = WARN("%llu %s out of step with the even step of the others, the first in "
                      "line %llu; %s",
                      (unsigned long long)run->off, COUNTED(run->off, "row is", "rows are"),
                      (unsigned long long)run->off_line,
                      run->sampled > 0 ? "what lies before it is unknown, and it counts at the "
                                         "nearest whole step"
                                       : "each counts at its own time");
    if (status == SPW_OK && run->repeats > 0)
        status = WARN("%llu %s the time of the row before, the first in line %llu",
                      (unsigned long long)run->repeats,
                      COUNTED(run->repeats, "row repeats", "rows repeat"),
                      (unsigned long long)run->repeat_line);
    return status;
}
