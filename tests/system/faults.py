"""What the fault tests do to programs, links and disks, and what a spool's files hold.

Must never touch a process, port or mount that the test did not make.
"""
import asyncio
import errno
import os
import signal
import struct
import subprocess
import threading

RECORD_HEAD = struct.Struct("<IIQQI")  # magic, length, boot, seq, checksum: node/spool_segment.c
RECORD_MAGIC = 0x31535752


class Links:
    """TCP ways to one port that can be cut, each by its name; served by a thread of its own."""

    def __init__(self, port):
        self.port = port
        self.loop = asyncio.new_event_loop()
        self.links = {}
        self.thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self.thread.start()

    def add(self, name):
        """The port where this way begins."""
        return asyncio.run_coroutine_threadsafe(self._add(name), self.loop).result(30)

    async def _add(self, name):
        link = self.links[name] = {"open": asyncio.Event(), "refuses": False, "writers": set()}
        link["open"].set()
        server = await asyncio.start_server(lambda r, w: self._serve(link, r, w), "127.0.0.1", 0)
        link["server"] = server
        return server.sockets[0].getsockname()[1]

    async def _serve(self, link, reader, writer):
        link["writers"].add(writer)
        try:
            if link["refuses"]:
                return
            far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self.port)
            link["writers"].add(far_writer)
            await asyncio.gather(self._pump(link, reader, far_writer),
                                 self._pump(link, far_reader, writer))
        except (OSError, asyncio.CancelledError):
            pass
        finally:
            for one in (writer, locals().get("far_writer")):
                if one:
                    link["writers"].discard(one)
                    one.close()

    async def _pump(self, link, reader, writer):
        try:
            while True:
                data = await reader.read(1 << 16)
                await link["open"].wait()
                if not data:
                    break
                writer.write(data)
                await writer.drain()
        except OSError:
            pass
        writer.close()

    def cut(self, name):
        """Connections fall at once, new ones are refused."""
        def act():
            self.links[name]["refuses"] = True
            for writer in list(self.links[name]["writers"]):
                writer.transport.abort()
        self.loop.call_soon_threadsafe(act)

    def swallow(self, name):
        """Nothing falls and nothing passes."""
        self.loop.call_soon_threadsafe(self.links[name]["open"].clear)

    def mend(self, name):
        def act():
            self.links[name]["refuses"] = False
            self.links[name]["open"].set()
        self.loop.call_soon_threadsafe(act)

    def close(self):
        async def end():
            for link in self.links.values():
                link["server"].close()
                for writer in list(link["writers"]):
                    writer.transport.abort()
            await asyncio.sleep(0)
        asyncio.run_coroutine_threadsafe(end(), self.loop).result(30)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(10)


class Disk:
    """A small file system of memory that others can fill. Needs root."""

    def __init__(self, folder, megabytes):
        self.folder = folder
        folder.mkdir(parents=True)
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(folder)],
                       check=True)

    def fill(self, leave_bytes=0):
        """Until so much is left."""
        disk = os.statvfs(self.folder)
        size = disk.f_bavail * disk.f_frsize - leave_bytes
        with open(self.folder / "of-others", "ab") as file:
            try:
                if size > 0:
                    os.posix_fallocate(file.fileno(), 0, size)
            except OSError as error:  # somebody else was faster
                if error.errno != errno.ENOSPC:
                    raise

    def clear(self):
        (self.folder / "of-others").unlink(missing_ok=True)

    def close(self):
        subprocess.run(["umount", "-l", str(self.folder)], check=True)


def may_mount():
    return os.geteuid() == 0


def stall(program):
    if program.process.poll() is None:
        program.process.send_signal(signal.SIGSTOP)


def go_on(program):
    if program.process.poll() is None:
        program.process.send_signal(signal.SIGCONT)


def spool_frames(folder):
    """(boot, seq) of every whole record in a spool's files; boots as the night spells them."""
    found = set()
    for path in sorted(folder.glob("*.spool")):
        data = path.read_bytes()
        at = 0
        while at + RECORD_HEAD.size <= len(data):
            magic, length, boot, seq, _ = RECORD_HEAD.unpack_from(data, at)
            if magic != RECORD_MAGIC or at + RECORD_HEAD.size + length > len(data):
                break
            found.add((f"{boot:016x}", seq))
            at += RECORD_HEAD.size + length
    return found
