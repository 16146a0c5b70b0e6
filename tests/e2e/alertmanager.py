"""Real Alertmanagers, alone and as a cluster of two, are told of alerts: raised, sent again, another
severity, ended, over restarts of either side; and servers that behave badly hold up nobody."""

import base64
import json
import os
import re
import socket
import ssl
import subprocess
import threading
import time

import harness
import servers

SECRET = "hush-4711-not-for-logs"


class Alertmanager(servers.Alertmanager):
    """One server; `peers` are cluster addresses of others."""

    def __init__(self, t, name, peers=None):
        self.cluster_port = harness.free_port()
        alone = ["--cluster.listen-address="]
        together = [f"--cluster.listen-address=127.0.0.1:{self.cluster_port}", "--cluster.settle-timeout=1s",
                    "--cluster.gossip-interval=100ms", *[f"--cluster.peer={peer}" for peer in peers or ()]]
        super().__init__(t, name=name, options=alone if peers is None else together)

    def alerts(self):
        """{(alertname, link, severity): alert} of the active ones."""
        return {tuple(each["labels"].get(key) for key in ("alertname", "link", "severity")): each for each in super().alerts()}

    def names(self):
        return [key[0] for key in self.alerts()]

    def forget(self):
        for name in ("nflog", "silences"):
            path = os.path.join(self.data, name)
            if os.path.exists(path):
                os.unlink(path)


def config(device, targets, state="", missing=""):
    listed = "".join(f"    - {json.dumps(each)}\n" for each in targets)
    return ("external_labels: { gateway: mill-house }\n" + (f"history: {{ dir: {state} }}\n" if state else "")
            + "push:\n  alertmanagers:\n" + listed +
            f"ports:\n  - {{ name: mast, source: 'serial:{device}', serial: {{ baud: 57600 }} }}\n"
            + (f"  - {{ name: yard, source: 'serial:{missing}', serial: {{ baud: 57600 }} }}\n" if missing else "") +
            "links:\n  - name: weir\n    match: { port: mast }\n"
            "    radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6, rssi: signal }\n"
            "    alerts: { margin_db: { warning: 10, critical: 5, clear_above: 1, hold: 0s } }\n")


class Valley:
    """One link whose margin we choose: 7.5 dB of SNR are needed at this rate, less are the margin."""

    def __init__(self, radio):
        self.radio, self.seq = radio, 0

    def report(self, margin_db, count=40):
        for _ in range(count):
            self.seq += 1
            self.radio.write(harness.report_line(link="weir", seq=self.seq, rssi_dbm=-115 + margin_db - 7.5,
                                                 snr_db=margin_db - 7.5, noise_dbm=-115))

    def until(self, margin_db, condition, what, limit_s=150):
        """Goes on reporting meanwhile."""
        def reached():
            self.report(margin_db, 5)
            return condition()
        harness.wait_until(reached, what, limit_s, every_s=0.3)


def check_life(t):
    t.section("one server: raised, told again, ended; restarts of both sides")
    server = Alertmanager(t, "am")
    radio = t.pty()
    missing = t.path("yard")
    text = config(radio.link, [server.url], t.path("state"), missing)
    daemon = t.daemon(text)
    metrics = daemon.metrics()
    for family in ("requests_total", "failures_total", "sent_total", "last_success_timestamp_seconds"):
        t.expect(metrics.get(f"fadeward_push_{family}", target=server.url) is not None, f"{family} is there from the start")
    t.equal({metrics.get("fadeward_push_dropped_total", target=server.url, reason=reason)
             for reason in ("refused", "expired")}, {0.0}, "so are the reasons of drops")
    harness.wait_until(lambda: "PortFault" in server.names(), "the fault of the port has arrived", 60)
    raised = time.monotonic()
    alert = next(iter(server.alerts().values()))
    labels = dict(alert["labels"])
    t.expect(labels.pop("severity") in ("warning", "critical"), "it has a severity", alert)
    t.equal(labels, {"alertname": "PortFault", "port": "yard", "gateway": "mill-house"}, "labels: stable, with the external ones")
    t.expect({"summary", "description"} <= set(alert["annotations"]), "values in the annotations", alert["annotations"])
    ahead = parse_time(alert["endsAt"]) - time.time()
    t.expect(200 < ahead < 245, "announced four minutes ahead", ahead)
    listed = server.amtool("alert", "query", "alertname=PortFault", "-o", "json")
    t.expect('"gateway":"mill-house"' in listed.replace(" ", ""), "amtool lists it", listed)

    server.stop()
    server.forget()
    server.start()
    t.equal(server.alerts(), {}, "a server that has forgotten everything")
    harness.wait_until(lambda: "PortFault" in server.names(), "it is told again within the minute", 80)
    t.within(time.monotonic() - raised, 75, "is told again within the minute")

    t.equal(daemon.stop()[0], 0, "the daemon ends with 0")
    daemon = t.daemon(text)
    harness.wait_until(lambda: daemon.pushed("sent_total", server.url) >= 1, "a restored alert is told again")
    t.equal(server.names(), ["PortFault"], "a restored alert is told again, as the same one")
    harness.PtyRadio(missing)
    harness.wait_until(lambda: not server.alerts(), "its end arrives")
    t.equal(daemon.pushed("failures_total", server.url), 0.0, "no request failed")
    t.expect(time.time() - daemon.pushed("last_success_timestamp_seconds", server.url) < 60, "time of the last success")
    daemon.stop()
    server.stop()


def check_severity(t):
    t.section("another severity ends the old labels")
    server = Alertmanager(t, "am-severity")
    radio = t.pty("radio-severity")
    daemon = t.daemon(config(radio.link, [server.url]))
    valley = Valley(radio)
    warning, critical = ("MarginLow", "weir", "warning"), ("MarginLow", "weir", "critical")
    valley.until(8, lambda: warning in server.alerts(), "the warning has arrived")
    t.equal(server.alerts()[warning]["labels"], {"alertname": "MarginLow", "link": "weir", "direction": "inbound",
                                                 "severity": "warning", "gateway": "mill-house"}, "labels of a link")
    valley.report(3, 3000)
    valley.until(3, lambda: critical in server.alerts(), "the critical one has arrived")
    t.equal(set(server.alerts()), {critical}, "the warning has ended with the same request")
    valley.report(30, 30000)
    valley.until(30, lambda: not server.alerts(), "it has ended")
    daemon.stop()
    server.stop()


def parse_time(text):
    import datetime
    return datetime.datetime.fromisoformat(re.sub(r"(\.\d{6})\d*", r"\1", text).replace("Z", "+00:00")).timestamp()


def check_cluster(t):
    t.section("a cluster of two, one of them away for a while")
    first = Alertmanager(t, "am-a", [])
    second = Alertmanager(t, "am-b", [f"127.0.0.1:{first.cluster_port}"])
    radio = t.pty("radio-cluster")
    daemon = t.daemon(config(radio.link, [first.url, second.url], missing=t.path("missing-cluster")))
    second.stop()
    harness.wait_until(lambda: "PortFault" in first.names(), "the first has it although the second is away", 60)
    harness.wait_until(lambda: daemon.pushed("failures_total", second.url) >= 2, "the failures are counted")
    t.equal(daemon.pushed("failures_total", first.url), 0.0, "none of the other")
    second.start()
    harness.wait_until(lambda: "PortFault" in second.names(), "the second is told once it is back", 120)
    harness.wait_until(lambda: "works again" in daemon.log(), "by us, not by the first alone", 120)
    t.expect(True, "both know it")
    told = len(re.findall("push of alerts to .* failed", daemon.log()))
    t.expect(1 <= told <= 3, "its trouble is logged, each reason once", told)
    t.equal(len(re.findall("works again", daemon.log())), 1, "and its end once")
    daemon.stop()
    first.stop()
    second.stop()


class BadServer:
    """Accepts and then does `behave(connection)` in a thread of its own."""

    def __init__(self, behave, context=None):
        self.behave, self.context = behave, context
        self.requests, self.open = 0, True
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self.serve, daemon=True).start()

    def serve(self):
        while self.open:
            try:
                peer, _ = self.listener.accept()
            except OSError:
                return
            threading.Thread(target=self.one, args=(peer,), daemon=True).start()

    def one(self, peer):
        try:
            peer.settimeout(60)
            if self.context:
                peer = self.context.wrap_socket(peer, server_side=True)
            self.behave(self, peer)
        except OSError:
            pass
        finally:
            peer.close()

    def close(self):
        self.open = False
        self.listener.close()


def read_request(peer):
    """Header and body of one request; None when the connection has ended."""
    data = b""
    while b"\r\n\r\n" not in data:
        more = peer.recv(65536)
        if not more:
            return None
        data += more
    head, _, body = data.partition(b"\r\n\r\n")
    length = int(re.search(rb"Content-Length: (\d+)", head).group(1))
    while len(body) < length:
        more = peer.recv(65536)
        if not more:
            return None
        body += more
    return head.decode(), body


def answering(status, body=b"", headers=b""):
    def behave(server, peer):
        while (request := read_request(peer)) is not None:
            server.requests += 1
            server.last = request
            peer.sendall(b"HTTP/1.1 %s\r\n%sContent-Length: %d\r\n\r\n%s" % (status, headers, len(body), body))
    return behave


def complain(server, peer):   # 200 for nothing, 400 for any alert
    while (request := read_request(peer)) is not None:
        server.requests += 1
        said = b"HTTP/1.1 200 OK\r\n" if json.loads(request[1]) == [] else b"HTTP/1.1 400 Bad\r\n"
        peer.sendall(said + b"Content-Length: 0\r\n\r\n")


def silent(server, peer):   # half open: takes everything, says nothing
    while read_request(peer) is not None:
        server.requests += 1


def trickle(server, peer):
    read_request(peer)
    server.requests += 1
    for byte in b"HTTP/1.1 200 OK\r\nX-Slow: " + 200 * b"z":
        peer.sendall(bytes([byte]))
        time.sleep(0.5)


def endless(server, peer):
    read_request(peer)
    server.requests += 1
    peer.sendall(b"HTTP/1.1 500 Bad\r\nTransfer-Encoding: chunked\r\n\r\n")
    while True:
        peer.sendall(b"10000\r\n" + 65536 * b"x" + b"\r\n")


def certificates(t):
    """An authority, and certificates by it for 127.0.0.1 and for somebody else."""
    openssl = t.need("openssl")

    def run(*args):
        done = subprocess.run([openssl, *args], capture_output=True, check=False, cwd=t.directory, timeout=60)
        if done.returncode:
            raise harness.Failed(f"openssl {args}: {done.stderr}")
    run("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout", "ca.key", "-out",
        "ca.pem", "-days", "2", "-subj", "/CN=test authority")
    for name, alternative in (("good", "IP:127.0.0.1"), ("other", "DNS:elsewhere.example")):
        run("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout", f"{name}.key", "-out",
            f"{name}.csr", "-subj", f"/CN={name}")
        t.write(f"{name}.ext", f"subjectAltName={alternative}\n")
        run("x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-days", "2",
            "-extfile", f"{name}.ext", "-out", f"{name}.pem")


def tls(t, name):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(t.path(f"{name}.pem"), t.path(f"{name}.key"))
    return context


def check_bad_servers(t):
    t.section("servers that behave badly, all at once")
    certificates(t)
    t.write("password", SECRET + "\n")
    servers = {
        "good": BadServer(answering(b"200 OK")),
        "always 500": BadServer(answering(b"500 No", b"broken")),
        "half open": BadServer(silent),
        "trickling": BadServer(trickle),
        "endless": BadServer(endless),
        "redirecting": BadServer(answering(b"307 Elsewhere", b"", b"Location: http://127.0.0.1:1/\r\n")),
        "complaining": BadServer(complain),
        "no HTTP": BadServer(lambda server, peer: peer.sendall(b"220 mail ready\r\n")),
        "closing": BadServer(lambda server, peer: None),
        "good TLS": BadServer(answering(b"200 OK"), tls(t, "good")),
        "wrong name": BadServer(answering(b"200 OK"), tls(t, "other")),
        "unknown authority": BadServer(answering(b"200 OK"), tls(t, "good")),
    }
    for server in servers.values():
        t.keep(server.close)
    targets, urls = [], {}
    for name, server in servers.items():
        secure = name in ("good TLS", "wrong name", "unknown authority")
        urls[name] = f"{'https' if secure else 'http'}://127.0.0.1:{server.port}"
        target = {"url": urls[name] + ("/?token=" + SECRET if name == "good" else "")}
        if name in ("good TLS", "wrong name"):
            target |= {"ca_file": t.path("ca.pem"), "user": "mill", "password_file": t.path("password")}
        targets.append(target)
    nowhere = "http://no-such-host.invalid:9093"
    radio = t.pty("radio-bad")
    daemon = t.daemon(config(radio.link, targets + [nowhere], missing=t.path("missing-bad")))
    valley = Valley(radio)
    valley.report(8)
    harness.wait_until(lambda: servers["good"].requests and servers["good TLS"].requests, "the good ones are told")
    begin = time.monotonic()
    waits = []
    while time.monotonic() - begin < (40 if t.long else 12):
        seen = daemon.metrics().get("fadeward_link_reports_total", link="weir")
        start = time.monotonic()
        valley.report(8, 1)
        harness.wait_until(lambda: daemon.metrics().get("fadeward_link_reports_total", link="weir") > seen, "a report is judged",
                           every_s=0.01)
        waits.append(time.monotonic() - start)
        time.sleep(0.2)
    t.within(max(waits), 3, f"{len(waits)} reports were shown within the tick of a second")
    harness.wait_until(lambda: daemon.pushed("failures_total", urls["half open"]) >= 1, "even silence becomes a failure", 90)
    harness.wait_until(lambda: daemon.pushed("sent_total", urls["good"]) >= 1, "the alert has been sent")
    time.sleep(2)
    metrics = daemon.metrics()
    for name, url in urls.items():
        failures = metrics.get("fadeward_push_failures_total", target=url)
        sent = metrics.get("fadeward_push_sent_total", target=url)
        good = name.startswith("good")
        if name == "complaining":
            continue
        t.expect((failures == 0) == good and (sent >= 1) == good, f"{name}: {failures:g} failures, {sent:g} sent")
    t.expect(servers["always 500"].requests <= 12, "the one that fails is left alone for longer and longer",
             servers["always 500"].requests)
    t.equal(metrics.get("fadeward_push_dropped_total", target=urls["complaining"], reason="refused"), 1,
            "what a server understands and will not have is counted")
    t.equal(servers["wrong name"].requests, 0, "nothing is said to a server with another's certificate")
    t.equal(servers["unknown authority"].requests, 0, "nor to one of an unknown authority")
    head, body = servers["good TLS"].last
    t.equal(re.search("Authorization: (.*)\r", head).group(1), "Basic " + base64.b64encode(f"mill:{SECRET}".encode()).decode(),
            "basic authentication")
    t.expect("POST /api/v2/alerts HTTP/1.1" in head and "Content-Type: application/json" in head, "method and headers", head)
    t.expect(isinstance(json.loads(body), list), "an array")
    t.expect("?token=" in servers["good"].last[0], "the query goes along")
    everything = daemon.log() + daemon.output() + daemon.get("/metrics").text + daemon.get("/").text + daemon.get("/links").text
    t.expect(SECRET not in everything and base64.b64encode(SECRET.encode()).decode()[:-4] not in everything,
             "no secret in log, metrics or pages")
    t.expect(daemon.anonymous_bytes() < 60e6 or t.sanitized, "memory stays small", daemon.anonymous_bytes())
    code, took = daemon.stop()
    t.equal(code, 0, "the end is not held up")
    t.within(took, 5, "by any of them")


def check_reload(t):
    t.section("targets come and go by reload")
    first, second = BadServer(answering(b"200 OK")), BadServer(answering(b"200 OK"))
    for server in (first, second):
        t.keep(server.close)
    radio = t.pty("radio-reload")
    base = 'http: { listen: "127.0.0.1:0" }\n'
    path = t.write("reload.yaml", base + config(radio.link, [f"http://127.0.0.1:{first.port}"]))
    daemon = t.daemon(path)
    harness.wait_until(lambda: first.requests, "the first is told")
    t.write("reload.yaml", base + config(radio.link, [f"http://127.0.0.1:{second.port}"]))
    daemon.send(1)
    harness.wait_until(lambda: second.requests, "after a reload the second is")
    metrics = daemon.metrics()
    t.equal(len(metrics.all("fadeward_push_requests_total")), 1, "and it alone is counted")
    daemon.stop()


def test(t):
    check_life(t)
    if t.long:
        check_severity(t)
    check_cluster(t)
    check_bad_servers(t)
    check_reload(t)


harness.run(test)
