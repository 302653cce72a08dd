/* Known changes written in a random dialect come back exactly; a table cut at
 * any byte invents nothing. */
#include "support/table_case.h"
#include "support/test.h"

#include "base/decimal.h"
#include "capture/reader.h"
#include "sim/rng.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS_MAX 400
#define CHANNELS_MAX 4

typedef struct signal {
    size_t rows, channels;
    int64_t tick[ROWS_MAX]; /* from 0 */
    int level[ROWS_MAX][CHANNELS_MAX];
} signal;

typedef struct dialect {
    char separator, mark;
    const char *line_end;
    int decimals; /* a tick is 10^-decimals of the unit */
    const char *unit;
    double unit_s;
    int64_t start; /* in ticks */
    bool bom, header, units_row, preamble, trailing, quotes, volts, padded;
} dialect;

static unsigned below(sim_rng *rng, unsigned n) {
    return (unsigned)(sim_rng_uniform(rng) * n);
}

static dialect random_dialect(sim_rng *rng) {
    static const char separators[] = {',', ';', '\t'};
    static const char *const units[] = {"s", "ms", "us", "ns"};
    static const double unit_s[] = {1, 1e-3, 1e-6, 1e-9};
    dialect d = {.separator = separators[below(rng, 3)], .mark = '.'};
    unsigned unit = below(rng, 4);
    if (d.separator != ',' && below(rng, 2))
        d.mark = ',';
    d.line_end = below(rng, 2) ? "\r\n" : "\n";
    d.unit = units[unit];
    d.unit_s = unit_s[unit];
    /* ticks of 1 us or 0.1 us, whatever the unit */
    int finest = below(rng, 2) ? 6 : 7;
    d.decimals = unit == 0 ? finest : unit == 1 ? finest - 3 : unit == 2 ? finest - 6 : 0;
    d.start = below(rng, 3) == 0 ? 0 : (int64_t)(sim_rng_uniform(rng) * 1e9) - 300000000;
    if (d.start < 0 && below(rng, 2))
        d.start = INT64_C(1777888999123456);
    d.bom = below(rng, 4) == 0;
    d.header = true;
    d.units_row = below(rng, 3) == 0;
    d.preamble = below(rng, 3) == 0;
    d.trailing = below(rng, 3) == 0;
    d.quotes = below(rng, 3) == 0;
    d.volts = below(rng, 3) == 0;
    d.padded = below(rng, 4) == 0;
    return d;
}

/* Change rows, or samples one step apart. */
static signal random_signal(sim_rng *rng, bool samples) {
    signal s = {.rows = 30 + below(rng, ROWS_MAX - 30), .channels = 1 + below(rng, CHANNELS_MAX)};
    int64_t step = 1 + (int64_t)below(rng, 40);
    for (size_t i = 1; i < s.rows; i++) {
        s.tick[i] = s.tick[i - 1] + (samples ? step : 1 + (int64_t)below(rng, 20000));
        size_t changed = below(rng, (unsigned)s.channels);
        for (size_t c = 0; c < s.channels; c++) {
            bool flip = samples ? below(rng, 20) == 0 : c == changed || below(rng, 4) == 0;
            s.level[i][c] = s.level[i - 1][c] ^ flip;
        }
    }
    return s;
}

static void put_number(spw_text *text, const dialect *d, int64_t value, int decimals) {
    int64_t scale = 1;
    for (int i = 0; i < decimals; i++)
        scale *= 10;
    int64_t size = value < 0 ? -value : value;
    const char *quote = d->quotes ? "\"" : "";
    spw_text_printf(text, "%s%s%s%lld", d->padded ? " " : "", quote, value < 0 ? "-" : "",
                    (long long)(size / scale));
    if (decimals > 0)
        spw_text_printf(text, "%c%0*lld", d->mark, decimals, (long long)(size % scale));
    spw_text_puts(text, quote);
}

static void write_table(const signal *s, const dialect *d, spw_text *text) {
    char end[4];
    snprintf(end, sizeof end, "%s%s", d->trailing ? (char[2]){d->separator, 0} : "", d->line_end);
    if (d->bom)
        spw_text_puts(text, "\xef\xbb\xbf");
    if (d->preamble)
        spw_text_printf(text, "Recorder of the club%sRows%c%zu%s", d->line_end, d->separator,
                        s->rows, d->line_end);
    spw_text_printf(text, d->units_row ? "Time" : "Time [%s]", d->unit);
    for (size_t c = 0; c < s->channels; c++)
        spw_text_printf(text, "%cline %zu", d->separator, c);
    spw_text_puts(text, end);
    if (d->units_row) {
        spw_text_puts(text, d->unit);
        for (size_t c = 0; c < s->channels; c++)
            spw_text_append(text, &d->separator, 1);
        spw_text_puts(text, end);
    }
    int decimals = d->unit_s == 1e-9 ? 0 : d->decimals;
    for (size_t i = 0; i < s->rows; i++) {
        put_number(text, d, d->start + s->tick[i], decimals);
        for (size_t c = 0; c < s->channels; c++) {
            spw_text_append(text, &d->separator, 1);
            if (d->volts)
                put_number(text, d, s->level[i][c] ? 330 + (int64_t)(i % 3) : (int64_t)(i % 2), 2);
            else
                put_number(text, d, s->level[i][c], 0);
        }
        spw_text_puts(text, end);
    }
}

static double tick_s(const dialect *d, int64_t tick) {
    spw_decimal number = {.digits = (uint64_t)tick,
                          .exponent =
                              (d->unit_s == 1e-9 ? 0 : -d->decimals) + (d->unit_s == 1      ? 0
                                                                        : d->unit_s == 1e-3 ? -3
                                                                        : d->unit_s == 1e-6 ? -6
                                                                                            : -9)};
    return spw_decimal_value(&number);
}

static void check_changes(const signal *s, const dialect *d, const table_case *read,
                          const spw_text *text) {
    size_t at = 0;
    for (size_t i = 0; i < s->rows; i++)
        for (size_t c = 0; c < s->channels; c++) {
            if (i > 0 && s->level[i][c] == s->level[i - 1][c])
                continue;
            const spw_change *change = &read->got.changes[at++];
            if (at > read->got.n_kept || change->time_s != tick_s(d, s->tick[i]) ||
                change->channel != c || (int)change->level != s->level[i][c])
                fail_msg("row %zu, channel %zu of\n%.600s", i, c, text->data);
        }
    assert_int_equal(at, read->got.n_kept);
    assert_true(read->summary.duration_s == tick_s(d, s->tick[s->rows - 1]));
}

static void round_trip(void **state) {
    (void)state;
    uint64_t seed = 1906;
    print_message("seed %llu\n", (unsigned long long)seed);
    sim_rng rng = sim_rng_seed(seed);
    for (int round = 0; round < 600; round++) {
        bool samples = below(&rng, 2);
        signal s = random_signal(&rng, samples);
        dialect d = random_dialect(&rng);
        if (samples)
            d.volts = false; /* volts at even steps are delivered as samples */
        spw_text text = {0};
        write_table(&s, &d, &text);
        assert_int_equal(spw_text_status(&text), SPW_OK);
        table_case read = table_case_read(text.data, text.length, NULL,
                                          below(&rng, 2) ? 0 : 1 + below(&rng, 999));
        if (read.status != SPW_OK)
            fail_msg("round %d: %s\n%.600s", round, read.error.message, text.data);
        if (read.summary.warnings.n > 0 || read.summary.truncated)
            fail_msg("round %d: %s\n%.600s", round, read.summary.warnings.text[0], text.data);
        assert_int_equal(read.summary.channels, s.channels);
        check_changes(&s, &d, &read, &text);
        assert_true(spw_table_recognises(text.data, text.length, true));
        table_case_free(&read);
        spw_text_free(&text);
    }
}

/* The known changes of each channel start with those of the cut table. */
static void check_prefix(const kept *cut, const kept *whole, size_t at) {
    for (size_t c = 0; c < cut->n_channels && c < whole->n_channels; c++) {
        size_t w = 0;
        for (size_t i = 0; i < cut->n_kept; i++) {
            if (cut->changes[i].channel != c)
                continue;
            while (w < whole->n_kept && whole->changes[w].channel != c)
                w++;
            if (w == whole->n_kept || whole->changes[w].time_s != cut->changes[i].time_s ||
                whole->changes[w].level != cut->changes[i].level)
                fail_msg("cut at %zu: change %zu of channel %zu is invented", at, i, c);
            w++;
        }
    }
}

static void cut_anywhere(void **state) {
    (void)state;
    static const char *const tables[] = {
        "Time [us],claw,lid\r\n0,0,1\r\n1500,1,1\r\n20000,0,0\r\n21500,1,1\r\n40000,0,0\r\n",
        "Time;A;B\n0,000;0;1\n0,001;0;1\n0,002;1;1\n0,003;1;0\n0,004;1;0\n0,005;0;1\n",
        "t\tA\tB\n0.0000\t0.02\t3.31\n0.0015\t3.30\t3.29\n0.0200\t0.03\t0.01\n0.0215\t3.31\t0.02\n",
        "1777888999123456789,0\n1777888999124956790,1\n1777888999144456788,0\n",
    };
    for (size_t k = 0; k < sizeof tables / sizeof tables[0]; k++) {
        size_t length = strlen(tables[k]), answered = 0;
        table_case whole = table_case_read(tables[k], length, NULL, 0);
        assert_int_equal(whole.status, SPW_OK);
        for (size_t at = 1; at < length; at++) {
            char *copy = malloc(at); /* so that a checker sees a read past the end */
            assert_non_null(copy);
            memcpy(copy, tables[k], at);
            (void)spw_table_recognises(copy, at, true);
            table_case cut = table_case_read(copy, at, NULL, 7);
            if (cut.status == SPW_OK) {
                answered++;
                if (k != 2) /* few volts may still look like samples */
                    check_prefix(&cut.got, &whole.got, at);
                assert_true(cut.summary.duration_s <= whole.summary.duration_s);
            } else {
                assert_true(cut.error.message[0] != '\0');
            }
            table_case_free(&cut);
            free(copy);
        }
        assert_true(answered > length / 4);
        table_case_free(&whole);
    }
}

/* Bytes of a table replaced at random: an answer or a sentence, never a crash
 * (the sink checks every promise of capture.h). */
static void damaged_anywhere(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(77);
    static const char spice[] = "0019.,;\t\"\r\n-+eEx: \0\xff/";
    for (int round = 0; round < 4000; round++) {
        signal s = random_signal(&rng, below(&rng, 2));
        s.rows = 3 + below(&rng, 25);
        dialect d = random_dialect(&rng);
        spw_text text = {0};
        write_table(&s, &d, &text);
        for (unsigned n = 1 + below(&rng, 6); n > 0; n--)
            text.data[below(&rng, (unsigned)text.length)] = spice[below(&rng, sizeof spice - 1)];
        spw_read_options options = {.has_rate = below(&rng, 4) == 0, .rate_hz = 1000};
        (void)spw_table_recognises(text.data, text.length, true);
        table_case read = table_case_read(text.data, text.length, &options, 1 + below(&rng, 64));
        assert_true(read.status == SPW_OK || read.error.message[0] != '\0');
        table_case_free(&read);
        spw_text_free(&text);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(round_trip), cmocka_unit_test(cut_anywhere),
                                       cmocka_unit_test(damaged_anywhere)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
