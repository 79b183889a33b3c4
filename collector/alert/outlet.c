/* The three calls that every outlet shares.
 * Must never know a kind of outlet.
 * Called by the session. */
#include "collector/alert/outlet.h"

void outlet_raise(struct outlet *outlet, const struct alert *alert)
{
    outlet->kind->raise(outlet, alert);
}

void outlet_close(struct outlet *outlet, void (*on_closed)(void *context), void *context)
{
    if (!outlet) {
        if (on_closed) {
            on_closed(context);
        }
        return;
    }
    outlet->on_closed = on_closed;
    outlet->context = context;
    outlet->kind->close(outlet);
}

void outlet_free(struct outlet *outlet)
{
    if (outlet) {
        outlet->kind->free(outlet);
    }
}
