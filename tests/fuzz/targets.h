/* The fuzz targets: what each takes apart. Every one may be called with any bytes, any number
 * of times, and ends the program when a promise is broken. */
#ifndef SPW_FUZZ_TARGETS_H
#define SPW_FUZZ_TARGETS_H

#include <stddef.h>
#include <stdint.h>

typedef void fuzz_check(const uint8_t *data, size_t size);

fuzz_check fuzz_vcd, fuzz_table, fuzz_raw, fuzz_audio, fuzz_recognise; /* readers.c */
fuzz_check fuzz_packed;                                                /* packed.c */
fuzz_check fuzz_bench;                                                 /* bench_file.c */
fuzz_check fuzz_plan_json, fuzz_measure_json, fuzz_verify_json;        /* json_back.c */
fuzz_check fuzz_edges;                                                 /* samples.c */
fuzz_check fuzz_chain;                                                 /* chain.c */

typedef struct fuzz_target {
    const char *name;
    fuzz_check *check;
} fuzz_target;
extern const fuzz_target fuzz_target_list[];
extern const size_t fuzz_targets;
/* NULL when there is none of that name. */
const fuzz_target *fuzz_target_find(const char *name);

#endif
