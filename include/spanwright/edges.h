/* spanwright: from level changes or samples to edges.
 *
 * An edge is the instant at which the waveform crosses the level halfway
 * between its two state levels (IEEE Std 181: 50 % reference level instant). */
#ifndef SPANWRIGHT_EDGES_H
#define SPANWRIGHT_EDGES_H

#include "capture.h"

#ifdef __cplusplus
extern "C" {
#endif
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

/* What an edge is (flags of spw_edge). */
#define SPW_EDGE_RISING 0x01u   /* low to high; absent: high to low */
#define SPW_EDGE_LOST 0x02u     /* no edge: from here on the level is unknown */
#define SPW_EDGE_FOUND 0x04u    /* no edge: the level is known again; RISING tells it (high) */
#define SPW_EDGE_FIRST 0x08u    /* with FOUND: the level at the start of the capture */
#define SPW_EDGE_CLIPPED 0x10u  /* clipped samples were left out of this edge's fit */
#define SPW_EDGE_FALLBACK 0x20u /* timed by the simpler method; u says so */
#define SPW_EDGE_DOUBTFUL 0x40u /* the fit did not hold: u is a guess */

/* One edge, 16 bytes. u_us is the standard uncertainty of its instant from
 * timing alone (sampling, noise), without the recorder's time base. */
typedef struct spw_edge {
    double time_s;
    float u_us;
    uint32_t flags;
} spw_edge;

/* Receives edges in time order; borrowed for the call. */
typedef spw_status (*spw_edge_sink)(void *context, const spw_edge *edges, size_t n);

/* Level changes of one logic channel to edges. Plain state, no allocation:
 * start from spw_logic_edges_start. */
typedef struct spw_logic_edges {
    uint32_t level; /* spw_level */
    bool started;
    float u_us; /* resolution / sqrt(12): a uniform error of one resolution step */
} spw_logic_edges;
spw_logic_edges spw_logic_edges_start(double resolution_s);
/* Turns one change into at most one edge; true when *edge was filled. */
bool spw_logic_edges_step(spw_logic_edges *state, double time_s, uint32_t level, spw_edge *edge);

/* Samples of one analogue channel to edges, in one pass with bounded memory. */
typedef struct spw_edge_finder spw_edge_finder;

/* Windows are times, and must fit the buffer. */
#define SPW_EDGES_RATE_MAX_HZ 100e6

typedef struct spw_edge_settings {
    double sample_rate_hz; /* > 0, <= SPW_EDGES_RATE_MAX_HZ */
    double start_s;        /* instant of sample 0 */
    double full_scale;     /* clip magnitude or NAN */
    bool lossy;
    double codec_samples;          /* see spw_channel_info */
    double rise_fall_asymmetry_us; /* stated RC asymmetry, one standard uncertainty; 0 */
    size_t samples_most;           /* held in memory, at 5 bytes each; 0: about 2.4 million */
} spw_edge_settings;

/* How the edges were timed. */
typedef enum spw_edge_method {
    SPW_METHOD_NONE,     /* no edges: too little signal */
    SPW_METHOD_SAMPLES,  /* the signal is too fast for its sampling: counted in samples */
    SPW_METHOD_CROSSING, /* band-limited crossing of the local 50 % level */
    SPW_METHOD_TEMPLATE  /* fitted with the edge shape learned from the capture */
} spw_edge_method;

/* Why a timing cannot be trusted to its stated uncertainty (bit set). */
#define SPW_DOUBT_CLIPPING 0x01u   /* plateau samples clip */
#define SPW_DOUBT_SATURATION 0x02u /* the edges' shape bends with the level */
#define SPW_DOUBT_ASYMMETRY 0x04u  /* rise and fall have different shapes */
#define SPW_DOUBT_LOSSY 0x08u      /* lossy codec */
#define SPW_DOUBT_FEW 0x10u        /* too few pulses to learn the edge's shape */
#define SPW_DOUBT_TOO_FAST 0x20u   /* edges shorter than the sampling can show */
#define SPW_DOUBT_NO_PLATEAU 0x40u /* no plateau of 100 us: no width can be given */
#define SPW_DOUBT_WEAK 0x80u       /* steps so low that they may be the crosstalk of another line */
#define SPW_DOUBT_SHAPE 0x100u     /* the edges' shape changes: no learned one holds */
#define SPW_DOUBT_NO_SHAPE 0x200u  /* no one shape was found that fits all edges: u is larger */
/* Of one of them, or of the gravest of several; never NULL: the word of JSON; what is wrong, to
 * follow "in doubt: "; what to do, a sentence without its full stop. */
const char *spw_doubt_name(uint32_t what);
const char *spw_doubt_words(uint32_t what);
const char *spw_doubt_cure(uint32_t what);

/* A stretch whose timing cannot be trusted to its stated uncertainty. */
typedef struct spw_doubt {
    uint32_t what;       /* one of SPW_DOUBT_...; 0 none; of a hold or a level all that touch it */
    double from_s, to_s; /* instants of the capture, from <= to */
    double bound_us;     /* largest error of a width that it can cause; NAN: not known */
} spw_doubt;
/* That error: 0 without doubt, INFINITY where it is not known. */
double spw_doubt_reach_us(const spw_doubt *doubt);
/* Takes another one in: all kinds, from the first to the last instant, the larger bound. */
void spw_doubt_join(spw_doubt *doubt, const spw_doubt *more);
/* Stretches kept a channel; where there are more, the last one grows to hold them. */
#define SPW_DOUBTS_MAX 32

/* A place where the recorder's samples do not follow each other (one of ...). */
#define SPW_SPLICE_CONSTANT 0x01u /* from_s to to_s one value, where samples have noise */
#define SPW_SPLICE_REPEAT 0x02u   /* from_s to to_s the samples of just before once more */
#define SPW_SPLICE_STEP 0x04u     /* the background jumps between transitions; from_s is to_s */
typedef struct spw_splice {
    uint32_t what;
    double from_s, to_s; /* instants of the capture */
    size_t samples;      /* in it; of a repeat, how many were recorded twice; of a step 0 */
} spw_splice;
#define SPW_SPLICES_MAX 32

typedef struct spw_edge_report {
    spw_edge_method method;
    uint32_t doubts;                 /* all that were found, SPW_DOUBT_... */
    spw_doubt doubt[SPW_DOUBTS_MAX]; /* those that have a place, in order of time; the others
                                        hold for the whole recording */
    size_t doubts_placed;
    spw_splice splice[SPW_SPLICES_MAX]; /* in order of what was looked at */
    size_t splices;
    uint64_t splices_dropped; /* that found no place */
    double low, high;       /* state levels in the channel's unit, droop undone; NAN when unknown */
    double least, most;     /* smallest and largest sample where there is no edge; else NAN */
    double noise_sd;        /* rms noise a sample, same unit; NAN when unknown */
    double droop_corner_hz; /* fitted high-pass corner; 0 none */
    double hum_hz;          /* mains frequency removed; 0 none */
    double hum_amplitude;   /* of its strongest line, same unit */
    uint64_t clipped_samples;
    double first_clip_s; /* NAN when none clipped */
    uint64_t edges;
    uint64_t missing_samples; /* NAN samples */
    size_t shapes_more;       /* times that the edges' shape changed and was learned again */
    double shape_changed_s;   /* first time; NAN when it never did */
    double u_template_us;     /* common-mode term that means of widths do not average below; 0 */
    double u_codec_us;        /* what a lossy codec adds to each width, and to u_template_us; 0 */
    double u_asymmetry_us;    /* systematic term of a width from unequal rise and fall; 0 */
} spw_edge_report;

spw_status spw_edge_finder_new(const spw_edge_settings *settings, spw_edge_sink sink, void *context,
                               spw_edge_finder **finder) SPW_CHECKED;
/* Takes the next n samples. Edges come out late (after learning), in order. */
spw_status spw_edge_finder_push(spw_edge_finder *finder, const float *samples,
                                size_t n) SPW_CHECKED;
/* No more samples: delivers the remaining edges and fills *report. */
spw_status spw_edge_finder_finish(spw_edge_finder *finder, spw_edge_report *report) SPW_CHECKED;
void spw_edge_finder_free(spw_edge_finder *finder);

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
