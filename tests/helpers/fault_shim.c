/* Preloaded into the daemon on trial: the n-th file operation under one path fails or kills, and the clocks lie.
   All is told through one shared page, so that a test can turn it on and off while the daemon runs.
   SQLite and Python both reach the kernel through these names of libc, so nothing of them is replaced. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <sys/timex.h>
#include <time.h>
#include <unistd.h>

enum { OPEN = 1, WRITE = 2, SYNC = 4, RENAME = 8, UNLINK = 16, CUT = 32, SEND = 64 };
enum { FAIL = 0, KILL_BEFORE = 1, KILL_AFTER = 2, KILL_HALFWAY = 3 };

struct page {
    int64_t mask, nth, for_good, action, error, passed; /* which operations; 0: none fails; errno given */
    double wall_less_s, boot_less_s;                    /* what each clock is ahead of the true one */
    int64_t synced;                                     /* 0 the kernel's word, 1 yes, 2 no */
    double scale, wall0_s, boot0_s;                     /* 0: true speed */
};

static struct page *page;
static char under[4096];
static char boot_id[4096];

__attribute__((constructor)) static void begin(void) {
    const char *control = getenv("SHIM_PAGE"), *path = getenv("SHIM_UNDER"), *boot = getenv("SHIM_BOOT_ID");
    if (!control || !path) return;
    int fd = syscall(SYS_openat, AT_FDCWD, control, O_RDWR);
    if (fd < 0) return;
    void *at = mmap(0, sizeof(struct page), PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    syscall(SYS_close, fd);
    if (at == MAP_FAILED) return;
    snprintf(under, sizeof under, "%s", path);
    if (boot) snprintf(boot_id, sizeof boot_id, "%s", boot);
    page = at;
}

static void die(void) {
    kill(getpid(), SIGKILL);
    for (;;) pause();
}

/* Whether this operation is the one: its action, or -1. */
static int struck(int kind) {
    if (!page || !(page->mask & kind)) return -1;
    int64_t now = __atomic_add_fetch(&page->passed, 1, __ATOMIC_SEQ_CST);
    if (page->nth <= 0 || now < page->nth || (now > page->nth && !page->for_good)) return -1;
    if (page->action == KILL_BEFORE) die();
    return (int)page->action;
}

static int ours(const char *path) { return page && path && strncmp(path, under, strlen(under)) == 0; }

static int ours_fd(int fd) {
    char link[64], path[4096];
    if (!page) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, sizeof path - 1);
    if (n < 0) return 0;
    path[n] = 0;
    return ours(path);
}

#define STRIKE(kind, mine, call)                          \
    do {                                                  \
        int act = (mine) ? struck(kind) : -1;             \
        if (act == FAIL) {                                \
            errno = (int)page->error;                     \
            return -1;                                    \
        }                                                 \
        long done = (call);                               \
        if (act >= KILL_AFTER) die();                     \
        return done;                                      \
    } while (0)

static int opened(int dir, const char *path, int flags, mode_t mode) {
    if (page && boot_id[0] && path && strcmp(path, "/proc/sys/kernel/random/boot_id") == 0) path = boot_id;
    STRIKE(OPEN, ours(path), syscall(SYS_openat, dir, path, flags, mode));
}
#define MODE(flags, mode)            \
    mode_t mode = 0;                 \
    if ((flags) & (O_CREAT | O_TMPFILE)) { \
        va_list more;                \
        va_start(more, flags);       \
        mode = va_arg(more, mode_t); \
        va_end(more);                \
    }
int open(const char *path, int flags, ...) { MODE(flags, mode) return opened(AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE(flags, mode) return opened(AT_FDCWD, path, flags, mode); }
int openat(int dir, const char *path, int flags, ...) { MODE(flags, mode) return opened(dir, path, flags, mode); }
int openat64(int dir, const char *path, int flags, ...) { MODE(flags, mode) return opened(dir, path, flags, mode); }

static ssize_t written(int fd, const void *from, size_t n, off64_t at, int placed) {
    int act = ours_fd(fd) ? struck(WRITE) : -1;
    if (act == FAIL) {
        errno = (int)page->error;
        return -1;
    }
    size_t some = act == KILL_HALFWAY ? n / 2 : n;
    ssize_t done = placed ? syscall(SYS_pwrite64, fd, from, some, at) : syscall(SYS_write, fd, from, some);
    if (act >= KILL_AFTER) die();
    return done;
}
ssize_t write(int fd, const void *from, size_t n) { return written(fd, from, n, 0, 0); }
ssize_t pwrite(int fd, const void *from, size_t n, off_t at) { return written(fd, from, n, at, 1); }
ssize_t pwrite64(int fd, const void *from, size_t n, off64_t at) { return written(fd, from, n, at, 1); }

int fsync(int fd) { STRIKE(SYNC, ours_fd(fd) , syscall(SYS_fsync, fd)); }
int fdatasync(int fd) { STRIKE(SYNC, ours_fd(fd), syscall(SYS_fdatasync, fd)); }
int rename(const char *from, const char *to) {
    STRIKE(RENAME, ours(from) || ours(to), syscall(SYS_rename, from, to));
}
int unlink(const char *path) { STRIKE(UNLINK, ours(path), syscall(SYS_unlink, path)); }
int ftruncate(int fd, off_t size) { STRIKE(CUT, ours_fd(fd), syscall(SYS_ftruncate, fd, size)); }
int ftruncate64(int fd, off64_t size) { STRIKE(CUT, ours_fd(fd), syscall(SYS_ftruncate, fd, size)); }
ssize_t send(int fd, const void *from, size_t n, int flags) {
    STRIKE(SEND, page != 0, syscall(SYS_sendto, fd, from, n, flags, 0, 0));
}

static double told_s(clockid_t which, double true_s) {
    int wall = which == CLOCK_REALTIME || which == CLOCK_REALTIME_COARSE;
    double from_s = wall ? page->wall0_s : page->boot0_s;
    double s = page->scale > 0 ? from_s + (true_s - from_s) * page->scale : true_s;
    return s + (wall ? page->wall_less_s : page->boot_less_s);
}
int clock_gettime(clockid_t which, struct timespec *out) {
    int done = (int)syscall(SYS_clock_gettime, which, out);
    if (done == 0 && page && (which == CLOCK_REALTIME || which == CLOCK_REALTIME_COARSE || which == CLOCK_BOOTTIME)) {
        double s = told_s(which, out->tv_sec + out->tv_nsec / 1e9);
        out->tv_sec = (time_t)s;
        out->tv_nsec = (long)((s - (double)out->tv_sec) * 1e9);
    }
    return done;
}
time_t time(time_t *out) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (out) *out = now.tv_sec;
    return now.tv_sec;
}
int gettimeofday(struct timeval *out, void *zone) {
    struct timespec now;
    (void)zone;
    clock_gettime(CLOCK_REALTIME, &now);
    out->tv_sec = now.tv_sec;
    out->tv_usec = now.tv_nsec / 1000;
    return 0;
}
int adjtimex(struct timex *asked) {
    long state = syscall(SYS_adjtimex, asked);
    if (page && page->synced) return page->synced == 1 ? TIME_OK : TIME_ERROR;
    return (int)state;
}
