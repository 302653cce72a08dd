/* Why a channel does not look like control pulses, in one sentence with numbers. */
#include "pulses/train.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* --- sum stream --- */

/* Common practice: slots of 0.7 to 2.3 ms, then a sync gap of 3 ms and more. */
static const double SLOT_MIN_US = 600, SLOT_MAX_US = 2600, SYNC_MAX_US = 40e3;
enum { LEAST_SLOTS = 3, MOST_SLOTS = 16, LEAST_STREAM_FRAMES = 3 };

unsigned spw_sum_stream_channels(const spw_train *train, double end_s) {
    size_t with[MOST_SLOTS + 1] = {0};
    size_t frames = 0, slots = 0;
    bool counting = false;
    double before_s = NAN;
    spw_stretch_walk walk = spw_stretches(train, end_s);
    spw_stretch s;
    while (spw_stretch_next(&walk, &s)) {
        if (!s.high || s.open_start)
            continue;
        double us = (s.start_s - before_s) * 1e6;
        before_s = s.start_s;
        if (us >= SLOT_MIN_US && us <= SLOT_MAX_US) {
            slots++;
        } else {
            bool sync = us > SLOT_MAX_US && us <= SYNC_MAX_US;
            if (sync && counting) {
                frames++;
                with[slots <= MOST_SLOTS ? slots : 0]++;
            }
            counting = sync;
            slots = 0;
        }
    }
    for (unsigned n = LEAST_SLOTS; n <= MOST_SLOTS; n++)
        if (with[n] >= LEAST_STREAM_FRAMES && (double)with[n] >= 0.8 * (double)frames)
            return n;
    return 0;
}

/* --- words --- */

typedef struct words {
    char text[32];
} words;

/* A length of time in the unit a person would use, for `out`, which fails when it does. */
static words span_of(spw_text *out, double us) {
    words w;
    spw_text t = {0};
    if (!isfinite(us))
        spw_text_puts(&t, "an unknown time");
    else if (us < 0.9995)
        spw_text_printf(&t, "%.3g ns", us * 1e3);
    else if (us < 9999.5)
        spw_text_printf(&t, us < 99.95 ? "%.3g us" : "%.0f us", us);
    else if (us < 999950)
        spw_text_printf(&t, "%.4g ms", us * 1e-3);
    else
        spw_text_printf(&t, "%.4g s", us * 1e-6);
    snprintf(w.text, sizeof w.text, "%s", t.data != NULL ? t.data : "?");
    out->failed = out->failed || t.failed;
    spw_text_free(&t);
    return w;
}

/* A spread is even when its middle 80 % lie within a factor. */
static bool within_factor(const spw_spread *s, double factor) {
    return s->p90 <= factor * s->p10;
}

/* A frame of control pulses is 20 ms and its pulse 2.5 to 12.5 % of it. */
static bool scaled_frame(const spw_survey *v) {
    double pulse_us = fmin(v->high.median, v->low.median);
    double share = pulse_us / v->period.median;
    return within_factor(&v->period, 1.1) && share >= 0.02 && share <= 0.14;
}

static const double FRAME_US = 20e3;
/* Between two pulses: less is no gap of a frame (560 Hz, 2500 us, common practice, have none). */
static const double USUAL_GAP_US = 300;

static void few_pulses(const spw_train *train, const spw_survey *v, double end_s, spw_text *t) {
    size_t pulses = v->high_in < v->low_in || v->low_in == 0 ? v->high_in : v->low_in;
    if (train->transitions == 1)
        spw_text_printf(t, "the line changes once, at %s, and then stays %s",
                        span_of(t, train->last.time_s * 1e6).text,
                        (train->last.flags & SPW_EDGE_RISING) != 0 ? "high" : "low");
    else if ((v->high_in + v->low_in == 1 || pulses == 1) &&
             v->first_period_us > v->first_in_us + USUAL_GAP_US)
        spw_text_printf(t,
                        "only one whole pulse, of %.1f us at %.4f s, and one period, %.1f us: "
                        "record several frames",
                        v->first_in_us, v->first_in_s, v->first_period_us);
    else if (v->high_in + v->low_in == 1 || pulses == 1)
        spw_text_printf(t,
                        "only one pulse, of %.1f us at %.4f s: a frame period needs at least two",
                        v->first_in_us, v->first_in_s);
    else if (pulses == 2)
        spw_text_printf(
            t, "only two pulses, %s apart, in %s: control pulses go on, frame after frame",
            span_of(t, v->first_period_us).text, span_of(t, (end_s - train->from_s) * 1e6).text);
    else
        spw_text_printf(
            t, "only %llu changes of level in %s, none of them a pulse of %.0f to %.0f us",
            (unsigned long long)train->transitions, span_of(t, (end_s - train->from_s) * 1e6).text,
            train->width_low_us, train->width_high_us);
}

static void too_fast(const spw_survey *v, spw_text *t) {
    double period_us = v->period.median;
    words high = span_of(t, v->high.median), low = span_of(t, v->low.median);
    if (scaled_frame(v) && period_us < 100)
        spw_text_printf(t,
                        "a frame of %s (high %s, low %s) is far too short for control pulses; if "
                        "this is a simulation with scaled time, times multiplied by %.6g make it a "
                        "frame of 20 ms",
                        span_of(t, period_us).text, high.text, low.text, FRAME_US / period_us);
    else if (within_factor(&v->period, 1.1) && within_factor(&v->high, 1.2))
        spw_text_printf(t,
                        "toggles every %s (high %s, low %s): a clock or other signal too fast "
                        "for control pulses",
                        span_of(t, period_us / 2).text, high.text, low.text);
    else
        spw_text_printf(t,
                        "levels last from %s to %s without an even frame, as on a data line: "
                        "too fast for control pulses",
                        span_of(t, fmin(v->high.p10, v->low.p10)).text,
                        span_of(t, fmax(v->high.p90, v->low.p90)).text);
}

double spw_three_digits(double value) {
    double unit = pow(10, floor(log10(value)) - 2);
    return round(value / unit) * unit;
}

/* A line whose period and pulse have the ratio of control pulses, and whose times come
 * from a --rate alone: the rate that makes the frame 20 ms is asked for. */
static void ask_rate(const spw_train *train, const spw_survey *v, spw_text *t) {
    double period_us = v->period.median, pulse_us = fmin(v->high.median, v->low.median);
    double scale = FRAME_US / period_us;
    if (!(train->asked_rate_hz > 0) || !within_factor(&v->period, 1.3) ||
        (scale > 0.5 && scale < 2) || pulse_us * scale < 400 || pulse_us * scale > 2600)
        return;
    bool asks = t->length > 0 && t->data[t->length - 1] == '?';
    spw_text_printf(t, "%s Is --rate %.9g right? At --rate %.9g it has a frame of 20 ms",
                    asks ? "" : ".", train->asked_rate_hz,
                    spw_three_digits(train->asked_rate_hz / scale));
}

static void explain(const spw_train *train, const spw_survey *v, double end_s, bool frames_found,
                    spw_text *t) {
    unsigned stream = spw_sum_stream_channels(train, end_s);
    double period_us = v->period.median;
    if (stream > 0)
        spw_text_printf(t,
                        "a sum stream (PPM) of %u channels: %u pulses follow each other, then a "
                        "long sync gap; measure the separate servo lines",
                        stream, stream + 1);
    else if (train->transitions < 6 || v->n < 4)
        few_pulses(train, v, end_s, t);
    else if (period_us < SPW_FRAME_MIN_US)
        too_fast(v, t);
    else if (train->has_polarity && frames_found)
        spw_text_printf(t,
                        "high for %s and low for %s: read as %s (--polarity), no even frames of "
                        "pulses of %.0f to %.0f us are left",
                        span_of(t, v->high.median).text, span_of(t, v->low.median).text,
                        spw_polarity_name(train->polarity), train->width_low_us,
                        train->width_high_us);
    else if (within_factor(&v->period, 1.3) && period_us > SPW_FRAME_MAX_US)
        spw_text_printf(t, "repeats every %s (high %s, low %s): too slow for control pulses",
                        span_of(t, period_us).text, span_of(t, v->high.median).text,
                        span_of(t, v->low.median).text);
    else if (within_factor(&v->period, 1.3) && !frames_found)
        spw_text_printf(t,
                        "frames of %s, but high for %s and low for %s: neither is a pulse of "
                        "%.0f to %.0f us (--width-window LOW:HIGH accepts others)",
                        span_of(t, period_us).text, span_of(t, v->high.median).text,
                        span_of(t, v->low.median).text, train->width_low_us, train->width_high_us);
    else
        spw_text_printf(t,
                        "levels last from %s to %s and follow no even frame (neighbouring pairs "
                        "take %s to %s): a data line?",
                        span_of(t, fmin(v->high.p10, v->low.p10)).text,
                        span_of(t, fmax(v->high.p90, v->low.p90)).text,
                        span_of(t, v->period.p10).text, span_of(t, v->period.p90).text);
}

spw_status spw_signal_explain(const spw_train *train, const spw_survey *survey, double end_s,
                              bool frames_found, spw_channel *channel) {
    spw_text t = {0};
    channel->signal = SPW_SIGNAL_OTHER;
    if (train->transitions == 0) {
        bool known = train->has_last && (train->last.flags & SPW_EDGE_LOST) == 0;
        channel->signal = SPW_SIGNAL_IDLE;
        if (known)
            spw_text_printf(&t, "the line stays %s: no change of level in %s",
                            (train->last.flags & SPW_EDGE_RISING) != 0 ? "high" : "low",
                            span_of(&t, (end_s - train->from_s) * 1e6).text);
        else
            spw_text_printf(&t, "no change between two known levels in %s",
                            span_of(&t, (end_s - train->from_s) * 1e6).text);
    } else {
        explain(train, survey, end_s, frames_found, &t);
        ask_rate(train, survey, &t);
    }
    spw_status status = spw_text_status(&t);
    if (status != SPW_OK) {
        spw_text_free(&t);
        return status;
    }
    free(channel->reason);
    channel->reason = t.data;
    return SPW_OK;
}

/* A line at rest moves less: a logic low is 0.4 V at most (common practice); of a sound
 * recording, whose level nobody knows, a tenth of full scale. */
static const double REST_V = 0.4, REST_FULL_SCALE = 0.1;

spw_status spw_signal_judge_rest(spw_channel *channel) {
    const spw_edge_report *report = &channel->edge_report;
    bool volts = channel->unit == SPW_UNIT_VOLT;
    if (channel->signal != SPW_SIGNAL_IDLE || !channel->has_edge_report ||
        !(report->most - report->least > (volts ? REST_V : REST_FULL_SCALE)))
        return SPW_OK;
    spw_text t = {0};
    spw_text_printf(&t, "runs from %.3g to %.3g %s, without two levels", report->least,
                    report->most, volts ? "V" : "of full scale");
    spw_status status = spw_text_status(&t);
    if (status != SPW_OK) {
        spw_text_free(&t);
        return status;
    }
    free(channel->reason);
    channel->reason = t.data;
    channel->signal = SPW_SIGNAL_VARIES;
    return SPW_OK;
}
