/* What those options say.
 * Must never print what a broker's address holds. Called by record, preflight and walk. */
#include "collector/options_station.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "common/log.h"
#include "common/mqtt_uv.h"
#include "common/small_file.h"

#define URL_FILE_MOST 8192u

struct station_child_settings options_station(const struct arguments *arguments)
{
    return (struct station_child_settings){.site_path = options_value(arguments, "site"),
                                           .night_path = options_value(arguments, "night"),
                                           .broker_url = options_value(arguments, "broker"),
                                           .listen = options_value(arguments, "listen"),
                                           .time = options_value(arguments, "time")};
}

static int read_url(const char *path, char **url, struct error *error)
{
    struct stat file;
    size_t length = 0;
    if (stat(path, &file) != 0) {
        return error_set(error, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "--broker: %s: %s",
                         path, strerror(errno));
    }
    if ((file.st_mode & 077) != 0) {
        return error_set(error, ERROR_STATE, "--broker: %s: others may read it: chmod 600 %s", path,
                         path);
    }
    if (small_file_read(path, URL_FILE_MOST, url, &length, error) != 0) {
        return error_wrap(error, "--broker");
    }
    (*url)[strcspn(*url, "\r\n")] = '\0';
    return 0;
}

static bool has_password(const char *url)
{
    struct mqtt_config config;
    struct error ignored; /* said by whoever connects */
    char *storage = NULL;
    bool has = mqtt_url_parse(url, &config, &storage, &ignored) == 0 && config.password != NULL;
    free(storage);
    return has;
}

int options_broker(const struct arguments *arguments, char **url, struct error *error)
{
    const char *given = options_value(arguments, "broker");
    *url = NULL;
    if (!given) {
        return 0;
    }
    if (given[0] == '@') {
        return read_url(given + 1, url, error);
    }
    if (has_password(given)) {
        log_warning(
            "--broker: everybody on this machine can see its password in the list of "
            "processes; put the address into a file, chmod 600 it, and give --broker @FILE");
    }
    *url = strdup(given);
    return *url ? 0 : error_set(error, ERROR_MEMORY, "--broker: out of memory");
}
