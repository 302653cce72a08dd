/* Tables of pulse widths that a controller or a tester printed, and of degrees. */
#include "support/table_case.h"
#include "support/test.h"

#include <stdio.h>
#include <string.h>

typedef struct widths_case {
    const char *about;
    const char *table;
    const char *expected;   /* NULL: refused */
    const char *recognised; /* words of a sentence, or NULL */
    const char *warning;    /* words of a warning, or of the refusal; NULL: none */
    double rate_hz;
    spw_time_unit unit;
} widths_case;

static void check(const widths_case *c) {
    spw_read_options options = {
        .has_rate = c->rate_hz > 0, .rate_hz = c->rate_hz, .time_unit = c->unit};
    for (size_t step = 0; step < 8; step += 7) { /* whole, and in small pieces */
        table_case read = table_case_read(c->table, strlen(c->table), &options, step);
        if (c->expected == NULL) {
            if (read.status != SPW_ERR_FORMAT)
                fail_msg("%s: read as %s", c->about, read.text.data);
            if (strstr(read.error.message, c->warning) == NULL)
                fail_msg("%s: %s", c->about, read.error.message);
            table_case_free(&read);
            continue;
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
        table_case_free(&read);
    }
}

static void check_all(const widths_case *cases, size_t n) {
    for (size_t i = 0; i < n; i++)
        check(&cases[i]);
}
#define CHECK_ALL(cases) check_all(cases, sizeof(cases) / sizeof *(cases))

static void logs_of_widths(void **state) {
    (void)state;
    static const widths_case cases[] = {
        {.about = "a log in milliseconds, equal rows and all",
         .table = "timestamp_ms,pin0_us,pin1_us\n0,1000,1500\n20,1000,1500\n41,1004,1500\n"
                  "60,1000,1496\n",
         .expected = "pin0_us us 0.001: 0=1000 0.02=1000 0.041=1004 0.06=1000; "
                     "pin1_us us 0.001: 0=1500 0.02=1500 0.041=1500 0.06=1496",
         .recognised = "rows are readings of pulse widths"},
        {.about = "the unit of time by option",
         .table = "timestamp,pin0_us\n1000,1000\n1020,1004\n1041,1000\n1060,996\n",
         .expected = "pin0_us us 0.001: 0=1000 0.02=1004 0.041=1000 0.06=996",
         .unit = SPW_TIME_MS},
        {.about = "without it: refused, milliseconds first",
         .table = "timestamp,pin0_us\n1000,1000\n1020,1004\n1041,1000\n1060,996\n",
         .warning = "if it is milliseconds, give --time-unit ms"},
        {.about = "two values next to each other are no levels of volts",
         .table = "time,ch\n0.00,900\n0.02,901\n0.04,900\n0.06,901\n0.08,900\n",
         .expected = "ch us 0.01: 0=900 0.02=901 0.04=900 0.06=901 0.08=900",
         .warning = "the table names no unit, and numbers like 900 are taken as pulse widths"},
        {.about = "widths in milliseconds",
         .table = "Time (s),Pulse (ms)\n0.00,1.5\n0.02,1.501\n0.04,0.9\n0.06,2.1\n",
         .expected = "Pulse (ms) us 0.01: 0=1500 0.02=1501 0.04=900 0.06=2100",
         .recognised = "Pulse (ms): pulse widths in ms"},
        {.about = "0 where no pulse came",
         .table = "time_s,in_us\n0.00,1500\n0.02,0\n0.04,1500\n0.06,1496\n0.08,1500\n",
         .expected = "in_us us 0.01: 0=1500 0.04=1500 0.06=1496 0.08=1500",
         .warning = "in_us: 1 cell holds no pulse width and count as unknown, the first in line 3"},
        {.about = "mostly none, in a column that names its unit",
         .table = "time_s,in_us\n0.00,0\n0.02,0\n0.04,1500\n0.06,0\n0.08,1504\n0.10,0\n0.12,0\n",
         .expected = "in_us us 0.01: 0.04=1500 0.08=1504",
         .warning = "5 cells hold no pulse width"},
        {.about = "typed by hand, the frames a second given",
         .table = "1500\n1501\n1499\n1000\n",
         .expected = "ch0 us nan: 0=1500 0.02=1501 0.04=1499 0.06=1000",
         .warning = "taken as pulse widths in us",
         .rate_hz = 50},
        {.about = "typed by hand, nothing given",
         .table = "width_us\n1500\n1501\n1499\n1500\n1000\n2000\n1999\n1000\n1001\n1000\n",
         .warning = "if each is the pulse width of a frame, --rate 50"},
        {.about = "other numbers beside them",
         .table = "time_ms,out_us,frame_us,battery\n0,1500,20000,5.01\n20,1501,20004,5.02\n"
                  "40,1500,20000,5.01\n60,1499,20000,5.00\n",
         .expected = "out_us us 0.001: 0=1500 0.02=1501 0.04=1500 0.06=1499",
         .recognised = "column 3 (frame_us) holds numbers that are no pulse widths"},
    };
    CHECK_ALL(cases);
}

/* What only looks like it. */
static void lines_and_volts_stay(void **state) {
    (void)state;
    static const widths_case cases[] = {
        {.about = "a line's changes in millivolts, one row each",
         .table = "time_ms,claw\n0,500\n2,2500\n20,500\n22,2500\n40,500\n42,2500\n60,500\n",
         .expected = "claw 0.001: 0=0 0.002=1 0.02=0 0.022=1 0.04=0 0.042=1 0.06=0"},
        {.about = "converter counts of a line, sampled fast",
         .table = "time_ms,claw\n0.0,600\n0.1,610\n0.2,2300\n0.3,2310\n0.4,600\n",
         .expected = "claw 10000Hz: 600 610 2300 2310 600"},
        {.about = "volts by name",
         .table = "time_ms,claw (mV)\n0,900\n20,901\n40,901\n60,901\n80,900\n",
         .expected = "claw 50Hz: 0.9 0.901 0.901 0.901 0.9"},
    };
    CHECK_ALL(cases);
}

static void degrees(void **state) {
    (void)state;
    static const widths_case cases[] = {
        {.about = "degrees by their unit",
         .table = "time_ms,servo_deg\n0,10\n20,11\n40,12\n60,90\n80,91\n",
         .warning = "column 2 (servo_deg) holds degrees"},
        {.about = "an angle, two of them",
         .table = "time_ms,Angle 1,Angle 2\n0,0,90\n20,0,90\n40,180,90\n60,180,91\n",
         .warning = "column 2 (Angle 1) holds degrees"},
        {.about = "degrees beside widths",
         .table = "time_ms,angle,out_us\n0,10,1500\n20,11,1504\n40,12,1508\n60,90,1504\n",
         .expected = "out_us us 0.001: 0=1500 0.02=1504 0.04=1508 0.06=1504",
         .warning = "column 2 (angle) holds degrees and is left aside"},
        {.about = "numbers like degrees, in rows that show no pulses",
         .table = "time_ms,servo1\n0,0\n20,45\n40,90\n60,135\n80,180\n",
         .warning = "column 2 (servo1) holds numbers like degrees"},
        {.about = "no word of them, and no such numbers",
         .table = "time_s,rectangle\n0.0,1.0\n0.1,1.5\n0.2,2.5\n0.3,9.0\n0.4,9.1\n",
         .expected = "rectangle 10Hz: 1 1.5 2.5 9 9.1"},
        {.about = "percent of a line at its changes",
         .table = "time_ms,claw\n0,0\n2,100\n20,0\n22,100\n40,0\n42,100\n60,0\n",
         .expected = "claw 0.001: 0=0 0.002=1 0.02=0 0.022=1 0.04=0 0.042=1 0.06=0"},
    };
    CHECK_ALL(cases);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(logs_of_widths),
        cmocka_unit_test(lines_and_volts_stay),
        cmocka_unit_test(degrees),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
