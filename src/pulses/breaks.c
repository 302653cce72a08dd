/* Time that is broken: frames that are far too short, and samples that the recorder lost,
 * repeated or zeroed. Both shift the frames' lattice; what tells them apart is in the
 * samples (edges/splice.h) and in the shift itself, which is whole samples where the
 * recorder made it. Nothing of that: the controller's. */
#include "pulses/shifts.h"

#include <math.h>
#include <stdlib.h>

/* A frame is short when it lacks so much of the frames about it. */
static const double SHORT_SHARE = 0.02;
/* Evidence that chance brings oftener than this is none. */
static const double CHANCE = 0.08;
/* A shift is known to so many of an interval's scatter, and to this part of a sample. */
static const double KNOWN_SD = 2.5, KNOWN_SAMPLES = 0.003;
/* Recorders' buffers hold a power of two of samples: 64 to 8192. */
enum { LEAST_BUFFER = 6, MOST_BUFFER = 13 };
/* An edge so near to a splice has it in its surroundings. */
static const double NEAR_S = 0.5e-3;
/* A width this many samples off its neighbours' was cut. */
static const double CUT_SAMPLES = 2;

typedef struct broken {
    const spw_edge_report *report; /* NULL: a logic channel */
    spw_channel *channel;
    double clock_scale, sample_us;
} broken;

/* A splice that reaches between two instants, of the kinds `what`; NULL when there is none. */
static const spw_splice *splice_in(const broken *b, double from_s, double to_s, uint32_t what) {
    for (size_t i = 0; b->report != NULL && i < b->report->splices; i++) {
        const spw_splice *s = &b->report->splice[i];
        if ((s->what & what) != 0 && s->to_s * b->clock_scale >= from_s &&
            s->from_s * b->clock_scale <= to_s)
            return s;
    }
    return NULL;
}

/* --- what a shift's size says --- */

/* What a shift's size is compared with: how many samples would be lost, or so many frames of
 * them more, which leave no trace. */
typedef struct shift_size {
    double lost, frame; /* samples */
    double tolerance;
} shift_size;

/* A frame more or less adds what the frame itself is known to. */
static double tolerance_at(const shift_size *s, double frames) {
    return s->tolerance * (1 + 0.2 * frames);
}

/* The smallest power of two that it can be; 0 when there is none or chance brings one. */
static double buffer_of(const shift_size *s) {
    double chance = 0;
    for (double m = 0; s->lost + m * s->frame < exp2(MOST_BUFFER) + s->tolerance; m++) {
        double n = s->lost + m * s->frame, tolerance = tolerance_at(s, m);
        /* of all numbers of samples up to a frame, one a buffer comes so near */
        chance += 2 * tolerance * (MOST_BUFFER - LEAST_BUFFER + 1) / exp2(MOST_BUFFER);
        for (int k = LEAST_BUFFER; k <= MOST_BUFFER && chance <= CHANCE; k++)
            if (fabs(n - exp2(k)) <= tolerance)
                return exp2(k);
    }
    return 0;
}

/* The smallest whole number that it is; 0 as above. */
static double whole_of(const shift_size *s) {
    double chance = 0;
    for (double m = 0; s->lost + m * s->frame < exp2(MOST_BUFFER); m++) {
        double n = s->lost + m * s->frame, tolerance = tolerance_at(s, m);
        chance += 2 * tolerance;
        if (chance > CHANCE)
            return 0;
        if (fabs(n - round(n)) <= tolerance)
            return round(n);
    }
    return 0;
}

/* Evidence that the recorder made the shift, and how many samples it lost at least. */
static uint32_t size_evidence(const broken *b, const spw_shift *s, double *samples) {
    shift_size size = {.lost =
                           (s->off_us > 0 ? s->period_us - s->off_us : -s->off_us) / b->sample_us,
                       .frame = s->period_us / b->sample_us,
                       .tolerance = KNOWN_SD * s->scatter_us / b->sample_us + KNOWN_SAMPLES};
    double buffer = buffer_of(&size), whole = whole_of(&size);
    *samples = buffer > 0 ? buffer : whole > 0 ? whole : round(size.lost);
    return (buffer > 0 ? SPW_EVIDENCE_BUFFER : 0) | (whole > 0 ? SPW_EVIDENCE_WHOLE_SAMPLES : 0);
}

/* --- what is told --- */

/* Events of the wrong kind, or of the right one for the wrong reason, that a break explains. */
static void forget_events(spw_channel *c, double from_s, double to_s) {
    size_t kept = 0;
    for (size_t i = 0; i < c->events; i++) {
        const spw_event *e = &c->event[i];
        bool explained = e->kind != SPW_EVENT_SAMPLES_LOST && e->kind != SPW_EVENT_CLIPPING &&
                         e->at_s >= from_s && e->at_s <= to_s;
        if (!explained)
            c->event[kept++] = *e;
    }
    c->events = kept;
}

/* Pulses with an edge in [from_s, to_s] are out of all figures. */
static void mark_broken(spw_channel *c, size_t first, size_t end, double from_s, double to_s) {
    for (size_t i = first; i < end; i++)
        if (c->pulse[i].lead_s <= to_s && c->pulse[i].trail_s >= from_s)
            c->pulse[i].flags |= SPW_PULSE_BROKEN;
}

static void mark_intervals(spw_channel *c, const spw_shift *s, uint32_t flags) {
    for (size_t i = (size_t)s->before + 1; i <= s->after; i++)
        c->pulse[i].flags |= flags | SPW_PULSE_NO_PERIOD;
    c->pulse[s->after].flags |= SPW_PULSE_SHIFTED;
}

static double width_about(const spw_channel *c, size_t at) {
    enum { SIDE = 3 };
    double width[2 * SIDE];
    size_t n = 0;
    for (size_t k = at; k > 0 && n < SIDE; k--)
        if ((c->pulse[k - 1].flags & SPW_PULSE_OUT) == 0)
            width[n++] = spw_pulse_width_us(&c->pulse[k - 1]);
    double median = NAN, sd = NAN;
    return n > 0 && spw_robust_scale(width, n, &median, &sd) == SPW_OK ? median : (double)NAN;
}

/* Where in the shift the samples broke; marks the pulses that have it in them. */
static double place_of(const broken *b, const spw_shift *s, const spw_splice *splice) {
    spw_channel *c = b->channel;
    const spw_pulse *before = &c->pulse[s->before], *after = &c->pulse[s->after];
    double off = fabs(spw_pulse_width_us(before) - width_about(c, s->before));
    bool cut = off > CUT_SAMPLES * b->sample_us;
    if (cut)
        c->pulse[s->before].flags |= SPW_PULSE_BROKEN;
    for (size_t i = (size_t)s->before + 1; i < s->after; i++)
        c->pulse[i].flags |= SPW_PULSE_BROKEN;
    if (splice != NULL) {
        double at_s = splice->from_s * b->clock_scale;
        mark_broken(c, s->before, (size_t)s->after + 1, at_s - NEAR_S, at_s + NEAR_S);
        return at_s;
    }
    if (cut)
        return before->trail_s;
    if (s->after > s->before + 1)
        return c->pulse[s->before + 1].lead_s;
    return 0.5 * (before->trail_s + after->lead_s);
}

static spw_status tell_lost(const broken *b, const spw_shift *s, uint32_t evidence, double samples,
                            const spw_splice *splice) {
    spw_channel *c = b->channel;
    double from_s = c->pulse[s->before].lead_s, to_s = c->pulse[s->after].lead_s;
    mark_intervals(c, s, 0);
    forget_events(c, from_s, to_s);
    return spw_event_add(c, (spw_event){.kind = SPW_EVENT_SAMPLES_LOST,
                                        .at_s = place_of(b, s, splice),
                                        .count = (uint64_t)samples,
                                        .value_us = samples * b->sample_us,
                                        .evidence = evidence | SPW_EVIDENCE_LATTICE});
}

static size_t short_frames(const spw_channel *c, const spw_shift *s) {
    size_t n = 0;
    const spw_pulse *last = &c->pulse[s->before];
    for (size_t i = (size_t)s->before + 1; i <= s->after; i++) {
        const spw_pulse *p = &c->pulse[i];
        if ((p->flags & SPW_PULSE_OUT) != 0)
            continue;
        n += (p->lead_s - last->lead_s) * 1e6 < (1 - SHORT_SHARE) * s->period_us;
        last = p;
    }
    return n;
}

static spw_status tell_short(const broken *b, const spw_shift *s) {
    spw_channel *c = b->channel;
    size_t count = s->kept ? s->extra : short_frames(c, s);
    if (count == 0 || !(s->least_us < (1 - SHORT_SHARE) * s->period_us))
        return SPW_OK;
    mark_intervals(c, s, SPW_PULSE_SHORT);
    return spw_event_add(c, (spw_event){.kind = SPW_EVENT_SHORT_FRAME,
                                        .at_s = c->pulse[s->before].lead_s,
                                        .count = count,
                                        .value_us = s->least_us});
}

static spw_status judge_shift(const broken *b, const spw_shift *s) {
    const spw_channel *c = b->channel;
    double from_s = c->pulse[s->before].lead_s, to_s = c->pulse[s->after].lead_s, samples = 0;
    if (splice_in(b, from_s, to_s, SPW_SPLICE_CONSTANT) != NULL)
        return SPW_OK; /* that says it */
    if (s->kept)
        return tell_short(b, s);
    const spw_splice *repeat = splice_in(b, from_s, to_s, SPW_SPLICE_REPEAT);
    const spw_splice *step = splice_in(b, from_s, to_s, SPW_SPLICE_STEP);
    if (repeat != NULL)
        return tell_lost(b, s, SPW_EVIDENCE_REPEAT, (double)repeat->samples, repeat);
    uint32_t evidence = b->report != NULL && b->sample_us > 0 ? size_evidence(b, s, &samples) : 0;
    evidence |= step != NULL ? SPW_EVIDENCE_STEP : 0;
    return evidence != 0 ? tell_lost(b, s, evidence, samples, step) : tell_short(b, s);
}

/* A run of one value, or samples that came twice and shifted no frame that was seen. */
static spw_status judge_splice(const broken *b, const spw_splice *splice) {
    spw_channel *c = b->channel;
    double from_s = splice->from_s * b->clock_scale, to_s = splice->to_s * b->clock_scale;
    size_t before = 0, after = 0;
    while (before + 1 < c->pulses && c->pulse[before + 1].lead_s < from_s - NEAR_S)
        before++;
    for (after = before; after + 1 < c->pulses && c->pulse[after].lead_s <= to_s + NEAR_S;)
        after++;
    mark_broken(c, before, after + 1, from_s - NEAR_S, to_s + NEAR_S);
    forget_events(c, c->pulse[before].lead_s, c->pulse[after].lead_s);
    for (size_t i = before + 1; i <= after; i++)
        c->pulse[i].flags |= SPW_PULSE_NO_PERIOD;
    return spw_event_add(c, (spw_event){.kind = SPW_EVENT_SAMPLES_LOST,
                                        .at_s = from_s,
                                        .count = splice->samples,
                                        .value_us = (double)splice->samples * b->sample_us,
                                        .evidence = splice->what == SPW_SPLICE_REPEAT
                                                        ? SPW_EVIDENCE_REPEAT
                                                        : SPW_EVIDENCE_CONSTANT});
}

/* No period ends at the first pulse that counts behind broken ones; where the frames start
 * anew at one of those, they do at it. */
static void mend_periods(spw_channel *c) {
    uint32_t behind = 0;
    for (size_t i = 0; i < c->pulses; i++) {
        spw_pulse *p = &c->pulse[i];
        if ((p->flags & SPW_PULSE_BROKEN) != 0)
            behind |= SPW_PULSE_NO_PERIOD | (p->flags & SPW_PULSE_SHIFTED);
        if ((p->flags & SPW_PULSE_OUT) != 0)
            continue;
        p->flags |= behind;
        behind = 0;
    }
}

static bool told(const spw_channel *c, double at_s) {
    for (size_t i = 0; i < c->events; i++)
        if (c->event[i].kind == SPW_EVENT_SAMPLES_LOST && fabs(c->event[i].at_s - at_s) < NEAR_S)
            return true;
    return false;
}

spw_status spw_breaks_find(const spw_train *train, const spw_edge_report *report, double start_s,
                           double end_s, double clock_scale, spw_channel *channel) {
    broken b = {.report = report,
                .channel = channel,
                .clock_scale = clock_scale,
                .sample_us = train->resolution_us > 0 ? train->resolution_us : 0};
    spw_status status = SPW_OK;
    for (size_t i = 0; i < train->shifts && status == SPW_OK; i++) {
        spw_shift s = train->shift[i];
        s.period_us *= clock_scale;
        s.scatter_us *= clock_scale;
        s.off_us *= clock_scale;
        s.least_us *= clock_scale;
        status = judge_shift(&b, &s);
    }
    for (size_t i = 0; report != NULL && i < report->splices && status == SPW_OK; i++) {
        const spw_splice *s = &report->splice[i];
        double at_s = s->from_s * clock_scale;
        if (s->what != SPW_SPLICE_STEP && channel->pulses > 0 && at_s >= start_s && at_s <= end_s &&
            !told(channel, at_s))
            status = judge_splice(&b, s);
    }
    mend_periods(channel);
    return status;
}
