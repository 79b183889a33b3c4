#!/usr/bin/python3
"""Promises of the Debian packages, in a bare Debian 12 of their own (debootstrap, from this machine's
own mirror): they install, start as the units say, upgrade and go, and never touch what is the user's.

systemd itself does not run in there: the units' own command lines are started, as the units' users,
with a notification socket of the test's; the units are checked by systemd-analyze. Needs root.
"""
import json
import os
import pathlib
import re
import shlex
import shutil
import socket
import subprocess
import sys
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from support import BUILD, Case, NODE, ROOMWAKE, ROOT, free_port, main, site

KEYRING = "/usr/share/keyrings/debian-archive-keyring.gpg"
MIRROR_FILES = ("/etc/apt/sources.list", *map(str, pathlib.Path("/etc/apt/sources.list.d").glob("*")))
RELEASE = ROOT / "build"


def mirror():
    """Where this machine's own Debian packages come from: the entry of the release itself."""
    for path in filter(os.path.exists, MIRROR_FILES):
        text = pathlib.Path(path).read_text()
        for stanza in text.split("\n\n"):
            place = re.search(r"^URIs:\s*(\S+)", stanza, re.M)
            if place and re.search(r"^Suites:.*\bbookworm(\s|$)", stanza, re.M):
                return place[1]
        line = re.search(r"^deb(?: \[[^]]*\])?\s+(\S+)\s+bookworm\s", text, re.M)
        if line:
            return line[1]
    raise AssertionError("no Debian mirror is named in /etc/apt")


class Units(Case):
    def test_units_are_well_formed_and_shut_in(self):
        for name, most in (("roomwake-node.service", 2.5), ("roomwake@.service", 2.5)):
            unit = self.folder / name
            text = (ROOT / "deploy/systemd" / name).read_text()
            unit.write_text(re.sub(r"^ExecStart=\S+", "ExecStart=/bin/true", text, flags=re.M))
            checked = self.run("systemd-analyze", "verify", "--man=no", str(unit).replace(
                "@.", "@lodge."))
            self.assertNotRegex(checked.stdout + checked.stderr, re.escape(name.split(".")[0]) +
                                r".*(Unknown|Failed|Invalid)", checked)
            judged = self.run("systemd-analyze", "--offline=true", "security", str(unit), check=0)
            exposure = float(re.search(r"exposure level.*: ([0-9.]+)", judged.stdout)[1])
            self.assertLess(exposure, most, name)

    def test_manuals_and_completions_are_what_man_and_bash_expect(self):
        for name, program in (("roomwake", ROOMWAKE), ("roomwake-node", NODE)):
            page = self.write(f"{name}.1", self.run(program, "help", "manual", check=0).stdout)
            shown = self.run("env", "MANWIDTH=80", "man", "--warnings", "-l", str(page), check=0)
            self.assertEqual(shown.stderr, "")
            self.assertIn("EXIT STATUS", shown.stdout)
            self.assertIn(f'"{name} - ', self.run("lexgrog", str(page), check=0).stdout)
            completion = self.write(f"{name}.bash",
                                    self.run(program, "help", "completion", check=0).stdout)
            checked = self.run("bash", "-n", str(completion), check=0)
            self.assertEqual(checked.stderr, "")

    def test_a_site_continues_the_night_that_was_not_closed(self):
        nights = self.folder / "nights" / "lodge"
        record_site = str(ROOT / "deploy/systemd/record-site")

        def night():
            said = subprocess.run([record_site, "lodge", "--extra"], capture_output=True, text=True,
                                  env={**os.environ, "ROOMWAKE": "echo", "ROOMWAKE_NIGHTS":
                                       str(self.folder / "nights")}, check=True).stdout.split()
            self.assertEqual(said[0:3] + said[5:], ["record", "--site", "/etc/roomwake/lodge.json",
                                                    "--extra"])
            return pathlib.Path(said[4])
        first = night()
        self.assertEqual(first.parent, nights)
        first.touch()
        second = night()
        self.assertNotEqual(second, first)
        pathlib.Path(f"{first}-wal").touch()
        self.assertEqual(night(), first)


@unittest.skipUnless(os.geteuid() == 0, "needs root for a Debian of its own")
class Packages(Case):
    def setUp(self):
        super().setUp()
        self.root = self.folder / "debian"
        self.mounts = []

    def tearDown(self):
        for place in self.mounts:
            subprocess.run(["umount", "-l", place], check=True)
        super().tearDown()

    def make_debian(self):
        subprocess.run(["debootstrap", "--variant=minbase", f"--keyring={KEYRING}", "bookworm",
                        str(self.root), mirror()], check=True, stdout=subprocess.DEVNULL)
        for place in ("proc", "dev"):
            subprocess.run(["mount", "--bind", f"/{place}", str(self.root / place)], check=True)
            self.mounts.append(str(self.root / place))
        policy = self.root / "usr/sbin/policy-rc.d"
        policy.write_text("#!/bin/sh\nexit 101\n")
        policy.chmod(0o755)
        shutil.copy("/etc/resolv.conf", self.root / "etc/resolv.conf")
        apt = self.root / "etc/apt/apt.conf.d/99test"
        apt.write_text('Acquire::Check-Valid-Until "false";\nAPT::Install-Recommends "false";\n')

    def inside(self, command, check=0):
        done = self.run("chroot", str(self.root), "sh", "-c", command, timeout=600)
        self.assertEqual(done.returncode, check, f"{command}\n{done.stdout}{done.stderr}")
        return done.stdout

    def pack(self, version):
        build = RELEASE if (RELEASE / "roomwake").exists() else BUILD
        out = self.root / "root" / version
        self.run("cpack", "-G", "DEB", "--config", str(build / "CPackConfig.cmake"), "-B", str(out),
                 "-D", f"CPACK_PACKAGE_VERSION={version}", check=0, timeout=300)
        shutil.rmtree(out / "_CPack_Packages")
        return sorted(f"/root/{version}/{p.name}" for p in out.glob("*.deb"))

    def start_unit(self, unit, name, instance=""):
        """The unit's own command line, as its own user; returns what it tells its manager."""
        text = (self.root / "lib/systemd/system" / unit).read_text().replace("%i", instance)
        command = re.search(r"^ExecStart=(.*)$", text, re.M)[1]
        user = re.search(r"^User=(.*)$", text, re.M)[1]
        environment = dict(e.split("=", 1) for line in re.findall(r"^Environment=(.*)$", text, re.M)
                           for e in line.split())
        options = re.search(r"^EnvironmentFile=-(.*)$", text, re.M)
        if options:
            given = shlex.split((self.root / options[1].lstrip("/")).read_text())
            environment.update(e.split("=", 1) for e in given)
        for folder in re.findall(r"^RuntimeDirectory=(.*)$", text, re.M):
            self.inside(f"install -d -m 700 -o {user} /run/{folder}")
        command = command.replace("$RECORD_OPTIONS", environment.get("RECORD_OPTIONS", ""))
        manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.addCleanup(manager.close)
        manager.bind(f"\0roomwake-test-{os.getpid()}-{name}")
        manager.settimeout(30)
        environment["NOTIFY_SOCKET"] = f"@roomwake-test-{os.getpid()}-{name}"
        told = [f"{key}={value}" for key, value in environment.items() if key != "RECORD_OPTIONS"]
        uid, gid = (self.inside(f"id {flag} {user}").strip() for flag in ("-u", "-g"))
        program = self.start(name, "chroot", f"--userspec={uid}:{gid}", self.root, "env", "-i",
                             "PATH=/usr/sbin:/usr/bin:/sbin:/bin", *told, *command.split())
        return program, manager

    def test_packages_install_start_upgrade_and_go(self):
        self.make_debian()
        old, new = self.pack("0.0.9"), self.pack("0.1.0")
        self.assertEqual(len(old), 2)
        self.inside("apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq " +
                    " ".join(old))
        self.assertIn("roomwake 0.", self.inside("roomwake --version"))
        for path in ("share/man/man1/roomwake.1", "share/man/man1/roomwake-node.1",
                     "share/bash-completion/completions/roomwake"):
            self.assertTrue((self.root / "usr" / path).exists() or
                            (self.root / "usr" / (path + ".gz")).exists(), path)
        port, time_port = free_port(), free_port(socket.SOCK_DGRAM)
        etc = self.root / "etc"
        (etc / "roomwake/lodge.json").write_text(json.dumps(site(
            rooms=("hall",), site="lodge",
            channels=[{"name": "temperature", "unit": "Cel", "rate_hz": 0}])))
        (etc / "roomwake/lodge.options").write_text(
            f'RECORD_OPTIONS="--listen 127.0.0.1:{port} --enrolled-only --time 127.0.0.1:{time_port}"\n')
        (etc / "roomwake-node/field.csv").write_text("time,temperature\n" + "".join(
            f"{i / 10:.1f},{15 + i % 7}\n" for i in range(1000)))
        (etc / "roomwake-node/sensors.json").write_text(
            '[{"driver": "replay", "path": "field.csv"}]')
        self.inside("chmod 644 /etc/roomwake/* /etc/roomwake-node/*; cd /etc/roomwake-node && "
                    "setpriv --reuid=roomwake --regid=roomwake --clear-groups env "
                    "ROOMWAKE_KEYS=/var/lib/roomwake/keys roomwake enrol --site "
                    f"/etc/roomwake/lodge.json --broker mqtts://127.0.0.1:{port} --time "
                    f"127.0.0.1:{time_port} --out /var/lib/roomwake/n1.json n1 && "
                    "mv /var/lib/roomwake/n1.json node.json && chown roomwake-node node.json")
        config = json.loads((etc / "roomwake-node/node.json").read_text())
        config["spool"]["path"] = "/var/lib/roomwake-node/spool"
        config["drivers"] = [{"driver": "replay", "path": "field.csv"}]
        (etc / "roomwake-node/node.json").write_text(json.dumps(config))
        base, manager = self.start_unit("roomwake@.service", "base", "lodge")
        base.wait_output(r"broker +there")
        node, node_manager = self.start_unit("roomwake-node.service", "node")
        base.wait_output(r"n1 \(hall\): here")
        for one in (manager, node_manager):
            self.assertEqual(one.recv(100), b"READY=1")
            self.assertEqual(one.recv(100), b"WATCHDOG=1")
        self.assertEqual(node.stop(), 0)
        self.assertEqual(base.stop(), 0, base.output())
        night = next((self.root / "var/lib/roomwake/lodge").glob("*.sqlite"))
        kept = {path: path.read_bytes() for path in (
            night, etc / "roomwake/lodge.json", etc / "roomwake-node/node.json",
            self.root / "var/lib/roomwake/keys/lodge/authority.key")}
        self.inside("dpkg --install " + " ".join(new))
        self.assertIn("0.1.0", self.inside("dpkg-query -W -f '${Version}' roomwake-node"))
        self.inside("roomwake verify " + "/" + str(night.relative_to(self.root)) +
                    " && roomwake-node --version")
        self.inside("apt-get purge -y -qq roomwake roomwake-node")
        for gone in ("usr/bin/roomwake", "usr/bin/roomwake-node", "usr/lib/roomwake",
                     "lib/systemd/system/roomwake@.service",
                     "usr/share/man/man1/roomwake.1", "usr/share/doc/roomwake"):
            self.assertFalse((self.root / gone).exists(), gone)
        for path, content in kept.items():
            self.assertEqual(path.read_bytes(), content, path)
        self.assertEqual(self.inside("dpkg --audit"), "")


if __name__ == "__main__":
    main()
