/* That common's readers end in an error, whichever allocation fails. */
#include "tests/unit/fault/fault.h"

#include "common/json.h"
#include "common/senml.h"
#include "common/site.h"
#include "common/wire.h"

static const char site_text[] =
    "{\"site\":\"lodge\",\"title\":\"The lodge\",\"rooms\":["
    "{\"id\":\"hall\",\"title\":\"\",\"floor\":0,\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]},"
    "{\"id\":\"kitchen\",\"title\":\"\",\"floor\":0,\"outline_m\":[[6,0],[10,0],[10,4],[6,4]]}],"
    "\"doors\":[{\"between\":[\"hall\",\"kitchen\"],\"at_m\":[6,2]}],"
    "\"nodes\":[{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[1,2,0.8],"
    "\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":50}]}]}";

static int parse_site(void *context, struct error *error)
{
    (void)context;
    struct site *site = NULL;
    if (site_parse(site_text, sizeof site_text - 1, "site", &site, error)) {
        return -1;
    }
    assert_int_equal(site->room_count, 2);
    assert_string_equal(site->nodes[0].id, "n1");
    site_free(site);
    return 0;
}

static void a_site_file_is_read_or_refused(void **state)
{
    (void)state;
    fault_each(parse_site, NULL);
}

static int parse_json(void *context, struct error *error)
{
    const bool *exact = context;
    static const char text[] = "{\"a\":[1,2.5e-3,\"x\",true,null],\"b\":{\"c\":\"\\u00e9\"}}";
    cJSON *tree = NULL;
    if ((*exact ? json_parse_exact : json_parse)(text, sizeof text - 1, "text", &tree, error)) {
        return -1;
    }
    assert_int_equal(cJSON_GetArraySize(cJSON_GetObjectItem(tree, "a")), 5);
    cJSON_Delete(tree);
    return 0;
}

static void json_is_read_or_refused(void **state)
{
    (void)state;
    bool exact = false;
    fault_each(parse_json, &exact);
    exact = true;
    fault_each(parse_json, &exact);
}

static int resolve(void *context, struct error *error)
{
    (void)context;
    static const char pack[] =
        "[{\"bn\":\"urn:dev:n1/"
        "\",\"bt\":1709330400,\"n\":\"temperature\",\"u\":\"Cel\",\"v\":20.5},"
        "{\"n\":\"motion\",\"vb\":true},{\"n\":\"label\",\"vs\":\"x\"}]";
    struct senml_record *records = NULL;
    size_t count = 0;
    if (senml_resolve(pack, sizeof pack - 1, 0, &records, &count, error)) {
        return -1;
    }
    assert_int_equal(count, 3);
    assert_string_equal(records[0].name, "urn:dev:n1/temperature");
    free(records);
    return 0;
}

static void a_senml_pack_is_resolved_or_refused(void **state)
{
    (void)state;
    fault_each(resolve, NULL);
}

struct message {
    uint8_t bytes[2048];
    size_t length;
};

static void encode(struct message *message)
{
    static const int32_t counts[] = {5, -6, 7};
    static const int64_t times[] = {100, 250, 260};
    static const struct decimal decimals[] = {{21, 0}, {2125, -2}, {-1, 3}};
    struct frame frame = {.boot = 1, .seq = 1, .oldest_seq = 1, .until_node_ns = 1000};
    frame.block_count = 2;
    frame.blocks[0] = (struct block){.count = 3, .t0_ns = 5, .period_ps = 1000, .counts = counts};
    frame.blocks[1] = (struct block){.channel = 1,
                                     .encoding = BLOCK_DECIMAL,
                                     .count = 3,
                                     .t0_ns = times[0],
                                     .times_ns = times,
                                     .decimals = decimals};
    assert_int_equal(
        wire_encode(&frame, message->bytes, sizeof message->bytes, &message->length, NULL), 0);
}

static int decode(void *context, struct error *error)
{
    const struct message *message = context;
    struct wire_arena arena = {0};
    struct frame frame;
    int result = wire_decode(message->bytes, message->length, &arena, &frame, error);
    if (result == 0) {
        assert_int_equal(frame.block_count, 2);
        assert_int_equal(frame.blocks[0].counts[1], -6);
        assert_int64_equal(frame.blocks[1].times_ns[2], 260);
        assert_int64_equal(frame.blocks[1].decimals[1].mantissa, 2125);
    }
    wire_arena_free(&arena);
    return result;
}

static void a_blocks_message_is_decoded_or_refused(void **state)
{
    (void)state;
    struct message message;
    encode(&message);
    fault_each(decode, &message);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_site_file_is_read_or_refused),
        cmocka_unit_test(json_is_read_or_refused),
        cmocka_unit_test(a_senml_pack_is_resolved_or_refused),
        cmocka_unit_test(a_blocks_message_is_decoded_or_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
