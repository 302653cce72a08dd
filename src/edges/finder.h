/* The finder's state, shared by the files that take, time and deliver. */
#ifndef SPW_FINDER_H
#define SPW_FINDER_H

#include "edges/claims.h"
#include "edges/coarse.h"
#include "edges/crossing.h"
#include "edges/fit.h"
#include "edges/heights.h"
#include "edges/quiet.h"
#include "edges/tilt.h"
#include "edges/trace.h"

struct spw_edge_finder {
    spw_edge_settings settings;
    spw_edge_sink sink;
    void *context;
    spw_status failed; /* of an earlier call: everything after it is refused */

    /* the stretch in memory: samples base ... base + n - 1 of the channel */
    float *store, *y; /* y = store + skip */
    uint8_t *flag;
    spw_range seen; /* of all samples, until there is an edge */
    spw_range *range;
    size_t n, capacity, target;
    size_t chunk, skip; /* samples a range; samples left before y: less than a chunk */
    uint64_t base;
    size_t margin;  /* neighbourhood that timing needs on either side */
    size_t decided; /* transitions before it have been delivered (or are none) */
    size_t flagged; /* clipped samples are marked up to here */
    float last;     /* the last good sample: stands in for missing ones */
    float clip_low, clip_high;

    spw_mark *marks;
    spw_coarse coarse_scratch;
    spw_heights heights;
    spw_crossing crossing;

    /* what the signal is like, once known */
    bool learned, waited;
    spw_step_size size;
    spw_smooth smooth;
    double noise, quantum; /* quantum: smallest step between samples; 0 unknown */
    double ringing;        /* of a mean transition */
    double between;        /* samples of it between the levels */
    bool coarse;           /* the quantum exceeds the noise */
    bool flat;             /* both levels are cut off */
    bool judged, fallen_back;
    double u2_sum, u2_n; /* squares of the stated uncertainties, samples */
    spw_shape shape;     /* method TEMPLATE */
    spw_window window;
    spw_tilts tilts;   /* the backgrounds' usual slopes */
    double tilt_usual; /* see measure.c */
    size_t hum_searches;
    size_t learned_from;           /* pulses; 0: the shape is an ideal one */
    double pooled_rss, pooled_dof; /* of all fits so far */
    spw_scores scores;             /* rises against falls, until judged */
    spw_quiet quiet;               /* what noise does to fits, and ... */
    double spread; /* ... its rms in them: the noise, or more where it is coloured */
    size_t plateau_samples, plateau_clipped;

    /* delivery */
    bool any, lost;
    double lost_until; /* sample number at which the gap ended */
    spw_mark before;   /* the transition delivered last, its position a sample number */
    uint64_t glitches;
    spw_edge_report report;
};

/* Is there mains hum in it? */
spw_status spw_finder_hum(const spw_edge_finder *f, const spw_trace *trace, size_t n,
                          bool *hum) SPW_CHECKED;
/* Learns what it can from the first stretch that holds transitions. */
spw_status spw_finder_learn(spw_edge_finder *f, const spw_trace *trace, size_t n) SPW_CHECKED;
/* Times the n marks of a stretch (those from `fresh` on are new). */
spw_status spw_finder_time(spw_edge_finder *f, const spw_trace *trace, size_t n,
                           size_t fresh) SPW_CHECKED;
/* Delivers marks and gaps at positions [from, to) of the stretch. */
spw_status spw_finder_deliver(spw_edge_finder *f, size_t n, size_t from, size_t to) SPW_CHECKED;
/* A stretch in doubt, from sample number to sample number of the channel; one that goes on
 * where the last of its kind ended is the same. */
void spw_finder_doubt(spw_edge_finder *f, uint32_t what, double from, double to, double bound_us);
/* Marks clipped samples not looked at yet. */
void spw_finder_flag(spw_edge_finder *f);
/* Shortest run of missing samples that can hide a transition. */
size_t spw_finder_gap(const spw_edge_finder *f);

#endif
