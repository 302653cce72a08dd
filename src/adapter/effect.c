/* What the servo gets and does, before and after an adapter. */
#include "adapter/planning.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

static double square(double x) {
    return x * x;
}

spw_effect spw_effect_none(void) {
    spw_motion_deg none = {NAN, NAN, NAN};
    return (spw_effect){.low_us = NAN,
                        .high_us = NAN,
                        .neutral_us = NAN,
                        .low_U95_us = NAN,
                        .high_U95_us = NAN,
                        .jitter_low_us = NAN,
                        .jitter_high_us = NAN,
                        .step_us = NAN,
                        .positions = NAN,
                        .hunt_probability = NAN,
                        .hunt_low = NAN,
                        .hunt_high = NAN,
                        .hunts = -1,
                        .servo = none,
                        .joint = none,
                        .creep_rpm = NAN,
                        .shortest_gap_us = NAN,
                        .latency_typical_ms = NAN,
                        .latency_worst_ms = NAN};
}

/* The source's own jitter: what the capture's sampling adds is taken away. Where
 * the two are nearly equal the difference is not resolved and stays a range. */
static void source_jitter(const spw_span *span, double *low, double *high) {
    *low = *high = NAN;
    if (isnan(span->jitter_rms_us))
        return;
    double floor = isfinite(span->floor_us) ? span->floor_us : 0;
    *low = sqrt(fmax(0, square(span->jitter_rms_us) - square(floor)));
    *high = span->jitter_rms_us < 1.5 * floor ? span->jitter_rms_us : *low;
}

/* Variance, in square ticks, that counting a width in whole ticks adds to normal
 * jitter of standard deviation `sigma` ticks: the mean of f(1-f) over the part f of
 * a tick that is left over (both edges share the counter's phase, the count's mean
 * is exact). Fourier series of f(1-f) = 1/6 - sum cos(2 pi k f) / (pi k)^2, each term
 * damped by exp(-2 (pi k sigma)^2). 1/6 for half a tick of jitter and more; under
 * that it depends on f: the least and the greatest value. */
static void count_variance(double sigma, double *least, double *greatest) {
    *least = *greatest = 1.0 / 6;
    for (int k = 1; k <= 200; k++) {
        double term = exp(-2 * square(M_PI * k * sigma)) / square(M_PI * k);
        *least -= term;
        *greatest -= k % 2 != 0 ? -term : term;
    }
    *least = fmax(*least, 0);
}

static double steepest(const spw_remap *remap) {
    double gain = fabs(remap->segment[0].gain);
    return remap->segments > 1 ? fmax(gain, fabs(remap->segment[1].gain)) : gain;
}

/* Jitter behind an adapter that counts in ticks and rounds its output to ticks.
 * Rounding: outputs of neighbouring counts differ by the whole number below or above
 * the gain, and no output is off by more than half a tick; both bound the scatter.
 * Once the counts' scatter, times what the gain is off a whole number, passes half a
 * tick, rounding is as good as independent and adds a twelfth of a square tick. */
static void adapter_jitter(const spw_planner *p, const spw_remap *remap, spw_effect *effect) {
    double low, high, least, greatest, unused, gain = steepest(remap);
    double tick = p->bench->adapter.tick_us;
    source_jitter(p->span, &low, &high);
    count_variance(low / tick, &least, &unused);
    count_variance(high / tick, &unused, &greatest);
    low = sqrt(square(low) + least * square(tick));
    high = sqrt(square(high) + greatest * square(tick));
    double off = fabs(gain - round(gain)) < 1e-9 ? 0 : fabs(gain - round(gain));
    if (off == 0) {
        effect->jitter_low_us = gain * low;
        effect->jitter_high_us = gain * high;
    } else if (off * low >= tick / 2) {
        effect->jitter_low_us = gain * low;
        effect->jitter_high_us = sqrt(square(gain * high) + square(tick) / 12);
    } else {
        effect->jitter_low_us = fmax(floor(gain) * low, gain * low - tick / 2);
        effect->jitter_high_us = fmin(ceil(gain) * high, gain * high + tick / 2);
    }
}

static double leaves_band(double dead_band_us, double jitter_us) {
    return jitter_us > 0 ? 2 * gsl_cdf_ugaussian_Q(dead_band_us / 2 / jitter_us) : 0;
}

/* The probability that noise alone takes a frame out of the dead band, with the
 * interval that the number of frames leaves for the jitter (chi-square, 95 %). */
static void hunting(const spw_planner *p, spw_effect *effect) {
    double band = p->bench->servo.dead_band_us;
    const spw_span *span = p->span;
    bool doubted =
        isinf(spw_doubt_reach_us(&span->low.doubt)) || isinf(spw_doubt_reach_us(&span->high.doubt));
    if (isnan(band) || isnan(effect->jitter_high_us) || doubted) /* whose jitter it is is unknown */
        return;
    effect->hunt_probability = leaves_band(band, effect->jitter_high_us);
    size_t levels = p->span->levels;
    double dof = p->span->frames > levels ? (double)(p->span->frames - levels) : 0;
    if (dof >= 1) {
        double up = sqrt(dof / gsl_cdf_chisq_Pinv(0.025, dof));
        double down = sqrt(dof / gsl_cdf_chisq_Qinv(0.025, dof));
        effect->hunt_low = leaves_band(band, effect->jitter_low_us * down);
        effect->hunt_high = leaves_band(band, effect->jitter_high_us * up);
    }
    if (isfinite(p->span->mean_frame_us))
        effect->hunts =
            effect->hunt_probability * 60e6 / p->span->mean_frame_us > SPW_HUNTS_A_MINUTE ? 1 : 0;
}

/* Speed at neutral of a continuous servo: distance from its stop band. */
static double creep(const spw_servo *servo, double neutral_us) {
    if (servo->mode != SPW_SERVO_CONTINUOUS || isnan(servo->stop_low_us) || isnan(neutral_us))
        return NAN;
    if (neutral_us > servo->stop_high_us)
        return (neutral_us - servo->stop_high_us) * servo->rpm_per_us;
    if (neutral_us < servo->stop_low_us)
        return (neutral_us - servo->stop_low_us) * servo->rpm_per_us;
    return 0;
}

/* What follows from the pulses, whoever sends them. */
static void finish(const spw_planner *p, spw_effect *effect) {
    const spw_servo *servo = &p->bench->servo;
    if (effect->step_us > 0)
        effect->positions = floor((effect->high_us - effect->low_us) / effect->step_us + 1e-6) + 1;
    double deg = spw_servo_deg_per_us(servo), reduction = p->bench->joint.reduction;
    if (servo->mode == SPW_SERVO_POSITIONAL && !isnan(deg)) {
        /* Past its expected ends the servo stands at its stop. */
        double turned = fmin(effect->high_us, servo->expected_high_us) -
                        fmax(effect->low_us, servo->expected_low_us);
        effect->servo = (spw_motion_deg){fmax(0, turned) * deg, effect->jitter_high_us * deg,
                                         effect->step_us * deg};
        effect->joint =
            (spw_motion_deg){effect->servo.travel / reduction, effect->servo.jitter / reduction,
                             effect->servo.step / reduction};
    }
    effect->creep_rpm = creep(servo, effect->neutral_us);
    effect->shortest_gap_us = p->span->shortest_frame_us - effect->high_us;
    hunting(p, effect);
}

/* With what a doubt adds; INFINITY where that is not known. */
static double U95_of(const spw_span_point *point) {
    return point->U95 + spw_doubt_reach_us(&point->doubt);
}

spw_effect spw_effect_before(const spw_planner *p) {
    spw_effect effect = spw_effect_none();
    const spw_span *span = p->span;
    if (!span->known)
        return effect;
    effect.low_us = span->low.us;
    effect.high_us = span->high.us;
    effect.neutral_us = span->neutral.us;
    effect.low_U95_us = U95_of(&span->low);
    effect.high_U95_us = U95_of(&span->high);
    effect.step_us = span->step_us;
    source_jitter(span, &effect.jitter_low_us, &effect.jitter_high_us);
    finish(p, &effect);
    return effect;
}

/* U95 of an output: the input's, times the gain; and the adapter's clock, by which
 * it measures and sends: what the clock does to the gain cancels, what it does to
 * the offset stays. */
static double output_U95(const spw_planner *p, const spw_segment *segment, double U95) {
    double clock = 1.96 * p->bench->adapter.clock_ppm * 1e-6 * fabs(segment->offset_us);
    return hypot(segment->gain * U95, clock);
}

spw_effect spw_effect_after(const spw_planner *p, const spw_remap *remap) {
    spw_effect effect = spw_effect_none();
    const spw_span *span = p->span;
    const spw_segment *last = &remap->segment[remap->segments - 1];
    double at_low = spw_remap_apply(remap, span->low.us);
    double at_high = spw_remap_apply(remap, span->high.us);
    double U_low = output_U95(p, &remap->segment[0], U95_of(&span->low));
    double U_high = output_U95(p, last, U95_of(&span->high));
    bool turned = at_low > at_high;
    effect.low_us = turned ? at_high : at_low;
    effect.high_us = turned ? at_low : at_high;
    effect.low_U95_us = turned ? U_high : U_low;
    effect.high_U95_us = turned ? U_low : U_high;
    effect.neutral_us = remap->neutral_out_us;
    /* A step finer than the adapter's tick comes out as whole ticks. */
    if (span->step_us > 0)
        effect.step_us = steepest(remap) * fmax(span->step_us, p->bench->adapter.tick_us);
    adapter_jitter(p, remap, &effect);
    finish(p, &effect);
    /* It measures a pulse to its trail edge and repeats it at once; at worst it keeps
     * frames of its own and the new pulse waits for the next. The servo knows the
     * width when the repeated pulse has ended. */
    double usual =
        isnan(effect.neutral_us) ? (effect.low_us + effect.high_us) / 2 : effect.neutral_us;
    effect.latency_typical_ms = usual / 1000;
    effect.latency_worst_ms = (span->mean_frame_us + effect.high_us) / 1000;
    return effect;
}
