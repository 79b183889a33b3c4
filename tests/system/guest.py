"""A small guest with Debian's own kernel, for what the host's kernel has not: sensors behind its own drivers.

Builds an initramfs of busybox, the modules asked for and their like, and files of the test's own, and runs it in
QEMU by emulation alone. The guest reaches the host's loopback at 10.0.2.2. Must never need root, nor install the
kernel: its package is unpacked into a cache (ROOMWAKE_GUEST_CACHE, else the user's).
"""
import gzip
import os
import pathlib
import re
import shutil
import subprocess

QEMU = "qemu-system-x86_64"
BUSYBOX = "/bin/busybox"
CACHE = pathlib.Path(os.environ.get("ROOMWAKE_GUEST_CACHE") or
                     pathlib.Path.home() / ".cache" / "roomwake-guest")


class NotHere(Exception):
    """The guest can't be had here, and why."""


def find_tool(name):
    found = shutil.which(name, path=os.environ.get("PATH", "") + ":/usr/sbin:/sbin")
    if not found:
        raise NotHere(f"{name} is not there (deploy/packages test)")
    return found


def run(*arguments, **more):
    done = subprocess.run([str(one) for one in arguments], capture_output=True, text=True, timeout=120,
                          check=False, **more)
    return done.stdout if done.returncode == 0 else None


def fetch_kernel():
    """The folder of the unpacked kernel package; brought by apt once."""
    told = run("apt-cache", "depends", "linux-image-amd64") or ""
    found = re.search(r"Depends: (linux-image-\S+)", told)
    if not found:
        raise NotHere("apt does not know linux-image-amd64")
    folder = CACHE / found.group(1)
    if (folder / "unpacked").exists():
        return folder
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    if run("apt-get", "download", found.group(1), cwd=folder) is None:
        raise NotHere(f"apt can't download {found.group(1)}")
    for package in folder.glob("*.deb"):
        if run("dpkg", "-x", package, folder) is None:
            raise NotHere(f"{package} can't be unpacked")
        package.unlink()
    (folder / "unpacked").touch()
    return folder


def libraries_of(program):
    """What the program is linked with, as the host has it."""
    told = run("ldd", program) or ""
    return {path for path in re.findall(r"(?:=> |^\s*)(/\S+)", told, re.M)}


class Guest:
    """files: {path in the guest: path here or bytes}; programs come with their libraries."""

    def __init__(self, folder, modules, files=(), programs=()):
        for tool in (QEMU, "cpio", "depmod", "modprobe"):
            find_tool(tool)
        if not os.path.exists(BUSYBOX):
            raise NotHere("busybox-static is not there (deploy/packages test)")
        self.kernel_folder = fetch_kernel()
        self.kernel = next((self.kernel_folder / "boot").glob("vmlinuz-*"))
        self.version = self.kernel.name.removeprefix("vmlinuz-")
        self.root = pathlib.Path(folder) / "guest"
        self.image = pathlib.Path(folder) / "guest.cpio.gz"
        for name in ("bin", "dev", "proc", "sys", "tmp", "modules"):
            (self.root / name).mkdir(parents=True)
        shutil.copy(BUSYBOX, self.root / "bin" / "busybox")
        self.order = self.copy_modules(modules)
        for path, content in dict(files).items():
            self.put(path, content)
        for path, program in dict(programs).items():
            self.put(path, pathlib.Path(program))
            for library in libraries_of(program):
                self.put(library.lstrip("/"), pathlib.Path(library))

    def put(self, path, content):
        target = self.root / path.lstrip("/")
        target.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(content, pathlib.Path):
            shutil.copy(content, target)
        else:
            target.write_bytes(content)
        target.chmod(0o755)

    def copy_modules(self, names):
        """Each with what it needs, in the order of loading."""
        if not (self.kernel_folder / "lib" / "modules" / self.version / "modules.dep").exists():
            run(find_tool("depmod"), "-b", self.kernel_folder, self.version)
        order = []
        for name in names:
            told = run(find_tool("modprobe"), "-d", self.kernel_folder, "-S", self.version,
                       "--show-depends", name)
            if told is None:
                raise NotHere(f"Debian's kernel has no module {name}")
            for path in re.findall(r"^insmod (\S+)", told, re.M):
                if path not in order:
                    order.append(path)
                    shutil.copy(path, self.root / "modules")
        return [pathlib.Path(path).name for path in order]

    def build(self, script):
        """script: what the guest's shell does; the machine is off when it ends."""
        loads = "\n".join(f"insmod /modules/{name} {self.arguments(name)}" for name in self.order)
        self.put("init", f"""#!/bin/busybox sh
/bin/busybox --install -s /bin
export PATH=/bin
mount -t proc none /proc; mount -t sysfs none /sys; mount -t devtmpfs none /dev
exec > /dev/console 2>&1
mount -t tmpfs none /tmp
{loads}
ip link set lo up
{script}
poweroff -f
""".encode())
        listing = "\n".join(sorted(str(path.relative_to(self.root))
                                   for path in self.root.rglob("*")))
        packed = subprocess.run(["cpio", "-o", "-H", "newc", "--quiet"], input=listing.encode(),
                                cwd=self.root, capture_output=True, check=True)
        with gzip.open(self.image, "wb", compresslevel=1) as out:
            out.write(packed.stdout)

    @staticmethod
    def arguments(module):
        return "chip_addr=0x1e,0x48" if module.startswith("i2c-stub") else ""

    def command(self):
        # A busy host makes emulated timers look broken to the kernel: it need not check them.
        return [QEMU, "-accel", "tcg", "-cpu", "max", "-m", "512", "-nographic", "-no-reboot",
                "-netdev", "user,id=net0", "-device", "e1000,netdev=net0,romfile=", "-kernel",
                str(self.kernel), "-initrd", str(self.image), "-append",
                "console=ttyS0 quiet panic=-1 no_timer_check"]
