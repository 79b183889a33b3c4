"""A recording made by another program, imported: the right order and nothing else; peaks kept."""
import csv
import io
import random
import subprocess

import support
from support import ROOMWAKE

START_S = 1_700_000_000
RATE_HZ = 50
LENGTH_S = 180
NOISE_T = 20e-9
# A slow disturbance that passes through three rooms 4 m apart, one room every 2.5 s: 1.6 m/s.
SEQUENCE = {"n1": 100.0, "n2": 102.5, "n3": 105.0}
PULSE_T = 600e-9


def recording(nodes, sequence, seed=7, length_s=LENGTH_S, amplitude=PULSE_T):
    """Rows of the import shape: three axes a node, noise, and one half-second pulse each."""
    draw = random.Random(seed)
    yield ["time", "node", "magnetic.x", "magnetic.y", "magnetic.z"]
    for i in range(length_s * RATE_HZ):
        t = i / RATE_HZ
        for name in nodes:
            field = [draw.gauss(level, NOISE_T) for level in (18e-6, -2e-6, 43e-6)]
            onset = sequence.get(name)
            if onset is not None and onset <= t < onset + 0.5:
                field[0] += amplitude
                field[2] -= amplitude / 2
            yield [f"{START_S + t:.3f}", name] + [f"{value:.3e}" for value in field]


class ImportTest(support.Case):
    def import_night(self, rows, site=None, check=0):
        text = io.StringIO()
        csv.writer(text).writerows(rows)
        site_path = self.write("site.json", site or support.site(channels=support.MAGNETIC))
        csv_path = self.write("recording.csv", text.getvalue())
        night = self.folder / "night.sqlite"
        done = self.run(ROOMWAKE, "import", "--site", str(site_path), "--csv", str(csv_path),
                        "--night", str(night), check=check)
        return night, done

    def test_a_known_sequence_comes_out_in_order_and_nothing_else(self):
        night, _ = self.import_night(recording(["n1", "n2", "n3", "n4"], SEQUENCE))
        found = self.findings(night)
        self.assertEqual([d["node"] for d in found["disturbances"]], ["n1", "n2", "n3"])
        self.assertEqual(len(found["coincidences"]), 1)
        one = found["coincidences"][0]
        self.assertEqual(one["kind"], "travelling")
        self.assertEqual([entry["node"] for entry in one["order"]], ["n1", "n2", "n3"])
        self.assertEqual(one["first"]["node"], "n1")
        self.assertGreaterEqual(one["first"]["probability"], 0.95)
        self.assertEqual([step["room"] for step in one["path"]], ["hall", "passage", "kitchen"])
        self.assertAlmostEqual(one["speed_m_s"]["value"], 1.6, delta=0.1)
        self.assertLessEqual(one["speed_m_s"]["low"], 1.6)
        self.assertGreaterEqual(one["speed_m_s"]["high"], 1.6)

    def test_a_quiet_recording_gives_no_finding(self):
        night, _ = self.import_night(recording(["n1", "n2", "n3", "n4"], {}, seed=11))
        found = self.findings(night)
        self.assertEqual(found["coincidences"], [])

    def test_a_disturbance_without_a_second_witness_is_no_coincidence(self):
        night, _ = self.import_night(recording(["n1", "n2", "n3", "n4"], {"n2": 100.0}))
        found = self.findings(night)
        self.assertEqual([d["node"] for d in found["disturbances"]], ["n2"])
        self.assertEqual(found["coincidences"], [])

    def test_simultaneous_disturbances_have_no_first(self):
        night, _ = self.import_night(
            recording(["n1", "n2", "n3", "n4"], {"n1": 100.0, "n2": 100.0, "n3": 100.0}))
        one, = self.findings(night)["coincidences"]
        self.assertEqual(one["kind"], "prompt")
        self.assertIsNone(one["first"])
        self.assertTrue(one["alert"])
        self.assertEqual(one["cause"]["verdict"], "unexplained")

    def test_the_export_gives_back_every_cell_and_imports_to_the_same_findings(self):
        rows = list(recording(["n1", "n2", "n3", "n4"], SEQUENCE))
        night, _ = self.import_night(rows)
        out = self.folder / "again.csv"
        self.run(ROOMWAKE, "export", str(night), "--format", "csv", "--out", str(out), check=0)
        with open(out, newline="") as file:
            again = [row for row in csv.DictReader(file) if row["magnetic.x"]]
        self.assertEqual(len(again), len(rows) - 1)
        for before, after in zip(rows[1:], again):
            self.assertEqual((float(before[0]), before[1]), (float(after["time"]), after["node"]))
            for i, axis in enumerate("xyz"):
                self.assertEqual(float(before[2 + i]), float(after[f"magnetic.{axis}"]))
        second = self.folder / "second.sqlite"
        self.run(ROOMWAKE, "import", "--site", str(self.folder / "site.json"), "--csv", str(out),
                 "--night", str(second), check=0)
        first, again = self.findings(night), self.findings(second)
        for part in ("disturbances", "coincidences", "marks"):
            self.assertEqual(first[part], again[part])


class PeakTest(support.Case):
    """One sample at 250 Hz among noise."""
    SPIKE_AT = 20_000
    SPIKE = 901

    def test_a_one_sample_spike_survives_everywhere(self):
        draw = random.Random(3)
        counts = [round(draw.gauss(0, 4)) for _ in range(25_000)]
        counts[self.SPIKE_AT] = self.SPIKE
        site = support.site(rooms=("hall", "passage"), baseline_s=40, channels=[
            {"name": "electric", "unit": "count", "rate_hz": 250}])
        site_path = self.write("site.json", site)
        lines = ["time,node,electric"]
        lines += [f"{START_S + i / 250:.3f},n1,{count}" for i, count in enumerate(counts)]
        path = self.write("spike.csv", "\n".join(lines) + "\n")
        night = self.folder / "night.sqlite"
        self.run(ROOMWAKE, "import", "--site", str(site_path), "--csv", str(path), "--night",
                 str(night), check=0)

        disturbance, = self.findings(night)["disturbances"]
        self.assertAlmostEqual(disturbance["peak"]["value"], self.SPIKE, delta=5)
        spike_time = START_S + self.SPIKE_AT / 250
        self.assertTrue(disturbance["peak"]["time"].startswith("2023-11-14T22:14:40.000"),
                        disturbance["peak"]["time"])
        self.assertEqual(spike_time, 1_700_000_080)

        rows = csv.DictReader(io.StringIO(self.run(ROOMWAKE, "export", str(night), "--format",
                                                   "csv", check=0).stdout))
        values = [int(row["electric"]) for row in rows if row["electric"]]
        self.assertEqual(values, counts)

        greatest = subprocess.run(["sqlite3", str(night), "SELECT max(max) FROM block"],
                                  capture_output=True, text=True, check=True).stdout
        self.assertEqual(float(greatest), self.SPIKE)

        # What an average of 15 readings would have left of it: one fifteenth (that home-made meters
        # average 15 readings is common practice, no source; the fraction is arithmetic).
        alone = [0] * 29
        alone[14] = self.SPIKE
        averaged = max(sum(alone[i:i + 15]) / 15 for i in range(15))
        self.assertAlmostEqual(averaged, self.SPIKE / 15)


if __name__ == "__main__":
    support.main()
