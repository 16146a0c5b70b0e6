"""No path leads from HTTP to the radio. Every path and method the daemon knows, and what somebody
hostile would try, while we hold the radio's side of a serial line and of a connection: without
`poll` not an octet is ever written to them; with it the text of the configuration, at its times."""

import os
import select
import socket
import threading
import time

import harness

RADIO = "    radio: { spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
QUESTION = b"status?\r\n"
EVERY_S = 0.5

PATHS = """
/ /metrics /links /links/weir /links/ridge /alerts /history /review/weir /review/ridge /style.css
/-/healthy /-/ready /-/reload
""".split()
QUERIES = ["", "?link=weir&quantity=margin_db&step=1h", "?send=status%3F%0D%0A", "?renew", "?poll=1"]
# What a daemon with a way to its radios might have had, and ways around a list of paths.
HOSTILE_PATHS = """
/send /write /poll /command /ports /ports/mast /ports/mast/send /links/weir/send /links/weir/poll
/links/weir/../../ports/mast /links/%2e%2e/ports /links/weir%0d%0aAT /-/quit /-/poll /-/shutdown /api/v1/write
/api/v2/alerts /dev/ttyUSB0 /../../dev/tty //ports//mast /review/weir?send=AT%0D /history?link=weir%00mast
/metrics/../ports * http://127.0.0.1/ports/mast
""".split()
METHODS = "GET HEAD POST PUT DELETE PATCH OPTIONS TRACE CONNECT SEND POLL".split()
BODIES = [b"", b"AT+PWR=30\r\n", b'{"port":"mast","send":"AT\\r"}', b"\x7e\x01\x7e\x00\x00" * 100]
RAW = [
    b"AT\r\n\r\n",
    b"\x7e\x01\x02\x7e" * 50,
    b"GET /links HTTP/1.1\r\nHost: a\r\nX: \r\n AT+PWR=30\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: a\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
    b"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: c3RhdHVzPw0Kc3RhdA==\r\n\r\n\x81\x04AT\r\n",
    b"POST /links/weir HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\n4\r\nAT\r\n\r\n0\r\n\r\n",
    b"CONNECT mast:7 HTTP/1.1\r\nHost: mast:7\r\n\r\nAT\r\n",
    b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + b"\0" * 64,
]


class Listener(threading.Thread):
    """What the program writes to a radio: [(time, bytes)]."""

    def __init__(self, descriptor):
        super().__init__(daemon=True)
        self.descriptor = descriptor
        self.heard = []
        self.over = threading.Event()

    def run(self):
        while not self.over.is_set():
            if not select.select([self.descriptor], [], [], 0.02)[0]:
                continue
            try:
                piece = os.read(self.descriptor, 4096)
            except BlockingIOError:
                continue
            except OSError:
                return
            if not piece:
                return
            self.heard.append((time.monotonic(), piece))

    def octets(self):
        return b"".join(piece for _, piece in self.heard)

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self.over.set()
        self.join(10)


def ask(daemon, path, method, body=None, headers=None):
    """The status, or None where the daemon closes the connection."""
    try:
        return daemon.get(path, method=method, body=body, headers=headers, limit_s=20).status
    except (OSError, harness.http.client.HTTPException):
        return None


def throw(daemon, data):
    with socket.create_connection(("127.0.0.1", daemon.port), timeout=5) as client:
        client.settimeout(1)
        try:
            client.sendall(data)
            client.shutdown(socket.SHUT_WR)
            while client.recv(65536):
                pass
        except OSError:
            pass


def storm(daemon):
    """Everything once. {status: how often}"""
    seen = {}

    def count(status):
        seen[status] = seen.get(status, 0) + 1

    for path in PATHS:
        for query in QUERIES:
            for method in METHODS:
                count(ask(daemon, path + query, method, BODIES[1] if method != "GET" else None))
    for path in HOSTILE_PATHS:
        for method in METHODS:
            for body in BODIES[:1] if method in ("GET", "HEAD") else BODIES:
                count(ask(daemon, path, method, body, {"X-Port": "mast", "Content-Type": "text/plain"}))
    for data in RAW:
        throw(daemon, data)
    return seen


def config(line, tcp, poll=""):
    return (f"http: {{ listen: '127.0.0.1:0', reload: true }}\nports:\n"
            f"  - {{ name: mast, source: 'serial:{line.link}'{poll} }}\n"
            f"  - {{ name: yard, source: 'tcp://127.0.0.1:{tcp.port}' }}\n"
            "links:\n  - name: weir\n    match: { port: mast }\n" + RADIO +
            "  - name: ridge\n    match: { port: yard }\n" + RADIO)


def report(t, daemon, line, tcp, seq):
    """Both ports are alive: a report of each is counted."""
    line.write(harness.report_line(link="weir", seq=seq, rssi_dbm=-97, snr_db=6))
    tcp.write(harness.report_line(link="ridge", seq=seq, rssi_dbm=-97, snr_db=6))
    for link in ("weir", "ridge"):
        daemon.wait_metric(seq, "fadeward_link_reports_total", link=link)


def start(t, poll=""):
    line, tcp = t.pty(t.new_name("mast")), t.tcp()
    path = t.write(t.new_name("untouched") + ".yaml", config(line, tcp, poll))
    daemon = t.daemon(path, serving=False)
    tcp.accept()
    return daemon.wait_serving(), line, tcp


def check_silence(t):
    t.section("without poll")
    daemon, line, tcp = start(t)
    with Listener(line.radio) as on_line, Listener(tcp.peer.fileno()) as on_tcp:
        report(t, daemon, line, tcp, 1)
        seen = storm(daemon)
        report(t, daemon, line, tcp, 2)
        time.sleep(0.5)
        t.equal(on_line.octets(), b"", f"nothing is written to the serial line in {sum(seen.values())} requests")
        t.equal(on_tcp.octets(), b"", "nothing is written to the connection")
    t.expect(seen.get(200, 0) > 50 and seen.get(405, 0) > 100 and seen.get(404, 0) > 50,
             "they were answered, refused and not found", seen)
    t.equal([status for status in seen if status and status >= 500], [], "no answer is a failure")
    code, _ = daemon.stop()
    t.equal(code, 0, "and it ends as always")


def check_polling(t):
    t.section("with poll")
    daemon, line, tcp = start(
        t, f', poll: {{ send: "status?\\r\\n", every: {EVERY_S * 1000:.0f}ms, quiet_before: 0ms }}')
    begin = time.monotonic()
    with Listener(line.radio) as on_line, Listener(tcp.peer.fileno()) as on_tcp:
        seen = storm(daemon)
        harness.wait_until(lambda: len(on_line.octets()) >= 3 * len(QUESTION), "three questions are heard")
        took_s = time.monotonic() - begin
    octets = on_line.octets()
    questions = octets.count(QUESTION)
    t.equal(octets, QUESTION * questions, "only the text of the configuration is ever written")
    t.expect(questions <= took_s / EVERY_S + 2, "not more often than it says, reloads included",
             (questions, took_s))
    t.equal(on_tcp.octets(), b"", "the port without poll hears nothing")
    t.expect(seen.get(200, 0) > 50, "meanwhile it answered", seen)
    daemon.stop()


def test(t):
    check_silence(t)
    check_polling(t)


harness.run(test)
