/* Reading back what measure and verify wrote as JSON. */
#include "report/json/json.h"

#include "base/array.h"
#include "report/json/file.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define JSON_MIB_MAX 64
#define MOST_CHECKS 32
#define MOST_POINTS 4096

typedef struct reader {
    spw_error *error;
    const char *maker; /* the subcommand that writes such a file */
    spw_status status;
} reader;

static void refuse(reader *r, const char *field, const char *wanted) {
    if (r->status == SPW_OK)
        r->status = spw_error_set(r->error, SPW_ERR_FORMAT,
                                  "\"%s\" should be %s; write the file anew with spanwright %s "
                                  "--json -o FILE",
                                  field, wanted, r->maker);
}

/* null is a number that is not known. */
static double number(reader *r, const json_t *object, const char *field) {
    const json_t *value = json_object_get(object, field);
    if (json_is_null(value))
        return NAN;
    if (!json_is_number(value)) {
        refuse(r, field, "a number or null");
        return NAN;
    }
    return json_number_value(value);
}

static const json_t *member(reader *r, const json_t *object, const char *field) {
    const json_t *value = json_object_get(object, field);
    if (!json_is_object(value))
        refuse(r, field, "an object");
    return value;
}

static const char *text(reader *r, const json_t *object, const char *field) {
    const char *value = json_string_value(json_object_get(object, field));
    if (value == NULL)
        refuse(r, field, "a text");
    return value != NULL ? value : "";
}

static char *copy(reader *r, const char *value) {
    char *made = spw_duplicate(value, strlen(value));
    if (made == NULL && r->status == SPW_OK)
        r->status = spw_error_set(r->error, SPW_ERR_MEMORY, "out of memory");
    return made;
}

/* true, false or null */
static int verdict(reader *r, const json_t *object, const char *field) {
    const json_t *value = json_object_get(object, field);
    if (!json_is_boolean(value) && !json_is_null(value))
        refuse(r, field, "true, false or null");
    return json_is_true(value) ? 1 : json_is_false(value) ? 0 : -1;
}

static spw_status load(const char *path, reader *r, const char *schema, json_t **root) {
    *root = NULL;
    spw_status status = spw_json_file(path, r->maker, "such answer", JSON_MIB_MAX, root, r->error);
    if (status == SPW_OK && strcmp(text(r, *root, "schema"), schema) != 0)
        refuse(r, "schema", schema);
    return status == SPW_OK ? r->status : status;
}

static bool is_pulses(const json_t *channel) {
    const char *signal = json_string_value(json_object_get(channel, "signal"));
    return signal != NULL && strcmp(signal, "control_pulses") == 0;
}

/* The channel of the same name, else the only one with control pulses. */
static const json_t *find_channel(reader *r, const json_t *root, const char *name,
                                  const json_t **of) {
    const json_t *captures = json_object_get(root, "captures"), *only = NULL, *only_of = NULL;
    char safe[1024]; /* names in the file were made safe */
    size_t found = 0;
    spw_text_safe(safe, sizeof safe, name, strlen(name));
    if (!json_is_array(captures))
        refuse(r, "captures", "a list");
    for (size_t i = 0; i < json_array_size(captures); i++) {
        const json_t *capture = json_array_get(captures, i),
                     *channels = json_object_get(capture, "channels");
        for (size_t k = 0; k < json_array_size(channels); k++) {
            const json_t *channel = json_array_get(channels, k);
            const char *called = json_string_value(json_object_get(channel, "name"));
            if (!is_pulses(channel))
                continue;
            *of = only_of = capture;
            if (called != NULL && strcmp(called, safe) == 0)
                return channel;
            only = channel;
            found++;
        }
    }
    if (found == 1) {
        *of = only_of;
        return only;
    }
    if (r->status == SPW_OK)
        r->status = spw_error_set(r->error, SPW_ERR_FORMAT,
                                  "no channel %.200s in it, and %s channel with control pulses to "
                                  "take instead: measure the earlier capture with --channel",
                                  safe, found == 0 ? "no" : "more than one");
    return NULL;
}

/* The U95 of a level with what its doubts add; INFINITY where one is not known. Files of before
 * there were doubts have none. */
static double with_doubt(double U95, const json_t *doubts) {
    double worst = 0;
    for (size_t i = 0; i < json_array_size(doubts); i++) {
        const json_t *bound = json_object_get(json_array_get(doubts, i), "bound_us");
        worst = fmax(worst, json_is_number(bound) ? json_number_value(bound) : INFINITY);
    }
    return U95 + worst;
}

static void read_earlier(reader *r, const json_t *root, const char *name, spw_earlier *e) {
    const json_t *capture = NULL, *channel = find_channel(r, root, name, &capture);
    if (channel == NULL)
        return;
    const json_t *period = member(r, channel, "period_us"),
                 *span = json_object_get(channel, "span_us");
    e->period_us = number(r, period, "mean");
    e->period_U95 = number(r, period, "U95");
    e->low_us = e->low_U95 = e->high_us = e->high_U95 = e->neutral_us = e->neutral_U95 = NAN;
    if (json_is_object(span)) {
        e->low_us = number(r, span, "low");
        e->low_U95 = number(r, span, "low_U95");
        e->high_us = number(r, span, "high");
        e->high_U95 = number(r, span, "high_U95");
        e->neutral_us = number(r, span, "neutral");
        e->neutral_U95 = json_object_get(span, "neutral_U95") != NULL
                             ? number(r, span, "neutral_U95")
                             : (double)NAN;
        e->low_U95 = with_doubt(e->low_U95, json_object_get(span, "low_doubt"));
        e->high_U95 = with_doubt(e->high_U95, json_object_get(span, "high_doubt"));
        e->neutral_U95 = with_doubt(e->neutral_U95, json_object_get(span, "neutral_doubt"));
    } else if (!json_is_null(span)) {
        refuse(r, "span_us", "an object or null");
    }
    e->file = copy(r, text(r, capture, "file"));
    e->channel = copy(r, text(r, channel, "name"));
    e->known = r->status == SPW_OK;
}

spw_status spw_earlier_read(const char *path, const char *name, spw_earlier *earlier,
                            spw_error *error) {
    reader r = {error, "measure", SPW_OK};
    json_t *root = NULL;
    spw_status status = load(path, &r, "spanwright.measure/1", &root);
    if (status == SPW_OK) {
        read_earlier(&r, root, name, earlier);
        status = r.status;
    }
    json_decref(root);
    return status;
}

void spw_earlier_free(spw_earlier *earlier) {
    free(earlier->file);
    free(earlier->channel);
    *earlier = (spw_earlier){0};
}

static void read_checks(reader *r, const json_t *root, spw_verified *v) {
    const json_t *array = json_object_get(root, "checks");
    size_t n = json_array_size(array);
    if (!json_is_array(array) || n > MOST_CHECKS) {
        refuse(r, "checks", "a list of at most 32");
        return;
    }
    v->check = calloc(n + 1, sizeof *v->check);
    if (v->check == NULL) {
        r->status = spw_error_set(r->error, SPW_ERR_MEMORY, "out of memory");
        return;
    }
    for (size_t i = 0; i < n && r->status == SPW_OK; i++) {
        const json_t *check = json_array_get(array, i);
        v->check[i].name = copy(r, text(r, check, "name"));
        v->check[i].why = copy(r, text(r, check, "why"));
        v->check[i].pass = verdict(r, check, "pass");
        v->checks = i + 1;
    }
}

/* Added to the schema later: a file without them has none. */
static void read_points(reader *r, const json_t *root, spw_verified *v) {
    const json_t *array = json_object_get(root, "points");
    size_t n = json_array_size(array);
    if (array == NULL)
        return;
    if (!json_is_array(array) || n > MOST_POINTS) {
        refuse(r, "points", "a list of at most 4096");
        return;
    }
    v->point = calloc(n + 1, sizeof *v->point);
    if (v->point == NULL) {
        r->status = spw_error_set(r->error, SPW_ERR_MEMORY, "out of memory");
        return;
    }
    for (size_t i = 0; i < n && r->status == SPW_OK; i++) {
        const json_t *point = json_array_get(array, i);
        double in = number(r, point, "in_us"), out = number(r, point, "out_us");
        if (isfinite(in) && isfinite(out))
            v->point[v->points++] =
                (spw_verified_point){in, out, json_is_true(json_object_get(point, "clamped"))};
    }
}

static void read_verified(reader *r, const json_t *root, spw_verified *v) {
    const json_t *line = member(r, root, "line"), *latency = json_object_get(root, "latency_ms");
    double pairs = number(r, root, "pairs");
    v->pass = verdict(r, root, "pass");
    v->gain = number(r, line, "gain");
    v->u_gain = number(r, line, "u_gain");
    v->offset_us = number(r, line, "offset_us");
    v->u_offset_us = number(r, line, "u_offset_us");
    const json_t *dof = json_object_get(line, "dof"); /* null: as many as can be */
    v->dof = json_is_number(dof) && json_number_value(dof) > 0 ? json_number_value(dof) : INFINITY;
    v->exchanged = json_is_true(json_object_get(root, "exchanged"));
    v->latency_ms = v->latency_max_ms = NAN;
    if (json_is_object(latency)) {
        v->latency_ms = number(r, latency, "mean");
        v->latency_max_ms = number(r, latency, "max");
    }
    if (!(pairs >= 0.0 && pairs < 1e12))
        refuse(r, "pairs", "a number of pairs");
    v->pairs = r->status == SPW_OK ? (size_t)pairs : 0;
    read_checks(r, root, v);
    if (r->status == SPW_OK)
        read_points(r, root, v);
    v->known = r->status == SPW_OK;
}

spw_status spw_verified_read(const char *path, spw_verified *verified, spw_error *error) {
    reader r = {error, "verify", SPW_OK};
    json_t *root = NULL;
    spw_status status = load(path, &r, "spanwright.verify/1", &root);
    if (status == SPW_OK) {
        read_verified(&r, root, verified);
        status = r.status;
    }
    json_decref(root);
    return status;
}

void spw_verified_free(spw_verified *verified) {
    for (size_t i = 0; i < verified->checks; i++) {
        free(verified->check[i].name);
        free(verified->check[i].why);
    }
    free(verified->check);
    free(verified->point);
    *verified = (spw_verified){0};
}
