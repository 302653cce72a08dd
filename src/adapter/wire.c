/* Which way the pulses go on the wire.
 *
 * A servo measures how long its line is high. Behind an inverting stage it sees a pulse of a whole
 * frame less the width, and does nothing, or runs to an end. A sound card may turn the signal over
 * by itself: a recording of one is no proof of a fault, and no advice comes of it. */
#include "adapter/planning.h"

void spw_planner_advise_wire(spw_planner *p) {
    if (p->span->wire != SPW_WIRE_INVERTED)
        return;
    spw_text why = {0};
    spw_text_puts(
        &why, "Turn the line over first: it is inverted (it rests high and its pulses are low), "
              "and a servo follows high pulses only. Set the controller's output to high "
              "pulses, or take the inverting stage (a transistor, a level shifter, an "
              "optocoupler) out of the line; if it is only in the recorder's lead, the servo's "
              "own line is right. Then measure again.");
    spw_planner_advise(p, SPW_DO_POLARITY, &why);
}
