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

/* What may change a shape: another RC corner bends it, a curved input bows its levels. */
enum { BEND, BOW, WAYS };
typedef struct ways {
    double x[WAYS][SPW_PROFILE], square[WAYS];
} ways;

static void make_ways(const spw_shape *shape, size_t samples, ways *w) {
    double value[SPW_PROFILE + 2], slope[SPW_PROFILE + 2];
    *w = (ways){0};
    size_t middle = samples / 2 + 1;
    spw_shape_at(shape, (double)middle, 0, samples + 2, value, slope);
    for (size_t i = 0; i < samples; i++) {
        double done = value[i + 1] / shape->height;
        w->x[BEND][i] = (slope[i + 2] - slope[i]) / 2;
        w->x[BOW][i] = shape->height * done * (1 - done);
    }
    for (int k = 0; k < WAYS; k++)
        for (size_t i = 0; i < samples; i++)
            w->square[k] += w->x[k][i] * w->x[k][i];
}

/* A change in one of the ways is seen sooner than one in any: then that is the change. */
static bool changed_in_a_way(const ways *w, const double noise[2], size_t samples, double sure,
                             double height, spw_shape_change *change) {
    double most = 0, share = 0;
    int way = 0;
    size_t which = 0;
    for (size_t d = 0; d < 2; d++)
        for (int k = 0; k < WAYS; k++) {
            double along = 0;
            for (size_t i = 0; i < samples; i++)
                along += w->x[k][i] * change->by[d][i];
            double certain =
                noise[d] > 0 && w->square[k] > 0 ? fabs(along) / sqrt(noise[d] * w->square[k]) : 0;
            if (certain <= most)
                continue;
            most = certain;
            share = along / w->square[k];
            way = k;
            which = d;
        }
    double square = share * share * w->square[way];
    if (most < sure || sqrt(square / (2 * (double)samples)) < MATTERS * height)
        return false;
    change->square = square;
    for (size_t d = 0; d < 2; d++)
        for (size_t i = 0; i < samples; i++)
            change->by[d][i] = d == which ? share * w->x[way][i] : 0;
    return true;
}

bool spw_profile_changed(const spw_profile *here, const spw_profile *usual, size_t samples,
                         double variance, bool coloured, const spw_shape *shape,
                         spw_shape_change *change) {
    double unlike = 0, free_ = 0, noise[2] = {0, 0}, height = shape->height;
    *change = (spw_shape_change){.square = 0};
    if (samples > SPW_PROFILE)
        return false;
    for (size_t d = 0; d < 2; d++) {
        double h = here->weight[d], u = usual->weight[d];
        if (!(h > 0) || !(u > 0))
            continue;
        noise[d] = variance * (1 / h + 1 / u);
        for (size_t i = 0; i < samples; i++) {
            double by = here->sum[d][i] / h - usual->sum[d][i] / u;
            change->by[d][i] = by;
            change->square += by * by;
            unlike += by * by / noise[d];
        }
        free_ += (double)samples - FITTED;
    }
    if (free_ <= 0)
        return false;
    double least = coloured ? COLOURED * free_ : chance_most(free_), count = 2 * (double)samples;
    change->square *= fmax(1 - free_ / unlike, 0);
    if (unlike > least)
        return sqrt(change->square / count) > MATTERS * height;
    ways w;
    make_ways(shape, samples, &w);
    return changed_in_a_way(&w, noise, samples, coloured ? 3 * SURE : SURE, height, change);
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
