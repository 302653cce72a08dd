/* The rows of a table, once from top to bottom.
 *
 * Rows of samples mostly repeat the row before but for the time: what follows
 * the time is compared as text, and values are read only where it differs.
 * The time of every row is held against the clock, so a missing row is seen. */
#include "capture/table/rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LOOK ((size_t)1 << 18)
#define START_ROWS 16 /* time that runs backwards this early is no damage */
/* Samples that may be missing in one place; NAN stands for each. */
#define GAP_SAMPLES_MAX UINT64_C(10000000)

/* A time that runs from the end of one day into the next. */
static int64_t next_day(spw_table_run *run, int64_t tick) {
    const spw_table_clock *clock = &run->job->clock;
    tick += run->day;
    if (clock->rows > 0 && tick < clock->last - run->day_ticks / 2) {
        run->day += run->day_ticks;
        tick += run->day_ticks;
    }
    return tick;
}

/* Reads the time cell at `at`; returns where the row goes on: behind the
 * separator, NULL when the row ends, and *timed false when it is no time. */
static const char *take_time(spw_table_run *run, const char *at, const char *end, int64_t *tick,
                             double *width, bool *timed) {
    const spw_table_clock *clock = &run->job->clock;
    double narrow = clock->narrow; /* nothing is exact, however it is printed */
    spw_table_plain number;
    const char *after = spw_table_plain_number(at, end, run->separator, run->mark, &number);
    int shift = after != NULL ? -number.decimals - clock->place : -1;
    if (after != NULL && shift >= 0 && shift <= run->shift_max && run->first_fits &&
        number.value <= run->most[shift] && number.value >= -run->most[shift]) {
        *tick = number.value * run->scale[shift] - run->first;
        *width = number.value != 0 ? run->rounding[shift] : fmin(run->rounding[shift], narrow);
        run->decimals = number.decimals;
        *timed = true;
        return after == end ? NULL : after + 1;
    }
    run->decimals = INT32_MAX;
    spw_table_cells cells = {at, end, run->separator};
    spw_table_cell cell;
    spw_decimal exact;
    bool time_of_day = false;
    (void)spw_table_next_cell(&cells, &cell);
    spw_table_class class = spw_table_classify(&cell, run->mark, &exact, &time_of_day);
    *timed = (class == SPW_CELL_NUMBER || class == SPW_CELL_CLOCK) &&
             spw_table_ticks(clock, &exact, tick);
    if (*timed) {
        *width = spw_table_rounding(clock, &exact);
        if (exact.digits == 0)
            *width = fmin(*width, narrow);
        if (time_of_day)
            *tick = next_day(run, *tick);
    }
    return cells.at;
}

/* Ends the reading where the file stops making sense; what came before counts. */
static spw_status stop_here(spw_table_run *run, const char *what) {
    run->stopped = true;
    run->job->summary->truncated = true;
    return spw_notes_add(&run->job->summary->warnings,
                         "line %llu: %s; the rows before it were read, the rest was not",
                         (unsigned long long)run->line, what);
}

/* A row out of step counts at its own time. Levels between it and the row before are
 * not known where the step is all that tells time: samples (which go on at the
 * nearest whole step) and rounded times. */
static spw_status out_of_step(spw_table_run *run, int64_t tick, double width) {
    spw_table_clock *clock = &run->job->clock;
    if (run->off++ == 0)
        run->off_line = run->line;
    spw_status status = SPW_OK;
    if (clock->rebuilt || clock->leans || run->sampled > 0)
        status = spw_table_lose_levels(run);
    uint64_t missing = 0;
    if (run->sampled > 0) {
        double steps = round((double)(tick - clock->last) / clock->step) - 1;
        missing = steps > 1 ? (uint64_t)steps : 1;
        if (missing > GAP_SAMPLES_MAX)
            return stop_here(run, "more rows are missing here than a recording can lack");
    }
    if (status == SPW_OK)
        spw_table_clock_resume(clock, tick, width, missing);
    return status == SPW_OK ? spw_table_missing_samples(run, missing) : status;
}

/* Holds a row's time against the clock; *take tells whether its values count. */
static spw_status check_time(spw_table_run *run, int64_t tick, double width, bool *take) {
    spw_table_clock *clock = &run->job->clock;
    uint64_t missing;
    *take = true;
    switch (spw_table_clock_step(clock, tick, width, &missing)) {
    case SPW_STEP_GOOD:
        return SPW_OK;
    case SPW_STEP_GAP:
        if (run->gaps++ == 0)
            run->gap_line = run->line;
        run->missing += missing;
        if (run->sampled > 0 && missing > GAP_SAMPLES_MAX) {
            *take = false;
            return stop_here(run, "more rows are missing here than a recording can lack");
        }
        spw_table_clock_resume(clock, tick, width, missing);
        return run->sampled > 0 ? spw_table_missing_samples(run, missing) : SPW_OK;
    case SPW_STEP_REPEAT:
        *take = run->sampled == 0;
        if (run->repeats++ == 0)
            run->repeat_line = run->line;
        return SPW_OK;
    case SPW_STEP_BACK:
        *take = false;
        if (run->good < START_ROWS)
            return spw_error_at(run->job->error, SPW_ERR_FORMAT, run->line, SPW_NOWHERE,
                                "the time runs backwards; export the rows in time order, or give "
                                "the rows a second with --rate HZ");
        return stop_here(run, "the time runs backwards");
    case SPW_STEP_OFF:
        break;
    }
    spw_status status = out_of_step(run, tick, width);
    *take = !run->stopped;
    return status;
}

/* ---- rows ---- */

static void junk_row(spw_table_run *run) {
    if (run->junk++ == 0)
        run->junk_line = run->line;
}

static bool blank(const char *row, const char *end) {
    while (row < end && (*row == ' ' || *row == '\t' || *row == '\r'))
        row++;
    return row == end;
}

/* No cell of the row holds a number or a level word. */
static bool holds_nothing(const spw_table_run *run, const char *row, const char *end) {
    spw_table_cells cells = {row, end, run->separator};
    spw_table_cell cell;
    spw_decimal number;
    bool time_of_day;
    while (spw_table_next_cell(&cells, &cell)) {
        spw_table_class class = spw_table_classify(&cell, run->mark, &number, &time_of_day);
        if (class != SPW_CELL_TEXT && class != SPW_CELL_EMPTY)
            return false;
    }
    return true;
}

static spw_status untimed_row(spw_table_run *run, const char *row, const char *end) {
    run->job->clock.rows++;
    run->good++;
    if (!(*row == '0' || *row == '1') && holds_nothing(run, row, end))
        junk_row(run);
    uint64_t bad = run->bad;
    spw_status status = spw_table_take_values(run, row, end, 0);
    run->tail_same = run->sampled == 0 && bad == run->bad;
    return status;
}

static const char *time_cell(const spw_table_run *run, const char *row, const char *end) {
    spw_table_cells cells = {row, end, run->separator};
    spw_table_cell cell;
    for (size_t k = 0; k < run->time_column; k++)
        (void)spw_table_next_cell(&cells, &cell);
    return cells.at;
}

spw_status spw_table_take_row(spw_table_run *run, const char *row, const char *end) {
    while (end > row && end[-1] == '\r')
        end--;
    run->tail_same = false;
    if (row == end || ((unsigned char)*row <= ' ' && blank(row, end)))
        return SPW_OK;
    if (run->job->clock.kind == SPW_CLOCK_RATE)
        return untimed_row(run, row, end);
    const char *at = run->time_column == 0 ? row : time_cell(run, row, end);
    int64_t tick;
    double width;
    bool timed = false, take;
    const char *rest = at != NULL ? take_time(run, at, end, &tick, &width, &timed) : NULL;
    if (!timed) {
        junk_row(run);
        return SPW_OK;
    }
    spw_status status = check_time(run, tick, width, &take);
    if (status != SPW_OK || !take)
        return status;
    run->good++;
    if (!run->tail_counts)
        return spw_table_take_values(run, run->time_first ? rest : row, end,
                                     run->time_first ? run->time_column + 1 : 0);
    size_t length = rest != NULL ? (size_t)(end - rest) : 0;
    if (rest != NULL && length == run->tail_length && memcmp(rest, run->tail, length) == 0) {
        run->tail_same = true;
        return SPW_OK;
    }
    run->tail_length = SIZE_MAX; /* none kept */
    if (rest != NULL && length < SPW_SOURCE_LOOK_MAX) {
        memcpy(run->tail, rest, length);
        run->tail_length = length;
    }
    uint64_t bad = run->bad;
    status = spw_table_take_values(run, rest, end, run->time_column + 1);
    if (bad != run->bad)
        run->tail_length = SIZE_MAX; /* every bad cell counts */
    run->tail_same = run->tail_length != SIZE_MAX;
    return status;
}

/* The rows of data[0 .. length), which ends in a line end. */
static spw_status take_rows(spw_table_run *run, const char *data, size_t length) {
    const char *at = data, *stop = data + length;
    while (at < stop && !run->stopped) {
        const char *end = memchr(at, run->line_end, (size_t)(stop - at));
        spw_status status = spw_table_take_row(run, at, end);
        if (status != SPW_OK)
            return status;
        run->line++;
        const char *next = end + 1;
        if (!run->stopped && run->sampled > 0)
            next += spw_table_quick_samples(run, at, next, stop, &status);
        else if (!run->stopped)
            next += spw_table_skip_alike(run, at, next, stop);
        if (status != SPW_OK)
            return status;
        at = next;
    }
    return SPW_OK;
}

/* A last row without a line end counts when it is plainly whole. */
static spw_status last_row(spw_table_run *run, const char *data, size_t length) {
    if (blank(data, data + length))
        return SPW_OK;
    if (run->before != NULL && spw_table_row_whole(run->before, run->before_length, data, length,
                                                   run->separator, run->mark))
        return spw_table_take_row(run, data, data + length);
    run->job->summary->truncated = true;
    return spw_notes_add(&run->job->summary->warnings,
                         "line %llu, the last one, is cut short and was not used",
                         (unsigned long long)run->line);
}

/* Keeps the last whole row of what is about to be given back. */
static void keep_last(spw_table_run *run, const char *data, size_t length) {
    const char *before = length > 1 ? memrchr(data, run->line_end, length - 1) : NULL;
    const char *row = before != NULL ? before + 1 : data;
    size_t n = (size_t)(data + length - 1 - row);
    while (n > 0 && row[n - 1] == '\r')
        n--;
    if (n == 0 || n > SPW_SOURCE_LOOK_MAX)
        return;
    memcpy(run->before_room, row, n);
    run->before = run->before_room;
    run->before_length = n;
}

static spw_status too_long(spw_table_run *run) {
    if (run->good < 2)
        return spw_error_at(run->job->error, SPW_ERR_LIMIT, run->line, SPW_NOWHERE,
                            "the line is longer than %zu bytes; export fewer columns",
                            SPW_SOURCE_LOOK_MAX);
    return stop_here(run, "the line is longer than 1 MiB");
}

spw_status spw_table_run_all(spw_table_run *run) {
    spw_source *source = run->job->source;
    size_t want = LOOK;
    while (!run->stopped) {
        const char *data;
        size_t got;
        spw_status status = spw_source_look(source, want, &data, &got, run->job->error);
        if (status != SPW_OK)
            return status;
        const char *last = got > 0 ? memrchr(data, run->line_end, got) : NULL;
        if (last == NULL && got < want)
            return got > 0 ? last_row(run, data, got) : SPW_OK;
        if (last == NULL && want == SPW_SOURCE_LOOK_MAX)
            return too_long(run);
        if (last == NULL) {
            want = SPW_SOURCE_LOOK_MAX;
            continue;
        }
        size_t length = (size_t)(last + 1 - data);
        status = take_rows(run, data, length);
        if (status != SPW_OK)
            return status;
        keep_last(run, data, length);
        spw_source_take(source, length);
        want = LOOK;
    }
    return SPW_OK;
}
