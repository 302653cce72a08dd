#include "pulses/grid.h"

#include <math.h>

/* Longer than the slowest frame: recorders of segments start a new count. */
static const double PAUSE_S = 0.25;
/* Two roundings of a tick: an interval is a tick off at most. */
static const double OFF_TICKS = 1 + 1e-6;
/* A step of fewer ticks leaves nearly every interval within its rounding. */
static const double LEAST_TICKS = 2.2, TELLING_SHARE = 0.9;
/* A grid that is no whole number of ticks is believed when chance gives it less often. */
static const double CHANCE = 0.05;
/* Different intervals that make a grid more than a controller's few commands. */
enum { TELLING = 8 };

void spw_grid_start(spw_grid *grid, double tick_s, double end_s) {
    static const double distinct = 1e15; /* a double tells so many ticks apart */
    *grid = (spw_grid){.tick_s = tick_s};
    while (end_s / grid->tick_s > distinct)
        grid->tick_s *= 10;
    grid->pause = PAUSE_S / grid->tick_s;
}

static uint64_t common_divisor(uint64_t a, uint64_t b) {
    while (b != 0) {
        uint64_t rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

static void keep(spw_grid *grid, uint64_t ticks) {
    enum { SLOTS = sizeof grid->slot / sizeof grid->slot[0] };
    uint64_t at = (ticks * UINT64_C(0x9e3779b97f4a7c15)) >> 32;
    while (grid->slot[at % SLOTS] != 0) {
        if (grid->different[grid->slot[at % SLOTS] - 1] == ticks)
            return;
        at++;
    }
    grid->different[grid->n++] = ticks;
    grid->slot[at % SLOTS] = (uint16_t)grid->n;
}

void spw_grid_take(spw_grid *grid, double from_s, double to_s) {
    double ticks = fabs(round(to_s / grid->tick_s) - round(from_s / grid->tick_s));
    if (!(ticks >= 1) || ticks > grid->pause)
        return;
    uint64_t whole = (uint64_t)ticks;
    grid->intervals++;
    if (grid->common == 0 || whole % grid->common != 0)
        grid->common = common_divisor(whole, grid->common);
    if (grid->n < SPW_GRID_KEPT)
        keep(grid, whole);
}

static bool whole_ticks(double step) {
    return fabs(step - round(step)) < 1e-7 * step;
}

static bool within(double ticks, double step, double off) {
    return fabs(ticks - step * round(ticks / step)) < off;
}

/* --- grids that are no whole number of ticks --- */

/* All in ticks of the file; `tick` is what its instants are rounded to. */
typedef struct search {
    const spw_grid *grid;
    double tick;
    double best; /* 0: none */
} search;

/* Intervals that differ by more than their rounding does. */
static uint32_t well_apart(const search *s) {
    uint32_t n = 0;
    for (uint32_t i = 0; i < s->grid->n; i++) {
        uint32_t j = 0;
        while (j < i && fabs((double)s->grid->different[i] - (double)s->grid->different[j]) >
                            2 * OFF_TICKS * s->tick)
            j++;
        n += j == i;
    }
    return n;
}

/* How far rounding puts intervals off a grid, and the share of whole numbers of ticks that
 * lie so near to it. Instants on a grid of p/q ticks have q different fractions, and are no
 * further apart than (q - 1)/q when rounded; for even q there are halves among them, which
 * round as they please. */
typedef struct nearness {
    double off, share;
} nearness;

static nearness nearness_of(double ticks) {
    enum { SIMPLE = 5 };
    for (int q = 1; q <= SIMPLE; q++) {
        if (!whole_ticks(q * ticks))
            continue;
        bool odd = q == 3 || q == 5;
        int residues = odd ? 2 * q - 1 : 2 * q + 1;
        /* a little more, for periods that were rounded: it admits no other residue */
        return (nearness){odd ? (q - 1.0) / q + 0.15 : OFF_TICKS, residues / (q * ticks)};
    }
    return (nearness){OFF_TICKS, 2 / ticks};
}

/* Chance that so many different intervals all lie within the rounding of a grid. One in
 * two follows from others (a frame is a pulse and a gap); of a wide grid, rounding makes
 * two of one. */
static double chance(const search *s, double step) {
    double ticks = step / s->tick;
    double telling = ticks < 8 ? s->grid->n : fmax(well_apart(s), s->grid->n / 2.0);
    return pow(fmin(nearness_of(ticks).share, 1), telling / 2);
}

static bool all_fit(const search *s, double step) {
    nearness near = nearness_of(step / s->tick);
    for (uint32_t i = 0; i < s->grid->n; i++)
        if (!within((double)s->grid->different[i], step, near.off * s->tick))
            return false;
    return near.share < TELLING_SHARE;
}

static void try_step(search *s, double step_s) {
    double step = step_s / s->grid->tick_s;
    if (step > s->best && step > LEAST_TICKS * s->tick && step_s <= SPW_GRID_MAX_S &&
        all_fit(s, step))
        s->best = step;
}

/* A period as programs write it that round it before they count with it. */
static void try_rounded(search *s, double step_s) {
    if (step_s < 0.9 * fmax(s->best, LEAST_TICKS * s->tick) * s->grid->tick_s)
        return;
    try_step(s, step_s);
    for (int digits = 3; digits <= 5; digits++) {
        double place = pow(10, floor(log10(step_s)) + 1 - digits);
        try_step(s, round(step_s / place) * place);
    }
}

/* Rates of up to three digits, and whole divisions of the clocks that processors have
 * (common practice): the coarsest grid that fits, or a plain rate where that is as coarse. */
static double try_all(search *s) {
    static const double clock_hz[] = {64e6,  72e6,  100e6, 125e6,    160e6,
                                      168e6, 240e6, 250e6, 400e6 / 3};
    static const double decade_hz[] = {1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9};
    enum { DECADES = sizeof decade_hz / sizeof decade_hz[0] };
    for (size_t d = 0; d < DECADES; d++)
        for (int rate = 10; rate < 100; rate++)
            try_step(s, 0.1 / (rate * decade_hz[d]));
    double plain = s->best, all_hz = 0;
    for (size_t d = 0; d < DECADES; d++)
        for (int rate = 100; rate < 1000; rate++)
            try_rounded(s, 1 / (rate * decade_hz[d]));
    for (size_t c = 0; c < sizeof clock_hz / sizeof clock_hz[0]; c++) {
        all_hz += clock_hz[c];
        for (int by = 1; by <= SPW_GRID_MAX_S * clock_hz[c]; by++)
            try_step(s, by / clock_hz[c]);
    }
    if (plain > 0.9 * s->best)
        s->best = plain;
    /* Steps tried up to twice the best, of both kinds; coarser ones fit by chance less often,
     * and count as much together. */
    double tries = 2 * (4 * 500 + s->best * s->grid->tick_s * all_hz);
    return s->best > 0 && tries * chance(s, s->best) < CHANCE ? s->best : 0;
}

/* Files round to decimal places. */
static bool power_of_ten(uint64_t n) {
    while (n % 10 == 0)
        n /= 10;
    return n == 1;
}

double spw_grid_rounded_s(double step_s, double tick_s) {
    if (step_s <= tick_s)
        return tick_s;
    bool fine = step_s >= 8 * tick_s; /* the rounding adds less than a hundredth */
    return fine || whole_ticks(step_s / tick_s) ? step_s : hypot(step_s, tick_s);
}

spw_grid_answer spw_grid_find(const spw_grid *grid) {
    const spw_grid_answer none = {SPW_GRID_NONE, NAN, grid->tick_s};
    if (grid->common == 0)
        return none;
    double common_s = (double)grid->common * grid->tick_s;
    if (common_s > SPW_GRID_MAX_S * (1 + 1e-9))
        return grid->tick_s < SPW_GRID_MAX_S
                   ? (spw_grid_answer){SPW_GRID_COARSE, common_s, SPW_GRID_MAX_S}
                   : none;
    search s = {.grid = grid, .tick = (double)grid->common};
    double step_s = power_of_ten(grid->common) ? try_all(&s) * grid->tick_s : 0;
    if (step_s > 0)
        return (spw_grid_answer){SPW_GRID_FOUND, step_s, spw_grid_rounded_s(step_s, common_s)};
    if (grid->common == 1)
        return none;
    spw_grid_kind kind = grid->n >= TELLING ? SPW_GRID_FOUND : SPW_GRID_FEW;
    return (spw_grid_answer){kind, common_s, common_s};
}

bool spw_grid_fits(const spw_grid *grid, double step_s, double tick_s, double from_s, double to_s) {
    double ticks = fabs(round(to_s / grid->tick_s) - round(from_s / grid->tick_s));
    return ticks > grid->pause || step_s < LEAST_TICKS * tick_s ||
           within(ticks, step_s / grid->tick_s, OFF_TICKS * tick_s / grid->tick_s);
}
