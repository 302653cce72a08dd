/* Files written whole or not at all: every call of the system failing in turn, on
 * systems with and without nameless files and hard links. */
#undef _FORTIFY_SOURCE /* its inline read and write are in the way of the ones below */
#include "spanwright/base.h"
#include "support/scratch.h"
#include "support/test.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

/* What the system can. Nameless files need O_TMPFILE and /proc. */
typedef enum abilities { UNNAMED, NAMED, ONE_NAME, SYSTEMS } abilities;
static const char *const system_name[SYSTEMS] = {"nameless files", "no nameless files",
                                                 "no hard links"};

static struct {
    abilities can;
    int active;
    size_t at, seen; /* the at-th call fails, 0: none */
    int reason;
    bool fired;
    bool tiresome; /* writes are short and interrupted */
    size_t writes;
} fake;

static bool fails(void) {
    if (!fake.active || ++fake.seen != fake.at)
        return false;
    fake.fired = true;
    errno = fake.reason;
    return true;
}

#define SEEN __attribute__((visibility("default")))
SEEN int open(const char *path, int flags, ...) {
    va_list arguments;
    va_start(arguments, flags);
    unsigned mode = (flags & (O_CREAT | O_TMPFILE)) != 0 ? va_arg(arguments, unsigned) : 0;
    va_end(arguments);
    if (fake.active && fake.can != UNNAMED && (flags & O_TMPFILE) == O_TMPFILE) {
        errno = EOPNOTSUPP;
        return -1;
    }
    return fails() ? -1 : (int)syscall(SYS_openat, AT_FDCWD, path, flags, mode);
}
SEEN ssize_t write(int fd, const void *data, size_t length) {
    if (fails())
        return -1;
    if (fake.active && fake.tiresome) {
        if (++fake.writes % 2 == 1) {
            errno = EINTR;
            return -1;
        }
        length = length > 1000 ? 1000 : length;
    }
    return syscall(SYS_write, fd, data, length);
}
SEEN int fsync(int fd) {
    return fails() ? -1 : (int)syscall(SYS_fsync, fd);
}
SEEN int fchmod(int fd, mode_t mode) {
    return fails() ? -1 : (int)syscall(SYS_fchmod, fd, mode);
}
SEEN int linkat(int from, const char *a, int to, const char *b, int flags) {
    if (fake.active && fake.can == ONE_NAME) {
        errno = EPERM;
        return -1;
    }
    return fails() ? -1 : (int)syscall(SYS_linkat, from, a, to, b, flags);
}
SEEN int link(const char *a, const char *b) {
    return linkat(AT_FDCWD, a, AT_FDCWD, b, 0);
}
SEEN int rename(const char *a, const char *b) {
    return fails() ? -1 : (int)syscall(SYS_renameat2, AT_FDCWD, a, AT_FDCWD, b, 0);
}

/* More than the buffer holds, so that writes come before the commit as well. */
static char content[150000];
static char folder[160], target[200];

static bool holds(const char *path, const char *bytes, size_t length) {
    static char found[sizeof content + 1];
    FILE *file = fopen(path, "rb");
    if (file == NULL)
        return false;
    size_t n = fread(found, 1, sizeof found, file);
    assert_int_equal(fclose(file), 0);
    return n == length && memcmp(found, bytes, n) == 0;
}

static size_t files_in_folder(void) {
    size_t n = 0;
    DIR *open_folder = opendir(folder);
    assert_non_null(open_folder);
    for (struct dirent *entry; (entry = readdir(open_folder)) != NULL;)
        n += entry->d_name[0] != '.' || strlen(entry->d_name) > 2;
    closedir(open_folder);
    return n;
}

static void put_old(bool there) {
    (void)unlink(target);
    if (!there)
        return;
    FILE *file = fopen(target, "wb");
    assert_non_null(file);
    assert_int_equal(fputs("old", file) >= 0, 1);
    assert_int_equal(fclose(file), 0);
}

static spw_status write_it(bool force, spw_error *error) {
    spw_output *output = NULL;
    spw_error_clear(error);
    spw_status status = spw_output_open(target, force, &output, error);
    if (status != SPW_OK)
        return status;
    status = spw_output_write(output, content, sizeof content, error);
    if (status == SPW_OK)
        return spw_output_commit(output, error);
    spw_output_discard(output);
    return status;
}

static void start(abilities can, size_t at, int reason) {
    memset(&fake, 0, sizeof fake);
    fake.can = can;
    fake.at = at;
    fake.reason = reason;
    fake.active = 1;
}

/* Returns how many calls could fail. */
static size_t each_call(abilities can, bool old, int reason) {
    spw_error error;
    size_t k = 1;
    for (;; k++) {
        put_old(old);
        start(can, k, reason);
        spw_status status = write_it(old, &error);
        fake.active = 0;
        bool now_new = holds(target, content, sizeof content);
        bool still = old ? holds(target, "old", 3) : access(target, F_OK) != 0;
        if (!(status == SPW_OK ? now_new : still))
            fail_msg("%s, call %zu failing (%s): %s, and the file is neither", system_name[can], k,
                     strerror(reason), spw_status_text(status));
        assert_int_equal(files_in_folder(), now_new || old);
        if (!fake.fired)
            break;
        if (status != SPW_OK) {
            assert_int_equal(status, SPW_ERR_IO);
            assert_non_null(strstr(error.message, strerror(reason)));
            assert_non_null(strstr(error.message, "x.json"));
        }
    }
    return k - 1;
}

static void every_call_fails_in_turn(void **state) {
    (void)state;
    static const int reasons[] = {EIO, ENOSPC, EDQUOT, EROFS};
    for (int can = 0; can < SYSTEMS; can++)
        for (int old = 0; old <= 1; old++)
            for (size_t i = 0; i < sizeof reasons / sizeof reasons[0]; i++) {
                size_t n = each_call((abilities)can, old != 0, reasons[i]);
                /* open, three writes, fsync, a name, the folder's open and fsync */
                assert_in_range(n, can == ONE_NAME ? 7 : 8, 16);
            }
}

static void tiresome_writes(void **state) {
    (void)state;
    spw_error error;
    for (int can = 0; can < SYSTEMS; can++) {
        put_old(true);
        start((abilities)can, 0, 0);
        fake.tiresome = true;
        assert_int_equal(write_it(true, &error), SPW_OK);
        assert_true(fake.writes > 2 * sizeof content / 1000 - 2);
        fake.active = 0;
        assert_true(holds(target, content, sizeof content));
    }
}

/* Two runs at once, neither with --force: the second does not win. */
static void target_that_comes_later(void **state) {
    (void)state;
    for (int can = 0; can < ONE_NAME; can++) {
        spw_output *output = NULL;
        spw_error error;
        put_old(false);
        start((abilities)can, 0, 0);
        assert_int_equal(spw_output_open(target, false, &output, &error), SPW_OK);
        assert_int_equal(spw_output_write(output, "new", 3, &error), SPW_OK);
        assert_int_equal(spw_output_settle(output, &error), SPW_OK);
        put_old(true);
        assert_int_equal(spw_output_commit(output, &error), SPW_ERR_ARGUMENT);
        assert_non_null(strstr(error.message, "exists: use --force"));
        fake.active = 0;
        assert_true(holds(target, "old", 3));
        assert_int_equal(files_in_folder(), 1);
    }
}

static unsigned mode_of(const char *path) {
    struct stat status;
    assert_int_equal(stat(path, &status), 0);
    return status.st_mode & 07777u;
}

static void permissions(void **state) {
    (void)state;
    spw_error error;
    mode_t before = umask(027);
    for (int can = 0; can < SYSTEMS; can++) {
        put_old(false);
        start((abilities)can, 0, 0);
        assert_int_equal(write_it(false, &error), SPW_OK);
        assert_int_equal(mode_of(target), 0640);
        assert_int_equal(chmod(target, 04604), 0);
        assert_int_equal(write_it(true, &error), SPW_OK);
        assert_int_equal(mode_of(target), 0604); /* the old one's, but nobody runs it as another */
        fake.active = 0;
    }
    umask(before);
}

static void links(void **state) {
    (void)state;
    spw_error error;
    char real[200], nothing[200];
    struct stat status;
    (void)snprintf(real, sizeof real, "%s/real", folder);
    (void)snprintf(nothing, sizeof nothing, "%s/nothing", folder);
    for (int can = 0; can < SYSTEMS; can++) {
        put_old(true);
        assert_int_equal(rename(target, real), 0);
        assert_int_equal(symlink("real", target), 0);
        start((abilities)can, 0, 0);
        assert_int_equal(write_it(false, &error), SPW_ERR_ARGUMENT);
        assert_true(holds(real, "old", 3));
        assert_int_equal(write_it(true, &error), SPW_OK);
        fake.active = 0;
        assert_true(holds(real, content, sizeof content));
        assert_true(lstat(target, &status) == 0 && S_ISLNK(status.st_mode));
        assert_true(unlink(real) == 0 && unlink(target) == 0);
        assert_int_equal(symlink(nothing, target), 0);
        assert_int_equal(write_it(true, &error), SPW_ERR_ARGUMENT);
        assert_non_null(strstr(error.message, "symbolic link to nothing"));
        assert_int_equal(files_in_folder(), 1);
        assert_int_equal(unlink(target), 0);
    }
}

/* A program without standard output or error must not find our file there. */
static void closed_descriptors(void **state) {
    (void)state;
    spw_error error;
    for (int can = 0; can < SYSTEMS; can++) {
        int kept[3];
        put_old(false);
        for (int fd = 0; fd < 3; fd++)
            kept[fd] = fcntl(fd, F_DUPFD_CLOEXEC, 10);
        for (int fd = 0; fd < 3; fd++)
            close(fd);
        spw_output *output = NULL;
        start((abilities)can, 0, 0);
        spw_status status = spw_output_open(target, false, &output, &error);
        int taken = 0;
        for (int fd = 0; fd < 3; fd++)
            taken += fcntl(fd, F_GETFD) >= 0;
        spw_output_discard(output);
        fake.active = 0;
        for (int fd = 0; fd < 3; fd++) {
            (void)dup2(kept[fd], fd);
            close(kept[fd]);
        }
        assert_int_equal(status, SPW_OK);
        assert_int_equal(taken, 0);
    }
}

static void names(void **state) {
    (void)state;
    spw_error error;
    spw_output *output = NULL;
    char longest[500];
    for (int can = 0; can < SYSTEMS; can++) { /* as long as a name may be (NAME_MAX) */
        int n = snprintf(longest, sizeof longest, "%s/", folder);
        memset(longest + n, 'n', 255);
        longest[n + 255] = '\0';
        start((abilities)can, 0, 0);
        assert_int_equal(spw_output_open(longest, false, &output, &error), SPW_OK);
        assert_int_equal(spw_output_write(output, "new", 3, &error), SPW_OK);
        assert_int_equal(spw_output_commit(output, &error), SPW_OK);
        fake.active = 0;
        assert_true(holds(longest, "new", 3));
        assert_int_equal(unlink(longest), 0);
    }
    char none[220];
    (void)snprintf(none, sizeof none, "%s/none/", folder);
    assert_int_equal(spw_output_open(none, true, &output, &error), SPW_ERR_IO);
    assert_int_equal(spw_output_open("", true, &output, &error), SPW_ERR_IO);
    assert_int_equal(spw_output_open("/dev/null", true, &output, &error), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_output_open(folder, true, &output, &error), SPW_ERR_ARGUMENT);
    spw_output_discard(NULL);
}

static int set_up(void **state) {
    for (size_t i = 0; i < sizeof content; i++)
        content[i] = (char)('a' + i % 23);
    if (scratch_make(state) != 0)
        return -1;
    (void)snprintf(folder, sizeof folder, "%s", scratch_path("out"));
    (void)snprintf(target, sizeof target, "%s/x.json", folder);
    return mkdir(folder, 0700);
}

static int tear_down(void **state) {
    (void)unlink(target);
    return rmdir(folder) == 0 ? scratch_remove(state) : -1;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_call_fails_in_turn),
        cmocka_unit_test(tiresome_writes),
        cmocka_unit_test(target_that_comes_later),
        cmocka_unit_test(permissions),
        cmocka_unit_test(links),
        cmocka_unit_test(closed_descriptors),
        cmocka_unit_test(names),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
