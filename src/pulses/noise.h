/* The noise of a width series that also has steps, ramps and outliers. */
#ifndef SPW_NOISE_H
#define SPW_NOISE_H

#include "spanwright/stats.h"

typedef struct spw_noise {
    double sd_us; /* of one width about its neighbours' level, floor_us at least */
    double
        mean_sd_us; /* times 1/sqrt(m): sd of the mean of m neighbours, which may be correlated */
} spw_noise;
spw_status spw_noise_estimate(const double *widths, size_t n, double floor_us,
                              spw_noise *noise) SPW_CHECKED;
/* The same from a known sd and a first-order correlation seen in n values. */
spw_noise spw_noise_of(double sd_us, double phi, double n);
/* The median of the `about` (odd, SPW_ABOUT_MOST at most) values about each (fewer at the ends,
 * and without what is no number; NAN where all are none). A step stays where it is; up to
 * (about - 1)/2 odd values in a row vanish. */
#define SPW_ABOUT_MOST 11
void spw_local_medians(const double *values, size_t n, size_t about, double *median);

#endif
