/* What is said about a file: one sentence a kind, with the place of the first
 * and how often it came, so that a million faults read as one. */
#include "capture/vcd/vcd.h"

#include <stdio.h>

static const struct {
    bool warning;
    const char *sentence; /* behind "line N: 'WHAT' " */
} said[SPW_VCD_NOTES] = {
    [SPW_VCD_NOTE_SCALE_ODD] = {false, "is taken as the time unit, though the standard has 1, 10 "
                                       "and 100 only"},
    [SPW_VCD_NOTE_SCALE_AGAIN] = {true, "is a second, different time unit: the first one counts"},
    [SPW_VCD_NOTE_SCALE_OPTION] = {true, "is no time unit: the one given with --time-unit is used"},
    [SPW_VCD_NOTE_NO_END] = {true, "comes before $enddefinitions: the declarations are taken to "
                                   "end here"},
    [SPW_VCD_NOTE_LATE] = {true, "is a declaration behind the declarations: ignored"},
    [SPW_VCD_NOTE_VAR] = {true, "declares no variable that can be understood: left out"},
    [SPW_VCD_NOTE_TYPE] = {false, "is a type that the standard does not have: its levels are read "
                                  "all the same"},
    [SPW_VCD_NOTE_REAL] = {false, "is a real number, which has no logic level: ignored"},
    [SPW_VCD_NOTE_EVENT] = {false, "is an event, which has no level: ignored"},
    [SPW_VCD_NOTE_PARAMETER] = {false, "is a parameter, which does not change: ignored"},
    [SPW_VCD_NOTE_STRING] = {false, "is a string, which has no logic level: ignored"},
    [SPW_VCD_NOTE_ALIAS_SIZE] = {true, "shares its identifier code with a variable of another size "
                                       "or type: the first one counts"},
    [SPW_VCD_NOTE_WIDE] = {true, "has more than 4096 bits: left out"},
    [SPW_VCD_NOTE_BITS] = {true, "is left out, as the vectors before it have two million bits "
                                 "already: dump fewer scopes"},
    [SPW_VCD_NOTE_VARIABLES] = {true, "is left out, as 262144 variables or 8 MiB of names come "
                                      "before it: dump fewer scopes"},
    [SPW_VCD_NOTE_SCALARS] = {true, "is the 4097th scalar: of all of them, only those that change "
                                    "are listed"},
    [SPW_VCD_NOTE_CHANNELS] = {true, "is left out, as 4096 lines changed before it: dump fewer "
                                     "scopes"},
    [SPW_VCD_NOTE_NAME] = {true, "is a name too long to keep (512 bytes, 1024 with its scopes): it "
                                 "was shortened"},
    [SPW_VCD_NOTE_TEXT] = {true, "is no part of a VCD: the rest of its line is skipped"},
    [SPW_VCD_NOTE_UNDECLARED] = {true, "changes a variable that was not declared: skipped"},
    [SPW_VCD_NOTE_NINE] = {false, "has nine-state letters (IEEE Std 1164): H is read as 1, L as 0, "
                                  "U, W and - as unknown"},
    [SPW_VCD_NOTE_LONG_VALUE] = {true, "has more digits than its variable has bits: the rightmost "
                                       "ones are read"},
};

void spw_vcd_note_at(spw_vcd *vcd, spw_vcd_note note, uint64_t line, const char *what, size_t n) {
    spw_vcd_tally *tally = &vcd->tally[note];
    tally->line = line;
    spw_text_safe(tally->what, sizeof tally->what, what, n);
}

spw_status spw_vcd_tell(spw_vcd *vcd) {
    for (size_t i = 0; i < SPW_VCD_NOTES; i++) {
        const spw_vcd_tally *tally = &vcd->tally[i];
        if (tally->n == 0)
            continue;
        char often[48] = "";
        if (tally->n > 1)
            (void)snprintf(often, sizeof often, " (%llu in all)", (unsigned long long)tally->n);
        spw_notes *notes = said[i].warning ? &vcd->summary->warnings : &vcd->summary->recognised;
        spw_status status =
            spw_notes_add(notes, "line %llu: '%s' %s%s", (unsigned long long)tally->line,
                          tally->what, said[i].sentence, often);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}
