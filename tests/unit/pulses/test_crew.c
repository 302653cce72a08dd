/* Threads for sampled channels: every sample once, in order, by lane; failures come back;
 * and a long recording measures the same with and without them. */
#include "pulses/crew.h"
#include "sim/channel.h"
#include "support/scratch.h"
#include "support/test.h"

#include <math.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>

enum { LANES = 3, SAMPLES = 100003 };

typedef struct seen {
    size_t n[LANES];
    bool ordered[LANES], ended[LANES];
    size_t fail_at; /* of lane 1; 0: never */
} seen;

static spw_status take(void *context, uint32_t lane, const float *samples, size_t n) {
    seen *s = context;
    if (samples == NULL) {
        s->ended[lane] = true;
        return SPW_OK;
    }
    for (size_t i = 0; i < n; i++)
        s->ordered[lane] = s->ordered[lane] && (size_t)samples[i] == s->n[lane]++;
    return lane == 1 && s->fail_at > 0 && s->n[lane] >= s->fail_at ? SPW_ERR_LIMIT : SPW_OK;
}

/* Every other part goes to a place of the crew's own. */
static spw_status give(spw_crew *crew, uint32_t lane, const float *samples, size_t n) {
    float *place = n % 2 == 0 ? spw_crew_place(crew, lane % 2, lane, n) : NULL;
    if (place != NULL)
        memcpy(place, samples, n * sizeof *samples);
    return spw_crew_give(crew, lane % 2, lane, place != NULL ? place : samples, n);
}

/* Lanes 0 and 2 share a hand. The status of the giving, then that of the end. */
static void work_through(seen *s, spw_status *given, spw_status *ended) {
    static float ramp[SAMPLES];
    for (size_t i = 0; i < SAMPLES; i++)
        ramp[i] = (float)i;
    spw_crew *crew = spw_crew_new(2, take, s);
    assert_non_null(crew);
    *given = SPW_OK;
    for (size_t at = 0, part; at < SAMPLES && *given == SPW_OK; at += part) {
        part = at % 7919 + 1 < SAMPLES - at ? at % 7919 + 1 : SAMPLES - at;
        for (uint32_t lane = 0; lane < LANES && *given == SPW_OK; lane++)
            *given = give(crew, lane, ramp + at, part);
    }
    for (uint32_t lane = 0; lane < LANES && *given == SPW_OK; lane++)
        *given = spw_crew_last(crew, lane % 2, lane);
    *ended = spw_crew_end(crew, *given != SPW_OK);
}

static const seen fresh = {.ordered = {true, true, true}};

static void all_in_order(void **unused) {
    (void)unused;
    seen s = fresh;
    spw_status given, ended;
    work_through(&s, &given, &ended);
    assert_int_equal(given, SPW_OK);
    assert_int_equal(ended, SPW_OK);
    for (int lane = 0; lane < LANES; lane++) {
        assert_int_equal(s.n[lane], SAMPLES);
        assert_true(s.ordered[lane] && s.ended[lane]);
    }
}

static void failure_comes_back(void **unused) {
    (void)unused;
    seen s = fresh;
    s.fail_at = 20000;
    spw_status given, ended;
    work_through(&s, &given, &ended);
    assert_int_equal(ended, SPW_ERR_LIMIT);
    assert_true(s.n[1] < 20000 + 4096 + 1); /* a block at most after it */
    assert_false(s.ended[1]);
    for (int lane = 0; lane < LANES; lane++)
        assert_true(s.ordered[lane]);
}

static void abandoned(void **unused) {
    (void)unused;
    seen s = fresh;
    float some[4] = {0, 1, 2, 3};
    spw_crew *crew = spw_crew_new(1, take, &s);
    assert_non_null(crew);
    assert_int_equal(spw_crew_give(crew, 0, 0, some, 4), SPW_OK);
    assert_int_equal(spw_crew_end(crew, true), SPW_OK);
    assert_false(s.ended[0]);
    assert_int_equal(spw_crew_end(NULL, true), SPW_OK);
}

/* ------------------------------------------------------------ tasks side by side */

enum { THINGS = 9 };
typedef struct things {
    _Atomic int done[THINGS];
    size_t fails[2];
} things;

static spw_status do_thing(void *context, size_t i) {
    things *t = context;
    t->done[i]++;
    return i == t->fails[0] ? SPW_ERR_LIMIT : i == t->fails[1] ? SPW_ERR_MEMORY : SPW_OK;
}

static void side_by_side(void **unused) {
    (void)unused;
    for (int two = 0; two < 2; two++)
        for (size_t n = 0; n <= THINGS; n++) {
            things t = {.fails = {THINGS, THINGS}};
            assert_int_equal(spw_crew_do(n, two, do_thing, &t), SPW_OK);
            for (size_t i = 0; i < THINGS; i++)
                assert_int_equal(t.done[i], i < n);
        }
}

/* The earlier failure is told, and with one hand nothing is done after it. */
static void one_of_them_fails(void **unused) {
    (void)unused;
    for (int two = 0; two < 2; two++)
        for (int turn = 0; turn < 200; turn++) {
            things t = {.fails = {3, 4}};
            assert_int_equal(spw_crew_do(THINGS, two, do_thing, &t), SPW_ERR_LIMIT);
            assert_int_equal(t.done[3], 1);
            assert_true(two || t.done[4] == 0);
        }
}

/* ------------------------------------------------------------ a whole recording */

enum { RATE = 48000, CHANNELS = 3, FRAMES = 240 };

/* CHANNELS servo lines with noise of their own, 5 s. */
static void write_recording(const char *path) {
    float *channel[CHANNELS], *frame;
    size_t n = 0;
    for (int c = 0; c < CHANNELS; c++) {
        double edge[2 * FRAMES];
        for (int i = 0; i < FRAMES; i++) {
            edge[2 * i] = 0.0101 + 0.003 * c + 0.020003 * i;
            edge[2 * i + 1] = edge[2 * i] + 1e-6 * (1200 + 150 * c + 40 * sin(0.2 * i));
        }
        sim_channel recorder = sim_channel_default(RATE, 'h');
        recorder.snr_db = 50;
        recorder.high_pass_hz[0] = 5;
        recorder.seed = 60 + (uint64_t)c;
        assert_true(sim_channel_render(&recorder, edge, 2 * FRAMES, false, 5, &channel[c], &n));
    }
    assert_true(n * CHANNELS > 1 << 19); /* enough for a crew */
    SF_INFO info = {
        .samplerate = RATE, .channels = CHANNELS, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    frame = malloc(n * CHANNELS * sizeof *frame);
    assert_true(file != NULL && frame != NULL);
    for (size_t i = 0; i < n; i++)
        for (size_t c = 0; c < CHANNELS; c++)
            frame[i * CHANNELS + c] = channel[c][i];
    assert_int_equal(sf_writef_float(file, frame, (sf_count_t)n), n);
    assert_int_equal(sf_close(file), 0);
    free(frame);
    for (int c = 0; c < CHANNELS; c++)
        free(channel[c]);
}

/* CHANNELS logic lines, together more transitions than one thread is left to finish. */
enum { LOGIC_FRAMES = 4000 };

static const char *write_logic(void) {
    static const char head[] = "$timescale 1 us $end\n$scope module wren $end\n"
                               "$var wire 1 a claw $end\n$var wire 1 b arm $end\n"
                               "$var wire 1 c roller $end\n$upscope $end\n"
                               "$enddefinitions $end\n#0\n0a\n0b\n0c\n";
    spw_text text = {0};
    spw_text_append(&text, head, sizeof head - 1);
    for (int i = 0; i < LOGIC_FRAMES; i++) {
        int at = 1000 + 20000 * i;
        spw_text_printf(&text, "#%d\n1a\n1b\n1c\n", at);
        for (int c = 0; c < CHANNELS; c++)
            spw_text_printf(&text, "#%d\n0%c\n", at + 1100 + 300 * c + i % 7, 'a' + c);
    }
    assert_int_equal(spw_text_status(&text), SPW_OK);
    const char *path = scratch_file("long.vcd", text.data, text.length);
    spw_text_free(&text);
    return path;
}

static char *answer(const char *path, size_t pulses, unsigned threads) {
    spw_measure_options options = spw_measure_defaults();
    spw_capture *capture;
    spw_text text = {0};
    spw_error error;
    spw_error_clear(&error);
    options.threads = threads;
    assert_int_equal(spw_measure(path, &options, &capture, &error), SPW_OK);
    for (size_t c = 0; c < CHANNELS; c++)
        assert_int_equal(capture->channel[c].pulses, pulses);
    const spw_capture *captures[1] = {capture};
    assert_int_equal(spw_report_measure_json(captures, 1, NULL, 1500, &text), SPW_OK);
    spw_capture_free(capture);
    return text.data;
}

static void check_answers(const char *path, size_t pulses) {
    char *alone = answer(path, pulses, 1);
    for (unsigned threads = 0; threads <= 3; threads += threads == 0 ? 2 : 1) {
        char *shared = answer(path, pulses, threads);
        assert_string_equal(shared, alone);
        free(shared);
    }
    free(alone);
}

static void same_answer(void **unused) {
    (void)unused;
    const char *path = scratch_path("long.wav");
    write_recording(path);
    check_answers(path, FRAMES);
    check_answers(write_logic(), LOGIC_FRAMES);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_in_order),      cmocka_unit_test(failure_comes_back),
        cmocka_unit_test(abandoned),         cmocka_unit_test(side_by_side),
        cmocka_unit_test(one_of_them_fails), cmocka_unit_test(same_answer),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
