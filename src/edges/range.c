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

size_t spw_range_chunks(float *to, const float *from, size_t chunks, size_t chunk,
                        spw_range *range) {
    for (size_t k = 0; k < chunks; k++) {
        spw_four low = spw_four_at(from), high = low;
        spw_four_masks number = {-1, -1, -1, -1};
        for (size_t i = 0; i < chunk; i += 16, from += 16, to += 16) {
            spw_four a = spw_four_at(from), b = spw_four_at(from + 4);
            spw_four c = spw_four_at(from + 8), d = spw_four_at(from + 12);
            low = spw_smaller(spw_smaller(a, b), spw_smaller(spw_smaller(c, d), low));
            high = spw_larger(spw_larger(a, b), spw_larger(spw_larger(c, d), high));
            number &= spw_numbers(a, b) & spw_numbers(c, d);
            spw_four_put(to, a);
            spw_four_put(to + 4, b);
            spw_four_put(to + 8, c);
            spw_four_put(to + 12, d);
        }
        range[k] = (spw_range){spw_least_of(low), spw_most_of(high)};
        if (!spw_all(number) || range[k].low <= -BEYOND || range[k].high >= BEYOND)
            return k;
    }
    return chunks;
}
