/* The words of the JSON output. */
#include "spanwright/edges.h"

const char *spw_doubt_name(uint32_t what) {
    switch (what) {
    case SPW_DOUBT_CLIPPING:
        return "clipping";
    case SPW_DOUBT_SATURATION:
        return "saturation";
    case SPW_DOUBT_ASYMMETRY:
        return "asymmetry";
    case SPW_DOUBT_LOSSY:
        return "lossy";
    case SPW_DOUBT_FEW:
        return "few_pulses";
    case SPW_DOUBT_TOO_FAST:
        return "too_fast";
    case SPW_DOUBT_NO_PLATEAU:
        return "no_plateau";
    case SPW_DOUBT_WEAK:
        return "weak";
    case SPW_DOUBT_SHAPE:
        return "shape";
    default:
        return "unknown";
    }
}
