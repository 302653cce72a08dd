/* Every pulse as a row of a table (RFC 4180, lines end in LF as Unix tools expect). */
#include "spanwright/report.h"

#include "report/fields/fields.h"

#include <stdio.h>
#include <string.h>

#define HEADER "channel,index,lead_s,trail_s,width_us,u_width_us,period_us,flags\n"

/* Words of the flags, joined by '|'. The longest: all of them, 79 bytes. */
static void flag_words(uint32_t flags, char out[96]) {
    static const struct {
        uint32_t flag;
        const char *word;
    } words[] = {
        {SPW_PULSE_RUNT, "runt"},           {SPW_PULSE_LONG, "long"},
        {SPW_PULSE_JOINED, "joined"},       {SPW_PULSE_ODD, "odd"},
        {SPW_PULSE_NO_PERIOD, "no_period"}, {SPW_PULSE_CLIPPED, "clipped"},
        {SPW_PULSE_DOUBTFUL, "doubtful"},   {SPW_PULSE_SHORT, "short_frame"},
        {SPW_PULSE_BROKEN, "broken"},       {SPW_PULSE_FIRST, "first"},
    };
    size_t used = 0;
    out[0] = '\0';
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        if ((flags & words[i].flag) == 0)
            continue;
        int wrote = snprintf(out + used, 96 - used, "%s%s", used > 0 ? "|" : "", words[i].word);
        used += wrote > 0 ? (size_t)wrote : 0;
    }
}

/* A period ends at a lead edge unless the pulse says otherwise; it began at
 * the lead edge of the nearest earlier pulse that counts. */
static const char *period_cell(const spw_channel *channel, size_t i, spw_figure *figure) {
    const spw_pulse *pulse = &channel->pulse[i];
    bool none = (pulse->flags & SPW_PULSE_NO_PERIOD) != 0 && (pulse->flags & SPW_PULSE_SHORT) == 0;
    if (none || (pulse->flags & SPW_PULSE_OUT) != 0)
        return "";
    for (size_t k = i; k-- > 0;) {
        if ((channel->pulse[k].flags & SPW_PULSE_OUT) != 0)
            continue;
        *figure = spw_figure_fixed((pulse->lead_s - channel->pulse[k].lead_s) * 1e6, 4);
        return figure->text;
    }
    return "";
}

static spw_status write_channel(const spw_channel *channel, spw_output *out, spw_error *error) {
    spw_text name = {0};
    spw_status status = SPW_OK;
    spw_text_csv_cell(&name, channel->name, strlen(channel->name));
    spw_text_append(&name, "", 0);
    if (spw_text_status(&name) != SPW_OK)
        status = spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    for (size_t i = 0; i < channel->pulses && status == SPW_OK; i++) {
        const spw_pulse *pulse = &channel->pulse[i];
        char cells[256], flags[96];
        spw_figure period;
        flag_words(pulse->flags, flags);
        int length = snprintf(cells, sizeof cells, ",%zu,%.40s,%.40s,%.40s,%.40s,%.40s,%s\n", i,
                              spw_figure_fixed(pulse->lead_s, 9).text,
                              spw_figure_fixed(pulse->trail_s, 9).text,
                              spw_figure_fixed(spw_pulse_width_us(pulse), 4).text,
                              spw_figure_fixed((double)pulse->u_width_us, 4).text,
                              period_cell(channel, i, &period), flags);
        status = spw_output_write(out, name.data, name.length, error);
        if (status == SPW_OK)
            status = spw_output_write(out, cells, (size_t)length, error);
    }
    spw_text_free(&name);
    return status;
}

spw_status spw_report_pulses_csv(const spw_capture *const *captures, size_t n, spw_output *out,
                                 spw_error *error) {
    spw_status status = spw_output_write(out, HEADER, sizeof HEADER - 1, error);
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < captures[i]->channels && status == SPW_OK; k++)
            status = write_channel(&captures[i]->channel[k], out, error);
    return status;
}
