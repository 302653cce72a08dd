#include "support/vcd_case.h"
#include "capture/reader.h"
#include "support/kept.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static char *describe_changes(const kept *got, double duration_s) {
    spw_text text = {0};
    double step_s = got->n_channels > 0 ? got->channels[0].info.resolution_s : duration_s;
    for (size_t i = 0; i < got->n_channels; i++)
        spw_text_printf(&text, "%s ", got->channels[i].name);
    spw_text_puts(&text, "| ");
    for (size_t i = 0; i < got->n_kept; i++)
        spw_text_printf(&text, "%.12g:%u=%c ", got->changes[i].time_s / step_s,
                        (unsigned)got->changes[i].channel, "01x"[got->changes[i].level]);
    spw_text_printf(&text, "| %.12g", duration_s / step_s);
    assert_int_equal(spw_text_status(&text), SPW_OK);
    return text.data;
}

static char *describe_notes(const spw_capture_summary *summary) {
    spw_text text = {0};
    spw_text_puts(&text, "");
    for (size_t i = 0; i < summary->recognised.n; i++)
        spw_text_printf(&text, "%s\n", summary->recognised.text[i]);
    for (size_t i = 0; i < summary->warnings.n; i++)
        spw_text_printf(&text, "! %s\n", summary->warnings.text[i]);
    assert_int_equal(spw_text_status(&text), SPW_OK);
    return text.data;
}

static vcd_case read_in_pieces(const char *text, size_t length, size_t piece,
                               const spw_read_options *options) {
    static const spw_read_options none = {.has_rate = false};
    vcd_case made = {.status = SPW_OK};
    spw_error_clear(&made.error);
    kept got = {.keep = 100000};
    const spw_sink sink = kept_sink(&got);
    spw_emitter *emitter = calloc(1, sizeof *emitter);
    spw_source *source = NULL;
    assert_non_null(emitter);
    emitter->sink = &sink;
    assert_int_equal(spw_source_memory(text, length, &source), SPW_OK);
    spw_source_step(source, piece);
    spw_capture_summary summary = {.format = SPW_FORMAT_VCD};
    made.status =
        spw_vcd_read(source, options != NULL ? options : &none, emitter, &summary, &made.error);
    if (made.status == SPW_OK)
        made.status = spw_emit_flush(emitter);
    if (made.status == SPW_OK) {
        kept_check_summary(&got, &summary);
        made.truncated = summary.truncated;
        made.duration_s = summary.duration_s;
        made.heard = describe_changes(&got, summary.duration_s);
        made.notes = describe_notes(&summary);
    }
    spw_capture_summary_free(&summary);
    spw_source_free(source);
    kept_free(&got);
    free(emitter);
    return made;
}

vcd_case vcd_case_read(const char *text, size_t length, const spw_read_options *options) {
    static const size_t pieces[] = {1, 7, 64};
    vcd_case whole = read_in_pieces(text, length, 0, options);
    for (size_t i = 0; i < sizeof pieces / sizeof pieces[0]; i++) {
        vcd_case again = read_in_pieces(text, length, pieces[i], options);
        assert_int_equal(again.status, whole.status);
        assert_string_equal(again.error.message, whole.error.message);
        assert_true(again.error.line == whole.error.line);
        assert_true(again.truncated == whole.truncated);
        if (whole.status == SPW_OK) {
            assert_string_equal(again.heard, whole.heard);
            assert_string_equal(again.notes, whole.notes);
        }
        vcd_case_free(&again);
    }
    return whole;
}

void vcd_case_free(vcd_case *got) {
    free(got->heard);
    free(got->notes);
    got->heard = got->notes = NULL;
}
