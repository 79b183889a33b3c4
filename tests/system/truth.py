"""A night compared, sample by sample, with what was played to its nodes.

Each start of a node plays numbers that no other start plays: START_STEP * start + 0, 1, 2 ... So a
sample that is missing, doubled or altered shows by itself. Must never take the night's word for
what should be there: that comes from the files played and from the spools' files.
"""
import bisect
import csv
import io
import json
import re
import sqlite3

START_STEP = 1_000_000
PERIOD_S = 0.02
NS = 1_000_000_000


def write_played(path, start, seconds):
    """`electric` at 50 Hz and `temperature` now and then, as a recording for the replay driver."""
    base = start * START_STEP
    rows = ["time,electric,temperature"]
    slow, due = 0, 0
    for i in range(int(seconds / PERIOD_S)):
        cell = ""
        if i >= due:
            cell = base + slow
            slow += 1
            due = i + 7 + (slow * slow * 31 + start) % 37  # keeps no cadence
        rows.append(f"{i * PERIOD_S:.2f},{base + i},{cell}")
    path.write_text("\n".join(rows) + "\n")


def read_frames(night):
    """{node: {(boot, seq): (start_ns, end_ns, clock known)}} of a night, also while it goes on."""
    db = sqlite3.connect(f"file:{night}?mode=ro", uri=True)
    try:
        frames = {}
        for name, boot, seq, start, end, fit in db.execute(
                "SELECT name, boot.boot, seq, start_ns, end_ns, fit FROM frame"
                " JOIN boot ON boot.id = frame.boot JOIN node ON node.id = boot.node"):
            frames.setdefault(name, {})[boot, seq] = (start, end, fit is not None)
        return frames
    finally:
        db.close()


def read_gaps(night):
    db = sqlite3.connect(f"file:{night}?mode=ro", uri=True)
    try:
        gaps = {}
        for name, start, end, reason in db.execute(
                "SELECT name, start_ns, end_ns, reason FROM gap JOIN node ON node.id = gap.node"):
            gaps.setdefault(name, []).append((start, end, reason))
        return gaps
    finally:
        db.close()


def count_log(night):
    db = sqlite3.connect(f"file:{night}?mode=ro", uri=True)
    try:
        return db.execute("SELECT count(*) FROM log").fetchone()[0]
    finally:
        db.close()


def read_stored(line):
    """(boot, seq) of a `stored` message."""
    told = json.loads(line)
    return told["boot"], int(told["seq"])


def covered(gaps, from_ns, to_ns, slack_ns=2 * int(PERIOD_S * NS)):
    """Whether named gaps cover the stretch, one after the other."""
    at = from_ns + slack_ns
    for start, end, _ in sorted(gaps):
        if start <= at < end:
            at = end
    return at >= to_ns - slack_ns


class Truth:
    """What is known of each node: its starts, and frames that were seen in its spool."""

    def __init__(self):
        self.seen = {}  # node -> {boot: highest seq}

    def saw(self, node, frames):
        boots = self.seen.setdefault(node, {})
        for boot, seq in frames:
            boots[boot] = max(boots.get(boot, 0), seq)

    def missing(self, node, stored):
        """[(boot, seq)] that were on a spool's disk once and are not in the night."""
        highest = dict(self.seen.get(node, {}))
        for boot, seq in stored:
            highest[boot] = max(highest.get(boot, 0), seq)
        return [(boot, seq) for boot, most in highest.items() for seq in range(1, most + 1)
                if (boot, seq) not in stored]


def count_given_up(logs):
    """The most frames that the runs of a node gave up for want of room, by what they said."""
    said = [re.findall("no room: ([0-9]+) frames given up", log) for log in logs]
    return sum(2 * int(numbers[-1]) - 1 for numbers in said if numbers)  # said at each doubling


def check_missing(node, truth, stored, logs):
    """Frames that are not there were given up by a full spool, which said so."""
    missing = truth.missing(node, stored)
    told = count_given_up(logs)
    if len(missing) > told:
        return [f"{node}: {len(missing)} frames are missing, at most {told} were given up: "
                f"{sorted(missing)[:5]}"]
    return []


def read_rows(text):
    """{node: {channel: [(time_ns, value)]}} of a CSV export."""
    rows = {}
    for row in csv.DictReader(io.StringIO(text)):
        whole, _, part = row["time"].partition(".")
        time_ns = int(whole) * NS + int(part.ljust(9, "0"))
        for channel in ("electric", "temperature"):
            if row.get(channel):
                rows.setdefault(row["node"], {}).setdefault(channel, []).append(
                    (time_ns, int(row[channel])))
    return rows


def check_samples(node, channel, rows, gaps, starts):
    """One channel's samples in time order: each once, as played, with every hole named."""
    faults = []
    values = [value for _, value in rows]
    if len(set(values)) != len(values):
        faults.append(f"{node} {channel}: {len(values) - len(set(values))} samples are doubled")
    before = None
    for time_ns, value in rows:
        start, index = divmod(value, START_STEP)
        if start not in starts:
            faults.append(f"{node} {channel}: {value} at {time_ns} was never played")
        if before:
            last_ns, last = before
            if time_ns <= last_ns:
                faults.append(f"{node} {channel}: time stands still at {time_ns}")
            hole = value != last + 1
            named = not hole or covered(gaps, last_ns, time_ns)
            if hole and value < last:
                faults.append(f"{node} {channel}: {value} at {time_ns} after {last}")
            elif not named and (channel == "electric" or value // START_STEP == last // START_STEP):
                faults.append(f"{node} {channel}: from {last} to {value} at {time_ns}, {index} of its "
                              "start, without a named gap")
        before = (time_ns, value)
    return faults


def check_gaps(node, rows, gaps):
    """No gap is told twice, nor where samples are."""
    faults = []
    if len(set(gaps)) != len(gaps):
        faults.append(f"{node}: the same gap twice: {sorted(gaps)}")
    times = [time_ns for time_ns, _ in rows]
    for start, end, reason in gaps:
        inside = (bisect.bisect_left(times, end - 1_000_000) -
                  bisect.bisect_right(times, start + 1_000_000))
        if inside > 0:
            faults.append(f"{node}: {inside} samples within the gap \"{reason}\" of "
                          f"{(end - start) / NS:.3f} s")
    return faults
