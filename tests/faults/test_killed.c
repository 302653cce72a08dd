/* The command killed (SIGKILL) at every call of the system that can change a disk, before
 * and after it: each of its files is the old one or the new one, whole. Between such
 * calls nothing on the disk changes, so these are all the moments there are.
 * ptrace(2) stops the real program; where it is not permitted the test is skipped. */
#include "support/scratch.h"
#include "support/small_captures.h"
#include "support/test.h"

#include "spanwright/spanwright.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ptrace.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

#if defined(__SANITIZE_ADDRESS__)
#define SANITIZED true
#else
#define SANITIZED false
#endif

#define FILES_MAX 3
#define FILE_BYTES ((size_t)1 << 20)

typedef struct writing {
    const char *name;
    const char *arguments[16]; /* "%o0" to "%o2": its files; "%v" "%b" "%p": what it reads */
    size_t files;
} writing;

static const writing writings[] = {
    {"measure", {"measure", "--json", "%v", "-o", "%o0", "--pulses", "%o1"}, 2},
    {"plan",
     {"plan", "--bench", "%b", "--channel", "claw", "%v", "--json", "-o", "%o0", "--pulses", "%o1",
      "--emit-c", "%o2"},
     3},
    {"plan of a span", {"plan", "--span", "1000:2000", "--emit-c", "%o0"}, 1},
    {"verify",
     {"verify", "%v", "--before", "claw", "--after", "servo", "--plan", "%p", "-o", "%o0"},
     1},
    {"sheet", {"sheet", "--bench", "%b", "--channel", "claw", "%v", "-o", "%o0"}, 1},
    {"bench", {"bench", "-o", "%o0"}, 1},
};

static struct {
    char program[4096];
    char folder[160], vcd[160], bench[160], plan[160];
    char out[FILES_MAX][200];
    char *whole[FILES_MAX]; /* what a run that is left alone writes */
    size_t whole_length[FILES_MAX];
    char *now;
    size_t trials;
} bed;

static const char *argument(const char *text) {
    if (text[0] != '%')
        return text;
    return text[1] == 'v'   ? bed.vcd
           : text[1] == 'b' ? bed.bench
           : text[1] == 'p' ? bed.plan
                            : bed.out[text[2] - '0'];
}

static size_t read_file(const char *path, char *bytes) {
    FILE *file = fopen(path, "rb");
    if (file == NULL)
        return SIZE_MAX;
    size_t n = fread(bytes, 1, FILE_BYTES, file);
    assert_true(n < FILE_BYTES);
    assert_int_equal(fclose(file), 0);
    return n;
}

static pid_t start(const writing *w, bool force) {
    const char *words[24] = {bed.program};
    size_t n = 1;
    for (size_t i = 0; w->arguments[i] != NULL; i++)
        words[n++] = argument(w->arguments[i]);
    if (force)
        words[n++] = "--force";
    pid_t child = fork();
    assert_true(child >= 0);
    if (child > 0)
        return child;
    int nothing = open("/dev/null", O_RDWR);
    for (int fd = 0; fd < 3; fd++)
        (void)dup2(nothing, fd);
    /* The leak check of a sanitizer is itself a tracer. */
    (void)setenv("ASAN_OPTIONS", "detect_leaks=0", 1);
    if (ptrace(PTRACE_TRACEME, 0, NULL, NULL) != 0)
        _exit(99);
    (void)raise(SIGSTOP);
    (void)execv(bed.program, (char *const *)(uintptr_t)words);
    _exit(98);
}

/* Can this call change what a folder or a file holds? */
static bool changes_disk(uint64_t number, const uint64_t *arguments) {
    switch (number) {
    case SYS_openat:
        return (arguments[2] & (O_CREAT | O_TRUNC | O_WRONLY | O_RDWR)) != 0;
    case SYS_write:
        return arguments[0] > 2;
    case SYS_linkat:
    case SYS_renameat2:
    case SYS_unlinkat:
    case SYS_fsync:
    case SYS_fchmod:
    case SYS_exit_group:
#ifdef SYS_rename
    case SYS_open:
    case SYS_link:
    case SYS_rename:
    case SYS_unlink:
    case SYS_chmod:
#endif
#ifdef SYS_renameat
    case SYS_renameat:
#endif
    case SYS_ftruncate:
    case SYS_pwrite64:
    case SYS_writev:
        return true;
    default:
        return false;
    }
}

/* Runs and kills at the k-th such moment, 0: never. Returns the moments seen, SIZE_MAX
 * where tracing is not permitted; *status is that of waitpid. */
static size_t run_until(const writing *w, bool force, size_t k, int *status) {
    pid_t child = start(w, force);
    size_t seen = 0;
    bool within = false;
    assert_int_equal(waitpid(child, status, 0), child);
    if (!WIFSTOPPED(*status))
        return SIZE_MAX;
    long options = PTRACE_O_TRACESYSGOOD | PTRACE_O_EXITKILL;
    assert_int_equal(ptrace(PTRACE_SETOPTIONS, child, NULL, options), 0);
    for (long deliver = 0; ptrace(PTRACE_SYSCALL, child, NULL, deliver) == 0;) {
        struct __ptrace_syscall_info info;
        assert_int_equal(waitpid(child, status, 0), child);
        if (!WIFSTOPPED(*status))
            return seen;
        deliver = WSTOPSIG(*status) == (SIGTRAP | 0x80) || WSTOPSIG(*status) == SIGTRAP
                      ? 0
                      : WSTOPSIG(*status);
        if (WSTOPSIG(*status) != (SIGTRAP | 0x80) ||
            ptrace(PTRACE_GET_SYSCALL_INFO, child, sizeof info, &info) <= 0)
            continue;
        if (info.op == PTRACE_SYSCALL_INFO_ENTRY)
            within = changes_disk(info.entry.nr, (const uint64_t *)info.entry.args);
        if (!within || ++seen != k)
            continue;
        assert_int_equal(kill(child, SIGKILL), 0);
        assert_int_equal(waitpid(child, status, 0), child);
        assert_true(WIFSIGNALED(*status));
        return seen;
    }
    fail_msg("tracing ended");
    return 0;
}

static const char old[] = "the old content";

static void put_old(size_t files, bool there) {
    for (size_t i = 0; i < files; i++) {
        (void)unlink(bed.out[i]);
        FILE *file = there ? fopen(bed.out[i], "wb") : NULL;
        if (file == NULL)
            continue;
        assert_int_equal(fwrite(old, 1, sizeof old, file), sizeof old);
        assert_int_equal(fclose(file), 0);
    }
}

/* Removes what a killed run may leave, all of it named as promised. Returns how much. */
static size_t sweep(size_t files) {
    size_t left = 0;
    DIR *folder = opendir(bed.folder);
    assert_non_null(folder);
    for (struct dirent *entry; (entry = readdir(folder)) != NULL;) {
        bool ours = strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0;
        for (size_t i = 0; i < files && !ours; i++)
            ours = strcmp(entry->d_name, strrchr(bed.out[i], '/') + 1) == 0;
        if (ours)
            continue;
        if (strncmp(entry->d_name, ".spanwright-", 12) != 0 || strlen(entry->d_name) != 12 + 16)
            fail_msg("left behind: %s", entry->d_name);
        assert_int_equal(unlinkat(dirfd(folder), entry->d_name, 0), 0);
        left++;
    }
    closedir(folder);
    return left;
}

static void check_files(const writing *w, bool was_there, size_t k) {
    for (size_t i = 0; i < w->files; i++) {
        size_t n = read_file(bed.out[i], bed.now);
        bool is_new = n == bed.whole_length[i] && memcmp(bed.now, bed.whole[i], n) == 0;
        bool is_old = was_there ? n == sizeof old && memcmp(bed.now, old, n) == 0 : n == SIZE_MAX;
        if (!is_new && !is_old)
            fail_msg("%s killed at moment %zu: file %zu is neither old nor new", w->name, k, i);
    }
}

static void kill_everywhere(const writing *w, bool was_there) {
    int status;
    put_old(w->files, was_there);
    size_t moments = run_until(w, was_there, 0, &status), left = 0;
    if (moments == SIZE_MAX) {
        print_message("this system does not let a program be traced\n");
        skip();
    }
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) <= 1); /* 1: done, but no yes */
    assert_int_equal(sweep(w->files), 0);
    for (size_t i = 0; i < w->files; i++) {
        bed.whole_length[i] = read_file(bed.out[i], bed.whole[i]);
        assert_in_range(bed.whole_length[i], sizeof old + 1, FILE_BYTES);
    }
    assert_true(moments >= 6 * w->files); /* opened, written and put in place at least */
    /* a build for coverage has hundreds more, as it writes its counters in the end; what a
     * sanitizer watches is no matter of the moment */
    size_t stride = getenv("GCOV_ERROR_FILE") != NULL ? 23 : SANITIZED ? 5 : 1;
    for (size_t k = 1; k <= moments; k += stride) {
        put_old(w->files, was_there);
        assert_int_equal(run_until(w, was_there, k, &status), k);
        check_files(w, was_there, k);
        left += sweep(w->files);
        bed.trials++;
    }
    put_old(w->files, false);
    print_message("%s, %s files: killed at %zu moments, %zu temporary names left\n", w->name,
                  was_there ? "over old" : "new", moments, left);
}

static void old_or_new(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof writings / sizeof writings[0]; i++)
        for (int was_there = 0; was_there <= 1; was_there++)
            kill_everywhere(&writings[i], was_there != 0);
    print_message("%zu kills\n", bed.trials);
}

static void write_plan(void) {
    spw_span span;
    spw_plan *plan = NULL;
    spw_bench bench = spw_bench_defaults();
    spw_plan_source source = {0};
    spw_text text = {0};
    spw_error error;
    assert_int_equal(spw_span_given(1000, NAN, 2000, &span), SPW_OK);
    assert_int_equal(spw_plan_make(&span, NULL, &bench, &plan, &error), SPW_OK);
    assert_int_equal(spw_report_plan_json(plan, &source, 0, &text), SPW_OK);
    (void)snprintf(bed.plan, sizeof bed.plan, "%s",
                   scratch_file("plan.json", text.data, text.length));
    spw_text_free(&text);
    spw_plan_free(plan);
}

static int set_up(void **state) {
    static const char bench[] = "[servo]\nname = claw servo\n[inspection]\ndate = 2026-03-01\n";
    small_capture small[SMALL_N];
    const char *program = getenv("SPANWRIGHT");
    if (realpath(program != NULL ? program : "build/spanwright", bed.program) == NULL ||
        scratch_make(state) != 0)
        return -1;
    small_captures_write(small);
    memcpy(bed.vcd, small[SMALL_VCD].path, sizeof bed.vcd);
    (void)snprintf(bed.bench, sizeof bed.bench, "%s",
                   scratch_file("claw.ini", bench, sizeof bench - 1));
    write_plan();
    (void)snprintf(bed.folder, sizeof bed.folder, "%s", scratch_path("out"));
    bed.now = malloc(FILE_BYTES);
    for (size_t i = 0; i < FILES_MAX; i++) {
        (void)snprintf(bed.out[i], sizeof bed.out[i], "%s/file%zu", bed.folder, i);
        bed.whole[i] = malloc(FILE_BYTES);
    }
    return mkdir(bed.folder, 0700);
}

static int tear_down(void **state) {
    free(bed.now);
    for (size_t i = 0; i < FILES_MAX; i++)
        free(bed.whole[i]);
    return rmdir(bed.folder) == 0 ? scratch_remove(state) : -1;
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(old_or_new)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
