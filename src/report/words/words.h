/* What answers in words share: a capture, what it cannot resolve, its frame,
 * clock, polarity and events, in rows of a page. */
#ifndef SPW_REPORT_WORDS_WORDS_H
#define SPW_REPORT_WORDS_WORDS_H

#include "report/text/text.h"

/* Where the stretch that is judged begins and ends: the capture itself, unless chosen. */
double spw_judged_from_s(const spw_capture *capture);
double spw_judged_to_s(const spw_capture *capture);
bool spw_judged_in_part(const spw_capture *capture); /* was it chosen? */
/* "captures/x.vcd": title, format, time base, digest, warnings. */
void spw_describe_capture(const spw_page *page, const spw_capture *capture, const char *digest);
/* Pulses and holds seen; then what this capture cannot resolve. */
void spw_describe_measured(const spw_page *page, const spw_capture *capture,
                           const spw_channel *channel);
/* From when to when a recording can be trusted, in one row; nothing of a logic capture that is. */
void spw_describe_trust(const spw_page *page, const spw_capture *capture,
                        const spw_channel *channel);
/* "from 0 to 31.98 s and from 40 to 60 s; in doubt: from 31.98 to 40 s (the recording clips)". */
void spw_trust_words(const spw_capture *capture, const spw_channel *channel, spw_text *text);
void spw_describe_frame(const spw_page *page, const spw_channel *channel);
/* Low end, neutral, high end of a span that is known. */
void spw_describe_ends(const spw_page *page, const spw_span *span);
void spw_describe_step(const spw_page *page, const spw_span *span);
void spw_describe_clock(const spw_page *page, const spw_clock *clock);
void spw_describe_polarity(const spw_page *page, const spw_channel *channel);
/* The regimes, where there are several, each with its own span and the command that judges
 * it by itself. */
void spw_describe_stretches(const spw_page *page, const spw_capture *capture,
                            const spw_channel *channel);
/* Missing and joined pulses (also when there are none), other events,
 * and the line after its last frame. */
void spw_describe_events(const spw_page *page, const spw_capture *capture,
                         const spw_channel *channel);
/* Is it only the recording that begins or ends in a pulse? No fault of the line. */
bool spw_event_is_rim(const spw_capture *capture, const spw_event *event);

/* Where the recorder broke time; nothing where it did not. */
void spw_describe_broken_time(const spw_page *page, const spw_channel *channel);

/* Percent of the expected range that low .. high covers. */
double spw_covered_percent(const spw_servo *servo, double low_us, double high_us);

/* The numbers of a plan: remap, integer constants, effect, joint. */
typedef struct spw_formula {
    char text[320];
} spw_formula;
/* "out = ((in * 262151 - 196555488) >> 17)", written so that no step is negative: see
 * spw_fixed_segment. */
spw_formula spw_plan_formula(const spw_fixed_segment *part);

/* What a person should know of a product that no word of the adapter holds. */
extern const char spw_plan_by_bytes[];

void spw_plan_numbers(const spw_page *page, const spw_plan *plan);

#endif
