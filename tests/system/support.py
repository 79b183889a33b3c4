"""What the system tests share: programs, free ports, waiting for conditions, sites.

Must never sleep for a fixed time where a condition can be waited for, nor end a process that the
test did not start.
"""
import copy
import json
import os
import pathlib
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
BUILD = pathlib.Path(os.environ.get("ROOMWAKE_BUILD", ROOT / "build"))
ROOMWAKE = str(BUILD / "roomwake")
NODE = str(BUILD / "roomwake-node")
MOSQUITTO = shutil.which("mosquitto") or "/usr/sbin/mosquitto"


def free_port(kind=socket.SOCK_STREAM):
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(what, condition, deadline_s=30.0, every_s=0.02):
    """Returns the condition's first true value; fails with `what` at the deadline."""
    end = time.monotonic() + deadline_s
    while True:
        value = condition()
        if value:
            return value
        if time.monotonic() > end:
            raise AssertionError(f"waited {deadline_s} s in vain: {what}")
        time.sleep(every_s)


class Program:
    """A started process with its output in a file; ended by its own pid only."""

    def __init__(self, arguments, folder, name, env=None):
        self.name = name
        self.path = pathlib.Path(folder) / f"{name}.log"
        self.log = open(self.path, "ab")
        full = dict(os.environ, **(env or {}))
        self.process = subprocess.Popen([str(a) for a in arguments], stdout=self.log,
                                        stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL,
                                        env=full, cwd=folder)

    def output(self):
        return self.path.read_text(errors="replace")

    def wait_output(self, pattern, deadline_s=30.0):
        def condition():
            found = re.search(pattern, self.output(), re.M)
            if not found and self.process.poll() is not None:
                raise AssertionError(f"{self.name} ended ({self.process.returncode}) before "
                                     f"{pattern!r}:\n{self.output()}")
            return found
        try:
            return wait_for(f"{self.name} to say {pattern!r}", condition, deadline_s)
        except AssertionError as fault:
            raise AssertionError(f"{fault}\n{self.output()[-4000:]}") from None

    def stop(self, deadline_s=20.0, with_signal=signal.SIGTERM):
        if self.process.poll() is None:
            self.process.send_signal(with_signal)
        try:
            self.process.wait(deadline_s)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
            raise AssertionError(f"{self.name} did not end in {deadline_s} s:\n"
                                 f"{self.output()[-4000:]}") from None
        return self.process.returncode

    def kill(self):
        self.process.kill()
        self.process.wait()

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.log.close()


def run(*arguments, check=None, env=None, stdin=None, timeout=120):
    """Runs to the end; `check` is the expected exit code or None for any."""
    done = subprocess.run([str(a) for a in arguments], capture_output=True, text=True,
                          errors="replace", timeout=timeout, input=stdin,
                          env=dict(os.environ, **(env or {})))
    if check is not None and done.returncode != check:
        raise AssertionError(f"{' '.join(map(str, arguments))}: exit {done.returncode}, expected "
                             f"{check}\n{done.stdout}\n{done.stderr}")
    return done


def rooms_in_a_row(names, width_m=4.0):
    """Rooms side by side along x, each with a door to the next."""
    rooms, doors = [], []
    for i, name in enumerate(names):
        left, right = i * width_m, (i + 1) * width_m
        rooms.append({"id": name, "title": name.capitalize(), "floor": 0,
                      "outline_m": [[left, 0], [right, 0], [right, 4], [left, 4]]})
        if i:
            doors.append({"between": [names[i - 1], name], "at_m": [left, 2]})
    return rooms, doors


def node(name, room_index, channels, width_m=4.0, **more):
    entry = {"id": name, "room": None, "position_m": [(room_index + 0.5) * width_m, 2.0, 0.8],
             "channels": channels}
    entry.update(more)
    return entry


MAGNETIC = [{"name": f"magnetic.{axis}", "unit": "T", "rate_hz": 50} for axis in "xyz"]
MOTION = {"name": "motion", "unit": "/", "rate_hz": 0}


def site(rooms=("hall", "passage", "kitchen", "store"), channels=None, **more):
    """A site with one node a room, n1 ... in order."""
    row, doors = rooms_in_a_row(list(rooms))
    nodes = []
    for i, room in enumerate(rooms):
        entry = node(f"n{i + 1}", i, copy.deepcopy(channels or MAGNETIC + [MOTION]))
        entry["room"] = room
        nodes.append(entry)
    made = {"site": "testhouse", "title": "A house of the tests' own", "mains_hz": 50,
            "baseline_s": 60, "rooms": row, "doors": doors, "nodes": nodes}
    made.update(more)
    return made


class Case(unittest.TestCase):
    """A test with a folder of its own and programs that are ended after it."""

    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="roomwake-test-"))
        self.run_dir = self.folder / "run"
        self.env = {"ROOMWAKE_RUN_DIR": str(self.run_dir), "TMPDIR": str(self.folder),
                    "ROOMWAKE_KEY": str(self.folder / "base.key"),
                    "ROOMWAKE_KEYS": str(self.folder / "keys")}
        self.programs = []

    def tearDown(self):
        for program in reversed(self.programs):
            program.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    def start(self, name, *arguments, env=None):
        program = Program(arguments, self.folder, name, {**self.env, **(env or {})})
        self.programs.append(program)
        return program

    def run(self, *arguments, **more):  # unittest calls run(result) itself
        if arguments and isinstance(arguments[0], str):
            return run(*arguments, env=self.env, **more)
        return super().run(*arguments, **more)

    def write(self, name, content):
        path = self.folder / name
        path.write_text(content if isinstance(content, str) else json.dumps(content, indent=1))
        return path

    def findings(self, night):
        return json.loads(self.run(ROOMWAKE, "export", str(night), "--format", "json",
                                   check=0).stdout)


def main():
    for program in (ROOMWAKE, NODE):
        if not os.access(program, os.X_OK):
            sys.exit(f"{program}: not built")
    unittest.main(verbosity=2)
