/* Odd pulses: what they do to the servo, and how often. */
#include "adapter/planning.h"

#include <math.h>

static void say_how_often(const spw_odd *odd, spw_text *why) {
    if (isnan(odd->every_s))
        spw_text_printf(why, "%s in this capture", odd->runs == 1 ? "Once" : "Twice");
    else if (odd->every_s < 0.75)
        spw_text_printf(why, "About %.2g times a second", 1 / odd->every_s);
    else if (odd->every_s < 1.5)
        spw_text_puts(why, "About once a second");
    else
        spw_text_printf(why, "About every %.2g s", odd->every_s);
}

/* Widths this near are one, when a sentence names them. */
static const double ALIKE_US = 5;

static void say_which(const spw_odd *odd, spw_text *why) {
    if (odd->longest_run > 1)
        spw_text_printf(why, " up to %zu pulses in a row", odd->longest_run);
    else
        spw_text_puts(why, " one pulse");
    if (odd->most_us - odd->least_us > ALIKE_US)
        spw_text_printf(why, " of %.0f to %.0f us; the farthest off has %.0f us in place of %.0f",
                        odd->least_us, odd->most_us, odd->width_us, odd->instead_of_us);
    else
        spw_text_printf(why, " of %.0f us in place of %.0f", odd->width_us, odd->instead_of_us);
}

/* Only what the servo could follow. */
static bool matters(const spw_servo *servo, double off_us) {
    double dead = isfinite(servo->dead_band_us) ? servo->dead_band_us / 2 : 0;
    return off_us > fmax(servo->tolerance_us, dead);
}

void spw_planner_advise_odd(spw_planner *p) {
    const spw_odd *odd = &p->span->odd;
    const spw_servo *servo = &p->bench->servo;
    double off_us = fabs(odd->width_us - odd->instead_of_us);
    if (odd->pulses == 0 || !matters(servo, off_us))
        return;
    double deg = spw_servo_deg_per_us(servo);
    spw_text why = {0};
    say_how_often(odd, &why);
    say_which(odd, &why);
    if (servo->mode == SPW_SERVO_POSITIONAL && isfinite(deg))
        spw_text_printf(&why, ": that is %.3g degrees off for %s", off_us * deg,
                        odd->longest_run > 1 ? "so long" : "one frame");
    spw_text_puts(&why, "; find what sends it. Ends and verdicts are without it.");
    spw_planner_advise(p, SPW_DO_ODD_PULSES, &why);
}
