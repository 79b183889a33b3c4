"""The base station's disk full, refusing to sync, and cut off from its power: what was told as stored
is on it, and recording goes on when it can."""
import shutil
import subprocess
import unittest

import faults
import support
import truth
from live import House

CHANNELS = [{"name": "electric", "unit": "count", "rate_hz": 50},
            {"name": "temperature", "unit": "Cel", "rate_hz": 0}]
SHIM = r"""
#include <errno.h>
#include <sys/syscall.h>
#include <unistd.h>
int fsync(int fd)
{
    if (access(getenv_path(), F_OK) == 0) {
        errno = EIO;
        return -1;
    }
    return (int)syscall(SYS_fsync, fd);
}
int fdatasync(int fd) { return fsync(fd); }
"""


class DiskTest(support.Case):
    def house(self, night_folder, env=None):
        site = support.site(rooms=("hall",), channels=CHANNELS, baseline_s=5)
        house = House(self, site, own_broker=False)
        house.night = night_folder / "night.sqlite"
        house.start_broker()
        self.env.update(env or {})
        house.start_station()
        for name in env or {}:
            del self.env[name]
        played = self.folder / "played.csv"
        truth.write_played(played, 1, 200)
        config = house.node_config("n1", {"driver": "replay", "path": str(played), "speed": "real",
                                          "units": {"electric": "count", "temperature": "Cel"}})
        house.nodes["n1"] = self.start("n1", support.NODE, "--config", config)
        return house

    def frames(self, house):
        return truth.read_frames(house.night).get("n1", {})

    def wait_more(self, house, more=3):
        had = len(self.frames(house))
        support.wait_for("more to be stored", lambda: len(self.frames(house)) >= had + more, 90, 0.2)

    def end_and_compare(self, house):
        house.stop_nodes()
        house.stop_station()
        self.run(support.ROOMWAKE, "verify", str(house.night), check=0)
        rows = truth.read_rows(self.run(support.ROOMWAKE, "export", str(house.night), "--format",
                                        "csv", check=0).stdout)["n1"]
        gaps = truth.read_gaps(house.night).get("n1", [])
        self.assertEqual(gaps, [])
        values = [value for _, value in rows["electric"]]
        self.assertGreater(len(values), 100)
        self.assertEqual(values, list(range(truth.START_STEP, truth.START_STEP + len(values))))
        self.assertEqual(sorted(p.name for p in house.night.parent.glob("night.sqlite*")),
                         ["night.sqlite"])

    @unittest.skipUnless(faults.may_mount(), "mounting needs root")
    def test_a_full_disk_pauses_the_recording_and_costs_no_sample(self):
        disk = faults.Disk(self.folder / "disk", 100)
        try:
            house = self.house(disk.folder)
            self.wait_more(house)
            disk.fill(1 << 20)
            house.station.wait_output(r"NOT RECORDING +the disk refuses: .*reserve", 60)
            held = len(self.frames(house))
            spool = self.folder / "spool-n1"
            support.wait_for("the node to hold what is not stored", lambda: len(
                faults.spool_frames(spool)) >= held + 5, 60, 0.2)
            self.assertEqual(len(self.frames(house)), held)
            disk.clear()
            house.station.wait_output(r"disk +recording again; nothing was lost", 60)
            self.wait_more(house)
            self.end_and_compare(house)
        finally:
            for program in self.programs:
                program.close()
            disk.close()

    def test_a_sync_that_fails_stores_nothing_and_says_so(self):
        fails = self.folder / "syncs-fail"
        source = self.write("shim.c", SHIM.replace("getenv_path()", f'"{fails}"'))
        shim = self.folder / "shim.so"
        subprocess.run(["gcc", "-shared", "-fPIC", "-o", shim, source], check=True)
        libraries = str(shim)
        linked = subprocess.run(["ldd", support.ROOMWAKE], capture_output=True, text=True).stdout
        for line in linked.splitlines():
            if "libasan" in line:  # it must come first
                libraries = f"{line.split()[2]} {shim}"
        (self.folder / "night").mkdir()
        house = self.house(self.folder / "night", {"LD_PRELOAD": libraries})
        self.wait_more(house)
        fails.touch()
        house.station.wait_output(r"NOT RECORDING +the disk refuses: .*disk I/O error", 60)
        had = set(self.frames(house))
        support.wait_for("the node to hold what is not stored", lambda: len(
            faults.spool_frames(self.folder / "spool-n1")) >= len(had) + 5, 60, 0.2)
        self.assertEqual(set(self.frames(house)), had)
        fails.unlink()
        house.station.wait_output(r"disk +recording again", 60)
        self.wait_more(house)
        self.end_and_compare(house)

    @unittest.skipUnless(faults.may_mount() and shutil.which("mkfs.ext4"), "mounting needs root")
    def test_what_was_told_as_stored_outlives_a_power_cut(self):
        image, mounted, cut = (self.folder / name for name in ("disk.img", "disk", "cut"))
        mounted.mkdir()
        cut.mkdir()
        with open(image, "wb") as file:
            file.truncate(160 << 20)
        subprocess.run(["mkfs.ext4", "-q", image], check=True)
        subprocess.run(["mount", "-o", "loop", image, mounted], check=True)
        try:
            house = self.house(mounted)
            listener = self.start("stored", "mosquitto_sub", "-p", str(house.broker_port), "-t",
                                  "roomwake/testhouse/n1/stored")
            for number in range(4):
                self.wait_more(house, 2 + number)
                told = [truth.read_stored(line) for line in listener.output().splitlines() if line]
                copy = self.folder / f"cut-{number}.img"
                shutil.copyfile(image, copy)  # while it is mounted and written
                subprocess.run(["mount", "-o", "loop", copy, cut], check=True)
                try:
                    kept = truth.read_frames(self.copy_night(cut))["n1"]
                finally:
                    subprocess.run(["umount", cut], check=True)
                copy.unlink()
                self.assertTrue(told)
                for boot, seq in told:
                    self.assertIn((boot, seq), kept)
            self.end_and_compare(house)
        finally:
            for program in self.programs:
                program.close()
            subprocess.run(["umount", "-l", mounted], check=True)

    def copy_night(self, folder):
        """Away from the mount, so that it can be opened for recovery."""
        away = self.folder / "away"
        shutil.rmtree(away, ignore_errors=True)
        away.mkdir()
        for path in folder.glob("night.sqlite*"):
            shutil.copy(path, away)
        done = self.run(support.ROOMWAKE, "verify", str(away / "night.sqlite"))
        self.assertNotRegex(done.stdout, r"OFF +(file|block|frame|fit|boot|channel)\b")
        return away / "night.sqlite"


if __name__ == "__main__":
    support.main()
