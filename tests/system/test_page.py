"""The page over plain HTTP: what is served, what is refused, and that nothing is missed or doubled."""
import http.client
import json
import shutil
import socket
import time

import support
from live import House
from support import ROOMWAKE


class Stream:
    """Server-sent events, read as a browser reads them."""

    def __init__(self, port, last_id=None, path="/live"):
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        self.connection.request("GET", path, headers={"Last-Event-ID": last_id} if last_id else {})
        self.response = self.connection.getresponse()
        assert self.response.status == 200, self.response.status
        assert self.response.getheader("Content-Type") == "text/event-stream"

    def next(self):
        """(event, id, data) of the next event, or None at the end of the stream."""
        event, number, data = None, None, None
        while True:
            line = self.response.readline().decode()
            if not line:
                return None
            name, _, value = line.rstrip("\n").partition(": ")
            if name == "event":
                event = value
            elif name == "id":
                number = value
            elif name == "data":
                data = json.loads(value)
            elif not name and data is not None:
                return event, number, data

    def until(self, wanted, deadline_s=20):
        """The events up to and with the first that is wanted."""
        end = time.monotonic() + deadline_s
        seen = []
        while time.monotonic() < end:
            one = self.next()
            if one is None:
                raise AssertionError(f"the stream ended: {seen}")
            seen.append(one)
            if wanted(*one):
                return seen
        raise AssertionError(f"not among the events: {seen}")

    def until_text(self, part):
        return self.until(lambda event, number, data: event == "line" and part in data["text"])

    def close(self):
        self.connection.close()


class PageTest(support.Case):
    def setUp(self):
        super().setUp()
        self.port = support.free_port()
        self.house = House(self, support.site(rooms=("hall", "passage"), baseline_s=5),
                           record_options=("--http", f"127.0.0.1:{self.port}"))
        self.house.start_station().wait_output(r"broker +there")

    def ask(self, path, method="GET", headers=None, body=None):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        connection.request(method, path, body, headers or {})
        answer = connection.getresponse()
        content = answer.read()
        connection.close()
        return answer, content

    def raw(self, request):
        with socket.create_connection(("127.0.0.1", self.port), 10) as link:
            link.sendall(request)
            link.settimeout(10)
            return link.recv(200).split(b"\r\n")[0]

    def mark(self, text):
        self.run(ROOMWAKE, "mark", "--text", text, check=0)

    def test_the_page_is_served_with_a_strict_policy(self):
        self.house.station.wait_output(rf"The page: +http://127.0.0.1:{self.port}/")
        for path, kind, part in (("/", "text/html", b"<script src=\"/page.js\""),
                                 ("/page.css", "text/css", b"html {"),
                                 ("/page.js", "text/javascript", b"EventSource")):
            answer, content = self.ask(path)
            self.assertEqual(answer.status, 200)
            self.assertIn(kind, answer.getheader("Content-Type"))
            self.assertIn(part, content)
            self.assertNotIn(b"innerHTML", content)
            self.assertTrue(answer.getheader("Content-Security-Policy")
                            .startswith("default-src 'none'; script-src 'self'"))
            self.assertEqual(answer.getheader("X-Content-Type-Options"), "nosniff")
            self.assertIsNone(answer.getheader("Access-Control-Allow-Origin"))
        self.assertEqual(self.ask("/", headers={"Host": f"localhost:{self.port}"})[0].status, 200)
        self.house.stop_station()
        self.assertNotIn("left open", self.house.station.output())

    def test_what_is_no_reading_of_the_page_is_refused(self):
        for host in ("page.example", f"page.example:{self.port}", f"127.0.0.1.x:{self.port}", ""):
            for path in ("/", "/live"):
                answer, _ = self.ask(path, headers={"Host": host})
                self.assertEqual(answer.status, 403, host)
        for method in ("POST", "PUT", "DELETE", "OPTIONS", "BREW"):
            answer, _ = self.ask("/", method, body="x" * 100_000)
            self.assertEqual((answer.status, answer.getheader("Allow")), (405, "GET, POST"), method)
        for path in ("/../site.json", "/%2e%2e/site.json", "/..%2fsite.json", "/page/../page.js",
                     "//page.js", "/page.js/", "/%zz", "/%00", "/index.html"):
            self.assertEqual(self.ask(path)[0].status, 404, path)
        host = f"Host: 127.0.0.1:{self.port}\r\n".encode()
        self.assertIn(b" 400 ", self.raw(b"GET / HTTP/1.1\r\n\r\n"))
        self.assertRegex(self.raw(b"GET / HTTP/1.1\r\n" + host + b"X: " + b"a" * 1_000_000 +
                                  b"\r\n\r\n"), rb" 4(13|31) ")
        self.assertEqual(self.ask("/")[0].status, 200)
        self.house.stop_station()

    def test_lines_come_live_and_a_reconnect_brings_what_was_missed_once(self):
        stream = Stream(self.port)
        begin = stream.until(lambda event, *_: event == "standing")[-1][2]
        self.assertEqual([n["words"] for n in begin["nodes"]], ["not heard yet"] * 2)
        stream.until(lambda event, number, data: event == "standing" and data["recording"])
        self.mark("first <b>door</b>")
        seen = stream.until_text("first <b>door</b>")
        last_id = seen[-1][1]
        self.assertEqual(seen[-1][2]["head"], "mark")
        stream.close()
        self.mark("second, missed")
        self.mark("third, missed")
        self.house.station.wait_output("third, missed")
        for again in (Stream(self.port, last_id), Stream(self.port, path=f"/live?since={last_id}")):
            self.mark("fourth, live")
            seen = again.until_text("fourth, live")
            marks = [data["text"].split('"')[1] for event, _, data in seen
                     if event == "line" and data["head"] == "mark"]
            self.assertEqual(marks[:3], ["second, missed", "third, missed", "fourth, live"])
            self.assertNotIn("again", [event for event, *_ in seen])
            again.close()
        foreign = Stream(self.port, "12345-6")
        self.assertEqual(foreign.next()[0], "again")
        foreign.until_text("first")
        self.house.stop_station()
        self.assertTrue([data for event, _, data in self.to_the_end(foreign)
                         if event == "standing"][-1]["ended"])
        self.assertNotIn("left open", self.house.station.output())

    def to_the_end(self, stream):
        seen = []
        while (one := stream.next()) is not None:
            seen.append(one)
        return seen

    def test_a_sleeping_stream_is_told_how_things_stand(self):
        stream = Stream(self.port)
        stream.until(lambda event, number, data: event == "standing" and data["recording"])
        for _ in range(2):
            self.assertTrue(stream.until(lambda event, *_: event == "standing", 12))
        self.house.stop_station()

    def test_200_idle_connections_do_not_stop_the_recorder(self):
        idle = []
        for i in range(200):
            link = socket.create_connection(("127.0.0.1", self.port), 5)
            link.sendall(b"GET / HTTP/1.1\r\nHo" if i % 2 else b"")
            idle.append(link)
        self.mark("noted all the same")
        self.house.station.wait_output("noted all the same", 5)
        support.wait_for("the page to answer again", self.answers, 40, 0.5)
        for link in idle:
            link.close()
        self.house.stop_station()

    def test_a_page_that_reads_the_night_does_not_keep_it_from_being_closed(self):
        self.mark("something to store")
        support.wait_for("the night to be read", lambda: self.ask("/api/night")[0].status == 200)
        support.wait_for("the mark to be on disk", lambda: json.loads(
            self.ask("/api/events")[1])["marks"])
        self.house.stop_station()
        self.assertNotIn("not closed", self.house.station.output())
        self.assertEqual([], list(self.folder.glob("night.sqlite-*")))

    def test_a_mark_is_made_by_the_page_alone(self):
        own = {"X-Roomwake": "1", "Content-Type": "application/json"}
        body = json.dumps({"text": "<script>alert(1)</script>", "room": "hall", "who": "kim"})
        origin = f"http://127.0.0.1:{self.port}"
        for headers in ({"Content-Type": "application/json"}, {"X-Roomwake": "1"},
                        {"X-Roomwake": "1", "Content-Type": "text/plain"},
                        dict(own, Origin="http://page.example"), dict(own, Origin="null"),
                        dict(own, Origin=f"https://127.0.0.1:{self.port}"),
                        {**own, "Sec-Fetch-Site": "cross-site"},
                        {**own, "Sec-Fetch-Site": "same-site"}):
            self.assertEqual(self.ask("/api/mark", "POST", headers, body)[0].status, 403, headers)
        for bad in ("", "{", "[]", "{}", '{"text":""}', '{"text":"x","room":"A B"}',
                    '{"text":"x","more":1}', '{"text":"x","for_s":-1}', '{"text":"x","for_s":1e9}',
                    json.dumps({"text": "x" * 600}), "[" * 100):
            self.assertEqual(self.ask("/api/mark", "POST", own, bad)[0].status, 400, bad[:40])
        for bad, status in (('{"withdraw":0}', 400), ('{"withdraw":99}', 404),
                            ('{"end":1,"withdraw":1}', 400), ('{"correct":1,"text":""}', 400)):
            self.assertEqual(self.ask("/api/mark", "POST", own, bad)[0].status, status, bad)
        self.assertEqual(self.ask("/api/mark", "POST", own, "x" * 9000)[0].status, 413)
        self.assertEqual(self.ask("/api/mark", "GET", own)[0].status, 404)
        answer, made = self.ask("/api/mark", "POST",
                                {**own, "Origin": origin, "Sec-Fetch-Site": "same-origin"}, body)
        self.assertEqual((answer.status, json.loads(made)), (201, {"id": 1}))
        self.house.station.wait_output("<script>alert")
        self.house.stop_station()
        marks = self.findings(self.house.night)["marks"]
        self.assertEqual([(mark["text"], mark["room"]) for mark in marks],
                         [("<script>alert(1)</script>", "hall")])

    def act(self, **asked):
        own = {"X-Roomwake": "1", "Content-Type": "application/json"}
        answer, content = self.ask("/api/act", "POST", own, json.dumps(asked))
        said = json.loads(content)
        return answer.status, said.get("say") or said.get("error")

    def test_acts_are_begun_followed_and_refused_as_on_the_command_line(self):
        plan = {"title": "first", "channels": ["magnetic"], "ask_s": 0.1, "window_s": 0.3,
                "rest_s": 30, "expect_response": 0.5, "expect_by_chance": 0.1,
                "questions": [{"text": "who is there"}]}
        self.assertEqual(self.ask("/api/act", "POST", {"X-Roomwake": "1"}, "{}")[0].status, 403)
        self.assertEqual(self.ask("/api/act", "GET")[0].status, 404)
        status, words = self.act(act="walk", do="begin")
        self.assertEqual((status, words), (400, "a walk has two rooms at least, or it has no order"))
        status, words = self.act(act="ask", do="begin", plan=json.dumps({**plan, "controls": 0}))
        self.assertEqual(status, 400)
        refused = self.run(ROOMWAKE, "ask", "--plan", self.write("plan.json", {**plan, "controls": 0}),
                           check=2).stderr
        self.assertIn(words.partition(": ")[2], refused)
        self.assertEqual(self.act(act="quiet", do="begin", for_s=20)[0], 200)
        status, words = self.act(act="quiet", do="begin", for_s=20)
        self.assertEqual(status, 400)
        self.assertRegex(words, "a quiet spell began . s ago: let it go on")
        self.assertRegex(self.run(ROOMWAKE, "baseline", "--begin", check=2).stderr,
                         "a quiet spell began . s ago: let it go on")
        self.assertEqual(self.act(act="preflight", do="begin", wait_s=1, look_s=10)[0], 200)
        stream = Stream(self.port)
        stream.until(lambda event, number, data: event == "acts" and
                     data["preflight"]["state"] == "over" and not data["preflight"]["go"])
        stream.close()
        self.assertEqual(self.act(act="ask", do="begin", plan=json.dumps(plan))[0], 200)
        again = Stream(self.port)  # another phone, or a reload
        told = again.until(lambda event, *_: event == "acts")[-1][2]
        self.assertEqual((told["ask"]["stage"], told["ask"]["count"], told["preflight"]["go"]),
                         ("rest", 2, False))
        self.assertGreater(told["ask"]["until"], 0)
        self.assertNotIn("who is there", json.dumps(told))
        self.assertIn("is being held", self.act(act="ask", do="begin", plan=json.dumps(plan))[1])
        support.wait_for("the session on disk", lambda: self.run(
            ROOMWAKE, "answers", self.house.night).returncode == 0)
        self.assertIn("is being held", self.run(
            ROOMWAKE, "ask", "--plan", self.write("plan.json", plan), check=2).stderr)
        self.house.stop_station()
        told = [data for event, _, data in self.to_the_end(again) if event == "acts"]
        self.assertEqual(told[-1]["ask"]["state"] if told else "left", "left")
        self.assertNotIn("left open", self.house.station.output())
        self.assertIn("BROKEN OFF: the night was ended",
                      self.run(ROOMWAKE, "answers", self.house.night, check=0).stdout)

    def test_a_connection_that_dribbles_is_shut_in_time(self):
        link = socket.create_connection(("127.0.0.1", self.port), 10)
        link.sendall(b"GET / HTTP/1.1\r\nX-Slow: ")
        link.settimeout(1)
        begun = time.monotonic()

        def is_shut():
            try:
                link.sendall(b"a")
                return link.recv(100) == b""
            except TimeoutError:
                return False
            except OSError:
                return True

        support.wait_for("the connection to be shut", is_shut, 60, 0.1)
        self.assertGreater(time.monotonic() - begun, 5)
        link.close()
        self.house.stop_station()

    def answers(self):
        try:
            return self.ask("/")[0].status == 200
        except (OSError, http.client.HTTPException):
            return False

    def test_a_reader_that_takes_nothing_does_not_hold_the_others(self):
        slow = socket.create_connection(("127.0.0.1", self.port), 5)
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1024)
        slow.sendall(f"GET /live HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\n\r\n".encode())
        stream = Stream(self.port)
        for i in range(20):
            self.mark(f"mark {i}: " + "long " * 90)
        self.assertTrue(stream.until_text("mark 19: "))
        slow.close()
        self.house.stop_station()
        self.assertNotIn("left open", self.house.station.output())

    def test_a_taken_port_is_said_and_leaves_no_night(self):
        other = self.folder / "other.sqlite"
        done = self.run(ROOMWAKE, "record", "--site", str(self.house.site_path), "--night",
                        str(other), "--listen", f"127.0.0.1:{support.free_port()}", "--http",
                        f"127.0.0.1:{self.port}")
        self.assertNotEqual(done.returncode, 0)
        self.assertIn(f"page: 127.0.0.1 port {self.port}", done.stderr)
        self.assertFalse(other.exists())
        self.house.stop_station()


class ServedTest(support.Case):
    """A finished night, and a site file that is drawn."""

    def setUp(self):
        super().setUp()
        self.port = support.free_port()

    ask = PageTest.ask

    def serve(self, *arguments):
        program = self.start("page", ROOMWAKE, *arguments, "--http", f"127.0.0.1:{self.port}")
        program.wait_output(rf"The page: https?://127.0.0.1:{self.port}/")
        return program

    def get(self, path, status=200, headers=None):
        answer, content = self.ask(path, headers=headers)
        self.assertEqual(answer.status, status, (path, content[:300]))
        return json.loads(content) if content[:1] in b"{[n" else content

    def night(self):
        site = support.site(rooms=("hall", "passage"), baseline_s=5, channels=[
            {"name": "temperature", "unit": "Cel", "rate_hz": 1}])
        site["rooms"][0]["title"] = "<img src=x onerror=alert(1)>"
        rows = "".join(f"{1700000000 + i},n{n},{20 + n + (5 if i == 400 and n == 1 else 0)}.{i % 7}\n"
                       for i in range(600) for n in (1, 2))
        csv = self.write("night.csv", "time,node,temperature\n" + rows)
        path = self.folder / "night.sqlite"
        self.run(ROOMWAKE, "import", "--site", str(self.write("site.json", site)), "--csv",
                 str(csv), "--night", str(path), check=0)
        return path

    def test_a_finished_night_answers_what_the_page_asks(self):
        night = self.night()
        page = self.serve("serve", night)
        told = self.get("/api/night")
        self.assertEqual(told["rooms"][0]["title"], "<img src=x onerror=alert(1)>")
        self.assertEqual([node["id"] for node in told["nodes"]], ["n1", "n2"])
        self.assertEqual([node["samples"] for node in self.get("/api/nodes")["nodes"]], [600, 600])
        wide = self.get(f"/api/window?from=0&to={600 * 10**9}&px=50&lane=n1/temperature")["lanes"][0]
        self.assertEqual(len(wide["max"]), 50)
        self.assertEqual(max(value for value in wide["max"] if value is not None), 26.1)
        raw = self.get(f"/api/window?from={395 * 10**9}&to={405 * 10**9}&px=500&lane=n1/temperature")
        self.assertEqual(raw["lanes"][0]["v"], [21.3, 21.4, 21.5, 21.6, 21.0, 26.1, 21.2, 21.3, 21.4,
                                                21.5])
        self.assertEqual(set(self.get("/api/events")),
                         {"gaps", "marks", "questions", "clock", "notices", "disturbances", "left_out"})
        self.assertEqual(self.get("/api/findings")["left_out"], 0)
        for path in ("/api/window", "/api/window?from=1&to=1", "/api/window?px=0", "/api/window?x=%zz",
                     "/api/window?from=0&to=9&lane=n1/temperature&lane=../x",
                     "/api/night?id=" + "9" * 30):
            self.assertEqual(self.ask(path)[0].status, 400, path)
        self.get("/api/finding?id=999999", 404)
        self.get("/api/window?from=0&to=9&lane=n9/temperature", 404)
        for path in ("/live", "/api/plan", "/api/export?format=../x", "/api/export"):
            self.assertEqual(self.ask(path)[0].status, 404, path)
        answer, content = self.ask("/api/export?format=csv")
        self.assertEqual(answer.getheader("Content-Disposition"), "attachment")
        self.assertEqual(answer.getheader("Content-Type"), "application/octet-stream")
        self.assertEqual(content.decode(), self.run(ROOMWAKE, "export", str(night), "--format",
                                                    "csv", check=0).stdout)
        self.assertEqual(page.stop(), 0, page.output())
        self.assertNotIn("left open", page.output())

    def test_all_of_a_night_in_one_file_is_what_the_export_writes(self):
        import faults
        night = self.night()
        tar = self.folder / "all.tar"
        self.run(ROOMWAKE, "export", str(night), "--format", "bundle", "--out", str(tar), check=0)
        page = self.serve("serve", night)
        self.assertIn("bundle", self.get("/api/self")["formats"])
        self.assertEqual(self.ask("/api/export?format=bundle&check=1")[1], b"")
        self.assertEqual(self.ask("/api/export?format=bundle")[1], tar.read_bytes())
        self.assertEqual(self.ask("/api/export?format=seconds")[1].decode(),
                         self.run(ROOMWAKE, "export", str(night), "--format", "csv", "--per-second",
                                  check=0).stdout)
        self.assertEqual(page.stop(), 0)
        if not faults.may_mount():
            return
        disk = faults.Disk(self.folder / "small", 16)
        self.addCleanup(disk.close)
        shutil.move(night, disk.folder / "night.sqlite")
        self.env["TMPDIR"] = str(disk.folder)
        self.port = support.free_port()
        page = self.serve("serve", disk.folder / "night.sqlite")
        for path in ("/api/export?format=bundle&check=1", "/api/export?format=bundle"):
            answer, content = self.ask(path)
            self.assertEqual(answer.status, 503)
            self.assertRegex(json.loads(content)["error"], "no room: about .* MB are needed there")
        self.assertEqual(self.ask("/api/export?format=json")[0].status, 200)
        self.assertEqual(page.stop(), 0)

    def test_a_download_that_nobody_takes_does_not_hold_the_page(self):
        page = self.serve("serve", self.night())
        idle = []
        for _ in range(3):
            link = socket.create_connection(("127.0.0.1", self.port), 10)
            link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1024)
            link.sendall(f"GET /api/export?format=csv HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\n\r\n"
                         .encode())
            idle.append(link)
        self.get("/api/night")
        for link in idle:
            link.close()
        self.assertEqual(page.stop(), 0, page.output())
        self.assertNotIn("left open", page.output())

    def test_only_a_paired_device_sees_anything_and_only_with_its_right(self):
        page = self.serve("serve", self.night(), "--http-pair")
        view, change = page.wait_output(r"paired with (\S+); to change things as well, with (\S+)").groups()
        own = {"X-Roomwake": "1", "Content-Type": "application/json"}
        self.assertEqual(self.get("/api/self")["right"], "none")
        self.assertEqual(self.ask("/")[0].status, 200)
        for path in ("/api/night", "/api/findings", "/api/export?format=csv", "/api/window?from=0&to=9"):
            self.assertEqual(self.ask(path)[0].status, 401, path)
        self.assertEqual(self.ask("/api/mark", "POST", own, '{"text":"x"}')[0].status, 401)
        self.assertEqual(self.ask("/api/act", "POST", own, '{"act":"quiet","do":"end"}')[0].status, 401)
        self.assertEqual(self.ask("/api/pair", "POST", {}, json.dumps({"code": view}))[0].status, 403)
        cookies = {}
        for name, code in (("view", view), ("mark", change)):
            answer, content = self.ask("/api/pair", "POST", own, json.dumps({"code": code}))
            self.assertEqual((answer.status, json.loads(content)["right"]), (200, name))
            cookie = answer.getheader("Set-Cookie")
            self.assertIn("HttpOnly; SameSite=Strict; Path=/", cookie)
            cookies[name] = {"Cookie": cookie.split(";")[0]}
            self.get("/api/night", headers=cookies[name])
        for path in ("/api/mark", "/api/act"):
            self.assertEqual(self.ask(path, "POST", {**own, **cookies["view"]}, "{}")[0].status, 403)
        self.assertEqual(self.ask("/api/mark", "POST", {**own, **cookies["mark"]},
                                  '{"text":"x"}')[0].status, 404)
        seen = {}
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        for i in range(10_000):
            link.request("POST", "/api/pair", json.dumps({"code": f"aaaa-{i:04}"}), own)
            answer = link.getresponse()
            answer.read()
            seen[answer.status] = seen.get(answer.status, 0) + 1
        link.close()
        self.assertEqual(set(seen), {403, 429}, seen)
        self.assertLess(seen[403], 200, seen)
        self.get("/api/night", headers=cookies["view"])
        self.assertEqual(page.stop(), 0)

    def test_tls_is_spoken_with_a_certificate_and_wrong_ones_are_named(self):
        import ssl
        key, certificate = self.folder / "key.pem", self.folder / "cert.pem"
        support.run("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
                    "-nodes", "-keyout", key, "-out", certificate, "-days", "1", "-subj", "/CN=base",
                    "-addext", "subjectAltName=IP:127.0.0.1", check=0)
        night = self.night()
        page = self.serve("serve", night, "--http-cert", certificate, "--http-key", key)
        page.wait_output(f"The page: https://127.0.0.1:{self.port}/")
        trust = ssl.create_default_context(cafile=str(certificate))
        link = http.client.HTTPSConnection("127.0.0.1", self.port, timeout=20, context=trust)
        link.request("GET", "/api/self")
        self.assertEqual(link.getresponse().status, 200)
        link.close()
        self.assertEqual(page.stop(), 0)
        for options, why in ((["--http-cert", certificate], "one needs the other"),
                             (["--http-cert", certificate, "--http-key", self.folder / "site.json"], "PEM|pair"),
                             (["--http-cert", self.folder / "no", "--http-key", key], "no: ")):
            done = self.run(ROOMWAKE, "serve", str(night), "--http", f"127.0.0.1:{self.port}",
                            *map(str, options))
            self.assertNotEqual(done.returncode, 0)
            self.assertRegex(done.stderr, why)

    def test_a_plan_is_checked_and_kept_whole_or_not_at_all(self):
        path = self.folder / "new.json"
        page = self.serve("plan", "--site", path)
        own = {"X-Roomwake": "1", "Content-Type": "application/json"}
        self.assertEqual(self.ask("/api/plan")[1], b"null")
        self.assertEqual(self.ask("/api/night")[0].status, 404)
        site = support.site(rooms=("hall", "passage"))
        self.assertEqual(self.ask("/api/check", "POST", own, json.dumps(site))[0].status, 200)
        self.assertFalse(path.exists())
        bad = json.loads(json.dumps(site))
        bad["nodes"][1]["position_m"] = [99, 99, 1]
        answer, content = self.ask("/api/plan", "POST", own, json.dumps(bad))
        self.assertEqual(answer.status, 400)
        self.assertIn("nodes[1].position_m", json.loads(content)["error"])
        self.assertFalse(path.exists())
        self.assertEqual(self.ask("/api/plan", "POST", own, "x" * 300_000)[0].status, 413)
        self.assertEqual(self.ask("/api/plan", "POST", own, json.dumps(site))[0].status, 200)
        self.assertEqual(json.loads(path.read_text()), site)
        self.assertEqual(self.get("/api/plan"), site)
        self.assertEqual(page.stop(), 0)


if __name__ == "__main__":
    support.main()
