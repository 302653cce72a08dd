/* Where a channel's figures cannot be trusted to their stated uncertainty. */
#include "pulses/train.h"

#include <math.h>
#include <stdlib.h>

/* Its larger uncertainty says all there is to it. */
static const uint32_t TOLD_BY_U = SPW_DOUBT_FEW | SPW_DOUBT_NO_SHAPE;

/* Counted in samples, an edge is off by half of one at most. What tells unequal corners apart
 * gives the error that they cause if they are plain RC corners; others are worse. What a codec
 * adds is a standard uncertainty: none of its recordings was off by twice that. */
static const double UNLIKE_RC = 2, WORST_CODEC = 2;

/* The largest error of a width by a doubt without a place; NAN where it is not known. */
static double bound_us(const spw_edge_report *report, const spw_channel *c, uint32_t what) {
    if (what == SPW_DOUBT_TOO_FAST && isfinite(c->resolution_us))
        return c->resolution_us;
    if (what == SPW_DOUBT_ASYMMETRY && report->u_asymmetry_us > 0)
        return UNLIKE_RC * report->u_asymmetry_us;
    if (what == SPW_DOUBT_LOSSY && report->u_codec_us > 0)
        return WORST_CODEC * report->u_codec_us;
    return NAN;
}

static void add(spw_channel *c, spw_doubt doubt) {
    if (c->doubts < SPW_DOUBTS_MAX) {
        c->doubt[c->doubts++] = doubt;
        return;
    }
    spw_doubt *last = &c->doubt[SPW_DOUBTS_MAX - 1];
    last->to_s = fmax(last->to_s, doubt.to_s);
    last->bound_us = isnan(last->bound_us) ? last->bound_us : fmax(last->bound_us, doubt.bound_us);
}

spw_status spw_doubts_find(const spw_edge_report *report, double start_s, double end_s,
                           double clock_scale, spw_channel *channel) {
    uint32_t placed = 0, told = report != NULL ? report->doubts & ~TOLD_BY_U : 0;
    if (told == 0)
        return SPW_OK;
    channel->doubt = calloc(SPW_DOUBTS_MAX, sizeof *channel->doubt);
    if (channel->doubt == NULL)
        return SPW_ERR_MEMORY;
    for (size_t i = 0; i < report->doubts_placed; i++)
        placed |= report->doubt[i].what;
    for (uint32_t what = 1; what != 0 && what <= told; what <<= 1)
        if ((told & ~placed & what) != 0)
            add(channel, (spw_doubt){what, start_s, end_s, bound_us(report, channel, what)});
    for (size_t i = 0; i < report->doubts_placed; i++) {
        spw_doubt doubt = report->doubt[i];
        doubt.from_s *= clock_scale;
        doubt.to_s *= clock_scale;
        bool here = doubt.to_s >= start_s && doubt.from_s <= end_s;
        if (here && (doubt.what & TOLD_BY_U) == 0)
            add(channel, doubt);
    }
    return SPW_OK;
}

void spw_doubts_mark_holds(spw_channel *channel) {
    for (size_t h = 0; h < channel->holds; h++) {
        spw_hold *hold = &channel->hold[h];
        for (size_t i = 0; i < channel->doubts; i++) {
            const spw_doubt *doubt = &channel->doubt[i];
            if (doubt->from_s > hold->end_s || doubt->to_s < hold->start_s)
                continue;
            hold->doubts |= doubt->what;
            bool unknown = isnan(doubt->bound_us) || isnan(hold->doubt_bound_us);
            hold->doubt_bound_us =
                unknown ? (double)NAN : fmax(hold->doubt_bound_us, doubt->bound_us);
        }
    }
}
