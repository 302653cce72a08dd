/* Bench files, and the plan that each one leads to. Four bytes choose the span. */
#include "fuzz/judged.h"
#include "fuzz/shared.h"
#include "fuzz/targets.h"

#include <math.h>
#include <string.h>

static void check_text(const char *text, size_t room) {
    fuzz_promise(memchr(text, '\0', room) != NULL, "texts end");
}

static void check_bench(const spw_bench *bench) {
    fuzz_promise(spw_bench_check(bench, NULL) == SPW_OK,
                 "a bench file that is read holds together");
    check_text(bench->servo.name, sizeof bench->servo.name);
    check_text(bench->controller.name, sizeof bench->controller.name);
    check_text(bench->controller.channel, sizeof bench->controller.channel);
    check_text(bench->inspection.event, sizeof bench->inspection.event);
    check_text(bench->inspection.date, sizeof bench->inspection.date);
}

static void check_plans(const spw_bench *bench, double low_us, double high_us, bool neutral) {
    spw_span span;
    spw_plan *plan = NULL;
    spw_error error;
    spw_error_clear(&error);
    spw_status status =
        spw_span_given(low_us, neutral ? (low_us + high_us) / 2 : (double)NAN, high_us, &span);
    fuzz_promise(status == SPW_OK, "a span of pulses");
    status = spw_plan_make(&span, NULL, bench, &plan, &error);
    if (status != SPW_OK) {
        fuzz_error_said(&error, status);
        return;
    }
    fuzz_check_plan(plan, NULL, 0);
    spw_plan_free(plan);
}

void fuzz_bench(const uint8_t *data, size_t size) {
    fuzz_input file = {data, size};
    double low = 1 + 10.0 * fuzz_byte(&file), high = low + 1 + 10.0 * fuzz_byte(&file);
    bool neutral = (fuzz_byte(&file) & 1) != 0;
    (void)fuzz_byte(&file);
    spw_bench bench = spw_bench_defaults();
    const spw_bench before = bench;
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_bench_read(fuzz_file(0, file.at, file.left), &bench, &error);
    if (status != SPW_OK) {
        fuzz_error_said(&error, status);
        fuzz_promise(error.file[0] != '\0', "a refusal names the file");
        fuzz_promise(memcmp(&bench, &before, sizeof bench) == 0, "a refused file changes nothing");
        return;
    }
    check_bench(&bench);
    check_plans(&bench, low, high, neutral);
}
