/* Counts fsync and fdatasync in a mapped file, and makes each take longer.
 *
 * LD_PRELOAD of this library; SLOW_FSYNC_US: microseconds added to each call (0 adds none);
 * SLOW_FSYNC_COUNT: a file of 8 bytes that holds the count, native order. The delay stands for a slower disk.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <time.h>
#include <unistd.h>

static int (*real_fsync)(int);
static int (*real_fdatasync)(int);
static long delay_us;
static unsigned long *count;

__attribute__((constructor)) static void begin(void)
{
    real_fsync = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    real_fdatasync = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    const char *delay = getenv("SLOW_FSYNC_US");
    if (delay)
        delay_us = atol(delay);
    const char *path = getenv("SLOW_FSYNC_COUNT");
    if (!path)
        return;
    int file = open(path, O_RDWR);
    if (file < 0)
        return;
    void *mapped = mmap(NULL, sizeof *count, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    close(file);
    if (mapped != MAP_FAILED)
        count = mapped;
}

static void wait_and_count(void)
{
    if (count)
        __atomic_add_fetch(count, 1, __ATOMIC_RELAXED);
    if (delay_us > 0) {
        struct timespec left = {delay_us / 1000000, (delay_us % 1000000) * 1000};
        while (nanosleep(&left, &left) != 0)
            ;
    }
}

int fsync(int file)
{
    wait_and_count();
    return real_fsync(file);
}

int fdatasync(int file)
{
    wait_and_count();
    return real_fdatasync(file);
}
