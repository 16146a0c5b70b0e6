"""A real Prometheus scrapes a daemon that is fed through a pseudo-terminal; its series hold the values
of /links."""

import datetime
import os
import re
import subprocess

import harness
import servers

LINKS = ["weir", "ridge", "sluice", "quarry"]
HOURS = 2

# Value in /links -> family, with the precision that /links rounds to.
LINK_VALUES = {"reports_total": ("fadeward_link_reports_total", 0), "up": ("fadeward_link_up", 0),
               "last_report": ("fadeward_link_last_report_timestamp_seconds", 0.001)}
DIRECTION_VALUES = {
    "margin_db": ("fadeward_link_margin_db", 0.0051),
    "margin_low_db": ("fadeward_link_margin_low_db", 0.0051),
    "signal_dbm": ("fadeward_link_signal_dbm", 0.0051),
    "noise_dbm": ("fadeward_link_noise_dbm", 0.0051),
    "deficit_db": ("fadeward_link_margin_deficit_db", 0.0051),
    "loss_ratio": ("fadeward_link_loss_ratio", 1e-6),
    "frames_lost_total": ("fadeward_link_frames_lost_total", 0),
    "retries_total": ("fadeward_link_retries_total", 0),
}


class Prometheus(servers.Prometheus):
    def query(self, expression, at=None, without=("job", "instance", "gateway", "__name__")):
        """Without the labels of Prometheus itself."""
        return super().query(expression, at, without)

    def target(self):
        return self.api("targets")["activeTargets"][0]


def config(device):
    links = "".join(f"  - name: {name}\n    match: {{ port: mast }}\n    expect: 1h\n"
                    "    budget: { inbound_signal_dbm: -98, outbound_signal_dbm: -98 }\n" for name in LINKS)
    return ("ports:\n"
            f"  - {{ name: mast, source: 'serial:{device}', serial: {{ baud: 57600 }} }}\n"
            "defaults:\n"
            "  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
            "links:\n" + links)


def number(value):
    """Of a number, a yes or no, or a time."""
    if isinstance(value, str):
        return datetime.datetime.fromisoformat(value).timestamp()
    return float(value)


def labels(**pairs):
    return frozenset(pairs.items())


def check_before(t, prometheus):
    t.section("before the first report")
    harness.wait_until(lambda: prometheus.value("up") == 1, "up is 1", 60)
    t.expect(True, "up == 1")
    harness.wait_until(lambda: prometheus.query("fadeward_link_up"), "the first scrape is stored")
    t.equal(prometheus.query("fadeward_link_up"), {labels(link=name): 0.0 for name in LINKS},
            "fadeward_link_up 0 of each link")
    t.equal(prometheus.query("fadeward_link_reports_total"), {labels(link=name): 0.0 for name in LINKS},
            "counters begin at 0")
    active = prometheus.query("fadeward_alert_active")
    of_links = [key for key in active if any(name == "link" for name, _ in key)]
    t.expect(len(of_links) >= 16 * len(LINKS) and set(active.values()) == {0.0},
             f"{len(active)} alert series are there, all 0", active)
    for alert in ("MarginLow", "LossHigh", "BudgetDeficit"):
        found = prometheus.query(f'fadeward_alert_active{{alert="{alert}"}}')
        t.equal(set(found), {labels(link=name, direction=d, alert=alert) for name in LINKS
                             for d in ("inbound", "outbound")}, f"{alert} per direction")
    for alert in ("LinkSilent", "LatencyHigh", "RetriesHigh", "RadioRestarted", "SettingChanged"):
        found = prometheus.query(f'fadeward_alert_active{{alert="{alert}"}}')
        t.equal(set(found), {labels(link=name, alert=alert) for name in LINKS}, f"{alert} without direction")
    t.equal(set(prometheus.query('fadeward_alert_active{alert="PortFault"}')),
            {labels(port="mast", alert="PortFault")}, "PortFault of the port")
    t.equal(prometheus.query("fadeward_link_margin_db"), {}, "no margin before anything is known")


def check_values(t, prometheus, daemon, reports):
    t.section("after two hours of an invented valley")
    harness.wait_until(lambda: prometheus.value("sum(fadeward_link_reports_total)") == reports,
                       f"Prometheus has counted {reports} reports", 60)
    links = daemon.links()
    differences, compared = [], 0
    for key, (family, precision) in LINK_VALUES.items():
        held = prometheus.query(family)
        for name in LINKS:
            ours, theirs = number(links[name][key]), held.get(labels(link=name))
            compared += 1
            if theirs is None or abs(ours - theirs) > precision:
                differences.append(f"{name} {key}: {ours} in /links, {theirs} in Prometheus")
    for key, (family, precision) in DIRECTION_VALUES.items():
        held = prometheus.query(family)
        for name in LINKS:
            for direction in ("inbound", "outbound"):
                ours = links[name][direction][key]
                theirs = held.get(labels(link=name, direction=direction))
                compared += ours is not None
                if (ours is None) != (theirs is None) or ours is not None and abs(ours - theirs) > precision:
                    differences.append(f"{name} {direction} {key}: {ours} in /links, {theirs} in Prometheus")
    t.equal(differences, [], f"{compared} values are those of /links")
    t.expect(compared >= (len(LINK_VALUES) + 2 * len(DIRECTION_VALUES)) * len(LINKS) - 8,
             "and hardly any was unknown", compared)
    t.expect(prometheus.value("sum(increase(fadeward_link_reports_total[5m]))") > 0, "increase() sees the reports")
    t.equal(prometheus.value("min(min_over_time(up[5m]))"), 1, "no scrape has failed")
    t.expect(prometheus.value("max(max_over_time(scrape_duration_seconds[5m]))") < 1, "none was slow")
    t.equal(prometheus.target()["lastError"], "", "no complaint about the target")


def check_end(t, prometheus, daemon):
    t.section("the end")
    promtool = t.need("promtool")
    lint = subprocess.run([promtool, "check", "metrics"], input=daemon.get("/metrics").body, capture_output=True,
                          check=False, timeout=60)
    t.expect(lint.returncode == 0 and not lint.stdout + lint.stderr, "promtool check metrics finds nothing",
             lint.stdout + lint.stderr)
    if t.source:
        example = os.path.join(t.source, "deploy/prometheus/scrape-example.yml")
        checked = subprocess.run([promtool, "check", "config", example], capture_output=True, check=False, timeout=60)
        t.equal(checked.returncode, 0, "the example for Prometheus is a good one")
    t.equal(daemon.stop()[0], 0, "the daemon ends with 0")
    harness.wait_until(lambda: prometheus.value("up") == 0, "Prometheus notices")
    t.equal(prometheus.query("fadeward_link_margin_db"), {}, "and shows no margin of a daemon that is gone")
    t.equal([entry for entry in prometheus.complaints() if "scrape" in entry.lower()], [], "nothing about scraping in its log")


def test(t):
    t.need("promtool")
    code, recording, err = t.run("simulate", "--scenario", "tarn-valley", "--seed", "3", "--days", f"{HOURS / 24}")
    recording = re.sub(rb'"time":[^,]+,', b"", recording)  # they are reports of just now
    t.expect(code == 0 and recording.count(b"\n") > 1000, f"{HOURS} hours of the invented valley", err)
    radio = t.pty()
    daemon = t.daemon(config(radio.link))
    daemon.wait_metric(1, "fadeward_port_up", port="mast")
    prometheus = Prometheus(t, servers.scraping(daemon.port))
    check_before(t, prometheus)
    radio.write(recording, 60)
    radio.wait_read()
    check_values(t, prometheus, daemon, recording.count(b"\n"))
    check_end(t, prometheus, daemon)


harness.run(test)
