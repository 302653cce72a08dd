/* What a plan says of one input. */
#include "adapter/verify/verify.h"

#include <math.h>
#include <stdlib.h>

/* A corner is blurred this far by what is not told of the adapter; and by counts, which are
 * off by less than one tick at the input and by half a tick at the output. */
#define CORNER_US 3.0
#define CORNER_TICKS 1.5

static const spw_segment *piece(const spw_planned *planned, double in_us) {
    const spw_remap *r = &planned->remap;
    return r->segments > 1 && in_us > r->segment[0].to_us ? &r->segment[1] : &r->segment[0];
}

double spw_planned_line(const spw_planned *planned, double in_us) {
    const spw_segment *s = piece(planned, in_us);
    return s->gain * in_us + s->offset_us;
}

double spw_planned_slope(const spw_planned *planned, double in_us) {
    return piece(planned, in_us)->gain;
}

double spw_planned_tick(const spw_planned *planned) {
    return isfinite(planned->tick_us) ? planned->tick_us : 1;
}

double spw_planned_clock_us(const spw_planned *planned, double us) {
    return SPW_VERIFY_K * planned->clock_ppm * 1e-6 * fabs(us);
}

static double blur(const spw_planned *planned) {
    double tick = isfinite(planned->tick_us) ? planned->tick_us : 0;
    return fmax(CORNER_US, CORNER_TICKS * tick);
}

double spw_planned_room(const spw_planned *planned, double in_us) {
    return blur(planned) + spw_planned_clock_us(planned, in_us);
}

bool spw_planned_past_corner(const spw_planned *planned, double in_us) {
    return abs(spw_planned_clamps(planned, in_us, blur(planned))) == 1;
}

/* Which clamp an output is nearer to. */
static int nearer_clamp(const spw_remap *r, double out_us) {
    return out_us < 0.5 * (r->clamp_low_us + r->clamp_high_us) ? -1 : 1;
}

int spw_planned_clamps(const spw_planned *planned, double in_us, double room_us) {
    const spw_remap *r = &planned->remap;
    double low_in = r->segment[0].from_us, high_in = r->segment[r->segments - 1].to_us;
    double out = spw_planned_line(planned, in_us);
    double reach = room_us * fmax(1, fabs(spw_planned_slope(planned, in_us)));
    bool outside = in_us < low_in - room_us || in_us > high_in + room_us;
    bool near_in = fabs(in_us - low_in) <= room_us || fabs(in_us - high_in) <= room_us;
    if (out < r->clamp_low_us - reach)
        return -1;
    if (out > r->clamp_high_us + reach)
        return 1;
    if (outside) /* the input clamp holds within the output's range */
        return nearer_clamp(r, out);
    bool inside = out > r->clamp_low_us + reach && out < r->clamp_high_us - reach;
    return inside && !near_in ? 0 : 2;
}

int spw_planned_nearer_clamp(const spw_planned *planned, double in_us) {
    return nearer_clamp(&planned->remap, spw_planned_line(planned, in_us));
}

int spw_planned_corner(const spw_planned *planned, double in_us) {
    double room = planned->known ? spw_planned_room(planned, in_us) : 0;
    bool corner = planned->known && spw_planned_clamps(planned, in_us, room) == 2;
    return corner ? spw_planned_nearer_clamp(planned, in_us) : 0;
}

double spw_planned_straightened(const spw_planned *planned, double in_us, double out_us) {
    if (!planned->known || planned->remap.segments < 2)
        return out_us;
    double departure = out_us - spw_planned_line(planned, in_us);
    return planned->remap.gain * in_us + planned->remap.offset_us + departure;
}
