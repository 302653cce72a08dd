/* The C headers of many random plans, renamed apart and compiled into one program
 * by every compiler at hand; each is run over every input of a frame and compared
 * with its plan by a digest of the outputs. 200 plans; SPW_PLANS=2000 in the environment
 * tries as many as the constants' own test does (a minute and a half). */
#include "sim/rng.h"
#include "support/hand_channel.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define PLANS 2000 /* at most */
#define USUAL_PLANS 200
#define FRAME_US 20000.0

static double between(sim_rng *rng, double low, double high) {
    return low + (high - low) * sim_rng_uniform(rng);
}

static spw_plan *random_plan(sim_rng *rng) {
    static const unsigned bits[] = {16, 32, 64};
    static const double ticks_us[] = {0.25, 0.5, 1, 1.6, 2, 4};
    double low = between(rng, 700, 1300), high = low + between(rng, 300, 1100);
    spw_span span = hand_span(low, low + (high - low) * between(rng, 0.35, 0.65), high, 0.01);
    spw_bench bench = spw_bench_defaults();
    /* one in eight begins within some ticks of zero */
    bool near_zero = sim_rng_bits(rng) % 8 == 0;
    bench.servo.expected_low_us = near_zero ? between(rng, 1, 6) : floor(between(rng, 400, 600));
    bench.servo.expected_high_us = floor(between(rng, 2450, 2600));
    bench.adapter.word_bits = bits[sim_rng_bits(rng) % 3];
    bench.adapter.tick_us = ticks_us[sim_rng_bits(rng) % 6];
    bench.adapter.neutral = sim_rng_bits(rng) & 1 ? SPW_REMAP_BENT : SPW_REMAP_STRAIGHT;
    bench.adapter.reverse = (sim_rng_bits(rng) & 1) != 0;
    bench.adapter.margin_us = floor(between(rng, 0, 20));
    spw_plan *plan = NULL;
    assert_int_equal(spw_plan_make(&span, NULL, &bench, &plan, NULL), SPW_OK);
    return plan;
}

/* FNV-1a over the outputs (public domain, Fowler, Noll, Vo; constants from memory). */
static uint64_t digest(const spw_fixed_point *fixed, uint32_t inputs) {
    uint64_t hash = UINT64_C(14695981039346656037);
    for (uint32_t in = 0; in < inputs; in++)
        hash = (hash ^ spw_fixed_point_apply(fixed, in)) * UINT64_C(1099511628211);
    return hash;
}

/* The header with its names made those of plan number i. */
static void put_renamed(FILE *file, const char *header, size_t i) {
    static const struct {
        const char *name, *short_name;
    } names[] = {{"RANGE_ADAPTER", "RA"}, {"range_adapter", "ra"}};
    for (const char *at = header; *at != '\0';) {
        bool renamed = false;
        for (size_t k = 0; k < 2 && !renamed; k++)
            if (strncmp(at, names[k].name, strlen(names[k].name)) == 0) {
                fprintf(file, "%s%zu", names[k].short_name, i);
                at += strlen(names[k].name);
                renamed = true;
            }
        if (!renamed)
            fputc(*at++, file);
    }
    fprintf(file,
            "static uint64_t digest%zu(uint32_t inputs) {\n"
            "    uint64_t hash = UINT64_C(14695981039346656037);\n"
            "    for (uint32_t in = 0; in < inputs; in++)\n"
            "        hash = (hash ^ ra%zu_map(in)) * UINT64_C(1099511628211);\n"
            "    (void)ra%zu_output(0, 0);\n"
            "    return hash;\n}\n",
            i, i, i);
}

static void write_program(FILE *file, size_t plans, uint64_t *expected) {
    sim_rng rng = sim_rng_seed(4711);
    static uint32_t inputs[PLANS];
    size_t n = 0, tried = 0;
    while (n < plans) {
        assert_true(++tried < 2 * PLANS);
        spw_plan *plan = random_plan(&rng);
        spw_text text = {0};
        if (plan->has_remap && plan->fixed_point.known) {
            assert_int_equal(spw_plan_emit_c(plan, &text), SPW_OK);
            put_renamed(file, text.data, n);
            inputs[n] = (uint32_t)(FRAME_US / plan->fixed_point.tick_us) + 1;
            expected[n] = digest(&plan->fixed_point, inputs[n]);
            n++;
        }
        spw_text_free(&text);
        spw_plan_free(plan);
    }
    fputs("#include <stdio.h>\nint main(void) {\n", file);
    for (size_t i = 0; i < n; i++)
        fprintf(file, "    printf(\"%%llx\\n\", (unsigned long long)digest%zu(%uu));\n", i,
                (unsigned)inputs[i]);
    fputs("    return 0;\n}\n", file);
}

static void compile_and_compare(const char *compiler, const char *folder, const uint64_t *expected,
                                size_t n) {
    char command[512];
    (void)snprintf(command, sizeof command, "command -v %s >/dev/null", compiler);
    if (system(command) != 0)
        return;
    (void)snprintf(command, sizeof command,
                   "%s -std=c99 -O1 -Wall -Wextra -Wconversion -Werror -o %s/all %s/all.c",
                   compiler, folder, folder);
    assert_int_equal(system(command), 0);
    (void)snprintf(command, sizeof command, "%s/all", folder);
    FILE *pipe = popen(command, "r");
    assert_non_null(pipe);
    for (size_t i = 0; i < n; i++) {
        unsigned long long seen;
        assert_int_equal(fscanf(pipe, "%llx", &seen), 1);
        if (seen != expected[i])
            fail_msg("%s: the header of plan %zu differs from its plan", compiler, i);
    }
    assert_int_equal(pclose(pipe), 0);
    print_message("%s: %zu headers agree with their plans on every input\n", compiler, n);
}

static void headers_of_many_plans(void **state) {
    (void)state;
    char folder[] = "/tmp/spw-many-XXXXXX", path[64], command[64];
    assert_non_null(mkdtemp(folder));
    (void)snprintf(path, sizeof path, "%s/all.c", folder);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    static uint64_t expected[PLANS];
    const char *wanted = getenv("SPW_PLANS");
    long asked = wanted != NULL ? strtol(wanted, NULL, 10) : USUAL_PLANS;
    size_t n = asked >= 1 && asked <= PLANS ? (size_t)asked : USUAL_PLANS;
    write_program(file, n, expected);
    assert_int_equal(fclose(file), 0);
    compile_and_compare("gcc", folder, expected, n);
    compile_and_compare("clang", folder, expected, n);
    (void)snprintf(command, sizeof command, "rm -r %s", folder);
    assert_int_equal(system(command), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(headers_of_many_plans)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
