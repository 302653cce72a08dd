/* Time columns: rounded ones rebuilt or refused, faults far into a file, and
 * limits. Tables are generated; all is seeded. */
#include "support/table_case.h"
#include "support/test.h"

#include "sim/rng.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static table_case read_text(const spw_text *text) {
    assert_int_equal(spw_text_status(text), SPW_OK);
    return table_case_read(text->data, text->length, NULL, 0);
}

/* A pulse of 1500 us every 20 ms, from 2 ms on. */
static int level_at(double time_s) {
    return fmod(time_s + 0.018, 0.02) < 0.0015;
}

/* Every change within half a step of where the pulse changes. */
static void check_pulses(const table_case *read, double step_s, double allowed_s) {
    for (size_t i = 1; i < read->got.n_kept; i++) {
        const spw_change *change = &read->got.changes[i];
        double frames = floor((change->time_s + 0.009) / 0.02);
        double edge = frames * 0.02 + (change->level == SPW_LEVEL_HIGH ? 0.002 : 0.0035);
        double late = change->time_s - edge;
        if (!(late > -allowed_s && late < step_s + allowed_s))
            fail_msg("a change at %.9g s, the edge is at %.9g s", change->time_s, edge);
    }
}

/* printf formats of time columns of 48 kHz and 100 kHz samples. */
static void rounded_times_rebuilt(void **state) {
    (void)state;
    static const struct {
        const char *format;
        double rate_hz, scale;
        int rows;
    } cases[] = {
        {"%.3f,%d\n", 100000, 1, 60000},       /* whole milliseconds: 100 rows share one */
        {"%.3e,%d\n", 100000, 1, 60000},       /* four significant digits */
        {"%.2E,%d\n", 100000, 1, 60000},       /* three */
        {"%.3g,%d\n", 100000, 1, 60000},       /* three, without zeros at the end */
        {"%.5f,%d\n", 48000, 1, 60000},        /* the step is no whole number of places */
        {"%.0f,%d\n", 250000, 1e6 / 4, 60000}, /* fine: one place a row */
    };
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        spw_text text = {0};
        size_t changes = 1;
        spw_text_puts(&text, "Time [s],claw\n");
        for (int i = 0; i < cases[c].rows; i++) {
            double t = i / cases[c].rate_hz;
            changes += i > 0 && level_at(t) != level_at((i - 1) / cases[c].rate_hz);
            char row[64];
            snprintf(row, sizeof row, cases[c].format, t * cases[c].scale, level_at(t));
            spw_text_puts(&text, row);
        }
        table_case read = read_text(&text);
        if (read.status != SPW_OK)
            fail_msg("%s: %s", cases[c].format, read.error.message);
        double step = 1 / cases[c].rate_hz;
        if (cases[c].scale == 1) {
            check_pulses(&read, step, 0.51 * step);
            if (fabs(read.got.channels[0].info.resolution_s - step) > 1e-9 * step)
                fail_msg("%s: resolution %.9g", cases[c].format,
                         read.got.channels[0].info.resolution_s);
        }
        assert_int_equal(read.got.n_kept, changes);
        assert_false(read.summary.truncated);
        assert_int_equal(read.summary.warnings.n, 0);
        table_case_free(&read);
        spw_text_free(&text);
    }
}

static void rows_dropped_from_rounded_times(void **state) {
    (void)state;
    spw_text text = {0};
    for (int i = 0; i < 400000; i++) /* the head proves the step; rows fail later */
        if (i < 300000 || i >= 300500)
            spw_text_printf(&text, "%.3f,%d\n", i / 100000.0, level_at(i / 100000.0));
    table_case read = read_text(&text);
    assert_int_equal(read.status, SPW_OK);
    /* All rows count. 5 ms are missing, which shows within two roundings of a millisecond:
     * there the level is lost, and what follows is exact but for a common shift. */
    assert_false(read.summary.truncated);
    assert_true(table_case_says(&read.summary.warnings, "1 row is out of step"));
    assert_true(read.summary.duration_s > 3.998 && read.summary.duration_s < 4.002);
    size_t lost = 0, widths = 0;
    for (size_t i = 1; i + 1 < read.got.n_kept; i++) {
        const spw_change *change = &read.got.changes[i];
        if (change->level == SPW_LEVEL_UNKNOWN) {
            lost++;
            assert_true(change->time_s > 2.999 && change->time_s < 3.004);
        }
        if (change->level != SPW_LEVEL_HIGH || change[1].level != SPW_LEVEL_LOW ||
            change[-1].level != SPW_LEVEL_LOW)
            continue;
        widths++;
        assert_true(fabs(change[1].time_s - change->time_s - 0.0015) < 1.1e-5);
    }
    assert_int_equal(lost, 1);
    assert_true(widths >= 197);
    table_case_free(&read);
    spw_text_free(&text);
}

/* A rate that is no round number, sampled long: what the head leaves open
 * must not add up to a row that is out of step. */
static void odd_rates_run_long(void **state) {
    (void)state;
    static const double rates[] = {24e6, 1000123.7, 333333.333333, 47999.123};
    for (size_t c = 0; c < sizeof rates / sizeof rates[0]; c++) {
        spw_text text = {0};
        for (int i = 0; i < 300000; i++)
            spw_text_printf(&text, "%.9f,%d,%.3f\n", i / rates[c], i / 100 % 2, i % 7 * 0.1);
        table_case read = read_text(&text);
        assert_int_equal(read.status, SPW_OK);
        assert_false(read.summary.truncated);
        assert_int_equal(read.summary.warnings.n, 0);
        assert_int_equal(read.got.channels[1].n_samples, 300000);
        double rate = read.got.channels[1].info.sample_rate_hz;
        /* the head's 40 000 rows and half a nanosecond at both ends */
        double allowed = 1e-9 * rates[c] / 40000 + 1e-12;
        if (fabs(rate / rates[c] - 1) > allowed)
            fail_msg("%.12g was read as %.12g", rates[c], rate);
        for (size_t i = 1; i < read.got.n_kept; i++)
            assert_true(fabs(read.got.changes[i].time_s - (double)i * 100 / rates[c]) < 0.51e-9);
        table_case_free(&read);
        spw_text_free(&text);
    }
}

/* Dropped rows, wherever they are, are seen, whatever the path through the reader. */
static void every_gap_is_seen(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(20260504);
    static const char *const formats[] = {"%.6f,%d\n", "%.7f,%d\n", "%10.6f,%d\n", "%.6e,%d\n"};
    for (int round = 0; round < 40; round++) {
        const char *format = formats[round % 4];
        int step_us = 1 + (int)(sim_rng_uniform(&rng) * 12), rows = 3000;
        int gap_at = 100 + (int)(sim_rng_uniform(&rng) * 2800);
        int gap = 1 + (int)(sim_rng_uniform(&rng) * 3);
        spw_text text = {0};
        for (int i = 0; i < rows; i++) {
            char row[64];
            int at = i < gap_at ? i : i + gap;
            snprintf(row, sizeof row, format, at * step_us * 1e-6, i / 500 % 2);
            spw_text_puts(&text, row);
        }
        char expected[128];
        snprintf(expected, sizeof expected, "%d %s missing in 1 place, the first before line %d;",
                 gap, gap == 1 ? "row is" : "rows are", gap_at + 1);
        table_case read = read_text(&text);
        assert_int_equal(read.status, SPW_OK);
        if (!table_case_says(&read.summary.warnings, expected))
            fail_msg("%s step %d: not said: %s", format, step_us, expected);
        double end = (rows - 1 + gap) * step_us * 1e-6;
        assert_true(fabs(read.summary.duration_s - end) < 1e-9);
        table_case_free(&read);
        spw_text_free(&text);
    }
}

static void words_from_some_line_on(void **state) {
    (void)state;
    spw_text text = {0};
    for (int i = 0; i < 100000; i++)
        spw_text_printf(&text, "%.6f,%d\n", i * 1e-6, i / 1000 % 2);
    for (int i = 0; i < 150000; i++)
        spw_text_puts(&text, "garbage,garbage\n");
    table_case read = read_text(&text);
    assert_int_equal(read.status, SPW_ERR_FORMAT);
    assert_int_equal(read.error.line, 100001);
    table_case_free(&read);
    spw_text_free(&text);
}

static void many_columns(void **state) {
    (void)state;
    spw_text text = {0};
    spw_text_puts(&text, "Time");
    for (int c = 0; c < 10000; c++)
        spw_text_printf(&text, ",c%d", c);
    for (int i = 0; i < 5; i++) {
        spw_text_printf(&text, "\n%.3f", i * 0.001);
        for (int c = 0; c < 10000; c++)
            spw_text_printf(&text, ",%d", (i + c) / 2 % 2);
    }
    spw_text_puts(&text, "\n");
    table_case read = read_text(&text);
    assert_int_equal(read.status, SPW_OK);
    assert_int_equal(read.summary.channels, 1024);
    assert_true(table_case_says(&read.summary.warnings, "the first 1024 are read, the limit"));
    assert_string_equal(read.got.channels[1023].name, "c1023");
    table_case_free(&read);
    spw_text_free(&text);
}

static void long_lines(void **state) {
    (void)state;
    size_t length = 3u << 20;
    char *bytes = malloc(length);
    assert_non_null(bytes);
    memset(bytes, '1', length);
    table_case read = table_case_read(bytes, length, NULL, 0);
    assert_int_equal(read.status, SPW_ERR_LIMIT);
    assert_int_equal(read.error.line, 1);
    table_case_free(&read);
    memcpy(bytes, "0.0,0\n0.1,1\n0.2,1\n0.3,0\n", 24);
    read = table_case_read(bytes, length, NULL, 4096);
    assert_int_equal(read.status, SPW_OK);
    assert_true(read.summary.truncated);
    assert_true(table_case_says(&read.summary.warnings, "line 5"));
    assert_int_equal(read.got.n_changes, 3);
    table_case_free(&read);
    free(bytes);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(rounded_times_rebuilt),
                                       cmocka_unit_test(rows_dropped_from_rounded_times),
                                       cmocka_unit_test(odd_rates_run_long),
                                       cmocka_unit_test(every_gap_is_seen),
                                       cmocka_unit_test(words_from_some_line_on),
                                       cmocka_unit_test(many_columns),
                                       cmocka_unit_test(long_lines)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
