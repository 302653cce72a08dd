/* State of the pass over a table's rows, and the two hot loops in it. */
#ifndef SPW_CAPTURE_TABLE_ROWS_H
#define SPW_CAPTURE_TABLE_ROWS_H

#include "capture/table/parts.h"

#define SPW_TABLE_SHIFTS 19

typedef struct spw_table_run {
    spw_table_job *job;
    char separator, mark, line_end;
    size_t time_column, last_column;
    bool time_first;  /* no value stands before the time */
    bool tail_counts; /* and no value is a sample: the row's tail tells the levels */
    uint64_t line, good;
    int decimals; /* of the last row's time, or INT32_MAX */
    bool stopped;
    /* times */
    bool first_fits;
    int64_t first;
    int64_t scale[SPW_TABLE_SHIFTS], most[SPW_TABLE_SHIFTS];
    double rounding[SPW_TABLE_SHIFTS];
    int shift_max;
    int64_t day, day_ticks;
    double now_s; /* of the last change */
    /* samples */
    size_t sampled, block_rows, filled;
    uint64_t samples_before;
    uint32_t *sample_channel;
    float *block; /* sampled x block_rows */
    /* the row before */
    char *tail; /* SPW_SOURCE_LOOK_MAX bytes */
    size_t tail_length;
    bool tail_same; /* the row just taken left its tail in `tail` */
    char *before_room;
    const char *before; /* a whole row, for the last one */
    size_t before_length;
    /* what is told at the end */
    uint64_t bad;
    uint64_t junk, junk_line, gaps, gap_line, missing, repeats, repeat_line, off, off_line;
} spw_table_run;

spw_status spw_table_take_row(spw_table_run *run, const char *row, const char *end) SPW_CHECKED;
spw_status spw_table_run_all(spw_table_run *run) SPW_CHECKED;
/* The values of a row from `column` on, whose cell starts at `at` (NULL: the
 * row ends before it), at the time that the clock shows. */
spw_status spw_table_take_values(spw_table_run *run, const char *at, const char *end,
                                 size_t column) SPW_CHECKED;
/* From the last row on no level is known. */
spw_status spw_table_lose_levels(spw_table_run *run) SPW_CHECKED;
/* Rows of samples that are not there: NAN. */
spw_status spw_table_missing_samples(spw_table_run *run, uint64_t n) SPW_CHECKED;
spw_status spw_table_flush_samples(spw_table_run *run) SPW_CHECKED;
/* Takes rows of samples at `next`, behind the one just taken, as long as they
 * are of the usual kind. Returns how many bytes they take; they are counted in
 * lines, rows and clock. */
size_t spw_table_quick_samples(spw_table_run *run, const char *row, const char *next,
                               const char *stop, spw_status *status);
/* Passes over rows at `next` that repeat the row just taken, which starts at
 * `row`: the same text, but for a time that goes on by the even step. Returns
 * how many bytes they take; they are counted in lines, rows and clock. */
size_t spw_table_skip_alike(spw_table_run *run, const char *row, const char *next,
                            const char *stop);

/* As if `rows` rows, each a step on by an exact clock, had been held against it. */
static inline void spw_table_beats(spw_table_run *run, uint64_t rows) {
    spw_table_clock *clock = &run->job->clock;
    if (rows == 0)
        return;
    run->line += rows;
    run->good += rows;
    clock->rows += rows;
    clock->last += (int64_t)rows * (int64_t)clock->step;
    clock->anchor = (double)clock->last;
    clock->anchor_row = clock->rows - 1;
}

/* A number of up to 18 digits: value * 10^-decimals. */
typedef struct spw_table_plain {
    int64_t value;
    int decimals; /* -22 to 22 */
} spw_table_plain;

/* The exponent at `at`, which has its e; NULL when it is none. */
static inline const char *spw_table_plain_exponent(const char *at, const char *end, int *decimals) {
    at++;
    bool negative = at < end && *at == '-';
    at += negative || (at < end && *at == '+');
    const char *from = at;
    int exponent = 0;
    for (; at < end && at - from < 3 && *at >= '0' && *at <= '9'; at++)
        exponent = exponent * 10 + (*at - '0');
    *decimals += negative ? exponent : -exponent;
    return at == from || *decimals < -22 || *decimals > 22 ? NULL : at;
}

/* Reads a number that fills the cell at `at`. Returns the separator behind it
 * or `end`; NULL when the cell holds anything else. */
static inline const char *spw_table_plain_number(const char *at, const char *end, char separator,
                                                 char mark, spw_table_plain *number) {
    while (at < end && *at == ' ')
        at++;
    bool negative = at < end && *at == '-';
    at += negative || (at < end && *at == '+');
    uint64_t value = 0;
    const char *from = at, *point = NULL;
    for (; at < end; at++) {
        unsigned digit = (unsigned char)*at - (unsigned)'0';
        if (digit <= 9)
            value = value * 10 + digit;
        else if (*at == mark && point == NULL && mark != separator)
            point = at;
        else
            break;
    }
    int64_t digits = at - from - (point != NULL);
    if (digits < 1 || digits > 18)
        return NULL;
    number->value = negative ? -(int64_t)value : (int64_t)value;
    number->decimals = point != NULL ? (int)(at - point - 1) : 0;
    if (at < end && (*at == 'E' || *at == 'e'))
        at = spw_table_plain_exponent(at, end, &number->decimals);
    return at == NULL || (at < end && *at != separator) ? NULL : at;
}

static inline double spw_table_plain_value(const spw_table_plain *number) {
    static const double power[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                   1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                   1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    double value = (double)number->value;
    return number->decimals >= 0 ? value / power[number->decimals]
                                 : value * power[-number->decimals];
}

#endif
