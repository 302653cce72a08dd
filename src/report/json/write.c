/* Building JSON with jansson. */
#include "report/json/write.h"

#include "base/plain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DIGITS 15 /* every decimal of 15 digits survives a double */

void spw_json_put(spw_json *json, json_t *object, const char *key, json_t *value) {
    if (json_object_set_new(object, key, value) != 0)
        json->failed = true;
}

void spw_json_add(spw_json *json, json_t *array, json_t *value) {
    if (json_array_append_new(array, value) != 0)
        json->failed = true;
}

json_t *spw_json_number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

json_t *spw_json_count(uint64_t value) {
    return json_integer(value > INT64_MAX ? INT64_MAX : (json_int_t)value);
}

json_t *spw_json_text(const char *text) {
    if (text == NULL)
        return json_null();
    size_t length = strlen(text), room = 4 * length + 1; /* at worst \xNN a byte */
    char small[512];
    if (room <= sizeof small)
        return json_string(spw_text_safe(small, sizeof small, text, length));
    char *large = malloc(room);
    json_t *value = large == NULL ? NULL : json_string(spw_text_safe(large, room, text, length));
    free(large);
    return value;
}

json_t *spw_json_summary(spw_json *json, const spw_summary *summary) {
    spw_summary s = summary->n > 0 ? *summary : spw_summary_none();
    json_t *object = json_object();
    spw_json_put(json, object, "n", spw_json_count(s.n));
    spw_json_put(json, object, "mean", spw_json_number(s.mean));
    spw_json_put(json, object, "sd", spw_json_number(s.sd));
    spw_json_put(json, object, "min", spw_json_number(s.min));
    spw_json_put(json, object, "max", spw_json_number(s.max));
    spw_json_put(json, object, "median", spw_json_number(s.median));
    spw_json_put(json, object, "p05", spw_json_number(s.p05));
    spw_json_put(json, object, "p95", spw_json_number(s.p95));
    spw_json_put(json, object, "u", spw_json_number(s.u));
    spw_json_put(json, object, "U95", spw_json_number(s.U95));
    spw_json_put(json, object, "floor", spw_json_number(s.floor));
    return object;
}

json_t *spw_json_range(spw_json *json, double low, double high) {
    json_t *object = json_object();
    spw_json_put(json, object, "low", spw_json_number(low));
    spw_json_put(json, object, "high", spw_json_number(high));
    return object;
}

static void add_kinds(spw_json *json, json_t *array, const spw_doubt *doubt) {
    for (uint32_t kind = 1; kind != 0 && kind <= doubt->what; kind <<= 1) {
        if ((doubt->what & kind) == 0)
            continue;
        json_t *object = json_object();
        spw_json_put(json, object, "what", json_string(spw_doubt_name(kind)));
        spw_json_put(json, object, "from_s", spw_json_number(doubt->from_s));
        spw_json_put(json, object, "to_s", spw_json_number(doubt->to_s));
        spw_json_put(json, object, "bound_us", spw_json_number(doubt->bound_us));
        spw_json_add(json, array, object);
    }
}

json_t *spw_json_doubt(spw_json *json, const spw_doubt *doubt) {
    if (doubt->what == 0)
        return json_null();
    json_t *array = json_array();
    add_kinds(json, array, doubt);
    return array;
}

json_t *spw_json_doubts(spw_json *json, const spw_doubt *doubts, size_t n) {
    if (n == 0)
        return json_null();
    json_t *array = json_array();
    for (size_t i = 0; i < n; i++)
        add_kinds(json, array, &doubts[i]);
    return array;
}

json_t *spw_json_strings(spw_json *json, char *const *strings, size_t n) {
    json_t *array = json_array();
    for (size_t i = 0; i < n; i++)
        spw_json_add(json, array, spw_json_text(strings[i]));
    return array;
}

json_t *spw_json_tool(spw_json *json) {
    json_t *object = json_object();
    spw_json_put(json, object, "name", json_string("spanwright"));
    spw_json_put(json, object, "version", json_string(SPW_VERSION));
    return object;
}

static int append(const char *bytes, size_t length, void *context) {
    spw_text *out = context;
    spw_text_append(out, bytes, length);
    return out->failed ? -1 : 0;
}

/* jansson puts right a decimal mark of one byte only, and some locales have longer ones. */
static bool dump(const json_t *root, spw_text *out) {
    spw_plain plain;
    if (!spw_plain_begin(&plain))
        return false;
    int result =
        json_dump_callback(root, append, out, JSON_INDENT(2) | JSON_REAL_PRECISION(DIGITS));
    spw_plain_end(&plain);
    return result == 0;
}

spw_status spw_json_finish(spw_json *json, json_t *root, spw_text *out) {
    if (root == NULL || json->failed || !dump(root, out))
        json->failed = true;
    json_decref(root);
    spw_text_puts(out, "\n");
    return json->failed ? SPW_ERR_MEMORY : spw_text_status(out);
}
