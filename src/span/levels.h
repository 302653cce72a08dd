/* Hold levels: pools of holds that cannot be told apart. */
#ifndef SPW_SPAN_LEVELS_H
#define SPW_SPAN_LEVELS_H

#include "spanwright/span.h"

/* A hold and the capture (channel) it is from. */
typedef struct spw_held {
    const spw_hold *hold;
    size_t channel;
} spw_held;

/* Sorts by mean width, upwards. */
void spw_held_sort(spw_held *held, size_t n);
/* How many holds from one end on are one level with it.
 *   held   n holds sorted by mean width
 *   from   the extreme hold; the pool grows from it by `direction` (+1 or -1)
 *          over at most `reach` holds
 *   all    holds compared in all (for the multiple comparison) */
size_t spw_level_reach(const spw_held *held, size_t from, int direction, size_t reach, size_t all);
/* The pooled level of held[first .. first + n). */
spw_span_point spw_level_pool(const spw_held *held, size_t first, size_t n);

#endif
