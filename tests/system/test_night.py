"""A live night with a real broker, real processes and a home-made node, from sensor to finding."""
import csv
import io
import json
import random
import subprocess
import threading
import time

import support
from live import House, parse_time_s, sleep_until
from support import ROOMWAKE

FAST = [{"name": f"magnetic.{axis}", "unit": "T", "rate_hz": 100} for axis in "xyz"]
HOME_MADE = [{"name": "magnetic.x", "unit": "T", "rate_hz": 10}]
BASELINE_S = 12
PULSE_S = 24.0   # seen by all three nodes at once; no cause explains it
MARKED_S = 31.0  # the same again, under a mark


def house_site():
    site = support.site(rooms=("hall", "passage", "kitchen"), channels=FAST + [support.MOTION],
                        baseline_s=BASELINE_S, site="lodge")
    site["nodes"][2]["channels"] = HOME_MADE
    site["nodes"][2]["clock_error_s"] = 0.01
    return site


def script():
    def pulse(at_s):
        return {"at_s": at_s, "kind": "pulse", "at_m": [4, 2, 1], "field_t": [1.2e-6, 0, 8e-7],
                "reach_m": 50, "rise_s": 0, "for_s": 0.5, "fall_s": 0.02}
    return {"version": 1, "seed": 5, "length_s": 120, "events": [pulse(PULSE_S), pulse(MARKED_S)]}


class HomeMadeNode(threading.Thread):
    """A node that is nothing but mosquitto_pub sending SenML packs, one a second."""

    def __init__(self, port, start_s):
        super().__init__(daemon=True)
        self.start_s = start_s
        self.over = threading.Event()
        self.sender = subprocess.Popen(
            ["mosquitto_pub", "-p", str(port), "-q", "1", "-t", "roomwake/lodge/n3/senml", "-l"],
            stdin=subprocess.PIPE, text=True)

    def run(self):
        draw = random.Random(9)
        tick = int(time.time()) + 1
        while not self.over.is_set():
            sleep_until(tick + 1.02)
            pack = []
            for i in range(10):
                t = tick + i / 10
                field = 2.1e-5 + draw.gauss(0, 2e-8)
                for onset in (self.start_s + PULSE_S, self.start_s + MARKED_S):
                    if onset <= t < onset + 0.5:
                        field += 1.5e-6
                pack.append({"n": "magnetic.x", "u": "T", "t": i / 10, "v": float(f"{field:.4e}")})
            pack[0]["bn"] = "urn:dev:mac:0024befffe804ff1/"
            pack[0]["bt"] = tick
            for i, record in enumerate(pack):
                record["t"] = round(i / 10, 1)
            self.sender.stdin.write(json.dumps(pack) + "\n")
            self.sender.stdin.flush()
            tick += 1

    def stop(self):
        self.over.set()
        self.join()
        self.sender.stdin.close()
        self.sender.wait()


class NightTest(support.Case):
    def test_a_whole_night_from_sensors_to_findings(self):
        alerts = self.folder / "alerts.jsonl"
        house = House(self, house_site(), script(),
                      record_options=["--on-alert", f"cat >> {alerts}; echo >> {alerts}"])
        station = house.start_station()
        house.start_simulated("n1", clock="offset_s=3.5,rate_ppm=40")
        house.start_simulated("n2", clock="offset_s=-120.25,rate_ppm=-35")
        start_s = house.scenario_start_s()
        home_made = HomeMadeNode(house.broker_port, start_s)
        home_made.start()
        watcher = self.start("watcher", "mosquitto_sub", "-p", str(house.broker_port), "-t",
                             "roomwake/lodge/alert", "-v")
        for node in ("n1", "n2"):
            station.wait_output(rf"clock +{node} .*in time", 30)
        station.wait_output(r"ALERT +.*unexplained", PULSE_S + 20)
        sleep_until(start_s + MARKED_S - 4)
        self.run(ROOMWAKE, "mark", "--text", "I slammed the cellar door", "--for", "20", check=0)
        station.wait_output(r"mark +\"I slammed the cellar door\"")
        station.wait_output(r"finding +.*team", 30)
        sleep_until(start_s + MARKED_S + 8)
        house.stop_nodes()
        home_made.stop()
        house.stop_station()
        watcher.stop()
        self.check_findings(house, start_s)
        self.check_alerts(alerts, watcher)
        self.check_import(house)
        self.check_reanalysis(house)
        self.check_clean(house)

    def check_findings(self, house, start_s):
        found = self.findings(house.night)
        pulses = [c for c in found["coincidences"]
                  if abs(parse_time_s(c["start"]) - start_s - PULSE_S) < 0.2]
        self.assertEqual(len(pulses), 1, found["coincidences"])
        one = pulses[0]
        # The home-made node takes part beside the two simulated ones.
        self.assertEqual(sorted(entry["node"] for entry in one["order"]), ["n1", "n2", "n3"])
        self.assertEqual(one["kind"], "prompt")
        self.assertIsNone(one["first"])
        self.assertTrue(one["alert"])
        self.assertEqual(one["cause"]["verdict"], "unexplained")
        self.assertLess(one["chance"]["per_night"], 0.1)
        # True time against found time: the nodes' clocks were seconds and tens of ppm off.
        for entry in one["order"]:
            error_s = abs(parse_time_s(entry["onset"]) - (start_s + PULSE_S))
            self.assertLess(error_s, 0.12 if entry["node"] == "n3" else 0.03, entry)
        marked = [c for c in found["coincidences"]
                  if abs(parse_time_s(c["start"]) - start_s - MARKED_S) < 0.2]
        self.assertEqual(len(marked), 1, found["coincidences"])
        self.assertFalse(marked[0]["alert"])
        self.assertEqual(marked[0]["cause"]["verdict"], "team")
        self.assertEqual(marked[0]["mark"], found["marks"][0]["id"])
        self.assertEqual(len(found["coincidences"]), 2, found["coincidences"])
        self.assertEqual(found["marks"][0]["text"], "I slammed the cellar door")

    def check_alerts(self, alerts, watcher):
        raised = [json.loads(line) for line in alerts.read_text().splitlines() if line]
        self.assertEqual(len(raised), 1)
        self.assertEqual(raised[0]["cause"]["verdict"], "unexplained")
        self.assertEqual(watcher.output().count("roomwake/lodge/alert"), 1)

    def check_import(self, house):
        """The findings of a live night and of its own CSV export imported again are the same."""
        out = self.folder / "night.csv"
        self.run(ROOMWAKE, "export", str(house.night), "--format", "csv", "--out", str(out),
                 check=0)
        again = self.folder / "again.sqlite"
        self.run(ROOMWAKE, "import", "--site", str(house.site_path), "--csv", str(out), "--night",
                 str(again), check=0)
        live, imported = self.findings(house.night), self.findings(again)
        self.assertEqual(live["disturbances"], imported["disturbances"])
        # A CSV carries no marks, so what a mark covered is judged without it.
        def unmarked(found):
            return [c for c in found["coincidences"] if c["cause"]["verdict"] != "team"
                    and abs(parse_time_s(c["start"]) - self.marked_at(live)) > 0.5]
        self.assertEqual(unmarked(live), unmarked(imported))

    def marked_at(self, found):
        team, = [c for c in found["coincidences"] if c["cause"]["verdict"] == "team"]
        return parse_time_s(team["start"])

    def check_reanalysis(self, house):
        before = self.findings(house.night)
        self.run(ROOMWAKE, "reanalyse", str(house.night), check=0)
        self.assertEqual(self.findings(house.night), before)
        self.check_final_fit(house, before)
        self.run(ROOMWAKE, "reanalyse", str(house.night), "--set", "alert_limit_per_night=1e-30",
                 check=0)
        strict = self.findings(house.night)
        self.assertEqual([c["alert"] for c in strict["coincidences"]],
                         [False] * len(before["coincidences"]))
        self.check_refit(house, before)
        review = self.run(ROOMWAKE, "review", str(house.night), check=0).stdout
        self.assertIn("I slammed the cellar door", review)
        self.assertIn("Clocks over the night", review)
        self.assertRegex(review, r"crystal: [+-][\d.]+ ppm / [+-][\d.]+ ppm / [+-][\d.]+ ppm")

    def check_final_fit(self, house, live):
        """The clocks were fitted again at the end, beside what was found live."""
        self.assertIn("fitted again: no time moved by more than", house.station.output())
        again = json.loads(self.run(ROOMWAKE, "export", str(house.night), "--format", "json",
                                    "--analysis", "2", check=0).stdout)
        self.assertEqual(live["night"]["clocks"], "as-stored")
        self.assertEqual(again["night"]["clocks"], "fitted-again")
        self.assertEqual(len(again["coincidences"]), len(live["coincidences"]))
        self.run(ROOMWAKE, "export", str(house.night), "--format", "json", "--analysis", "99",
                 check=1)
        self.run(ROOMWAKE, "verify", str(house.night), check=0)
        # Shown is analysis 3, by "reanalyse": a fit that is older than it is not compared with it.
        review = self.run(ROOMWAKE, "review", str(house.night), "--analysis", "1", check=0).stdout
        self.assertIn("Clocks fitted again from the whole night (analysis 2)", review)
        self.assertRegex(review, r"All \d+ findings say the same by those times")

    def check_refit(self, house, live):
        """Clocks fitted again from the whole night move no onset by more than its uncertainty."""
        said = self.run(ROOMWAKE, "reanalyse", str(house.night), "--refit", check=0).stdout
        for node in ("n1", "n2"):
            self.assertRegex(said, rf"clock {node}: fitted again from \d+ exchanges")
        self.assertRegex(said, "clock n3: times kept")
        fitted = self.findings(house.night)
        def shape(found):
            return [(d["node"], d["quantity"]) for d in found["disturbances"]]
        self.assertEqual(sorted(shape(fitted)), sorted(shape(live)))
        self.assertEqual(len(fitted["coincidences"]), len(live["coincidences"]))
        for one, other in zip(live["coincidences"], fitted["coincidences"]):
            self.assertLess(abs(parse_time_s(one["start"]) - parse_time_s(other["start"])), 0.02)

    def check_clean(self, house):
        names = [p.name for p in self.folder.iterdir() if p.name.startswith("night.sqlite")]
        self.assertEqual(names, ["night.sqlite"], "the night is one closed file")
        rows = csv.reader(io.StringIO(self.run(ROOMWAKE, "export", str(house.night), "--format",
                                               "csv", check=0).stdout))
        self.assertEqual(next(rows)[:2], ["time", "node"])


if __name__ == "__main__":
    support.main()
