/* Does the fitted adapter do what was planned? */
#include "adapter/verify/verify.h"

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

/* Judges nothing: the line is that of the two as they were given. */
static spw_status take_as_exchanged(spw_verifier *f, spw_error *error) {
    spw_planned planned = f->v->planned;
    f->v->exchanged = true;
    f->v->planned = spw_planned_none();
    for (size_t k = 0; k < f->v->pairs; k++) {
        f->v->pair[k].side = 0;
        f->v->pair[k].clamped = false;
    }
    spw_status status = f->v->method == SPW_VERIFY_PULSES ? spw_verify_levels(f) : SPW_OK;
    for (size_t k = 0; k < f->levels; k++)
        f->level[k].clamped = false;
    if (status == SPW_OK)
        status = spw_verify_fit(f, error);
    if (status != SPW_OK && status != SPW_ERR_MEMORY) { /* a line is none of its business */
        f->v->gain = f->v->u_gain = f->v->offset_us = f->v->u_offset_us = NAN;
        f->v->correlation = f->v->dof = NAN;
        f->v->residual_rms_us = f->v->residual_largest_us = f->v->residual_largest_at_us = NAN;
        spw_error_clear(error);
        status = SPW_OK;
    }
    f->v->planned = planned;
    return status;
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
        spw_verify_lost_frames(&f);
    if (status == SPW_OK)
        status =
            spw_verify_exchanged(&f) ? take_as_exchanged(&f, error) : spw_verify_fit(&f, error);
    if (status == SPW_OK)
        status = spw_verify_judge(&f);
    if (status == SPW_ERR_MEMORY)
        (void)spw_error_set(error, status, "out of memory");
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
