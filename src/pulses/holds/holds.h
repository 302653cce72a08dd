/* Pieces of a width series on their way to holds. */
#ifndef SPW_PULSES_HOLDS_HOLDS_H
#define SPW_PULSES_HOLDS_HOLDS_H

#include "pulses/noise.h"
#include "pulses/train.h"

/* A hold has at least so many frames. */
#define SPW_HOLD_FRAMES 8u
/* ... and lasts so long; a frame counts whole. */
#define SPW_HOLD_S 0.2
/* A level that moves slower than this drifts (warm-up, supply); faster is a move. One
 * hundredth of 1 us a frame at 50 Hz. */
#define SPW_DRIFT_US_PER_S 0.5
/* The flicker of a locked phase (widths of floor or ceil samples in runs) must not
 * be cut into short pieces: with this scale, in samples, a run needs
 * 2 x 3 ln n x 0.7^2 > 9 frames to be worth two cuts. */
#define SPW_FLICKER 0.7

/* A width this many sd from its level, and so far, is odd: less harms no servo (dead
 * bands start at 1 us). */
#define SPW_ODD_SD 8.0
#define SPW_ODD_LEAST_US 0.5
/* A controller that toggles between its steps does so within this: 10 bits a frame of 20 ms
 * are 19.53 us. */
#define SPW_ODD_NEAR_US 25.0
/* More in a row are a hold or a move; so many do not end a hold. */
#define SPW_ODD_RUN 5u
/* Values whose median is the level about one: a run of odd ones vanishes. */
#define SPW_ODD_ABOUT (2 * SPW_ODD_RUN + 1)

/* Sums of cleaned widths (us) against time (s): means, and squares about them. Two that
 * lie apart make one in a few steps, however long they are. */
typedef struct spw_sums {
    double n, t, v, tt, tv, vv;
} spw_sums;

typedef struct spw_piece {
    size_t first, end; /* in the series */
    bool dead;         /* joined to one before it */
    size_t move;       /* number of the move that it is part of, from 1; 0: none */
    bool wanders;      /* joined of pieces that differ: a level that moves by itself */
    spw_sums sums;     /* of its values but bridged ones */
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
    size_t move_room;
    size_t taken; /* widths up to this one lie before or in the last hold added */
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
    double dof; /* of u_slope, from spw_slant_correlated */
} spw_slant;
spw_slant spw_slant_of(const spw_hold_finder *f, size_t from, size_t to);
spw_sums spw_sums_of(const spw_hold_finder *f, size_t from, size_t to);
spw_sums spw_sums_join(const spw_sums *a, const spw_sums *b);
/* Squares about the line through them. */
double spw_sums_rest(const spw_sums *s);
/* The line of widths [from, to), its slope's uncertainty raised by the correlation that its
 * residuals show; a few passes over them. */
spw_slant spw_slant_correlated(const spw_hold_finder *f, size_t from, size_t to);
/* Is its slope no chance (4 standard uncertainties of a normal distribution)? */
bool spw_slant_told(const spw_slant *line);

/* --- odd.c --- */
/* The n widths to f->clean, odd ones replaced by the median about them, for a first look at
 * the noise: of one in ten no second difference is free. */
spw_status spw_odd_screen(const spw_hold_finder *f, size_t n, double floor_us) SPW_CHECKED;
bool spw_is_odd(const spw_hold_finder *f, size_t i);
/* Takes the mark off runs that are too long to be odd; n picked pulses. */
void spw_odd_runs(const spw_hold_finder *f, size_t n);
/* How far from the level of a hold the odd ones begin.
 *   level, sd_us  of its ordinary widths, about
 *   from_us       out: INFINITY where none is odd
 *   usual_us      out: how far a controller that toggles goes from the level; else 0 */
spw_status spw_odd_begins(const spw_hold_finder *f, const spw_piece *piece, double level,
                          double sd_us, double *from_us, double *usual_us) SPW_CHECKED;
/* Marks the pulses of a hold anew: odd from there on. */
void spw_odd_mark(const spw_hold_finder *f, const spw_piece *piece, double level, double from_us);
/* --- pieces.c --- */
/* Fills the sums of the pieces that are not dead. */
void spw_pieces_sum(const spw_hold_finder *f, spw_piece *list, size_t n);
/* Joins pieces that do not differ, or drift into each other; they have their sums. */
void spw_pieces_join(const spw_hold_finder *f, spw_piece *list, size_t n);
/* --- toggling.c --- */
/* Joins the bits of levels that toggle between two steps of the controller. */
void spw_pieces_join_toggling(const spw_hold_finder *f, spw_piece *list, size_t n);
/* --- moves.c --- */
/* Marks the pieces of straight moves. */
spw_status spw_moves_mark(const spw_hold_finder *f, spw_piece *list, size_t n) SPW_CHECKED;
/* Adds the moves that are marked to the channel. */
spw_status spw_moves_add(spw_hold_finder *f, const spw_piece *list, size_t n) SPW_CHECKED;
/* --- wandering.c --- */
/* Joins the pieces of a level that wanders. */
void spw_pieces_join_wandering(const spw_hold_finder *f, spw_piece *list, size_t n);
/* --- hold_memory.c --- */
/* Once the levels of a channel are known to wander, each hold is taken to. */
spw_status spw_holds_remember(const spw_recording *recording, spw_channel *channel) SPW_CHECKED;
/* --- ramps.c --- */
/* Is piece `at` a step of a ramp rather than a hold? */
bool spw_on_a_ramp(const spw_hold_finder *f, const spw_piece *list, size_t n, size_t at);

#endif
