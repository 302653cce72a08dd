/* The whole way: bytes, measurement, plan, sheet; and every file on the way read back.
 *
 * Four bytes choose, then come a bench file and the capture:
 *   0  bits 0-2 what the capture is: 0-1 the bytes themselves, or a train of pulses made from
 *      them: 2 VCD, 3 VCD of two lines, 4 table, 5 raw dump, 6-7 sound; bit 3 a rate is given;
 *      bits 4-5 unit of time; bit 6 measured from a pipe as well; bit 7 polarity given
 *   1  bits 0-1 which polarity; bit 2 exact frame known; bit 3 a channel asked for; bits 4-5
 *      time base; bit 6 a narrow window of widths
 *   2  length of the bench file in units of 4 bytes
 *   3  bits 0-2 pieces of the pipe */
#include "fuzz/judged.h"
#include "fuzz/targets.h"
#include "fuzz/train.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct choice {
    uint8_t bits, more, bench, pieces;
} choice;

static spw_measure_options options_of(const choice *c) {
    static const char *const asked[1] = {"claw"};
    static const double timebase[4] = {50, 0, 1, 1000};
    spw_measure_options o = spw_measure_defaults();
    unsigned kind = c->bits & 7;
    o.read.has_rate = (c->bits & 8) != 0 || kind == 5;
    o.read.rate_hz = kind == 5 ? 50000 : 1e6;
    o.read.time_unit = (spw_time_unit)(c->bits >> 4 & 3);
    o.has_polarity = (c->bits & 0x80) != 0;
    o.polarity = (c->more & 1) != 0 ? SPW_POLARITY_NEGATIVE : SPW_POLARITY_POSITIVE;
    o.known_frame_us = (c->more & 4) != 0 ? 20000 : 0;
    o.channels = asked;
    o.n_channels = (c->more & 8) != 0;
    o.timebase_ppm = timebase[c->more >> 4 & 3];
    if ((c->more & 0x40) != 0) {
        o.width_low_us = 900;
        o.width_high_us = 2100;
    }
    return o;
}

static void make_capture(const choice *c, fuzz_input *input, spw_text *text) {
    static fuzz_train train;
    unsigned kind = c->bits & 7;
    if (kind < 2) {
        spw_text_append(text, (const char *)input->at, input->left);
        return;
    }
    fuzz_train_make(input, kind < 5 ? 300 : 60, &train);
    if (kind < 4)
        fuzz_train_vcd(&train, (int)kind - 1, text);
    else if (kind == 4)
        fuzz_train_table(&train, text);
    else if (kind == 5)
        fuzz_train_raw(&train, 50000, text);
    else
        fuzz_train_wav(&train, 16000, text);
}

static spw_bench read_bench(const choice *c, fuzz_input *input) {
    spw_bench bench = spw_bench_defaults();
    size_t length = 4u * c->bench < input->left ? 4u * c->bench : input->left;
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_bench_read(fuzz_file(1, input->at, length), &bench, &error);
    if (status != SPW_OK)
        fuzz_error_said(&error, status);
    input->at += length;
    input->left -= length;
    return bench;
}

/* From a pipe: the same answer but for the name. */
static void measure_pipe(const choice *c, const spw_text *bytes, const char *path,
                         const spw_measure_options *options, const spw_text *json) {
    static const size_t pieces[8] = {0, 8, 16, 32, 64, 128, 256, 512};
    spw_capture *capture = NULL;
    spw_text again = {0};
    if ((c->bits & 0x40) == 0 || !fuzz_stdin(bytes->data, bytes->length, pieces[c->pieces & 7]))
        return;
    spw_status status = spw_measure("-", options, &capture, NULL);
    fuzz_stdin_end();
    fuzz_promise((status == SPW_OK) == (json->data != NULL), "a pipe is measured like a file");
    if (status != SPW_OK)
        return;
    free(capture->file);
    capture->file = strdup(path);
    fuzz_promise(capture->file != NULL &&
                     spw_report_measure_json((const spw_capture *const *)&capture, 1, NULL, 1500,
                                             &again) == SPW_OK,
                 "memory");
    fuzz_promise(again.length == json->length && strcmp(again.data, json->data) == 0,
                 "a pipe gives the same measurement");
    spw_text_free(&again);
    spw_capture_free(capture);
}

static void check_span(const spw_span *span) {
    fuzz_promise(span->known || span->reason[0] != '\0', "no span: a reason");
    fuzz_shown(span->reason, strlen(span->reason));
    if (!span->known)
        return;
    fuzz_promise(span->low.us > 0 && span->low.us < span->high.us && isfinite(span->high.us),
                 "a span has a low and a high end");
    fuzz_promise(isnan(span->neutral.us) || isfinite(span->neutral.us), "neutral or none");
}

/* A sheet with everything: the plan, this measurement as an earlier one, a verification. */
static void make_sheet(const spw_capture *capture, const spw_channel *channel, const spw_plan *plan,
                       const spw_bench *bench, const spw_measure_options *options,
                       const spw_text *measured) {
    spw_text planned_json = {0}, verified_json = {0};
    spw_plan_source source = {.capture = capture, .channel = channel};
    spw_verification *v = NULL;
    spw_planned planned = spw_planned_of(plan);
    for (size_t i = 0; i < capture->channels && v == NULL; i++)
        if (&capture->channel[i] != channel && spw_signal_has_pulses(capture->channel[i].signal))
            v = fuzz_check_verify(channel, &capture->channel[i], &planned, &verified_json);
    fuzz_promise(spw_report_plan_json(plan, &source, 1, &planned_json) == SPW_OK, "memory");
    spw_sheet_facts facts = {.plan = plan,
                             .sources = &source,
                             .n = 1,
                             .bench = bench,
                             .options = options,
                             .command = "spanwright sheet <capture> & \x1b[31m\"others'",
                             .date = bench->inspection.date};
    fuzz_check_sheet(&facts);
    facts.plan_file = plan->has_remap ? fuzz_file(1, planned_json.data, planned_json.length) : NULL;
    facts.earlier_file = fuzz_file(2, measured->data, measured->length);
    facts.verified_file = v != NULL ? fuzz_file(3, verified_json.data, verified_json.length) : NULL;
    fuzz_check_sheet(&facts);
    spw_verification_free(v);
    spw_text_free(&planned_json);
    spw_text_free(&verified_json);
}

static void follow(const spw_capture *capture, const spw_channel *channel, const spw_bench *bench,
                   const spw_measure_options *options, const spw_text *measured) {
    spw_span span;
    spw_plan *plan = NULL;
    spw_error error;
    spw_error_clear(&error);
    fuzz_promise(spw_span_build(&channel, 1, bench->servo.neutral_us, &span) == SPW_OK, "a span");
    check_span(&span);
    spw_status status = spw_plan_make(&span, &channel->period_us, bench, &plan, &error);
    if (status != SPW_OK) {
        fuzz_error_said(&error, status);
        return;
    }
    spw_plan_source source = {.capture = capture, .channel = channel};
    fuzz_check_plan(plan, &source, 1);
    make_sheet(capture, channel, plan, bench, options, measured);
    spw_plan_free(plan);
}

static void measure(const choice *c, const spw_text *bytes, const spw_bench *bench) {
    spw_measure_options options = options_of(c);
    const char *path = fuzz_file(0, bytes->data, bytes->length);
    spw_capture *capture = NULL;
    spw_text json = {0};
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_measure(path, &options, &capture, &error);
    if (status == SPW_OK)
        fuzz_check_measured(capture, bench, &json);
    else
        fuzz_error_said(&error, status);
    measure_pipe(c, bytes, path, &options, &json);
    for (size_t i = 0; status == SPW_OK && i < capture->channels; i++)
        if (spw_signal_has_pulses(capture->channel[i].signal)) {
            follow(capture, &capture->channel[i], bench, &options, &json);
            break;
        }
    spw_text_free(&json);
    if (status == SPW_OK)
        spw_capture_free(capture);
}

void fuzz_chain(const uint8_t *data, size_t size) {
    fuzz_input input = {data, size};
    choice c;
    c.bits = fuzz_byte(&input);
    c.more = fuzz_byte(&input);
    c.bench = fuzz_byte(&input);
    c.pieces = fuzz_byte(&input);
    spw_bench bench = read_bench(&c, &input);
    spw_text bytes = {0};
    make_capture(&c, &input, &bytes);
    fuzz_promise(spw_text_status(&bytes) == SPW_OK, "memory");
    fuzz_names_are_ours((c.bits & 7) >= 2 && c.bench == 0);
    measure(&c, &bytes, &bench);
    fuzz_names_are_ours(false);
    spw_text_free(&bytes);
}
