/* One pass in stretches: samples collect in a buffer until it is worth a look, the
 * transitions in it are timed and delivered, and the last milliseconds stay as the
 * neighbourhood of what comes next. Stretches are counted in samples, so how the
 * caller cuts its blocks changes nothing. */
#include "edges/finder.h"

#include "edges/splice.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FIRST_S 0.5    /* first look; then half as much again, until ... */
#define LONGEST_S 24.0 /* the buffer is full, or ... */
#define LATER_S 6.0    /* (the buffer once learned) */
#define STRETCH_S 2.0  /* (later stretches) */
#define MARGIN_S 3e-3
/* Of a sample period, a width: what a recorder passes above the band that shapes are held
 * to acts by phase, and adds up where frames keep theirs. Up to this with 80 dB of
 * attenuation (found by simulation); it matters where noise is as low. */
#define BEYOND_BAND 2e-5
enum {
    ENOUGH_EDGES = 240,         /* ... there is enough to learn from; but a mean of widths */
    PLENTY_EDGES = 2010,        /* keeps the shape's error, so with patience more is better */
    MOST_SAMPLES = 2400 * 1024, /* 12 MB a channel, 12.8 s at 192 kHz */
    FEWEST_SAMPLES = 1 << 17,
    LATER_SAMPLES = 1 << 20,
    LEAST_SAMPLES = 4096,
    MARGIN_SAMPLES = 192,
    MARKS = 8192,
    CHUNK = 32 /* samples a range, where 60 us are not more */
};

static size_t samples_of(double rate_hz, double time_s, size_t most) {
    size_t samples = spw_trace_samples(rate_hz, time_s, LEAST_SAMPLES);
    return samples < most ? samples : most;
}

spw_status spw_edge_finder_new(const spw_edge_settings *settings, spw_edge_sink sink, void *context,
                               spw_edge_finder **finder) {
    double rate = settings->sample_rate_hz;
    if (!(rate > 0) || !(rate <= SPW_EDGES_RATE_MAX_HZ) || sink == NULL)
        return SPW_ERR_ARGUMENT;
    spw_edge_finder *f = calloc(1, sizeof *f);
    if (f == NULL)
        return SPW_ERR_MEMORY;
    f->settings = *settings;
    f->sink = sink;
    f->context = context;
    size_t most = settings->samples_most > 0 ? settings->samples_most : MOST_SAMPLES;
    most = most < MOST_SAMPLES ? most : MOST_SAMPLES;
    f->capacity = samples_of(rate, LONGEST_S, most > FEWEST_SAMPLES ? most : FEWEST_SAMPLES);
    f->target = spw_trace_samples(rate, FIRST_S, LEAST_SAMPLES / 2);
    if (f->target > f->capacity)
        f->target = f->capacity;
    f->margin = spw_trace_samples(rate, MARGIN_S, MARGIN_SAMPLES);
    if (f->margin > f->capacity / 8)
        f->margin = f->capacity / 8;
    for (f->chunk = CHUNK; f->chunk < spw_coarse_mean(rate);)
        f->chunk *= 2;
    f->clip_low = -INFINITY;
    f->clip_high = INFINITY;
    f->noise = (double)NAN;
    f->quiet.moves = 1;
    f->seen = spw_range_none();
    f->report.least = f->report.most = (double)NAN;
    f->report.shape_changed_s = (double)NAN;
    f->report.first_clip_s = f->report.low = f->report.high = f->report.noise_sd = (double)NAN;
    f->store = f->y = malloc((f->capacity + f->chunk) * sizeof *f->store);
    f->flag = malloc(f->capacity);
    f->range = malloc((f->capacity / f->chunk + 2) * sizeof *f->range);
    f->marks = malloc(MARKS * sizeof *f->marks);
    if (f->store == NULL || f->flag == NULL || f->range == NULL || f->marks == NULL ||
        spw_coarse_new(rate, &f->coarse_scratch) != SPW_OK ||
        spw_heights_new(&f->heights) != SPW_OK || spw_crossing_new(rate, &f->crossing) != SPW_OK) {
        spw_edge_finder_free(f);
        return SPW_ERR_MEMORY;
    }
    spw_array_soon(f->store, (f->capacity + f->chunk) * sizeof *f->store);
    spw_array_soon(f->flag, f->capacity);
    *finder = f;
    return SPW_OK;
}

void spw_edge_finder_free(spw_edge_finder *finder) {
    if (finder == NULL)
        return;
    spw_coarse_free(&finder->coarse_scratch);
    spw_heights_free(&finder->heights);
    spw_crossing_free(&finder->crossing);
    spw_shape_free(&finder->shape);
    free(finder->store);
    free(finder->flag);
    free(finder->range);
    free(finder->marks);
    free(finder);
}

static spw_trace trace_of(const spw_edge_finder *f) {
    return (spw_trace){.y = f->y,
                       .flag = f->flag,
                       .n = f->n,
                       .rate_hz = f->settings.sample_rate_hz,
                       .range = f->range,
                       .chunk = f->chunk,
                       .skip = f->skip};
}

/* Forgets samples before `keep`; whole chunks of them give way. */
static void drop(spw_edge_finder *f, size_t keep) {
    size_t whole = (f->skip + keep) / f->chunk, end = f->skip + f->n;
    size_t ranges = (end + f->chunk - 1) / f->chunk;
    f->skip = (f->skip + keep) % f->chunk;
    f->y = f->store + f->skip;
    memmove(f->store, f->store + whole * f->chunk, (end - whole * f->chunk) * sizeof *f->store);
    memmove(f->range, f->range + whole, (ranges - whole) * sizeof *f->range);
    memmove(f->flag, f->flag + keep, f->n - keep);
    spw_smooth_shift(&f->smooth, keep);
    f->base += keep;
    f->n -= keep;
    f->decided = f->decided > keep ? f->decided - keep : 0;
    f->flagged = f->flagged > keep ? f->flagged - keep : 0;
}

/* Leaves out transitions at gaps: a step across missing samples has no instant. */
static size_t mind_gaps(const spw_edge_finder *f, size_t n) {
    if (f->report.missing_samples == 0)
        return n;
    size_t shortest = spw_finder_gap(f), kept = 0, i = 0;
    double near = fmax(100e-6 * f->settings.sample_rate_hz, 3), end = -1e300, from = -1e300;
    for (size_t k = 0; k < n; k++) {
        bool gap = false, touches = false;
        for (; i < f->n && (double)i < f->marks[k].at + near; i++) {
            if ((f->flag[i] & SPW_SAMPLE_MISSING) == 0)
                continue;
            size_t start = i;
            while (i < f->n && (f->flag[i] & SPW_SAMPLE_MISSING) != 0)
                i++;
            if (i - start < shortest)
                continue;
            from = (double)start;
            end = (double)i;
        }
        touches = end > f->marks[k].at - near && from < f->marks[k].at + near;
        gap = kept == 0 ? end > 0 : end > f->marks[kept - 1].at;
        if (touches)
            continue;
        f->marks[kept] = f->marks[k];
        f->marks[kept].gap = gap;
        kept++;
    }
    return kept;
}

/* The height that a step is expected to have follows the signal; a line that went quiet is
 * looked at afresh, but what is left of it (crosstalk) is no signal. */
static spw_status follow_size(spw_edge_finder *f, const spw_trace *trace, size_t n) {
    if (n >= 4) {
        f->size.typical = spw_heights_last(f->marks, n);
        return SPW_OK;
    }
    spw_step_size size;
    spw_status status = spw_coarse_size(&f->coarse_scratch, trace, f->settings.full_scale, &size);
    if (status == SPW_OK && n == 0 && size.typical > SPW_WEAK_SHARE * f->size.typical)
        f->size = size;
    return status;
}

/* With enough edges to learn from: is it better to wait for more? Not for mains hum,
 * whose frequency is followed from stretch to stretch. Sets the next target. */
static spw_status wait_for_more(spw_edge_finder *f, const spw_trace *trace, size_t n, bool *wait) {
    *wait = false;
    if (f->waited || n >= PLENTY_EDGES)
        return SPW_OK;
    f->waited = true;
    bool hum = false;
    spw_status status = spw_finder_hum(f, trace, n, &hum);
    if (status != SPW_OK || hum)
        return status;
    double pace = (f->marks[n - 1].at - f->marks[0].at) / (double)(n - 1);
    double target = f->marks[0].at + pace * PLENTY_EDGES + (double)f->margin;
    f->target = target < (double)f->capacity ? (size_t)target : f->capacity;
    *wait = f->target > f->n;
    return SPW_OK;
}

/* The buffer of learning gives way to that of later stretches. */
static void shrink(spw_edge_finder *f) {
    size_t room = samples_of(f->settings.sample_rate_hz, LATER_S, LATER_SAMPLES);
    if (room >= f->capacity || f->n > room / 2)
        return;
    float *store = realloc(f->store, (room + f->chunk) * sizeof *store);
    if (store != NULL) {
        f->store = store;
        f->y = store + f->skip;
    }
    spw_range *range = realloc(f->range, (room / f->chunk + 2) * sizeof *range);
    if (range != NULL)
        f->range = range;
    uint8_t *flag = realloc(f->flag, room);
    if (flag != NULL)
        f->flag = flag;
    f->capacity = room;
}

/* Looks at the buffer. `*again` when it holds more than one look could take. */
static spw_status look(spw_edge_finder *f, bool last, bool *again) {
    spw_trace trace = trace_of(f);
    size_t n = 0, glitches = 0;
    *again = false;
    spw_finder_flag(f);
    if (f->size.typical <= 0 || !f->learned) {
        spw_status status =
            spw_coarse_size(&f->coarse_scratch, &trace, f->settings.full_scale, &f->size);
        if (status != SPW_OK)
            return status;
    }
    if (f->size.typical > 0) {
        spw_heights_find(&f->heights, &f->coarse_scratch, &trace, &f->size, f->marks, MARKS, &n,
                         &glitches);
        n = mind_gaps(f, n);
    }
    bool full = f->n == f->capacity || last;
    if (!f->learned && !full && n < ENOUGH_EDGES) {
        f->target =
            f->target + f->target / 2 < f->capacity ? f->target + f->target / 2 : f->capacity;
        return SPW_OK;
    }
    if (!f->learned && !last && n < 20) { /* idle so far, or just begun: make room */
        size_t keep = n > 0 && f->marks[0].at > 2.0 * (double)f->margin
                          ? (size_t)f->marks[0].at - f->margin
                          : (n > 0 ? 0 : f->n - 2 * f->margin);
        if (keep > f->capacity / 4) {
            if (n == 0 && f->report.missing_samples > 0) {
                spw_status status = spw_finder_deliver(f, 0, f->decided, keep);
                if (status != SPW_OK)
                    return status;
                f->decided = keep;
            }
            drop(f, keep);
            f->target = f->capacity;
            return SPW_OK;
        }
    }
    if (!f->learned && !full) {
        bool wait;
        spw_status status = wait_for_more(f, &trace, n, &wait);
        if (status != SPW_OK || wait)
            return status;
    }
    bool more = n == MARKS;
    size_t to = last && !more ? f->n : f->n > f->margin ? f->n - f->margin : 0;
    if (more && (size_t)f->marks[n - 8].at + 1 < to)
        to = (size_t)f->marks[n - 8].at + 1;
    size_t fresh = 0;
    while (fresh < n && f->marks[fresh].at < (double)f->decided)
        fresh++;
    if (n > 0 && !f->learned) {
        spw_status status = spw_finder_learn(f, &trace, n);
        if (status != SPW_OK)
            return status;
        f->learned = true;
    }
    f->glitches += glitches;
    size_t stretch = spw_trace_samples(f->settings.sample_rate_hz, STRETCH_S, LEAST_SAMPLES / 2);
    f->hold = (double)INFINITY;
    f->can_wait = !full && !more && f->n + stretch <= f->capacity;
    spw_status status = n > 0 ? spw_finder_time(f, &trace, n, fresh) : SPW_OK;
    bool cut = f->hold < (double)to;
    if (cut)
        to = (size_t)fmax(f->hold, (double)f->decided);
    if (status == SPW_OK && to > f->decided)
        status =
            spw_splices_find(&trace, f->marks, n, f->decided, to, f->settings.lossy,
                             f->settings.start_s + (double)f->base / trace.rate_hz, &f->report);
    if (status == SPW_OK && to > f->decided)
        status = spw_finder_deliver(f, n, f->decided, to);
    if (status == SPW_OK && f->learned)
        status = follow_size(f, &trace, n);
    if (status != SPW_OK)
        return status;
    f->decided = to > f->decided ? to : f->decided;
    if (!last || more || cut) {
        size_t keep = (size_t)spw_heights_keep(&f->heights, f->marks, n, (double)f->decided,
                                               f->settings.sample_rate_hz);
        drop(f, keep > f->margin ? keep - f->margin : 0);
    }
    if (f->learned && !last)
        shrink(f);
    f->target = f->n + stretch < f->capacity ? f->n + stretch : f->capacity;
    *again = more || (last && cut);
    return SPW_OK;
}

static spw_status look_on(spw_edge_finder *f, bool last) {
    bool again = false;
    do {
        spw_status status = look(f, last, &again);
        if (status != SPW_OK)
            return status;
    } while (again && (last || f->n >= f->target));
    return SPW_OK;
}

/* Missing ones of the last n samples repeat the one before. */
static void mend(spw_edge_finder *f, size_t n, spw_range *range) {
    for (size_t i = f->n - n; i < f->n; i++) {
        if (fabsf(f->y[i]) < SPW_SAMPLE_MAX) {
            f->last = f->y[i];
        } else {
            f->y[i] = f->last;
            f->flag[i] = SPW_SAMPLE_MISSING;
            f->report.missing_samples++;
        }
    }
    size_t begun = (f->skip + f->n - 1) % f->chunk + 1; /* samples of the chunk */
    begun = begun < f->n ? begun : f->n;
    *range = spw_range_none();
    (void)spw_range_take(NULL, f->y + f->n - begun, begun, range);
}

/* Takes n samples, chunk by chunk. */
static void take(spw_edge_finder *f, const float *samples, size_t n) {
    memset(f->flag + f->n, 0, n);
    while (n > 0) {
        size_t at = (f->skip + f->n) / f->chunk, begun = (f->skip + f->n) % f->chunk;
        if (begun == 0 && n >= f->chunk) {
            size_t whole =
                spw_range_chunks(f->y + f->n, samples, n / f->chunk, f->chunk, &f->range[at]);
            size_t part = whole * f->chunk;
            if (whole > 0)
                f->last = samples[part - 1];
            f->n += part;
            samples += part;
            n -= part;
            at += whole;
            if (n == 0)
                break;
        }
        size_t part = f->chunk - begun < n ? f->chunk - begun : n;
        spw_range *range = &f->range[at];
        float *y = f->y + f->n;
        if (begun == 0 || f->n == 0)
            *range = spw_range_none();
        bool good = spw_range_take(y, samples, part, range);
        f->n += part;
        if (!good)
            mend(f, part, range);
        f->last = y[part - 1];
        samples += part;
        n -= part;
    }
}

/* Where no edge was found yet, how far the samples from chunk `from` on run. */
static void see(spw_edge_finder *f, size_t from) {
    size_t end = (f->skip + f->n + f->chunk - 1) / f->chunk;
    for (size_t k = from; k < end && f->report.edges == 0; k++) {
        f->seen.low = f->range[k].low < f->seen.low ? f->range[k].low : f->seen.low;
        f->seen.high = f->range[k].high > f->seen.high ? f->range[k].high : f->seen.high;
    }
}

spw_status spw_edge_finder_push(spw_edge_finder *f, const float *samples, size_t n) {
    while (n > 0 && f->failed == SPW_OK) {
        size_t part = f->target - f->n < n ? f->target - f->n : n;
        size_t chunk = (f->skip + f->n) / f->chunk;
        take(f, samples, part);
        see(f, chunk);
        samples += part;
        n -= part;
        if (f->n >= f->target)
            f->failed = look_on(f, false);
    }
    return f->failed;
}

spw_status spw_edge_finder_finish(spw_edge_finder *f, spw_edge_report *report) {
    if (f->failed != SPW_OK)
        return f->failed;
    f->failed = look_on(f, true);
    if (f->failed != SPW_OK)
        return f->failed;
    if (f->glitches > f->report.edges / 4)
        f->report.doubts |= SPW_DOUBT_NO_PLATEAU;
    if (f->settings.lossy && f->report.edges > 0)
        f->report.doubts |= SPW_DOUBT_LOSSY;
    size_t least = f->learned_again > 0 ? f->learned_least : f->learned_from;
    if (least > 0 && f->u2_n > 0) /* all widths share one shape's error */
        f->report.u_template_us = 1e6 / f->settings.sample_rate_hz *
                                  hypot(sqrt(2 * f->u2_sum / f->u2_n / (double)least), BEYOND_BAND);
    if ((f->report.doubts & SPW_DOUBT_NO_SHAPE) != 0) /* what it lacks may be common to all */
        f->report.u_template_us =
            1e6 / f->settings.sample_rate_hz * sqrt(2 * f->u2_sum / fmax(f->u2_n, 1));
    f->report.u_codec_us = 1e6 / f->settings.sample_rate_hz * f->settings.codec_samples;
    f->report.u_template_us = hypot(f->report.u_template_us, f->report.u_codec_us);
    f->report.u_asymmetry_us =
        hypot(f->report.u_asymmetry_us, (1 - M_LN2) * f->settings.rise_fall_asymmetry_us);
    if (f->report.edges == 0 && f->seen.low <= f->seen.high) {
        f->report.least = (double)f->seen.low;
        f->report.most = (double)f->seen.high;
    }
    *report = f->report;
    f->failed = SPW_ERR_ARGUMENT; /* nothing more may be pushed */
    return SPW_OK;
}
