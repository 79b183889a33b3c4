/* The file that says which night is being recorded on this machine.
 * Must never follow what another user put there. Called by session.c and cmd_mark.c. */
#include "collector/record/running.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "common/clock.h"
#include "common/json.h"
#include "common/text.h"

#define FOLDER_SIZE 256
#define PATH_SIZE (FOLDER_SIZE + IDENT_SIZE + 16)
#define FILE_MAX 16384
#define MACHINE_BOOT_SIZE 40
#define MACHINE_BOOT_PATH "/proc/sys/kernel/random/boot_id"

static int find_folder(char folder[FOLDER_SIZE], struct error *error)
{
    const char *own = getenv("ROOMWAKE_RUN_DIR");
    const char *runtime = getenv("XDG_RUNTIME_DIR");
    if (own && *own) {
        (void)snprintf(folder, FOLDER_SIZE, "%s", own);
    } else if (runtime && *runtime) {
        (void)snprintf(folder, FOLDER_SIZE, "%s/roomwake", runtime);
    } else {
        (void)snprintf(folder, FOLDER_SIZE, "/tmp/roomwake-%u", (unsigned)geteuid());
    }
    if (mkdir(folder, 0700) != 0 && errno != EEXIST) {
        return error_set(error, ERROR_IO, "%s: %s", folder, strerror(errno));
    }
    struct stat status;
    if (lstat(folder, &status) != 0 || !S_ISDIR(status.st_mode) || status.st_uid != geteuid()) {
        return error_set(error, ERROR_IO, "%s: not a folder of this user's own", folder);
    }
    return 0;
}

static int make_path(const char *site, char path[PATH_SIZE], struct error *error)
{
    char folder[FOLDER_SIZE];
    if (find_folder(folder, error) != 0) {
        return -1;
    }
    (void)snprintf(path, PATH_SIZE, "%s/%s.json", folder, site);
    return 0;
}

/* Another text at each start of the machine; "" where the kernel does not say. */
static void read_machine_boot(char text[MACHINE_BOOT_SIZE])
{
    int fd = open(MACHINE_BOOT_PATH, O_RDONLY | O_CLOEXEC);
    ssize_t length = fd >= 0 ? read(fd, text, MACHINE_BOOT_SIZE - 1) : 0;
    text[length > 0 ? length : 0] = '\0';
    text[strcspn(text, "\n")] = '\0';
    if (fd >= 0) {
        (void)close(fd);
    }
}

int running_write(const struct running *running, struct error *error)
{
    char path[PATH_SIZE];
    if (make_path(running->site, path, error) != 0) {
        return -1;
    }
    struct text json = {0};
    char machine_boot[MACHINE_BOOT_SIZE];
    read_machine_boot(machine_boot);
    (void)text_append_format(&json,
                             "{\"site\":\"%s\",\"pid\":%d,\"site_less_mono_ns\":\"%" PRId64
                             "\",\"clock_set_ns\":\"%" PRId64 "\",\"machine_boot\":\"%s\","
                             "\"broker\":",
                             running->site, running->pid, running->site_less_mono_ns,
                             running->clock_set_ns, machine_boot);
    (void)json_append_string(&json, running->broker);
    (void)text_append_format(&json, ",\"night\":");
    (void)json_append_string(&json, running->night);
    (void)text_append_format(&json, "}\n");
    int fd = json.failed ? -1 : open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    int result = 0;
    if (fd < 0 || write(fd, json.bytes, json.length) != (ssize_t)json.length) {
        result = error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
    }
    if (fd >= 0) {
        (void)close(fd);
    }
    text_free(&json);
    return result;
}

void running_remove(const char *site)
{
    char path[PATH_SIZE];
    struct error ignored;
    if (make_path(site, path, &ignored) == 0) {
        (void)unlink(path);
    }
}

static int read_file(const char *path, struct running *running,
                     char machine_boot[MACHINE_BOOT_SIZE], struct error *error)
{
    char bytes[FILE_MAX];
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    ssize_t length = fd >= 0 ? read(fd, bytes, sizeof bytes) : -1;
    if (fd >= 0) {
        (void)close(fd);
    }
    if (length < 0) {
        return error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
    }
    cJSON *json = NULL;
    double pid = 0;
    int result = 0;
    if (json_parse(bytes, (size_t)length, path, &json, error) != 0 ||
        json_get_text(json, path, "site", running->site, sizeof running->site, error) != 0 ||
        json_get_text(json, path, "broker", running->broker, sizeof running->broker, error) != 0 ||
        json_get_text(json, path, "night", running->night, sizeof running->night, error) != 0 ||
        json_get_number(json, path, "pid", 1, 4194304, &pid, error) != 0 ||
        json_get_int64_text(json, path, "site_less_mono_ns", &running->site_less_mono_ns, error) !=
            0 ||
        json_get_int64_text(json, path, "clock_set_ns", &running->clock_set_ns, error) != 0 ||
        json_get_text(json, path, "machine_boot", machine_boot, MACHINE_BOOT_SIZE, error) != 0) {
        result = -1;
    }
    running->pid = (int)pid;
    cJSON_Delete(json);
    return result;
}

/* 1 where the named file tells of a process that lives. */
static int is_live(const char *folder, const char *name, struct running *running)
{
    char path[PATH_SIZE];
    char machine_boot[MACHINE_BOOT_SIZE];
    struct error ignored;
    size_t length = strlen(name);
    if (length < 6 || length - 5 >= IDENT_SIZE || strcmp(name + length - 5, ".json") != 0) {
        return 0;
    }
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    return read_file(path, running, machine_boot, &ignored) == 0 &&
           (kill(running->pid, 0) == 0 || errno == EPERM);
}

int running_find_left(const char *site, struct running *running, struct error *error)
{
    char path[PATH_SIZE];
    char then[MACHINE_BOOT_SIZE];
    char now[MACHINE_BOOT_SIZE];
    if (make_path(site, path, error) != 0 || read_file(path, running, then, error) != 0) {
        return -1;
    }
    read_machine_boot(now);
    return now[0] && strcmp(then, now) == 0
               ? 0
               : error_set(error, ERROR_NOT_FOUND, "%s: of before this machine's last start", path);
}

int running_find(const char *site, struct running *running, struct error *error)
{
    char folder[FOLDER_SIZE];
    if (find_folder(folder, error) != 0) {
        return -1;
    }
    DIR *entries = opendir(folder);
    if (!entries) {
        return error_set(error, ERROR_IO, "%s: %s", folder, strerror(errno));
    }
    int found = 0;
    for (struct dirent *entry = readdir(entries); entry; entry = readdir(entries)) {
        struct running one;
        if (is_live(folder, entry->d_name, &one) && (!site || strcmp(site, one.site) == 0)) {
            *running = one;
            found++;
        }
    }
    (void)closedir(entries);
    if (found == 0) {
        return error_set(error, ERROR_NOT_FOUND, "no night%s%s is being recorded on this machine",
                         site ? " of site " : "", site ? site : "");
    }
    if (found > 1) {
        return error_set(error, ERROR_USAGE,
                         "%d nights are being recorded on this machine: name one by --site-id",
                         found);
    }
    return 0;
}

int64_t running_now_ns(const struct running *running)
{
    struct clock_skew skew;
    struct clock_source clock;
    struct error ignored;
    if (clock_from_environment(&skew, &clock, &ignored) != 0) {
        clock = clock_system();
    }
    return clock.mono_ns(clock.context) + running->site_less_mono_ns;
}
