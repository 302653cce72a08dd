/* What odd pulses there were, and where the width moved. */
#include "report/json/motion.h"

#include <math.h>

json_t *spw_json_odd(spw_json *json, const spw_odd *odd) {
    if (odd->pulses == 0)
        return json_null();
    json_t *object = json_object();
    spw_json_put(json, object, "pulses", spw_json_count(odd->pulses));
    spw_json_put(json, object, "places", spw_json_count(odd->runs));
    spw_json_put(json, object, "longest_run", spw_json_count(odd->longest_run));
    spw_json_put(json, object, "first_s", spw_json_number(odd->first_s));
    spw_json_put(json, object, "last_s", spw_json_number(odd->last_s));
    spw_json_put(json, object, "every_s", spw_json_number(odd->every_s));
    spw_json_put(json, object, "evenly", json_boolean(odd->even));
    spw_json_put(json, object, "width_us", spw_json_range(json, odd->least_us, odd->most_us));
    spw_json_put(json, object, "farthest_us", spw_json_number(odd->width_us));
    spw_json_put(json, object, "instead_of_us", spw_json_number(odd->instead_of_us));
    spw_json_put(json, object, "jitter_without_us", spw_json_number(odd->sd_us));
    spw_json_put(json, object, "jitter_with_us", spw_json_number(odd->sd_with_us));
    return object;
}

json_t *spw_json_moves(spw_json *json, const spw_channel *channel) {
    json_t *array = json_array();
    for (size_t i = 0; i < channel->moves; i++) {
        const spw_move *move = &channel->move[i];
        json_t *object = json_object();
        spw_json_put(json, object, "start_s", spw_json_number(move->start_s));
        spw_json_put(json, object, "end_s", spw_json_number(move->end_s));
        spw_json_put(json, object, "pulses", spw_json_count(move->pulses));
        spw_json_put(json, object, "from_us", spw_json_number(move->from_us));
        spw_json_put(json, object, "to_us", spw_json_number(move->to_us));
        spw_json_put(json, object, "slope_us_per_s", spw_json_number(move->slope_us_per_s));
        spw_json_put(json, object, "u_slope_us_per_s", spw_json_number(move->u_slope_us_per_s));
        spw_json_put(json, object, "sd_us", spw_json_number(move->sd_us));
        spw_json_add(json, array, object);
    }
    return array;
}
