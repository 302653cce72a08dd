/* What the guard band promises: with the truth exactly on a limit, each firm
 * verdict comes in 2.5 % of cases; away from the limit wrong ones vanish. And
 * that pooling holds does not pull the ends outwards. */
#include "sim/rng.h"
#include "support/hand_channel.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>

#define RUNS 4000
#define FRAMES 30
#define SIGMA 2.0

/* A hold as `measure` would report it: mean, scatter and t factor from frames. */
static spw_hold noisy_hold(sim_rng *rng, double start_s, double truth, size_t frames) {
    double sum = 0, squares = 0;
    for (size_t i = 0; i < frames; i++) {
        double x = SIGMA * sim_rng_normal(rng);
        sum += x;
        squares += x * x;
    }
    double n = (double)frames, mean = sum / n;
    double sd = sqrt((squares - n * mean * mean) / (n - 1));
    spw_hold hold = hand_hold(start_s, truth + mean, sd / sqrt(n), frames);
    hold.budget.dof_scatter = hold.width_us.dof = n - 1;
    return hold;
}

typedef struct tally {
    int meets, short_, beyond, undecided;
} tally;

/* Judges `runs` spans whose one end is at `truth`; sign -1 low, +1 high. */
static tally judge_many(uint64_t seed, int sign, double truth, size_t holds_an_end) {
    sim_rng rng = sim_rng_seed(seed);
    tally t = {0};
    for (int run = 0; run < RUNS; run++) {
        spw_hold hold[8];
        size_t n = 0;
        for (size_t k = 0; k < holds_an_end; k++) {
            hold[n++] = noisy_hold(&rng, 0, sign < 0 ? truth : 700, FRAMES);
            hold[n++] = noisy_hold(&rng, 1, sign < 0 ? 2300 : truth, FRAMES);
        }
        spw_channel channel = hand_channel(hold, n);
        const spw_channel *channels[] = {&channel};
        spw_span span;
        assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
        spw_end end = sign < 0 ? spw_judge_end(&span.low, 500, 10, -1)
                               : spw_judge_end(&span.high, 2500, 10, 1);
        t.meets += end.verdict == SPW_END_MEETS;
        t.short_ += end.verdict == SPW_END_SHORT;
        t.beyond += end.verdict == SPW_END_BEYOND;
        t.undecided += end.verdict == SPW_END_UNDECIDED;
    }
    return t;
}

/* 2.5 % of RUNS within 3.3 standard deviations of the binomial: a run of this
 * file fails by chance in about 1 % of seeds. */
static void assert_rate(int count) {
    double expected = 0.025 * RUNS, sd = sqrt(RUNS * 0.025 * 0.975);
    if (fabs(count - expected) > 3.3 * sd)
        fail_msg("%d firm verdicts, expected %.0f +- %.0f", count, expected, 3.3 * sd);
}

static void test_on_the_limit(void **state) {
    (void)state;
    static const struct {
        int sign;
        double truth;
        bool beyond;
    } at[] = {{-1, 510, false}, {-1, 490, true}, {1, 2490, false}, {1, 2510, true}};
    for (size_t i = 0; i < 4; i++) {
        tally t = judge_many(1000 + i, at[i].sign, at[i].truth, 1);
        assert_rate(t.meets);
        assert_rate(at[i].beyond ? t.beyond : t.short_);
        assert_int_equal(at[i].beyond ? t.short_ : t.beyond, 0);
    }
}

static void test_on_the_limit_with_pooled_holds(void **state) {
    (void)state;
    for (size_t holds = 2; holds <= 4; holds += 2) {
        tally t = judge_many(2000 + holds, -1, 510, holds);
        assert_rate(t.meets);
        assert_rate(t.short_);
    }
}

/* 6 standard uncertainties of the mean (0.365 us each) off the limit no firm
 * verdict is wrong (chance 1e-9 a run) and nearly all are firm. */
static void test_away_from_the_limit(void **state) {
    (void)state;
    double far = 6 * SIGMA / sqrt(FRAMES);
    tally inside = judge_many(3001, -1, 510 - far, 1);
    assert_int_equal(inside.short_ + inside.beyond, 0);
    assert_true(inside.meets > RUNS * 99 / 100);
    tally outside = judge_many(3002, -1, 510 + far, 1);
    assert_int_equal(outside.meets + outside.beyond, 0);
    assert_true(outside.short_ > RUNS * 99 / 100);
}

/* The lowest of n holds lies under their mean by 0.56 (n = 2) to 1.87 (n = 20)
 * standard uncertainties; the pool must not. A level comes apart in 5 % of
 * spans, so a bias of a few hundredths is left. */
static void test_pool_has_no_lowest_of_many_bias(void **state) {
    (void)state;
    static const size_t counts[] = {2, 5, 20};
    sim_rng rng = sim_rng_seed(4001);
    for (size_t c = 0; c < 3; c++) {
        enum { SPANS = 1000 };
        double sum = 0, squares = 0, u = SIGMA / sqrt(FRAMES);
        int covered = 0;
        for (int run = 0; run < SPANS; run++) {
            spw_hold hold[40];
            for (size_t k = 0; k < counts[c]; k++) {
                hold[2 * k] = noisy_hold(&rng, 0, 1000, FRAMES);
                hold[2 * k + 1] = noisy_hold(&rng, 1, 2000, FRAMES);
            }
            spw_channel channel = hand_channel(hold, 2 * counts[c]);
            const spw_channel *channels[] = {&channel};
            spw_span span;
            assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
            double off = (span.low.us - 1000) / u;
            sum += off;
            squares += off * off;
            covered += fabs(span.low.us - 1000) <= span.low.U95;
        }
        double mean = sum / SPANS, sd = sqrt(squares / SPANS - mean * mean);
        /* what is left of the bias, and 4 standard errors of this simulation */
        if (mean < -0.03 - 4 * sd / sqrt(SPANS) || mean > 4 * sd / sqrt(SPANS))
            fail_msg("%zu holds: the low end is off by %.3f u", counts[c], mean);
        /* 95 % cover less what the coming apart costs, 4 binomial deviations */
        if (covered < SPANS * (0.95 - 0.015 - 4 * sqrt(0.95 * 0.05 / SPANS)))
            fail_msg("%zu holds: %d of %d covered", counts[c], covered, SPANS);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_on_the_limit),
        cmocka_unit_test(test_on_the_limit_with_pooled_holds),
        cmocka_unit_test(test_away_from_the_limit),
        cmocka_unit_test(test_pool_has_no_lowest_of_many_bias),
    };
    return cmocka_run_group_tests_name("guard band", tests, NULL, NULL);
}
