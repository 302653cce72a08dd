/* What is smooth between transitions: droop of the coupling, hum, noise. */
#ifndef SPW_PLATEAU_H
#define SPW_PLATEAU_H

#include "edges/trace.h"

/* White noise a sample, from second differences on the plateaus (their variance is
 * six times the noise's); the median over plateaus, so that clicks do not count.
 * NAN when no plateau is long enough. */
double spw_plateau_noise(const spw_trace *trace, const spw_mark *marks, size_t n);

/* Fits droop (when `droop`; otherwise smooth->p and q are kept) and hum. Where the
 * data do not show one with certainty it is left at zero.
 *   step   height of a transition, for what is negligible
 *   noise  rms a sample */
spw_status spw_plateau_fit(const spw_trace *trace, const spw_mark *marks, size_t n, double step,
                           double noise, bool droop, spw_smooth *smooth) SPW_CHECKED;

/* Peak of the strongest line as the samples hold it; 0 without hum. */
double spw_hum_amplitude(const spw_smooth *smooth);

#endif
