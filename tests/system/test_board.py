"""The firmware's own image in a simulator, from its pins to a finding in the night: every sample
equal to what the pin was given, what a bad line loses named, an unplugged board back in the night.
"""
import os
import sys

import numpy

import boards
import support
from boards import Boards
from live import House

MS = 10**6
SECOND = 10**9
RESONATORS_PPM = (5000, -5000)  # what a ceramic one may be off: common practice, no source


class BoardHouse(support.Case):
    """Two boards, two nodes, a base station; also of tests/bench/bench_board.py."""

    def start_house(self, hurry, **more):
        site = support.site(rooms=("hall", "passage"), channels=boards.CHANNELS, baseline_s=8,
                            site="lodge")
        self.boards = Boards(self, RESONATORS_PPM, hurry)
        self.env.update(self.boards.environment())
        self.house = House(self, site)
        self.station = self.house.start_station()
        for i, name in enumerate(self.boards.names):
            self.boards.start_node(self.house, name, offset_s=2.5 * i, **more)
        for name in self.boards.names:
            self.station.wait_output(rf"watching +{name} .*quiet spell is over", 300)
        self.boards.wait_seconds(2)

    def end_house(self):
        self.boards.wait_seconds(2)
        self.house.stop_nodes()
        self.house.stop_station()
        self.boards.end()
        self.found = self.findings(self.house.night)
        self.rows = boards.samples_of(self.house.night, self.boards.names)

    def gaps(self, name):
        node = next(n for n in self.found["nodes"] if n["id"] == name)
        return [(boards.parse_ns(g["start"]), boards.parse_ns(g["end"]), g["reason"])
                for g in node["gaps"]]

    def align(self, name):
        """Every sample has its true value; every hole lies in a gap with a name. Returns the holes
        as (start, end, reasons) in true time, and how far each sample's time is off its true one."""
        times, counts = self.rows[name]
        true_times, true_counts = self.boards.truth(name)
        where, holes = boards.align(name, counts, true_counts)
        off_ms = (times - true_times[where]) / MS
        tail = off_ms[true_times[where] > true_times[where[-1]] - SECOND]
        print(f"{name}: {len(counts)} samples, each its true value, {len(holes)} holes; off the true "
              f"time by {numpy.min(off_ms):.2f} to {numpy.max(off_ms):.2f} ms, in the last second by "
              f"{numpy.min(tail):.3f} to {numpy.max(tail):.3f} ms", file=sys.stderr)
        named = []
        for before, after in holes:
            start, end = int(true_times[before]), int(true_times[after])
            reasons = [r for s, e, r in self.gaps(name) if s < end + 60 * MS and e > start - 60 * MS]
            self.assertTrue(reasons, f"{name}: {(end - start) / MS} ms without a name; "
                            f"gaps: {self.gaps(name)}")
            named.append((start, end, reasons))
        return named, off_ms, true_times[where]


class BoardTest(BoardHouse):
    def test_from_the_pins_to_a_finding_over_a_bad_line(self):
        # The simulated supply, 5 V, is under what this battery calls empty.
        self.start_house(hurry=3, state_every_s=1, battery_empty_v=5.5)
        self.station.wait_output(r"n1.*battery low: less than two hours left", 60)
        say = self.boards.say
        pulse = [say(name, "pulse 1000 300") + SECOND for name in self.boards.names]
        self.boards.wait_seconds(4)
        edge = say("n1", "edge 1")
        spikes = [say("n2", "spike 1"), say("n2", "spike 0")]
        silent = say("n2", "magnetometer 0")
        self.station.wait_output(r"n2.*the magnetometer does not answer", 120)
        say("n2", "magnetometer 1")
        dropped = say("n1", "drop 200")
        self.boards.wait_seconds(1)
        flipped = say("n1", "flip 3")
        self.boards.wait_seconds(1)
        unplugged = say("n1", "unplug")
        self.boards.wait_seconds(2)
        plugged = say("n1", "plug")
        self.boards.wait_seconds(3)
        self.end_house()
        holes, _, _ = self.align("n1")
        self.check_hole(holes, dropped, 300 * MS, "line: ")
        self.check_hole(holes, flipped, 100 * MS, "damaged")
        self.check_hole(holes, unplugged, plugged - unplugged + 200 * MS, "unplugged|No such file")
        self.assertEqual(len(holes), 3, holes)
        other, _, _ = self.align("n2")
        self.assertEqual(other, [])
        self.assertTrue([g for g in self.gaps("n2") if g[2] == "magnetic.x: the magnetometer does "
                         "not answer" and abs(g[0] - silent) < 100 * MS], self.gaps("n2"))
        self.check_pulse(pulse)
        self.check_edge(edge)
        self.check_spikes(spikes)

    def check_hole(self, holes, since, length, reason):
        """One hole began here, is no longer than this, and tells why."""
        near = [h for h in holes if since - 200 * MS < h[0] < since + 200 * MS]
        self.assertEqual(len(near), 1, (since, holes))
        self.assertLessEqual(near[0][1] - near[0][0], length, near)
        self.assertRegex(" ".join(near[0][2]), reason)

    def check_pulse(self, pulse):
        near = [c for c in self.found["coincidences"]
                if sorted(e["node"] for e in c["order"]) == ["n1", "n2"]
                and abs(boards.parse_ns(c["start"]) - pulse[0]) < 50 * MS]
        self.assertTrue(near, (pulse, self.found["coincidences"]))

    def check_edge(self, edge):
        times, counts = boards.samples_of(self.house.night, ["n1"], "motion")["n1"]
        near = [int(t) for t, c in zip(times, counts) if c == 1 and abs(int(t) - edge) < SECOND]
        self.assertEqual(len(near), 1, (edge, times, counts))
        self.assertLess(abs(near[0] - edge), 20 * MS)

    def check_spikes(self, spikes):
        """One of a sample is in the samples; one between two samples is in the frame's extreme."""
        times, counts = self.rows["n2"]
        after = (times > spikes[0] - 50 * MS) & (times < spikes[0] + 50 * MS)
        usual = int(numpy.median(counts[after]))
        self.assertEqual(int(numpy.sum(counts[after] > usual + 150)), 1)
        high_times, highs = boards.samples_of(self.house.night, ["n2"], "electric-high")["n2"]
        for spike in spikes:
            near = highs[(high_times > spike - 50 * MS) & (high_times < spike + 50 * MS)]
            self.assertGreater(int(numpy.max(near)), usual + 150)


if __name__ == "__main__":
    if not os.access(boards.LIVE, os.X_OK):
        print("no simulated board was built: skipped")
        sys.exit(0)
    support.main()
