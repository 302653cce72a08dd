/* Levels within a time step. Of several values at one time the last one
 * counts: changes are only noted, and sent when the step ends, where a line
 * that is back at its old level has not moved. */
#include "capture/vcd/vcd.h"

#include <math.h>
#include <stdlib.h>

#define LOW 1
#define HIGH 2
#define UNKNOWN 3

const uint8_t spw_vcd_digit[256] = {
    ['0'] = LOW, ['1'] = HIGH, ['x'] = UNKNOWN, ['X'] = UNKNOWN, ['z'] = UNKNOWN, ['Z'] = UNKNOWN,
};
const uint8_t spw_vcd_digit9[256] = {
    ['0'] = LOW,     ['1'] = HIGH,    ['x'] = UNKNOWN, ['X'] = UNKNOWN, ['z'] = UNKNOWN,
    ['Z'] = UNKNOWN, ['l'] = LOW,     ['L'] = LOW,     ['h'] = HIGH,    ['H'] = HIGH,
    ['u'] = UNKNOWN, ['U'] = UNKNOWN, ['w'] = UNKNOWN, ['W'] = UNKNOWN, ['-'] = UNKNOWN,
};

spw_status spw_vcd_levels_start(spw_vcd *vcd) {
    size_t n = vcd->n_variables, bits = vcd->n_bits;
    vcd->touched = malloc((n + 1) * sizeof *vcd->touched);
    vcd->live = malloc((n + 1) * sizeof *vcd->live);
    vcd->bit_was = malloc(bits + 1);
    vcd->bit_now = malloc(bits + 1);
    vcd->bit_tag = malloc((bits + 1) * sizeof *vcd->bit_tag);
    vcd->passing = calloc(SPW_VCD_CHANNELS_MAX, sizeof *vcd->passing);
    if (vcd->touched == NULL || vcd->live == NULL || vcd->bit_was == NULL || vcd->bit_now == NULL ||
        vcd->bit_tag == NULL || vcd->passing == NULL)
        return SPW_ERR_MEMORY;
    memset(vcd->bit_was, SPW_LEVEL_UNKNOWN, bits);
    memset(vcd->bit_now, SPW_LEVEL_UNKNOWN, bits);
    for (size_t i = 0; i < bits; i++)
        vcd->bit_tag[i] = SPW_VCD_NEVER_KNOWN;
    return SPW_OK;
}

void spw_vcd_levels_free(spw_vcd *vcd) {
    free(vcd->touched);
    free(vcd->live);
    free(vcd->bit_was);
    free(vcd->bit_now);
    free(vcd->bit_tag);
    free(vcd->passing);
}

spw_status spw_vcd_announce(spw_vcd *vcd, uint32_t number, int64_t bit, spw_vcd_tag *tag) {
    char name[SPW_VCD_NAME_MAX];
    bool cut;
    uint32_t channel = vcd->n_channels;
    size_t length = spw_vcd_name_whole(&vcd->names, &vcd->variables[number], bit, name, &cut);
    if (channel >= SPW_VCD_CHANNELS_MAX) {
        *tag = SPW_VCD_LEFT_OUT;
        spw_vcd_remark(vcd, SPW_VCD_NOTE_CHANNELS, vcd->text.data + vcd->text.at, name, length);
        return SPW_OK;
    }
    if (cut)
        spw_vcd_remark(vcd, SPW_VCD_NOTE_NAME, vcd->text.data + vcd->text.at, name, length);
    spw_status status = spw_vcd_name_claim(&vcd->names, name, length, channel);
    if (status != SPW_OK)
        return status;
    const spw_channel_info info = {.name = vcd->names.taken[channel],
                                   .name_length = strlen(vcd->names.taken[channel]),
                                   .kind = SPW_KIND_LOGIC,
                                   .unit = SPW_UNIT_NONE,
                                   .resolution_s = spw_vcd_seconds(&vcd->scale, 1),
                                   .full_scale = (double)NAN};
    const spw_sink *sink = vcd->emitter->sink;
    status = sink->channel(sink->context, channel, &info);
    if (status != SPW_OK)
        return status;
    *tag = (spw_vcd_tag)channel;
    vcd->n_channels++;
    return SPW_OK;
}

/* A line that is no channel (yet) has moved from `was` to `now`. */
static spw_status first_move(spw_vcd *vcd, uint32_t number, int64_t bit, spw_vcd_tag *tag,
                             uint8_t was, uint8_t now, uint64_t steps) {
    if (now == SPW_LEVEL_UNKNOWN || *tag == SPW_VCD_LEFT_OUT)
        return SPW_OK;
    spw_vcd_tag same = now == SPW_LEVEL_HIGH ? SPW_VCD_WAS_HIGH : SPW_VCD_WAS_LOW;
    if (*tag == SPW_VCD_NEVER_KNOWN || *tag == same) {
        *tag = same;
        return SPW_OK;
    }
    spw_status status = spw_vcd_announce(vcd, number, bit, tag);
    if (status != SPW_OK || *tag == SPW_VCD_LEFT_OUT)
        return status;
    if (was != SPW_LEVEL_UNKNOWN)
        status = spw_vcd_send(vcd, steps, *tag, was);
    if (status == SPW_OK)
        status = spw_vcd_send(vcd, steps, *tag, now);
    return status;
}

static inline spw_status move(spw_vcd *vcd, uint32_t number, int64_t bit, spw_vcd_tag *tag,
                              uint8_t was, uint8_t now, uint64_t steps) {
    if (*tag < SPW_VCD_CHANNELS_MAX)
        return spw_vcd_send(vcd, steps, *tag, now);
    return first_move(vcd, number, bit, tag, was, now, steps);
}

static spw_status move_bits(spw_vcd *vcd, uint32_t number, uint64_t steps) {
    const spw_vcd_variable *variable = &vcd->variables[number];
    uint8_t *was = vcd->bit_was + variable->bits;
    const uint8_t *now = vcd->bit_now + variable->bits;
    for (size_t i = 0; i < variable->width; i++) {
        if (variable->width - i >= 8 && memcmp(was + i, now + i, 8) == 0) {
            i += 7;
            continue;
        }
        if (was[i] == now[i])
            continue;
        spw_status status =
            move(vcd, number, (int64_t)i, vcd->bit_tag + variable->bits + i, was[i], now[i], steps);
        if (status != SPW_OK)
            return status;
        was[i] = now[i];
    }
    return SPW_OK;
}

spw_status spw_vcd_step_end(spw_vcd *vcd) {
    spw_status status = SPW_OK;
    uint64_t steps = vcd->has_time ? vcd->time - vcd->first : 0;
    for (size_t i = 0; i < vcd->n_touched && status == SPW_OK; i++) {
        uint32_t number = vcd->touched[i];
        spw_vcd_variable *variable = &vcd->variables[number];
        variable->touched = false;
        if (!variable->live) {
            variable->live = true;
            vcd->live[vcd->n_live++] = number;
        }
        if (variable->width > 1) {
            status = move_bits(vcd, number, steps);
        } else if (variable->now != variable->was) {
            status = move(vcd, number, -1, &variable->tag, variable->was, variable->now, steps);
            variable->was = variable->now;
        }
    }
    vcd->n_touched = 0;
    return status;
}

/* What the step had before is sent first, and so is the gap: a level that
 * comes back at the same time is no edge. */
spw_status spw_vcd_switch_off(spw_vcd *vcd) {
    spw_status status = spw_vcd_step_end(vcd);
    if (status != SPW_OK)
        return status;
    for (size_t i = 0; i < vcd->n_live; i++) {
        uint32_t number = vcd->live[i];
        spw_vcd_variable *variable = &vcd->variables[number];
        variable->live = false;
        if (variable->width > 1)
            memset(vcd->bit_now + variable->bits, SPW_LEVEL_UNKNOWN, variable->width);
        else
            variable->now = SPW_LEVEL_UNKNOWN;
        vcd->touched[vcd->n_touched++] = number;
        variable->touched = true;
    }
    vcd->n_live = 0;
    status = spw_vcd_step_end(vcd);
    for (size_t i = 0; i < vcd->n_live; i++)
        vcd->variables[vcd->live[i]].live = false;
    vcd->n_live = 0;
    return status;
}

/* Left extension, Table 18-2: 0 and 1 extend with 0, x with x, z with z. */
void spw_vcd_set(spw_vcd *vcd, uint32_t number, const char *digits, size_t n) {
    const spw_vcd_variable *variable = &vcd->variables[number];
    size_t width = variable->width;
    if (n > width) {
        digits += n - width;
        n = width;
    }
    if (width == 1) {
        uint8_t level = (uint8_t)(spw_vcd_digit9[(unsigned char)digits[0]] - 1);
        if (variable->now != level)
            spw_vcd_touch(vcd, number);
        vcd->variables[number].now = level;
        return;
    }
    spw_vcd_touch(vcd, number);
    uint8_t *now = vcd->bit_now + variable->bits;
    bool unknown = spw_vcd_digit9[(unsigned char)digits[0]] == UNKNOWN;
    memset(now, unknown ? SPW_LEVEL_UNKNOWN : SPW_LEVEL_LOW, width - n);
    for (size_t i = 0; i < n; i++)
        now[width - n + i] = (uint8_t)(spw_vcd_digit9[(unsigned char)digits[i]] - 1);
}
