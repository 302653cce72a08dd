/* Recorders that sample coarser than their files print: through files and the whole
 * measurement, the step is found, and intervals, events and counts are those of it. */
#include "sim/rng.h"
#include "sim/train.h"
#include "support/measured.h"
#include "support/scratch.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef enum file_kind { VCD_NS, VCD_PS, VCD_10NS, VCD_CUT, CSV_S9, CSV_US1, FILES } file_kind;
static const double tick_s[FILES] = {1e-9, 1e-12, 1e-8, 1e-9, 1e-9, 1e-7};
static const char *const scale[] = {"1 ns", "1 ps", "10 ns", "1 ns"};

enum { LINES = 2 };

/* One capture of one or two lines, as a file of this kind prints it. VCD_CUT cuts
 * instants off instead of rounding them, and starts at 123456789. */
static const char *write_capture(file_kind kind, const sim_train *const train[LINES],
                                 double rate_hz, double phase) {
    spw_change *changes[LINES] = {NULL, NULL};
    size_t n[LINES] = {0, 0}, at[LINES] = {0, 0};
    for (size_t i = 0; i < LINES; i++)
        if (train[i] != NULL)
            n[i] = sim_train_changes(train[i], rate_hz, phase, (uint32_t)i, &changes[i]);
    const char *path = scratch_path("grid");
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    bool table = kind == CSV_S9 || kind == CSV_US1;
    if (table)
        fprintf(f, "Time [%s],s0\n", kind == CSV_S9 ? "s" : "us");
    else
        fprintf(f, "$timescale %s $end $var wire 1 ! s0 $end%s $enddefinitions $end\n", scale[kind],
                train[1] != NULL ? " $var wire 1 \" s1 $end" : "");
    long long offset = kind == VCD_CUT ? 123456789 : 0;
    while (at[0] < n[0] || at[1] < n[1]) {
        size_t i =
            at[0] < n[0] && (at[1] >= n[1] || changes[0][at[0]].time_s <= changes[1][at[1]].time_s)
                ? 0
                : 1;
        const spw_change *c = &changes[i][at[i]++];
        double ticks = c->time_s / tick_s[kind];
        if (kind == CSV_S9)
            fprintf(f, "%.9f,%u\n", c->time_s, c->level);
        else if (kind == CSV_US1)
            fprintf(f, "%.1f,%u\n", c->time_s * 1e6, c->level);
        else
            fprintf(f, "#%lld\n%u%c\n",
                    offset + (long long)(kind == VCD_CUT ? floor(ticks + 1e-6) : round(ticks)),
                    c->level, i == 0 ? '!' : '"');
    }
    assert_int_equal(fclose(f), 0);
    free(changes[0]);
    free(changes[1]);
    return path;
}

static spw_capture *measure(const char *path) {
    spw_measure_options o = spw_measure_defaults();
    o.timebase_ppm = 0;
    spw_capture *c = NULL;
    spw_error error;
    spw_error_clear(&error);
    if (spw_measure(path, &o, &c, &error) != SPW_OK)
        fail_msg("%s", error.message);
    return c;
}

static bool said(const spw_notes *notes, const char *part) {
    for (size_t i = 0; i < notes->n; i++)
        if (strstr(notes->text[i], part) != NULL)
            return true;
    return false;
}

typedef struct kind {
    const char *what;
    file_kind file;
    double rate_hz;
    double period_us, jitter_us;
    double step_us;       /* to be found; at most twice as much is as well */
    const char *evidence; /* NULL: none */
} kind;

static const kind kinds[] = {
    {"4 us in ns", VCD_NS, 250e3, 20003.7, 0, 4, "a grid of 4 us: taken as"},
    {"4 us in ps, jitter", VCD_PS, 250e3, 20003.7, 1.5, 4, "a grid of 4 us: taken as"},
    {"10 us in ns", VCD_NS, 100e3, 20003.7, 0, 10, "a grid of 10 us: taken as"},
    {"10 us in a table", CSV_S9, 100e3, 20003.7, 0, 10, "a grid of 10 us: taken as"},
    {"20 us in a table", CSV_S9, 50e3, 19996.9, 3, 20, "a grid of 20 us: taken as"},
    {"1 us in ns, nearly locked", VCD_NS, 1e6, 20000.02, 0, 1, "a grid of 1 us"},
    {"1/3 us, cut to ns", VCD_CUT, 3e6, 20003.7, 0.2, 1 / 3.0, "a grid of 0.33333 us: taken"},
    {"1/3 us, rounded to 0.1 us", CSV_US1, 3e6, 20003.7, 0.3, 1 / 3.0, "a grid of 0.33333 us"},
    {"24 MHz in ns", VCD_NS, 24e6, 20003.7, 0.02, 1 / 24.0, "a grid of 0.041667 us: taken"},
    {"24 MHz in 10 ns", VCD_10NS, 24e6, 20003.7, 0.1, 1 / 24.0, "a grid of 0.041667 us: taken"},
    {"16 MHz by 59 in ns", VCD_NS, 16e6 / 59, 20003.7, 2, 3.6875, "a grid of 3.6875 us: taken"},
    {"12 MHz, much jitter", VCD_NS, 12e6, 20003.7, 5, 1 / 12.0, "a grid of 0.083333 us: taken"},
    {"exact edges in ns", VCD_NS, 0, 20003.7123, 0.3, 0.001, NULL},
};

enum { FRAMES = 60, HOLDS = 3, CAPTURES = 30 };

typedef struct tally {
    size_t covered, holds, periods;
} tally;

static void one_capture(const kind *k, sim_rng *rng, tally *sum) {
    double off = 10 * sim_rng_uniform(rng) - 5;
    const sim_part part[HOLDS] = {{FRAMES, 1000 + off, 1000 + off, 0},
                                  {FRAMES, 1500 + off, 1500 + off, 0},
                                  {FRAMES, 2000 + off, 2000 + off, 0}};
    sim_train_spec spec = {.part = part,
                           .parts = HOLDS,
                           .period_us = k->period_us,
                           .start_s = 0.05 + 0.02 * sim_rng_uniform(rng),
                           .jitter_us = k->jitter_us,
                           .seed = sim_rng_bits(rng)};
    sim_train *train = sim_train_make(&spec);
    spw_capture *c = measure(write_capture(k->file, (const sim_train *const[LINES]){train},
                                           k->rate_hz, sim_rng_uniform(rng)));
    const spw_channel *line = &c->channel[0];
    bool good = line->signal == SPW_SIGNAL_CONTROL_PULSES && line->holds == HOLDS &&
                line->counted == (size_t)HOLDS * FRAMES && line->events == 0 &&
                line->resolution_us > 0.999 * k->step_us &&
                line->resolution_us < 2.001 * k->step_us && line->warnings.n == 0 &&
                (k->evidence != NULL ? said(&c->summary.recognised, k->evidence)
                                     : !said(&c->summary.recognised, "grid"));
    for (size_t h = 0; h < line->holds && good; h++) {
        const spw_hold *hold = &line->hold[h];
        /* of jitter, an end frame beyond 3 sd may count as the move's */
        good = hold->pulses >= (k->jitter_us > 0 ? FRAMES - 2 : FRAMES);
        sum->covered += fabs(hold->width_us.mean - part[h].from_us) <= hold->width_us.U95;
        sum->holds++;
    }
    sum->periods += fabs(line->period_us.mean - k->period_us) <= line->period_us.U95 + 1e-6;
    if (!good) {
        fprintf(stderr, "%s: resolution %g us\n", k->what, line->resolution_us);
        for (size_t i = 0; i < c->summary.recognised.n; i++)
            fprintf(stderr, "  %s\n", c->summary.recognised.text[i]);
        measured_print(line);
    }
    assert_true(good);
    spw_capture_free(c);
    sim_train_free(train);
}

static void steps_found(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        sim_rng rng = sim_rng_seed(4000 + i);
        tally sum = {0};
        for (size_t n = 0; n < CAPTURES; n++)
            one_capture(&kinds[i], &rng, &sum);
        print_message("%-28s widths covered %zu of %zu, periods %zu of %d\n", kinds[i].what,
                      sum.covered, sum.holds, sum.periods, CAPTURES);
        /* 95 % of 90: sd 2.1, of 30: sd 1.2 */
        assert_true(sum.covered >= 78 && sum.periods >= 25);
    }
}

/* Edges of all lines of a recorder lie on one grid: the line with two intervals gets
 * it from the one with many, whose controller knows nothing of it. */
static void two_lines(void **state) {
    (void)state;
    const sim_part still = {60, 1512, 1512, 0}, busy = {90, 1200, 1200, 0};
    sim_train_spec a = {.part = &still, .parts = 1, .period_us = 20000, .start_s = 0.05};
    sim_train_spec b = {.part = &busy,
                        .parts = 1,
                        .period_us = 14003.3,
                        .start_s = 0.051,
                        .jitter_us = 3,
                        .seed = 8};
    sim_train *lines[LINES] = {sim_train_make(&a), sim_train_make(&b)};
    spw_capture *c = measure(write_capture(VCD_NS, (const sim_train *const *)lines, 250e3, 0.4));
    assert_int_equal(c->channels, 2);
    for (size_t i = 0; i < 2; i++)
        assert_true(near(c->channel[i].resolution_us, 4, 1e-9));
    spw_capture_free(c);
    /* alone, its edges lie on 8 us: more than the recorder's step, never less */
    c = measure(write_capture(VCD_NS, (const sim_train *const[LINES]){lines[0]}, 250e3, 0.4));
    assert_true(near(c->channel[0].resolution_us, 8, 1e-9));
    assert_true(said(&c->summary.recognised, "to be safe"));
    spw_capture_free(c);
    /* and beside a line whose edges are exact it is the file's */
    c = measure(write_capture(VCD_NS, (const sim_train *const *)lines, 0, 0));
    assert_true(near(c->channel[0].resolution_us, 0.001, 1e-9));
    spw_capture_free(c);
    sim_train_free(lines[0]);
    sim_train_free(lines[1]);
}

/* A simulator's file: exact, and all its numbers round. The step is hidden. */
static void round_numbers(void **state) {
    (void)state;
    const sim_part part[] = {{30, 1000, 1000, 0}, {30, 1500, 1500, 0}, {30, 2000, 2000, 0}};
    sim_train_spec spec = {.part = part, .parts = 3, .period_us = 20000, .start_s = 0.05};
    sim_train *train = sim_train_make(&spec);
    spw_capture *c = measure(write_capture(VCD_NS, (const sim_train *const[LINES]){train}, 0, 0));
    assert_true(near(c->channel[0].resolution_us, 25, 1e-9));
    assert_true(said(&c->channel[0].warnings, "a grid of 500 us, coarser than recorders sample"));
    spw_capture_free(c);
    /* what a recorder of 20 us makes of 1006, 1506 and 2006 us on its own clock looks alike */
    const sim_part off[] = {{30, 1006, 1006, 0}, {30, 1506, 1506, 0}, {30, 2006, 2006, 0}};
    spec.part = off;
    sim_train_free(train);
    train = sim_train_make(&spec);
    c = measure(write_capture(VCD_NS, (const sim_train *const[LINES]){train}, 50e3, 0.5));
    for (size_t h = 0; h < 3; h++)
        assert_true(fabs(c->channel[0].hold[h].width_us.mean - off[h].from_us) <=
                    c->channel[0].hold[h].width_us.U95);
    spw_capture_free(c);
    sim_train_free(train);
}

/* A counter of 10 bits on the file's own clock, cut to ns or exact in ps: its step is the
 * controller's, and is told. Sampled by a recorder of that step on another clock it is not. */
static void counter(void **state) {
    (void)state;
    const double step = 20000.0 / 1024;
    const sim_part part[] = {{30, 25 * step, 25 * step, 0},
                             {30, 27 * step, 27 * step, 0},
                             {30, 74 * step, 74 * step, 0},
                             {30, 75 * step, 75 * step, 0}};
    sim_train_spec spec = {.part = part, .parts = 4, .period_us = 20000, .start_s = 0.05};
    static const file_kind files[] = {VCD_NS, VCD_PS, VCD_CUT, CSV_S9};
    sim_train *train = sim_train_make(&spec);
    for (size_t i = 0; i < 4; i++) {
        spw_capture *c =
            measure(write_capture(files[i], (const sim_train *const[LINES]){train}, 0, 0));
        assert_true(near(c->channel[0].resolution_us, 1e6 * tick_s[files[i]], 1e-9));
        assert_true(near(c->channel[0].step_us, step, 1e-4));
        assert_true(said(&c->summary.recognised, "taken as the controller's counter"));
        spw_capture_free(c);
    }
    sim_train_free(train);
    spec.period_us = 20000.4;
    train = sim_train_make(&spec);
    spw_capture *c =
        measure(write_capture(VCD_NS, (const sim_train *const[LINES]){train}, 51.2e3, 0.3));
    assert_true(near(c->channel[0].resolution_us, step, 1e-6));
    spw_capture_free(c);
    sim_train_free(train);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steps_found),
        cmocka_unit_test(two_lines),
        cmocka_unit_test(round_numbers),
        cmocka_unit_test(counter),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
