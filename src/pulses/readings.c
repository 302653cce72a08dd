/* Channels of pulse widths that another instrument read and printed, a row a frame.
 *
 * Nothing of the line itself is known: no edges, no polarity, no missing frames, only
 * the widths, in the steps of that instrument, and when each was printed. They join
 * the others where pulses are made, and have holds, jitter and a span like them. */
#include "base/array.h"
#include "pulses/train.h"

#include <math.h>
#include <stdlib.h>

/* Rows further apart than this are readings now and then, not every frame (the
 * slowest usual frame is 25 Hz: common practice). */
static const double FRAME_MOST_US = 50e3;
/* A counter of 4 us (common practice) is assumed where whole microseconds do not show
 * a finer step or a coarser one. */
static const double COUNTER_US = 4;
/* So many neighbouring values one step apart, within so much of it, show a step. */
enum { LEAST_GAPS = 3, LEAST_READINGS = 2 };
static const double GAP_ROOM = 1.3;
/* Printed places that are told apart. */
static const double FINEST_US = 1e-3, ROUND_US = 1e-4;

spw_status spw_train_read_widths(spw_train *train, double instant_s) {
    if (train->built || train->transitions > 0)
        return SPW_ERR_ARGUMENT;
    train->read = true;
    train->instant_us = instant_s * 1e6;
    train->resolution_us = NAN; /* of the widths: found when all are there */
    return SPW_OK;
}

spw_status spw_train_reading(spw_train *train, const spw_reading *reading) {
    if (!train->read || train->built)
        return SPW_ERR_ARGUMENT;
    if ((train->chosen_from && reading->time_s < train->from_s) || reading->time_s > train->to_s)
        return SPW_OK;
    if (train->readings == UINT32_MAX || !spw_train_may_keep(train, 2)) /* as two edges */
        return SPW_ERR_LIMIT;
    spw_status status = spw_array_room((void **)&train->reading, &train->reading_room,
                                       train->readings, 1, sizeof *train->reading);
    if (status != SPW_OK)
        return status;
    double us = reading->width_us;
    train->reading[train->readings++] = (spw_pulse){
        .lead_s = reading->time_s,
        .trail_s = reading->time_s + us * 1e-6,
        .u_width_us = NAN,
        .flags = (us < train->width_low_us ? SPW_PULSE_RUNT : 0) |
                 (us > train->width_high_us ? SPW_PULSE_LONG : 0),
    };
    return SPW_OK;
}

static int upwards(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The smallest distance that neighbours of the n sorted gaps have often; NAN. */
static double common_gap(const double *gap, size_t n) {
    for (size_t i = 0; i < n; i++) {
        double sum = 0;
        size_t k = i;
        while (k < n && gap[k] <= GAP_ROOM * gap[i])
            sum += gap[k++];
        if (k - i >= LEAST_GAPS)
            return sum / (double)(k - i);
    }
    return NAN;
}

/* The step of the instrument from the distances of the values that came; where those do
 * not show one, what is assumed. *shown tells which. Sorts the values. */
static double find_step(double *us, size_t n, bool *shown) {
    bool whole = true;
    qsort(us, n, sizeof *us, upwards);
    size_t gaps = 0;
    double before = us[0];
    for (size_t i = 0; i < n; i++) {
        double gap = us[i] - before;
        before = us[i];
        whole = whole && fabs(us[i] - round(us[i])) < 0.5 * FINEST_US;
        if (gap > 0.5 * FINEST_US)
            us[gaps++] = gap; /* at or before i: the values there were seen */
    }
    qsort(us, gaps, sizeof *us, upwards);
    double common = common_gap(us, gaps);
    *shown = isfinite(common);
    if (*shown) /* without the rounding of instants that widths are differences of */
        return round(common / ROUND_US) * ROUND_US;
    double assumed = whole ? COUNTER_US : FINEST_US, least = gaps > 0 ? us[0] : (double)INFINITY;
    /* two values one printed unit apart: no step is coarser */
    *shown = least < (whole ? 1 : FINEST_US) + 0.5 * FINEST_US;
    return round(fmin(assumed, least) / ROUND_US) * ROUND_US;
}

static spw_status take_step(spw_train *train, const spw_channel *c) {
    double *us = malloc((c->pulses + 1) * sizeof *us);
    if (us == NULL)
        return SPW_ERR_MEMORY;
    size_t n = 0;
    for (size_t i = 0; i < c->pulses; i++)
        if ((c->pulse[i].flags & SPW_PULSE_OUT) == 0)
            us[n++] = spw_pulse_width_us(&c->pulse[i]);
    train->resolution_us = n > 0 ? find_step(us, n, &train->step_shown) : (double)NAN;
    free(us);
    return SPW_OK;
}

/* The usual time from row to row; NAN with less than two rows. */
static spw_status usual_row_us(const spw_channel *c, double *row_us) {
    *row_us = NAN;
    if (c->pulses < 2)
        return SPW_OK;
    size_t n = c->pulses - 1;
    double *us = malloc(n * sizeof *us);
    if (us == NULL)
        return SPW_ERR_MEMORY;
    for (size_t i = 0; i < n; i++)
        us[i] = (c->pulse[i + 1].lead_s - c->pulse[i].lead_s) * 1e6;
    qsort(us, n, sizeof *us, upwards);
    *row_us = us[n / 2];
    free(us);
    return SPW_OK;
}

/* One stretch: when rows are printed tells nothing of the widths. */
static spw_status one_regime(spw_channel *c, double row_us, size_t counted) {
    c->regime = malloc(sizeof *c->regime);
    if (c->regime == NULL)
        return SPW_ERR_MEMORY;
    c->regimes = 1;
    for (size_t i = 0; i < c->pulses; i++) {
        double us = i > 0 ? (c->pulse[i].lead_s - c->pulse[i - 1].lead_s) * 1e6 : 0;
        if (!(us > 0.5 * row_us && us < 1.5 * row_us) || row_us > FRAME_MOST_US)
            c->pulse[i].flags |= SPW_PULSE_NO_PERIOD;
    }
    c->regime[0] = (spw_regime){.start_s = c->pulse[0].lead_s,
                                .end_s = c->pulse[c->pulses - 1].trail_s,
                                .end_pulse = c->pulses,
                                .frames = counted,
                                .period_us = row_us};
    return SPW_OK;
}

/* Too little to measure: the channel says why, and keeps nothing. */
static spw_status say_too_few(const spw_train *train, spw_channel *c, size_t counted) {
    spw_text t = {0};
    if (counted < LEAST_READINGS)
        spw_text_printf(&t, "%zu %s of %.0f to %.0f us: a measurement needs two at least", counted,
                        counted == 1 ? "pulse width" : "pulse widths", train->width_low_us,
                        train->width_high_us);
    else
        spw_text_puts(&t, "most rows of pulse widths share their time with the one before: give "
                          "the frames a second with --rate HZ");
    free(c->pulse);
    c->pulse = NULL;
    c->pulses = 0;
    spw_status status = spw_text_status(&t);
    if (status != SPW_OK)
        spw_text_free(&t);
    else
        c->reason = t.data;
    return status;
}

spw_status spw_readings_build(spw_train *train, spw_channel *c) {
    c->pulse = train->reading;
    c->pulses = train->readings;
    train->reading = NULL;
    train->readings = train->reading_room = 0;
    size_t counted = 0;
    for (size_t i = 0; i < c->pulses; i++)
        counted += (c->pulse[i].flags & SPW_PULSE_OUT) == 0;
    double row_us;
    spw_status status = usual_row_us(c, &row_us);
    if (status != SPW_OK)
        return status;
    if (counted < LEAST_READINGS || !(row_us > 0))
        return say_too_few(train, c, counted);
    status = take_step(train, c);
    if (status == SPW_OK)
        status = one_regime(c, row_us, counted);
    if (status == SPW_OK)
        c->signal = SPW_SIGNAL_WIDTHS;
    return status;
}

spw_status spw_readings_say(const spw_train *train, spw_channel *c) {
    bool slow = c->regime[0].period_us > FRAME_MOST_US;
    spw_status status = spw_notes_add(
        &c->warnings,
        "the widths are what another instrument printed: how far they are off as a whole is not "
        "known and in no uncertainty here; its step, %.4g us, %s",
        train->resolution_us,
        train->step_shown ? "is found from the values" : "is assumed, as the values show none");
    if (status == SPW_OK && slow)
        status = spw_notes_add(&c->warnings,
                               "the rows are %.4g ms apart, too far for frames: the frame period "
                               "is not known",
                               c->regime[0].period_us * 1e-3);
    else if (status == SPW_OK)
        status = spw_notes_add(&c->warnings,
                               "each row is taken as a frame; frame period and jitter are those "
                               "of the rows' times, not of the line");
    if (slow)
        c->regime[0].period_us = NAN;
    c->lead_jitter_us = c->trail_jitter_us = c->last_for_s = NAN;
    return status;
}
