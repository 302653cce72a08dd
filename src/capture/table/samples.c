/* Rows of samples, the usual ones fast: the time in step, then numbers of few
 * digits in every column of samples, then the line's end. Rows of any other
 * kind are left to table_rows.c, with the same meaning. */
#include "capture/table/row_step.h"

#include <math.h>

/* Bytes that have to follow a place where a cell may be read at once. */
#define REACH 64
#define SHEAF 64 /* rows */

/* What follows seven digits and a mark: more decimals, of fifteen digits at most. */
static const char *read_more(const char *at, spw_table_plain *number) {
    for (unsigned digit; (digit = (unsigned)(unsigned char)*at - '0') <= 9; at++) {
        if (number->value >= INT64_C(100000000000000))
            return NULL;
        number->value = number->value * 10 + digit;
        number->decimals++;
    }
    return at;
}

/* A number of up to seven digits before the mark, few behind it. Returns what
 * follows it, NULL when it is of another kind. */
static inline __attribute__((always_inline)) const char *read_number(const char *at, char mark,
                                                                     spw_table_plain *number) {
    /* without a branch: the sign of noise is not foreseen */
    const uint64_t negative = *at == '-';
    at += negative | (*at == '+');
    uint64_t eight = spw_eight_load(at), others = spw_eight_others(eight);
    if (others == 0)
        return NULL;
    unsigned digits = spw_eight_count(others);
    number->decimals = 0;
    if (at[digits] == mark) {
        /* the decimals move up to the whole digits */
        const uint64_t whole = (UINT64_C(1) << 8 * digits) - 1;
        const uint64_t ninth = (uint64_t)(unsigned char)at[8] << 56;
        eight = (eight & whole) | ((eight >> 8 | ninth) & ~whole);
        others = spw_eight_others(eight);
        unsigned more = others == 0 ? 8 : spw_eight_count(others);
        number->decimals = (int)(more - digits);
        digits = more;
        at++;
    }
    if (digits == 0)
        return NULL;
    number->value = (int64_t)spw_eight_value(eight << (64 - 8 * digits));
    at += digits;
    if (digits == 8 && (at = read_more(at, number)) == NULL)
        return NULL;
    number->value = (int64_t)(((uint64_t)number->value ^ -negative) + negative);
    return at;
}

/* ---- the time ---- */

typedef struct pace {
    bool counted;  /* there is no time: rows are the clock */
    bool foretold; /* its text */
    spw_table_beat beat;
    /* else it is read, and held against the clock */
    double allowed;
    uint64_t patience, since;
    int64_t tick, scale, most;
    uint64_t checked; /* rows */
} pace;

/* How the rows behind the one just taken are held against the clock; false
 * when that is not for here. */
static bool set_pace(const spw_table_run *run, const char *row, const char *next, pace *p) {
    const spw_table_clock *clock = &run->job->clock;
    *p = (pace){.counted = clock->kind == SPW_CLOCK_RATE};
    if (p->counted)
        return true;
    p->foretold = clock->exact && !clock->leans;
    if (p->foretold && spw_table_beat_start(run, row, next, &p->beat))
        return true;
    int shift = run->decimals == INT32_MAX ? -1 : -run->decimals - clock->place;
    if (shift < 0 || shift > run->shift_max || !run->first_fits)
        return false;
    p->foretold = false;
    p->allowed = spw_table_clock_allowed(clock, run->rounding[shift]);
    p->patience = p->allowed > 0 ? spw_table_clock_patience(clock) : 0;
    p->since = clock->rows - clock->anchor_row;
    p->tick = clock->last;
    p->scale = run->scale[shift];
    p->most = run->most[shift];
    return p->patience > 0;
}

/* Behind the separator of the row's time when it is in step, else NULL. */
static inline const char *in_step(const spw_table_run *run, pace *p, const char *row) {
    if (p->counted)
        return row;
    if (p->foretold)
        return spw_table_beat_holds(&p->beat, row) ? row + p->beat.cell : NULL;
    const spw_table_clock *clock = &run->job->clock;
    spw_table_plain number;
    const char *at = p->checked < p->patience ? read_number(row, run->mark, &number) : NULL;
    if (at == NULL || *at != run->separator || number.decimals != run->decimals ||
        number.value == 0 || number.value > p->most || number.value < -p->most)
        return NULL;
    int64_t now = number.value * p->scale - run->first;
    double off = (double)now - (clock->anchor + (double)(p->since + p->checked) * clock->step);
    if (off > p->allowed || off < -p->allowed || now < p->tick)
        return NULL;
    p->checked++;
    p->tick = now;
    return at + 1;
}

/* So many rows were taken, the last of them at `tick`. */
static void keep_pace(spw_table_run *run, const pace *p, uint64_t rows, int64_t tick) {
    if (p->foretold) {
        spw_table_beats(run, rows);
        return;
    }
    run->line += rows;
    run->good += rows;
    run->job->clock.rows += rows;
    if (!p->counted && rows > 0)
        run->job->clock.last = tick;
}

/* ---- the values ---- */

/* The values of a row, from `column` on, into the block. False when the row
 * does not end at `end` or a cell is not for here: a level that changes, too. */
static inline bool take_samples(spw_table_run *run, const char *at, const char *end,
                                size_t column) {
    for (;; column++) {
        const spw_table_column *c = &run->job->layout->column[column];
        if (c->role == SPW_ROLE_LOGIC) {
            if ((uint32_t)(unsigned char)*at - '0' != c->level)
                return false;
            at++;
        } else {
            spw_table_plain number;
            at = read_number(at, run->mark, &number);
            if (at == NULL)
                return false;
            float sample = (float)(spw_table_plain_value(&number) * c->factor);
            if (!(fabsf(sample) < SPW_SAMPLE_MAX))
                return false;
            run->block[c->slot * run->block_rows + run->filled] = sample;
        }
        if (column == run->last_column)
            break;
        if (*at++ != run->separator)
            return false;
    }
    at += *at == '\r' && run->line_end == '\n';
    return at == end;
}

/* From `first` on every column is a channel, of samples or of levels. */
static bool for_here(const spw_table_run *run, size_t first) {
    const spw_table_layout *layout = run->job->layout;
    if (run->sampled == 0 || run->mark == run->separator ||
        run->last_column + 1 != layout->columns || run->last_column > SPW_TABLE_CHANNELS_MAX ||
        (first == 1 && run->time_column != 0))
        return false;
    for (size_t k = first; k < layout->columns; k++)
        if (layout->column[k].role != SPW_ROLE_SAMPLES && layout->column[k].role != SPW_ROLE_LOGIC)
            return false;
    return true;
}

/* The next line end at or behind `at`. */
static inline const char *find_end(const char *at, const char *stop, char line_end) {
    for (; stop - at >= 8; at += 8) {
        uint64_t others = spw_eight_load(at) ^ SPW_EIGHT((unsigned char)line_end);
        uint64_t ends = (others - SPW_EIGHT(1)) & ~others & SPW_EIGHT(0x80);
        if (ends != 0) /* the lowest one is sure */
            return at + spw_eight_count(ends);
    }
    return memchr(at, line_end, (size_t)(stop - at));
}

/* Rows whose times are in step. First their ends are found, then their values
 * are read: so no row has to wait until the one before is read. */
typedef struct sheaf {
    size_t n;
    const char *values[SHEAF], *end[SHEAF];
    int64_t tick[SHEAF];
} sheaf;

static void bind(const spw_table_run *run, pace *p, const char *at, const char *stop, size_t reach,
                 sheaf *rows) {
    for (rows->n = 0; rows->n < SHEAF && (size_t)(stop - at) >= reach; rows->n++) {
        const char *values = in_step(run, p, at);
        if (values == NULL)
            return;
        rows->values[rows->n] = values;
        rows->end[rows->n] = find_end(values, stop, run->line_end);
        rows->tick[rows->n] = p->tick;
        at = rows->end[rows->n] + 1;
    }
}

size_t spw_table_quick_samples(spw_table_run *run, const char *row, const char *next,
                               const char *stop, spw_status *status) {
    const size_t reach = REACH * (run->last_column + 2);
    const spw_table_clock_kind kind = run->job->clock.kind;
    const size_t first = kind == SPW_CLOCK_RATE ? 0 : 1;
    pace p;
    if (kind == SPW_CLOCK_ROWS || (size_t)(stop - next) < reach || !for_here(run, first) ||
        !set_pace(run, row, next, &p))
        return 0;
    const char *at = next;
    uint64_t taken = 0;
    int64_t tick = 0;
    sheaf rows;
    do {
        bind(run, &p, at, stop, reach, &rows);
        size_t i = 0;
        for (; i < rows.n && *status == SPW_OK; i++) {
            if (!take_samples(run, rows.values[i], rows.end[i], first))
                break;
            at = rows.end[i] + 1;
            tick = rows.tick[i];
            if (++run->filled == run->block_rows)
                *status = spw_table_flush_samples(run);
        }
        taken += i;
        if (i < rows.n)
            break;
    } while (rows.n == SHEAF && *status == SPW_OK);
    keep_pace(run, &p, taken, tick);
    return (size_t)(at - next);
}
