/* The C header: compiled by every compiler at hand without a warning, and run
 * over every input against the plan. */
#include "support/hand_channel.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define INPUTS 60000u /* ticks; more than 65535 are nowhere needed */

static const char driver[] =
    "#include \"adapter.h\"\n"
    "#include <stdio.h>\n"
    "int main(void) {\n"
    "    for (uint32_t in = 0; in < 60000u; in++)\n"
    "        printf(\"%lu %lu\\n\", (unsigned long)range_adapter_map(in),\n"
    "               (unsigned long)range_adapter_output(in, 7));\n"
    "    return 0;\n"
    "}\n";

static void put_file(const char *folder, const char *name, const char *content) {
    char path[64];
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    assert_true(fputs(content, file) >= 0);
    assert_int_equal(fclose(file), 0);
}

static void compare(const spw_plan *plan, const char *folder) {
    char command[64];
    (void)snprintf(command, sizeof command, "%s/driver", folder);
    FILE *pipe = popen(command, "r");
    assert_non_null(pipe);
    for (uint32_t in = 0; in < INPUTS; in++) {
        unsigned long mapped, sent;
        assert_int_equal(fscanf(pipe, "%lu %lu", &mapped, &sent), 2);
        if (mapped != spw_fixed_point_apply(&plan->fixed_point, in) ||
            (sent != 0 && sent != mapped))
            fail_msg("input %u gives %lu, sent %lu", in, mapped, sent);
        if (in >= plan->fixed_point.clamp_in_low && in <= plan->fixed_point.clamp_in_high)
            assert_int_equal(sent, mapped);
    }
    assert_int_equal(pclose(pipe), 0);
}

/* The compiler of small timer chips, where it is installed: no warning there either. */
static void compile_for_avr(const char *folder) {
    char command[512];
    if (system("command -v avr-gcc >/dev/null") != 0)
        return;
    put_file(folder, "avr.c",
             "#include \"adapter.h\"\n"
             "uint32_t answer(uint32_t in, uint32_t last);\n"
             "uint32_t answer(uint32_t in, uint32_t last) {\n"
             "    return range_adapter_output(in, last);\n"
             "}\n");
    (void)snprintf(command, sizeof command,
                   "avr-gcc -mmcu=atmega328p -std=c99 -Os -Wall -Wextra -Wconversion -Werror -c "
                   "-o %s/avr.o %s/avr.c",
                   folder, folder);
    assert_int_equal(system(command), 0);
}

static void compile_and_compare(const spw_plan *plan) {
    char folder[] = "/tmp/spw-emit-XXXXXX", command[512];
    assert_non_null(mkdtemp(folder));
    spw_text text = {0};
    assert_int_equal(spw_plan_emit_c(plan, &text), SPW_OK);
    put_file(folder, "adapter.h", text.data);
    put_file(folder, "driver.c", driver);
    assert_null(strstr(text.data, "float"));
    assert_null(strstr(text.data, "double"));
    assert_null(strstr(text.data, " / "));
    spw_text_free(&text);
    static const char *const compilers[] = {"gcc", "clang"};
    int compiled = 0;
    for (size_t i = 0; i < 2; i++) {
        (void)snprintf(command, sizeof command, "command -v %s >/dev/null", compilers[i]);
        if (system(command) != 0)
            continue;
        (void)snprintf(command, sizeof command,
                       "%s -std=c99 -O1 -Wall -Wextra -Wconversion -Wshadow -pedantic -Werror "
                       "-o %s/driver %s/driver.c",
                       compilers[i], folder, folder);
        assert_int_equal(system(command), 0);
        compare(plan, folder);
        compiled++;
    }
    assert_true(compiled > 0);
    compile_for_avr(folder);
    (void)snprintf(command, sizeof command, "rm -r %s", folder);
    assert_int_equal(system(command), 0);
}

static spw_plan *plan_with(double low, double neutral, double high, const spw_bench *bench) {
    spw_span span = hand_span(low, neutral, high, 0.01);
    spw_plan *plan = NULL;
    assert_int_equal(spw_plan_make(&span, NULL, bench, &plan, NULL), SPW_OK);
    assert_true(plan->fixed_point.known);
    return plan;
}

static void test_headers(void **state) {
    (void)state;
    static const struct {
        unsigned bits;
        double tick;
        spw_remap_kind kind;
        bool reverse;
    } kinds[] = {{32, 1, SPW_REMAP_STRAIGHT, false}, {32, 0.25, SPW_REMAP_BENT, false},
                 {32, 1, SPW_REMAP_BENT, true},      {64, 0.3, SPW_REMAP_BENT, true},
                 {64, 4, SPW_REMAP_STRAIGHT, false}, {16, 1, SPW_REMAP_STRAIGHT, false},
                 {16, 2, SPW_REMAP_BENT, true},      {16, 0.25, SPW_REMAP_STRAIGHT, true}};
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        spw_bench bench = spw_bench_defaults();
        bench.adapter.word_bits = kinds[i].bits;
        bench.adapter.tick_us = kinds[i].tick;
        bench.adapter.neutral = kinds[i].kind;
        bench.adapter.reverse = kinds[i].reverse;
        spw_plan *plan = plan_with(993.3, 1551.6, 2008.2, &bench);
        compile_and_compare(plan);
        spw_plan_free(plan);
    }
}

/* Names from a bench file could end the comment and become code. */
static void test_nothing_of_the_bench_file(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    strcpy(bench.servo.name, "*/ int bad; /*");
    strcpy(bench.controller.name, "*/ int bad; /*");
    strcpy(bench.inspection.robot, "*/ int bad; /*");
    spw_plan *plan = plan_with(1000, 1500, 2000, &bench);
    spw_text text = {0};
    assert_int_equal(spw_plan_emit_c(plan, &text), SPW_OK);
    assert_null(strstr(text.data, "bad"));
    spw_text_free(&text);
    spw_plan_free(plan);
}

static void test_no_remap_no_header(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(500, 1500, 2500, 0.01);
    spw_plan *plan = NULL;
    assert_int_equal(spw_plan_make(&span, NULL, &bench, &plan, NULL), SPW_OK);
    spw_text text = {0};
    assert_int_equal(spw_plan_emit_c(plan, &text), SPW_ERR_EMPTY);
    assert_null(text.data);
    spw_plan_free(plan);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_headers),
        cmocka_unit_test(test_nothing_of_the_bench_file),
        cmocka_unit_test(test_no_remap_no_header),
    };
    return cmocka_run_group_tests_name("C header", tests, NULL, NULL);
}
