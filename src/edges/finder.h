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
#include "edges/watch.h"

/* Pulses from which anything common to all can be told. */
enum { SPW_PULSES_ENOUGH = 8 };

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
    float clip_low, clip_high;
    float last; /* the last good sample: stands in for missing ones */

    uint32_t placed; /* doubts of the report that have a place */
    uint32_t now;    /* doubts of a shape that was learned again; see asymmetry_us */
    bool learned, waited, judged, fallen_back;
    bool coarse;    /* the quantum exceeds the noise */
    bool overlap;   /* pulses shorter than the shape */
    bool flat;      /* both levels are cut off */
    bool split;     /* learned from a part of the time of learning */
    bool can_wait;  /* there is room for another stretch */
    bool any, lost; /* delivered yet; in a gap */

    spw_mark *marks;
    spw_coarse coarse_scratch;
    spw_heights heights;
    spw_crossing crossing;

    /* what the signal is like, once known */
    spw_step_size size;
    spw_smooth smooth;
    double noise, quantum; /* quantum: smallest step between samples; 0 unknown */
    double ringing;        /* of a mean transition */
    double between;        /* samples of it between the levels */
    double u2_sum, u2_n;   /* squares of the stated uncertainties, samples */
    spw_shape shape;       /* method TEMPLATE */
    spw_window window;
    spw_tilts tilts;   /* the backgrounds' usual slopes */
    double tilt_usual; /* see timing.c */
    size_t hum_searches;
    size_t learned_from;           /* pulses; 0: the shape is an ideal one */
    double pooled_rss, pooled_dof; /* of all fits so far */
    spw_scores scores;             /* rises against falls, until judged */
    spw_quiet quiet;               /* what noise does to fits, and ... */
    double spread; /* ... its rms in them: the noise, or more where it is coloured */
    size_t plateau_samples, plateau_clipped;

    /* whether it is still like that */
    spw_profile usual, here; /* residuals of the time of learning, of this stretch, ... */
    spw_profile recent;      /* ... and of the last ten or so, ... */
    double recent_from;      /* ... from this sample number on */
    size_t learned_again;    /* times */
    size_t learned_least;    /* pulses, of all times */
    double from;             /* sample number from which on the present shape holds */
    double asymmetry_us;     /* what widths of a shape learned again may be off by */
    spw_profile *block;      /* residuals of a hundred transitions each, while it is learned */
    size_t blocks;
    double hold; /* position up to which this stretch may be delivered */

    /* delivery */
    double lost_until; /* sample number at which the gap ended */
    spw_mark before;   /* the transition delivered last, its position a sample number */
    uint64_t glitches;
    spw_edge_report report;
};

/* Is there mains hum in it? It is kept for learning to start from. */
spw_status spw_finder_hum(spw_edge_finder *f, const spw_trace *trace, size_t n,
                          bool *hum) SPW_CHECKED;
/* Learns what it can from the first stretch that holds transitions. */
spw_status spw_finder_learn(spw_edge_finder *f, const spw_trace *trace, size_t n) SPW_CHECKED;
/* Times the n marks of a stretch (those from `fresh` on are new). */
spw_status spw_finder_time(spw_edge_finder *f, const spw_trace *trace, size_t n,
                           size_t fresh) SPW_CHECKED;
/* Samples of a fit on either side. */
size_t spw_finder_reach(const spw_edge_finder *f);
/* Fits marks [first, n), those before it neighbours; residuals of marks from `fresh` on are
 * summed up when `again`, with fit[] from the first time. */
void spw_finder_fit(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t first,
                    size_t fresh, bool again, spw_fit *fit);
/* Backgrounds that slope more than usual; and the hum that was found in the stretch and taken
 * out of all of it, though it may have begun within it. */
typedef struct spw_tilted {
    bool more;
    double hum; /* amplitude; 0: none found now */
} spw_tilted;
/* Has the shape changed in a stretch whose marks from `fresh` on are new and fitted? Learns
 * it again (`*again`), waits for more, or leaves marks in doubt. */
spw_status spw_finder_watch(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh,
                            spw_tilted tilted, spw_fit *fit, bool *again) SPW_CHECKED;
/* Sums of residuals over marks [first, n): their mean square; how many free samples. */
double spw_finder_variance(const spw_fit *fit, size_t first, size_t n, double *dof);

/* --- split.c --- */
/* Room for the residuals of n transitions by blocks; f->block stays NULL where they are few. */
spw_status spw_finder_blocks(spw_edge_finder *f, size_t n) SPW_CHECKED;
/* Adds those of mark k, which f->window holds. */
void spw_finder_block_add(spw_edge_finder *f, size_t k);
/* How many of the first marks are alike: n, or fewer where the shape, the noise or the range
 * changes. */
size_t spw_finder_alike(const spw_edge_finder *f, const spw_fit *fit, size_t n);

/* What rises that are unlike falls tell. */
typedef struct spw_claim {
    uint32_t doubts;
    double asymmetry_us;
} spw_claim;
spw_claim spw_finder_symmetry(const spw_edge_finder *f);
/* Do transitions of one direction meet the sampling at one phase? */
bool spw_finder_locked(const spw_edge_finder *f);
/* Does the shape hold? Residuals of transitions against those that the same fit leaves where
 * there is none. */
typedef enum spw_hold_up { SPW_HOLDS, SPW_STRAINED, SPW_MISFITS } spw_hold_up;
spw_hold_up spw_finder_holds(const spw_edge_finder *f, double variance, double dof);
/* Says so of the whole recording. */
void spw_finder_judge(spw_edge_finder *f, double variance, double dof);
/* Why transitions show no ringing: they are cut off, or shorter than a sample. */
uint32_t spw_finder_instant(const spw_edge_finder *f);

/* --- clip.c --- */
/* The converter's step; 0 where the smallest step seen is none. */
double spw_finder_quantum(const spw_edge_finder *f);
void spw_finder_flat_tops(spw_edge_finder *f);
/* Marks whose levels are clipped are in doubt, or the whole recording from its start on. */
void spw_finder_count_clipped(spw_edge_finder *f, spw_mark *marks, size_t n);
/* Before the shape is fitted: see restore.h. */
void spw_finder_restore(spw_edge_finder *f, const spw_trace *trace, size_t n);

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
