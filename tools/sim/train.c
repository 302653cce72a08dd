#include "sim/train.h"
#include "sim/rng.h"

#include <math.h>
#include <stdlib.h>

/* Faults that bear on one frame. */
typedef struct frame_faults {
    bool missing, joined_to_next;
    const sim_fault *runt, *dropout, *width, *late;
} frame_faults;

static frame_faults faults_of(const sim_train_spec *spec, size_t frame) {
    frame_faults f = {0};
    for (size_t i = 0; i < spec->faults; i++) {
        const sim_fault *fault = &spec->fault[i];
        size_t count = fault->count > 0 ? fault->count : 1;
        if (frame < fault->frame || frame >= fault->frame + count)
            continue;
        switch (fault->kind) {
        case SIM_MISSING:
            f.missing = true;
            break;
        case SIM_JOINED:
            f.joined_to_next = true;
            break;
        case SIM_RUNT:
            f.runt = fault;
            break;
        case SIM_DROPOUT:
            f.dropout = fault;
            break;
        case SIM_WIDTH:
            f.width = fault;
            break;
        case SIM_LATE:
            f.late = fault;
            break;
        }
    }
    return f;
}

typedef struct builder {
    const sim_train_spec *spec;
    sim_train *train;
    sim_rng rng;
    double ar; /* the correlated jitter's state, sd 1 */
    bool open; /* a joined pulse is still active */
} builder;

static double unit_noise(builder *b) {
    if (!b->spec->jitter_heavy)
        return sim_rng_normal(&b->rng);
    double u = sim_rng_uniform(&b->rng) - 0.5; /* Laplace with sd 1 */
    return (u < 0 ? -1.0 : 1.0) * -log(1.0 - 2.0 * fabs(u) + 1e-300) / sqrt(2.0);
}

static void add_edge(builder *b, double at_s) {
    b->train->edge_s[b->train->edges++] = at_s;
}

static double width_of(builder *b, double commanded_us, const frame_faults *f) {
    double rho = b->spec->jitter_ar;
    b->ar = rho * b->ar + sqrt(1.0 - rho * rho) * unit_noise(b);
    double width = f->width != NULL ? f->width->value_us : commanded_us;
    if (b->spec->dither_us > 0)
        width += b->spec->dither_us * sim_rng_normal(&b->rng);
    if (b->spec->step_us > 0)
        width = round(width / b->spec->step_us) * b->spec->step_us;
    return width + b->spec->jitter_us * b->ar;
}

static void add_frame(builder *b, size_t frame, double lead_s, double commanded_us) {
    frame_faults f = faults_of(b->spec, frame);
    double width_us = width_of(b, commanded_us, &f);
    if (f.missing)
        return;
    bool joined = b->open || f.joined_to_next;
    b->train->pulse[b->train->pulses++] =
        (sim_pulse){lead_s, width_us, commanded_us, frame,
                    !joined && f.width == NULL && f.dropout == NULL && f.late == NULL};
    double trail_s = lead_s + width_us * 1e-6;
    if (f.late != NULL)
        lead_s += f.late->value_us * 1e-6;
    if (!b->open)
        add_edge(b, lead_s);
    if (f.dropout != NULL) {
        add_edge(b, lead_s + f.dropout->at_us * 1e-6);
        add_edge(b, lead_s + (f.dropout->at_us + f.dropout->value_us) * 1e-6);
    }
    b->open = f.joined_to_next;
    if (!b->open)
        add_edge(b, trail_s);
    if (f.runt != NULL) {
        add_edge(b, lead_s + f.runt->at_us * 1e-6);
        add_edge(b, lead_s + (f.runt->at_us + f.runt->value_us) * 1e-6);
    }
}

/* All frames; returns where the last one started. */
static double add_frames(builder *b) {
    const sim_train_spec *spec = b->spec;
    double grid_s = spec->start_s, last_s = spec->start_s;
    size_t frame = 0;
    for (size_t p = 0; p < spec->parts; p++) {
        const sim_part *part = &spec->part[p];
        double period_us = part->period_us > 0 ? part->period_us : spec->period_us;
        double rise =
            part->frames > 1 ? (part->to_us - part->from_us) / (double)(part->frames - 1) : 0.0;
        double part_s = grid_s; /* times from the part's start: no rounding adds up */
        double wander_us = 0;
        for (size_t i = 0; i < part->frames; i++) {
            grid_s = part_s + ((double)i * period_us + wander_us) * 1e-6;
            last_s = grid_s;
            double jitter_us =
                spec->frame_jitter_us > 0 ? spec->frame_jitter_us * sim_rng_normal(&b->rng) : 0.0;
            add_frame(b, frame++, grid_s + jitter_us * 1e-6, part->from_us + rise * (double)i);
            if (spec->wander_us > 0)
                wander_us += spec->wander_us * sim_rng_normal(&b->rng);
        }
        if (part->frames > 0)
            grid_s += period_us * 1e-6;
    }
    return last_s;
}

/* Edges outside the capture are cut off; those before its start decide the
 * level there. */
static void cut_to_capture(sim_train *train, bool idle_high) {
    size_t before = 0, kept = 0;
    while (before < train->edges && train->edge_s[before] < 0)
        before++;
    for (size_t i = before; i < train->edges && train->edge_s[i] <= train->end_s; i++)
        train->edge_s[kept++] = train->edge_s[i];
    train->edges = kept;
    train->starts_high = (before % 2 == 1) != idle_high;
}

sim_train *sim_train_make(const sim_train_spec *spec) {
    size_t frames = 0;
    for (size_t p = 0; p < spec->parts; p++)
        frames += spec->part[p].frames;
    sim_train *train = calloc(1, sizeof *train);
    if (train == NULL)
        return NULL;
    train->edge_s = malloc((frames * 6 + 1) * sizeof *train->edge_s);
    train->pulse = malloc((frames + 1) * sizeof *train->pulse);
    if (train->edge_s == NULL || train->pulse == NULL) {
        sim_train_free(train);
        return NULL;
    }
    builder b = {.spec = spec, .train = train, .rng = sim_rng_seed(spec->seed)};
    b.ar = unit_noise(&b);
    double last_s = add_frames(&b);
    train->end_s = spec->end_s > 0 ? spec->end_s : last_s + 1e-6 * spec->period_us;
    cut_to_capture(train, spec->negative);
    return train;
}

void sim_train_free(sim_train *train) {
    if (train == NULL)
        return;
    free(train->edge_s);
    free(train->pulse);
    free(train);
}

size_t sim_train_changes(const sim_train *train, double rate_hz, double phase, uint32_t channel,
                         spw_change **changes) {
    spw_change *out = malloc((train->edges + 1) * sizeof *out);
    if (out == NULL)
        return 0;
    uint32_t level = train->starts_high ? SPW_LEVEL_HIGH : SPW_LEVEL_LOW;
    size_t n = 0;
    out[n++] = (spw_change){0.0, channel, level};
    double last_k = -1;
    for (size_t i = 0; i < train->edges; i++) {
        level ^= 1u;
        double k = rate_hz > 0 ? fmax(0, ceil(train->edge_s[i] * rate_hz - phase)) : 0;
        double at_s = rate_hz > 0 ? k / rate_hz : train->edge_s[i];
        if (rate_hz > 0 && (k == last_k || k == 0)) {
            if (k == 0) { /* over before the first instant */
                out[0].level = level;
            } else { /* back before the next instant: neither edge is seen */
                n--;
                last_k = n > 1 ? round(out[n - 1].time_s * rate_hz) : -1;
            }
            continue;
        }
        last_k = k;
        out[n++] = (spw_change){at_s, channel, level};
    }
    *changes = out;
    return n;
}
