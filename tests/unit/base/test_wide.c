/* Whole numbers of 128 bits, against the compiler's own where it has them. */
#include "support/test.h"

#include "base/wide.h"

#include "sim/rng.h"

static void edges_of_64_bits(void **state) {
    (void)state;
    spw_wide p = spw_wide_product(UINT64_MAX, UINT64_MAX);
    assert_true(p.low == 1 && p.high == UINT64_MAX - 1);
    p = spw_wide_product(UINT64_C(9999999999999999999), UINT64_C(1000000000000000000));
    assert_true(p.high == UINT64_C(542101086242752216) &&
                p.low == UINT64_C(17515484028849618944)); /* by bc */
    int64_t value = 7;
    assert_true(spw_wide_within((spw_wide){5, 0}, 5, &value));
    assert_int_equal(value, 5);
    assert_false(spw_wide_within((spw_wide){6, 0}, 5, &value));
    assert_int_equal(value, 5); /* untouched */
    assert_true(spw_wide_within(spw_wide_negative((spw_wide){5, 0}), 5, &value));
    assert_int_equal(value, -5);
    assert_false(spw_wide_within((spw_wide){0, UINT64_C(1) << 63}, INT64_MAX, &value));
}

#ifdef __SIZEOF_INT128__
__extension__ typedef unsigned __int128 own;

static own of(spw_wide a) {
    return ((own)a.high << 64) | a.low;
}

static void as_the_compiler_does(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(5);
    for (int i = 0; i < 20000; i++) {
        uint64_t a = sim_rng_bits(&rng) >> (sim_rng_bits(&rng) % 64);
        uint64_t b = sim_rng_bits(&rng) >> (sim_rng_bits(&rng) % 64);
        spw_wide p = spw_wide_product(a, b);
        assert_true(of(p) == (own)a * b);
        spw_wide q = {sim_rng_bits(&rng), sim_rng_bits(&rng)};
        assert_true(of(spw_wide_less(p, q)) == of(p) - of(q));
        assert_true(of(spw_wide_negative(q)) == -of(q));
    }
}
#endif

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(edges_of_64_bits),
#ifdef __SIZEOF_INT128__
        cmocka_unit_test(as_the_compiler_does),
#endif
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
