/* What noise alone does to the fit of a transition: the same fit where there is none.
 *
 * Windows as long as those of transitions, in the middle of plateaus, with all smooth parts
 * taken out. Their residuals are what those of transitions are measured by, whatever the
 * noise's colour; and what would pass for a shift of the transition there tells how far
 * noise of this colour moves an instant, against white noise of the same power. */
#ifndef SPW_QUIET_H
#define SPW_QUIET_H

#include "edges/fit.h"

typedef struct spw_quiet {
    double n;        /* windows */
    double variance; /* mean square residual; NAN without windows */
    double straight; /* the same without what goes with a parabola, and ... */
    double unsure;   /* ... the standard deviation of that mean, from the windows' own scatter */
    double gain;     /* variance of an instant for unit noise, the mean over phases */
    double moves;    /* variance over what white noise of `variance` makes, where more; or 1 */
} spw_quiet;

/* reach: samples of a fit on either side; quantum: the recorder's smallest step or 0. `window` is
 * scratch. */
spw_quiet spw_quiet_measure(spw_window *window, const spw_trace *trace, const spw_smooth *smooth,
                            const spw_shape *shape, const spw_mark *marks, size_t n, size_t reach,
                            double quantum);

#endif
