/* A raw logic dump: a byte a sample, bit i is channel i. Lines stand still
 * most of the time, so still bytes are skipped 64 at a time. */
#include "capture/reader.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define LINES 8
#define LOOK ((size_t)1 << 16)
#define WORDS 8
#define STRIDE (WORDS * sizeof(uint64_t))

typedef struct raw_dump {
    spw_emitter *emitter;
    double rate_hz;
    uint64_t samples; /* seen so far */
    unsigned last;    /* the lines' levels at the latest sample */
    uint64_t changed; /* the sample of the latest change */
    uint64_t still_most;
} raw_dump;

/* Index of the first byte that is not `still`, or `length`. */
static size_t still_until(const char *data, size_t length, unsigned still) {
    size_t at = 0;
    const uint64_t same = UINT64_C(0x0101010101010101) * still;
    while (length - at >= STRIDE) {
        uint64_t word[WORDS];
        memcpy(word, data + at, STRIDE);
        uint64_t differs = 0;
        for (size_t i = 0; i < WORDS; i++)
            differs |= word[i] ^ same;
        if (differs != 0)
            break;
        at += STRIDE;
    }
    while (length - at >= sizeof same && memcmp(data + at, &same, sizeof same) == 0)
        at += sizeof same;
    while (at < length && (unsigned char)data[at] == still)
        at++;
    return at;
}

static spw_status emit_lines(raw_dump *dump, uint64_t sample, unsigned levels, unsigned which) {
    /* From the index, never accumulated: the error stays half a unit in the
     * last place however long the dump is. */
    double time_s = (double)sample / dump->rate_hz;
    for (uint32_t line = 0; line < LINES; line++) {
        if ((which >> line & 1) == 0)
            continue;
        spw_level level = (levels >> line & 1) != 0 ? SPW_LEVEL_HIGH : SPW_LEVEL_LOW;
        spw_status status = spw_emit_change(dump->emitter, time_s, line, level);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

static spw_status scan(raw_dump *dump, const char *data, size_t length) {
    size_t at = 0;
    if (dump->samples == 0 && length > 0) {
        dump->last = (unsigned char)data[0];
        spw_status status = emit_lines(dump, 0, dump->last, 0xff);
        if (status != SPW_OK)
            return status;
        at = 1;
    }
    while ((at += still_until(data + at, length - at, dump->last)) < length) {
        unsigned levels = (unsigned char)data[at];
        spw_status status = emit_lines(dump, dump->samples + at, levels, levels ^ dump->last);
        if (status != SPW_OK)
            return status;
        dump->last = levels;
        dump->changed = dump->samples + at;
        at++;
    }
    dump->samples += length;
    return SPW_OK;
}

static spw_status announce(const spw_sink *sink, double rate_hz) {
    for (uint32_t line = 0; line < LINES; line++) {
        char name[8];
        (void)snprintf(name, sizeof name, "ch%u", (unsigned)line);
        spw_channel_info info = {.name = name,
                                 .name_length = strlen(name),
                                 .kind = SPW_KIND_LOGIC,
                                 .unit = SPW_UNIT_NONE,
                                 .resolution_s = 1 / rate_hz,
                                 .sampled = true,
                                 .full_scale = NAN};
        spw_status status = sink->channel(sink->context, line, &info);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

spw_status spw_raw_read(spw_source *source, const spw_read_options *options, spw_emitter *emitter,
                        spw_capture_summary *summary, spw_error *error) {
    raw_dump dump = {.emitter = emitter, .rate_hz = options->rate_hz, .still_most = UINT64_MAX};
    if (spw_source_size(source) == 0 && spw_source_compression(source) == NULL)
        dump.still_most =
            options->raw_still_most > 0 ? options->raw_still_most : SPW_RAW_STILL_MOST;
    spw_status status = announce(emitter->sink, options->rate_hz);
    if (status == SPW_OK)
        status = spw_notes_add(&summary->recognised,
                               "raw bytes, 8 channels, %.10g samples a second", options->rate_hz);
    while (status == SPW_OK) {
        const char *data;
        size_t got;
        status = spw_source_look(source, LOOK, &data, &got, error);
        if (status != SPW_OK || got == 0)
            break;
        status = scan(&dump, data, got);
        spw_source_take(source, got);
        if (dump.samples - dump.changed <= dump.still_most)
            continue;
        summary->truncated = true;
        if (status == SPW_OK)
            status = spw_notes_add(&summary->warnings,
                                   "no line has changed for %" PRIu64
                                   " bytes: reading ended at byte %" PRIu64
                                   "; this may be a device without an end",
                                   dump.samples - dump.changed, dump.samples);
        break;
    }
    if (status != SPW_OK)
        return status;
    summary->channels = LINES;
    summary->duration_s = (double)dump.samples / options->rate_hz;
    return SPW_OK;
}
