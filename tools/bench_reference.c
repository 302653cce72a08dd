/* What the speed of spanwright is held against, and how it is taken:
 *   bench_reference read FILE                      reads the file, 1 MiB at a time
 *   bench_reference decode short|float|double FILE  libsndfile alone
 *   bench_reference reader FILE [RATE]             our reader alone: counts what it delivers
 *   bench_reference run OUT COMMAND...             runs a command with its output in OUT;
 *                      prints seconds, CPU seconds, peak KiB, status */
#include "spanwright/capture.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { CHUNK = 1 << 20, FRAMES = 8192, CHANNELS = 8 };

static int fail(const char *what) {
    fprintf(stderr, "bench_reference: %s: %s\n", what, strerror(errno));
    return 2;
}

static int read_file(const char *path) {
    static char chunk[CHUNK];
    int file = open(path, O_RDONLY);
    if (file < 0)
        return fail(path);
    uint64_t total = 0;
    ssize_t n;
    while ((n = read(file, chunk, sizeof chunk)) > 0)
        total += (uint64_t)n;
    close(file);
    if (n < 0)
        return fail(path);
    printf("%" PRIu64 " bytes\n", total);
    return 0;
}

static sf_count_t decode_some(SNDFILE *file, char as) {
    static union {
        short s[FRAMES * CHANNELS];
        float f[FRAMES * CHANNELS];
        double d[FRAMES * CHANNELS];
    } out;
    if (as == 's')
        return sf_readf_short(file, out.s, FRAMES);
    return as == 'f' ? sf_readf_float(file, out.f, FRAMES) : sf_readf_double(file, out.d, FRAMES);
}

static int decode(char as, const char *path) {
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (file == NULL || info.channels > CHANNELS) {
        fprintf(stderr, "bench_reference: %s: %s\n", path, sf_strerror(file));
        sf_close(file);
        return 2;
    }
    sf_count_t total = 0, n;
    while ((n = decode_some(file, as)) > 0)
        total += n;
    sf_close(file);
    printf("%" PRId64 " frames\n", (int64_t)total);
    return 0;
}

typedef struct counts {
    uint64_t channels, changes, samples;
} counts;

static spw_status count_channel(void *context, uint32_t index, const spw_channel_info *info) {
    (void)index, (void)info;
    ((counts *)context)->channels++;
    return SPW_OK;
}
static spw_status count_changes(void *context, const spw_change *changes, size_t n) {
    (void)changes;
    ((counts *)context)->changes += n;
    return SPW_OK;
}
static spw_status count_samples(void *context, uint32_t index, uint64_t first, const float *values,
                                size_t n) {
    (void)index, (void)first, (void)values;
    ((counts *)context)->samples += n;
    return SPW_OK;
}

/* As measuring does: changes that follow each other too fast for control pulses
 * need only be counted. */
static double pass_s(void *context, uint32_t channel) {
    (void)context, (void)channel;
    return 20e-6;
}
static spw_status count_passed(void *context, uint32_t channel, uint64_t n, double last_s,
                               spw_level level) {
    (void)channel, (void)last_s, (void)level;
    ((counts *)context)->changes += n;
    return SPW_OK;
}

static int reader(const char *path, const char *rate) {
    counts seen = {0};
    spw_sink sink = {.context = &seen,
                     .channel = count_channel,
                     .changes = count_changes,
                     .samples = count_samples,
                     .pass_s = pass_s,
                     .passed = count_passed};
    spw_read_options options = {.has_rate = rate != NULL,
                                .rate_hz = rate != NULL ? strtod(rate, NULL) : 0};
    spw_capture_summary summary;
    spw_error error = {0};
    if (spw_capture_read(path, &options, &sink, &summary, &error) != SPW_OK) {
        fprintf(stderr, "bench_reference: %s: %s\n", path, error.message);
        return 2;
    }
    spw_capture_summary_free(&summary);
    printf("%" PRIu64 " channels %" PRIu64 " changes %" PRIu64 " samples\n", seen.channels,
           seen.changes, seen.samples);
    return 0;
}

static double seconds_of(struct timeval t) {
    return (double)t.tv_sec + 1e-6 * (double)t.tv_usec;
}

static int run(const char *out, char **command) {
    struct timespec start, end;
    struct rusage used;
    int status = 0;
    clock_gettime(CLOCK_MONOTONIC, &start);
    pid_t child = fork();
    if (child < 0)
        return fail("fork");
    if (child == 0) {
        int file = open(out, O_WRONLY | O_CREAT | O_TRUNC, 0666);
        if (file < 0 || dup2(file, STDOUT_FILENO) < 0)
            _exit(fail(out));
        execvp(command[0], command);
        _exit(fail(command[0]));
    }
    if (wait4(child, &status, 0, &used) != child)
        return fail("wait");
    clock_gettime(CLOCK_MONOTONIC, &end);
    printf("%.6f %.6f %ld %d\n",
           (double)(end.tv_sec - start.tv_sec) + 1e-9 * (double)(end.tv_nsec - start.tv_nsec),
           seconds_of(used.ru_utime) + seconds_of(used.ru_stime), used.ru_maxrss,
           WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status));
    return 0;
}

int main(int argc, char **argv) {
    const char *what = argc > 2 ? argv[1] : "";
    if (strcmp(what, "read") == 0)
        return read_file(argv[2]);
    if (strcmp(what, "decode") == 0 && argc > 3)
        return decode(argv[2][0], argv[3]);
    if (strcmp(what, "reader") == 0)
        return reader(argv[2], argc > 3 ? argv[3] : NULL);
    if (strcmp(what, "run") == 0 && argc > 3)
        return run(argv[2], argv + 3);
    fputs("usage: bench_reference read|decode|reader|run ...\n", stderr);
    return 2;
}
