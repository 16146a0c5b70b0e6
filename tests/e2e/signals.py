"""Signals, reload, what two daemons want at the same time, and what is kept over a restart."""

import os
import signal
import socket
import threading

import harness

RADIO = "    radio: { spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"


def port_yaml(name, source, more=""):
    return f"  - {{ name: {name}, source: '{source}'{more} }}\n"


def link_yaml(name, more="", expect="10s"):
    return f"  - name: {name}\n    expect: {expect}\n" + RADIO + more


def good(seq, link="weir", margin_db=None):
    """A report whose SNR is so far above the -7.5 dB that spreading factor 7 needs."""
    snr_db = 7.25 if margin_db is None else margin_db - 7.5
    return harness.report_line(link=link, seq=seq, rssi_dbm=-97, snr_db=snr_db)


# ---- the end ---------------------------------------------------------------------------------


def reader_that_stops(port):
    """A client that asks for much and takes nothing."""
    client = socket.socket()
    client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    client.connect(("127.0.0.1", port))
    client.sendall(b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n" * 3)
    return client


def check_end(t, number):
    t.section(f"{number.name} with dead devices, open connections and reports under way")
    # A line that nobody reads at the other end, while the daemon keeps asking into it; an absent
    # device; a peer that refuses; 400 links, so that /metrics is more than a socket takes at once.
    deaf = t.pty("deaf")
    refusing = harness.free_port()
    tcp = t.tcp()
    links = "".join(link_yaml(f"l{i}") for i in range(400)) + link_yaml("weir")
    took = []
    for attempt in range(3):
        history = t.path(t.new_name("history"))
        daemon = t.daemon(
            f"history: {{ dir: '{history}' }}\nports:\n" +
            port_yaml("deaf", f"serial:{deaf.link}",
                      ', poll: { send: "' + "?" * 1000 + '", every: 100ms, quiet_before: 0ms }') +
            port_yaml("absent", "serial:" + t.path("nothing")) +
            port_yaml("refusing", f"tcp://127.0.0.1:{refusing}") +
            port_yaml("net", f"tcp://127.0.0.1:{tcp.port}") + "links:\n" + links)
        tcp.accept()
        for seq in range(1, 31):
            tcp.write(good(seq))
        daemon.wait_metric(30, "fadeward_link_reports_total", link="weir")
        idle = socket.create_connection(("127.0.0.1", daemon.port))
        half = socket.create_connection(("127.0.0.1", daemon.port))
        half.sendall(b"GET /metrics HTTP/1.1\r\nHo")
        slow = reader_that_stops(daemon.port)
        for client in (idle, half, slow):
            t.keep(client.close)
        harness.wait_until(lambda: daemon.get("/-/healthy").status == 200, "it answers beside them")
        code, seconds = daemon.stop(number)
        took.append(seconds)
        t.equal(code, 0, "exit code 0")
        tcp.hang_up()
        t.expect(os.path.getsize(os.path.join(history, "state")) > 0, "the state is saved")
        if seconds <= 1:
            break  # a machine with other work may need a second look, not a fourth
    t.within(took[-1], 1.0, f"it took {took[-1] * 1000:.0f} ms")
    t.expect("stopping (" + number.name + ")" in daemon.log(), "the log says why", daemon.log())


def check_nothing_lost(t):
    """What the radio said before the signal is in the state afterwards."""
    t.section("a signal in the middle of many reports")
    history = t.path("history-many")
    radio = t.pty()
    text = (f"history: {{ dir: '{history}' }}\nports:\n" + port_yaml("mast", f"serial:{radio.link}") +
            "links:\n" + link_yaml("weir"))
    daemon = t.daemon(text)
    daemon.wait_metric(1, "fadeward_port_up", port="mast")
    for seq in range(1, 2001):
        radio.write(good(seq))
    radio.wait_read()
    code, _ = daemon.stop()
    daemon = t.daemon(text)
    metrics = daemon.metrics()
    t.equal((code, metrics.get("fadeward_link_reports_total", link="weir")), (0, 2000),
            "all 2,000 reports are counted after the restart")
    daemon.stop()


# ---- state -----------------------------------------------------------------------------------


def judged_config(history, port):
    """Alerts without hold time. The daemon's time will run 60 times faster, so that it judges every
    second; with an hour between reports nothing is taken for lost meanwhile."""
    return (f"history: {{ dir: '{history}' }}\nports:\n" + port_yaml("net", f"tcp://127.0.0.1:{port}") +
            "links:\n" + link_yaml("weir", "    alerts: { margin_db: { warning: 10, critical: 5, hold: 0s } }\n", "1h") +
            link_yaml("ridge", expect="1h"))


def since_of(daemon):
    alerts = [a for a in daemon.get("/alerts").json() if a["labels"]["alertname"] == "MarginLow"]
    return [a["startsAt"] for a in alerts]


def check_state(t):
    t.section("counters and alerts over a restart")
    history, tcp = t.path("history-judged"), t.tcp()
    text = judged_config(history, tcp.port)
    daemon = t.daemon(text, "--time-factor", "60", "--time-start", "2031-04-01T00:00:00Z")
    tcp.accept()
    for seq in range(1, 41):
        if seq % 10:
            tcp.write(good(seq, margin_db=7))
    alert = {"link": "weir", "direction": "inbound", "alert": "MarginLow"}
    daemon.wait_metric(1, "fadeward_alert_active", **alert)
    before = daemon.metrics()
    since = since_of(daemon)
    t.equal(before.get("fadeward_alert_severity", **alert), 2, "a margin of 7 dB is a warning")
    t.equal(before.get("fadeward_link_frames_lost_total", link="weir", direction="inbound"), 3,
            "three of 39 frames were lost")
    t.equal(daemon.stop()[0], 0, "it ends with 0")

    daemon = t.daemon(text, "--time-factor", "60", "--time-start", "2031-04-01T00:30:00Z")
    tcp.hang_up()
    tcp.accept()
    t.expect("restored" in daemon.log(), "the log says that the state is used", daemon.log())
    metrics = daemon.metrics()
    for family in ("fadeward_link_reports_total", "fadeward_link_frames_lost_total",
                   "fadeward_link_frames_total", "fadeward_link_restarts_total"):
        t.equal(metrics.all(family), before.all(family), f"{family} goes on")
    t.equal(metrics.get("fadeward_alert_active", **alert), 1, "the alert is still active")
    t.equal(since_of(daemon), since, "since when it was")
    margin = metrics.get("fadeward_link_margin_db", link="weir", direction="inbound")
    t.expect(margin is not None and abs(margin - 7) < 0.6, "the margin is known at once", margin)

    # Frames sent while the program did not run are unknown; then the link recovers.
    for seq in range(500, 800):
        tcp.write(good(seq, margin_db=17))
    daemon.wait_metric(0, "fadeward_alert_active", **alert)
    t.expect(True, "the alert clears when the margin is back")
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_link_frames_lost_total", link="weir", direction="inbound"), 3,
            "frames of the time without the program are unknown, not lost")
    t.equal(metrics.get("fadeward_link_reports_total", link="weir"),
            before.get("fadeward_link_reports_total", link="weir") + 300, "reports are counted on")
    t.equal(daemon.stop()[0], 0, "it ends with 0")

    t.section("a link that is gone from the configuration, and one that is new")
    text = text.replace("name: ridge", "name: quarry")
    daemon = t.daemon(text, "--time-factor", "60", "--time-start", "2031-04-01T01:00:00Z")
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_link_reports_total", link="weir"),
            before.get("fadeward_link_reports_total", link="weir") + 300, "the one that stayed goes on")
    t.equal(metrics.get("fadeward_link_reports_total", link="quarry"), 0, "the new one begins at zero")
    t.equal(metrics.get("fadeward_link_up", link="ridge"), None, "the old one is gone")
    daemon.stop()


def check_violent_end(t):
    t.section("an end without warning, as by a power cut")
    history, tcp = t.path("history-violent"), t.tcp()
    text = judged_config(history, tcp.port)
    daemon = t.daemon(text, "--time-factor", "60", "--time-start", "2031-04-01T00:00:00Z")
    tcp.accept()
    for seq in range(1, 41):
        tcp.write(good(seq, margin_db=7))
    alert = {"link": "weir", "direction": "inbound", "alert": "MarginLow"}
    daemon.wait_metric(1, "fadeward_alert_active", **alert)
    since = since_of(daemon)
    harness.wait_until(lambda: os.path.exists(os.path.join(history, "state")),
                       "the state is saved soon after an alert has changed", 10)
    daemon.send(signal.SIGKILL)
    daemon.wait()
    daemon = t.daemon(text, "--time-factor", "60", "--time-start", "2031-04-01T00:30:00Z")
    t.equal(daemon.metrics().get("fadeward_alert_active", **alert), 1, "the alert is still active")
    t.equal(since_of(daemon), since, "since when it was")
    t.equal(daemon.metrics().get("fadeward_link_reports_total", link="weir"), 40, "the reports are counted")
    daemon.stop()


def check_damaged_state(t):
    t.section("a state file that cannot be used")
    history, tcp = t.path("history-damaged"), t.tcp()
    state = os.path.join(history, "state")
    text = judged_config(history, tcp.port)
    daemon = t.daemon(text)
    tcp.accept()
    tcp.write(good(1))
    daemon.wait_metric(1, "fadeward_link_reports_total", link="weir")
    daemon.stop()
    with open(state, "rb") as file:
        whole = file.read()
    flipped = bytearray(whole)
    flipped[len(flipped) // 2] ^= 0x40
    for title, damaged in [("one bit is wrong", bytes(flipped)), ("cut short", whole[:len(whole) // 2]),
                           ("only its first line", whole[:17]), ("empty", b""),
                           ("zeros, as after a power cut", bytes(len(whole))),
                           ("of another kind", b"fadeward state 999\n" + whole)]:
        with open(state, "wb") as file:
            file.write(damaged)
        daemon = t.daemon(text)
        t.equal(daemon.metrics().get("fadeward_link_reports_total", link="weir"), 0,
                f"{title}: it runs, from zero")
        aside = [name for name in os.listdir(history) if name.startswith("state.")]
        t.expect(len(aside) == 1 and aside[0] in daemon.log(), f"{title}: set aside, and the log says where",
                 f"{aside} {daemon.log()}")
        if aside:
            with open(os.path.join(history, aside[0]), "rb") as file:
                t.expect(file.read() == damaged, f"{title}: kept as it was")
            os.unlink(os.path.join(history, aside[0]))
        code, _ = daemon.stop()
        t.expect(code == 0 and os.path.getsize(state) > 100, f"{title}: a good one is saved at the end", code)


# ---- reload ----------------------------------------------------------------------------------


def check_reload(t):
    t.section("SIGHUP")
    tcp, late = t.tcp(), t.path("late")
    port = harness.free_port()
    head = (f'http: {{ listen: "127.0.0.1:{port}" }}\nports:\n' +
            port_yaml("net", f"tcp://127.0.0.1:{tcp.port}"))
    path = t.write("reload.yaml", head + "links:\n" + link_yaml("weir") + link_yaml("ridge"))
    daemon = t.daemon(path)
    tcp.accept()
    for seq in range(1, 11):
        tcp.write(good(seq) + good(seq, "ridge"))
    daemon.wait_metric(10, "fadeward_link_reports_total", link="ridge")
    t.equal(daemon.metrics().get("fadeward_config_last_reload_successful"), 1, "1 from the start")

    def rewrite(text, told):
        """Says SIGHUP and waits for the answer in the log."""
        t.write("reload.yaml", text)
        before = daemon.log().count(told)
        daemon.send(signal.SIGHUP)
        harness.wait_until(lambda: daemon.log().count(told) > before, f"the log says {told!r}")

    with_more = (head + port_yaml("shed", f"serial:{late}") + "links:\n" + link_yaml("quarry") +
                 link_yaml("weir"))
    rewrite(with_more, "configuration reloaded")
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_link_up", link="quarry"), 0, "a link that was added appears")
    t.equal(metrics.get("fadeward_alert_active", link="quarry", alert="LinkSilent"), 0, "with its alerts")
    t.equal(metrics.get("fadeward_port_up", port="shed"), 0, "a port that was added appears")
    t.equal([key for key in metrics.samples if ("link", "ridge") in key[1]], [], "one that was removed vanishes")
    t.equal(metrics.get("fadeward_link_reports_total", link="weir"), 10, "one that stayed goes on")
    t.equal(metrics.get("fadeward_port_up", port="net"), 1, "its port was not closed")
    for seq in range(11, 16):
        tcp.write(good(seq) + good(seq, "ridge") + good(seq, "quarry"))
    daemon.wait_metric(15, "fadeward_link_reports_total", link="weir")
    daemon.wait_metric(5, "fadeward_link_reports_total", link="quarry")
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_reports_unmatched_total", port="net"), 5, "the removed one is unmatched")
    t.equal(metrics.total("fadeward_link_frames_lost_total"), 0, "no frame counts as lost by the reload")
    radio = t.pty("late")
    daemon.wait_metric(1, "fadeward_port_up", port="shed")
    radio.write(good(1, "quarry"))
    daemon.wait_metric(1, "fadeward_reports_unmatched_total", port="shed")
    t.expect(True, "the new port is read")

    t.section("a file that is refused keeps the old one")
    rewrite(with_more.replace("expect: 10s", "expect: 10", 1), "not reloaded")
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_config_last_reload_successful"), 0, "fadeward_config_last_reload_successful 0")
    t.expect(path + ":" in daemon.log() and "expect" in daemon.log().split("not reloaded")[-1],
             "the log says where and why", daemon.log())
    t.equal(metrics.get("fadeward_link_reports_total", link="weir"), 15, "everything else goes on")
    tcp.write(good(16))
    daemon.wait_metric(16, "fadeward_link_reports_total", link="weir")
    os.unlink(path)
    before = daemon.log().count("not reloaded")
    daemon.send(signal.SIGHUP)
    harness.wait_until(lambda: daemon.log().count("not reloaded") > before, "a missing file is told")
    rewrite(with_more, "configuration reloaded")
    t.equal(daemon.metrics().get("fadeward_config_last_reload_successful"), 1, "1 again after the repair")
    t.equal(daemon.metrics().get("fadeward_link_reports_total", link="weir"), 16, "nothing was forgotten")

    t.section("POST /-/reload is not open unless asked for")
    answer = daemon.get("/-/reload", method="POST")
    t.expect(answer.status in (403, 404), "refused by default", answer.status)
    t.equal(daemon.get("/-/reload").status, 405 if answer.status == 403 else 404, "GET is no reload")
    for _ in range(20):  # several in a row, faster than they are worked off
        daemon.send(signal.SIGHUP)
    code, seconds = daemon.stop()
    t.expect(code == 0 and seconds < 5, "many in a row, and then the end", f"{code} {seconds}")


def check_reload_over_http(t):
    t.section("POST /-/reload where it is open")
    port = harness.free_port()
    head = f'http: {{ listen: "127.0.0.1:{port}", reload: true }}\n'
    daemon = t.daemon(t.write("open.yaml", head + "links:\n" + link_yaml("weir")))
    t.write("open.yaml", head + "links:\n" + link_yaml("weir") + link_yaml("ridge"))
    answer = daemon.get("/-/reload", method="POST")
    t.equal(answer.status, 200, "answers 200")
    t.equal(daemon.metrics().get("fadeward_link_up", link="ridge"), 0, "and has read the file by then")
    t.write("open.yaml", head + "links: 7\n")
    answer = daemon.get("/-/reload", method="POST")
    t.expect(answer.status == 500 and "open.yaml:2:" in answer.text, "a bad file: 500, with the place",
             f"{answer.status} {answer.text}")
    t.equal(daemon.metrics().get("fadeward_config_last_reload_successful"), 0, "and the metric says so")
    t.equal(daemon.get("/-/reload").status, 405, "GET: 405")
    t.equal(daemon.get("/-/reload", method="POST", headers={"Origin": "http://elsewhere.example"}).status,
            403, "a page of another site: 403")
    # The end while reloads are asked for must not wait for them.
    threads = [threading.Thread(target=harness.http_request, args=(daemon.port, "/-/reload", "POST"),
                                daemon=True) for _ in range(4)]
    threading.excepthook = lambda _: None  # a connection may be broken by the end
    for thread in threads:
        thread.start()
    code, seconds = daemon.stop()
    t.expect(code == 0 and seconds < 3, "the end does not wait for reloads", f"{code} {seconds:.2f} s")


# ---- what only one can have ------------------------------------------------------------------


def check_taken(t):
    t.section("what another program has already")
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        path = t.write("taken.yaml", f'http: {{ listen: "127.0.0.1:{port}" }}\nlinks:\n' + link_yaml("weir"))
        daemon = t.daemon(path, serving=False)
        code = daemon.wait()
    t.expect(code == 1 and f"127.0.0.1:{port}" in daemon.log() and "in use" in daemon.log(),
             "HTTP port in use: exit code 1, with address and port", f"{code} {daemon.log()}")

    history = t.path("history-one")
    text = f"history: {{ dir: '{history}' }}\nlinks:\n" + link_yaml("weir")
    first = t.daemon(text)
    second = t.daemon(text, serving=False)
    t.expect(second.wait() == 1 and history in second.log(), "a second daemon on the same history.dir: exit code 1",
             second.log())
    t.equal(first.get("/-/healthy").status, 200, "the first does not mind")
    first.send(signal.SIGKILL)
    first.wait()
    third = t.daemon(text)
    t.expect(third.running(), "after a violent end the directory is free again")
    third.stop()

    in_the_way = t.write("in-the-way", "")
    daemon = t.daemon(f"history: {{ dir: '{in_the_way}/history' }}\nlinks:\n" + link_yaml("weir"), serving=False)
    t.expect(daemon.wait() == 1 and in_the_way in daemon.log(), "history.dir that cannot be: exit code 1",
             daemon.log())
    daemon = t.daemon('http: { listen: "192.0.2.1:10868" }\nlinks:\n' + link_yaml("weir"), serving=False)
    t.equal(daemon.wait(), 2, "http given twice is a mistake of the file")
    path = t.write("elsewhere.yaml", 'http: { listen: "192.0.2.1:10868" }\nlinks:\n' + link_yaml("weir"))
    daemon = t.daemon(path, serving=False)
    t.expect(daemon.wait() == 1 and "192.0.2.1:10868" in daemon.log(), "an address of another machine: exit code 1",
             daemon.log())


def test(t):
    check_end(t, signal.SIGTERM)
    check_end(t, signal.SIGINT)
    check_nothing_lost(t)
    check_state(t)
    check_violent_end(t)
    check_damaged_state(t)
    check_reload(t)
    check_reload_over_http(t)
    check_taken(t)


harness.run(test)
