#include "fuzz/train.h"

#include <math.h>

#define SECOND_NS 1000000000L
#define START_NS 41000000L
#define LATER_NS 3000000L /* of an adapter's output */

/* Twice the width about 1500 us, as an adapter does it. */
static long widened(long width_ns) {
    return width_ns > 900000 ? 2 * width_ns - 1500000 : width_ns;
}

static void add(fuzz_train *train, long lead_ns, long width_ns) {
    if (train->pulses < FUZZ_FRAMES_MAX)
        train->pulse[train->pulses++] = (fuzz_pulse){lead_ns, width_ns};
}

void fuzz_train_make(fuzz_input *input, size_t most, fuzz_train *train) {
    static const long period_us[8] = {20000, 3003, 14000, 22222, 10000, 18000, 25000, 5000};
    static const long jitter_ns[8] = {0, 100, 500, 1000, 5000, 20000, 100000, 1000000};
    uint32_t x = 1;
    long now = START_NS;
    *train = (fuzz_train){.pulses = 0};
    while (input->left > 0 && train->pulses + 1 < most) {
        long width = 300000L + 50L * (fuzz_byte(input) | fuzz_byte(input) << 8);
        size_t frames = 1 + fuzz_byte(input) % 64u;
        uint8_t bits = fuzz_byte(input);
        for (size_t i = 0; i < frames && train->pulses + 1 < most; i++) {
            x = x * 1664525u + 1013904223u; /* Numerical Recipes */
            long jitter = (long)((double)x / 4294967296.0 * (double)jitter_ns[bits >> 3 & 7]);
            long frame = period_us[bits & 7] * 1000, wide = width + jitter;
            if (wide >= frame)
                wide = frame - 1000;
            if ((bits & 0x80) != 0 && i == frames / 2) {
                add(train, now, wide / 3);
                add(train, now + wide / 2, wide - wide / 2);
            } else {
                add(train, now, wide);
            }
            now += frame;
        }
        now += (bits & 0x40) != 0 ? SECOND_NS : 0;
    }
    train->end_ns = now + START_NS;
}

/* The next change of a line: at *at / 2 of the train, up when even. */
static long change_at(const fuzz_train *train, size_t at, int line) {
    if (at / 2 >= train->pulses)
        return train->end_ns;
    const fuzz_pulse *pulse = &train->pulse[at / 2];
    long wide = line == 0 ? pulse->width_ns : widened(pulse->width_ns);
    return pulse->lead_ns + (line == 0 ? 0 : LATER_NS) + (at % 2 == 0 ? 0 : wide);
}

void fuzz_train_vcd(const fuzz_train *train, int lines, spw_text *text) {
    size_t at[2] = {0, 0};
    spw_text_puts(text, "$timescale 1ns $end\n$var wire 1 ! claw $end\n");
    spw_text_puts(text, lines > 1 ? "$var wire 1 # servo $end\n" : "");
    spw_text_puts(text, "$enddefinitions $end\n#0\n0!\n");
    spw_text_puts(text, lines > 1 ? "0#\n" : "");
    for (;;) {
        long when[2] = {change_at(train, at[0], 0),
                        lines > 1 ? change_at(train, at[1], 1) : train->end_ns};
        int line = when[1] < when[0];
        if (when[line] >= train->end_ns)
            break;
        spw_text_printf(text, "#%ld\n%d%c\n", when[line], at[line] % 2 == 0, line ? '#' : '!');
        at[line]++;
    }
    spw_text_printf(text, "#%ld\n", train->end_ns);
}

void fuzz_train_table(const fuzz_train *train, spw_text *text) {
    spw_text_puts(text, "Time (us),claw\n0,0\n");
    for (size_t at = 0; at < 2 * train->pulses; at++)
        spw_text_printf(text, "%.3f,%d\n", (double)change_at(train, at, 0) / 1000, at % 2 == 0);
    spw_text_printf(text, "%.3f,0\n", (double)train->end_ns / 1000);
}

double fuzz_train_sample(const fuzz_train *train, double rate_hz, uint64_t i, size_t *at) {
    double step = 1e9 / rate_hz, from = (double)i * step, to = from + step, high = 0;
    while (*at < train->pulses &&
           (double)(train->pulse[*at].lead_ns + train->pulse[*at].width_ns) <= from)
        (*at)++;
    for (size_t k = *at; k < train->pulses && (double)train->pulse[k].lead_ns < to; k++) {
        double lead = (double)train->pulse[k].lead_ns;
        high += fmax(0, fmin(to, lead + (double)train->pulse[k].width_ns) - fmax(from, lead));
    }
    return fmin(1, high / step);
}

void fuzz_train_raw(const fuzz_train *train, double rate_hz, spw_text *text) {
    size_t at = 0;
    uint64_t n = (uint64_t)((double)train->end_ns * 1e-9 * rate_hz);
    for (uint64_t i = 0; i < n; i++)
        spw_text_append(text, fuzz_train_sample(train, rate_hz, i, &at) >= 0.5 ? "\1" : "\0", 1);
}

static void put_little(spw_text *text, uint32_t value, unsigned bytes) {
    for (unsigned i = 0; i < bytes; i++, value >>= 8) {
        char byte = (char)(value & 0xff);
        spw_text_append(text, &byte, 1);
    }
}

void fuzz_train_wav(const fuzz_train *train, unsigned rate_hz, spw_text *text) {
    uint32_t n = (uint32_t)((double)train->end_ns * 1e-9 * rate_hz), x = 1;
    size_t at = 0;
    spw_text_puts(text, "RIFF");
    put_little(text, 36 + 2 * n, 4);
    spw_text_puts(text, "WAVEfmt ");
    put_little(text, 16, 4);
    put_little(text, 1, 2); /* PCM */
    put_little(text, 1, 2);
    put_little(text, rate_hz, 4);
    put_little(text, 2 * rate_hz, 4);
    put_little(text, 2, 2);
    put_little(text, 16, 2);
    spw_text_puts(text, "data");
    put_little(text, 2 * n, 4);
    for (uint32_t i = 0; i < n; i++) {
        x = x * 1664525u + 1013904223u;
        double value = fuzz_train_sample(train, rate_hz, i, &at) * 20000 + (x >> 16) / 2000.0;
        put_little(text, (uint32_t)(int32_t)value & 0xffff, 2);
    }
}
