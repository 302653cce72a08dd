/* What must hold of every plan, over random spans and bench files. */
#include "sim/rng.h"
#include "support/hand_channel.h"

#include <string.h>

#define PLANS 3000

static double between(sim_rng *rng, double low, double high) {
    return low + (high - low) * sim_rng_uniform(rng);
}

static bool coin(sim_rng *rng) {
    return (sim_rng_bits(rng) & 1) != 0;
}

static double maybe(sim_rng *rng, double value) {
    return coin(rng) ? value : NAN;
}

static spw_bench random_bench(sim_rng *rng) {
    spw_bench bench = spw_bench_defaults();
    bench.servo.tolerance_us = between(rng, 1, 30);
    bench.servo.dead_band_us = maybe(rng, between(rng, 1, 10));
    bench.servo.mode = sim_rng_uniform(rng) < 0.1 ? SPW_SERVO_CONTINUOUS : SPW_SERVO_POSITIONAL;
    bench.servo.travel_deg = maybe(rng, between(rng, 60, 360));
    bench.controller.adjustable = coin(rng);
    bench.controller.asked_low_us = maybe(rng, between(rng, 500, 1100));
    bench.controller.asked_high_us = maybe(rng, between(rng, 1900, 2500));
    bench.controller.asked_frame_us = maybe(rng, 20000);
    bench.adapter.neutral = coin(rng) ? SPW_REMAP_BENT : SPW_REMAP_STRAIGHT;
    bench.adapter.reverse = sim_rng_uniform(rng) < 0.2;
    bench.adapter.margin_us = coin(rng) ? 0 : between(rng, 0, 50);
    bench.adapter.word_bits = 32;
    bench.joint.reduction = between(rng, 0.5, 4);
    bench.joint.needed_deg = maybe(rng, between(rng, 20, 200));
    if (!isnan(bench.servo.travel_deg)) {
        bench.joint.allowed_low_deg = maybe(rng, -between(rng, 20, 90));
        bench.joint.allowed_high_deg = maybe(rng, between(rng, 20, 90));
    }
    return bench;
}

static spw_span random_span(sim_rng *rng) {
    double low = between(rng, 450, 1300), high = between(rng, 1700, 2600);
    spw_span span = hand_span(low, maybe(rng, between(rng, 1400, 1600)), high, between(rng, 0, 20));
    span.jitter_rms_us = maybe(rng, between(rng, 0, 5));
    span.floor_us = maybe(rng, between(rng, 0, 2));
    span.step_us = maybe(rng, between(rng, 0.5, 20));
    span.mean_frame_us = between(rng, 2400, 22000);
    span.shortest_frame_us = span.mean_frame_us - 1;
    return span;
}

/* The pulses that the joint's limits allow, worked out here once more. */
static void allowed_us(const spw_bench *bench, double *low, double *high) {
    double us = bench->joint.reduction * 2000 / bench->servo.travel_deg;
    *low = 500;
    *high = 2500;
    if (!isnan(bench->joint.allowed_low_deg))
        *low = fmax(500, 1500 + bench->joint.allowed_low_deg * us);
    if (!isnan(bench->joint.allowed_high_deg))
        *high = fmin(2500, 1500 + bench->joint.allowed_high_deg * us);
}

static void check_remap(const spw_plan *plan, const spw_bench *bench) {
    double low, high, margin = bench->adapter.margin_us;
    allowed_us(bench, &low, &high);
    for (double in = 0; in < 4000; in += 13) {
        double out = spw_remap_apply(&plan->remap, in);
        assert_true(out >= low + margin - 1e-6 && out <= high - margin + 1e-6);
    }
    assert_true(high - margin + bench->adapter.gap_us <= plan->span.shortest_frame_us ||
                plan->decision == SPW_DECISION_LIMIT);
    if (plan->decision == SPW_DECISION_LIMIT) {
        assert_near(plan->remap.gain, 1, 0);
        return;
    }
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_near(plan->after.low_us, low + margin, 1e-6);
    assert_near(plan->after.high_us, high - margin, 1e-6);
    if (plan->remap.segments == 2)
        assert_near(spw_remap_apply(&plan->remap, plan->span.neutral.us), 1500, 1e-6);
}

static void check(const spw_plan *plan, const spw_bench *bench) {
    bool remaps = plan->decision == SPW_DECISION_ADAPTER || plan->decision == SPW_DECISION_LIMIT;
    assert_true(plan->has_remap == remaps && plan->has_after == remaps);
    assert_true(plan->fixed_point.known == remaps);
    assert_non_null(plan->summary);
    assert_true(plan->cautions > 0);
    for (size_t i = 0; i < plan->advices; i++) {
        assert_true(i == 0 || plan->advice[i - 1].what <= plan->advice[i].what);
        assert_null(strstr(plan->advice[i].why, "nan"));
        assert_null(strstr(plan->advice[i].why, "inf "));
    }
    for (size_t i = 0; i < plan->cautions; i++)
        assert_null(strstr(plan->caution[i], "nan"));
    for (size_t i = 0; i < plan->recipes; i++)
        assert_null(strstr(plan->recipe[i], "nan"));
    assert_null(strstr(plan->summary, "nan"));
    if (plan->decision == SPW_DECISION_MEASURE_AGAIN)
        assert_true(plan->recipes > 0 && plan->advice[0].what == SPW_DO_MEASURE_AGAIN);
    if (plan->decision == SPW_DECISION_ADJUST)
        assert_true(bench->controller.adjustable && plan->advices > 0);
    if (plan->has_remap)
        check_remap(plan, bench);
}

static void test_every_plan(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(31);
    int seen[6] = {0}, refused = 0;
    for (int i = 0; i < PLANS; i++) {
        spw_bench bench = random_bench(&rng);
        spw_span span = random_span(&rng);
        spw_summary period = spw_summary_none();
        period.n = 100;
        period.mean = span.mean_frame_us;
        period.min = period.max = span.mean_frame_us;
        period.u = 0.1;
        spw_plan *plan = NULL;
        spw_error error;
        if (spw_plan_make(&span, &period, &bench, &plan, &error) != SPW_OK) {
            refused++; /* allowed angles that leave no room */
            continue;
        }
        seen[plan->decision]++;
        check(plan, &bench);
        spw_plan_free(plan);
    }
    for (int i = 0; i < 6; i++)
        if (seen[i] < 10)
            fail_msg("decision %s came %d times: the test is too narrow",
                     spw_decision_name((spw_decision)i), seen[i]);
    assert_true(refused < PLANS / 20);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_every_plan)};
    return cmocka_run_group_tests_name("random plans", tests, NULL, NULL);
}
