"""A real import is sealed; what is changed after that is told by roomwake verify, and marked in the
review; an analysis again leaves the samples' seal as it was."""
import csv
import io
import os
import pathlib
import re
import shutil
import sqlite3
import stat

import support
import test_import
from support import ROOMWAKE


class VerifyTest(support.Case):
    def setUp(self):
        super().setUp()
        text = io.StringIO()
        csv.writer(text).writerows(
            test_import.recording(["n1", "n2", "n3", "n4"], test_import.SEQUENCE))
        self.night = self.folder / "night.sqlite"
        self.run(ROOMWAKE, "import", "--site",
                 str(self.write("site.json", support.site(channels=support.MAGNETIC))), "--csv",
                 str(self.write("recording.csv", text.getvalue())), "--night", str(self.night),
                 check=0)

    def verify(self, night, *more, check):
        return self.run(ROOMWAKE, "verify", str(night), *more, check=check).stdout

    def tampered(self, *statements):
        copy = self.folder / "copy.sqlite"
        shutil.copy(self.night, copy)
        db = sqlite3.connect(copy)
        for statement in statements:
            db.execute(statement)
        db.commit()
        db.close()
        return copy

    def root(self):
        return self.findings(self.night)["night"]["seal"]

    def test_a_night_as_it_was_made_is_whole(self):
        said = self.verify(self.night, check=0)
        self.assertIn("The night is whole and is what was sealed.", said)
        self.assertNotIn("OFF", said)
        self.assertRegex(said, "68 messages, [0-9]+ blocks, 108000 samples")
        root = self.root()
        self.assertRegex(root, "^[0-9a-f]{64}$")
        self.assertIn(f"root      {root}", said)
        aloud = " ".join(re.findall("....", root))
        self.assertIn(aloud, said)
        for given in (root, root.upper(), aloud):
            self.assertIn("root      the one given is this night's",
                          self.verify(self.night, "--root", given, check=0))
        said = self.verify(self.night, "--root", "0" * 64, check=1)
        self.assertIn("none of this night's seals", said)
        for no_root in ("", "12", "x" * 64, root + "0"):
            self.assertIn("is no root", self.run(ROOMWAKE, "verify", str(self.night), "--root",
                                                 no_root, check=2).stderr)

    def test_the_key_is_made_once_for_its_owner_alone(self):
        key = pathlib.Path(self.env["ROOMWAKE_KEY"])
        self.assertEqual(stat.S_IMODE(key.stat().st_mode), 0o600)
        said = self.verify(self.night, check=0)
        self.assertIn("this machine's own", said)
        os.rename(key, key.with_suffix(".away"))
        said = self.verify(self.night, check=0)
        self.assertIn("this machine has none to compare it with", said)
        self.assertFalse(key.exists())  # verify makes none
        self.run(ROOMWAKE, "reanalyse", str(self.night), check=0)  # another key
        said = self.verify(self.night, check=0)
        self.assertEqual(said.count("this machine's own"), 1)
        self.assertEqual(said.count("not this machine's"), 2)
        key.chmod(0o640)
        failed = self.run(ROOMWAKE, "reanalyse", str(self.night), check=1)
        self.assertIn("others may read the base station's key", failed.stderr)

    def test_what_is_changed_is_told_and_where_and_the_review_is_marked(self):
        self.assertIn(f"sealed: {self.root()}",
                      self.run(ROOMWAKE, "review", str(self.night), check=0).stdout)
        for statement, where in (
                ("UPDATE block SET samples=zeroblob(length(samples)) WHERE id=2", r"block id 2 \(n\d+, \S+, from 2023-11-14T22:1"),
                ("UPDATE coincidence SET chance_per_night=1e-9", "coincidence id 1: was altered"),
                ("DELETE FROM frame WHERE id=40", "frame id 40: was sealed and is missing"),
                ("INSERT INTO log(time_ns, level, text) VALUES(1, 'info', 'x')",
                 "log id 1: was added"),
                ("DELETE FROM seal WHERE what='samples'", "seal: the seal of the night's end"),
                ("CREATE TABLE ghost (x)", "ghost: is not as a night's own is")):
            copy = self.tampered(statement)
            said = self.verify(copy, check=1)
            self.assertRegex(said, "OFF       " + where, statement)
            self.assertRegex(said, r"(things are|thing is) off\.")
            if "ghost" not in statement:
                review = self.run(ROOMWAKE, "review", str(copy), check=0).stdout
                self.assertIn("THE SEAL DOES NOT HOLD: run roomwake verify", review, statement)

    def test_a_night_that_is_cut_short_is_told_and_reviewed(self):
        copy = self.folder / "copy.sqlite"
        shutil.copy(self.night, copy)
        os.truncate(copy, copy.stat().st_size - 20_000)
        self.assertRegex(self.verify(copy, check=1), "OFF       file: cut short: [0-9]+ bytes")
        review = self.run(ROOMWAKE, "review", str(copy), check=0).stdout
        self.assertIn("THE SEAL DOES NOT HOLD", review)
        self.assertIn("Hall, then Passage, then Kitchen", review)
        os.truncate(copy, 20_000)
        failed = self.run(ROOMWAKE, "verify", str(copy), check=1)
        self.assertIn("nothing of it can be read", failed.stderr)
        os.truncate(copy, 0)
        self.assertIn("not a night", self.run(ROOMWAKE, "verify", str(copy), check=1).stderr)

    def test_an_analysis_again_is_sealed_beside_and_leaves_the_samples_seal(self):
        before = self.root()
        self.run(ROOMWAKE, "reanalyse", str(self.night), "--set", "baseline_s=30", check=0)
        said = self.verify(self.night, "--root", before, check=0)
        self.assertEqual(self.root(), before)
        self.assertEqual(len(re.findall("^seal      analysis [12], .* holds$", said, re.M)), 2)
        copy = self.tampered("UPDATE analysis SET baseline_s=31 WHERE id=2")
        said = self.verify(copy, check=1)
        self.assertIn("OFF       analysis id 2: was altered", said)
        self.assertRegex(said, "seal      samples, .* holds\n")
        self.assertRegex(said, "seal      analysis 1, .* holds\n")
        self.assertRegex(said, "seal      analysis 2, .* DOES NOT HOLD\n")


if __name__ == "__main__":
    support.main()
