#include "capture/vcd/scale.h"

#include <stdio.h>
#include <string.h>

/* Recorders write a period in femtoseconds: 41666667 fs is 24 MHz. */
#define NUMBER_MAX UINT64_C(1000000000000000)

static const struct {
    const char *name;
    double divisor;
} units[] = {{"s", 1e0}, {"ms", 1e3}, {"us", 1e6}, {"ns", 1e9}, {"ps", 1e12}, {"fs", 1e15}};

static void fill(spw_vcd_scale *scale, uint64_t number, size_t unit) {
    *scale = (spw_vcd_scale){.multiplier = number,
                             .divisor = units[unit].divisor,
                             .exact_below = (UINT64_C(1) << 53) / number,
                             .odd = number != 1 && number != 10 && number != 100};
    (void)snprintf(scale->text, sizeof scale->text, "%llu %s", (unsigned long long)number,
                   units[unit].name);
}

spw_status spw_vcd_scale_read(const char *text, size_t length, spw_vcd_scale *scale) {
    uint64_t number = 0;
    size_t at = 0;
    for (; at < length && text[at] >= '0' && text[at] <= '9' && number <= NUMBER_MAX; at++)
        number = number * 10 + (uint64_t)(text[at] - '0');
    if (at == 0 || number == 0 || number > NUMBER_MAX)
        return SPW_ERR_FORMAT;
    for (size_t unit = 0; unit < sizeof units / sizeof units[0]; unit++) {
        size_t n = strlen(units[unit].name);
        if (length - at != n || memcmp(text + at, units[unit].name, n) != 0)
            continue;
        fill(scale, number, unit);
        return SPW_OK;
    }
    return SPW_ERR_FORMAT;
}

void spw_vcd_scale_option(spw_time_unit unit, spw_vcd_scale *scale) {
    fill(scale, 1, unit <= SPW_TIME_S ? 0 : (size_t)unit - SPW_TIME_S);
}
