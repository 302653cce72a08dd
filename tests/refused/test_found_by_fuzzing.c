/* Inputs that once broke a reader, found by tests/fuzz/fuzz_capture.c and cut
 * down to what matters. */
#include "capture/reader.h"
#include "support/kept.h"
#include "support/test.h"

#include <math.h>
#include <string.h>

static spw_status read_bytes(const char *bytes, size_t length, size_t step, kept *got,
                             spw_capture_summary *summary, spw_error *error) {
    spw_source *source = NULL;
    spw_read_options options = {.has_rate = false};
    assert_int_equal(spw_source_memory(bytes, length, &source), SPW_OK);
    spw_source_step(source, step);
    spw_sink sink = kept_sink(got);
    spw_error_clear(error);
    spw_status status = spw_capture_read_source(source, &options, &sink, summary, error);
    if (status == SPW_OK)
        kept_check_summary(got, summary);
    spw_source_free(source);
    return status;
}

/* A NUL byte in a scope's name, and two variables of one name in it: the
 * suffix that sets them apart stood behind the NUL, and the search for a free
 * name never ended. */
static void nul_in_a_scope(void **state) {
    (void)state;
    static const char vcd[] =
        "$timescale 1 us $end\n$var wire 1 ! claw $end\n$scope module lid\0x $end\n"
        "$var wire 1 # arm $end\n$var wire 1 $ arm $end\n$upscope $end\n"
        "$enddefinitions $end\n#0\n0!\n1#\n0$\n#10\n1!\n";
    kept got = {.keep = 10};
    spw_capture_summary summary;
    spw_error error;
    assert_int_equal(read_bytes(vcd, sizeof vcd - 1, 0, &got, &summary, &error), SPW_OK);
    assert_int_equal(got.n_channels, 3);
    assert_string_equal(got.channels[1].name, "lid?x.arm");
    assert_string_equal(got.channels[2].name, "lid?x.arm~2");
    spw_capture_summary_free(&summary);
    kept_free(&got);
}

/* Irregular rows of which most repeat the time before: the median step is 0
 * and was told as the resolution. */
static void times_mostly_equal(void **state) {
    (void)state;
    static const char table[] = "dns5\t\n\t5\t\n\t\xff"
                                "1\t1\n2\t0\n2\t0\n";
    kept got = {0};
    spw_capture_summary summary;
    spw_error error;
    assert_int_equal(read_bytes(table, sizeof table - 1, 2, &got, &summary, &error), SPW_OK);
    spw_capture_summary_free(&summary);
    kept_free(&got);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nul_in_a_scope),
        cmocka_unit_test(times_mostly_equal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
