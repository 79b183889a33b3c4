/* Alerts on a stream, one line each, flushed at once.
 * Must never colour or ring: the room is dark.
 * Called through outlet.h. */
#include <stdlib.h>

#include "collector/alert/outlet.h"
#include "common/log.h"

struct outlet_print {
    struct outlet head;
    FILE *stream;
};

static void print_raise(struct outlet *outlet, const struct alert *alert)
{
    struct outlet_print *print = (struct outlet_print *)outlet;
    if (fprintf(print->stream, "ALERT %s\n", alert->line) < 0 || fflush(print->stream) != 0) {
        log_warning("alert: could not be printed");
    }
}

static void print_close(struct outlet *outlet)
{
    if (outlet->on_closed) {
        outlet->on_closed(outlet->context);
    }
}

static void print_free(struct outlet *outlet)
{
    free(outlet);
}

int outlet_print_new(FILE *stream, struct outlet **outlet, struct error *error)
{
    static const struct outlet_kind kind = {"print", print_raise, print_close, print_free};
    struct outlet_print *print = calloc(1, sizeof *print);
    if (!print) {
        return error_set(error, ERROR_MEMORY, "alerts: out of memory");
    }
    print->head.kind = &kind;
    print->stream = stream;
    *outlet = &print->head;
    return 0;
}
