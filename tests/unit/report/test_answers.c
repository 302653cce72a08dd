/* JSON, text and CSV of a measurement and a plan made by hand. */
#include "support/test.h"

#include <jansson.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define HOLDS 3
#define EACH 2

/* A channel with three holds of two pulses, and all that points into it. */
typedef struct fixture {
    spw_pulse pulse[HOLDS * EACH];
    spw_hold hold[HOLDS];
    spw_regime regime;
    spw_event event[7];
    char name[64];
    char *warning[1];
    spw_channel channel[2];
    spw_capture capture;
} fixture;

static spw_summary summary_of(double mean, double U95) {
    spw_summary s = spw_summary_none();
    s.n = 100;
    s.mean = s.median = s.p05 = s.p95 = mean;
    s.min = mean - 1;
    s.max = mean + 1;
    s.sd = 0.4;
    s.U95 = U95;
    s.u = U95 / 2;
    s.dof = 50;
    s.floor = 0.02;
    return s;
}

static void make_channel(fixture *f) {
    static const double level[HOLDS] = {1000.02, 1500.01, 2000.03};
    spw_channel *c = &f->channel[0];
    *c = (spw_channel){.name = f->name, .resolution_us = 0.1, .sample_rate_hz = NAN};
    for (size_t i = 0; i < HOLDS; i++) {
        for (size_t k = 0; k < EACH; k++) {
            double at = 0.02 * (double)(EACH * i + k);
            f->pulse[EACH * i + k] = (spw_pulse){at, at + level[i] * 1e-6, 0.0408f, 0};
        }
        f->hold[i] =
            (spw_hold){.start_s = 2.0 * (double)i,
                       .end_s = 2.0 * (double)i + 1.9,
                       .pulses = 100,
                       .width_us = summary_of(level[i], 0.15),
                       .budget = {.u_scatter = 0.01, .dof_scatter = 50, .u_timebase = 0.05},
                       .drift_us_per_s = 0.01};
    }
    f->pulse[0].flags = SPW_PULSE_NO_PERIOD;
    f->pulse[3].flags = SPW_PULSE_ODD | SPW_PULSE_CLIPPED;
    c->pulse = f->pulse;
    c->pulses = c->counted = HOLDS * EACH;
    c->period_us = summary_of(20000.13, 2.0);
    c->frame_rate_hz = 49.99968;
    c->width_us = summary_of(1500.0, NAN);
    c->hold = f->hold;
    c->holds = HOLDS;
    f->regime = (spw_regime){.start_s = 0, .end_s = 6, .frames = 300, .period_us = 20000.13};
    c->regime = &f->regime;
    c->regimes = 1;
    c->event = f->event;
    c->polarity_basis = SPW_BASIS_WIDTH;
    c->other_width_us = c->other_period_us = c->lead_jitter_us = c->trail_jitter_us = NAN;
    c->step_us = c->step_u_us = c->line_hz = c->line_p = c->line_amplitude_us = NAN;
    c->last_for_s = 0.5;
}

static void fill(fixture *f, const char *name) {
    *f = (fixture){.warning = {"a warning of the reader"}};
    (void)snprintf(f->name, sizeof f->name, "%s", name);
    make_channel(f);
    f->channel[1] = f->channel[0];
    f->channel[1] = (spw_channel){.name = (char *)"spare",
                                  .signal = SPW_SIGNAL_IDLE,
                                  .reason = (char *)"the line never changes",
                                  .polarity = SPW_POLARITY_UNDECIDED,
                                  .polarity_basis = SPW_BASIS_UNDECIDED,
                                  .frame_rate_hz = NAN,
                                  .other_width_us = NAN,
                                  .step_us = NAN,
                                  .line_hz = NAN};
    f->capture = (spw_capture){.file = (char *)"a.vcd",
                               .timebase_ppm = 50,
                               .clock_correction = 1,
                               .channel = f->channel,
                               .channels = 2};
    f->capture.summary.channels = 2;
    f->capture.summary.duration_s = 6.5;
    f->capture.summary.warnings = (spw_notes){f->warning, 1, 0};
}

static json_t *measured(fixture *f) {
    const spw_capture *captures[] = {&f->capture};
    spw_text out = {0};
    assert_int_equal(spw_report_measure_json(captures, 1, NULL, 1500.0, &out), SPW_OK);
    json_error_t error;
    json_t *root = json_loads(out.data, 0, &error);
    assert_non_null(root);
    spw_text_free(&out);
    return root;
}

static json_t *first_channel(json_t *root) {
    json_t *capture = json_array_get(json_object_get(root, "captures"), 0);
    return json_array_get(json_object_get(capture, "channels"), 0);
}

static void json_of_a_measurement(void **state) {
    (void)state;
    fixture f;
    fill(&f, "claw");
    json_t *root = measured(&f), *channel = first_channel(root);
    assert_string_equal(json_string_value(json_object_get(root, "schema")), "spanwright.measure/1");
    json_t *span = json_object_get(channel, "span_us");
    assert_true(fabs(json_real_value(json_object_get(span, "low")) - 1000.02) < 1e-9);
    assert_true(fabs(json_real_value(json_object_get(span, "neutral")) - 1500.01) < 1e-9);
    assert_string_equal(json_string_value(json_object_get(span, "basis")), "holds");
    assert_true(json_is_null(json_object_get(json_object_get(channel, "width_us"), "U95")));
    assert_true(json_is_null(json_object_get(channel, "controller_step_us")));
    assert_true(json_is_null(json_object_get(channel, "reason")));
    assert_int_equal(json_array_size(json_object_get(channel, "holds")), HOLDS);
    json_decref(root);
}

/* No invented zero: a channel without pulses has no figures. */
static void json_of_an_idle_channel(void **state) {
    (void)state;
    fixture f;
    fill(&f, "claw");
    json_t *root = measured(&f);
    json_t *capture = json_array_get(json_object_get(root, "captures"), 0);
    json_t *idle = json_array_get(json_object_get(capture, "channels"), 1);
    assert_true(json_is_null(json_object_get(json_object_get(idle, "width_us"), "mean")));
    assert_true(json_is_null(json_object_get(json_object_get(idle, "period_us"), "sd")));
    assert_true(json_is_null(json_object_get(idle, "span_us")));
    assert_string_equal(json_string_value(json_object_get(idle, "reason")),
                        "the line never changes");
    json_decref(root);
}

static void json_of_a_hostile_name(void **state) {
    (void)state;
    fixture f;
    fill(&f, "\xff\x1b[2J<b>\"");
    json_t *root = measured(&f);
    assert_string_equal(json_string_value(json_object_get(first_channel(root), "name")),
                        "\\xff\\x1b[2J<b>\"");
    json_decref(root);
}

/* A library's user may have set a locale with a decimal comma. */
static void no_locale_gets_in(void **state) {
    (void)state;
    fixture f;
    const char *before = setlocale(LC_NUMERIC, "de_DE.UTF-8");
    if (before == NULL)
        before = setlocale(LC_NUMERIC, "fr_FR.UTF-8");
    if (before == NULL)
        skip();
    fill(&f, "claw");
    json_t *root = measured(&f);
    assert_true(fabs(json_real_value(
                         json_object_get(json_object_get(first_channel(root), "span_us"), "low")) -
                     1000.02) < 1e-9);
    json_decref(root);
    (void)setlocale(LC_NUMERIC, "C");
}

/* Columns, not bytes. */
static void check_columns(const char *text) {
    size_t columns = 0;
    for (; *text != '\0'; text++) {
        if (*text == '\n')
            columns = 0;
        else if (((unsigned char)*text & 0xC0u) != 0x80u)
            assert_true(++columns <= 80);
    }
}

static void check_order(const char *text, const char *const *parts, size_t n) {
    for (size_t i = 0; i < n; i++) {
        const char *found = strstr(text, parts[i]);
        if (found == NULL)
            fail_msg("not found in this order: %s\n%s", parts[i], text);
        text = found;
    }
}

static char *measure_text(fixture *f, bool colour) {
    const spw_capture *captures[] = {&f->capture};
    spw_text_style style = {.colour = colour};
    spw_text out = {0};
    assert_int_equal(spw_report_measure_text(captures, 1, NULL, NULL, &style, &out), SPW_OK);
    return out.data;
}

static void text_of_a_measurement(void **state) {
    (void)state;
    static const char *const order[] = {"a.vcd",
                                        "! a warning of the reader",
                                        "Channel claw",
                                        "Measured",
                                        "Not resolved",
                                        "time base",
                                        "Frame         20000.1 \xc2\xb1 2.0 us",
                                        "Low end       1000.02 \xc2\xb1 0.",
                                        "Neutral       1500.01 \xc2\xb1 0.",
                                        "High end      2000.03 \xc2\xb1 0.",
                                        "50.0 % of the expected 500 to 2500 us",
                                        "[=====",
                                        "[-----",
                                        "Clock",
                                        "Polarity",
                                        "Missing       none",
                                        "Joined        none",
                                        "spare",
                                        "the line never changes",
                                        "spanwright plan a.vcd"};
    fixture f;
    fill(&f, "claw");
    char *text = measure_text(&f, false);
    check_columns(text);
    check_order(text, order, sizeof order / sizeof order[0]);
    assert_null(strchr(text, '\x1b'));
    free(text);
    text = measure_text(&f, true);
    assert_non_null(strstr(text, "\x1b["));
    free(text);
}

static void text_of_events(void **state) {
    (void)state;
    fixture f;
    fill(&f, "claw");
    for (size_t i = 0; i < 6; i++)
        f.event[i] = (spw_event){SPW_EVENT_MISSING_FRAMES, 1.0 + (double)i, i + 1, NAN, 0};
    f.event[6] = (spw_event){SPW_EVENT_JOINED_PULSE, 9.5, 1, 20504.0, 0};
    f.channel[0].events = 7;
    char *text = measure_text(&f, false);
    check_columns(text);
    static const char *const order[] = {"Missing       21 frames: at 1.000 s, 2.000 s (2)",
                                        "4.000 s (4) and\n                2 more",
                                        "Joined        1: at 9.500 s (20504.0 us)"};
    check_order(text, order, 3);
    free(text);
}

static void text_of_a_hostile_capture(void **state) {
    (void)state;
    fixture f;
    fill(&f, "cl\x1b]0;x\x07"
             "aw\n\xe2\x80\xae");
    f.capture.file = (char *)"a b\n;rm.vcd";
    f.capture.summary.truncated = true;
    char *text = measure_text(&f, false);
    check_columns(text);
    assert_null(strchr(text, '\x1b'));
    assert_null(strchr(text, '\x07'));
    assert_null(strstr(text, "\xe2\x80\xae"));
    assert_non_null(strstr(text, "spanwright plan CAPTURE"));
    assert_non_null(strstr(text, "! This capture ends early"));
    free(text);
}

static void csv_of_pulses(void **state) {
    (void)state;
    fixture f;
    fill(&f, "=claw,1");
    f.channel[0].pulses = 4;
    const spw_capture *captures[] = {&f.capture};
    char folder[] = "/tmp/spw-report.XXXXXX", path[64], read[1024] = "";
    assert_non_null(mkdtemp(folder));
    (void)snprintf(path, sizeof path, "%s/pulses.csv", folder);
    spw_output *out;
    assert_int_equal(spw_output_open(path, false, &out, NULL), SPW_OK);
    assert_int_equal(spw_report_pulses_csv(captures, 1, out, NULL), SPW_OK);
    assert_int_equal(spw_output_commit(out, NULL), SPW_OK);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    assert_true(fread(read, 1, sizeof read - 1, file) > 100);
    (void)fclose(file);
    (void)unlink(path);
    (void)rmdir(folder);
    assert_string_equal(
        read, "channel,index,lead_s,trail_s,width_us,u_width_us,period_us,flags\n"
              "\"'=claw,1\",0,0.000000000,0.001000020,1000.0200,0.0408,,no_period\n"
              "\"'=claw,1\",1,0.020000000,0.021000020,1000.0200,0.0408,20000.0000,\n"
              "\"'=claw,1\",2,0.040000000,0.041500010,1500.0100,0.0408,20000.0000,\n"
              "\"'=claw,1\",3,0.060000000,0.061500010,1500.0100,0.0408,20000.0000,odd|clipped\n");
}

static spw_effect effect_of(double low, double high) {
    spw_effect e = {.low_us = low,
                    .high_us = high,
                    .neutral_us = 1500,
                    .low_U95_us = 0.15,
                    .high_U95_us = 0.15,
                    .jitter_low_us = 0.4,
                    .jitter_high_us = 0.4,
                    .step_us = NAN,
                    .positions = NAN,
                    .hunt_probability = NAN,
                    .hunt_low = NAN,
                    .hunt_high = NAN,
                    .hunts = -1,
                    .servo = {90, NAN, NAN},
                    .joint = {45, NAN, NAN},
                    .creep_rpm = NAN,
                    .shortest_gap_us = 17500,
                    .latency_typical_ms = NAN,
                    .latency_worst_ms = NAN};
    return e;
}

static spw_plan plan_of(const spw_span *span, spw_advice *advice, char **caution) {
    spw_plan p = {.span = *span, .decision = SPW_DECISION_ADAPTER, .has_remap = true};
    p.servo = spw_bench_defaults().servo;
    p.low = spw_judge_end(&span->low, 500, 10, -1);
    p.high = spw_judge_end(&span->high, 2500, 10, 1);
    p.range_covered_percent = 50;
    p.clock.width_ratio = p.clock.period_ratio = p.clock.correction = NAN;
    p.advice = advice;
    p.advices = 1;
    p.caution = caution;
    p.cautions = 1;
    p.remap = (spw_remap){.gain = 2,
                          .offset_us = -1500,
                          .clamp_low_us = 500,
                          .clamp_high_us = 2500,
                          .neutral_in_us = 1500,
                          .neutral_out_us = 1500,
                          .neutral_error_us = 0,
                          .segment = {{1000, 2000, 2, -1500}},
                          .segments = 1};
    p.fixed_point = (spw_fixed_point){.known = true,
                                      .tick_us = 1,
                                      .word_bits = 32,
                                      .clamp_in_low = 1000,
                                      .clamp_in_high = 2000,
                                      .clamp_out_low = 500,
                                      .clamp_out_high = 2500,
                                      .segment = {{1000, 2000, 2, 0, -1500, 0, 0, 0, 0, false}},
                                      .segments = 1,
                                      .worst_error_ticks = 0.5,
                                      .worst_error_us = 0.5,
                                      .inputs_checked = 65536,
                                      .widest_product_bits = 12};
    p.before = effect_of(1000, 2000);
    p.after = effect_of(500, 2500);
    p.has_after = true;
    return p;
}

static spw_span span_of_fixture(fixture *f) {
    const spw_channel *channel = &f->channel[0];
    spw_span span;
    assert_int_equal(spw_span_build(&channel, 1, 1500, &span), SPW_OK);
    assert_true(span.known);
    return span;
}

static void text_of_a_plan(void **state) {
    (void)state;
    static const char *const order[] = {"Plan for a servo",
                                        "a.vcd",
                                        "Not resolved",
                                        "Frame         20000.1 \xc2\xb1 2.0 us",
                                        "Low end       1000.02",
                                        "adapted",
                                        "100.0 %",
                                        "Clock",
                                        "Polarity",
                                        "Missing",
                                        "Verdict",
                                        "fit a range adapter",
                                        "short by",
                                        "Gain          2",
                                        "Offset        -1500 us",
                                        "out = 2 * in - 1500 us",
                                        "Clamp out     500.0 to 2500.0 us",
                                        "out = in * 2 - 1500",
                                        "Rounding      at most 0.50 us",
                                        "Fits frame    yes",
                                        "mind the gap",
                                        "What to do next",
                                        "1. Fit an adapter.",
                                        "horn off"};
    spw_advice advice = {SPW_DO_ADAPTER, (char *)"Fit an adapter."};
    char *caution = (char *)"mind the gap";
    fixture f;
    fill(&f, "claw");
    spw_span span = span_of_fixture(&f);
    spw_plan plan = plan_of(&span, &advice, &caution);
    spw_plan_source source = {&f.capture, &f.channel[0], NULL};
    spw_text out = {0};
    assert_int_equal(spw_report_plan_text(&plan, &source, 1, NULL, &out), SPW_OK);
    check_columns(out.data);
    check_order(out.data, order, sizeof order / sizeof order[0]);
    spw_text_free(&out);
}

/* No step of the integer formula goes below 0, whatever the signs. */
static void text_of_integers(void **state) {
    (void)state;
    static const struct {
        spw_fixed_segment segment;
        const char *shown;
    } cases[] = {
        {{1000, 2000, 262151, 17, -196555488, 0, 0, 0, 0, false},
         "out = ((in * 262151 - 196555488) >> 17)"},
        {{1000, 2000, -2, 0, 4500, 0, 0, 0, 0, false}, "out = 4500 - in * 2"},
        {{993, 1551, -53, 8, 29763, 993, 384, 2, 0, false},
         "x = in - 993; out = 384 + ((29763 - x * 53) >> 8) + x * 2"},
        {{993, 2008, 61, 11, 786, 993, 2500, -2, 0, false},
         "x = in - 993; out = 2500 + ((x * 61 + 786) >> 11) - x * 2"},
        {{993, 2008, 1000, 16, 256, 0, 0, 0, 7, false},
         "out = ((in * 1000 + 256) >> 16) - 7 (at least 0)"},
        {{993, 2008, 52000, 16, 256, 993, 10, 0, 0, true}, "take it by bytes"},
    };
    spw_advice advice = {SPW_DO_ADAPTER, (char *)"Fit an adapter."};
    char *caution = (char *)"mind the gap";
    fixture f;
    fill(&f, "claw");
    spw_span span = span_of_fixture(&f);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        spw_plan plan = plan_of(&span, &advice, &caution);
        plan.fixed_point.segment[0] = cases[i].segment;
        spw_text out = {0};
        assert_int_equal(spw_report_plan_text(&plan, NULL, 0, NULL, &out), SPW_OK);
        check_order(out.data, &cases[i].shown, 1);
        spw_text_free(&out);
    }
}

static void json_of_a_plan(void **state) {
    (void)state;
    spw_advice advice = {SPW_DO_ADAPTER, (char *)"Fit an adapter."};
    char *caution = (char *)"mind the gap";
    fixture f;
    fill(&f, "claw");
    spw_span span = span_of_fixture(&f);
    spw_plan plan = plan_of(&span, &advice, &caution);
    spw_text out = {0};
    assert_int_equal(spw_report_plan_json(&plan, NULL, 0, &out), SPW_OK);
    json_t *root = json_loads(out.data, 0, NULL);
    assert_non_null(root);
    assert_string_equal(json_string_value(json_object_get(root, "decision")), "adapter");
    assert_string_equal(json_string_value(json_object_get(json_object_get(root, "ends"), "low")),
                        "short");
    json_t *remap = json_object_get(root, "remap");
    assert_true(json_real_value(json_object_get(remap, "gain")) == 2.0);
    assert_true(json_is_null(json_object_get(root, "joint")));
    assert_true(json_is_null(json_object_get(json_object_get(root, "after"), "hunts")));
    json_decref(root);
    spw_text_free(&out);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(json_of_a_measurement),
        cmocka_unit_test(json_of_an_idle_channel),
        cmocka_unit_test(json_of_a_hostile_name),
        cmocka_unit_test(no_locale_gets_in),
        cmocka_unit_test(text_of_a_measurement),
        cmocka_unit_test(text_of_events),
        cmocka_unit_test(text_of_a_hostile_capture),
        cmocka_unit_test(csv_of_pulses),
        cmocka_unit_test(text_of_a_plan),
        cmocka_unit_test(text_of_integers),
        cmocka_unit_test(json_of_a_plan),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
