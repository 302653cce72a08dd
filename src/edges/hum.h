/* Hum of the mains: a line and its multiples, in rows of plateaus.
 *
 * What else is left on plateaus must not be called hum: a third coupling corner, noise that
 * rises to low frequencies, the converter's steps. So the lines are looked for beside a
 * coupling of three corners; the best frequency must stand out of those about it, where no
 * mains is; and what the lines explain must be more than the converter's steps can. */
#ifndef SPW_HUM_H
#define SPW_HUM_H

#include "edges/bins.h"
#include "edges/plateau.h"

extern const int spw_hum_lines[SPW_HUM_LINES];

/* Lines of the hum into *smooth, or hum 0 there.
 *   known  its frequency so far, radians a sample; 0: it is looked for at 50, 60 and 16.7 Hz
 *   droop  the coupling is free; else it has been taken out of the rows */
spw_status spw_hum_fit(const spw_trace *trace, const spw_mark *marks, size_t n, spw_bins *bins,
                       const spw_plateau_signal *signal, double known, bool droop,
                       spw_smooth *smooth) SPW_CHECKED;

/* Peak of the strongest line as the samples hold it; 0 without hum. */
double spw_hum_amplitude(const spw_smooth *smooth);

#endif
