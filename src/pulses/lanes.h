/* A lane is a channel of a capture on its way through the measurement. */
#ifndef SPW_LANES_H
#define SPW_LANES_H

#include "pulses/crew.h"
#include "pulses/train.h"

typedef struct spw_lane {
    char *name;
    spw_channel_info info; /* its name pointer is not valid */
    bool wanted;
    spw_train *train; /* made when data comes */
    spw_logic_edges logic;
    spw_edge_finder *finder;
    size_t hand; /* of the crew, once there is one */
    spw_edge_report report;
    /* while the train drops edges: */
    bool fast;
    double last_s;
    uint64_t skipped;
} spw_lane;

typedef struct spw_lanes {
    const spw_measure_options *options;
    spw_error *error; /* the caller's */
    bool refused;     /* *error was filled here */
    spw_lane *lane;
    size_t n, room;
    bool chosen;
    _Atomic uint64_t edges_left; /* that may be kept */
    double fast_s;               /* changes closer than this need no look */
    spw_crew *crew;              /* for sampled lanes, once there are samples enough */
    bool alone;                  /* without one */
    uint64_t samples;            /* of all lanes */
} spw_lanes;

/* The sink that fills the lanes. */
spw_sink spw_lanes_sink(spw_lanes *lanes);
/* Applies the channel names asked for; ARGUMENT where one is not there. */
spw_status spw_lanes_choose(spw_lanes *lanes) SPW_CHECKED;
/* No more data: the last edges reach the trains; each wanted lane has one. */
spw_status spw_lanes_end(spw_lanes *lanes) SPW_CHECKED;
void spw_lanes_free(spw_lanes *lanes);

/* --- recorder.c --- */
/* After spw_lanes_end: finds the recorder's step for the lanes whose file prints finer than
 * it sampled, says so in the capture's summary, and gives it to their trains.
 * SPW_ERR_ARGUMENT where --rate contradicts the instants. */
spw_status spw_lanes_find_step(spw_lanes *lanes, spw_capture *capture,
                               spw_error *error) SPW_CHECKED;

#endif
