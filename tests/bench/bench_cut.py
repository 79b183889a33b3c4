#!/usr/bin/python3
"""A network that is gone for long: two of three nodes lose the base station for so many minutes (one
link refuses, the other swallows), then all comes back and every sample is compared with what was
played. usage: bench_cut.py [MINUTES], 60 where not told. Must never be part of the tests: it takes
as long as the cut.
"""
import importlib.machinery
import importlib.util
import pathlib
import sys
import time
import unittest

SYSTEM = pathlib.Path(__file__).resolve().parent.parent / "system"
sys.path.insert(0, str(SYSTEM))

import support  # noqa: E402  its folder is known only now

loader = importlib.machinery.SourceFileLoader("chaos", str(SYSTEM / "chaos"))
chaos = importlib.util.module_from_spec(importlib.util.spec_from_loader("chaos", loader))
loader.exec_module(chaos)
MINUTES = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
BEFORE_S = 30


class Cut(chaos.Chaos):
    """The same house and the same comparison; one fault only, and a long one."""

    def run_faults(self):
        time.sleep(BEFORE_S)
        self.links.cut("n1")
        self.links.swallow("n2")
        self.counts = {"cut": 1, "swallow": 1}
        time.sleep(60 * MINUTES)
        before = {node: len(self.stored().get(node, ())) for node in chaos.NODES}
        began = time.monotonic()
        self.links.mend("n1")
        self.links.mend("n2")
        support.wait_for("what the cut kept back to be stored", lambda: all(
            len(self.stored()[node]) > 0.9 * len(self.stored()["n3"]) for node in ("n1", "n2")),
            900, 1)
        after = {node: len(self.stored()[node]) for node in chaos.NODES}
        print(f"cut for {MINUTES:g} min: {before} frames stored before it ended, {after} "
              f"{time.monotonic() - began:.0f} s later", flush=True)


# Only this one: what is inherited runs under the name of its class.
chaos.PLAYED_S = int(60 * MINUTES + BEFORE_S + 1200)
chaos.Chaos.start_node.__defaults__ = (chaos.PLAYED_S,)
del chaos.Chaos

if __name__ == "__main__":
    unittest.main(argv=[sys.argv[0]], verbosity=2)
