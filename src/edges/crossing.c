#include "edges/crossing.h"

#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdlib.h>

#define LEVEL_S 200e-6 /* means of this length give the local levels */
#define GUARD_S 60e-6  /* this far from the transition */
#define PLATEAU_S 100e-6
#define KAISER_BETA 8.0 /* side lobes below -80 dB */
enum { HALF_TAPS = 24, TAPS = 2 * HALF_TAPS, PHASES = 256 };

spw_status spw_crossing_new(double rate_hz, spw_crossing *crossing) {
    size_t reach = spw_trace_samples(rate_hz, 2 * GUARD_S + LEVEL_S, 8) + TAPS;
    *crossing = (spw_crossing){.room = 2 * reach + 4};
    crossing->kernel = malloc((PHASES + 1) * TAPS * sizeof *crossing->kernel);
    crossing->z = malloc(crossing->room * sizeof *crossing->z);
    if (crossing->kernel == NULL || crossing->z == NULL) {
        spw_crossing_free(crossing);
        return SPW_ERR_MEMORY;
    }
    for (int p = 0; p <= PHASES / 2; p++) {
        double *row = crossing->kernel + p * TAPS, sum = 0;
        double *other = crossing->kernel + (PHASES - p) * TAPS + TAPS - 1; /* its mirror image */
        for (int i = 0; i < TAPS; i++) {
            double x = i - (HALF_TAPS - 1) - (double)p / PHASES, r = x / HALF_TAPS;
            double sinc = fabs(x) < 1e-12 ? 1 : sin(M_PI * x) / (M_PI * x);
            row[i] = fabs(r) < 1 ? sinc * gsl_sf_bessel_I0(KAISER_BETA * sqrt(1 - r * r)) : 0;
            sum += row[i];
        }
        for (int i = 0; i < TAPS; i++)
            row[i] /= sum;
        for (int i = 0; i < TAPS; i++)
            other[-i] = row[i];
    }
    return SPW_OK;
}

void spw_crossing_free(spw_crossing *crossing) {
    free(crossing->kernel);
    free(crossing->z);
    *crossing = (spw_crossing){0};
}

/* The band-limited value at z[0] + f samples, 0 <= f <= 1. */
static double value_at(const spw_crossing *crossing, const double *z, double f) {
    double phase = f * PHASES;
    int p = phase < PHASES ? (int)phase : PHASES - 1;
    const double *row = crossing->kernel + p * TAPS, *next = row + TAPS;
    double a = 0, b = 0;
    z -= HALF_TAPS - 1;
    for (int i = 0; i < TAPS; i++) {
        a += row[i] * z[i];
        b += next[i] * z[i];
    }
    return a + (b - a) * (phase - p);
}

/* Mean of values over the part of [from, to] that is there; how many in *used. */
static double level(const double *z, const uint8_t *flag, ptrdiff_t from, ptrdiff_t to,
                    size_t *used) {
    double sum = 0;
    *used = 0;
    for (ptrdiff_t i = from; i < to; i++) {
        if ((flag[i] & SPW_SAMPLE_MISSING) == 0) {
            sum += z[i];
            ++*used;
        }
    }
    return sum / (double)*used;
}

typedef struct span {
    ptrdiff_t from, to;
} span;

/* Where the level before (side -1) or after (+1) the mark is to be taken. A short
 * plateau keeps its guards as long as some of it is left, then they shrink. */
static span plateau(const spw_trace *trace, double at, double other, int side, bool *whole) {
    double guard = GUARD_S * trace->rate_hz, length = fmax(LEVEL_S * trace->rate_hz, 2);
    double room = fabs(other - at);
    *whole = room >= PLATEAU_S * trace->rate_hz;
    guard = fmin(fmax(guard, 1), 0.35 * room);
    length = fmin(length, room - 2 * guard);
    double a = at + side * guard, b = at + side * (guard + length);
    double low = fmax(ceil(fmin(a, b)), 0), high = fmin(floor(fmax(a, b)), (double)trace->n - 1);
    return (span){(ptrdiff_t)low, (ptrdiff_t)high + 1};
}

static void describe(const double *z, ptrdiff_t n, double cross, double before, double after,
                     spw_local *local) {
    double step = after - before;
    local->between = local->ringing = 0;
    for (ptrdiff_t i = (ptrdiff_t)cross - 8; i <= (ptrdiff_t)cross + 8; i++) {
        if (i < 0 || i >= n)
            continue;
        double share = (z[i] - before) / step, away = (double)i - cross;
        local->between += share > 0.1 && share < 0.9;
        double beyond = away > 0 ? share - 1 : share;
        if (fabs(away) > 1.5 && fabs(away) < 5.5)
            local->ringing += beyond * beyond;
    }
}

bool spw_crossing_time(const spw_crossing *crossing, const spw_trace *trace,
                       const spw_smooth *smooth, spw_mark *marks, size_t n, size_t k, double noise,
                       bool interpolate, spw_local *local) {
    spw_mark *mark = &marks[k];
    size_t half = crossing->room / 2 - 2;
    double reach = (double)half;
    double low = fmax(floor(mark->at - reach), 0);
    double high = fmin(ceil(mark->at + reach), (double)trace->n);
    double left = k > 0 ? marks[k - 1].at : -1e300, right = k + 1 < n ? marks[k + 1].at : 1e300;
    bool whole[2];
    span b = plateau(trace, mark->at, fmax(left, -0.5), -1, &whole[0]);
    span a = plateau(trace, mark->at, fmin(right, (double)trace->n - 0.5), 1, &whole[1]);
    ptrdiff_t first = (ptrdiff_t)low, count = (ptrdiff_t)high - first;
    if (count < 4 || b.from < first || a.to > first + count || b.to <= b.from || a.to <= a.from)
        return false;
    double *z = crossing->z;
    spw_trace_smooth(trace, smooth, (size_t)first, (size_t)count, z);
    const uint8_t *flag = trace->flag + first;
    size_t n_before, n_after;
    double before = level(z, flag, b.from - first, b.to - first, &n_before);
    double after = level(z, flag, a.from - first, a.to - first, &n_after);
    double middle = (before + after) / 2, sign = (double)mark->sign;
    if (n_before == 0 || n_after == 0 || !((after - before) * sign > 0))
        return false;
    /* the pair of samples around the crossing, nearest to the coarse place */
    ptrdiff_t centre = (ptrdiff_t)floor(mark->at) - first, found = -1;
    for (ptrdiff_t d = 0; d <= (b.to < a.from ? a.from - b.to : 2) + 2 && found < 0; d++) {
        for (int side = -1; side <= 1 && found < 0; side += 2) {
            ptrdiff_t i = centre + side * d;
            if (i >= 0 && i + 1 < count && (z[i] - middle) * sign < 0 &&
                (z[i + 1] - middle) * sign >= 0)
                found = i;
        }
    }
    if (found < 0)
        return false;
    double y0 = z[found], y1 = z[found + 1], f = (middle - y0) / (y1 - y0), slope = y1 - y0;
    bool room = found >= HALF_TAPS - 1 && found + HALF_TAPS < count;
    if (interpolate && room) {
        double f0 = 0, v0 = y0 - middle, f1 = 1, v1 = y1 - middle;
        for (int step = 0; step < 6; step++) { /* false position, Illinois variant */
            double v = value_at(crossing, z + found, f) - middle;
            if (v * v1 < 0) {
                f0 = f1;
                v0 = v1;
            } else {
                v0 /= 2;
            }
            f1 = f;
            v1 = v;
            if (v == 0 || v1 == v0)
                break;
            f = f1 - v1 * (f1 - f0) / (v1 - v0);
        }
        double h = 0.02, at = fmin(fmax(f, h), 1 - h);
        slope = (value_at(crossing, z + found, at + h) - value_at(crossing, z + found, at - h)) /
                (2 * h);
    }
    mark->at = (double)(first + found) + fmin(fmax(f, 0), 1);
    mark->step = fabs(after - before);
    double levels = 0.25 / (double)n_before + 0.25 / (double)n_after;
    mark->u = fabs(slope) > 0 ? noise * sqrt(1 + levels) / fabs(slope) : 0;
    mark->flags &= ~(SPW_EDGE_CLIPPED | SPW_EDGE_DOUBTFUL);
    for (ptrdiff_t i = found - 3; i <= found + 4; i++)
        if (i >= 0 && i < count && (flag[i] & SPW_SAMPLE_CLIPPED) != 0)
            mark->flags |= SPW_EDGE_CLIPPED;
    if (!whole[0] || !whole[1])
        mark->flags |= SPW_EDGE_DOUBTFUL;
    if (local != NULL) {
        size_t used;
        describe(z, count, mark->at - (double)first, before, after, local);
        local->low = sign > 0 ? before : after;
        local->high = sign > 0 ? after : before;
        local->plateaus = whole[0] && whole[1];
        double sum[2] = {0, 0};
        span s[2] = {b, a};
        for (int side = 0; side < 2; side++) {
            used = 0;
            for (ptrdiff_t i = s[side].from; i < s[side].to; i++, used++)
                sum[side] += (double)trace->y[i];
            sum[side] /= (double)used;
        }
        local->raw_low = sign > 0 ? sum[0] : sum[1];
        local->raw_high = sign > 0 ? sum[1] : sum[0];
    }
    return true;
}
