/* The parts of a verification. */
#ifndef SPW_ADAPTER_VERIFY_VERIFY_H
#define SPW_ADAPTER_VERIFY_VERIFY_H

#include "spanwright/adapter.h"

/* An adapter answers within so many input frames. */
#define SPW_VERIFY_FRAMES 5
/* Frames after a change of the input in which its answer may still be on its way. */
#define SPW_VERIFY_SETTLING (SPW_VERIFY_FRAMES + 3)
/* Inputs are at one level within so many us, or within so many sd of their own noise. */
#define SPW_VERIFY_CHANGE_US 5.0
#define SPW_VERIFY_CHANGE_SD 6.0
/* Coverage factor of a stated standard uncertainty, such as the clock's. */
#define SPW_VERIFY_K 1.96

/* A level of the input with all its pairs: what the line is fitted through. */
typedef struct spw_verify_level {
    double in_us, out_us, u_in_us, u_out_us;
    double seen_us;    /* mean of its outputs as they came; out_us has no clamp in it */
    double scatter_us; /* of an output about the line, inputs as they were; 0 unknown */
    size_t frames;
    bool clamped;
    int side;   /* a clamp of the plan holds: -1 low output, +1 high output; 0 no */
    int corner; /* the plan bends into a clamp here: -1 low output, +1 high output, 0 no */
} spw_verify_level;

typedef struct spw_verifier {
    const spw_channel *before, *after;
    spw_verification *v;
    spw_verify_level *level; /* upwards by input */
    size_t levels;
    size_t late;            /* inputs between the latest one and the cause; 0: the latest */
    bool moved;             /* the input moved, as far as outputs tell */
    bool late_known;        /* the input moved enough to tell */
    double input_noise_us;  /* sd of neighbouring inputs about each other */
    double noise_us;        /* scatter of an output about the line, inputs at rest */
    double worst_moving_us; /* largest departure while the input moved; NAN */
    size_t moving;
    size_t frames, lost; /* that should have reached the output, and that did not */
} spw_verifier;

/* verify_plan.c: what the plan says of an input. */
/* The planned output without clamps. */
double spw_planned_line(const spw_planned *planned, double in_us);
/* The slope there. */
double spw_planned_slope(const spw_planned *planned, double in_us);
/* How far the adapter's clock, off by 1.96 times its standard uncertainty, moves us. */
double spw_planned_clock_us(const spw_planned *planned, double us);
/* Inputs this near to where a clamp begins are neither free nor held: counting in ticks
 * and the adapter's clock move the corner. */
double spw_planned_room(const spw_planned *planned, double in_us);
/* Does the plan (or its input clamp) hold the output at this input? -1 low, +1 high, 0 no;
 * `room_us` within the corner counts as neither: 2. */
int spw_planned_clamps(const spw_planned *planned, double in_us, double room_us);
/* Past the corner as planned, wherever the adapter's clock moves it. */
bool spw_planned_past_corner(const spw_planned *planned, double in_us);
/* The clamp that the planned output is nearer to: -1 low, +1 high. */
int spw_planned_nearer_clamp(const spw_planned *planned, double in_us);
/* The clamp that the plan bends into within its room: -1 low output, +1 high; 0 none. */
int spw_planned_corner(const spw_planned *planned, double in_us);
/* A bent plan is undone: an output becomes what a straight line of the whole range would
 * give, so that one line judges both pieces. */
double spw_planned_straightened(const spw_planned *planned, double in_us, double out_us);
/* The tick; 1 us where none is known. */
double spw_planned_tick(const spw_planned *planned);

/* verify_pairs.c: pairs of one capture, and the levels they make. */
spw_status spw_verify_pair_pulses(spw_verifier *f) SPW_CHECKED;
/* verify_levels.c: the levels of pairs at rest, in place of any made before. */
spw_status spw_verify_levels(spw_verifier *f) SPW_CHECKED;
void spw_verify_sort_levels(spw_verifier *f);
/* What the levels say an input becomes: straight between them; NAN without any. */
double spw_verify_expected(const spw_verifier *f, double in_us);
/* verify_holds.c: pairs of two captures, level by level. */
spw_status spw_verify_pair_holds(spw_verifier *f, spw_error *error) SPW_CHECKED;
/* verify_lost.c: frames that did not reach the output, of outputs that keep frames of their own
 * or of two captures. */
void spw_verify_lost_frames(spw_verifier *f);
bool spw_verify_repeats(const spw_verifier *f);
/* verify_exchanged.c: were the two lines given in the wrong order? The plan then turns the
 * outputs into the inputs; both are mean distances, us. */
bool spw_verify_much_better(const spw_planned *planned, double as_given_us, double other_us);
bool spw_verify_exchanged(const spw_verifier *f);
/* verify_line.c: the line through the levels that no clamp holds. */
spw_status spw_verify_fit(spw_verifier *f, spw_error *error) SPW_CHECKED;

/* verify_checks.c */
spw_status spw_verify_judge(spw_verifier *f) SPW_CHECKED;
spw_check *spw_verify_add(spw_verifier *f, const char *name, double value, double limit, int pass,
                          bool matters);
void spw_verify_say(spw_check *c, const char *format, ...) SPW_PRINTF(2, 3);
/* Guard band (JCGM 106): 1 below limit - U95, 0 above limit + U95, else -1. */
int spw_verify_within(double value, double U95, double limit);
/* verify_clamps.c, verify_steps.c */
/* What the fitted line says of the adapter's clock, a factor less 1, and its expanded
 * uncertainty: it moves the whole line by its part of the offset. Kept within what the clock
 * is known to. */
double spw_verify_clock(const spw_verifier *f, double *U);
void spw_verify_check_clamps(spw_verifier *f);
spw_status spw_verify_check_steps(spw_verifier *f) SPW_CHECKED;

#endif
