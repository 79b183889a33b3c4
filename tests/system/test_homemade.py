"""Home-made nodes: the two examples of node/homemade, as they stand, against a real base station:
their numbers are in the night to the last digit, with the uncertainty that their times deserve.
"""
import csv
import io
import time

import support
from live import House
from support import ROOMWAKE, ROOT

TEMPERATURE = [{"name": "temperature", "unit": "Cel", "rate_hz": 0}]
NUMBERS = {"n1": ["11.5", "11.625", "-0.0625"], "n2": ["20.1", "20.15", "20.2"]}


class HomeMadeTest(support.Case):
    def rows(self, house):
        """{node: [(time in s, value, clock uncertainty in s)]}"""
        text = self.run(ROOMWAKE, "export", str(house.night), "--format", "csv", check=0).stdout
        rows, sd = {"n1": [], "n2": []}, {}
        for row in csv.DictReader(io.StringIO(text)):
            sd[row["node"]] = row["clock-uncertainty"] or sd.get(row["node"])
            if row.get("temperature"):
                rows[row["node"]].append((float(row["time"]), row["temperature"],
                                          float(sd[row["node"]])))
        return rows

    def publish(self, house, program, node):
        """One number at a time; returns when each was given to the program."""
        sent = []
        for number in NUMBERS[node]:
            sent.append(time.time())
            self.run(str(program), "127.0.0.1", str(house.broker_port), "", "testhouse", node, "-",
                     "temperature", "Cel", stdin=number + "\n", check=0)
        return sent

    def test_the_examples_numbers_are_in_the_night(self):
        house = House(self, support.site(rooms=("hall", "passage"), channels=TEMPERATURE))
        house.start_station()
        program = self.folder / "publish"
        self.run("cc", "-std=c11", "-D_GNU_SOURCE", "-Wall", "-Wextra", "-Werror",
                 str(ROOT / "node/homemade/publish.c"), "-lmosquitto", "-o", str(program), check=0)
        sent = {"n1": self.publish(house, program, "n1"),
                "n2": self.publish(house, ROOT / "node/homemade/publish.sh", "n2")}
        house.station.wait_output(r"n2: its SenML times count from arrival", 30)
        house.stop_station()
        rows = self.rows(house)
        for node, numbers in NUMBERS.items():
            self.assertEqual([float(value) for _, value, _ in rows[node]],
                             [float(number) for number in numbers], rows)
            for given, (at, _, sd) in zip(sent[node], rows[node]):
                self.assertGreater(at, given - 0.01)
                self.assertLess(at, given + 5.0)
                # A clock of its own is believed; what counts from arrival may have waited.
                self.assertEqual(sd, 0.001 if node == "n1" else 0.1)


if __name__ == "__main__":
    support.main()
