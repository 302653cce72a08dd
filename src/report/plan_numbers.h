/* The numbers of a plan: remap, integer constants, effect, joint. */
#ifndef SPW_REPORT_PLAN_NUMBERS_H
#define SPW_REPORT_PLAN_NUMBERS_H

#include "report/page.h"

void spw_plan_numbers(const spw_page *page, const spw_plan *plan);

#endif
