/* Level changes of a logic channel are edges already; what is left is to tell
 * real transitions from the start, from repeats and from unknown levels. */
#include "spanwright/edges.h"

#include <math.h>

spw_logic_edges spw_logic_edges_start(double resolution_s) {
    /* GUM 4.3.7: a value known to lie within a step is uniform over it. */
    double u_us = resolution_s >= 0 ? 1e6 * resolution_s / sqrt(12.0) : (double)NAN;
    return (spw_logic_edges){.level = SPW_LEVEL_UNKNOWN, .started = false, .u_us = (float)u_us};
}

bool spw_logic_edges_step(spw_logic_edges *state, double time_s, uint32_t level, spw_edge *edge) {
    bool first = !state->started;
    uint32_t before = state->level;
    uint32_t now = level > SPW_LEVEL_UNKNOWN ? (uint32_t)SPW_LEVEL_UNKNOWN : level;
    state->started = true;
    state->level = now;
    if (now == before)
        return false; /* a repeat, or still unknown */
    uint32_t flags = now == SPW_LEVEL_HIGH ? SPW_EDGE_RISING : 0;
    if (now == SPW_LEVEL_UNKNOWN)
        flags = SPW_EDGE_LOST;
    else if (before == SPW_LEVEL_UNKNOWN)
        flags |= SPW_EDGE_FOUND | (first ? SPW_EDGE_FIRST : 0);
    *edge = (spw_edge){.time_s = time_s, .u_us = state->u_us, .flags = flags};
    return true;
}
