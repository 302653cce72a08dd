/* The shipped captures, measured, against what their lines really carried
 * (captures/truth.tsv, written by the generator). */
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct true_hold {
    char file[64], channel[32];
    size_t first_frame, pulses;
    double commanded_us, mean_us, frame_us;
} true_hold;

static size_t read_truth(true_hold *hold, size_t room) {
    FILE *file = fopen("captures/truth.tsv", "r");
    assert_non_null(file);
    char line[256];
    size_t n = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        if (line[0] == '#')
            continue;
        assert_true(n < room);
        true_hold *h = &hold[n];
        int got = sscanf(line, "%63s %31s %zu %zu %lf %lf %lf", h->file, h->channel,
                         &h->first_frame, &h->pulses, &h->commanded_us, &h->mean_us, &h->frame_us);
        assert_int_equal(got, 7);
        n++;
    }
    fclose(file);
    return n;
}

/* Measures one channel of a capture and compares hold by hold. The truth is the
 * mean of the widths as sent, jitter and all, so that only sampling, edge timing
 * and the time base separate it from the measurement: less than U95. */
static void compare(const char *file, const char *channel, double rate_hz, double ppm) {
    static true_hold truth[64];
    size_t n = read_truth(truth, 64);
    spw_measure_options options = spw_measure_defaults();
    options.channels = &channel;
    options.n_channels = 1;
    options.read.has_rate = rate_hz > 0;
    options.read.rate_hz = rate_hz;
    char path[128];
    snprintf(path, sizeof path, "captures/%s", file);
    spw_capture *capture = NULL;
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_measure(path, &options, &capture, &error);
    if (status != SPW_OK)
        print_error("%s: %s\n", path, error.message);
    assert_int_equal(status, SPW_OK);
    assert_int_equal(capture->channels, 1);
    const spw_channel *c = &capture->channel[0];
    assert_int_equal(c->signal, SPW_SIGNAL_CONTROL_PULSES);
    size_t at = 0;
    for (size_t i = 0; i < n; i++) {
        const char *own = strstr(channel, truth[i].channel);
        if (strcmp(truth[i].file, file) != 0 || own == NULL || strcmp(own, truth[i].channel) != 0)
            continue;
        assert_true(at < c->holds);
        const spw_hold *h = &c->hold[at++];
        double expected_us = truth[i].mean_us * (1 - ppm * 1e-6);
        print_message("%s %s hold %zu: %zu of %zu pulses, %.4f us, sent %.4f us, U95 %.4f us\n",
                      file, channel, at - 1, h->pulses, truth[i].pulses, h->width_us.mean,
                      expected_us, h->width_us.U95);
        assert_true(fabs(h->width_us.mean - expected_us) <= h->width_us.U95);
        assert_true(h->pulses + 2 >= truth[i].pulses && h->pulses <= truth[i].pulses + 2);
    }
    assert_int_equal(at, c->holds);
    assert_true(fabs(c->period_us.mean - truth[0].frame_us * (1 - ppm * 1e-6)) <= c->period_us.U95);
    spw_capture_free(capture);
}

static void claw_vcd(void **state) {
    (void)state;
    compare("wren-claw.vcd", "wren.claw", 0, 0);
    compare("wren-adapter.vcd", "wren.link", 0, 0);
}

static void lid_table(void **state) {
    (void)state;
    compare("wren-lid.csv", "lid", 0, 0);
}

static void roller_raw(void **state) {
    (void)state;
    compare("wren-roller.raw.gz", "ch0", 500e3, 0);
    compare("wren-roller.raw.gz", "ch1", 500e3, 0);
}

static void claw_audio(void **state) {
    (void)state;
    compare("wren-claw.wav", "ch0", 0, 40);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(claw_vcd),
        cmocka_unit_test(lid_table),
        cmocka_unit_test(roller_raw),
        cmocka_unit_test(claw_audio),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
