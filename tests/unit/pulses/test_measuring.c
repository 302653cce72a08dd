/* The whole measurement of files: channels by name, the clock from a known frame,
 * refusals in words. */
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* A VCD with two servo lines of 50 and 100 Hz, a clock and a still line, in ns. */
static void write_capture(char *path, size_t room) {
    snprintf(path, room, "/tmp/spw-measuring-XXXXXX");
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    FILE *f = fdopen(fd, "w");
    assert_non_null(f);
    fputs("$timescale 1 ns $end\n$scope module arm $end\n$var wire 1 ! claw $end\n"
          "$var wire 1 \" lid $end\n$upscope $end\n$scope module bus $end\n"
          "$var wire 1 # clk $end\n$var wire 1 $ lid $end\n$upscope $end\n$enddefinitions $end\n"
          "#0\n0!\n0\"\n0#\n0$\n",
          f);
    for (long t = 0; t < 2000000; t += 1000) { /* the clock runs for 2 ms */
        fprintf(f, "#%ld\n%d#\n", t + 500, (int)(t / 1000 % 2 == 0));
    }
    for (long i = 0; i < 100; i++) { /* 100 us late a second: a clock 100 ppm off */
        long at = 10000000 + i * 10001000;
        fprintf(f, "#%ld\n1\"\n", at);
        if (i % 2 == 0)
            fprintf(f, "1!\n");
        fprintf(f, "#%ld\n0\"\n", at + 1000100);
        if (i % 2 == 0)
            fprintf(f, "#%ld\n0!\n", at + 1500150);
    }
    fprintf(f, "#1010000000\n");
    assert_int_equal(fclose(f), 0);
}

static spw_capture *measure(const char *path, const spw_measure_options *o) {
    spw_capture *c = NULL;
    spw_error error;
    spw_error_clear(&error);
    if (spw_measure(path, o, &c, &error) != SPW_OK) {
        fprintf(stderr, "%s\n", error.message);
        fail();
    }
    return c;
}

static void all_channels(void **state) {
    (void)state;
    char path[64];
    write_capture(path, sizeof path);
    spw_measure_options o = spw_measure_defaults();
    spw_capture *c = measure(path, &o);
    assert_string_equal(c->file, path);
    assert_int_equal(c->channels, 4);
    assert_string_equal(c->channel[0].name, "arm.claw");
    assert_string_equal(c->channel[3].name, "bus.lid");
    assert_int_equal(c->channel[0].signal, SPW_SIGNAL_CONTROL_PULSES);
    assert_int_equal(c->channel[1].signal, SPW_SIGNAL_CONTROL_PULSES);
    assert_int_equal(c->channel[2].signal, SPW_SIGNAL_OTHER);
    assert_non_null(strstr(c->channel[2].reason, "toggles every 1 us"));
    assert_int_equal(c->channel[2].pulses, 0);
    assert_int_equal(c->channel[3].signal, SPW_SIGNAL_IDLE);
    assert_true(near(c->channel[0].width_us.mean, 1500.15, 1e-4));
    /* 50 ns divide every interval of the lines and of the clock */
    assert_true(near(c->channel[0].resolution_us, 0.05, 1e-9));
    /* the clock's 50 ppm rule, 0.075 us, beside the step's 0.025 us; times the coverage factor */
    assert_true(
        near(c->channel[0].width_us.U95, 1.96 * hypot(50e-6 * 1500.15, 0.4975 * 0.05), 0.001));
    assert_true(c->clock_correction == 1);
    spw_capture_free(c);
    unlink(path);
}

static void by_name(void **state) {
    (void)state;
    char path[64];
    write_capture(path, sizeof path);
    const char *asked[] = {"claw", "bus.lid"};
    spw_measure_options o = spw_measure_defaults();
    o.channels = asked;
    o.n_channels = 2;
    spw_capture *c = measure(path, &o);
    assert_int_equal(c->channels, 2);
    assert_string_equal(c->channel[0].name, "arm.claw");
    assert_string_equal(c->channel[1].name, "bus.lid");
    spw_capture_free(c);

    spw_error error;
    spw_error_clear(&error);
    asked[0] = "roller";
    c = NULL;
    assert_int_equal(spw_measure(path, &o, &c, &error), SPW_ERR_ARGUMENT);
    assert_null(c);
    assert_string_equal(error.message, "no channel is named \"roller\"; --channel takes one of: "
                                       "arm.claw, arm.lid, bus.clk, bus.lid");
    assert_string_equal(error.file, path);
    asked[0] = "lid"; /* two end so */
    assert_int_equal(spw_measure(path, &o, &c, &error), SPW_ERR_ARGUMENT);
    assert_non_null(strstr(error.message, "\"lid\" could be 2 channels"));
    unlink(path);
}

static void known_frame(void **state) {
    (void)state;
    char path[64];
    write_capture(path, sizeof path);
    const char *asked[] = {"claw"};
    spw_measure_options o = spw_measure_defaults();
    o.channels = asked;
    o.n_channels = 1;
    o.known_frame_us = 20000;
    o.read.has_rate = true; /* of one line alone, all edges lie on a grid of 500.05 us */
    o.read.rate_hz = 1e9;
    spw_capture *c = measure(path, &o);
    assert_true(near(c->clock_correction, 20000 / 20002.0, 1e-9));
    assert_true(near(c->channel[0].period_us.mean, 20000, 1e-6));
    assert_true(near(c->channel[0].width_us.mean, 1500.15 / 1.0001, 1e-3));
    assert_true(near(c->summary.duration_s, 1.01 / 1.0001, 1e-6));
    assert_true(c->timebase_ppm < 0.1);
    assert_true(c->channel[0].width_us.U95 < 0.01);
    spw_capture_free(c);

    o.n_channels = 0; /* 50 and 100 Hz cannot both be 20 ms */
    spw_error error;
    spw_error_clear(&error);
    assert_int_equal(spw_measure(path, &o, &c, &error), SPW_ERR_ARGUMENT);
    assert_non_null(strstr(error.message, "--channel"));
    unlink(path);
}

static void refused_options(void **state) {
    (void)state;
    spw_capture *c = NULL;
    spw_error error;
    spw_measure_options o = spw_measure_defaults();
    spw_error_clear(&error);
    assert_int_equal(spw_measure("/nowhere/at/all", &o, &c, &error), SPW_ERR_IO);
    o.width_low_us = 4000;
    assert_int_equal(spw_measure("/nowhere", &o, &c, &error), SPW_ERR_ARGUMENT);
    assert_non_null(strstr(error.message, "--width-window"));
    o = spw_measure_defaults();
    o.timebase_ppm = NAN;
    assert_int_equal(spw_measure("/nowhere", &o, &c, &error), SPW_ERR_ARGUMENT);
    assert_non_null(strstr(error.message, "--timebase-ppm"));
    assert_null(c);
    spw_capture_free(NULL);
    spw_train_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_channels),
        cmocka_unit_test(by_name),
        cmocka_unit_test(known_frame),
        cmocka_unit_test(refused_options),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
