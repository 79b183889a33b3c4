"""Several nights of one building: what comes by the clock shows itself, what does not is not claimed."""
import datetime
import random
import re

import support
from support import ROOMWAKE

FIRST_S = 1_700_000_000   # 2023-11-14 22:13:20 UTC
LENGTH_S = 7200
RATE_HZ = 4
TIMER_S = 3300            # after the start of every night
QUIET_S = 600


def night_csv(number, timer, seed):
    """Three nodes; a pulse that all see at once at random times, and one by the timer."""
    draw = random.Random(seed)
    start_s = FIRST_S + number * 86400
    pulses = [draw.uniform(QUIET_S + 100, LENGTH_S - 100) for _ in range(3)]
    pulses += [TIMER_S + draw.uniform(-20, 20)] if timer else []
    lines = ["time,node,magnetic.x,magnetic.y,magnetic.z"]
    for i in range(LENGTH_S * RATE_HZ):
        t = i / RATE_HZ
        pulse = 6e-7 if any(at <= t < at + 2 for at in pulses) else 0
        for node in ("n1", "n2", "n3"):
            field = [draw.gauss(18e-6, 2e-8) + pulse, draw.gauss(-2e-6, 2e-8), draw.gauss(43e-6, 2e-8)]
            lines.append(f"{start_s + t:.2f},{node}," + ",".join(f"{value:.3e}" for value in field))
    return "\n".join(lines) + "\n"


class CompareTest(support.Case):
    def setUp(self):
        super().setUp()
        self.env["TZ"] = "UTC"

    def make_night(self, number, timer=True, seed=None, site="testhouse"):
        made = support.site(rooms=("hall", "passage", "kitchen"), channels=[
            {"name": f"magnetic.{axis}", "unit": "T", "rate_hz": RATE_HZ} for axis in "xyz"],
            baseline_s=QUIET_S, site=site)
        night = self.folder / f"{site}-{number}-{timer}.sqlite"
        self.run(ROOMWAKE, "import", "--site", self.write("site.json", made), "--csv",
                 self.write("night.csv", night_csv(number, timer, seed or 100 + number)),
                 "--night", night, check=0)
        return night

    def test_a_timer_shows_itself_over_the_nights(self):
        nights = [self.make_night(number) for number in range(4)]
        # In any order.
        told = self.run(ROOMWAKE, "compare", *reversed(nights), check=0).stdout
        line = re.search(r"unexplained, same clock time: in 4 of 4 nights, (\S+) to (\S+): BY THE CLOCK,"
                         r" since chance does that in 1 of (\d+)", told)
        self.assertTrue(line, told)
        wanted = datetime.datetime.fromtimestamp(FIRST_S + TIMER_S, datetime.timezone.utc)
        for text in line.groups()[:2]:
            at = datetime.datetime.strptime(text, "%H:%M:%S").replace(
                year=wanted.year, month=wanted.month, day=wanted.day, tzinfo=datetime.timezone.utc)
            self.assertLess(abs((at - wanted).total_seconds()), 25)
        self.assertGreater(int(line[3]), 20)
        self.assertIn("Look for a timer", told)
        found = [len(self.findings(night)["coincidences"]) for night in nights]
        self.assertIn(f"all: {sum(found)} unexplained", told)
        for room in ("hall", "passage", "kitchen"):
            self.assertRegex(told, rf"\({room}\):" + "".join(f" {n} \\({n}\\)" for n in found))
        # Three nodes at once are no accident of three quiet ones, whatever else they are.
        self.assertIn("more than accidents of independent readings bring", told)
        self.assertIn("That does not say what", told)

        # The same without the timer: nothing is claimed.
        none = [self.make_night(number, timer=False) for number in range(4, 6)]
        told = self.run(ROOMWAKE, "compare", *none, check=0).stdout
        self.assertNotIn("BY THE CLOCK", told)
        self.assertIn("No night stands out", told)

        # Wrong use says what to do.
        self.assertIn("NIGHT", self.run(ROOMWAKE, "compare", nights[0], check=2).stderr)
        self.assertIn("must not count twice", self.run(
            ROOMWAKE, "compare", nights[0], nights[0], check=2).stderr)
        other = self.make_night(9, site="elsewhere")
        self.assertIn("only nights in the same building", self.run(
            ROOMWAKE, "compare", nights[0], other, check=2).stderr)
        self.run(ROOMWAKE, "compare", nights[0], self.folder / "none.sqlite", check=1)


if __name__ == "__main__":
    support.main()
