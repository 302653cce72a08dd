/* The VCD reader: what it makes of well-formed dumps. */
#include "capture/reader.h"
#include "capture/vcd/scale.h"
#include "support/kept.h"
#include "support/scratch.h"
#include "support/test.h"
#include "support/vcd_case.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define UNIT "$timescale 1 us $end\n"
#define TWO                                                                                        \
    UNIT "$scope module wren $end\n$var wire 1 ! claw $end\n$var reg 1 \" lid $end\n"              \
         "$upscope $end\n$enddefinitions $end\n"
#define PORT UNIT "$var wire 4 ! port [3:0] $end\n$enddefinitions $end\n"

static void check(const char *text, const char *heard) {
    vcd_case got = vcd_case_read(text, strlen(text), NULL);
    if (got.status != SPW_OK)
        fail_msg("%s: %s", text, got.error.message);
    assert_string_equal(got.heard, heard);
    assert_false(got.truncated);
    if (strchr(got.notes, '!') != NULL)
        fail_msg("%s: unexpected warning: %s", text, got.notes);
    vcd_case_free(&got);
}

static void scalars(void **state) {
    (void)state;
    check(TWO "#0\n0!\n1\"\n#1500\n1!\n#3000\n0!\nx\"\n#4000\nz!\n",
          "wren.claw wren.lid | 0:0=0 0:1=1 1500:0=1 3000:0=0 3000:1=x 4000:0=x | 4000");
    /* a dump that begins late: the first instant is the first mark */
    check(TWO "#500\n0!\n#700\n1!\n", "wren.claw wren.lid | 0:0=0 200:0=1 | 200");
    /* x first: the first level is the first known one */
    check(TWO "#0\nx!\nZ\"\n#5\n1!\n#9\n0!\n", "wren.claw wren.lid | 5:0=1 9:0=0 | 9");
    /* vector and real form of a scalar's value */
    check(TWO "#0\nb0 !\n#5\nB1 !\n#6\n", "wren.claw wren.lid | 0:0=0 5:0=1 | 6");
}

static void several_values_at_one_time(void **state) {
    (void)state;
    /* the last one counts; a glitch within a step is no edge */
    check(TWO "#0\n0!\n#10\n1!\n0!\n#20\n0!\n1!\n#30\n1!\n",
          "wren.claw wren.lid | 0:0=0 20:0=1 | 30");
    check(TWO "#0\n1!\n#0\n#0\n0!\n#10\n1!\n#10\n0!\n#10\n1!\n",
          "wren.claw wren.lid | 0:0=0 10:0=1 | 10");
    /* so it is among lines that follow each other plainly: the same time again ends no step */
    check(TWO "#0\n0!\n#10\n1!\n#20\n0!\n#20\n1!\n#30000000\n0!\n#30000000\n1!\n#40000000\n0!\n",
          "wren.claw wren.lid | 0:0=0 10:0=1 40000000:0=0 | 40000000");
    /* empty time marks count for the duration only */
    check(TWO "#0\n0!\n#1\n#2\n#3\n1!\n#4\n#5\n", "wren.claw wren.lid | 0:0=0 3:0=1 | 5");
}

static void values_before_the_first_time(void **state) {
    (void)state;
    check(TWO "$dumpvars\n0!\n1\"\n$end\n#0\n1!\n#7\n0\"\n",
          "wren.claw wren.lid | 0:0=1 0:1=1 7:1=0 | 7");
    check(TWO "$dumpvars\n0!\n$end\n#500\n1!\n#700\n0!\n",
          "wren.claw wren.lid | 0:0=0 500:0=1 700:0=0 | 700");
    check(TWO "$dumpvars $end\n#500\n1!\n#700\n0!\n", "wren.claw wren.lid | 0:0=1 200:0=0 | 200");
}

static void dumps_switched_off(void **state) {
    (void)state;
    const char *gap = "wren.claw wren.lid | 0:0=1 0:1=0 10:0=x 10:1=x 20:0=0 20:1=1 30:0=1 | 30";
    check(TWO "#0\n1!\n0\"\n#10\n$dumpoff\nx!\nx\"\n$end\n#20\n$dumpon\n0!\n1\"\n$end\n#30\n1!\n",
          gap);
    check(TWO "#0\n1!\n0\"\n#10\n$dumpoff\n$end\n#20\n$dumpon 0! 1\" $end\n#30\n1!\n", gap);
    /* values within its body are no levels; a gap of no length is one all the same */
    check(TWO "#0\n1!\n#10\n$dumpoff\n0!\n$end\n$dumpon\n0!\n$end\n#20\n1!\n",
          "wren.claw wren.lid | 0:0=1 10:0=x 10:0=0 20:0=1 | 20");
    /* of a bit that is a channel, too */
    check(PORT "#0\nb0 !\n#5\nb10 !\n#8\n$dumpoff\n$end\n#9\n$dumpon\nb1111 !\n$end\n#12\nb0 !\n",
          "port[1] port[3] port[2] port[0] | 5:0=0 5:0=1 8:0=x 9:1=1 9:2=1 9:0=1 9:3=1 12:1=0 "
          "12:2=0 12:0=0 12:3=0 | 12");
}

static void vectors(void **state) {
    (void)state;
    /* bits are announced when they change, with the level they had */
    check(PORT "#0\nb0 !\n#10\nb100 !\n#20\nb0101 !\n#30\n0!\n",
          "port[2] port[0] | 10:0=0 10:0=1 20:1=0 20:1=1 30:0=0 30:1=0 | 30");
    /* one never known before has no level to start from */
    check(PORT "#0\nbx !\n#10\nb1 !\n#20\nb0 !\n", "port[0] | 20:0=1 20:0=0 | 20");
    /* ascending range glued to its name; negative indices; no range; a range of another size */
    check(UNIT "$var reg 2 ! a[0:1] $end\n$var reg 2 \" b [-1:-2] $end\n$var reg 2 # c $end\n"
               "$var reg 2 $ m[7] $end\n$enddefinitions $end\n"
               "#0\nb00 !\nb00 \"\nb00 #\nb00 $\n#1\nb10 !\nb10 \"\nb10 #\nb10 $\n",
          "a[0] b[-1] c[1] m[7][1] | 1:0=0 1:0=1 1:1=0 1:1=1 1:2=0 1:2=1 1:3=0 1:3=1 | 1");
}

/* Table 18-2 of IEEE Std 1364-2005: what a shortened 4-bit value stands for.
 * The bits are announced by 0101 and 1010, then set to 1111 and to the value. */
static void left_extension(void **state) {
    (void)state;
    static const struct {
        const char *value, *bits;
    } rows[] = {{"b10", "0010"},  {"bX10", "xx10"},  {"bZX0", "xxx0"}, {"b0X10", "0x10"},
                {"b1", "0001"},   {"bz", "xxxx"},    {"b0", "0000"},   {"bx1", "xxx1"},
                {"b01x", "001x"}, {"b1111", "1111"}, {"bz0", "xxx0"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        spw_text text = {0}, expected = {0};
        spw_text_printf(&text,
                        PORT "#0\nb0101 !\n#1\nb1010 !\n#2\nb0101 !\n#3\nb1111 !\n#4\n%s !\n",
                        rows[i].value);
        spw_text_puts(&expected, "");
        for (int bit = 0; bit < 4; bit++)
            if (rows[i].bits[bit] != '1')
                spw_text_printf(&expected, "4:%d=%c ", bit, rows[i].bits[bit]);
        vcd_case got = vcd_case_read(text.data, text.length, NULL);
        assert_int_equal(got.status, SPW_OK);
        assert_memory_equal(got.heard, "port[3] port[2] port[1] port[0] | ", 34);
        const char *last = strstr(got.heard, " 4:");
        char rest[128];
        snprintf(rest, sizeof rest, "%s| 4", expected.data);
        assert_string_equal(last == NULL ? strstr(got.heard, "| 4") : last + 1, rest);
        vcd_case_free(&got);
        spw_text_free(&text);
        spw_text_free(&expected);
    }
}

static const char *const types[] = {"reg",     "wire",   "integer", "time",  "supply0",
                                    "supply1", "tri",    "triand",  "trior", "tri0",
                                    "tri1",    "trireg", "wand",    "wor",   NULL};

static void variable_types(void **state) {
    (void)state;
    for (size_t i = 0; types[i] != NULL; i++) {
        char text[256];
        snprintf(text, sizeof text,
                 UNIT "$var %s 1 ! a $end\n$enddefinitions $end\n#0\n0!\n#1\n1!\n", types[i]);
        check(text, "a | 0:0=0 1:0=1 | 1");
    }
    const char *others = UNIT
        "$var real 64 ! volts $end\n$var event 1 \" tick $end\n$var parameter 8 # N $end\n"
        "$var realtime 64 $ t $end\n$var string 1 % name $end\n$var logic 1 & claw $end\n"
        "$var wire 1 ' lid $end\n$enddefinitions $end\n"
        "#0\nr1.5 !\n1\"\nb101 #\nr-1.25e-3 $\nsIDLE %\n0&\n1'\n#5\nrNaN !\nr-inf $\n1&\n0\"\n";
    vcd_case got = vcd_case_read(others, strlen(others), NULL);
    assert_string_equal(got.heard, "claw lid | 0:0=0 0:1=1 5:0=1 | 5");
    assert_string_equal(got.notes,
                        "VCD (IEEE Std 1364), time unit 1 us, 7 variables\n"
                        "line 7: 'logic' is a type that the standard does not have: its levels are "
                        "read all the same\n"
                        "line 2: 'volts' is a real number, which has no logic level: ignored (2 in "
                        "all)\n"
                        "line 3: 'tick' is an event, which has no level: ignored\n"
                        "line 4: 'N' is a parameter, which does not change: ignored\n"
                        "line 6: 'name' is a string, which has no logic level: ignored\n");
    vcd_case_free(&got);
}

static void time_units(void **state) {
    (void)state;
    static const char *const numbers[] = {"1", "10", "100"};
    static const char *const units[] = {"s", "ms", "us", "ns", "ps", "fs"};
    for (size_t n = 0; n < 3; n++)
        for (size_t u = 0; u < 6; u++)
            for (size_t form = 0; form < 3; form++) {
                static const char *const forms[] = {"$timescale %s%s $end\n",
                                                    "$timescale %s %s $end",
                                                    "$timescale\r\n\t%s\r\n\t%s\r\n$end\r\n"};
                char text[256], number[32];
                int at = snprintf(text, sizeof text, forms[form], numbers[n], units[u]);
                snprintf(text + at, sizeof text - (size_t)at,
                         " $var wire 1 ! a $end $enddefinitions $end\n#1\n0!\n#20004\n");
                vcd_case got = vcd_case_read(text, strlen(text), NULL);
                assert_int_equal(got.status, SPW_OK);
                /* the C library reads the exact decimal number to its nearest double */
                snprintf(number, sizeof number, "20003e%d", (int)n - 3 * (int)u);
                assert_true(got.duration_s == strtod(number, NULL));
                vcd_case_free(&got);
            }
}

static void scales(void **state) {
    (void)state;
    spw_vcd_scale scale;
    assert_int_equal(spw_vcd_scale_read("25ns", 4, &scale), SPW_OK);
    assert_true(scale.odd && spw_vcd_seconds(&scale, 3) == 75e-9);
    assert_string_equal(scale.text, "25 ns");
    /* a recorder of 24 MHz: its period in femtoseconds */
    assert_int_equal(spw_vcd_scale_read("41666667fs", 10, &scale), SPW_OK);
    assert_true(scale.odd && spw_vcd_seconds(&scale, 480000) == 480000.0 * 41666667 / 1e15);
    assert_string_equal(scale.text, "41666667 fs");
    /* beyond 2^53 steps: within one place of the last (2^64 - 1 fs) */
    assert_int_equal(spw_vcd_scale_read("1fs", 3, &scale), SPW_OK);
    assert_true(fabs(spw_vcd_seconds(&scale, UINT64_MAX) / 18446.744073709551615 - 1) < 4e-16);
    assert_int_equal(spw_vcd_scale_read("100s", 4, &scale), SPW_OK);
    assert_true(fabs(spw_vcd_seconds(&scale, UINT64_MAX) / 1.8446744073709551615e21 - 1) < 4e-16);
    static const char *const bad[] = {"",      "0ns",
                                      "ns",    "1",
                                      "-1ns",  "1.5ns",
                                      "1 ns",  "1nsx",
                                      "1NS",   "1m",
                                      "1n",    "1000000000000001s",
                                      "1e3ns", "99999999999999999999s"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_int_equal(spw_vcd_scale_read(bad[i], strlen(bad[i]), &scale), SPW_ERR_FORMAT);
    assert_string_equal(scale.text, "100 s");
}

/* A difference of large times is exact: the first instant goes off as an integer. */
static void large_times(void **state) {
    (void)state;
    const char *text = "$timescale 1 ns $end $var wire 1 ! a $end $enddefinitions $end\n"
                       "#18446744073709000000\n0!\n#18446744073709551615\n1!\n";
    vcd_case got = vcd_case_read(text, strlen(text), NULL);
    assert_string_equal(got.heard, "a | 0:0=0 551615:0=1 | 551615");
    assert_true(got.duration_s == 551615e-9);
    vcd_case_free(&got);
}

static char *file_content(const char *path) {
    FILE *file = fopen(path, "rb");
    char *content = malloc(100000);
    if (file == NULL || content == NULL)
        fail_msg("cannot read %s", path);
    size_t got = fread(content, 1, 99999, file);
    content[got] = '\0';
    fclose(file);
    return content;
}

/* The changes of net1 to net3 by the facts of the standard's example. */
static char *facts_of_the_nets(void) {
    char *facts = file_content("tests/data/vcd/standard_example_facts.tsv");
    char level[3] = {'x', 'x', 'x'}, *rest = facts;
    spw_text text = {0};
    for (char *line; (line = strtok_r(rest, "\n", &rest)) != NULL;) {
        char value[3];
        unsigned time;
        if (sscanf(line, "%u %*s %c %c %c", &time, &value[0], &value[1], &value[2]) != 4)
            continue;
        for (int i = 0; i < 3; i++) {
            char now = value[i] == 'z' ? 'x' : value[i];
            if (now != '-' && now != level[i])
                spw_text_printf(&text, "%u:%d=%c ", time - 500, i, level[i] = now);
        }
    }
    free(facts);
    return text.data;
}

/* IEEE Std 1364-2005 18.2.4, in words of our own: net3 is high for 5 ns from
 * 505 and 10 ns from 520, rises at 540, is unknown from 1000 to 2000. */
static void example_of_the_standard(void **state) {
    (void)state;
    char *text = file_content("tests/data/vcd/standard_example.vcd"), *facts = facts_of_the_nets();
    vcd_case got = vcd_case_read(text, strlen(text), NULL);
    assert_int_equal(got.status, SPW_OK);
    char expected[1024];
    snprintf(expected, sizeof expected,
             "top.m1.net1 top.m1.net2 top.m1.net3 top.t1.accumulator[13] top.t1.accumulator[9] "
             "top.t1.accumulator[8] top.t1.accumulator[7] top.t1.accumulator[4] "
             "top.t1.accumulator[3] top.t1.accumulator[2] | %s",
             facts);
    /* the accumulator's ones are all 0 after the gap */
    char *late = strstr(expected, "1510:2=1");
    assert_non_null(late);
    snprintf(late, (size_t)(expected + sizeof expected - late),
             "1500:3=0 1500:4=0 1500:5=0 1500:6=0 1500:7=0 1500:8=0 1500:9=0 1510:2=1 | 1510");
    assert_string_equal(got.heard, expected);
    assert_non_null(strstr(facts, "5:2=1 10:2=0 20:2=1 30:2=0 40:2=1"));
    assert_null(strchr(got.notes, '!'));
    vcd_case_free(&got);
    free(text);
    free(facts);
}

static int compare(const void *a, const void *b) {
    uint64_t one = *(const uint64_t *)a, two = *(const uint64_t *)b;
    return one < two ? -1 : one > two;
}

/* The instants, in us, at which a channel of a dump changes from one known
 * level to the other. */
static size_t instants(const kept *got, const char *name, uint64_t *us, size_t room) {
    uint32_t level = SPW_LEVEL_UNKNOWN;
    size_t n = 0;
    for (size_t i = 0; i < got->n_kept; i++) {
        const spw_change *change = &got->changes[i];
        if (strcmp(got->channels[change->channel].name, name) != 0)
            continue;
        if (change->level != level && change->level < 2 && level < 2) {
            assert_true(n < room);
            us[n++] = (uint64_t)llround(change->time_s * 1e6);
            /* the nearest double of a whole number of us */
            assert_true(change->time_s == (double)us[n - 1] / 1e6);
        }
        level = change->level;
    }
    return n;
}

/* Lead and trail edges of 20 frames of 20 000 us from 1000 us on, without those of `missing`. */
static void check_line(const kept *got, const char *name, int missing, unsigned width_first,
                       unsigned width_step, unsigned step_every) {
    uint64_t us[64], expected[64];
    size_t n = instants(got, name, us, 64), m = 0;
    for (int frame = 0; frame < 20; frame++) {
        if (frame == missing)
            continue;
        uint64_t lead = 1000 + 20000 * (uint64_t)frame;
        expected[m++] = lead;
        expected[m++] = lead + width_first + width_step * ((unsigned)frame / step_every);
    }
    qsort(us, n, sizeof us[0], compare);
    print_message("%s\n", name);
    assert_int_equal(n, m);
    for (size_t i = 0; i < m; i++)
        assert_int_equal(us[i], expected[i]);
}

static void check_bench(const char *path, const char *const lines[3], int missing,
                        double duration_s) {
    kept got = {.keep = 100000};
    const spw_sink sink = kept_sink(&got);
    spw_capture_summary summary;
    spw_error error;
    if (spw_capture_read(path, NULL, &sink, &summary, &error) != SPW_OK)
        fail_msg("%s: %s", path, error.message);
    kept_check_summary(&got, &summary);
    assert_int_equal(summary.format, SPW_FORMAT_VCD);
    assert_false(summary.truncated);
    assert_int_equal(summary.warnings.n, 0);
    assert_true(summary.duration_s == duration_s);
    check_line(&got, lines[0], missing, 1500, 0, 1);
    check_line(&got, lines[1], missing, 600, 100, 1);
    check_line(&got, lines[2], missing, 1000, 1000, 10);
    spw_capture_summary_free(&summary);
    kept_free(&got);
}

/* Dumps of two simulators; the numbers are those in the benches beside them. */
static void simulators(void **state) {
    (void)state;
    static const char *const verilog[] = {"bench.hold", "bench.lines.port[2]", "bench.inverted"};
    static const char *const vhdl[] = {"bench.hold", "bench.port_c[2]", "bench.inverted"};
    check_bench("tests/data/vcd/simulators/verilog.vcd", verilog, 8, 0.402);
    check_bench("tests/data/vcd/simulators/vhdl.vcd", vhdl, -1, 0.401);
}

/* Through a pipe a byte at a time, as from a program that is still writing. */
static void pipe_byte_by_byte(void **state) {
    (void)state;
    const char *text = TWO "#0\n0!\n#1500\n1!\n#3000\n0!\n";
    kept got = {.keep = 100};
    const spw_sink sink = kept_sink(&got);
    spw_capture_summary summary;
    scratch_stdin(text, strlen(text), 1, 20);
    assert_int_equal(spw_capture_read("-", NULL, &sink, &summary, NULL), SPW_OK);
    scratch_stdin_end();
    kept_check_summary(&got, &summary);
    assert_int_equal(got.n_changes, 3);
    assert_true(got.changes[1].time_s == 1500e-6 && summary.duration_s == 3000e-6);
    spw_capture_summary_free(&summary);
    kept_free(&got);
}

/* Many lines and steps: more changes than a batch, at every code length. */
static void many_lines(void **state) {
    (void)state;
    enum { LINES = 3000 };
    spw_text text = {0};
    spw_text_puts(&text, UNIT);
    for (unsigned i = 0; i < LINES; i++)
        spw_text_printf(&text, "$var wire 1 %.*s%u line%u $end\n", (int)(i % 11), "abcdefghijk", i,
                        i);
    spw_text_puts(&text, "$enddefinitions $end\n");
    for (unsigned step = 0; step < 5; step++) {
        spw_text_printf(&text, "#%u\n", step * 10);
        for (unsigned i = 0; i < LINES; i++)
            spw_text_printf(&text, "%u%.*s%u\n", (step + i) & 1, (int)(i % 11), "abcdefghijk", i);
    }
    assert_int_equal(spw_text_status(&text), SPW_OK);
    spw_emitter *emitter = calloc(1, sizeof *emitter);
    kept got = {.keep = 5 * LINES};
    const spw_sink sink = kept_sink(&got);
    spw_source *source;
    spw_capture_summary summary = {.format = SPW_FORMAT_VCD};
    const spw_read_options options = {.has_rate = false};
    assert_non_null(emitter);
    emitter->sink = &sink;
    assert_int_equal(spw_source_memory(text.data, text.length, &source), SPW_OK);
    assert_int_equal(spw_vcd_read(source, &options, emitter, &summary, NULL), SPW_OK);
    assert_int_equal(spw_emit_flush(emitter), SPW_OK);
    kept_check_summary(&got, &summary);
    assert_int_equal(got.n_kept, 5 * LINES);
    for (size_t i = 0; i < got.n_kept; i++) {
        assert_int_equal(got.changes[i].channel, i % LINES);
        assert_int_equal(got.changes[i].level, (i / LINES + i % LINES) & 1);
    }
    spw_source_free(source);
    spw_capture_summary_free(&summary);
    kept_free(&got);
    free(emitter);
    spw_text_free(&text);
}

/* What the sink returns ends the reading. */
static void sink_that_stops(void **state) {
    (void)state;
    const char *path = scratch_file("stop", TWO "#0\n0!\n#1\n1!\n", strlen(TWO) + 12);
    kept got = {.keep = 100, .stop_after = 1, .stop_status = SPW_ERR_LIMIT};
    const spw_sink sink = kept_sink(&got);
    spw_capture_summary summary;
    assert_int_equal(spw_capture_read(path, NULL, &sink, &summary, NULL), SPW_ERR_LIMIT);
    kept_free(&got);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(scalars),
        cmocka_unit_test(several_values_at_one_time),
        cmocka_unit_test(values_before_the_first_time),
        cmocka_unit_test(dumps_switched_off),
        cmocka_unit_test(vectors),
        cmocka_unit_test(left_extension),
        cmocka_unit_test(variable_types),
        cmocka_unit_test(time_units),
        cmocka_unit_test(scales),
        cmocka_unit_test(large_times),
        cmocka_unit_test(example_of_the_standard),
        cmocka_unit_test(simulators),
        cmocka_unit_test(pipe_byte_by_byte),
        cmocka_unit_test(many_lines),
        cmocka_unit_test(sink_that_stops),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
