"""A gateway of 1,000 links, each reporting every ten seconds, scraped by a real Prometheus with the rules
loaded: half a minute, ten minutes in the long version. Prints the figures of "Scale on paper" in
DEVELOPERS.md; fails for what is missing, not for what is slow."""

import gzip
import json
import os
import re
import threading
import time

import harness
import servers

LINKS = 1000
INTERVAL_S = 10
ROUNDS_AT_ONCE = 31   # frames that a margin wants


class Radio(threading.Thread):
    """1,000 sites: a few rounds at once, then one every ten seconds, evenly."""

    def __init__(self, radio, lines):
        super().__init__(daemon=True)
        self.radio, self.lines, self.going, self.told = radio, lines, True, 0

    def run(self):
        first = ROUNDS_AT_ONCE * LINKS
        for at in range(0, first, LINKS):
            self.radio.write(b"".join(self.lines[at:at + LINKS]), 60)
            self.told += LINKS
        begin, piece = time.monotonic(), LINKS // INTERVAL_S // 5
        for i, at in enumerate(range(first, len(self.lines) - piece, piece)):
            time.sleep(max(0.0, begin + i / 5 - time.monotonic()))
            if not self.going:
                return
            self.radio.write(b"".join(self.lines[at:at + piece]), 60)
            self.told += piece


def config(device):
    links = "".join(f"  - name: L{i}\n    match: {{ port: mast }}\n" for i in range(1, LINKS + 1))
    return (f"ports:\n  - {{ name: mast, source: 'serial:{device}', serial: {{ baud: 57600 }} }}\n"
            "defaults:\n  expect: 10s\n"
            "  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
            "  budget: { inbound_signal_dbm: -98, outbound_signal_dbm: -98 }\n"
            "links:\n" + links)


class Prometheus(servers.Prometheus):
    def own(self, pattern):
        return [float(each) for each in re.findall(rf"^{pattern} (\S+)$", self.get("/metrics").text, re.MULTILINE)]

    def block_bytes(self):
        """What all samples so far take as a block on disk."""
        done = self.get("/api/v1/admin/tsdb/snapshot", "POST").json()
        top = os.path.join(self.data, "snapshots", done["data"]["name"])
        sizes = {"chunks": 0, "index": 0}
        for where, _, names in os.walk(top):
            for name in names:
                kind = "chunks" if where.endswith("chunks") else "index"
                sizes[kind] += os.path.getsize(os.path.join(where, name))
        return sizes


def cpu_seconds(pid):
    with open(f"/proc/{pid}/stat", encoding="ascii") as file:
        fields = file.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def test(t):
    span_s, interval_s = 600 if t.long else 30, 10 if t.sanitized else 5
    rounds = ROUNDS_AT_ONCE + span_s // INTERVAL_S + 12
    code, recording, err = t.run("simulate", "--scenario", "healthy", "--links", LINKS, "--days", f"{rounds * INTERVAL_S / 86400}",
                                 "--interval", INTERVAL_S, limit_s=120)
    lines = re.sub(rb'"time":[^,]+,', b"", recording).splitlines(keepends=True)
    names = {name.decode() for name in re.findall(rb'"link":"([^"]+)"', recording[:LINKS * 600])}
    t.expect(code == 0 and len(lines) >= (rounds - 1) * LINKS and names == {f"L{i}" for i in range(1, LINKS + 1)},
             f"reports of {len(names)} links", err)
    device = t.pty()
    daemon = t.daemon(config(device.link))
    daemon.wait_metric(1, "fadeward_port_up", port="mast")
    radio = Radio(device, lines)
    radio.start()
    t.keep(lambda: setattr(radio, "going", False))
    harness.wait_until(lambda: radio.told >= ROUNDS_AT_ONCE * LINKS, "every link has a margin", 120)
    prometheus = Prometheus(t, servers.scraping(daemon.port, interval_s, t.source), options=["--web.enable-admin-api"])
    begin, cpu, cpu_theirs = time.monotonic(), cpu_seconds(daemon.pid), cpu_seconds(prometheus.process.pid)
    while time.monotonic() - begin < span_s:
        time.sleep(1)
        if not prometheus.process.running() or not daemon.running():
            raise harness.Failed("one of the two has ended")
    took = time.monotonic() - begin
    cpu, cpu_theirs = cpu_seconds(daemon.pid) - cpu, cpu_seconds(prometheus.process.pid) - cpu_theirs

    t.section("nothing is missing")
    window = f"[{span_s + 60}s]"
    t.equal(prometheus.value(f"min_over_time(up{window})"), 1, "every scrape was answered")
    t.equal(prometheus.value("count(fadeward_link_up == 1)"), LINKS, "all links are up")
    t.equal(prometheus.value("count(fadeward_link_margin_db)"), 2 * LINKS, "both directions have a margin")
    for rule, what in (("gateway:fadeward_link_up:count", "the recording rules count them"),
                       ("count(gateway_link:fadeward_link_margin_db:min)", "and know the worse direction of each")):
        try:   # a slow machine may not have got to them yet
            harness.wait_until(lambda: prometheus.value(rule) == LINKS, what, 60, every_s=1)
        except harness.Failed:
            pass
        t.equal(prometheus.value(rule), LINKS, what)
    t.equal(prometheus.own("prometheus_rule_evaluation_failures_total\\S*"), [0.0] * 3, "no rule has failed")
    told = radio.told
    harness.wait_until(lambda: prometheus.value("sum(fadeward_link_reports_total)") >= told, "Prometheus has counted what was told", 60)
    t.equal(prometheus.complaints(), [], "Prometheus complains about nothing")

    t.section("figures")
    plain, packed = daemon.get("/metrics"), daemon.get("/metrics", headers={"Accept-Encoding": "gzip"})
    t.equal(packed.headers.get("content-encoding"), "gzip", "gzip when asked for")
    t.expect(len(gzip.decompress(packed.body)) > 0.99 * len(plain.body), "and the same in it")
    series = plain.text.count("\n") - plain.text.count("\n#") - 1
    samples = prometheus.value("scrape_samples_scraped")
    t.expect(abs(samples - series) < 0.01 * series, f"Prometheus took the {series} series of a scrape", samples)
    radio.going = False
    stored, total = prometheus.block_bytes(), sum(prometheus.own("prometheus_tsdb_head_samples_appended_total\\S*"))
    groups, took_them = 3, "prometheus_rule_group_duration_seconds"
    ours = [line for line in plain.text.splitlines() if 'link="L1"' in line]
    alerts = sum(line.startswith("fadeward_alert_") for line in ours)
    print(f"series           {series}, {len(ours)} a link, {alerts} of them alerts")
    print(f"a scrape         {len(plain.body) / 1e6:.2f} MB plain, {len(packed.body) / 1e3:.0f} kB gzip, {len(plain.body) / series:.0f} and "
          f"{len(packed.body) / series:.1f} B a sample")
    print(f"its duration     {1e3 * prometheus.value(f'avg_over_time(scrape_duration_seconds{window})'):.0f} ms on average, "
          f"{1e3 * prometheus.value(f'max_over_time(scrape_duration_seconds{window})'):.0f} ms at most, with storing")
    print(f"processor        {100 * cpu / took:.1f} % of a core here, {100 * cpu_theirs / took:.1f} % in Prometheus, "
          f"{LINKS / INTERVAL_S:.0f} reports/s, a scrape each {interval_s} s")
    print(f"memory           {daemon.anonymous_bytes() / 1e6:.0f} MB here, "
          f"{sum(prometheus.own('process_resident_memory_bytes')) / 1e6:.0f} MB in Prometheus")
    print(f"rules            {1e3 * groups * sum(prometheus.own(took_them + '_sum')) / sum(prometheus.own(took_them + '_count')):.0f} ms an evaluation on average, "
          f"{prometheus.value('count({__name__=~%s})' % json.dumps('gateway.*:fadeward.*')):.0f} series recorded")
    print(f"block            {total / 1e6:.2f} M samples, {stored['chunks'] / total:.2f} B a sample, and an index of "
          f"{stored['index'] / prometheus.own('prometheus_tsdb_head_series')[0]:.0f} B a series")


harness.run(test)
