/* Integer constants for random remaps, each proven here once more over every
 * input, against the exact remap and with arithmetic of the word's own width. */
#include "sim/rng.h"
#include "support/hand_channel.h"

#include <stdio.h>

#define REMAPS 2000

static double between(sim_rng *rng, double low, double high) {
    return low + (high - low) * sim_rng_uniform(rng);
}

/* A remap as a plan makes it: straight or bent, reversed or not. */
static spw_remap random_remap(sim_rng *rng) {
    double low = between(rng, 600, 1300), high = low + between(rng, 300, 1200);
    double neutral = low + (high - low) * between(rng, 0.3, 0.7);
    spw_span span = hand_span(low, neutral, high, 0.01);
    spw_bench bench = spw_bench_defaults();
    bench.servo.expected_low_us = floor(between(rng, 400, 600));
    bench.servo.expected_high_us = floor(between(rng, 2000, 2600));
    bench.servo.neutral_us = floor(between(rng, 1400, 1600));
    bench.servo.tolerance_us = 0.1;
    bench.adapter.neutral = sim_rng_bits(rng) & 1 ? SPW_REMAP_BENT : SPW_REMAP_STRAIGHT;
    bench.adapter.reverse = true;
    bool forwards = (sim_rng_bits(rng) & 1) != 0;
    spw_plan *plan = NULL;
    assert_int_equal(spw_plan_make(&span, NULL, &bench, &plan, NULL), SPW_OK);
    assert_true(plan->has_remap);
    spw_remap remap = plan->remap;
    spw_plan_free(plan);
    if (forwards) { /* mirror the output: the same remap, not reversed */
        double sum = remap.clamp_low_us + remap.clamp_high_us;
        for (size_t i = 0; i < remap.segments; i++) {
            remap.segment[i].gain = -remap.segment[i].gain;
            remap.segment[i].offset_us = sum - remap.segment[i].offset_us;
        }
    }
    return remap;
}

static uint64_t size_of(int64_t value) {
    return (uint64_t)(value < 0 ? -value : value);
}

/* The formula of the header in unsigned arithmetic of `bits` bits; false when
 * anything leaves the word or goes below zero. */
static bool apply_in_word(const spw_fixed_point *fixed, uint64_t in, uint64_t *result) {
    uint64_t most = fixed->word_bits >= 64 ? UINT64_MAX : (UINT64_C(1) << fixed->word_bits) - 1;
    in = in < fixed->clamp_in_low ? fixed->clamp_in_low : in;
    in = in > fixed->clamp_in_high ? fixed->clamp_in_high : in;
    const spw_fixed_segment *s = &fixed->segment[0];
    if (in > s->to_ticks)
        s = &fixed->segment[fixed->segments - 1];
    if (in < s->from_ticks || in > s->to_ticks || in < s->in_offset)
        return false;
    uint64_t a = size_of(s->addend), product, whole, sum, out;
    bool bad = __builtin_mul_overflow(in - s->in_offset, size_of(s->multiplier), &product);
    bad |= __builtin_mul_overflow(in - s->in_offset, size_of(s->whole), &whole);
    if (s->multiplier < 0)
        bad |= __builtin_sub_overflow(a, product, &sum);
    else if (s->addend < 0)
        bad |= __builtin_sub_overflow(product, a, &sum);
    else
        bad |= __builtin_add_overflow(product, a, &sum);
    bad |= product > most || a > most || sum > most || whole > most;
    out = s->out_offset + (sum >> s->shift);
    if (s->whole < 0)
        bad |= __builtin_sub_overflow(out, whole, &out);
    else
        bad |= __builtin_add_overflow(out, whole, &out);
    bad |= out > most;
    out = out < fixed->clamp_out_low ? fixed->clamp_out_low : out;
    *result = out > fixed->clamp_out_high ? fixed->clamp_out_high : out;
    return !bad;
}

/* The exact output between the whole ticks that lie inside the clamps. */
static double exact_ticks(const spw_remap *remap, const spw_fixed_point *fixed, uint64_t in) {
    double out = spw_remap_apply(remap, (double)in * fixed->tick_us) / fixed->tick_us;
    return fmin(fmax(out, fixed->clamp_out_low), fixed->clamp_out_high);
}

static double prove(const spw_remap *remap, const spw_fixed_point *fixed, double frame_us) {
    double worst = 0;
    uint64_t last = (uint64_t)ceil(frame_us / fixed->tick_us);
    assert_int_equal(fixed->inputs_checked, last + 1);
    for (uint64_t in = 0; in <= last; in++) {
        uint64_t out = 0;
        if (!apply_in_word(fixed, in, &out))
            fail_msg("input %llu leaves the word", (unsigned long long)in);
        if (in % 97 == 0)
            assert_int_equal(out, spw_fixed_point_apply(fixed, in));
        worst = fmax(worst, fabs((double)out - exact_ticks(remap, fixed, in)));
        double us = (double)out * fixed->tick_us;
        if (us < remap->clamp_low_us - 1e-6 || us > remap->clamp_high_us + 1e-6)
            fail_msg("%g us leaves the clamps", us);
    }
    return worst;
}

static void test_random_remaps(void **state) {
    (void)state;
    static const unsigned words[] = {16, 32, 64};
    static const double ticks[] = {0.25, 0.5, 1, 1.0 / 3, 2, 4};
    sim_rng rng = sim_rng_seed(77);
    double worst[3] = {0, 0, 0};
    for (int i = 0; i < REMAPS; i++) {
        spw_remap remap = random_remap(&rng);
        unsigned w = (unsigned)(i % 3);
        double tick =
            sim_rng_bits(&rng) & 1 ? ticks[sim_rng_bits(&rng) % 6] : between(&rng, 0.25, 4);
        double frame = between(&rng, 3000, 5000);
        spw_fixed_point fixed = spw_fixed_point_find(&remap, tick, words[w], frame);
        assert_true(fixed.known);
        assert_true(fixed.widest_product_bits <= words[w]);
        double error = prove(&remap, &fixed, frame);
        assert_near(fixed.worst_error_ticks, error, 1e-6);
        assert_near(fixed.worst_error_us, error * tick, 1e-6);
        worst[w] = fmax(worst[w], error);
        /* the search counts as good what is within 1e-6 ticks of the exact line's rounding */
        if (words[w] == 64 && error > 0.5 + 1e-6)
            fail_msg("64 bits: %.9f ticks", error);
        if (words[w] == 32 && error > 0.51)
            fail_msg("32 bits: %.9f ticks (tick %g)", error, tick);
    }
    printf("worst errors in ticks: 16 bits %.3f, 32 bits %.5f, 64 bits %.7f\n", worst[0], worst[1],
           worst[2]);
}

/* 1000 to 2000 onto 500 to 2500 is gain 2: no error at all, in any word. */
static void test_gain_two_is_exact(void **state) {
    (void)state;
    spw_remap remap = {.kind = SPW_REMAP_STRAIGHT,
                       .gain = 2,
                       .offset_us = -1500,
                       .clamp_low_us = 500,
                       .clamp_high_us = 2500,
                       .segment = {{1000, 2000, 2, -1500}},
                       .segments = 1};
    static const unsigned words[] = {16, 32, 64};
    for (size_t i = 0; i < 3; i++) {
        spw_fixed_point fixed = spw_fixed_point_find(&remap, 1, words[i], 20000);
        assert_true(fixed.known);
        assert_near(fixed.worst_error_ticks, 0, 1e-12);
        assert_int_equal(fixed.inputs_checked, 20001);
        assert_int_equal(spw_fixed_point_apply(&fixed, 1500), 1500);
        assert_int_equal(spw_fixed_point_apply(&fixed, 0), 500);
        assert_int_equal(spw_fixed_point_apply(&fixed, 1u << 31), 2500);
    }
}

/* 16 bits: gain times ticks runs over 65535 (1.07759 times 2400 ticks leaves no
 * more than 4 bits for the fraction); offsets save some of it, and what is left is said. */
static void test_sixteen_bits_say_how_bad(void **state) {
    (void)state;
    double gain = 2000.0 / 1856;
    spw_remap remap = {.kind = SPW_REMAP_STRAIGHT,
                       .gain = gain,
                       .offset_us = 500 - 544 * gain,
                       .clamp_low_us = 500,
                       .clamp_high_us = 2500,
                       .segment = {{544, 2400, gain, 500 - 544 * gain}},
                       .segments = 1};
    spw_fixed_point fixed = spw_fixed_point_find(&remap, 1, 16, 20000);
    assert_true(fixed.known);
    assert_true(fixed.worst_error_ticks > 0.5 && fixed.worst_error_ticks < 15);
    fixed = spw_fixed_point_find(&remap, 1, 32, 20000);
    assert_true(fixed.worst_error_ticks <= 0.51);
}

/* On both sides of neutral the outputs differ by no more than the steeper gain
 * and the rounding of two outputs. */
static void test_bent_is_continuous(void **state) {
    (void)state;
    spw_span span = hand_span(993.4, 1551.7, 2008.2, 0.01);
    spw_bench bench = spw_bench_defaults();
    bench.adapter.neutral = SPW_REMAP_BENT;
    for (unsigned reverse = 0; reverse < 2; reverse++) {
        bench.adapter.reverse = reverse != 0;
        spw_plan *plan = NULL;
        assert_int_equal(spw_plan_make(&span, NULL, &bench, &plan, NULL), SPW_OK);
        assert_true(plan->fixed_point.known && plan->fixed_point.segments == 2);
        uint32_t at = plan->fixed_point.segment[0].to_ticks;
        assert_int_equal(plan->fixed_point.segment[1].from_ticks, at + 1);
        double here = spw_fixed_point_apply(&plan->fixed_point, at);
        double next = spw_fixed_point_apply(&plan->fixed_point, at + 1);
        assert_true(fabs(next - here) <= fabs(plan->remap.segment[1].gain) + 1.02);
        assert_near(here, 1500, 2);
        spw_plan_free(plan);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_gain_two_is_exact),
        cmocka_unit_test(test_sixteen_bits_say_how_bad),
        cmocka_unit_test(test_bent_is_continuous),
        cmocka_unit_test(test_random_remaps),
    };
    return cmocka_run_group_tests_name("fixed point", tests, NULL, NULL);
}
