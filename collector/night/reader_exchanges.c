/* States -> exchanges, a list a boot.
 * Must never pass a damaged state over. Called by refit.c and steadiness.c. */
#include "collector/night/reader_exchanges.h"

#include <stdlib.h>
#include <string.h>

#include "collector/night/reader_clock.h"
#include "common/grow.h"
#include "common/message.h"

struct gathering {
    struct night_exchanges *into;
    size_t node_count;
    struct error *error;
};

static struct night_boot_exchanges *find_or_add(struct gathering *gathering, uint32_t node,
                                                uint64_t boot)
{
    struct night_exchanges *all = gathering->into;
    for (size_t i = all->count; i-- > 0;) {
        if (all->boots[i].node == node && all->boots[i].boot == boot) {
            return &all->boots[i];
        }
    }
    void *memory = all->boots;
    if (grow_list(&memory, all->count, &all->size, sizeof *all->boots, "exchanges",
                  gathering->error) != 0) {
        return NULL;
    }
    all->boots = memory;
    all->boots[all->count] = (struct night_boot_exchanges){.node = node, .boot = boot};
    return &all->boots[all->count++];
}

static int take_state(void *context, uint32_t node, int64_t time_ns, const char *json)
{
    struct gathering *gathering = context;
    struct message_state state;
    (void)time_ns;
    if (node >= gathering->node_count ||
        message_state_read(json, strlen(json), &state, gathering->error) != 0) {
        return error_set(gathering->error, ERROR_FORMAT, "damaged: a state of node %u", node);
    }
    if (state.gone || state.exchange_count == 0) {
        return 0;
    }
    struct night_boot_exchanges *boot = find_or_add(gathering, node, state.boot);
    for (size_t i = 0; boot && i < state.exchange_count; i++) {
        void *memory = boot->exchanges;
        if (grow_list(&memory, boot->count, &boot->size, sizeof *boot->exchanges, "exchanges",
                      gathering->error)) {
            return -1;
        }
        boot->exchanges = memory;
        boot->exchanges[boot->count++] = state.exchanges[i];
    }
    return boot ? 0 : -1;
}

int night_read_exchanges(struct night_reader *reader, size_t node_count,
                         struct night_exchanges *exchanges, struct error *error)
{
    struct gathering gathering = {exchanges, node_count, error};
    return night_each_state(reader, take_state, &gathering, error);
}

void night_exchanges_free(struct night_exchanges *exchanges)
{
    for (size_t i = 0; i < exchanges->count; i++) {
        free(exchanges->boots[i].exchanges);
    }
    free(exchanges->boots);
    *exchanges = (struct night_exchanges){0};
}
