/* disturbed: what is said, and with which figures, of recordings in which something changes;
 * and how often something is said of clean ones.
 *
 *   build/tools/disturbed           disturbance x start, 48 kHz, 60 dB, then a verdict
 *   build/tools/disturbed --clean   N clean recordings of all kinds, then how many were told
 *                                   something that is not so
 * --starts 0,10,30,300 seconds, --count N (300), --seed N.
 *
 * Widths are one hold of 72.5 samples. rms, coverage of 2 u and the bound (of the line as
 * disturbed, white noise) are of the pulses from the disturbance on, but for 0.2 s. A row is
 * wrong when a hold is off by more than its U95 or coverage is below 0.90 (but for a drifting
 * clock, which u of a width leaves out); unsaid, when no doubt touches that hold, and no doubt or
 * event that stretch. One that is both is a status of 1. */
#include "sim/edge_trial.h"
#include "sim/rng.h"
#include "spanwright/spanwright.h"

#include <getopt.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct row {
    const char *name;
    sim_disturbance d[2];
    double amplitude; /* 0: the usual */
} row;

static const row rows[] = {
    {"none", {{SIM_LEVEL, .value = 0}}, 0},
    {"level -3 dB", {{SIM_LEVEL, .value = -3}}, 0},
    {"level -9 dB", {{SIM_LEVEL, .value = -9}}, 0},
    {"level -12 dB", {{SIM_LEVEL, .value = -12}}, 0},
    {"level +4 dB, clips", {{SIM_LEVEL, .value = 4}, {SIM_CLIP_HIGH, .value = 0.5}}, 0.4},
    {"level -1 dB in 20 s", {{SIM_LEVEL, .ramp_s = 20, .value = -1}}, 0},
    {"gain -3 dB", {{SIM_GAIN, .value = -3}}, 0},
    {"fall constant 5 us", {{SIM_FALL_US, .value = 5}}, 0},
    {"both constants 5 us", {{SIM_FALL_US, .value = 5}, {SIM_RISE_US, .value = 5}}, 0},
    {"neighbour, -20 dB", {{SIM_CROSSTALK, .value = -20, .width_s = 1.52e-3, .lag_s = 2e-6}}, 0},
    {"soft saturation", {{SIM_SOFT, .value = 0.7}}, 0},
    {"low-pass 15 kHz", {{SIM_LOW_PASS, .value = 15000}}, 0},
    {"clock 2 ppm a second", {{SIM_CLOCK_PPM, .value = 2}}, 0},
    {"512 samples lost", {{SIM_LOST, .count = 512}}, 0},
    {"512 repeated", {{SIM_REPEATED, .count = 512}}, 0},
    {"512 zeroed", {{SIM_ZEROED, .count = 512}}, 0},
    {"pink noise -45 dB", {{SIM_COLOURED, .value = -45}}, 0},
    {"noise below 4 kHz, -45 dB", {{SIM_COLOURED, .value = -45, .hz = 4000}}, 0},
    {"hum -30 dB", {{SIM_MAINS, .value = -30, .hz = 50.02}}, 0},
    {"railway hum -30 dB", {{SIM_MAINS, .value = -30, .hz = 16.7}}, 0},
    {"heights vary by 1 %", {{SIM_HEIGHTS, .value = 0.01}}, 0},
};
enum { ROWS = sizeof rows / sizeof rows[0] };
static const double AFTER_S = 20, CLEAR_S = 0.2;

/* All edges go on to the train; those of the line are kept. */
typedef struct receiver {
    spw_train *train;
    spw_edge *edge;
    size_t n, room;
} receiver;

static spw_status receive(void *context, const spw_edge *edges, size_t n) {
    receiver *r = context;
    for (size_t i = 0; i < n; i++)
        if ((edges[i].flags & (SPW_EDGE_FOUND | SPW_EDGE_LOST)) == 0 && r->n < r->room)
            r->edge[r->n++] = edges[i];
    return spw_train_push(r->train, edges, n);
}

/* Measures a trial whole; the caller clears the channel. */
static bool measure(const sim_trial *t, uint64_t seed, sim_outcome *out, spw_channel *channel) {
    sim_take take;
    if (!sim_take_make(t, seed, &take))
        return false;
    spw_measure_options options = spw_measure_defaults();
    spw_edge_finder *finder = NULL;
    receiver r = {.room = 2 * take.edges + 64};
    r.edge = malloc(r.room * sizeof *r.edge);
    spw_edge_settings settings = {.sample_rate_hz = t->channel.sample_rate_hz, .full_scale = 1};
    *out = (sim_outcome){.wanted = take.edges};
    bool good = r.edge != NULL &&
                spw_train_new(&options, 1 / t->channel.sample_rate_hz, &r.train) == SPW_OK &&
                spw_edge_finder_new(&settings, receive, &r, &finder) == SPW_OK &&
                sim_push(finder, take.samples, take.n, 0) == SPW_OK &&
                spw_edge_finder_finish(finder, &out->report) == SPW_OK;
    good = good && spw_train_finish(r.train, (double)take.n / t->channel.sample_rate_hz, 1,
                                    &out->report, channel) == SPW_OK;
    if (good) {
        sim_take_compare(t, &take, r.edge, r.n, out);
        size_t first = 0;
        while (first + 2 < take.edges && take.edge_s[first] < t->from_s)
            first += 2;
        size_t end = first + 400 < take.edges ? first + 400 : take.edges;
        out->bound_us = sim_channel_bound_us(&take.channel, take.edge_s, end, first, false);
    }
    spw_edge_finder_free(finder);
    spw_train_free(r.train);
    free(r.edge);
    sim_take_free(&take);
    return good;
}

static void words(const spw_channel *c, double from_s, char text[256]) {
    uint32_t seen = c->edge_report.doubts & SPW_DOUBT_NO_SHAPE, events = 0;
    text[0] = '\0';
    for (size_t i = 0; i < c->doubts; i++)
        seen |= c->doubt[i].to_s >= from_s ? c->doubt[i].what : 0;
    for (uint32_t bit = 1; bit != 0 && bit <= seen; bit <<= 1)
        if ((seen & bit) != 0)
            strncat(strcat(text, " "), spw_doubt_name(bit), 20);
    for (size_t i = 0; i < c->events; i++)
        events |= c->event[i].at_s >= from_s - 1 ? 1u << c->event[i].kind : 0;
    for (int kind = 0; kind < 32; kind++)
        if ((events >> kind & 1) != 0 && strlen(text) < 200)
            strncat(strcat(text, " *"), spw_event_kind_name((spw_event_kind)kind), 20);
}

/* Holds that are off by more than they say, without a doubt. */
static size_t holds_off(const spw_channel *c, double width_us) {
    size_t off = 0;
    for (size_t h = 0; h < c->holds; h++)
        off += fabs(c->hold[h].width_us.mean - width_us) > c->hold[h].width_us.U95 &&
               c->hold[h].doubts == 0;
    return off;
}

static bool run_row(const row *r, double start_s, uint64_t seed) {
    sim_trial t = sim_trial_default(48000, 'h', 60);
    sim_disturbance d[2] = {r->d[0], r->d[1]};
    size_t n = r->d[1].value != 0 ? 2 : 1;
    for (size_t i = 0; i < n; i++)
        d[i].at_s = r->d[i].kind == SIM_CLIP_HIGH ? 0 : start_s + (start_s > 0 ? 0.0087 : 0);
    t.channel.disturbance = d;
    t.channel.disturbances = n;
    t.channel.amplitude = r->amplitude > 0 ? r->amplitude : t.channel.amplitude;
    t.pulses = (size_t)((start_s + AFTER_S) / t.frame_s);
    t.from_s = start_s + CLEAR_S;
    sim_outcome o;
    spw_channel channel = {0};
    if (!measure(&t, seed, &o, &channel)) {
        printf("%-26s %5g no memory\n", r->name, start_s);
        return false;
    }
    char text[256];
    words(&channel, start_s, text);
    size_t off = holds_off(&channel, 1e6 * t.width_samples / t.channel.sample_rate_hz);
    /* u of a width is edge timing alone: the clock is in the budget of holds */
    bool timed = r->d[0].kind != SIM_CLOCK_PPM;
    bool wrong = off > 0 || (timed && !(o.coverage >= 0.90) && text[0] == '\0');
    printf("%-26s %5g %8.4f %8.4f %6.2f %+8.4f %8.4f %6.3f %6zu %5zu %7.3f %s%s\n", r->name,
           start_s, o.bound_us, o.rms_us, o.rms_us / o.bound_us, o.bias_us, o.u_us, o.coverage,
           o.missed, channel.holds, o.report.hum_hz, wrong ? "WRONG AND UNSAID" : "", text);
    fflush(stdout);
    spw_channel_clear(&channel);
    return !wrong;
}

/* A clean recording of any kind. */
static sim_trial any_clean(uint64_t seed) {
    static const double rates[] = {8000, 16000, 22050, 32000, 44100, 48000, 96000, 192000};
    static const double frames[] = {20e-3, 1 / 60.0, 1 / 50.02, 22e-3, 18.9e-3, 10e-3, 7e-3};
    static const int bits[] = {8, 16, 16, 24};
    enum { HOLD, LOCKED, SUM, ALTERNATING, MOVING, KINDS };
    sim_rng r = sim_rng_seed(seed);
    double rate = rates[sim_rng_bits(&r) % 8];
    char filter = "hhab"[sim_rng_bits(&r) % 4];
    sim_trial t = sim_trial_default(rate, filter, 40 + 40 * sim_rng_uniform(&r));
    t.frame_s = frames[sim_rng_bits(&r) % 7];
    t.channel.bits = bits[sim_rng_bits(&r) % 4];
    t.channel.amplitude = 0.2 + 0.5 * sim_rng_uniform(&r);
    int poles = 1 + (int)(sim_rng_bits(&r) % 3);
    for (int p = 0; p < poles; p++)
        t.channel.high_pass_hz[p] = pow(200, sim_rng_uniform(&r));
    int kind = (int)(sim_rng_bits(&r) % KINDS);
    double share = sim_rng_uniform(&r);
    t.pulses = rate > 60000 ? 500 : 900;
    t.width_samples = rate * (1e-3 + 1e-3 * share);
    t.locked = kind == LOCKED || kind == ALTERNATING;
    t.alternate_us = kind == ALTERNATING ? 0.5 * pow(40, share) : 0;
    t.moving_us = kind == MOVING ? 300 : 0;
    if (kind == SUM) {
        t.sum_channels = 4 + sim_rng_bits(&r) % 9;
        t.width_samples = rate * (300e-6 + 200e-6 * share);
        t.frame_s = fmax(0.0225, 2e-3 * (double)t.sum_channels + 4e-3);
        t.pulses *= 2;
    }
    return t;
}

/* `no_shape` tells of pulses with too few samples, and is counted by itself. */
static size_t run_clean(size_t count, uint64_t seed) {
    size_t told = 0, coarse = 0, done = 0;
    for (size_t i = 0; i < count; i++) {
        sim_trial t = any_clean(seed + i);
        sim_outcome o;
        if (!sim_trial_run(&t, seed + i, 0, &o))
            continue;
        done++;
        coarse += (o.report.doubts & SPW_DOUBT_NO_SHAPE) != 0;
        uint32_t doubts = o.report.doubts & ~SPW_DOUBT_NO_SHAPE;
        if (doubts == 0 && !(o.report.hum_hz > 0))
            continue;
        told++;
        printf(
            "recording %zu, %g Hz %c %.0f dB, frames %.3f ms, %d bits, corners %.0f %.0f %.0f Hz:",
            (size_t)seed + i, t.channel.sample_rate_hz, t.channel.filter, t.channel.snr_db,
            1e3 * t.frame_s, t.channel.bits, t.channel.high_pass_hz[0], t.channel.high_pass_hz[1],
            t.channel.high_pass_hz[2]);
        for (uint32_t bit = 1; bit != 0 && bit <= doubts; bit <<= 1)
            printf("%s%s", (doubts & bit) != 0 ? " " : "",
                   (doubts & bit) != 0 ? spw_doubt_name(bit) : "");
        printf("%s\n", o.report.hum_hz > 0 ? " hum" : "");
    }
    printf("%zu of %zu clean recordings were told something that is not so (limit 1 in 300); %zu "
           "that no one shape was found\n",
           told, done, coarse);
    return told > count / 300 + 1;
}

int main(int argc, char **argv) {
    static const struct option options[] = {{"clean", no_argument, NULL, 'c'},
                                            {"starts", required_argument, NULL, 's'},
                                            {"count", required_argument, NULL, 'n'},
                                            {"seed", required_argument, NULL, 'S'},
                                            {NULL, 0, NULL, 0}};
    const char *starts = "0,10,30,300";
    size_t count = 300, bad = 0;
    uint64_t seed = 1;
    bool clean = false;
    for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
        if (c == '?')
            return 2;
        clean = clean || c == 'c';
        starts = c == 's' ? optarg : starts;
        count = c == 'n' ? strtoul(optarg, NULL, 10) : count;
        seed = c == 'S' ? strtoul(optarg, NULL, 10) : seed;
    }
    if (clean)
        return run_clean(count, seed) > 0;
    printf("%-26s %5s %8s %8s %6s %8s %8s %6s %6s %5s %7s %s\n", "disturbance", "at_s", "bound_us",
           "rms_us", "ratio", "bias_us", "u_us", "cover", "missed", "holds", "hum_hz", "said");
    for (size_t i = 0; i < ROWS; i++)
        for (const char *at = starts; *at != '\0'; at += strcspn(at, ","), at += *at == ',')
            bad += !run_row(&rows[i], strtod(at, NULL), seed + i);
    printf("wrong and unsaid: %zu\n", bad);
    return bad > 0;
}
