/* The samples of one pulse, read again from its capture. */
#include "report/sheet/wave.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

typedef struct finder {
    const char *name;
    spw_wave *wave;
    double from_s, to_s, lead_s; /* in the recorder's own time */
    size_t found;                /* channels of that name */
    uint32_t index;
    double rate_hz, start_s;
} finder;

static spw_status on_channel(void *context, uint32_t index, const spw_channel_info *info) {
    finder *f = context;
    char nameless[24];
    const char *name = info->name;
    size_t length = info->name_length;
    if (length == 0) { /* as the measurement names it */
        (void)snprintf(nameless, sizeof nameless, "ch%u", (unsigned)index);
        name = nameless;
        length = strlen(nameless);
    }
    if (info->kind != SPW_KIND_ANALOGUE || strlen(f->name) != length ||
        memcmp(f->name, name, length) != 0)
        return SPW_OK;
    f->found++;
    f->index = index;
    f->rate_hz = info->sample_rate_hz;
    f->start_s = info->start_s;
    return SPW_OK;
}

static spw_status on_changes(void *context, const spw_change *changes, size_t n) {
    (void)context;
    (void)changes;
    (void)n;
    return SPW_OK;
}

static spw_status on_samples(void *context, uint32_t index, uint64_t first, const float *values,
                             size_t n) {
    finder *f = context;
    spw_wave *wave = f->wave;
    if (f->found != 1)
        return SPW_ERR_EMPTY; /* nothing to look for: ends the reading */
    if (index != f->index)
        return SPW_OK;
    double begin = ceil((f->from_s - f->start_s) * f->rate_hz),
           end = floor((f->to_s - f->start_s) * f->rate_hz);
    for (size_t i = 0; i < n; i++) {
        double number = (double)(first + i);
        if (number < begin)
            continue;
        if (number > end || wave->n == SPW_WAVE_MAX)
            return SPW_ERR_EMPTY; /* behind the pulse */
        if (wave->n == 0)
            wave->first_us = 1e6 * (f->start_s + number / f->rate_hz - f->lead_s);
        wave->value[wave->n++] = values[i];
    }
    return SPW_OK;
}

void spw_wave_read(const spw_plan_source *source, const spw_read_options *options,
                   const spw_pulse *pulse, double beside_us, spw_wave *wave) {
    const spw_capture *capture = source->capture;
    double correction = capture->clock_correction > 0.0 ? capture->clock_correction : 1.0;
    wave->n = 0;
    if (source->channel->kind != SPW_KIND_ANALOGUE || strcmp(capture->file, "-") == 0)
        return;
    finder f = {.name = source->channel->name,
                .wave = wave,
                .from_s = (pulse->lead_s - 1e-6 * beside_us) / correction,
                .to_s = (pulse->trail_s + 1e-6 * beside_us) / correction,
                .lead_s = pulse->lead_s / correction};
    spw_sink sink = {
        .context = &f, .channel = on_channel, .changes = on_changes, .samples = on_samples};
    spw_read_options quiet = *options;
    quiet.progress = NULL;
    spw_capture_summary summary;
    spw_error error;
    spw_error_clear(&error);
    if (spw_capture_read(capture->file, &quiet, &sink, &summary, &error) == SPW_OK)
        spw_capture_summary_free(&summary);
    wave->step_us = f.rate_hz > 0.0 ? 1e6 * correction / f.rate_hz : 0.0;
    wave->first_us *= correction;
    if (!(wave->step_us > 0.0) || wave->n < 4 || wave->n == SPW_WAVE_MAX)
        wave->n = 0;
}
