"""A real Prometheus receives what is pushed: live values, stale markers, six hours offline in accelerated
time with and without an out-of-order window, restarts of both sides; and a receiver of our own, which
reads the requests by the specification, answers in every way that a receiver may."""

import http.server
import json
import math
import re
import signal
import struct
import subprocess
import threading
import time

import harness
import servers

LINKS = ["weir", "ridge"]
QUARTER = 900
GAUGES = ["signal_dbm", "noise_dbm", "margin_db", "margin_low_db", "loss_ratio"]


# ---- the wire, read by its specifications ----------------------------------------------------------


def unsnap(data):
    """Snappy block format (format_description.txt of the reference implementation)."""
    size, at = varint(data, 0)
    out = bytearray()
    while at < len(data):
        tag = data[at]
        at += 1
        if tag & 3 == 0:
            length = tag >> 2
            if length >= 60:
                extra = length - 59
                length = int.from_bytes(data[at:at + extra], "little")
                at += extra
            out += data[at:at + length + 1]
            at += length + 1
            continue
        if tag & 3 == 1:
            length, offset = 4 + (tag >> 2 & 7), (tag >> 5) << 8 | data[at]
            at += 1
        else:
            width = 2 if tag & 3 == 2 else 4
            length, offset = 1 + (tag >> 2), int.from_bytes(data[at:at + width], "little")
            at += width
        for _ in range(length):
            out.append(out[-offset])
    if len(out) != size:
        raise ValueError("not the size that the beginning tells")
    return bytes(out)


def varint(data, at):
    value = shift = 0
    while True:
        byte = data[at]
        at += 1
        value |= (byte & 0x7F) << shift
        if byte < 0x80:
            return value, at
        shift += 7


def fields(data):
    """(number, value) of a protobuf message."""
    at = 0
    while at < len(data):
        key, at = varint(data, at)
        if key & 7 == 0:
            value, at = varint(data, at)
        elif key & 7 == 1:
            value, at = data[at:at + 8], at + 8
        elif key & 7 == 2:
            size, at = varint(data, at)
            value, at = data[at:at + size], at + size
        else:
            raise ValueError(f"wire type {key & 7}")
        yield key >> 3, value


def decode(body):
    """[(labels, [(milliseconds, value bits)])] of one remote-write request."""
    out = []
    for number, series in fields(unsnap(body)):
        if number != 1:
            raise ValueError("unknown field")
        labels, samples = [], []
        for inner, value in fields(series):
            parts = dict(fields(value))
            if inner == 1:
                labels.append((parts[1].decode(), parts[2].decode()))
            else:
                samples.append((parts[2], struct.unpack("<Q", parts[1])[0]))
        out.append((tuple(labels), samples))
    return out


STALE = 0x7FF0000000000002


class Receiver:
    """Keeps what it is sent. `answer(request)` gives status, headers and body."""

    def __init__(self):
        receiver = self
        self.answer = lambda request: (200, {}, "")
        self.requests, self.accepted, self.problems = [], [], []
        self.bytes = self.samples = self.concurrent = 0

        class Handler(http.server.BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self):
                receiver.concurrent += 1
                body = self.rfile.read(int(self.headers["Content-Length"]))
                try:
                    request = decode(body)
                    receiver.check(self.headers, request)
                except (ValueError, KeyError, IndexError) as wrong:
                    receiver.problems.append(repr(wrong))
                    request = []
                receiver.requests.append(request)
                receiver.size = len(body)
                status, headers, text = receiver.answer(request)
                if status == 200:
                    receiver.accepted.append(request)
                    receiver.bytes += len(body)
                    receiver.samples += sum(len(samples) for _, samples in request)
                receiver.concurrent -= 1
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", str(len(text)))
                self.end_headers()
                self.wfile.write(text.encode())

            def log_message(self, *args):
                pass

        class Server(http.server.ThreadingHTTPServer):
            daemon_threads = True

            def handle_error(self, request, client_address):
                pass
        self.server = Server(("127.0.0.1", 0), Handler)
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def url(self):
        return f"http://127.0.0.1:{self.port}/write"

    def check(self, headers, request):
        wanted = {"Content-Encoding": "snappy", "Content-Type": "application/x-protobuf",
                  "X-Prometheus-Remote-Write-Version": "0.1.0"}
        for name, value in wanted.items():
            if headers[name] != value:
                self.problems.append(f"{name}: {headers[name]}")
        if not headers["User-Agent"]:
            self.problems.append("no User-Agent")
        if self.concurrent > 1:
            self.problems.append("two requests at once")
        seen = set()
        for labels, samples in request:
            names = [name for name, _ in labels]
            if names != sorted(set(names)) or "__name__" not in names or not all(value for _, value in labels):
                self.problems.append(f"labels {labels}")
            times = [at for at, _ in samples]
            if times != sorted(set(times)) or labels in seen or not samples:
                self.problems.append(f"samples of {labels}: {times}")
            seen.add(labels)

    def series(self):
        """{labels: [(milliseconds, bits)]} of what was accepted, as it came."""
        out = {}
        for request in list(self.accepted):
            for labels, samples in request:
                out.setdefault(labels, []).extend(samples)
        return out

    def close(self):
        self.server.shutdown()
        self.server.server_close()


# ---- the real one --------------------------------------------------------------------------------


class Prometheus(servers.Prometheus):
    def __init__(self, t, name, window=None):
        config = {"global": {"scrape_interval": "1h"}}
        if window:
            config["storage"] = {"tsdb": {"out_of_order_time_window": window}}
        super().__init__(t, config, name, options=["--web.enable-remote-write-receiver"])

    @property
    def write_url(self):
        return f"{self.url}/api/v1/write"

    def raw(self, expression, begin, end):
        """{labels: {milliseconds: value}} of stored samples in [begin, end)."""
        found = self.api("query", query=f"{expression}[{math.ceil(end - begin)}s]", time=end)["result"]
        return {frozenset((k, v) for k, v in one["metric"].items()):
                {round(float(at) * 1000): float(value) for at, value in one["values"]} for one in found}


def config(device, url, state="", options="interval: 1s", links=LINKS, labels="{ gateway: mill-house }"):
    return (f"external_labels: {labels}\n" + (f"history: {{ dir: {state} }}\n" if state else "")
            + f"push: {{ remote_write: {{ url: '{url}', {options} }} }}\n"
            f"ports:\n  - {{ name: mast, source: 'serial:{device}', serial: {{ baud: 57600 }} }}\n"
            "defaults:\n"
            "  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6, rssi: signal }\n"
            "links:\n" + "".join(f"  - name: {name}\n    match: {{ port: mast }}\n    expect: 60s\n" for name in links))


class Feed:
    """Two links report all the time, with levels that change a little."""

    def __init__(self, radio, every_s):
        self.radio, self.every_s, self.seq, self.on = radio, every_s, 0, True
        self.thread = threading.Thread(target=self.run, daemon=True)
        self.thread.start()

    def run(self):
        while self.on:
            self.seq += 1
            level = -95 + 4 * math.sin(self.seq / 40)
            for shift, name in enumerate(LINKS):
                try:
                    self.radio.write(harness.report_line(link=name, seq=self.seq, rssi_dbm=round(level - shift, 2), snr_db=5,
                                                         noise_dbm=-115.5, far_rssi_dbm=round(level, 2), far_noise_dbm=-117,
                                                         far_time=None))
                except (harness.Failed, OSError, ValueError):  # the test has ended
                    return
            time.sleep(self.every_s)

    def stop(self):
        self.on = False
        self.thread.join()


def dropped(daemon, url):
    return {dict(key)["reason"]: value for key, value in daemon.metrics().all("fadeward_push_dropped_total", target=url).items()}


def check_live(t):
    t.section("live values at a real Prometheus")
    prometheus = Prometheus(t, "prometheus-live")
    radio = t.pty()
    daemon = t.daemon(config(radio.link, prometheus.write_url, t.path("state-live")))
    feed = Feed(radio, 0.02)
    t.expect(daemon.pushed("requests_total", prometheus.write_url) is not None, "counted from the start")
    t.equal(dropped(daemon, prometheus.write_url), {"replaced": 0, "too_old": 0, "out_of_order": 0, "refused": 0}, "and the drops")
    harness.wait_until(lambda: prometheus.query("fadeward_link_margin_db"), "the margins have arrived", 60)
    feed.stop()
    radio.wait_read()
    time.sleep(3.5)
    links = daemon.links()
    for key, family in (("margin_db", "fadeward_link_margin_db"), ("signal_dbm", "fadeward_link_signal_dbm"),
                        ("loss_ratio", "fadeward_link_loss_ratio")):
        held = prometheus.query(family)
        for name in LINKS:
            labels = frozenset({"link": name, "direction": "inbound", "gateway": "mill-house", "job": "fadeward"}.items())
            ours = links[name]["inbound"][key]
            t.expect(labels in held and abs(held[labels] - ours) < 0.02, f"{name} {key}: {ours}", held)
    counted = sum(prometheus.query("fadeward_link_reports_total").values())
    t.equal(counted, daemon.metrics().total("fadeward_link_reports_total"), f"{counted:g} reports in counters, exactly")
    t.equal(prometheus.query("up"), {frozenset({"gateway": "mill-house", "job": "fadeward"}.items()): 1.0}, "up of its own")
    # The same families as a scrape would bring, but those of the process and of HTTP.
    there = {one["metric"]["__name__"]
             for one in prometheus.api("query", query='count by (__name__) ({job="fadeward"})')["result"]}
    ours = {name for name in daemon.metrics().names() if name.startswith("fadeward_") and not name.startswith("fadeward_http_")}
    t.equal(sorted(ours ^ there - {"up"}), [], f"{len(there)} families")
    t.equal(dropped(daemon, prometheus.write_url), {"replaced": 0, "too_old": 0, "out_of_order": 0, "refused": 0}, "nothing dropped")
    t.equal(daemon.pushed("failures_total", prometheus.write_url), 0.0, "no request failed")
    code, took = daemon.stop()
    t.expect(code == 0 and took < 5, "the daemon ends", (code, took))
    t.equal(prometheus.query("fadeward_link_margin_db"), {}, "its series end with it (stale markers)")
    t.equal(prometheus.query("up"), {}, "all of them")
    t.equal(prometheus.complaints(), [],
            "Prometheus has nothing to complain about")
    prometheus.stop()


def exported(t, state):
    """{(family, link, direction): {milliseconds: value}} of `fadeward export`."""
    code, text, err = t.run("export", "--history", state)
    if code:
        raise harness.Failed(f"export: {err}")
    out = {}
    for line in text.decode().splitlines():
        found = re.fullmatch(r'(\w+)\{link="(\w+)",direction="(\w+)"\} (\S+) (\S+)', line)
        if found:
            family, link, direction, value, at = found.groups()
            out.setdefault((family, link, direction), {})[round(float(at) * 1000)] = float(value)
    return out


FACTOR = 720  # six hours in half a minute


def program_time(daemon):
    return daemon.metrics().get("fadeward_snapshot_timestamp_seconds")


def run_to(daemon, moment):
    harness.wait_until(lambda: program_time(daemon) >= moment, "the time has come", 240)


def check_offline(t, window, restart, hours=6):
    t.section(f"{hours} h offline, {'with' if window else 'without'} an out-of-order window"
              + (f", the daemon {restart} meanwhile" if restart else ""))
    name = t.new_name("offline")
    state = t.path(name + "-state")
    prometheus = Prometheus(t, name, "1d" if window else None)
    radio = t.pty(name + "-radio")
    options = "interval: 60s" + (", out_of_order: true, max_sample_age: 1d" if window else "")
    text = config(radio.link, prometheus.write_url, state, options)
    start = math.floor(time.time() / 86400) * 86400 - 86400   # of yesterday: all of it is past for Prometheus

    def run_daemon(begin):
        at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(begin))
        return t.daemon(text, "--time-factor", str(FACTOR), "--time-start", at)
    daemon = run_daemon(start)
    feed = Feed(radio, 30 / FACTOR)
    run_to(daemon, start + 3600 + 600)
    before = dropped(daemon, prometheus.write_url)
    t.equal(before, {"replaced": 0, "too_old": 0, "out_of_order": 0, "refused": 0}, "nothing is dropped while it is there")
    prometheus.stop()
    offline = program_time(daemon)
    earlier = 0   # counters begin again with the program
    if restart:
        run_to(daemon, offline + hours * 1800)
        earlier = dropped(daemon, prometheus.write_url)["too_old"]
        if restart == "is killed":
            daemon.send(signal.SIGKILL)
            daemon.wait()
        else:
            daemon.stop()
        daemon = run_daemon(offline + hours * 1800 + 1300)
    run_to(daemon, offline + hours * 3600)
    behind = daemon.pushed("behind_seconds", prometheus.write_url)
    t.expect(behind > (hours - 1) * 3600 or not window, "how far it is behind is told", behind)
    prometheus.start()
    online = program_time(daemon)
    harness.wait_until(lambda: daemon.pushed("last_success_timestamp_seconds", prometheus.write_url) > online, "it is reached again", 60)
    run_to(daemon, online + 2400)
    harness.wait_until(lambda: daemon.pushed("behind_seconds", prometheus.write_url) == 0, "the backlog is there", 60)
    now = program_time(daemon)
    drops = dropped(daemon, prometheus.write_url)
    feed.stop()
    t.equal(daemon.stop()[0], 0, "the daemon ends")
    # Quarter hours that were complete when Prometheus came back: those of the outage.
    first, last = math.floor(offline / QUARTER) * QUARTER + QUARTER, math.floor((online - 300) / QUARTER) * QUARTER
    held = {}
    for family in GAUGES:
        for labels, values in prometheus.raw(f"fadeward_link_{family}", start - 60, now + 60).items():
            labels = dict(labels)
            held[labels["__name__"], labels["link"], labels["direction"]] = values
    missing, wrong, sent, of_old, expected_old = [], [], 0, [], 0
    oldest = online - 3600 if not window else 0
    for key, values in exported(t, state).items():
        if key[0][len("fadeward_link_"):] not in GAUGES + ["retry_ratio"]:
            continue
        for at, value in values.items():
            if not first * 1000 <= at <= last * 1000:
                continue
            stored = held.get(key, {}).get(at)
            if at / 1000 <= oldest:
                expected_old += 1
                if stored is not None:
                    of_old.append((key, at))
            elif at / 1000 <= oldest + 900:
                continue   # may have become too old while Prometheus started
            elif stored is None:
                missing.append((key, at))
            elif abs(stored - value) > 0.02:
                wrong.append((key, at, stored, value))
            else:
                sent += 1
    t.equal(missing[:5], [], f"{sent} quarter-hour samples of the outage are there")
    t.expect(sent > (50 * hours if window else 20), "many", sent)
    t.equal(wrong[:5], [], "with the values of the export")
    t.equal(of_old[:5], [], "what is too old is not" if not window else "nothing is too old")
    if window:
        t.equal((drops["too_old"], drops["out_of_order"], drops["refused"]), (0, 0, 0), "and nothing was dropped")
    else:
        per_quarter = expected_old / max(1, round((oldest - first) / QUARTER))
        counted = earlier + drops["too_old"]
        # Killed: the last quarter hour may have become too old behind the last look.
        least = expected_old - (2 * per_quarter if restart == "is killed" else 0)
        t.expect(least <= counted <= expected_old + 3 * per_quarter, f"{counted:g} samples are counted as too old",
                 expected_old)
        limit = 4 * per_quarter if restart == "is killed" else 0
        t.expect(drops["out_of_order"] <= limit and drops["refused"] == 0, "and nothing was refused", drops)
        order = [at for at in sorted(held[("fadeward_link_margin_db", "weir", "inbound")]) if at / 1000 > online]
        t.expect(len(order) > 10, "live samples go on behind them", len(order))
    prometheus.stop()


def check_short_window(t):
    t.section("a window at the server that is shorter than ours")
    state = t.path("short-state")
    prometheus = Prometheus(t, "short", "1h")
    radio = t.pty("short-radio")
    text = config(radio.link, prometheus.write_url, state, "interval: 60s, out_of_order: true, max_sample_age: 1d")
    start = math.floor(time.time() / 86400) * 86400 - 86400
    daemon = t.daemon(text, "--time-factor", str(FACTOR), "--time-start",
                      time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(start)))
    feed = Feed(radio, 30 / FACTOR)
    run_to(daemon, start + 1200)
    prometheus.stop()
    offline = program_time(daemon)
    run_to(daemon, offline + 3 * 3600)
    prometheus.start()
    online = program_time(daemon)
    harness.wait_until(lambda: daemon.pushed("last_success_timestamp_seconds", prometheus.write_url) > online, "it is reached again", 60)
    harness.wait_until(lambda: daemon.pushed("behind_seconds", prometheus.write_url) == 0, "it gets to its end", 60)
    time.sleep(1.5)
    drops = dropped(daemon, prometheus.write_url)
    requests = daemon.pushed("requests_total", prometheus.write_url)
    t.expect(drops["too_old"] + drops["out_of_order"] > 50 and drops["refused"] == 0, "what is too old for it is dropped", drops)
    feed.stop()
    daemon.stop()
    held = prometheus.raw('fadeward_link_margin_db{link="weir",direction="inbound"}', online - 2700, online)
    quarters = [at for values in held.values() for at in values if at % (QUARTER * 1000) == 0]
    t.expect(len(quarters) >= 2, "what is not too old is there", held)
    print(f"        {requests:g} requests")
    prometheus.stop()


def check_tls(t):
    t.section("over TLS with a password")
    openssl = t.need("openssl")
    # bcrypt of "hush-4711" at cost 4, made with crypt(3)
    hashed = "$2b$04$qd9kqPw/im11OI/V21MO6O6Qo/IJtVe5JXC74zX/TFNCYZKIr6YYO"
    subprocess.run([openssl, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout",
                    t.path("tls.key"), "-out", t.path("tls.pem"), "-days", "2", "-subj", "/CN=here", "-addext",
                    "subjectAltName=IP:127.0.0.1"], capture_output=True, check=True, timeout=60)
    web = t.write("web.yml", json.dumps({"tls_server_config": {"cert_file": t.path("tls.pem"), "key_file": t.path("tls.key")},
                                         "basic_auth_users": {"mill": hashed}}))
    port = harness.free_port()
    server = t.process([t.need("prometheus"), f"--config.file={t.write('tls.yml', '{}')}", f"--storage.tsdb.path={t.path('tls')}",
                        f"--web.listen-address=127.0.0.1:{port}", "--web.enable-remote-write-receiver",
                        f"--web.config.file={web}"], "prometheus-tls")
    url = f"https://127.0.0.1:{port}/api/v1/write"
    t.write("tls-password", "wrong\n")
    radio = t.pty("tls-radio")
    daemon = t.daemon(config(radio.link, url, options=f"interval: 1s, user: mill, password_file: {t.path('tls-password')}, "
                                                      f"ca_file: {t.path('tls.pem')}"))
    harness.wait_until(lambda: "status 401" in daemon.log(), "the wrong password is refused", 60)
    t.write("tls-password", "hush-4711\n")
    harness.wait_until(lambda: daemon.pushed("sent_total", url) > 100, "the right one is taken, without a restart", 60)
    t.expect("hush" not in daemon.log() + daemon.get("/metrics").text, "and stands nowhere")
    daemon.stop()
    server.stop()


def name_of(labels):
    return dict(labels)["__name__"]


def start_own(t, options, factor=None, state=False, **more):
    """(receiver, daemon, feed) of a receiver of our own."""
    receiver = Receiver()
    t.keep(receiver.close)
    name = t.new_name("own")
    radio = t.pty(name)
    args = []
    if factor:
        args = ["--time-factor", str(factor), "--time-start", "2031-04-01T00:00:00Z"]
    daemon = t.daemon(config(radio.link, receiver.url, t.path(name + "-state") if state else "", options, **more), *args)
    feed = Feed(radio, 30 / factor if factor else 0.05)
    harness.wait_until(lambda: receiver.accepted, "the first request")
    return receiver, daemon, feed


def end_own(t, receiver, daemon, feed):
    feed.stop()
    code, took = daemon.stop()
    t.expect(code == 0 and took < 5, "the daemon ends", (code, took))
    t.equal(receiver.problems[:3], [], f"{len(receiver.requests)} requests are as the specification wants them")


def check_order(t):
    t.section("in order whatever happens, and few bytes")
    receiver, daemon, feed = start_own(t, "interval: 60s", FACTOR, state=True)
    run_to(daemon, 1932681600 + 0)
    moment = program_time(daemon)
    run_to(daemon, moment + 1800)
    receiver.answer = lambda request: (503, {}, "away")
    run_to(daemon, moment + 1800 + 3300)
    receiver.answer = lambda request: (200, {}, "")
    count = len(receiver.accepted)
    harness.wait_until(lambda: len(receiver.accepted) > count + 12, "it goes on")
    end_own(t, receiver, daemon, feed)
    backward = [(labels, samples) for labels, samples in receiver.series().items()
                if [at for at, _ in samples] != sorted({at for at, _ in samples})]
    t.equal(backward[:3], [], "each series oldest first, over an outage too")
    margin = next(samples for labels, samples in receiver.series().items() if name_of(labels) == "fadeward_link_margin_db")
    t.expect(sum(at % (QUARTER * 1000) == 0 for at, _ in margin) >= 3, "with the quarter hours of the outage")
    alive = [labels for labels, samples in receiver.series().items() if samples[-1][1] != STALE]
    t.equal(alive[:3], [], "each ends with a stale marker")


def check_live_bytes(t):
    t.section("bytes of live samples, a hundred links")
    count, samples = 100, []
    code, recording, err = t.run("simulate", "--scenario", "healthy", "--links", count, "--days", "0.02", "--interval", 10)
    if code:
        raise harness.Failed(f"simulate: {err}")
    receiver = Receiver()
    t.keep(receiver.close)
    receiver.answer = lambda request: samples.append((receiver.size, sum(len(each) for _, each in request))) or (200, {}, "")
    radio = t.tcp()
    text = config("-", receiver.url, options="interval: 2s", links=[f"L{i}" for i in range(1, count + 1)])
    daemon = t.daemon(text.replace("serial:-", f"tcp://127.0.0.1:{radio.port}").replace(", serial: { baud: 57600 }", ""))
    radio.accept()
    radio.write(re.sub(rb'"time":[^,]+,', b"", recording))
    harness.wait_until(lambda: daemon.metrics().total("fadeward_link_margin_db") != 0, "margins are known", 60)
    begin = len(samples)
    harness.wait_until(lambda: sum(number for _, number in samples[begin:]) > 400 * count, "they are pushed", 120)
    pushed = samples[begin:]
    each = sum(size for size, _ in pushed) / sum(number for _, number in pushed)
    t.expect(each <= 14, f"{each:.2f} bytes for each of {sum(number for _, number in pushed)} samples", pushed)
    t.equal(receiver.problems[:3], [], "as the specification wants them")
    t.equal(daemon.stop()[0], 0, "the daemon ends")


def check_backlog_bytes(t):
    t.section("bytes of a backlog")
    receiver, daemon, feed = start_own(t, "interval: 60s, out_of_order: true, max_sample_age: 30d", 1440, state=True)
    begin = program_time(daemon)
    receiver.answer = lambda request: (503, {}, "away")
    run_to(daemon, begin + 6 * 3600)
    sizes = []

    def answer(request):
        longest = max((len(samples) for _, samples in request), default=0)
        if longest > 12:
            sizes.append((receiver.size, sum(len(samples) for _, samples in request)))
        return (200, {}, "")
    receiver.answer = answer
    harness.wait_until(lambda: sum(count for _, count in sizes) > 400, "the backlog comes", 60)
    each = sum(size for size, _ in sizes) / sum(count for _, count in sizes)
    t.expect(each <= 8, f"{each:.2f} bytes for each of {sum(count for _, count in sizes)} samples", sizes)
    mixed = [request for request in receiver.requests if len({at for _, samples in request for at, _ in samples}) > 1
             and any(name_of(labels) == "up" for labels, _ in request)]
    t.equal(len(mixed), 0, "live and backlog never in one request")
    end_own(t, receiver, daemon, feed)


def check_answers(t):
    t.section("a sample that can never be taken")
    receiver, daemon, feed = start_own(t, "interval: 1s")
    url = receiver.url

    def poison(request):
        for labels, _ in request:
            if name_of(labels) == "fadeward_link_up" and dict(labels)["link"] == "ridge":
                return (400, {}, "label value too long")
        return (200, {}, "")
    count = len(receiver.requests)
    receiver.answer = poison
    harness.wait_until(lambda: dropped(daemon, url)["refused"] >= 1, "it is dropped")
    tries = len(receiver.requests) - count
    t.expect(tries < 40, f"found after {tries} requests")
    count = len(receiver.requests)
    time.sleep(3)
    names = {name_of(labels) for request in receiver.accepted[-2:] for labels, _ in request}
    t.expect(len(receiver.requests) - count <= 5 and "fadeward_link_margin_db" in names,
             "and is left out from then on", len(receiver.requests) - count)

    t.section("all out of order")
    receiver.answer = lambda request: (400, {}, "out of order sample")
    harness.wait_until(lambda: dropped(daemon, url)["out_of_order"] > 100, "dropped")
    receiver.answer = lambda request: (200, {}, "")
    count = len(receiver.accepted)
    harness.wait_until(lambda: len(receiver.accepted) > count + 1, "and then it goes on")
    t.expect(True, "dropped, and then it goes on")
    time.sleep(1.5)   # until the last drop is shown

    t.section("requests that are too large")
    receiver.answer = lambda request: (413, {}, "") if len(request) > 60 else (200, {}, "")
    before = dropped(daemon, url)
    count = len(receiver.accepted)
    harness.wait_until(lambda: len(receiver.accepted) > count + 8, "halved until they fit")
    t.equal({key: dropped(daemon, url)[key] for key in ("too_old", "out_of_order")},
            {key: before[key] for key in ("too_old", "out_of_order")}, "nothing is lost")

    t.section("a receiver that asks for patience")
    times = []

    def patience(request):
        times.append(time.monotonic())
        return (429, {"Retry-After": "9"}, "slowly") if len(times) == 1 else (200, {}, "")
    receiver.answer = patience
    harness.wait_until(lambda: len(times) >= 2, "it comes back", 30)
    t.expect(8.5 < times[1] - times[0] < 20, "after nine seconds", times[1] - times[0])
    t.expect(dropped(daemon, url)["replaced"] > 100, "live sets that were overtaken are counted")

    t.section("a slow one, with a report a moment")
    receiver.answer = lambda request: time.sleep(2.5) or (200, {}, "")
    begin, waits = time.monotonic(), []
    while time.monotonic() - begin < 8:
        seen = daemon.metrics().total("fadeward_link_reports_total")
        start = time.monotonic()
        harness.wait_until(lambda: daemon.metrics().total("fadeward_link_reports_total") > seen, "a report", every_s=0.01)
        waits.append(time.monotonic() - start)
    t.within(max(waits), 3, "reports are judged as ever")
    receiver.answer = lambda request: (200, {}, "")
    end_own(t, receiver, daemon, feed)

    t.section("one that redirects, one that asks for a password, one that is broken")
    for status in (301, 401, 500):
        receiver, daemon, feed = start_own(t, "interval: 1s")
        receiver.answer = lambda request, status=status: (status, {"Location": "http://127.0.0.1:1/"}, "no")
        count = len(receiver.requests)
        harness.wait_until(lambda: daemon.pushed("failures_total", receiver.url) >= 1, "a failure")
        time.sleep(3)
        t.expect(len(receiver.requests) - count <= 2, f"{status}: left alone", len(receiver.requests) - count)
        end_own(t, receiver, daemon, feed)


def check_removed_link(t):
    t.section("a link that is removed")
    receiver = Receiver()
    t.keep(receiver.close)
    radio = t.pty("removed")
    base = 'http: { listen: "127.0.0.1:0" }\n'
    path = t.write("removed.yaml", base + config(radio.link, receiver.url))
    daemon = t.daemon(path)
    harness.wait_until(lambda: receiver.accepted, "the first request")
    t.write("removed.yaml", base + config(radio.link, receiver.url, links=LINKS[:1]))
    daemon.send(signal.SIGHUP)
    harness.wait_until(lambda: any(bits == STALE for request in receiver.accepted for _, samples in request
                                   for _, bits in samples), "markers arrive")
    time.sleep(1.5)
    ended = {dict(labels).get("link") for labels, samples in receiver.series().items() if samples[-1][1] == STALE}
    t.equal(ended, {"ridge"}, "its series end, and no others")
    t.equal(daemon.stop()[0], 0, "the daemon ends")


def check_hanging_names(t):
    t.section("a name server that never answers")
    wrapper = servers.hanging_names(t)
    if not wrapper:
        print("skipped: no private mounts, or port 53 may not be bound here")
        return
    radio = t.pty("names")
    path = t.write("names.yaml", 'http: { listen: "127.0.0.1:0" }\n' + config(radio.link, "http://nowhere.example/write"))
    daemon = harness.Daemon(wrapper, path, t.path("names-daemon"))
    t._started.append(daemon)
    daemon.wait_serving()
    feed = Feed(radio, 0.05)
    waits = []
    begin = time.monotonic()
    while time.monotonic() - begin < 13:
        seen = daemon.metrics().total("fadeward_link_reports_total")
        start = time.monotonic()
        harness.wait_until(lambda: daemon.metrics().total("fadeward_link_reports_total") > seen, "a report", every_s=0.01)
        waits.append(time.monotonic() - start)
    t.within(max(waits), 3, "reports are judged as ever")
    t.expect(daemon.pushed("failures_total", "http://nowhere.example/write") >= 1 and "not resolved in time" in daemon.log(),
             "it becomes a failure", daemon.log()[-300:])
    feed.stop()
    code, took = daemon.stop()
    t.equal(code, 0, "and the end")
    t.within(took, 5, "is not held up")


def test(t):
    check_live(t)
    check_order(t)
    check_answers(t)
    check_removed_link(t)
    check_hanging_names(t)
    check_live_bytes(t)
    check_backlog_bytes(t)
    check_tls(t)
    check_short_window(t)
    hours = 6 if t.long else 2
    check_offline(t, window=True, restart="", hours=hours)
    check_offline(t, window=False, restart="", hours=hours)
    if t.long:
        for window in (True, False):
            check_offline(t, window, "restarts")
            check_offline(t, window, "is killed")


harness.run(test)
