/* What the page's options say, as its settings.
 * Must never read a file. Called by the commands that show a page. */
#include "collector/options_page.h"

int options_page(const struct arguments *arguments, char host[OPTIONS_PAGE_HOST_SIZE],
                 struct page_settings *settings, struct error *error)
{
    const char *address = options_value(arguments, "http");
    *settings =
        (struct page_settings){.host = address ? host : NULL,
                               .certificate_path = options_value(arguments, "http-cert"),
                               .key_path = options_value(arguments, "http-key"),
                               .pair_always = options_value(arguments, "http-pair") != NULL};
    return address ? options_parse_address(address, "http", host, OPTIONS_PAGE_HOST_SIZE,
                                           &settings->port, error)
                   : 0;
}
