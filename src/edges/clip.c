/* Clipped samples: where the recorder's range ends, or that of the stage before it. */
#include "edges/finder.h"
#include "edges/restore.h"
#include "edges/two.h"

#include <float.h>
#include <math.h>

#define FLAT_SHARE 0.9 /* of all samples, on the two levels */
#define CLIPPED_SHARE                                                                              \
    0.95 /* of the level's samples, on the more clipped side of each transition                    \
          */

enum { TOGETHER = 16 }; /* transitions of which it is told */

static void clip_limits(const spw_edge_finder *f, float *low, float *high) {
    double full = f->settings.full_scale;
    *low = f->clip_low;
    *high = f->clip_high;
    if (full > 0) {
        *low = fmaxf(*low, (float)(-full * (1 - 0.5 / 32768)));
        *high = fminf(*high, (float)(full * (1 - 1.5 / 32768)));
    }
}

/* Samples at one end of the range, and those a few steps of the converter next to it. */
typedef struct pile {
    size_t at, near;
} pile;

static bool piled_up(const pile *p) {
    return p->at >= 8 && p->at > 2 * p->near;
}

/* The end of a range that shows only now: the extremes of chunks pile up on it. */
static void look_for_ends(spw_edge_finder *f) {
    size_t from = (f->flagged + f->skip) / f->chunk + 1, to = (f->n + f->skip) / f->chunk;
    if (!f->judged || !(f->settings.full_scale > 0) || !(f->noise > 1.5 * f->quantum) || from >= to)
        return;
    pile end[2] = {{0, 0}, {0, 0}};
    spw_range all = spw_range_none();
    for (size_t k = from; k < to; k++) {
        float low = f->range[k].low, high = f->range[k].high;
        if (low <= all.low)
            end[0].at = low < all.low ? 1 : end[0].at + 1;
        if (high >= all.high)
            end[1].at = high > all.high ? 1 : end[1].at + 1;
        all.low = low < all.low ? low : all.low;
        all.high = high > all.high ? high : all.high;
    }
    if (!piled_up(&end[0]) && !piled_up(&end[1]))
        return;
    float near = 3.5F * (float)f->quantum;
    for (size_t k = from; k < to; k++) {
        const spw_range *r = &f->range[k];
        end[0].near += r->low > all.low && r->low < all.low + near;
        end[1].near += r->high < all.high && r->high > all.high - near;
    }
    if (piled_up(&end[0]) && all.low > f->clip_low)
        f->clip_low = all.low;
    if (piled_up(&end[1]) && all.high < f->clip_high)
        f->clip_high = all.high;
}

void spw_finder_flag(spw_edge_finder *f) {
    look_for_ends(f);
    float low, high;
    clip_limits(f, &low, &high);
    for (size_t i = f->flagged, end; i < f->n; i = end) {
        size_t k = (i + f->skip) / f->chunk;
        end = (k + 1) * f->chunk - f->skip;
        end = end < f->n ? end : f->n;
        bool within = f->range[k].high < high && f->range[k].low > low;
        for (; !within && i < end; i++) {
            bool clipped = f->y[i] >= high || f->y[i] <= low;
            if (!clipped || f->flag[i] != 0)
                continue;
            f->flag[i] = SPW_SAMPLE_CLIPPED;
            if (f->report.clipped_samples++ == 0)
                f->report.first_clip_s =
                    f->settings.start_s + (double)(f->base + i) / f->settings.sample_rate_hz;
        }
    }
    f->flagged = f->n;
}

/* The smallest step between neighbours that is one. */
static float smallest_step(const float *y, size_t n) {
    const spw_four none = spw_four_times(FLT_MAX);
    spw_four least = none;
    size_t i = 1;
    for (; i + 4 <= n; i += 4) {
        spw_four d = spw_magnitude(spw_four_at(y + i) - spw_four_at(y + i - 1));
        least = spw_smaller(spw_pick((spw_four_masks)(d > 0), d, none), least);
    }
    float smallest = spw_least_of(least);
    for (; i < n; i++) {
        float d = fabsf(y[i] - y[i - 1]);
        smallest = d > 0 && d < smallest ? d : smallest;
    }
    return smallest;
}

double spw_finder_quantum(const spw_edge_finder *f) {
    double step = (double)smallest_step(f->y, f->n);
    return step < 0.1 * f->size.typical ? step : 0;
}

static void count_piles(const spw_edge_finder *f, float low, float high, float quantum,
                        pile end[2]) {
    size_t chunks = (f->skip + f->n + f->chunk - 1) / f->chunk;
    float low_end = low + 3.5F * quantum, high_end = high - 3.5F * quantum;
    for (size_t k = 0; k < chunks; k++) {
        if (f->range[k].low >= low_end && f->range[k].high <= high_end)
            continue;
        size_t from = k > 0 ? k * f->chunk - f->skip : 0, to = (k + 1) * f->chunk - f->skip;
        for (size_t i = from; i < to && i < f->n; i++) {
            end[0].at += f->y[i] == low;
            end[1].at += f->y[i] == high;
            end[0].near += f->y[i] > low && f->y[i] < low_end;
            end[1].near += f->y[i] < high && f->y[i] > high_end;
        }
    }
}

/* Flat tops: a recorder (or the stage before it) that clips piles its samples up
 * on one value at the end of the range; noise never does. Where that leaves no noise at
 * all, both levels are flat, and nothing of a converter's ringing is beyond them. */
void spw_finder_flat_tops(spw_edge_finder *f) {
    f->quantum = spw_finder_quantum(f);
    bool noisy = f->noise > 1.5 * f->quantum;
    if (!(f->settings.full_scale > 0) || (!noisy && f->quantum == 0))
        return;
    spw_range all = spw_range_none();
    (void)spw_range_take(NULL, f->y, f->n, &all);
    pile end[2] = {{0, 0}, {0, 0}};
    count_piles(f, all.low, all.high, (float)f->quantum, end);
    bool low = piled_up(&end[0]), high = piled_up(&end[1]);
    f->flat = low && high && (double)(end[0].at + end[1].at) > FLAT_SHARE * (double)f->n;
    if (!noisy)
        return;
    if (low)
        f->clip_low = all.low;
    if (high)
        f->clip_high = all.high;
    f->flagged = 0;
    spw_finder_flag(f);
}

/* Share of clipped samples where levels are taken. */
void spw_finder_count_clipped(spw_edge_finder *f, spw_mark *marks, size_t n) {
    size_t guard = spw_trace_samples(f->settings.sample_rate_hz, 60e-6, 1);
    size_t reach = spw_trace_samples(f->settings.sample_rate_hz, 260e-6, 3);
    for (size_t first = 0; f->report.clipped_samples > 0 && first < n; first += TOGETHER) {
        size_t end = first + TOGETHER < n ? first + TOGETHER : n, samples = 0, clipped = 0;
        for (size_t k = first; k < end; k++) {
            for (size_t d = guard; d < reach; d++) {
                size_t at = (size_t)fmax(marks[k].at, 0);
                if (at < d || at + d >= f->n)
                    continue;
                samples++; /* of the more clipped side: half of the transitions' samples */
                clipped += ((f->flag[at - d] | f->flag[at + d]) & SPW_SAMPLE_CLIPPED) != 0;
            }
        }
        f->plateau_samples += samples;
        f->plateau_clipped += clipped;
        bool doubtful = (double)clipped > CLIPPED_SHARE * (double)samples;
        for (size_t k = first; doubtful && f->judged && k < end; k++)
            marks[k].doubts |= SPW_DOUBT_CLIPPING;
    }
    if (!f->judged && f->plateau_samples > 0 &&
        (double)f->plateau_clipped > CLIPPED_SHARE * (double)f->plateau_samples)
        f->report.doubts |= SPW_DOUBT_CLIPPING;
}

/* Before the shape is fitted: see restore.h. */
void spw_finder_restore(spw_edge_finder *f, const spw_trace *trace, size_t n) {
    spw_clip clip = {.y = f->y, .flag = f->flag, .noise = f->noise};
    clip_limits(f, &clip.low, &clip.high);
    if (f->report.clipped_samples > 0)
        spw_restore_clipped(&clip, trace, &f->smooth, &f->shape, f->marks, n);
}
