#include "support/measured.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static void need(bool good, const char *what) {
    if (good)
        return;
    fprintf(stderr, "measured: %s failed\n", what);
    abort();
}

spw_channel measured_changes(const spw_change *changes, size_t n, double resolution_s, double end_s,
                             const spw_measure_options *options) {
    spw_measure_options o = spw_measure_defaults();
    o.timebase_ppm = 0;
    spw_train *train = NULL;
    need(spw_train_new(options != NULL ? options : &o, resolution_s, &train) == SPW_OK, "new");
    spw_logic_edges logic = spw_logic_edges_start(resolution_s);
    spw_edge edge;
    for (size_t i = 0; i < n; i++)
        if (spw_logic_edges_step(&logic, changes[i].time_s, changes[i].level, &edge))
            need(spw_train_push(train, &edge, 1) == SPW_OK, "push");
    spw_channel channel;
    need(spw_train_finish(train, end_s, 1, NULL, &channel) == SPW_OK, "finish");
    spw_train_free(train);
    return channel;
}

spw_channel measured_train(const sim_train *train, double rate_hz, double phase,
                           const spw_measure_options *options) {
    spw_change *changes = NULL;
    size_t n = sim_train_changes(train, rate_hz, phase, 0, &changes);
    need(n > 0, "changes");
    spw_channel channel =
        measured_changes(changes, n, rate_hz > 0 ? 1 / rate_hz : 0, train->end_s, options);
    free(changes);
    return channel;
}

spw_channel measured(const sim_train_spec *spec, double rate_hz, double phase,
                     const spw_measure_options *options) {
    sim_train *train = sim_train_make(spec);
    need(train != NULL, "make");
    spw_channel channel = measured_train(train, rate_hz, phase, options);
    sim_train_free(train);
    return channel;
}

static double counted_at(double at_s, double rate_hz, double phase) {
    return rate_hz > 0 ? ceil(at_s * rate_hz - phase) / rate_hz : at_s;
}

spw_channel measured_widths(const double *us, size_t n, double period_us, double rate_hz,
                            double phase) {
    spw_change *change = malloc((2 * n + 1) * sizeof *change);
    need(change != NULL, "changes");
    change[0] = (spw_change){0, 0, SPW_LEVEL_LOW};
    for (size_t i = 0; i < n; i++) {
        double lead_s = 0.01 + period_us * 1e-6 * (double)i;
        change[2 * i + 1] = (spw_change){counted_at(lead_s, rate_hz, phase), 0, SPW_LEVEL_HIGH};
        change[2 * i + 2] =
            (spw_change){counted_at(lead_s + us[i] * 1e-6, rate_hz, phase), 0, SPW_LEVEL_LOW};
    }
    spw_channel channel = measured_changes(change, 2 * n + 1, rate_hz > 0 ? 1 / rate_hz : 0,
                                           0.01 + period_us * 1e-6 * (double)n, NULL);
    free(change);
    return channel;
}

size_t measured_events(const spw_channel *channel, spw_event_kind kind, uint64_t *sum) {
    size_t n = 0;
    uint64_t total = 0;
    for (size_t i = 0; i < channel->events; i++) {
        if (channel->event[i].kind != kind)
            continue;
        n++;
        total += channel->event[i].count;
    }
    if (sum != NULL)
        *sum = total;
    return n;
}

bool near(double a, double b, double tolerance) {
    if (fabs(a - b) <= tolerance)
        return true;
    fprintf(stderr, "%.9g is not within %.3g of %.9g\n", a, tolerance, b);
    return false;
}

void measured_print(const spw_channel *c) {
    fprintf(stderr, "%s %s (%s)%s%s; %zu pulses, %zu counted, period %.4f sd %.4f u %.5f\n",
            spw_signal_name(c->signal), spw_polarity_name(c->polarity),
            spw_polarity_basis_name(c->polarity_basis), c->reason != NULL ? ": " : "",
            c->reason != NULL ? c->reason : "", c->pulses, c->counted, c->period_us.mean,
            c->period_us.sd, c->period_us.u);
    fprintf(stderr, "width %.4f sd %.4f u %.5f U95 %.5f floor %.4f; lead %.4f trail %.4f\n",
            c->width_us.mean, c->width_us.sd, c->width_us.u, c->width_us.U95, c->width_us.floor,
            c->lead_jitter_us, c->trail_jitter_us);
    for (size_t i = 0; i < c->regimes; i++)
        fprintf(stderr, "  regime %.4f..%.4f s %zu frames of %.4f us%s\n", c->regime[i].start_s,
                c->regime[i].end_s, c->regime[i].frames, c->regime[i].period_us,
                i == c->main_regime ? " (main)" : "");
    for (size_t i = 0; i < c->holds; i++)
        fprintf(stderr,
                "  hold %.4f..%.4f s [%zu,%zu) %zu pulses %.4f us sd %.4f U95 %.5f (A %.5f neff "
                "%.1f sampling %.5f base %.5f) drift %.4f\n",
                c->hold[i].start_s, c->hold[i].end_s, c->hold[i].first_pulse, c->hold[i].end_pulse,
                c->hold[i].pulses, c->hold[i].width_us.mean, c->hold[i].width_us.sd,
                c->hold[i].width_us.U95, c->hold[i].budget.u_scatter, c->hold[i].budget.n_effective,
                c->hold[i].budget.u_sampling, c->hold[i].budget.u_timebase,
                c->hold[i].drift_us_per_s);
    for (size_t i = 0; i < c->events && i < 40; i++)
        fprintf(stderr, "  event %s at %.5f count %llu value %.2f\n",
                spw_event_kind_name(c->event[i].kind), c->event[i].at_s,
                (unsigned long long)c->event[i].count, c->event[i].value_us);
    for (size_t i = 0; i < c->warnings.n; i++)
        fprintf(stderr, "  warning: %s\n", c->warnings.text[i]);
}

static spw_status to_train(void *context, const spw_edge *edges, size_t n) {
    return spw_train_push(context, edges, n);
}

spw_channel measured_samples(const float *samples, size_t n, double rate_hz,
                             const spw_measure_options *options) {
    spw_measure_options o = spw_measure_defaults();
    o.timebase_ppm = 0;
    spw_train *train = NULL;
    need(spw_train_new(options != NULL ? options : &o, 1 / rate_hz, &train) == SPW_OK, "new");
    spw_edge_settings settings = {.sample_rate_hz = rate_hz, .full_scale = 1};
    spw_edge_finder *finder = NULL;
    spw_edge_report report;
    need(spw_edge_finder_new(&settings, to_train, train, &finder) == SPW_OK, "finder");
    need(spw_edge_finder_push(finder, samples, n) == SPW_OK, "samples");
    need(spw_edge_finder_finish(finder, &report) == SPW_OK, "report");
    spw_channel channel;
    need(spw_train_finish(train, (double)n / rate_hz, 1, &report, &channel) == SPW_OK, "finish");
    spw_edge_finder_free(finder);
    spw_train_free(train);
    return channel;
}
