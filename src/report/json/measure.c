/* spanwright.measure/1. */
#include "spanwright/report.h"

#include "report/json/motion.h"
#include "report/json/write.h"

#include <math.h>

static const char *level_name(spw_level level) {
    switch (level) {
    case SPW_LEVEL_LOW:
        return "low";
    case SPW_LEVEL_HIGH:
        return "high";
    case SPW_LEVEL_UNKNOWN:
        break;
    }
    return "unknown";
}

static json_t *budget(spw_json *json, const spw_budget *b) {
    json_t *object = json_object();
    spw_json_put(json, object, "scatter", spw_json_number(b->u_scatter));
    spw_json_put(json, object, "effective_frames", spw_json_number(b->n_effective));
    spw_json_put(json, object, "wander", spw_json_number(b->u_wander));
    spw_json_put(json, object, "sampling", spw_json_number(b->u_sampling));
    spw_json_put(json, object, "timebase", spw_json_number(b->u_timebase));
    spw_json_put(json, object, "edge_shape", spw_json_number(b->u_template));
    spw_json_put(json, object, "rise_fall", spw_json_number(b->u_asymmetry));
    return object;
}

static json_t *holds(spw_json *json, const spw_channel *channel) {
    json_t *array = json_array();
    for (size_t i = 0; i < channel->holds; i++) {
        const spw_hold *hold = &channel->hold[i];
        json_t *object = json_object();
        spw_json_put(json, object, "start_s", spw_json_number(hold->start_s));
        spw_json_put(json, object, "end_s", spw_json_number(hold->end_s));
        spw_json_put(json, object, "pulses", spw_json_count(hold->pulses));
        spw_json_put(json, object, "width_us", spw_json_summary(json, &hold->width_us));
        spw_json_put(json, object, "drift_us_per_s", spw_json_number(hold->drift_us_per_s));
        spw_json_put(json, object, "budget_us", budget(json, &hold->budget));
        spw_json_put(
            json, object, "wander_us",
            spw_json_number(hold->budget.wander_us > 0 ? hold->budget.wander_us : (double)NAN));
        spw_json_put(json, object, "odd_pulses", spw_json_count(hold->odd_pulses));
        spw_json_put(json, object, "sd_with_odd_us", spw_json_number(hold->sd_with_odd_us));
        spw_json_put(json, object, "in_doubt", json_boolean(hold->doubts != 0));
        spw_json_put(json, object, "doubt_bound_us", spw_json_number(hold->doubt_bound_us));
        spw_doubt doubt = {hold->doubts, hold->start_s, hold->end_s, hold->doubt_bound_us};
        spw_json_put(json, object, "doubt", spw_json_doubt(json, &doubt));
        spw_json_add(json, array, object);
    }
    return array;
}

static json_t *span_object(spw_json *json, const spw_span *built) {
    if (!built->known)
        return json_null();
    json_t *object = json_object();
    spw_json_put(json, object, "low", spw_json_number(built->low.us));
    spw_json_put(json, object, "low_U95", spw_json_number(built->low.U95));
    spw_json_put(json, object, "high", spw_json_number(built->high.us));
    spw_json_put(json, object, "high_U95", spw_json_number(built->high.U95));
    spw_json_put(json, object, "neutral", spw_json_number(built->neutral.us));
    spw_json_put(json, object, "neutral_U95", spw_json_number(built->neutral.U95));
    spw_json_put(json, object, "basis", json_string(spw_span_basis_name(built->basis)));
    spw_json_put(json, object, "low_doubt", spw_json_doubt(json, &built->low.doubt));
    spw_json_put(json, object, "high_doubt", spw_json_doubt(json, &built->high.doubt));
    spw_json_put(json, object, "neutral_doubt", spw_json_doubt(json, &built->neutral.doubt));
    spw_json_put(json, object, "holds_left_out", spw_json_count(built->left_out));
    return object;
}

static json_t *span(spw_json *json, const spw_channel *channel, double neutral_us) {
    spw_span built;
    if (!spw_signal_has_pulses(channel->signal))
        return json_null();
    if (spw_span_build(&channel, 1, neutral_us, &built) != SPW_OK) {
        json->failed = true;
        return json_null();
    }
    return span_object(json, &built);
}

static json_t *regimes(spw_json *json, const spw_channel *channel, double neutral_us) {
    json_t *array = json_array();
    for (size_t i = 0; i < channel->regimes; i++) {
        const spw_regime *regime = &channel->regime[i];
        json_t *object = json_object();
        spw_json_put(json, object, "start_s", spw_json_number(regime->start_s));
        spw_json_put(json, object, "end_s", spw_json_number(regime->end_s));
        spw_json_put(json, object, "frames", spw_json_count(regime->frames));
        spw_json_put(json, object, "period_us", spw_json_number(regime->period_us));
        spw_json_put(json, object, "judged", json_boolean(spw_regime_judged(channel, i)));
        spw_span built;
        bool made = spw_span_of_regime(channel, i, neutral_us, &built) == SPW_OK;
        json->failed = json->failed || !made;
        spw_json_put(json, object, "span_us", made ? span_object(json, &built) : json_null());
        spw_json_add(json, array, object);
    }
    return array;
}

static json_t *evidence(spw_json *json, uint32_t bits) {
    if (bits == 0)
        return json_null();
    json_t *array = json_array();
    for (uint32_t bit = 1; bit != 0 && bit <= bits; bit <<= 1)
        if ((bits & bit) != 0)
            spw_json_add(json, array, json_string(spw_evidence_name(bit)));
    return array;
}

static json_t *events(spw_json *json, const spw_channel *channel) {
    json_t *array = json_array();
    for (size_t i = 0; i < channel->events; i++) {
        const spw_event *event = &channel->event[i];
        json_t *object = json_object();
        spw_json_put(json, object, "kind", json_string(spw_event_kind_name(event->kind)));
        spw_json_put(json, object, "at_s", spw_json_number(event->at_s));
        spw_json_put(json, object, "count", spw_json_count(event->count));
        spw_json_put(json, object, "value_us", spw_json_number(event->value_us));
        spw_json_put(json, object, "evidence", evidence(json, event->evidence));
        spw_json_add(json, array, object);
    }
    return array;
}

static json_t *levels(spw_json *json, const spw_channel *channel) {
    if (!channel->has_levels)
        return json_null();
    json_t *object = spw_json_range(json, channel->level_low, channel->level_high);
    spw_json_put(json, object, "unit",
                 json_string(channel->unit == SPW_UNIT_VOLT ? "V" : "full_scale"));
    return object;
}

static json_t *other_reading(spw_json *json, const spw_channel *channel) {
    if (!isfinite(channel->other_width_us))
        return json_null();
    json_t *object = json_object();
    spw_json_put(json, object, "width_us", spw_json_number(channel->other_width_us));
    spw_json_put(json, object, "period_us", spw_json_number(channel->other_period_us));
    return object;
}

static json_t *edge_timing(spw_json *json, const spw_channel *channel) {
    static const char *const method[] = {"none", "samples", "crossing", "edge_shape"};
    if (!channel->has_edge_report)
        return json_null();
    const spw_edge_report *report = &channel->edge_report;
    json_t *object = json_object();
    spw_json_put(json, object, "method", json_string(method[report->method]));
    spw_json_put(json, object, "edges", spw_json_count(report->edges));
    spw_json_put(json, object, "noise_rms", spw_json_number(report->noise_sd));
    spw_json_put(json, object, "droop_corner_hz", spw_json_number(report->droop_corner_hz));
    spw_json_put(json, object, "hum_hz", spw_json_number(report->hum_hz));
    spw_json_put(json, object, "clipped_samples", spw_json_count(report->clipped_samples));
    spw_json_put(json, object, "missing_samples", spw_json_count(report->missing_samples));
    return object;
}

static json_t *jitter(spw_json *json, const spw_channel *channel) {
    json_t *object = json_object();
    spw_json_put(json, object, "peak_to_peak", spw_json_number(channel->period_jitter_pp_us));
    spw_json_put(json, object, "cycle_to_cycle_rms",
                 spw_json_number(channel->cycle_to_cycle_rms_us));
    spw_json_put(json, object, "cycle_to_cycle_peak",
                 spw_json_number(channel->cycle_to_cycle_peak_us));
    return object;
}

static json_t *robust(spw_json *json, const spw_channel *channel) {
    json_t *object = json_object();
    spw_json_put(json, object, "median", spw_json_number(channel->width_median_us));
    spw_json_put(json, object, "sd", spw_json_number(channel->width_robust_sd_us));
    return object;
}

static json_t *step(spw_json *json, const spw_channel *channel) {
    if (!isfinite(channel->step_us))
        return json_null();
    json_t *object = json_object();
    spw_json_put(json, object, "value", spw_json_number(channel->step_us));
    spw_json_put(json, object, "u", spw_json_number(channel->step_u_us));
    return object;
}

static json_t *width_line(spw_json *json, const spw_channel *channel) {
    if (!isfinite(channel->line_hz))
        return json_null();
    json_t *object = json_object();
    spw_json_put(json, object, "frequency_hz", spw_json_number(channel->line_hz));
    spw_json_put(json, object, "amplitude_us", spw_json_number(channel->line_amplitude_us));
    spw_json_put(json, object, "p_value", spw_json_number(channel->line_p));
    return object;
}

static json_t *after_last_frame(spw_json *json, const spw_channel *channel) {
    json_t *object = json_object();
    spw_json_put(json, object, "level", json_string(level_name(channel->last_level)));
    spw_json_put(json, object, "for_s", spw_json_number(channel->last_for_s));
    return object;
}

static json_t *channel_object(spw_json *json, const spw_channel *channel, double neutral_us) {
    bool pulses = spw_signal_has_pulses(channel->signal);
    json_t *object = json_object();
    spw_json_put(json, object, "name", spw_json_text(channel->name));
    spw_json_put(json, object, "kind",
                 json_string(channel->kind == SPW_KIND_LOGIC ? "logic" : "analogue"));
    spw_json_put(json, object, "resolution_us", spw_json_number(channel->resolution_us));
    spw_json_put(json, object, "doubt", spw_json_doubts(json, channel->doubt, channel->doubts));
    spw_json_put(json, object, "signal", json_string(spw_signal_name(channel->signal)));
    spw_json_put(json, object, "reason", spw_json_text(pulses ? NULL : channel->reason));
    spw_json_put(json, object, "polarity", json_string(spw_polarity_name(channel->polarity)));
    spw_json_put(json, object, "polarity_basis",
                 json_string(spw_polarity_basis_name(channel->polarity_basis)));
    spw_json_put(json, object, "other_reading", other_reading(json, channel));
    spw_json_put(json, object, "pulses", spw_json_count(channel->pulses));
    spw_json_put(json, object, "period_us", spw_json_summary(json, &channel->period_us));
    spw_json_put(json, object, "frame_rate_hz", spw_json_number(channel->frame_rate_hz));
    spw_json_put(json, object, "period_jitter_us", jitter(json, channel));
    spw_json_put(json, object, "width_us", spw_json_summary(json, &channel->width_us));
    spw_json_put(json, object, "width_robust_us", robust(json, channel));
    spw_json_put(json, object, "lead_jitter_us", spw_json_number(channel->lead_jitter_us));
    spw_json_put(json, object, "trail_jitter_us", spw_json_number(channel->trail_jitter_us));
    spw_json_put(json, object, "odd_pulses", spw_json_odd(json, &channel->odd));
    spw_json_put(json, object, "holds", holds(json, channel));
    spw_json_put(json, object, "moves", spw_json_moves(json, channel));
    spw_json_put(json, object, "span_us", span(json, channel, neutral_us));
    spw_json_put(json, object, "controller_step_us", step(json, channel));
    spw_json_put(json, object, "width_line", width_line(json, channel));
    spw_json_put(json, object, "clock_drift_ppm_per_s",
                 spw_json_number(channel->clock_drift_ppm_per_s));
    spw_json_put(json, object, "regimes", regimes(json, channel, neutral_us));
    spw_json_put(json, object, "events", events(json, channel));
    spw_json_put(json, object, "events_not_listed", spw_json_count(channel->events_dropped));
    spw_json_put(json, object, "after_last_frame", after_last_frame(json, channel));
    spw_json_put(json, object, "levels", levels(json, channel));
    spw_json_put(json, object, "edge_timing", edge_timing(json, channel));
    spw_json_put(json, object, "warnings",
                 spw_json_strings(json, channel->warnings.text, channel->warnings.n));
    return object;
}

static json_t *capture_object(spw_json *json, const spw_capture *capture, const char *digest,
                              double neutral_us) {
    const spw_capture_summary *summary = &capture->summary;
    json_t *object = json_object(), *channels = json_array();
    spw_json_put(json, object, "file", spw_json_text(capture->file));
    spw_json_put(json, object, "digest_sha256", spw_json_text(digest));
    spw_json_put(json, object, "format", json_string(spw_format_name(summary->format)));
    spw_json_put(json, object, "recognised",
                 spw_json_strings(json, summary->recognised.text, summary->recognised.n));
    spw_json_put(json, object, "duration_s", spw_json_number(summary->duration_s));
    spw_json_put(json, object, "from_s", spw_json_number(capture->from_s));
    spw_json_put(json, object, "to_s", spw_json_number(capture->to_s));
    spw_json_put(json, object, "truncated", json_boolean(summary->truncated));
    spw_json_put(json, object, "timebase_ppm", spw_json_number(capture->timebase_ppm));
    spw_json_put(json, object, "clock_correction", spw_json_number(capture->clock_correction));
    spw_json_put(json, object, "warnings",
                 spw_json_strings(json, summary->warnings.text, summary->warnings.n));
    for (size_t i = 0; i < capture->channels; i++)
        spw_json_add(json, channels, channel_object(json, &capture->channel[i], neutral_us));
    spw_json_put(json, object, "channels", channels);
    return object;
}

spw_status spw_report_measure_json(const spw_capture *const *captures, size_t n,
                                   const char *const *digests, double neutral_us, spw_text *out) {
    spw_json json = {false};
    json_t *root = json_object(), *array = json_array();
    spw_json_put(&json, root, "schema", json_string("spanwright.measure/1"));
    spw_json_put(&json, root, "tool", spw_json_tool(&json));
    for (size_t i = 0; i < n; i++)
        spw_json_add(
            &json, array,
            capture_object(&json, captures[i], digests != NULL ? digests[i] : NULL, neutral_us));
    spw_json_put(&json, root, "captures", array);
    return spw_json_finish(&json, root, out);
}
