/* Time slides when memory runs out, at each allocation in turn.
 * Must never leak nor tell half a night. */
#include "tests/unit/fault/fault.h"

#include "collector/correlate/slides_book.h"

#define NODES 3
#define ONSETS 70
#define SECOND INT64_C(1000000000)

static struct site_node nodes[NODES];
static struct site_room room;
static struct site site = {.room_count = 1, .rooms = &room, .node_count = NODES, .nodes = nodes};

static struct disturbance see(int64_t i)
{
    return (struct disturbance){.id = i + 1,
                                .node = (uint32_t)(i % NODES),
                                .quantity = QUANTITY_MAGNETIC,
                                .onset_ns = (100 + i / NODES * 20) * SECOND + i * 1000};
}

static int keep(void *context, struct error *error)
{
    (void)context;
    struct slides_book *book = NULL;
    struct coincidence *three = calloc(1, sizeof *three);
    int status = three ? slides_book_new(NODES, &book, error)
                       : error_set(error, ERROR_MEMORY, "test: out of memory");
    for (int64_t i = 0; i < ONSETS && status == 0; i++) {
        struct disturbance seen = see(i);
        slides_book_watch(book, seen.node, 0);
        status = slides_book_onset(book, &seen, error);
    }
    if (status == 0) {
        status = slides_book_coincidence(book, three, error);
    }
    slides_book_free(book);
    free(three);
    return status;
}

static int run(void *context, struct error *error)
{
    size_t *found = context;
    struct slides_onset onsets[ONSETS];
    const int64_t live_from_ns[NODES] = {0};
    struct layout *layout = NULL;
    struct slides_result result = {0};
    for (int64_t i = 0; i < ONSETS; i++) {
        struct disturbance seen = see(i);
        onsets[i] = slides_onset_of(&seen);
    }
    if (layout_new(&site, &layout, error)) {
        return -1;
    }
    struct slides_night night = {layout, onsets, ONSETS, live_from_ns, 1300 * SECOND, 5, NULL};
    int status = slides_run(&night, &result, error);
    *found = result.count;
    slides_result_free(&result);
    layout_free(layout);
    return status;
}

static void slides_count_a_night_or_say_that_memory_ran_out(void **state)
{
    (void)state;
    size_t found = 0;
    for (size_t i = 0; i < NODES; i++) {
        nodes[i].position_m[0] = 4.0 * (double)i;
    }
    fault_each(keep, NULL);
    fault_each(run, &found);
    assert_true(found > 20);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(slides_count_a_night_or_say_that_memory_ran_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
