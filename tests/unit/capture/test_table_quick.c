/* Rows that are passed over or read in the quick ways mean what they mean when
 * they are read cell by cell: a table and the same one with every cell in
 * quotes, which the quick ways leave alone, come to the same. */
#include "capture/reader.h"
#include "support/kept.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS 6000

/* xorshift (Marsaglia 2003), seeded */
static uint32_t chance(uint32_t *x, uint32_t n) {
    *x ^= *x << 13;
    *x ^= *x >> 17;
    *x ^= *x << 5;
    return *x % n;
}

typedef struct plan {
    uint32_t seed;
    int64_t start;      /* ticks */
    int64_t step;       /* thousandths of a tick */
    int decimals;       /* a tick is 10^-decimals */
    unsigned logic;     /* columns of 0 and 1 */
    unsigned volts;     /* columns of numbers */
    unsigned digits;    /* decimals of volts */
    unsigned trouble;   /* one row in so many is odd; 0: none */
    bool time, comma;   /* there is a time column; decimal mark */
    const char *ending; /* of lines */
} plan;

static void put_cell(spw_text *text, bool quoted, bool first, char separator, const char *cell) {
    if (!first)
        spw_text_append(text, &separator, 1);
    spw_text_printf(text, quoted ? "\"%s\"" : "%s", cell);
}

static void with_mark(char *cell, bool comma) {
    char *point = strchr(cell, '.');
    if (comma && point != NULL)
        *point = ',';
}

static void time_cell(const plan *p, int64_t tick, char cell[64]) {
    int64_t unit = 1;
    for (int i = 0; i < p->decimals; i++)
        unit *= 10;
    if (p->decimals == 0)
        (void)snprintf(cell, 64, "%lld", (long long)tick);
    else
        (void)snprintf(cell, 64, "%lld.%0*lld", (long long)(tick / unit), p->decimals,
                       (long long)(tick % unit));
    with_mark(cell, p->comma);
}

static void volts_cell(const plan *p, uint32_t *x, char cell[64], bool odd) {
    static const char *const odds[] = {"",   "1e-2", "nan",   "+0.5", ".25",
                                       "1.", "-.5",  "12345", " 1.5", "3.14159265358979323"};
    double value = ((double)chance(x, 4000) - 300) / 1000;
    (void)snprintf(cell, 64, "%.*f", (int)p->digits, value);
    if (odd)
        (void)snprintf(cell, 64, "%s", odds[chance(x, sizeof odds / sizeof odds[0])]);
    with_mark(cell, p->comma);
}

static void table_of(const plan *p, bool quoted, spw_text *text) {
    uint32_t x = p->seed;
    const char separator = p->comma ? ';' : ',';
    int level[8] = {0};
    char cell[64], name[16];
    if (p->time)
        put_cell(text, false, true, separator, "Time [s]");
    for (unsigned c = 0; c < p->logic + p->volts; c++) {
        (void)snprintf(name, sizeof name, c < p->logic ? "line%u" : "v%u [V]", c);
        put_cell(text, false, c == 0 && !p->time, separator, name);
    }
    spw_text_puts(text, p->ending);
    int64_t thousandths = 0;
    for (int row = 0; row < ROWS; row++, thousandths += p->step) {
        bool odd = p->trouble > 0 && row > 1000 && chance(&x, p->trouble) == 0;
        unsigned kind = odd ? chance(&x, 6) : 9;
        int64_t tick = p->start + (thousandths + 500) / 1000;
        if (kind == 0) {
            thousandths += (int64_t)(1 + chance(&x, 3)) * p->step; /* rows are missing */
            tick = p->start + (thousandths + 500) / 1000;
        } else if (kind == 1) {
            tick += chance(&x, 2) == 0 ? 1 : -1; /* a digit is wrong */
        } else if (kind == 2) {
            thousandths -= p->step; /* the row before again */
            tick = p->start + (thousandths + 500) / 1000;
        }
        if (kind == 3)
            spw_text_puts(text, p->ending);
        if (p->time) {
            time_cell(p, tick, cell);
            put_cell(text, quoted, true, separator, cell);
        }
        for (unsigned c = 0; c < p->logic; c++) {
            level[c] ^= chance(&x, 40 * (c + 1)) == 0;
            (void)snprintf(cell, sizeof cell, kind == 4 ? "x" : "%d", level[c]);
            put_cell(text, quoted, c == 0 && !p->time, separator, cell);
        }
        for (unsigned c = 0; c < p->volts; c++) {
            volts_cell(p, &x, cell, kind == 5);
            put_cell(text, quoted, c == 0 && p->logic == 0 && !p->time, separator, cell);
        }
        spw_text_puts(text, p->ending);
    }
    assert_int_equal(spw_text_status(text), SPW_OK);
}

typedef struct reading {
    spw_status status;
    spw_error error;
    spw_capture_summary summary;
    kept got;
} reading;

static void read_table(const spw_text *text, const spw_read_options *options, size_t step,
                       reading *r) {
    spw_source *source = NULL;
    *r = (reading){.got = {.keep = 100000}};
    spw_error_clear(&r->error);
    spw_sink sink = kept_sink(&r->got);
    assert_int_equal(spw_source_memory(text->data, text->length, &source), SPW_OK);
    spw_source_step(source, step);
    r->status = spw_capture_read_source(source, options, &sink, &r->summary, &r->error);
    spw_source_free(source);
}

static void free_reading(reading *r) {
    if (r->status == SPW_OK)
        spw_capture_summary_free(&r->summary);
    kept_free(&r->got);
}

static void compare(const reading *a, const reading *b) {
    if (a->status != b->status)
        print_message("plain: %s\nquoted: %s\n", a->error.message, b->error.message);
    assert_int_equal(a->status, b->status);
    assert_string_equal(a->error.message, b->error.message);
    assert_int_equal(a->error.line, b->error.line);
    if (a->status != SPW_OK)
        return;
    assert_int_equal(a->summary.truncated, b->summary.truncated);
    assert_true(a->summary.duration_s == b->summary.duration_s);
    assert_int_equal(a->summary.warnings.n, b->summary.warnings.n);
    for (size_t i = 0; i < a->summary.warnings.n; i++)
        assert_string_equal(a->summary.warnings.text[i], b->summary.warnings.text[i]);
    assert_int_equal(a->got.n_channels, b->got.n_channels);
    assert_int_equal(a->got.n_kept, b->got.n_kept);
    for (size_t i = 0; i < a->got.n_kept; i++)
        assert_memory_equal(&a->got.changes[i], &b->got.changes[i], sizeof *a->got.changes);
    for (size_t c = 0; c < a->got.n_channels; c++) {
        const kept_channel *x = &a->got.channels[c], *y = &b->got.channels[c];
        assert_int_equal(x->n_kept, y->n_kept);
        for (size_t i = 0; i < x->n_kept; i++) /* 0 and -0 are one level */
            assert_true(x->samples[i] == y->samples[i] ||
                        (isnan(x->samples[i]) && isnan(y->samples[i])));
    }
}

static size_t check_plan(const plan *p) {
    static const size_t steps[] = {0, 700, 30000};
    spw_text plain = {0}, quoted = {0};
    spw_read_options options = {.has_rate = !p->time, .rate_hz = 1000};
    reading reference;
    table_of(p, false, &plain);
    table_of(p, true, &quoted);
    read_table(&quoted, &options, 0, &reference);
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        reading r;
        read_table(&plain, &options, steps[i], &r);
        /* without quotes "0,1" may be two cells or one */
        bool unclear = strstr(r.error.message, "commas could separate") != NULL;
        if (!unclear)
            compare(&r, &reference);
        free_reading(&r);
    }
    size_t heard = reference.got.n_kept;
    for (size_t c = 0; c < reference.got.n_channels; c++)
        heard += reference.got.channels[c].n_kept;
    free_reading(&reference);
    spw_text_free(&plain);
    spw_text_free(&quoted);
    return heard;
}

static void random_tables(void **state) {
    (void)state;
    /* steps in thousandths of the last place: even ones, ones that round */
    static const int64_t steps[] = {1000, 2000, 5000, 250000, 1000000, 20833, 5208333, 90000, 7000};
    static const int64_t starts[] = {0, 1, 999990, 99999000, 1777888999123456, 123};
    static const char *const endings[] = {"\n", "\r\n"};
    size_t heard = 0, most = 0;
    for (uint32_t seed = 1; seed <= 120; seed++) {
        uint32_t x = seed * 2654435761u;
        plan p = {.seed = x | 1};
        p.step = steps[chance(&x, 9)];
        p.start = starts[chance(&x, 6)];
        p.decimals = (int)chance(&x, 10);
        p.logic = chance(&x, 3);
        p.volts = p.logic == 0 ? 1 + chance(&x, 3) : chance(&x, 3);
        p.digits = 1 + chance(&x, 9);
        p.trouble = chance(&x, 2) == 0 ? 0 : 20 + chance(&x, 3000);
        p.time = chance(&x, 5) > 0;
        p.comma = chance(&x, 3) == 0;
        p.ending = endings[chance(&x, 2)];
        heard += check_plan(&p);
        most += ROWS * (size_t)p.volts;
    }
    print_message("seeds 1 to 120: %zu values of %zu samples and some changes\n", heard, most);
    assert_true(heard > most / 2);
}

/* A time whose leading digits fall back where its last eight turn over. */
static void turning_over(void **state) {
    (void)state;
    spw_text text = {0};
    spw_text_puts(&text, "Time,a,b\n");
    for (int i = 0; i < 3000; i++) {
        int64_t ns = INT64_C(99998000) * 10 + 10 * i; /* 0.99998, up to 1.00001 */
        if (ns >= INT64_C(1000000000))
            ns -= INT64_C(1000000000);
        spw_text_printf(&text, "7%010lld,%d,0\n", (long long)ns, (i + 50) / 100 % 2);
    }
    reading r;
    spw_read_options options = {.time_unit = SPW_TIME_NS};
    read_table(&text, &options, 0, &r);
    assert_int_equal(r.status, SPW_OK);
    assert_true(r.summary.truncated);
    assert_int_equal(r.got.n_kept, 22);
    print_message("%s\n", r.summary.warnings.text[0]);
    assert_non_null(strstr(r.summary.warnings.text[0], "line 2002: the time runs backwards"));
    free_reading(&r);
    spw_text_free(&text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(random_tables),
        cmocka_unit_test(turning_over),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
