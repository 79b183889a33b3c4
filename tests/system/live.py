"""A live house for tests and benchmarks: a base station, its broker, simulated nodes.

Must never listen beyond loopback. Used by test_night.py, test_broker.py and the benchmarks.
"""
import json
import pathlib
import socket
import time

import support
from support import NODE, ROOMWAKE


class House:
    """Starts what a real evening starts, in one folder."""

    def __init__(self, case, site, script=None, own_broker=True, record_options=()):
        self.case = case
        self.folder = case.folder
        self.site = site
        self.site_path = case.write("site.json", site)
        self.script_path = case.write("house.json", script) if script else None
        self.night = self.folder / "night.sqlite"
        self.broker_port = support.free_port()
        self.time_port = support.free_port(socket.SOCK_DGRAM)
        self.own_broker = own_broker
        self.record_options = list(record_options)
        self.nodes = {}

    def start_station(self, name="station", env=None):
        where = (["--listen", f"127.0.0.1:{self.broker_port}"] if self.own_broker else
                 ["--broker", f"mqtt://127.0.0.1:{self.broker_port}"])
        self.station = self.case.start(name, ROOMWAKE, "record", "--site", self.site_path,
                                       "--night", self.night, "--time",
                                       f"127.0.0.1:{self.time_port}", *where,
                                       *self.record_options, env=env)
        self.station.wait_output(r"recording +site")
        return self.station

    def start_broker(self, name="broker"):
        config = self.case.write(f"{name}.conf", f"listener {self.broker_port} 127.0.0.1\n"
                                 "allow_anonymous true\npersistence false\n"
                                 "max_queued_messages 100000\n")
        self.broker = self.case.start(name, support.MOSQUITTO, "-c", config)
        support.wait_for("the broker to listen", lambda: port_answers(self.broker_port))
        return self.broker

    def node_config(self, node, driver):
        return self.case.write(f"{node}.json", {
            "node": node, "site": self.site["site"],
            "broker": f"mqtt://127.0.0.1:{self.broker_port}",
            "time": f"127.0.0.1:{self.time_port}",
            "spool": {"path": str(self.folder / f"spool-{node}")}, "drivers": [driver]})

    def start_simulated(self, node, clock=None):
        config = self.node_config(node, {
            "driver": "simulate", "site": str(self.site_path), "script": str(self.script_path),
            "node": node, "start_file": str(self.folder / "scenario-start"),
            "truth": str(self.folder / f"truth-{node}.jsonl")})
        self.nodes[node] = self.case.start(node, NODE, "--config", config,
                                           env={"ROOMWAKE_CLOCK": clock} if clock else None)
        return self.nodes[node]

    def scenario_start_s(self):
        """When the simulated scenario began, seconds since 1970 (true time)."""
        path = self.folder / "scenario-start"
        text = support.wait_for("the scenario to start",
                                lambda: path.exists() and path.read_text().strip())
        return parse_time_s(text)

    def stop_nodes(self):
        for node in self.nodes.values():
            code = node.stop()
            self.case.assertEqual(code, 0, node.output()[-3000:])
        self.nodes = {}

    def stop_station(self):
        code = self.station.stop(60)
        self.case.assertEqual(code, 0, self.station.output()[-4000:])

    def truth(self, node):
        path = self.folder / f"truth-{node}.jsonl"
        return [json.loads(line) for line in path.read_text().splitlines()]


def port_answers(port):
    try:
        socket.create_connection(("127.0.0.1", port), 0.2).close()
        return True
    except OSError:
        return False


def parse_time_s(text):
    """RFC 3339 UTC with nanoseconds -> float seconds (enough for comparing within a millisecond)."""
    import calendar
    whole, _, rest = text.partition(".")
    base = calendar.timegm(time.strptime(whole.rstrip("Z"), "%Y-%m-%dT%H:%M:%S"))
    return base + (float("0." + rest.rstrip("Z")) if rest else 0.0)


def sleep_until(when_s):
    """Waits for a moment of the scenario, which is real time: the thing waited for is the clock."""
    while time.time() < when_s:
        time.sleep(min(0.05, max(0.0, when_s - time.time())))


def read_stat(pid):
    """(cpu seconds, resident bytes) of a process."""
    import os
    fields = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    ticks = os.sysconf("SC_CLK_TCK")
    pages = int(pathlib.Path(f"/proc/{pid}/statm").read_text().split()[1])
    return (int(fields[11]) + int(fields[12])) / ticks, pages * os.sysconf("SC_PAGE_SIZE")
