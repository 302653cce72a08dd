/* The sentences of a plan, owned by it one by one. */
#include "adapter/planning.h"

#include <stdlib.h>

/* Takes the text's characters; the text is empty afterwards. */
static char *take(spw_planner *p, spw_text *text) {
    if (spw_text_status(text) != SPW_OK || text->data == NULL) {
        p->failed = true;
        spw_text_free(text);
        return NULL;
    }
    char *sentence = text->data;
    *text = (spw_text){0};
    return sentence;
}

static void add_line(spw_planner *p, char ***lines, size_t *n, spw_text *text) {
    char *sentence = take(p, text);
    if (sentence == NULL)
        return;
    char **grown = realloc(*lines, (*n + 1) * sizeof *grown);
    if (grown == NULL) {
        free(sentence);
        p->failed = true;
        return;
    }
    *lines = grown;
    grown[(*n)++] = sentence;
}

void spw_planner_caution(spw_planner *p, spw_text *text) {
    add_line(p, &p->plan->caution, &p->plan->cautions, text);
}

void spw_planner_recipe(spw_planner *p, spw_text *text) {
    add_line(p, &p->plan->recipe, &p->plan->recipes, text);
}

void spw_planner_advise(spw_planner *p, spw_advice_do what, spw_text *why) {
    char *sentence = take(p, why);
    if (sentence == NULL)
        return;
    spw_plan *plan = p->plan;
    spw_advice *grown = realloc(plan->advice, (plan->advices + 1) * sizeof *grown);
    if (grown == NULL) {
        free(sentence);
        p->failed = true;
        return;
    }
    plan->advice = grown;
    grown[plan->advices++] = (spw_advice){what, sentence};
}

void spw_planner_decide(spw_planner *p, spw_decision decision, spw_text *summary) {
    if (p->span->wire == SPW_WIRE_INVERTED) {
        spw_text whole = {0};
        spw_text_printf(&whole, "The line is inverted, and a servo does not follow it. %s",
                        summary->data != NULL ? summary->data : "");
        spw_text_free(summary);
        *summary = whole;
    }
    char *sentence = take(p, summary);
    free(p->plan->summary);
    p->plan->summary = sentence;
    p->plan->decision = decision;
}

/* A stable order: advice of one kind stays as it came. */
void spw_plan_sort_advice(spw_plan *plan) {
    for (size_t i = 1; i < plan->advices; i++)
        for (size_t k = i; k > 0 && plan->advice[k - 1].what > plan->advice[k].what; k--) {
            spw_advice swap = plan->advice[k];
            plan->advice[k] = plan->advice[k - 1];
            plan->advice[k - 1] = swap;
        }
}
