/* Which clock a table goes by: its time column or the rate given. */
#include "capture/table/reading.h"

#include <math.h>

/* Time that runs backwards from the start is mostly another column, or a comma of
 * decimals between columns: where names and columns differ in number, that is said. */
static spw_status refuse_backwards(const table_reading *reading) {
    const spw_table_layout *layout = &reading->layout;
    uint64_t line = reading->probe.line[reading->fit.back_row];
    if (layout->named > 1 && layout->named != layout->filled)
        return spw_error_at(
            reading->error, SPW_ERR_FORMAT, line, SPW_NOWHERE,
            "the time in column %zu runs backwards, and line %llu names %zu columns "
            "where the rows have %zu: export the table again, with semicolons "
            "between the columns if its numbers have decimal commas",
            layout->time_column + 1, (unsigned long long)layout->names_line, layout->named,
            layout->filled);
    char rate[96];
    return spw_error_at(reading->error, SPW_ERR_FORMAT, line, SPW_NOWHERE,
                        "the time runs backwards; export the rows in time order, or give the "
                        "rows a second with %s",
                        spw_table_rate_words(layout, rate));
}

static spw_status refuse_start(table_reading *reading) {
    const spw_table_fit *fit = &reading->fit;
    const spw_table_probe *probe = &reading->probe;
    char rate[96];
    const char *words = spw_table_rate_words(&reading->layout, rate);
    if (probe->rows < 2)
        return spw_error_at(reading->error, SPW_ERR_EMPTY, reading->layout.data_line, SPW_NOWHERE,
                            "the table has one row of numbers only; a measurement needs more");
    if (reading->options->has_rate)
        return SPW_OK;
    bool bits = true, repeats = false;
    for (size_t i = 0; i < probe->rows; i++) {
        double value = spw_decimal_value(&probe->time[i]);
        bits = bits && (value == 0.0 || value == 1.0);
        repeats = repeats || (i > 0 && value == spw_decimal_value(&probe->time[i - 1]));
    }
    if (bits && (fit->backwards || (repeats && !reading->layout.time_named)))
        return spw_error_set(reading->error, SPW_ERR_FORMAT,
                             "column %zu holds 0 and 1 like a channel and no other column is a "
                             "time; give the rows a second with %s",
                             reading->layout.time_column + 1, words);
    if (fit->backwards && fit->back_row < 16)
        return refuse_backwards(reading);
    if (fit->rounded)
        return spw_error_set(reading->error, SPW_ERR_FORMAT,
                             "the times are rounded so far that rows share one, and no even step "
                             "is proven by them; give the rows a second with %s, or export "
                             "more digits",
                             words);
    if (fit->counts && reading->layout.unit_source == SPW_UNIT_BY_DEFAULT &&
        !reading->layout.time_named)
        return spw_error_set(reading->error, SPW_ERR_FORMAT,
                             "the first column counts %s without a unit: it may be a time or the "
                             "rows' numbers; give the unit with --time-unit s, ms, us or ns, or "
                             "the rows a second with %s",
                             probe->time[0].digits == 0 ? "0, 1, 2, ..." : "1, 2, 3, ...", words);
    return SPW_OK;
}

/* With --rate a time column of samples is left aside, but may not speak against it. Of
 * changes at their own times it is the recorder's rate, held against them later. */
static spw_status use_rate(table_reading *reading) {
    spw_table_clock *clock = &reading->clock;
    double rate = reading->options->rate_hz;
    spw_status status = SPW_OK;
    if (reading->layout.time_column != SPW_TABLE_NONE) {
        bool even = clock->kind == SPW_CLOCK_EVEN && reading->probe.rows >= 3;
        if (!even && reading->widths == 0 && !reading->fit.rounded && !reading->fit.backwards &&
            reading->probe.rows >= 4 && spw_table_probe_changing(&reading->probe) >= 0.9)
            return spw_table_say_unit(reading);
        status = SAY("column %zu looks like a time; it is left aside because --rate was given",
                     reading->layout.time_column + 1);
        if (status == SPW_OK && even && fabs(clock->rate_hz - rate) > 0.01 * rate)
            status = WARN("the times say %.6g rows a second, --rate says %.6g; --rate is used",
                          clock->rate_hz, rate);
        if (status == SPW_OK && !even && !reading->fit.rounded)
            status = WARN("the times do not run at even steps; --rate is used all the same");
    }
    *clock = (spw_table_clock){
        .kind = SPW_CLOCK_RATE,
        .rate_hz = rate,
        .resolution_s = reading->widths > 0 ? (double)NAN : 1 / rate, /* frames are no samples */
        .step = 0};
    return status;
}

spw_status spw_table_find_clock(table_reading *reading) {
    spw_status status = SPW_OK;
    if (reading->probe.rows >= 1 && reading->layout.time_column != SPW_TABLE_NONE) {
        status =
            spw_table_fit_clock(&reading->layout, &reading->probe, &reading->fit, reading->error);
        if (status != SPW_OK)
            return status;
    }
    reading->clock = reading->fit.clock;
    status = refuse_start(reading);
    if (status == SPW_OK)
        status = spw_table_find_widths(reading);
    if (status == SPW_OK && reading->options->has_rate)
        status = use_rate(reading);
    else if (status == SPW_OK)
        status = spw_table_say_unit(reading);
    return status == SPW_OK ? spw_table_say_clock(reading) : status;
}
