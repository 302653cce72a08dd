/* The channels of a table: logic, volts, or volts read as levels. */
#include "capture/table/reading.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Share of the two levels' distance, about the middle, that is no change. */
#define HYSTERESIS 0.1

/* Volts between which changes are found need two levels; without them the
 * column is left aside. */
static spw_status decide_level(table_reading *reading, size_t c, const char *name) {
    const spw_table_probe *probe = &reading->probe;
    spw_table_column *column = &reading->layout.column[probe->column[c]];
    if (!probe->two_levels[c]) {
        column->role = SPW_ROLE_SKIP;
        return WARN("column %zu (%s) holds numbers without two clear levels at uneven times and is "
                    "left aside",
                    probe->column[c] + 1, name);
    }
    column->role = SPW_ROLE_LEVEL;
    column->low = probe->low[c];
    column->high = probe->high[c];
    double middle = column->low / 2 + column->high / 2;
    double apart = (column->high - column->low) * HYSTERESIS;
    column->up = middle + apart;
    column->down = middle - apart;
    return SAY("%s: volts read as levels, %.4g V between %.4g V and %.4g V", name,
               middle * column->factor, column->low * column->factor,
               column->high * column->factor);
}

static spw_status announce(table_reading *reading, size_t c) {
    const spw_table_probe *probe = &reading->probe;
    const spw_table_clock *clock = &reading->clock;
    spw_table_column *column = &reading->layout.column[probe->column[c]];
    char safe[64];
    char *name = spw_table_channel_name(&reading->layout, probe->column[c], reading->names,
                                        reading->channels);
    if (name == NULL)
        return spw_error_set(reading->error, SPW_ERR_MEMORY, "out of memory");
    reading->names[reading->channels] = name;
    spw_text_safe(safe, sizeof safe, name, strlen(name));
    bool even = clock->kind != SPW_CLOCK_ROWS;
    /* Nothing but 0.00 so far, and more to come: volts of an idle line. */
    if (column->role == SPW_ROLE_LOGIC && even && !probe->varies[c] &&
        (column->named_volts || (probe->fractional[c] && !probe->whole)))
        column->role = SPW_ROLE_SAMPLES;
    spw_status status = SPW_OK;
    if (column->role == SPW_ROLE_SAMPLES && !even)
        status = decide_level(reading, c, safe);
    if (status != SPW_OK || column->role == SPW_ROLE_SKIP) {
        free(name);
        return status;
    }
    if (column->role == SPW_ROLE_WIDTH)
        status = column->unit_named
                     ? SAY("%s: pulse widths in %s", safe, column->factor > 1 ? "ms" : "us")
                     : WARN("%s: the table names no unit, and numbers like %.0f are taken as pulse "
                            "widths in us",
                            safe, probe->low[c]);
    if (status != SPW_OK) {
        free(name);
        return status;
    }
    bool analogue = column->role == SPW_ROLE_SAMPLES;
    column->channel = reading->channels++;
    if (analogue)
        column->slot = reading->sampled++;
    spw_channel_info info = {.name = name,
                             .name_length = strlen(name),
                             .kind = analogue ? SPW_KIND_ANALOGUE : SPW_KIND_LOGIC,
                             .unit = analogue ? column->unit : SPW_UNIT_NONE,
                             .resolution_s = clock->resolution_s,
                             .sampled = clock->kind != SPW_CLOCK_ROWS || clock->sampled ||
                                        column->role == SPW_ROLE_WIDTH,
                             .widths = column->role == SPW_ROLE_WIDTH,
                             .sample_rate_hz = analogue ? clock->rate_hz : 0.0,
                             .full_scale = NAN};
    return reading->emitter->sink->channel(reading->emitter->sink->context, column->channel, &info);
}

spw_status spw_table_announce(table_reading *reading) {
    reading->names = calloc(reading->probe.channels, sizeof *reading->names);
    if (reading->names == NULL)
        return spw_error_set(reading->error, SPW_ERR_MEMORY, "out of memory");
    for (size_t c = 0; c < reading->probe.channels; c++) {
        spw_status status = announce(reading, c);
        if (status != SPW_OK)
            return status;
    }
    reading->summary->channels = reading->channels;
    if (reading->channels == 0)
        return spw_error_set(reading->error, SPW_ERR_FORMAT,
                             "no column can be read as a channel: their numbers have no two clear "
                             "levels and the rows no even step; give the rows a second with --rate "
                             "HZ if they are samples");
    return reading->sampled == 0 || reading->sampled == reading->channels
               ? SPW_OK
               : SAY("%zu channels of levels, %zu of volts", reading->channels - reading->sampled,
                     reading->sampled);
}
