/* Tests of topics, made and taken apart.
 * Must never depend on anything but common.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/topic.h"

static void every_kind_is_made_and_taken_apart_again(void **state)
{
    (void)state;
    for (int i = TOPIC_HELLO; i <= TOPIC_MARK; i++) {
        char text[TOPIC_SIZE];
        struct topic topic;
        bool of_node = i != TOPIC_ALERT && i != TOPIC_MARK;
        topic_format((enum topic_kind)i, "lodge", of_node ? "n1" : NULL, text);
        assert_int_equal(topic_parse(text, &topic, NULL), 0);
        assert_int_equal(topic.kind, i);
        assert_string_equal(topic.site, "lodge");
        assert_string_equal(topic.node, of_node ? "n1" : "");
    }
}

static void topics_look_as_agreed(void **state)
{
    (void)state;
    char text[TOPIC_SIZE];
    topic_format(TOPIC_BLOCKS, "lodge", "n1", text);
    assert_string_equal(text, "roomwake/lodge/n1/blocks");
    topic_format(TOPIC_MARK, "lodge", NULL, text);
    assert_string_equal(text, "roomwake/lodge/mark");
    topic_format_filter(TOPIC_SENML, "lodge", text);
    assert_string_equal(text, "roomwake/lodge/+/senml");
    topic_format_filter(TOPIC_ALERT, "lodge", text);
    assert_string_equal(text, "roomwake/lodge/alert");
}

static void a_node_may_be_called_like_a_kind(void **state)
{
    (void)state;
    struct topic topic;
    assert_int_equal(topic_parse("roomwake/mark/alert/state", &topic, NULL), 0);
    assert_int_equal(topic.kind, TOPIC_STATE);
    assert_string_equal(topic.site, "mark");
    assert_string_equal(topic.node, "alert");
}

static void the_longest_names_fit(void **state)
{
    (void)state;
    const char *longest = "abcdefghijklmnopqrstuvwxyz012345";
    char text[TOPIC_SIZE];
    struct topic topic;
    topic_format(TOPIC_BLOCKS, longest, longest, text);
    assert_int_equal(topic_parse(text, &topic, NULL), 0);
    assert_string_equal(topic.node, longest);
}

static void foreign_topics_are_refused(void **state)
{
    (void)state;
    const char *bad[] = {"",
                         "roomwake",
                         "roomwake/",
                         "roomwake/lodge",
                         "roomwake/lodge/",
                         "roomwake/lodge/n1",
                         "roomwake/lodge/n1/",
                         "roomwake/lodge/n1/alert",
                         "roomwake/lodge/blocks",
                         "roomwake//n1/blocks",
                         "roomwake/lodge//blocks",
                         "roomwake/lodge/+/blocks",
                         "roomwake/#",
                         "roomwake/lodge/n1/blocks/",
                         "roomwake/lodge/n1/blocks/x",
                         "roomwake/lodge/N1/blocks",
                         "Roomwake/lodge/n1/blocks",
                         "roomwake/lodge/../blocks",
                         "/roomwake/lodge/n1/blocks",
                         "roomwake/lodge/abcdefghijklmnopqrstuvwxyz0123456/blocks"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct topic topic;
        struct error error = {0};
        if (topic_parse(bad[i], &topic, &error) == 0) {
            fail_msg("taken: %s", bad[i]);
        }
        assert_error(error, ERROR_FORMAT, "topic \"");
    }
}

static void a_name_with_a_wildcard_makes_no_topic(void **state)
{
    (void)state;
    char text[TOPIC_SIZE];
    topic_format(TOPIC_BLOCKS, "lodge", "+", text);
    assert_string_equal(text, "");
    topic_format(TOPIC_BLOCKS, "a/b", "n1", text);
    assert_string_equal(text, "");
    topic_format(TOPIC_BLOCKS, "lodge", NULL, text);
    assert_string_equal(text, "");
    topic_format_filter(TOPIC_BLOCKS, "#", text);
    assert_string_equal(text, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_kind_is_made_and_taken_apart_again),
        cmocka_unit_test(topics_look_as_agreed),
        cmocka_unit_test(a_node_may_be_called_like_a_kind),
        cmocka_unit_test(the_longest_names_fit),
        cmocka_unit_test(foreign_topics_are_refused),
        cmocka_unit_test(a_name_with_a_wildcard_makes_no_topic),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
