/* The line (or two lines) that an adapter applies. */
#include "adapter/planning.h"

#include <math.h>

double spw_servo_deg_per_us(const spw_servo *servo) {
    return servo->travel_deg / (servo->expected_high_us - servo->expected_low_us);
}

/* An angle of the joint, from neutral, as a pulse. */
static double pulse_at(const spw_bench *bench, double joint_deg) {
    return bench->servo.neutral_us +
           joint_deg * bench->joint.reduction / spw_servo_deg_per_us(&bench->servo);
}

bool spw_planner_target(spw_planner *p) {
    const spw_bench *bench = p->bench;
    p->target_low = bench->servo.expected_low_us;
    p->target_high = bench->servo.expected_high_us;
    if (!isnan(bench->joint.allowed_low_deg))
        p->target_low = fmax(p->target_low, pulse_at(bench, bench->joint.allowed_low_deg));
    if (!isnan(bench->joint.allowed_high_deg))
        p->target_high = fmin(p->target_high, pulse_at(bench, bench->joint.allowed_high_deg));
    p->allowed_narrows = p->target_low > bench->servo.expected_low_us ||
                         p->target_high < bench->servo.expected_high_us;
    return p->target_low + 2 * bench->adapter.margin_us < p->target_high;
}

bool spw_planner_neutral_inside(const spw_planner *p) {
    return p->bench->servo.neutral_us > p->target_low &&
           p->bench->servo.neutral_us < p->target_high;
}

static spw_segment through(double in_a, double out_a, double in_b, double out_b) {
    double gain = (out_b - out_a) / (in_b - in_a);
    return (spw_segment){in_a, in_b, gain, out_a - gain * in_a};
}

static double on(const spw_segment *segment, double in_us) {
    return segment->gain * in_us + segment->offset_us;
}

double spw_remap_apply(const spw_remap *remap, double in_us) {
    const spw_segment *first = &remap->segment[0], *last = &remap->segment[remap->segments - 1];
    double in = fmin(fmax(in_us, first->from_us), last->to_us);
    double out = on(in > first->to_us ? last : first, in);
    return fmin(fmax(out, remap->clamp_low_us), remap->clamp_high_us);
}

static void note_neutral(const spw_planner *p, spw_remap *remap) {
    remap->neutral_in_us = p->span->neutral.us;
    remap->neutral_out_us = remap->neutral_error_us = NAN;
    if (isnan(remap->neutral_in_us))
        return;
    remap->neutral_out_us = spw_remap_apply(remap, remap->neutral_in_us);
    const spw_servo *servo = &p->bench->servo;
    if (servo->neutral_us > servo->expected_low_us && servo->neutral_us < servo->expected_high_us)
        remap->neutral_error_us = remap->neutral_out_us - servo->neutral_us;
}

spw_remap spw_remap_make(const spw_planner *p, bool limit) {
    const spw_adapter_facts *adapter = &p->bench->adapter;
    double low = p->span->low.us, high = p->span->high.us, neutral = p->span->neutral.us;
    double at_low = adapter->reverse ? p->target_high : p->target_low;
    double at_high = adapter->reverse ? p->target_low : p->target_high;
    spw_segment whole = through(low, at_low, high, at_high);
    if (limit)
        whole = (spw_segment){low, high, 1, 0};
    spw_remap remap = {.kind = SPW_REMAP_STRAIGHT,
                       .gain = whole.gain,
                       .offset_us = whole.offset_us,
                       .clamp_low_us = p->target_low + adapter->margin_us,
                       .clamp_high_us = p->target_high - adapter->margin_us,
                       .segment = {whole},
                       .segments = 1};
    if (adapter->neutral == SPW_REMAP_BENT && !limit && neutral > low && neutral < high &&
        spw_planner_neutral_inside(p)) {
        double centre = p->bench->servo.neutral_us;
        remap.kind = SPW_REMAP_BENT;
        remap.segment[0] = through(low, at_low, neutral, centre);
        remap.segment[1] = through(neutral, centre, high, at_high);
        remap.segments = 2;
    }
    note_neutral(p, &remap);
    return remap;
}
