/* The parts of the inspection sheet, in the order of the page. */
#ifndef SPW_REPORT_SHEET_SHEET_H
#define SPW_REPORT_SHEET_SHEET_H

#include "report/json/json.h"
#include "report/sheet/html.h"

struct spw_sheet {
    spw_text *out;
    const spw_sheet_facts *facts;
    spw_planned adapter; /* the adapter: of --plan, else of today's plan; known tells */
    bool adapter_read;   /* it came from a file */
    spw_verified verified;
    spw_earlier earlier;
};

/* The style and the policy that lets in nothing else. */
void spw_sheet_style(spw_text *out);

void spw_sheet_head(spw_sheet *sheet);    /* identity, verdict, advice */
void spw_sheet_reach(spw_sheet *sheet);   /* the spans as bars */
void spw_sheet_changes(spw_sheet *sheet); /* beside an earlier measurement */
void spw_sheet_signal(spw_sheet *sheet);  /* widths, scatter, pulse, frame period */
void spw_sheet_time(spw_sheet *sheet);
void spw_sheet_scatter(spw_sheet *sheet);
void spw_sheet_pulse(spw_sheet *sheet);
void spw_sheet_period(spw_sheet *sheet);
void spw_sheet_adapter(spw_sheet *sheet); /* the line, and what was seen of it */
void spw_sheet_joint(spw_sheet *sheet);
void spw_sheet_figures(spw_sheet *sheet); /* figures, budget, holds, events */
void spw_sheet_record(spw_sheet *sheet);  /* settings, command, digests, what is not shown */
void spw_sheet_close(spw_sheet *sheet);   /* cautions and signatures */

/* sheet_doubt.c: " *" behind a figure in doubt, else nothing; the reason on a line of its own;
 * the stretches of a recording, marked between `top` and the axis at `bottom`; from when to when
 * it can be trusted. */
const char *spw_sheet_star(const spw_doubt *doubt);
void spw_sheet_doubted(spw_sheet *sheet, const spw_doubt *doubt);
void spw_sheet_draw_doubts(const spw_draw *draw, const spw_axis *x, double top, double bottom,
                           const spw_channel *channel);
void spw_sheet_trust(spw_sheet *sheet, const spw_plan_source *source);

#endif
