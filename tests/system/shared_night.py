"""A small night whose every text is hostile, for the tests of what is handed to others.

Must never be made by anything but the programs themselves, but for the bytes that no program of ours
would write.
"""
import json
import pathlib
import random
import sqlite3

import support
from support import ROOMWAKE

START_S = 1700000000
SECONDS = 120
PULSE_S = 72   # seen by all nodes at once
WALK_S = 96    # motion from room to room
# Spreadsheets, markup, captions and terminals each have something that they would act on.
HOSTILE = "=cmd|' /C calc'!A0 </svg><script>window.hacked=1</script> --> \u202eredro\u202c\r\nNOTE x & \"y\""
INVALID = b"\xff\xfe</td><script>window.hacked=2</script>\xc3("


def site():
    made = support.site(rooms=("hall", "kitchen", "cellar"), baseline_s=20, channels=support.MAGNETIC +
                        [{"name": "temperature", "unit": "Cel", "rate_hz": 1}, support.MOTION])
    made["title"] = HOSTILE.replace("\r\n", " ")[:100]
    made["nodes"][2]["control"] = True
    for room in made["rooms"]:
        room["title"] = f"{room['id']} {HOSTILE}".replace("\r\n", " ")[:100]
    return made


def rows():
    draw = random.Random(4)
    lines = ["time,node,magnetic.x,magnetic.y,magnetic.z,temperature,motion,clock-uncertainty"]
    for tick in range(SECONDS * 50):
        for node in range(3):
            time_ns = START_S * 10**9 + tick * 20_000_000 + node * 1_234_567
            pulse = 2e-7 if PULSE_S * 50 <= tick < PULSE_S * 50 + 20 else 0
            field = [4.8e-5 + pulse, 1e-6, -2e-5]
            cells = [f"{draw.gauss(level, 4e-9):.9f}" for level in field]
            cells.append(f"{20 + node + 0.0625 * draw.randrange(3)}" if tick % 50 == 0 else "")
            walk = tick - WALK_S * 50 - node * 100
            cells.append("0" if tick == 0 or walk == 80 else "1" if walk == 0 else "")
            cells.append("0.00025" if tick == 0 else "0.0003" if tick == 3000 else "")
            lines.append(f"{time_ns // 10**9}.{time_ns % 10**9:09d},n{node + 1},{','.join(cells)}")
    return "\n".join(lines) + "\n"


def marks():
    def mark(start_s, end_s, room, text):
        return {"id": 1, "start": f"2023-11-14T22:{13 + (20 + start_s) // 60:02d}:"
                                  f"{(20 + start_s) % 60:02d}.000000000Z",
                "end": f"2023-11-14T22:{13 + (20 + end_s) // 60:02d}:"
                       f"{(20 + end_s) % 60:02d}.000000000Z", "room": room, "text": text}
    return {"marks": [mark(30, 40, "hall", HOSTILE), mark(94, 104, None, "\u05d0\u05d1 walked <b>")]}


class Shared:
    """The night, the files that it came from, and what the programs say of it."""

    def __init__(self, case):
        self.case = case
        self.folder = case.folder
        self.site = case.write("site.json", site())
        self.rows = case.write("rows.csv", rows())
        self.marks = case.write("marks.json", marks())
        self.night = self.folder / "night.sqlite"
        self.import_as("csv", self.rows, self.night)

    def import_as(self, kind, path, night, *more):
        self.case.run(ROOMWAKE, "import", "--site", str(self.site), f"--{kind}", str(path),
                      "--night", str(night), "--marks", str(self.marks), *more, check=0)

    def export(self, kind, name, *more, night=None):
        out = self.folder / name
        self.case.run(ROOMWAKE, "export", str(night or self.night), "--format", kind, "--out",
                      str(out), *more, check=0)
        return out

    def findings(self, night=None):
        return json.loads(self.case.run(ROOMWAKE, "export", str(night or self.night), "--format",
                                        "json", check=0).stdout)

    def spoil(self):
        """Bytes that are no UTF-8, where no program of ours would have written them."""
        with sqlite3.connect(self.night) as night:
            night.execute("UPDATE mark SET text = CAST(? AS TEXT) WHERE id = 1", (INVALID,))
            night.execute("UPDATE gap SET reason = CAST(? AS TEXT)", (INVALID,))
            night.execute("UPDATE coincidence_reason SET text = ? WHERE place = 0", (HOSTILE,))
        night.close()


def folder_of(case):
    return sorted(path.name for path in pathlib.Path(case.folder).iterdir())
