#include "fuzz/targets.h"

#include <string.h>

const fuzz_target fuzz_target_list[] = {
    {"vcd", fuzz_vcd},
    {"table", fuzz_table},
    {"raw", fuzz_raw},
    {"audio", fuzz_audio},
    {"recognise", fuzz_recognise},
    {"packed", fuzz_packed},
    {"bench", fuzz_bench},
    {"plan_json", fuzz_plan_json},
    {"measure_json", fuzz_measure_json},
    {"verify_json", fuzz_verify_json},
    {"edges", fuzz_edges},
    {"chain", fuzz_chain},
};
const size_t fuzz_targets = sizeof fuzz_target_list / sizeof fuzz_target_list[0];

const fuzz_target *fuzz_target_find(const char *name) {
    for (size_t i = 0; i < fuzz_targets; i++)
        if (strcmp(fuzz_target_list[i].name, name) == 0)
            return &fuzz_target_list[i];
    return NULL;
}
