/* Samples that are analysed in another thread come in order and whole; a sink
 * that has had enough ends the reading; a source read ahead can be left. */
#include "capture/relay.h"
#include "capture/source.h"
#include "support/kept.h"
#include "support/scratch.h"
#include "support/test.h"

#include <archive.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CALLS 400
#define BLOCK 5000 /* samples a call: more than a parcel */

static float sample_of(uint32_t channel, uint64_t i) {
    return (float)((i * 7919 + channel) % 100003);
}

static spw_status announce(const spw_sink *sink, uint32_t index, spw_kind kind) {
    spw_channel_info info = {.name = "a",
                             .name_length = 1,
                             .kind = kind,
                             .resolution_s = 1e-6,
                             .sample_rate_hz = 1e6,
                             .full_scale = (double)NAN};
    return sink->channel(sink->context, index, &info);
}

/* Two channels of samples, one of levels, and another announced on the way. */
static spw_status play(const spw_sink *sink, float *block) {
    spw_status status = SPW_OK;
    for (uint32_t c = 0; c < 2; c++)
        if ((status = announce(sink, c, SPW_KIND_ANALOGUE)) != SPW_OK)
            return status;
    if ((status = announce(sink, 2, SPW_KIND_LOGIC)) != SPW_OK)
        return status;
    for (uint64_t call = 0; call < CALLS; call++) {
        for (uint32_t c = 0; c < 2; c++) {
            for (uint64_t i = 0; i < BLOCK; i++)
                block[i] = sample_of(c, call * BLOCK + i);
            status = sink->samples(sink->context, c, call * BLOCK, block, BLOCK);
            if (status != SPW_OK)
                return status;
        }
        spw_change changes[3];
        for (uint64_t i = 0; i < 3; i++)
            changes[i] = (spw_change){1e-3 * (double)(3 * call + i), 2, (uint32_t)(call + i) % 2};
        if ((status = sink->changes(sink->context, changes, 3)) != SPW_OK)
            return status;
        if (call == CALLS / 2 && (status = announce(sink, 3, SPW_KIND_LOGIC)) != SPW_OK)
            return status;
    }
    return SPW_OK;
}

static void in_order(void **state) {
    (void)state;
    float *block = calloc(BLOCK, sizeof *block);
    kept got = {.keep = CALLS * BLOCK};
    spw_sink to = kept_sink(&got);
    spw_relay *relay = spw_relay_new(&to);
    assert_true(block != NULL && relay != NULL);
    spw_sink sink = spw_relay_sink(relay);
    assert_int_equal(play(&sink, block), SPW_OK);
    assert_int_equal(spw_relay_end(relay), SPW_OK);
    assert_int_equal(got.n_channels, 4);
    assert_int_equal(got.n_changes, 3 * CALLS);
    for (uint32_t c = 0; c < 2; c++) {
        assert_int_equal(got.channels[c].n_samples, (uint64_t)CALLS * BLOCK);
        for (uint64_t i = 0; i < (uint64_t)CALLS * BLOCK; i++)
            if (got.channels[c].samples[i] != sample_of(c, i))
                fail_msg("channel %u, sample %llu", c, (unsigned long long)i);
    }
    kept_free(&got);
    free(block);
}

/* Whether it stops early, where the sink is still called directly, or late. */
static void had_enough(void **state) {
    (void)state;
    static const uint64_t stops[] = {1, 50, 300, 900};
    float *block = calloc(BLOCK, sizeof *block);
    assert_non_null(block);
    for (size_t i = 0; i < sizeof stops / sizeof stops[0]; i++) {
        kept got = {.stop_after = stops[i], .stop_status = SPW_ERR_LIMIT};
        spw_sink to = kept_sink(&got);
        spw_relay *relay = spw_relay_new(&to);
        assert_non_null(relay);
        spw_sink sink = spw_relay_sink(relay);
        spw_status played = play(&sink, block);
        spw_status ended = spw_relay_end(relay);
        assert_true(played == SPW_ERR_LIMIT || ended == SPW_ERR_LIMIT);
        assert_int_equal(got.calls, stops[i]); /* none after that */
        kept_free(&got);
    }
    free(block);
}

/* Nothing came, or little. */
static void no_thread(void **state) {
    (void)state;
    kept got = {.keep = 10};
    spw_sink to = kept_sink(&got);
    spw_relay *relay = spw_relay_new(&to);
    assert_non_null(relay);
    spw_sink sink = spw_relay_sink(relay);
    assert_int_equal(announce(&sink, 0, SPW_KIND_ANALOGUE), SPW_OK);
    float few[] = {1, 2, 3};
    assert_int_equal(sink.samples(sink.context, 0, 0, few, 3), SPW_OK);
    assert_int_equal(got.channels[0].n_samples, 3);
    assert_int_equal(spw_relay_end(relay), SPW_OK);
    kept_free(&got);
}

/* Compressed content is read ahead by a thread; a reader that refuses it, or
 * has enough of it, goes away at any time. */
static void left_early(void **state) {
    (void)state;
    size_t length = 8000000, packed;
    char *content = malloc(length);
    assert_non_null(content);
    for (size_t i = 0; i < length; i++)
        content[i] = (char)('A' + i * i / 1000 % 26);
    char *bytes = scratch_pack(archive_write_add_filter_gzip, content, length, &packed);
    const char *path = scratch_file("left.gz", bytes, packed);
    for (size_t part = 0; part <= length; part += length / 16) {
        spw_source *source = NULL;
        assert_int_equal(spw_source_open(path, NULL, &source, NULL), SPW_OK);
        size_t at = 0;
        while (at < part) {
            const char *data;
            size_t got;
            assert_int_equal(spw_source_look(source, 1000, &data, &got, NULL), SPW_OK);
            size_t n = got < part - at ? got : part - at;
            assert_true(n > 0);
            assert_memory_equal(data, content + at, n);
            spw_source_take(source, n);
            at += n;
        }
        spw_source_free(source);
    }
    free(bytes);
    free(content);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(in_order),
        cmocka_unit_test(had_enough),
        cmocka_unit_test(no_thread),
        cmocka_unit_test(left_early),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
