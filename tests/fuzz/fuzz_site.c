/* Any bytes as a site file: a site that holds its rules, or an error that begins with its name.
 * Must never be linked into a product; libFuzzer calls it. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "common/site.h"
#include "common/site_check.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

static void use_ways(const struct site *site)
{
    for (size_t a = 0; a < site->node_count && a < 4; a++) {
        for (size_t b = 0; b < site->node_count && b < 4; b++) {
            double walk_m = site_node_walk_m(site, a, b);
            require(walk_m < 0 || walk_m >= site_node_distance_m(site, a, b));
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct site *site = NULL;
    struct error error = {0};
    if (site_parse((const char *)data, size, "site.json", &site, &error) == 0) {
        require(site_check(site, &error) == 0 && site->room_count > 0);
        use_ways(site);
        site_free(site);
    } else {
        require(strncmp(error.text, "site.json: ", 11) == 0);
    }
    return 0;
}
