/* Band-limited crossing of the local 50 % level. */
#ifndef SPW_CROSSING_H
#define SPW_CROSSING_H

#include "edges/trace.h"

/* Tables and scratch of the method; plain memory, one a finder. */
typedef struct spw_crossing {
    double *kernel; /* PHASES + 1 rows of TAPS */
    double *z;
    size_t room;
} spw_crossing;
spw_status spw_crossing_new(double rate_hz, spw_crossing *crossing) SPW_CHECKED;
void spw_crossing_free(spw_crossing *crossing);

/* What the neighbourhood of a transition looks like. */
typedef struct spw_local {
    double low, high; /* local levels, droop undone, up to a common offset */
    double raw_low, raw_high;
    double ringing; /* sum of squares beyond 1.5 samples from the crossing, of the step */
    double between; /* samples strictly between 10 % and 90 % */
    bool plateaus;  /* 100 us of plateau on both sides */
} spw_local;

/* Times mark k by the crossing; `interpolate` false: linear between samples (a
 * signal that is no band-limited one). u from the noise alone. False when no
 * crossing is there: the mark is left as it was. `local` may be NULL. */
bool spw_crossing_time(const spw_crossing *crossing, const spw_trace *trace,
                       const spw_smooth *smooth, spw_mark *marks, size_t n, size_t k, double noise,
                       bool interpolate, spw_local *local);

#endif
