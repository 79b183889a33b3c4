"""The report as strangers get it: valid, accessible, without script, printed on A4 and Letter."""
import json
import re
import subprocess

import support
from shared_night import HOSTILE, Shared
from support import ROOMWAKE

PAGE = support.ROOT / "tests" / "page"
POINTS = {"A4": (595, 842), "Letter": (612, 792)}


def install():
    """The browser's helpers, pinned by tests/page/package-lock.json."""
    if not (PAGE / "node_modules" / ".package-lock.json").exists():
        support.run("npm", "ci", "--prefix", str(PAGE), "--no-audit", "--no-fund", check=0,
                    timeout=600)


def pages_of(pdf):
    """Each page as rows of grey values, small."""
    done = subprocess.run(["pdftoppm", "-r", "36", "-gray", str(pdf)], capture_output=True, check=True)
    rest, pages = done.stdout, []
    while rest:
        head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", rest)
        width, height = int(head[1]), int(head[2])
        body = rest[head.end():head.end() + width * height]
        pages.append([body[row * width:(row + 1) * width] for row in range(height)])
        rest = rest[head.end() + width * height:]
    return pages


class ReportTest(support.Case):
    @classmethod
    def setUpClass(cls):
        install()

    def make(self, night, name="report.html"):
        out = self.folder / name
        self.run(ROOMWAKE, "report", str(night), "--out", str(out), check=0)
        return out

    def validate(self, path):
        done = subprocess.run([PAGE / "node_modules" / ".bin" / "html-validate", "--config",
                               PAGE / ".htmlvalidate.json", path], capture_output=True, text=True,
                              check=False)
        self.assertEqual(done.returncode, 0, done.stdout + done.stderr)

    def look(self, report, captions):
        done = support.run("node", str(PAGE / "report.mjs"), str(report), str(captions),
                           str(self.folder), check=0, timeout=300)
        return json.loads(done.stdout)

    def test_a_report_is_valid_accessible_harmless_and_says_everything(self):
        shared = Shared(self)
        shared.spoil()  # after which its seal does not hold, and the report must say so
        report = self.make(shared.night)
        captions = shared.export("webvtt", "captions.vtt")
        self.validate(report)
        seen = self.look(report, captions)
        findings = shared.findings()
        self.assertEqual(seen["violations"], [])
        self.assertEqual((seen["scripts"], seen["handlers"], seen["hacked"], seen["dialogs"],
                          seen["errors"]), (0, 0, None, [], []))
        self.assertEqual(seen["loaded"], ["/report.html"] * 2)  # and nothing else
        self.assertEqual([seen[at][what] for at in ("narrow", "wide") for what in ("wider", "spilled")],
                         [False, []] * 2)
        self.assertEqual(seen["findings"], len(findings["coincidences"]))
        self.check_words(seen, findings)
        self.check_track(seen, findings)
        for size in POINTS:
            self.check_print(size)

    def check_words(self, seen, findings):
        text = seen["text"]
        self.assertEqual(seen["headings"], [
            "Summary", "The building", "The whole night", "Findings", "What the team did", "Clocks",
            "Gaps", "Sensors", "Method", "How to check this yourself", "Limits", "Cautions"])
        self.assertIn("</svg><script>window.hacked=1</script>", text)  # as words
        self.assertIn("THE SEAL DOES NOT HOLD", text)
        self.assertIn("\u05d0\u05d1 walked <b>", text)
        self.assertNotIn("\u202e", text)
        for one in findings["coincidences"]:
            self.assertIn(f"\n{one['id']}. ", text)
            for reason in one["cause"]["reasons"]:
                if reason != HOSTILE:
                    self.assertIn(re.sub(r"\s+", " ", reason), re.sub(r"\s+", " ", text))
        # Never a stronger word than this one, and never alone where it is a verdict.
        self.assertIn("unexplained by the causes tested", text)
        for word in ("paranormal", "ghost", "spirit", "haunt", "supernatural", "entity", "proof of"):
            self.assertNotIn(word, text.lower())
        for source in ("RFC 5905", "RFC 6962", "Coles", "Eckart", "roomwake verify night.sqlite"):
            self.assertIn(source, text)

    def check_track(self, seen, findings):
        """Chromium's own track takes every cue."""
        cues = {one[0]: one[1:] for one in seen["cues"]}
        self.assertEqual(len(cues), len(findings["coincidences"]) + len(findings["marks"]))
        start, end, text = cues["mark-2"]
        self.assertEqual((start, end), (94, 104))
        self.assertIn("\u05d0\u05d1 walked <b>", text)

    def check_print(self, size):
        pdf = self.folder / f"{size}.pdf"
        info = subprocess.run(["pdfinfo", str(pdf)], capture_output=True, text=True, check=True).stdout
        width, height = map(float, re.search(r"Page size: +([\d.]+) x ([\d.]+)", info).groups())
        self.assertAlmostEqual(width, POINTS[size][0], delta=1)
        self.assertAlmostEqual(height, POINTS[size][1], delta=1)
        pages = pages_of(pdf)
        self.assertGreater(len(pages), 4)
        for number, page in enumerate(pages, 1):
            ink = [sum(value < 128 for value in row) for row in page]
            self.assertGreater(sum(ink), 30, f"{size}: page {number} is empty")
            edge = 7  # 5 mm at 36 dots an inch
            inside = all(value > 240 for row in page for value in row[:edge] + row[-edge:])
            self.assertTrue(inside, f"{size}: page {number} runs over its margin")

    def test_a_night_without_findings_is_a_whole_page_too(self):
        rows = "time,node,magnetic.x\n" + "".join(
            f"{1700000000 + i * 0.02:.2f},n1,{1e-5 + (i % 7) * 1e-9:.4e}\n" for i in range(500))
        night = self.folder / "quiet.sqlite"
        self.run(ROOMWAKE, "import", "--site", str(self.write("site.json", support.site())), "--csv",
                 str(self.write("quiet.csv", rows)), "--night", str(night), check=0)
        report = self.make(night)
        self.validate(report)
        text = report.read_text()
        self.assertIn("there is no finding", text)
        self.assertIn("seal holds", text)

    def test_a_report_that_can_not_be_made_is_told(self):
        night = self.folder / "none.sqlite"
        done = self.run(ROOMWAKE, "report", str(night), "--out", str(self.folder / "r.html"), check=1)
        self.assertIn("none.sqlite", done.stderr)
        self.run(ROOMWAKE, "report", str(night), check=2)
        self.assertFalse((self.folder / "r.html").exists())


if __name__ == "__main__":
    support.main()
