/* What is smooth between transitions: droop of the coupling, hum, noise. */
#ifndef SPW_PLATEAU_H
#define SPW_PLATEAU_H

#include "edges/trace.h"

/* White noise a sample, from second differences on the plateaus (their variance is
 * six times the noise's); the median over plateaus, so that clicks do not count.
 * NAN when no plateau is long enough. */
double spw_plateau_noise(const spw_trace *trace, const spw_mark *marks, size_t n);

/* What tells a small effect from none. */
typedef struct spw_plateau_signal {
    double step;    /* height of a transition */
    double noise;   /* rms a sample */
    double quantum; /* step of the converter; 0 unknown */
} spw_plateau_signal;

/* Fits droop (when `droop`; otherwise p, q and r are kept) and hum. Where the
 * data do not show one with certainty it is left at zero. */
spw_status spw_plateau_fit(const spw_trace *trace, const spw_mark *marks, size_t n,
                           const spw_plateau_signal *signal, bool droop,
                           spw_smooth *smooth) SPW_CHECKED;

#endif
