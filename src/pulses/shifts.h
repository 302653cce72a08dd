/* Where the frames' lattice shifts: frames before and after are even, but not with each
 * other. A controller does that, or a recorder that lost or repeated samples. */
#ifndef SPW_SHIFTS_H
#define SPW_SHIFTS_H

#include "pulses/train.h"

/* Between the lead edges of pulses `before` and `after`, which are not as far apart as frames
 * are; those between, if any, lie on no lattice. */
struct spw_shift {
    uint32_t before, after;
    double period_us;  /* of the frames about it */
    double scatter_us; /* of such an interval */
    double off_us;     /* what the frames after it are late by, within half a period */
    double least_us;   /* the shortest interval in it */
    bool kept;         /* the frames go on as before: a pulse too many, or an early one */
    size_t extra;      /* kept: pulses too many */
};

/* Finds the shifts in picked pulses [first, end), which are of one regime, and adds them to
 * the train's.
 *   interval_us, about_us  of picked i to i + 1, and the usual one about it; NAN at breaks */
spw_status spw_shifts_find(spw_train *train, const spw_picked *picked, const double *interval_us,
                           const double *about_us, size_t first, size_t end) SPW_CHECKED;

#endif
