#!/usr/bin/python3
"""Promises of enrolment, with a real broker: who is enrolled gets in and does its own things; everything
else is denied, one test a denial.

Must never reach beyond loopback.
"""
import json
import os
import re
import socket
import ssl
import subprocess
import sys
import warnings

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from support import Case, NODE, ROOMWAKE, free_port, main, site, wait_for

SITE = "lodge"


class Enrolled(Case):
    """A base station that takes enrolled nodes alone, for a site with two nodes and a home-made one."""

    def setUp(self):
        super().setUp()
        self.keys = self.folder / "keys" / SITE
        self.port = free_port()
        self.time_port = free_port(socket.SOCK_DGRAM)
        self.site = self.write("site.json", site(rooms=("hall", "kitchen", "store"), site=SITE,
                                                 channels=[{"name": "temperature", "unit": "Cel",
                                                            "rate_hz": 0}]))
        self.csv = self.write("field.csv", "time,temperature\n" +
                              "".join(f"{i * 0.1:.1f},{15 + i % 7}\n" for i in range(3000)))

    def enrol(self, name, *more, check=0):
        drivers = self.write("drivers.json", [{"driver": "replay", "path": str(self.csv)}])
        return self.run(ROOMWAKE, "enrol", "--site", str(self.site), "--broker",
                        f"mqtts://127.0.0.1:{self.port}", "--time", f"127.0.0.1:{self.time_port}",
                        "--drivers", str(drivers), "--out", str(self.folder / f"{name}.json"), *more,
                        name, check=check)

    def record(self, *more):
        base = self.start("base", ROOMWAKE, "record", "--site", self.site, "--night",
                          self.folder / "night.sqlite", "--listen", f"127.0.0.1:{self.port}",
                          "--time", f"127.0.0.1:{self.time_port}", "--enrolled-only", *more)
        base.wait_output(r"broker +there")
        return base

    def password(self, name):
        broker = json.loads((self.folder / f"{name}.json").read_text())["broker"]
        return re.match(r"mqtts://[^:]+:([^@]+)@", broker)[1]

    def base_password(self):
        return (self.keys / "base.password").read_text()

    def client(self, program, *arguments, user=None, password=None, timeout=10):
        login = ["-u", user, "-P", password] if user else []
        return subprocess.run([program, "-h", "127.0.0.1", "-p", str(self.port), "--cafile",
                               str(self.keys / "authority.pem"), *login, *arguments],
                              capture_output=True, text=True, timeout=timeout, env=dict(os.environ))

    def listener(self, topic, user, password, name):
        """A subscriber that is known to be subscribed when this returns."""
        program = self.start(name, "stdbuf", "-oL", "mosquitto_sub", "-h", "127.0.0.1", "-p", self.port, "--cafile",
                             self.keys / "authority.pem", "-u", user, "-P", password, "-d", "-t",
                             topic, "-F", "HEARD %t %p")
        program.wait_output(r"Subscribed")
        return program

    def publish(self, topic, text, user, password):
        return self.client("mosquitto_pub", "-q", "1", "-t", topic, "-m", text, user=user,
                           password=password)


class GettingIn(Enrolled):
    def test_two_enrolled_nodes_are_recorded_and_the_base_station_can_mark(self):
        for name in ("n1", "n2"):
            self.enrol(name)
        base = self.record()
        base.wait_output(r"TLS, and a password for everybody; 2 nodes enrolled")
        for name in ("n1", "n2"):
            self.start(name, NODE, "--config", self.folder / f"{name}.json")
        base.wait_output(r"n1 \(hall\): here, channels temperature")
        base.wait_output(r"n2 \(kitchen\): here")
        base.wait_output(r"clock +n1 \(hall\): in time")
        self.run(ROOMWAKE, "mark", "--text", "the team in the hall", "--for", "3", check=0)
        base.wait_output(r'mark +"the team in the hall"')
        wait_for("n1 to have something stored", lambda: self.client(
            "mosquitto_sub", "-t", f"roomwake/{SITE}/n1/stored", "-C", "1", "-W", "3",
            user="n1", password=self.password("n1")).stdout)
        self.assertEqual(base.stop(), 0)
        self.run(ROOMWAKE, "verify", str(self.folder / "night.sqlite"), check=0)
        spoken = base.output() + self.programs[1].output()
        for secret in (self.password("n1"), self.base_password()):
            self.assertNotIn(secret, spoken)
        self.assertNotIn(self.password("n1").encode(), (self.folder / "night.sqlite").read_bytes())

    def test_a_node_whose_clock_stands_in_1970_gets_in(self):
        self.enrol("n1")
        base = self.record()
        library = subprocess.run(["dpkg", "-L", "libfaketime"], capture_output=True, text=True)
        library = re.search(r"\S+/libfaketime\.so\.1", library.stdout)
        self.assertTrue(library, "libfaketime is not installed")
        self.start("n1", NODE, "--config", self.folder / "n1.json", env={
            "LD_PRELOAD": library[0], "FAKETIME": "1970-01-01 00:00:05", "TZ": "UTC",
            "FAKETIME_DONT_FAKE_MONOTONIC": "1", "FAKETIME_DONT_RESET": "1",
            "ASAN_OPTIONS": "verify_asan_link_order=0:detect_leaks=0"})
        base.wait_output(r"n1 \(hall\): here, channels temperature")
        base.wait_output(r"clock +n1 \(hall\): in time")

    def test_the_join_line_makes_the_config_and_keeps_what_the_node_had(self):
        said = self.enrol("n1", "--qr").stdout
        code = re.search(r"--join '([^']+)'", said)[1]
        self.assertIn("\u2588", said)
        path = self.write("carried.json", {"drivers": [{"driver": "replay", "path": str(self.csv)}],
                                           "spool": {"path": "own-spool"}})
        self.run(NODE, "--config", str(path), "--join", code, check=0)
        carried = json.loads(path.read_text())
        told = json.loads((self.folder / "n1.json").read_text())
        for field in ("node", "site", "broker", "authority", "time", "drivers"):
            self.assertEqual(carried[field], told[field], field)
        self.assertEqual(carried["spool"], {"path": "own-spool"})
        self.assertEqual(path.stat().st_mode & 0o777, 0o600)
        base = self.record()
        self.start("n1", NODE, "--config", path)
        base.wait_output(r"n1 \(hall\): here")
        for damaged in (code[:-1], code.replace(",n1,", ",n2,"), code[:40] + code[41:], "", "rw1"):
            fault = self.run(NODE, "--config", str(path), "--join", damaged, check=2).stderr
            self.assertIn("not copied whole", fault)
        self.assertEqual(json.loads(path.read_text()), carried)

    def test_a_home_made_node_gets_in_with_its_password(self):
        self.enrol("n3")
        base = self.record()
        pack = '[{"bn":"n3/","n":"temperature","u":"Cel","v":11.5}]'
        self.publish(f"roomwake/{SITE}/n3/senml", pack, "n3", self.password("n3"))
        base.wait_output(r"n3: its SenML times count from arrival")

    def test_a_reader_hears_alerts_and_nothing_else(self):
        self.enrol("n1")
        said = self.run(ROOMWAKE, "enrol", "--site", str(self.site), "--reader", "--broker",
                        f"mqtts://127.0.0.1:{self.port}", "tablet", check=0).stdout
        password = re.search(r"-u reader.tablet -P (\S+)", said)[1]
        self.record()
        heard = self.listener("#", "reader.tablet", password, "reader")
        for kind in ("state", "hello"):
            self.publish(f"roomwake/{SITE}/n1/{kind}", "{}", "n1", self.password("n1"))
        self.publish(f"roomwake/{SITE}/alert", "ring", "base.station", self.base_password())
        heard.wait_output(r"^HEARD roomwake/lodge/alert ring")
        self.assertEqual(re.findall(r"^HEARD .*", heard.output(), re.M),
                         ["HEARD roomwake/lodge/alert ring"])


class Denied(Enrolled):
    """Each denial is seen by the base station's own eyes: it hears a last message that is allowed, and
    not the one before it that isn't."""

    def setUp(self):
        super().setUp()
        self.enrol("n1")
        self.enrol("n2")
        self.record()
        self.eyes = self.listener("#", "base.station", self.base_password(), "eyes")

    def test_a_node_speaks_as_itself_and_nowhere_else(self):
        password = self.password("n1")
        said = [f"roomwake/{SITE}/n2/{kind}"
                for kind in ("hello", "blocks", "state", "senml", "stored")]  # as another
        said += [f"roomwake/{SITE}/n1/stored",  # that its samples are safe
                 f"roomwake/{SITE}/alert",  # which the base station alone raises
                 f"roomwake/{SITE}/mark", f"roomwake/{SITE}/question", f"roomwake/{SITE}/n1",
                 f"roomwake/{SITE}/n1/more", f"roomwake/{SITE}/n1/blocks/more",
                 "roomwake/elsewhere/n1/blocks", "elsewhere", "$SYS/broker/version"]
        for i, topic in enumerate(said):
            with self.subTest(topic=topic):
                self.publish(topic, f"FORBIDDEN {topic}", "n1", password)
                self.publish(f"roomwake/{SITE}/n1/senml", f"allowed {i}.", "n1", password)
                self.eyes.wait_output(rf"^HEARD roomwake/{SITE}/n1/senml allowed {i}\.")
                self.assertNotIn("FORBIDDEN", self.eyes.output())
        for kind in ("hello", "blocks", "state"):
            self.publish(f"roomwake/{SITE}/n1/{kind}", "own", "n1", password)
            self.eyes.wait_output(rf"^HEARD roomwake/{SITE}/n1/{kind} own")

    def test_a_node_reads_its_own_stored_and_nothing_else(self):
        ear = self.listener("#", "n1", self.password("n1"), "ear")
        base = self.base_password()
        for topic in (f"roomwake/{SITE}/n2/stored", f"roomwake/{SITE}/n2/blocks",
                      f"roomwake/{SITE}/n1/hello", f"roomwake/{SITE}/alert",
                      f"roomwake/{SITE}/mark", f"roomwake/{SITE}/question"):
            self.publish(topic, "private", "base.station", base)
        self.publish(f"roomwake/{SITE}/n1/stored", "yours", "base.station", base)
        ear.wait_output(r"^HEARD roomwake/lodge/n1/stored yours")
        heard = [line for line in re.findall(r"^HEARD .*", ear.output(), re.M) if "{" not in line]
        self.assertEqual(heard, ["HEARD roomwake/lodge/n1/stored yours"])

    def test_nobody_gets_in_without_a_password_or_with_a_wrong_one(self):
        topic = f"roomwake/{SITE}/n1/senml"
        for user, password in ((None, None), ("n1", "wrong"), ("nobody", "x"),
                               ("n1", self.password("n2")), ("n3", "")):
            done = self.client("mosquitto_pub", "-t", topic, "-m", "x", user=user,
                               password=password)
            self.assertIn("not authorised", done.stderr.lower(), (user, done))
            self.assertNotEqual(done.returncode, 0)

    def test_without_tls_nobody_gets_in(self):
        done = subprocess.run(["mosquitto_pub", "-h", "127.0.0.1", "-p", str(self.port), "-u", "n1",
                               "-P", self.password("n1"), "-t", "x", "-m", "x"],
                              capture_output=True, text=True, timeout=20)
        self.assertNotEqual(done.returncode, 0)

    def test_old_tls_is_refused_and_1_2_and_1_3_are_spoken(self):
        for version, good in ((ssl.TLSVersion.TLSv1_1, False), (ssl.TLSVersion.TLSv1_2, True),
                              (ssl.TLSVersion.TLSv1_3, True)):
            warnings.simplefilter("ignore", DeprecationWarning)  # of asking for 1.1 at all
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
            context.load_verify_locations(str(self.keys / "authority.pem"))
            context.set_ciphers("ALL:@SECLEVEL=0")
            context.minimum_version = context.maximum_version = version
            with socket.create_connection(("127.0.0.1", self.port), 5) as plain:
                if good:
                    with context.wrap_socket(plain, server_hostname="127.0.0.1") as wrapped:
                        self.assertIn(wrapped.version(), ("TLSv1.2", "TLSv1.3"))
                else:
                    with self.assertRaises((ssl.SSLError, ConnectionError)):
                        context.wrap_socket(plain, server_hostname="127.0.0.1")

    def test_a_revoked_node_is_dropped_at_once_and_does_not_come_back(self):
        node1 = self.start("n1", NODE, "--config", self.folder / "n1.json")
        node2 = self.start("n2", NODE, "--config", self.folder / "n2.json")
        for program in (node1, node2):
            program.wait_output("broker: connected")
        self.run(ROOMWAKE, "enrol", "--site", str(self.site), "--revoke", "n1", check=0)
        self.programs[0].wait_output(r"enrolled now: 1 node\b")
        node1.wait_output(r"broker: (the broker refused|connection lost)")
        node1.wait_output(r"not authorised")
        self.assertNotIn("WARNING", node2.output().upper())
        self.assertIn("not enrolled", self.run(ROOMWAKE, "enrol", "--site", str(self.site),
                                               "--revoke", "n1", check=1).stderr)
        self.enrol("n1", "--force")
        node1.stop()
        self.start("n1-again", NODE, "--config", self.folder / "n1.json").wait_output(
            "broker: connected")

    def test_an_enrolled_node_can_not_have_another_dropped_by_its_client_id(self):
        node2 = self.start("n2", NODE, "--config", self.folder / "n2.json")
        node2.wait_output("broker: connected")
        self.client("mosquitto_pub", "-i", f"roomwake-{SITE}-n2", "-t",
                    f"roomwake/{SITE}/n1/senml", "-m", "allowed", user="n1",
                    password=self.password("n1"))
        self.eyes.wait_output(r"HEARD roomwake/lodge/n1/senml allowed")
        self.assertEqual(node2.output().count("broker:"), 1, node2.output())


class Believing(Enrolled):
    def node_says(self, change, pattern):
        self.enrol("n1", "--force")
        path = self.folder / "n1.json"
        config = json.loads(path.read_text())
        change(config)
        path.write_text(json.dumps(config))
        self.start("n1", NODE, "--config", path).wait_output(pattern)

    def test_a_node_does_not_believe_another_authority(self):
        self.enrol("n1")
        self.record()
        other = self.folder / "other"
        self.run("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt",
                 "ec_paramgen_curve:P-256", "-nodes", "-subj", "/CN=lodge authority", "-keyout",
                 str(other) + ".key", "-out", str(other) + ".pem", check=0)
        self.node_says(lambda c: c.update(authority="other.pem"),
                       r"certificate is refused: (unable to get local issuer|certificate "
                       r"signature|self.signed)")

    def test_a_node_does_not_speak_to_another_host_with_the_sites_certificate(self):
        self.enrol("n1")
        self.record()
        self.node_says(lambda c: c.update(broker=c["broker"].replace("127.0.0.1", "localhost")),
                       r"certificate is refused: hostname mismatch")

    def test_a_node_that_finds_nobody_says_so(self):
        self.node_says(lambda c: None, r"broker: no connection: refused")

    def test_a_node_that_finds_no_tls_says_so(self):
        self.enrol("n1")
        base = self.start("base", ROOMWAKE, "record", "--site", self.site, "--night",
                          self.folder / "night.sqlite", "--listen", f"127.0.0.1:{self.port}",
                          "--time", f"127.0.0.1:{self.time_port}")
        base.wait_output(r"broker +there")
        self.node_says(lambda c: None, r"no TLS there")


class Keys(Enrolled):
    def test_secrets_are_for_their_owner_alone_and_passwords_are_not_kept(self):
        self.enrol("n1")
        for path in self.keys.iterdir():
            self.assertEqual(path.stat().st_mode & 0o077, 0, path)
            self.assertNotIn(self.password("n1"), path.read_text(), path)
        self.assertEqual((self.folder / "n1.json").stat().st_mode & 0o777, 0o600)
        self.keys.chmod(0o755)
        self.assertIn("nobody else", self.enrol("n2", check=1).stderr)

    def test_certificates_have_no_end_and_begin_in_1970(self):
        self.enrol("n1")
        for name in ("authority.pem", "broker.pem"):
            text = self.run("openssl", "x509", "-in", str(self.keys / name), "-noout", "-dates",
                            check=0).stdout
            self.assertIn("notBefore=Jan  1 00:00:00 1970 GMT", text)
            self.assertIn("notAfter=Dec 31 23:59:59 9999 GMT", text)
        self.run("openssl", "verify", "-x509_strict", "-purpose", "sslserver", "-verify_ip",
                 "127.0.0.1", "-CAfile", str(self.keys / "authority.pem"),
                 str(self.keys / "broker.pem"), check=0)

    def test_the_authority_is_made_once(self):
        self.enrol("n1")
        first = (self.keys / "authority.pem").read_text()
        self.enrol("n2")
        self.assertEqual((self.keys / "authority.pem").read_text(), first)
        (self.keys / "authority.key").unlink()
        self.assertIn("authority.key", self.enrol("n3", check=1).stderr)
        self.assertEqual((self.keys / "authority.pem").read_text(), first)

    def test_wrong_use_is_told(self):
        fault = self.run(ROOMWAKE, "enrol", "--site", str(self.site), "nobody", check=1).stderr
        self.assertIn("names no such node", fault)
        self.enrol("n1")
        self.assertIn("--force", self.enrol("n1", check=1).stderr)
        self.run(ROOMWAKE, "enrol", "--site", str(self.site), "--broker", "mqtt://127.0.0.1", "n1",
                 check=2)
        self.run(ROOMWAKE, "record", "--site", str(self.site), "--night", "x", "--open-broker",
                 "--enrolled-only", check=2)


if __name__ == "__main__":
    main()
