/* Tables of every dialect: what is announced, delivered and said. */
#include "support/table_case.h"
#include "support/test.h"

#include "capture/reader.h"

#include <stdio.h>
#include <string.h>

typedef struct dialect_case {
    const char *about;
    const char *table;
    const char *expected;
    const char *recognised; /* words of a sentence, or NULL */
    const char *warning;    /* words of a warning; NULL: there is none */
    double rate_hz;         /* 0: no --rate */
    spw_time_unit unit;
} dialect_case;

static void say_all(const spw_notes *notes, const char *what) {
    for (size_t i = 0; i < notes->n; i++)
        print_message("  %s: %s\n", what, notes->text[i]);
}

static void check(const dialect_case *c) {
    spw_read_options options = {
        .has_rate = c->rate_hz > 0, .rate_hz = c->rate_hz, .time_unit = c->unit};
    size_t length = strlen(c->table);
    table_case read = table_case_read(c->table, length, &options, 0);
    if (read.status != SPW_OK)
        fail_msg("%s: %s", c->about, read.error.message);
    bool told = c->recognised == NULL || table_case_says(&read.summary.recognised, c->recognised);
    bool warned = c->warning == NULL ? read.summary.warnings.n == 0
                                     : table_case_says(&read.summary.warnings, c->warning);
    if (strcmp(read.text.data, c->expected) != 0 || !told || !warned) {
        say_all(&read.summary.recognised, "recognised");
        say_all(&read.summary.warnings, "warning");
        print_message("%s\n expected %s\n got      %s\n", c->about, c->expected, read.text.data);
        fail();
    }
    if (!spw_table_recognises(c->table, length, true))
        fail_msg("%s: not recognised", c->about);
    table_case_free(&read);
}

static void check_all(const dialect_case *cases, size_t n) {
    for (size_t i = 0; i < n; i++)
        check(&cases[i]);
}
#define CHECK_ALL(cases) check_all(cases, sizeof(cases) / sizeof *(cases))

static void separators_and_marks(void **state) {
    (void)state;
    static const dialect_case cases[] = {
        {.about = "commas",
         .table = "Time,claw,lid\n0,0,1\n0.0015,1,1\n0.003,0,0\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.003=0; lid 0.0001: 0=1 0.003=0"},
        {.about = "semicolons, decimal commas",
         .table = "Time;claw;lid\n0,0000;0;1\n0,0015;1;1\n0,0210;0;0\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0; lid 0.0001: 0=1 0.021=0",
         .recognised = "semicolons between them, decimal commas"},
        {.about = "tabs",
         .table = "Time\tclaw\n0.0000\t0\n0.0015\t1\n0.0210\t0\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "tabs between them, decimal points"},
        {.about = "tabs, decimal commas",
         .table = "0,0000\t0\n0,0015\t1\n0,0210\t0\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "tabs between them, decimal commas"},
        {.about = "decimal commas in quotes",
         .table = "\"Time\",\"claw\"\n\"0,0000\",\"0\"\n\"0,0015\",\"1\"\n\"0,0210\",\"0\"\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "decimal commas"},
        {.about = "byte-order mark and CRLF",
         .table = "\xef\xbb\xbfTime,claw\r\n0.0000,0\r\n0.0015,1\r\n0.0210,0\r\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0"},
        {.about = "CR alone",
         .table = "Time,claw\r0.0000,0\r0.0015,1\r0.0210,0\r",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0"},
        {.about = "quotes, doubled quotes, separators and line ends in names",
         .table = "\"Time\",\"the \"\"claw\"\", left\",\"lid\narm\"\n0.0000,0,1\n0.0015,1,0\n"
                  "0.0210,0,0\n",
         .expected = "the \"claw\", left 0.0001: 0=0 0.0015=1 0.021=0; lid\narm 0.0001: 0=1 "
                     "0.0015=0",
         .recognised = "numbers from line 3"},
        {.about = "trailing separators, leading blanks and zeros",
         .table = "Time, claw,\n 00.0000,  0,\n 00.0015, 01,\n 00.0210, 00,\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0"},
        {.about = "blank lines",
         .table = "\nTime,claw\n\n0.0000,0\n\n0.0015,1\n0.0210,0\n\n\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0"},
    };
    CHECK_ALL(cases);
}

static void headers_and_names(void **state) {
    (void)state;
    static const dialect_case cases[] = {
        {.about = "no header",
         .table = "0.0000,0,1\n0.0015,1,1\n0.0210,0,0\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0; ch1 0.0001: 0=1 0.021=0",
         .recognised = "no row of names"},
        {.about = "names and units in two rows, a blank one behind",
         .table = "Time,claw,lid\n(ms),(V),()\n\n0.0,0.01,0\n1.0,3.3,0\n2.0,3.3,1\n3.0,0.02,1\n",
         .expected = "claw 1000Hz: 0.01 3.3 3.3 0.02; lid 0.001: 0=0 0.002=1",
         .recognised = "in ms as the header says"},
        {.about = "three header rows",
         .table = "Wren,Wren,Wren\nTime,claw,lid\nus,,\n0,0,1\n1500,1,1\n21000,0,0\n",
         .expected = "claw 1e-06: 0=0 0.0015=1 0.021=0; lid 1e-06: 0=1 0.021=0",
         .recognised = "in us as the header says"},
        {.about = "preamble",
         .table = "Recorder of the club\nRows,3\nDate,2026-05-04\n\nTime (us),claw\n0,0\n1500,1\n"
                  "21000,0\n",
         .expected = "claw 1e-06: 0=0 0.0015=1 0.021=0",
         .recognised = "names from line 5, numbers from line 6"},
        {.about = "comment lines",
         .table = "# made by hand, on 2026-05-04\n# Time in us\nTime_us,claw\n0,0\n1500,1\n"
                  "21000,0\n",
         .expected = "claw 1e-06: 0=0 0.0015=1 0.021=0"},
        {.about = "words beside the first numbers, which start in a later column",
         .table = "Record Length,6,,-0.001,0.04\nSample Interval,4e-6,,-0.000996,0.04\nTrigger,2,,"
                  "-0.000992,0.08\n,,,-0.000988,3.3\n,,,-0.000984,3.3\n,,,-0.000980,3.3\n",
         .expected = "ch0 250000Hz: 0.04 0.04 0.08 3.3 3.3 3.3",
         .recognised = "words in the columns left of column 4"},
        {.about = "duplicate, empty and unsafe names",
         .table = "Time,claw,claw,,claw~2\n0.0000,0,1,1,1\n0.0015,1,1,0,1\n0.0210,0,0,0,1\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0; claw~2 0.0001: 0=1 0.021=0; ch2 0.0001: "
                     "0=1 0.0015=0; claw~2~2 0.0001: 0=1"},
        {.about = "names that are numbers",
         .table = "x-axis,1,2\nsecond,Volt,Volt\n0.0,0.0,3.3\n0.1,3.3,3.3\n0.2,3.3,3.3\n",
         .expected = "1 10Hz: 0 3.3 3.3; 2 10Hz: 3.3 3.3 3.3",
         .recognised = "in s as the header says"},
        {.about = "a column that counts rows, then the time",
         .table = "Index,Time,claw\n0,0.000,0\n1,0.001,0\n2,0.002,1\n3,0.003,1\n",
         .expected = "claw 0.001: 0=0 0.002=1",
         .recognised = "column 1 counts rows"},
        {.about = "a count without a name",
         .table = "0,0.000,0\n1,0.001,0\n2,0.002,1\n3,0.003,1\n",
         .expected = "ch0 0.001: 0=0 0.002=1",
         .recognised = "column 1 counts rows"},
        {.about = "an empty column and one of words",
         .table = "Time,claw,spare,note\n0.0000,0,,start\n0.0015,1,,up\n0.0210,0,,down\n",
         .expected = "claw 0.0001: 0=0 0.0015=1 0.021=0",
         .warning = "column 3 (spare) holds nothing"},
    };
    CHECK_ALL(cases);
}

static void units_of_time(void **state) {
    (void)state;
    static const dialect_case cases[] = {
        {.about = "Time [s]",
         .table = "Time [s],c\n0.0000,0\n0.0015,1\n0.0210,0\n",
         .expected = "c 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "in s as the header says"},
        {.about = "time(us)",
         .table = "time(us),c\n0,0\n1500,1\n21000,0\n",
         .expected = "c 1e-06: 0=0 0.0015=1 0.021=0"},
        {.about = "t/ms",
         .table = "t/ms,c\n0.0,0\n1.5,1\n21.0,0\n",
         .expected = "c 0.0001: 0=0 0.0015=1 0.021=0"},
        {.about = "micro sign",
         .table = "Time (\xc2\xb5s),c\n0,0\n1500,1\n21000,0\n",
         .expected = "c 1e-06: 0=0 0.0015=1 0.021=0"},
        {.about = "Greek mu",
         .table = "Time (\xce\xbcs),c\n0,0\n1500,1\n21000,0\n",
         .expected = "c 1e-06: 0=0 0.0015=1 0.021=0"},
        {.about = "micro sign of ISO 8859-1",
         .table = "Time (\xb5s),c\n0,0\n1500,1\n21000,0\n",
         .expected = "c 1e-06: 0=0 0.0015=1 0.021=0"},
        {.about = "nanoseconds",
         .table = "ns;c\n0;0\n1500000;1\n21000000;0\n",
         .expected = "c 1e-09: 0=0 0.0015=1 0.021=0"},
        {.about = "--time-unit",
         .table = "0,0\n1500,1\n21000,0\n",
         .expected = "ch0 1e-06: 0=0 0.0015=1 0.021=0",
         .recognised = "in us as --time-unit says",
         .unit = SPW_TIME_US},
        {.about = "a header's unit wins",
         .table = "Time (us),c\n0,0\n1500,1\n21000,0\n",
         .expected = "c 1e-06: 0=0 0.0015=1 0.021=0",
         .warning = "--time-unit is left aside",
         .unit = SPW_TIME_MS},
        {.about = "no unit: seconds",
         .table = "0.0000,0\n0.0015,1\n0.0210,0\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "taken as seconds"},
        {.about = "19 digits since 1970 lose nothing",
         .table = "1777888999123456789,0\n1777888999124956790,1\n1777888999144456788,0\n",
         .expected = "ch0 1e-09: 0=0 0.001500001=1 0.020999999=0",
         .recognised = "in ns since 1970 by its size"},
        {.about = "microseconds since 1970",
         .table = "1777888999123456,0\n1777888999124956,1\n1777888999144456,0\n",
         .expected = "ch0 1e-06: 0=0 0.0015=1 0.021=0",
         .recognised = "in us since 1970 by its size"},
        {.about = "milliseconds since 1970",
         .table = "1777888999123,0\n1777888999133,1\n1777888999144,0\n",
         .expected = "ch0 0.001: 0=0 0.01=1 0.021=0",
         .recognised = "in ms since 1970 by its size"},
        {.about = "seconds since 1970, 19 digits",
         .table = "1777888999.123456789,0\n1777888999.124956790,1\n1777888999.144456788,0\n",
         .expected = "ch0 1e-09: 0=0 0.001500001=1 0.020999999=0",
         .recognised = "times count from the first row"},
        {.about = "calendar times",
         .table = "When,c\n2026-05-04 12:00:00.123456,0\n2026-05-04 12:00:00.124956,1\n"
                  "2026-05-05 00:00:00,0\n",
         .expected = "c 1e-06: 0=0 0.0015=1 43199.876544=0",
         .recognised = "as calendar time"},
        {.about = "ISO 8601 with zones",
         .table = "2026-05-04T12:00:00.000Z,0\n2026-05-04T14:00:00.500+02:00,1\n"
                  "2026-05-04T07:00:02.000-0500,0\n",
         .expected = "ch0 0.001: 0=0 0.5=1 2=0"},
        {.about = "time of day past midnight, decimal commas",
         .table = "23:59:59,9985;0\n00:00:00,0000;1\n00:00:00,0195;0\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "as time of day"},
        {.about = "a day's column and a time's",
         .table = "Date,Time,c\n2026-05-04,12:00:00.0000,0\n2026-05-04,12:00:00.0015,1\n"
                  "2026-05-04,12:00:00.0210,0\n",
         .expected = "c 0.0001: 0=0 0.0015=1 0.021=0"},
        {.about = "a leap day",
         .table = "2028-02-28 23:59:59.0,0\n2028-02-29 00:00:00.0,1\n2028-03-01 00:00:00.0,0\n",
         .expected = "ch0 0.1: 0=0 1=1 86401=0"},
        {.about = "start at 34 s",
         .table = "34.0000,0\n34.0015,1\n34.0210,0\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0",
         .recognised = "times count from the first row"},
        {.about = "negative start, engineering exponents with signs",
         .table = "-1.000E-03,0\n+0.500E-03,1\n+20.00E-03,0\n",
         .expected = "ch0 1e-06: 0=0 0.0015=1 0.021=0"},
        {.about = "steps of 1e-15 s",
         .table = "0e-15,0\n1e-15,0\n2e-15,1\n3e-15,1\n4e-15,0\n5e-15,0\n",
         .expected = "ch0 1e-15: 0=0 2e-15=1 4e-15=0"},
    };
    CHECK_ALL(cases);
}

static void kinds_of_rows(void **state) {
    (void)state;
    static const dialect_case cases[] = {
        {.about = "samples of levels",
         .table = "0.000,0\n0.001,0\n0.002,1\n0.003,1\n0.004,1\n0.005,0\n0.006,0\n",
         .expected = "ch0 0.001: 0=0 0.002=1 0.005=0",
         .recognised = "rows are samples, 1000 us apart"},
        {.about = "samples of levels and volts, missing ones",
         .table = "t,A,B\n0.000,0,0.1\n0.001,0,3.2\n0.002,1,\n0.003,x,nan\n0.004,1,3.3\n",
         .expected = "A 0.001: 0=0 0.002=1 0.003=x 0.004=1; B 1000Hz: 0.1 3.2 nan nan 3.3",
         .warning = "B: 2 cells hold no usable number (below 1e30) and count as unknown, the first "
                    "in line 4"},
        {.about = "changes in volts are levels",
         .table = "0,0.02,0.0\n0.0015,3.31,0.0\n0.0200,0.03,5.0\n0.0215,3.29,5.0\n0.0413,0.02,0.0"
                  "\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.02=0 0.0215=1 0.0413=0; ch1 0.0001: 0=0 0.02=1 "
                     "0.0413=0",
         .recognised = "ch0: volts read as levels"},
        {.about = "changes at even steps are changes",
         .table = "0.000000,0\n0.010000,1\n0.020000,0\n0.030000,1\n0.040000,0\n",
         .expected = "ch0 1e-06: 0=0 0.01=1 0.02=0 0.03=1 0.04=0",
         .recognised = "rows are changes"},
        {.about = "0.0 and 1.0 are levels",
         .table = "0.0000,0.0\n0.0015,1.0\n0.0210,0.0\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0"},
        {.about = "noisy volts beside a clock that changes in every row",
         .table = "0.000,0,0.01\n0.001,1,0.02\n0.002,0,3.31\n0.003,1,3.30\n0.004,0,3.29\n",
         .expected = "ch0 0.001: 0=0 0.001=1 0.002=0 0.003=1 0.004=0; ch1 1000Hz: 0.01 0.02 3.31 "
                     "3.3 3.29",
         .recognised = "1 channels of levels, 1 of volts"},
        {.about = "words are levels",
         .table = "t,A,B\n0.0000,L,true\n0.0015,H,false\n0.0210,low,False\n0.0300,HIGH,TRUE\n",
         .expected = "A 0.0001: 0=0 0.0015=1 0.021=0 0.03=1; B 0.0001: 0=1 0.0015=0 0.03=1"},
        {.about = "two channels change at one time in two rows",
         .table = "0.0000,0,0\n0.0015,1,0\n0.0200,1,1\n0.0200,0,1\n0.0215,0,0\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.02=0; ch1 0.0001: 0=0 0.02=1 0.0215=0"},
        {.about = "millivolts",
         .table = "t (ms),A (mV)\n0,10\n1,3300\n2,3310\n3,15\n4,12\n",
         .expected = "A 1000Hz: 0.01 3.3 3.31 0.015 0.012"},
        {.about = "a volts column without levels at uneven times",
         .table = "t,A,B\n0,0.1,0\n0.0015,0.2,1\n0.02,0.3,0\n0.0215,0.4,1\n0.04,0.5,0\n",
         .expected = "B 0.0001: 0=0 0.0015=1 0.02=0 0.0215=1 0.04=0",
         .warning = "column 2 (A) holds numbers without two clear levels"},
        {.about = "1e308 is no sample",
         .table = "0.000,0.5\n0.001,1e308\n0.002,0.5\n0.003,0.6\n",
         .expected = "ch0 1000Hz: 0.5 nan 0.5 0.6",
         .warning = "1 cell holds no usable number (below 1e30)"},
        {.about = "no time column, --rate",
         .table = "A,B\n0,0.1\n0,3.3\n1,3.3\n1,0.1\n",
         .expected = "A 0.001: 0=0 0.002=1; B 1000Hz: 0.1 3.3 3.3 0.1",
         .recognised = "rows are samples, 1000 a second by --rate",
         .rate_hz = 1000},
        {.about = "one number a line, --rate",
         .table = "0\n0\n1\n1\n0\n",
         .expected = "ch0 0.001: 0=0 0.002=1 0.004=0",
         .rate_hz = 1000},
        {.about = "a time column beside --rate",
         .table = "Time,A\n0.00,0\n0.00,0\n0.00,1\n0.01,1\n0.01,0\n",
         .expected = "A 0.002: 0=0 0.004=1 0.008=0",
         .recognised = "left aside because --rate was given",
         .rate_hz = 500},
        {.about = "a time column that says another rate",
         .table = "Time,A\n0.000,0\n0.001,0\n0.002,1\n0.003,1\n0.004,0\n",
         .expected = "A 0.002: 0=0 0.004=1 0.008=0",
         .warning = "the times say 1000 rows a second, --rate says 500",
         .rate_hz = 500},
    };
    CHECK_ALL(cases);
}

static void faults(void **state) {
    (void)state;
    static const dialect_case cases[] = {
        {.about = "missing rows of volts",
         .table = "0.000,0.1\n0.001,0.2\n0.002,0.3\n0.003,0.4\n0.004,0.5\n0.005,0.6\n0.006,0.7\n"
                  "0.007,0.8\n0.008,0.9\n0.009,1.0\n0.010,1.1\n0.013,1.2\n0.014,1.3\n",
         .expected = "ch0 1000Hz: 0.1 0.2 0.3 0.4 0.5 0.6 0.7 0.8 0.9 1 1.1 nan nan 1.2 1.3",
         .warning = "2 rows are missing in 1 place, the first before line 12"},
        {.about = "missing rows of levels",
         .table = "0.000,0\n0.001,0\n0.002,1\n0.003,1\n0.004,1\n0.005,1\n0.006,1\n0.007,1\n0.008,0"
                  "\n0.009,0\n0.010,0\n0.013,1\n0.014,1\n",
         .expected = "ch0 0.001: 0=0 0.002=1 0.008=0 0.013=1",
         .warning = "2 rows are missing in 1 place, the first before line 12"},
        {.about = "a row of words",
         .table = "0.0000,0\n0.0015,1\nhere it stalled\n0.0200,0\n0.0215,1\n0.0400,0\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.02=0 0.0215=1 0.04=0",
         .warning = "1 row holds no numbers where they should and count for nothing, the first in "
                    "line 3"},
        {.about = "short rows",
         .table = "0.0000,0,1\n0.0015,1,1\n0.0200,0\n0.0215,1,1\n0.0400,0,1\n",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.02=0 0.0215=1 0.04=0; ch1 0.0001: 0=1 0.02=x "
                     "0.0215=1",
         .warning = "ch1: 1 cell holds no 0 or 1"},
        {.about = "the last row without a line end is whole",
         .table = "0.0000,0\n0.0015,1\n0.0210,0",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0"},
        {.about = "the last row is cut in its time",
         .table = "0.0000,0\n0.0015,1\n0.0210,0\n0.02",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0",
         .warning = "line 4, the last one, is cut short and was not used"},
        {.about = "the last row is cut before its value",
         .table = "0.0000,0\n0.0015,1\n0.0210,0\n0.0225,",
         .expected = "ch0 0.0001: 0=0 0.0015=1 0.021=0",
         .warning = "line 4, the last one, is cut short and was not used"},
        {.about = "the last number is cut",
         .table = "0.0,0.11\n0.1,3.31\n0.2,3.32\n0.3,3.",
         .expected = "ch0 10Hz: 0.11 3.31 3.32",
         .warning = "line 4, the last one, is cut short and was not used"},
        {.about = "time runs backwards later: answered up to there",
         .table = "0.000,0\n0.001,0\n0.002,0\n0.003,0\n0.004,0\n0.005,0\n0.006,0\n0.007,1\n0.008,1"
                  "\n0.009,1\n0.010,1\n0.011,1\n0.012,1\n0.013,1\n0.014,1\n0.015,1\n0.016,0\n"
                  "0.001,1\n0.002,0\n",
         .expected = "ch0 0.001: 0=0 0.007=1 0.016=0",
         .warning = "line 18: the time runs backwards; the rows before it were read"},
    };
    CHECK_ALL(cases);
}

static void not_fooled(void **state) {
    (void)state;
    static const char *const others[] = {
        "$date today $end\n$timescale 1 ns $end\n$var wire 1 ! a $end\n$enddefinitions "
        "$end\n#0\n0!\n"
        "#10\n1!\n",
        "Dear club,\nplease bring the claw, the lid arm and the roller.\nUntil Monday, at five.\n",
        "hello\n",
        "\n\n",
        "<html><body>1,2,3</body></html>\n",
        "0101010101010101010101010101010101010101010101010101010101010101010101010101010101",
    };
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (spw_table_recognises(others[i], strlen(others[i]), true))
            fail_msg("taken for a table: %s", others[i]);
    assert_false(spw_table_recognises("0,1\n\0,1\n", 8, true));
    assert_true(spw_table_recognises("Time,claw\n", 10, true));
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(separators_and_marks),
                                       cmocka_unit_test(headers_and_names),
                                       cmocka_unit_test(units_of_time),
                                       cmocka_unit_test(kinds_of_rows),
                                       cmocka_unit_test(faults),
                                       cmocka_unit_test(not_fooled)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
