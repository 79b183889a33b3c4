#!/usr/bin/python3
"""The README's way from a bare machine to an enrolled two-node site, run as it is written there: in
namespaces of its own where 192.168.7.1 exists, over this source as it stands, leaving it as it was.

Must never reach beyond that network namespace, nor write into the source. Needs root.
"""
import os
import pathlib
import re
import signal
import subprocess
import sys
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from support import Case, ROOT, main, wait_for

# What is written lands in memory; the address is at one end of a cable that leads nowhere.
PREPARE = """
set -e
mount --make-rprivate /
mount -t tmpfs none "$SCRATCH"
for place in "$ROOT" /usr/local; do
  mkdir -p "$SCRATCH/upper$place" "$SCRATCH/work$place"
  mount -t overlay overlay -o "lowerdir=$place,upperdir=$SCRATCH/upper$place,workdir=$SCRATCH/work$place" "$place"
done
mkdir "$SCRATCH/home"
ip link set lo up
ip link add here type veth peer name there
ip addr add 192.168.7.1/24 dev here
ip link set here up
ip link set there up
exec sleep 1000
"""


def commands():
    text = (ROOT / "README.md").read_text()
    block = re.search(r"The shortest way.*?```\n(.*?)```", text, re.S)[1]
    return [line.strip() for line in block.splitlines() if line.strip()]


@unittest.skipUnless(os.geteuid() == 0, "needs root for namespaces")
class FirstSite(Case):
    def setUp(self):
        super().setUp()
        self.scratch = self.folder / "scratch"
        self.scratch.mkdir()
        self.holder = self.start("holder", "unshare", "-mn", "bash", "-c", PREPARE, env={
            "ROOT": str(ROOT), "SCRATCH": str(self.scratch)})
        self.pid = self.holder.process.pid
        wait_for("the namespaces", lambda: self.holder.process.poll() is not None or
                 pathlib.Path(f"/proc/{self.pid}/comm").read_text().strip() == "sleep")
        self.assertIsNone(self.holder.process.poll(), self.holder.output())

    def inside(self, command):
        home = str(self.scratch / "home")
        return ["nsenter", "-m", "-n", "-t", str(self.pid), "env", "-u", "ROOMWAKE_KEYS", "-u",
                "ROOMWAKE_KEY", "-u", "ROOMWAKE_BUILD", f"HOME={home}",
                "PATH=/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin", "bash", "-c",
                f"cd '{ROOT}' && exec {command}" if "&&" not in command else
                f"cd '{ROOT}' && {command}"]

    def test_the_readmes_commands_lead_to_two_nodes_over_tls(self):
        lines = commands()
        self.assertLess(len(lines), 10)
        self.assertFalse((ROOT / "tonight.sqlite").exists())
        running = []
        for i, line in enumerate(lines):
            name = f"line{i}"
            if line.startswith(("roomwake record", "roomwake-node")):
                program = self.start(name, *self.inside(line.split("  #")[0]))
                running.append(program)
                program.wait_output(r"broker +there" if "record" in line else "broker: connected")
                continue
            if line.startswith("roomwake review"):
                base, hall, kitchen = running
                base.wait_output(r"TLS, and a password for everybody; 2 nodes enrolled")
                base.wait_output(r"clock +n-hall \(hall\): in time")
                base.wait_output(r"clock +n-kitchen \(kitchen\): in time")
                for program in (hall, kitchen, base):
                    self.assertEqual(program.stop(with_signal=signal.SIGINT), 0, program.output())
            done = self.run(*self.inside(line), timeout=1500)
            self.assertEqual(done.returncode, 0, line + "\n" + done.stdout[-3000:] + done.stderr[-3000:])
        self.assertRegex(done.stdout, r"n-hall")
        self.assertIn("n-kitchen", done.stdout)
        self.assertFalse((ROOT / "tonight.sqlite").exists(), "the source was written to")


if __name__ == "__main__":
    main()
