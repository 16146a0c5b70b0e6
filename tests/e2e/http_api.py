"""Every path of the HTTP server, asked as a browser, Prometheus and Alertmanager ask, and as nobody
should."""

import json
import os
import re
import signal
import socket
import subprocess
import time

import harness
import servers

RADIO = "    radio: { spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
AWKWARD = 'east/wěst "7" \\ &<b>'  # slash, letters beyond ASCII, quotes, backslash, markup

# Contract, section 6.
FAMILIES = """
fadeward_link_up fadeward_link_signal_dbm fadeward_link_noise_dbm fadeward_link_margin_db
fadeward_link_margin_low_db fadeward_link_margin_deficit_db fadeward_link_loss_ratio
fadeward_link_reports_total fadeward_link_frames_lost_total fadeward_link_retries_total
fadeward_link_last_report_timestamp_seconds fadeward_alert_active fadeward_alert_severity
fadeward_alert_cause fadeward_port_up fadeward_port_discarded_bytes_total fadeward_reports_rejected_total
fadeward_reports_unmatched_total fadeward_history_write_errors_total
fadeward_config_last_reload_successful fadeward_clock_trusted fadeward_build_info
""".split()

# Contract, sections 4 and 6: the values of a direction, with units in the key names.
DIRECTION_KEYS = """
reports window_s signal_dbm noise_dbm noise_source margin_db margin_stderr_db margin_low_db loss_ratio
loss_source trend_db_per_day deficit_db cause
""".split()

LINK_ALERTS = """
FadingSuspected InterferenceSuspected EquipmentSuspected LinkSilent LatencyHigh
RetriesHigh ForeignFrames RadioRestarted SettingChanged
""".split()
DIRECTION_ALERTS = ["MarginLow", "LossHigh", "BudgetDeficit"]

OPENMETRICS = "application/openmetrics-text"
# What Prometheus 2.42 sends.
SCRAPE_ACCEPT = (f"{OPENMETRICS};version=1.0.0,{OPENMETRICS};version=0.0.1;q=0.75,"
                 "text/plain;version=0.0.4;q=0.5,*/*;q=0.1")


def start(t):
    """A daemon that knows one link well, one with a low margin, and one not at all; and a port that
    is not there. Its time begins now and runs 60 times faster, so that it judges every second."""
    tcp = t.tcp()
    quoted = AWKWARD.replace("'", "''")
    alerts = "    alerts: { margin_db: { warning: 10, critical: 5, hold: 0s }, silent: 300d }\n"
    budget = "    budget: { inbound_signal_dbm: -110, outbound_signal_dbm: -110 }\n"
    daemon = t.daemon(
        "external_labels: { gateway: mill-house }\nports:\n"
        f"  - {{ name: net, source: 'tcp://127.0.0.1:{tcp.port}' }}\n"
        f"  - {{ name: shed, source: 'serial:{t.path('nothing')}' }}\n"
        "links:\n"
        f"  - name: '{quoted}'\n    match: {{ port: net, link: a }}\n    expect: 1h\n" + RADIO + alerts + budget +
        "  - name: ridge\n    match: { port: net }\n    expect: 1h\n" + RADIO + alerts + budget +
        "  - name: quarry\n    match: { port: shed }\n" + RADIO,
        "--time-factor", "60")
    tcp.accept()
    for seq in range(1, 61):
        for link, snr_db in (("a", 6.5), ("ridge", -1.5)):
            if seq % 12 == 0:
                continue
            tcp.write(harness.report_line(link=link, seq=seq, rssi_dbm=-95, snr_db=snr_db, far_rssi_dbm=-99,
                                          far_snr_db=5 + seq % 3 / 4, tx_frames=seq * 2, tx_retries=seq // 4))
    tcp.write(b"no report\n")
    daemon.wait_metric(1, "fadeward_alert_active", link="ridge", direction="inbound", alert="MarginLow")
    daemon.wait_metric(1, "fadeward_alert_active", port="shed", alert="PortFault")
    return daemon, tcp


def check_metrics(t, daemon):
    t.section("/metrics")
    answer = daemon.get("/metrics")
    t.equal(answer.status, 200, "200")
    t.equal(answer.headers.get("content-type"), "text/plain; version=0.0.4; charset=utf-8",
            "without Accept: the text format 0.0.4")
    metrics = harness.Metrics(answer.text)
    missing = [name for name in FAMILIES if name not in metrics.names()]
    t.equal(missing, [], "every family of the contract is there")
    known = set(re.findall(r"^# TYPE (\S+) (?:counter|gauge)$", answer.text, re.M))
    t.equal(sorted(metrics.names() - known), [], "every one has a type")
    promtool = t.need("promtool")
    lint = subprocess.run([promtool, "check", "metrics"], input=answer.body, capture_output=True, check=False,
                          timeout=60)
    t.expect(lint.returncode == 0 and not lint.stdout and not lint.stderr, "promtool check metrics finds nothing",
             lint.stdout + lint.stderr)

    labels = {"link": AWKWARD}
    t.expect(metrics.get("fadeward_link_up", **labels) == 1, "a link with an awkward name, escaped",
             metrics.all("fadeward_link_up"))
    for link in (AWKWARD, "ridge", "quarry"):
        absent = []
        for family in ("fadeward_alert_active", "fadeward_alert_severity"):
            absent += [(family, alert) for alert in LINK_ALERTS
                       if metrics.get(family, link=link, alert=alert) is None]
            absent += [(family, alert, direction) for alert in DIRECTION_ALERTS
                       for direction in ("inbound", "outbound")
                       if metrics.get(family, link=link, alert=alert, direction=direction) is None]
        t.equal(absent, [], f"all alert series of {link}")
    for family in ("fadeward_link_reports_total", "fadeward_link_restarts_total"):
        t.equal(metrics.get(family, link="quarry"), 0, f"{family} of a link never heard: 0")
    for direction in ("inbound", "outbound"):
        for family in ("fadeward_link_frames_lost_total", "fadeward_link_retries_total"):
            t.equal(metrics.get(family, link="quarry", direction=direction), 0, f"{family} {direction} likewise")
    gauges = [key for key in metrics.samples if ("link", "quarry") in key[1] and
              re.search(r"_(dbm|db|ratio|seconds)$", key[0]) and "budget" not in key[0]]
    t.equal(gauges, [], "a link never heard has no gauges, rather than zeros")
    t.equal(metrics.get("fadeward_alert_severity", link="ridge", direction="inbound", alert="MarginLow"), 2,
            "a margin of 6 dB: warning")
    t.equal(metrics.get("fadeward_link_frames_lost_total", link="ridge", direction="inbound"), 4,
            "four of its frames were lost")
    return answer


def check_formats(t, daemon):
    t.section("formats of /metrics")
    for accept, wanted in [("text/plain", "text/plain; version=0.0.4; charset=utf-8"),
                           ("*/*", "text/plain; version=0.0.4; charset=utf-8"),
                           (f"{OPENMETRICS}; version=1.0.0", f"{OPENMETRICS}; version=1.0.0; charset=utf-8"),
                           (SCRAPE_ACCEPT, f"{OPENMETRICS}; version=1.0.0; charset=utf-8"),
                           (f"{OPENMETRICS};q=0, text/plain", "text/plain; version=0.0.4; charset=utf-8")]:
        found = daemon.get("/metrics", headers={"Accept": accept}).headers.get("content-type")
        t.equal(found, wanted, f"Accept: {accept[:60]}")
    om = daemon.get("/metrics", headers={"Accept": SCRAPE_ACCEPT}).text
    text = daemon.get("/metrics").text
    t.expect(om.endswith("\n# EOF\n") and om.count("# EOF") == 1, "OpenMetrics ends with # EOF", om[-60:])
    t.equal(sorted(harness.Metrics(om).names()), sorted(harness.Metrics(text).names()), "and has the same families")
    bad = [name for name in re.findall(r"^# TYPE (\S+) counter$", om, re.M) if name.endswith("_total")]
    t.equal(bad, [], "families of counters go without _total there")
    units = re.findall(r"^# UNIT (\S+) (\S+)$", om, re.M)
    t.expect(units and all(name.endswith("_" + unit) for name, unit in units), "units are the ends of the names",
             units)

    for encoding, packed in [("gzip", True), ("deflate, gzip;q=0.5", True), ("*", True), ("identity", False),
                             ("gzip;q=0", False)]:
        answer = daemon.get("/metrics", headers={"Accept-Encoding": encoding})
        t.equal(answer.headers.get("content-encoding"), "gzip" if packed else None, f"Accept-Encoding: {encoding}")
        body = harness.gunzip(answer.body) if packed else answer.body
        t.equal(int(answer.headers["content-length"]), len(answer.body), "and its length is right")
        names = harness.Metrics(body.decode()).names()
        t.equal(names, harness.Metrics(text).names(), "and its content is the same")
    both = daemon.get("/metrics", headers={"Accept-Encoding": "gzip", "Accept": SCRAPE_ACCEPT})
    t.expect(harness.gunzip(both.body).endswith(b"# EOF\n"), "OpenMetrics under gzip")


def check_links(t, daemon):
    t.section("/links")
    answer = daemon.get("/links")
    t.equal(answer.headers.get("content-type"), "application/json", "JSON")
    body = answer.json()
    t.equal([link["link"] for link in body["links"]], [AWKWARD, "ridge", "quarry"], "the links, in their order")
    for link in body["links"]:
        for direction in ("inbound", "outbound"):
            missing = [key for key in DIRECTION_KEYS if key not in link[direction]]
            t.equal(missing, [], f"every key of the contract: {link['link']} {direction}")
    unheard = body["links"][2]
    values = [unheard[d][key] for d in ("inbound", "outbound") for key in DIRECTION_KEYS
              if key not in ("reports", "window_s", "cause")]
    t.equal(set(values), {None}, "what is not known is null, never 0")
    t.expect(unheard["up"] is False and unheard["reports_total"] == 0, "the link never heard is not up", unheard)
    ridge = body["links"][1]
    t.expect([a["alert"] for a in ridge["alerts"]] == ["MarginLow"] and ridge["alerts"][0]["direction"] == "inbound",
             "its alerts stand with the link", ridge["alerts"])
    t.expect(abs(ridge["inbound"]["margin_db"] - 6) < 0.6 and ridge["inbound"]["noise_source"] == "snr",
             "an SNR of -1.5 dB with spreading factor 7 is a margin of 6 dB", ridge["inbound"])
    t.expect(ridge["inbound"]["loss_source"] == "seq" and
             abs(ridge["inbound"]["loss_ratio"] - 4 / 59) < 1e-3, "four lost of 59 sent", ridge["inbound"])
    port = {p["port"]: p for p in body["ports"]}
    t.expect(port["net"]["up"] and port["net"]["last_rejected"] == "no report", "the line that did not parse is shown",
             port["net"])

    for name in (AWKWARD, "ridge"):
        path = "/links/" + "".join(f"%{byte:02X}" for byte in name.encode())
        one = daemon.get(path)
        t.expect(one.status == 200 and one.json()["link"] == name, f"{path[:40]} is one link", one.body[:200])
        t.equal({key: one.json()[key] for key in ("inbound", "outbound")},
                {key: daemon.links()[name][key] for key in ("inbound", "outbound")}, "with the same values")
    for path in ("/links/atlantis", "/links/%ff%fe", "/links/%zz", "/links/"):
        t.equal(daemon.get(path).status, 404, f"{path}: 404")


def check_alerts(t, daemon):
    t.section("/alerts")
    answer = daemon.get("/alerts")
    t.equal(answer.headers.get("content-type"), "application/json", "JSON")
    alerts = answer.json()
    found = {(a["labels"]["alertname"], a["labels"].get("link") or a["labels"].get("port")) for a in alerts}
    t.equal(found, {("MarginLow", "ridge"), ("PortFault", "shed")}, "the two that are active")
    for alert in alerts:
        labels, name = alert["labels"], alert["labels"]["alertname"]
        t.expect(labels["severity"] == ("warning" if name == "MarginLow" else "critical") and
                 labels["gateway"] == "mill-house", f"{name}: severity and external labels", labels)
        t.expect(all(isinstance(v, str) and v for part in ("labels", "annotations") for v in alert[part].values()),
                 f"{name}: labels and annotations are texts", alert)
        t.expect(alert["annotations"].get("summary") and alert["annotations"].get("description"),
                 f"{name}: summary and description", alert["annotations"])

    alertmanager = servers.Alertmanager(t)
    answer = daemon.get("/alerts")
    posted = alertmanager.post(answer.body)
    t.equal(posted.status, 200, "a real Alertmanager accepts it as it is")
    wanted = {frozenset(a["labels"].items()) for a in alerts}

    def shown():
        return {frozenset(a["labels"].items()) for a in alertmanager.alerts() if a["status"]["state"] == "active"} == wanted
    harness.wait_until(shown, "the Alertmanager shows the same alerts as active")
    t.expect(True, "and shows the same alerts as active")
    listed = alertmanager.amtool("alert", "query", "alertname=MarginLow", "-o", "json")
    t.expect(listed and json.loads(listed)[0]["labels"]["link"] == "ridge", "amtool lists MarginLow", listed)
    alertmanager.stop()


def check_pages(t, daemon):
    t.section("pages and the management paths")
    page = daemon.get("/")
    t.equal(page.headers.get("content-type"), "text/html; charset=utf-8", "/ is HTML")
    t.expect("<b>" not in page.text and "&lt;b&gt;" in page.text and "ridge" in page.text,
             "it names every link, with markup in a name taken apart")
    for reference in re.findall(r'(?:href|src)="(/[^"#]*)"', page.text):
        t.equal(daemon.get(reference).status, 200, f"{reference} on it leads somewhere")
    t.expect(not re.search(r'(?:href|src)="https?:', page.text), "nothing on it comes from elsewhere")
    for path in ("/-/healthy", "/-/ready"):
        answer = daemon.get(path)
        t.expect(answer.status == 200 and answer.headers["content-type"].startswith("text/plain"), path, answer.status)


def check_methods(t, daemon):
    t.section("methods and paths")
    for path in ("/", "/metrics", "/links", "/links/ridge", "/alerts", "/-/healthy", "/-/ready"):
        head = daemon.get(path, method="HEAD")
        get = daemon.get(path)
        t.expect(head.status == 200 and head.body == b"" and int(head.headers["content-length"]) > 0 and
                 head.headers["content-type"] == get.headers["content-type"], f"HEAD {path}", head.headers)
        for method in ("POST", "PUT", "DELETE"):
            answer = daemon.get(path, method=method, body=b"")
            t.expect(answer.status == 405 and "GET" in answer.headers.get("allow", ""), f"{method} {path}: 405",
                     f"{answer.status} {answer.headers}")
    for path in ("/nowhere", "/metrics/", "/metric", "/../metrics", "/links/ridge/more", "/-/", "/-/quit"):
        t.equal(daemon.get(path).status, 404, f"{path}: 404")
    for path in ("/metrics?name=x", "/links?", "/-/healthy?x=y"):
        t.equal(daemon.get(path).status, 200, f"{path}: the question is overlooked")


def raw(port, data, limit_s=5):
    """Everything that comes back until the connection ends, which the server may do at once."""
    out = b""
    with socket.create_connection(("127.0.0.1", port), timeout=limit_s) as client:
        try:
            client.sendall(data)
            client.shutdown(socket.SHUT_WR)
        except OSError:
            pass  # it has heard enough; the answer can still be there
        while True:
            try:
                part = client.recv(65536)
            except ConnectionResetError:
                return out
            if not part:
                return out
            out += part


def check_rude_clients(t, daemon):
    t.section("what is no request, and more of it than anybody needs")
    t.expect(raw(daemon.port, b"\x16\x03\x01\x02\x00\x01\x00\r\n\r\n").startswith(b"HTTP/1.1 400"), "TLS: 400")
    t.expect(raw(daemon.port, os.urandom(2000) + b"\r\n\r\n")[:12] in (b"HTTP/1.1 400", b""), "noise: 400")
    t.expect(raw(daemon.port, b"GET / HTTP/1.1\r\nX: " + b"y" * 100000 + b"\r\n\r\n").startswith(b"HTTP/1.1 431"),
             "a header of 100 KB: 431")
    big = b"POST /metrics HTTP/1.1\r\nHost: x\r\nContent-Length: 100000000\r\n\r\n" + b"z" * 10000
    t.expect(raw(daemon.port, big).startswith((b"HTTP/1.1 413", b"HTTP/1.1 405")), "a body of 100 MB: 413")
    two = raw(daemon.port, b"GET /-/healthy HTTP/1.1\r\nHost: x\r\n\r\nGET /-/ready HTTP/1.1\r\nHost: x\r\n"
              b"Connection: close\r\n\r\n")
    t.expect(two.count(b"HTTP/1.1 200") == 2 and two.index(b"healthy") < two.index(b"ready\n"),
             "two requests at once: two answers in order", two)
    old = raw(daemon.port, b"GET /-/healthy HTTP/1.0\r\n\r\n")
    t.expect(b" 200 " in old.split(b"\r\n")[0] and old.endswith(b"healthy\n"), "HTTP/1.0", old)

    crowd = [socket.create_connection(("127.0.0.1", daemon.port)) for _ in range(300)]
    try:
        begin = time.monotonic()
        t.equal(daemon.get("/-/healthy").status, 200, "it answers beside 300 idle connections")
        t.expect(time.monotonic() - begin < 2, "without much delay", time.monotonic() - begin)
    finally:
        for client in crowd:
            client.close()
    t.equal(daemon.get("/metrics").status, 200, "and after all that")
    dropped = daemon.metrics().total("fadeward_http_connections_dropped_total")
    t.expect(dropped >= 100, f"dropped connections are counted: {dropped:.0f}", dropped)


def check_same_numbers(t, daemon):
    t.section("/metrics and /links say the same")
    keys = {"margin_db": "fadeward_link_margin_db", "signal_dbm": "fadeward_link_signal_dbm",
            "noise_dbm": "fadeward_link_noise_dbm", "margin_low_db": "fadeward_link_margin_low_db",
            "deficit_db": "fadeward_link_margin_deficit_db", "loss_ratio": "fadeward_link_loss_ratio",
            "frames_lost_total": "fadeward_link_frames_lost_total", "retries_total": "fadeward_link_retries_total"}
    metrics, links = daemon.metrics(), daemon.links()
    compared = 0
    for name, link in links.items():
        for direction in ("inbound", "outbound"):
            for key, family in keys.items():
                ours, theirs = link[direction][key], metrics.get(family, link=name, direction=direction)
                same = ours is None and theirs is None or (
                    ours is not None and theirs is not None and abs(ours - theirs) <= 0.0051)
                compared += same and ours is not None
                if not same:
                    t.expect(False, f"{name} {direction} {key}", f"{ours} in /links, {theirs} in /metrics")
    t.expect(compared >= 28, f"{compared} values compared", compared)


def check_hop_channels(t):
    t.section("series of hop channels, and the port of a link")
    tcp = t.tcp()
    base = (f"http: {{ listen: '127.0.0.1:0' }}\nports: [ {{ name: net, source: 'tcp://127.0.0.1:{tcp.port}' }} ]\n"
            "links:\n  - name: weir\n    expect: 1h\n" + RADIO)
    path = t.write("channels.yaml", base)
    daemon = t.daemon(path)
    tcp.accept()
    t.equal(daemon.metrics().all("fadeward_link_info"), {frozenset({"link": "weir", "port": "net"}.items()): 1}, "the only port is its port")
    for seq in range(1, 41):
        low = seq % 4 == 0   # channel 9: 6 dB weaker
        tcp.write(harness.report_line(link="weir", seq=seq, channel=9 if low else 2, rssi_dbm=-96 if low else -90,
                                      noise_dbm=-117))
    daemon.wait_metric(40, "fadeward_link_reports_total", link="weir")
    t.equal([name for name in daemon.metrics().names() if "_channel_" in name], [], "none unless they are asked for")
    t.write("channels.yaml", "metrics: { channels: true }\n" + base)
    daemon.send(signal.SIGHUP)
    where = {"link": "weir", "direction": "inbound"}
    daemon.wait_metric(30, "fadeward_link_channel_window_frames", channel="2", **where)
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_link_channel_window_frames", channel="9", **where), 10, "frames of each channel")
    levels = [metrics.get("fadeward_link_channel_signal_dbm", channel=channel, **where) for channel in ("2", "9")]
    t.expect(abs(levels[0] - levels[1] - 6) < 0.1, "the levels differ by the 6 dB that were sent", levels)
    t.equal(metrics.get("fadeward_link_channel_noise_dbm", channel="9", **where), -117, "the noise is the one that was sent")
    t.equal(len(metrics.all("fadeward_link_channel_noise_dbm")), 2, "two series, no more")
    t.write("channels.yaml", base)
    daemon.send(signal.SIGHUP)
    harness.wait_until(lambda: "fadeward_link_channel_" not in daemon.get("/metrics").text, "and they go again with the key")
    t.equal(daemon.stop()[0], 0, "it ends with 0")


def test(t):
    check_hop_channels(t)
    daemon, _tcp = start(t)
    check_metrics(t, daemon)
    check_formats(t, daemon)
    check_links(t, daemon)
    check_same_numbers(t, daemon)
    check_alerts(t, daemon)
    check_pages(t, daemon)
    check_methods(t, daemon)
    check_rude_clients(t, daemon)
    t.equal(daemon.stop()[0], 0, "it ends with 0")


harness.run(test)
