/* What a scope's screen shows: two or three edges of one kind; and lines that move without
 * two levels. */
#include "support/measured.h"
#include "support/test.h"

#include "sim/rng.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Changes at these instants, the first to `first`, from the other level on. */
static spw_channel screen(const double *at_s, size_t n, spw_level first, double end_s) {
    spw_change change[16] = {{0, 0, first == SPW_LEVEL_HIGH ? SPW_LEVEL_LOW : SPW_LEVEL_HIGH}};
    assert_true(n < 16);
    for (size_t i = 0; i < n; i++)
        change[i + 1] = (spw_change){at_s[i], 0, (i % 2 == 0) == (first == SPW_LEVEL_HIGH)};
    return measured_changes(change, n + 1, 1e-6, end_s, NULL);
}

static bool warned(const spw_channel *channel, const char *words) {
    for (size_t i = 0; i < channel->warnings.n; i++)
        if (strstr(channel->warnings.text[i], words) != NULL)
            return true;
    return false;
}

static void two_pulses_are_a_period(void **state) {
    (void)state;
    static const double up[] = {0.005, 0.0065, 0.025, 0.0266};
    spw_channel c = screen(up, 4, SPW_LEVEL_HIGH, 0.05);
    assert_int_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    assert_int_equal(c.polarity, SPW_POLARITY_POSITIVE);
    assert_int_equal(c.pulses, 2);
    assert_int_equal(c.period_us.n, 1);
    assert_true(near(c.period_us.mean, 20000, 1e-6) && isnan(c.period_us.U95));
    assert_true(near(c.width_us.min, 1500, 1e-6) && near(c.width_us.max, 1600, 1e-6));
    assert_true(warned(&c, "only two pulses: one period, 20000.0 us"));
    assert_int_equal(c.holds, 0);
    spw_channel_clear(&c);
    /* low pulses, and the screen's end in the second gap */
    c = screen(up, 4, SPW_LEVEL_LOW, 0.032);
    assert_int_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    assert_int_equal(c.polarity, SPW_POLARITY_NEGATIVE);
    spw_channel_clear(&c);
    static const double three[] = {0.001, 0.0025, 0.021, 0.0225, 0.0412, 0.0427};
    c = screen(three, 6, SPW_LEVEL_HIGH, 0.05);
    assert_int_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    assert_true(warned(&c, "only three pulses: two periods, on average, 20100.0 us"));
    spw_channel_clear(&c);
}

/* A screen that begins in a pulse and ends in one: a whole pulse and the period about it. */
static void cut_pulses_leave_a_period(void **state) {
    (void)state;
    static const double cut[] = {0.0005, 0.0200, 0.0215, 0.0400};
    spw_channel c = screen(cut, 4, SPW_LEVEL_LOW, 0.041);
    assert_int_equal(c.signal, SPW_SIGNAL_OTHER);
    assert_string_equal(c.reason, "only one whole pulse, of 1500.0 us at 0.0200 s, and one period, "
                                  "20000.0 us: record several frames");
    spw_channel_clear(&c);
}

/* Two of anything else are no frame. */
static void two_of_another_kind(void **state) {
    (void)state;
    static const double far[] = {0.1, 0.1015, 0.12, 0.1215}, /* in a second of nothing */
        short_ones[] = {0.005, 0.0053, 0.025, 0.0253}, slow[] = {0.005, 0.0065, 0.085, 0.0865};
    spw_channel c = screen(far, 4, SPW_LEVEL_HIGH, 1);
    assert_int_equal(c.signal, SPW_SIGNAL_OTHER);
    spw_channel_clear(&c);
    c = screen(short_ones, 4, SPW_LEVEL_HIGH, 0.05);
    assert_int_equal(c.signal, SPW_SIGNAL_OTHER);
    spw_channel_clear(&c);
    c = screen(slow, 4, SPW_LEVEL_HIGH, 0.15);
    assert_int_equal(c.signal, SPW_SIGNAL_OTHER);
    spw_channel_clear(&c);
}

static spw_status no_edges(void *context, const spw_edge *edges, size_t n) {
    (void)context;
    (void)edges;
    return n > 0 ? SPW_ERR_NUMERIC : SPW_OK;
}

/* Samples of full scale through the edge finder, without one edge. */
static void lines_without_levels(void **state) {
    (void)state;
    enum { N = 48000 };
    float *sample = malloc(N * sizeof *sample);
    assert_non_null(sample);
    spw_edge_settings settings = {.sample_rate_hz = 48000, .full_scale = (double)NAN};
    static const double reach[] = {0.02, 0.8};
    for (int i = 0; i < 2; i++) {
        spw_edge_finder *finder = NULL;
        spw_edge_report report;
        for (int k = 0; k < N; k++)
            sample[k] = (float)(reach[i] * sin(2e-4 * k));
        assert_int_equal(spw_edge_finder_new(&settings, no_edges, NULL, &finder), SPW_OK);
        assert_int_equal(spw_edge_finder_push(finder, sample, N), SPW_OK);
        assert_int_equal(spw_edge_finder_finish(finder, &report), SPW_OK);
        assert_int_equal(report.edges, 0);
        assert_true(near(report.most, reach[i], 1e-3 * reach[i]));
        assert_true(near(report.least, -reach[i], 1e-3 * reach[i]));
        spw_edge_finder_free(finder);
    }
    free(sample);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_pulses_are_a_period),
        cmocka_unit_test(cut_pulses_leave_a_period),
        cmocka_unit_test(two_of_another_kind),
        cmocka_unit_test(lines_without_levels),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
