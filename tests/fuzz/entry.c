/* libFuzzer's entry: the target is the program's own name, fuzz_TARGET. */
#include "fuzz/targets.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerInitialize(int *argc, char ***argv);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const fuzz_target *target;

int LLVMFuzzerInitialize(int *argc, char ***argv) {
    (void)argc;
    const char *slash = strrchr((*argv)[0], '/');
    const char *name = slash != NULL ? slash + 1 : (*argv)[0];
    target = strncmp(name, "fuzz_", 5) == 0 ? fuzz_target_find(name + 5) : NULL;
    if (target == NULL) {
        (void)fprintf(stderr, "%s: no target of this name\n", name);
        exit(2);
    }
    return 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    target->check(data, size);
    return 0;
}
