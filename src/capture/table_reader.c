/* Tables (CSV, TSV): the head decides what the file is, says so, and the rows
 * are read by that. */
#include "capture/table_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BYTE_ORDER_MARK "\xef\xbb\xbf"
/* Share of the two levels' distance, about the middle, that is no change. */
#define HYSTERESIS 0.1
#define SAMPLES_KEPT ((size_t)1 << 18) /* of all channels, between two calls of the sink */

typedef struct table_reading {
    spw_source *source;
    const spw_read_options *options;
    spw_emitter *emitter;
    spw_capture_summary *summary;
    spw_error *error;
    const char *head;
    size_t length;
    size_t mark; /* bytes of a byte-order mark before it */
    bool whole;
    spw_table_layout layout;
    spw_table_probe probe;
    spw_table_fit fit;
    spw_table_clock clock;
    char **names; /* of the channels, as many as `channels` */
    uint32_t channels;
    size_t sampled;
} table_reading;

#define SAY(...) spw_notes_add(&reading->summary->recognised, __VA_ARGS__)
#define WARN(...) spw_notes_add(&reading->summary->warnings, __VA_ARGS__)

/* ---- what was recognised ---- */

static const char *separator_name(char separator) {
    return separator == ',' ? "commas" : separator == ';' ? "semicolons" : "tabs";
}

static spw_status say_dialect(table_reading *reading) {
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
    default:
        return "ps";
    }
}

static spw_status say_unit(table_reading *reading) {
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
        status = SAY("time in column %zu, taken as seconds: the table names no unit", column);
        if (status == SPW_OK && reading->probe.time[0].exponent >= 0 &&
            reading->probe.time[reading->probe.rows - 1].exponent >= 0)
            status = WARN("the times are whole numbers without a unit and were taken as seconds; "
                          "--time-unit ms, us or ns says otherwise");
        break;
    }
    if (status == SPW_OK && reading->clock.first != 0)
        status = SAY("times count from the first row");
    return status;
}

static spw_status say_clock(table_reading *reading) {
    const spw_table_clock *clock = &reading->clock;
    switch (clock->kind) {
    case SPW_CLOCK_RATE:
        return SAY("rows are samples, %.9g a second by --rate", clock->rate_hz);
    case SPW_CLOCK_ROWS:
        return SAY("rows are %s, each at its own time",
                   spw_table_probe_changing(&reading->probe) < 0.5 ? "samples at uneven steps"
                                                                   : "changes");
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

static spw_status say_count_column(table_reading *reading) {
    return reading->layout.count_column == SPW_TABLE_NONE
               ? SPW_OK
               : SAY("column %zu counts rows or days and is left aside",
                     reading->layout.count_column + 1);
}

/* Named columns that hold no channel. */
static spw_status say_left_out(table_reading *reading) {
    const spw_table_layout *layout = &reading->layout;
    size_t channels = 0;
    for (size_t k = 0; k < layout->columns; k++) {
        const spw_table_column *column = &layout->column[k];
        channels += column->value && k != layout->time_column && k != layout->count_column;
        if (column->value || column->name.length == 0)
            continue;
        char name[64];
        spw_text_safe(name, sizeof name, column->name.text, column->name.length);
        spw_status status = WARN("column %zu (%s) holds %s and is left aside", k + 1, name,
                                 column->filled ? "words, or numbers in few rows only" : "nothing");
        if (status != SPW_OK)
            return status;
    }
    return channels <= SPW_TABLE_CHANNELS_MAX
               ? SPW_OK
               : WARN("the table has %zu channels; the first %zu are read, the limit", channels,
                      SPW_TABLE_CHANNELS_MAX);
}

/* ---- clock ---- */

static spw_status refuse_start(table_reading *reading) {
    const spw_table_fit *fit = &reading->fit;
    const spw_table_probe *probe = &reading->probe;
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
                             "time; give the rows a second with --rate HZ",
                             reading->layout.time_column + 1);
    if (fit->backwards && fit->back_row < 16)
        return spw_error_at(reading->error, SPW_ERR_FORMAT, probe->line[fit->back_row], SPW_NOWHERE,
                            "the time runs backwards; export the rows in time order, or give the "
                            "rows a second with --rate HZ");
    if (fit->rounded)
        return spw_error_set(reading->error, SPW_ERR_FORMAT,
                             "the times are rounded so far that rows share one, and no even step "
                             "is proven by them; give the rows a second with --rate HZ, or export "
                             "more digits");
    if (fit->counts && reading->layout.unit_source == SPW_UNIT_BY_DEFAULT &&
        !reading->layout.time_named)
        return spw_error_set(reading->error, SPW_ERR_FORMAT,
                             "the first column counts %s without a unit: it may be a time or the "
                             "rows' numbers; give the unit with --time-unit s, ms, us or ns, or "
                             "the rows a second with --rate HZ",
                             probe->time[0].digits == 0 ? "0, 1, 2, ..." : "1, 2, 3, ...");
    return SPW_OK;
}

/* With --rate a time column is left aside, but may not speak against it. */
static spw_status use_rate(table_reading *reading) {
    spw_table_clock *clock = &reading->clock;
    double rate = reading->options->rate_hz;
    spw_status status = SPW_OK;
    if (reading->layout.time_column != SPW_TABLE_NONE) {
        bool even = clock->kind == SPW_CLOCK_EVEN && reading->probe.rows >= 3;
        if (!even && !reading->fit.rounded && !reading->fit.backwards && reading->probe.rows >= 4 &&
            spw_table_probe_changing(&reading->probe) >= 0.9)
            return spw_error_set(reading->error, SPW_ERR_ARGUMENT,
                                 "the rows are changes at their own times (column %zu), no "
                                 "samples; leave --rate out",
                                 reading->layout.time_column + 1);
        status = SAY("column %zu looks like a time; it is left aside because --rate was given",
                     reading->layout.time_column + 1);
        if (status == SPW_OK && even && fabs(clock->rate_hz - rate) > 0.01 * rate)
            status = WARN("the times say %.6g rows a second, --rate says %.6g; --rate is used",
                          clock->rate_hz, rate);
        if (status == SPW_OK && !even && !reading->fit.rounded)
            status = WARN("the times do not run at even steps; --rate is used all the same");
    }
    *clock = (spw_table_clock){
        .kind = SPW_CLOCK_RATE, .rate_hz = rate, .resolution_s = 1 / rate, .step = 0};
    return status;
}

static spw_status find_clock(table_reading *reading) {
    spw_status status = SPW_OK;
    if (reading->probe.rows >= 1 && reading->layout.time_column != SPW_TABLE_NONE) {
        status =
            spw_table_fit_clock(&reading->layout, &reading->probe, &reading->fit, reading->error);
        if (status != SPW_OK)
            return status;
    }
    reading->clock = reading->fit.clock;
    status = refuse_start(reading);
    if (status == SPW_OK && reading->options->has_rate)
        status = use_rate(reading);
    else if (status == SPW_OK)
        status = say_unit(reading);
    return status == SPW_OK ? say_clock(reading) : status;
}

/* ---- channels ---- */

/* Volts between which changes are found need two levels; without them the
 * column is left aside. */
static spw_status decide_level(table_reading *reading, size_t c, const char *name) {
    const spw_table_probe *probe = &reading->probe;
    spw_table_column *column = &reading->layout.column[probe->column[c]];
    if (!probe->two_levels[c]) {
        column->role = SPW_ROLE_SKIP;
        return WARN("column %zu (%s) holds numbers without two clear levels at uneven times and is "
                    "left aside",
                    probe->column[c] + 1, name);
    }
    column->role = SPW_ROLE_LEVEL;
    column->low = probe->low[c];
    column->high = probe->high[c];
    double middle = column->low / 2 + column->high / 2;
    double apart = (column->high - column->low) * HYSTERESIS;
    column->up = middle + apart;
    column->down = middle - apart;
    return SAY("%s: volts read as levels, %.4g V between %.4g V and %.4g V", name,
               middle * column->factor, column->low * column->factor,
               column->high * column->factor);
}

static spw_status announce(table_reading *reading, size_t c) {
    const spw_table_probe *probe = &reading->probe;
    const spw_table_clock *clock = &reading->clock;
    spw_table_column *column = &reading->layout.column[probe->column[c]];
    char safe[64];
    char *name = spw_table_channel_name(&reading->layout, probe->column[c], reading->names,
                                        reading->channels);
    if (name == NULL)
        return spw_error_set(reading->error, SPW_ERR_MEMORY, "out of memory");
    reading->names[reading->channels] = name;
    spw_text_safe(safe, sizeof safe, name, strlen(name));
    bool even = clock->kind != SPW_CLOCK_ROWS;
    /* Nothing but 0.00 so far, and more to come: volts of an idle line. */
    if (column->role == SPW_ROLE_LOGIC && even && !probe->varies[c] &&
        (column->named_volts || (probe->fractional[c] && !probe->whole)))
        column->role = SPW_ROLE_SAMPLES;
    spw_status status = SPW_OK;
    if (column->role == SPW_ROLE_SAMPLES && !even)
        status = decide_level(reading, c, safe);
    if (status != SPW_OK || column->role == SPW_ROLE_SKIP) {
        free(name);
        return status;
    }
    bool analogue = column->role == SPW_ROLE_SAMPLES;
    column->channel = reading->channels++;
    if (analogue)
        column->slot = reading->sampled++;
    spw_channel_info info = {.name = name,
                             .name_length = strlen(name),
                             .kind = analogue ? SPW_KIND_ANALOGUE : SPW_KIND_LOGIC,
                             .unit = analogue ? column->unit : SPW_UNIT_NONE,
                             .resolution_s = clock->resolution_s,
                             .sample_rate_hz = analogue ? clock->rate_hz : 0.0,
                             .full_scale = NAN};
    return reading->emitter->sink->channel(reading->emitter->sink->context, column->channel, &info);
}

static spw_status announce_all(table_reading *reading) {
    reading->names = calloc(reading->probe.channels, sizeof *reading->names);
    if (reading->names == NULL)
        return spw_error_set(reading->error, SPW_ERR_MEMORY, "out of memory");
    for (size_t c = 0; c < reading->probe.channels; c++) {
        spw_status status = announce(reading, c);
        if (status != SPW_OK)
            return status;
    }
    reading->summary->channels = reading->channels;
    if (reading->channels == 0)
        return spw_error_set(reading->error, SPW_ERR_FORMAT,
                             "no column can be read as a channel: their numbers have no two clear "
                             "levels and the rows no even step; give the rows a second with --rate "
                             "HZ if they are samples");
    return SAY("%zu logic channel%s, %zu of volts", reading->channels - reading->sampled,
               reading->channels - reading->sampled == 1 ? "" : "s", reading->sampled);
}

/* ---- rows ---- */

static void prepare_times(spw_table_run *run) {
    const spw_table_clock *clock = &run->job->clock;
    run->first_fits = clock->first <= INT64_MAX / 4 && clock->first >= INT64_MIN / 4;
    run->first = run->first_fits ? (int64_t)clock->first : 0;
    int64_t scale = 1;
    double rounding = 0.5;
    for (int shift = 0; shift < SPW_TABLE_SHIFTS; shift++) {
        run->scale[shift] = scale;
        run->most[shift] = INT64_MAX / 4 / scale;
        run->rounding[shift] = rounding;
        run->shift_max = shift;
        if (shift + 1 < SPW_TABLE_SHIFTS)
            scale *= 10;
        rounding *= 10;
    }
    run->day_ticks = 86400;
    for (int e = clock->place; e < 0 && run->day_ticks < INT64_MAX / 40; e++)
        run->day_ticks *= 10;
}

static spw_status prepare(const table_reading *reading, spw_table_job *job, spw_table_run *run) {
    const spw_table_layout *layout = &reading->layout;
    *run = (spw_table_run){.job = job,
                           .separator = layout->dialect.separator,
                           .mark = layout->dialect.mark,
                           .line_end = layout->dialect.line_end,
                           .line = layout->data_line,
                           .time_column = layout->time_column,
                           .sampled = reading->sampled,
                           .tail_length = SIZE_MAX,
                           .time_first = true};
    for (size_t k = 0; k < layout->columns; k++)
        if (layout->column[k].role >= SPW_ROLE_LOGIC) {
            run->last_column = k;
            run->time_first = run->time_first && k > layout->time_column;
        }
    run->tail_counts = run->time_first && run->sampled == 0;
    run->block_rows = run->sampled > 0 ? SAMPLES_KEPT / run->sampled : 1;
    if (run->block_rows > 4096)
        run->block_rows = 4096;
    run->tail = malloc(SPW_SOURCE_LOOK_MAX);
    run->before_room = malloc(SPW_SOURCE_LOOK_MAX);
    run->block = calloc(run->sampled * run->block_rows + 1, sizeof *run->block);
    run->sample_channel = calloc(run->sampled + 1, sizeof *run->sample_channel);
    if (run->tail == NULL || run->before_room == NULL || run->block == NULL ||
        run->sample_channel == NULL)
        return spw_error_set(reading->error, SPW_ERR_MEMORY, "out of memory");
    for (size_t k = 0; k < layout->columns; k++)
        if (layout->column[k].role == SPW_ROLE_SAMPLES)
            run->sample_channel[layout->column[k].slot] = layout->column[k].channel;
    prepare_times(run);
    return SPW_OK;
}

static spw_status warn_bad_cells(table_reading *reading) {
    for (size_t k = 0; k < reading->layout.columns; k++) {
        const spw_table_column *column = &reading->layout.column[k];
        if (column->bad == 0 || column->role < SPW_ROLE_LOGIC)
            continue;
        const char *name = reading->names[column->channel];
        char safe[64];
        spw_status status = WARN(
            "%s: %llu cells hold no %s and count as unknown, the first in line %llu",
            spw_text_safe(safe, sizeof safe, name, strlen(name)), (unsigned long long)column->bad,
            column->role == SPW_ROLE_LOGIC ? "0 or 1" : "usable number",
            (unsigned long long)column->bad_line);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

static spw_status warn_rows(table_reading *reading, const spw_table_run *run) {
    spw_status status = SPW_OK;
    if (run->junk > 0)
        status = WARN("%llu rows hold no numbers where they should and count for nothing, the "
                      "first in line %llu",
                      (unsigned long long)run->junk, (unsigned long long)run->junk_line);
    if (status == SPW_OK && run->gaps > 0)
        status = WARN("%llu rows are missing in %llu places, the first before line %llu; %s",
                      (unsigned long long)run->missing, (unsigned long long)run->gaps,
                      (unsigned long long)run->gap_line,
                      run->sampled > 0 ? "samples there are unknown" : "levels hold meanwhile");
    if (status == SPW_OK && run->off > 0)
        status = WARN("%llu rows are out of step with the even step of the others, the first in "
                      "line %llu; each counts at its own time",
                      (unsigned long long)run->off, (unsigned long long)run->off_line);
    if (status == SPW_OK && run->repeats > 0)
        status = WARN("%llu rows repeat the time of the row before, the first in line %llu",
                      (unsigned long long)run->repeats, (unsigned long long)run->repeat_line);
    return status;
}

static spw_status finish(table_reading *reading, spw_table_run *run) {
    spw_status status = spw_table_run_finish(run);
    if (status == SPW_OK)
        status = spw_emit_flush(reading->emitter);
    if (status != SPW_OK)
        return status;
    uint64_t rows = run->good + (run->job->clock.kind == SPW_CLOCK_RATE ? 0 : run->junk);
    if (run->junk * 2 > rows)
        return spw_error_at(reading->error, SPW_ERR_FORMAT, run->junk_line, SPW_NOWHERE,
                            "most rows hold no numbers where the first ones have them, from this "
                            "line on; export the table again");
    reading->summary->duration_s = fmax(spw_table_clock_now_s(&run->job->clock), run->now_s);
    status = warn_bad_cells(reading);
    return status == SPW_OK ? warn_rows(reading, run) : status;
}

static spw_status read_rows(table_reading *reading) {
    spw_table_job job = {.source = reading->source,
                         .emitter = reading->emitter,
                         .summary = reading->summary,
                         .error = reading->error,
                         .layout = &reading->layout,
                         .clock = reading->clock};
    spw_table_run run;
    spw_status status = prepare(reading, &job, &run);
    if (status == SPW_OK) {
        spw_source_take(reading->source, reading->mark + reading->layout.data_at);
        status = spw_table_run_all(&run);
    }
    if (status == SPW_OK)
        status = finish(reading, &run);
    free(run.tail);
    free(run.before_room);
    free(run.block);
    free(run.sample_channel);
    return status;
}

/* ---- the whole ---- */

static size_t mark_length(const char *head, size_t length) {
    return length >= 3 && memcmp(head, BYTE_ORDER_MARK, 3) == 0 ? 3 : 0;
}

static bool has_line(const char *head, size_t length) {
    return memchr(head, '\n', length) != NULL || memchr(head, '\r', length) != NULL;
}

static spw_status look_at_head(table_reading *reading) {
    spw_status status = spw_source_look(reading->source, SPW_SOURCE_LOOK_MAX, &reading->head,
                                        &reading->length, reading->error);
    if (status != SPW_OK)
        return status;
    reading->whole = reading->length < SPW_SOURCE_LOOK_MAX;
    if (reading->length > SPW_SOURCE_LOOK_MAX)
        reading->length = SPW_SOURCE_LOOK_MAX;
    reading->mark = mark_length(reading->head, reading->length);
    reading->head += reading->mark;
    reading->length -= reading->mark;
    if (reading->length == 0)
        return spw_error_set(reading->error, SPW_ERR_EMPTY, "the table is empty");
    if (!reading->whole && !has_line(reading->head, reading->length))
        return spw_error_at(reading->error, SPW_ERR_LIMIT, 1, SPW_NOWHERE,
                            "the line is longer than %zu bytes; export fewer columns",
                            SPW_SOURCE_LOOK_MAX);
    return spw_table_find_layout(reading->head, reading->length, reading->whole, reading->options,
                                 &reading->layout, reading->error);
}

static spw_status read_table(table_reading *reading) {
    spw_status status = look_at_head(reading);
    if (status == SPW_OK)
        status = spw_table_probe_head(reading->head, reading->length, reading->whole,
                                      &reading->layout, &reading->probe, reading->error);
    if (status == SPW_OK)
        status = say_dialect(reading);
    if (status == SPW_OK)
        status = find_clock(reading);
    if (status == SPW_OK)
        status = say_count_column(reading);
    if (status == SPW_OK)
        status = say_left_out(reading);
    if (status == SPW_OK)
        status = announce_all(reading);
    return status == SPW_OK ? read_rows(reading) : status;
}

spw_status spw_table_read(spw_source *source, const spw_read_options *options, spw_emitter *emitter,
                          spw_capture_summary *summary, spw_error *error) {
    table_reading reading = {.source = source,
                             .options = options,
                             .emitter = emitter,
                             .summary = summary,
                             .error = error};
    spw_status status = read_table(&reading);
    for (uint32_t i = 0; i < reading.channels; i++)
        free(reading.names[i]);
    free(reading.names);
    spw_table_probe_free(&reading.probe);
    spw_table_layout_free(&reading.layout);
    return status;
}

static bool printable(const char *head, size_t length) {
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)head[i];
        if ((c < ' ' && c != '\t' && c != '\r' && c != '\n') || c == 0x7f)
            return false;
    }
    return true;
}

/* The first row names a time in its first cell, and other columns. */
static bool names_columns(const char *head, size_t length, const spw_table_dialect *dialect) {
    static const char separators[] = {'\t', ';', ','};
    spw_table_cursor cursor = {head, head + length, 1, dialect->line_end, 0};
    spw_table_row row;
    while (spw_table_next_row(&cursor, &row))
        if (!spw_table_row_blank(&row))
            break;
    for (size_t i = 0; i < sizeof separators; i++) {
        spw_table_cells cells = {row.text, row.text + row.length, separators[i]};
        spw_table_cell cell;
        if (spw_table_next_cell(&cells, &cell) && cells.at != NULL && cell.length > 0 &&
            spw_table_names_time(cell.text, cell.length))
            return true;
    }
    return false;
}

bool spw_table_recognises(const char *head, size_t length, bool whole) {
    size_t mark = mark_length(head, length);
    head += mark;
    length -= mark;
    if (length == 0 || !printable(head, length))
        return false;
    size_t at = 0;
    while (at < length && memchr(" \t\r\n", head[at], 4) != NULL)
        at++;
    if (at == length || head[at] == '$')
        return false;
    /* One line that has no end here: cells all the same. */
    bool line = has_line(head, length);
    spw_table_dialect dialect = spw_table_find_dialect(head, length, whole || !line);
    if (dialect.rows + dialect.partly > 0 && (dialect.rows + dialect.partly) * 2 >= dialect.lines &&
        (line || whole || dialect.rows > 0))
        return true;
    return names_columns(head, length, &dialect);
}
