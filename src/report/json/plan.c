/* spanwright.plan/1. */
#include "spanwright/report.h"

#include "report/json/write.h"

#include <math.h>

static json_t *controller(spw_json *json, const spw_span *span) {
    json_t *object = json_object();
    spw_json_put(json, object, "low", spw_json_number(span->low.us));
    spw_json_put(json, object, "low_U95", spw_json_number(span->low.U95));
    spw_json_put(json, object, "high", spw_json_number(span->high.us));
    spw_json_put(json, object, "high_U95", spw_json_number(span->high.U95));
    spw_json_put(json, object, "neutral", spw_json_number(span->neutral.us));
    spw_json_put(json, object, "neutral_U95", spw_json_number(span->neutral.U95));
    spw_json_put(json, object, "jitter_rms", spw_json_number(span->jitter_rms_us));
    spw_json_put(json, object, "step", spw_json_number(span->step_us));
    spw_json_put(json, object, "basis",
                 span->known ? json_string(spw_span_basis_name(span->basis)) : json_null());
    spw_json_put(json, object, "low_doubt", spw_json_doubt(json, &span->low.doubt));
    spw_json_put(json, object, "high_doubt", spw_json_doubt(json, &span->high.doubt));
    spw_json_put(json, object, "neutral_doubt", spw_json_doubt(json, &span->neutral.doubt));
    spw_json_put(json, object, "holds_left_out", spw_json_count(span->left_out));
    spw_json_put(json, object, "line", json_string(spw_wire_name(span->wire)));
    return object;
}

static json_t *servo(spw_json *json, const spw_servo *facts) {
    json_t *object = json_object();
    spw_json_put(json, object, "name", spw_json_text(facts->name));
    spw_json_put(json, object, "expected_us",
                 spw_json_range(json, facts->expected_low_us, facts->expected_high_us));
    spw_json_put(json, object, "tolerance_us", spw_json_number(facts->tolerance_us));
    spw_json_put(json, object, "dead_band_us", spw_json_number(facts->dead_band_us));
    spw_json_put(json, object, "mode",
                 json_string(facts->mode == SPW_SERVO_CONTINUOUS ? "continuous" : "positional"));
    spw_json_put(json, object, "travel_deg", spw_json_number(facts->travel_deg));
    return object;
}

static json_t *end_verdict(const spw_plan *plan, const spw_end *end) {
    return plan->span.known ? json_string(spw_end_verdict_name(end->verdict))
                            : json_string(spw_end_verdict_name(SPW_END_UNDECIDED));
}

static json_t *ends(spw_json *json, const spw_plan *plan) {
    json_t *object = json_object();
    spw_json_put(json, object, "low", end_verdict(plan, &plan->low));
    spw_json_put(json, object, "high", end_verdict(plan, &plan->high));
    return object;
}

static json_t *end_detail(spw_json *json, const spw_end *end) {
    json_t *object = json_object();
    spw_json_put(json, object, "deviation_us", spw_json_number(end->deviation_us));
    spw_json_put(json, object, "U95", spw_json_number(end->U95));
    spw_json_put(json, object, "probability_meets", spw_json_number(end->probability_meets));
    spw_json_put(json, object, "frames_needed", spw_json_number(end->frames_needed));
    spw_json_put(json, object, "resolution_needed_us", spw_json_number(end->resolution_needed_us));
    spw_json_put(json, object, "doubt", spw_json_doubt(json, &end->doubt));
    return object;
}

static json_t *ends_detail(spw_json *json, const spw_plan *plan) {
    if (!plan->span.known)
        return json_null();
    json_t *object = json_object();
    spw_json_put(json, object, "low", end_detail(json, &plan->low));
    spw_json_put(json, object, "high", end_detail(json, &plan->high));
    return object;
}

static const char *clock_name(spw_clock_verdict verdict) {
    switch (verdict) {
    case SPW_CLOCK_AGREES:
        return "agrees";
    case SPW_CLOCK_SCALED:
        return "scaled";
    case SPW_CLOCK_DOUBLED:
        return "doubled";
    case SPW_CLOCK_WIDTH_ONLY:
        return "width_only";
    case SPW_CLOCK_DISAGREES:
        return "disagrees";
    case SPW_CLOCK_UNKNOWN:
        break;
    }
    return "unknown";
}

static json_t *clock_check(spw_json *json, const spw_clock *clock) {
    json_t *object = json_object();
    spw_json_put(json, object, "verdict", json_string(clock_name(clock->verdict)));
    spw_json_put(json, object, "width_ratio", spw_json_number(clock->width_ratio));
    spw_json_put(json, object, "period_ratio", spw_json_number(clock->period_ratio));
    spw_json_put(json, object, "correction", spw_json_number(clock->correction));
    return object;
}

static json_t *advice(spw_json *json, const spw_plan *plan) {
    json_t *array = json_array();
    for (size_t i = 0; i < plan->advices; i++) {
        json_t *object = json_object();
        spw_json_put(json, object, "do", json_string(spw_advice_do_name(plan->advice[i].what)));
        spw_json_put(json, object, "why", spw_json_text(plan->advice[i].why));
        spw_json_add(json, array, object);
    }
    return array;
}

static json_t *remap(spw_json *json, const spw_plan *plan) {
    if (!plan->has_remap)
        return json_null();
    const spw_remap *map = &plan->remap;
    json_t *object = json_object(), *segments = json_array();
    spw_json_put(json, object, "kind",
                 json_string(map->kind == SPW_REMAP_BENT ? "bent" : "straight"));
    spw_json_put(json, object, "gain", spw_json_number(map->gain));
    spw_json_put(json, object, "offset_us", spw_json_number(map->offset_us));
    spw_json_put(json, object, "clamp_us",
                 spw_json_range(json, map->clamp_low_us, map->clamp_high_us));
    spw_json_put(json, object, "neutral_in_us", spw_json_number(map->neutral_in_us));
    spw_json_put(json, object, "neutral_out_us", spw_json_number(map->neutral_out_us));
    spw_json_put(json, object, "neutral_error_us", spw_json_number(map->neutral_error_us));
    for (size_t i = 0; i < map->segments; i++) {
        const spw_segment *segment = &map->segment[i];
        json_t *part = json_object();
        spw_json_put(json, part, "from_us", spw_json_number(segment->from_us));
        spw_json_put(json, part, "to_us", spw_json_number(segment->to_us));
        spw_json_put(json, part, "gain", spw_json_number(segment->gain));
        spw_json_put(json, part, "offset_us", spw_json_number(segment->offset_us));
        spw_json_add(json, segments, part);
    }
    spw_json_put(json, object, "segments", segments);
    return object;
}

static json_t *ticks(spw_json *json, uint32_t low, uint32_t high) {
    json_t *object = json_object();
    spw_json_put(json, object, "low", spw_json_count(low));
    spw_json_put(json, object, "high", spw_json_count(high));
    return object;
}

static json_t *fixed_segments(spw_json *json, const spw_fixed_point *fixed) {
    json_t *array = json_array();
    for (size_t i = 0; i < fixed->segments; i++) {
        const spw_fixed_segment *segment = &fixed->segment[i];
        json_t *part = json_object();
        spw_json_put(json, part, "from_ticks", spw_json_count(segment->from_ticks));
        spw_json_put(json, part, "to_ticks", spw_json_count(segment->to_ticks));
        spw_json_put(json, part, "multiplier", json_integer(segment->multiplier));
        spw_json_put(json, part, "shift", spw_json_count(segment->shift));
        spw_json_put(json, part, "addend", json_integer(segment->addend));
        if (segment->out_less != 0)
            spw_json_put(json, part, "out_less_ticks", spw_json_count(segment->out_less));
        if (segment->by_bytes)
            spw_json_put(json, part, "by_bytes", json_true());
        if (segment->in_offset != 0 || segment->out_offset != 0 || segment->whole != 0) {
            /* words of 16 bits only */
            spw_json_put(json, part, "in_offset_ticks", spw_json_count(segment->in_offset));
            spw_json_put(json, part, "out_offset_ticks", spw_json_count(segment->out_offset));
            spw_json_put(json, part, "whole", json_integer(segment->whole));
        }
        spw_json_add(json, array, part);
    }
    return array;
}

/* What was told of the adapter: verify reads it back. */
static json_t *adapter(spw_json *json, const spw_adapter_facts *facts) {
    json_t *object = json_object();
    spw_json_put(json, object, "tick_us", spw_json_number(facts->tick_us));
    spw_json_put(json, object, "word_bits", spw_json_count(facts->word_bits));
    spw_json_put(json, object, "gap_us", spw_json_number(facts->gap_us));
    spw_json_put(json, object, "clock_ppm", spw_json_number(facts->clock_ppm));
    return object;
}

static json_t *fixed_point(spw_json *json, const spw_plan *plan) {
    const spw_fixed_point *fixed = &plan->fixed_point;
    if (!plan->has_remap || !fixed->known)
        return json_null();
    json_t *object = json_object();
    spw_json_put(json, object, "tick_us", spw_json_number(fixed->tick_us));
    spw_json_put(json, object, "word_bits", spw_json_count(fixed->word_bits));
    spw_json_put(json, object, "clamp_in_ticks",
                 ticks(json, fixed->clamp_in_low, fixed->clamp_in_high));
    spw_json_put(json, object, "segments", fixed_segments(json, fixed));
    spw_json_put(json, object, "clamp_out_ticks",
                 ticks(json, fixed->clamp_out_low, fixed->clamp_out_high));
    spw_json_put(json, object, "worst_error_ticks", spw_json_number(fixed->worst_error_ticks));
    spw_json_put(json, object, "worst_error_us", spw_json_number(fixed->worst_error_us));
    spw_json_put(json, object, "inputs_checked", spw_json_count(fixed->inputs_checked));
    spw_json_put(json, object, "widest_product_bits", spw_json_count(fixed->widest_product_bits));
    return object;
}

static json_t *motion(spw_json *json, const spw_motion_deg *deg) {
    json_t *object = json_object();
    spw_json_put(json, object, "travel", spw_json_number(deg->travel));
    spw_json_put(json, object, "jitter", spw_json_number(deg->jitter));
    spw_json_put(json, object, "step", spw_json_number(deg->step));
    return object;
}

static json_t *latency(spw_json *json, const spw_effect *effect) {
    json_t *object = json_object();
    spw_json_put(json, object, "typical", spw_json_number(effect->latency_typical_ms));
    spw_json_put(json, object, "worst", spw_json_number(effect->latency_worst_ms));
    return object;
}

static json_t *effect_object(spw_json *json, const spw_effect *effect) {
    json_t *object = json_object();
    spw_json_put(json, object, "low_us", spw_json_number(effect->low_us));
    spw_json_put(json, object, "low_U95_us", spw_json_number(effect->low_U95_us));
    spw_json_put(json, object, "high_us", spw_json_number(effect->high_us));
    spw_json_put(json, object, "high_U95_us", spw_json_number(effect->high_U95_us));
    spw_json_put(json, object, "neutral_us", spw_json_number(effect->neutral_us));
    spw_json_put(json, object, "jitter_rms_us",
                 spw_json_range(json, effect->jitter_low_us, effect->jitter_high_us));
    spw_json_put(json, object, "step_us", spw_json_number(effect->step_us));
    spw_json_put(json, object, "positions", spw_json_number(effect->positions));
    spw_json_put(json, object, "hunt_probability", spw_json_number(effect->hunt_probability));
    spw_json_put(json, object, "hunt_probability_range",
                 spw_json_range(json, effect->hunt_low, effect->hunt_high));
    spw_json_put(json, object, "hunts",
                 effect->hunts < 0 ? json_null() : json_boolean(effect->hunts > 0));
    spw_json_put(json, object, "servo_deg", motion(json, &effect->servo));
    spw_json_put(json, object, "joint_deg", motion(json, &effect->joint));
    spw_json_put(json, object, "creep_rpm", spw_json_number(effect->creep_rpm));
    spw_json_put(json, object, "shortest_gap_us", spw_json_number(effect->shortest_gap_us));
    spw_json_put(json, object, "latency_ms", latency(json, effect));
    return object;
}

static json_t *reached(spw_reached value) {
    switch (value) {
    case SPW_REACHED_YES:
        return json_string("yes");
    case SPW_REACHED_NO:
        return json_string("no");
    case SPW_REACHED_UNDECIDED:
        return json_string("undecided");
    case SPW_REACHED_UNKNOWN:
        break;
    }
    return json_null();
}

static json_t *joint(spw_json *json, const spw_joint_verdict *verdict) {
    if (!verdict->known)
        return json_null();
    json_t *object = json_object();
    spw_json_put(json, object, "needed_deg", spw_json_number(verdict->needed_deg));
    spw_json_put(json, object, "reached_before", reached(verdict->before));
    spw_json_put(json, object, "reached_after", reached(verdict->after));
    spw_json_put(json, object, "reduction_that_would_do",
                 spw_json_number(verdict->reduction_that_would_do));
    spw_json_put(json, object, "beyond_allowed", json_boolean(verdict->beyond_allowed));
    return object;
}

static json_t *measured_from(spw_json *json, const spw_plan_source *sources, size_t n) {
    json_t *array = json_array();
    for (size_t i = 0; i < n; i++) {
        const spw_capture *capture = sources[i].capture;
        json_t *object = json_object();
        spw_json_put(json, object, "file", spw_json_text(capture->file));
        spw_json_put(json, object, "digest_sha256", spw_json_text(sources[i].digest));
        spw_json_put(json, object, "channel", spw_json_text(sources[i].channel->name));
        spw_json_put(json, object, "timebase_ppm", spw_json_number(capture->timebase_ppm));
        spw_json_put(json, object, "truncated", json_boolean(capture->summary.truncated));
        const spw_notes *of_file = &capture->summary.warnings;
        json_t *warnings = spw_json_strings(json, of_file->text, of_file->n);
        const spw_notes *of_channel = &sources[i].channel->warnings;
        for (size_t k = 0; k < of_channel->n; k++)
            spw_json_add(json, warnings, spw_json_text(of_channel->text[k]));
        spw_json_put(json, object, "warnings", warnings);
        spw_json_add(json, array, object);
    }
    return array;
}

spw_status spw_report_plan_json(const spw_plan *plan, const spw_plan_source *sources, size_t n,
                                spw_text *out) {
    spw_json json = {false};
    json_t *root = json_object();
    spw_json_put(&json, root, "schema", json_string("spanwright.plan/1"));
    spw_json_put(&json, root, "tool", spw_json_tool(&json));
    spw_json_put(&json, root, "captures", measured_from(&json, sources, n));
    spw_json_put(&json, root, "controller_us", controller(&json, &plan->span));
    spw_json_put(&json, root, "servo", servo(&json, &plan->servo));
    spw_json_put(&json, root, "ends", ends(&json, plan));
    spw_json_put(&json, root, "ends_us", ends_detail(&json, plan));
    spw_json_put(&json, root, "allowed_us",
                 spw_json_range(&json, plan->allowed_low_us, plan->allowed_high_us));
    spw_json_put(&json, root, "beyond_by",
                 plan->bound_by == SPW_BOUND_BY_NONE
                     ? json_null()
                     : json_string(spw_bound_by_name(plan->bound_by)));
    spw_json_put(&json, root, "range_covered_percent",
                 spw_json_number(plan->range_covered_percent));
    spw_json_put(&json, root, "clock", clock_check(&json, &plan->clock));
    spw_json_put(&json, root, "decision", json_string(spw_decision_name(plan->decision)));
    spw_json_put(&json, root, "advice", advice(&json, plan));
    spw_json_put(&json, root, "adapter", adapter(&json, &plan->adapter));
    spw_json_put(&json, root, "remap", remap(&json, plan));
    spw_json_put(&json, root, "fixed_point", fixed_point(&json, plan));
    spw_json_put(&json, root, "before", effect_object(&json, &plan->before));
    spw_json_put(&json, root, "after",
                 plan->has_after ? effect_object(&json, &plan->after) : json_null());
    spw_json_put(&json, root, "joint", joint(&json, &plan->joint));
    spw_json_put(&json, root, "cautions", spw_json_strings(&json, plan->caution, plan->cautions));
    spw_json_put(&json, root, "recipe", spw_json_strings(&json, plan->recipe, plan->recipes));
    return spw_json_finish(&json, root, out);
}
