/* The report's English.
 * Must never claim more than "unexplained by the causes tested". Used by report.c. */
#include "collector/export/report_words.h"

#include <stddef.h>

const struct report_language report_english = {
    .code = "en",
    .texts =
        {
            [TEXT_TITLE] = "The night at {1}",
            [TEXT_NIGHT_OF] =
                "Night {1}: from {2} (UTC{3}; {4}), {5} long. Times below are UTC{3}.",
            [TEXT_FITTED_AGAIN] = "The times are those of clocks that were fitted again from the "
                                  "whole night; what was told live stands in analysis 1.",
            [TEXT_FITTED_BESIDE] =
                "The times are those of the live night. Beside it the clocks were fitted again "
                "from "
                "the whole night (analysis {1}): by those times {2} findings say the same, {3} "
                "something else, {4} are gone and {5} are new; no start moved by more than {6}.",
            [TEXT_FITTED_SAME] =
                "The times are those of the live night. Beside it the clocks were fitted again "
                "from "
                "the whole night (analysis {1}): all {2} findings say the same; no start moved by "
                "more than {6}.",
            [TEXT_NOT_CLOSED] = "not closed",
            [TEXT_CONTENTS] = "Contents",
            [TEXT_NONE] = "none",
            [TEXT_NOT_TOLD] = "not told",
            [TEXT_SUMMARY] = "Summary",
            [TEXT_SUMMARY_SAMPLES] = "Nodes: {1}, in {2} rooms. Samples: {3}. Every one of them is "
                                     "in the night's file, none was averaged or thinned.",
            [TEXT_SUMMARY_DISTURBANCES] =
                "Times that a sensor left what was usual for it tonight: {1}.",
            [TEXT_SUMMARY_NO_COINCIDENCE] =
                "No two nodes were disturbed together, so there is no finding: what one node alone "
                "sees has no second witness.",
            [TEXT_SUMMARY_COINCIDENCES] =
                "Findings, which are two or more nodes disturbed together: {1}.",
            [TEXT_SUMMARY_ORDINARY] = "Of these, with an ordinary cause that fits: {1}.",
            [TEXT_SUMMARY_CAUSE] = "{1}: {2}",
            [TEXT_SUMMARY_UNEXPLAINED] = "Unexplained by the causes tested: {1}.",
            [TEXT_SUMMARY_NONE_UNEXPLAINED] = "None is unexplained by the causes tested.",
            [TEXT_SUMMARY_CHANCE] =
                "Chance alone would bring about {1} as rare as the likeliest of these in a "
                "recording of "
                "this length (counted in the night's own onsets, shifted against each other).",
            [TEXT_SUMMARY_ALERTS] = "Alerts, which are findings so rare by chance (less than {2} a "
                                    "night) that the team was told at once: {1}.",
            [TEXT_SUMMARY_CONTROL] = "Of the unexplained, seen by the control node too (it stood "
                                     "in a room that was kept shut): {1}.",
            [TEXT_SUMMARY_MARKS] = "Doings of its own that the team noted (marks): {1}. A finding "
                                   "that a mark covers is put down to the team.",
            [TEXT_SUMMARY_GAPS] =
                "Stretches without samples of a node: {1}. Each is listed with its reason.",
            [TEXT_SUMMARY_SEAL_HOLDS] = "The night's seal holds: nothing was changed since it was "
                                        "signed (below: how to check that yourself).",
            [TEXT_SUMMARY_SEAL_OPEN] = "The night was not closed, so it is not sealed to its end.",
            [TEXT_SUMMARY_SEAL_BROKEN] =
                "THE SEAL DOES NOT HOLD: the file is not what was signed. Run roomwake verify.",
            [TEXT_SUMMARY_CAREFUL] =
                "\"Unexplained by the causes tested\" means just that: none of the nine ordinary "
                "causes "
                "that this tool tests fits the samples. There are ordinary causes that it does not "
                "test, "
                "and some that it misses (see the limits). It takes no side on what remains.",
            [TEXT_PLAN] = "The building",
            [TEXT_PLAN_FLOOR] = "Floor {1}",
            [TEXT_PLAN_ABOUT] =
                "Rooms and doors as the team measured them; a circle is a node, a square "
                "the control node.",
            [TEXT_PLAN_METRES] = "{1} m",
            [TEXT_LANES] = "The whole night",
            [TEXT_LANES_ABOUT] = "One lane a channel, from the first sample to the last. Each "
                                 "vertical stroke spans the "
                                 "least and the greatest sample of its {1}, so no peak is lost; at "
                                 "the right the greatest "
                                 "and the least of the night. Triangles above are findings "
                                 "(filled: alerts, with their numbers), "
                                 "grey bands the team's marks; a line at the foot of a lane is a "
                                 "gap that has a reason.",
            [TEXT_LANES_NODE] = "{1}: {2}, channels {3}, over the night",
            [TEXT_LANES_SPAN] = "span {1}",
            [TEXT_FINDINGS] = "Findings",
            [TEXT_FINDINGS_ABOUT] = "A finding is two or more nodes disturbed together. Each is "
                                    "shown with what saw it, in "
                                    "which order, how often chance does the same, and every "
                                    "ordinary cause that was tested.",
            [TEXT_FINDINGS_NONE] = "There are none.",
            [TEXT_FINDINGS_LEFT] =
                "Findings that are not shown here: {1}, all more likely by chance than these; they "
                "are in the night's file and in its JSON export.",
            [TEXT_FINDING_HEAD] = "{1}. {2}: {3}",
            [TEXT_FINDING_ALERT] = "An alert was raised for it.",
            [TEXT_FINDING_ROOMS] = "Seen in: {1}.",
            [TEXT_FINDING_SPREAD] =
                "Nodes: {1}, within {2}; independent witnesses (a quantity at a node): {3}.",
            [TEXT_FINDING_CONTROL] = "The control node saw it too.",
            [TEXT_FINDING_NO_FIGURE] =
                "Its figures are left out, to keep the page small; rarer findings have theirs.",
            [TEXT_FINDING_LASTS] = "Some of it lasts to the end of the recording.",
            [TEXT_FINDING_DROPPED] = "Further disturbances that belong to it: {1}.",
            [TEXT_COLUMN_NUMBER] = "No.",
            [TEXT_COLUMN_NODE] = "Node",
            [TEXT_COLUMN_ROOM] = "Room",
            [TEXT_COLUMN_QUANTITY] = "Quantity",
            [TEXT_COLUMN_ONSET] = "Onset",
            [TEXT_COLUMN_UNCERTAINTY] = "Uncertainty (one sigma)",
            [TEXT_COLUMN_PEAK] = "Peak from the usual",
            [TEXT_COLUMN_NOISE] = "Times its noise",
            [TEXT_COLUMN_FIRST] = "First of all",
            [TEXT_AT_MAINS] = "{1}, at the mains frequency",
            [TEXT_CLIPPED] = "{1} (beyond the sensor's range)",
            [TEXT_WITNESSES] = "What saw it",
            [TEXT_ORDER] = "Order",
            [TEXT_ORDER_KNOWN] =
                "{1} ({2}) was first, {3} % sure from the uncertainties of all onsets.",
            [TEXT_ORDER_TOGETHER] = "Together: the onsets differ by no more than their "
                                    "uncertainties bring, so no order is claimed.",
            [TEXT_ORDER_UNKNOWN] =
                "The order can't be told: the onsets lie closer together than their "
                "uncertainties carry at {1} % confidence.",
            [TEXT_ORDER_FIGURE] =
                "Onsets of the nodes in order, each with its 95 % interval, after {1}",
            [TEXT_PATH] = "Path",
            [TEXT_PATH_ROOMS] = "Through the rooms: {1}.",
            [TEXT_PATH_SPEED] = "Speed {1} m/s (95 % interval {2} to {3} m/s).",
            [TEXT_PATH_SOURCE] =
                "The amplitudes point to x {1} m, y {2} m, give or take {3} m (one sigma).",
            [TEXT_PATH_FIGURE] = "Plan of floor {1}: where finding {2} was seen",
            [TEXT_TRACES_FIGURE] = "Samples of the witnesses around finding {1}",
            [TEXT_TRACES_ABOUT] =
                "The samples themselves, {1} from left to right. A dashed line is an "
                "onset, the band around it two sigma.",
            [TEXT_CHANCE] = "Chance",
            [TEXT_CHANCE_ANALYTIC] = "Accidents alone bring {1} like it in a night of 8 hours, at "
                                     "the rates at which these "
                                     "nodes were disturbed (computed; p = {2}).",
            [TEXT_CHANCE_SLIDES] = "Accidents alone bring {1} that rank at or above it in a night "
                                   "of 8 hours, counted by "
                                   "shifting the nodes' onsets against each other (p = {2} for a "
                                   "recording of this length).",
            [TEXT_CHANCE_LESS] = "fewer than {1}",
            [TEXT_CHANCE_UNKNOWN] = "an unknown number",
            [TEXT_CAUSES] = "Ordinary causes",
            [TEXT_CAUSES_ABOUT] = "Each test with its numbers, as the tool wrote them down:",
            [TEXT_CAUSE_VERDICT] = "Verdict: {1}.",
            [TEXT_COVERED] = "Mark {1} covers it.",
            [TEXT_MARKS] = "What the team did",
            [TEXT_MARKS_ABOUT] =
                "Marks as they were noted. A correction is a new mark; none is altered.",
            [TEXT_MARKS_NONE] = "The team noted nothing.",
            [TEXT_MARKS_LEFT] = "Further marks in the night's file: {1}.",
            [TEXT_COLUMN_START] = "Start",
            [TEXT_COLUMN_LENGTH] = "Length",
            [TEXT_COLUMN_WHAT] = "What",
            [TEXT_WHOLE_SITE] = "whole site",
            [TEXT_QUESTIONS] = "Questions that were asked",
            [TEXT_QUESTIONS_ABOUT] = "Sessions whose times were drawn beforehand, with windows in "
                                     "which nothing was asked "
                                     "to compare with; as the tool scores them:",
            [TEXT_QUESTIONS_NONE] = "No session of questions was held.",
            [TEXT_CLOCKS] = "Clocks",
            [TEXT_CLOCKS_ABOUT] = "Every node asks the base station for the time and knows how "
                                  "wrong its own may be. An "
                                  "order is only claimed where these uncertainties carry it.",
            [TEXT_CLOCKS_TABLE] = "Uncertainty of each node's clock (one sigma), and how it ran",
            [TEXT_COLUMN_SAMPLES] = "Samples",
            [TEXT_COLUMN_LEAST] = "Least",
            [TEXT_COLUMN_MEDIAN] = "Median",
            [TEXT_COLUMN_MOST] = "Most",
            [TEXT_COLUMN_CRYSTAL] = "Crystal, ppm",
            [TEXT_COLUMN_LATE] = "Messages (late)",
            [TEXT_STEADINESS] =
                "Steadiness of the crystal of {1}: {2} (overlapping Allan deviation, NIST SP 1065, "
                "2008; the noise of the link is in it).",
            [TEXT_CLOCKS_SITE_FILE] = "{1} (by the site file)",
            [TEXT_GAPS] = "Gaps",
            [TEXT_GAPS_ABOUT] = "Stretches without samples of a node, each with its reason.",
            [TEXT_GAPS_NONE] = "There are none.",
            [TEXT_GAPS_LEFT] = "Further gaps in the night's file: {1}.",
            [TEXT_COLUMN_REASON] = "Reason",
            [TEXT_SENSORS] = "Sensors",
            [TEXT_SENSORS_ABOUT] = "A value is its count times the step plus the offset.",
            [TEXT_SENSORS_CALIBRATION] =
                "Step and offset have the calibration in them. \"Uncalibrated\" means that nobody "
                "checked the size of the unit with a known field: such a value compares only with "
                "others of the same channel. Uncertainties are one sigma. What a sensor tells late "
                "is taken off its onsets, and its uncertainty is in theirs; samples keep their "
                "times.",
            [TEXT_COLUMN_ENDS] = "Can tell",
            [TEXT_COLUMN_CALIBRATION] = "Calibration",
            [TEXT_UNCALIBRATED] = "uncalibrated",
            [TEXT_CALIBRATED_BY] = "by {1}, {2}",
            [TEXT_CALIBRATED_GAIN] = "; gain \xc2\xb1 {1} %",
            [TEXT_CALIBRATED_OFFSET] = "; offset \xc2\xb1 {1}",
            [TEXT_CALIBRATED_RESIDUAL] = "; left over {1} rms",
            [TEXT_CALIBRATED_NOISE] = "; noise {1} rms",
            [TEXT_CALIBRATED_LATENCY] = "; {1} \xc2\xb1 {2} behind {3}",
            [TEXT_FINDING_UNCALIBRATED] =
                "Uncalibrated: {1}. Such a peak compares only with others of the same channel.",
            [TEXT_COLUMN_CHANNEL] = "Channel",
            [TEXT_COLUMN_RATE] = "Rate",
            [TEXT_COLUMN_STEP] = "Step",
            [TEXT_COLUMN_OFFSET] = "Offset",
            [TEXT_COLUMN_RANGE] = "Seen tonight",
            [TEXT_RATE_HZ] = "{1} Hz",
            [TEXT_RATE_ON_CHANGE] = "on change",
            [TEXT_RATE_MEASURED] = "; measured {1} Hz",
            [TEXT_QUIET] = "What the quiet spell taught",
            [TEXT_QUIET_ABOUT] =
                "What counts as unusual was learnt per sensor at the night's start:",
            [TEXT_SETTINGS] = "Settings",
            [TEXT_SETTING_MAINS] = "Mains frequency: {1} Hz",
            [TEXT_SETTING_BASELINE] = "Quiet spell: {1} s",
            [TEXT_SETTING_FALSE] = "False onsets allowed: {1} an hour and channel",
            [TEXT_SETTING_ALERT] = "An alert needs less than {1} a night by chance",
            [TEXT_SETTING_ORDER] = "\"First\" needs {1} % confidence",
            [TEXT_METHOD] = "Method",
            [TEXT_SOURCES] = "Published sources",
            [TEXT_VERIFY] = "How to check this yourself",
            [TEXT_VERIFY_ABOUT] =
                "Everything here is computed from one file, {1}. It is an SQLite database with "
                "plain "
                "tables. The base station signed a hash tree over its rows (RFC 6962, Ed25519).",
            [TEXT_VERIFY_ROOT] = "Root over the samples",
            [TEXT_VERIFY_KEY] = "Public key of the base station",
            [TEXT_VERIFY_COMMAND] = "Check it:",
            [TEXT_VERIFY_QUERY] = "Look at the findings with any SQLite program:",
            [TEXT_VERIFY_PROVES] =
                "The seal proves that nothing was changed after signing. It does not prove that a "
                "sensor "
                "was honest nor when the night was, unless the root was made known that night.",
            [TEXT_VERIFY_SAMPLES] = "Get the samples as a table:",
            [TEXT_LIMITS] = "Limits",
            [TEXT_CAUTIONS] = "Cautions",
            [TEXT_FOOT] = "Made from analysis {1} by roomwake {2}.",
        },
    .causes =
        {
            [CAUSE_UNEXPLAINED] = "unexplained by the causes tested",
            [CAUSE_MAINS_SWITCHING] = "mains switching",
            [CAUSE_MOVING_MAGNET] = "moving magnet",
            [CAUSE_RADIO_BURST] = "radio burst",
            [CAUSE_PERSON_WALKING] = "person walking",
            [CAUSE_DRAUGHT] = "draught",
            [CAUSE_HEATING_CYCLE] = "heating cycle",
            [CAUSE_GEOMAGNETIC] = "geomagnetic change",
            [CAUSE_SENSOR_FAULT] = "sensor fault",
            [CAUSE_TEAM] = "the team itself",
        },
    .methods =
        {
            "Time: each node exchanges time messages with the base station (RFC 5905) and fits its "
            "clock's offset and rate with an uncertainty that holds the real error under delay and "
            "loss "
            "[1]. Samples are stamped on a clock that never steps.",
            "What is usual is learnt per sensor in the quiet spell: median and median absolute "
            "deviation, and the extremes of short stretches [2].",
            "A threshold is the level that the fitted tail exceeds at the false-onset rate that "
            "was set, "
            "not a number of sigmas picked by hand [3].",
            "The three axes of the magnetic field are taken as one vector, so turning a node does "
            "not "
            "matter; the mains frequency is taken apart and watched by itself [4].",
            "The onset is looked for again in the samples around the trigger, as the split that "
            "best "
            "separates before and after, with its own uncertainty [5].",
            "Disturbances belong together when they start within the clocks' error and a short "
            "window, or "
            "when each delay fits the distance at some speed from a slow draught to a run [6].",
            "How often accidents do the same is computed from the nodes' rates [7] and, at the end "
            "of a "
            "night that is long enough, counted by shifting the nodes' onsets against each other a "
            "thousand times and more [8].",
            "\"First\" is the probability, over the uncertainties of all onsets, that this node "
            "preceded "
            "every other.",
            "Nine ordinary causes are tested, each with its numbers: mains switching, a moving "
            "magnet [9], "
            "a radio burst, a person walking [6], a draught [10], a heating cycle, a geomagnetic "
            "change, "
            "a sensor fault, and the team's own marks.",
            NULL,
        },
    .sources =
        {
            "[1] D. Mills et al., Network Time Protocol Version 4, RFC 5905, 2010.",
            "[2] B. Iglewicz, D. Hoaglin, How to Detect and Handle Outliers, 1993.",
            "[3] S. Coles, An Introduction to Statistical Modeling of Extreme Values, 2001.",
            "[4] G. Goertzel, An Algorithm for the Evaluation of Finite Trigonometric Series, "
            "1958.",
            "[5] N. Maeda, A method for reading and checking phase times, Zisin 38, 1985.",
            "[6] R. Bohannon, Comfortable and maximum walking speed, Age and Ageing 26, 1997.",
            "[7] C. Eckart, F. Shonka, Accidental coincidences in counter circuits, Phys. Rev. 53, "
            "1938.",
            "[8] M. Was et al., On the background estimation by time slides, Class. Quantum Grav. "
            "27, "
            "2010; B. Phipson, G. Smyth, Permutation p-values should never be zero, 2010.",
            "[9] J. D. Jackson, Classical Electrodynamics, 3rd edition, 1999, sec. 5.6.",
            "[10] ISO 7730, Ergonomics of the thermal environment, 2005 (draught).",
            "[11] B. Laurie et al., Certificate Transparency, RFC 6962, 2013 (hash tree); S. "
            "Josefsson, "
            "I. Liusvaara, Ed25519, RFC 8032, 2017 (signature).",
            NULL,
        },
    .limits =
        {
            "Magnets, draughts and slow geomagnetic changes are still missed often by their tests, "
            "so a "
            "finding without a verdict may yet be one of those.",
            "Two sensors on one board share a supply and a hand that touches it; chance counts "
            "nodes, "
            "not sensors.",
            "The rates are this night's. Another night, another building or other settings give "
            "others.",
            "Looking at many findings, some will look striking by chance: read the chance of each.",
            "No order, path or speed is claimed beyond what the clocks carry.",
            "A reading is not a safety measurement, of fields or of anything else.",
            NULL,
        },
    .cautions =
        {
            "Mains wiring, panels and outlets are for licensed people. If insulation is damaged, "
            "or a "
            "panel buzzes or smells of burning: leave, and call those who are licensed for it.",
            "Carbon monoxide can explain what people feel: headache, nausea, dizziness, a sense of "
            "presence. Carry a certified alarm. If anyone feels ill: out, fresh air, emergency "
            "services.",
            "An unlit, unfamiliar building hurts more people than anything in it: two people, a "
            "torch "
            "each, exits unlocked, somebody outside who knows when you will be back.",
            "Enter only with permission. Do not record people without their consent.",
            "Where local codes or licensed practice say otherwise, they are right and this page is "
            "wrong.",
            NULL,
        },
};
