"""A question session in a running night: drawn, announced, stored, scored; and one broken off."""
import json
import random
import signal
import subprocess
import threading
import time

import support
from live import House
from support import ROOMWAKE

RATE_HZ = 20
PLAN = {"title": "does it knock back", "channels": ["electric"], "ask_s": 0.2, "window_s": 1.2,
        "rest_s": 0.6, "expect_response": 0.9, "expect_by_chance": 0.05,
        "questions": [{"text": f"question {i}", "pattern": 1} for i in range(4)]}


class Meter(threading.Thread):
    """A home-made node that sends quiet noise, and one spike half a second after each knock()."""

    def __init__(self, port):
        super().__init__(daemon=True)
        self.knock_at = None
        self.over = threading.Event()
        self.sender = subprocess.Popen(
            ["mosquitto_pub", "-p", str(port), "-q", "1", "-t", "roomwake/testhouse/n1/senml",
             "-l"], stdin=subprocess.PIPE, text=True)

    def knock(self):
        self.knock_at = time.time() + 0.5

    def run(self):
        draw = random.Random(3)
        next_s = round(time.time(), 1)
        while not self.over.wait(max(0.0, next_s + 0.1 - time.time())):
            pack = [{"n": "electric", "u": "V", "t": i / RATE_HZ,
                     "v": round(draw.gauss(1.0, 0.002), 5)} for i in range(2)]
            if self.knock_at and next_s >= self.knock_at:
                self.knock_at = None
                pack[0]["v"] = 1.5
            pack[0]["bt"] = next_s
            self.sender.stdin.write(json.dumps(pack) + "\n")
            self.sender.stdin.flush()
            next_s = round(next_s + 0.1, 1)
        self.sender.stdin.close()
        self.sender.wait()


class QuestionsTest(support.Case):
    def setUp(self):
        super().setUp()
        site = support.site(rooms=("hall", "kitchen"),
                            channels=[{"name": "electric", "unit": "V", "rate_hz": RATE_HZ}],
                            baseline_s=8, false_onsets_per_hour=2)
        self.house = House(self, site)
        self.house.start_station()
        self.meter = Meter(self.house.broker_port)
        self.meter.start()

    def ask(self, name):
        plan = self.write(f"{name}.json", PLAN)
        return self.start(name, ROOMWAKE, "ask", "--plan", plan)

    def answer_all(self, session):
        """Knocks whenever something was asked, never else."""
        answered = 0
        while answered < 4:
            session.wait_output(rf"(?s)(ASK NOW.*?now wait.*){{{answered + 1}}}")
            self.meter.knock()
            answered += 1
        session.wait_output(r"^over ")

    def test_a_session_is_scored_and_a_broken_one_counts_as_tried(self):
        self.house.station.wait_output(r"watching +n1")
        session = self.ask("first")
        self.answer_all(session)
        self.assertEqual(session.process.wait(20), 0, session.output())
        broken = self.ask("second")
        broken.wait_output(r"^session")
        self.assertEqual(broken.stop(with_signal=signal.SIGINT), 1)
        self.assertIn("BROKEN OFF", broken.output())
        self.assertIn("broken off", self.house.station.output())
        self.meter.over.set()
        self.meter.join()
        self.house.stop_station()

        told = self.run(ROOMWAKE, "answers", self.house.night, check=0).stdout
        first, second = told.split("\n\nQuestions ")
        self.assertIn("after a question 4 of 4, when nobody asked 0 of 4", first)
        self.assertIn("in 1 of 100 sessions (p = 0.0143, exact)", first)
        self.assertIn("from a seed bound before the start; it fits", first)
        self.assertEqual(first.count("asked for exactly 1, 1 came: as asked."), 4)
        self.assertIn("Sessions tried in this night: 2, this is number 1", first)
        self.assertIn("responses came more often after questions", first)
        self.assertIn("BROKEN OFF: stopped by the team", second)
        self.assertIn("nothing can be claimed", second)
        self.run(ROOMWAKE, "verify", self.house.night, check=0)
        self.run(ROOMWAKE, "answers", self.house.night, "--session", "q-0", check=1)
        rows = support.run("sqlite3", self.house.night, "SELECT what, count(*) FROM question"
                           " GROUP BY what ORDER BY what", check=0).stdout.split()
        self.assertIn("asked|4", rows)
        self.assertIn("silent|4", rows)
        self.compare_with_the_night_before()

    def compare_with_the_night_before(self):
        """What was tried is told over all nights, also where one night had no session."""
        begin_s = int(time.time()) - 86400
        rows = [f"{begin_s + i / RATE_HZ:.2f},n1,{1 + 0.002 * random.gauss(0, 1):.5f}"
                for i in range(20 * RATE_HZ)]
        before = self.folder / "before.sqlite"
        self.run(ROOMWAKE, "import", "--site", str(self.house.site_path), "--csv", str(self.write(
            "before.csv", "\n".join(["time,node,electric"] + rows) + "\n")), "--night", str(before),
            check=0)
        told = self.run(ROOMWAKE, "compare", str(before), str(self.house.night), check=0).stdout
        self.assertIn("Sessions tried in these nights: 2 (0, 2), broken off: 1.", told)

    def test_a_plan_without_controls_and_no_running_night_say_what_to_do(self):
        bad = dict(PLAN, controls=0)
        done = self.run(ROOMWAKE, "ask", "--plan", self.write("bad.json", bad), check=2)
        self.assertIn("in which nobody asks", done.stderr)
        good = self.write("good.json", PLAN)
        done = self.run(ROOMWAKE, "ask", "--plan", good, "--check", check=0)
        self.assertIn("times in 100", done.stdout)
        done = self.run(ROOMWAKE, "ask", "--plan", good, "--site-id", "elsewhere", check=1)
        self.assertIn("elsewhere", done.stderr)
        self.meter.over.set()
        self.meter.join()
        self.house.stop_station()


class PlanTest(support.Case):
    def test_a_plan_that_the_site_cannot_answer_is_refused_and_a_still_night_is_scored(self):
        house = House(self, support.site(rooms=("hall", "kitchen")))
        house.start_station()
        house.station.wait_output(r"broker +there")
        wrong = self.write("wrong.json", PLAN)  # nobody here has an antenna
        self.assertIn('channels[0]: none of the nodes that count has "electric"',
                      self.run(ROOMWAKE, "ask", "--plan", wrong, check=2).stderr)
        session = self.start("still", ROOMWAKE, "ask", "--plan", self.write(
            "still.json", dict(PLAN, channels=["magnetic"])))
        session.wait_output(r"NOTE: 4 quantities are still learning")
        session.wait_output(r"^session")
        self.assertEqual(session.stop(with_signal=signal.SIGINT), 1)
        house.station.wait_output(r"broken off")
        house.stop_station()
        told = self.run(ROOMWAKE, "answers", house.night, check=0).stdout
        self.assertIn("after a question 0 of 0, when nobody asked 0 of 0", told)
        self.assertIn("nothing can be claimed", told)

    def test_the_power_that_a_plan_states_is_scipys(self):
        from scipy.stats import binom, fisher_exact
        for count, asked, chance in ((6, 0.9, 0.1), (12, 0.5, 0.1), (20, 0.6, 0.3)):
            power = sum(binom.pmf(a, count, asked) * binom.pmf(b, count, chance)
                        for a in range(count + 1) for b in range(count + 1)
                        if fisher_exact([[a, count - a], [b, count - b]], "greater")[1] <= 0.05)
            plan = dict(PLAN, expect_response=asked, expect_by_chance=chance,
                        questions=[{"text": "once"}] * count)
            told = self.run(ROOMWAKE, "ask", "--check", "--plan", self.write("power.json", plan),
                            check=0).stdout
            self.assertIn(f"finds it {100 * power:.0f} times in 100", told)


if __name__ == "__main__":
    support.main()
