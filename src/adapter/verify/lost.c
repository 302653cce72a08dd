/* Frames that should have reached the servo and did not.
 *
 * An adapter that repeats each input owes an output for it; verify_pairs.c counts those. One
 * that keeps frames of its own owes a pulse in each of those, whatever the input does; of two
 * captures only the frames of each are known. There a gap of two periods is a frame lost. */
#include "adapter/verify/verify.h"

#include <math.h>

/* Outputs that follow their inputs repeat them: 90 % of the delays lie within this part of a
 * frame. */
#define REPEATS_WITHIN 0.1

typedef struct kept {
    size_t frames, lost;
} kept;

static kept frames_of(const spw_channel *c) {
    kept k = {0, 0};
    double period_s = c->period_us.median * 1e-6, last_s = NAN;
    for (size_t i = 0; i < c->pulses && period_s > 0; i++) {
        if ((c->pulse[i].flags & SPW_PULSE_OUT) != 0)
            continue;
        double periods = isnan(last_s) ? 1 : round((c->pulse[i].lead_s - last_s) / period_s);
        k.frames += periods >= 1 ? (size_t)periods : 1;
        k.lost += periods > 1 ? (size_t)periods - 1 : 0;
        last_s = c->pulse[i].lead_s;
    }
    return k;
}

bool spw_verify_repeats(const spw_verifier *f) {
    const spw_summary *late = &f->v->latency_ms;
    return f->v->method == SPW_VERIFY_PULSES && late->n > 0 &&
           late->p95 - late->p05 < REPEATS_WITHIN * f->before->period_us.mean * 1e-3;
}

void spw_verify_lost_frames(spw_verifier *f) {
    if (spw_verify_repeats(f))
        return;
    kept after = frames_of(f->after);
    f->frames = after.frames;
    f->lost = after.lost;
    if (f->v->method != SPW_VERIFY_HOLDS)
        return;
    /* what the input itself lost is no fault of the adapter */
    kept before = frames_of(f->before);
    double own = before.frames > 0 ? (double)before.lost / (double)before.frames : 0;
    size_t excused = (size_t)round(own * (double)after.frames);
    f->lost = after.lost > excused ? after.lost - excused : 0;
}
