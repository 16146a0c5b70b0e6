"""The history: what a recording leaves in it, what /history and export tell of it, and that nothing
but the open quarter hour is lost when the program is killed at any moment."""

import json
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import threading
import time

import harness

QUARTER_S = 900
APRIL = 1932768000  # 2031-04-01T00:00:00Z
FACTOR = 900        # a quarter hour of the program in a second

RADIO = ("defaults:\n"
         "  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
         "  budget: { inbound_signal_dbm: -100, outbound_signal_dbm: -100 }\n")


def month_files(directory):
    return sorted(name for name in os.listdir(directory) if re.fullmatch(r"history-\d{4}-\d\d\.sqlite", name))


def sound(directory):
    """SQLite's own verdict on every file, on a copy: looking must not repair anything."""
    verdicts = set()
    copy = directory + ".copy"
    shutil.copytree(directory, copy)
    for name in month_files(copy):
        with sqlite3.connect(os.path.join(copy, name)) as db:
            verdicts |= {row[0] for row in db.execute("PRAGMA integrity_check")}
        db.close()
    shutil.rmtree(copy)
    return verdicts


def samples(text, family, **labels):
    """[(time, value)] of one series of an export."""
    want = family + "{" + ",".join(f'{key}="{value}"' for key, value in labels.items()) + "} "
    out = []
    for line in text.splitlines():
        if line.startswith(want):
            value, at = line[len(want):].split(" ")
            out.append((float(at), float(value)))
    return out


def export(t, directory, *args):
    code, out, err = t.run("export", "--history", directory, *args)
    if code == 2 and "holds no link yet" in err:
        return ""   # killed before the first quarter hour was over
    if code != 0:
        raise harness.Failed(f"export: {code} {err}")
    return out.decode()


def recorded(t):
    t.section("a recording: replay --history, export")
    code, recording, err = t.run("simulate", "--scenario", "noise-bursts", "--seed", "7", "--days", "3")
    if code != 0:
        raise harness.Failed(f"simulate: {err}")
    lines = [json.loads(line) for line in recording.splitlines()]
    path = t.write("recording.jsonl", recording)
    config = t.write("recording.yaml", RADIO + "links:\n  - name: L1\n    upkeep: [ { from: 2031-04-02, "
                     "to: 2031-04-02T01:00:00Z, note: mast } ]\n")
    plain = t.run("replay", "--config", config, path)
    directory = t.path("recorded")
    kept = t.run("replay", "--config", config, "--history", directory, path)
    t.equal(kept[0], 0, "replay --history ends with 0")
    t.expect(kept[1] == plain[1], "its output is that of a replay without a history")

    text = export(t, directory)
    t.expect(text.endswith("# EOF\n"), "an export ends with # EOF")
    frames = samples(text, "fadeward_link_frames_total", link="L1", direction="inbound")
    t.equal(int(frames[-1][1]), len(lines), "every frame of the recording is in the history")
    # Medians of the recording itself, quarter hour by quarter hour: noise is reported as it is.
    noise = samples(text, "fadeward_link_noise_dbm", link="L1", direction="inbound")
    quarters = {}
    for line in lines:
        quarters.setdefault(int(line["time"] // QUARTER_S), []).append(line["noise_dbm"])
    far_off = [(at, value) for at, value in noise
               if abs(value - sorted(q := quarters[int(at // QUARTER_S) - 1])[len(q) // 2]) > 1]
    t.expect(len(noise) >= 3 * 96 - 1 and not far_off, "medians are those of the recording", far_off[:3])
    again = t.run("replay", "--config", config, "--history", directory, path)
    t.equal(again[0], 0, "the same recording again")
    t.expect(export(t, directory) == text, "changes nothing")
    part = export(t, directory, "--link", "L1", "--from", "2031-04-02", "--to", "2031-04-03")
    t.equal(len(samples(part, "fadeward_link_margin_db", link="L1", direction="outbound")), 96, "a day has 96 quarter hours")
    t.equal(t.run("export", "--history", directory, "--link", "nobody")[0], 2, "an unknown link is refused")
    t.equal(t.run("export", "--history", t.path("nowhere"))[0], 2, "a directory that is not there is refused")
    os.mkdir(t.path("bare"))
    code, out, err = t.run("export", "--history", t.path("bare"))
    t.expect(code == 2 and not out and "no link" in err, "so is one that holds no history", err)
    code, out, err = t.run("export", "--history", directory, "--from", "2031-04-03", "--to", "2031-04-02")
    t.expect(code == 2 and not out and "not before" in err, "from after to is refused", err)
    t.expect("\x1b" not in t.run("export", "--history", directory, "--link", "a\x1b[31mb")[2], "a name reaches no terminal as it is")

    promtool = t.need("promtool")
    blocks = t.path("blocks")
    made = subprocess.run([promtool, "tsdb", "create-blocks-from", "openmetrics", t.write("export.txt", text), blocks],
                          capture_output=True, check=False, timeout=60)
    t.equal(made.returncode, 0, f"promtool makes blocks of an export {made.stderr.decode()[-300:]}")
    os.makedirs(os.path.join(blocks, "wal"), exist_ok=True)   # the reader wants one
    dump = subprocess.run([promtool, "tsdb", "dump", blocks], capture_output=True, check=False, timeout=60).stdout.decode()
    margins = [line for line in dump.splitlines() if '"fadeward_link_margin_db"' in line and 'direction="inbound"' in line]
    told = samples(text, "fadeward_link_margin_db", link="L1", direction="inbound")
    found = sorted((float(line.rsplit(" ", 1)[1]) / 1000, float(line.rsplit(" ", 2)[1])) for line in margins)
    t.expect(found == sorted(told) and len(found) > 200, "and they hold what the export said", f"{len(found)} and {len(told)}")


def asked(t):
    t.section("/history beside the running daemon")
    radio = t.tcp()
    daemon = t.daemon(RADIO + f"history: {{ dir: {t.path('live')} }}\n"
                      f"ports: [ {{ name: p, source: 'tcp://127.0.0.1:{radio.port}' }} ]\n"
                      "links: [ { name: L1 }, { name: 'two words' } ]\n",
                      "--time-factor", FACTOR, "--time-start", "2031-04-01")
    radio.accept()
    for seq in range(60):
        radio.write(harness.report_line(link="L1", seq=seq, rssi_dbm=-90, snr_db=9, noise_dbm=-115))
        time.sleep(0.05)

    def series(query):
        return daemon.get("/history?" + query)

    def complete():
        answer = series("link=L1&quantity=frames&step=15m&from=2031-04-01&to=2031-04-02").json()
        return sum(value or 0 for _, value in answer["points"]) >= 40 and answer
    answer = harness.wait_until(complete, "quarter hours appear in /history")
    t.equal([answer["link"], answer["direction"], answer["unit"], answer["step_s"], len(answer["points"])],
            ["L1", "inbound", "frames", 900, 96], "a day of quarter hours")
    t.equal(answer["points"][0][0], APRIL, "begins where it was asked to")
    hour = series("link=L1&quantity=noise_dbm&step=1h&from=2031-04-01&to=2031-04-01T01:00:00Z").json()
    t.equal(hour["points"], [[APRIL, -115]], "noise of the hour as reported")
    silent = series("link=two+words&quantity=margin_db&from=1932768000&to=1932771600").json()
    t.equal([value for _, value in silent["points"]], [None] * 4, "nothing known is null")
    for query, word in [("link=L1&quantity=nothing", "margin_low_db"), ("link=nobody&quantity=frames", "two words"),
                        ("link=L1&quantity=frames&direction=up", "outbound"), ("link=L1&quantity=frames&steps=1", "step"),
                        ("link=L1&quantity=frames&step=15m&from=2030-01-01&to=2031-01-01", "more than 11000"),
                        ("link=L1&quantity=frames&from=tomorrow", "RFC 3339"), ("link=%zz&quantity=frames", "escape")]:
        refused = series(query)
        t.expect(refused.status == 400 and word in refused.text, f"400 for {query}", refused.text[:200])
    second = t.run("watch", "--config", daemon.command[3], limit_s=20)
    t.expect(second[0] == 1 and "another fadeward" in second[2], "a second daemon on one directory refuses", second[2][-300:])
    t.equal(daemon.stop()[0], 0, "ends with 0")
    t.equal([name for name in os.listdir(t.path("live")) if name.endswith("-wal")], [], "a clean end leaves no log behind")
    bare = t.daemon(RADIO + f"links: [ {{ name: L1 }} ]\nports: [ {{ name: p, source: 'udp://127.0.0.1:{harness.free_port()}' }} ]\n")
    t.equal(bare.get("/history?link=L1&quantity=frames").status, 404, "404 without a history")


class Talker(threading.Thread):
    """A radio that reports as long as somebody listens."""

    def __init__(self, radio):
        super().__init__(daemon=True)
        self.radio, self.over, self.seq = radio, False, 0

    def run(self):
        while not self.over:
            try:
                self.seq += 1
                self.radio.write(harness.report_line(link="L1", seq=self.seq, rssi_dbm=-90, snr_db=9, noise_dbm=-115))
                time.sleep(0.02)
            except OSError:
                return


def small_disk(t, size):
    """A directory on a file system of its own, or nothing where this user may not make one."""
    place = t.path("small")
    os.makedirs(place)
    made = os.geteuid() == 0 and subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "none", place],
                                                capture_output=True, check=False).returncode == 0
    return place if made else None


def full_disk(t):
    t.section("a file system that is full, and has room again")
    place = small_disk(t, "3m")
    if not place:
        print("skipped: needs root and mount")
        return
    try:
        fill_and_free(t, place)
    finally:
        subprocess.run(["umount", "-l", place], check=False)


def fill_and_free(t, place):
    radio = t.tcp()
    directory = os.path.join(place, "history")
    daemon = t.daemon(RADIO + f"history: {{ dir: {directory} }}\n"
                      f"ports: [ {{ name: p, source: 'tcp://127.0.0.1:{radio.port}' }} ]\nlinks: [ {{ name: L1 }} ]\n",
                      "--time-factor", FACTOR, "--time-start", "2031-04-01T00:00:00Z")
    radio.accept()
    talker = Talker(radio)
    talker.start()

    def kept():
        text = t.run("export", "--history", directory, "--from", "2031-04-01")[1].decode()
        return [at for at, _ in samples(text, "fadeward_link_frames_total", link="L1", direction="inbound")]

    harness.wait_until(lambda: len(kept()) >= 2, "quarter hours on the disk")
    filler = os.path.join(place, "filler")
    with open(filler, "wb", buffering=0) as file:
        try:
            for _ in range(1 << 20):
                file.write(bytes(4096))
        except OSError:
            pass   # full
    harness.wait_until(lambda: daemon.metrics().get("fadeward_history_write_errors_total") > 0, "a write fails and is counted")
    before = daemon.metrics()
    time.sleep(1.5)
    after = daemon.metrics()
    reports = [scrape.get("fadeward_link_reports_total", link="L1") for scrape in (before, after)]
    t.expect(reports[0] < reports[1], "reports are taken all the same", reports)
    t.equal(daemon.get("/-/healthy").status, 200, "healthy")
    t.expect("history cannot be written, judging goes on" in daemon.log(), "the log says what goes on", daemon.log()[-400:])
    t.expect(daemon.log().count("history cannot be written") == 1, "once")
    os.remove(filler)
    harness.wait_until(lambda: "history is written again" in daemon.log(), "written again", 40)
    talker.over = True
    t.equal(daemon.stop()[0], 0, "ends with 0")
    ends = kept()
    whole = list(range(int(ends[0]), int(ends[-1]) + 1, QUARTER_S))
    t.expect(ends == whole and len(ends) > 6, "nothing of the full time is missing", f"{len(ends)} of {len(whole)}")


def killed(t):
    rounds = 200 if t.long else 20
    seed = random.randrange(1 << 30) if t.long else 20310401
    chance = random.Random(seed)
    t.section(f"killed {rounds} times at random moments (seed {seed})")
    directory = t.path("killed")
    start, lost, unsound, aside = APRIL, [], set(), 0
    for _ in range(rounds):
        radio = t.tcp()
        daemon = t.daemon(RADIO + f"history: {{ dir: {directory} }}\n"
                          f"ports: [ {{ name: p, source: 'tcp://127.0.0.1:{radio.port}' }} ]\nlinks: [ {{ name: L1 }} ]\n",
                          "--time-factor", FACTOR, "--time-start",
                          time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(start)), serving=False)
        daemon.wait_serving()
        radio.accept()
        talker = Talker(radio)
        talker.start()
        time.sleep(chance.uniform(0.2, 4))
        known = daemon.metrics().get("fadeward_snapshot_timestamp_seconds")
        daemon.send(signal.SIGKILL)
        daemon.wait()
        talker.over = True
        talker.join(5)
        radio.close()
        unsound |= sound(directory) - {"ok"}
        aside += "set aside" in daemon.log()
        # The open one may be lost, and one that ended within the last half second of ours.
        must_end = known - 0.5 * FACTOR
        ends = [at for at, _ in samples(export(t, directory, "--from", time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(start))),
                                        "fadeward_link_frames_total", link="L1", direction="inbound")]
        first = (start // QUARTER_S + 2) * QUARTER_S   # the radio may have spoken late in the first
        lost += [end for end in range(int(first), int(must_end), QUARTER_S) if end not in ends]
        start = (int(known) // QUARTER_S + 3) * QUARTER_S
    t.expect(not lost, "no quarter hour is lost that was over", lost[:5])
    t.equal(unsound, set(), "SQLite's integrity check is clean every time")
    t.equal(aside, 0, "and no file was taken for damaged")


def test(t):
    recorded(t)
    asked(t)
    full_disk(t)
    killed(t)


if __name__ == "__main__":
    harness.run(test)
