/* How sure the mean of widths, and of periods, is (JCGM 100). */
#include "pulses/train.h"

#include <math.h>
#include <stdlib.h>

static const double PI = 3.14159265358979323846;

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

/* Phase of the frames against the samples: the sampled edges' best even frame,
 * in samples, and the scatter of the lead edges about it. */
typedef struct phase {
    double frame;   /* samples a frame */
    double scatter; /* samples, rms */
} phase;

static phase phase_of(const double *lead_s, size_t n, double period_us, double resolution_us) {
    double k = 0, sk = 0, st = 0, skk = 0, skt = 0, stt = 0;
    for (size_t i = 0; i < n; i++) { /* t counts from an even frame of period_us: small numbers */
        if (i > 0)
            k += fmax(1, round((lead_s[i] - lead_s[i - 1]) * 1e6 / period_us));
        double t = ((lead_s[i] - lead_s[0]) * 1e6 - k * period_us) / resolution_us;
        sk += k;
        st += t;
        skk += k * k;
        skt += k * t;
        stt += t * t;
    }
    double m = (double)n;
    double vk = skk - sk * sk / m;
    double slope = vk > 0 ? (skt - sk * st / m) / vk : 0;
    double rest = stt - st * st / m - slope * slope * vk;
    return (phase){period_us / resolution_us + slope, sqrt(fmax(0, rest) / fmax(1, m - 2))};
}

/* A width W is counted as floor or ceil of W/T, as the lead edge's phase within
 * its sample says. Over phases x_k the mean count misses W/T by the share of
 * the x_k in an arc of length f = frac(W/T), less f. With random common phase its
 * variance is 2 sum over h >= 1 of (sin(pi h f)/(pi h))^2 |S_h|^2, where
 * S_h = 1/n sum exp(2 pi i h x_k); over all f the sine squared averages 1/2:
 *     u^2 = T^2 sum |S_h|^2 / (pi h)^2.
 * Locked frames have S_h = 1: u = T/sqrt 6. Frames that advance by d samples
 * have |S_h| <= 1/(n |sin(pi h d)|): it averages once whole samples are swept, and
 * does not when d is a simple fraction (60 Hz on a 1 MHz clock visits three phases).
 * Scatter of the edges, sd s samples, damps S_h by exp(-2 (pi h s)^2); what it
 * adds to the widths is Type A. */
double spw_sampling_u(const double *lead_s, size_t n, double period_us, double width_sd_us,
                      double resolution_us) {
    if (!(resolution_us > 0) || n == 0)
        return 0;
    double lead = 0, width = 0, frame = 0;
    if (n >= 3 && period_us > 0) {
        phase p = phase_of(lead_s, n, period_us, resolution_us);
        /* Rounding alone can show a scatter of half a sample: count only what is more. */
        lead = sqrt(fmax(0, p.scatter * p.scatter - 0.25));
        double sd = width_sd_us / resolution_us;
        width = sqrt(fmax(0, sd * sd - 0.25));
        frame = p.frame;
    }
    double sum = 0, shares = 0;
    enum { HARMONICS = 64 };
    for (int h = 1; h <= HARMONICS; h++) {
        double turn = fabs(sin(PI * fmod(h * frame, 1.0)));
        double s = fmin(1, 1 / fmax((double)n * turn, 1e-300));
        double damp = exp(-2 * pow(PI * h, 2) * (lead * lead + width * width));
        double share = 1 / (PI * PI * h * h);
        sum += share * s * s * damp * damp;
        shares += share;
    }
    sum += (1.0 / 6 - shares) / (double)n;
    return resolution_us * sqrt(sum);
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

spw_status spw_width_summary(const spw_recording *recording, const spw_channel *channel,
                             const uint32_t *at, size_t n, double period_us, spw_summary *summary,
                             spw_budget *budget) {
    if (n == 0)
        return SPW_ERR_EMPTY;
    double *v = malloc(n * sizeof *v);
    if (v == NULL)
        return SPW_ERR_MEMORY;
    for (size_t i = 0; i < n; i++)
        v[i] = spw_pulse_width_us(&channel->pulse[at[i]]);
    spw_summary s;
    spw_budget b = {.u_template = recording->template_us, .u_asymmetry = recording->asymmetry_us};
    spw_status status = spw_summarise(v, n, &s);
    if (status == SPW_OK)
        status = spw_type_a(v, n, &b.u_scatter, &b.dof_scatter, &b.n_effective);
    if (status == SPW_OK) {
        for (size_t i = 0; i < n; i++)
            v[i] = channel->pulse[at[i]].lead_s;
        b.u_sampling = recording->read ? recording->resolution_us / sqrt(6.0)
                                       : spw_sampling_u(v, n, period_us, n > 1 ? s.sd : 0,
                                                        recording->resolution_us);
        b.u_timebase = 1e-6 * recording->timebase_ppm * s.mean;
        s.floor = spw_width_floor(recording, channel, at, n);
        spw_component parts[] = {{b.u_scatter, b.dof_scatter},
                                 {b.u_sampling, INFINITY},
                                 {b.u_timebase, INFINITY},
                                 {b.u_template, INFINITY},
                                 {b.u_asymmetry, INFINITY}};
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
