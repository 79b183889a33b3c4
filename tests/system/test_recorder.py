"""A recorder's level becomes a witness of a night: in a copy, under a seal of its own, findings and all."""
import csv
import datetime
import hashlib
import io
import json
import os
import pathlib
import random
import resource
import signal
import sqlite3
import subprocess
import wave

import numpy
import webvtt

import support
from support import ROOMWAKE
from test_report import PAGE, install

START_S = 1_700_000_000
LENGTH_S = 120
THUD_S = 90.0            # heard by the recorder, seen by n1's magnetometer
CHIRPS_S = (10.0, 110.0)
RATE = 16000
OFF_PPM = 80.0           # the recorder's second is that much longer
BEFORE_S = 5.5           # it was started so long before the night


def night_rows(nodes):
    draw = random.Random(3)
    yield ["time", "node", "magnetic.x", "magnetic.y", "magnetic.z"]
    for i in range(LENGTH_S * 50):
        t = i / 50
        for name in nodes:
            field = [draw.gauss(level, 20e-9) for level in (18e-6, -2e-6, 43e-6)]
            if name == "n1" and THUD_S <= t < THUD_S + 0.5:
                field[0] += 600e-9
            yield [f"{START_S + t:.3f}", name] + [f"{value:.3e}" for value in field]


def sweep(t):
    """collector/align/chirp.h: 1 to 4 kHz in half a second, raised cosine edges."""
    inside = (t >= 0) & (t < 0.5)
    edge = numpy.clip(numpy.minimum(t, 0.5 - t) / 0.02, 0, 1)
    return inside * (0.5 - 0.5 * numpy.cos(numpy.pi * edge)) * numpy.cos(
        2 * numpy.pi * (1000 * t + 3000 * t * t))


def write_recording(path, seed=5, chirps_s=CHIRPS_S):
    draw = numpy.random.default_rng(seed)
    own = numpy.arange(int((LENGTH_S + 12) * RATE)) / RATE
    site = own * (1 + OFF_PPM * 1e-6) - BEFORE_S
    samples = 0.003 * draw.standard_normal(len(own))
    for at in chirps_s:
        samples += 0.2 * sweep(site - at)
    thud = (site >= THUD_S) & (site < THUD_S + 0.5)
    samples[thud] += 0.3 * draw.standard_normal(int(thud.sum()))
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(RATE)
        sound.writeframes((numpy.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
    return path


def nearly_full():
    """As on a full disk: no file may grow beyond so much."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100000, 100000))


def time_text(after_s):
    whole = int(after_s)
    return f"2023-11-14T22:{13 + (20 + whole) // 60:02d}:{(20 + whole) % 60:02d}.000000000Z"


class RecorderTest(support.Case):
    def make_night(self):
        marks = [{"id": i + 1, "start": time_text(at), "end": time_text(at + 1), "room": None,
                  "text": "chirp +- 0.002 s"} for i, at in enumerate(CHIRPS_S)]
        text = io.StringIO()
        csv.writer(text).writerows(night_rows(["n1", "n2"]))
        site = support.site(rooms=("hall", "kitchen"), channels=support.MAGNETIC, baseline_s=40)
        night = self.folder / "night.sqlite"
        self.run(ROOMWAKE, "import", "--site", self.write("site.json", site),
                 "--csv", self.write("night.csv", text.getvalue()),
                 "--marks", self.write("marks.json", json.dumps({"marks": marks})),
                 "--night", night, check=0)
        return night

    @staticmethod
    def seconds(time):
        return datetime.datetime.fromisoformat(time[:26] + "+00:00").timestamp()

    def root(self, night):
        return self.findings(night)["night"]["seal"]

    def add(self, night, recording, new, *more, check=0):
        return self.run(ROOMWAKE, "align", night, recording, "--distance", "0", "--into", new,
                        *more, check=check)

    def samples(self, night, node):
        return self.run(ROOMWAKE, "export", night, "--format", "csv", "--node", node,
                        check=0).stdout

    def test_the_level_is_a_witness_and_what_was_sealed_still_holds(self):
        night = self.make_night()
        before = hashlib.sha256(night.read_bytes()).hexdigest()
        recording = write_recording(self.folder / "rec.wav")
        new = self.folder / "with-recorder.sqlite"
        told = self.add(night, recording, new, "--room", "kitchen").stdout
        self.assertIn("2 of 2 sounds", told)
        self.assertEqual(hashlib.sha256(night.read_bytes()).hexdigest(), before)

        # A sceptic: the root of the night, as it was read out, is in the copy and holds.
        checked = self.run(ROOMWAKE, "verify", new, "--root", self.root(night), check=0).stdout
        self.assertIn("the one given is this night's", checked)
        self.assertIn("with what was added later", checked)
        for node in ("n1", "n2"):
            self.assertEqual(self.samples(new, node), self.samples(night, node))
        log = sqlite3.connect(new).execute("SELECT text FROM log ORDER BY id DESC").fetchone()[0]
        self.assertIn(hashlib.sha256(recording.read_bytes()).hexdigest(), log)
        self.assertIn(self.root(night), log)

        found = self.findings(new)
        self.assertEqual([n["id"] for n in found["nodes"]], ["n1", "n2", "recorder"])
        self.assertEqual(found["nodes"][2]["room"], "kitchen")
        thud = [c for c in found["coincidences"] if c["witnesses"] >= 2]
        self.assertEqual(len(thud), 1, told)
        self.assertEqual({o["node"] for o in thud[0]["order"]}, {"n1", "recorder"})
        onset = next(d for d in found["disturbances"] if d["node"] == "recorder"
                     and d["id"] in thud[0]["disturbances"])
        self.assertLess(abs(self.seconds(onset["onset"]) - START_S - THUD_S), 0.15)
        # The analysis of the night itself is still there, without the recorder.
        self.assertEqual(self.findings(night)["coincidences"], [])

        # Levels as they are: a tenth of a second of the thud peaks near -0 dB, noise at -43 or so.
        rows = list(csv.DictReader(io.StringIO(self.samples(new, "recorder"))))
        peaks = [float(row["sound-peak"]) for row in rows if row["sound-peak"]]
        self.assertGreater(max(peaks), -3)
        self.assertLess(sorted(peaks)[len(peaks) // 2], -35)
        self.assertGreaterEqual(min(float(row["time"]) for row in rows), START_S)
        self.assertLessEqual(max(float(row["time"]) for row in rows), START_S + LENGTH_S)

        # What reads nights reads this one; a second recorder may follow.
        self.run(ROOMWAKE, "reanalyse", new, check=0)
        self.run(ROOMWAKE, "report", new, "--out", self.folder / "report.html", check=0)
        self.run(ROOMWAKE, "export", new, "--format", "mseed", "--out", self.folder / "n.mseed",
                 check=0)
        both = self.folder / "both.sqlite"
        other = write_recording(self.folder / "other.wav", seed=6)
        self.add(new, other, both, "--room", "hall", "--node", "second", "--at", "1,1,1.5")
        for root in (self.root(night), self.root(new)):
            self.run(ROOMWAKE, "verify", both, "--root", root, check=0)

    def test_captions_stand_where_the_recordings_own_time_has_them(self):
        night = self.make_night()
        recording = write_recording(self.folder / "rec.wav")
        new = self.folder / "new.sqlite"
        captions = self.folder / "rec.vtt"
        export = [ROOMWAKE, "export", new, "--format", "webvtt", "--for", recording, "--out",
                  captions]
        self.add(night, recording, new, "--room", "kitchen")
        self.run(*export, check=0)
        wanted = (THUD_S + BEFORE_S) / (1 + OFF_PPM * 1e-6)
        chirps = [(at + BEFORE_S) / (1 + OFF_PPM * 1e-6) for at in CHIRPS_S]
        cues = webvtt.read(str(captions))  # Debian's
        thud = next(cue for cue in cues if "2 nodes" in cue.text)
        self.assertAlmostEqual(thud.start_in_seconds, wanted, delta=0.05)
        marks = [cue.start_in_seconds for cue in cues if cue.text.startswith("mark")]
        for found, at in zip(marks, chirps, strict=True):
            self.assertAlmostEqual(found, at, delta=0.005)
        # And Chromium's own <track>.
        install()
        self.run(ROOMWAKE, "report", new, "--out", self.folder / "r.html", check=0)
        seen = json.loads(support.run("node", str(PAGE / "report.mjs"), self.folder / "r.html",
                                      captions, self.folder, check=0, timeout=300).stdout)
        self.assertEqual([cue[1] for cue in seen["cues"]], [cue.start_in_seconds for cue in cues])

        # Wrong use: a recording that was not lined up, or with another night.
        other = self.folder / "other.wav"
        done = self.run(*export[:-3], other, "--out", self.folder / "x.vtt", check=1)
        self.assertIn("roomwake align", done.stderr)
        line = pathlib.Path(f"{recording}.align.json")
        line.write_text(line.read_text().replace("testhouse-", "elsewhere-"))
        self.assertIn("lined up with the night elsewhere-", self.run(
            *export, "--force", check=1).stderr)
        self.run(*[str(a).replace("webvtt", "csv") for a in export], check=2)

    def test_what_is_smuggled_in_after_the_end_is_told(self):
        night = self.make_night()
        new = self.folder / "new.sqlite"
        self.add(night, write_recording(self.folder / "rec.wav"), new, "--room", "hall")
        with sqlite3.connect(new) as db:
            db.execute("INSERT INTO mark VALUES(99, 1, 2, 1, '', '',"
                       " 'we were never there', NULL, 0)")
        told = self.run(ROOMWAKE, "verify", new, check=1).stdout
        self.assertIn("has marks that came after the night's end", told)
        with sqlite3.connect(new) as db:
            db.execute("DELETE FROM mark WHERE id = 99")
            db.execute("UPDATE block SET max = max + 1 WHERE id = (SELECT max(id) FROM block)")
        told = self.run(ROOMWAKE, "verify", new, check=1).stdout
        self.assertIn("with what was added later", told)
        self.assertRegex(told, r"(?s)seal +samples, .*: holds.*later, .*: DOES NOT HOLD")

    def test_wrong_use_says_what_to_do_and_leaves_nothing(self):
        night = self.make_night()
        recording = write_recording(self.folder / "rec.wav")
        new = self.folder / "new.sqlite"
        self.assertIn("in which room", self.add(night, recording, new, check=2).stderr)
        self.assertIn("no room", self.add(night, recording, new, "--room", "attic", check=2).stderr)
        self.assertIn("outside", self.add(night, recording, new, "--room", "hall", "--at", "40,1,1",
                                       check=1).stderr)
        self.run(ROOMWAKE, "align", night, recording, "--room", "hall", check=2)
        self.assertIn("exists already", self.add(night, recording, night, "--room", "hall",
                                                 check=1).stderr)
        other = write_recording(self.folder / "other-night.wav", chirps_s=(20, 70))
        self.assertIn("is it of this night?", self.add(night, other, new, "--room", "hall",
                                                       check=1).stderr)
        self.assertFalse(new.exists())
        self.add(night, recording, new, "--room", "hall")
        again = self.folder / "again.sqlite"
        done = subprocess.run([ROOMWAKE, "align", night, recording, "--into", again, "--room", "hall"],
                              env={**os.environ, **self.env}, preexec_fn=nearly_full, text=True,
                              capture_output=True, check=False)
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertRegex(done.stderr, "again.sqlite.*(full|too large|I/O)")
        self.assertIn("has samples of", self.add(new, recording, again, check=1).stderr)
        self.assertEqual(sorted(p.name for p in self.folder.glob("*.sqlite*")),
                         ["new.sqlite", "night.sqlite"])


if __name__ == "__main__":
    support.main()
