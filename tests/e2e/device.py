"""Ports: a device that is not there yet, that vanishes in the middle of a line and comes back, that
another program wants too; several ports of every kind with many links at once."""

import errno
import fcntl
import json
import os
import re
import signal
import socket
import time

import harness

LINKS_PER_PORT = 25
REPORTS_PER_LINK = 8
TURNS = 2  # times that the device vanishes


def link_yaml(name, port):
    return (f"  - name: {name}\n    match: {{ port: {port} }}\n    expect: 10s\n"
            "    radio: { spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n")


def serial_config(device):
    return ("ports:\n"
            f"  - {{ name: mast, source: 'serial:{device}', serial: {{ baud: 57600 }}, decoder: json }}\n"
            "links:\n" + link_yaml("weir", "mast"))


def line(seq, link="weir"):
    return harness.report_line(link=link, seq=seq, rssi_dbm=-97, snr_db=7.25, noise_dbm=-117)


def lines_of_port(daemon, port="mast"):
    return [entry for entry in daemon.log().splitlines() if f"port {port}:" in entry]


def in_use(path):
    """Whether another program that asks is refused: by the mark, or, for a privileged one, by the
    lock."""
    try:
        device = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError as error:
        return error.errno == errno.EBUSY
    try:
        fcntl.flock(device, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return False
    except BlockingIOError:
        return True
    finally:
        os.close(device)


def check_coming_and_going(t):
    t.section("a device that comes and goes")
    device = t.path("radio")
    daemon = t.daemon(serial_config(device))
    harness.wait_until(lambda: lines_of_port(daemon), "the absent device is logged")
    t.equal(daemon.metrics().get("fadeward_port_up", port="mast"), 0, "absent: fadeward_port_up 0")
    harness.wait_until(lambda: device in (daemon.ports()["mast"]["detail"] or ""), "/links names the device")
    t.expect("no such device" in daemon.ports()["mast"]["detail"], "/links says why the port is down",
             daemon.ports()["mast"])
    # The pauses between attempts begin at a quarter of a second: several fall into this time.
    harness.stays_true(lambda: daemon.running() and len(lines_of_port(daemon)) == 1,
                       "one line in the log for all attempts", 3)
    t.expect(True, "absent: one line in the log, not one per attempt")

    radio = t.pty()
    daemon.wait_metric(1, "fadeward_port_up", port="mast", limit_s=10)
    t.expect(True, "picked up when it appears")
    for seq in range(1, 11):
        radio.write(line(seq))
    daemon.wait_metric(10, "fadeward_link_reports_total", link="weir")
    t.expect(True, "its reports are counted")
    t.expect(in_use(radio.path), "another program that asks is refused")

    second = t.daemon(serial_config(device))
    harness.wait_until(lambda: lines_of_port(second), "the second daemon says something")
    t.expect("in use" in lines_of_port(second)[0], "a second daemon says that it is in use",
             lines_of_port(second)[0])
    t.equal(second.metrics().get("fadeward_port_up", port="mast"), 0, "and has the port down")
    t.equal(second.stop()[0], 0, "and ends with 0")

    # Mid-line; the frames that were sent meanwhile are unknown, not lost.
    seq = 10
    for turn in range(TURNS):
        radio.write(line(seq + 1) + line(seq + 2)[:20])
        radio.wait_read()
        daemon.wait_metric(11 + turn * 2, "fadeward_link_reports_total", link="weir")
        radio.hang_up()
        daemon.wait_metric(0, "fadeward_port_up", port="mast", limit_s=5)
        radio = t.pty()
        daemon.wait_metric(1, "fadeward_port_up", port="mast", limit_s=10)
        seq += 50
        radio.write(line(seq))
        daemon.wait_metric(12 + turn * 2, "fadeward_link_reports_total", link="weir")
    t.expect(True, f"vanished in the middle of a line {TURNS} times, and came back")
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_port_faults_total", port="mast"), TURNS, "each fault is counted")
    t.equal(metrics.total("fadeward_port_discarded_bytes_total", port="mast"), 0,
            "a cut tail is not discarded bytes")
    t.equal(metrics.total("fadeward_reports_rejected_total", port="mast"), 0,
            "and spoils no line after it")
    t.equal(metrics.get("fadeward_link_frames_lost_total", link="weir", direction="inbound"), 0,
            "frames of the time without a device are unknown, not lost")
    log = lines_of_port(daemon)
    closed = [entry for entry in log if "closed" in entry]
    opened = [entry for entry in log if "open (" in entry]
    t.expect(len(closed) == TURNS and len(opened) == TURNS + 1 and len(log) <= 3 * TURNS + 2,
             "one line in the log for each change", log)
    code, _ = daemon.stop()
    t.expect(code == 0, "SIGTERM ends it with 0", code)
    t.expect(not in_use(radio.path), "the device is free afterwards")
    radio.hang_up()


def check_port_fault(t):
    """Under a clock that runs faster; its ten seconds of patience are half a second here."""
    t.section("PortFault")
    device = t.path("radio")
    daemon = t.daemon(serial_config(device), "--time-factor", "20", "--time-start", "2031-04-01")
    series = {"port": "mast", "alert": "PortFault"}
    t.expect(daemon.metrics().get("fadeward_alert_active", **series) is not None,
             "its series is there from the start", daemon.metrics().all("fadeward_alert_active"))
    daemon.wait_metric(1, "fadeward_alert_active", limit_s=15, **series)
    t.equal(daemon.metrics().get("fadeward_alert_severity", **series), 3, "raised as critical")
    t.equal(daemon.metrics().get("fadeward_alert_cause", cause="port", **series), 1, "with its cause")
    alerts = daemon.get("/alerts").json()
    t.expect([a["labels"].get("alertname") for a in alerts] == ["PortFault"] and
             alerts[0]["labels"].get("port") == "mast" and device in alerts[0]["annotations"]["description"],
             "/alerts names port and device", alerts)
    radio = t.pty()
    daemon.wait_metric(0, "fadeward_alert_active", limit_s=15, **series)
    t.equal(daemon.metrics().get("fadeward_alert_severity", **series), 0, "cleared when it appears")
    log = [entry for entry in daemon.log().splitlines() if "PortFault" in entry]
    t.expect(len(log) == 2, "raised and cleared in the log, once each", log)
    daemon.stop()
    radio.hang_up()


def check_silent_port(t):
    """A port that is open and silent is a fault as well, and is none any more with the next report."""
    t.section("a port that is open and silent")
    radio = t.pty()
    config = serial_config(radio.link).replace("decoder: json", "decoder: json, silent: 1m")
    daemon = t.daemon(config, "--time-factor", "60", "--time-start", "2031-04-01")
    series = {"port": "mast", "alert": "PortFault"}
    daemon.wait_metric(1, "fadeward_alert_active", limit_s=15, **series)
    t.equal(daemon.metrics().get("fadeward_alert_severity", **series), 2, "raised as a warning")
    radio.write(line(1))
    daemon.wait_metric(1, "fadeward_link_reports_total", link="weir")
    try:
        daemon.wait_metric(0, "fadeward_alert_active", limit_s=5, **series)
        t.expect(True, "cleared by the next report")
    except harness.Failed as failed:
        t.expect(False, "cleared by the next report", failed)
    daemon.wait_metric(1, "fadeward_alert_active", limit_s=15, **series)
    radio.hang_up()
    try:
        daemon.wait_metric(3, "fadeward_alert_severity", limit_s=10, **series)
        t.expect(True, "critical when the silent port is closed, too")
    except harness.Failed as failed:
        t.expect(False, "critical when the silent port is closed, too", failed)
    daemon.stop()


def check_patience(t):
    """The same at the pace of life."""
    t.section("PortFault at the pace of life")
    daemon = t.daemon(serial_config(t.path("nothing")))
    begin = time.monotonic()
    daemon.wait_metric(1, "fadeward_alert_active", port="mast", alert="PortFault", limit_s=25)
    took = time.monotonic() - begin
    t.expect(8 <= took <= 14, "raised after about 10 s", f"{took:.1f} s")
    daemon.stop()


def check_several_ports(t):
    t.section("several ports at once, many links each")
    radios = {"one": t.pty("one"), "two": t.pty("two")}
    tcp = t.tcp()
    udp_port = harness.free_port()
    sources = {"one": f"serial:{radios['one'].link}", "two": f"serial:{radios['two'].link}",
               "net": f"tcp://127.0.0.1:{tcp.port}", "air": f"udp://127.0.0.1:{udp_port}"}
    config = "ports:\n" + "".join(f"  - {{ name: {name}, source: '{source}' }}\n"
                                  for name, source in sources.items())
    names = {port: [f"{port}{i}" for i in range(LINKS_PER_PORT)] for port in sources}
    config += "links:\n" + "".join(link_yaml(name, port) for port in sources for name in names[port])
    daemon = t.daemon(config)
    tcp.accept()
    for port in sources:
        daemon.wait_metric(1, "fadeward_port_up", port=port)
    sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    t.keep(sender.close)
    for seq in range(1, REPORTS_PER_LINK + 1):
        for i in range(LINKS_PER_PORT):
            for port in ("one", "two"):
                radios[port].write(line(seq, names[port][i]))
            tcp.write(line(seq, names["net"][i]).replace(b"\n", b"\r\n"))
            # A datagram ends its last line, with or without a line end.
            datagram = line(seq, names["air"][i])
            sender.sendto(datagram if seq % 2 else datagram.rstrip(), ("127.0.0.1", udp_port))
    wanted = float(REPORTS_PER_LINK)
    for port in sources:
        for name in (names[port][0], names[port][-1]):
            daemon.wait_metric(wanted, "fadeward_link_reports_total", link=name)
    metrics = daemon.metrics()
    counts = metrics.all("fadeward_link_reports_total")
    t.expect(len(counts) == 4 * LINKS_PER_PORT and set(counts.values()) == {wanted},
             f"{REPORTS_PER_LINK} reports of each of {4 * LINKS_PER_PORT} links on 4 ports", counts)
    t.equal(metrics.total("fadeward_link_frames_lost_total"), 0, "none lost")
    for family in ("fadeward_port_discarded_bytes_total", "fadeward_reports_rejected_total",
                   "fadeward_reports_unmatched_total", "fadeward_report_values_discarded_total"):
        t.equal(metrics.total(family), 0, f"{family} 0")

    tcp.hang_up()
    daemon.wait_metric(1, "fadeward_port_faults_total", port="net", limit_s=5)
    tcp.accept()
    daemon.wait_metric(1, "fadeward_port_up", port="net")
    tcp.write(line(REPORTS_PER_LINK + 1, "net0"))
    daemon.wait_metric(wanted + 1, "fadeward_link_reports_total", link="net0")
    t.expect(True, "a broken connection is made again")
    t.equal(daemon.metrics().total("fadeward_port_up"), 4, "the other ports did not notice")
    code, _ = daemon.stop(signal.SIGINT)
    t.expect(code == 0, "SIGINT ends it with 0", code)


def check_poll(t):
    """A radio that only answers; the helper plays it."""
    t.section("a radio that only answers when asked")
    link = t.path("asked")
    answer = json.dumps({"link": "weir", "rssi_dbm": -101, "snr_db": 4})
    player = t.process([t.pty_play, "--link", link, "--answer", f"status\\r={answer}\\n",
                        "--hold", "60"], "player")
    harness.wait_until(lambda: os.path.islink(link), "the player is there")
    config = serial_config(link).replace(
        "decoder: json", 'decoder: json, poll: { send: "status\\r", every: 200ms, quiet_before: 50ms }')
    daemon = t.daemon(config)
    harness.wait_until(lambda: daemon.metrics().get("fadeward_link_reports_total", link="weir") >= 5,
                       "five answers are counted")
    t.expect(True, "asked again and again, and the answers are counted")
    t.equal(daemon.metrics().total("fadeward_reports_rejected_total"), 0, "nothing else is heard")
    daemon.stop()
    player.stop()
    t.expect(re.search("opened by a program", player.log()), "the device was opened for us alone",
             player.log())


def test(t):
    check_coming_and_going(t)
    check_port_fault(t)
    check_silent_port(t)
    check_several_ports(t)
    if t.pty_play:
        check_poll(t)
    if t.long:
        check_patience(t)


harness.run(test)
