/* Pieces of a width series that are steps of a ramp and no holds. */
#include "pulses/holds/holds.h"

#include <math.h>

/* Slower is a drift. One fiftieth of 1 us a frame at 50 Hz. */
static const double RAMP_US_PER_S = 1;

/* Longer pieces leave the change points no doubt. */
enum { SHORT = 60 };

/* Two levels in a short piece, below the change points' penalty. A single test
 * at a true hold reaches 8 + 2 ln n sd^2 less than once in 100. */
static bool steps_within(const spw_hold_finder *f, const spw_piece *p) {
    spw_moments all = spw_moments_of(f->clean, p->first, p->end);
    double sum = 0, best = 0, step = 0;
    for (size_t i = p->first; i + 1 < p->end; i++) {
        sum += f->clean[i] - all.mean;
        double k = (double)(i + 1 - p->first);
        double gain = sum * sum * all.n / (k * (all.n - k));
        if (gain > best)
            step = fabs(sum) * all.n / (k * (all.n - k));
        best = fmax(best, gain);
    }
    double sd = f->noise.mean_sd_us;
    double own = sqrt(spw_successive(f->width, p->first, p->end));
    if (own > 2 * sd) /* it toggles, and elsewhere they do not */
        sd = own;
    return all.n < SHORT && step > 1.05 * f->recording.resolution_us &&
           best > (8 + 2 * log(all.n)) * sd * sd;
}

static const spw_piece *neighbour(const spw_piece *list, size_t n, size_t at, bool after) {
    for (size_t i = at; after ? i + 1 < n : i > 0;) {
        i = after ? i + 1 : i - 1;
        if (!list[i].dead)
            return &list[i];
    }
    return NULL;
}

/* A slow ramp in steps that the noise nearly hides: the pieces on both sides are no
 * single frames and go on in one direction by little. Pieces may then be two steps
 * in one, or have their ends off by a frame, so that 0.18 s looks like 0.2. */
static const double LITTLE = 15, STAIR_S = 0.3;

static bool on_a_stair(const spw_hold_finder *f, const spw_piece *list, size_t n, size_t at) {
    const spw_piece *p = &list[at];
    const spw_piece *side[] = {neighbour(list, n, at, false), neighbour(list, n, at, true)};
    double here = spw_moments_of(f->clean, p->first, p->end).mean, step[2];
    double length = (double)(p->end - p->first), longest = length;
    for (int i = 0; i < 2; i++) {
        if (side[i] == NULL || side[i]->move > 0)
            return false;
        double other = (double)(side[i]->end - side[i]->first);
        step[i] = spw_moments_of(f->clean, side[i]->first, side[i]->end).mean - here;
        if (other < 3 || 3 * other < length || fabs(step[i]) > LITTLE * f->noise.mean_sd_us)
            return false;
        longest = fmax(longest, other);
    }
    if ((step[0] < 0) == (step[1] < 0))
        return false;
    return longest * f->regime->period_us < STAIR_S * 1e6 || steps_within(f, p);
}

/* Over the piece and as many frames on either side: does one line explain the
 * widths better than the levels of the pieces do? */
bool spw_on_a_ramp(const spw_hold_finder *f, const spw_piece *list, size_t n, size_t at) {
    const spw_piece *p = &list[at];
    spw_slant own = spw_slant_correlated(f, p->first, p->end);
    if (fabs(own.slope) > RAMP_US_PER_S && fabs(own.slope) > 3.5 * own.u_slope &&
        fabs(own.slope) * own.seconds > 2 * f->recording.resolution_us)
        return true;
    if (on_a_stair(f, list, n, at))
        return true;
    size_t length = p->end - p->first;
    size_t from = p->first > length ? p->first - length : 0;
    size_t to = f->picked.n - p->end > length ? p->end + length : f->picked.n;
    const spw_piece *before = neighbour(list, n, at, false), *after = neighbour(list, n, at, true);
    if (before != NULL && before->move > 0) /* told as a move, which ends there */
        from = p->first;
    if (after != NULL && after->move > 0)
        to = p->end;
    if (from == p->first && to == p->end)
        return false;
    double levels = 0;
    size_t start = at; /* the first piece that reaches into the stretch */
    while (start > 0 && (list[start].dead || list[start].first > from))
        start--;
    for (size_t i = start; i < n && (list[i].dead || list[i].first < to); i++) {
        if (list[i].dead || list[i].end <= from)
            continue;
        size_t a = list[i].first > from ? list[i].first : from;
        size_t b = list[i].end < to ? list[i].end : to;
        levels += spw_moments_of(f->clean, a, b).squares;
    }
    spw_slant line = spw_slant_of(f, from, to);
    return fabs(line.slope) > RAMP_US_PER_S && line.squares < levels;
}
