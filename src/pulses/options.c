/* The options of a measurement. */
#include "spanwright/pulses.h"

#include <math.h>

spw_measure_options spw_measure_defaults(void) {
    return (spw_measure_options){.timebase_ppm = 50,
                                 .width_low_us = 200,
                                 .width_high_us = 3500,
                                 .neutral_us = 1500,
                                 .from_s = (double)NAN,
                                 .to_s = (double)NAN};
}
