/* Level changes to edges: starts, repeats, unknown stretches, uncertainty. */
#include "support/test.h"

#include <math.h>

static void expect(spw_logic_edges *state, double time_s, uint32_t level, uint32_t flags) {
    spw_edge edge = {0};
    assert_true(spw_logic_edges_step(state, time_s, level, &edge));
    assert_int_equal(edge.flags, flags);
    assert_true(edge.time_s == time_s);
}

static void expect_none(spw_logic_edges *state, double time_s, uint32_t level) {
    spw_edge edge = {.flags = 77};
    assert_false(spw_logic_edges_step(state, time_s, level, &edge));
    assert_int_equal(edge.flags, 77);
}

static void pulses(void **unused) {
    (void)unused;
    spw_logic_edges state = spw_logic_edges_start(1e-6);
    expect(&state, 0, SPW_LEVEL_LOW, SPW_EDGE_FOUND | SPW_EDGE_FIRST);
    expect(&state, 1e-3, SPW_LEVEL_HIGH, SPW_EDGE_RISING);
    expect_none(&state, 2e-3, SPW_LEVEL_HIGH);
    expect(&state, 2.5e-3, SPW_LEVEL_LOW, 0);
    expect_none(&state, 3e-3, SPW_LEVEL_LOW);
}

static void starts_high(void **unused) {
    (void)unused;
    spw_logic_edges state = spw_logic_edges_start(1e-6);
    expect(&state, 0, SPW_LEVEL_HIGH, SPW_EDGE_FOUND | SPW_EDGE_FIRST | SPW_EDGE_RISING);
    expect(&state, 1e-3, SPW_LEVEL_LOW, 0);
}

static void unknown_stretches(void **unused) {
    (void)unused;
    spw_logic_edges state = spw_logic_edges_start(1e-6);
    expect_none(&state, 0, SPW_LEVEL_UNKNOWN);
    expect(&state, 1, SPW_LEVEL_LOW, SPW_EDGE_FOUND); /* not the level at the start */
    expect(&state, 2, SPW_LEVEL_UNKNOWN, SPW_EDGE_LOST);
    expect_none(&state, 2.5, SPW_LEVEL_UNKNOWN);
    expect(&state, 3, SPW_LEVEL_HIGH, SPW_EDGE_FOUND | SPW_EDGE_RISING);
    expect(&state, 4, 99, SPW_EDGE_LOST); /* no such level */
}

static void uncertainty(void **unused) {
    (void)unused;
    spw_edge edge;
    spw_logic_edges state = spw_logic_edges_start(1e-6);
    assert_true(spw_logic_edges_step(&state, 0, SPW_LEVEL_LOW, &edge));
    /* GUM 4.3.7: a / sqrt(3) with half width a = 0.5 us */
    assert_true(fabs((double)edge.u_us - 0.5 / sqrt(3.0)) < 1e-6);
    state = spw_logic_edges_start(NAN);
    assert_true(spw_logic_edges_step(&state, 0, SPW_LEVEL_LOW, &edge));
    assert_true(isnan(edge.u_us));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pulses),
        cmocka_unit_test(starts_high),
        cmocka_unit_test(unknown_stretches),
        cmocka_unit_test(uncertainty),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
