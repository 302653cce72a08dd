/* Lines that hold next to nothing, more events than are kept, levels that get lost. */
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void check_idle(const spw_change *change, size_t n, double end_s, const char *reason) {
    spw_channel c = measured_changes(change, n, 1e-6, end_s, NULL);
    assert_int_not_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    assert_non_null(c.reason);
    assert_string_equal(c.reason, reason);
    spw_channel_clear(&c);
}

static void next_to_nothing(void **state) {
    (void)state;
    static const spw_change up[] = {{0, 0, SPW_LEVEL_LOW}, {0.3, 0, SPW_LEVEL_HIGH}};
    static const spw_change down[] = {{0, 0, SPW_LEVEL_HIGH}, {2.5, 0, SPW_LEVEL_LOW}};
    static const spw_change two[] = {{0, 0, SPW_LEVEL_LOW},
                                     {0.1, 0, SPW_LEVEL_HIGH},
                                     {0.1015, 0, SPW_LEVEL_LOW},
                                     {0.12, 0, SPW_LEVEL_HIGH},
                                     {0.1215, 0, SPW_LEVEL_LOW}};
    check_idle(up, 2, 1, "the line changes once, at 300 ms, and then stays high");
    check_idle(down, 2, 3, "the line changes once, at 2.5 s, and then stays low");
    check_idle(two, 5, 1,
               "only two pulses, 20 ms apart, in 1 s: control pulses go on, frame after frame");
}

/* Every tenth pulse is a runt: 1100 events, of which 1000 are kept and the rest counted. */
static void more_events_than_are_kept(void **state) {
    (void)state;
    enum { FRAMES = 11000 };
    spw_change *change = malloc((2 * FRAMES + 1) * sizeof *change);
    assert_non_null(change);
    size_t k = 0;
    change[k++] = (spw_change){0, 0, SPW_LEVEL_LOW};
    for (int i = 0; i < FRAMES; i++) {
        double at = 0.01 + 0.02 * i;
        change[k++] = (spw_change){at, 0, SPW_LEVEL_HIGH};
        change[k++] = (spw_change){at + (i % 10 == 1 ? 100e-6 : 1500e-6), 0, SPW_LEVEL_LOW};
    }
    spw_channel c = measured_changes(change, k, 1e-6, 0.02 * FRAMES, NULL);
    free(change);
    assert_int_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    assert_int_equal(c.events, SPW_EVENTS_MAX);
    assert_int_equal(c.events_dropped, FRAMES / 10 - SPW_EVENTS_MAX);
    assert_int_equal(measured_events(&c, SPW_EVENT_RUNT_PULSE, NULL), SPW_EVENTS_MAX);
    assert_int_equal(c.counted, FRAMES - FRAMES / 10);
    assert_true(near(c.width_us.median, 1500, 1e-3));
    assert_string_equal(c.warnings.text[c.warnings.n - 1], "100 further events are not listed");
    spw_channel_clear(&c);
}

/* The level is unknown from 2 s on, for good: no pulse, no gap, an event. */
static void level_lost_for_good(void **state) {
    (void)state;
    enum { FRAMES = 100 };
    spw_change change[2 * FRAMES + 2];
    size_t k = 0;
    change[k++] = (spw_change){0, 0, SPW_LEVEL_LOW};
    for (int i = 0; i < FRAMES; i++) {
        change[k++] = (spw_change){0.01 + 0.02 * i, 0, SPW_LEVEL_HIGH};
        change[k++] = (spw_change){0.0115 + 0.02 * i, 0, SPW_LEVEL_LOW};
    }
    change[k++] = (spw_change){2.0, 0, SPW_LEVEL_UNKNOWN};
    spw_channel c = measured_changes(change, k, 1e-6, 3, NULL);
    uint64_t count;
    assert_int_equal(c.pulses, FRAMES);
    assert_int_equal(measured_events(&c, SPW_EVENT_UNKNOWN_LEVEL, &count), 1);
    for (size_t i = 0; i < c.events; i++)
        if (c.event[i].kind == SPW_EVENT_UNKNOWN_LEVEL)
            assert_true(near(c.event[i].at_s, 2, 1e-9) && near(c.event[i].value_us, 1e6, 1e-3));
    assert_int_equal(c.last_level, SPW_LEVEL_UNKNOWN);
    spw_channel_clear(&c);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(next_to_nothing),
        cmocka_unit_test(more_events_than_are_kept),
        cmocka_unit_test(level_lost_for_good),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
