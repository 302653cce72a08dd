/* The words of the JSON output. */
#include "spanwright/pulses.h"

#include <string.h>

const char *spw_signal_name(spw_signal value) {
    switch (value) {
    case SPW_SIGNAL_CONTROL_PULSES:
        return "control_pulses";
    case SPW_SIGNAL_IDLE:
        return "idle";
    case SPW_SIGNAL_WIDTHS:
        return "widths";
    case SPW_SIGNAL_VARIES:
        return "varies";
    case SPW_SIGNAL_OTHER:
        break;
    }
    return "other";
}

bool spw_signal_has_pulses(spw_signal value) {
    return value == SPW_SIGNAL_CONTROL_PULSES || value == SPW_SIGNAL_WIDTHS;
}

const char *spw_polarity_name(spw_polarity value) {
    switch (value) {
    case SPW_POLARITY_POSITIVE:
        return "positive";
    case SPW_POLARITY_NEGATIVE:
        return "negative";
    case SPW_POLARITY_UNDECIDED:
        break;
    }
    return "undecided";
}

const char *spw_polarity_basis_name(spw_polarity_basis value) {
    switch (value) {
    case SPW_BASIS_OPTION:
        return "option";
    case SPW_BASIS_WIDTH:
        return "width";
    case SPW_BASIS_STEADIER_EDGE:
        return "steadier_edge";
    case SPW_BASIS_IDLE:
        return "idle";
    case SPW_BASIS_UNDECIDED:
        break;
    }
    return "undecided";
}

const char *spw_evidence_name(uint32_t evidence) {
    switch (evidence) {
    case SPW_EVIDENCE_LATTICE:
        return "later_frames_shifted";
    case SPW_EVIDENCE_WHOLE_SAMPLES:
        return "whole_samples";
    case SPW_EVIDENCE_BUFFER:
        return "power_of_two";
    case SPW_EVIDENCE_REPEAT:
        return "samples_come_twice";
    case SPW_EVIDENCE_CONSTANT:
        return "one_value";
    case SPW_EVIDENCE_STEP:
        return "background_jumps";
    default:
        return "none";
    }
}

const char *spw_event_kind_name(spw_event_kind value) {
    switch (value) {
    case SPW_EVENT_MISSING_FRAMES:
        return "missing_frames";
    case SPW_EVENT_SHORT_FRAME:
        return "short_frame";
    case SPW_EVENT_SAMPLES_LOST:
        return "samples_lost";
    case SPW_EVENT_RUNT_PULSE:
        return "runt_pulse";
    case SPW_EVENT_LONG_PULSE:
        return "long_pulse";
    case SPW_EVENT_JOINED_PULSE:
        return "joined_pulse";
    case SPW_EVENT_ODD_WIDTH:
        return "odd_width";
    case SPW_EVENT_UNKNOWN_LEVEL:
        return "unknown_level";
    case SPW_EVENT_CUT_PULSE:
        return "cut_pulse";
    case SPW_EVENT_CLIPPING:
        return "clipping";
    case SPW_EVENT_SIGNAL_LOST:
        break;
    }
    return "signal_lost";
}

size_t spw_sound_side(const char *word) {
    if (strcmp(word, "left") == 0)
        return 0;
    if (strcmp(word, "right") == 0)
        return 1;
    size_t digits = strspn(word, "0123456789"), number = 0;
    if (digits == 0 || digits > 3 || word[digits] != '\0')
        return SIZE_MAX;
    for (size_t i = 0; i < digits; i++)
        number = 10 * number + (size_t)(word[i] - '0');
    return number > 0 ? number - 1 : SIZE_MAX;
}
