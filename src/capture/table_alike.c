/* Passing over rows that repeat the row before: most of a table of samples. */
#include "capture/table_rows.h"

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

/* A row as text whose time can be moved on by a fixed number of its last
 * places. */
typedef struct foretold {
    char text[SPW_TABLE_ALIKE_MAX];
    size_t length;
    size_t from, low;                /* its digits: the first, and the lowest that moves */
    unsigned step[SPW_TABLE_SHIFTS]; /* digits of the step, the lowest first */
    size_t steps;
} foretold;

static bool foretell(const spw_table_run *run, const char *row, const char *next, foretold *tell) {
    const spw_table_clock *clock = &run->job->clock;
    tell->length = (size_t)(next - row);
    if (tell->length > sizeof tell->text)
        return false;
    size_t at = 0, decimals = 0, to;
    while (row[at] == ' ')
        at++;
    tell->from = at;
    bool point = false;
    for (; (row[at] >= '0' && row[at] <= '9') || (row[at] == run->mark && !point); at++) {
        decimals += point;
        point = point || row[at] == run->mark;
    }
    to = at;
    if (to == tell->from || row[at] != run->separator || row[to - 1] == run->mark ||
        run->mark == run->separator)
        return false;
    int shift = -(int)decimals - clock->place;
    int64_t step = (int64_t)clock->step;
    if (shift < 0 || shift > run->shift_max || step <= 0 || step % run->scale[shift] != 0)
        return false;
    step /= run->scale[shift];
    tell->low = to - 1;
    while (step % 10 == 0) {
        step /= 10;
        if (tell->low == tell->from)
            return false;
        tell->low--;
        if (row[tell->low] == run->mark) {
            if (tell->low == tell->from)
                return false;
            tell->low--;
        }
    }
    for (tell->steps = 0; step > 0; step /= 10)
        tell->step[tell->steps++] = (unsigned)(step % 10);
    memcpy(tell->text, row, tell->length);
    return true;
}

/* The time's digits one step on; false when they would become more. */
static inline bool move_on(foretold *tell, char mark) {
    char *p = tell->text + tell->low;
    const char *from = tell->text + tell->from;
    unsigned carry = 0;
    for (size_t k = 0; k < tell->steps || carry != 0; p--) {
        if (p < from)
            return false;
        if (*p == mark)
            continue;
        unsigned digit = (unsigned)(*p - '0') + carry + (k < tell->steps ? tell->step[k] : 0);
        k++;
        carry = digit > 9;
        *p = (char)('0' + (carry != 0 ? digit - 10 : digit));
    }
    return true;
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

static size_t skip_steps(spw_table_run *run, const char *row, const char *next, const char *stop) {
    spw_table_clock *clock = &run->job->clock;
    foretold tell;
    if ((size_t)(stop - next) < (size_t)(next - row) || clock->leans ||
        !foretell(run, row, next, &tell))
        return 0;
    const char *at = next;
    uint64_t rows = 0;
    while ((size_t)(stop - at) >= tell.length && move_on(&tell, run->mark) &&
           same(at, tell.text, tell.length)) {
        at += tell.length;
        rows++;
    }
    if (rows > 0) { /* as if each had been held against the clock */
        run->line += rows;
        run->good += rows;
        clock->rows += rows;
        clock->last += (int64_t)rows * (int64_t)clock->step;
        clock->anchor = (double)clock->last;
        clock->anchor_row = clock->rows - 1;
    }
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
