"""Bad input: a message that says what and where, the documented exit code, nothing half-written."""
import csv
import io
import json
import os
import signal
import sqlite3

import support
from support import NODE, ROOMWAKE, free_port

HEADER = "time,node,magnetic.x,magnetic.y,magnetic.z\n"


class BadInput(support.Case):
    def fails(self, *arguments, code, says, env=None):
        done = self.run(*arguments, check=code)
        for part in says:
            self.assertIn(part, done.stderr)
        self.assertTrue(done.stderr.startswith("roomwake"), done.stderr)
        return done

    def import_fails(self, csv, code, says, site=None):
        site_path = self.write("site.json", site or support.site(channels=support.MAGNETIC))
        csv_path = self.write("bad.csv", csv)
        night = self.folder / "night.sqlite"
        self.fails(ROOMWAKE, "import", "--site", str(site_path), "--csv", str(csv_path), "--night",
                   str(night), code=code, says=says)
        left = [p.name for p in self.folder.iterdir() if p.name.startswith("night")]
        self.assertEqual(left, [], "something was left behind")

    # The command line

    def test_wrong_use_exits_2_and_says_which_option(self):
        self.fails(ROOMWAKE, "fly", code=2, says=["fly", "no such command"])
        self.fails(ROOMWAKE, "import", "--sight", "x", code=2, says=["--sight", "unknown option"])
        self.fails(ROOMWAKE, "import", "--site", "x", code=2, says=["--night", "missing"])
        self.fails(ROOMWAKE, "import", "--site", "x", "--night", "y", code=2,
                   says=["--csv", "needed"])
        self.fails(ROOMWAKE, "review", code=2, says=["NIGHT", "missing"])
        self.fails(ROOMWAKE, "record", "--site", str(self.write("s.json", support.site())),
                   "--night", "n", "--time", "nowhere", code=2, says=["--time", "nowhere"])

    def test_every_command_has_help(self):
        for command in ("record", "import", "reanalyse", "review", "export", "mark"):
            self.assertIn("usage: roomwake " + command,
                          self.run(ROOMWAKE, command, "--help", check=0).stdout)
        self.assertIn("usage: roomwake-node",
                      self.run(NODE, "--help", check=0).stdout.lower())

    # The site file

    def test_a_wrong_site_field_is_named_by_its_path(self):
        def broken(change):
            made = support.site()
            change(made)
            return made
        cases = [
            (lambda s: s["nodes"][2].update(positon_m=[1, 1, 1]), ["nodes[2]", "positon_m"]),
            (lambda s: s["nodes"][1].update(position_m=[0.5, 2, 1]), ["nodes[1]", "passage"]),
            (lambda s: s["nodes"][1].update(id="n1"), ["n1"]),
            (lambda s: s["nodes"][0].update(room="attic"), ["nodes[0].room", "attic"]),
            (lambda s: s["doors"][0].update(between=["hall", "store"]), ["doors[0]"]),
            (lambda s: s["nodes"][0]["channels"][0].update(unit="nT"), ["nodes[0].channels[0]"]),
            (lambda s: s.update(mains_hz="fifty"), ["mains_hz"]),
            (lambda s: s.update(site="The House"), ["site"]),
        ]
        for change, says in cases:
            self.import_fails(HEADER, 1, ["site.json"] + says, site=broken(change))

    def test_a_site_file_that_is_no_json_tells_line_and_column(self):
        path = self.write("site.json", '{ "site": "x",\n  "rooms": [ }\n')
        self.fails(ROOMWAKE, "import", "--site", str(path), "--csv", "x", "--night", "y", code=1,
                   says=["site.json", "line 2, column"])

    def test_a_missing_file_is_named(self):
        self.fails(ROOMWAKE, "import", "--site", "/nonexistent/site.json", "--csv", "x", "--night",
                   "y", code=1, says=["/nonexistent/site.json", "No such file"])

    # CSV

    def test_a_bad_row_is_told_with_its_line_and_nothing_is_left(self):
        good = "".join(f"{1700000000 + i * 0.02:.2f},n1,1e-5,2e-5,3e-5\n" for i in range(100))
        cases = [
            (HEADER + good + "1700000002.00,n1,1e-5,oops,3e-5\n", [":102", "oops"]),
            (HEADER + good + "1700000002.00,n9,1e-5,2e-5,3e-5\n", [":102", "n9"]),
            (HEADER + good + "1700000002.00,n1,1e-5,2e-5\n", [":102"]),
            (HEADER + good + "yesterday,n1,1e-5,2e-5,3e-5\n", [":102", "yesterday"]),
            (HEADER + good + "1699999900.00,n1,1e-5,2e-5,3e-5\n", [":102"]),
            (HEADER + good + "1700000002.00,n1,nan,2e-5,3e-5\n", [":102", "nan"]),
            ("time,node,magnetic.w\n1700000000,n1,1\n", [":1", "magnetic.w"]),
            ("when,node,magnetic.x\n1700000000,n1,1\n", [":1"]),
            ("", ["bad.csv"]),
        ]
        for text, says in cases:
            self.import_fails(text, 1, ["bad.csv"] + says)

    # Nights

    def make_night(self):
        site = self.write("site.json", support.site(channels=support.MAGNETIC))
        rows = HEADER + "".join(
            f"{1700000000 + i * 0.02:.2f},n1,{1e-5 + (i % 7) * 1e-9:.4e},2e-5,3e-5\n"
            for i in range(500))
        night = self.folder / "night.sqlite"
        self.run(ROOMWAKE, "import", "--site", str(site), "--csv",
                 str(self.write("rows.csv", rows)), "--night", str(night), check=0)
        return night

    def test_what_is_no_night_is_refused(self):
        text = self.write("letter.txt", "Dear reader,\n" * 100)
        other = self.folder / "other.sqlite"
        with sqlite3.connect(other) as database:
            database.execute("CREATE TABLE letters(text)")
        database.close()
        for path in (text, other):
            for command in (["review"], ["reanalyse"], ["export", "--format", "json"]):
                self.fails(ROOMWAKE, command[0], str(path), *command[1:], code=1,
                           says=[path.name, "night"])
        self.fails(ROOMWAKE, "review", str(self.folder / "none.sqlite"), code=1,
                   says=["none.sqlite"])

    def test_a_night_of_a_newer_version_is_refused_by_name(self):
        night = self.make_night()
        with sqlite3.connect(night) as database:
            version, = database.execute("PRAGMA user_version").fetchone()
            database.execute(f"PRAGMA user_version={version + 1}")
        database.close()
        self.fails(ROOMWAKE, "review", str(night), code=1, says=["night.sqlite", "newer"])

    def test_a_truncated_night_is_an_error_not_a_crash(self):
        night = self.make_night()
        os.truncate(night, night.stat().st_size // 2)
        done = self.run(ROOMWAKE, "export", str(night), "--format", "csv")
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertIn("night.sqlite", done.stderr)

    def test_an_existing_night_is_never_written_over(self):
        night = self.make_night()
        before = night.read_bytes()
        self.fails(ROOMWAKE, "import", "--site", str(self.folder / "site.json"), "--csv",
                   str(self.folder / "rows.csv"), "--night", str(night), code=1,
                   says=["night.sqlite"])
        self.assertEqual(night.read_bytes(), before)

    def test_an_export_that_cannot_be_written_leaves_nothing(self):
        night = self.make_night()
        target = self.folder / "nowhere" / "out.csv"
        self.fails(ROOMWAKE, "export", str(night), "--format", "csv", "--out", str(target), code=1,
                   says=["out.csv"])
        self.fails(ROOMWAKE, "export", str(night), "--format", "tape", code=2, says=["tape"])
        self.assertFalse(target.parent.exists())

    def test_reanalyse_refuses_an_unknown_or_wrong_setting(self):
        night = self.make_night()
        for setting, part in (("mains=50", "mains"), ("baseline_s=-1", "baseline_s"), ("x", "x")):
            self.fails(ROOMWAKE, "reanalyse", str(night), "--set", setting, code=2, says=[part])

    # Recording

    def record_arguments(self, **more):
        options = {"--site": str(self.write("site.json", support.site())),
                   "--night": str(self.folder / "live.sqlite"),
                   "--listen": f"127.0.0.1:{free_port()}", "--time": f"127.0.0.1:{free_port()}"}
        options.update(more)
        return [ROOMWAKE, "record"] + [part for pair in options.items() if pair[1] for part in pair]

    def test_a_taken_port_is_told_and_no_night_is_left(self):
        import socket
        with socket.socket() as taken, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as clock:
            taken.bind(("127.0.0.1", 0))
            taken.listen()
            port = taken.getsockname()[1]
            self.fails(*self.record_arguments(**{"--listen": f"127.0.0.1:{port}"}), code=1,
                       says=[str(port), "in use"])
            clock.bind(("127.0.0.1", 0))
            port = clock.getsockname()[1]
            self.fails(*self.record_arguments(**{"--time": f"127.0.0.1:{port}"}), code=1,
                       says=[str(port), "in use"])
        self.assertFalse((self.folder / "live.sqlite").exists())

    def test_a_night_in_use_is_refused_and_the_first_goes_on(self):
        first = self.start("first", *self.record_arguments())
        first.wait_output(r"recording +site testhouse")
        self.fails(*self.record_arguments(**{"--listen": f"127.0.0.1:{free_port()}"}), code=1,
                   says=["live.sqlite", "another program writes it"])
        self.assertIsNone(first.process.poll())
        self.assertEqual(first.stop(), 0, first.output())

    def test_an_unwritable_place_is_told(self):
        self.fails(*self.record_arguments(**{"--night": "/proc/night.sqlite"}), code=1,
                   says=["/proc/night.sqlite"])

    def test_an_absent_broker_is_told_while_it_is_waited_for(self):
        arguments = self.record_arguments(**{"--listen": None,
                                             "--broker": f"mqtt://127.0.0.1:{free_port()}"})
        program = self.start("alone", *arguments)
        program.wait_output(r"NOT RECORDING.*no broker")
        self.assertIsNone(program.process.poll())
        self.assertEqual(program.stop(with_signal=signal.SIGINT), 0)

    # Nodes

    def test_a_wrong_node_config_is_named_by_its_path(self):
        good = {"node": "n1", "site": "testhouse", "broker": "mqtt://127.0.0.1:1",
                "time": "127.0.0.1:1", "spool": {"path": "spool"},
                "drivers": [{"driver": "replay", "path": "none.csv"}]}
        cases = [({"nod": "n1"}, "nod"), ({"node": "N 1"}, "node"),
                 ({"drivers": [{"driver": "crystal-ball"}]}, "drivers[0]"),
                 ({"broker": "gopher://x"}, "broker"), ({"spool": {"pth": "x"}}, "spool")]
        for change, part in cases:
            path = self.write("node.json", {**good, **change})
            done = self.run(NODE, "--config", str(path))
            self.assertIn(done.returncode, (1, 2), done.stderr)
            self.assertIn("node.json", done.stderr)
            self.assertIn(part, done.stderr)
        self.assertEqual(self.run(NODE).returncode, 2)

    def test_a_mark_without_a_running_night_says_so(self):
        self.fails(ROOMWAKE, "mark", "--text", "x", code=1, says=["no night"])
        self.fails(ROOMWAKE, "mark", "--text", "x", "--room", "No Room", code=2, says=["--room"])


class BadMessages(support.Case):
    """What arrives over MQTT and is not what it should be: counted, told, nothing half-stored."""

    def test_bad_messages_leave_no_trace_and_the_good_ones_beside_them_do(self):
        port = free_port()
        night = self.folder / "night.sqlite"
        site = support.site(rooms=("hall", "passage"), channels=[
            {"name": "temperature", "unit": "Cel", "rate_hz": 1}])
        program = self.start("station", ROOMWAKE, "record", "--site",
                             self.write("site.json", site), "--night", night, "--listen",
                             f"127.0.0.1:{port}", "--time", f"127.0.0.1:{free_port()}")
        program.wait_output(r"broker +there")

        def publish(topic, payload):
            self.run("mosquitto_pub", "-p", str(port), "-q", "1", "-t",
                     f"roomwake/testhouse/{topic}", "-m", payload, check=0)
        publish("n9/senml", '[{"n":"temperature","v":1}]')
        publish("n1/senml", '[{"n":"temperature"}]')
        publish("n1/senml", '[{"v":1}]')
        publish("n1/senml", '[{"n":"temperature","u":"Cel","v":1')
        publish("n1/senml", '[{"n":"temperature","u":"K","v":280}]')
        publish("n1/blocks", "RW? no such thing")
        publish("n1/hello", '{"version":99}')
        publish("n1/state", "[]")
        publish("mark", '{"text":')
        publish("n1/senml", '[{"n":"n1/temperature","u":"Cel","v":11.25}]')
        publish("n1/senml", '[{"n":"n1/temperature","u":"Cel","v":11.5}]')
        support.wait_for("the good records to be stored", lambda: self.count(night) == 2)
        self.assertEqual(program.stop(), 0, program.output())
        rows = self.run(ROOMWAKE, "export", str(night), "--format", "csv", check=0).stdout
        values = [row["temperature"] for row in csv.DictReader(io.StringIO(rows))
                  if row["temperature"]]
        self.assertEqual(values, ["11.25", "11.5"])
        self.assertIn("n9", program.output())

    def count(self, night):
        done = self.run(ROOMWAKE, "export", str(night), "--format", "json")
        return json.loads(done.stdout)["nodes"][0]["samples"] if done.returncode == 0 else 0


if __name__ == "__main__":
    support.main()
