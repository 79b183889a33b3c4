"""What is handed to others, read by others' programs, and read back by ours."""
import csv
import decimal
import hashlib
import io
import json
import re
import signal
import sqlite3
import subprocess
import tarfile

import webvtt

import support
from shared_night import HOSTILE, Shared, folder_of
from support import ROOMWAKE, wait_for

BUNDLE = ["README.txt", "SHA256SUMS", "captions.vtt", "findings.json", "night.sqlite", "report.html",
          "samples.csv", "samples.mseed", "samples.senml.json", "seconds.csv", "site.json"]


def samples_of_csv(path):
    """{(node, channel, time in ns): exact value} by Python's csv."""
    found = {}
    with open(path, newline="") as file:
        for row in csv.DictReader(file):
            time_ns = int(decimal.Decimal(row["time"]) * 10**9)
            for channel, cell in row.items():
                if channel not in ("time", "node") and cell:
                    found[row["node"], channel, time_ns] = decimal.Decimal(cell)
    return found


def samples_of_senml(path):
    """The same from a SenML pack, resolved as RFC 8428 (2018) sec. 4.6 says: base fields carry
    forward, names and times are sums."""
    found, base = {}, {}
    records = json.loads(path.read_text(), parse_float=decimal.Decimal, parse_int=decimal.Decimal)
    for record in records:
        base.update({field: record[field] for field in ("bn", "bt") if field in record})
        name = base.get("bn", "") + record.get("n", "")
        time_ns = int((base.get("bt", 0) + record.get("t", 0)) * 10**9)
        _, node, channel = name.split("/")
        found[node, channel, time_ns] = record["v"]
    return found


class ExportTest(support.Case):
    def setUp(self):
        super().setUp()
        decimal.getcontext().prec = 60
        self.shared = Shared(self)

    def test_pythons_csv_and_sqlites_importer_agree_with_what_went_in(self):
        went_in = samples_of_csv(self.shared.rows)
        out = self.shared.export("csv", "out.csv")
        self.assertEqual(samples_of_csv(out), went_in)
        done = subprocess.run(
            ["sqlite3", ":memory:", f".import --csv {out} t",
             "SELECT count(*), sum(\"magnetic.x\" <> ''), count(DISTINCT node) FROM t"],
            capture_output=True, text=True, check=True)
        rows = len(out.read_text().splitlines()) - 1
        fields = sum(channel == "magnetic.x" for _, channel, _ in went_in)
        self.assertEqual(done.stdout.strip(), f"{rows}|{fields}|3")

    def test_seconds_hold_the_least_and_the_most_of_every_second(self):
        went_in = samples_of_csv(self.shared.rows)
        out = self.shared.export("csv", "seconds.csv", "--per-second", "--channel", "magnetic.x")
        groups = {}
        for (node, channel, time_ns), value in went_in.items():
            if channel == "magnetic.x":
                groups.setdefault((node, time_ns // 10**9), []).append(value)
        with open(out, newline="") as file:
            for row in csv.DictReader(file):
                values = groups.pop((row["node"], int(row["time"])))
                self.assertEqual(decimal.Decimal(row["magnetic.x.min"]), min(values))
                self.assertEqual(decimal.Decimal(row["magnetic.x.max"]), max(values))
                self.assertAlmostEqual(float(row["magnetic.x.mean"]),
                                       float(sum(values) / len(values)), delta=1e-13)
        self.assertEqual(groups, {})

    def test_a_window_a_node_and_a_channel(self):
        out = self.shared.export("csv", "part.csv", "--from", "1700000010", "--to",
                                 "2023-11-14T22:13:40Z", "--node", "n2", "--channel", "temperature")
        found = samples_of_csv(out)
        self.assertEqual(len(found), 10)
        self.assertTrue(all(key[:2] == ("n2", "temperature") and
                            1700000010 * 10**9 <= key[2] < 1700000020 * 10**9 for key in found))
        for arguments, part in ((["--node", "nobody"], "nobody"), (["--channel", "x"], "x"),
                                (["--from", "20", "--to", "10"], "--to"),
                                (["--from", "noon"], "noon")):
            done = self.run(ROOMWAKE, "export", str(self.shared.night), "--format", "csv",
                            *arguments, check=2)
            self.assertIn(part, done.stderr)

    def test_what_rfc_8428_shows_comes_back(self):
        """RFC 8428 (2018) sec. 5.1.2, its values: voltage and current, one second apart, to
        1276020076.001 s. (Its names as they are: the node is the last part before the channel.)"""
        pack = [{"bn": "urn:dev:ow:10e2073a01080063:", "bt": 1276020076.001, "bu": "A", "bver": 5,
                 "n": "voltage", "u": "V", "v": 120.1}, {"n": "current", "t": -5, "v": 1.2},
                {"n": "current", "t": -4, "v": 1.3}, {"n": "current", "t": -3, "v": 1.4},
                {"n": "current", "t": -2, "v": 1.5}, {"n": "current", "t": -1, "v": 1.6},
                {"n": "current", "v": 1.7}]
        site = support.site(rooms=("hall",), channels=[
            {"name": "voltage", "unit": "V", "rate_hz": 0},
            {"name": "current", "unit": "A", "rate_hz": 0}])
        site["nodes"][0]["id"] = "10e2073a01080063"
        night = self.folder / "rfc.sqlite"
        self.run(ROOMWAKE, "import", "--site", str(self.write("rfc-site.json", site)), "--senml",
                 str(self.write("rfc.json", pack)), "--night", str(night), check=0)
        found = samples_of_senml(self.shared.export("senml", "rfc-out.json", night=night))
        end_ns = 1276020076001000000
        wanted = {("10e2073a01080063", "voltage", end_ns): decimal.Decimal("120.1")}
        for before, value in enumerate(("1.7", "1.6", "1.5", "1.4", "1.3", "1.2")):
            wanted["10e2073a01080063", "current", end_ns - before * 10**9] = decimal.Decimal(value)
        self.assertEqual(found, wanted)

    def test_what_is_exported_and_imported_is_the_same_night(self):
        """Samples to the last digit; findings, and what a mark covers, to the byte."""
        table = self.shared.export("csv", "night.csv")
        findings = self.shared.findings()
        self.assertEqual([one["text"] for one in findings["marks"]][0], HOSTILE)
        self.assertIn("team", [one["cause"]["verdict"] for one in findings["coincidences"]])
        for kind in ("csv", "senml", "mseed"):
            path = self.shared.export(kind, f"again.{kind}")
            night = self.folder / f"{kind}.sqlite"
            self.shared.import_as(kind, path, night)
            again = self.shared.export("csv", f"{kind}.csv", night=night)
            self.assertEqual(again.read_bytes(), table.read_bytes(), kind)
            found = self.shared.findings(night)
            for part in ("disturbances", "coincidences", "marks"):
                self.assertEqual(found[part], findings[part], (kind, part))
        self.assertEqual(samples_of_senml(self.folder / "again.senml"), samples_of_csv(table))

    def test_another_miniseed_program_reads_every_count(self):
        """Debian's mseed2sac; its format holds 24 bits, which these counts need not exceed."""
        path = self.shared.export("mseed", "field.mseed", "--node", "n1", "--channel", "magnetic.x")
        subprocess.run(["mseed2sac", "-f", "1", str(path)], cwd=self.folder, check=True,
                       capture_output=True)
        counts = []
        for part in sorted(self.folder.glob("XX.N1.00.BF1.*.SACA")):
            lines = part.read_text().splitlines()
            counts += [float(word) for line in lines[30:] for word in line.split()]
        wanted = [int(value * 10**9) for key, value in sorted(samples_of_csv(self.shared.rows).items())
                  if key[:2] == ("n1", "magnetic.x")]
        self.assertEqual([int(one) for one in counts], wanted)

    def test_miniseed_of_others_needs_a_scale_and_then_takes_part(self):
        path = self.shared.export("mseed", "field.mseed", "--channel", "magnetic.x")
        records = path.read_bytes()
        plain = re.sub(rb"roomwake~1~", b"otherone~1~", records)
        other = self.folder / "other.mseed"
        other.write_bytes(plain)
        arguments = [ROOMWAKE, "import", "--site", str(self.shared.site), "--mseed", str(other),
                     "--night", str(self.folder / "other.sqlite")]
        done = self.run(*arguments, check=1)
        self.assertIn("scale", done.stderr)
        self.run(*arguments, "--step", "magnetic.x=1e-9", check=0)
        # Without the note's nanoseconds times are good to the microsecond.
        found = samples_of_csv(self.shared.export("csv", "other.csv",
                                                  night=self.folder / "other.sqlite"))
        wanted = {(node, channel, time_ns // 1000): value for (node, channel, time_ns), value
                  in samples_of_csv(self.shared.rows).items() if channel == "magnetic.x"}
        self.assertEqual({(node, channel, time_ns // 1000): value
                          for (node, channel, time_ns), value in found.items()}, wanted)

    def test_files_that_are_damaged_leave_no_night(self):
        senml = self.shared.export("senml", "good.json", "--to", "1700000010")
        mseed = self.shared.export("mseed", "good.mseed", "--to", "1700000010")
        text, records = senml.read_text(), mseed.read_bytes()
        cases = [("senml", text[:-20]), ("senml", text + "[]"), ("senml", "{}"), ("senml", "[]"),
                 ("senml", text.replace('"T"', '"A"', 1)), ("senml", text.replace("/n1/", "/n9/")),
                 ("senml", '[{"n":"lodge/n1/motion","v":1}]'),
                 ("senml", '[{"n":"lodge/n1/motion","bt":1700000000,"vs":"x"}]'),
                 ("mseed", records[:700]), ("mseed", b"\0" * 4096), ("mseed", b""),
                 ("mseed", records.replace(b"1700000000000000000", b"1700000001000000000", 1)),
                 ("mseed", records[:44] + b"\xff\xff" + records[46:]),
                 ("mseed", records[:46] + b"\x00\x05" + records[48:])]
        before = folder_of(self)
        for i, (kind, content) in enumerate(cases):
            path = self.folder / f"bad-{i}"
            path.write_bytes(content.encode() if isinstance(content, str) else content)
            done = self.run(ROOMWAKE, "import", "--site", str(self.shared.site), f"--{kind}", str(path),
                            "--night", str(self.folder / "bad.sqlite"))
            self.assertEqual(done.returncode, 1, (i, kind, done.stderr))
            self.assertIn(path.name, done.stderr)
            path.unlink()
        self.assertEqual(folder_of(self), before)

    def test_captions_are_read_by_debians_webvtt(self):
        self.shared.spoil()
        path = self.shared.export("webvtt", "captions.vtt")
        captions = list(webvtt.read(str(path)))
        findings = self.shared.findings()
        self.assertEqual(len(captions), len(findings["coincidences"]) + len(findings["marks"]))
        starts = [one.start_in_seconds for one in captions]
        self.assertEqual(starts, sorted(starts))
        self.assertTrue(all(one.end_in_seconds > one.start_in_seconds for one in captions))
        self.assertNotIn("<", "".join(one.text for one in captions))
        self.assertNotIn("\u202e", path.read_text())
        self.assertIn("unexplained", "".join(one.text for one in captions))

    def test_hostile_text_is_words_alone_everywhere(self):
        self.shared.spoil()
        for kind, name in (("csv", "a.csv"), ("senml", "a.json"), ("json", "b.json")):
            text = self.shared.export(kind, name).read_bytes().decode()  # valid UTF-8
            if kind == "csv":
                for cell in {cell for row in csv.reader(io.StringIO(text)) for cell in row}:
                    self.assertRegex(cell, r"\A([a-z][a-z0-9.-]*|-?[0-9][0-9.e-]*|)\Z")
            else:
                json.loads(text)
        self.run(ROOMWAKE, "export", str(self.shared.night), "--format", "bundle", "--out",
                 str(self.folder / "bundle"), check=0)
        readme = (self.folder / "bundle" / "README.txt").read_text()
        self.assertNotIn("\u202e", readme)

    def test_a_bundle_is_all_of_it_and_its_sums_hold(self):
        folder = self.folder / "bundle"
        tar = self.folder / "bundle.tar"
        for out in (folder, tar):
            self.run(ROOMWAKE, "export", str(self.shared.night), "--format", "bundle", "--out",
                     str(out), check=0)
        self.assertEqual(sorted(path.name for path in folder.iterdir()), BUNDLE)
        subprocess.run(["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=folder, check=True,
                       capture_output=True)
        self.assertEqual((folder / "night.sqlite").read_bytes(), self.shared.night.read_bytes())
        self.assertEqual((folder / "samples.csv").read_bytes(),
                         self.shared.export("csv", "one.csv").read_bytes())
        with tarfile.open(tar) as packed:
            names = sorted(one.name.split("/")[1] for one in packed.getmembers())
            self.assertEqual(names, BUNDLE)
            for one in packed.getmembers():
                name = one.name.split("/")[1]
                same = (folder / name).read_bytes()
                self.assertEqual(hashlib.sha256(packed.extractfile(one).read()).digest(),
                                 hashlib.sha256(same).digest(), name)
        self.run(ROOMWAKE, "verify", str(folder / "night.sqlite"), check=0)
        # And from the bundle alone the night again, as its README says.
        again = self.folder / "again.sqlite"
        self.run(ROOMWAKE, "import", "--site", str(folder / "site.json"), "--mseed",
                 str(folder / "samples.mseed"), "--marks", str(folder / "findings.json"), "--night",
                 str(again), check=0)
        self.assertEqual(self.shared.findings(again)["coincidences"],
                         self.shared.findings()["coincidences"])

    def test_what_is_there_is_kept_unless_it_is_to_be_replaced(self):
        target = self.write("there.csv", "mine")
        folder = self.folder / "there"
        folder.mkdir()
        for arguments in (["export", "--format", "csv", "--out", target],
                          ["export", "--format", "bundle", "--out", folder],
                          ["report", "--out", target]):
            done = self.run(ROOMWAKE, arguments[0], str(self.shared.night),
                            *map(str, arguments[1:]), check=1)
            self.assertIn("exists already", done.stderr)
        self.assertEqual(target.read_text(), "mine")
        self.run(ROOMWAKE, "export", str(self.shared.night), "--format", "csv", "--out", str(target),
                 "--force", check=0)
        self.assertTrue(target.read_text().startswith("time,node"))

    def test_a_full_disk_is_told_and_leaves_nothing(self):
        def limited():
            import resource
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # so that writing fails instead
            resource.setrlimit(resource.RLIMIT_FSIZE, (100000, 100000))
        before = folder_of(self)
        for arguments in (["export", "--format", "csv", "--out", "x.csv"],
                          ["export", "--format", "mseed", "--out", "x.mseed"],
                          ["export", "--format", "senml", "--out", "x.json"],
                          ["export", "--format", "bundle", "--out", "x"],
                          ["export", "--format", "bundle", "--out", "x.tar"],
                          ["report", "--out", "x.html"]):
            done = subprocess.run([ROOMWAKE, arguments[0], str(self.shared.night), *arguments[1:]],
                                  cwd=self.folder, preexec_fn=limited, capture_output=True,
                                  text=True, env={**__import__("os").environ, **self.env},
                                  check=False)
            self.assertEqual(done.returncode, 1, done.stderr)
            self.assertRegex(done.stderr, r"roomwake \w+: .*File too large")
            self.assertEqual(folder_of(self), before)

    def test_an_interrupted_bundle_leaves_nothing(self):
        before = folder_of(self)
        command = [ROOMWAKE, "export", str(self.shared.night), "--format", "bundle", "--out",
                   str(self.folder / "bundle")]
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True,
                              env={**__import__("os").environ, **self.env}) as program:
            wait_for("the bundle to begin", lambda: folder_of(self) != before or
                     program.poll() is not None)
            program.send_signal(signal.SIGTERM)
            told = program.stderr.read()
            code = program.wait()
        self.assertIn(code, (0, 1), told)  # 0: it was done before the signal came
        if code == 1:
            self.assertIn("interrupted", told)
            self.assertEqual(folder_of(self), before)

    def test_a_night_that_can_not_be_read_is_told(self):
        with sqlite3.connect(self.shared.night) as night:
            night.execute("UPDATE block SET samples = x'00' WHERE id = (SELECT max(id) FROM block)")
        night.close()
        before = folder_of(self)
        for kind in ("csv", "senml", "mseed", "bundle"):
            done = self.run(ROOMWAKE, "export", str(self.shared.night), "--format", kind, "--out",
                            str(self.folder / "x"), check=1)
            self.assertIn("night.sqlite", done.stderr)
            self.assertEqual(folder_of(self), before, kind)


if __name__ == "__main__":
    support.main()
