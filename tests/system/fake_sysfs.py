"""A file tree that behaves as the kernel documents /sys, and misbehaves on command.

Run as a program: fake_sysfs.py MOUNTPOINT FOLDER. FOLDER/tree.json has the files ({path: text}, or
{path: {"count_from": N}} whose text is N, N + 1, ... at each read); it is looked at anew at each access, so that
a file appears or vanishes when it is written. FOLDER/faults.json ({path: fault}) makes a file misbehave:
{"error": "EIO"} fails its reads, {"block": true} holds them until the fault is taken back, {"text": "..."} gives
something else. What is written to a file is kept in FOLDER/written.jsonl, what a counting file gave in
FOLDER/given.jsonl. Must never be more forgiving than the kernel: a read is one text, at once, and a file's size
says nothing.
"""
import errno
import json
import os
import pathlib
import stat
import sys
import threading
import time

import fusepy

PAGE = 4096


class Tree(fusepy.Operations):
    def __init__(self, folder):
        self.folder = pathlib.Path(folder)
        self.guard = threading.Lock()
        self.counted = {}
        self.opened = {}
        self.next_handle = 1

    def read_json(self, name):
        try:
            return json.loads((self.folder / name).read_text())
        except FileNotFoundError:
            return {}

    def note(self, name, entry):
        with self.guard, open(self.folder / name, "a", encoding="ascii") as out:
            out.write(json.dumps(entry) + "\n")

    def files(self):
        return self.read_json("tree.json")

    def fault(self, path):
        return self.read_json("faults.json").get(path.lstrip("/"), {})

    def getattr(self, path, fh=None):
        name = path.lstrip("/")
        files = self.files()
        if name in files:
            return {"st_mode": stat.S_IFREG | 0o644, "st_nlink": 1, "st_size": PAGE}
        if not name or any(one.startswith(name + "/") for one in files):
            return {"st_mode": stat.S_IFDIR | 0o755, "st_nlink": 2}
        raise fusepy.FuseOSError(errno.ENOENT)

    def readdir(self, path, fh):
        inside = path.strip("/")
        inside = inside + "/" if inside else ""
        names = {one[len(inside):].split("/")[0] for one in self.files() if one.startswith(inside)}
        return [".", "..", *sorted(names)]

    def open(self, path, flags):
        if path.lstrip("/") not in self.files():
            raise fusepy.FuseOSError(errno.ENOENT)
        with self.guard:
            self.next_handle += 1
            return self.next_handle

    def text_of(self, path):
        name = path.lstrip("/")
        while self.fault(path).get("block"):
            time.sleep(0.02)
        fault = self.fault(path)
        if "error" in fault:
            raise fusepy.FuseOSError(getattr(errno, fault["error"]))
        if "text" in fault:
            return fault["text"]
        files = self.files()
        if name not in files:
            raise fusepy.FuseOSError(errno.ENODEV)
        told = files[name]
        if isinstance(told, str):
            return told
        with self.guard:
            count = self.counted.get(name, told["count_from"])
            self.counted[name] = count + 1
        self.note("given.jsonl", [name, count])
        return f"{count}\n"

    def read(self, path, size, offset, fh):
        if offset == 0:  # the kernel asks the driver at offset 0 alone
            self.opened[fh] = self.text_of(path).encode()
        return self.opened.get(fh, b"")[offset:offset + size]

    def write(self, path, data, offset, fh):
        self.note("written.jsonl", [path.lstrip("/"), data.decode(errors="replace")])
        return len(data)

    def truncate(self, path, length, fh=None):
        return 0

    def release(self, path, fh):
        self.opened.pop(fh, None)
        return 0


if __name__ == "__main__":
    fusepy.FUSE(Tree(sys.argv[2]), sys.argv[1], foreground=True, direct_io=True, nothreads=False,
                allow_other=False, attr_timeout=0, entry_timeout=0, negative_timeout=0)
    os._exit(0)
