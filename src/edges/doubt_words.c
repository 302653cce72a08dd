/* The kinds of doubt: their words, and what cures them. */
#include "spanwright/edges.h"

#include <math.h>
#include <stddef.h>

/* The gravest first: of several, the first one's words and cure are told. */
static const struct {
    uint32_t what;
    const char *name;  /* in JSON */
    const char *words; /* goes after "in doubt: " and before ", and" */
    const char *cure;  /* a sentence without its full stop */
} kinds[] = {
    {SPW_DOUBT_NO_PLATEAU, "no_plateau", "the signal never settles for 100 us",
     "Record again with a direct or slower coupling, or with a logic analyser, so that the line "
     "rests at a level between its edges"},
    {SPW_DOUBT_CLIPPING, "clipping", "the recording clips",
     "Lower the recording level by 6 dB and record again"},
    {SPW_DOUBT_SATURATION, "saturation", "the recorder's input saturates",
     "Lower the recording level by 6 dB and record again, at a higher sample rate if that does not "
     "help"},
    {SPW_DOUBT_SHAPE, "shape", "the edges' shape changes, and no learned one holds",
     "Record again with nothing plugged in or out meanwhile, and leads and level left alone"},
    {SPW_DOUBT_WEAK, "weak", "the steps are so low that they may be another line's crosstalk",
     "Check the lead to this line, raise the recording level until pulses fill half of full scale, "
     "and record again"},
    {SPW_DOUBT_LOSSY, "lossy", "the recording went through a lossy codec",
     "Record again uncompressed (WAV or FLAC)"},
    {SPW_DOUBT_ASYMMETRY, "asymmetry", "rising and falling edges have different shapes",
     "Record again with a logic analyser, or with a shorter lead and a divider of less resistance, "
     "so that both edges are equally steep"},
    {SPW_DOUBT_TOO_FAST, "too_fast", "the edges are too fast for the sample rate",
     "Record again at a higher sample rate"},
    {SPW_DOUBT_NO_SHAPE, "no_shape", "no one shape fits all recorded edges",
     "Record again at a higher sample rate"},
    {SPW_DOUBT_FEW, "few_pulses", "there are too few pulses to learn the edges' shape from",
     "Record again for longer"},
};

static size_t kind_of(uint32_t what) {
    size_t i = 0;
    while (i < sizeof kinds / sizeof kinds[0] && (what & kinds[i].what) == 0)
        i++;
    return i;
}

const char *spw_doubt_name(uint32_t what) {
    size_t i = kind_of(what);
    return i < sizeof kinds / sizeof kinds[0] ? kinds[i].name : "unknown";
}

const char *spw_doubt_words(uint32_t what) {
    size_t i = kind_of(what);
    return i < sizeof kinds / sizeof kinds[0] ? kinds[i].words : "its timing cannot be trusted";
}

const char *spw_doubt_cure(uint32_t what) {
    size_t i = kind_of(what);
    return i < sizeof kinds / sizeof kinds[0] ? kinds[i].cure : "Record again";
}

double spw_doubt_reach_us(const spw_doubt *doubt) {
    if (doubt->what == 0)
        return 0;
    return isnan(doubt->bound_us) ? INFINITY : doubt->bound_us;
}

void spw_doubt_join(spw_doubt *doubt, const spw_doubt *more) {
    if (more->what == 0)
        return;
    if (doubt->what == 0) {
        *doubt = *more;
        return;
    }
    bool unknown = isnan(doubt->bound_us) || isnan(more->bound_us);
    doubt->what |= more->what;
    doubt->from_s = fmin(doubt->from_s, more->from_s);
    doubt->to_s = fmax(doubt->to_s, more->to_s);
    doubt->bound_us = unknown ? (double)NAN : fmax(doubt->bound_us, more->bound_us);
}
