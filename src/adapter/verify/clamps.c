/* Do both clamps hold, and where they should? Judged by levels: one odd pulse decides
 * nothing. */
#include "adapter/verify/verify.h"

#include <math.h>

/* A level is where it is seen within so many standard uncertainties. */
#define LEVEL_K 4.0
#define RECORDING_K 3.0
/* An output past a clamp, where no level was held: so many sd of the outputs' scatter, and so
 * many pulses. */
#define PULSE_K 6.0
#define PULSES 3
/* The least that two recorders, or a recorder's two edges, differ by. */
#define LEAST_US 0.1

typedef struct clamp {
    int side;            /* -1 low, +1 high */
    double limit_us;     /* as the adapter's clock makes it */
    double clock_us;     /* how far the limit is uncertain by that clock */
    double room_us;      /* past the limit: rounding and the recordings */
    double furthest_us;  /* level seen most inside or outside; NAN */
    double off_us, U_us; /* its distance from the limit, outwards; what it is uncertain by, the
                            clock aside */
    double pulses, sum_us, u2_us; /* of the levels held: number, sum, its variance */
} clamp;

double spw_verify_clock(const spw_verifier *f, double *U) {
    const spw_verification *v = f->v;
    const spw_remap *r = &v->planned.remap;
    double most = SPW_VERIFY_K * v->planned.clock_ppm * 1e-6;
    double x = 0.5 * (r->segment[0].from_us + r->segment[r->segments - 1].to_us);
    double off = v->offset_us + v->gain * x - r->offset_us - r->gain * x;
    double u2 =
        v->u_offset_us * v->u_offset_us + x * x * v->u_gain * v->u_gain + 2 * x * v->covariance;
    double first = r->segment[0].offset_us, last = r->segment[r->segments - 1].offset_us;
    double mean = 0.5 * (first + last), clock = off / mean;
    /* a timer locked to its input may be half a tick off in all counts alike */
    double locked = 0.5 * spw_planned_tick(&v->planned) * spw_planned_slope(&v->planned, x);
    double pieces = 0.5 * (last - first) * clock;
    double own = (2 * sqrt(fmax(0, u2)) + fabs(locked) + fabs(pieces)) / fabs(mean);
    if (!(most > 0) || !(own < most)) {
        *U = most;
        return 0;
    }
    *U = own;
    return fmin(fmax(clock, -most), most);
}

static clamp begin(const spw_verifier *f, int side) {
    const spw_planned *plan = &f->v->planned;
    double U, clock = spw_verify_clock(f, &U);
    double limit = side > 0 ? plan->remap.clamp_high_us : plan->remap.clamp_low_us;
    double floor = f->after->width_us.floor > 0 ? f->after->width_us.floor : 0;
    return (clamp){.side = side,
                   .limit_us = limit * (1 + clock),
                   .clock_us = limit * U,
                   .room_us = spw_planned_tick(plan) + RECORDING_K * fmax(floor, LEAST_US),
                   .furthest_us = NAN};
}

static bool is_outside(const clamp *c, double off_us, double U_us) {
    return off_us > c->room_us + c->clock_us + U_us;
}

/* Takes a level in, where it is furthest outside, else furthest inside. */
static void take(clamp *c, double out_us, double u_us, bool held) {
    double off = c->side * (out_us - c->limit_us), U = LEVEL_K * u_us;
    bool outside = is_outside(c, off, U), was_outside = is_outside(c, c->off_us, c->U_us);
    if (!held && !outside)
        return;
    bool further = isnan(c->furthest_us) ||
                   (outside ? !was_outside || off > c->off_us : !was_outside && off < c->off_us);
    if (!further)
        return;
    c->furthest_us = out_us;
    c->off_us = off;
    c->U_us = U;
}

static void take_held(clamp *c, double out_us, double u_us, double pulses) {
    take(c, out_us, u_us, true);
    c->pulses += pulses;
    c->sum_us += pulses * out_us;
    c->u2_us += pulses * u_us * pulses * u_us;
}

/* Outputs past the limit while the input moved, or now and then. */
static void take_pulses(const spw_verifier *f, clamp *c) {
    double scatter = fmax(LEAST_US, isfinite(f->noise_us) ? f->noise_us : 0);
    for (size_t k = 0; k < f->levels; k++)
        scatter = fmax(scatter, f->level[k].clamped ? f->level[k].scatter_us : 0);
    double far[PULSES];
    size_t n = 0; /* the furthest outside, furthest first */
    for (size_t k = 0; k < f->v->pairs; k++) {
        double off = c->side * (f->v->pair[k].out_us - c->limit_us);
        size_t at = n;
        while (at > 0 && far[at - 1] < off)
            at--;
        if (at >= PULSES)
            continue;
        n += n < PULSES;
        for (size_t i = n - 1; i > at; i--)
            far[i] = far[i - 1];
        far[at] = off;
    }
    if (n == PULSES)
        take(c, c->limit_us + c->side * far[PULSES - 1], PULSE_K / LEVEL_K * scatter, false);
}

static clamp look(const spw_verifier *f, int side) {
    clamp c = begin(f, side);
    double sum = 0, moving = 0;
    for (size_t k = 0; k < f->levels; k++) {
        const spw_verify_level *l = &f->level[k];
        if (l->clamped && l->side == side)
            take_held(&c, l->seen_us, l->u_out_us, (double)l->frames);
        else
            take(&c, l->seen_us, l->u_out_us, false);
    }
    if (f->v->method == SPW_VERIFY_PULSES)
        take_pulses(f, &c);
    for (size_t k = 0; k < f->v->pairs && c.pulses < PULSES; k++) {
        const spw_pair *p = &f->v->pair[k];
        sum += p->side == side && p->moving ? p->out_us : 0;
        moving += p->side == side && p->moving;
    }
    if (moving >= PULSES) /* only on the way past */
        take_held(&c, sum / moving, spw_planned_tick(&f->v->planned), moving);
    return c;
}

/* The worst level decides what is a no; where it is too uncertain, all of them a yes. */
static int judge(const clamp *c, double tolerance_us) {
    int pass = spw_verify_within(-c->off_us, c->U_us, tolerance_us);
    double mean = c->sum_us / c->pulses, U = LEVEL_K * sqrt(c->u2_us) / c->pulses;
    if (pass < 0 && spw_verify_within(-c->side * (mean - c->limit_us), U, tolerance_us) > 0)
        pass = 1;
    return pass;
}

/* Where the input runs into the clamp. */
static double corner_of(const spw_remap *r, int side) {
    return (r->gain > 0) == (side > 0) ? r->segment[r->segments - 1].to_us : r->segment[0].from_us;
}

static void check(spw_verifier *f, int side) {
    spw_verification *v = f->v;
    const char *name = side > 0 ? "clamp_high" : "clamp_low";
    double planned = side > 0 ? v->planned.remap.clamp_high_us : v->planned.remap.clamp_low_us;
    double corner = corner_of(&v->planned.remap, side);
    clamp c = look(f, side);
    double seen = side > 0 ? v->clamp_high_us : v->clamp_low_us;
    if (!isnan(c.furthest_us) && is_outside(&c, c.off_us, c.U_us)) {
        spw_check *k = spw_verify_add(f, name, c.furthest_us, planned, 0, true);
        spw_verify_say(k, "an output of %.1f us went beyond the %s clamp of %.1f us", c.furthest_us,
                       side > 0 ? "high" : "low", planned);
        return;
    }
    if (c.pulses < PULSES) {
        spw_check *k = spw_verify_add(f, name, NAN, planned, -1, false);
        spw_verify_say(k,
                       "not tried: move the stick past both ends, horn off; no input went beyond "
                       "%.1f us, where the output is to stay at %.1f us. Where the stick ends "
                       "there, trim or a servo tester goes further",
                       corner, planned);
        return;
    }
    double tolerance = v->planned.tolerance_us + c.clock_us;
    int pass = judge(&c, tolerance);
    spw_check *k =
        spw_verify_add(f, name, isfinite(seen) ? seen : c.furthest_us, planned, pass, true);
    if (pass > 0)
        spw_verify_say(k,
                       "beyond an input of %.1f us the output stays at %.2f us (planned %.1f us)",
                       corner, k->value, planned);
    else
        spw_verify_say(k,
                       "beyond an input of %.1f us the output stays at %.2f us, %.1f us inside the "
                       "planned %.1f us, %s the tolerance of %.1f us",
                       corner, c.furthest_us, -c.off_us, planned,
                       pass == 0 ? "more than" : "too uncertain to judge against", tolerance);
}

void spw_verify_check_clamps(spw_verifier *f) {
    if (!f->v->planned.known)
        return;
    check(f, -1);
    check(f, 1);
}
