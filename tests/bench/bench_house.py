#!/usr/bin/python3
"""A house of 12 nodes with 5 channels at 200 Hz, live: what the programs cost, and how soon an alert.

Prints the collector's and a node's share of one core and resident memory, the bytes a sample of the
night, and the time from the last sample of a coincidence to its alert. Asserts nothing. Run with a
release build: ROOMWAKE_BUILD=build tests/bench/bench_house.py [SECONDS]
"""
import pathlib
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "system"))
import support
from live import House, parse_time_s, read_stat, sleep_until

NODES = 12
BASELINE_S = 20
FIRST_PULSE_S = 40
PULSE_EVERY_S = 15
PULSE_LENGTH_S = 0.3
CHANNELS = [{"name": f"magnetic.{axis}", "unit": "T", "rate_hz": 200} for axis in "xyz"] + [
    {"name": "electric", "unit": "count", "rate_hz": 200},
    {"name": "vibration.x", "unit": "m/s2", "rate_hz": 200}]


class Bench(support.Case):
    def measure(self, length_s):
        rooms = [f"room-{i + 1}" for i in range(NODES)]
        site = support.site(rooms=rooms, channels=CHANNELS, baseline_s=BASELINE_S)
        pulses = list(range(FIRST_PULSE_S, length_s - 4, PULSE_EVERY_S))
        script = {"version": 1, "seed": 3, "events": [
            {"at_s": at, "kind": "pulse", "at_m": [24, 2, 1], "field_t": [1.5e-6, 0, 1e-6],
             "reach_m": 100, "rise_s": 0, "for_s": PULSE_LENGTH_S, "fall_s": 0} for at in pulses]}
        house = House(self, site, script)
        station = house.start_station()
        for node in site["nodes"]:
            house.start_simulated(node["id"])
        start_s = house.scenario_start_s()
        alerts = self.watch_alerts(house)
        sleep_until(start_s + BASELINE_S + 5)
        pids = {"collector": station.process.pid, "node": house.nodes["n1"].process.pid}
        before = {name: (time.monotonic(), *read_stat(pid)) for name, pid in pids.items()}
        sleep_until(start_s + length_s)
        print(f"{NODES} nodes, {len(CHANNELS)} channels at 200 Hz, {length_s} s, "
              f"{len(pulses)} pulses seen by all nodes")
        for name, pid in pids.items():
            cpu, resident = read_stat(pid)
            then, cpu_before, _ = before[name]
            share = (cpu - cpu_before) / (time.monotonic() - then)
            print(f"  {name:10} {100 * share:5.2f} % of one core, "
                  f"{resident / 2**20:5.1f} MiB resident")
        house.stop_nodes()
        house.stop_station()
        samples = sum(n["samples"] for n in self.findings(house.night)["nodes"])
        size = house.night.stat().st_size
        print(f"  night      {samples} samples, {size} bytes: {size / samples:.3f} bytes a sample")
        self.print_latencies(alerts, [start_s + at + PULSE_LENGTH_S for at in pulses])

    def watch_alerts(self, house):
        watcher = self.start("watcher", "mosquitto_sub", "-p", str(house.broker_port), "-t",
                             "roomwake/testhouse/alert", "-F", "%U %p")
        return watcher

    def print_latencies(self, watcher, ends_s):
        import json
        latencies = []
        for line in watcher.output().splitlines():
            arrived_s, payload = line.split(" ", 1)
            first_s = parse_time_s(json.loads(payload)["start"])
            end_s = min(ends_s, key=lambda end: abs(end - PULSE_LENGTH_S - first_s))
            latencies.append(float(arrived_s) - end_s)
        latencies.sort()
        if latencies:
            print(f"  alerts     {len(latencies)} of {len(ends_s)}; from the last sample of the "
                  f"coincidence: median {latencies[len(latencies) // 2]:.2f} s, "
                  f"largest {latencies[-1]:.2f} s")
        else:
            print("  alerts     none")


def main():
    bench = Bench()
    bench.setUp()
    try:
        bench.measure(int(sys.argv[1]) if len(sys.argv) > 1 else 120)
    finally:
        bench.tearDown()


if __name__ == "__main__":
    main()
