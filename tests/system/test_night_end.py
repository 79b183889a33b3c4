"""A program that still reads the night when it ends: it is waited for, and told; if it stays, the night
is closed all the same, opens, verifies, and becomes one file by the command that is told."""
import re
import shlex
import signal
import sqlite3
import subprocess

import support
from live import House
from support import ROOMWAKE

SCRIPT = {"version": 1, "seed": 3, "length_s": 60}


class NightEndTest(support.Case):
    def begin(self):
        """A short night with a node, and another program in the midst of reading it."""
        house = House(self, support.site(rooms=("hall", "kitchen")), SCRIPT)
        house.start_station()
        house.start_simulated("n1")
        house.station.wait_output(r"node +n1 .*here")
        self.reader = sqlite3.connect(f"file:{house.night}?mode=ro", uri=True)
        self.rows = self.reader.execute("SELECT * FROM meta")
        self.assertIsNotNone(self.rows.fetchone())
        house.stop_nodes()
        house.station.process.send_signal(signal.SIGTERM)
        house.station.wait_output(r"closing +all is stored and sealed, but another program")
        return house

    def stop_reading(self):
        self.rows.close()
        self.reader.close()

    def beside(self, house):
        return sorted(path.name for path in self.folder.glob("night.sqlite?*"))

    def test_who_still_reads_the_night_is_waited_for(self):
        house = self.begin()
        self.stop_reading()
        self.assertEqual(house.station.process.wait(20), 0, house.station.output())
        self.assertEqual(self.beside(house), [])
        self.assertNotIn("still has it open", house.station.output())
        self.run(ROOMWAKE, "verify", house.night, check=0)

    def test_whoever_stays_does_not_keep_the_night_from_being_closed(self):
        house = self.begin()
        house.station.process.send_signal(signal.SIGINT)  # the team waits no longer
        self.assertEqual(house.station.process.wait(20), 0, house.station.output())
        told = house.station.output()
        self.assertIn("The night is closed: ", told)
        self.assertIn("night.sqlite-wal", self.beside(house))
        self.assertIn("night.sqlite-wal: keep both together", told)
        checked = self.run(ROOMWAKE, "verify", house.night, check=0).stdout
        self.assertIn(", closed", checked)
        self.run(ROOMWAKE, "review", house.night, check=0)
        self.stop_reading()
        command = re.search(r"make it one file: (sqlite3 .*)$", told, re.M).group(1)
        subprocess.run(shlex.split(command), check=True, stdout=subprocess.DEVNULL)
        self.assertEqual(self.beside(house), [])
        self.run(ROOMWAKE, "verify", house.night, check=0)


if __name__ == "__main__":
    support.main()
