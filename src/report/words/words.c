/* A capture and its signal, in words. */
#include "report/words/words.h"

#include "report/fields/fields.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *format_words(spw_format format) {
    switch (format) {
    case SPW_FORMAT_VCD:
        return "value change dump (VCD)";
    case SPW_FORMAT_TABLE:
        return "table";
    case SPW_FORMAT_RAW:
        return "raw logic bytes";
    case SPW_FORMAT_AUDIO:
        break;
    }
    return "sound recording";
}

static void join(spw_text *text, const spw_notes *notes) {
    for (size_t i = 0; i < notes->n; i++) {
        spw_text_puts(text, i == 0 ? "; " : ", ");
        spw_text_puts(text, notes->text[i]);
    }
    spw_text_append(text, "", 0);
}

double spw_judged_from_s(const spw_capture *capture) {
    return capture->from_s > 0.0 ? capture->from_s : 0.0;
}

double spw_judged_to_s(const spw_capture *capture) {
    double end_s = capture->summary.duration_s;
    return capture->to_s > 0.0 && capture->to_s < end_s ? capture->to_s : end_s;
}

bool spw_event_is_rim(const spw_capture *capture, const spw_event *event) {
    double end_s = event->at_s + event->value_us * 1e-6;
    return event->kind == SPW_EVENT_CUT_PULSE &&
           (event->at_s <= spw_judged_from_s(capture) || end_s >= spw_judged_to_s(capture) - 1e-6);
}

bool spw_judged_in_part(const spw_capture *capture) {
    return capture->from_s > 0.0 || capture->to_s > 0.0;
}

void spw_describe_capture(const spw_page *page, const spw_capture *capture, const char *digest) {
    const spw_capture_summary *summary = &capture->summary;
    spw_shown name = spw_shown_name(capture->file, 200);
    spw_page_title(page, "%s", strcmp(name.text, "-") == 0 ? "standard input" : name.text);
    if (summary->truncated)
        spw_page_warn(page, "This capture ends early or is damaged; the answer is for the part "
                            "before.");
    for (size_t i = 0; i < summary->warnings.n; i++)
        spw_page_warn(page, "%s", summary->warnings.text[i]);
    spw_text how = {0};
    join(&how, &summary->recognised);
    if (spw_text_status(&how) != SPW_OK)
        page->out->failed = true;
    else
        spw_page_row(page, "Capture", "%s, %s, %" PRIu32 " %s%s", format_words(summary->format),
                     spw_figure_plain(summary->duration_s, 5, "s").text, summary->channels,
                     summary->channels == 1 ? "channel" : "channels", how.data);
    spw_text_free(&how);
    if (spw_judged_in_part(capture))
        spw_page_row(page, "Judged", "from %s to %s only, as --from and --to say",
                     spw_figure_plain(spw_judged_from_s(capture), 9, "s").text,
                     spw_figure_plain(spw_judged_to_s(capture), 9, "s").text);
    spw_page_row(page, "Time base", "%s standard uncertainty (each ± is a 95 %% interval)%s%s",
                 spw_figure_plain(capture->timebase_ppm, 3, "ppm").text,
                 capture->clock_correction == 1.0 ? "" : "; times corrected by a factor of ",
                 capture->clock_correction == 1.0
                     ? ""
                     : spw_figure_fixed(capture->clock_correction, 7).text);
    if (digest != NULL)
        spw_page_row(page, "SHA-256", "%s", digest);
}

/* The largest line of an uncertainty budget, and what would make it smaller. */
static const char *largest_line(const spw_budget *budget, bool read, double *u) {
    const struct {
        double u;
        const char *name;
    } lines[] = {
        {budget->u_scatter, "scatter of the pulses (more frames lower it)"},
        {budget->u_wander, "the level, which wanders by itself (find what moves it)"},
        {budget->u_sampling, read ? "the step of the instrument that read the widths"
                                  : "sampling (a higher sample rate lowers it)"},
        {budget->u_timebase,
         "the recorder's time base (--known-frame-us, or a checked recorder, lowers it)"},
        {budget->u_template, "the edge shape learned from the recording (more pulses lower it)"},
        {budget->u_asymmetry, "unequal rise and fall of the recorded line (a logic capture has "
                              "none)"},
    };
    const char *name = NULL;
    *u = 0.0;
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        if (!(lines[i].u > *u))
            continue;
        *u = lines[i].u;
        name = lines[i].name;
    }
    return name;
}

static const spw_hold *longest_hold(const spw_channel *channel) {
    const spw_hold *longest = NULL;
    for (size_t i = 0; i < channel->holds; i++)
        if (spw_hold_judged(channel, &channel->hold[i]) &&
            (longest == NULL || channel->hold[i].pulses > longest->pulses))
            longest = &channel->hold[i];
    return longest;
}

static void describe_budget(const spw_page *page, const spw_channel *channel) {
    const spw_hold *hold = longest_hold(channel);
    if (hold == NULL)
        return;
    double u;
    const char *name = largest_line(&hold->budget, channel->signal == SPW_SIGNAL_WIDTHS, &u);
    if (name != NULL)
        spw_page_row(page, "Uncertainty", "largest part at %s: %s, %s of u = %s",
                     spw_figure_known(hold->width_us.mean, hold->width_us.U95, "us").text, name,
                     spw_figure_digits(u, 2, "us").text,
                     spw_figure_digits(hold->width_us.u, 2, "us").text);
}

static void describe_analogue(const spw_page *page, const spw_channel *channel) {
    static const char *const method[] = {
        "no edges: too little signal",
        "counted in samples: the signal is too fast for its sampling",
        "crossings of the local 50 % level, between samples",
        "fitted with the edge shape learned from the recording",
    };
    if (!channel->has_edge_report)
        return;
    const spw_edge_report *report = &channel->edge_report;
    bool volts = channel->unit == SPW_UNIT_VOLT;
    spw_page_row(page, "Edges", "%s", method[report->method]);
    if (isfinite(report->low) && isfinite(report->high))
        spw_page_row(page, "Levels", "%s and %s, noise %s rms%s",
                     spw_figure_digits(report->low, 3, volts ? "V" : "").text,
                     spw_figure_digits(report->high, 3, volts ? "V" : "").text,
                     spw_figure_digits(report->noise_sd, 2, volts ? "V" : "").text,
                     volts ? "" : " of full scale; a sound card cannot see volts");
    if (report->hum_hz > 0.0)
        spw_page_row(page, "Hum", "%s of mains removed",
                     spw_figure_plain(report->hum_hz, 3, "Hz").text);
}

/* The scatter that the capture alone would show: of the longest hold. */
static double sampling_floor(const spw_channel *channel) {
    const spw_hold *hold = longest_hold(channel);
    return hold != NULL ? hold->width_us.floor : channel->width_us.floor;
}

void spw_describe_measured(const spw_page *page, const spw_capture *capture,
                           const spw_channel *channel) {
    bool read = channel->signal == SPW_SIGNAL_WIDTHS;
    spw_page_row(page, "Measured", "%zu %s, %zu of them counted, in %zu %s; %s", channel->pulses,
                 read ? "readings" : "pulses", channel->counted, channel->holds,
                 channel->holds == 1 ? "hold" : "holds",
                 read                              ? "a table of widths"
                 : channel->kind == SPW_KIND_LOGIC ? "logic channel"
                                                   : "analogue channel");
    describe_analogue(page, channel);
    spw_describe_trust(page, capture, channel);
    double floor_us = sampling_floor(channel);
    const char *step =
        channel->kind == SPW_KIND_LOGIC ? "instants between steps of" : "detail between samples of";
    if (read)
        spw_page_row(page, "Not resolved",
                     "widths between steps of %s; what the instrument that read them is off by",
                     spw_figure_plain(channel->resolution_us, 3, "us").text);
    else if (isfinite(channel->resolution_us))
        spw_page_row(page, "Not resolved",
                     "%s %s; scatter of a width below %s; a clock error common to controller "
                     "and recorder (%s assumed)",
                     step, spw_figure_plain(channel->resolution_us, 3, "us").text,
                     spw_figure_digits(floor_us, 2, "us").text,
                     spw_figure_plain(capture->timebase_ppm, 3, "ppm").text);
    else
        spw_page_row(page, "Not resolved",
                     "the capture does not say in which steps its times were taken; scatter of "
                     "a width below %s",
                     spw_figure_digits(floor_us, 2, "us").text);
    describe_budget(page, channel);
}

void spw_describe_frame(const spw_page *page, const spw_channel *channel) {
    const spw_summary *period = &channel->period_us;
    if (period->n == 0) {
        spw_page_row(page, "Frame", "not known: %s",
                     channel->signal == SPW_SIGNAL_WIDTHS ? "the rows do not come frame by frame"
                                                          : "no two pulses follow each other");
        return;
    }
    spw_page_row(page, "Frame", "%s (%s), from %s to %s",
                 spw_figure_pm(period->mean, period->U95, "us").text,
                 spw_figure_digits(channel->frame_rate_hz, 5, "Hz").text,
                 spw_figure_unit(period->min, 2, "").text,
                 spw_figure_unit(period->max, 2, "us").text);
    if (isfinite(channel->period_jitter_pp_us))
        spw_page_row(page, "Frame jitter", "%s peak to peak; cycle to cycle %s rms, %s peak",
                     spw_figure_digits(channel->period_jitter_pp_us, 2, "us").text,
                     spw_figure_digits(channel->cycle_to_cycle_rms_us, 2, "us").text,
                     spw_figure_digits(channel->cycle_to_cycle_peak_us, 2, "us").text);
}

static void end_row(const spw_page *page, const char *label, const spw_span_point *point) {
    spw_figure figure = spw_figure_pm(point->us, point->U95, "us");
    bool doubted = point->doubt.what != 0;
    const char *before = doubted ? "; in doubt: " : "",
               *why = doubted ? spw_doubt_words(point->doubt.what) : "";
    if (point->frames > 0)
        spw_page_row(page, label, "%s, %zu frames%s%s", figure.text, point->frames, before, why);
    else
        spw_page_row(page, label, "%s%s%s", figure.text, before, why);
}

void spw_describe_ends(const spw_page *page, const spw_span *span) {
    end_row(page, "Low end", &span->low);
    if (isfinite(span->neutral.us))
        end_row(page, "Neutral", &span->neutral);
    else
        spw_page_row(page, "Neutral", "%s",
                     span->basis == SPW_SPAN_GIVEN ? "not given" : "no hold near it");
    end_row(page, "High end", &span->high);
    if (span->left_out > 0)
        spw_page_row(page, "", "%zu %s in doubt left out of the levels: %s", span->left_out,
                     span->left_out == 1 ? "hold" : "holds",
                     spw_doubt_words(span->left_doubt.what));
    if (span->basis == SPW_SPAN_EXTREMES)
        spw_page_row(page, "",
                     "The width never stood still: the ends are the 1 and 99 %% "
                     "quantiles of a sweep.");
    if (isfinite(span->saturates_high_us))
        spw_page_row(page, "Saturates", "at %s: the source goes no higher",
                     spw_figure_known(span->saturates_high_us, span->high.U95, "us").text);
    if (isfinite(span->saturates_low_us))
        spw_page_row(page, "Saturates", "at %s: the source goes no lower",
                     spw_figure_known(span->saturates_low_us, span->low.U95, "us").text);
}

void spw_describe_step(const spw_page *page, const spw_span *span) {
    double with_odd_us = span->odd.pulses > 0 ? span->odd.sd_with_us : (double)NAN;
    if (isfinite(span->jitter_rms_us))
        spw_page_row(page, "Width jitter", "%s rms within the holds%s%s%s",
                     spw_figure_digits(span->jitter_rms_us, 2, "us").text,
                     span->jitter_rms_us <= span->floor_us
                         ? "; no more than the capture itself would show"
                         : "",
                     isfinite(with_odd_us) ? "; with the odd pulses " : "",
                     isfinite(with_odd_us) ? spw_figure_digits(with_odd_us, 2, "us").text : "");
    if (isfinite(span->step_us) && span->step_us > 0.0 && span->known)
        spw_page_row(page, "Step", "%s: %s steps over the span",
                     spw_figure_digits(span->step_us, 4, "us").text,
                     spw_figure_fixed((span->high.us - span->low.us) / span->step_us, 0).text);
    else if (isfinite(span->step_us))
        spw_page_row(page, "Step", "%s", spw_figure_digits(span->step_us, 4, "us").text);
    else if (span->basis != SPW_SPAN_GIVEN)
        spw_page_row(page, "Step", "not known: the widths seen do not show one");
}

double spw_covered_percent(const spw_servo *servo, double low_us, double high_us) {
    double low = fmax(low_us, servo->expected_low_us),
           high = fmin(high_us, servo->expected_high_us);
    double range = servo->expected_high_us - servo->expected_low_us;
    if (!isfinite(low) || !isfinite(high) || !(range > 0.0))
        return NAN;
    return 100.0 * fmax(0.0, high - low) / range;
}
