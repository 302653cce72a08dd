/* What the parts of a plan share while it is made. */
#ifndef SPW_ADAPTER_PLANNING_H
#define SPW_ADAPTER_PLANNING_H

#include "spanwright/adapter.h"

typedef struct spw_planner {
    const spw_span *span;
    const spw_bench *bench;
    spw_plan *plan;
    bool failed;                    /* an allocation failed */
    double target_low, target_high; /* the expected span within what the joint allows */
    bool allowed_narrows;           /* the joint's limits made it narrower */
    spw_end low, high;              /* verdicts against the target */
    bool other_servo;               /* the source drives another kind of servo */
    bool frame_fits;                /* longest output and gap within the shortest frame */
    const char *cure; /* of the doubt that asks to measure again; NULL: frames or holds lack */
} spw_planner;

/* sentences.c: a sentence goes to the plan, which owns it; the text is emptied. */
void spw_planner_advise(spw_planner *p, spw_advice_do what, spw_text *why);
void spw_planner_caution(spw_planner *p, spw_text *text);
void spw_planner_recipe(spw_planner *p, spw_text *text);
void spw_planner_decide(spw_planner *p, spw_decision decision, spw_text *summary);
void spw_plan_sort_advice(spw_plan *plan);

/* remap.c */
/* Degrees of the servo a microsecond; NAN when travel_deg is not told. */
double spw_servo_deg_per_us(const spw_servo *servo);
/* The expected span within the joint's allowed angles. False when nothing is left. */
bool spw_planner_target(spw_planner *p);
/* Whether the servo's neutral lies inside the target. */
bool spw_planner_neutral_inside(const spw_planner *p);
/*   limit  gain 1, clamps only */
spw_remap spw_remap_make(const spw_planner *p, bool limit);

/* effect.c */
/* A servo that leaves its dead band more often than this by noise alone hunts. */
#define SPW_HUNTS_A_MINUTE 1.0

spw_effect spw_effect_none(void);
spw_effect spw_effect_before(const spw_planner *p);
spw_effect spw_effect_after(const spw_planner *p, const spw_remap *remap);

/* joint.c */
void spw_planner_joint(spw_planner *p);

/* decide.c: decision and remap. */
void spw_planner_choose(spw_planner *p);
/* Whether an end misses (-1 low, +1 high; 0 either) with this verdict against the target. */
bool spw_planner_end_is(const spw_planner *p, int sign, spw_end_verdict verdict);
/* What an end (-1 low, +1 high; 0 either) goes beyond. */
spw_bound_by spw_planner_beyond(const spw_planner *p, int sign);
/* Whether what was asked for at an end (-1 low, +1 high) did not reach the wire:
 * the source limits it. */
bool spw_planner_clamped(const spw_planner *p, int sign);
/* Whether a setting of the controller can close the gap: it may be changed, and
 * the wire does not show that it limits what it is told. */
bool spw_planner_setting_helps(const spw_planner *p);
/* Whether the widths are off by a clock's factor. */
bool spw_planner_clock_off(const spw_planner *p);

/* advise.c, settings.c: the advice that goes with the decision. */
void spw_planner_advice(spw_planner *p);
void spw_planner_advise_clock(spw_planner *p);
void spw_planner_advise_settings(spw_planner *p);

/* advise_odd.c */
void spw_planner_advise_odd(spw_planner *p);

/* again.c: a reason to measure again before anything is decided (true: *why has
 * it), and the recipe. */
bool spw_planner_cannot_tell(spw_planner *p, spw_text *why);
void spw_planner_again(spw_planner *p, spw_text *why);

/* doubt.c */
/* Whether a doubt leaves an end undecided, or neutral where it is needed: *why has the reason
 * and p->cure what to do. */
bool spw_planner_in_doubt(spw_planner *p, spw_text *why);
/* Doubts that decide nothing but are to be known. */
void spw_planner_doubt_cautions(spw_planner *p);

/* wire.c: what an inverted line means. */
void spw_planner_advise_wire(spw_planner *p);

/* special.c: servos that a wider range does not help. True when it decided. */
bool spw_planner_special(spw_planner *p);

/* cautions.c */
void spw_planner_cautions(spw_planner *p);

#endif
