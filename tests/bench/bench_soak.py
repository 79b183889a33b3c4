#!/usr/bin/python3
"""A long night in a short time: 12 enrolled nodes, each 20 times as fast as 50 samples a second, with
links cut and swallowed, nodes stalled and the broker killed; at the end every sample is accounted for.
usage: bench_soak.py [MINUTES], 24 where not told (the samples of 8 h). Prints a line a minute:
memory, descriptors and how long the base station takes to answer a time request, so that the machine's
own load is in it; at the end what the base station says of its loop itself (its line "pace": turns of
the loop, weighed by time). Must never be part of the tests: it takes as long as it is told.
"""
import contextlib
import pathlib
import random
import re
import socket
import sqlite3
import statistics
import struct
import sys
import time
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "system"))

import faults  # noqa: E402  its folder is known only now
import support  # noqa: E402
from support import NODE, ROOMWAKE  # noqa: E402

MINUTES = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
NODES = [f"n{i + 1}" for i in range(12)]
RATE_HZ = 1000
CHANNELS = [{"name": f"magnetic.{axis}", "unit": "T", "rate_hz": RATE_HZ} for axis in "xyz"]
COLUMNS = [c["name"] for c in CHANNELS]
ROWS = int(MINUTES * 60 * RATE_HZ)
STEP = 1e-8


def play(path, seed):
    """Noise of some counts with a pulse now and then; returns each column's sum of counts."""
    draw = random.Random(seed)
    noise = [[int(draw.gauss(0, 4)) for _ in range(4099)] for _ in COLUMNS]
    sums = [0] * len(COLUMNS)
    with open(path, "w") as file:
        file.write("time," + ",".join(COLUMNS) + "\n")
        for i in range(ROWS):
            pulse = 300 if i % 97013 < 400 else 0
            counts = [2000 + n[(i * (k + 3)) % 4099] + pulse for k, n in enumerate(noise)]
            sums = [s + c for s, c in zip(sums, counts)]
            file.write(f"{i / RATE_HZ:.3f}," + ",".join(f"{c}e-8" for c in counts) + "\n")
    return sums


class Soak(support.Case):
    def station_pid(self):
        return self.base.process.pid

    def resident_kib(self):
        for line in pathlib.Path(f"/proc/{self.station_pid()}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1])
        raise AssertionError("the base station is gone")

    def descriptors(self):
        return len(list(pathlib.Path(f"/proc/{self.station_pid()}/fd").iterdir()))

    def lag_s(self):
        """From asking for the time to the answer (RFC 5905 client request, version 4)."""
        self.asked += 1
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
            asker.bind((f"127.0.{self.asked // 200 % 200}.{self.asked % 200 + 2}", 0))
            asker.settimeout(2)
            began = time.monotonic()
            asker.sendto(b"\x23" + bytes(39) + struct.pack("!Q", random.getrandbits(64)),
                         ("127.0.0.1", self.time_port))
            try:
                asker.recv(100)
            except TimeoutError:
                return 2.0
            return time.monotonic() - began

    def start_all(self):
        self.asked = 0
        port = support.free_port()
        self.time_port = support.free_port(socket.SOCK_DGRAM)
        site = support.site(rooms=tuple(f"room{i + 1}" for i in range(12)), channels=CHANNELS,
                            baseline_s=30)
        self.site = site
        path = self.write("site.json", site)
        self.links = faults.Links(port)
        self.addCleanup(self.links.close)
        self.sums = {}
        for seed, node in enumerate(NODES):
            self.sums[node] = play(self.folder / f"{node}.csv", seed)
            drivers = self.write("drivers.json", [{"driver": "replay", "speed": "real",
                                                   "path": str(self.folder / f"{node}.csv")}])
            self.run(ROOMWAKE, "enrol", "--site", str(path), "--broker",
                     f"mqtts://127.0.0.1:{self.links.add(node)}", "--time",
                     f"127.0.0.1:{self.time_port}", "--drivers", str(drivers), "--out",
                     str(self.folder / f"{node}.json"), node, check=0)
        self.night = self.folder / "night.sqlite"
        self.base = self.start("base", ROOMWAKE, "record", "--site", path, "--night", self.night,
                               "--listen", f"127.0.0.1:{port}", "--enrolled-only", "--time",
                               f"127.0.0.1:{self.time_port}")
        self.base.wait_output(r"broker +there")
        self.nodes = {n: self.start(n, NODE, "--config", self.folder / f"{n}.json") for n in NODES}

    def kill_broker(self):
        """The base station's own child, and nothing else."""
        children = pathlib.Path(f"/proc/{self.station_pid()}/task/{self.station_pid()}/children")
        for pid in children.read_text().split():
            if pathlib.Path(f"/proc/{pid}/comm").read_text().strip() == "mosquitto":
                support.os.kill(int(pid), support.signal.SIGKILL)

    def one_fault(self, draw):
        node = draw.choice(NODES)
        kind = draw.choice(["cut", "swallow", "stall", "cut", "swallow", "stall", "broker"])
        self.counts[kind] = self.counts.get(kind, 0) + 1
        if kind == "broker":
            self.kill_broker()
            return lambda: None
        if kind == "stall":
            faults.stall(self.nodes[node])
            return lambda: faults.go_on(self.nodes[node])
        getattr(self.links, kind)(node)
        return lambda: self.links.mend(node)

    def watch(self, seconds):
        draw, mend, due = random.Random(2026), None, time.monotonic() + 30
        minute, lags, all_lags, memory = time.monotonic(), [], [], []
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            lags.append(self.lag_s())
            now = time.monotonic()
            if now > due and mend:
                mend()
                mend, due = None, now + draw.expovariate(1 / 8)
            elif now > due:
                mend, due = self.one_fault(draw), now + min(draw.expovariate(1 / 5), 20)
            if now - minute >= 60:
                memory.append((self.resident_kib(), self.descriptors()))
                print(f"{memory[-1][0] / 1024:.1f} MiB, {memory[-1][1]} descriptors, answers' median "
                      f"{statistics.median(lags) * 1e3:.2f} ms, largest {max(lags) * 1e3:.1f} ms",
                      flush=True)
                minute, all_lags, lags = now, all_lags + lags, []
            time.sleep(0.05)
        if mend:
            mend()
        return memory, sorted(all_lags + lags)

    def test_everything_is_accounted_for_and_nothing_grows(self):
        self.counts = {}
        self.start_all()
        memory, lags = self.watch(MINUTES * 60)
        for node in NODES:
            faults.go_on(self.nodes[node])
        support.wait_for("all samples to be stored", self.all_stored, 240, 2)
        for node in NODES:
            self.assertEqual(self.nodes[node].stop(60), 0)
        self.assertEqual(self.base.stop(180), 0, self.base.output()[-3000:])
        print(f"faults {self.counts}; answers to {len(lags)} time requests: 99.9 % within "
              f"{lags[int(len(lags) * 0.999)] * 1e3:.1f} ms, largest {lags[-1] * 1e3:.1f} ms")
        print(re.search(r" pace .*", self.base.output())[0].strip())
        print(self.base.output().splitlines()[-1])
        self.run(ROOMWAKE, "verify", str(self.night), check=0, timeout=600)
        self.compare()
        third = max(len(memory) // 3, 1)
        first = [m for m, _ in memory[third:2 * third]]
        last = [m for m, _ in memory[-third:]]
        print(f"memory, middle third {statistics.median(first) / 1024:.1f} MiB, last "
              f"{statistics.median(last) / 1024:.1f} MiB; descriptors "
              f"{memory[0][1]} to {memory[-1][1]}")
        self.assertLess(statistics.median(last), 1.1 * statistics.median(first))
        self.assertLessEqual(memory[-1][1], max(d for _, d in memory[:3]) + 2)

    def all_stored(self):
        """By the frames' own word, whichever table their samples are in by now."""
        try:
            with contextlib.closing(sqlite3.connect(f"file:{self.night}?mode=ro", uri=True)) as night:
                done = dict(night.execute(
                    "SELECT boot.node, sum(samples) FROM frame JOIN boot ON boot.id = frame.boot "
                    "GROUP BY boot.node"))
        except sqlite3.Error:
            return False
        return len(done) == len(NODES) and min(done.values()) >= ROWS * len(COLUMNS)

    def compare(self):
        """Number and sum of what was stored against what was played, exactly."""
        with contextlib.closing(sqlite3.connect(f"file:{self.night}?mode=ro", uri=True)) as night:
            found = {(node, channel): (n, total) for node, channel, n, total in night.execute(
                "SELECT node.name, channel.name, sum(n), sum(sum) FROM block JOIN channel ON "
                "channel.id = block.channel JOIN boot ON boot.id = channel.boot JOIN node ON "
                "node.id = boot.node GROUP BY node.name, channel.name")}
            gaps = night.execute("SELECT count(*) FROM gap").fetchone()[0]
        total = 0
        for node in NODES:
            for column, played in zip(COLUMNS, self.sums[node]):
                n, stored = found[(node, column)]
                self.assertEqual((n, stored), (ROWS, played), (node, column))
                total += n
        print(f"{total} samples, number and sum of each channel as played; {gaps} named gaps")


if __name__ == "__main__":
    unittest.main(argv=[sys.argv[0]], verbosity=2)
