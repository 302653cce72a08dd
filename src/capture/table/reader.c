/* Tables (CSV, TSV): the head decides what the file is, says so, and the rows
 * are read by that. */
#include "capture/table/reading.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BYTE_ORDER_MARK "\xef\xbb\xbf"
#define OFF_SHARE 50 /* one row in so many may be out of step with the even one of the others */
#define SAMPLES_KEPT ((size_t)1 << 18) /* of all channels, between two calls of the sink */

static void prepare_times(spw_table_run *run) {
    const spw_table_clock *clock = &run->job->clock;
    run->first = 0;
    run->first_fits = spw_wide_within(clock->first, INT64_MAX / 4, &run->first);
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
    run->tail_counts = run->time_first && run->sampled == 0 && reading->widths == 0;
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

static spw_status finish(table_reading *reading, spw_table_run *run) {
    spw_status status = spw_table_flush_samples(run);
    if (status == SPW_OK)
        status = spw_emit_flush(reading->emitter);
    if (status != SPW_OK)
        return status;
    uint64_t rows = run->good + (run->job->clock.kind == SPW_CLOCK_RATE ? 0 : run->junk);
    if (run->junk * 2 > rows)
        return spw_error_at(reading->error, SPW_ERR_FORMAT, run->junk_line, SPW_NOWHERE,
                            "most rows hold no numbers where the first ones have them, from this "
                            "line on; export the table again");
    if (run->off * OFF_SHARE > run->good && (run->sampled > 0 || run->job->clock.rebuilt))
        return spw_error_at(reading->error, SPW_ERR_FORMAT, run->off_line, SPW_NOWHERE,
                            "from this line on the times keep no even step, as the rows before did "
                            "(%llu of %llu rows are out of step); export the capture with an even "
                            "step, or as one row a change",
                            (unsigned long long)run->off, (unsigned long long)run->good);
    reading->summary->duration_s = fmax(spw_table_clock_now_s(&run->job->clock), run->now_s);
    status = spw_table_warn_cells(reading);
    return status == SPW_OK ? spw_table_warn_rows(reading, run) : status;
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
        status = spw_table_say_dialect(reading);
    if (status == SPW_OK)
        status = spw_table_find_clock(reading);
    if (status == SPW_OK)
        status = spw_table_say_count_column(reading);
    if (status == SPW_OK)
        status = spw_table_say_left_out(reading);
    if (status == SPW_OK)
        status = spw_table_announce(reading);
    spw_table_probe_free(&reading->probe);
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
