/* Do the outputs move in coarser steps than planned?
 *
 * Outputs on a lattice of step S have one phase: |mean exp(2 pi i out / S)| is 1. What a
 * sound adapter would have sent for the same inputs is asked the same question, as a gain of
 * 2 sends every second tick by itself. */
#include "adapter/verify/verify.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

/* Steps that are looked for, in ticks. */
#define COARSEST_TICKS 16.0
#define FINEST_TICKS 1.6
/* On a lattice, and plainly more so than a sound adapter. */
#define ON_LATTICE 0.8
#define MORE_THAN_SOUND 0.4
/* The planned tick itself shows: coarser steps would, too. */
#define TICK_SHOWS 0.5
/* The chance that so many different outputs lie on one of the steps that are looked at
 * (Rayleigh: exp(-n R^2) for each) is not above this. */
#define CHANCE 1e-2
/* A recorder's own step must be this part of the step that is looked for. */
#define RECORDER_PART 0.35
/* Steps are looked at so far apart that the phase of the outermost outputs turns by this. */
#define TURN 0.25
/* Steps that are so many looks apart belong to one top; another is higher only by this. */
#define BESIDE 6
#define PLAINLY 0.05
/* Pairs that are looked at. */
#define PAIRS_MAX 200
/* Clocks are never known better than this. */
#define RECORDERS_CLOCK 1e-4

typedef struct outputs {
    double *us;         /* seen */
    double *low, *high; /* a sound adapter's, for the counts below and above the input */
    double *share;      /* of the higher count */
    size_t n;
    double range_us;
    size_t different; /* of a sound adapter */
} outputs;

/* The rounded output of a count. */
static double sound_output(const spw_planned *plan, double count) {
    double tick = plan->tick_us;
    return tick * round(spw_remap_apply(&plan->remap, count * tick) / tick);
}

static spw_status collect(const spw_verifier *f, outputs *o) {
    const spw_verification *v = f->v;
    size_t room = PAIRS_MAX + 1, every = v->pairs / PAIRS_MAX + 1;
    double low = INFINITY, high = -INFINITY;
    *o = (outputs){.us = malloc(4 * room * sizeof *o->us)};
    if (o->us == NULL)
        return SPW_ERR_MEMORY;
    o->low = o->us + room;
    o->high = o->low + room;
    o->share = o->high + room;
    for (size_t k = 0; k < v->pairs && o->n < PAIRS_MAX; k += every) {
        const spw_pair *p = &v->pair[k];
        if (p->clamped)
            continue;
        double count = floor(p->in_us / v->planned.tick_us);
        o->us[o->n] = p->out_us;
        o->low[o->n] = sound_output(&v->planned, count);
        o->high[o->n] = sound_output(&v->planned, count + 1);
        o->share[o->n++] = p->in_us / v->planned.tick_us - count;
        low = fmin(low, p->out_us);
        high = fmax(high, p->out_us);
    }
    o->range_us = o->n > 0 ? high - low : 0;
    return SPW_OK;
}

static double complex phase(double us, double step_us) {
    return cexp(2 * M_PI * I * fmod(us / step_us, 1));
}

static double seen_on(const outputs *o, double step_us) {
    double complex sum = 0;
    for (size_t k = 0; k < o->n; k++)
        sum += phase(o->us[k], step_us);
    return cabs(sum) / (double)o->n;
}

/* The same of a sound adapter's outputs, whose lattice may be the gain's: largest within a part
 * of the step on both sides. */
static double sound_on(const outputs *o, double step_us, double part) {
    int reach = (int)ceil(o->range_us / step_us * part / TURN);
    double best = 0;
    for (int t = -reach; t <= reach; t++) {
        double step = step_us * (1 + part * t / reach);
        double complex sum = 0;
        for (size_t k = 0; k < o->n; k++)
            sum +=
                (1 - o->share[k]) * phase(o->low[k], step) + o->share[k] * phase(o->high[k], step);
        best = fmax(best, cabs(sum) / (double)o->n);
    }
    return best;
}

static int upwards(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static spw_status count_different(outputs *o, double tick_us) {
    double *sorted = malloc((o->n + 1) * sizeof *sorted), last = -INFINITY;
    if (sorted == NULL)
        return SPW_ERR_MEMORY;
    for (size_t k = 0; k < o->n; k++)
        sorted[k] = o->share[k] < 0.5 ? o->low[k] : o->high[k];
    qsort(sorted, o->n, sizeof *sorted, upwards);
    for (size_t k = 0; k < o->n; k++)
        if (sorted[k] - last > tick_us / 2) {
            last = sorted[k];
            o->different++;
        }
    free(sorted);
    return SPW_OK;
}

/* Whether outputs of one phase to this degree are on a lattice, of so many steps looked at, and
 * a sound adapter's would not be. */
static bool on_lattice(const outputs *o, double step_us, double seen, double looked, double clock) {
    return seen > ON_LATTICE && looked * exp(-(double)o->different * seen * seen) < CHANCE &&
           seen - sound_on(o, step_us, clock) > MORE_THAN_SOUND;
}

/* The coarsest multiple of the tick; as the adapter's clock, a factor less 1, may stretch it. */
static double coarse_multiple(const outputs *o, double tick_us, double finest_us, double clock) {
    double found = NAN;
    for (int m = 2; m <= (int)COARSEST_TICKS; m++) {
        double step = m * tick_us, best = 0, at = step;
        int reach = (int)ceil(o->range_us / step * clock / TURN);
        for (int t = -reach; t <= reach; t++) {
            double stretched = step * (1 + clock * t / fmax(reach, 1));
            double seen = seen_on(o, stretched);
            at = seen > best ? stretched : at;
            best = fmax(best, seen);
        }
        if (step >= finest_us && on_lattice(o, at, best, COARSEST_TICKS * (2 * reach + 1), clock))
            found = at;
    }
    return found;
}

/* The outputs' phases at a frequency, each turned on to the next one in a multiplication. */
typedef struct phases {
    double complex *at, *turn; /* n each */
} phases;

/* The same for any step. Finer ones that divide it are as good; one is better only where it
 * is plainly so, or where it lies beside. */
static double coarse_step(const outputs *o, double tick_us, double finest_us, double clock,
                          const phases *p) {
    double coarsest = 1 / (COARSEST_TICKS * tick_us);
    double finest = 1 / fmax(FINEST_TICKS * tick_us, finest_us);
    double apart = TURN / fmax(o->range_us, tick_us), found = NAN, most = 0;
    double looked = fmax((finest - coarsest) / apart * TURN, 1); /* a whole turn apart */
    for (size_t k = 0; k < o->n; k++) {
        p->at[k] = phase(o->us[k], 1 / coarsest);
        p->turn[k] = phase(o->us[k], 1 / apart);
    }
    size_t looks = finest > coarsest ? (size_t)((finest - coarsest) / apart) + 1 : 1;
    for (size_t i = 0; i < looks; i++) {
        double f = coarsest + (double)i * apart;
        double complex sum = 0;
        for (size_t k = 0; k < o->n; k++) {
            sum += p->at[k];
            p->at[k] *= p->turn[k];
        }
        double seen = cabs(sum) / (double)o->n;
        bool beside = f - 1 / found < BESIDE * apart;
        if (seen > most + (beside ? 0 : PLAINLY) && on_lattice(o, 1 / f, seen, looked, clock)) {
            found = 1 / f;
            most = seen;
        }
    }
    return found;
}

static spw_status look(const spw_verifier *f, outputs *o, double *found, bool *shows) {
    double tick = f->v->planned.tick_us;
    double recorder = f->after->resolution_us > 0 ? f->after->resolution_us : 0;
    double clock = fmax(SPW_VERIFY_K * f->v->planned.clock_ppm * 1e-6, RECORDERS_CLOCK);
    phases p = {.at = malloc(2 * (o->n + 1) * sizeof *p.at)};
    spw_status status = p.at != NULL ? count_different(o, tick) : SPW_ERR_MEMORY;
    if (status == SPW_OK && o->n > 0) {
        p.turn = p.at + o->n;
        *found = coarse_multiple(o, tick, recorder / RECORDER_PART, clock);
        if (isnan(*found))
            *found = coarse_step(o, tick, recorder / RECORDER_PART, clock, &p);
        *shows = false;
        double reach = ceil(o->range_us / tick * clock / TURN);
        for (double t = -reach; t <= reach && recorder <= RECORDER_PART * 2 * tick; t++)
            *shows |= seen_on(o, tick * (1 + clock * t / fmax(reach, 1))) > TICK_SHOWS;
    }
    free(p.at);
    return status;
}

spw_status spw_verify_check_steps(spw_verifier *f) {
    const spw_verification *v = f->v;
    double tick = v->planned.tick_us, found = NAN;
    bool shows = false;
    outputs o;
    bool possible = tick >= SPW_TICK_US_MIN && tick <= SPW_TICK_US_MAX;
    if (!v->planned.known || !possible || v->method != SPW_VERIFY_PULSES)
        return SPW_OK;
    spw_status status = collect(f, &o);
    if (status == SPW_OK)
        status = look(f, &o, &found, &shows);
    free(o.us);
    if (status != SPW_OK)
        return status;
    bool coarse = isfinite(found);
    spw_check *c = spw_verify_add(f, "steps",
                                  coarse  ? found
                                  : shows ? tick
                                          : (double)NAN,
                                  tick,
                                  coarse  ? 0
                                  : shows ? 1
                                          : -1,
                                  false);
    if (coarse)
        spw_verify_say(c, "the outputs lie on steps of %.4g us; %.4g us was planned", found, tick);
    else if (shows)
        spw_verify_say(c, "the outputs lie on no coarser steps than the planned %.4g us", tick);
    else
        spw_verify_say(
            c, "not told: no step shows; the outputs scatter, are too few different ones or "
               "the recorder is too coarse");
    return SPW_OK;
}
