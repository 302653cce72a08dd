/* A plan read back from the file that `plan --json` wrote. */
#include "spanwright/report.h"

#include "report/json/file.h"

#include <math.h>
#include <string.h>

/* Larger files are no plans. */
#define PLAN_MIB_MAX 4
/* The bench file's largest. */
#define CLOCK_PPM_MAX 1e5

typedef struct reader {
    spw_error *error;
    spw_status status;
} reader;

static void refuse(reader *r, const char *field, const char *wanted) {
    if (r->status == SPW_OK)
        r->status = spw_error_set(r->error, SPW_ERR_FORMAT,
                                  "no plan that can be used: \"%s\" should be %s; write it anew "
                                  "with spanwright plan --json -o FILE",
                                  field, wanted);
}

static double number(reader *r, const json_t *object, const char *field) {
    const json_t *value = json_object_get(object, field);
    if (!json_is_number(value) || !isfinite(json_number_value(value))) {
        refuse(r, field, "a number");
        return NAN;
    }
    return json_number_value(value);
}

static double number_or_none(const json_t *object, const char *field) {
    const json_t *value = json_object_get(object, field);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static void read_segments(reader *r, const json_t *remap, spw_remap *map) {
    const json_t *array = json_object_get(remap, "segments");
    size_t n = json_array_size(array);
    if (n < 1 || n > 2) {
        refuse(r, "segments", "a list of one or two");
        return;
    }
    for (size_t k = 0; k < n; k++) {
        const json_t *part = json_array_get(array, k);
        map->segment[k] = (spw_segment){.from_us = number(r, part, "from_us"),
                                        .to_us = number(r, part, "to_us"),
                                        .gain = number(r, part, "gain"),
                                        .offset_us = number(r, part, "offset_us")};
        if (r->status == SPW_OK && !(map->segment[k].from_us < map->segment[k].to_us))
            refuse(r, "to_us", "above from_us");
    }
    map->segments = n;
}

/* Added to the schema later: a plan without it knows its tick from the integers. */
static void read_adapter(reader *r, const json_t *adapter, spw_planned *planned) {
    if (!json_is_object(adapter))
        return;
    planned->tick_us = number(r, adapter, "tick_us");
    planned->gap_us = number(r, adapter, "gap_us");
    planned->clock_ppm = number(r, adapter, "clock_ppm");
    if (r->status == SPW_OK && !(planned->clock_ppm >= 0 && planned->clock_ppm <= CLOCK_PPM_MAX))
        refuse(r, "clock_ppm", "from 0 to 100000");
}

static void read_plan(reader *r, const json_t *root, spw_planned *planned) {
    const char *schema = json_string_value(json_object_get(root, "schema"));
    if (schema == NULL || strcmp(schema, "spanwright.plan/1") != 0) {
        refuse(r, "schema", "spanwright.plan/1");
        return;
    }
    const json_t *remap = json_object_get(root, "remap");
    if (!json_is_object(remap)) {
        r->status = spw_error_set(r->error, SPW_ERR_EMPTY,
                                  "the plan has no remap: it decided without an adapter");
        return;
    }
    const char *kind = json_string_value(json_object_get(remap, "kind"));
    const json_t *clamp = json_object_get(remap, "clamp_us");
    spw_remap map = {.kind = kind != NULL && strcmp(kind, "bent") == 0 ? SPW_REMAP_BENT
                                                                       : SPW_REMAP_STRAIGHT,
                     .gain = number(r, remap, "gain"),
                     .offset_us = number(r, remap, "offset_us"),
                     .clamp_low_us = number(r, clamp, "low"),
                     .clamp_high_us = number(r, clamp, "high"),
                     .neutral_in_us = number_or_none(remap, "neutral_in_us"),
                     .neutral_out_us = number_or_none(remap, "neutral_out_us"),
                     .neutral_error_us = number_or_none(remap, "neutral_error_us")};
    read_segments(r, remap, &map);
    if (r->status == SPW_OK && !(map.clamp_low_us < map.clamp_high_us))
        refuse(r, "clamp_us", "low below high");
    *planned = (spw_planned){
        .known = true,
        .remap = map,
        .tolerance_us = number(r, json_object_get(root, "servo"), "tolerance_us"),
        .tick_us = number_or_none(json_object_get(root, "fixed_point"), "tick_us"),
        .gap_us = NAN,
    };
    read_adapter(r, json_object_get(root, "adapter"), planned);
    double tick_us = planned->tick_us;
    if (r->status == SPW_OK && !isnan(tick_us) &&
        !(tick_us >= SPW_TICK_US_MIN && tick_us <= SPW_TICK_US_MAX))
        refuse(r, "tick_us", "a tick that a bench file can have");
}

spw_status spw_planned_read(const char *path, spw_planned *planned, spw_error *error) {
    json_t *root = NULL;
    spw_status status = spw_json_file(path, "plan", "plan", PLAN_MIB_MAX, &root, error);
    if (status != SPW_OK)
        return status;
    reader r = {.error = error, .status = SPW_OK};
    spw_planned found = spw_planned_none();
    read_plan(&r, root, &found);
    if (r.status == SPW_OK)
        *planned = found;
    json_decref(root);
    return r.status;
}
