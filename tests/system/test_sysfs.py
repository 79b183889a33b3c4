"""Drivers over the kernel's files: a tree that misbehaves on command, read by the real node, through the broker,
into the night. Every count that the tree gave is there, and what failed is told as a named gap.
"""
import contextlib
import json
import os
import pathlib
import sqlite3
import subprocess
import sys

import support
from live import House
from support import NODE

SERVER = pathlib.Path(__file__).parent / "fake_sysfs.py"
MAGNETOMETER = "bus/iio/devices/iio:device0"
THERMOMETER = "class/hwmon/hwmon0/temp1_input"
ONE_WIRE = "bus/w1/devices/28-0123456789ab/w1_slave"

CHANNELS = support.MAGNETIC + [{"name": "temperature", "unit": "Cel", "rate_hz": 5},
                               {"name": "cellar", "unit": "Cel", "rate_hz": 1}]


def why_not():
    """Why a FUSE tree can't be had here; None where it can."""
    if not os.path.exists("/dev/fuse"):
        return "no /dev/fuse: the drivers are tested on plain files alone (tests/unit/drivers)"
    try:
        import fusepy  # noqa: F401
    except ImportError:
        return "python3-fusepy is not there (deploy/packages test)"
    return None


class SysfsTest(support.Case):
    def setUp(self):
        super().setUp()
        self.control = self.folder / "control"
        reason = why_not()
        if reason:
            self.skipTest(reason)
        self.root = self.folder / "sys"
        self.root.mkdir()
        self.control.mkdir()
        self.tree = {
            f"{MAGNETOMETER}/name": "hmc5883\n",
            f"{MAGNETOMETER}/in_magn_scale": "0.000073000\n",
            **{f"{MAGNETOMETER}/in_magn_{axis}_raw": {"count_from": at}
               for axis, at in zip("xyz", (100, -5000, 20000))},
            THERMOMETER: {"count_from": 21000},
            ONE_WIRE: "4b 01 4b 46 7f ff 05 10 e1 : crc=e1 YES\n"
                      "4b 01 4b 46 7f ff 05 10 e1 t=20687\n",
        }
        self.put("tree.json", self.tree)
        self.server = self.start("fake-sysfs", sys.executable, SERVER, self.root, self.control)
        try:
            support.wait_for("the tree to be mounted", lambda: os.path.ismount(self.root), 10)
        except AssertionError:
            self.skipTest("FUSE can't mount here: the drivers are tested on plain files alone:\n" +
                          self.server.output()[-500:])

    def tearDown(self):
        if self.control.exists() and hasattr(self, "server"):
            self.unmount()
        super().tearDown()

    def unmount(self):
        self.put("faults.json", {})
        self.server.kill()
        subprocess.run(["umount", "-l", str(self.root)], check=False, capture_output=True)

    def put(self, name, content):
        fresh = self.control / f"{name}.new"
        fresh.write_text(json.dumps(content))
        fresh.rename(self.control / name)

    def start_house(self, first=r"magnetic\.x"):
        house = House(self, support.site(rooms=("hall", "kitchen"), channels=CHANNELS,
                                         baseline_s=10))
        house.start_station()
        path = house.node_config("n1", {"driver": "iio", "device": "hmc5883",
                                        "kind": "magnetometer", "rate_hz": 20})
        config = json.loads(path.read_text())
        config["drivers"] += [{"driver": "hwmon", "rate_hz": 5},
                              {"driver": "onewire", "device": "28-0123456789ab", "rate_hz": 1,
                               "channel": "cellar"}]
        for driver in config["drivers"]:
            driver["root"] = str(self.root)
        config["state_every_s"] = 0.5
        path.write_text(json.dumps(config))
        house.nodes["n1"] = self.start("n1", NODE, "--config", path)
        house.station.wait_output(rf"n1 \(hall\): here, channels {first}")
        return house

    def rows(self, house, sql):
        with contextlib.closing(sqlite3.connect(f"file:{house.night}?mode=ro", uri=True)) as night:
            return night.execute(sql).fetchall()

    def values(self, house, channel):
        import night_samples
        return [value for _, name, _, _, values in night_samples.blocks(str(house.night))
                if name == channel for value in values]

    def given(self, name):
        return [count for path, count in
                map(json.loads, (self.control / "given.jsonl").read_text().splitlines())
                if path == name]

    def samples_now(self, house, channel):
        return self.rows(house, "SELECT coalesce(sum(samples), 0) FROM frame")[0][0]

    def wait_more(self, house, more=60):
        before = self.samples_now(house, None)
        support.wait_for("more samples to be stored",
                         lambda: self.samples_now(house, None) > before + more)

    def test_what_a_sensor_told_is_stored_and_its_faults_are_named_while_the_others_go_on(self):
        house = self.start_house()
        self.wait_more(house)
        # Nonsense, an error, a file that is gone: each is told in words, then mended.
        for fault, words in (({"text": "nonsense\n"}, "nonsense"), ({"error": "EIO"}, "Input/output"),
                             ({"text": ""}, "empty")):
            self.put("faults.json", {f"{MAGNETOMETER}/in_magn_y_raw": fault})
            house.station.wait_output(rf"drivers\[0\] iio: .*{words}")
            self.wait_more(house, 10)  # the thermometer goes on
            self.put("faults.json", {})
            house.station.wait_output(rf"(?s){words}.*no fault any more", 40)
        self.put("tree.json", {key: text for key, text in self.tree.items() if key != THERMOMETER})
        house.station.wait_output(r"drivers\[1\] hwmon: .*(No such file|No such device)")
        self.wait_more(house)  # the magnetometer goes on
        self.put("tree.json", self.tree)
        house.station.wait_output(r"(?s)hwmon: .*no fault any more", 40)
        self.wait_more(house)
        house.stop_nodes()
        house.stop_station()
        # Every count that the tree gave, but those of rounds whose other files failed: none invented.
        for axis in "xz":
            told = self.given(f"{MAGNETOMETER}/in_magn_{axis}_raw")
            counts = [round(float(value) / 73e-10) for value in
                      self.values(house, f"magnetic.{axis}")]
            self.assertEqual(counts, sorted(set(counts)))
            self.assertLessEqual(set(counts), set(told))
            self.assertGreaterEqual(len(counts), len(told) - 30)
        told = self.given(THERMOMETER)
        counts = [round(float(value) * 1000) for value in self.values(house, "temperature")]
        self.assertLessEqual(set(counts), set(told))
        self.assertGreaterEqual(len(counts), len(told) - 3)
        reasons = " ".join(reason for reason, in self.rows(house, "SELECT reason FROM gap"))
        self.assertIn("nonsense", reasons)
        self.assertIn("sys/bus/iio", reasons)  # a reason holds 79 letters: this tree's path is longer

    def test_a_file_that_hangs_holds_up_neither_the_others_nor_the_end(self):
        house = self.start_house()
        self.wait_more(house)
        self.put("faults.json", {f"{MAGNETOMETER}/in_magn_x_raw": {"block": True},
                                 f"{MAGNETOMETER}/in_magn_scale": {"block": True}})
        house.station.wait_output(r"drivers\[0\] iio: no answer", 30)
        before = len(self.given(THERMOMETER))
        support.wait_for("the thermometer to be read on",
                         lambda: len(self.given(THERMOMETER)) > before + 20)
        # It is opened again while its scale hangs too: that is told, and nothing waits for it.
        house.station.wait_output(r"in_magn_scale: no answer", 30)
        self.put("faults.json", {})
        house.station.wait_output(r"(?s)no answer.*no fault any more", 90)
        self.put("faults.json", {THERMOMETER: {"block": True}})
        house.station.wait_output(r"hwmon: no answer", 30)
        # The node ends its work at once; what hangs in the kernel is let go with the process only.
        house.nodes["n1"].process.terminate()
        house.station.wait_output(r"n1 \(hall\): gone")
        self.put("faults.json", {})
        self.assertEqual(house.nodes["n1"].process.wait(30), 0)
        house.stop_station()

    def test_what_is_missing_at_the_start_joins_and_a_wrong_checksum_is_no_sample(self):
        self.put("tree.json", {key: text for key, text in self.tree.items()
                               if not key.startswith(MAGNETOMETER)})
        house = self.start_house(first="temperature")
        self.wait_more(house, 20)  # the thermometers go on without it
        house.station.wait_output(r"drivers\[0\] iio: .*no device is called \"hmc5883\"")
        self.put("tree.json", self.tree)
        house.station.wait_output(r"n1 \(hall\): here again, channels magnetic\.x", 40)
        for text, words in (("4b 01 : crc=00 NO\n4b 01 t=20687\n", "checksum"),
                            ("50 05 : crc=1c YES\n50 05 t=85000\n", "did not convert")):
            self.put("faults.json", {ONE_WIRE: {"text": text}})
            house.station.wait_output(rf"drivers\[2\] onewire: .*{words}")
            self.put("faults.json", {})
            house.station.wait_output(rf"(?s){words}.*no fault any more", 40)
        house.stop_nodes()
        house.stop_station()
        self.assertIn("node restarted: drivers[0] iio was missing and came",
                      [reason for reason, in self.rows(house, "SELECT reason FROM gap")])
        values = self.values(house, "cellar")
        self.assertGreater(len(values), 1)
        self.assertEqual({str(value) for value in values}, {"20.687"})


if __name__ == "__main__":
    support.main()
