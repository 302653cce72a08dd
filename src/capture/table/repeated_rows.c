/* Passing over rows that repeat the row before: most of a table of samples. */
#include "capture/table/row_step.h"

#include <string.h>

/* Longest run of bytes at `at` that repeat what stands `period` bytes before. */
static size_t repeats(const char *at, const char *stop, size_t period) {
    const char *p = at;
    while ((size_t)(stop - p) >= 32 && memcmp(p, p - period, 32) == 0)
        p += 32;
    while (p < stop && *p == *(p - period))
        p++;
    return (size_t)(p - at);
}

static size_t skip_samples(spw_table_run *run, const char *row, const char *next,
                           const char *stop) {
    size_t period = (size_t)(next - row);
    size_t rows = repeats(next, stop, period) / period;
    run->line += rows;
    run->good += rows;
    run->job->clock.rows += rows;
    return rows * period;
}

static inline bool same(const char *a, const char *b, size_t length) {
    if (length < 8 || length > 32)
        return memcmp(a, b, length) == 0;
    uint64_t x, y, differs = 0;
    for (size_t i = 0; i + 8 < length; i += 8) {
        memcpy(&x, a + i, 8);
        memcpy(&y, b + i, 8);
        differs |= x ^ y;
    }
    memcpy(&x, a + length - 8, 8);
    memcpy(&y, b + length - 8, 8);
    return (differs | (x ^ y)) == 0;
}

/* Rows as long as the one before whose time stands one step on. What lies
 * between two windows, the rest of a row and the start of the next, stays as
 * it is. */
static size_t skip_steps(spw_table_run *run, const char *row, const char *next, const char *stop) {
    spw_table_beat beat;
    size_t length = (size_t)(next - row);
    if (run->job->clock.leans || (size_t)(stop - next) < length ||
        !spw_table_beat_start(run, row, next, &beat) || memcmp(next, row, beat.at) != 0)
        return 0;
    const char *at = next;
    size_t behind = beat.at + beat.width, rest = length - beat.width;
    uint64_t rows = 0, text;
    while ((size_t)(stop - at) >= length + beat.at + 8 && spw_table_beat_next(&beat, &text) &&
           spw_table_beat_window(&beat, at) == text &&
           same(at + behind, at + behind - length, rest)) {
        at += length;
        rows++;
    }
    spw_table_beats(run, rows);
    return (size_t)(at - next);
}

/* Rows whose tail repeats and whose time, read as a number of as many decimals
 * as before, is in step. */
static size_t skip_in_step(spw_table_run *run, const char *next, const char *stop) {
    spw_table_clock *clock = &run->job->clock;
    int shift = run->decimals == INT32_MAX ? -1 : -run->decimals - clock->place;
    if (shift < 0 || shift > run->shift_max || !run->first_fits)
        return 0;
    double allowed = spw_table_clock_allowed(clock, run->rounding[shift]);
    uint64_t patience = allowed > 0 ? spw_table_clock_patience(clock) : 0;
    size_t tail = run->tail_length;
    const char *at = next;
    uint64_t since = clock->rows - clock->anchor_row, rows = 0;
    int64_t tick = clock->last;
    for (; rows < patience; rows++, since++) {
        spw_table_plain number;
        const char *rest = spw_table_plain_number(at, stop, run->separator, run->mark, &number);
        if (rest == NULL || number.decimals != run->decimals || number.value == 0 ||
            number.value > run->most[shift] || number.value < -run->most[shift] ||
            (size_t)(stop - rest) < tail + 3)
            break;
        rest += 1 + tail;
        if (!same(rest - tail, run->tail, tail))
            break;
        rest += *rest == '\r' && run->line_end == '\n';
        int64_t now = number.value * run->scale[shift] - run->first;
        double off = (double)now - (clock->anchor + (double)since * clock->step);
        if (*rest != run->line_end || off > allowed || off < -allowed || now < tick)
            break;
        tick = now;
        at = rest + 1;
    }
    if (rows > 0) {
        run->line += rows;
        run->good += rows;
        clock->rows += rows;
        clock->last = tick;
    }
    return (size_t)(at - next);
}

size_t spw_table_skip_alike(spw_table_run *run, const char *row, const char *next,
                            const char *stop) {
    const spw_table_clock *clock = &run->job->clock;
    if (!run->tail_same)
        return 0;
    if (clock->kind == SPW_CLOCK_RATE)
        return skip_samples(run, row, next, stop);
    if (clock->kind != SPW_CLOCK_EVEN || run->time_column != 0)
        return 0;
    size_t skipped = clock->exact ? skip_steps(run, row, next, stop) : 0;
    return skipped > 0 ? skipped : skip_in_step(run, next, stop);
}
