/* What the team says: marks, corrections, quiet spells, questions. Must never depend on a real
 * clock. */
#include "tests/unit/ingest/intake_sender.h"

static void steps_of_a_question_session_go_into_the_log_as_they_come(void **state)
{
    (void)state;
    send_text("roomwake/lodge/question",
              "{\"version\":1,\"session\":\"q-1\",\"what\":\"asked\",\"nth\":3,\"length_s\":20,"
              "\"text\":\"knock \\u0022twice\\u0022\"}");
    assert_string_equal(noted.log,
                        "question: {\"version\":1,\"session\":\"q-1\",\"what\":\"asked\","
                        "\"nth\":3,\"length_s\":20,\"text\":\"knock \\\"twice\\\"\"}");
    noted.log[0] = '\0';
    send_text("roomwake/lodge/question",
              "{\"version\":1,\"session\":\"q-1\",\"what\":\"guessed\",\"nth\":3,\"length_s\":20,"
              "\"text\":\"\"}");
    send_text("roomwake/lodge/question", "{\"version\":1,\"session\":\"../q\",\"what\":\"end\","
                                         "\"nth\":0,\"length_s\":0,\"text\":\"\"}");
    assert_string_equal(noted.log, "");
}

static void marks_are_numbered_stored_and_judged(void **state)
{
    (void)state;
    send_text("roomwake/lodge/mark", "{\"version\":1,\"text\":\"kettle\",\"room\":\"kitchen\"}");
    if (noted.mark_count != 1) {
        fail_msg("%s", noted.last_warning);
    }
    assert_int64_equal(noted.marks[0].id, 1);
    assert_int64_equal(noted.marks[0].start_ns, T0_NS);
    assert_int_equal(noted.mark_pushed, 1);
    send_text("roomwake/lodge/mark", "{\"version\":1,\"text\":\"x\",\"room\":\"cellar\"}");
    assert_int_equal(noted.mark_count, 1);
    assert_non_null(strstr(noted.last_warning, "cellar"));
}

static void refused_with(const char *json, const char *words)
{
    size_t before = noted.mark_count;
    send_text("roomwake/lodge/mark", json);
    assert_int_equal(noted.mark_count, before);
    if (!strstr(noted.said.error, words)) {
        fail_msg("\"%s\" has no \"%s\"", noted.said.error, words);
    }
}

static const struct mark *newest(void)
{
    return &noted.marks[noted.mark_count - 1];
}

static void a_running_mark_ends_by_a_further_row_and_the_original_stays(void **state)
{
    (void)state;
    send_text("roomwake/lodge/mark", "{\"text\":\"cooking\",\"room\":\"kitchen\",\"who\":\"eve\","
                                     "\"running\":true,\"ref\":\"a-1\"}");
    assert_string_equal(noted.said.ref, "a-1");
    assert_string_equal(noted.said.error, "");
    assert_int_equal(noted.said.number, 1);
    assert_int64_equal(newest()->end_ns, MARK_RUNNING_NS);
    now_ns += 90 * NS_PER_S;
    send_text("roomwake/lodge/mark", "{\"what\":\"end\",\"mark\":1}");
    assert_int_equal(noted.said.number, 1);
    assert_int64_equal(newest()->id, 2);
    assert_int64_equal(newest()->corrects, 1);
    assert_int64_equal(newest()->start_ns, T0_NS);
    assert_int64_equal(newest()->end_ns, T0_NS + 90 * NS_PER_S);
    assert_string_equal(newest()->text, "cooking");
    assert_int64_equal(noted.marks[0].end_ns, MARK_RUNNING_NS);
    assert_int_equal(noted.mark_pushed, 2);
    refused_with("{\"what\":\"end\",\"mark\":1}", "--correct 1 --for");
}

static void a_correction_changes_what_it_gives_and_nothing_else(void **state)
{
    (void)state;
    send_text("roomwake/lodge/mark", "{\"text\":\"walked\",\"room\":\"kitchen\",\"length_s\":20}");
    send_text("roomwake/lodge/mark", "{\"what\":\"correct\",\"mark\":1,\"room\":\"\"}");
    assert_int64_equal(newest()->corrects, 1);
    assert_string_equal(newest()->room, "");
    assert_string_equal(newest()->text, "walked");
    assert_int64_equal(newest()->end_ns, T0_NS + 20 * NS_PER_S);
    send_text("roomwake/lodge/mark",
              "{\"what\":\"correct\",\"mark\":1,\"start\":\"2024-03-01T21:59:50Z\"}");
    assert_int64_equal(newest()->end_ns - newest()->start_ns, 20 * NS_PER_S);
    send_text("roomwake/lodge/mark", "{\"what\":\"withdraw\",\"mark\":1}");
    assert_true(newest()->withdrawn);
    assert_int_equal(noted.mark_count, 4);
    refused_with("{\"what\":\"correct\",\"mark\":1,\"text\":\"x\"}", "make a new mark");
    refused_with("{\"what\":\"correct\",\"mark\":9,\"text\":\"x\"}", "no mark 9");
    send_text("roomwake/lodge/mark", "{\"text\":\"walked\"}");
    assert_int64_equal(newest()->id, 5);
    refused_with("{\"what\":\"correct\",\"mark\":5}", "nothing is corrected");
}

static void marks_that_cannot_be_are_refused_with_what_to_do(void **state)
{
    (void)state;
    refused_with("{\"text\":\"x\",\"start\":\"2024-03-01T23:00:00Z\"}", "still to come");
    refused_with("{\"text\":\"x\",\"start\":\"2024-03-01T20:00:00Z\"}", "before this night began");
    refused_with("{\"text\":\"x\",\"end\":\"2024-03-01T21:59:00Z\"}", "ends before it begins");
    refused_with("{\"text\":\"x\",\"end\":\"2024-03-01T21:59:00Z\",\"length_s\":3}", "only one of");
    refused_with("{\"text\":\"\"}", "say what was done");
    send_text("roomwake/lodge/mark", "{\"text\":\"a\",\"room\":\"kitchen\",\"who\":\"eve\","
                                     "\"running\":true}");
    refused_with("{\"text\":\"b\",\"room\":\"hall\",\"who\":\"eve\",\"length_s\":5}",
                 "roomwake mark --end 1");
    refused_with("{\"text\":\"b\",\"room\":\"kitchen\",\"who\":\"eve\",\"running\":true}",
                 "still runs");
    send_text("roomwake/lodge/mark",
              "{\"text\":\"b\",\"room\":\"hall\",\"who\":\"tom\",\"length_s\":60}");
    send_text("roomwake/lodge/mark",
              "{\"text\":\"c\",\"room\":\"kitchen\",\"who\":\"tom\",\"length_s\":60}");
    assert_int_equal(noted.mark_count, 3);
    assert_non_null(strstr(noted.said.note, "--correct 2 --for"));
}

static void a_quiet_spell_by_hand_counts_from_after_all_that_was_judged(void **state)
{
    (void)state;
    noted.reached_ns = T0_NS + 7 * NS_PER_S;
    noted.learning = 3;
    send_text("roomwake/lodge/baseline", "{\"what\":\"begin\",\"ref\":\"q\"}");
    assert_string_equal(noted.said.error, "");
    assert_int64_equal(noted.quiet.from_ns, noted.reached_ns + 1);
    assert_int64_equal(noted.log_time_ns, noted.quiet.from_ns);
    assert_string_equal(noted.log, "baseline: {\"what\":\"begin\",\"length_s\":0}");
    send_text("roomwake/lodge/baseline", "{\"what\":\"begin\"}");
    assert_non_null(strstr(noted.said.error, "let it go on"));
    send_text("roomwake/lodge/baseline", "{\"what\":\"end\"}");
    assert_non_null(strstr(noted.said.error, "of quiet so far"));
    now_ns += 40 * NS_PER_S;
    send_text("roomwake/lodge/baseline", "{\"what\":\"end\"}");
    assert_string_equal(noted.said.error, "");
    assert_true(noted.quiet.end);
    noted.learning = 0;
    send_text("roomwake/lodge/baseline", "{\"what\":\"end\"}");
    assert_non_null(strstr(noted.said.error, "roomwake baseline --begin"));
    assert_int_equal(noted.quiets, 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_INTAKE(marks_are_numbered_stored_and_judged),
        WITH_INTAKE(a_running_mark_ends_by_a_further_row_and_the_original_stays),
        WITH_INTAKE(a_correction_changes_what_it_gives_and_nothing_else),
        WITH_INTAKE(marks_that_cannot_be_are_refused_with_what_to_do),
        WITH_INTAKE(a_quiet_spell_by_hand_counts_from_after_all_that_was_judged),
        WITH_INTAKE(steps_of_a_question_session_go_into_the_log_as_they_come),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
