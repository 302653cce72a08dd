/* Pulse widths that another instrument read: their step, their holds, and what is not
 * known of them. Tables are generated; all is seeded. */
#include "support/scratch.h"
#include "support/test.h"

#include "sim/rng.h"
#include "spanwright/adapter.h"
#include "spanwright/pulses.h"

#include <math.h>
#include <string.h>

static spw_capture *measure_text(const spw_text *text) {
    spw_measure_options options = spw_measure_defaults();
    spw_capture *capture = NULL;
    spw_error error;
    spw_error_clear(&error);
    assert_int_equal(spw_text_status(text), SPW_OK);
    const char *path = scratch_file("log.csv", text->data, text->length);
    if (spw_measure(path, &options, &capture, &error) != SPW_OK)
        fail_msg("%s", error.message);
    return capture;
}

static bool warned(const spw_channel *channel, const char *words) {
    for (size_t i = 0; i < channel->warnings.n; i++)
        if (strstr(channel->warnings.text[i], words) != NULL)
            return true;
    return false;
}

/* What a counter of `step_us` makes of a width that starts at any phase of it, printed in
 * whole microseconds. */
static double counted(sim_rng *rng, double width_us, double step_us, double phase) {
    double at = phase >= 0 ? phase : sim_rng_uniform(rng);
    (void)rng;
    return round(step_us * floor(at + width_us / step_us));
}

static void steps_are_found(void **state) {
    (void)state;
    static const struct {
        double step_us, jitter_us, found_us;
        bool shown;
    } cases[] = {{4, 3, 4, true},
                 {1, 2, 1, true},
                 {4.1666667, 6, 4.17, true},
                 {4, 0, 4, false},
                 {8, 20, 8, true}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        sim_rng rng = sim_rng_seed(500 + i);
        spw_text text = {0};
        spw_text_puts(&text, "time_ms,pin0_us\n");
        for (int k = 0; k < 400; k++) {
            double level = k < 200 ? 1000 : 2000;
            double width = level + cases[i].jitter_us * sim_rng_normal(&rng);
            spw_text_printf(
                &text, "%d,%.0f\n", 20 * k,
                counted(&rng, width, cases[i].step_us, cases[i].jitter_us > 0 ? -1 : 0.3));
        }
        spw_capture *capture = measure_text(&text);
        const spw_channel *c = &capture->channel[0];
        assert_int_equal(c->signal, SPW_SIGNAL_WIDTHS);
        assert_true(fabs(c->resolution_us - cases[i].found_us) < 0.1);
        assert_true(warned(c, cases[i].shown ? "is found from the values" : "is assumed"));
        assert_true(warned(c, "how far they are off as a whole is not known"));
        assert_int_equal(c->holds, 2);
        spw_capture_free(capture);
        spw_text_free(&text);
    }
}

/* The mean of a hold within its U95 of what was sent, for counters whose phase is free or
 * stands still, and jitter from none to more than their step. */
static void interval_covers_what_was_sent(void **state) {
    (void)state;
    static const double jitter_us[] = {0, 0.5, 2, 6};
    sim_rng rng = sim_rng_seed(20260504);
    enum { LOGS = 60, ROWS = 80 };
    for (size_t j = 0; j < 4; j++)
        for (int locked = 0; locked < 2; locked++) {
            int covered = 0;
            for (int log = 0; log < LOGS; log++) {
                double sent = 1000 + 1000 * sim_rng_uniform(&rng);
                double phase = locked ? sim_rng_uniform(&rng) : -1;
                spw_text text = {0};
                spw_text_puts(&text, "time_ms,pin0_us\n");
                for (int k = 0; k < ROWS; k++) {
                    double width = sent + jitter_us[j] * sim_rng_normal(&rng);
                    spw_text_printf(&text, "%d,%.0f\n", 20 * k, counted(&rng, width, 4, phase));
                }
                spw_capture *capture = measure_text(&text);
                const spw_channel *c = &capture->channel[0];
                assert_int_equal(c->holds, 1);
                covered += fabs(c->hold[0].width_us.mean - sent) <= c->hold[0].width_us.U95;
                spw_capture_free(capture);
                spw_text_free(&text);
            }
            print_message("jitter %.1f us, phase %s: %d of %d\n", jitter_us[j],
                          locked ? "locked" : "free", covered, LOGS);
            /* 95 %: 57 expected, 51 is 3.5 sd of the binomial below */
            assert_true(covered >= 51);
        }
}

static void what_is_not_known(void **state) {
    (void)state;
    spw_text text = {0};
    spw_text_puts(&text, "time_s,out_us\n");
    for (int k = 0; k < 60; k++)
        spw_text_printf(&text, "%.1f,%d\n", 0.5 * k,
                        (k < 20   ? 1000
                         : k < 40 ? 1500
                                  : 2000) +
                            k % 3);
    spw_capture *capture = measure_text(&text);
    const spw_channel *c = &capture->channel[0];
    assert_int_equal(c->signal, SPW_SIGNAL_WIDTHS);
    assert_int_equal(c->kind, SPW_KIND_LOGIC);
    assert_int_equal(c->polarity, SPW_POLARITY_UNDECIDED);
    assert_int_equal(c->period_us.n, 0); /* half a second is no frame */
    assert_true(isnan(c->frame_rate_hz) && isnan(c->regime[0].period_us));
    assert_true(isnan(c->lead_jitter_us) && isnan(c->trail_jitter_us) && isnan(c->last_for_s));
    assert_true(isnan(c->pulse[0].u_width_us));
    assert_true(warned(c, "the rows are 500 ms apart"));
    assert_int_equal(c->holds, 3);
    assert_int_equal(c->events, 0);
    spw_span span;
    assert_int_equal(spw_span_build(&c, 1, 1500, &span), SPW_OK);
    assert_true(span.known && fabs(span.low.us - 1001) < 0.1 && fabs(span.high.us - 2001) < 0.1);
    /* pulse by pulse nothing can be paired */
    spw_verification *v = NULL;
    spw_error error;
    spw_error_clear(&error);
    assert_int_equal(spw_verify(c, c, true, NULL, &v, &error), SPW_ERR_FORMAT);
    assert_non_null(strstr(error.message, "a log of widths does not tell which pulse"));
    spw_capture_free(capture);
    spw_text_free(&text);
}

/* Rows that come late, lack or repeat their time are nothing of the line's. */
static void rows_are_not_the_line(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(7);
    spw_text text = {0};
    int at = 0;
    spw_text_puts(&text, "time_ms,out_us\n");
    for (int k = 0; k < 300; k++) {
        spw_text_printf(&text, "%d,%.0f\n", at, 1500 + 2 * sim_rng_normal(&rng));
        at += k % 50 == 49 ? 60 : k % 31 == 30 ? 0 : 20;
    }
    spw_capture *capture = measure_text(&text);
    const spw_channel *c = &capture->channel[0];
    assert_int_equal(c->signal, SPW_SIGNAL_WIDTHS);
    assert_int_equal(c->counted, 300);
    assert_int_equal(c->regimes, 1);
    assert_int_equal(c->events, 0);
    assert_true(fabs(c->period_us.mean - 20000) < 1);
    spw_capture_free(capture);
    spw_text_free(&text);
}

/* Values a printed unit apart leave no room for a coarser step, however few there are. */
static void few_values(void **state) {
    (void)state;
    spw_text text = {0};
    spw_text_puts(&text, "time_ms,out_us\n");
    for (int k = 0; k < 60; k++)
        spw_text_printf(&text, "%d,%d\n", 20 * k, 1500 + (k % 5 == 0));
    spw_capture *capture = measure_text(&text);
    assert_true(capture->channel[0].resolution_us == 1);
    assert_true(warned(&capture->channel[0], "is found from the values"));
    spw_capture_free(capture);
    spw_text_free(&text);
}

static void too_few(void **state) {
    (void)state;
    spw_text text = {0};
    spw_text_puts(&text, "time_ms,out_us,other_us\n0,1500,1500\n20,,1500\n40,,1500\n60,,1500\n"
                         "80,0,1500\n");
    spw_capture *capture = measure_text(&text);
    assert_int_equal(capture->channels, 1); /* a column of one number is none */
    assert_int_equal(capture->channel[0].pulses, 5);
    spw_capture_free(capture);
    spw_text_free(&text);
    spw_text_puts(&text, "time_ms,out_us\n0,1500\n20,0\n40,0\n60,1500\n80,0\n100,1500\n");
    spw_measure_options options = spw_measure_defaults();
    options.width_low_us = 1600; /* nothing counts */
    spw_error error;
    spw_error_clear(&error);
    const char *path = scratch_file("few.csv", text.data, text.length);
    assert_int_equal(spw_measure(path, &options, &capture, &error), SPW_OK);
    assert_int_equal(capture->channel[0].signal, SPW_SIGNAL_OTHER);
    assert_string_equal(capture->channel[0].reason,
                        "0 pulse widths of 1600 to 3500 us: a measurement needs two at least");
    assert_int_equal(capture->channel[0].pulses, 0);
    spw_capture_free(capture);
    spw_text_free(&text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steps_are_found),   cmocka_unit_test(interval_covers_what_was_sent),
        cmocka_unit_test(what_is_not_known), cmocka_unit_test(rows_are_not_the_line),
        cmocka_unit_test(few_values),        cmocka_unit_test(too_few),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
