/* No pulse is lost for its height alone: levels that jump or slope, while the signal is
 * learned and later. What couples in from another line is no pulse of this one. */
#include "support/test.h"

#include "sim/channel.h"
#include "sim/rng.h"
#include "spanwright/edges.h"

#include <math.h>
#include <stdlib.h>

#define FRAME_S 0.02
#define RATE_HZ 48000.0

typedef struct heard {
    spw_edge edge[4096];
    size_t n, lost;
} heard;

static spw_status hear(void *context, const spw_edge *edges, size_t n) {
    heard *h = context;
    for (size_t i = 0; i < n; i++) {
        if ((edges[i].flags & SPW_EDGE_LOST) != 0)
            h->lost++;
        else if ((edges[i].flags & SPW_EDGE_FOUND) == 0 && h->n < 4096)
            h->edge[h->n++] = edges[i];
    }
    return SPW_OK;
}

typedef struct level {
    double from_s, db; /* from then on */
    double db_per_s;   /* all the time */
    double until_s;    /* of the jump; 0: it stays */
    double crosstalk;  /* share of a second line, all the time */
} level;

static void make_edges(double *edges_s, size_t n, double late_s, double width_s) {
    for (size_t k = 0; k < n; k++) {
        edges_s[2 * k] = 0.05 + late_s + FRAME_S * (double)k + 1e-5 * sin((double)k);
        edges_s[2 * k + 1] = edges_s[2 * k] + width_s;
    }
}

/* The samples of `pulses` pulses at such levels; the caller frees them. */
static float *render(const level *l, double *edges_s, size_t pulses, size_t *n) {
    sim_channel channel = sim_channel_default(RATE_HZ, 'h');
    channel.bits = 0;
    channel.amplitude = 0.08;
    channel.high_pass_hz[0] = 5;
    double *other_s = malloc(2 * pulses * sizeof *other_s), end_s = FRAME_S * (double)pulses + 0.1;
    float *y = NULL, *z = NULL;
    assert_non_null(other_s);
    make_edges(edges_s, pulses, 0, 1.51e-3);
    make_edges(other_s, pulses, 7e-3, 1.2e-3);
    assert_true(sim_channel_render(&channel, edges_s, 2 * pulses, false, end_s, &y, n));
    assert_true(sim_channel_render(&channel, other_s, 2 * pulses, false, end_s, &z, n));
    sim_rng rng = sim_rng_seed(5);
    for (size_t i = 0; i < *n; i++) {
        double t = (double)i / RATE_HZ;
        bool on = t >= l->from_s && (l->until_s <= 0 || t < l->until_s);
        double db = l->db_per_s * t + (on ? l->db : 0);
        double v = pow(10, db / 20) * (double)y[i] + l->crosstalk * (double)z[i];
        y[i] = (float)(v + 1e-4 * sim_rng_normal(&rng));
    }
    free(z);
    free(other_s);
    return y;
}

static void look(const float *y, size_t n, heard *h, spw_edge_report *report) {
    spw_edge_settings settings = {.sample_rate_hz = RATE_HZ, .full_scale = 1};
    spw_edge_finder *finder = NULL;
    h->n = h->lost = 0;
    assert_int_equal(spw_edge_finder_new(&settings, hear, h, &finder), SPW_OK);
    for (size_t at = 0; at < n; at += 4096)
        assert_int_equal(spw_edge_finder_push(finder, y + at, n - at < 4096 ? n - at : 4096),
                         SPW_OK);
    assert_int_equal(spw_edge_finder_finish(finder, report), SPW_OK);
    spw_edge_finder_free(finder);
}

/* Pulses sent before `end_s` whose two edges were found. */
static size_t pulses_found(const heard *h, const double *edges_s, size_t pulses, double end_s) {
    double delay_s = 0.6e-3; /* of the converter, at most */
    size_t found = 0, i = 0;
    for (size_t k = 0; k < pulses && edges_s[2 * k] < end_s; k++) {
        while (i < h->n && h->edge[i].time_s < edges_s[2 * k] - 1e-4)
            i++;
        found += i + 1 < h->n && h->edge[i].time_s < edges_s[2 * k] + delay_s &&
                 fabs(h->edge[i + 1].time_s - h->edge[i].time_s - 1.51e-3) < 3e-5;
    }
    return found;
}

static void no_pulse_is_lost(void **unused) {
    (void)unused;
    static const struct {
        level level;
        size_t pulses;
        double weak_from_s, weak_to_s; /* 0: none */
    } row[] = {
        {{.from_s = 4, .db = 12}, 450, 0, 0},
        {{.from_s = 5, .db = -9}, 450, 0, 0},
        {{.from_s = 5, .db = -6}, 450, 0, 0},
        {{.from_s = 5, .db = -20}, 450, 5, 9},
        {{.from_s = 5, .db = -19, .until_s = 6}, 450, 5, 6},
        {{.from_s = 5, .db = 20}, 450, 0, 0},
        {{.db_per_s = -1}, 1200, 0, 0},
        {{.db_per_s = 1, .db = -14}, 1000, 0, 0},
        {{.from_s = 21.003, .db = -20}, 1300, 21, 26},
        {{.from_s = 21.5, .db = -9}, 1300, 0, 0},
        {{.from_s = 5, .db = -12, .crosstalk = 0.02}, 450, 0, 0},
    };
    static heard h;
    for (size_t r = 0; r < sizeof row / sizeof row[0]; r++) {
        double *edges_s = malloc(2 * row[r].pulses * sizeof *edges_s);
        spw_edge_report report;
        size_t n;
        assert_non_null(edges_s);
        float *y = render(&row[r].level, edges_s, row[r].pulses, &n);
        look(y, n, &h, &report);
        size_t found = pulses_found(&h, edges_s, row[r].pulses, 1e9);
        print_message("level %zu: %zu of %zu pulses, doubts %#x\n", r, found, row[r].pulses,
                      report.doubts);
        assert_true(found >= row[r].pulses - 1); /* the one that a jump cuts */
        assert_int_equal((report.doubts & SPW_DOUBT_WEAK) != 0, row[r].weak_to_s > 0);
        for (size_t i = 0; i < report.doubts_placed; i++) {
            if (report.doubt[i].what != SPW_DOUBT_WEAK)
                continue;
            assert_true(fabs(report.doubt[i].from_s - row[r].weak_from_s) < 0.05);
            assert_true(fabs(report.doubt[i].to_s - row[r].weak_to_s) < 0.05);
        }
        free(y);
        free(edges_s);
    }
}

/* The line goes dead and what couples in from its neighbour stays: no pulses of this line,
 * since they were there beside its own. */
static void crosstalk_stays_crosstalk(void **unused) {
    (void)unused;
    static heard h;
    static const double share[] = {0.05, 0.1, 0.19};
    for (size_t r = 0; r < sizeof share / sizeof share[0]; r++) {
        level l = {.from_s = 4.5, .db = -200, .crosstalk = share[r]};
        double edges_s[900];
        spw_edge_report report;
        size_t n;
        float *y = render(&l, edges_s, 450, &n);
        look(y, n, &h, &report);
        print_message("crosstalk %g: %zu edges\n", share[r], h.n);
        assert_int_equal(pulses_found(&h, edges_s, 450, 4.5), 223);
        assert_int_equal(h.n, 446);
        free(y);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_pulse_is_lost),
        cmocka_unit_test(crosstalk_stays_crosstalk),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
