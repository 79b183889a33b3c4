"""Two boards, their own firmware in a simulator, on lines of their own: from a pin to a finding,
with lost and damaged bytes and an unplugged line on the way. Run by hand, on a quiet machine: a
simulated board that can't keep up with the clock is a board whose clock stands still.

ROOMWAKE_BUILD=build tests/bench/bench_board.py"""
import array
import csv
import io
import os
import pathlib
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "system"))
import support
from live import House
from support import BUILD, ROOMWAKE

CHANNELS = [{"name": "electric", "unit": "count", "rate_hz": 1000},
            {"name": "electric-high", "unit": "count", "rate_hz": 0},
            {"name": "electric-low", "unit": "count", "rate_hz": 0},
            {"name": "gain", "unit": "/", "rate_hz": 0},
            {"name": "battery", "unit": "V", "rate_hz": 0},
            {"name": "temperature", "unit": "Cel", "rate_hz": 0},
            support.MOTION] + [{"name": f"magnetic.{a}", "unit": "T", "rate_hz": 76.923}
                               for a in "xyz"]
LIVE = BUILD / "tests" / "board_live"
HOLE_NS = 15_000_000


class Board:
    def __init__(self, case, name, chip, rate_ppm):
        self.link = case.folder / f"line-{name}"
        self.truth = case.folder / f"truth-{name}"
        self.log = open(case.folder / f"board-{name}.log", "wb")
        self.process = subprocess.Popen(
            [LIVE, BUILD / f"roomwake-board-{chip}.elf", chip, self.link, self.truth,
             str(rate_ppm)], stdin=subprocess.PIPE, text=True, stdout=self.log, stderr=self.log)
        support.wait_for("the line", lambda: self.link.is_symlink())

    def say(self, command):
        self.process.stdin.write(command + "\n")
        self.process.stdin.flush()

    def end(self):
        self.say("end")
        self.process.wait(30)
        self.process.stdin.close()
        self.log.close()
        print(pathlib.Path(self.log.name).read_text().splitlines()[-1], file=sys.stderr)

    def samples(self):
        return [tuple(map(int, line.split())) for line in self.truth.read_text().splitlines()]


def raw_ns():
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW)


class BoardTest(support.Case):
    def start_board(self, house, name, chip, rate_ppm):
        board = Board(self, name, chip, rate_ppm)
        self.addCleanup(lambda: board.process.poll() is None and board.process.kill())
        config = house.node_config(name, {"driver": "serial", "path": str(board.link),
                                          "magnetometer": "1e", "thermometer": True})
        house.nodes[name] = self.start(name, support.NODE, "--config", config)
        return board

    def test_from_the_pin_to_the_finding(self):
        site = support.site(rooms=("hall", "passage"), channels=CHANNELS, baseline_s=10,
                            site="lodge")
        house = House(self, site)
        station = house.start_station()
        boards = {"n1": self.start_board(house, "n1", "atmega328p", 5000),
                  "n2": self.start_board(house, "n2", "atmega32u4", -5000)}
        for node in boards:
            station.wait_output(rf"watching +{node} .*quiet spell is over", 60)
        time.sleep(2.0)  # samples after the quiet spell, so that the pulse is not at its very edge
        pulse_ns = raw_ns() + 1_000_000_000
        for board in boards.values():
            board.say(f"pulse {pulse_ns} 300")
        station.wait_output(r"(ALERT|finding) +.*Hall.*Passage|(ALERT|finding) +.*Passage.*Hall", 30)
        boards["n1"].say("edge 1")
        boards["n1"].say("drop 200")
        time.sleep(1.0)
        boards["n1"].say("flip 3")
        time.sleep(1.0)
        boards["n1"].say("unplug")
        time.sleep(1.5)
        boards["n1"].say("plug")
        time.sleep(4.0)
        house.stop_nodes()
        for board in boards.values():
            board.end()
        house.stop_station()
        found = self.findings(house.night)
        self.check_gaps(found, station)
        rows = self.samples_of(house)
        for name, board in boards.items():
            self.check_samples(name, rows[name], board.samples())
        self.check_pulse(found)

    def samples_of(self, house):
        text = self.run(ROOMWAKE, "export", str(house.night), "--format", "csv", check=0).stdout
        rows = {"n1": [], "n2": []}
        for row in csv.DictReader(io.StringIO(text)):
            if row.get("electric"):
                whole, _, rest = row["time"].partition(".")
                rows[row["node"]].append((int(whole) * 10**9 + int(rest.ljust(9, "0")[:9] or 0),
                                          int(row["electric"])))
        return rows

    def check_samples(self, name, got, truth):
        """Between two holes every sample is there and has its true value, one after the other."""
        self.assertGreater(len(got), 10000)
        values = array.array("H", [v for _, v in truth]).tobytes()
        off_ms, place, begin = [], 0, 0
        offset = None
        for at in range(1, len(got) + 1):
            if at < len(got) and got[at][0] - got[at - 1][0] < HOLE_NS:
                continue
            run = array.array("H", [v for _, v in got[begin:at]]).tobytes()
            place = self.find(values, run, place)
            self.assertGreaterEqual(place, 0, f"{name}: {at - begin} samples from {begin} on are "
                                    "not what the pin was given")
            for i in range(begin, at):
                apart = got[i][0] - truth[place + i - begin][0]
                offset = apart if offset is None else offset
                off_ms.append((apart - offset) / 1e6)
            place += at - begin
            begin = at
        settled = sorted(off_ms[len(off_ms) // 3:])
        middle = settled[len(settled) // 2]
        print(f"{name}: {len(got)} samples, each its true value; times spread by "
              f"{middle - settled[0]:.2f} and {settled[-1] - middle:.2f} ms around their median",
              file=sys.stderr)

    @staticmethod
    def find(values, run, after):
        at = values.find(run, 2 * after)
        while at % 2 and at > 0:  # bytes of two samples that look like one
            at = values.find(run, at + 1)
        return at if at < 0 else at // 2

    def check_gaps(self, found, station):
        node = next(n for n in found["nodes"] if n["id"] == "n1")
        reasons = [g["reason"] for g in node["gaps"]]
        self.assertTrue(any("line:" in r and "lost" in r for r in reasons), reasons)
        self.assertTrue(any("damaged" in r for r in reasons), reasons)
        self.assertTrue(any("unplugged" in r or "silent" in r or "No such file" in r
                            for r in reasons), reasons)
        other = next(n for n in found["nodes"] if n["id"] == "n2")
        self.assertFalse([g for g in other["gaps"] if "lost" in g["reason"]], other["gaps"])

    def check_pulse(self, found):
        both = [c for c in found["coincidences"]
                if sorted(e["node"] for e in c["order"]) == ["n1", "n2"]]
        self.assertTrue(both, found["coincidences"])


if __name__ == "__main__":
    if not os.access(LIVE, os.X_OK):
        print("no simulated board was built: skipped")
        sys.exit(0)
    support.main()
