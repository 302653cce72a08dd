/* Simulated trains taken through the measurement as a recorder would. */
#ifndef TEST_MEASURED_H
#define TEST_MEASURED_H

#include "sim/train.h"
#include "spanwright/pulses.h"

/* Measures `train` as seen at rate_hz (0: exact edges) with `phase` (0..1).
 *   options   NULL: the defaults with a perfect time base (0 ppm)
 * Ends the program on failure: a test cannot go on. Free with spw_channel_clear. */
spw_channel measured_train(const sim_train *train, double rate_hz, double phase,
                           const spw_measure_options *options);
/* The same from a spec. */
spw_channel measured(const sim_train_spec *spec, double rate_hz, double phase,
                     const spw_measure_options *options);
/* From n widths of one's own, a frame each, counted by a recorder of rate_hz (0: exact) that
 * starts 10 ms and `phase` of a sample before the first. */
spw_channel measured_widths(const double *us, size_t n, double period_us, double rate_hz,
                            double phase);
/* From any changes of one channel. */
spw_channel measured_changes(const spw_change *changes, size_t n, double resolution_s, double end_s,
                             const spw_measure_options *options);
/* From the n samples of a recording, full scale +-1. */
spw_channel measured_samples(const float *samples, size_t n, double rate_hz,
                             const spw_measure_options *options);
/* How many events of a kind, and the sum of their counts. */
size_t measured_events(const spw_channel *channel, spw_event_kind kind, uint64_t *sum);
/* |a - b| <= tolerance; says so on stderr where not. */
bool near(double a, double b, double tolerance);
/* Prints what was measured (for a failing test). */
void measured_print(const spw_channel *channel);

#endif
