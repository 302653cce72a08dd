/* The sheet's head: what was inspected, the verdict, the advice in order. */
#include "report/sheet/sheet.h"

#include <string.h>

static void put_item(spw_sheet *sheet, const char *label, const char *value) {
    spw_sheet_printf(sheet, "<li><span class=\"key\">%s</span> ", label);
    if (value != NULL && value[0] != '\0')
        spw_sheet_name(sheet, value);
    else
        spw_sheet_put(sheet, "<span class=\"blank\"></span>");
    spw_sheet_put(sheet, "</li>\n");
}

static void put_identity(spw_sheet *sheet) {
    const spw_bench *bench = sheet->facts->bench;
    const spw_inspection *who = &bench->inspection;
    spw_sheet_put(sheet, "<header>\n<p class=\"over\">Inspection sheet: control pulses of a hobby "
                         "servo</p>\n<h1>");
    if (who->robot[0] != '\0')
        spw_sheet_name(sheet, who->robot);
    else
        spw_sheet_put(sheet, "Control line");
    spw_sheet_put(sheet, ", ");
    if (bench->servo.name[0] != '\0')
        spw_sheet_name(sheet, bench->servo.name);
    else
        spw_sheet_name(sheet, sheet->facts->sources[0].channel->name);
    spw_sheet_put(sheet, "</h1>\n<ul class=\"who\">\n");
    put_item(sheet, "Event", who->event);
    put_item(sheet, "Robot", who->robot);
    put_item(sheet, "Port", who->port);
    put_item(sheet, "Inspector", who->inspector);
    put_item(sheet, "Date", sheet->facts->date);
    spw_sheet_put(sheet, "</ul>\n</header>\n");
}

typedef struct saying {
    const char *class_name, *words;
} saying;

/* An adapter that is already in line: what its verification said. */
static saying verified_words(int pass) {
    if (pass > 0)
        return (saying){"yes", "Done: the range adapter is fitted and does what was planned."};
    return (saying){"no", pass == 0 ? "Not yet: the fitted adapter does not do what was planned."
                                    : "Not yet: it could not be told whether the fitted adapter "
                                      "does what was planned."};
}

static void put_verdict(spw_sheet *sheet) {
    static const saying decision[] = {
        [SPW_DECISION_NO_ADAPTER] = {"yes", "Good as it is: no adapter is needed."},
        [SPW_DECISION_ADJUST] = {"do", "To do: set the controller. No adapter is needed."},
        [SPW_DECISION_ADAPTER] = {"do", "To do: fit a range adapter."},
        [SPW_DECISION_LIMIT] = {"no", "Not yet: the pulses go beyond "},
        [SPW_DECISION_NO_HELP] = {"no", "Not yet: a range adapter will not help here."},
        [SPW_DECISION_MEASURE_AGAIN] = {"no", "Not yet: this capture cannot tell."},
    };
    const spw_plan *plan = sheet->facts->plan;
    saying said = decision[plan->decision];
    if (plan->decision == SPW_DECISION_ADAPTER && sheet->verified.known)
        said = verified_words(sheet->verified.pass);
    if (plan->span.wire == SPW_WIRE_INVERTED)
        said = (saying){"no", "Not yet: the line is inverted."};
    bool limit = plan->decision == SPW_DECISION_LIMIT && plan->span.wire != SPW_WIRE_INVERTED;
    spw_sheet_section(sheet, "verdict", "Verdict");
    spw_sheet_printf(sheet, "<p class=\"say %s\" data-decision=\"%s\"><b>%s%s%s</b> ",
                     said.class_name, spw_decision_name(plan->decision), said.words,
                     limit ? spw_bound_by_words(plan->bound_by) : "", limit ? "." : "");
    spw_sheet_prose(sheet, plan->summary != NULL ? plan->summary : "");
    spw_sheet_put(sheet, "</p>\n");
}

static void put_step(spw_sheet *sheet, const char *sentence) {
    spw_sheet_put(sheet, "<li>");
    spw_sheet_prose(sheet, sentence);
    spw_sheet_put(sheet, "</li>\n");
}

static void put_advice(spw_sheet *sheet) {
    const spw_plan *plan = sheet->facts->plan;
    if (plan->advices == 0)
        return;
    spw_sheet_put(sheet, "<h3>What to do, in this order</h3>\n<ol>\n");
    for (size_t i = 0; i < plan->advices; i++) {
        put_step(sheet, plan->advice[i].why);
        for (size_t k = 0; plan->advice[i].what == SPW_DO_MEASURE_AGAIN && k < plan->recipes; k++)
            put_step(sheet, plan->recipe[k]);
    }
    if (plan->has_remap && !sheet->verified.known)
        put_step(sheet, "With the adapter in line and the horn off, record both of its lines and "
                        "compare them with the plan (spanwright verify) before the horn goes back "
                        "on.");
    spw_sheet_put(sheet, "</ol>\n");
}

/* Anything that the reader should know before trusting a figure. */
static void put_warnings(spw_sheet *sheet) {
    const spw_sheet_facts *facts = sheet->facts;
    size_t put = 0;
    for (size_t i = 0; i < facts->n; i++) {
        const spw_notes *notes[] = {&facts->sources[i].capture->summary.warnings,
                                    &facts->sources[i].channel->warnings};
        for (size_t k = 0; k < 2; k++)
            for (size_t j = 0; j < notes[k]->n; j++) {
                if (put++ == 0)
                    spw_sheet_put(sheet, "<h3>Warnings of this measurement</h3>\n<ul>\n");
                put_step(sheet, notes[k]->text[j]);
            }
    }
    if (put > 0)
        spw_sheet_put(sheet, "</ul>\n");
}

void spw_sheet_head(spw_sheet *sheet) {
    put_identity(sheet);
    put_verdict(sheet);
    put_advice(sheet);
    put_warnings(sheet);
    spw_sheet_section_end(sheet);
}
