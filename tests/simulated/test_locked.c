/* Do 95 % intervals hold the truth where frames keep, or nearly keep, their phase against the
 * recorder's samples, and one edge or both jitter? Frames on the samples themselves, at a
 * random phase, at simple fractions of a sample, 0.3 to 30 ppm off, free. */
#include "sim/rng.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { HOLDS = 40, FRAMES = 60, TRAINS = 5, PULSES = HOLDS * FRAMES };

typedef enum which { TRAIL, LEAD, BOTH } which;
static const char *const said[] = {"trail", "lead", "both"};

typedef struct lock {
    const char *what;
    double period_us; /* at 1 MHz; at 100 kHz ten times its fraction of a sample */
    bool on_samples;
} lock;

static const lock locks[] = {
    {"on the samples", 20000, true},
    {"locked, any phase", 20000, false},
    {"two phases", 20000.5, true},
    {"three phases (60 Hz)", 16666 + 2 / 3.0, true},
    {"0.3 ppm", 20000 * (1 + 0.3e-6), true},
    {"1 ppm", 20000 * (1 + 1e-6), true},
    {"3 ppm", 20000 * (1 + 3e-6), true},
    {"30 ppm", 20000 * (1 + 30e-6), true},
    {"free", 20003.7123, false},
};
static const double jitters[] = {0, 0.1, 0.3, 0.4, 0.6, 1, 3};
enum { LOCKS = sizeof locks / sizeof locks[0], JITTERS = sizeof jitters / sizeof jitters[0] };

/* What an edge at s seconds is counted as: the first sample at or after it. */
static double counted(double s, double step_s, double phase) {
    return ceil(s / step_s - phase - 1e-7) * step_s;
}

/* One train of holds that jump between widths of any fraction; *covered of *holds. */
static void one_train(const lock *l, double step_us, double jitter, which edges, sim_rng *rng,
                      size_t *covered, size_t *holds) {
    double step_s = step_us * 1e-6, widths_us[HOLDS];
    double phase = l->on_samples ? 1e-4 : sim_rng_uniform(rng);
    double whole_us = round(l->period_us);
    double period_s = (whole_us + (l->period_us - whole_us) * step_us) * 1e-6;
    spw_change *changes = malloc((2 * PULSES + 1) * sizeof *changes);
    assert_non_null(changes);
    changes[0] = (spw_change){0, 0, SPW_LEVEL_LOW};
    for (size_t i = 0; i < PULSES; i++) {
        size_t h = i / FRAMES;
        if (i % FRAMES == 0)
            widths_us[h] = (h % 2 == 0 ? 1000 : 1900) + 100 * sim_rng_uniform(rng);
        double off_s = jitter * step_s * sim_rng_normal(rng);
        double lead_s = 0.1 + (double)i * period_s, trail_s = lead_s + widths_us[h] * 1e-6;
        lead_s += edges == TRAIL ? 0 : off_s;
        trail_s += edges == LEAD ? 0 : off_s;
        changes[2 * i + 1] = (spw_change){counted(lead_s, step_s, phase), 0, SPW_LEVEL_HIGH};
        changes[2 * i + 2] = (spw_change){counted(trail_s, step_s, phase), 0, SPW_LEVEL_LOW};
    }
    spw_channel c =
        measured_changes(changes, 2 * PULSES + 1, step_s, changes[2 * PULSES].time_s + 0.01, NULL);
    for (size_t h = 0; h < c.holds; h++) {
        const spw_hold *hold = &c.hold[h];
        double truth_us = widths_us[(hold->first_pulse + hold->end_pulse) / 2 / FRAMES];
        *covered += fabs(hold->width_us.mean - truth_us) <= hold->width_us.U95;
        ++*holds;
    }
    spw_channel_clear(&c);
    free(changes);
}

static void check(double step_us, which edges) {
    size_t all = 0, all_covered = 0;
    for (size_t l = 0; l < LOCKS; l++) {
        print_message("%5.0f kHz, %-5s %-22s", 1000 / step_us, said[edges], locks[l].what);
        for (size_t j = 0; j < JITTERS; j++) {
            sim_rng rng = sim_rng_seed(1000 * l + 10 * j + edges);
            size_t covered = 0, holds = 0;
            for (size_t t = 0; t < TRAINS; t++)
                one_train(&locks[l], step_us, jitters[j], edges, &rng, &covered, &holds);
            print_message(" %5.1f", 100 * (double)covered / (double)holds);
            assert_in_range(holds, HOLDS * TRAINS * 97 / 100, HOLDS * TRAINS * 105 / 100);
            /* 200 holds at 95 %: sd 1.5 %, of which four of 190 cells' worst */
            assert_true((double)covered >= 0.89 * (double)holds);
            all += holds;
            all_covered += covered;
        }
        print_message("\n");
    }
    assert_true((double)all_covered >= 0.95 * (double)all);
}

static void trail_edges(void **state) {
    (void)state;
    check(1, TRAIL);
    check(10, TRAIL);
}

static void lead_edges(void **state) {
    (void)state;
    check(1, LEAD);
}

static void both_edges(void **state) {
    (void)state;
    check(1, BOTH);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(trail_edges),
        cmocka_unit_test(lead_edges),
        cmocka_unit_test(both_edges),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
