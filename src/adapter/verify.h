/* The parts of a verification. */
#ifndef SPW_ADAPTER_VERIFY_H
#define SPW_ADAPTER_VERIFY_H

#include "spanwright/adapter.h"

/* An adapter answers within so many input frames. */
#define SPW_VERIFY_FRAMES 5
/* Frames after a change of the input in which its answer may still be on its way. */
#define SPW_VERIFY_SETTLING (SPW_VERIFY_FRAMES + 3)

/* A level of the input with all its pairs: what the line is fitted through. */
typedef struct spw_verify_level {
    double in_us, out_us, u_in_us, u_out_us;
    double dof_out;
    size_t frames;
    bool clamped;
    int corner; /* the plan bends into a clamp here: -1 low output, +1 high output, 0 no */
} spw_verify_level;

/* Marks the levels at the plan's corners. */
int spw_planned_corner(const spw_planned *planned, double in_us);

/* Where an input's scatter of sd meets a clamp's corner, the clamp lifts the mean of
 * the output by up to E max(0, z) = 0.4 sd (z normal) times the gain. */
#define SPW_CORNER_SHIFT 0.4

typedef struct spw_verifier {
    const spw_channel *before, *after;
    spw_verification *v;
    spw_verify_level *level;
    size_t levels;
    size_t late;            /* inputs between the latest one and the cause; 0: the latest */
    bool moved;             /* the input moved, as far as outputs tell */
    bool late_known;        /* the input moved enough to tell */
    double noise_us;        /* scatter of an output about the line, inputs at rest */
    double worst_moving_us; /* largest departure while the input moved; NAN */
    size_t moving;
} spw_verifier;

/* verify_pairs.c: pairs of one capture, and the levels they make. */
spw_status spw_verify_pair_pulses(spw_verifier *f) SPW_CHECKED;
/* verify_holds.c: pairs of two captures, level by level. */
spw_status spw_verify_pair_holds(spw_verifier *f, spw_error *error) SPW_CHECKED;
/* verify_line.c: the line through the levels that no clamp holds. */
spw_status spw_verify_fit(spw_verifier *f, spw_error *error) SPW_CHECKED;
/* verify_checks.c */
void spw_verify_judge(spw_verifier *f);

/* The planned output without clamps. */
double spw_planned_line(const spw_planned *planned, double in_us);
/* Does the plan (or its input clamp) hold the output at this input? -1 low, +1 high, 0 no;
 * `room_us` within the corner counts as neither: 2. */
int spw_planned_clamps(const spw_planned *planned, double in_us, double room_us);

#endif
