/* What changes, after the shape was learned or within the time of that, is told with its place:
 * where it is measured wrong, the stretch is in doubt; where it can be learned again, nothing is
 * wrong. Wrong: a bias beyond the U95 of a hold, or less than 90 % of the widths within 2 u. */
#include "support/test.h"

#include "sim/edge_trial.h"
#include "sim/sound.h"

#include <math.h>
#include <stdlib.h>

#define FRAME_S 7e-3 /* 2010 edges, which are learned from, take 7 s */
#define LATE_S 9.0065
#define END_S 15.0
#define CLOCK_US 0.0755 /* 50 ppm of 1510 us, one standard uncertainty */

static const uint32_t OF_SHAPE =
    SPW_DOUBT_CLIPPING | SPW_DOUBT_SATURATION | SPW_DOUBT_ASYMMETRY | SPW_DOUBT_SHAPE;

typedef struct row {
    const char *what;
    sim_disturbance d[2];
    bool told;      /* it must be; otherwise nothing is, and all is right */
    double at_s;    /* where it begins */
    double until_s; /* and ends; 0: it stays */
    char filter;
} row;

static const row rows[] = {
    {"clips after +4 dB",
     {{SIM_GAIN, .at_s = LATE_S, .value = 4}, {SIM_CLIP_HIGH, .at_s = LATE_S, .value = 0.24}},
     true,
     LATE_S,
     0,
     'h'},
    {"fall 0.3 to 5 us", {{SIM_FALL_US, .at_s = LATE_S, .value = 5}}, true, LATE_S, 0, 'h'},
    {"fall 0.3 to 1.5 us", {{SIM_FALL_US, .at_s = LATE_S, .value = 1.5}}, true, LATE_S, 0, 'b'},
    {"rise to 2 us for a second",
     {{SIM_RISE_US, .at_s = LATE_S, .value = 2}, {SIM_RISE_US, .at_s = LATE_S + 1, .value = 0.3}},
     true,
     LATE_S,
     LATE_S + 1,
     'h'},
    {"crosstalk at -20 dB",
     {{SIM_CROSSTALK, .at_s = LATE_S, .value = -20, .width_s = 1.2e-3, .lag_s = 1.7e-3}},
     true,
     LATE_S,
     0,
     'h'},
    {"soft saturation", {{SIM_SOFT, .at_s = LATE_S, .value = 0.25}}, true, LATE_S, 0, 'h'},
    {"low-pass 15 kHz", {{SIM_LOW_PASS, .at_s = LATE_S, .value = 15000}}, 0, LATE_S, 0, 'h'},
    {"low-pass 8 kHz, minimum phase",
     {{SIM_LOW_PASS, .at_s = LATE_S, .value = 8000}},
     false,
     LATE_S,
     0,
     'b'},
    {"noise -44 dB",
     {{SIM_COLOURED, .at_s = LATE_S, .value = -44, .hz = 20000}},
     false,
     LATE_S,
     0,
     'h'},
};

typedef struct heard {
    spw_edge *edge;
    size_t n, room;
    spw_edge_report report;
} heard;

static spw_status hear(void *context, const spw_edge *edges, size_t n) {
    heard *h = context;
    for (size_t i = 0; i < n; i++)
        if ((edges[i].flags & (SPW_EDGE_LOST | SPW_EDGE_FOUND)) == 0 && h->n < h->room)
            h->edge[h->n++] = edges[i];
    return SPW_OK;
}

static void measure(const sim_take *take, heard *h) {
    spw_edge_settings settings = {.sample_rate_hz = take->channel.sample_rate_hz, .full_scale = 1};
    spw_edge_finder *finder = NULL;
    h->room = 2 * take->edges;
    h->edge = malloc(h->room * sizeof *h->edge);
    assert_non_null(h->edge);
    assert_int_equal(spw_edge_finder_new(&settings, hear, h, &finder), SPW_OK);
    assert_int_equal(sim_push(finder, take->samples, take->n, 0), SPW_OK);
    assert_int_equal(spw_edge_finder_finish(finder, &h->report), SPW_OK);
    spw_edge_finder_free(finder);
}

static bool is_wrong(sim_trial t, const sim_take *take, const heard *h, double from_s,
                     double to_s) {
    sim_outcome o = {.status = SPW_OK};
    t.from_s = from_s;
    t.to_s = to_s;
    sim_take_compare(&t, take, h->edge, h->n, &o);
    double u95 =
        2 * hypot(hypot(o.u_us / sqrt((double)o.widths), h->report.u_template_us), CLOCK_US);
    print_message("  %.2f s to %.2f s: %zu widths, %zu missed, rms %.3f bias %+.3f u %.3f us, "
                  "coverage %.3f\n",
                  from_s, to_s, o.widths, o.missed, o.rms_us, o.bias_us, o.u_us, o.coverage);
    assert_int_equal(o.missed, 0);
    return fabs(o.bias_us) > u95 || o.coverage < 0.90;
}

/* The share of [from_s, to_s] that is in stretches of these kinds. */
static double told(const spw_edge_report *r, uint32_t what, double from_s, double to_s) {
    enum { PLACES = 200 };
    size_t in = 0;
    for (size_t k = 0; k < PLACES; k++) {
        double at_s = from_s + (to_s - from_s) * ((double)k + 0.5) / PLACES;
        bool is = false;
        for (size_t i = 0; i < r->doubts_placed; i++)
            is = is || ((r->doubt[i].what & what) != 0 && r->doubt[i].from_s <= at_s &&
                        r->doubt[i].to_s >= at_s);
        in += is;
    }
    return (double)in / PLACES;
}

static void show(const spw_edge_report *r) {
    for (size_t i = 0; i < r->doubts_placed; i++)
        print_message("  doubt %#x from %.3f s to %.3f s, %.3f us\n", r->doubt[i].what,
                      r->doubt[i].from_s, r->doubt[i].to_s, r->doubt[i].bound_us);
}

/* The same rows earlier by so much. */
static void judge(double earlier_s) {
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        row here = rows[i], *r = &here;
        r->at_s -= earlier_s;
        r->until_s -= r->until_s > 0 ? earlier_s : 0;
        r->d[0].at_s -= earlier_s;
        r->d[1].at_s -= earlier_s;
        sim_trial t = sim_trial_default(48000, r->filter, 60);
        t.channel.amplitude = 0.25;
        t.channel.disturbance = r->d;
        t.channel.disturbances = r->d[1].kind == SIM_LEVEL ? 1 : 2; /* the first kind: none */
        t.frame_s = FRAME_S;
        t.pulses = (size_t)(END_S / FRAME_S);
        double until_s = r->until_s > 0 ? r->until_s : END_S;
        sim_take take;
        heard h = {0};
        assert_true(sim_take_make(&t, 500 + i, &take));
        measure(&take, &h);
        print_message("%s: doubts %#x\n", r->what, h.report.doubts);
        show(&h.report);
        assert_false(is_wrong(t, &take, &h, 0, r->at_s - 0.1));
        if (r->until_s > 0)
            assert_false(is_wrong(t, &take, &h, r->until_s + 0.1, END_S));
        bool wrong = is_wrong(t, &take, &h, r->at_s + 0.1, until_s - 0.1);
        assert_int_equal(h.report.doubts & ~(r->told ? OF_SHAPE : 0), 0);
        if (!r->told)
            assert_false(wrong);
        else
            assert_true(told(&h.report, OF_SHAPE, r->at_s, until_s) > 0.9);
        /* nothing before it is in doubt */
        assert_true(told(&h.report, UINT32_MAX, 0, r->at_s - 0.25) <= 0);
        free(h.edge);
        sim_take_free(&take);
    }
}

static void no_late_change_goes_unsaid(void **unused) {
    (void)unused;
    judge(0);
}
static void nor_one_while_learning(void **unused) {
    (void)unused;
    judge(5);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(no_late_change_goes_unsaid),
                                       cmocka_unit_test(nor_one_while_learning)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
