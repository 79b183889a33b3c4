"""The night file by hand: the example queries of DEVELOPERS.md, and the samples without our build."""
import decimal
import math
import pathlib
import re
import subprocess
import sys

import support
from shared_night import Shared

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import night_samples  # noqa: E402

decimal.getcontext().prec = 60


class NightFileTest(support.Case):
    def test_every_example_query_runs_and_answers(self):
        shared = Shared(self)
        text = (support.ROOT / "DEVELOPERS.md").read_text()
        part = text[text.index("## The night file"):]
        part = part[:part.index("\n## ", 4)]
        queries = re.findall(r'^sqlite3 night\.sqlite "(.*?)"$', part, re.M | re.S)
        self.assertGreaterEqual(len(queries), 5)
        for query in queries:
            done = subprocess.run(["sqlite3", "-readonly", str(shared.night), query],
                                  capture_output=True, text=True, check=False)
            self.assertEqual((done.returncode, done.stderr), (0, ""), query)
            self.assertNotEqual(done.stdout, "", query)

    def test_pythons_own_sqlite_gives_every_sample_to_the_digit(self):
        shared = Shared(self)
        self.compare(shared, shared.night)

    def test_every_form_of_a_block_is_read(self):
        """Counts that need plain int32, zstd's planes, Rice and a prediction; values that need decimals."""
        shared = Shared(self)
        draw = decimal.Decimal(1)
        lines = ["time,node,magnetic.x,temperature,motion"]
        for i in range(4000):
            draw = draw * 69069 % 4294967291
            steady = int(i / 700) % 2
            wide = f"{draw}.{int(draw) % 89 + 10}{i}" if i % 3 == 0 else ""
            lines.append(f"{1700000000 + i * 0.02:.2f},n1,{int(draw) - 2147483648}e-9,{wide},{steady}")
            hum = f"{round(300 * math.sin(i / 3)) + int(draw) % 9}" if i < 900 else ""
            lines.append(f"{1700000000 + i * 0.02:.2f},n2,{(i * i) % 1000 * 1000003}e-9,{hum},")
            few = f"{int(draw) % 1021}" if i < 200 else ""
            lines.append(f"{1700000000 + i * 0.02:.2f},n3,{100 + i % 2}e-9,{few},")
        rows = self.write("wide.csv", "\n".join(lines) + "\n")
        night = self.folder / "wide.sqlite"
        shared.import_as("csv", rows, night)
        codecs = {codec for codec, in __import__("sqlite3").connect(night).execute(
            "SELECT DISTINCT codec FROM block")}
        self.assertGreaterEqual(codecs, {0, 1, 2, 3})
        self.assertTrue(codecs & {16, 17}, codecs)
        self.compare(shared, night)

    def compare(self, shared, night):
        found = {}
        for node, channel, _, times, values in night_samples.blocks(night):
            for time_ns, value in zip(times, values):
                self.assertNotIn((node, channel, time_ns), found)
                found[node, channel, time_ns] = value
        table = shared.export("csv", f"{night.stem}-out.csv", night=night).read_text().splitlines()
        columns = table[0].split(",")[2:]
        for line in table[1:]:
            seconds, node, *cells = line.split(",")
            time_ns = int(decimal.Decimal(seconds) * 10**9)
            for channel, cell in zip(columns, cells):
                if cell and channel != "clock-uncertainty":
                    self.assertEqual(found.pop((node, channel, time_ns)), decimal.Decimal(cell))
        self.assertEqual(found, {})


if __name__ == "__main__":
    support.main()
