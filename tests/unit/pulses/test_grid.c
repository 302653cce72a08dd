/* The step of instants: by common divisors, by rounded steps, and when to say nothing. */
#include "pulses/grid.h"
#include "sim/rng.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>

/* n random instants on a grid of step_s as a file of tick_s prints them. */
static spw_grid_answer found(double step_s, double tick_s, size_t n, double end_s) {
    spw_grid *grid = malloc(sizeof *grid);
    assert_non_null(grid);
    spw_grid_start(grid, tick_s, end_s);
    sim_rng rng = sim_rng_seed(77);
    double at_s = 0.0123456789, last_s = 0;
    for (size_t i = 0; i < n; i++) {
        at_s += 1e-3 + 1e-2 * sim_rng_uniform(&rng);
        double seen_s = round(round(at_s / step_s) * step_s / tick_s) * tick_s;
        if (i > 0)
            spw_grid_take(grid, last_s, seen_s);
        last_s = seen_s;
    }
    spw_grid_answer answer = spw_grid_find(grid);
    free(grid);
    return answer;
}

static void check(double step_s, double tick_s, double grid_s) {
    spw_grid_answer a = found(step_s, tick_s, 200, 2);
    if (a.kind != SPW_GRID_FOUND)
        fail_msg("steps of %g s in ticks of %g s: kind %d", step_s, tick_s, a.kind);
    assert_true(near(a.grid_s, grid_s, 1e-6 * grid_s));
    assert_true(a.step_s >= a.grid_s * (1 - 1e-9) && a.step_s < 1.2 * a.grid_s);
}

static void steps(void **state) {
    (void)state;
    check(4e-6, 1e-9, 4e-6);
    check(4e-6, 1e-12, 4e-6);
    check(1e-6, 1e-9, 1e-6);
    check(20e-6, 1e-8, 20e-6);
    check(1 / 3e6, 1e-9, 1 / 3e6);
    check(1 / 3e6, 1e-7, 1 / 3e6);
    check(1 / 24e6, 1e-9, 1 / 24e6);
    check(41.7e-9, 1e-9, 41.7e-9);
    check(1 / 7e6, 1e-9, 1 / 7e6);
    check(100 / 72e6, 1e-9, 100 / 72e6);
    check(1 / 1.5e6, 1e-7, 1 / 1.5e6);
    check(1 / 48e3, 1e-9, 1 / 48e3);
}

static void no_step(void **state) {
    (void)state;
    /* the file's own tick, and doubles that cannot tell femtoseconds apart after an hour */
    spw_grid_answer a = found(1e-9, 1e-9, 200, 2);
    assert_true(a.kind == SPW_GRID_NONE && isnan(a.grid_s) && a.step_s == 1e-9);
    a = found(1e-12, 1e-15, 200, 3600);
    assert_true(a.kind == SPW_GRID_NONE && a.step_s < 1.1e-11);
    /* 4 MHz in tenths: halves round as they please, and every number may be one */
    a = found(2.5e-7, 1e-7, 200, 2);
    assert_int_equal(a.kind, SPW_GRID_NONE);
    a = found(1e-9, 1e-9, 1, 2);
    assert_int_equal(a.kind, SPW_GRID_NONE);
}

static void safe_steps(void **state) {
    (void)state;
    spw_grid_answer a = found(4e-6, 1e-9, 5, 2);
    assert_int_equal(a.kind, SPW_GRID_FEW);
    assert_true(a.step_s > 3.999e-6);
    a = found(500e-6, 1e-9, 200, 2);
    assert_int_equal(a.kind, SPW_GRID_COARSE);
    assert_true(near(a.grid_s, 500e-6, 1e-12) && a.step_s == SPW_GRID_MAX_S);
    a = found(500e-6, 1e-4, 200, 2); /* never less than the file's */
    assert_true(a.step_s == 1e-4);
}

/* A recorder of segments starts its count anew after a pause. */
static void pauses(void **state) {
    (void)state;
    spw_grid *grid = malloc(sizeof *grid);
    assert_non_null(grid);
    spw_grid_start(grid, 1e-9, 10);
    for (int i = 0; i < 40; i++)
        spw_grid_take(grid, 1 + 4e-6 * i * i, 1 + 4e-6 * (i + 1) * (i + 1));
    spw_grid_take(grid, 1.5, 1.8000001);
    assert_int_equal(spw_grid_find(grid).kind, SPW_GRID_FOUND);
    assert_true(spw_grid_fits(grid, 4e-6, 1e-9, 1.5, 1.8000001));
    assert_true(spw_grid_fits(grid, 4e-6, 1e-9, 1.5, 1.500004));
    assert_true(spw_grid_fits(grid, 4e-6, 1e-9, 1.5, 1.500004001));
    assert_false(spw_grid_fits(grid, 4e-6, 1e-9, 1.5, 1.500004002));
    assert_true(spw_grid_fits(grid, 1e-9, 1e-9, 1.5, 1.500004002));
    free(grid);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steps),
        cmocka_unit_test(no_step),
        cmocka_unit_test(safe_steps),
        cmocka_unit_test(pauses),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
