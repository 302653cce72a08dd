/* Pairs of one capture of both lines: each output pulse with the input pulse that
 * caused it.
 *
 * The latest input whose trail edge came before the output's lead edge is the
 * cause, unless the adapter is late by whole inputs. How many is told by a moving
 * input: the right number makes the outputs follow one line. */
#include "adapter/verify/verify.h"

#include <math.h>
#include <stdlib.h>

/* Departures are cut here before they are squared: one odd pulse decides nothing. */
static const double DEPARTURE_MAX_US = 100;

/* The counted pulses of a channel. */
typedef struct run {
    uint32_t *at;
    size_t n;
} run;

static spw_status counted(const spw_channel *c, run *r) {
    r->at = malloc((c->pulses + 1) * sizeof *r->at);
    r->n = 0;
    if (r->at == NULL)
        return SPW_ERR_MEMORY;
    for (size_t i = 0; i < c->pulses; i++)
        if ((c->pulse[i].flags & SPW_PULSE_OUT) == 0)
            r->at[r->n++] = (uint32_t)i;
    return SPW_OK;
}

/* For each output the number (plus one) of the latest input before it; 0: none. */
static spw_status latest_inputs(const spw_verifier *f, const run *in, const run *out,
                                uint32_t **latest) {
    *latest = malloc((out->n + 1) * sizeof **latest);
    if (*latest == NULL)
        return SPW_ERR_MEMORY;
    size_t i = 0;
    for (size_t j = 0; j < out->n; j++) {
        double lead_s = f->after->pulse[out->at[j]].lead_s;
        while (i < in->n && f->before->pulse[in->at[i]].trail_s <= lead_s)
            i++;
        (*latest)[j] = (uint32_t)i;
    }
    return SPW_OK;
}

static double width_in(const spw_verifier *f, const run *in, size_t i) {
    return spw_pulse_width_us(&f->before->pulse[in->at[i]]);
}

/* Scatter of neighbours' differences, robust: what a change must exceed. */
static spw_status input_noise(const spw_verifier *f, const run *in, double *noise_us) {
    *noise_us = 0;
    if (in->n < 3)
        return SPW_OK;
    double *d = malloc(in->n * sizeof *d);
    if (d == NULL)
        return SPW_ERR_MEMORY;
    for (size_t i = 1; i < in->n; i++)
        d[i - 1] = fabs(width_in(f, in, i) - width_in(f, in, i - 1));
    double median, sd;
    spw_status status = spw_robust_scale(d, in->n - 1, &median, &sd);
    free(d);
    *noise_us = 1.4826 * median / sqrt(2);
    return status;
}

/* still[i]: how many inputs up to i agreed with each other (capped). */
static spw_status stillness(spw_verifier *f, const run *in, uint8_t **still) {
    spw_status status = input_noise(f, in, &f->input_noise_us);
    if (status != SPW_OK)
        return status;
    *still = malloc(in->n + 1);
    if (*still == NULL)
        return SPW_ERR_MEMORY;
    double far = fmax(SPW_VERIFY_CHANGE_US, SPW_VERIFY_CHANGE_SD * f->input_noise_us);
    for (size_t i = 0; i < in->n; i++) {
        bool same = i > 0 && fabs(width_in(f, in, i) - width_in(f, in, i - 1)) <= far;
        unsigned before = i > 0 ? (*still)[i - 1] : 0;
        (*still)[i] = (uint8_t)(same ? (before < 255 ? before + 1 : 255) : 0);
    }
    return SPW_OK;
}

/* Inputs without an output. Those before the first one with an output are none that the
 * adapter lost: it may have come up later than the recorder. */
static void count_lost(spw_verifier *f, const bool *used, size_t n) {
    size_t first = 0;
    while (first < n && !used[first])
        first++;
    f->frames = n - first;
    f->lost = 0;
    for (size_t i = 0; i < n; i++) {
        f->v->unpaired_before += !used[i];
        f->lost += i > first && !used[i];
    }
}

static spw_status make_pairs(spw_verifier *f, const run *in, const run *out, const uint32_t *latest,
                             const uint8_t *still) {
    spw_verification *v = f->v;
    spw_pair *pair = malloc((out->n + 1) * sizeof *pair);
    v->pair = pair;
    double *latency = malloc((out->n + 1) * sizeof *latency);
    bool *used = calloc(in->n + 1, sizeof *used);
    spw_status status = SPW_OK;
    if (pair == NULL || latency == NULL || used == NULL) {
        status = SPW_ERR_MEMORY;
        goto done;
    }
    double frame_us = f->before->period_us.mean;
    for (size_t j = 0; j < out->n; j++) {
        const spw_pulse *o = &f->after->pulse[out->at[j]];
        if (latest[j] <= f->late) {
            v->unpaired_after += j > 0; /* the first may answer an input before the capture */
            continue;
        }
        size_t i = latest[j] - 1 - f->late;
        const spw_pulse *p = &f->before->pulse[in->at[i]];
        double late_s = o->lead_s - p->trail_s;
        if (late_s * 1e6 > (SPW_VERIFY_FRAMES + 1) * frame_us) {
            v->unpaired_after++;
            continue;
        }
        used[i] = true;
        latency[v->pairs] = late_s * 1e3;
        v->pair[v->pairs++] = (spw_pair){.at_s = o->lead_s,
                                         .in_us = spw_pulse_width_us(p),
                                         .out_us = spw_pulse_width_us(o),
                                         .u_in_us = (double)p->u_width_us,
                                         .u_out_us = (double)o->u_width_us,
                                         .frames = 1,
                                         .moving = still[i] < SPW_VERIFY_SETTLING};
    }
    count_lost(f, used, in->n > 1 + f->late ? in->n - 1 - f->late : 0);
    if (v->pairs > 0)
        status = spw_summarise(latency, v->pairs, &v->latency_ms);
done:
    free(latency);
    free(used);
    return status;
}

/* Marks where the plan says that a clamp holds a pair, or that one begins there. */
static void mark_sides(spw_verifier *f) {
    spw_verification *v = f->v;
    for (size_t k = 0; k < v->pairs && v->planned.known; k++) {
        spw_pair *p = &v->pair[k];
        p->side =
            spw_planned_clamps(&v->planned, p->in_us, spw_planned_room(&v->planned, p->in_us));
        p->clamped = abs(p->side) == 1;
    }
}

/* Pairs and levels for f->late, in place of any made before. */
static spw_status pair_up(spw_verifier *f, const run *in, const run *out, const uint32_t *latest,
                          const uint8_t *still) {
    free(f->v->pair);
    f->v->pair = NULL;
    f->v->pairs = f->v->unpaired_before = f->v->unpaired_after = 0;
    spw_status status = make_pairs(f, in, out, latest, still);
    if (status != SPW_OK)
        return status;
    mark_sides(f);
    return spw_verify_levels(f);
}

/* Mean square departure from what the levels say, when each output's cause lies
 * `late` inputs back. */
static double misfit(const spw_verifier *f, const run *in, const run *out, const uint32_t *latest,
                     size_t late) {
    double sum = 0, count = 0;
    for (size_t j = 0; j < out->n; j++) {
        if (latest[j] <= SPW_VERIFY_FRAMES)
            continue;
        double us = spw_pulse_width_us(&f->after->pulse[out->at[j]]);
        double off = fabs(us - spw_verify_expected(f, width_in(f, in, latest[j] - 1 - late)));
        off = fmin(off, DEPARTURE_MAX_US);
        sum += off * off;
        count += 1;
    }
    return count > 0 ? sum / count : INFINITY;
}

static void find_lateness(spw_verifier *f, const run *in, const run *out, const uint32_t *latest) {
    double best = INFINITY, second = INFINITY, rest = 0, count = 0;
    f->late = 0;
    for (size_t k = 0; k < f->v->pairs; k++) {
        const spw_pair *p = &f->v->pair[k];
        double off = p->moving ? 0 : p->out_us - spw_verify_expected(f, p->in_us);
        rest += off * off;
        count += !p->moving;
    }
    for (size_t late = 0; late <= SPW_VERIFY_FRAMES; late++) {
        double m = misfit(f, in, out, latest, late);
        if (m < best) {
            second = best;
            best = m;
            f->late = late;
        } else {
            second = fmin(second, m);
        }
    }
    /* One smoothing over several frames fits no lateness; it was seen to move all the same. */
    f->moved = f->levels > 1 && second > 2 * rest / fmax(1, count) + 1;
    f->late_known = f->levels > 1 && second > 1.2 * best + 1e-6;
    if (!f->late_known)
        f->late = 0;
}

spw_status spw_verify_pair_pulses(spw_verifier *f) {
    run in = {0}, out = {0};
    uint32_t *latest = NULL;
    uint8_t *still = NULL;
    spw_status status = counted(f->before, &in);
    if (status == SPW_OK)
        status = counted(f->after, &out);
    if (status == SPW_OK)
        status = latest_inputs(f, &in, &out, &latest);
    if (status == SPW_OK)
        status = stillness(f, &in, &still);
    if (status == SPW_OK)
        status = pair_up(f, &in, &out, latest, still);
    if (status == SPW_OK) /* levels at rest are the same however late the adapter is */
        find_lateness(f, &in, &out, latest);
    if (status == SPW_OK && f->late > 0)
        status = pair_up(f, &in, &out, latest, still);
    free(in.at);
    free(out.at);
    free(latest);
    free(still);
    return status;
}
