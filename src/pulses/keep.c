/* Which edges are kept. A channel that is plainly no control pulse (a bus clock
 * of 10^9 changes) must not cost memory, so edges are judged a window at a time. */
#include "base/array.h"
#include "pulses/train.h"

#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

/* A window with a smaller share of plausible pulses is dropped. A control line
 * disturbed by nineteen glitches a pulse is still kept. */
static const double PLAUSIBLE_SHARE = 0.05;
/* A window that took longer cannot be many: below 4 KiB a second it is kept. */
static const double SLOW_WINDOW_S = 0.5;

spw_status spw_train_new(const spw_measure_options *options, double resolution_s,
                         spw_train **train) {
    if (!(options->width_low_us > 0 && options->width_high_us > options->width_low_us) ||
        !isfinite(options->width_high_us) || !(options->timebase_ppm >= 0))
        return SPW_ERR_ARGUMENT;
    spw_train *t = calloc(1, sizeof *t);
    if (t == NULL)
        return SPW_ERR_MEMORY;
    t->width_low_us = options->width_low_us;
    t->width_high_us = options->width_high_us;
    t->timebase_ppm = options->timebase_ppm;
    t->has_polarity = options->has_polarity && options->polarity != SPW_POLARITY_UNDECIDED;
    t->polarity = options->polarity;
    t->resolution_us = resolution_s >= 0 ? resolution_s * 1e6 : (double)NAN;
    spw_train_choose(t, options);
    *train = t;
    return SPW_OK;
}

void spw_train_drop_edges(spw_train *train) {
    for (size_t i = 0; i < train->chunks; i++)
        free(train->chunk[i].edge);
    free(train->chunk);
    free(train->window);
    free(train->dropped);
    train->chunk = NULL;
    train->window = train->dropped = NULL;
    train->chunks = train->chunk_room = 0;
    train->in_window = train->window_room = train->n_dropped = 0;
}

void spw_train_free(spw_train *train) {
    if (train == NULL)
        return;
    spw_train_drop_edges(train);
    free(train->shift);
    free(train->reading);
    spw_channel_clear(&train->channel);
    free(train);
}

static bool is_transition(const spw_edge *edge) {
    return (edge->flags & SPW_EDGE_NO_TRANSITION) == 0;
}

/* Is this window worth keeping? Counts stretches of a level that are within the
 * width window and part of a frame. */
static bool plausible(const spw_train *train) {
    const spw_edge *e = train->window;
    uint32_t n = train->in_window;
    if (n < 3 || e[n - 1].time_s - e[0].time_s > SLOW_WINDOW_S)
        return true;
    uint32_t good = 0;
    for (uint32_t i = 0; i + 2 < n; i++) {
        double first_us = (e[i + 1].time_s - e[i].time_s) * 1e6;
        double second_us = (e[i + 2].time_s - e[i + 1].time_s) * 1e6;
        double period_us = first_us + second_us;
        bool width = (first_us >= train->width_low_us && first_us <= train->width_high_us) ||
                     (second_us >= train->width_low_us && second_us <= train->width_high_us);
        good += width && period_us >= SPW_FRAME_MIN_US && period_us <= SPW_FRAME_MAX_US;
    }
    return good >= PLAUSIBLE_SHARE * (n - 2);
}

static spw_status keep_chunk(spw_train *train, const spw_edge *edges, uint32_t n) {
    spw_status status = spw_array_room((void **)&train->chunk, &train->chunk_room, train->chunks, 1,
                                       sizeof *train->chunk);
    if (status != SPW_OK)
        return status;
    spw_edge *copy = malloc(n * sizeof *copy);
    if (copy == NULL)
        return SPW_ERR_MEMORY;
    memcpy(copy, edges, n * sizeof *copy);
    train->chunk[train->chunks].edge = copy;
    train->chunk[train->chunks++].n = n;
    return SPW_OK;
}

/* Notes that edges from first_s to last_s are gone: one mark a hole. */
static spw_status note_hole(spw_train *train, uint64_t edges, double first_s, double last_s) {
    if (train->dropped_edges == 0)
        train->dropped_first_s = first_s;
    train->dropped_edges += edges;
    train->dropped_last_s = last_s;
    if (train->dropping) {
        spw_chunk *chunk = &train->chunk[train->chunks - 1];
        chunk->edge[chunk->n - 1].u_us += (float)edges;
        return SPW_OK;
    }
    spw_edge mark = {first_s, (float)edges, SPW_EDGE_HOLE};
    spw_status status = keep_chunk(train, &mark, 1);
    train->dropping = status == SPW_OK;
    return status;
}

static spw_status drop_window(spw_train *train) {
    const spw_edge *e = train->window;
    uint32_t n = train->in_window;
    uint64_t edges = 0;
    for (uint32_t i = 0; i < n; i++)
        edges += is_transition(&e[i]);
    spw_status status = note_hole(train, edges, e[0].time_s, e[n - 1].time_s);
    if (status != SPW_OK)
        return status;
    if (train->dropped == NULL) { /* keep the first for the reason */
        train->dropped = train->window;
        train->n_dropped = n;
        train->window = NULL;
        train->window_room = 0;
    }
    train->in_window = 0;
    return SPW_OK;
}

/* Takes n edges off what may be kept; all is gone once that failed. Trains of one capture may
 * be filled by several threads. */
bool spw_train_may_keep(spw_train *train, uint64_t n) {
    _Atomic uint64_t *left = train->edges_left;
    uint64_t before = left != NULL ? atomic_load(left) : UINT64_MAX;
    while (left != NULL &&
           !atomic_compare_exchange_weak(left, &before, before < n ? 0 : before - n))
        continue;
    return before >= n;
}

static spw_status judge_window(spw_train *train) {
    if (!plausible(train))
        return drop_window(train);
    if (!spw_train_may_keep(train, train->in_window))
        return SPW_ERR_LIMIT;
    spw_status status = keep_chunk(train, train->window, train->in_window);
    if (status != SPW_OK)
        return status;
    train->dropping = false;
    train->in_window = 0;
    return SPW_OK;
}

spw_status spw_train_flush(spw_train *train) {
    spw_status status = spw_train_enter(train);
    if (status != SPW_OK || train->in_window == 0)
        return status;
    if (train->dropping)
        return judge_window(train);
    status = keep_chunk(train, train->window, train->in_window);
    if (status == SPW_OK)
        train->in_window = 0;
    return status;
}

/* The window grows to a chunk, so that a channel with few edges stays small. */
static spw_status window_room(spw_train *train) {
    if (train->in_window < train->window_room)
        return SPW_OK;
    uint32_t room = train->window_room == 0 ? 8 : 2 * train->window_room;
    spw_edge *moved = realloc(train->window, room * sizeof *moved);
    if (moved == NULL)
        return SPW_ERR_MEMORY;
    train->window = moved;
    train->window_room = room;
    return SPW_OK;
}

spw_status spw_train_keep(spw_train *train, const spw_edge *edge) {
    spw_status status = window_room(train);
    if (status != SPW_OK)
        return status;
    train->window[train->in_window++] = *edge;
    train->transitions += is_transition(edge);
    train->last = *edge;
    train->has_last = true;
    return train->in_window == SPW_CHUNK ? judge_window(train) : SPW_OK;
}

spw_status spw_train_push(spw_train *train, const spw_edge *edges, size_t n) {
    if (train->built)
        return SPW_ERR_ARGUMENT;
    for (size_t i = 0; i < n; i++) {
        bool takes = false;
        spw_status status = spw_train_takes(train, &edges[i], &takes);
        if (status == SPW_OK && takes)
            status = spw_train_keep(train, &edges[i]);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

spw_status spw_train_skipped(spw_train *train, uint64_t n, double last_s, bool high) {
    if (n == 0)
        return SPW_OK;
    if (train->in_window > 0) { /* part of the same rush */
        spw_status status = drop_window(train);
        if (status != SPW_OK)
            return status;
    }
    train->transitions += n;
    train->last = (spw_edge){last_s, 0, high ? SPW_EDGE_RISING : 0};
    return note_hole(train, n, last_s, last_s);
}
