/* What is said seldom: each verdict, basis and kind has its word in JSON and its
 * sentence in text. */
#include "support/hand_channel.h"

#include <jansson.h>
#include <string.h>

/* Distinct, never NULL, none of them "unknown". */
static void distinct(const char *const *word, size_t n) {
    for (size_t i = 0; i < n; i++) {
        assert_non_null(word[i]);
        assert_true(word[i][0] != '\0' && strstr(word[i], "unknown") == NULL);
        for (size_t k = 0; k < i; k++)
            assert_string_not_equal(word[i], word[k]);
    }
}

/* The words are part of the schemas: none may change. */
static void words_of_json(void **state) {
    (void)state;
    static const char *const decision[] = {"no_adapter", "adjust",  "adapter",
                                           "limit",      "no_help", "measure_again"};
    static const char *const advice[] = {"measure_again", "clock", "odd_pulses", "setting",
                                         "trim",          "limit", "gearing",    "adapter"};
    static const char *const basis[] = {"option", "width", "steadier_edge", "idle", "undecided"};
    static const char *const event[] = {"missing_frames", "short_frame",   "samples_lost",
                                        "runt_pulse",     "long_pulse",    "joined_pulse",
                                        "odd_width",      "unknown_level", "cut_pulse",
                                        "clipping",       "signal_lost"};
    static const char *const span[] = {"holds", "extremes", "given"};
    static const char *const end[] = {"meets", "short", "beyond", "undecided"};
    for (int i = SPW_DECISION_NO_ADAPTER; i <= SPW_DECISION_MEASURE_AGAIN; i++)
        assert_string_equal(spw_decision_name((spw_decision)i), decision[i]);
    for (int i = SPW_DO_MEASURE_AGAIN; i <= SPW_DO_ADAPTER; i++)
        assert_string_equal(spw_advice_do_name((spw_advice_do)i), advice[i - SPW_DO_MEASURE_AGAIN]);
    for (int i = SPW_BASIS_OPTION; i <= SPW_BASIS_UNDECIDED; i++)
        assert_string_equal(spw_polarity_basis_name((spw_polarity_basis)i), basis[i]);
    for (int i = SPW_EVENT_MISSING_FRAMES; i <= SPW_EVENT_SIGNAL_LOST; i++)
        assert_string_equal(spw_event_kind_name((spw_event_kind)i), event[i]);
    for (int i = SPW_SPAN_HOLDS; i <= SPW_SPAN_GIVEN; i++)
        assert_string_equal(spw_span_basis_name((spw_span_basis)i), span[i]);
    for (int i = SPW_END_MEETS; i <= SPW_END_UNDECIDED; i++)
        assert_string_equal(spw_end_verdict_name((spw_end_verdict)i), end[i]);
}

static void every_status_has_words(void **state) {
    (void)state;
    const char *word[] = {spw_status_text(SPW_OK),           spw_status_text(SPW_ERR_IO),
                          spw_status_text(SPW_ERR_MEMORY),   spw_status_text(SPW_ERR_FORMAT),
                          spw_status_text(SPW_ERR_LIMIT),    spw_status_text(SPW_ERR_EMPTY),
                          spw_status_text(SPW_ERR_ARGUMENT), spw_status_text(SPW_ERR_UNSUPPORTED)};
    distinct(word, sizeof word / sizeof word[0]);
    assert_string_equal(spw_status_text((spw_status)99), "unknown status");
}

/* A real plan for 1000 to 2000 us. */
static spw_plan *plan_of(const spw_span *span, const spw_bench *bench) {
    spw_plan *plan = NULL;
    spw_error error;
    spw_error_clear(&error);
    spw_summary period = spw_summary_none();
    period.n = 1000;
    period.mean = period.min = period.max = 20000;
    period.u = 0.01;
    if (spw_plan_make(span, &period, bench, &plan, &error) != SPW_OK)
        fail_msg("%s", error.message);
    return plan;
}

static void says(const spw_plan *plan, const spw_plan_source *source, const char *words) {
    spw_text text = {0};
    spw_text_style style = {.width = 160};
    assert_int_equal(spw_report_plan_text(plan, source, source != NULL ? 1 : 0, &style, &text),
                     SPW_OK);
    if (strstr(text.data, words) == NULL)
        fail_msg("not said: %s\n%s", words, text.data);
    spw_text_free(&text);
}

static json_t *as_json(const spw_plan *plan) {
    spw_text text = {0};
    assert_int_equal(spw_report_plan_json(plan, NULL, 0, &text), SPW_OK);
    json_t *root = json_loads(text.data, 0, NULL);
    assert_non_null(root);
    spw_text_free(&text);
    return root;
}

static const char *word_at(const json_t *root, const char *object, const char *field) {
    return json_string_value(json_object_get(json_object_get(root, object), field));
}

static void clocks(void **state) {
    (void)state;
    static const struct {
        spw_clock_verdict verdict;
        const char *word, *sentence;
    } all[] = {
        {SPW_CLOCK_UNKNOWN, "unknown", "not compared: the bench file does not say"},
        {SPW_CLOCK_AGREES, "agrees", "agrees: "},
        {SPW_CLOCK_SCALED, "scaled", "off by one factor: "},
        {SPW_CLOCK_DOUBLED, "doubled", "a timer clock or prescaler, not the range"},
        {SPW_CLOCK_WIDTH_ONLY, "width_only", "the widths differ, not the clock"},
        {SPW_CLOCK_DISAGREES, "disagrees", "two different factors"},
    };
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    spw_plan *plan = plan_of(&span, &bench);
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        plan->clock = (spw_clock){.verdict = all[i].verdict,
                                  .width_ratio = 0.5,
                                  .u_width_ratio = 1e-4,
                                  .period_ratio = 0.75,
                                  .u_period_ratio = 1e-4,
                                  .correction = 2};
        says(plan, NULL, all[i].sentence);
        json_t *root = as_json(plan);
        assert_string_equal(word_at(root, "clock", "verdict"), all[i].word);
        json_decref(root);
    }
    spw_plan_free(plan);
}

static void polarities(void **state) {
    (void)state;
    static const struct {
        spw_polarity_basis basis;
        const char *sentence;
    } all[] = {
        {SPW_BASIS_OPTION, "negative, as --polarity says"},
        {SPW_BASIS_WIDTH, "negative: only so are the widths those of control pulses"},
        {SPW_BASIS_STEADIER_EDGE, "negative: so the lead edges are the steadier ones"},
        {SPW_BASIS_IDLE, "negative, by the level at rest"},
        {SPW_BASIS_UNDECIDED, "The other reading: width 18500.00 us every 20000.00 us."},
    };
    spw_hold hold = hand_hold(0, 1500, 0.05, 100);
    spw_channel channel = hand_channel(&hold, 1);
    channel.name = (char *)"claw";
    channel.polarity = SPW_POLARITY_NEGATIVE;
    channel.other_width_us = 18500;
    channel.other_period_us = 20000;
    channel.step_us = 0.5;
    channel.step_u_us = 0.01;
    channel.line_hz = 11.5;
    channel.line_amplitude_us = 3.5;
    channel.line_p = 1e-6;
    char *warning = (char *)"what the reader saw";
    channel.warnings = (spw_notes){&warning, 1, 0};
    spw_capture capture = {.file = (char *)"claw.vcd",
                           .timebase_ppm = 50,
                           .clock_correction = 1,
                           .channel = &channel,
                           .channels = 1};
    spw_plan_source source = {&capture, &channel, NULL};
    const spw_capture *captures[] = {&capture};
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    spw_plan *plan = plan_of(&span, &bench);
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        channel.polarity_basis = all[i].basis;
        if (all[i].basis == SPW_BASIS_UNDECIDED)
            channel.polarity = SPW_POLARITY_UNDECIDED;
        says(plan, &source, all[i].sentence);
    }
    spw_text text = {0};
    assert_int_equal(spw_report_measure_text(captures, 1, NULL, NULL, NULL, &text), SPW_OK);
    if (strstr(text.data, "by 3.5 us at 11.5 Hz (p = 0.000001)") == NULL)
        fail_msg("%s", text.data);
    assert_non_null(strstr(text.data, "! what the reader saw"));
    spw_text_free(&text);
    assert_int_equal(spw_report_measure_json(captures, 1, NULL, 1500, &text), SPW_OK);
    json_t *root = json_loads(text.data, 0, NULL);
    json_t *told = json_array_get(
        json_object_get(json_array_get(json_object_get(root, "captures"), 0), "channels"), 0);
    json_t *other = json_object_get(told, "other_reading"),
           *step = json_object_get(told, "controller_step_us");
    assert_near(json_number_value(json_object_get(other, "width_us")), 18500, 1e-9);
    assert_near(json_number_value(json_object_get(other, "period_us")), 20000, 1e-9);
    assert_near(json_number_value(json_object_get(step, "value")), 0.5, 1e-12);
    json_decref(root);
    spw_text_free(&text);
    spw_plan_free(plan);
}

/* What the recorder could not see, and what was taken out. */
static void recorders(void **state) {
    (void)state;
    spw_hold hold = hand_hold(0, 1500, 0.05, 100);
    spw_channel channel = hand_channel(&hold, 1);
    channel.name = (char *)"claw";
    channel.kind = SPW_KIND_ANALOGUE;
    channel.unit = SPW_UNIT_VOLT;
    channel.sample_rate_hz = 48000;
    channel.resolution_us = NAN;
    channel.has_edge_report = true;
    channel.edge_report.low = 0.01;
    channel.edge_report.high = 3.3;
    channel.edge_report.noise_sd = 0.002;
    channel.edge_report.hum_hz = 50;
    channel.period_us.n = 0;
    spw_capture capture = {.file = (char *)"claw.csv",
                           .timebase_ppm = 50,
                           .clock_correction = 1.0000399,
                           .channel = &channel,
                           .channels = 1};
    spw_plan_source source = {&capture, &channel, NULL};
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    spw_plan *plan = plan_of(&span, &bench);
    says(plan, &source, "50 Hz of mains removed");
    says(plan, &source, "0.0100 V and 3.30 V, noise 0.0020 V rms");
    says(plan, &source, "the capture does not say in which steps its times were taken");
    says(plan, &source, "not known: no two pulses follow each other");
    spw_plan_free(plan);
}

static void undecided_ends(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    span.saturates_high_us = 2000;
    span.saturates_low_us = 1000;
    span.step_us = 0.5;
    spw_plan *plan = plan_of(&span, &bench);
    plan->low = (spw_end){.verdict = SPW_END_UNDECIDED,
                          .deviation_us = -9.5,
                          .tolerance_us = 10,
                          .U95 = 1,
                          .probability_meets = 0.835,
                          .frames_needed = 399.2,
                          .resolution_needed_us = NAN};
    plan->high = plan->low;
    plan->high.deviation_us = 9.5;
    plan->high.frames_needed = INFINITY;
    plan->high.resolution_needed_us = 0.25;
    says(plan, NULL,
         "undecided: short by 9.5 \xc2\xb1 1.0 us, tolerance 10 us; probability that it meets: ");
    says(plan, NULL, "about 400 frames in this hold would decide");
    says(plan, NULL, "undecided: beyond by 9.5");
    says(plan, NULL, "sampling in steps of 0.25 us or less would decide");
    says(plan, NULL, "at 2000.00 us: the source goes no higher");
    says(plan, NULL, "at 1000.00 us: the source goes no lower");
    says(plan, NULL, "0.5000 us: 2000 steps over the span");
    plan->joint = (spw_joint_verdict){.known = true,
                                      .needed_deg = 80,
                                      .before = SPW_REACHED_UNDECIDED,
                                      .after = SPW_REACHED_YES,
                                      .reduction_that_would_do = NAN};
    json_t *root = as_json(plan);
    assert_string_equal(word_at(root, "joint", "reached_before"), "undecided");
    json_decref(root);
    spw_plan_free(plan);
}

static void bent_remaps(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.adapter.neutral = SPW_REMAP_BENT;
    spw_span span = hand_span(1000, 1480, 2000, 0.1);
    for (unsigned bits = 16; bits <= 32; bits += 16) {
        bench.adapter.word_bits = bits;
        spw_plan *plan = plan_of(&span, &bench);
        assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
        assert_int_equal(plan->remap.segments, 2);
        says(plan, NULL, "Piece 1");
        says(plan, NULL, "for inputs from 1000.0 to 1480.0 us");
        says(plan, NULL, "for inputs from 1480.0 to 2000.0 us");
        json_t *root = as_json(plan);
        json_t *remap = json_object_get(root, "remap");
        assert_int_equal(json_array_size(json_object_get(remap, "segments")), 2);
        json_decref(root);
        assert_true(plan->fixed_point.known);
        plan->fixed_point.known = false;
        says(plan, NULL, "none found: no integers for the remap fit words of");
        spw_plan_free(plan);
    }
    /* A bend at the servo's neutral needs one within its ends. */
    bench.servo.neutral_us = 2600;
    spw_plan *plan = plan_of(&span, &bench);
    assert_int_equal(plan->remap.segments, 1);
    says(plan, NULL, "neutral_us");
    spw_plan_free(plan);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_of_json), cmocka_unit_test(every_status_has_words),
        cmocka_unit_test(clocks),        cmocka_unit_test(polarities),
        cmocka_unit_test(recorders),     cmocka_unit_test(undecided_ends),
        cmocka_unit_test(bent_remaps),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
