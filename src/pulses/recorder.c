/* The recorder's step: what the file prints, what the instants of all channels show,
 * or what --rate says. */
#include "pulses/grid.h"
#include "pulses/lanes.h"

#include <math.h>
#include <stdlib.h>

/* Edges of lines that were recorded as changes: their file prints finer than its recorder
 * sampled. */
static bool has_changes(const spw_lane *lane) {
    return lane->wanted && lane->train != NULL && lane->info.kind == SPW_KIND_LOGIC &&
           !lane->info.sampled && lane->info.resolution_s > 0;
}

/* A walk over the intervals between neighbouring edges of each lane; a lane's first edge
 * follows the first of the lane before. */
typedef struct intervals {
    const spw_lanes *lanes;
    size_t lane;
    spw_edge_walk edges;
    uint32_t dropped;
    bool inside;
    double first_s, last_s; /* NAN: none */
    double before_s;        /* the edge before the interval: a frame lies between; NAN: none */
} intervals;

/* The next edge of a lane: those kept, then the first of those that were too many to keep. */
static const spw_edge *next_edge(intervals *walk, const spw_train *train) {
    const spw_edge *edge = spw_edge_next(&walk->edges);
    return edge != NULL || walk->dropped >= train->n_dropped ? edge
                                                             : &train->dropped[walk->dropped++];
}

static const spw_edge *next_transition(intervals *walk, const spw_train *train) {
    const spw_edge *edge;
    do
        edge = next_edge(walk, train);
    while (edge != NULL && (edge->flags & SPW_EDGE_NO_TRANSITION) != 0);
    return edge;
}

static bool next_interval(intervals *walk, double *from_s, double *to_s) {
    while (walk->lane < walk->lanes->n) {
        const spw_lane *lane = &walk->lanes->lane[walk->lane];
        bool first = !walk->inside;
        if (first) {
            walk->edges = (spw_edge_walk){.train = lane->train};
            walk->dropped = 0;
        }
        const spw_edge *edge = has_changes(lane) ? next_transition(walk, lane->train) : NULL;
        walk->inside = edge != NULL;
        if (edge == NULL) {
            walk->lane++;
            continue;
        }
        walk->before_s = first ? (double)NAN : *from_s;
        *from_s = first ? walk->first_s : walk->last_s;
        *to_s = walk->last_s = edge->time_s;
        if (first)
            walk->first_s = edge->time_s;
        if (!isnan(*from_s))
            return true;
    }
    return false;
}

static intervals intervals_of(const spw_lanes *lanes) {
    return (intervals){.lanes = lanes, .first_s = NAN, .last_s = NAN, .before_s = NAN};
}

/* Does every interval fit? If not, one that does not is in *from_s, *to_s. */
static bool all_fit(const spw_lanes *lanes, const spw_grid *grid, double step_s, double tick_s,
                    double *from_s, double *to_s) {
    intervals walk = intervals_of(lanes);
    while (next_interval(&walk, from_s, to_s))
        if (!spw_grid_fits(grid, step_s, tick_s, *from_s, *to_s))
            return false;
    return true;
}

/* --- a grid that is the controller's --- */

/* A counter of so many bits divides the frame (see counter.c). */
enum { BITS_LEAST = 8, BITS_MOST = 16, LEAST_FRAMES = 8 };

/* Are all intervals between edges of one direction whole frames, frames of one length each and
 * 2^n steps long? Out: n, or 0. */
static int bits_of_frame(const spw_train *train, uint32_t rising, double step_s, double tick_s) {
    double last_s = NAN, frame_s = NAN;
    size_t n = 0;
    spw_edge_walk walk = {.train = train};
    for (const spw_edge *e = spw_edge_next(&walk); e != NULL; e = spw_edge_next(&walk)) {
        if ((e->flags & SPW_EDGE_NO_TRANSITION) != 0 || (e->flags & SPW_EDGE_RISING) != rising)
            continue;
        double interval_s = e->time_s - last_s;
        last_s = e->time_s;
        if (isnan(interval_s))
            continue;
        if (isnan(frame_s))
            frame_s = interval_s;
        if (fabs(interval_s - frame_s * round(interval_s / frame_s)) > 1.5 * tick_s)
            return 0;
        n++;
    }
    for (int bits = BITS_LEAST; bits <= BITS_MOST && n >= LEAST_FRAMES; bits++)
        if (fabs(frame_s - ldexp(step_s, bits)) <= 1.5 * tick_s)
            return bits;
    return 0;
}

/* Bits of the counter where every line's grid is explained by one: no recorder's step divides
 * all frames into the same power of two, frame by frame. */
static int counter_bits(const spw_lanes *lanes, double step_s, double tick_s) {
    int bits = 0;
    for (size_t i = 0; i < lanes->n; i++) {
        const spw_train *train = lanes->lane[i].train;
        if (!has_changes(&lanes->lane[i]) || train->transitions == 0)
            continue;
        bits = bits_of_frame(train, SPW_EDGE_RISING, step_s, tick_s);
        if (bits == 0)
            bits = bits_of_frame(train, 0, step_s, tick_s);
        if (bits == 0)
            return 0;
    }
    return bits;
}

static spw_grid_answer find(const spw_lanes *lanes, spw_grid *grid) {
    double from_s, to_s, tick_s = grid->tick_s;
    intervals walk = intervals_of(lanes);
    while (next_interval(&walk, &from_s, &to_s)) {
        spw_grid_take(grid, from_s, to_s);
        spw_grid_take(grid, walk.before_s, to_s);
    }
    spw_grid_answer answer = spw_grid_find(grid);
    if (grid->common > 0)
        tick_s *= (double)grid->common;
    if (grid->n == SPW_GRID_KEPT && answer.kind == SPW_GRID_FOUND &&
        !all_fit(lanes, grid, answer.grid_s, tick_s, &from_s, &to_s))
        answer = (spw_grid_answer){SPW_GRID_NONE, NAN, tick_s};
    return answer;
}

static void set_step(spw_lanes *lanes, const spw_grid_answer *answer, bool by_rate) {
    float u_us = (float)(answer->step_s * 1e6 / sqrt(12.0));
    for (size_t i = 0; i < lanes->n; i++) {
        spw_train *train = lanes->lane[i].train;
        if (!has_changes(&lanes->lane[i]))
            continue;
        train->resolution_us = answer->step_s * 1e6;
        train->grid = by_rate ? SPW_GRID_NONE : answer->kind;
        train->grid_us = answer->grid_s * 1e6;
        for (size_t c = 0; c < train->chunks; c++)
            for (uint32_t k = 0; k < train->chunk[c].n; k++)
                if ((train->chunk[c].edge[k].flags & SPW_EDGE_NO_TRANSITION) == 0)
                    train->chunk[c].edge[k].u_us = u_us;
    }
}

static spw_status say_grid(const spw_grid_answer *answer, const spw_grid *grid, spw_notes *notes) {
    double us = answer->grid_s * 1e6;
    switch (answer->kind) {
    case SPW_GRID_FOUND:
        return spw_notes_add(notes,
                             "all edges lie on a grid of %.5g us: taken as the recorder's "
                             "step",
                             us);
    case SPW_GRID_FEW:
        return spw_notes_add(notes,
                             "all edges lie on a grid of %.5g us, with %u different intervals too "
                             "few to tell it from the controller's own: taken as the recorder's "
                             "step to be safe",
                             us, (unsigned)grid->n);
    case SPW_GRID_COUNTER:
        return spw_notes_add(notes,
                             "all edges lie on a grid of %.5g us, a whole power of two to a "
                             "frame: taken as the controller's counter, not as the recorder's step",
                             us);
    case SPW_GRID_COARSE:
    case SPW_GRID_NONE:
        break;
    }
    return SPW_OK;
}

static spw_status use_rate(spw_lanes *lanes, const spw_grid *grid, spw_grid_answer *answer,
                           spw_capture *capture, spw_error *error) {
    double from_s, to_s, step_s = 1 / lanes->options->read.rate_hz;
    if (!all_fit(lanes, grid, step_s, grid->tick_s, &from_s, &to_s))
        return spw_error_set(error, SPW_ERR_ARGUMENT,
                             "--rate says steps of %.6g us, but edges at %.6f s and %.6f s are "
                             "%.9g us apart, no whole number of them; leave --rate out, or give "
                             "the rate of the recorder",
                             step_s * 1e6, fmin(from_s, to_s), fmax(from_s, to_s),
                             fabs(to_s - from_s) * 1e6);
    bool coarser = answer->kind == SPW_GRID_FOUND && answer->grid_s > 1.5 * step_s;
    double grid_us = answer->grid_s * 1e6;
    answer->step_s = spw_grid_rounded_s(step_s, grid->tick_s);
    if (coarser)
        return spw_notes_add(&capture->summary.warnings,
                             "all edges lie on a grid of %.5g us, coarser than the steps of %.5g "
                             "us that --rate says: leave --rate out unless the recorder is sure "
                             "to have sampled so fast",
                             grid_us, step_s * 1e6);
    return spw_notes_add(&capture->summary.recognised,
                         "the recorder's step is %.5g us, as --rate "
                         "says",
                         step_s * 1e6);
}

spw_status spw_lanes_find_step(spw_lanes *lanes, spw_capture *capture, spw_error *error) {
    double tick_s = 0;
    for (size_t i = 0; i < lanes->n; i++) {
        if (!has_changes(&lanes->lane[i]))
            continue;
        spw_status status = spw_train_flush(lanes->lane[i].train);
        if (status != SPW_OK)
            return status;
        tick_s = lanes->lane[i].info.resolution_s; /* of the file: the same for all */
    }
    spw_grid *grid = tick_s > 0 ? malloc(sizeof *grid) : NULL;
    if (grid == NULL)
        return tick_s > 0 ? SPW_ERR_MEMORY : SPW_OK;
    spw_grid_start(grid, tick_s, capture->summary.duration_s);
    spw_grid_answer answer = find(lanes, grid);
    if (answer.kind != SPW_GRID_NONE && counter_bits(lanes, answer.grid_s, grid->tick_s) > 0)
        answer = (spw_grid_answer){SPW_GRID_COUNTER, answer.grid_s, tick_s};
    bool by_rate = lanes->options->read.has_rate;
    spw_status status = by_rate ? use_rate(lanes, grid, &answer, capture, error)
                                : say_grid(&answer, grid, &capture->summary.recognised);
    if (status == SPW_OK && (by_rate || answer.kind != SPW_GRID_NONE))
        set_step(lanes, &answer, by_rate);
    free(grid);
    return status;
}
