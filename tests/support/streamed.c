#include "support/streamed.h"
#include "support/test.h"

#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define BOUND_MEMORY 0
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define BOUND_MEMORY 0
#endif
#endif
#ifndef BOUND_MEMORY
#define BOUND_MEMORY 1 /* a sanitizer reserves address space of its own */
#endif

static void limit(int resource, rlim_t most) {
    const struct rlimit bound = {most, most};
    if (setrlimit((unsigned)resource, &bound) != 0)
        _exit(97);
}

static pid_t start_maker(int to, stream_maker *make, const void *with) {
    pid_t child = fork();
    if (child != 0)
        return child;
    static const int taken[] = {SIGPIPE, SIGFPE, SIGSEGV, SIGBUS, SIGILL}; /* by cmocka, some */
    for (size_t i = 0; i < sizeof taken / sizeof taken[0]; i++)
        (void)signal(taken[i], SIG_DFL);
    FILE *out = fdopen(to, "wb");
    if (out == NULL)
        _exit(1);
    make(out, with);
    _exit(fclose(out) != 0);
}

static pid_t start_program(const char *const *arguments, int from, FILE *out, FILE *err) {
    const char *program = getenv("SPANWRIGHT");
    const char *words[16] = {program != NULL ? program : "build/spanwright"};
    for (size_t i = 0; arguments[i] != NULL; i++)
        words[i + 1] = arguments[i];
    pid_t child = fork();
    if (child != 0)
        return child;
    if (dup2(from, STDIN_FILENO) < 0 || dup2(fileno(out), STDOUT_FILENO) < 0 ||
        dup2(fileno(err), STDERR_FILENO) < 0)
        _exit(96);
    limit(RLIMIT_CPU, STREAMED_CPU_S);
    if (BOUND_MEMORY)
        limit(RLIMIT_DATA, (rlim_t)STREAMED_MEMORY_MIB << 20);
    (void)execv(words[0], (char *const *)(uintptr_t)words);
    _exit(98);
}

static char *content(FILE *file) {
    long length = fseek(file, 0, SEEK_END) == 0 ? ftell(file) : -1;
    assert_true(length >= 0);
    rewind(file);
    char *text = malloc((size_t)length + 1);
    assert_non_null(text);
    text[fread(text, 1, (size_t)length, file)] = '\0';
    assert_int_equal(fclose(file), 0);
    return text;
}

streamed stream_through(const char *const *arguments, stream_maker *make, const void *with) {
    int ends[2], status = 0;
    struct rusage used;
    FILE *out = tmpfile(), *err = tmpfile();
    assert_true(out != NULL && err != NULL && pipe2(ends, O_CLOEXEC) == 0);
    pid_t program = start_program(arguments, ends[0], out, err);
    close(ends[0]);
    pid_t maker = start_maker(ends[1], make, with);
    close(ends[1]);
    assert_true(program > 0 && maker > 0);
    assert_int_equal(wait4(program, &status, 0, &used), program);
    int made;
    assert_int_equal(waitpid(maker, &made, 0), maker);
    assert_true(WIFEXITED(made) || WTERMSIG(made) == SIGPIPE);
    streamed run = {.status = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status),
                    .peak_kib = used.ru_maxrss};
    run.out = content(out);
    run.err = content(err);
    return run;
}

void streamed_free(streamed *run) {
    free(run->out);
    free(run->err);
    *run = (streamed){0};
}
