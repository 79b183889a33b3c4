"""The page over plain HTTP: what is served, what is refused, and that nothing is missed or doubled."""
import http.client
import json
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


if __name__ == "__main__":
    support.main()
