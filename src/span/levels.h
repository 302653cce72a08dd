/* Hold levels: pools of holds that cannot be told apart. */
#ifndef SPW_SPAN_LEVELS_H
#define SPW_SPAN_LEVELS_H

#include "spanwright/span.h"

/* A hold and the number of the capture (channel) it is from. */
typedef struct spw_held {
    const spw_hold *hold;
    size_t channel;
} spw_held;

/* Sorts by mean width, upwards. */
void spw_held_sort(spw_held *held, size_t n);

/* Its doubt, over its own time. */
spw_doubt spw_held_doubt(const spw_held *held);

/* Holds in doubt that stayed out, and how far out the farthest of them lay. */
typedef struct spw_left_out {
    size_t holds;
    spw_doubt doubt;
    double lowest_us, highest_us; /* NAN without any */
    double U95;                   /* the largest of them */
} spw_left_out;

/* Takes out the holds in doubt that holds without doubt stand in for.
 *   held   n, sorted by mean width; the rest keeps its order
 * Returns how many are left. */
size_t spw_held_leave_out(spw_held *held, size_t n, spw_left_out *out);
/* What those left out leave in doubt at the ends of a known span. */
void spw_span_left_out(spw_span *span, const spw_left_out *out);

/* The level that starts at the extreme hold `from` and grows by `direction`
 * (+1 or -1) over at most `reach` holds.
 *   held      sorted by mean width
 *   all       holds compared in all (for the multiple comparison)
 *   channels  captures they are from
 *   taken     out: holds in the level, 1 or more */
spw_status spw_level_grow(const spw_held *held, size_t from, int direction, size_t reach,
                          size_t all, size_t channels, spw_span_point *level,
                          size_t *taken) SPW_CHECKED;

#endif
