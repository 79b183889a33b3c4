"""Marks and quiet spells as the team gives them while a night is recorded: a running mark, one typed
late, a correction, a refusal; a quiet spell by hand; and that a re-analysis finds the same."""
import copy
import time

import support
from live import House, sleep_until
from support import ROOMWAKE

SCRIPT = {"version": 1, "seed": 7, "length_s": 600,
          "wires": [{"id": "supply", "through_m": [6, 0.3, 0.3], "along": [0, 0, 1],
                     "standing_amps": 0.3}],
          "events": [
              {"at_s": 45, "kind": "pulse", "at_m": [6, 2, 1], "moment_a_m2": [90, 50, 160],
               "rise_s": 0.02, "for_s": 0.25, "fall_s": 0.4},
              {"at_s": 53, "kind": "pulse", "at_m": [6, 2, 1], "moment_a_m2": [90, 50, 160],
               "rise_s": 0.02, "for_s": 0.25, "fall_s": 0.4}]}
CHANNELS = [{"name": f"magnetic.{axis}", "unit": "T", "rate_hz": 50} for axis in "xyz"]


def pulses(findings):
    return [c for c in findings["coincidences"] if len(c["disturbances"]) >= 3]


def told(findings):
    """What two analyses must agree in."""
    return [{k: c[k] for k in ("start", "disturbances", "cause", "mark", "alert", "chance")}
            for c in findings["coincidences"]]


class MarksTest(support.Case):
    def mark(self, *options, check=0):
        return self.run(ROOMWAKE, "mark", *options, check=check)

    def refuse(self, words, *options, check=2):
        self.assertIn(words, self.mark(*options, check=check).stderr)

    def talk(self):
        """While the quiet spell goes on: marks that don't matter, and wrong ones."""
        started = self.mark("--text", "in the kitchen", "--room", "kitchen", "--who", "eve",
                            "--running").stdout
        self.assertIn("as mark 1", started)
        self.assertIn("roomwake mark --end 1", started)
        self.refuse("--end 1", "--text", "x", "--room", "hall", "--who", "eve", "--for", "5")
        self.refuse("no mark 9", "--end", "9")
        self.refuse("only one of --for", "--text", "x", "--for", "3", "--running")
        self.refuse("tell what was done", "--room", "hall")
        self.refuse("--at", "--text", "x", "--at", "25:99")
        self.mark("--end", "1")
        self.refuse("ended at", "--end", "1")
        self.mark("--correct", "1", "--text", "in the kitchen, kettle on")
        self.mark("--text", "nothing, really")
        self.mark("--withdraw", "4")
        listed = support.wait_for("the withdrawal to be on disk", lambda: (
            lambda text: "(withdrawn: covers nothing)" in text and text)(self.mark("--list").stdout))
        self.assertIn("in the kitchen, kettle on\n", listed)
        self.assertIn("(corrected by what follows)", listed)

    def quiet(self, house):
        self.run(ROOMWAKE, "baseline", "--begin", check=0)
        house.station.wait_output(r"baseline +a quiet spell begins, until")
        self.assertIn("let it go on", self.run(ROOMWAKE, "baseline", "--begin", check=2).stderr)
        self.assertIn("of quiet so far", self.run(ROOMWAKE, "baseline", "--end", check=2).stderr)
        self.assertIn("Still learning", self.run(ROOMWAKE, "baseline", check=0).stdout)

    def test_an_evening_of_marks_and_quiet(self):
        site = support.site(rooms=("hall", "passage", "kitchen"), channels=copy.deepcopy(CHANNELS),
                            baseline_s=10)
        house = House(self, site, SCRIPT)
        house.start_station()
        for node in ("n1", "n2", "n3"):
            house.start_simulated(node)
        start_s = house.scenario_start_s()
        for node in house.nodes:
            house.station.wait_output(rf"watching +{node}")
        self.quiet(house)
        self.talk()
        sleep_until(start_s + 38)
        self.run(ROOMWAKE, "baseline", "--end", check=0)
        house.station.wait_output(r"(?s)ended by hand.*watching +n\d")
        taught = support.wait_for("the summary", lambda: (lambda text: "chance alone" in text and text)(
            self.run(ROOMWAKE, "baseline", check=0).stdout))
        self.assertIn("begun by hand", taught)
        for node, room in (("n1", "hall"), ("n2", "passage"), ("n3", "kitchen")):
            self.assertRegex(taught, rf"{node} \({room}\) magnetic: noise [\d.]+ nT .*threshold [\d.]+"
                                     r" sigma.*one false onset in 2 h")
        self.assertRegex(taught, r"At 0.5 false onsets an hour for each of 3 quantities, chance alone"
                                 r" brings about [\d.e-]+ findings of two\nnodes or more in a night of 8 h")
        sleep_until(start_s + 52)
        self.mark("--text", "we did that one", "--for", "4")
        house.station.wait_output(r"ALERT +\S+ unexplained: .*3 nodes")
        sleep_until(start_s + 57)
        at = time.strftime("%H:%M:%S", time.localtime(start_s + 44))
        self.mark("--text", "and the first, too", "--at", at, "--for", "3")
        house.station.wait_output(r"explained +\S+ the team")
        house.stop_nodes()
        house.stop_station()
        self.check(house)

    def check(self, house):
        live = self.findings(house.night)
        first, second = pulses(live)
        self.assertEqual([first["mark"], second["mark"]], [7, 6])
        self.assertEqual([first["alert"], second["alert"]], [False, False])
        self.assertEqual([c["cause"]["verdict"] for c in (first, second)], ["team", "team"])
        self.assertIn("not counted in any chance", first["cause"]["reasons"][0])
        self.assertEqual([m["id"] for m in live["marks"]], [1, 6, 7])
        self.assertEqual([row["corrects"] for row in live["mark_rows"]], [0, 1, 1, 0, 4, 0, 0])
        self.assertIn("we did that one", self.run(ROOMWAKE, "review", house.night, check=0).stdout)
        self.run(ROOMWAKE, "verify", house.night, check=0)
        self.run(ROOMWAKE, "reanalyse", house.night, check=0)
        again = self.findings(house.night)
        self.assertEqual(told(live), told(again))
        self.assertEqual(live["disturbances"], again["disturbances"])


if __name__ == "__main__":
    support.main()
