/* The values of a row: levels that changed become changes, volts become samples
 * in blocks. */
#include "capture/table/rows.h"

#include <math.h>

/* ---- samples ---- */

spw_status spw_table_flush_samples(spw_table_run *run) {
    const spw_sink *sink = run->job->emitter->sink;
    if (run->filled == 0)
        return SPW_OK;
    for (size_t s = 0; s < run->sampled; s++) {
        spw_status status =
            sink->samples(sink->context, run->sample_channel[s], run->samples_before,
                          run->block + s * run->block_rows, run->filled);
        if (status != SPW_OK)
            return status;
    }
    run->samples_before += run->filled;
    run->filled = 0;
    return SPW_OK;
}

static spw_status end_sample_row(spw_table_run *run) {
    return ++run->filled == run->block_rows ? spw_table_flush_samples(run) : SPW_OK;
}

spw_status spw_table_missing_samples(spw_table_run *run, uint64_t n) {
    for (; n > 0; n--) {
        for (size_t s = 0; s < run->sampled; s++)
            run->block[s * run->block_rows + run->filled] = NAN;
        spw_status status = end_sample_row(run);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

/* ---- values ---- */

static spw_status set_level(spw_table_run *run, spw_table_column *column, uint32_t level) {
    if (level == column->level)
        return SPW_OK;
    column->level = level;
    /* A time told by the row's number may lie behind the next printed one. */
    double now_s = spw_table_clock_now_s(&run->job->clock);
    run->now_s = now_s > run->now_s ? now_s : run->now_s;
    return spw_emit_change(run->job->emitter, run->now_s, column->channel, (spw_level)level);
}

spw_status spw_table_lose_levels(spw_table_run *run) {
    spw_status status = SPW_OK;
    for (size_t k = 0; k <= run->last_column && status == SPW_OK; k++) {
        spw_table_column *column = &run->job->layout->column[k];
        if (column->role == SPW_ROLE_LOGIC || column->role == SPW_ROLE_LEVEL)
            status = set_level(run, column, SPW_LEVEL_UNKNOWN);
    }
    run->tail_length = SIZE_MAX; /* the next row's levels count, same text or not */
    return status;
}

static void note_bad(spw_table_run *run, spw_table_column *column) {
    if (column->bad++ == 0)
        column->bad_line = run->line;
    run->bad++;
}

static uint32_t threshold(const spw_table_column *column, double value) {
    if (value >= column->up)
        return SPW_LEVEL_HIGH;
    if (value <= column->down)
        return SPW_LEVEL_LOW;
    if (column->level <= SPW_LEVEL_HIGH)
        return column->level;
    return value > column->low / 2 + column->high / 2 ? SPW_LEVEL_HIGH : SPW_LEVEL_LOW;
}

static spw_status put_width(spw_table_run *run, spw_table_column *column, double value) {
    const spw_sink *sink = run->job->emitter->sink;
    double width_us = value * column->factor;
    if (!(width_us > 0 && width_us < (double)SPW_SAMPLE_MAX)) {
        note_bad(run, column);
        return SPW_OK;
    }
    if (sink->readings == NULL)
        return SPW_OK;
    double now_s = spw_table_clock_now_s(&run->job->clock);
    run->now_s = now_s > run->now_s ? now_s : run->now_s;
    spw_reading reading = {.time_s = run->now_s, .width_us = width_us};
    return sink->readings(sink->context, column->channel, &reading, 1);
}

static spw_status put_value(spw_table_run *run, spw_table_column *column, double value) {
    if (column->role == SPW_ROLE_WIDTH)
        return put_width(run, column, value);
    if (column->role == SPW_ROLE_SAMPLES) {
        float sample = (float)(value * column->factor);
        if (!(fabsf(sample) < SPW_SAMPLE_MAX)) {
            note_bad(run, column);
            sample = NAN;
        }
        run->block[column->slot * run->block_rows + run->filled] = sample;
        return SPW_OK;
    }
    uint32_t level;
    if (column->role == SPW_ROLE_LEVEL && isfinite(value)) {
        level = threshold(column, value);
    } else if (value == 0.0 || value == 1.0) {
        level = value == 1.0 ? SPW_LEVEL_HIGH : SPW_LEVEL_LOW;
    } else {
        note_bad(run, column);
        level = SPW_LEVEL_UNKNOWN;
    }
    return set_level(run, column, level);
}

/* Any cell: quotes, words, exponents, nothing. */
static spw_status take_cell(spw_table_run *run, spw_table_column *column,
                            const spw_table_cell *cell) {
    spw_decimal number;
    bool time_of_day;
    double value = NAN;
    switch (spw_table_classify(cell, run->mark, &number, &time_of_day)) {
    case SPW_CELL_NUMBER:
        value = spw_decimal_value(&number);
        break;
    case SPW_CELL_LOW:
        value = column->role == SPW_ROLE_LOGIC ? 0.0 : NAN;
        break;
    case SPW_CELL_HIGH:
        value = column->role == SPW_ROLE_LOGIC ? 1.0 : NAN;
        break;
    default:
        break;
    }
    return put_value(run, column, value);
}

spw_status spw_table_take_values(spw_table_run *run, const char *at, const char *end,
                                 size_t column) {
    const char separator = run->separator;
    spw_table_cells cells = {at, end, separator};
    for (; column <= run->last_column; column++) {
        spw_table_column *c = &run->job->layout->column[column];
        const char *p = cells.at;
        spw_status status;
        if (p != NULL && c->role == SPW_ROLE_LOGIC && p < end && (*p == '0' || *p == '1') &&
            (p + 1 == end || p[1] == separator)) {
            cells.at = p + 1 == end ? NULL : p + 2;
            status = set_level(run, c, *p == '1' ? SPW_LEVEL_HIGH : SPW_LEVEL_LOW);
        } else {
            spw_table_plain number;
            const char *after = p != NULL && c->role >= SPW_ROLE_LEVEL
                                    ? spw_table_plain_number(p, end, separator, run->mark, &number)
                                    : NULL;
            if (after != NULL) {
                cells.at = after == end ? NULL : after + 1;
                status = put_value(run, c, spw_table_plain_value(&number));
            } else {
                spw_table_cell cell = {.text = ""};
                (void)spw_table_next_cell(&cells, &cell);
                if (c->role < SPW_ROLE_LOGIC)
                    continue;
                status = take_cell(run, c, &cell);
            }
        }
        if (status != SPW_OK)
            return status;
    }
    return run->sampled > 0 ? end_sample_row(run) : SPW_OK;
}
