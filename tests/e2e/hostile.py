"""Input of the worst kind: noise by the megabyte, lines without end, text that is no text, numbers
that cannot be. The next good line is always counted, each bad one in its counter, memory and log stay
small, and the program answers all along."""

import random
import re
import threading
import time

import harness

SEED = 20310401
MOST_ANONYMOUS_BYTES = 32 << 20
LONGEST_LINE = 65536  # the default of framing.max_bytes
RADIO = "    radio: { spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"


def good(seq, link="weir"):
    return harness.report_line(link=link, seq=seq, rssi_dbm=-97, snr_db=7.25, noise_dbm=-117)


def config(*sources, links="  - name: weir\n" + RADIO):
    ports = "".join(f"  - {{ name: p{i}, source: '{source}' }}\n" for i, source in enumerate(sources))
    return "ports:\n" + ports + "links:\n" + links


class Attendant(threading.Thread):
    """Asks for /-/healthy again and again, and looks at memory, while something else goes on."""

    def __init__(self, daemon):
        super().__init__(daemon=True)
        self.watched = daemon
        self.slowest_s = 0.0
        self.most_bytes = 0
        self.asked = 0
        self.error = None
        self.over = threading.Event()

    def run(self):
        while not self.over.wait(0.05):
            begin = time.monotonic()
            try:
                answer = self.watched.get("/-/healthy", limit_s=10)
                if answer.status != 200:
                    raise OSError(f"/-/healthy answers {answer.status}")
                self.slowest_s = max(self.slowest_s, time.monotonic() - begin)
                self.most_bytes = max(self.most_bytes, self.watched.anonymous_bytes())
                self.asked += 1
            except (OSError, AttributeError) as error:
                self.error = str(error) or repr(error)
                return

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self.over.set()
        self.join(15)


def frames_in(data):
    """Lines as the framing promises: ended by LF, CR LF or CR, empty ones are none."""
    return [line for line in re.split(rb"\r\n|\n|\r", data) if line]


def feed_noise(t, daemon, port, write, megabytes):
    source = random.Random(SEED)
    before = daemon.metrics()
    wanted_frames = 0
    carried = b""  # the unfinished line of the piece before
    with Attendant(daemon) as attendant:
        for _ in range(megabytes):
            noise = source.randbytes(1 << 20)
            write(noise)
            lines = (carried + noise).replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
            # A CR at the end may be half of a CR LF: the next line is then empty, and none either way.
            carried = lines.pop()
            wanted_frames += sum(1 for line in lines if line)
        write(b"\n")
        wanted_frames += 1 if carried else 0
        reports = before.get("fadeward_link_reports_total", link="weir")
        first = int(reports) + 1
        for seq in range(first, first + 100):
            write(good(seq))
        daemon.wait_metric(reports + 100, "fadeward_link_reports_total", link="weir", limit_s=120)
    t.expect(True, f"{megabytes} MB of noise (seed {SEED}), and then all 100 good lines are counted")
    t.expect(attendant.error is None and attendant.asked > 0, "/-/healthy answers all along", attendant.error)
    t.within(attendant.slowest_s, 1.0, f"within 1 s (slowest of {attendant.asked}: "
             f"{attendant.slowest_s * 1000:.0f} ms)")
    t.within(attendant.most_bytes, MOST_ANONYMOUS_BYTES,
             f"anonymous memory at most {attendant.most_bytes / 2**20:.1f} MB")
    after = daemon.metrics()
    rejected = (after.total("fadeward_reports_rejected_total", port=port) -
                before.total("fadeward_reports_rejected_total", port=port))
    t.equal(rejected, wanted_frames, f"each of the {wanted_frames} frames of noise is counted as rejected")
    t.equal(after.get("fadeward_link_up", link="weir"), 1, "the link is up")


def check_noise(t):
    t.section("noise over the network")
    tcp = t.tcp()
    daemon = t.daemon(config(f"tcp://127.0.0.1:{tcp.port}"))
    tcp.accept()
    feed_noise(t, daemon, "p0", tcp.write, 50)

    t.section("a line without end")
    before = daemon.metrics()
    with Attendant(daemon) as attendant:
        for _ in range(80):
            tcp.write(b"x" * 65536)
        tcp.write(b"\n" + good(101))
        daemon.wait_metric(before.get("fadeward_link_reports_total", link="weir") + 1,
                           "fadeward_link_reports_total", link="weir")
    discarded = (daemon.metrics().get("fadeward_port_discarded_bytes_total", port="p0", reason="too_long") -
                 before.get("fadeward_port_discarded_bytes_total", port="p0", reason="too_long"))
    t.equal(discarded, 80 * 65536, "5 MB without a line end: every byte is counted as too_long")
    t.equal(attendant.error, None, "/-/healthy answers meanwhile")
    t.within(attendant.most_bytes, MOST_ANONYMOUS_BYTES,
             f"anonymous memory at most {attendant.most_bytes / 2**20:.1f} MB")
    lines = daemon.log().splitlines()
    t.expect(len(lines) < 20, f"the log has {len(lines)} lines after all this", lines[-5:])
    t.expect(max(len(entry) for entry in lines) < 1000, "none of them endless", "")
    t.equal([entry for entry in daemon.log() if entry != "\n" and not entry.isprintable()], [],
            "and all of them printable")
    t.equal(daemon.stop()[0], 0, "it ends with 0")

    megabytes = 50 if t.long else 2
    t.section("noise over a serial line")
    radio = t.pty()
    daemon = t.daemon(config(f"serial:{radio.link}"))
    daemon.wait_metric(1, "fadeward_port_up", port="p0")
    feed_noise(t, daemon, "p0", lambda data: radio.write(data, 60), megabytes)
    t.equal(daemon.metrics().get("fadeward_port_up", port="p0"), 1, "the line is still open")
    t.equal(daemon.stop()[0], 0, "it ends with 0")


# title, line, what rises by one beside the reports: (family, reason). "report" in front: the rest of
# the line is a good report.
BAD_LINES = [
    ("NUL bytes", b'{"link":"weir","rssi_dbm":-9\0\0}', "rejected", "syntax"),
    ("NUL bytes alone", b"\0\0\0\0\0", "rejected", "syntax"),
    ("invalid UTF-8 in a name", b'{"link":"we\xff\xfeir","rssi_dbm":-90}', "rejected", "syntax"),
    ("invalid UTF-8 in an unknown key", b'{"link":"weir","rssi_dbm":-90,"\xc3":1}', "rejected", "syntax"),
    ("an overlong encoding", b'{"link":"weir","rssi_dbm":-90,"x":"\xc0\xaf"}', "rejected", "syntax"),
    ("half a surrogate pair", rb'{"link":"weir","rssi_dbm":-90,"x":"\ud800"}', "rejected", "syntax"),
    ("NaN", b'{"link":"weir","rssi_dbm":NaN,"snr_db":1}', "rejected", "syntax"),
    ("Infinity", b'{"link":"weir","rssi_dbm":-Infinity,"snr_db":1}', "rejected", "syntax"),
    ("a cut line", b'{"link":"weir","rssi_dbm":-9', "rejected", "syntax"),
    ("two objects in a line", b'{"link":"weir","rssi_dbm":-90}{"link":"weir"}', "rejected", "syntax"),
    ("a list", b'["weir",-90]', "rejected", "syntax"),
    ("nesting 10,000 deep", b'{"link":"weir","rssi_dbm":-90,"x":' + b"[" * 10000 + b"]" * 10000 + b"}",
     "rejected", "syntax"),
    ("objects 5,000 deep", b'{"link":"weir","x":' + b'{"a":' * 5000 + b"1" + b"}" * 5000 + b"}",
     "rejected", "syntax"),
    ("a link and nothing else", b'{"link":"weir"}', "rejected", "empty"),
    ("nothing at all", b"{}", "rejected", "empty"),
    ("an unknown link", b'{"link":"atlantis","rssi_dbm":-90}', "unmatched", None),
    ("a link that is 60,000 bytes long", b'{"link":"' + b"w" * 60000 + b'","rssi_dbm":-90}', "unmatched",
     None),
    ("1e999", b'{"link":"weir","rssi_dbm":-1e999,"snr_db":1}', "report", "value"),
    ("an RSSI of +200", b'{"link":"weir","rssi_dbm":200,"snr_db":1}', "report", "value"),
    ("a number as text", b'{"link":"weir","rssi_dbm":"-90","snr_db":1}', "report", "value"),
    ("half a frame", b'{"link":"weir","rssi_dbm":-90,"tx_frames":1.5}', "report", "value"),
    ("an unknown key", b'{"link":"weir","rssi_dbm":-90,"mood":"fine"}', "report", "unknown"),
]

FAMILIES = {
    "rejected": "fadeward_reports_rejected_total",
    "unmatched": "fadeward_reports_unmatched_total",
    "value": "fadeward_report_values_discarded_total",
    "unknown": "fadeward_report_unknown_keys_total",
    "too_long": "fadeward_port_discarded_bytes_total",
}


def counts_of(metrics):
    """Every counter of what went wrong at port p0, those that are zero left out."""
    out = {"reports": metrics.get("fadeward_link_reports_total", link="weir")}
    for short, family in FAMILIES.items():
        for labels, value in metrics.all(family, port="p0").items():
            reason = dict(labels).get("reason")
            out[short, reason] = value
    return out


def rise(before, after):
    return {key: after[key] - before[key] for key in after if after[key] != before[key]}


def check_lines(t):
    t.section("one bad line after the other, each followed by a good one")
    tcp = t.tcp()
    daemon = t.daemon(config(f"tcp://127.0.0.1:{tcp.port}"))
    tcp.accept()
    tcp.write(good(1))
    daemon.wait_metric(1, "fadeward_link_reports_total", link="weir")
    seq = 1
    for title, bad, kind, reason in BAD_LINES:
        before = counts_of(daemon.metrics())
        seq += 1
        tcp.write(bad + b"\n" + good(seq))
        wanted = {"reports": 2 if kind == "report" else 1}
        if kind == "report":
            wanted[reason, None] = 1
        else:
            wanted[kind, reason] = 1
        found = {}

        def as_wanted():
            found.clear()
            found.update(rise(before, counts_of(daemon.metrics())))
            return found == wanted
        try:
            harness.wait_until(as_wanted, title, 3)
        except harness.Failed:
            pass
        t.equal(found, wanted, f"{title}: counted as {kind} {reason or ''}".rstrip())
        if kind == "rejected":
            shown = daemon.ports()["p0"]["last_rejected"]
            begin = bad[:4].decode("latin-1")
            t.expect(shown and (begin.isprintable() and shown.startswith(begin) or "\\x00" in shown),
                     f"{title}: shown in /links", repr(shown)[:100])
    name = daemon.ports()["p0"]["last_unmatched"]
    t.expect(name and name.startswith("www") and len(name) < 1000, "the unmatched name is shown, cut",
             repr(name)[:100])

    t.section("numbers that say impossible things, and what they do to the link")
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_link_frames_lost_total", link="weir", direction="inbound"), 0,
            "no frame is lost in all of that")
    seq += 1
    for number in (seq, seq + 1, 3, 4, 5, 6, 7):  # the far end began again
        tcp.write(good(number))
    before = metrics.get("fadeward_link_reports_total", link="weir")
    daemon.wait_metric(before + 7, "fadeward_link_reports_total", link="weir")
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_link_frames_lost_total", link="weir", direction="inbound"), 0,
            "seq going backwards: no frames are lost by that")
    t.equal(metrics.get("fadeward_link_restarts_total", link="weir"), 1, "but a restart is noted")
    now = time.time()
    retimed = metrics.get("fadeward_reports_retimed_total", port="p0")
    for number, when in ((8, now - 86400), (9, now + 365 * 86400), (10, -1e15), (11, now)):
        tcp.write(harness.report_line(link="weir", seq=number, rssi_dbm=-97, snr_db=7, time=when))
    daemon.wait_metric(before + 11, "fadeward_link_reports_total", link="weir")
    metrics = daemon.metrics()
    t.expect(metrics.get("fadeward_reports_retimed_total", port="p0") - retimed in (2, 3),
             "a clock a day back and one a year ahead are not believed, and counted",
             metrics.get("fadeward_reports_retimed_total", port="p0"))
    heard = metrics.get("fadeward_link_last_report_timestamp_seconds", link="weir")
    t.expect(abs(heard - time.time()) < 60, "the last report is one of just now", heard)
    t.equal(metrics.get("fadeward_clock_trusted"), 1, "our own clock is still trusted")
    t.equal(metrics.get("fadeward_link_frames_lost_total", link="weir", direction="inbound"), 0,
            "and nothing was lost")
    direction = daemon.links()["weir"]["inbound"]
    t.expect(-98 < direction["signal_dbm"] < -89, "the level is that of the good lines", direction)

    log = daemon.log().splitlines()
    complaints = [entry for entry in log if "not read" in entry]
    t.expect(1 <= len(complaints) <= 2, "one line in the log for all of them in a minute", complaints)
    t.equal(daemon.stop()[0], 0, "it ends with 0")


def check_lines_of_other_ends(t):
    t.section("line ends")
    tcp = t.tcp()
    daemon = t.daemon(config(f"tcp://127.0.0.1:{tcp.port}"))
    tcp.accept()
    plain = [good(seq).rstrip() for seq in range(1, 9)]
    tcp.write(plain[0] + b"\n" + plain[1] + b"\r\n" + plain[2] + b"\r" + plain[3] + b"\n\r" + plain[4] +
              b"\n\n\n" + plain[5] + b"\r\n\r\n" + plain[6] + b"\n")
    daemon.wait_metric(7, "fadeward_link_reports_total", link="weir")
    # One more byte than the longest, the longest itself padded with spaces, and one cut in two.
    padded = plain[7] + b" " * (LONGEST_LINE - len(plain[7]))
    tcp.write(b"y" * (LONGEST_LINE + 1) + b"\n" + padded + b"\n")
    daemon.wait_metric(8, "fadeward_link_reports_total", link="weir")
    metrics = daemon.metrics()
    t.equal(metrics.total("fadeward_reports_rejected_total"), 0, "LF, CR LF, CR and empty lines")
    t.equal(metrics.get("fadeward_port_discarded_bytes_total", port="p0", reason="too_long"),
            LONGEST_LINE + 1, "a line of 65,537 bytes is discarded, one of 65,536 is not")
    daemon.stop()


def check_one_name_on_two_ports(t):
    t.section("one name on two ports")
    first, second = t.tcp(), t.tcp()
    text = 'http: { listen: "127.0.0.1:0" }\n' + config(f"tcp://127.0.0.1:{first.port}",
                                                         f"tcp://127.0.0.1:{second.port}")
    path = t.write("two.yaml", text)
    daemon = t.daemon(path)
    first.accept()
    second.accept()
    for seq in range(1, 6):
        first.write(good(seq))
    daemon.wait_metric(5, "fadeward_link_reports_total", link="weir")
    for seq in range(1000, 1005):
        second.write(good(seq))
    daemon.wait_metric(5, "fadeward_reports_unmatched_total", port="p1")
    metrics = daemon.metrics()
    t.equal(metrics.get("fadeward_link_reports_total", link="weir"), 5, "the port heard first keeps the name")
    t.equal(metrics.get("fadeward_reports_unmatched_total", port="p0"), 0, "and has none unmatched")
    t.equal(metrics.get("fadeward_link_frames_lost_total", link="weir", direction="inbound"), 0,
            "and loses no frames by the other's numbers")
    t.equal(daemon.ports()["p1"]["last_unmatched"], "weir", "/links tells the name that found no link")

    daemon.send(harness.signal.SIGHUP)
    harness.wait_until(lambda: "configuration reloaded" in daemon.log(), "the configuration is read again")
    second.write(good(1005))
    daemon.wait_metric(6, "fadeward_reports_unmatched_total", port="p1", limit_s=5)
    first.write(good(6))
    daemon.wait_metric(6, "fadeward_link_reports_total", link="weir", limit_s=5)
    t.expect(True, "it keeps it over a reload, too")
    daemon.stop()

    t.section("the same name on two ports, told apart by the configuration")
    links = ("  - name: east\n    match: { port: p0, link: weir }\n" + RADIO +
             "  - name: west\n    match: { port: p1, link: weir }\n" + RADIO)
    first, second = t.tcp(), t.tcp()
    daemon = t.daemon(config(f"tcp://127.0.0.1:{first.port}", f"tcp://127.0.0.1:{second.port}", links=links))
    first.accept()
    second.accept()
    for seq in range(1, 4):
        first.write(good(seq))
        second.write(good(seq + 5000))
    second.write(good(5004))
    daemon.wait_metric(3, "fadeward_link_reports_total", link="east")
    daemon.wait_metric(4, "fadeward_link_reports_total", link="west")
    metrics = daemon.metrics()
    t.equal(metrics.total("fadeward_reports_unmatched_total"), 0, "each report reaches its own link")
    t.equal(metrics.total("fadeward_link_frames_lost_total"), 0, "and no frame is lost")
    daemon.stop()


def test(t):
    check_lines(t)
    check_lines_of_other_ends(t)
    check_one_name_on_two_ports(t)
    check_noise(t)


harness.run(test)
