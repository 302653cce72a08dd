/* What a time step of a dump means in seconds. */
#ifndef SPW_CAPTURE_VCD_SCALE_H
#define SPW_CAPTURE_VCD_SCALE_H

#include "spanwright/capture.h"

/* One step is multiplier / divisor seconds. */
typedef struct spw_vcd_scale {
    uint64_t multiplier;
    double divisor;       /* a power of ten up to 1e15: an exact double */
    uint64_t exact_below; /* steps times multiplier stays an exact double */
    char text[32];        /* "10 ns" */
    bool odd;             /* the number is not 1, 10 or 100 */
} spw_vcd_scale;

/* Reads "10ns" (IEEE Std 1364-2005 18.2.3.6 has 1, 10, 100 and s, ms, us, ns,
 * ps, fs; other whole numbers up to 10^15 are meant the same way).
 * SPW_ERR_FORMAT, *scale untouched, when it is no such thing or 0. */
spw_status spw_vcd_scale_read(const char *text, size_t length, spw_vcd_scale *scale) SPW_CHECKED;
/* The scale of an option, which is not SPW_TIME_AUTO. */
void spw_vcd_scale_option(spw_time_unit unit, spw_vcd_scale *scale);

/* Seconds of so many steps: the nearest double, or within a rounding of the
 * last place beyond 2^53. */
static inline double spw_vcd_seconds(const spw_vcd_scale *scale, uint64_t steps) {
    if (steps < scale->exact_below)
        return (double)(steps * scale->multiplier) / scale->divisor;
    return (double)((long double)steps * (long double)scale->multiplier /
                    (long double)scale->divisor);
}

#endif
