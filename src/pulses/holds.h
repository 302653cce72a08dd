/* Pieces of a width series on their way to holds. */
#ifndef SPW_HOLDS_H
#define SPW_HOLDS_H

#include "pulses/noise.h"
#include "pulses/train.h"

/* A hold has at least so many frames. */
#define SPW_HOLD_FRAMES 8u
/* A level that moves slower than this drifts (warm-up, supply); faster is a ramp.
 * One fiftieth of 1 us a frame at 50 Hz. */
#define SPW_DRIFT_US_PER_S 1.0
/* The flicker of a locked phase (widths of floor or ceil samples in runs) must not
 * be cut into short pieces: with this scale, in samples, a run needs
 * 2 x 3 ln n x 0.7^2 > 9 frames to be worth two cuts. */
#define SPW_FLICKER 0.7

typedef struct spw_piece {
    size_t first, end; /* in the series */
    bool dead;         /* joined to one before it */
} spw_piece;

/* The widths of one regime. */
typedef struct spw_hold_finder {
    spw_channel *channel;
    spw_recording recording;
    const spw_regime *regime;
    spw_picked picked;
    double *width;  /* a value a picked pulse */
    double *clean;  /* the same, clipped to the neighbours' median */
    double *lead_s; /* their lead edges */
    spw_noise noise;
    size_t room; /* of channel->hold */
} spw_hold_finder;

typedef struct spw_moments {
    double n, mean, squares; /* squares about the mean */
} spw_moments;
spw_moments spw_moments_of(const double *v, size_t from, size_t to);
/* Half the mean squared successive difference: the variance of white noise,
 * whatever the level does slowly. */
double spw_successive(const double *v, size_t from, size_t to);

/* Straight line through the cleaned widths against time. */
typedef struct spw_slant {
    double slope, u_slope; /* us a second */
    double squares;        /* of the residuals */
    double seconds;
} spw_slant;
spw_slant spw_slant_of(const spw_hold_finder *f, size_t from, size_t to);

/* --- pieces.c --- */
/* Joins pieces that do not differ, or drift into each other. */
void spw_pieces_join(const spw_hold_finder *f, spw_piece *list, size_t n);
/* --- toggling.c --- */
/* Joins the bits of levels that toggle between two steps of the controller. */
void spw_pieces_join_toggling(const spw_hold_finder *f, spw_piece *list, size_t n);
/* --- ramps.c --- */
/* Is piece `at` a step of a ramp rather than a hold? */
bool spw_on_a_ramp(const spw_hold_finder *f, const spw_piece *list, size_t n, size_t at);

#endif
