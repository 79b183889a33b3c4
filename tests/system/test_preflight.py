"""Before the night: every fault that a preflight must catch, put into real nodes, caught by its name;
and nodes that stand in each other's rooms, found by walking."""
import os
import random
import subprocess

import support
from live import House
from support import ROOMWAKE

RATE_HZ = 50
SECONDS = 150
CHANNELS = [{"name": f"magnetic.{axis}", "unit": "T", "rate_hz": RATE_HZ, "noise": 1.5e-8}
            for axis in "xyz"] + [
            {"name": "electric", "unit": "count", "rate_hz": RATE_HZ},
            {"name": "battery", "unit": "V", "rate_hz": 1}]
FAULTS = {"n1": None, "n2": "dead channel", "n3": "stuck", "n4": "clipped", "n5": "wrong rate",
          "n6": "late clock", "n7": "full disk", "n8": "low battery", "n9": "noise",
          "n10": "not heard"}


def recording(node, path):
    """A still field near 49 uT with a part's noise, an antenna, a battery; and the node's fault."""
    fault = FAULTS[node]
    draw = random.Random(node)
    rate = 40 if fault == "wrong rate" else RATE_HZ
    sigma = 2e-7 if fault == "noise" else 1.5e-8
    names = ["magnetic.x", "magnetic.y", "magnetic.z", "electric", "battery"]
    if fault == "dead channel":
        names.remove("electric")
    rows = ["time," + ",".join(names)]
    for tick in range(SECONDS * rate):
        field = [f"{draw.gauss(level, sigma):.9f}" for level in (1.8e-5, 3e-6, -4.5e-5)]
        electric = 512 + draw.gauss(0, 12)
        if fault == "stuck":
            electric = 512
        if fault == "clipped":
            electric = min(electric, 515)
        cells = field + ([] if fault == "dead channel" else [f"{electric:.0f}"])
        volts = 3.21 if fault == "low battery" else 3.95
        cells.append(f"{volts}" if tick % rate == 0 else "")
        rows.append(f"{tick / rate:.3f}," + ",".join(cells))
    path.write_text("\n".join(rows) + "\n")


class PreflightTest(support.Case):
    def start_nodes(self, house):
        for node, fault in FAULTS.items():
            if fault == "not heard":
                continue
            path = self.folder / f"{node}.csv"
            recording(node, path)
            config = house.node_config(node, {"driver": "replay", "path": str(path),
                                              "speed": "real"})
            text = config.read_text()
            if fault == "late clock":  # a time server that there is none of
                text = text.replace(str(house.time_port), str(support.free_port()))
            if fault == "full disk":
                text = text.replace('"spool": {', '"spool": {"max_bytes": 1048576, ')
            config.write_text(text)
            house.nodes[node] = self.start(node, support.NODE, "--config", config)

    def preflight(self, house, *options, check):
        return self.run(ROOMWAKE, "preflight", "--site", str(house.site_path), "--listen",
                        f"127.0.0.1:{house.broker_port}", "--time", f"127.0.0.1:{house.time_port}",
                        "--night", str(self.folder / "before.sqlite"), *options, check=check).stdout

    def test_each_fault_is_caught_by_its_name(self):
        site = support.site(rooms=[f"r{i}" for i in range(len(FAULTS))], channels=CHANNELS)
        for node in site["nodes"]:
            node["battery_empty_v"] = 3.3
        house = House(self, site)
        self.start_nodes(house)
        told = self.preflight(house, "--look", "12", "--wait", "32", check=1)
        parts = told.split("\n\n", 1)[1]
        for node, fault in FAULTS.items():
            own = parts.split(f" {node} (", 1)[1]
            lines = []
            for line in own.split("\n")[1:]:
                if not line.startswith("       "):
                    break
                lines.append(line.strip())
            stops = {line.split(":")[0] for line in lines if not line.startswith("note:")}
            self.assertEqual(stops, {fault} if fault else set(), f"{node}:\n{told}")
        self.assertIn("GO     base station:", parts)
        self.assertIn("NO GO. Mend", parts)
        self.assertIn("before.sqlite", parts)
        house.stop_nodes()
        self.run(ROOMWAKE, "verify", str(self.folder / "before.sqlite"), check=0)
        self.check_base_disk(house)

    def check_base_disk(self, house):
        """The base station's own end, on a disk of 8 MB (root only)."""
        small = self.folder / "small"
        small.mkdir()
        if os.geteuid() != 0 or subprocess.run(
                ["mount", "-t", "tmpfs", "-o", "size=8m", "none", small],
                stderr=subprocess.DEVNULL).returncode != 0:
            return
        try:
            told = self.preflight(house, "--wait", "1", "--night", str(small / "before.sqlite"),
                                  check=1)
            self.assertIn("NO GO  base station: full disk:", told)
        finally:
            subprocess.run(["umount", small], check=True)

    def test_swapped_nodes_are_found_by_walking(self):
        script = {"version": 1, "seed": 5, "length_s": 300, "motion": {
            "range_m": 3, "hold_s": 1, "blind_s": 1, "latency_s": 0.1, "false_per_hour": 0},
            "events": [{"at_s": at, "kind": "walk", "who": "tom", "from": "hall",
                        "via": ["passage", "kitchen"], "speed_m_s": 1.0} for at in (22, 42, 62)]}
        site = support.site(rooms=("hall", "passage", "kitchen"), baseline_s=8)
        house = House(self, site, script)
        house.start_station()
        stands = {"n1": "n2", "n2": "n1", "n3": "n3"}
        for node, place in stands.items():
            config = house.node_config(node, {
                "driver": "simulate", "site": str(house.site_path),
                "script": str(house.script_path), "node": place,
                "start_file": str(self.folder / "scenario-start")})
            house.nodes[node] = self.start(node, support.NODE, "--config", config)
        for node in stands:
            house.station.wait_output(rf"watching +{node}")
        walk = ("walk", "--site", str(house.site_path), "--quiet", "0", "--limit", "45", "--rooms")
        self.assertIn("no room of the site file",
                      self.run(ROOMWAKE, *walk, "hall,attic", check=2).stderr)
        told = self.run(ROOMWAKE, *walk, "hall,passage,kitchen", check=1).stdout
        self.assertIn("saw motion at", told)
        self.assertIn("found:  passage, hall, kitchen", told)
        self.assertIn("swapped nodes: n1 answered when you were in passage, n2 when you were in hall",
                      told)
        self.assertIn("NO GO", told)
        house.stop_nodes()
        house.stop_station()


if __name__ == "__main__":
    support.main()
