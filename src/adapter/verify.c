/* Does the fitted adapter do what was planned? */
#include "adapter/verify.h"

#include <math.h>
#include <stdlib.h>

const char *spw_verify_method_name(spw_verify_method method) {
    return method == SPW_VERIFY_HOLDS ? "holds" : "pulses";
}

spw_planned spw_planned_none(void) {
    return (spw_planned){.tolerance_us = NAN, .tick_us = NAN, .gap_us = NAN};
}

spw_planned spw_planned_of(const spw_plan *plan) {
    if (!plan->has_remap)
        return spw_planned_none();
    return (spw_planned){.known = true,
                         .remap = plan->remap,
                         .tolerance_us = plan->servo.tolerance_us,
                         .tick_us = plan->adapter.tick_us,
                         .gap_us = plan->adapter.gap_us,
                         .clock_ppm = plan->adapter.clock_ppm};
}

double spw_planned_line(const spw_planned *planned, double in_us) {
    const spw_remap *r = &planned->remap;
    const spw_segment *s = &r->segment[0];
    if (r->segments > 1 && in_us > s->to_us)
        s = &r->segment[1];
    return s->gain * in_us + s->offset_us;
}

int spw_planned_clamps(const spw_planned *planned, double in_us, double room_us) {
    const spw_remap *r = &planned->remap;
    double low_in = r->segment[0].from_us, high_in = r->segment[r->segments - 1].to_us;
    double out = spw_planned_line(planned, in_us);
    double reach = room_us * fmax(1, fabs(r->gain));
    bool below = in_us < low_in - room_us || in_us > high_in + room_us;
    bool near_in = fabs(in_us - low_in) <= room_us || fabs(in_us - high_in) <= room_us;
    if (out < r->clamp_low_us - reach)
        return -1;
    if (out > r->clamp_high_us + reach)
        return 1;
    if (below) /* the input clamp holds within the output's range */
        return out < 0.5 * (r->clamp_low_us + r->clamp_high_us) ? -1 : 1;
    bool inside = out > r->clamp_low_us + reach && out < r->clamp_high_us - reach;
    return inside && !near_in ? 0 : 2;
}

int spw_planned_corner(const spw_planned *planned, double in_us) {
    if (!planned->known || spw_planned_clamps(planned, in_us, 3) != 2)
        return 0;
    const spw_remap *r = &planned->remap;
    return spw_planned_line(planned, in_us) < 0.5 * (r->clamp_low_us + r->clamp_high_us) ? -1 : 1;
}

spw_status spw_verify(const spw_channel *before, const spw_channel *after, bool one_capture,
                      const spw_planned *planned, spw_verification **verification,
                      spw_error *error) {
    spw_verifier f = {.before = before, .after = after, .noise_us = NAN, .worst_moving_us = NAN};
    bool has_before = spw_signal_has_pulses(before->signal);
    if (!has_before || !spw_signal_has_pulses(after->signal))
        return spw_error_set(error, SPW_ERR_EMPTY,
                             "the line %s the adapter carries no control pulses",
                             has_before ? "after" : "before");
    if (one_capture && (before->signal == SPW_SIGNAL_WIDTHS || after->signal == SPW_SIGNAL_WIDTHS))
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "a log of widths does not tell which pulse caused which; give two of "
                             "them, before and after the adapter, with the same commands");
    f.v = calloc(1, sizeof *f.v);
    if (f.v == NULL)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    f.v->method = one_capture ? SPW_VERIFY_PULSES : SPW_VERIFY_HOLDS;
    f.v->planned = planned != NULL ? *planned : spw_planned_none();
    f.v->latency_ms = spw_summary_none();
    f.v->clamp_low_us = f.v->clamp_high_us = f.v->jitter_gain = NAN;
    spw_status status = one_capture ? spw_verify_pair_pulses(&f) : spw_verify_pair_holds(&f, error);
    if (status == SPW_OK)
        status = spw_verify_fit(&f, error);
    if (status == SPW_ERR_MEMORY)
        (void)spw_error_set(error, status, "out of memory");
    if (status == SPW_OK)
        spw_verify_judge(&f);
    free(f.level);
    if (status != SPW_OK) {
        spw_verification_free(f.v);
        return status;
    }
    *verification = f.v;
    return SPW_OK;
}

void spw_verification_free(spw_verification *verification) {
    if (verification == NULL)
        return;
    free(verification->pair);
    free(verification);
}
