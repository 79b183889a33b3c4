"""Simulated boards for tests and benchmarks: the firmware's own image behind a pseudo-terminal, a
clock that it shares with the programs, and the night held against what the pins were given.

Must never take a sample that differs, nor a hole without a name, for good. Used by test_board.py
and tests/bench/bench_board.py.
"""
import calendar
import csv
import io
import json
import re
import subprocess
import sys
import time

import numpy

import support
from support import BUILD, NODE, ROOMWAKE

LIVE = BUILD / "tests" / "board_live"
CHIPS = ("atmega328p", "atmega32u4")
CHANNELS = [{"name": "electric", "unit": "count", "rate_hz": 1000},
            {"name": "electric-high", "unit": "count", "rate_hz": 0},
            {"name": "electric-low", "unit": "count", "rate_hz": 0},
            {"name": "gain", "unit": "/", "rate_hz": 0},
            {"name": "battery", "unit": "V", "rate_hz": 0},
            {"name": "temperature", "unit": "Cel", "rate_hz": 0},
            support.MOTION] + [{"name": f"magnetic.{a}", "unit": "T", "rate_hz": 76.923}
                               for a in "xyz"]


class Boards:
    """Boards n1, n2 ...; their resonators are off by rates_ppm. Ended by end()."""

    def __init__(self, case, rates_ppm, hurry):
        self.case = case
        self.page = case.folder / "clock"
        self.names = [f"n{i + 1}" for i in range(len(rates_ppm))]
        self.links = {n: case.folder / f"line-{n}" for n in self.names}
        self.log_path = case.folder / "boards.log"
        self.log = open(self.log_path, "wb")
        arguments = [LIVE, self.page, str(hurry)]
        for i, name in enumerate(self.names):
            chip = CHIPS[i % len(CHIPS)]
            arguments += [BUILD / f"roomwake-board-{chip}.elf", chip, self.links[name],
                          case.folder / f"samples-{name}", str(rates_ppm[i])]
        self.process = subprocess.Popen(arguments, stdin=subprocess.PIPE, text=True,
                                        stdout=self.log, stderr=self.log)
        case.addCleanup(lambda: self.process.poll() is None and self.process.kill())
        self.told = 0
        case.addCleanup(self.process.stdin.close)
        case.addCleanup(self.log.close)
        support.wait_for("the boards to run", lambda: self.second() >= 1, 60)

    def output(self):
        return self.log_path.read_text()

    def second(self):
        if self.process.poll() is not None:
            raise AssertionError(f"the boards ended: {self.output()[-2000:]}")
        found = re.findall(r"^second (\d+)$", self.output(), re.M)
        return int(found[-1]) if found else 0

    def wait_seconds(self, seconds, deadline_s=600):
        """Until so many simulated seconds have gone by from now."""
        end = self.second() + seconds
        support.wait_for(f"second {end}", lambda: self.second() >= end, deadline_s, 0.05)

    def say(self, name, words):
        """Returns when it was done, in ns of the true time that the night should have."""
        self.process.stdin.write(f"{self.names.index(name)} {words}\n")
        self.process.stdin.flush()
        self.told += 1

        def done():
            did = re.findall(r"^did (\d+) ", self.output(), re.M)
            return int(did[-1]) if len(did) == self.told else None
        return support.wait_for(words, done, 60)

    def environment(self, offset_s=0.0):
        return {"ROOMWAKE_CLOCK": f"page={self.page},offset_s={offset_s}"}

    def start_node(self, house, name, offset_s, **more):
        path = house.node_config(name, {"driver": "serial", "path": str(self.links[name]),
                                        "magnetometer": "1e", "thermometer": True})
        config = self.case.write(path.name, {**json.loads(path.read_text()), **more})
        house.nodes[name] = self.case.start(name, NODE, "--config", config,
                                            env=self.environment(offset_s))

    def end(self):
        self.process.stdin.write("end\n")
        self.process.stdin.close()
        code = self.process.wait(60)
        self.log.close()
        lines = [line for line in self.output().splitlines()
                 if not line.startswith(("did", "second", "Loaded"))]
        print("\n".join(lines), file=sys.stderr)
        self.case.assertEqual(code, 0, "a board said what its pins were not given")

    def truth(self, name):
        """(times in ns, counts) of every sample that the antenna's pin was given."""
        rows = numpy.loadtxt(self.case.folder / f"samples-{name}", dtype=numpy.int64, ndmin=2)
        return rows[:, 0], rows[:, 1]


def samples_of(night, names, channel="electric"):
    """{node: (times in ns, counts)} of a channel, by the CSV export."""
    times, counts = {n: [] for n in names}, {n: [] for n in names}
    text = support.run(ROOMWAKE, "export", night, "--format", "csv", "--channel", channel,
                       check=0, timeout=600).stdout
    for row in csv.DictReader(io.StringIO(text)):
        if row.get(channel) and row["node"] in times:
            whole, _, rest = row["time"].partition(".")
            times[row["node"]].append(int(whole) * 10**9 + int((rest + "0" * 9)[:9]))
            counts[row["node"]].append(int(row[channel]))
    return {n: (numpy.array(times[n], numpy.int64), numpy.array(counts[n], numpy.int64))
            for n in names}


PATTERN = 24


def find(counts, pattern, after):
    """Where `pattern` stands in `counts`, first at or after `after`; -1: nowhere."""
    size = len(pattern)
    for begin in range(after, len(counts) - size + 1, 100000):
        part = counts[begin:begin + 100000 + size]
        places = numpy.flatnonzero(part[:len(part) - size + 1] == pattern[0])
        for place in places:
            if numpy.array_equal(part[place:place + size], pattern):
                return begin + int(place)
    return -1


def align(name, got, truth):
    """Walks both: returns the truth's index of every sample of the night and the holes, as (index of
    the last sample before, of the first after). Raises where a sample is not what the pin was
    given."""
    where = numpy.empty(len(got), numpy.int64)
    holes = []
    at = 0
    place = find(truth, got[:PATTERN], 0)
    while at < len(got):
        if place < 0:
            raise AssertionError(f"{name}: samples {at} to {at + PATTERN} of {len(got)} are not what "
                                 f"the pin was given: {got[at:at + PATTERN]}")
        length = min(len(got) - at, len(truth) - place)
        apart = numpy.flatnonzero(got[at:at + length] != truth[place:place + length])
        same = int(apart[0]) if len(apart) else length
        where[at:at + same] = numpy.arange(place, place + same)
        at += same
        place += same
        if at < len(got):
            again = find(truth, got[at:at + PATTERN], place)
            holes.append((place - 1, again))
            place = again
    return where, holes


def parse_ns(text):
    """RFC 3339 UTC -> ns since 1970, to the last digit."""
    whole, _, rest = text.rstrip("Z").partition(".")
    seconds = calendar.timegm(time.strptime(whole, "%Y-%m-%dT%H:%M:%S"))
    return seconds * 10**9 + int((rest + "0" * 9)[:9])
