/* Changes that are counted instead of delivered (spw_sink's pass_s): they are
 * the same changes, and none that follows later than allowed is among them. */
#include "capture/reader.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CHANNELS 8

typedef struct heard {
    double *time_s;
    uint8_t *level;
    size_t n, room;
    size_t at;       /* passing: of these, heard again */
    uint64_t passed; /* and not delivered */
    double pass_s;
} heard;

typedef struct listener {
    heard channel[CHANNELS];
    size_t channels;
} listener;

static spw_status on_channel(void *context, uint32_t index, const spw_channel_info *info) {
    listener *to = context;
    (void)info;
    assert_true(index < CHANNELS);
    if (to->channels <= index)
        to->channels = index + 1;
    return SPW_OK;
}

static spw_status keep(void *context, const spw_change *changes, size_t n) {
    listener *to = context;
    for (size_t i = 0; i < n; i++) {
        heard *h = &to->channel[changes[i].channel];
        if (h->n == h->room) {
            h->room = 2 * h->room + 64;
            h->time_s = realloc(h->time_s, h->room * sizeof *h->time_s);
            h->level = realloc(h->level, h->room);
            assert_true(h->time_s != NULL && h->level != NULL);
        }
        h->time_s[h->n] = changes[i].time_s;
        h->level[h->n++] = (uint8_t)changes[i].level;
    }
    return SPW_OK;
}

static spw_status compare(void *context, const spw_change *changes, size_t n) {
    listener *to = context;
    for (size_t i = 0; i < n; i++) {
        heard *h = &to->channel[changes[i].channel];
        assert_true(h->at < h->n);
        assert_true(changes[i].time_s == h->time_s[h->at]);
        assert_int_equal(changes[i].level, h->level[h->at]);
        h->at++;
    }
    return SPW_OK;
}

static double pass_s(void *context, uint32_t channel) {
    listener *to = context;
    heard *h = &to->channel[channel];
    return h->at > 0 && h->level[h->at - 1] != SPW_LEVEL_UNKNOWN ? h->pass_s : 0;
}

static spw_status passed(void *context, uint32_t channel, uint64_t n, double last_s,
                         spw_level level) {
    listener *to = context;
    heard *h = &to->channel[channel];
    assert_true(n > 0 && n <= h->n - h->at && h->at > 0);
    for (uint64_t i = 0; i < n; i++, h->at++) {
        assert_true(h->time_s[h->at] - h->time_s[h->at - 1] < h->pass_s);
        assert_true(h->level[h->at] != SPW_LEVEL_UNKNOWN);
        assert_true(h->level[h->at] != h->level[h->at - 1]);
    }
    assert_true(h->time_s[h->at - 1] == last_s);
    assert_int_equal(h->level[h->at - 1], level);
    h->passed += n;
    return SPW_OK;
}

static void read_with(const spw_sink *sink, const char *text, size_t length, size_t step,
                      const spw_read_options *options) {
    spw_source *source = NULL;
    spw_capture_summary summary = {0};
    spw_error error;
    spw_error_clear(&error);
    assert_int_equal(spw_source_memory(text, length, &source), SPW_OK);
    spw_source_step(source, step);
    spw_status status = spw_capture_read_source(source, options, sink, &summary, &error);
    if (status != SPW_OK)
        fail_msg("%s", error.message);
    spw_capture_summary_free(&summary);
    spw_source_free(source);
}

/* Reads it plainly, then so that what needs no look is passed. */
static void read_both(listener *to, const char *text, size_t length,
                      const spw_read_options *options) {
    static const size_t steps[] = {0, 1000, 70000};
    spw_sink plain = {.context = to, .channel = on_channel, .changes = keep};
    read_with(&plain, text, length, 1, options); /* never a whole line to be quick with */
    spw_sink passing = {.context = to,
                        .channel = on_channel,
                        .changes = compare,
                        .pass_s = pass_s,
                        .passed = passed};
    for (size_t s = 0; s < sizeof steps / sizeof steps[0]; s++) {
        for (size_t c = 0; c < CHANNELS; c++)
            to->channel[c].at = to->channel[c].passed = 0;
        read_with(&passing, text, length, steps[s], options);
        for (size_t c = 0; c < to->channels; c++)
            assert_true(to->channel[c].at == to->channel[c].n);
    }
}

static void forget(listener *to) {
    for (size_t c = 0; c < CHANNELS; c++) {
        free(to->channel[c].time_s);
        free(to->channel[c].level);
    }
}

/* xorshift (Marsaglia 2003), seeded */
static uint32_t chance(uint32_t *x, uint32_t n) {
    *x ^= *x << 13;
    *x ^= *x >> 17;
    *x ^= *x << 5;
    return *x % n;
}

#define VCD_HEAD                                                                                   \
    "$timescale 1ns $end $var wire 1 ! clock $end $var wire 1 aa data $end "                       \
    "$var wire 1 # servo $end $enddefinitions $end\n"

/* A clock with everything that may come between its changes: other lines,
 * levels told again or taken back, unknown ones, pauses, a step that changes, a bus. */
static char *dump_of(uint32_t seed, uint64_t start, size_t *length) {
    spw_text text = {0};
    uint32_t x = seed;
    uint64_t t = start;
    char level[3] = {'0', '0', '0'};
    static const char *const code[] = {"!", "aa", "#"};
    spw_text_puts(&text, VCD_HEAD);
    spw_text_printf(&text, "#%llu\n0!\n0aa\n0#\n", (unsigned long long)t);
    for (int i = 0; i < 40000; i++) {
        bool wild = i % 5000 > 4000; /* else a plain clock most of the time */
        t += 100 + (i % 3000 > 2000 ? chance(&x, 40) : 0);
        if (chance(&x, wild ? 20 : 12000) == 0)
            t += chance(&x, 4) * 4999;
        spw_text_printf(&text, "#%llu\n", (unsigned long long)t);
        if (chance(&x, wild ? 10 : 1000) != 0) {
            level[0] = chance(&x, wild ? 8 : 2000) == 0 ? "01x"[chance(&x, 3)]
                                                        : (level[0] == '1' ? '0' : '1');
            spw_text_printf(&text, "%c!\n", level[0]);
        }
        if (chance(&x, 500) == 0) { /* the same time again, or a mark that is none: taken back */
            level[0] = level[0] == '1' ? '0' : '1';
            if (chance(&x, 2) == 0)
                spw_text_puts(&text, "#!12\n");
            else
                spw_text_printf(&text, "#%llu\n", (unsigned long long)t);
            spw_text_printf(&text, "%c!\n", level[0]);
        }
        for (int k = 1; k < 3; k++)
            if (chance(&x, wild ? 3 : 400 * (uint32_t)k) == 0) {
                level[k] = level[k] == '1' ? '0' : '1';
                spw_text_printf(&text, "%c%s\n", level[k], code[k]);
            }
    }
    assert_int_equal(spw_text_status(&text), SPW_OK);
    *length = text.length;
    return text.data;
}

static void clock_in_a_dump(void **state) {
    (void)state;
    /* times of less than eight digits, of eight that become nine, of sixteen and more */
    static const uint64_t starts[] = {0, 98000000, 999999999998000000, 9999999998000000,
                                      UINT64_C(99999999990000000)};
    for (uint32_t seed = 1; seed <= 5; seed++) {
        size_t length;
        char *text = dump_of(seed, starts[seed - 1], &length);
        listener to = {0};
        to.channel[0].pass_s = 5e-6;
        to.channel[1].pass_s = INFINITY;
        read_both(&to, text, length, NULL);
        print_message("seed %u: %llu of %zu changes of the clock passed, %llu of %zu of data\n",
                      seed, (unsigned long long)to.channel[0].passed, to.channel[0].n,
                      (unsigned long long)to.channel[1].passed, to.channel[1].n);
        assert_true(to.channel[0].n > 35000 && to.channel[0].passed > 10000);
        assert_true(to.channel[2].passed == 0);
        forget(&to);
        free(text);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(clock_in_a_dump),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
