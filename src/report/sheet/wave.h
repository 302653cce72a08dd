/* The samples of one pulse, read again from its capture. */
#ifndef SPW_REPORT_SHEET_WAVE_H
#define SPW_REPORT_SHEET_WAVE_H

#include "spanwright/report.h"

#define SPW_WAVE_MAX 4096 /* samples shown */

typedef struct spw_wave {
    size_t n;                 /* 0: there are none to show */
    double first_us, step_us; /* instant of the first, from the pulse's lead edge; spacing */
    float value[SPW_WAVE_MAX];
} spw_wave;

/* Reads what lies within `beside_us` of the pulse. The measurement keeps no samples, and a pipe
 * cannot be read again: wave->n is then 0, as for a logic channel, for a name that several
 * channels share, and for a file that can no longer be read. Reading ends behind the pulse. */
void spw_wave_read(const spw_plan_source *source, const spw_read_options *options,
                   const spw_pulse *pulse, double beside_us, spw_wave *wave);

#endif
