/* Levels that toggle.
 *
 * A command between two steps of the controller makes widths that toggle between
 * them, at one level and not at another: too quiet within each run for the
 * regime's noise, and cut to bits. */
#include "pulses/holds/holds.h"

#include <math.h>

enum { LOOK_AHEAD = 24 };
/* Largest ratio of variance to spw_successive(): 1 + 3 sd of it in n values (1/sqrt n),
 * and less than the 2 (n - 1)/n of a quiet hold with one frame of a ramp behind it. */
static const double WHITE_SD = 3, WHITE_MOST = 1.7;

typedef struct region {
    spw_moments all;
    double differences, within; /* sums of squares: successive, and within pieces */
} region;

/* The width, but for odd ones: nothing toggles so far. */
static double value(const spw_hold_finder *f, size_t i) {
    bool far = fabs(f->width[i] - f->clean[i]) > SPW_ODD_NEAR_US && spw_is_odd(f, i);
    return far ? f->clean[i] : f->width[i];
}

static void moments_add(spw_moments *m, double v) {
    m->n += 1;
    double d = v - m->mean;
    m->mean += d / m->n;
    m->squares += d * (v - m->mean);
}

static void region_add(region *r, const spw_hold_finder *f, const spw_piece *p) {
    spw_moments own = {0};
    for (size_t i = p->first; i < p->end; i++) {
        double v = value(f, i);
        if (r->all.n > 0)
            r->differences += pow(v - value(f, i - 1), 2);
        moments_add(&r->all, v);
        moments_add(&own, v);
    }
    r->within += own.squares;
}

static bool toggles(const region *r) {
    if (r->all.n < SPW_HOLD_FRAMES)
        return false;
    double variance = r->all.squares / (r->all.n - 1);
    double white = fmin(WHITE_MOST, 1 + WHITE_SD / sqrt(r->all.n));
    return variance <= white * 0.5 * r->differences / (r->all.n - 1) &&
           r->within * 9 < r->all.squares;
}

void spw_pieces_join_toggling(const spw_hold_finder *f, spw_piece *list, size_t n) {
    for (size_t i = 0; i < n; i++) {
        region r = {0};
        size_t best = i;
        for (size_t k = i; k < n && list[k].first <= list[best].end + LOOK_AHEAD; k++) {
            region_add(&r, f, &list[k]);
            if (k > i && toggles(&r))
                best = k;
        }
        for (size_t k = i + 1; k <= best; k++)
            list[k].dead = true;
        list[i].end = list[best].end;
        for (size_t k = list[i].first; best > i && k < list[i].end; k++)
            f->clean[k] = value(f, k); /* what toggles is no outlier */
        i = best;
    }
}
