"""Two boards, their firmware's own image in a simulator, for half a simulated hour: every sample of
the night equal to what the pins were given, every tick exact, and how far their times are off the
truth as their resonators (half a per cent off, one each way) are learnt. In real time: hurried, what a
machine takes to wake a program would count many times over. Run by hand:

ROOMWAKE_BUILD=build tests/bench/bench_board.py [SECONDS]"""
import os
import pathlib
import sys

import numpy

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "system"))
import boards
import support
from test_board import MS, SECOND, BoardHouse

LENGTH_S = 1800
SETTLED_S = 300


class BoardBench(BoardHouse):
    def test_half_an_hour_of_two_boards(self):
        self.start_house(hurry=1)
        while self.boards.second() < LENGTH_S:
            self.boards.say("n1", "spike 1")
            self.boards.say("n2", f"edge {self.boards.second() // 60 % 2}")
            self.boards.wait_seconds(60)
        self.end_house()
        worst_ms = {name: self.tell_times(name) for name in self.boards.names}
        for name, off_ms in worst_ms.items():
            self.assertLess(off_ms, 1.0, f"{name}, after five minutes")

    def tell_times(self, name):
        """How far its times are off, as the night goes on; returns the most after five minutes."""
        holes, off_ms, true_times = self.align(name)
        self.assertEqual(holes, [])
        since_s = (true_times - true_times[0]) / SECOND
        for begin in (0, 10, 30, 60, 120, 300, 600, 1200):
            part = numpy.abs(off_ms[(since_s >= begin) & (since_s < begin * 2 + 10)])
            if len(part):
                print(f"  {name} from {begin} s to {begin * 2 + 10} s: off by {numpy.max(part):.3f} ms "
                      f"at the most, 99 % within {numpy.quantile(part, 0.99):.3f}, half within "
                      f"{numpy.median(part):.3f}", file=sys.stderr)
        settled = numpy.abs(off_ms[since_s >= SETTLED_S])
        return float(numpy.max(settled)) if len(settled) else 0.0


if __name__ == "__main__":
    if not os.access(boards.LIVE, os.X_OK):
        print("no simulated board was built: skipped")
        sys.exit(0)
    if len(sys.argv) > 1:
        LENGTH_S = int(sys.argv.pop())
    support.main()
