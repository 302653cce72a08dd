/* The clock of a table: times as whole ticks of a decimal unit, counted from
 * the first row (19 digits lose nothing), and every row held against it. */
#include "capture/table/parts.h"

#include <math.h>

/* Rows between two anchors that steps are counted from. */
#define ANCHOR_ROWS 1024
/* What a row may be off beside the rounding of its digits: times that went
 * through a 32-bit float stray by a percent of a step. */
#define STRAY 0.02
/* Rounded wider than this share of a step, a time no longer tells its row. */
#define LEAN 0.25
/* In step means nearer to it than to the next one. */
#define IN_STEP 0.45

enum { MOST_SHIFT = 18 };

static const double power[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                               1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                               1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

static uint64_t power_of_ten(int n) { /* n <= 19 */
    uint64_t p = 1;
    for (int i = 0; i < n; i++)
        p *= 10;
    return p;
}

/* 19 digits and a shift by 18 places fit; digits that a tick is too coarse for are rounded. */
bool spw_table_wide_ticks(const spw_table_clock *clock, const spw_decimal *time, spw_wide *ticks) {
    int shift = time->exponent - clock->place;
    if (shift > MOST_SHIFT && time->digits != 0)
        return false;
    if (shift >= 0) {
        *ticks = spw_wide_product(time->digits, power_of_ten(time->digits != 0 ? shift : 0));
    } else { /* of 20 digits or more nothing is left */
        uint64_t unit = shift < -19 ? 0 : power_of_ten(-shift), digits = time->digits;
        *ticks = (spw_wide){unit == 0 ? 0 : digits / unit + (digits % unit >= unit - unit / 2), 0};
    }
    if (time->negative)
        *ticks = spw_wide_negative(*ticks);
    return true;
}

bool spw_table_ticks(const spw_table_clock *clock, const spw_decimal *time, int64_t *tick) {
    spw_wide value;
    return spw_table_wide_ticks(clock, time, &value) &&
           spw_wide_within(spw_wide_less(value, clock->first), INT64_MAX / 4, tick);
}

double spw_table_rounding(const spw_table_clock *clock, const spw_decimal *time) {
    int shift = time->exponent - clock->place;
    if (shift >= 0)
        return shift <= 22 ? 0.5 * power[shift] : INFINITY;
    return shift >= -22 ? 0.5 / power[-shift] : 0.0;
}

double spw_table_tick_s(const spw_table_clock *clock, double tick) {
    int e = clock->second_exponent;
    if (e < 0 && e >= -22)
        return tick / power[-e];
    if (e >= 0 && e <= 22)
        return tick * power[e];
    return tick * pow(10.0, e);
}

static double predicted(const spw_table_clock *clock, uint64_t row) {
    return clock->anchor + (double)(row - clock->anchor_row) * clock->step;
}

/* Rounding that matters: digits that step evenly throughout the head mean it. */
static double effective(const spw_table_clock *clock, double width) {
    if (clock->exact && width <= 0.51 * clock->step && width > 0.05 * clock->step)
        return 0.05 * clock->step;
    return width;
}

static void take_row(spw_table_clock *clock, int64_t tick) {
    clock->last = tick;
    clock->rows++;
}

static spw_table_step step_evenly(spw_table_clock *clock, int64_t tick, double printed,
                                  uint64_t *missing) {
    double width = effective(clock, printed);
    double since = (double)(clock->rows - clock->anchor_row);
    bool leans = clock->rebuilt || width >= LEAN * clock->step;
    double off = (double)tick - predicted(clock, clock->rows);
    double drift = clock->step_doubt * since * clock->step;
    double allowed = width + clock->anchor_width + STRAY * clock->step + drift;
    if (!leans && allowed > IN_STEP * clock->step)
        allowed = IN_STEP * clock->step;
    if (fabs(off) <= allowed) {
        if (!leans && since >= ANCHOR_ROWS) {
            clock->anchor = predicted(clock, clock->rows) + off / 2;
            clock->anchor_row = clock->rows;
            clock->anchor_width = width;
        }
        clock->leans = leans;
        take_row(clock, tick);
        return SPW_STEP_GOOD;
    }
    if (tick < clock->last)
        return SPW_STEP_BACK;
    if (tick == clock->last && !leans)
        return SPW_STEP_REPEAT;
    double steps = round(off / clock->step);
    if (steps < 1 || steps > 1e15 || allowed > IN_STEP * clock->step ||
        fabs(off - steps * clock->step) > allowed + steps * clock->step * STRAY / 10)
        return SPW_STEP_OFF;
    *missing = (uint64_t)steps;
    return SPW_STEP_GAP;
}

spw_table_step spw_table_clock_step(spw_table_clock *clock, int64_t tick, double width,
                                    uint64_t *missing) {
    *missing = 0;
    if (clock->kind == SPW_CLOCK_EVEN && clock->rows > 0)
        return step_evenly(clock, tick, width, missing);
    if (clock->rows > 0 && tick < clock->last)
        return SPW_STEP_BACK;
    spw_table_clock_resume(clock, tick, width, 0);
    return SPW_STEP_GOOD;
}

double spw_table_clock_allowed(const spw_table_clock *clock, double width) {
    if (clock->kind != SPW_CLOCK_EVEN || clock->leans || clock->rebuilt || clock->rows == 0)
        return 0;
    width = effective(clock, width);
    double allowed = width + clock->anchor_width + STRAY * clock->step;
    return width >= LEAN * clock->step ? 0 : fmin(allowed, IN_STEP * clock->step);
}

uint64_t spw_table_clock_patience(const spw_table_clock *clock) {
    uint64_t since = clock->rows - clock->anchor_row;
    return since < ANCHOR_ROWS ? ANCHOR_ROWS - since : 0;
}

void spw_table_clock_resume(spw_table_clock *clock, int64_t tick, double width, uint64_t missing) {
    clock->rows += missing;
    clock->anchor = (double)tick;
    clock->anchor_row = clock->rows;
    clock->anchor_width = effective(clock, width);
    clock->leans = false;
    take_row(clock, tick);
}

double spw_table_clock_now_s(const spw_table_clock *clock) {
    if (clock->kind == SPW_CLOCK_RATE)
        return (double)(clock->rows - 1) / clock->rate_hz;
    if (clock->leans)
        return spw_table_tick_s(clock, predicted(clock, clock->rows - 1));
    return spw_table_tick_s(clock, (double)clock->last);
}

void spw_table_clock_rewind(spw_table_clock *clock) {
    clock->rows = clock->anchor_row = 0;
    clock->last = 0;
    clock->anchor = clock->anchor_width = 0;
    clock->leans = false;
}
