/* Every text of the report, by name: another language is one more file like report_english.c.
 * Must never hold a text's markup: {1} to {9} are places for values, which are made harmless. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_REPORT_WORDS_H
#define ROOMWAKE_COLLECTOR_EXPORT_REPORT_WORDS_H

#include "collector/model/coincidence.h"

#define REPORT_METHODS 12
#define REPORT_SOURCES 16
#define REPORT_CAUTIONS 8
#define REPORT_LIMITS 10

#define REPORT_TEXTS(X)                                                                                               \
    X(TITLE)                                                                                                          \
    X(NIGHT_OF)                                                                                                       \
    X(FITTED_SAME)                                                                                                    \
    X(FITTED_BESIDE)                                                                                                  \
    X(FITTED_AGAIN)                                                                                                   \
    X(NOT_CLOSED) X(CONTENTS) X(NONE) X(NOT_TOLD) X(SUMMARY) X(SUMMARY_SAMPLES) X(                                    \
        SUMMARY_DISTURBANCES) X(SUMMARY_NO_COINCIDENCE) X(SUMMARY_COINCIDENCES) X(SUMMARY_ORDINARY)                   \
        X(SUMMARY_CAUSE) X(SUMMARY_UNEXPLAINED) X(SUMMARY_NONE_UNEXPLAINED) X(SUMMARY_CHANCE) X(                      \
            SUMMARY_ALERTS) X(SUMMARY_CONTROL) X(SUMMARY_MARKS) X(SUMMARY_GAPS) X(SUMMARY_SEAL_HOLDS)                 \
            X(SUMMARY_SEAL_OPEN) X(SUMMARY_SEAL_BROKEN) X(SUMMARY_CAREFUL) X(PLAN) X(PLAN_FLOOR) X(                   \
                PLAN_ABOUT) X(PLAN_METRES) X(LANES) X(LANES_ABOUT) X(LANES_NODE) X(LANES_SPAN)                        \
                X(FINDINGS) X(FINDINGS_ABOUT) X(FINDINGS_NONE) X(FINDINGS_LEFT) X(FINDING_HEAD) X(                    \
                    FINDING_ALERT) X(FINDING_ROOMS) X(FINDING_SPREAD) X(FINDING_CONTROL)                              \
                    X(FINDING_NO_FIGURE) X(FINDING_LASTS) X(FINDING_DROPPED) X(COLUMN_NUMBER) X(                      \
                        COLUMN_NODE) X(COLUMN_ROOM) X(COLUMN_QUANTITY) X(COLUMN_ONSET)                                \
                        X(COLUMN_UNCERTAINTY) X(COLUMN_PEAK) X(COLUMN_NOISE) X(COLUMN_FIRST) X(                       \
                            AT_MAINS) X(CLIPPED) X(WITNESSES) X(ORDER) X(ORDER_KNOWN) X(ORDER_UNKNOWN)                \
                            X(ORDER_TOGETHER) X(ORDER_FIGURE) X(PATH) X(PATH_ROOMS) X(PATH_SPEED) X(                  \
                                PATH_SOURCE) X(PATH_FIGURE) X(TRACES_FIGURE) X(TRACES_ABOUT)                          \
                                X(CHANCE) X(CHANCE_ANALYTIC) X(CHANCE_SLIDES) X(CHANCE_LESS) X(CHANCE_UNKNOWN) X(     \
                                    CAUSES) X(CAUSES_ABOUT) X(CAUSE_VERDICT) X(COVERED) X(MARKS)                      \
                                    X(MARKS_ABOUT) X(MARKS_NONE) X(MARKS_LEFT) X(COLUMN_START) X(COLUMN_LENGTH) X(    \
                                        COLUMN_WHAT) X(WHOLE_SITE) X(QUESTIONS) X(QUESTIONS_ABOUT) X(QUESTIONS_NONE)  \
                                        X(CLOCKS) X(CLOCKS_ABOUT) X(CLOCKS_TABLE) X(                                  \
                                            COLUMN_SAMPLES) X(COLUMN_LEAST) X(COLUMN_MEDIAN) X(COLUMN_MOST)           \
                                            X(COLUMN_CRYSTAL) X(COLUMN_LATE) X(CLOCKS_SITE_FILE) X(                   \
                                                STEADINESS) X(GAPS) X(GAPS_ABOUT) X(GAPS_NONE)                        \
                                                X(GAPS_LEFT) X(COLUMN_REASON) X(SENSORS) X(                           \
                                                    SENSORS_ABOUT) X(SENSORS_CALIBRATION) X(COLUMN_CHANNEL)           \
                                                    X(COLUMN_RATE) X(COLUMN_STEP) X(COLUMN_OFFSET) X(COLUMN_RANGE) X( \
                                                        RATE_HZ) X(RATE_ON_CHANGE) X(RATE_MEASURED)                   \
                                                        X(COLUMN_CALIBRATION) X(COLUMN_ENDS) X(UNCALIBRATED) X(       \
                                                            CALIBRATED_BY) X(CALIBRATED_GAIN)                         \
                                                            X(CALIBRATED_OFFSET) X(                                   \
                                                                CALIBRATED_RESIDUAL) X(CALIBRATED_NOISE)              \
                                                                X(CALIBRATED_LATENCY) X(                              \
                                                                    FINDING_UNCALIBRATED) X(QUIET)                    \
                                                                    X(QUIET_ABOUT) X(SETTINGS) X(                     \
                                                                        SETTING_MAINS) X(SETTING_BASELINE)            \
                                                                        X(SETTING_FALSE) X(SETTING_ALERT) X(          \
                                                                            SETTING_ORDER) X(METHOD)                  \
                                                                            X(SOURCES) X(VERIFY) X(                   \
                                                                                VERIFY_ABOUT) X(VERIFY_ROOT)          \
                                                                                X(VERIFY_KEY) X(                      \
                                                                                    VERIFY_COMMAND) X(VERIFY_QUERY)   \
                                                                                    X(VERIFY_PROVES) X(               \
                                                                                        VERIFY_SAMPLES)               \
                                                                                        X(LIMITS) X(                  \
                                                                                            CAUTIONS)                 \
                                                                                            X(FOOT)

enum report_text {
#define REPORT_ENUM(name) TEXT_##name,
    REPORT_TEXTS(REPORT_ENUM)
#undef REPORT_ENUM
        TEXT_COUNT
};

struct report_language {
    const char *code; /* BCP 47: "en" */
    const char *texts[TEXT_COUNT];
    const char *causes[CAUSE_COUNT];
    /* Lists end with NULL. */
    const char *methods[REPORT_METHODS];
    const char *sources[REPORT_SOURCES];
    const char *limits[REPORT_LIMITS];
    const char *cautions[REPORT_CAUTIONS];
};

extern const struct report_language report_english;

#endif
