/* The VCD reader: dialects seen in the wild, damage, limits, recognition. */
#include "capture/reader.h"
#include "capture/vcd/vcd.h"
#include "support/kept.h"
#include "support/test.h"
#include "support/vcd_case.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define UNIT "$timescale 1 us $end\n"
#define END "$enddefinitions $end\n"
#define ONE UNIT "$var wire 1 ! a $end\n" END
#define HEAD "VCD (IEEE Std 1364), time unit 1 us, 1 variable\n"

static void check(const char *text, const char *heard, bool truncated, const char *notes) {
    vcd_case got = vcd_case_read(text, strlen(text), NULL);
    if (got.status != SPW_OK)
        fail_msg("%s: %s", text, got.error.message);
    assert_string_equal(got.heard, heard);
    assert_string_equal(got.notes, notes);
    assert_true(got.truncated == truncated);
    vcd_case_free(&got);
}

/* The name that one declaration makes. */
static void check_name(const char *declaration, const char *name) {
    char text[512], heard[512];
    snprintf(text, sizeof text, UNIT "$scope module top $end %s $upscope $end\n" END "#0\n#1\n",
             declaration);
    vcd_case got = vcd_case_read(text, strlen(text), NULL);
    assert_int_equal(got.status, SPW_OK);
    snprintf(heard, sizeof heard, "%s | | 1", name);
    assert_string_equal(got.heard, heard);
    vcd_case_free(&got);
}

static void names(void **state) {
    (void)state;
    check_name("$var wire 1 ! claw $end", "top.claw");
    check_name("$var wire 1 ! claw[2] $end", "top.claw[2]");
    check_name("$var wire 1 ! claw [2] $end", "top.claw[2]");
    check_name("$var wire 1 ! claw  [ 2 ] $end", "top.claw[ 2 ]");
    check_name("$var wire 1 ! claw [3:3] $end", "top.claw[3]");
    check_name("$var wire 1 ! claw [0:0] $end", "top.claw[0]");
    check_name("$var wire 1 ! arm [1] [4:4] $end", "top.arm[1][4]");
    check_name("$var wire 1 ! claw [7:0] $end", "top.claw[7:0]"); /* a range of something else */
    check_name("$var wire 1 ! seed roller 1 $end", "top.seed roller 1");
    check_name("$var wire 1 ! seed roller [1] $end", "top.seed roller[1]");
    check_name("$var wire 1 ! \\lid.arm+ $end", "top.lid.arm+");
    check_name("$var wire 1 ! \\a,b|c~d[4] $end", "top.a,b|c~d[4]");
    check_name("$var wire 1 ! \\vhdl\\ $end", "top.\\vhdl\\");
    check_name("$var wire 1 ! $end", "ch0");
    check_name("$var wire 1 ! $end $var wire 1 \" $end", "ch0 ch1");
    check_name("$var wire 1 ! ch1 $end $var wire 1 # $end", "top.ch1 ch1");
    check_name("$var wire 1 ! a $end $var wire 1 \" a $end $var wire 1 # a $end",
               "top.a top.a~2 top.a~3");
    check_name("$var wire 1 ! a $end $var wire 1 \" a~2 $end $var wire 1 # a $end",
               "top.a top.a~2 top.a~3");
    check_name("$var wire 1 ! a\xe2\x82\xac $end", "top.a\xe2\x82\xac");
    /* one code in several scopes: once, under its first name */
    check_name("$var wire 1 ! a $end $scope module in $end $var wire 1 ! b $end $upscope $end "
               "$var wire 1 \" c $end",
               "top.a top.c");
    check_name("$scope begin $end $var wire 1 ! a $end $upscope $end", "top.a");
    check_name("$upscope $end $upscope $end $var wire 1 ! a $end", "a");
    check_name("$scope fork gen[0] $end $var wire 1 ! a $end $upscope $end", "top.gen[0].a");
}

/* A sink that looks at one name only. */
static spw_status on_long_name(void *context, uint32_t index, const spw_channel_info *info) {
    if (index == 0) {
        static const char end[] = ".scope_number_254.scope_number_255.claw";
        assert_in_range(info->name_length, SPW_VCD_NAME_MAX - 64, SPW_VCD_NAME_MAX - 1);
        assert_int_equal(strlen(info->name), info->name_length);
        assert_string_equal(info->name + info->name_length - strlen(end), end);
        assert_memory_equal(info->name, "scope_number_", 13);
    } else {
        assert_string_equal(info->name, "scope_number_000.lid");
    }
    ++*(int *)context;
    return SPW_OK;
}

static spw_status on_no_change(void *context, const spw_change *changes, size_t n) {
    (void)context, (void)changes, (void)n;
    return SPW_ERR_ARGUMENT;
}

/* Scopes 300 deep: the inner ones are kept, of those that are named at all. */
static void long_names(void **state) {
    (void)state;
    spw_text text = {0};
    spw_text_puts(&text, UNIT);
    for (int depth = 0; depth < 300; depth++)
        spw_text_printf(&text, "$scope module scope_number_%03d $end\n", depth);
    spw_text_puts(&text, "$var wire 1 ! claw $end\n");
    for (int depth = 0; depth < 299; depth++)
        spw_text_puts(&text, "$upscope $end\n");
    spw_text_puts(&text, "$var wire 1 \" lid $end\n" END "#0\n#1\n");
    int seen = 0;
    const spw_sink sink = {.context = &seen, .channel = on_long_name, .changes = on_no_change};
    spw_source *source;
    spw_capture_summary summary;
    assert_int_equal(spw_source_memory(text.data, text.length, &source), SPW_OK);
    assert_int_equal(spw_capture_read_source(source, NULL, &sink, &summary, NULL), SPW_OK);
    assert_int_equal(seen, 2);
    assert_int_equal(summary.warnings.n, 1);
    assert_non_null(strstr(summary.warnings.text[0], "is a name too long to keep"));
    spw_capture_summary_free(&summary);
    spw_source_free(source);
    spw_text_free(&text);
}

static void declarations(void **state) {
    (void)state;
    const char *heard = "a | 0:0=0 1:0=1 | 1";
    /* nothing but what is needed; after the variables; CRLF; a mark of UTF-8 */
    check("$var wire 1 ! a $end " UNIT END "#0 0! #1 1!\n", heard, false, HEAD);
    check("\xef\xbb\xbf$timescale\r\n 1us\r\n$end\r\n$var wire 1 ! a $end\r\n"
          "$enddefinitions $end\r\n#0\r\n0!\r\n#1\r\n1!\r\n",
          heard, false, HEAD);
    /* sections of other programs, with anything in them */
    check("$date $end $version a b $end $attrbegin misc 02 x $end $timezero 100 $end\n" ONE
          "#0\n0!\n#1\n1!\n",
          heard, false, HEAD);
    check("$comment $var wire 1 \" no $enddefinitions #5 0! $end\n" ONE
          "#0\n$comment 1! #7 $dumpvars $end 0!\n#1\n1!\n$comment\nlast\n$end\n",
          heard, false, HEAD);
    /* forgotten $end */
    check("$version 7\n$timescale 1 us\n$var wire 1 ! a\n" END "#0\n0!\n#1\n1!\n", heard, false,
          HEAD);
    check(UNIT "$var wire 1 ! a $end\n#0\n0!\n#1\n1!\n", heard, false,
          HEAD "! line 3: '#0' comes before $enddefinitions: the declarations are taken to end "
               "here\n");
    check(UNIT "$timescale 1 us $end $timescale 1 ns $end\n$var wire 1 ! a $end\n" END
               "#0\n0!\n#1\n1!\n",
          heard, false,
          HEAD "! line 2: '1ns' is a second, different time unit: the first one counts\n");
    check("$timescale 2 us $end\n$var wire 1 ! a $end\n" END "#0\n0!\n#1\n1!\n", heard, false,
          "VCD (IEEE Std 1364), time unit 2 us, 1 variable\nline 1: '2us' is taken as the time "
          "unit, though the standard has 1, 10 and 100 only\n");
    check(UNIT "$var wire 1 ! a $end\n$var wire x \" b $end\n$var wire 0 # c $end\n$var $end\n" END
               "#0\n0!\n1#\n#1\n1!\n",
          heard, false,
          HEAD "! line 3: 'b' declares no variable that can be understood: left out (3 in all)\n"
               "! line 9: '1#' changes a variable that was not declared: skipped\n");
    check(UNIT "$var wire 1 ! a $end\n$var wire 2 ! b $end\n" END "#0\n0!\n#1\n1!\n", heard, false,
          HEAD "! line 3: 'b' shares its identifier code with a variable of another size or type: "
               "the first one counts\n");
    check(ONE "#0\n0!\n$var wire 1 \" b $end\n$scope module x $end\n#1\n1!\n", heard, false,
          HEAD "! line 6: '$var' is a declaration behind the declarations: ignored (2 in all)\n");
}

/* What the file leaves open is settled by the option; what it says wins. */
static void time_unit_option(void **state) {
    (void)state;
    const spw_read_options options = {.time_unit = SPW_TIME_MS};
    static const struct {
        const char *header, *notes;
        double duration_s;
    } rows[] = {
        {"", "VCD (IEEE Std 1364), time unit 1 ms (--time-unit), 1 variable\n", 7e-3},
        {"$timescale 0 us $end\n",
         "VCD (IEEE Std 1364), time unit 1 ms (--time-unit), 1 variable\n"
         "! line 1: '0us' is no time unit: the one given with --time-unit is used\n",
         7e-3},
        {UNIT, HEAD, 7e-6},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[256];
        snprintf(text, sizeof text, "%s$var wire 1 ! a $end\n" END "#0\n0!\n#7\n1!\n",
                 rows[i].header);
        vcd_case got = vcd_case_read(text, strlen(text), &options);
        assert_int_equal(got.status, SPW_OK);
        assert_string_equal(got.notes, rows[i].notes);
        assert_true(got.duration_s == rows[i].duration_s);
        vcd_case_free(&got);
    }
}

static void codes(void **state) {
    (void)state;
    /* of any length, beginning like values, times and keywords */
    check(UNIT "$var wire 1 # a $end\n$var wire 1 $x b $end\n$var wire 1 b01 c $end\n"
               "$var wire 1 r0r0 d $end\n$var wire 1 01xz# e $end\n$var wire 1 abcdefgh f $end\n"
               "$var wire 1 abcdefghi g $end\n$var wire 1 abcdefghj h $end\n" END
               "#0\n0#\n0$x\n0b01\n0r0r0\n001xz#\n0abcdefgh\n0abcdefghi\nb0 abcdefghj\n"
               "#1\n1#\nb1 $x\n1b01\n1r0r0\n101xz#\n1abcdefgh\n1abcdefghi\n1abcdefghj\n",
          "a b c d e f g h | 0:0=0 0:1=0 0:2=0 0:3=0 0:4=0 0:5=0 0:6=0 0:7=0 1:0=1 1:1=1 1:2=1 "
          "1:3=1 1:4=1 1:5=1 1:6=1 1:7=1 | 1",
          false, "VCD (IEEE Std 1364), time unit 1 us, 8 variables\n");
}

static void text_in_the_middle(void **state) {
    (void)state;
    check("<<<<<<< HEAD\n" ONE
          "#0\n0!\n<<<<<<< HEAD\n#5\n1!\n=======\n#6\n1!\n>>>>>>> branch 1! 0!\n"
          "#9\n0!\nreleased by us 1!\n \n# note\n",
          "a | 0:0=0 5:0=1 9:0=0 | 9", false,
          HEAD "! line 1: '<<<<<<<' is no part of a VCD: the rest of its line is skipped (6 in "
               "all)\n");
    check(ONE "#0\n0!\n0!!\n0?\nb0 ?\n#1\n1!\n", "a | 0:0=0 1:0=1 | 1", false,
          HEAD "! line 6: '0!!' changes a variable that was not declared: skipped (3 in all)\n");
    check(ONE "#0\nL!\n#1\nh!\n#2\nU!\n#3\nbW !\n#4\nHEAD\n-!\n#5\n0!\n",
          "a | 0:0=0 1:0=1 2:0=x 5:0=0 | 5", false,
          HEAD "line 5: 'L!' has nine-state letters (IEEE Std 1164): H is read as 1, L as 0, U, W "
               "and - as unknown (5 in all)\n"
               "! line 13: 'HEAD' is no part of a VCD: the rest of its line is skipped\n");
    check(ONE "#0\n0!\n#3\n1!\n#5\n0!\n#10\n1!\n#!0\n0!\n#20\n0!\n#20000000000\n1!\n#30000000000\n",
          "a | 0:0=0 3:0=1 5:0=0 20000000000:0=1 | 30000000000", false,
          HEAD "! line 12: '#!0' is no part of a VCD: the rest of its line is skipped\n");
    check(ONE "#0\nb0000 !\n#1\nb001 !\n", "a | 0:0=0 1:0=1 | 1", false,
          HEAD "! line 5: '!' has more digits than its variable has bits: the rightmost ones are "
               "read (2 in all)\n");
}

static void damage(void **state) {
    (void)state;
    const char *start = ONE "#0\n0!\n#5\n1!\n#9\n";
    static const struct {
        const char *tail, *what;
    } rows[] = {
        {"0!\n#7\n1!\n#20\n0!\n", "line 10: time runs backwards here, from #9 to #7"},
        {"0!\n#99999999999999999999\n1!\n", "line 10: a time of more than 64 bits stands here"},
        {"0!\n#12.5\n1!\n", "line 10: a time that is no whole number stands here"},
        {"0!\n#-3\n1!\n", "line 10: a time that is no whole number stands here"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[512], notes[512];
        snprintf(text, sizeof text, "%s%s", start, rows[i].tail);
        snprintf(notes, sizeof notes, HEAD "! %s: the capture is read up to there\n", rows[i].what);
        /* the warning of the damage was given first, when it was met */
        check(text, "a | 0:0=0 5:0=1 9:0=0 | 9", true, notes);
    }
}

static void cut_off(void **state) {
    (void)state;
    static const struct {
        const char *tail, *heard, *warning;
    } rows[] = {
        /* whole lines: nothing shows that more was to come */
        {"0!\n", "9:0=0 | 9", NULL},
        {"$comment bye $end\n", "| 9", NULL},
        /* whole in themselves without a line end */
        {"0!", "9:0=0 | 9", NULL},
        {"b0 !", "9:0=0 | 9", NULL},
        {"$dumpall 0! $end", "9:0=0 | 9", NULL},
        /* doubtful or incomplete */
        {"0!\n#12", "9:0=0 | 9", "line 10: the file ends behind '#12'"},
        {"0!\n#", "9:0=0 | 9", "line 10: the file ends behind '#'"},
        {"0", "| 9", "line 9: the file ends behind '0'"},
        {"b0", "| 9", "line 9: the file ends behind 'b0'"},
        {"b0 ", "| 9", "line 9: the file ends behind '0'"},
        {"$comm", "| 9", "line 9: the file ends behind '$comm'"},
        {"0!\n<<<", "9:0=0 | 9", "line 10: the file ends behind '<<<'"},
        {"$comment no end\n", "| 9", "line 10: the file ends within $comment, before its $end"},
        {"$dumpall\n0!\n", "9:0=0 | 9", "line 11: the file ends within $dumpall, before its $end"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[512], heard[128], notes[512] = HEAD;
        snprintf(text, sizeof text, ONE "#0\n0!\n#5\n1!\n#9\n%s", rows[i].tail);
        snprintf(heard, sizeof heard, "a | 0:0=0 5:0=1 %s", rows[i].heard);
        bool within = rows[i].warning != NULL && strstr(rows[i].warning, "within") != NULL;
        if (rows[i].warning != NULL)
            snprintf(notes, sizeof notes, HEAD "! %s%s\n", rows[i].warning,
                     within ? ""
                            : " without a line end, so more may have followed: this value is not "
                              "used");
        check(text, heard, rows[i].warning != NULL, notes);
    }
    /* the beginning of a longer code */
    check(UNIT "$var wire 1 ! a $end $var wire 1 !! b $end\n" END "#0\n0!\n0!!\n#1\n1!",
          "a b | 0:0=0 0:1=0 | 1", true,
          "VCD (IEEE Std 1364), time unit 1 us, 2 variables\n! line 8: the file ends behind '1!' "
          "without a line end, so more may have followed: this value is not used\n");
}

/* A cut at any byte of a good file is answered or refused, and never reads
 * more than the whole one. */
static void cut_at_every_byte(void **state) {
    (void)state;
    const char *text =
        UNIT "$scope module w $end\n$var wire 1 !a a $end\n$var reg 3 \" p [2:0] "
             "$end\n$upscope $end\n" END "#0\n$dumpvars\n0!a\nb000 \"\n$end\n#10\n1!a\n"
             "b101 \"\n#20\n$dumpoff\nx!a\n$end\n#30\n$dumpon\n1!a\n$end\n#40\n0!a\n";
    vcd_case whole = vcd_case_read(text, strlen(text), NULL);
    assert_int_equal(whole.status, SPW_OK);
    for (size_t n = 0; n < strlen(text); n++) {
        vcd_case got = vcd_case_read(text, n, NULL);
        if (got.status == SPW_OK)
            assert_true(got.duration_s <= whole.duration_s);
        else
            assert_true(got.status == SPW_ERR_FORMAT || got.status == SPW_ERR_EMPTY);
        vcd_case_free(&got);
    }
    vcd_case_free(&whole);
}

/* Reads generated text once, in one piece. */
static vcd_case read_once(const spw_text *text, size_t *channels, uint64_t *changes) {
    vcd_case made = {.status = SPW_OK};
    const spw_read_options options = {.has_rate = false};
    kept got = {.keep = 0};
    const spw_sink sink = kept_sink(&got);
    spw_emitter *emitter = calloc(1, sizeof *emitter);
    spw_capture_summary summary = {.format = SPW_FORMAT_VCD};
    spw_source *source;
    spw_text notes = {0};
    assert_non_null(emitter);
    emitter->sink = &sink;
    assert_int_equal(spw_text_status(text), SPW_OK);
    assert_int_equal(spw_source_memory(text->data, text->length, &source), SPW_OK);
    made.status = spw_vcd_read(source, &options, emitter, &summary, &made.error);
    assert_int_equal(made.status, SPW_OK);
    assert_int_equal(spw_emit_flush(emitter), SPW_OK);
    kept_check_summary(&got, &summary);
    spw_text_puts(&notes, "");
    for (size_t i = 0; i < summary.warnings.n; i++)
        spw_text_printf(&notes, "%s\n", summary.warnings.text[i]);
    made.notes = notes.data;
    *channels = got.n_channels;
    *changes = got.n_changes;
    spw_capture_summary_free(&summary);
    spw_source_free(source);
    kept_free(&got);
    free(emitter);
    return made;
}

static void too_many_variables(void **state) {
    (void)state;
    spw_text text = {0};
    size_t channels;
    uint64_t changes;
    spw_text_puts(&text, UNIT);
    for (unsigned i = 0; i < SPW_VCD_VARIABLES_MAX + 2; i++)
        spw_text_printf(&text, "$var wire 1 %x v%u $end\n", i, i);
    spw_text_puts(&text, END "#0\n00\n15\n1ffff\n0ffff0\n040001\n#1\n10\n05\n0ffff\n140001\n#2\n");
    vcd_case got = read_once(&text, &channels, &changes);
    /* 0, 5 and ffff move and are read; 40001 is the last but one and left out */
    assert_int_equal(channels, 3);
    assert_int_equal(changes, 6);
    assert_string_equal(got.notes,
                        "line 262146: 'v262144' is left out, as 262144 variables or 8 MiB of names "
                        "come before it: dump fewer scopes (2 in all)\n"
                        "line 4098: 'v4096' is the 4097th scalar: of all of them, only those that "
                        "change are listed\n");
    vcd_case_free(&got);
    spw_text_free(&text);
}

static void too_many_channels(void **state) {
    (void)state;
    spw_text text = {0};
    size_t channels;
    uint64_t changes;
    spw_text_puts(&text, UNIT);
    for (unsigned i = 0; i < SPW_VCD_CHANNELS_MAX + 10; i++)
        spw_text_printf(&text, "$var wire 1 %x same $end\n", i);
    spw_text_puts(&text, END);
    for (unsigned step = 0; step < 3; step++) {
        spw_text_printf(&text, "#%u\n", step);
        for (unsigned i = 0; i < SPW_VCD_CHANNELS_MAX + 10; i++)
            spw_text_printf(&text, "%u%x\n", step & 1, i);
    }
    vcd_case got = read_once(&text, &channels, &changes);
    assert_int_equal(channels, SPW_VCD_CHANNELS_MAX);
    assert_int_equal(changes, 3 * SPW_VCD_CHANNELS_MAX);
    assert_non_null(strstr(got.notes, "is left out, as 4096 lines changed before it"));
    assert_non_null(strstr(got.notes, "(10 in all)"));
    vcd_case_free(&got);
    spw_text_free(&text);
}

static void wide_vectors(void **state) {
    (void)state;
    spw_text text = {0};
    size_t channels;
    uint64_t changes;
    spw_text_puts(&text, UNIT "$var wire 1000000 ! wide [999999:0] $end\n"
                              "$var wire 4096 \" widest [4095:0] $end\n");
    for (unsigned i = 0; i < 600; i++)
        spw_text_printf(&text, "$var wire 4096 c%u v%u $end\n", i, i);
    spw_text_puts(&text, END "#0\nb0 \"\nb");
    for (unsigned i = 0; i < 1500000; i++)
        spw_text_append(&text, &"01"[i & 1], 1);
    spw_text_puts(&text, " !\n#1\nb1");
    for (unsigned i = 1; i < 4096; i++)
        spw_text_append(&text, "0", 1);
    spw_text_puts(&text, " \"\n#2\nb");
    for (unsigned i = 0; i < 2000000; i++)
        spw_text_append(&text, "1", 1);
    spw_text_puts(&text, " \"\n#3\n");
    vcd_case got = read_once(&text, &channels, &changes);
    assert_int_equal(channels, 1);
    assert_int_equal(changes, 3); /* 0, 1, and unknown where the digits are cut */
    assert_non_null(
        strstr(got.notes, "line 2: 'wide [999999:0]' has more than 4096 bits: left out"));
    assert_non_null(
        strstr(got.notes, "is left out, as the vectors before it have two million bits"));
    assert_non_null(strstr(got.notes, "has more digits than its variable has bits"));
    vcd_case_free(&got);
    spw_text_free(&text);
}

/* Bytes without white space or line end, as of a file that was never written
 * to its end. */
static void endless_words(void **state) {
    (void)state;
    spw_text text = {0};
    size_t channels;
    uint64_t changes;
    char *zeros = calloc(1, 3000000);
    assert_non_null(zeros);
    spw_text_puts(&text, ONE "#0\n0!\n#1\n1!\n");
    spw_text_append(&text, zeros, 3000000);
    spw_text_puts(&text, "\n#2\n0!\n");
    spw_text_append(&text, zeros, 3000000);
    vcd_case got = read_once(&text, &channels, &changes);
    assert_int_equal(changes, 3);
    assert_non_null(strstr(got.notes, "line 8: '\\x00\\x00"));
    assert_non_null(strstr(got.notes, "is no part of a VCD"));
    vcd_case_free(&got);
    spw_text_free(&text);
    free(zeros);
}

static bool recognised(const char *text) {
    return spw_vcd_recognises(text, strlen(text), true);
}

static void recognition(void **state) {
    (void)state;
    assert_true(recognised(ONE "#0\n"));
    assert_true(recognised("\xef\xbb\xbf\r\n\r\n  " ONE));
    assert_true(recognised("$date\r\n\ttoday\r\n$end\r\n"));
    assert_true(recognised("$comment of the club $end\n" ONE));
    assert_true(recognised("$scope module top $end\n"));
    assert_true(recognised("$var wire 1 ! a $end $enddefinitions $end\n"));
    assert_true(recognised("<<<<<<< HEAD\n" ONE));
    assert_true(recognised("saved by us, 1,2,3\n" ONE));
    assert_true(spw_vcd_recognises("$comment and much more", 22, false));
    static const char *const others[] = {
        "",
        "$",
        "time,a\n0,1\n",
        "$date,$var,$end\n1,2,3\n",
        "$var,$end,$enddefinitions\n0,0,1\n1,0,1\n",
        "price,$var $end\n1,2\n",
        "\"$date\",\"$end\"\n1,2\n",
        "$5,$6\n$end\n",
        "# $var $end\n0 1\n",
        "the $date of $end and $var\n",
        "RIFF....WAVEfmt ",
        "$dates are sweet $end $var\n",
    };
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (recognised(others[i]))
            fail_msg("taken for a VCD: %s", others[i]);
    assert_false(spw_vcd_recognises("$date\0\0\0\0 $end $var ", 21, true));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names),
        cmocka_unit_test(long_names),
        cmocka_unit_test(declarations),
        cmocka_unit_test(time_unit_option),
        cmocka_unit_test(codes),
        cmocka_unit_test(text_in_the_middle),
        cmocka_unit_test(damage),
        cmocka_unit_test(cut_off),
        cmocka_unit_test(cut_at_every_byte),
        cmocka_unit_test(too_many_variables),
        cmocka_unit_test(too_many_channels),
        cmocka_unit_test(wide_vectors),
        cmocka_unit_test(endless_words),
        cmocka_unit_test(recognition),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
