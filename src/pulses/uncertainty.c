/* How sure the mean of widths, and of periods, is (JCGM 100). */
#include "pulses/train.h"

#include <math.h>
#include <stdlib.h>

spw_recording spw_recording_of(const spw_train *train, const spw_edge_report *report) {
    spw_recording r = {.timebase_ppm = train->timebase_ppm, .analogue = report != NULL};
    if (report != NULL) {
        r.template_us = report->u_template_us > 0 ? report->u_template_us : 0;
        r.asymmetry_us = report->u_asymmetry_us > 0 ? report->u_asymmetry_us : 0;
    }
    /* Edges counted in samples are as coarse as those of a logic recorder. */
    bool counted = report == NULL || report->method == SPW_METHOD_SAMPLES;
    if (counted && train->resolution_us > 0)
        r.resolution_us = train->resolution_us;
    r.read = train->read;
    r.instant_us = !train->read ? r.resolution_us : train->instant_us > 0 ? train->instant_us : 0;
    return r;
}

double spw_width_floor(const spw_recording *recording, const spw_channel *channel,
                       const uint32_t *at, size_t n) {
    if (!recording->analogue) /* two edges of unknown phase: T^2/12 each */
        return recording->resolution_us / sqrt(6.0);
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += (double)channel->pulse[at[i]].u_width_us;
    return n > 0 ? sum / (double)n : (double)NAN;
}

static void combine(const spw_component *parts, size_t n, spw_summary *summary) {
    spw_combine(parts, n, &summary->u, &summary->dof);
    summary->U95 = spw_coverage_factor(0.95, summary->dof) * summary->u;
}

/* A level that moves by no more than the recording's step is told by u_sampling. */
static const double STEPS = 1.05;

static void add_wander(const spw_recording *recording, const double *v, size_t n, spw_budget *b) {
    spw_wander wander = spw_wander_of(v, n, b->u_scatter, b->n_effective, recording->wanders);
    bool any = wander.range > STEPS * recording->resolution_us;
    b->wander_us = any ? wander.range : 0;
    b->u_wander = any ? wander.u : 0;
    b->dof_wander = any ? wander.dof : (double)INFINITY;
    if (any) {
        b->u_scatter = wander.u_rest;
        b->dof_scatter = wander.dof_rest;
    }
}

spw_status spw_width_summary(const spw_recording *recording, const spw_channel *channel,
                             const uint32_t *at, size_t n, double period_us, spw_summary *summary,
                             spw_budget *budget) {
    if (n == 0)
        return SPW_ERR_EMPTY;
    double *v = malloc(2 * n * sizeof *v);
    if (v == NULL)
        return SPW_ERR_MEMORY;
    double *lead_s = v + n;
    for (size_t i = 0; i < n; i++) {
        v[i] = spw_pulse_width_us(&channel->pulse[at[i]]);
        lead_s[i] = channel->pulse[at[i]].lead_s;
    }
    spw_summary s;
    spw_budget b = {.u_template = recording->template_us, .u_asymmetry = recording->asymmetry_us};
    spw_status status = spw_summarise(v, n, &s);
    if (status == SPW_OK)
        status = spw_type_a(v, n, &b.u_scatter, &b.dof_scatter, &b.n_effective);
    if (status == SPW_OK) {
        b.u_sampling = recording->read ? recording->resolution_us / sqrt(6.0)
                                       : spw_sampling_u(lead_s, v, n, period_us,
                                                        recording->resolution_us, b.u_scatter);
        add_wander(recording, v, n, &b);
        b.u_timebase = 1e-6 * recording->timebase_ppm * s.mean;
        s.floor = spw_width_floor(recording, channel, at, n);
        spw_component parts[] = {{b.u_scatter, b.dof_scatter}, {b.u_wander, b.dof_wander},
                                 {b.u_sampling, INFINITY},     {b.u_timebase, INFINITY},
                                 {b.u_template, INFINITY},     {b.u_asymmetry, INFINITY}};
        if (n > 1)
            combine(parts, sizeof parts / sizeof parts[0], &s);
        *summary = s;
        *budget = b;
    }
    free(v);
    return status;
}

spw_status spw_period_uncertainty(const spw_recording *recording, const double *period_us, size_t n,
                                  double lead_scatter_us, spw_summary *summary) {
    double u = NAN, dof = NAN, effective = 0;
    spw_status status = spw_type_a(period_us, n, &u, &dof, &effective);
    if (status != SPW_OK)
        return status;
    double quantum_us = recording->instant_us;
    /* A source that keeps an even grid: the edges scatter about it and periods
     * are anticorrelated; the mean is (last - first)/n and knows the scatter of two
     * edges only. A source that waits a frame after each frame drifts off the
     * grid: Type A of the periods. Told apart by the edges about the grid. */
    bool even = n >= 30 && (lead_scatter_us < 1.5 * summary->sd ||
                            lead_scatter_us <= fmax(0.6 * quantum_us, 1e-9));
    double own = quantum_us / sqrt(6.0) / (double)n;
    if (even) {
        u = sqrt(2.0) * fmax(lead_scatter_us, 0) / (double)n;
        dof = (double)n - 1;
    }
    if (n > 1) {
        spw_component parts[] = {
            {u, dof}, {own, INFINITY}, {1e-6 * recording->timebase_ppm * summary->mean, INFINITY}};
        combine(parts, 3, summary);
    }
    summary->floor = recording->analogue ? (double)NAN : quantum_us / sqrt(6.0);
    return SPW_OK;
}
