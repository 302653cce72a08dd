/* Integer constants for random remaps, each proven here once more over every
 * input, against the exact remap and with arithmetic of the word's own width. */
#include "sim/rng.h"
#include "support/hand_channel.h"

#include <stdio.h>
#include <string.h>

#define REMAPS 2000

static double between(sim_rng *rng, double low, double high) {
    return low + (high - low) * sim_rng_uniform(rng);
}

/* A remap as a plan makes it: straight or bent, reversed or not. One in eight ends within
 * some ticks of zero, where the line at the whole tick outside lies below it. */
static spw_remap random_remap(sim_rng *rng) {
    double low = between(rng, 600, 1300), high = low + between(rng, 300, 1200);
    double neutral = low + (high - low) * between(rng, 0.3, 0.7);
    spw_span span = hand_span(low, neutral, high, 0.01);
    spw_bench bench = spw_bench_defaults();
    bool near_zero = sim_rng_bits(rng) % 8 == 0;
    bench.servo.expected_low_us = near_zero ? between(rng, 1, 6) : floor(between(rng, 400, 600));
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

/* A number on the way to the output; false when it leaves the word. */
typedef struct word {
    uint64_t most;
    bool bad;
} word;

static uint64_t within(word *w, uint64_t value) {
    w->bad |= value > w->most;
    return value;
}

static uint64_t product(word *w, uint64_t a, uint64_t b) {
    uint64_t value;
    w->bad |= __builtin_mul_overflow(a, b, &value);
    return within(w, value);
}

static uint64_t difference(word *w, uint64_t a, uint64_t b) {
    w->bad |= b > a;
    return a - b;
}

/* (x * multiplier + addend) >> shift in words. */
static uint64_t shifted(word *w, const spw_fixed_segment *s, uint64_t x) {
    uint64_t m = size_of(s->multiplier), a = size_of(s->addend);
    if (s->by_bytes) {
        assert_true(s->shift == 16 && a % 256 == 0 && s->multiplier >= 0 && s->addend >= 0);
        uint64_t i = within(w, x) >> 8, j = x & 255, high = within(w, m) >> 8, low = m & 255;
        uint64_t cross = product(w, i, low), other = product(w, j, high);
        uint64_t carry = within(w, (product(w, j, low) >> 8) + (cross & 255) + (other & 255) +
                                       within(w, a >> 8));
        return within(w, product(w, i, high) + (cross >> 8) + (other >> 8) + (carry >> 8));
    }
    uint64_t p = product(w, x, m);
    (void)within(w, a);
    if (s->multiplier < 0)
        return difference(w, a, p) >> s->shift;
    return (s->addend < 0 ? difference(w, p, a) : within(w, p + a)) >> s->shift;
}

/* The formula of the header in unsigned arithmetic of `bits` bits; false when
 * anything leaves the word or goes below zero. */
static bool apply_in_word(const spw_fixed_point *fixed, uint64_t in, uint64_t *result) {
    word w = {fixed->word_bits >= 64 ? UINT64_MAX : (UINT64_C(1) << fixed->word_bits) - 1, false};
    in = in < fixed->clamp_in_low ? fixed->clamp_in_low : in;
    in = in > fixed->clamp_in_high ? fixed->clamp_in_high : in;
    const spw_fixed_segment *s = &fixed->segment[0];
    if (in > s->to_ticks)
        s = &fixed->segment[fixed->segments - 1];
    if (in < s->from_ticks || in > s->to_ticks || in < s->in_offset)
        return false;
    uint64_t x = in - s->in_offset, whole = product(&w, x, size_of(s->whole));
    uint64_t out = within(&w, s->out_offset + shifted(&w, s, x));
    out = s->whole < 0 ? difference(&w, out, whole) : within(&w, out + whole);
    out = out > s->out_less ? out - s->out_less : 0;
    out = out < fixed->clamp_out_low ? fixed->clamp_out_low : out;
    *result = out > fixed->clamp_out_high ? fixed->clamp_out_high : out;
    return !w.bad;
}

typedef struct worst {
    double exact; /* against the remap's own clamps */
    double ticks; /* against the whole ticks inside them: rounding alone */
} worst;

static worst prove(const spw_remap *remap, const spw_fixed_point *fixed, double frame_us) {
    worst w = {0, 0};
    uint64_t last = (uint64_t)ceil(frame_us / fixed->tick_us), before = 0;
    bool turned = remap->segment[0].gain < 0;
    assert_int_equal(fixed->inputs_checked, last + 1);
    for (uint64_t in = 0; in <= last; in++) {
        uint64_t out = 0;
        if (!apply_in_word(fixed, in, &out))
            fail_msg("input %llu leaves the word", (unsigned long long)in);
        if (in % 97 == 0)
            assert_int_equal(out, spw_fixed_point_apply(fixed, in));
        double exact = spw_remap_apply(remap, (double)in * fixed->tick_us) / fixed->tick_us;
        w.exact = fmax(w.exact, fabs((double)out - exact));
        exact = fmin(fmax(exact, fixed->clamp_out_low), fixed->clamp_out_high);
        w.ticks = fmax(w.ticks, fabs((double)out - exact));
        double us = (double)out * fixed->tick_us;
        if (us < remap->clamp_low_us - 1e-6 || us > remap->clamp_high_us + 1e-6)
            fail_msg("%g us leaves the clamps", us);
        if (in > 0 && (turned ? out > before : out < before))
            fail_msg("input %llu steps back", (unsigned long long)in);
        before = out;
    }
    return w;
}

static void test_random_remaps(void **state) {
    (void)state;
    static const unsigned words[] = {16, 32, 64};
    static const double ticks[] = {0.25, 0.5, 1, 1.0 / 3, 2, 4};
    sim_rng rng = sim_rng_seed(77);
    double most[3] = {0, 0, 0};
    for (int i = 0; i < REMAPS; i++) {
        spw_remap remap = random_remap(&rng);
        unsigned w = (unsigned)(i % 3);
        double tick =
            sim_rng_bits(&rng) & 1 ? ticks[sim_rng_bits(&rng) % 6] : between(&rng, 0.25, 4);
        double frame = between(&rng, 3000, 5000);
        spw_fixed_point fixed = spw_fixed_point_find(&remap, tick, words[w], frame);
        assert_true(fixed.known);
        assert_true(fixed.widest_product_bits <= words[w]);
        worst error = prove(&remap, &fixed, frame);
        assert_near(fixed.worst_error_ticks, error.exact, 1e-6);
        assert_near(fixed.worst_error_us, error.exact * tick, 1e-6);
        most[w] = fmax(most[w], error.ticks);
        /* a clamp between two ticks costs up to one, whatever the word */
        if (error.exact > 1)
            fail_msg("%u bits: %.9f ticks", words[w], error.exact);
        /* the search counts as good what is within 1e-6 ticks of the exact line's rounding */
        if (words[w] == 64 && error.ticks > 0.5 + 1e-6)
            fail_msg("64 bits: %.9f ticks", error.ticks);
        if (words[w] == 32 && error.ticks > 0.51)
            fail_msg("32 bits: %.9f ticks (tick %g)", error.ticks, tick);
        if (words[w] == 16 && error.ticks > 0.7)
            fail_msg("16 bits: %.9f ticks (tick %g)", error.ticks, tick);
    }
    printf("worst errors in ticks: 16 bits %.3f, 32 bits %.5f, 64 bits %.7f\n", most[0], most[1],
           most[2]);
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

static spw_remap straight(double low, double high) {
    double gain = 2000.0 / (high - low);
    return (spw_remap){.kind = SPW_REMAP_STRAIGHT,
                       .gain = gain,
                       .offset_us = 500 - low * gain,
                       .clamp_low_us = 500,
                       .clamp_high_us = 2500,
                       .segment = {{low, high, gain, 500 - low * gain}},
                       .segments = 1};
}

/* 16 bits: gain times ticks runs over 65535. One product left 4 bits for the fraction of
 * a gain of 1.07759, and rounding the gain of 1.504 up to 2 lost 141 us. */
static void test_sixteen_bits_are_enough(void **state) {
    (void)state;
    static const double spans[][2] = {{544, 2400}, {900, 2230}, {600, 2399}, {1000, 1335}};
    static const double ticks[] = {0.25, 1, 4};
    for (size_t i = 0; i < 12; i++) {
        spw_remap remap = straight(spans[i / 3][0], spans[i / 3][1]);
        spw_fixed_point fixed = spw_fixed_point_find(&remap, ticks[i % 3], 16, 20000);
        assert_true(fixed.known && fixed.widest_product_bits <= 16);
        if (fixed.worst_error_ticks > 0.6)
            fail_msg("span %g:%g, tick %g: %g ticks", spans[i / 3][0], spans[i / 3][1],
                     ticks[i % 3], fixed.worst_error_ticks);
    }
}

/* A clamp of 510.5 us lies half a tick from the next whole one inside: said, though
 * the rounding of the line itself is nil. */
static void test_error_is_of_the_clamps_too(void **state) {
    (void)state;
    spw_remap remap = straight(1000, 2000);
    remap.clamp_low_us = 510.75;
    spw_fixed_point fixed = spw_fixed_point_find(&remap, 1, 32, 20000);
    assert_int_equal(fixed.clamp_out_low, 511);
    assert_near(fixed.worst_error_us, 0.25, 1e-9);
}

/* Integers whose rounding passes the servo's tolerance are refused with what to set. */
static void test_too_coarse_for_the_servo(void **state) {
    (void)state;
    spw_span span = hand_span(900, NAN, 2230, 0.01);
    spw_bench bench = spw_bench_defaults();
    bench.adapter.tick_us = 4;
    bench.servo.tolerance_us = 0.9;
    for (unsigned round = 0; round < 3; round++) {
        static const char *const cure[] = {"set tick_us=1 in the bench file", NULL,
                                           "allow a larger tolerance_us"};
        spw_plan *plan = NULL;
        spw_error error;
        spw_text text = {0};
        spw_error_clear(&error);
        assert_int_equal(spw_plan_make(&span, NULL, &bench, &plan, NULL), SPW_OK);
        spw_status expected = cure[round] != NULL ? SPW_ERR_LIMIT : SPW_OK;
        assert_int_equal(spw_plan_integers_check(plan, &error), expected);
        assert_int_equal(spw_plan_emit_c(plan, &text), expected);
        if (cure[round] != NULL)
            assert_non_null(strstr(error.message, cure[round]));
        spw_text_free(&text);
        spw_plan_free(plan);
        bench.adapter.tick_us = 1;
        if (round == 1)
            bench.servo.tolerance_us = 0.05;
    }
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

/* Lines so flat, and a bend so near to where rounding goes up, that the second segment's
 * own rounding would start a tick back: it does not. */
static void test_flat_bends_never_step_back(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(31);
    for (int i = 0; i < 200; i++) {
        double tick = 0.25, low = between(&rng, 700, 1200), high = low + between(&rng, 500, 1700);
        double bend = between(&rng, low + 200, high - 200);
        double out = (floor(between(&rng, 4000, 8000)) + 0.5 + between(&rng, -0.03, 0.03)) * tick;
        double sign = sim_rng_bits(&rng) & 1 ? 1 : -1;
        double below = sign * between(&rng, 0.003, 0.06), above = sign * between(&rng, 0.003, 0.06);
        spw_remap remap = {.kind = SPW_REMAP_BENT,
                           .gain = below,
                           .clamp_low_us = 500,
                           .clamp_high_us = 2500,
                           .segment = {{low, bend, below, out - below * bend},
                                       {bend, high, above, out - above * bend}},
                           .segments = 2};
        spw_fixed_point fixed = spw_fixed_point_find(&remap, tick, 16, 3000);
        assert_true(fixed.known);
        (void)prove(&remap, &fixed, 3000);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_gain_two_is_exact),
        cmocka_unit_test(test_sixteen_bits_are_enough),
        cmocka_unit_test(test_error_is_of_the_clamps_too),
        cmocka_unit_test(test_too_coarse_for_the_servo),
        cmocka_unit_test(test_bent_is_continuous),
        cmocka_unit_test(test_flat_bends_never_step_back),
        cmocka_unit_test(test_random_remaps),
    };
    return cmocka_run_group_tests_name("fixed point", tests, NULL, NULL);
}
