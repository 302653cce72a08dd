/* Building JSON with jansson: a failed allocation is noted once and told at
 * the end; a figure that is not finite becomes null; text is made safe. */
#ifndef SPW_REPORT_JSON_WRITE_H
#define SPW_REPORT_JSON_WRITE_H

#include "spanwright/edges.h"
#include "spanwright/stats.h"

#include <jansson.h>

typedef struct spw_json {
    bool failed;
} spw_json;

/* Both take over `value`. */
void spw_json_put(spw_json *json, json_t *object, const char *key, json_t *value);
void spw_json_add(spw_json *json, json_t *array, json_t *value);

json_t *spw_json_number(double value);   /* null unless finite */
json_t *spw_json_count(uint64_t value);  /* a whole number */
json_t *spw_json_text(const char *text); /* made safe; NULL gives null */
json_t *spw_json_summary(spw_json *json, const spw_summary *summary);
json_t *spw_json_range(spw_json *json, double low, double high); /* {"low", "high"} */
/* null without doubt; else a list of {"what", "from_s", "to_s", "bound_us"}, one a kind. */
json_t *spw_json_doubt(spw_json *json, const spw_doubt *doubt);
json_t *spw_json_doubts(spw_json *json, const spw_doubt *doubts, size_t n);
json_t *spw_json_strings(spw_json *json, char *const *strings, size_t n);
json_t *spw_json_tool(spw_json *json); /* {"name", "version"} */

/* Appends the document and a line end; frees `root`. */
spw_status spw_json_finish(spw_json *json, json_t *root, spw_text *out) SPW_CHECKED;

#endif
