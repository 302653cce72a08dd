/* Calls of the system that fail on demand: the n-th allocation or the n-th read
 * of our own code. The definitions stand in front of the C library's for the whole
 * program, so this header is for one source file of a program.
 *
 * Only calls from the program's own text fail (the library under test is linked
 * into it): what the shared libraries do without memory is theirs. Live blocks
 * are counted for everybody, so that a forgotten free or json_decref shows. */
#ifndef TEST_INJECT_H
#define TEST_INJECT_H

/* Fortified headers define read inline, in the way of the one below. */
#undef _FORTIFY_SOURCE

#include <errno.h>
#include <fcntl.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <unistd.h>

#if defined(__SANITIZE_ADDRESS__)
#define INJECT_ALLOCATIONS 0
#elif defined(__has_feature)
#if __has_feature(address_sanitizer)
#define INJECT_ALLOCATIONS 0
#endif
#endif
#if !defined(INJECT_ALLOCATIONS)
#if defined(__GLIBC__)
#define INJECT_ALLOCATIONS 1
#else
#define INJECT_ALLOCATIONS 0
#endif
#endif

#define INJECT_EXPORT __attribute__((visibility("default")))
typedef enum inject_what {
    INJECT_NOTHING,
    INJECT_MEMORY,      /* the n-th allocation gives NULL */
    INJECT_MEMORY_FROM, /* it and all that follow */
    INJECT_JSON,        /* the n-th allocation of the JSON library, by way of its hook */
    INJECT_READ_ERROR,  /* the n-th read says EIO */
    INJECT_READ_SHORT,  /* the n-th read gives one byte */
    INJECT_READ_SIGNAL, /* the n-th read says EINTR, once */
    INJECT_READ_WAIT    /* the n-th read says EAGAIN, once */
} inject_what;

typedef struct inject_state {
    int active;
    size_t piece; /* bytes a read gives at most, so that a small capture takes several; 0: all */
    inject_what what;
    size_t at, seen;
    int fired;
    long live; /* blocks allocated less blocks freed while active */
} inject_state;
static inject_state inject;

static void inject_start(inject_what what, size_t at) {
    inject = (inject_state){.active = 1, .piece = inject.piece, .what = what, .at = at};
}
/* No more failures; live blocks are counted on. */
static void inject_calm(void) {
    inject.what = INJECT_NOTHING;
}
static void inject_stop(void) {
    inject.active = 0;
}

static int inject_is_read(inject_what what) {
    return what >= INJECT_READ_ERROR;
}

static ssize_t inject_read(int fd, void *data, size_t room) {
    if (inject.active && inject.piece > 0 && room > inject.piece)
        room = inject.piece;
    if (inject.active && inject_is_read(inject.what) && ++inject.seen == inject.at) {
        inject.fired = 1;
        if (inject.what == INJECT_READ_SHORT) {
            room = room > 0;
        } else {
            errno = inject.what == INJECT_READ_SIGNAL ? EINTR
                    : inject.what == INJECT_READ_WAIT ? EAGAIN
                                                      : EIO;
            return -1;
        }
    }
    return syscall(SYS_read, fd, data, room);
}

INJECT_EXPORT ssize_t read(int fd, void *data, size_t room) {
    return inject_read(fd, data, room);
}

/* stdio reads inside the C library: a stream of ours hands them on. */
static ssize_t inject_cookie_read(void *cookie, char *data, size_t room) {
    for (;;) { /* stdio has no word for an interrupted read: the stream goes on itself */
        ssize_t got = inject_read((int)(intptr_t)cookie, data, room);
        if (got >= 0 || (errno != EINTR && errno != EAGAIN))
            return got;
    }
}
static int inject_cookie_close(void *cookie) {
    return close((int)(intptr_t)cookie);
}
INJECT_EXPORT FILE *fopen(const char *path, const char *mode) {
    int writes = mode[0] == 'w';
    int fd = open(path, writes ? O_WRONLY | O_CREAT | O_TRUNC : O_RDONLY, 0600);
    if (fd < 0 || writes)
        return fd < 0 ? NULL : fdopen(fd, mode);
    cookie_io_functions_t calls = {.read = inject_cookie_read, .close = inject_cookie_close};
    return fopencookie((void *)(intptr_t)fd, mode, calls);
}

#if INJECT_ALLOCATIONS
extern const char __executable_start[], etext[]; /* of the linker */
extern void *__libc_malloc(size_t), *__libc_calloc(size_t, size_t), *__libc_realloc(void *, size_t),
    *__libc_memalign(size_t, size_t);
extern void __libc_free(void *);

static int inject_fails(const void *caller) {
    uintptr_t at = (uintptr_t)caller;
    if (!inject.active || (inject.what != INJECT_MEMORY && inject.what != INJECT_MEMORY_FROM) ||
        at < (uintptr_t)__executable_start || at >= (uintptr_t)etext)
        return 0;
    inject.seen++;
    if (inject.what == INJECT_MEMORY ? inject.seen != inject.at : inject.seen < inject.at)
        return 0;
    inject.fired = 1;
    errno = ENOMEM;
    return 1;
}
static void *inject_counted(void *block) {
    inject.live += inject.active && block != NULL;
    return block;
}
INJECT_EXPORT void *malloc(size_t size) {
    return inject_fails(__builtin_return_address(0)) ? NULL : inject_counted(__libc_malloc(size));
}
INJECT_EXPORT void *calloc(size_t n, size_t size) {
    return inject_fails(__builtin_return_address(0)) ? NULL
                                                     : inject_counted(__libc_calloc(n, size));
}
INJECT_EXPORT void *realloc(void *block, size_t size) {
    if (inject_fails(__builtin_return_address(0)))
        return NULL;
    void *moved = __libc_realloc(block, size);
    if (block == NULL)
        return inject_counted(moved);
    inject.live -= inject.active && size == 0;
    return moved;
}
INJECT_EXPORT void free(void *block) {
    inject.live -= inject.active && block != NULL;
    __libc_free(block);
}
INJECT_EXPORT void *aligned_alloc(size_t alignment, size_t size) {
    return inject_counted(__libc_memalign(alignment, size));
}
INJECT_EXPORT void *memalign(size_t alignment, size_t size) {
    return inject_counted(__libc_memalign(alignment, size));
}
INJECT_EXPORT int posix_memalign(void **block, size_t alignment, size_t size) {
    *block = inject_counted(__libc_memalign(alignment, size));
    return *block != NULL ? 0 : ENOMEM;
}
#endif
#endif
