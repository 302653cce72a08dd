/* Inputs that once broke something, found by fuzzing and cut down to what matters: those that
 * an exact answer can be told for here, the others as files in tests/fuzz/found/TARGET. These
 * and the seeds go through the whole check of their target, without any fuzzer. */
#include "capture/reader.h"
#include "fuzz/targets.h"
#include "support/kept.h"
#include "support/test.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
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

/* --- files --- */

#define INPUT_MAX ((size_t)1 << 20)

static void check_input(const fuzz_target *target, const char *path) {
    uint8_t *bytes = malloc(INPUT_MAX);
    FILE *file = fopen(path, "rb");
    assert_true(bytes != NULL && file != NULL);
    size_t n = fread(bytes, 1, INPUT_MAX, file);
    assert_true(feof(file) && fclose(file) == 0);
    /* exactly n bytes, so that reading past them is seen */
    uint8_t *input = realloc(bytes, n > 0 ? n : 1);
    assert_non_null(input);
    target->check(input, n);
    free(input);
}

/* How many there were; none where the folder is not there. A breach ends the program: the
 * name is told before. */
static size_t check_folder(const fuzz_target *target, const char *kind) {
    char folder[128], path[512];
    (void)snprintf(folder, sizeof folder, "tests/fuzz/%s/%s", kind, target->name);
    DIR *open = opendir(folder);
    size_t n = 0;
    for (struct dirent *entry; open != NULL && (entry = readdir(open)) != NULL;) {
        if (entry->d_name[0] == '.')
            continue;
        (void)snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        (void)fprintf(stderr, "%s\n", path);
        check_input(target, path);
        n++;
    }
    if (open != NULL)
        closedir(open);
    return n;
}

static void inputs_of_a_target(void **state) {
    const fuzz_target *target = *state;
    (void)check_folder(target, "found");
    assert_true(check_folder(target, "seeds") > 0);
    target->check((const uint8_t *)"", 0);
}

int main(void) {
    struct CMUnitTest test[32] = {
        cmocka_unit_test(nul_in_a_scope),
        cmocka_unit_test(times_mostly_equal),
    };
    const size_t named = 2;
    assert_true(named + fuzz_targets <= sizeof test / sizeof test[0]);
    for (size_t i = 0; i < fuzz_targets; i++)
        test[named + i] = (struct CMUnitTest){.name = fuzz_target_list[i].name,
                                              .test_func = inputs_of_a_target,
                                              .initial_state = (void *)&fuzz_target_list[i]};
    return _cmocka_run_group_tests("found by fuzzing", test, named + fuzz_targets, NULL, NULL);
}
