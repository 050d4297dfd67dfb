/* A disk that stops or fills at a word, for tests: loaded before the C library, it stands in front of write and fsync.
 *
 * DISK_UNDER: files below this folder are meant, and no others. DISK_WORDS: a folder of words:
 *   frozen   while it is there, fsync and fdatasync do not come back (and make `stopped`)
 *   full     while it is there, writes fail with ENOSPC (and make `refused`)
 * Never changes what is written. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static int is_meant(int fd)
{
    const char *under = getenv("DISK_UNDER");
    char link[64], path[PATH_MAX];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (!under || length < 0)
        return 0;
    path[length] = 0;
    return strncmp(path, under, strlen(under)) == 0;
}

static int is_said(const char *word)
{
    const char *words = getenv("DISK_WORDS");
    char path[PATH_MAX];
    snprintf(path, sizeof path, "%s/%s", words ? words : "", word);
    return words && access(path, F_OK) == 0;
}

static void answer(const char *word)
{
    char path[PATH_MAX];
    snprintf(path, sizeof path, "%s/%s", getenv("DISK_WORDS"), word);
    int fd = open(path, O_CREAT | O_WRONLY | O_CLOEXEC, 0600);
    if (fd >= 0)
        close(fd);
}

static void wait_while_frozen(int fd)
{
    if (!is_meant(fd))
        return;
    while (is_said("frozen")) {
        answer("stopped");
        usleep(1000);
    }
}

static int is_refused(int fd)
{
    if (!is_said("full") || !is_meant(fd))
        return 0;
    answer("refused");
    errno = ENOSPC;
    return 1;
}

int fsync(int fd)
{
    static int (*real)(int);
    if (!real)
        real = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    wait_while_frozen(fd);
    return real(fd);
}

int fdatasync(int fd)
{
    static int (*real)(int);
    if (!real)
        real = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    wait_while_frozen(fd);
    return real(fd);
}

ssize_t write(int fd, const void *bytes, size_t count)
{
    static ssize_t (*real)(int, const void *, size_t);
    if (!real)
        real = (ssize_t(*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write");
    return is_refused(fd) ? -1 : real(fd, bytes, count);
}

ssize_t pwrite(int fd, const void *bytes, size_t count, off_t at)
{
    static ssize_t (*real)(int, const void *, size_t, off_t);
    if (!real)
        real = (ssize_t(*)(int, const void *, size_t, off_t))dlsym(RTLD_NEXT, "pwrite");
    return is_refused(fd) ? -1 : real(fd, bytes, count, at);
}

ssize_t pwrite64(int fd, const void *bytes, size_t count, off64_t at)
{
    static ssize_t (*real)(int, const void *, size_t, off64_t);
    if (!real)
        real = (ssize_t(*)(int, const void *, size_t, off64_t))dlsym(RTLD_NEXT, "pwrite64");
    return is_refused(fd) ? -1 : real(fd, bytes, count, at);
}
