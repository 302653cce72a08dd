#include "support/table_case.h"

#include "capture/reader.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void tell_channel(table_case *read, size_t index) {
    const kept_channel *channel = &read->got.channels[index];
    spw_text *text = &read->text;
    if (channel->info.kind == SPW_KIND_ANALOGUE) {
        spw_text_printf(text, "%s%s %.9gHz:", index > 0 ? "; " : "", channel->name,
                        channel->info.sample_rate_hz);
        for (size_t i = 0; i < channel->n_kept; i++)
            spw_text_printf(text, isnan(channel->samples[i]) ? " nan" : " %.6g",
                            (double)channel->samples[i]);
        return;
    }
    spw_text_printf(text, "%s%s%s %.9g:", index > 0 ? "; " : "", channel->name,
                    channel->info.widths ? " us" : "", channel->info.resolution_s);
    for (size_t i = 0; i < read->got.n_readings; i++)
        if (read->got.readings[i].channel == index)
            spw_text_printf(text, " %.12g=%.9g", read->got.readings[i].of.time_s,
                            read->got.readings[i].of.width_us);
    for (size_t i = 0; i < read->got.n_kept; i++) {
        const spw_change *change = &read->got.changes[i];
        if (change->channel == index)
            spw_text_printf(text, " %.12g=%c", change->time_s, "01x"[change->level]);
    }
}

table_case table_case_read(const char *bytes, size_t length, const spw_read_options *options,
                           size_t step) {
    table_case read = {.got.keep = 100000};
    static const spw_read_options none = {.has_rate = false};
    spw_source *source = NULL;
    spw_sink sink = kept_sink(&read.got);
    spw_emitter *emitter = calloc(1, sizeof *emitter);
    spw_error_clear(&read.error);
    if (emitter == NULL || spw_source_memory(bytes, length, &source) != SPW_OK)
        abort();
    emitter->sink = &sink;
    spw_source_step(source, step);
    read.summary.format = SPW_FORMAT_TABLE;
    read.status = spw_table_read(source, options != NULL ? options : &none, emitter, &read.summary,
                                 &read.error);
    if (read.status == SPW_OK) {
        kept_check_summary(&read.got, &read.summary);
        for (size_t i = 0; i < read.got.n_channels; i++)
            tell_channel(&read, i);
    }
    spw_text_append(&read.text, "", 0);
    spw_source_free(source);
    free(emitter);
    return read;
}

void table_case_free(table_case *read) {
    spw_capture_summary_free(&read->summary);
    spw_text_free(&read->text);
    kept_free(&read->got);
}

bool table_case_says(const spw_notes *notes, const char *words) {
    for (size_t i = 0; i < notes->n; i++)
        if (strstr(notes->text[i], words) != NULL)
            return true;
    return false;
}
