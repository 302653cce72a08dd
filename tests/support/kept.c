#include "support/kept.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void promise(bool kept_it, const char *what) {
    if (kept_it)
        return;
    fprintf(stderr, "breach of capture.h: %s\n", what);
    abort();
}

static void *grown(void *data, size_t *room, size_t n, size_t size) {
    if (n < *room)
        return data;
    *room = n + n / 2 + 16;
    data = realloc(data, *room * size);
    promise(data != NULL, "memory of the test ran out");
    return data;
}

static spw_status count_call(kept *into) {
    into->calls++;
    return into->stop_after != 0 && into->calls >= into->stop_after ? into->stop_status : SPW_OK;
}

/* Memory of just that size, so that a reader that fills more of it is caught. */
static float *on_place(void *context, uint32_t index, size_t n) {
    kept *into = context;
    promise(n > 0 && index < into->n_channels, "a place for samples of an announced channel");
    promise(into->channels[index].info.kind == SPW_KIND_ANALOGUE, "a place in analogue channels");
    promise(into->lent == NULL, "a place is used before another one is asked for");
    if (++into->asked % 3 == 0)
        return NULL;
    into->lent = malloc(n * sizeof *into->lent);
    promise(into->lent != NULL, "memory of the test ran out");
    into->lent_for = index;
    into->lent_n = n;
    return into->lent;
}

static spw_status on_channel(void *context, uint32_t index, const spw_channel_info *info) {
    kept *into = context;
    promise(into->lent == NULL, "a place is used before another call");
    promise(index == into->n_channels, "channels are announced in order");
    promise(info->name != NULL && info->name[info->name_length] == '\0', "a name ends in NUL");
    promise(info->kind == SPW_KIND_LOGIC || info->kind == SPW_KIND_ANALOGUE, "a kind");
    promise(!info->widths || info->kind == SPW_KIND_LOGIC, "widths are of kind logic");
    promise(isnan(info->resolution_s) || (info->resolution_s > 0 && isfinite(info->resolution_s)),
            "a resolution above 0 or NAN");
    if (info->kind == SPW_KIND_ANALOGUE) {
        promise(info->sample_rate_hz > 0 && isfinite(info->sample_rate_hz), "a sample rate");
        promise(isfinite(info->start_s), "a start");
        promise(isnan(info->full_scale) || info->full_scale > 0, "a full scale");
    }
    into->channels =
        grown(into->channels, &into->channel_room, into->n_channels, sizeof *into->channels);
    kept_channel *made = &into->channels[into->n_channels++];
    *made = (kept_channel){.info = *info};
    size_t n = info->name_length < sizeof made->name ? info->name_length : sizeof made->name - 1;
    memcpy(made->name, info->name, n);
    made->info.name = NULL;
    return SPW_OK;
}

static spw_status on_changes(void *context, const spw_change *changes, size_t n) {
    kept *into = context;
    promise(into->lent == NULL, "a place is used before another call");
    promise(n > 0, "no empty batch of changes");
    for (size_t i = 0; i < n; i++) {
        const spw_change *change = &changes[i];
        promise(change->channel < into->n_channels, "changes of announced channels");
        promise(into->channels[change->channel].info.kind == SPW_KIND_LOGIC, "changes of logic");
        promise(change->level <= SPW_LEVEL_UNKNOWN, "a level");
        promise(isfinite(change->time_s) && change->time_s >= 0, "a time from 0 on");
        promise(change->time_s >= into->last_s, "times never fall");
        into->last_s = change->time_s;
        into->n_changes++;
        if (into->n_kept < into->keep) {
            into->changes = grown(into->changes, &into->room, into->n_kept, sizeof *changes);
            into->changes[into->n_kept++] = *change;
        }
    }
    return count_call(into);
}

static spw_status on_samples(void *context, uint32_t index, uint64_t first, const float *values,
                             size_t n) {
    kept *into = context;
    promise(n > 0, "no empty block of samples");
    promise(into->lent == NULL ||
                (values == into->lent && index == into->lent_for && n == into->lent_n),
            "a place is handed on as it was asked for");
    promise(index < into->n_channels, "samples of announced channels");
    kept_channel *channel = &into->channels[index];
    promise(channel->info.kind == SPW_KIND_ANALOGUE, "samples of analogue channels");
    promise(first == channel->n_samples, "samples follow without holes");
    channel->n_samples += n;
    for (size_t i = 0; i < n; i++) {
        promise(!isinf(values[i]), "a sample is finite or NAN");
        if (channel->n_kept < into->keep) {
            channel->samples =
                grown(channel->samples, &channel->room, channel->n_kept, sizeof *values);
            channel->samples[channel->n_kept++] = values[i];
        }
    }
    free(into->lent);
    into->lent = NULL;
    return count_call(into);
}

static spw_status on_readings(void *context, uint32_t index, const spw_reading *readings,
                              size_t n) {
    kept *into = context;
    promise(n > 0 && index < into->n_channels, "readings of announced channels");
    promise(into->channels[index].info.widths, "readings of channels of widths");
    for (size_t i = 0; i < n; i++) {
        promise(isfinite(readings[i].time_s) && readings[i].time_s >= into->last_s,
                "times never fall");
        promise(readings[i].width_us > 0 && isfinite(readings[i].width_us), "a width");
        into->last_s = readings[i].time_s;
        if (into->n_readings < into->keep) {
            into->readings = grown(into->readings, &into->reading_room, into->n_readings,
                                   sizeof *into->readings);
            into->readings[into->n_readings++] = (kept_reading){index, readings[i]};
        }
    }
    return count_call(into);
}

spw_sink kept_sink(kept *into) {
    return (spw_sink){.context = into,
                      .channel = on_channel,
                      .changes = on_changes,
                      .samples = on_samples,
                      .place = on_place,
                      .readings = on_readings};
}

static void check_notes(const spw_notes *notes) {
    promise(notes->n <= SPW_NOTES_MAX + 1, "a bounded list of notes");
    for (size_t i = 0; i < notes->n; i++) {
        char safe[2048];
        size_t length = strlen(notes->text[i]);
        promise(length > 0, "a note says something");
        promise(strcmp(spw_text_safe(safe, sizeof safe, notes->text[i], length), notes->text[i]) ==
                    0,
                "notes are safe to show");
    }
}

void kept_check_summary(const kept *got, const spw_capture_summary *summary) {
    promise(got->lent == NULL, "a place that was asked for is used");
    promise(summary->channels == got->n_channels, "the summary counts the channels");
    promise(isfinite(summary->duration_s) && summary->duration_s >= 0, "a duration");
    promise(summary->duration_s >= got->last_s, "nothing happens after the end");
    promise(!summary->truncated || summary->warnings.n > 0, "a warning says where it was cut off");
    check_notes(&summary->recognised);
    check_notes(&summary->warnings);
}

void kept_free(kept *got) {
    for (size_t i = 0; i < got->n_channels; i++)
        free(got->channels[i].samples);
    free(got->channels);
    free(got->changes);
    free(got->readings);
    free(got->lent);
    *got = (kept){0};
}
