/* Levels that wander.
 *
 * A level that moves by itself (supply, warm-up, a filter, a hand on the stick) is cut to
 * levels and short moves as a staircase is. Which of the two it is, the widths tell: a
 * staircase is quiet and then steps; what wanders is foretold best by following it. Both
 * are taken as models of the same widths, and that counts which explains them at less
 * cost: n ln(variance of what it does not foretell), and what each of its parts costs. */
#include "pulses/holds/holds.h"

#include <math.h>
#include <stdlib.h>

/* Farther is no wandering but a command, us; and in sd of the noise. */
static const double FARTHEST_US = 40, FARTHEST_SD = 4;
/* Neighbours farther apart, in sd of the noise, are a step. */
static const double STEP_SD = 15;
/* Shorter pieces are those of a fast move, in frames. */
static const double SHORTEST = 3;
/* Cost of a part, in ln n: more than a change point costs, for change points chose the parts;
 * no more where they tell a plain story, one straight move with levels beside it. */
static const double PART_COST = 5, PLAIN_COST = 3;
/* A hold's noise may be correlated up to this; more is movement. */
static const double MOST_CORRELATED = 0.65;

static size_t next_live(const spw_piece *list, size_t n, size_t at) {
    while (at < n && list[at].dead)
        at++;
    return at;
}

/* From piece i on, those of its move; its own number where it is in none. *sums are theirs. */
static size_t part_end(const spw_piece *list, size_t n, size_t i, spw_sums *sums) {
    size_t last = i;
    *sums = list[i].sums;
    for (size_t k = next_live(list, n, i + 1);
         k < n && list[i].move > 0 && list[k].move == list[i].move; k = next_live(list, n, k + 1)) {
        *sums = spw_sums_join(sums, &list[k].sums);
        last = k;
    }
    return last;
}

typedef struct group {
    size_t first, last; /* pieces */
    size_t parts;       /* levels and moves */
    size_t moves;
} group;

static size_t live_before(const spw_piece *list, size_t at) {
    while (at > 0 && list[at - 1].dead)
        at--;
    return at > 0 ? at - 1 : SIZE_MAX;
}

static double step_to(const spw_piece *list, size_t from, size_t to) {
    return list[to].sums.v - list[from].sums.v;
}

/* Does piece i go on with a climb (or fall) that pieces before it began? */
static bool amid_a_climb(const spw_hold_finder *f, const spw_piece *list, size_t n, size_t i) {
    size_t a = live_before(list, i), b = next_live(list, n, i + 1);
    size_t c = a != SIZE_MAX ? live_before(list, a) : SIZE_MAX;
    if (c == SIZE_MAX || b >= n || list[a].move > 0 || list[a].wanders)
        return false;
    double here = step_to(list, a, i), most = STEP_SD * f->noise.mean_sd_us;
    return fabs(here) <= most && here * step_to(list, c, a) > 0 && here * step_to(list, i, b) > 0;
}

/* Takes off the pieces at the group's end that climb (or fall) towards what ended it. */
static void step_back(const spw_piece *list, group *g, double onward) {
    while (g->last > g->first && g->last != SIZE_MAX) {
        size_t before = live_before(list, g->last);
        if (before == SIZE_MAX || before < g->first || step_to(list, before, g->last) * onward <= 0)
            return;
        g->last = before;
    }
}

static void count_parts(const spw_piece *list, size_t n, group *g) {
    spw_sums sums;
    for (size_t k = g->first; k <= g->last; k = next_live(list, n, k + 1)) {
        g->parts++;
        g->moves += list[k].move > 0;
        k = part_end(list, n, k, &sums);
    }
}

/* The parts from piece i on that one wandering level may have made. */
static group gather(const spw_hold_finder *f, const spw_piece *list, size_t n, size_t i) {
    double farthest = FARTHEST_US + FARTHEST_SD * f->noise.mean_sd_us;
    double low = INFINITY, high = -INFINITY, before = NAN;
    group g = {.first = i, .last = i};
    for (size_t k = i; k < n; k = next_live(list, n, k + 1)) {
        spw_sums sums;
        size_t last = part_end(list, n, k, &sums);
        bool step = fabs(list[k].sums.v - before) > STEP_SD * f->noise.mean_sd_us;
        if (step || list[k].sums.n < SHORTEST)
            break;
        for (size_t p = k; p <= last; p++)
            if (!list[p].dead) {
                low = fmin(low, list[p].sums.v);
                high = fmax(high, list[p].sums.v);
            }
        if (high - low > farthest) {
            if (k > i && list[k].move == 0)
                step_back(list, &g, step_to(list, g.last, k));
            break;
        }
        g.last = last;
        before = list[last].sums.v;
        k = last;
    }
    count_parts(list, n, &g);
    return g;
}

/* Least variance that a model may claim: of the recording. */
static double floor_variance(const spw_hold_finder *f) {
    double step = f->recording.resolution_us;
    return step * step / 12 + 1e-8;
}

static double cost_of(const spw_hold_finder *f, double squares, double n) {
    return n * log(squares / n + floor_variance(f));
}

/* The group as levels and moves with noise of first order about them. */
static double cost_of_parts(const spw_hold_finder *f, const spw_piece *list, size_t n,
                            const group *g) {
    double squares = 0, products = 0, behind = 0, before = 0, count = 0;
    for (size_t k = g->first; k <= g->last; k = next_live(list, n, k + 1)) {
        spw_sums sums;
        size_t last = part_end(list, n, k, &sums);
        double slope = list[k].move > 0 && sums.tt > 0 ? sums.tv / sums.tt : 0;
        for (size_t i = list[k].first; i < list[last].end; i++) {
            double rest = f->clean[i] - sums.v - slope * (f->lead_s[i] - sums.t);
            squares += rest * rest;
            products += rest * before;
            behind += before * before;
            before = rest;
            count += 1;
        }
        k = last;
    }
    double phi = behind > 0 ? fmax(0, fmin(MOST_CORRELATED, products / behind)) : 0;
    double innovations = squares - 2 * phi * products + phi * phi * behind;
    bool plain = g->parts <= 3 && g->moves == 1;
    double parts = (double)g->parts + 0.5 * (double)g->moves;
    return cost_of(f, innovations, count) + (plain ? PLAIN_COST : PART_COST) * log(count) * parts;
}

/* The same widths as a level that is followed: each foretold by the exponential mean of
 * those before it, which is best for a walk under noise (Muth 1960). */
static double cost_of_following(const spw_hold_finder *f, size_t from, size_t to) {
    static const double gains[] = {0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 0.9, 1};
    double least = INFINITY, n = (double)(to - from);
    for (size_t k = 0; k < sizeof gains / sizeof gains[0]; k++) {
        double level = f->clean[from], squares = 0;
        for (size_t i = from + 1; i < to; i++) {
            double off = f->clean[i] - level;
            squares += off * off;
            level += gains[k] * off;
        }
        least = fmin(least, squares);
    }
    return cost_of(f, least, n) + 3 * log(n);
}

/* And as one level under noise of first order, however slow. */
static double cost_of_one(const spw_hold_finder *f, size_t from, size_t to) {
    spw_moments all = spw_moments_of(f->clean, from, to);
    double products = 0, behind = 0;
    for (size_t i = from; i + 1 < to; i++) {
        double now = f->clean[i] - all.mean;
        products += now * (f->clean[i + 1] - all.mean);
        behind += now * now;
    }
    double phi = behind > 0 ? fmax(0, fmin(1, products / behind)) : 0;
    double innovations = all.squares - 2 * phi * products + phi * phi * behind;
    return cost_of(f, innovations, all.n) + 3 * log(all.n);
}

static void join(spw_piece *list, size_t n, const group *g) {
    spw_piece *all = &list[g->first];
    for (size_t k = next_live(list, n, g->first + 1); k <= g->last; k = next_live(list, n, k + 1)) {
        all->sums = spw_sums_join(&all->sums, &list[k].sums);
        list[k].dead = true;
    }
    all->end = list[g->last].end;
    all->move = 0;
    all->wanders = true;
}

void spw_pieces_join_wandering(const spw_hold_finder *f, spw_piece *list, size_t n) {
    for (size_t i = next_live(list, n, 0); i < n;) {
        if (amid_a_climb(f, list, n, i)) {
            i = next_live(list, n, i + 1);
            continue;
        }
        group g = gather(f, list, n, i);
        size_t from = list[g.first].first, to = list[g.last].end;
        if (g.parts > 1 && to - from >= SPW_HOLD_FRAMES &&
            fmin(cost_of_following(f, from, to), cost_of_one(f, from, to)) <
                cost_of_parts(f, list, n, &g))
            join(list, n, &g);
        i = next_live(list, n, g.last + 1);
    }
}
