#!/usr/bin/python3
"""A house that node/world did not make: numpy alone, written apart from it, so that both can't share one
mistake. Noise of three kinds of sensor (white, heavy-tailed, with 1/f), mains that wanders, with a third
harmonic and loads that bring their own, drift, false motion; pulses, steps, swells, walks, a carried magnet, a
telephone, a stuck sensor. It is imported as CSV; what was found stands beside what was played.
usage: bench_elsewhere.py [FIRST [HOUSES [HOURS [quiet]]]]: seeds FIRST, FIRST + 1 ...; 1, 3 and 1.5 where not told.
Must never be part of the tests: it asserts nothing.
"""
import collections
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "system"))
from support import ROOMWAKE  # noqa: E402  its folder is known only now

START_S = 1_800_000_000
BASELINE_S = 300
RATES_HZ = (100, 80, 128)
ROOMS = {"porch": (0, 0, 3, 3), "corridor": (3, 0, 12, 2), "study": (3, 2, 7, 6),
         "scullery": (7, 2, 12, 6), "dairy": (12, 0, 16, 5), "stair": (0, 3, 3, 6),
         "archive": (16, 0, 19, 4)}
CONTROL = "archive"
DOORS = {("porch", "corridor"): (3, 1), ("corridor", "study"): (5, 2),
         ("corridor", "scullery"): (9, 2), ("corridor", "dairy"): (12, 1),
         ("porch", "stair"): (1.5, 3), ("dairy", "archive"): (16, 2)}
WALKS = (("stair", "porch", "corridor", "study"), ("porch", "corridor", "dairy"),
         ("scullery", "corridor", "porch", "stair"))
# resolution and noise in nT, part of it 1/f, whether its tails are heavy
SENSORS = {"porch": (15, 30, 0.15, False), "corridor": (15, 25, 0.15, False),
           "study": (2, 4, 0.05, False), "scullery": (2, 5, 0.05, False),
           "dairy": (10, 15, 0.05, True), "stair": (15, 35, 0.15, False),
           "archive": (2, 4, 0.05, False)}
THIRD = 0.2  # harmonic, of the mains
SPAN_S = {"walk": 45, "fault": 45, "magnet": 45, "swell": 12}  # in which a play's findings begin; else 6


class House:
    """Its rooms' positions and the samples of a night, in nT and counts."""

    def __init__(self, seed, hours):
        self.draw = np.random.default_rng(seed)
        self.rate_hz = RATES_HZ[seed % 3]
        self.seconds = int(hours * 3600)
        self.time_s = np.arange(self.seconds * self.rate_hz) / self.rate_hz
        self.plays = []
        self.place_m = {room: np.array([*(self.draw.uniform(.25, .75, 2) * (x1 - x0, y1 - y0)
                                          + (x0, y0)), self.draw.uniform(.8, 1.3)])
                        for room, (x0, y0, x1, y1) in ROOMS.items()}
        self.load, self.inrush = self.loads()
        wander = np.interp(self.time_s, np.linspace(0, self.seconds, 50), self.draw.normal(size=50))
        self.phase = 2 * np.pi * np.cumsum(50 + 0.02 * wander) / self.rate_hz
        self.field = {room: self.quiet_field(*SENSORS[room]) for room in ROOMS}
        self.antenna = {room: 2048 + 6 * self.draw.normal(size=self.time_s.size) + 20 * self.load
                        * np.sin(self.phase + self.draw.uniform(0, 6)) for room in ROOMS}
        self.air = {room: 14 + self.draw.normal() + 0.02 * self.draw.normal(size=self.seconds)
                    + 0.3 * np.sin(np.arange(self.seconds) / 3000 + self.draw.uniform(0, 6))
                    for room in ROOMS}
        self.moved = {room: [(0.0, 0)] for room in ROOMS}
        for room in ROOMS:
            for at in self.draw.uniform(0, self.seconds, self.draw.poisson(0.7 * hours)):
                self.move(room, at, 2.0)

    def slots(self, begin_s, end_s):
        begin, end = (int(max(s, 0) * self.rate_hz) for s in (begin_s, end_s))
        return slice(begin, min(end, self.time_s.size))

    def loads(self):
        """A compressor that cycles: the current it takes, and a rush of it at each start."""
        load, inrush = np.ones(self.time_s.size), np.zeros(self.time_s.size)
        at = self.draw.uniform(100, 700)
        while at < self.seconds - 60:
            length = self.draw.uniform(240, 500)
            load[self.slots(at, at + length)] += 0.8
            rush = self.slots(at, at + 0.25)
            inrush[rush] += 4 * np.exp(-(self.time_s[rush] - at) / 0.06)
            self.plays += [(s, "load") for s in (at, at + length)
                           if BASELINE_S < s < self.seconds - 1]
            at += length + self.draw.uniform(500, 1000)
        return load, inrush

    def pink(self):
        hz = np.fft.rfftfreq(self.time_s.size, 1 / self.rate_hz)
        hz[0] = hz[1]
        lines = (self.draw.normal(size=hz.size) + 1j * self.draw.normal(size=hz.size)) / np.sqrt(hz)
        noise = np.fft.irfft(lines, self.time_s.size)
        return noise / noise.std()

    def quiet_field(self, step, sd, pink, heavy):
        n = self.time_s.size
        axis = self.draw.normal(size=3)
        hum = 10 ** self.draw.uniform(0.7, 2.0) * (self.load + self.inrush) * (
            np.sin(self.phase + self.draw.uniform(0, 6)) + THIRD * np.sin(3 * self.phase + 1))
        field = np.outer(hum, axis / np.linalg.norm(axis))
        for a in range(3):
            white = self.draw.standard_t(5, n) / np.sqrt(5 / 3) if heavy else self.draw.normal(size=n)
            field[:, a] += sd * (white + pink * self.pink())
            field[:, a] += 60 * self.draw.uniform(.3, 1) * np.sin(
                2 * np.pi * self.time_s / 5400 + self.draw.uniform(0, 6))
        return field + (18000, 1000, 43000) + self.draw.normal(size=3) * 1000

    def move(self, room, at, for_s):
        self.moved[room] += [(at, 1), (at + for_s, 0)]

    def dipole(self, moment, from_m, room):
        """nT of a moment in A m2 at one place or a row of places; Jackson, Classical Electrodynamics,
        3rd ed. 1999, eq. 5.56."""
        away = self.place_m[room] - from_m
        far = np.maximum(np.linalg.norm(away, axis=-1, keepdims=True), .3)
        unit = away / far
        along = (unit * moment).sum(-1, keepdims=True)
        return 100 * (3 * unit * along - moment) / far ** 3

    def play_source(self, at, shape):
        """At one place; `shape` of the seconds since."""
        place = np.array([self.draw.uniform(2, 14), self.draw.uniform(0, 5), self.draw.uniform(.5, 2)])
        moment = self.draw.normal(size=3)
        moment *= 10 ** self.draw.uniform(0.7, 1.6) / np.linalg.norm(moment)
        part = self.slots(at - 3, at + 30)
        height = shape(self.time_s[part] - at)
        for room in ROOMS:
            self.field[room][part] += np.outer(height, self.dipole(moment, place, room))

    def play_pulse(self, at):
        width = self.draw.uniform(.1, .6)
        self.play_source(at, lambda s: np.maximum(s, 0) / width * np.exp(1 - np.maximum(s, 0) / width))
        return "pulse"

    def play_swell(self, at):
        self.play_source(at, lambda s: np.exp(-((s - 4) / 2) ** 2))
        return "swell"

    def play_step(self, at):
        self.play_source(at, lambda s: np.clip(s / .05, 0, 1) * np.clip((20 - s) / .05, 0, 1))
        return "step"

    def play_walk(self, at):
        rooms = WALKS[self.draw.integers(len(WALKS))]
        speed, before = self.draw.uniform(.7, 1.3), None
        for room in rooms:
            if before:
                door = np.array(DOORS.get((before, room)) or DOORS[(room, before)])
                at += sum(np.linalg.norm(door - self.place_m[r][:2]) for r in (before, room)) / speed
            self.move(room, at + self.draw.uniform(0, .3), 3.0)
            before = room
        return "walk " + ">".join(rooms)

    def play_magnet(self, at):
        """Carried along the corridor, turning."""
        strength, speed, spin = (self.draw.uniform(*r) for r in ((.3, 1), (.8, 1.2), (1, 3)))
        part = self.slots(at, at + 9 / speed)
        s = self.time_s[part] - at
        places = np.outer(s * speed, (1, 0, 0)) + (3.2, 1.0, 1.0)
        moments = strength * np.stack([np.cos(spin * s), np.sin(spin * s), np.full(s.size, .3)], 1)
        for room in ROOMS:
            self.field[room][part] += self.dipole(moments, places, room)
        return "magnet"

    def play_phone(self, at):
        """Bursts at the antennas for four seconds."""
        near = list(ROOMS)[self.draw.integers(6)]
        part = self.slots(at, at + 4)
        for room in ROOMS:
            far_m = np.linalg.norm(self.place_m[room] - self.place_m[near]) + .7
            on = (self.draw.random(part.stop - part.start) < .35) & (
                np.sin(6 * self.time_s[part]) > -.3)
            self.antenna[room][part] += 600 / far_m ** 1.5 * on
        return "phone"

    def play_fault(self, at):
        room = list(ROOMS)[self.draw.integers(6)]
        part = self.slots(at, at + 25)
        self.field[room][part] = self.field[room][part.start]
        return "fault " + room

    def play_all(self):
        order = (self.play_pulse, self.play_walk, self.play_pulse, self.play_swell, self.play_magnet,
                 self.play_phone, self.play_walk, self.play_step, self.play_fault)
        at, i = BASELINE_S + 120, 0
        while at < self.seconds - 120:
            self.plays.append((at, order[i % len(order)](at)))
            at, i = at + self.draw.uniform(150, 260), i + 1

    def site(self):
        channels = [{"name": f"magnetic.{a}", "unit": "T", "rate_hz": self.rate_hz} for a in "xyz"] + [
            {"name": "electric", "unit": "count", "rate_hz": self.rate_hz},
            {"name": "temperature", "unit": "Cel", "rate_hz": 1},
            {"name": "motion", "unit": "/", "rate_hz": 0}]
        return {"site": "elsewhere", "title": "Elsewhere", "mains_hz": 50, "baseline_s": BASELINE_S,
                "false_onsets_per_hour": 0.5, "alert_limit_per_night": 0.1,
                "rooms": [{"id": r, "title": r.title(), "floor": 0, "outline_m": [
                    [x0, y0], [x1, y0], [x1, y1], [x0, y1]]} for r, (x0, y0, x1, y1) in ROOMS.items()],
                "doors": [{"between": rooms, "at_m": at} for rooms, at in DOORS.items()],
                "nodes": [{"id": "n-" + r, "room": r, "control": r == CONTROL, "clock_error_s": 0.002,
                           "position_m": [round(float(v), 3) for v in self.place_m[r]],
                           "channels": channels} for r in ROOMS]}

    def write_csv(self, path):
        counts = {r: (np.round(self.field[r] / SENSORS[r][0]) * SENSORS[r][0]).astype(int)
                  for r in ROOMS}
        antenna = {r: np.round(self.antenna[r]).astype(int) for r in ROOMS}
        moved = {r: sorted(self.moved[r]) for r in ROOMS}
        with open(path, "w") as file:
            file.write("time,node,magnetic.x,magnetic.y,magnetic.z,electric,temperature,motion\n")
            for s in range(self.seconds):
                part = slice(s * self.rate_hz, (s + 1) * self.rate_hz)
                for room in ROOMS:
                    rows = zip(self.time_s[part].tolist(), counts[room][part].tolist(),
                               antenna[room][part].tolist())
                    file.writelines(f"{START_S + t:.6f},n-{room},{x}e-9,{y}e-9,{z}e-9,{e},,\n"
                                    for t, (x, y, z), e in rows)
                    file.write(f"{START_S + s},n-{room},,,,,{self.air[room][s]:.3f},\n")
                    while moved[room] and moved[room][0][0] < s + 1:
                        at, state = moved[room].pop(0)
                        file.write(f"{START_S + at:.6f},n-{room},,,,,,{state}\n")


def since_start_s(text):
    moment = np.datetime64(text.rstrip("Z"), "ns") - np.datetime64(START_S, "s")
    return moment / np.timedelta64(1, "s")


def found(folder, house):
    site, csv, night, out = (str(folder / n) for n in ("site.json", "night.csv", "night", "night.json"))
    pathlib.Path(site).write_text(json.dumps(house.site()))
    house.write_csv(csv)
    subprocess.run([ROOMWAKE, "import", "--site", site, "--csv", csv, "--night", night],
                   check=True, stdout=subprocess.DEVNULL)
    subprocess.run([ROOMWAKE, "export", night, "--format", "json", "--out", out], check=True)
    return json.loads(pathlib.Path(out).read_text())


def words(finding):
    order = ">".join(o["node"][2:5] for o in finding["order"])
    return (f"{finding['cause']['verdict']} {finding['kind']} {order} "
            f"{finding['chance']['per_night']:.2g}{' ALERT' if finding['alert'] else ''}")


def tell(house, findings):
    ours = set()
    for at, play in sorted(house.plays):
        until = at + SPAN_S.get(play.split()[0], 6)
        mine = [c for c in findings["coincidences"] if at - 2 <= since_start_s(c["start"]) <= until]
        ours |= {c["id"] for c in mine}
        print(f"{at:8.1f} {play:36} " + (" | ".join(map(words, mine)) or "nothing"))
    for c in findings["coincidences"]:
        if c["id"] not in ours:
            print(f"{since_start_s(c['start']):8.1f} {'nothing was played':36} {words(c)}")
    free = collections.Counter()
    for d in findings["disturbances"]:
        at = since_start_s(d["onset"])
        if not any(s - 3 <= at <= s + 50 for s, _ in house.plays):
            free[(d["node"][2:], d["quantity"])] += 1
    print(f"onsets while nothing was played: {sum(free.values())}; "
          + ", ".join(f"{room} {quantity} {n}" for (room, quantity), n in free.most_common()))


def main():
    first, houses = (int(v) for v in (sys.argv[1:3] + ["1", "3"][len(sys.argv[1:3]):]))
    hours = float(sys.argv[3]) if len(sys.argv) > 3 else 1.5
    for seed in range(first, first + houses):
        house = House(seed, hours)
        if "quiet" not in sys.argv:
            house.play_all()
        with tempfile.TemporaryDirectory() as folder:
            findings = found(pathlib.Path(folder), house)
        print(f"house {seed}: {hours} h at {house.rate_hz} samples a second, "
              f"{len(findings['disturbances'])} disturbances, {len(findings['coincidences'])} findings, "
              f"{sum(c['alert'] for c in findings['coincidences'])} alerts")
        tell(house, findings)


if __name__ == "__main__":
    main()
