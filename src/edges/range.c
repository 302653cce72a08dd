#include "edges/range.h"

#include "edges/two.h"

#include <float.h>

#define BEYOND 1e30F

spw_range spw_range_none(void) {
    return (spw_range){FLT_MAX, -FLT_MAX};
}

bool spw_range_take(float *to, const float *from, size_t n, spw_range *range) {
    spw_four low = spw_four_times(range->low), high = spw_four_times(range->high);
    spw_four_masks number = {-1, -1, -1, -1};
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        spw_four v = spw_four_at(from + i);
        low = spw_smaller(v, low);
        high = spw_larger(v, high);
        number &= (spw_four_masks)(v >= low); /* false for no number alone */
        if (to != NULL)
            spw_four_put(to + i, v);
    }
    bool good = spw_all(number);
    range->low = spw_least_of(low);
    range->high = spw_most_of(high);
    for (; i < n; i++) {
        range->low = from[i] < range->low ? from[i] : range->low;
        range->high = from[i] > range->high ? from[i] : range->high;
        good = good && from[i] >= range->low;
        if (to != NULL)
            to[i] = from[i];
    }
    return good && range->low > -BEYOND && range->high < BEYOND;
}
