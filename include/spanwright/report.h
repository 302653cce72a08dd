/* spanwright: results as text for people, JSON and CSV. */
#ifndef SPANWRIGHT_REPORT_H
#define SPANWRIGHT_REPORT_H

#include "adapter.h"

#ifdef __cplusplus
extern "C" {
#endif
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

typedef struct spw_text_style {
    bool colour;    /* ANSI colours, never the only carrier of meaning */
    unsigned width; /* columns, 80 when 0 */
} spw_text_style;

/* measure: schema spanwright.measure/1.
 *   captures   n measured captures
 *   digests    n hex digests (NULL entries allowed), or NULL */
spw_status spw_report_measure_json(const spw_capture *const *captures, size_t n,
                                   const char *const *digests, double neutral_us,
                                   spw_text *out) SPW_CHECKED;
/* For people: what was measured and not resolved, period, widths, step, clock, polarity, events. */
spw_status spw_report_measure_text(const spw_capture *const *captures, size_t n,
                                   const char *const *digests, const spw_bench *bench,
                                   const spw_text_style *style, spw_text *out) SPW_CHECKED;

/* Where a plan's span was measured: a capture, its channel, its digest or NULL. */
typedef struct spw_plan_source {
    const spw_capture *capture;
    const spw_channel *channel;
    const char *digest;
} spw_plan_source;

/* plan: schema spanwright.plan/1.
 *   sources  n captures that the span was measured from; none for a span given by hand */
spw_status spw_report_plan_json(const spw_plan *plan, const spw_plan_source *sources, size_t n,
                                spw_text *out) SPW_CHECKED;
/* For people, in the order of the work: measured and not resolved; widths; clock, polarity and
 * events; verdict; adapter, effect and joint; what to do next. */
spw_status spw_report_plan_text(const spw_plan *plan, const spw_plan_source *sources, size_t n,
                                const spw_text_style *style, spw_text *out) SPW_CHECKED;

/* The plan's remap as a self-contained C99 header for the adapter's program:
 * constants, the function, input plausibility and failsafe hooks, a table of
 * inputs and outputs in a comment. What spw_plan_integers_check says against it is
 * returned. */
spw_status spw_plan_emit_c(const spw_plan *plan, spw_text *out) SPW_CHECKED;

/* Reads what an adapter should do from a file that `plan --json` wrote. Errors name the
 * field; SPW_ERR_EMPTY when the plan has no remap. */
spw_status spw_planned_read(const char *path, spw_planned *planned, spw_error *error) SPW_CHECKED;
/* verify: schema spanwright.verify/1. */
spw_status spw_report_verify_json(const spw_verification *verification, spw_text *out) SPW_CHECKED;
/*   before, after  names of the two lines, raw bytes */
spw_status spw_report_verify_text(const spw_verification *verification, const char *before,
                                  const char *after, const spw_text_style *style,
                                  spw_text *out) SPW_CHECKED;

/* What an inspection sheet is made from; all borrowed. */
typedef struct spw_sheet_facts {
    const spw_plan *plan;
    const spw_plan_source *sources; /* n, at least one: what the plan was measured from */
    size_t n;
    const spw_bench *bench;
    const spw_measure_options *options;
    const char *command; /* as it was called, or NULL */
    const char *date;    /* YYYY-MM-DD; NULL or "": a line to write it on */
    /* files that other commands wrote with --json, or NULL */
    const char *plan_file;     /* plan: the adapter as it was planned */
    const char *verified_file; /* verify: what it was seen to do */
    const char *earlier_file;  /* measure: an earlier measurement to set beside */
} spw_sheet_facts;
/* One HTML page without script or anything from outside; the same facts give the same bytes.
 * Errors of the files name the file and the field. */
spw_status spw_report_sheet(const spw_sheet_facts *facts, spw_text *out,
                            spw_error *error) SPW_CHECKED;

/* A row a pulse: channel,index,lead_s,trail_s,width_us,u_width_us,period_us,flags.
 * Streams into `out`; flags are words joined by '|'. */
spw_status spw_report_pulses_csv(const spw_capture *const *captures, size_t n, spw_output *out,
                                 spw_error *error) SPW_CHECKED;

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
