/* The JSON files that are read back: a plan, an earlier measurement, a verification; each by
 * itself and on the sheet. The input is the file. */
#include "fuzz/judged.h"
#include "fuzz/targets.h"
#include "fuzz/train.h"
#include "report/json/json.h"

#include <math.h>
#include <string.h>

/* A measured pair of lines and their plan, made once. */
typedef struct bed {
    spw_capture *capture;
    const spw_channel *claw, *servo;
    spw_plan *plan;
    spw_plan_source source;
    spw_bench bench;
    spw_measure_options options;
} bed;

static void make_bed(bed *made) {
    static const uint8_t holds[] = {0xc0, 0x5d, 20, 0, 0xb0, 0x36, 20, 0, 0xd0, 0x84, 20, 0};
    fuzz_input input = {holds, sizeof holds};
    static fuzz_train train;
    spw_text vcd = {0};
    spw_span span;
    fuzz_train_make(&input, 60, &train);
    fuzz_train_vcd(&train, 2, &vcd);
    made->bench = spw_bench_defaults();
    made->options = spw_measure_defaults();
    fuzz_promise(spw_measure(fuzz_file(0, vcd.data, vcd.length), &made->options, &made->capture,
                             NULL) == SPW_OK &&
                     made->capture->channels == 2,
                 "a capture measured");
    made->claw = &made->capture->channel[0];
    made->servo = &made->capture->channel[1];
    fuzz_promise(spw_span_build(&made->claw, 1, 1500, &span) == SPW_OK && span.known &&
                     spw_plan_make(&span, &made->claw->period_us, &made->bench, &made->plan,
                                   NULL) == SPW_OK &&
                     made->plan->has_remap,
                 "a plan with an adapter");
    made->source = (spw_plan_source){.capture = made->capture, .channel = made->claw};
    spw_text_free(&vcd);
}

static const bed *the_bed(void) {
    static bed made;
    if (made.plan == NULL)
        make_bed(&made);
    return &made;
}

static void on_the_sheet(const bed *b, const char *plan, const char *earlier,
                         const char *verified) {
    spw_sheet_facts facts = {.plan = b->plan,
                             .sources = &b->source,
                             .n = 1,
                             .bench = &b->bench,
                             .options = &b->options,
                             .plan_file = plan,
                             .earlier_file = earlier,
                             .verified_file = verified};
    fuzz_check_sheet(&facts);
}

static void check_planned(const spw_planned *p) {
    const spw_remap *map = &p->remap;
    fuzz_promise(p->known && map->segments >= 1 && map->segments <= 2, "one or two segments");
    fuzz_promise(isfinite(map->gain) && isfinite(map->offset_us) && isfinite(p->tolerance_us),
                 "numbers that are needed are there");
    fuzz_promise(map->clamp_low_us < map->clamp_high_us, "clamps in order");
    for (int i = 0; i < 40; i++) {
        double out = spw_remap_apply(map, i * 100.0);
        fuzz_promise(out >= map->clamp_low_us && out <= map->clamp_high_us, "outputs are clamped");
    }
}

void fuzz_plan_json(const uint8_t *data, size_t size) {
    const bed *b = the_bed();
    const char *path = fuzz_file(1, data, size);
    spw_planned planned = spw_planned_none();
    spw_text json = {0};
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_planned_read(path, &planned, &error);
    if (status != SPW_OK) {
        fuzz_error_said(&error, status);
        fuzz_promise(!planned.known, "a refused plan changes nothing");
        return;
    }
    check_planned(&planned);
    spw_verification_free(fuzz_check_verify(b->claw, b->servo, &planned, &json));
    on_the_sheet(b, path, NULL, NULL);
    spw_text_free(&json);
}

void fuzz_measure_json(const uint8_t *data, size_t size) {
    const bed *b = the_bed();
    const char *path = fuzz_file(1, data, size);
    spw_earlier earlier = {0};
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_earlier_read(path, "claw", &earlier, &error);
    if (status == SPW_OK) {
        fuzz_promise(earlier.known && earlier.file != NULL && earlier.channel != NULL,
                     "an earlier measurement says of what");
        on_the_sheet(b, NULL, path, NULL);
    } else {
        fuzz_error_said(&error, status);
    }
    spw_earlier_free(&earlier);
}

void fuzz_verify_json(const uint8_t *data, size_t size) {
    const bed *b = the_bed();
    const char *path = fuzz_file(1, data, size);
    spw_verified verified = {0};
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_verified_read(path, &verified, &error);
    if (status == SPW_OK) {
        fuzz_promise(verified.known && verified.pass >= -1 && verified.pass <= 1, "a verdict");
        on_the_sheet(b, NULL, NULL, path);
    } else {
        fuzz_error_said(&error, status);
    }
    spw_verified_free(&verified);
}
