#include "fuzz/judged.h"

#include "fuzz/shared.h"
#include "report/json/json.h"

#include <math.h>
#include <string.h>

static void done(spw_status status) {
    fuzz_promise(status == SPW_OK, "what was measured can be written");
}

/* --- the plan --- */

static void check_remap(const spw_remap *map) {
    for (int i = -1; i < 40; i++) {
        double out = spw_remap_apply(map, i * 100.0);
        fuzz_promise(out >= map->clamp_low_us && out <= map->clamp_high_us, "outputs are clamped");
    }
    fuzz_promise(map->clamp_low_us < map->clamp_high_us, "clamps in order");
    fuzz_promise(map->segments >= 1 && map->segments <= 2, "one or two segments");
    for (size_t i = 0; i < map->segments; i++)
        fuzz_promise(isfinite(map->segment[i].gain) && isfinite(map->segment[i].offset_us) &&
                         map->segment[i].from_us < map->segment[i].to_us,
                     "segments are lines");
}

static void check_constants(const spw_plan *plan) {
    const spw_fixed_point *f = &plan->fixed_point;
    double reach = f->worst_error_us + f->tick_us; /* the input falls between two ticks */
    if (!f->known)
        return;
    fuzz_promise(f->widest_product_bits <= f->word_bits, "no product leaves the word");
    for (uint64_t in = 0; in < 70000; in += 997) {
        uint32_t out = spw_fixed_point_apply(f, in);
        fuzz_promise(out >= f->clamp_out_low && out <= f->clamp_out_high, "ticks are clamped");
        double exact = spw_remap_apply(&plan->remap, (double)in * f->tick_us);
        double slope = fmax(fabs(plan->remap.segment[0].gain), fabs(plan->remap.segment[1].gain));
        fuzz_promise(fabs(out * f->tick_us - exact) <= reach * (1 + slope) + 1e-6,
                     "ticks follow the line");
    }
}

static void same_remap(const spw_remap *a, const spw_remap *b) {
    bool same = a->kind == b->kind && a->segments == b->segments && fuzz_alike(a->gain, b->gain) &&
                fuzz_alike(a->offset_us, b->offset_us) &&
                fuzz_alike(a->clamp_low_us, b->clamp_low_us) &&
                fuzz_alike(a->clamp_high_us, b->clamp_high_us);
    for (size_t i = 0; same && i < a->segments; i++)
        same = fuzz_alike(a->segment[i].from_us, b->segment[i].from_us) &&
               fuzz_alike(a->segment[i].to_us, b->segment[i].to_us) &&
               fuzz_alike(a->segment[i].gain, b->segment[i].gain) &&
               fuzz_alike(a->segment[i].offset_us, b->segment[i].offset_us);
    fuzz_promise(same, "a plan read back is the plan");
}

static void read_back(const spw_plan *plan, const spw_text *json) {
    spw_planned planned = spw_planned_none();
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_planned_read(fuzz_file(3, json->data, json->length), &planned, &error);
    fuzz_promise(status == (plan->has_remap ? SPW_OK : SPW_ERR_EMPTY), "a plan can be read back");
    if (status != SPW_OK) {
        fuzz_error_said(&error, status);
        return;
    }
    fuzz_promise(planned.known, "a plan read back is known");
    fuzz_promise(fuzz_alike(planned.tick_us, plan->adapter.tick_us) &&
                     fuzz_alike(planned.clock_ppm, plan->adapter.clock_ppm),
                 "the adapter's tick and clock are read back");
    same_remap(&plan->remap, &planned.remap);
}

static void check_header(const spw_plan *plan) {
    spw_text text = {0};
    spw_status status = spw_plan_emit_c(plan, &text), usable = spw_plan_integers_check(plan, NULL);
    fuzz_promise(status == usable, "a header where there are constants that may be used");
    if (status == SPW_OK) {
        fuzz_shown(text.data, text.length);
        size_t begun = 0, ended = 0;
        for (const char *c = text.data; (c = strstr(c, "/*")) != NULL; c += 2)
            begun++;
        for (const char *c = text.data; (c = strstr(c, "*/")) != NULL; c += 2)
            ended++;
        fuzz_promise(begun == ended, "comments of the header are closed once");
    }
    spw_text_free(&text);
}

void fuzz_check_plan(const spw_plan *plan, const spw_plan_source *sources, size_t n) {
    spw_text json = {0}, text = {0};
    spw_text_style style = {.width = 0};
    if (plan->has_remap) {
        check_remap(&plan->remap);
        check_constants(plan);
    }
    done(spw_report_plan_json(plan, sources, n, &json));
    fuzz_json(json.data, json.length);
    read_back(plan, &json);
    done(spw_report_plan_text(plan, sources, n, &style, &text));
    fuzz_shown(text.data, text.length);
    check_header(plan);
    spw_text_free(&json);
    spw_text_free(&text);
}

/* --- the measurement --- */

static void check_pulses(const spw_channel *channel, double end_s) {
    double last = 0;
    for (size_t i = 0; i < channel->pulses; i++) {
        const spw_pulse *pulse = &channel->pulse[i];
        fuzz_promise(pulse->lead_s >= last && pulse->trail_s >= pulse->lead_s, "pulses in order");
        last = pulse->trail_s;
    }
    (void)end_s;
    fuzz_promise(channel->counted <= channel->pulses, "no more counted than there are");
    for (size_t i = 0; i < channel->holds; i++) {
        const spw_hold *hold = &channel->hold[i];
        fuzz_promise(hold->first_pulse <= hold->end_pulse && hold->end_pulse <= channel->pulses &&
                         hold->pulses <= hold->end_pulse - hold->first_pulse,
                     "holds are made of pulses");
        fuzz_promise(hold->width_us.mean > 0 && isfinite(hold->width_us.mean),
                     "holds have a width");
        fuzz_promise(!(hold->width_us.u < 0) && !(hold->width_us.U95 < hold->width_us.u),
                     "an expanded uncertainty is the larger one");
    }
    for (size_t i = 0; i < channel->regimes; i++)
        fuzz_promise(channel->regime[i].end_pulse <= channel->pulses, "regimes are made of pulses");
    fuzz_promise(channel->events <= SPW_EVENTS_MAX, "a bounded list of events");
}

/* A figure that is not known is a word or left out, never "nan". */
static void says_no_nan(const char *sentence) {
    for (const char *at = sentence; (at = strstr(at, "nan")) != NULL; at += 3) {
        bool word = (at == sentence || at[-1] == ' ' || at[-1] == '-' || at[-1] == '(') &&
                    (at[3] == '\0' || at[3] == ' ' || at[3] == ',' || at[3] == ')');
        fuzz_promise(!word, "no sentence holds nan");
    }
}

static void check_channel(const spw_channel *channel, double end_s) {
    bool pulses = spw_signal_has_pulses(channel->signal);
    fuzz_promise(channel->name != NULL && channel->name[0] != '\0', "channels have a name");
    fuzz_promise(pulses == (channel->reason == NULL), "a reason where there are no pulses");
    if (channel->reason != NULL)
        fuzz_shown(channel->reason, strlen(channel->reason));
    says_no_nan(channel->reason != NULL ? channel->reason : "");
    for (size_t i = 0; i < channel->warnings.n; i++)
        fuzz_shown(channel->warnings.text[i], strlen(channel->warnings.text[i]));
    for (size_t i = 0; i < channel->warnings.n; i++)
        says_no_nan(channel->warnings.text[i]);
    check_pulses(channel, end_s);
    if (pulses) {
        fuzz_promise(channel->regimes > 0 && channel->main_regime < channel->regimes,
                     "a main regime");
        fuzz_promise(channel->width_us.mean > 0, "a width");
    }
}

/* The earlier measurement that a sheet would show. */
static void measured_back(const spw_capture *capture, const spw_text *json) {
    const spw_channel *only = NULL;
    size_t found = 0;
    for (size_t i = 0; i < capture->channels; i++)
        if (spw_signal_has_pulses(capture->channel[i].signal)) {
            only = &capture->channel[i];
            found++;
        }
    if (found != 1)
        return;
    spw_earlier earlier = {0};
    spw_error error;
    spw_error_clear(&error);
    fuzz_promise(spw_earlier_read(fuzz_file(3, json->data, json->length), only->name, &earlier,
                                  &error) == SPW_OK,
                 "a measurement can be read back");
    fuzz_promise(fuzz_alike(earlier.period_us, only->period_us.mean), "with its period");
    spw_span span;
    done(spw_span_build(&only, 1, 1500, &span));
    fuzz_promise(fuzz_alike(earlier.low_us, span.known ? span.low.us : (double)NAN) &&
                     fuzz_alike(earlier.high_us, span.known ? span.high.us : (double)NAN),
                 "and its span");
    spw_earlier_free(&earlier);
}

void fuzz_check_measured(const spw_capture *capture, const spw_bench *bench, spw_text *json) {
    spw_text text = {0};
    spw_text_style style = {.width = 0};
    for (size_t i = 0; i < capture->channels; i++)
        check_channel(&capture->channel[i], capture->summary.duration_s);
    done(spw_report_measure_json(&capture, 1, NULL, 1500, json));
    fuzz_json(json->data, json->length);
    measured_back(capture, json);
    done(spw_report_measure_text(&capture, 1, NULL, bench, &style, &text));
    fuzz_shown(text.data, text.length);
    spw_text_free(&text);
}

/* --- the fitted adapter --- */

static void verified_back(const spw_verification *v, const spw_text *json) {
    spw_verified verified = {0};
    spw_error error;
    spw_error_clear(&error);
    fuzz_promise(spw_verified_read(fuzz_file(3, json->data, json->length), &verified, &error) ==
                     SPW_OK,
                 "a verification can be read back");
    fuzz_promise(verified.pass == v->pass && verified.pairs == v->pairs &&
                     verified.checks == v->checks && fuzz_alike(verified.gain, v->gain) &&
                     fuzz_alike(verified.offset_us, v->offset_us),
                 "with its line and its verdict");
    spw_verified_free(&verified);
}

spw_verification *fuzz_check_verify(const spw_channel *before, const spw_channel *after,
                                    const spw_planned *planned, spw_text *json) {
    spw_verification *v = NULL;
    spw_text text = {0};
    spw_text_style style = {.width = 0};
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_verify(before, after, true, planned, &v, &error);
    if (status != SPW_OK) {
        fuzz_error_said(&error, status);
        return NULL;
    }
    fuzz_promise(v->checks <= SPW_CHECKS_MAX, "a bounded list of checks");
    done(spw_report_verify_json(v, json));
    fuzz_json(json->data, json->length);
    verified_back(v, json);
    done(spw_report_verify_text(v, before->name, after->name, &style, &text));
    fuzz_shown(text.data, text.length);
    spw_text_free(&text);
    return v;
}

void fuzz_check_sheet(const spw_sheet_facts *facts) {
    spw_text page = {0};
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_report_sheet(facts, &page, &error);
    if (status == SPW_OK)
        fuzz_page(page.data, page.length);
    else
        fuzz_error_said(&error, status);
    spw_text_free(&page);
}
