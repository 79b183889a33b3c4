#!/usr/bin/python3
"""What one machine carries of many sites: one broker, a base station a site, and for each site a node
that makes the samples and messages of twelve (4 channels at 600 a second, 17 messages a second).
usage: bench_sites.py [SITES [SECONDS]], 16 and 30 where not told. Prints processor time and memory a
site, of base station and broker, and from them what fills first. Must never count the nodes, which
would be elsewhere.
"""
import os
import pathlib
import socket
import sys
import time
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "system"))

import support  # noqa: E402  its folder is known only now
from support import MOSQUITTO, NODE, ROOMWAKE  # noqa: E402

SITES = int(sys.argv[1]) if len(sys.argv) > 1 else 16
SECONDS = float(sys.argv[2]) if len(sys.argv) > 2 else 30.0
RATE_HZ = 600
CHANNELS = [{"name": f"magnetic.{axis}", "unit": "T", "rate_hz": RATE_HZ} for axis in "xyz"] + [
    {"name": "electric", "unit": "count", "rate_hz": RATE_HZ}]
TICK_S = 1 / os.sysconf("SC_CLK_TCK")


def used(pid):
    """Processor seconds so far, and MiB resident."""
    fields = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    resident = int(pathlib.Path(f"/proc/{pid}/statm").read_text().split()[1])
    return (int(fields[11]) + int(fields[12])) * TICK_S, resident * os.sysconf("SC_PAGE_SIZE") / 2**20


class Sites(support.Case):
    def test_what_many_sites_cost(self):
        port = support.free_port()
        broker = self.start("broker", MOSQUITTO, "-c", self.write(
            "broker.conf", f"listener {port} 127.0.0.1\nallow_anonymous true\nlog_dest stderr\n"
            "log_type error\n" + ("user root\n" if os.geteuid() == 0 else "")))
        rows = int((SECONDS + 120) * RATE_HZ)
        played = self.folder / "played.csv"
        with open(played, "w") as file:
            file.write("time," + ",".join(c["name"] for c in CHANNELS) + "\n")
            for i in range(rows):
                noise = (i * 2654435761 >> 7) % 9
                file.write(f"{i / RATE_HZ:.6f},{2000 + noise}e-8,{1500 - noise}e-8,"
                           f"{3000 + noise // 2}e-8,{500 + noise}\n")
        bases = []
        for i in range(SITES):
            name = f"site{i}"
            time_port = support.free_port(socket.SOCK_DGRAM)
            site = self.write(f"{name}.site", support.site(rooms=("hall",), site=name,
                                                           channels=CHANNELS, baseline_s=5))
            base = self.start(name, ROOMWAKE, "record", "--site", site, "--night",
                              self.folder / f"{name}.sqlite", "--broker",
                              f"mqtt://127.0.0.1:{port}", "--time", f"127.0.0.1:{time_port}")
            base.wait_output(r"broker +there")
            bases.append(base)
            self.start(f"{name}-n1", NODE, "--config", self.write(f"{name}.node", {
                "node": "n1", "site": name, "broker": f"mqtt://127.0.0.1:{port}",
                "time": f"127.0.0.1:{time_port}", "block_s": 0.06,
                "spool": {"path": str(self.folder / f"{name}-spool")},
                "drivers": [{"driver": "replay", "path": str(played), "units":
                             {"electric": "count"}}]}))
        for base in bases:
            base.wait_output(r"watching +n1", 60)
        before = [used(p.process.pid) for p in [broker, *bases]]
        began = time.monotonic()
        time.sleep(SECONDS)  # what is measured, not waited for
        lasted = time.monotonic() - began
        after = [used(p.process.pid) for p in [broker, *bases]]
        shares = [100 * (a[0] - b[0]) / lasted for a, b in zip(after, before)]
        mean = sum(shares[1:]) / SITES
        memory = sum(m for _, m in after[1:]) / SITES
        print(f"{SITES} sites for {lasted:.0f} s: a base station {mean:.2f} % of a core, "
              f"{memory:.1f} MiB; the broker {shares[0]:.2f} % of a core for all, "
              f"{after[0][1]:.1f} MiB: {shares[0] / SITES:.3f} % a site")
        print(f"so a core carries {100 / mean:.0f} base stations, 16 GiB {16384 / memory:.0f}, "
              f"a broker's one thread {100 * SITES / shares[0]:.0f} sites")
        for base in bases:
            self.assertEqual(base.stop(60), 0)


if __name__ == "__main__":
    unittest.main(argv=[sys.argv[0]], verbosity=1)
