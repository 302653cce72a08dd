/* The whole measurement of a capture. */
#include "base/array.h"
#include "pulses/lanes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Transitions of all lanes: some milliseconds of work. */
enum { WORTH_THREADS = 20000 };
/* A stretch may be told to the tenth of a millisecond, rounded up. */
#define SPW_STRETCH_SLACK_S 1e-4

static spw_status check(const spw_measure_options *o, spw_error *error) {
    if (!(o->width_low_us > 0) || !(o->width_high_us > o->width_low_us) ||
        !isfinite(o->width_high_us))
        return spw_error_set(error, SPW_ERR_ARGUMENT,
                             "--width-window needs 0 < LOW < HIGH, in microseconds");
    if (!(o->timebase_ppm >= 0) || !isfinite(o->timebase_ppm))
        return spw_error_set(error, SPW_ERR_ARGUMENT, "--timebase-ppm must be 0 or more");
    if (!(o->known_frame_us >= 0) || !isfinite(o->known_frame_us))
        return spw_error_set(error, SPW_ERR_ARGUMENT, "--known-frame-us must be more than 0");
    if (o->from_s < 0 || isinf(o->from_s) || isinf(o->to_s))
        return spw_error_set(error, SPW_ERR_ARGUMENT, "--from and --to are seconds, 0 or more");
    if (o->from_s >= o->to_s || o->to_s <= 0)
        return spw_error_set(error, SPW_ERR_ARGUMENT,
                             "--from %.10g must be before --to %.10g (seconds of the capture)",
                             isnan(o->from_s) ? 0 : o->from_s, o->to_s);
    return SPW_OK;
}

/* The stretch chosen against what was read. */
static spw_status check_stretch(const spw_measure_options *o, spw_capture *c, spw_error *error) {
    double end_s = c->summary.duration_s;
    if (o->from_s >= end_s)
        return spw_error_set(error, SPW_ERR_ARGUMENT,
                             "--from %.10g is outside the capture, which ends at %.10g s",
                             o->from_s, end_s);
    if (o->to_s > end_s * (1 + 1e-9) + SPW_STRETCH_SLACK_S)
        return spw_notes_add(&c->summary.warnings,
                             "--to %.10g is beyond the capture, which ends at %.10g s", o->to_s,
                             end_s);
    return SPW_OK;
}

/* --- the recorder's clock, from a frame period known to be exact --- */

typedef struct clock_fit {
    double weights, sum; /* of the periods, weighted by 1/u^2 */
    double low, high;    /* the channels' intervals: largest low end, smallest high end */
    size_t channels;
} clock_fit;

/* The main regime's period of one train, from edge timing alone. */
static spw_status add_period(spw_lane *lane, clock_fit *fit) {
    spw_train *train = lane->train;
    if (train->channel.signal != SPW_SIGNAL_CONTROL_PULSES)
        return SPW_OK;
    double ppm = train->timebase_ppm;
    train->timebase_ppm = 0; /* it is what gets measured */
    bool analogue = lane->info.kind == SPW_KIND_ANALOGUE;
    spw_status status = spw_figures_fill(train, analogue ? &lane->report : NULL, &train->channel);
    train->timebase_ppm = ppm;
    if (status != SPW_OK)
        return status;
    const spw_summary *p = &train->channel.period_us;
    if (!(p->u >= 0))
        return SPW_OK;
    double u = fmax(p->u, 1e-9 * p->mean);
    fit->weights += 1 / (u * u);
    fit->sum += p->mean / (u * u);
    double U = fmax(p->U95, 1e-9 * p->mean);
    fit->low = fmax(fit->low, p->mean - U);
    fit->high = fmin(fit->high, p->mean + U);
    fit->channels++;
    return SPW_OK;
}

static spw_status fit_clock(const spw_measure_options *options, spw_lanes *lanes, double end_s,
                            spw_capture *capture, spw_error *error) {
    if (!(options->known_frame_us > 0))
        return SPW_OK;
    clock_fit fit = {.low = 0, .high = INFINITY};
    for (size_t i = 0; i < lanes->n; i++) {
        spw_lane *lane = &lanes->lane[i];
        if (!lane->wanted)
            continue;
        spw_status status = spw_train_build(lane->train, end_s);
        if (status == SPW_OK)
            status = add_period(lane, &fit);
        if (status != SPW_OK)
            return status;
    }
    if (fit.channels == 0)
        return SPW_OK; /* the channels say why they are no control pulses */
    if (fit.low > fit.high)
        return spw_error_set(error, SPW_ERR_ARGUMENT,
                             "--known-frame-us: the channels' frame periods differ (%.3f to %.3f "
                             "us); name the one that is known with --channel",
                             fit.high, fit.low);
    double mean = fit.sum / fit.weights;
    capture->clock_correction = options->known_frame_us / mean;
    capture->timebase_ppm = 1e6 / sqrt(fit.weights) / mean;
    for (size_t i = 0; i < lanes->n; i++)
        if (lanes->lane[i].train != NULL)
            lanes->lane[i].train->timebase_ppm = capture->timebase_ppm;
    return SPW_OK;
}

/* --- channels --- */

static void describe(spw_lane *lane, spw_channel *channel) {
    channel->name = lane->name;
    lane->name = NULL;
    channel->kind = lane->info.kind;
    channel->unit = lane->info.unit;
    if (lane->info.kind != SPW_KIND_ANALOGUE)
        return;
    channel->sample_rate_hz = lane->info.sample_rate_hz;
    channel->level_low = lane->report.low;
    channel->level_high = lane->report.high;
    channel->has_levels = isfinite(lane->report.low) && isfinite(lane->report.high);
}

typedef struct finishing {
    spw_lane *lane;
    size_t *wanted; /* numbers of lanes */
    spw_channel *channel;
    double end_s, correction;
} finishing;

static spw_status finish_lane(void *context, size_t i) {
    const finishing *f = context;
    spw_lane *lane = &f->lane[f->wanted[i]];
    bool analogue = lane->info.kind == SPW_KIND_ANALOGUE;
    spw_status status = spw_train_finish(lane->train, f->end_s, f->correction,
                                         analogue ? &lane->report : NULL, &f->channel[i]);
    if (status != SPW_OK)
        return status;
    describe(lane, &f->channel[i]);
    status = spw_signal_judge_rest(&f->channel[i]);
    spw_train_free(lane->train);
    lane->train = NULL;
    return status;
}

static spw_status finish_lanes(spw_lanes *lanes, double end_s, double correction, spw_capture *c) {
    finishing f = {.lane = lanes->lane, .end_s = end_s, .correction = correction};
    c->channel = f.channel = calloc(lanes->n + 1, sizeof *c->channel);
    f.wanted = calloc(lanes->n + 1, sizeof *f.wanted);
    spw_status status = SPW_ERR_MEMORY;
    if (f.channel != NULL && f.wanted != NULL) {
        uint64_t transitions = 0;
        for (size_t i = 0; i < lanes->n; i++) {
            if (!lanes->lane[i].wanted)
                continue;
            transitions += lanes->lane[i].train->transitions;
            f.wanted[c->channels++] = i;
        }
        bool two = transitions >= WORTH_THREADS && lanes->options->threads != 1;
        status = spw_crew_do(c->channels, two, finish_lane, &f);
    }
    free(f.wanted);
    return status;
}

static spw_status finish(const spw_measure_options *options, spw_lanes *lanes, spw_capture *c,
                         spw_error *error) {
    double end_s = c->summary.duration_s;
    spw_status status = check_stretch(options, c, error);
    if (status == SPW_OK)
        status = spw_lanes_end(lanes);
    if (status == SPW_OK)
        status = spw_lanes_find_step(lanes, c, error);
    if (status == SPW_OK)
        status = fit_clock(options, lanes, end_s, c, error);
    if (status == SPW_OK)
        status = finish_lanes(lanes, end_s, c->clock_correction, c);
    if (status != SPW_OK)
        return status;
    c->summary.duration_s *= c->clock_correction;
    c->from_s = options->from_s * c->clock_correction;
    c->to_s = options->to_s * c->clock_correction;
    return SPW_OK;
}

/* A status that came from here still needs a sentence. */
static spw_status say(spw_status status, spw_error *error) {
    if (status == SPW_ERR_MEMORY)
        return spw_error_set(error, status, "out of memory: the capture has more pulses than fit");
    if (status != SPW_OK && error != NULL && error->message[0] == '\0')
        return spw_error_set(error, status, "the measurement failed: %s", spw_status_text(status));
    return status;
}

spw_status spw_measure(const char *path, const spw_measure_options *options, spw_capture **capture,
                       spw_error *error) {
    spw_error ours, read;
    spw_error_clear(&ours);
    spw_error_clear(&read);
    spw_status status = check(options, error);
    if (status != SPW_OK)
        return status;
    spw_capture *c = calloc(1, sizeof *c);
    if (c == NULL || (c->file = spw_duplicate(path, strlen(path))) == NULL) {
        free(c);
        return say(SPW_ERR_MEMORY, error);
    }
    uint64_t most = options->pulses_max > 0 ? options->pulses_max : SPW_PULSES_MAX;
    spw_lanes lanes = {.options = options,
                       .edges_left = most < UINT64_MAX / 2 ? 2 * most : UINT64_MAX,
                       .error = &ours,
                       .fast_s = fmin(20, 0.25 * options->width_low_us) * 1e-6};
    spw_sink sink = spw_lanes_sink(&lanes);
    c->timebase_ppm = options->timebase_ppm;
    c->clock_correction = 1;
    c->rate_hz = options->read.has_rate ? options->read.rate_hz : 0;
    status = spw_capture_read(path, &options->read, &sink, &c->summary, &read);
    if (status == SPW_OK)
        status = say(finish(options, &lanes, c, &ours), &ours);
    else if (!lanes.refused)
        ours = read;
    if (status == SPW_ERR_LIMIT && lanes.edges_left == 0)
        (void)spw_error_set(&ours, status,
                            "the capture has more than %llu pulses, the limit; measure fewer of "
                            "its channels (--channel NAME), or a part of it",
                            (unsigned long long)most);
    spw_lanes_free(&lanes);
    if (status != SPW_OK) {
        if (error != NULL)
            *error = ours;
        spw_error_file(error, path);
        spw_capture_free(c);
        return status;
    }
    *capture = c;
    return SPW_OK;
}

void spw_capture_free(spw_capture *capture) {
    if (capture == NULL)
        return;
    for (size_t i = 0; i < capture->channels; i++)
        spw_channel_clear(&capture->channel[i]);
    free(capture->channel);
    free(capture->file);
    spw_capture_summary_free(&capture->summary);
    free(capture);
}
