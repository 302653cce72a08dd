#include "edges/watch.h"

#include <math.h>

#define FORGET 0.9    /* of earlier stretches, a stretch */
#define EXPLAINED 0.7 /* of a change's squares, when it is taken for what explains it */
#define SURE 6.0      /* standard deviations: asked again every 2 s */
#define COLOURED 8.0  /* times what noise makes on average, where it has few free samples */
/* Of the height, rms a sample: a change of this size moves widths by less than a thousandth
 * of a sample period (found by simulation). */
#define MATTERS 5e-5
enum { FITTED = 3 }; /* instant, offset, slope */

void spw_profile_add(spw_profile *p, const spw_window *w, const spw_mark *mark) {
    size_t d = mark->sign > 0;
    if (w->n > SPW_PROFILE)
        return;
    for (size_t i = 0; i < w->n; i++)
        p->sum[d][i] += mark->scale * w->z[i];
    p->weight[d] += mark->scale * mark->scale;
}

void spw_profile_follow(spw_profile *recent, const spw_profile *here) {
    for (size_t d = 0; d < 2; d++) {
        recent->weight[d] = FORGET * recent->weight[d] + here->weight[d];
        for (size_t i = 0; i < SPW_PROFILE; i++)
            recent->sum[d][i] = FORGET * recent->sum[d][i] + here->sum[d][i];
    }
}

double spw_profile_unlike(const spw_profile *p) {
    double square = 0;
    for (size_t i = 0; i < SPW_PROFILE && p->weight[0] > 0 && p->weight[1] > 0; i++) {
        double by = p->sum[1][i] / p->weight[1] - p->sum[0][i] / p->weight[0];
        square += by * by;
    }
    return square;
}

double spw_change_bound(const spw_shape_change *change, size_t reach, const spw_shape *shape) {
    double value[SPW_PROFILE + 2], slope[SPW_PROFILE + 2], along[2] = {0}, bend2 = 0, told = 0;
    size_t n = 2 * reach + 1;
    if (n > SPW_PROFILE)
        return (double)NAN;
    spw_shape_at(shape, (double)reach + 1, 0, n + 2, value, slope);
    for (size_t i = 0; i < n; i++) {
        double bend = (slope[i + 2] - slope[i]) / 2;
        bend2 += bend * bend;
        for (size_t d = 0; d < 2; d++)
            along[d] += bend * change->by[d][i];
    }
    for (size_t d = 0; d < 2; d++)
        told += along[d] * along[d] / bend2;
    if (!(told > EXPLAINED * change->square))
        return (double)NAN;
    return (1 - M_LN2) * sqrt(2 * fabs(along[1] - along[0]) / bend2);
}

/* What chi-square of n degrees of freedom exceeds as seldom as a normal variable SURE
 * standard deviations (Wilson and Hilferty 1931). */
static double chance_most(double n) {
    double root = 1 - 2 / (9 * n) + SURE * sqrt(2 / (9 * n));
    return n * root * root * root;
}

bool spw_profile_changed(const spw_profile *here, const spw_profile *usual, size_t samples,
                         double variance, bool coloured, double height, spw_shape_change *change) {
    double unlike = 0, free_ = 0, count = 0;
    change->square = 0;
    for (size_t d = 0; d < 2; d++) {
        double h = here->weight[d], u = usual->weight[d];
        bool some = h > 0 && u > 0 && samples <= SPW_PROFILE;
        double noise = some ? variance * (1 / h + 1 / u) : 0;
        for (size_t i = 0; i < SPW_PROFILE; i++) {
            double by = some && i < samples ? here->sum[d][i] / h - usual->sum[d][i] / u : 0;
            change->by[d][i] = by;
            change->square += by * by;
            unlike += some ? by * by / noise : 0;
        }
        free_ += some ? (double)samples - FITTED : 0;
        count += some ? (double)samples : 0;
    }
    if (!(here->weight[0] + here->weight[1] > 0) || count == 0)
        return false;
    double least = coloured ? COLOURED * free_ : chance_most(free_);
    change->square *= fmax(1 - free_ / unlike, 0);
    return unlike > least && sqrt(change->square / count) > MATTERS * height;
}

double spw_change_seen(const spw_shape_change *change, const spw_profile *usual,
                       const spw_window *w, const spw_mark *mark) {
    size_t d = mark->sign > 0;
    double along = 0, square = 0, s = mark->scale;
    for (size_t i = 0; i < w->n && i < SPW_PROFILE; i++) {
        double mean = usual->weight[d] > 0 ? usual->sum[d][i] / usual->weight[d] : 0;
        along += s * change->by[d][i] * (w->z[i] - s * mean);
        square += s * s * change->by[d][i] * change->by[d][i];
    }
    return along - square / 2;
}

void spw_change_place(const double *seen, size_t n, size_t *from, size_t *to) {
    double best = 0, sum = 0;
    size_t start = 0;
    *from = *to = 0;
    for (size_t k = 0; k < n; k++) { /* Kadane's: the stretch of largest sum */
        if (sum <= 0) {
            sum = 0;
            start = k;
        }
        sum += seen[k];
        if (sum > best) {
            best = sum;
            *from = start;
            *to = k + 1;
        }
    }
}
