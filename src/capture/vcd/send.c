/* Changes of channels on their way to the sink. Those of a bus clock, once the
 * sink says that they need no look, are counted and never leave the reader. */
#include "capture/vcd/vcd.h"

/* The sink is asked about the channels of every so many changes of a batch:
 * whoever makes up much of the traffic is met soon. */
#define ASK_EVERY 31

static spw_status tell(spw_vcd *vcd, uint32_t channel) {
    const spw_sink *sink = vcd->emitter->sink;
    spw_vcd_passing *passing = &vcd->passing[channel];
    uint64_t n = passing->n;
    passing->n = 0;
    if (n == 0)
        return SPW_OK;
    return sink->passed(sink->context, channel, n, spw_vcd_seconds(&vcd->scale, passing->last),
                        (spw_level)passing->level);
}

/* A step less than the sink allows: how a time rounds does not matter then. */
static uint64_t steps_within(const spw_vcd *vcd, double within_s) {
    double steps = within_s / spw_vcd_seconds(&vcd->scale, 1);
    if (!(steps >= 2))
        return 0;
    return steps < 0x1p63 ? (uint64_t)steps - 1 : UINT64_MAX;
}

/* The batch was delivered: what may be passed from here on? */
static void ask(spw_vcd *vcd) {
    const spw_emitter *emitter = vcd->emitter;
    const spw_sink *sink = emitter->sink;
    if (sink->pass_s == NULL || sink->passed == NULL)
        return;
    for (size_t i = ASK_EVERY - 1; i < SPW_EMIT_BATCH; i += ASK_EVERY) {
        uint32_t channel = emitter->batch[i].channel;
        vcd->passing[channel].within = steps_within(vcd, sink->pass_s(sink->context, channel));
    }
}

spw_status spw_vcd_deliver(spw_vcd *vcd, uint64_t steps, spw_vcd_tag channel, uint8_t level) {
    spw_vcd_passing *passing = &vcd->passing[channel];
    spw_status status = tell(vcd, channel);
    passing->within = 0;
    passing->last = steps;
    if (status == SPW_OK)
        status = spw_emit_change(vcd->emitter, spw_vcd_seconds(&vcd->scale, steps), channel,
                                 (spw_level)level);
    if (status == SPW_OK && vcd->emitter->n == 0)
        ask(vcd);
    return status;
}

spw_status spw_vcd_send_end(spw_vcd *vcd) {
    spw_status status = SPW_OK;
    for (uint32_t channel = 0; channel < vcd->n_channels && status == SPW_OK; channel++)
        status = tell(vcd, channel);
    return status;
}
