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
