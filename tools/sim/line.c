#include "sim/line.h"

#include "sim/rng.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>

/* Standard uncertainty of a recorder's clock that users are promised to be covered for. */
static const double CLOCK_PPM = 50;
enum { OCTAVES = 10, IDLE_FRAMES = 3 };

/* Level changes, alternating, in the recorder's time. */
typedef struct changes {
    double *us;
    size_t n, room;
    bool failed;
} changes;

static void put(changes *c, double us) {
    if (c->n == c->room) {
        size_t room = c->room > 0 ? 2 * c->room : 1024;
        double *moved = realloc(c->us, room * sizeof *moved);
        if (moved == NULL) {
            c->failed = true;
            return;
        }
        c->us = moved;
        c->room = room;
    }
    c->us[c->n++] = us;
}

typedef struct mover {
    sim_rng *rng;
    const sim_line_spec *spec;
    double state[OCTAVES];
    double phase;
} mover;

static double laplace(sim_rng *rng) {
    double u = sim_rng_uniform(rng) - 0.5;
    return -copysign(log(1 - 2 * fabs(u)), u) / sqrt(2);
}

static void first_order(mover *m, size_t i, double phi) {
    m->state[i] = phi * m->state[i] + sqrt(1 - phi * phi) * sim_rng_normal(m->rng);
}

/* The next departure from the level, us. */
static double depart(mover *m, double time_s) {
    double sum = 0;
    switch (m->spec->motion) {
    case SIM_WHITE:
        return m->spec->sd_us * sim_rng_normal(m->rng);
    case SIM_CORRELATED:
        first_order(m, 0, m->spec->phi);
        return m->spec->sd_us * m->state[0];
    case SIM_ONE_OVER_F:
        for (size_t i = 0; i < OCTAVES; i++) {
            first_order(m, i, exp(-ldexp(1, -(int)i)));
            sum += m->state[i];
        }
        return m->spec->sd_us * sum / sqrt(OCTAVES);
    case SIM_WALK:
        m->state[0] += 0.1 * m->spec->sd_us * sim_rng_normal(m->rng);
        return m->state[0];
    case SIM_SINE:
        return m->spec->sd_us * sin(m->phase + time_s * (2 * M_PI / 8));
    case SIM_TWO_VALUES:
        return sim_rng_uniform(m->rng) < 0.5 ? -m->spec->sd_us : m->spec->sd_us;
    case SIM_HEAVY:
        break;
    }
    return m->spec->sd_us * laplace(m->rng);
}

static bool falls_on(size_t frame, size_t every, size_t run) {
    return every > 0 && frame % every >= every / 2 && frame % every < every / 2 + run;
}

typedef struct sender {
    const sim_line_spec *spec;
    mover mover;
    changes out;
    double scale; /* recorder's time over real time */
    double at_us; /* the next frame, recorder's time */
    double frame_us;
    size_t frame;
    bool joining; /* the pulse before has not ended */
} sender;

static double rounded(const sim_line_spec *spec, sim_rng *rng, double us) {
    if (spec->step_us <= 0)
        return us;
    double before = us + (spec->dither_us > 0 ? spec->dither_us * sim_rng_normal(rng) : 0);
    return spec->step_us * round(before / spec->step_us);
}

/* One frame whose commanded width is us. */
static void send(sender *s, sim_line_truth *truth, double us) {
    const sim_line_spec *spec = s->spec;
    size_t frame = s->frame++;
    double lead = s->at_us + spec->lead_sd_us * sim_rng_normal(s->mover.rng);
    double width = rounded(spec, s->mover.rng, us) + depart(&s->mover, s->at_us * 1e-6);
    s->at_us += s->frame_us;
    if (falls_on(frame, spec->missing_every, 1)) {
        truth->missing++;
        return;
    }
    if (falls_on(frame, spec->odd_every, spec->odd_run)) {
        width = 1320;
        truth->odd++;
    }
    if (!s->joining)
        put(&s->out, lead);
    s->joining = falls_on(frame, spec->joined_every, 1);
    truth->joined += s->joining;
    if (s->joining)
        return;
    put(&s->out, lead + width * s->scale);
    if (falls_on(frame, spec->runt_every, 1)) {
        put(&s->out, lead + 0.6 * s->frame_us);
        put(&s->out, lead + 0.6 * s->frame_us + 40);
        truth->runts++;
    }
}

static void hold(sender *s, sim_line_truth *truth, size_t frames, double us, double slope) {
    double period_s = s->frame_us / s->scale * 1e-6;
    sim_line_hold h = {
        .start_s = s->at_us * 1e-6, .us = us, .slope_us_per_s = slope, .frames = frames};
    for (size_t i = 0; i < frames; i++)
        send(s, truth, us + slope * period_s * (double)i);
    h.end_s = s->at_us * 1e-6;
    truth->hold[truth->holds++] = h;
}

/* --- the recorder --- */

/* A change shows at the first sampling instant at or after it. */
static void sample(changes *c, double grid_us, double phase) {
    size_t kept = 0;
    for (size_t i = 0; i < c->n; i++)
        c->us[i] = ceil(c->us[i] / grid_us - phase) * grid_us;
    for (size_t i = 0; i < c->n; i++) {
        if (kept > 0 && c->us[kept - 1] >= c->us[i])
            kept--; /* begun and ended between two instants */
        else
            c->us[kept++] = c->us[i];
    }
    c->n = kept;
}

static void write_vcd(const changes *c, const char *unit, double per_us, bool negative,
                      FILE *file) {
    fprintf(file,
            "$timescale %s $end\n$scope module wren $end\n$var wire 1 ! claw $end\n"
            "$upscope $end\n$enddefinitions $end\n#0\n%d!\n",
            unit, negative);
    for (size_t i = 0; i < c->n; i++)
        fprintf(file, "#%.0f\n%d!\n", c->us[i] * per_us, (int)(i % 2 == 0) != negative);
}

static void write_changes(const changes *c, const char *head, char apart, double scale,
                          int decimals, bool negative, FILE *file) {
    fprintf(file, "%s%cclaw\n%.*f%c%d\n", head, apart, decimals, 0.0, apart, negative);
    for (size_t i = 0; i < c->n; i++)
        fprintf(file, "%.*f%c%d\n", decimals, c->us[i] * scale, apart,
                (int)(i % 2 == 0) != negative);
}

static void write_samples(const changes *c, double grid_us, double end_us, bool negative,
                          FILE *file) {
    size_t next = 0;
    fputs("time_us,claw\n", file);
    for (uint64_t k = 0; (double)k * grid_us < end_us; k++) {
        while (next < c->n && c->us[next] <= (double)k * grid_us + 1e-6)
            next++;
        fprintf(file, "%.3f,%d\n", (double)k * grid_us, (int)(next % 2 == 1) != negative);
    }
}

static void write_capture(const sim_line_spec *spec, const changes *c, double end_us, FILE *file) {
    switch (spec->file) {
    case SIM_VCD_NS:
        write_vcd(c, "1 ns", 1e3, spec->negative, file);
        break;
    case SIM_VCD_PS:
        write_vcd(c, "1 ps", 1e6, spec->negative, file);
        break;
    case SIM_VCD_US:
        write_vcd(c, "1 us", 1, spec->negative, file);
        break;
    case SIM_CSV_CHANGES:
        write_changes(c, "time_s", ',', 1e-6, 9, spec->negative, file);
        break;
    case SIM_TSV_CHANGES:
        write_changes(c, "time_ms", '\t', 1e-3, 6, spec->negative, file);
        break;
    case SIM_CSV_SAMPLES:
        write_samples(c, spec->grid_us, end_us, spec->negative, file);
        break;
    }
}

bool sim_line_write(const sim_line_spec *spec, uint64_t seed, FILE *file, sim_line_truth *truth) {
    sim_rng rng = sim_rng_seed(seed);
    *truth = (sim_line_truth){.clock_ppm = CLOCK_PPM * sim_rng_normal(&rng)};
    sender s = {.spec = spec, .mover = {.rng = &rng, .spec = spec}};
    s.scale = 1 + truth->clock_ppm * 1e-6;
    /* counted by the recorder's clock, or by its own */
    s.frame_us = spec->frame_us * (spec->locked ? 1 + spec->tie_ppm * 1e-6 : s.scale);
    s.at_us = (IDLE_FRAMES + sim_rng_uniform(&rng)) * s.frame_us;
    s.mover.phase = 2 * M_PI * sim_rng_uniform(&rng);
    for (size_t i = 0; i < OCTAVES; i++)
        s.mover.state[i] = spec->motion == SIM_WALK ? 0 : sim_rng_normal(&rng);
    double low = spec->low_us > 0 ? spec->low_us : 1000;
    double high = spec->high_us > 0 ? spec->high_us : 2000, spread = 0.05 * (high - low);
    truth->low_us = low + spread * (2 * sim_rng_uniform(&rng) - 1);
    truth->high_us = high + spread * (2 * sim_rng_uniform(&rng) - 1);
    truth->neutral_us = (low + high) / 2 + spread * (2 * sim_rng_uniform(&rng) - 1);
    if (spec->step_us > 0 && !(spec->dither_us > 0)) {
        truth->low_us = spec->step_us * round(truth->low_us / spec->step_us);
        truth->high_us = spec->step_us * round(truth->high_us / spec->step_us);
        truth->neutral_us = spec->step_us * round(truth->neutral_us / spec->step_us);
    }
    truth->period_us = s.frame_us / s.scale;
    size_t frames = spec->hold_frames > 0 ? spec->hold_frames : 75;
    hold(&s, truth, frames, truth->low_us, 0);
    hold(&s, truth, frames, truth->neutral_us, spec->drift_us_per_s);
    hold(&s, truth, frames, truth->high_us, 0);
    if (spec->other_frame_us > 0) {
        s.frame_us = spec->other_frame_us * s.scale;
        double period_s = spec->other_frame_us * 1e-6;
        size_t fewer = (size_t)(0.4 * truth->period_us * 1e-6 * (double)(3 * frames) / period_s);
        hold(&s, truth, fewer, 900, 0);
    } else {
        hold(&s, truth, frames, truth->low_us, 0);
    }
    double end_us = s.at_us;
    sample(&s.out, spec->grid_us, sim_rng_uniform(&rng));
    if (!s.out.failed)
        write_capture(spec, &s.out, end_us, file);
    free(s.out.us);
    return !s.out.failed;
}
