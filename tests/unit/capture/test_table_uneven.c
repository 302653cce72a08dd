/* Rows at uneven times: all of them are read, or the table is refused; never a part of
 * it under status 0. Tables are generated; all is seeded. */
#include "support/table_case.h"
#include "support/test.h"

#include "sim/rng.h"

#include <math.h>
#include <string.h>

/* A pulse of 1500 us every 20 ms, from 2 ms on. */
static int level_at(double time_s) {
    return fmod(time_s + 0.018, 0.02) < 0.0015;
}

/* Volts of `rows` rows 20 us apart, but for a share of the steps behind row `from`,
 * which are longer by 0.2 to 1.8 of a step. */
static table_case read_uneven(size_t rows, size_t from, double share, uint64_t seed) {
    sim_rng rng = sim_rng_seed(seed);
    spw_text text = {0};
    double t = 0;
    spw_text_puts(&text, "Time (s),CH1\n");
    for (size_t i = 0; i < rows; i++) {
        spw_text_printf(&text, "%.6f,%.3f\n", t, 3.3 * level_at(t) + 0.03 * sim_rng_normal(&rng));
        bool late = i >= from && sim_rng_uniform(&rng) < share;
        t += late ? 2e-5 * (1.2 + 1.6 * sim_rng_uniform(&rng)) : 2e-5;
    }
    assert_int_equal(spw_text_status(&text), SPW_OK);
    table_case read = table_case_read(text.data, text.length, NULL, 0);
    spw_text_free(&text);
    return read;
}

/* The whole table as levels, each change within the longest step of where it was sent. */
static void check_all_read(const table_case *read, double end_s) {
    assert_int_equal(read->status, SPW_OK);
    assert_false(read->summary.truncated);
    assert_int_equal(read->got.n_channels, 1);
    assert_int_equal(read->got.channels[0].info.kind, SPW_KIND_LOGIC);
    assert_true(table_case_says(&read->summary.recognised, "samples at uneven steps"));
    assert_true(fabs(read->summary.duration_s / end_s - 1) < 0.1);
    /* what is taken as resolved is a usual long step, not the last printed digit */
    double resolution = read->got.channels[0].info.resolution_s;
    assert_true(resolution >= 2e-5 && resolution < 5.7e-5);
    assert_true(read->got.n_kept > (size_t)(end_s / 0.0105));
    for (size_t i = 1; i < read->got.n_kept; i++) {
        const spw_change *change = &read->got.changes[i];
        double sent = floor((change->time_s + 0.009) / 0.02) * 0.02 +
                      (change->level == SPW_LEVEL_HIGH ? 0.002 : 0.0035);
        assert_true(change->time_s > sent - 1e-6 && change->time_s < sent + 5.7e-5);
    }
}

static void volts_at_uneven_times(void **state) {
    (void)state;
    static const struct {
        size_t rows, from;
        double share;
    } cases[] = {{10500, 27, 0.02}, {10500, 27, 0.06}, {7536, 64, 0.3}, {23855, 8195, 0.02}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        table_case read = read_uneven(cases[i].rows, cases[i].from, cases[i].share, 11 + i);
        check_all_read(&read, (double)cases[i].rows * 2e-5 * (1 + 0.9 * cases[i].share));
        table_case_free(&read);
    }
}

/* One row out of step among thousands cuts the samples and no more: those before and
 * behind it are read. */
static void one_step_of_another_length(void **state) {
    (void)state;
    spw_text text = {0};
    spw_text_puts(&text, "Time (s),CH1\n");
    for (int i = 0; i < 20000; i++)
        spw_text_printf(&text, "%.7f,%.2f\n", i * 1e-5 + (i >= 12000 ? 0.0000543 : 0),
                        3.3 * level_at(i * 1e-5) + 0.01 * (i % 3));
    table_case read = table_case_read(text.data, text.length, NULL, 0);
    assert_int_equal(read.status, SPW_OK);
    assert_false(read.summary.truncated);
    assert_true(table_case_says(&read.summary.warnings, "1 row is out of step"));
    const kept_channel *channel = &read.got.channels[0];
    assert_int_equal(channel->info.kind, SPW_KIND_ANALOGUE);
    assert_int_equal(channel->n_samples, 20005);
    for (size_t i = 0; i < channel->n_kept; i++)
        assert_true(isnan(channel->samples[i]) == (i >= 12000 && i < 12005));
    table_case_free(&read);
    spw_text_free(&text);
}

/* Behind the head that decides, the step changes for good: refused, with the line. */
static void another_step_behind_the_head(void **state) {
    (void)state;
    spw_text text = {0};
    spw_text_puts(&text, "Time (s),CH1\n");
    for (int i = 0; i < 90000; i++)
        spw_text_printf(&text, "%.7f,%.2f\n", i < 80000 ? i * 1e-5 : 0.8 + (i - 80000) * 1.37e-5,
                        3.3 * level_at(i * 1e-5) + 0.01 * (i % 3));
    table_case read = table_case_read(text.data, text.length, NULL, 0);
    assert_int_equal(read.status, SPW_ERR_FORMAT);
    assert_int_equal(read.error.line, 80003);
    assert_non_null(strstr(read.error.message, "keep no even step"));
    table_case_free(&read);
    spw_text_free(&text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(volts_at_uneven_times),
        cmocka_unit_test(one_step_of_another_length),
        cmocka_unit_test(another_step_behind_the_head),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
