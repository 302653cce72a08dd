/* The stretch of a capture that somebody chose to have judged: edges outside of it do
 * not reach the train, but the last one before it tells the level that it starts at. */
#include "pulses/train.h"

#include <math.h>

void spw_train_choose(spw_train *train, const spw_measure_options *options) {
    train->chosen_from = !isnan(options->from_s);
    train->from_s = train->chosen_from ? options->from_s : 0;
    train->to_s = isnan(options->to_s) ? (double)INFINITY : options->to_s;
    train->entered = !train->chosen_from;
}

spw_status spw_train_enter(spw_train *train) {
    if (train->entered)
        return SPW_OK;
    train->entered = true;
    if (!train->has_before)
        return SPW_OK;
    bool lost = (train->before.flags & SPW_EDGE_LOST) != 0;
    uint32_t level = train->before.flags & SPW_EDGE_RISING;
    spw_edge start = {.time_s = train->from_s,
                      .flags = lost ? SPW_EDGE_LOST : SPW_EDGE_FOUND | SPW_EDGE_FIRST | level};
    return spw_train_keep(train, &start);
}

spw_status spw_train_takes(spw_train *train, const spw_edge *edge, bool *takes) {
    *takes = false;
    if (train->chosen_from && edge->time_s < train->from_s) {
        train->before = *edge;
        train->has_before = true;
        return SPW_OK;
    }
    spw_status status = spw_train_enter(train);
    *takes = edge->time_s <= train->to_s;
    return status;
}

bool spw_train_cuts(const spw_train *train, double start_s, double end_s) {
    return (train->chosen_from && start_s <= train->from_s) || end_s >= train->to_s;
}
