/* Values that reach a file or a program, each against a figure worked out by hand. */
#include "support/hand_channel.h"
#include "support/scratch.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Every flag of a pulse has its word, and none but its own. */
static void every_flag_has_a_word(void **state) {
    (void)state;
    static const struct {
        uint32_t flag;
        const char *word;
    } all[] = {{SPW_PULSE_RUNT, "runt"},           {SPW_PULSE_LONG, "long"},
               {SPW_PULSE_JOINED, "joined"},       {SPW_PULSE_ODD, "odd"},
               {SPW_PULSE_NO_PERIOD, "no_period"}, {SPW_PULSE_CLIPPED, "clipped"},
               {SPW_PULSE_DOUBTFUL, "doubtful"},   {SPW_PULSE_SHORT, "short_frame"},
               {SPW_PULSE_BROKEN, "broken"},       {SPW_PULSE_FIRST, "first"}};
    enum { ALL = sizeof all / sizeof all[0] };
    spw_pulse pulse[ALL + 1];
    for (size_t i = 0; i <= ALL; i++)
        pulse[i] = (spw_pulse){0.02 * (double)i, 0.02 * (double)i + 0.0015, 0.1F,
                               i < ALL ? all[i].flag : UINT32_MAX};
    char name[] = "claw";
    spw_channel channel = {.name = name, .pulse = pulse, .pulses = ALL + 1};
    spw_capture capture = {.channel = &channel, .channels = 1};
    const spw_capture *captures[] = {&capture};
    const char *path = scratch_file("pulses.csv", "", 0);
    spw_output *out;
    assert_int_equal(spw_output_open(path, true, &out, NULL), SPW_OK);
    assert_int_equal(spw_report_pulses_csv(captures, 1, out, NULL), SPW_OK);
    assert_int_equal(spw_output_commit(out, NULL), SPW_OK);
    FILE *file = fopen(path, "r");
    char line[256];
    assert_non_null(file);
    assert_non_null(fgets(line, sizeof line, file)); /* the head */
    for (size_t i = 0; i <= ALL; i++) {
        assert_non_null(fgets(line, sizeof line, file));
        line[strcspn(line, "\n")] = '\0';
        const char *words = strrchr(line, ',') + 1;
        if (i > 0 && i < ALL && all[i].flag == SPW_PULSE_NO_PERIOD)
            assert_int_equal(words[-2], ','); /* no period over a gap */
        assert_string_equal(
            words,
            i < ALL ? all[i].word
                    : "runt|long|joined|odd|no_period|clipped|doubtful|short_frame|broken|first");
    }
    (void)fclose(file);
}

static void json_of_edge_timing(void **state) {
    (void)state;
    char name[] = "ch0";
    spw_channel channel = {.name = name, .has_edge_report = true};
    channel.edge_report = (spw_edge_report){.method = SPW_METHOD_CROSSING,
                                            .noise_sd = 0.25,
                                            .droop_corner_hz = 7.5,
                                            .hum_hz = 16.7,
                                            .clipped_samples = 41,
                                            .edges = 43,
                                            .missing_samples = 47};
    spw_capture capture = {.channel = &channel, .channels = 1};
    const spw_capture *captures[] = {&capture};
    spw_text text = {0};
    assert_int_equal(spw_report_measure_json(captures, 1, NULL, 1500, &text), SPW_OK);
    json_t *root = json_loads(text.data, 0, NULL), *timing = NULL;
    assert_non_null(root);
    json_t *one = json_array_get(json_object_get(root, "captures"), 0);
    timing = json_object_get(json_array_get(json_object_get(one, "channels"), 0), "edge_timing");
    assert_string_equal(json_string_value(json_object_get(timing, "method")), "crossing");
    assert_near(json_number_value(json_object_get(timing, "noise_rms")), 0.25, 1e-12);
    assert_near(json_number_value(json_object_get(timing, "droop_corner_hz")), 7.5, 1e-12);
    assert_near(json_number_value(json_object_get(timing, "hum_hz")), 16.7, 1e-12);
    assert_int_equal(json_integer_value(json_object_get(timing, "clipped_samples")), 41);
    assert_int_equal(json_integer_value(json_object_get(timing, "edges")), 43);
    assert_int_equal(json_integer_value(json_object_get(timing, "missing_samples")), 47);
    json_decref(root);
    spw_text_free(&text);
}

static bool header_has(const spw_plan *plan, const char *line) {
    spw_text text = {0};
    assert_int_equal(spw_plan_emit_c(plan, &text), SPW_OK);
    bool found = strstr(text.data, line) != NULL;
    if (!found)
        print_message("%s\n", text.data);
    spw_text_free(&text);
    return found;
}

/* Lost after three frames; an input is plausible to a quarter of the span past the clamps,
 * and not under half of the shortest. */
static void limits_of_the_header(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_true(header_has(plan, "#define RANGE_ADAPTER_LOST_TICKS UINT32_C(60000)\n"));
    assert_true(header_has(plan, "#define RANGE_ADAPTER_PLAUSIBLE_LOW UINT32_C(750)\n"));
    assert_true(header_has(plan, "#define RANGE_ADAPTER_PLAUSIBLE_HIGH UINT32_C(2250)\n"));
    spw_plan_free(plan);
    bench.adapter.tick_us = 0.5;
    plan = hand_plan_of(600, 1400, 2200, &bench); /* 1200 .. 4400 ticks */
    assert_true(header_has(plan, "#define RANGE_ADAPTER_LOST_TICKS UINT32_C(120000)\n"));
    assert_true(header_has(plan, "#define RANGE_ADAPTER_PLAUSIBLE_LOW UINT32_C(600)\n"));
    assert_true(header_has(plan, "#define RANGE_ADAPTER_PLAUSIBLE_HIGH UINT32_C(5200)\n"));
    assert_true(header_has(plan, "#define RANGE_ADAPTER_TICK_NS UINT32_C(500)\n"));
    spw_plan_free(plan);
}

static bool text_has(const spw_plan *plan, const char *line) {
    spw_text_style style = {.colour = false};
    spw_text text = {0};
    assert_int_equal(spw_report_plan_text(plan, NULL, 0, &style, &text), SPW_OK);
    bool found = strstr(text.data, line) != NULL;
    if (!found)
        print_message("%s\n", text.data);
    spw_text_free(&text);
    return found;
}

static void offset_has_its_sign(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_true(text_has(plan, "Line          out = 2 * in - 1500 us"));
    spw_plan_free(plan);
    bench.adapter.reverse = true;
    plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_true(text_has(plan, "Line          out = -2 * in + 4500 us"));
    spw_plan_free(plan);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_flag_has_a_word),
        cmocka_unit_test(json_of_edge_timing),
        cmocka_unit_test(limits_of_the_header),
        cmocka_unit_test(offset_has_its_sign),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
