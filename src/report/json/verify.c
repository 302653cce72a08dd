/* spanwright.verify/1. */
#include "spanwright/report.h"

#include "report/json/write.h"

#include <math.h>

static json_t *verdict(int pass) {
    return pass < 0 ? json_null() : json_boolean(pass);
}

static json_t *line(spw_json *json, const spw_verification *v) {
    json_t *object = json_object();
    spw_json_put(json, object, "gain", spw_json_number(v->gain));
    spw_json_put(json, object, "u_gain", spw_json_number(v->u_gain));
    spw_json_put(json, object, "offset_us", spw_json_number(v->offset_us));
    spw_json_put(json, object, "u_offset_us", spw_json_number(v->u_offset_us));
    spw_json_put(json, object, "correlation", spw_json_number(v->correlation));
    spw_json_put(json, object, "dof", spw_json_number(v->dof));
    return object;
}

static json_t *residual(spw_json *json, const spw_verification *v) {
    json_t *object = json_object();
    spw_json_put(json, object, "rms", spw_json_number(v->residual_rms_us));
    spw_json_put(json, object, "largest", spw_json_number(v->residual_largest_us));
    spw_json_put(json, object, "largest_at_us", spw_json_number(v->residual_largest_at_us));
    return object;
}

static json_t *planned(spw_json *json, const spw_planned *plan) {
    if (!plan->known)
        return json_null();
    json_t *object = json_object();
    spw_json_put(json, object, "gain", spw_json_number(plan->remap.gain));
    spw_json_put(json, object, "offset_us", spw_json_number(plan->remap.offset_us));
    spw_json_put(json, object, "tolerance_us", spw_json_number(plan->tolerance_us));
    spw_json_put(json, object, "clamp_us",
                 spw_json_range(json, plan->remap.clamp_low_us, plan->remap.clamp_high_us));
    return object;
}

static json_t *checks(spw_json *json, const spw_verification *v) {
    json_t *array = json_array();
    for (size_t k = 0; k < v->checks; k++) {
        const spw_check *check = &v->check[k];
        json_t *object = json_object();
        spw_json_put(json, object, "name", json_string(check->name));
        spw_json_put(json, object, "value", spw_json_number(check->value));
        spw_json_put(json, object, "limit", spw_json_number(check->limit));
        spw_json_put(json, object, "pass", verdict(check->pass));
        spw_json_put(json, object, "why", spw_json_text(check->why));
        spw_json_add(json, array, object);
    }
    return array;
}

#define PLACES 256 /* of the input range, two points each */

static double departure(const spw_verification *v, const spw_pair *pair) {
    return v->planned.known ? pair->out_us - spw_remap_apply(&v->planned.remap, pair->in_us)
                            : pair->out_us - v->gain * pair->in_us - v->offset_us;
}

/* Of the inputs that fall into one place: the lowest and the highest departure, so that no
 * outlier is lost however many pairs there are. */
typedef struct place {
    const spw_pair *low, *high;
} place;

static void add_pair(const spw_verification *v, const spw_pair *pair, place *at) {
    if (at->low == NULL || departure(v, pair) < departure(v, at->low))
        at->low = pair;
    if (at->high == NULL || departure(v, pair) > departure(v, at->high))
        at->high = pair;
}

static void add_point(spw_json *json, json_t *array, const spw_pair *pair) {
    json_t *object = json_object();
    spw_json_put(json, object, "in_us", spw_json_number(pair->in_us));
    spw_json_put(json, object, "out_us", spw_json_number(pair->out_us));
    spw_json_put(json, object, "clamped", json_boolean(pair->clamped));
    spw_json_add(json, array, object);
}

/* Pairs to draw, by input; pairs while the input moved are left out. */
static json_t *points(spw_json *json, const spw_verification *v) {
    json_t *array = json_array();
    place at[PLACES] = {{NULL, NULL}};
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < v->pairs; i++) {
        low = fmin(low, v->pair[i].in_us);
        high = fmax(high, v->pair[i].in_us);
    }
    double width = fmax(high - low, 1e-9);
    for (size_t i = 0; i < v->pairs; i++) {
        double share = (v->pair[i].in_us - low) / width;
        if (!v->pair[i].moving && share >= 0.0 && share <= 1.0)
            add_pair(v, &v->pair[i], &at[(size_t)(share * (double)(PLACES - 1))]);
    }
    for (size_t k = 0; k < PLACES; k++) {
        if (at[k].low == NULL)
            continue;
        add_point(json, array, at[k].low);
        if (at[k].high != at[k].low)
            add_point(json, array, at[k].high);
    }
    return array;
}

spw_status spw_report_verify_json(const spw_verification *v, spw_text *out) {
    spw_json json = {0};
    json_t *root = json_object();
    bool clamps = isfinite(v->clamp_low_us) || isfinite(v->clamp_high_us);
    spw_json_put(&json, root, "schema", json_string("spanwright.verify/1"));
    spw_json_put(&json, root, "tool", spw_json_tool(&json));
    spw_json_put(&json, root, "method", json_string(spw_verify_method_name(v->method)));
    spw_json_put(&json, root, "pairs", spw_json_count(v->pairs));
    spw_json_put(&json, root, "unpaired_before", spw_json_count(v->unpaired_before));
    spw_json_put(&json, root, "unpaired_after", spw_json_count(v->unpaired_after));
    spw_json_put(&json, root, "latency_ms",
                 v->latency_ms.n > 0 ? spw_json_summary(&json, &v->latency_ms) : json_null());
    spw_json_put(&json, root, "line", line(&json, v));
    spw_json_put(&json, root, "residual_us", residual(&json, v));
    spw_json_put(&json, root, "clamp_us",
                 clamps ? spw_json_range(&json, v->clamp_low_us, v->clamp_high_us) : json_null());
    spw_json_put(&json, root, "jitter_gain", spw_json_number(v->jitter_gain));
    spw_json_put(&json, root, "planned", planned(&json, &v->planned));
    spw_json_put(&json, root, "exchanged", json_boolean(v->exchanged));
    spw_json_put(&json, root, "checks", checks(&json, v));
    spw_json_put(&json, root, "points", points(&json, v));
    spw_json_put(&json, root, "pass", verdict(v->pass));
    return spw_json_finish(&json, root, out);
}
