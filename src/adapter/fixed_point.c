#include "spanwright/adapter.h"
spw_fixed_point spw_fixed_point_find(const spw_remap *remap, double tick_us, unsigned word_bits,
                                     double frame_us) {
    (void)remap;
    (void)frame_us;
    return (spw_fixed_point){.tick_us = tick_us, .word_bits = word_bits};
}
