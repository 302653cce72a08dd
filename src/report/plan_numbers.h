/* The numbers of a plan: remap, integer constants, effect, joint. */
#ifndef SPW_REPORT_PLAN_NUMBERS_H
#define SPW_REPORT_PLAN_NUMBERS_H

#include "report/page.h"

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
