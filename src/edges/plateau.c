/* On a plateau nothing drives the line, so the coupling alone shapes it: with
 * y + p I + q II + r III constant (trace.h). Integrals run through the transitions, over
 * segments of a few plateaus; each plateau has its own constant and each segment
 * its own slope, which takes up an offset of the recorder and how the segment
 * began. What is left is linear in p, q, r and the lines of the hum. */
#include "edges/plateau.h"

#include "edges/bins.h"
#include "edges/hum.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GUARD_S 250e-6 /* the transition's ringing */
#define BIN_S 250e-6
#define FOLLOWING_BIN_S 1e-3 /* of hum whose frequency is known: a quarter of the rows */
#define CERTAIN 5.0          /* standard errors for a term to be believed */
#define CORNER_LOW 0.05      /* of the coupling, radians a second */
#define CORNER_HIGH 3000.0

static bool believed(const spw_fitted *f, size_t column) {
    return f->value[column] < 0 && -f->value[column] > CERTAIN * f->error[column];
}

/* Real corners: q <= p^2 / 4 and for three q <= p^2 / 3, r <= q^2 / (3 p), with room for the
 * noise. */
static bool two_corners(const spw_fitted *f) {
    double p = -f->value[SPW_COL_I], q = -f->value[SPW_COL_II];
    return believed(f, SPW_COL_I) && believed(f, SPW_COL_II) && q < 0.3 * p * p;
}

static bool three_corners(const spw_fitted *f) {
    double p = -f->value[SPW_COL_I], q = -f->value[SPW_COL_II], r = -f->value[SPW_COL_III];
    return believed(f, SPW_COL_I) && believed(f, SPW_COL_II) && believed(f, SPW_COL_III) &&
           q < 0.4 * p * p && r < 0.4 * q * q / p;
}

/* Least squares on the given columns, those of the hum first. */
static bool solve_with(const spw_bins *b, bool hum, const size_t *column, size_t n, spw_fitted *f) {
    size_t use[SPW_COLUMNS], m = 0;
    for (size_t c = 0; hum && c < SPW_HUM_COLUMNS; c++)
        use[m++] = SPW_COL_HUM + c;
    for (size_t c = 0; c < n; c++)
        use[m++] = column[c];
    return spw_bins_solve(b, use, m, f);
}

static void fill(spw_bins *b, const spw_smooth *smooth, bool bows) {
    b->bows = bows;
    spw_bins_fill(b, smooth->hum, spw_hum_lines, smooth->hum > 0 ? SPW_HUM_LINES : 0, NULL);
}

/* p, q and r, and the amplitudes of the hum beside them. */
static void choose_droop(spw_bins *b, double rate_hz, spw_smooth *smooth) {
    static const size_t three[] = {SPW_COL_I, SPW_COL_II, SPW_COL_III, SPW_COL_TTT};
    static const size_t two[] = {SPW_COL_I, SPW_COL_II, SPW_COL_TT};
    bool hum = smooth->hum > 0;
    spw_fitted f;
    smooth->p = smooth->q = smooth->r = smooth->offset = 0;
    fill(b, smooth, true);
    if (solve_with(b, hum, three, 4, &f) && three_corners(&f)) {
        smooth->p = -f.value[SPW_COL_I];
        smooth->q = -f.value[SPW_COL_II];
        smooth->r = -f.value[SPW_COL_III];
        smooth->offset = f.value[SPW_COL_TTT] / smooth->r;
    } else {
        fill(b, smooth, false);
        if (solve_with(b, hum, two, 3, &f) && two_corners(&f)) {
            smooth->p = -f.value[SPW_COL_I];
            smooth->q = -f.value[SPW_COL_II];
            smooth->offset = f.value[SPW_COL_TT] / smooth->q;
        } else if (solve_with(b, hum, two, 1, &f) && believed(&f, SPW_COL_I) &&
                   -f.value[SPW_COL_I] * rate_hz > CORNER_LOW &&
                   -f.value[SPW_COL_I] * rate_hz < CORNER_HIGH) {
            smooth->p = -f.value[SPW_COL_I];
        }
    }
    for (size_t k = 0; hum && k < SPW_HUM_LINES; k++) {
        smooth->re[k] = f.value[SPW_COL_HUM + 2 * k];
        smooth->im[k] = f.value[SPW_COL_HUM + 2 * k + 1];
    }
}

/* The coupling that is known, taken out of y. */
static void undo_droop(spw_bins *b, const spw_smooth *s) {
    for (size_t i = 0; i < b->n; i++) {
        double *v = b->bin[i].value;
        v[SPW_COL_Y] += s->p * v[SPW_COL_I] + s->q * (v[SPW_COL_II] - s->offset * v[SPW_COL_TT]) +
                        s->r * (v[SPW_COL_III] - s->offset * v[SPW_COL_TTT]);
    }
}

spw_status spw_plateau_fit(const spw_trace *trace, const spw_mark *marks, size_t n,
                           const spw_plateau_signal *signal, bool droop, spw_smooth *smooth) {
    spw_bins bins;
    double known = smooth->hum;
    smooth->hum = 0;
    if (droop)
        smooth->p = smooth->q = smooth->r = 0;
    bool following = known > 0 && !droop;
    spw_status status = spw_bins_make(trace, marks, n, following ? FOLLOWING_BIN_S : BIN_S,
                                      following && smooth->q == 0, &bins);
    if (status != SPW_OK)
        return status;
    if (bins.n >= 24) {
        if (!droop)
            undo_droop(&bins, smooth);
        bins.bows = droop || smooth->r > 0;
        status = spw_hum_fit(trace, marks, n, &bins, signal, known, droop, smooth);
        if (status == SPW_OK && droop)
            choose_droop(&bins, trace->rate_hz, smooth);
    }
    spw_bins_free(&bins);
    return status;
}

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Mean square of second differences, a sixth of it, over samples that keep `guard`
 * to the transitions, plateau by plateau; the median, or NAN with fewer than `least`. */
static double noise_with(const spw_trace *trace, const spw_mark *marks, size_t n, size_t guard,
                         size_t least) {
    enum { MOST = 2048, LONG = 1024, SHORT = 12 };
    double square[MOST];
    size_t count = 0;
    for (size_t k = 0; k <= n && count < MOST; k++) {
        size_t from = k > 0 ? (size_t)fmax(marks[k - 1].at, 0) + guard : 0;
        size_t to = k < n ? (size_t)fmax(marks[k].at - (double)guard, 0) : trace->n, used = 0;
        double sum = 0;
        to = to > from + LONG ? from + LONG : to;
        for (size_t i = from + 2; i < to; i++) {
            if ((trace->flag[i] | trace->flag[i - 1] | trace->flag[i - 2]) != 0)
                continue;
            double d = (double)trace->y[i] - 2 * (double)trace->y[i - 1] + (double)trace->y[i - 2];
            sum += d * d;
            used++;
        }
        if (used >= SHORT)
            square[count++] = sum / (6 * (double)used);
    }
    if (count < least)
        return (double)NAN;
    qsort(square, count, sizeof *square, rising);
    return sqrt(square[count / 2]);
}

double spw_plateau_noise(const spw_trace *trace, const spw_mark *marks, size_t n) {
    /* where the converter's ringing has died away, as far as there is such a place */
    static const size_t guards[] = {64, 48, 36, 24, 12, 4};
    double noise = (double)NAN;
    for (size_t i = 0; i < sizeof guards / sizeof guards[0] && isnan(noise); i++)
        noise = noise_with(trace, marks, n,
                           spw_trace_samples(trace->rate_hz, i < 4 ? GUARD_S : 0, guards[i]),
                           i < 3 ? 3 : 1);
    return noise;
}
