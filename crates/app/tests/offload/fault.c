/* Stands between a program and the system's library (LD_PRELOAD) and makes one thing go wrong, for tests.

   FAULT_CALL   which call: read, write, flip (a write that stores other bytes), gone (everything below a folder)
   FAULT_PATH   the fault strikes where a file's path holds this text
   FAULT_AFTER  after so many bytes of such files
   FAULT_ERRNO  with this error number */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static atomic_long seen;

static const char *setting(const char *name) {
    const char *value = getenv(name);
    return value ? value : "";
}

static int is(const char *call) { return strcmp(setting("FAULT_CALL"), call) == 0; }

static int concerned(const char *path) {
    const char *part = setting("FAULT_PATH");
    return *part && path && strstr(path, part) != NULL;
}

static int concerned_file(int file) {
    char link[64], path[PATH_MAX];
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return concerned(path);
}

/* Whether the fault strikes, this many bytes further on. */
static int strikes(size_t bytes) {
    long after = atol(setting("FAULT_AFTER"));
    return atomic_fetch_add(&seen, (long)bytes) + (long)bytes > after;
}

static int struck(void) { return atomic_load(&seen) > atol(setting("FAULT_AFTER")); }

static long fail(void) {
    errno = atoi(setting("FAULT_ERRNO"));
    return -1;
}

ssize_t read(int file, void *bytes, size_t size) {
    static ssize_t (*real)(int, void *, size_t);
    if (!real) real = dlsym(RTLD_NEXT, "read");
    if ((is("read") || is("gone")) && concerned_file(file) && strikes(size)) return fail();
    return real(file, bytes, size);
}

ssize_t write(int file, const void *bytes, size_t size) {
    static ssize_t (*real)(int, const void *, size_t);
    if (!real) real = dlsym(RTLD_NEXT, "write");
    if (is("write") && concerned_file(file) && strikes(size)) return fail();
    if (is("flip") && size > 0 && concerned_file(file) && strikes(size)) {
        void *copy = NULL;
        if (posix_memalign(&copy, 4096, size) == 0) {
            memcpy(copy, bytes, size);
            ((unsigned char *)copy)[size / 2] ^= 1;
            ssize_t written = real(file, copy, size);
            free(copy);
            return written;
        }
    }
    return real(file, bytes, size);
}

static int opened(const char *name, const char *path, int flags, mode_t mode) {
    int (*real)(const char *, int, ...) = dlsym(RTLD_NEXT, name);
    if (is("gone") && concerned(path) && struck()) return (int)fail();
    return real(path, flags, mode);
}

int open(const char *path, int flags, ...) {
    va_list list;
    va_start(list, flags);
    mode_t mode = va_arg(list, mode_t);
    va_end(list);
    return opened("open", path, flags, mode);
}

int open64(const char *path, int flags, ...) {
    va_list list;
    va_start(list, flags);
    mode_t mode = va_arg(list, mode_t);
    va_end(list);
    return opened("open64", path, flags, mode);
}

DIR *opendir(const char *path) {
    DIR *(*real)(const char *) = dlsym(RTLD_NEXT, "opendir");
    if (is("gone") && concerned(path) && struck()) {
        fail();
        return NULL;
    }
    return real(path);
}
