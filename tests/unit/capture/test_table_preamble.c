/* Rows above the numbers, and beside the first of them: what they may say and what not. */
#include "support/table_case.h"
#include "support/test.h"

#include "capture/reader.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

typedef struct preamble_case {
    const char *about;
    const char *table;
    const char *expected;   /* channels and what they deliver; NULL: refused */
    const char *recognised; /* words of a sentence, or NULL */
    const char *warning;    /* words of a warning, or of the refusal; NULL: none */
    double rate_hz;         /* 0: no --rate */
} preamble_case;

static void check(const preamble_case *c) {
    spw_read_options options = {.has_rate = c->rate_hz > 0, .rate_hz = c->rate_hz};
    table_case read = table_case_read(c->table, strlen(c->table), &options, 0);
    if (c->expected == NULL) {
        if (read.status != SPW_ERR_FORMAT)
            fail_msg("%s: read as %s", c->about, read.text.data);
        if (strstr(read.error.message, c->warning) == NULL)
            fail_msg("%s: %s", c->about, read.error.message);
        table_case_free(&read);
        return;
    }
    if (read.status != SPW_OK)
        fail_msg("%s: %s", c->about, read.error.message);
    if (strcmp(read.text.data, c->expected) != 0)
        fail_msg("%s\n expected %s\n got      %s", c->about, c->expected, read.text.data);
    if (c->recognised != NULL && !table_case_says(&read.summary.recognised, c->recognised))
        fail_msg("%s: not said: %s", c->about, c->recognised);
    if (c->warning == NULL ? read.summary.warnings.n > 0
                           : !table_case_says(&read.summary.warnings, c->warning))
        fail_msg("%s: warned of: %s", c->about,
                 read.summary.warnings.n > 0 ? read.summary.warnings.text[0] : "nothing");
    if (!spw_table_recognises(c->table, strlen(c->table), true))
        fail_msg("%s: not recognised", c->about);
    table_case_free(&read);
}

static void check_all(const preamble_case *cases, size_t n) {
    for (size_t i = 0; i < n; i++)
        check(&cases[i]);
}
#define CHECK_ALL(cases) check_all(cases, sizeof(cases) / sizeof *(cases))

#define SECONDS "0.0000,0\n0.0015,1\n0.0210,0\n"
#define AS_SECONDS "CH1 0.0001: 0=0 0.0015=1 0.021=0"

/* A unit counts for the column whose own header or unit row has it, else it would be
 * wrong a thousand times over without a word. */
static void units_of_other_things(void **state) {
    (void)state;
    static const preamble_case cases[] = {
        {.about = "a time base in another unit",
         .table = "#model=wren\n#timebase=5(ms)\nTime,CH1\n" SECONDS,
         .expected = AS_SECONDS,
         .recognised = "taken as seconds"},
        {.about = "a time base in picoseconds",
         .table = "#timebase=80000000(ps)\nTime,CH1\n" SECONDS,
         .expected = AS_SECONDS,
         .recognised = "taken as seconds"},
        {.about = "a length",
         .table = "Capture length 400 ms\nTime,CH1\n" SECONDS,
         .expected = AS_SECONDS,
         .recognised = "taken as seconds"},
        {.about = "a length right above the numbers",
         .table = "Capture length 400 ms,\n" SECONDS,
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "taken as seconds"},
        {.about = "a length, and the column's own unit",
         .table = "Capture length 400 ms\nTime (us),CH1\n0,0\n1500,1\n21000,0\n",
         .expected = "CH1 1e-06: 0=0 0.0015=1 0.021=0",
         .recognised = "in us as the header says"},
        {.about = "a length, and a row of units",
         .table = "Capture length 400 us\nTime,CH1\nms,\n0.0,0\n1.5,1\n21.0,0\n",
         .expected = "CH1 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "in ms as the header says"},
        {.about = "a name that ends in a digit is no number",
         .table = "Time1 (ms),CH1\n0.0,0\n1.5,1\n21.0,0\n",
         .expected = "CH1 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "in ms as the header says"},
    };
    CHECK_ALL(cases);
}

#define VOLTS ",0.02\n,3.31\n,3.3\n,0.01\n,0.03\n,0\n,0.01\n,3.3\n,0.02\n,0.01\n,3.28\n,0\n"

static void numbers_of_a_preamble(void **state) {
    (void)state;
    static const preamble_case cases[] = {
        {.about = "block size, step and offset above volts: no samples, no time, an offer",
         .table = "\"Block Size\",10010\n\"H-Resolution\",4.0E-06\n\"H-Offset\",-2.0E-02\n" VOLTS,
         .warning = "--rate 250000 (line 2 tells this step)"},
        {.about = "the same with the rate",
         .table = "\"Block Size\",10010\n\"H-Resolution\",4.0E-06\n\"H-Offset\",-2.0E-02\n" VOLTS,
         .expected = "ch0 250000Hz: 0.02 3.31 3.3 0.01 0.03 0 0.01 3.3 0.02 0.01 3.28 0",
         .recognised = "numbers from line 4",
         .rate_hz = 250000},
        {.about = "two columns of volts: the first is no time",
         .table = "\"Horizontal Resolution\",2 us,2 us\n\"Horizontal Offset\",0,0\n,0.02,3.3\n"
                  ",3.31,0\n,3.3,0\n,0.01,3.3\n,0.03,0\n,0,0\n,0.01,0\n,3.3,3.3\n,0.02,0\n",
         .warning = "--rate 500000 (line 1 tells this step)"},
        {.about = "words beside the first rows whose times go on: samples",
         .table = "Length,6,Points,0.000,0.1\nInterval,0.001,s,0.001,0.2\n,,,0.002,3.3\n"
                  ",,,0.003,3.2\n,,,0.004,0.1\n,,,0.005,0.2\n",
         .expected = "ch0 1000Hz: 0.1 0.2 3.3 3.2 0.1 0.2",
         .recognised = "words in the columns left of column 4"},
        {.about = "a step named in the header, its value below",
         .table = "X,CH1,Start,Increment,\nSequence,Volt,-3.0e-03,4.0e-06\n0,0.1,,\n1,3.3,,\n"
                  "2,3.2,,\n3,0.1,,\n",
         .warning = "--rate 250000 (line 1 tells this step)"},
        {.about = "a rate, with its unit",
         .table = "Sample rate: 2.5 MHz\nCH1\n"
                  "0.1\n3.3\n0.2\n0.1\n3.2\n",
         .warning = "--rate 2500000 (line 1 tells this step)"},
    };
    CHECK_ALL(cases);
}

static void columns_and_names(void **state) {
    (void)state;
    static const preamble_case cases[] = {
        {.about = "columns set apart by blanks",
         .table = "  Time (ms)   claw   lid\n   0.0    0  1\n   1.5    1  1\n  21.0    0  0\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0; lid 0.0001: 0=1 0.021=0",
         .recognised = "blanks between them"},
        {.about = "blanks and tabs, volts with exponents",
         .table = "t claw\n0.000 \t1.0e-2\n0.001 \t3.3e+0\n0.002  3.2e+0 \n0.003  2.0e-2\n",
         .expected = "claw 1000Hz: 0.01 3.3 3.2 0.02"},
        {.about = "calendar times beside a time are no channel",
         .table = "Time (s),Date/Time,claw\n0.000,2026-05-04 10:00:00,0\n"
                  "0.0015,2026-05-04 10:00:00,1\n0.0210,2026-05-04 10:00:00,0\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "column 2 (Date/Time) holds calendar times"},
        {.about = "nor are they the time where a finer one is named",
         .table = "Date/Time,Time (s),claw\n2026-05-04 10:00:00,0.000,0\n"
                  "2026-05-04 10:00:00,0.0015,1\n2026-05-04 10:00:00,0.0210,0\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0"},
        {.about = "fewer names than columns",
         .table = "Time,claw\n0.000,0,1\n0.0015,1,1\n0.0210,0,0\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0; ch1 0.0001: 0=1 0.021=0",
         .warning = "line 1 names 2 columns, the rows of numbers have 3"},
        {.about = "names that do not stand over their columns",
         .table = "number,Time,claw\n7,0,000,0\n8,2,500,1\n9,1,000,0\n10,1,500,1\n",
         .warning = "line 1 names 3 columns where the rows have 4"},
        {.about = "milliseconds without a name, first in the advice",
         .table = "t,claw\n0,1\n1.5,0\n20,1\n21.5,0\n40,1\n41.5,0\n",
         .expected = "claw 0.1: 0=1 1.5=0 20=1 21.5=0 40=1 41.5=0",
         .warning = "if they are milliseconds, give --time-unit ms"},
        {.about = "microseconds",
         .table = "time,claw\n0,1\n1500,0\n20000,1\n21500,0\n40000,1\n41500,0\n",
         .expected = "claw 1: 0=1 1500=0 20000=1 21500=0 40000=1 41500=0",
         .warning = "if they are us, give --time-unit us"},
    };
    CHECK_ALL(cases);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(units_of_other_things),
        cmocka_unit_test(numbers_of_a_preamble),
        cmocka_unit_test(columns_and_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
