#include "fuzz/reading.h"

#include "fuzz/shared.h"
#include "support/kept.h"

#include <string.h>

#define LISTENERS 64

/* A kept sink with a digest of what came by: samples a channel, as channels may be
 * interleaved in other portions. */
typedef struct listener {
    kept kept;
    spw_sink inner;
    uint64_t changes, samples;
    uint64_t digest[LISTENERS + 1];
} listener;

/* FNV-1a over words (Fowler, Noll, Vo). */
static void mix(uint64_t *digest, uint64_t value) {
    *digest = (*digest ^ value) * 0x100000001b3u;
}

static void mix_double(uint64_t *digest, double value) {
    uint64_t bits;
    memcpy(&bits, &value, sizeof bits);
    mix(digest, value != value ? 1 : bits);
}

static spw_status on_channel(void *context, uint32_t index, const spw_channel_info *info) {
    listener *l = context;
    uint64_t *digest = &l->digest[LISTENERS];
    for (size_t i = 0; i < info->name_length; i++)
        mix(digest, (unsigned char)info->name[i]);
    mix(digest, (uint64_t)info->kind << 8 | (uint64_t)info->unit << 1 | info->lossy);
    mix(digest, info->widths);
    mix_double(digest, info->resolution_s);
    mix_double(digest, info->sample_rate_hz);
    mix_double(digest, info->start_s);
    mix_double(digest, info->full_scale);
    return l->inner.channel(&l->kept, index, info);
}

static spw_status on_changes(void *context, const spw_change *changes, size_t n) {
    listener *l = context;
    for (size_t i = 0; i < n; i++) {
        mix_double(&l->digest[LISTENERS], changes[i].time_s);
        mix(&l->digest[LISTENERS], (uint64_t)changes[i].channel << 2 | changes[i].level);
    }
    l->changes += n;
    return l->inner.changes(&l->kept, changes, n);
}

static spw_status on_samples(void *context, uint32_t index, uint64_t first, const float *values,
                             size_t n) {
    listener *l = context;
    for (size_t i = 0; i < n; i++)
        mix_double(&l->digest[index % LISTENERS], (double)values[i]);
    l->samples += n;
    return l->inner.samples(&l->kept, index, first, values, n);
}

static spw_status on_readings(void *context, uint32_t index, const spw_reading *readings,
                              size_t n) {
    listener *l = context;
    for (size_t i = 0; i < n; i++) {
        mix_double(&l->digest[index % LISTENERS], readings[i].time_s);
        mix_double(&l->digest[index % LISTENERS], readings[i].width_us);
    }
    return l->inner.readings(&l->kept, index, readings, n);
}

static float *on_place(void *context, uint32_t index, size_t n) {
    listener *l = context;
    return l->inner.place(&l->kept, index, n);
}

static void begin(listener *l, spw_sink *sink, uint64_t stop_after, fuzz_reading *reading) {
    *l = (listener){.kept = {.stop_after = stop_after, .stop_status = SPW_ERR_NUMERIC}};
    l->inner = kept_sink(&l->kept);
    *sink = (spw_sink){.context = l,
                       .channel = on_channel,
                       .changes = on_changes,
                       .samples = on_samples,
                       .place = on_place,
                       .readings = on_readings};
    *reading = (fuzz_reading){.status = SPW_OK};
    spw_error_clear(&reading->error);
}

static void end(listener *l, fuzz_reading *reading) {
    bool stopped = l->kept.stop_after > 0 && l->kept.calls >= l->kept.stop_after;
    fuzz_promise(!stopped || reading->status == SPW_ERR_NUMERIC, "the sink's refusal is returned");
    fuzz_promise(!stopped || l->kept.calls == l->kept.stop_after, "nothing comes after a refusal");
    if (reading->status == SPW_OK)
        kept_check_summary(&l->kept, &reading->summary);
    else if (!stopped)
        fuzz_error_said(&reading->error, reading->status);
    reading->channels = l->kept.n_channels;
    reading->changes = l->changes;
    reading->samples = l->samples;
    for (size_t i = 0; i <= LISTENERS; i++)
        mix(&reading->content, l->digest[i]);
    kept_free(&l->kept);
}

void fuzz_read_path(const char *path, const spw_read_options *options, uint64_t stop_after,
                    fuzz_reading *reading) {
    listener l;
    spw_sink sink;
    begin(&l, &sink, stop_after, reading);
    reading->status = spw_capture_read(path, options, &sink, &reading->summary, &reading->error);
    end(&l, reading);
}

void fuzz_read_memory(const void *bytes, size_t length, size_t step,
                      const spw_read_options *options, fuzz_reading *reading) {
    listener l;
    spw_sink sink;
    spw_source *source = NULL;
    begin(&l, &sink, 0, reading);
    fuzz_promise(spw_source_memory(bytes, length, &source) == SPW_OK, "a source");
    spw_source_step(source, step);
    reading->status =
        spw_capture_read_source(source, options, &sink, &reading->summary, &reading->error);
    end(&l, reading);
    spw_source_free(source);
}

bool fuzz_same_content(const fuzz_reading *a, const fuzz_reading *b) {
    if (a->status != b->status || a->channels != b->channels || a->changes != b->changes ||
        a->samples != b->samples || a->content != b->content)
        return false;
    return a->status != SPW_OK || (a->summary.format == b->summary.format &&
                                   fuzz_alike(a->summary.duration_s, b->summary.duration_s));
}

static bool same_notes(const spw_notes *a, const spw_notes *b) {
    bool same = a->n == b->n;
    for (size_t i = 0; same && i < a->n; i++)
        same = strcmp(a->text[i], b->text[i]) == 0;
    return same;
}

bool fuzz_same_words(const fuzz_reading *a, const fuzz_reading *b) {
    if (a->status != SPW_OK)
        return strcmp(a->error.message, b->error.message) == 0 && a->error.line == b->error.line &&
               a->error.byte == b->error.byte;
    return a->summary.truncated == b->summary.truncated &&
           same_notes(&a->summary.recognised, &b->summary.recognised) &&
           same_notes(&a->summary.warnings, &b->summary.warnings);
}

void fuzz_reading_free(fuzz_reading *reading) {
    if (reading->status == SPW_OK)
        spw_capture_summary_free(&reading->summary);
}
