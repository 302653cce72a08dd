/* What a reader delivers, channel by channel, on its way to trains. */
#include "pulses/lanes.h"
#include "base/array.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Samples of all lanes: more than a thread takes to start. */
enum { WORTH_THREADS = 1 << 17 };
/* By all finders of a capture together, 20 MB: two channels have what they can use. */
enum { SAMPLES_HELD = 2 * 2048 * 1024 };

/* --- names --- */

static bool taken(const spw_lanes *lanes, const char *name) {
    for (size_t i = 0; i < lanes->n; i++)
        if (strcmp(lanes->lane[i].name, name) == 0)
            return true;
    return false;
}

/* The name a lane goes by: "ch3" when it has none, "name~2" when it is taken. */
static spw_status resolve_name(const spw_lanes *lanes, const spw_channel_info *info, uint32_t index,
                               char **name) {
    spw_text t = {0};
    if (info->name_length == 0)
        spw_text_printf(&t, "ch%u", (unsigned)index);
    else
        spw_text_append(&t, info->name, info->name_length);
    size_t length = t.length;
    for (unsigned again = 2; !t.failed && taken(lanes, t.data); again++) {
        t.length = length;
        spw_text_printf(&t, "~%u", again);
    }
    if (spw_text_status(&t) != SPW_OK) {
        spw_text_free(&t);
        return SPW_ERR_MEMORY;
    }
    *name = t.data;
    return SPW_OK;
}

static spw_status on_channel(void *context, uint32_t index, const spw_channel_info *info) {
    spw_lanes *lanes = context;
    spw_status status =
        spw_array_room((void **)&lanes->lane, &lanes->room, lanes->n, 1, sizeof *lanes->lane);
    if (status != SPW_OK)
        return status;
    spw_lane lane = {.info = *info, .logic = spw_logic_edges_start(info->resolution_s)};
    status = resolve_name(lanes, info, index, &lane.name);
    if (status != SPW_OK)
        return status;
    lane.info.name = NULL;
    lane.wanted = lanes->options->n_channels == 0;
    lanes->lane[lanes->n++] = lane;
    return SPW_OK;
}

/* --- the channels asked for --- */

enum { LISTED = 20 };

static void list_names(const spw_lanes *lanes, spw_text *t) {
    char safe[96];
    for (size_t i = 0; i < lanes->n && i < LISTED; i++) {
        const char *name = lanes->lane[i].name;
        spw_text_printf(t, "%s%s", i > 0 ? ", " : "",
                        spw_text_safe(safe, sizeof safe, name, strlen(name)));
    }
    if (lanes->n > LISTED)
        spw_text_printf(t, " and %zu more", lanes->n - LISTED);
}

static spw_status refuse(spw_lanes *lanes, const char *asked, size_t matches) {
    char safe[128];
    spw_text names = {0};
    list_names(lanes, &names);
    spw_text_safe(safe, sizeof safe, asked, strlen(asked));
    lanes->refused = true;
    const char *listed = names.data != NULL ? names.data : "none";
    spw_status status =
        matches == 0
            ? spw_error_set(lanes->error, SPW_ERR_ARGUMENT,
                            "no channel is named \"%s\"; --channel takes one of: %s", safe, listed)
            : spw_error_set(lanes->error, SPW_ERR_ARGUMENT,
                            "\"%s\" could be %zu channels; give --channel more of the name: %s",
                            safe, matches, listed);
    spw_text_free(&names);
    return status;
}

/* Is `asked` the end of `name` behind a '.'? */
static bool ends_name(const char *name, const char *asked) {
    size_t n = strlen(name), a = strlen(asked);
    return a > 0 && n > a && name[n - a - 1] == '.' && strcmp(name + n - a, asked) == 0;
}

static bool is_sound(const spw_lanes *lanes) {
    return lanes->n > 0 && lanes->lane[0].info.unit == SPW_UNIT_FULL_SCALE;
}

static spw_status choose_one(spw_lanes *lanes, const char *asked) {
    size_t found = 0, matches = 0;
    for (size_t i = 0; i < lanes->n; i++) {
        if (strcmp(lanes->lane[i].name, asked) == 0) {
            lanes->lane[i].wanted = true;
            return SPW_OK;
        }
        if (ends_name(lanes->lane[i].name, asked)) {
            found = i;
            matches++;
        }
    }
    size_t side = matches == 0 && is_sound(lanes) ? spw_sound_side(asked) : SIZE_MAX;
    if (side < lanes->n) {
        found = side;
        matches = 1;
    }
    if (matches != 1)
        return refuse(lanes, asked, matches);
    lanes->lane[found].wanted = true;
    return SPW_OK;
}

spw_status spw_lanes_choose(spw_lanes *lanes) {
    if (lanes->chosen)
        return SPW_OK;
    lanes->chosen = true;
    for (size_t i = 0; i < lanes->options->n_channels; i++) {
        spw_status status = choose_one(lanes, lanes->options->channels[i]);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

/* --- data --- */

static spw_status need_train(spw_lanes *lanes, spw_lane *lane) {
    if (lane->train != NULL)
        return SPW_OK;
    spw_status status = spw_train_new(lanes->options, lane->info.resolution_s, &lane->train);
    if (status == SPW_OK)
        lane->train->edges_left = &lanes->edges_left;
    const spw_read_options *read = &lanes->options->read;
    if (status == SPW_OK && read->has_rate && lane->info.sampled &&
        fabs(lane->info.resolution_s * read->rate_hz - 1) < 1e-9)
        lane->train->asked_rate_hz = read->rate_hz;
    if (status == SPW_OK && lane->info.widths)
        status = spw_train_read_widths(lane->train, lane->info.resolution_s);
    return status;
}

static spw_status end_fast(spw_lane *lane) {
    uint64_t n = lane->skipped;
    lane->skipped = 0;
    lane->fast = false;
    return spw_train_skipped(lane->train, n, lane->last_s, lane->logic.level == SPW_LEVEL_HIGH);
}

static spw_status one_change(spw_lanes *lanes, spw_lane *lane, const spw_change *change) {
    spw_edge edge;
    if (!spw_logic_edges_step(&lane->logic, change->time_s, change->level, &edge))
        return SPW_OK;
    spw_status status = need_train(lanes, lane);
    if (status == SPW_OK)
        status = spw_train_push(lane->train, &edge, 1);
    if (status != SPW_OK)
        return status;
    lane->fast = lane->train->dropping && !isfinite(lane->train->to_s); /* where it ends counts */
    lane->last_s = change->time_s;
    return SPW_OK;
}

/* A clock's changes, once it is known for one, are only counted. */
static bool skip(const spw_lanes *lanes, spw_lane *lane, const spw_change *change) {
    if (change->level > SPW_LEVEL_HIGH || lane->logic.level > SPW_LEVEL_HIGH ||
        change->time_s - lane->last_s >= lanes->fast_s)
        return false;
    lane->skipped += change->level != lane->logic.level;
    lane->logic.level = change->level;
    lane->last_s = change->time_s;
    return true;
}

static spw_status on_changes(void *context, const spw_change *changes, size_t n) {
    spw_lanes *lanes = context;
    spw_status status = spw_lanes_choose(lanes);
    for (size_t i = 0; i < n && status == SPW_OK; i++) {
        if (changes[i].channel >= lanes->n)
            return SPW_ERR_ARGUMENT;
        spw_lane *lane = &lanes->lane[changes[i].channel];
        if (!lane->wanted)
            continue;
        if (lane->fast) {
            if (skip(lanes, lane, &changes[i]))
                continue;
            status = end_fast(lane);
        }
        if (status == SPW_OK)
            status = one_change(lanes, lane, &changes[i]);
    }
    return status;
}

static spw_status on_readings(void *context, uint32_t index, const spw_reading *readings,
                              size_t n) {
    spw_lanes *lanes = context;
    spw_status status = spw_lanes_choose(lanes);
    if (status == SPW_OK && (index >= lanes->n || !lanes->lane[index].info.widths))
        return SPW_ERR_ARGUMENT;
    if (status != SPW_OK || !lanes->lane[index].wanted)
        return status;
    status = need_train(lanes, &lanes->lane[index]);
    for (size_t i = 0; i < n && status == SPW_OK; i++)
        status = spw_train_reading(lanes->lane[index].train, &readings[i]);
    return status;
}

static spw_status on_edges(void *context, const spw_edge *edges, size_t n) {
    spw_lane *lane = context;
    return spw_train_push(lane->train, edges, n);
}

static size_t sampled_lanes(const spw_lanes *lanes) {
    size_t n = 0;
    for (size_t i = 0; i < lanes->n; i++)
        n += lanes->lane[i].wanted && lanes->lane[i].info.kind == SPW_KIND_ANALOGUE;
    return n > 0 ? n : 1;
}

static spw_status need_finder(spw_lanes *lanes, spw_lane *lane) {
    if (lane->finder != NULL)
        return SPW_OK;
    spw_status status = need_train(lanes, lane);
    if (status != SPW_OK)
        return status;
    if (lane->info.sample_rate_hz > SPW_EDGES_RATE_MAX_HZ) {
        char safe[96];
        const char *name = lane->name;
        lanes->refused = true;
        return spw_error_set(lanes->error, SPW_ERR_LIMIT,
                             "%s has %.10g samples a second, and levels are measured of at most "
                             "%.0f a second; save every %.0fth sample",
                             spw_text_safe(safe, sizeof safe, name, strlen(name)),
                             lane->info.sample_rate_hz, SPW_EDGES_RATE_MAX_HZ,
                             ceil(lane->info.sample_rate_hz / SPW_EDGES_RATE_MAX_HZ));
    }
    spw_edge_settings settings = {.sample_rate_hz = lane->info.sample_rate_hz,
                                  .start_s = lane->info.start_s,
                                  .full_scale = lane->info.full_scale,
                                  .samples_most = SAMPLES_HELD / sampled_lanes(lanes),
                                  .lossy = lane->info.lossy,
                                  .codec_samples = lane->info.codec_samples};
    return spw_edge_finder_new(&settings, on_edges, lane, &lane->finder);
}

/* In a thread of the crew, or the caller's: finder and train are this lane's alone. */
static spw_status analyse(void *context, uint32_t index, const float *samples, size_t n) {
    const spw_lanes *lanes = context;
    spw_lane *lane = &lanes->lane[index];
    return samples != NULL ? spw_edge_finder_push(lane->finder, samples, n)
                           : spw_edge_finder_finish(lane->finder, &lane->report);
}

/* Many samples are shared out among threads; a short capture is not worth them. */
static void engage(spw_lanes *lanes, size_t n) {
    lanes->samples += n;
    if (lanes->crew != NULL || lanes->alone || lanes->samples < WORTH_THREADS)
        return;
    size_t most = lanes->options->threads > 0 ? lanes->options->threads - 1 : SPW_CREW_MOST;
    size_t sampled = sampled_lanes(lanes), hands = most < SPW_CREW_MOST ? most : SPW_CREW_MOST;
    hands = sampled < hands ? sampled : hands;
    for (size_t i = 0, k = 0; i < lanes->n && hands > 0; i++)
        if (lanes->lane[i].wanted && lanes->lane[i].info.kind == SPW_KIND_ANALOGUE)
            lanes->lane[i].hand = k++ % hands;
    lanes->crew = hands > 0 ? spw_crew_new(hands, analyse, lanes) : NULL;
    lanes->alone = lanes->crew == NULL;
}

static spw_status on_samples(void *context, uint32_t index, uint64_t first, const float *values,
                             size_t n) {
    (void)first;
    spw_lanes *lanes = context;
    spw_status status = spw_lanes_choose(lanes);
    if (status != SPW_OK)
        return status;
    if (index >= lanes->n)
        return SPW_ERR_ARGUMENT;
    spw_lane *lane = &lanes->lane[index];
    if (!lane->wanted)
        return SPW_OK;
    status = need_finder(lanes, lane);
    if (status != SPW_OK)
        return status;
    engage(lanes, n);
    return lanes->crew != NULL ? spw_crew_give(lanes->crew, lane->hand, index, values, n)
                               : analyse(lanes, index, values, n);
}

static float *on_place(void *context, uint32_t index, size_t n) {
    const spw_lanes *lanes = context;
    const spw_lane *lane = index < lanes->n ? &lanes->lane[index] : NULL;
    if (lanes->crew == NULL || lane == NULL || lane->finder == NULL)
        return NULL;
    return spw_crew_place(lanes->crew, lane->hand, index, n);
}

static double on_pass_s(void *context, uint32_t index) {
    const spw_lanes *lanes = context;
    const spw_lane *lane = index < lanes->n ? &lanes->lane[index] : NULL;
    if (lane == NULL || !lanes->chosen)
        return 0;
    if (!lane->wanted)
        return INFINITY;
    return lane->fast && lane->logic.level <= SPW_LEVEL_HIGH ? lanes->fast_s : 0;
}

static spw_status on_passed(void *context, uint32_t index, uint64_t n, double last_s,
                            spw_level level) {
    spw_lanes *lanes = context;
    if (index >= lanes->n)
        return SPW_ERR_ARGUMENT;
    spw_lane *lane = &lanes->lane[index];
    if (!lane->wanted)
        return SPW_OK;
    if (!lane->fast)
        return SPW_ERR_ARGUMENT;
    lane->skipped += n;
    lane->logic.level = level;
    lane->last_s = last_s;
    return SPW_OK;
}

spw_sink spw_lanes_sink(spw_lanes *lanes) {
    return (spw_sink){.context = lanes,
                      .channel = on_channel,
                      .changes = on_changes,
                      .samples = on_samples,
                      .pass_s = on_pass_s,
                      .passed = on_passed,
                      .place = on_place,
                      .readings = on_readings};
}

spw_status spw_lanes_end(spw_lanes *lanes) {
    spw_status status = spw_lanes_choose(lanes);
    for (size_t i = 0; i < lanes->n && status == SPW_OK; i++) {
        spw_lane *lane = &lanes->lane[i];
        if (!lane->wanted)
            continue;
        status = need_train(lanes, lane);
        if (status == SPW_OK && lane->skipped > 0)
            status = end_fast(lane);
        if (status == SPW_OK && lane->info.kind == SPW_KIND_ANALOGUE)
            status = need_finder(lanes, lane);
        if (status == SPW_OK && lane->finder != NULL)
            status = lanes->crew != NULL ? spw_crew_last(lanes->crew, lane->hand, (uint32_t)i)
                                         : analyse(lanes, (uint32_t)i, NULL, 0);
    }
    spw_status done = spw_crew_end(lanes->crew, status != SPW_OK);
    lanes->crew = NULL;
    return status != SPW_OK ? status : done;
}

void spw_lanes_free(spw_lanes *lanes) {
    (void)spw_crew_end(lanes->crew, true);
    lanes->crew = NULL;
    for (size_t i = 0; i < lanes->n; i++) {
        free(lanes->lane[i].name);
        spw_train_free(lanes->lane[i].train);
        spw_edge_finder_free(lanes->lane[i].finder);
    }
    free(lanes->lane);
    lanes->lane = NULL;
    lanes->n = lanes->room = 0;
}
