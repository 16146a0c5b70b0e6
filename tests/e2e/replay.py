"""replay: the same input gives the same bytes, in whatever pieces and order it comes; what it cannot
use is counted; and what it says about an invented world is what that world was."""

import gzip
import json
import math
import random
import re

import harness

HOUR_S = 3600
SEED = 20310401


def config(names, more=""):
    return ("defaults:\n"
            "  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
            "  budget: { inbound_signal_dbm: -98, outbound_signal_dbm: -98 }\n"
            "links:\n" + "".join(f"  - name: {name}\n    expect: 10s\n" for name in names) + more)


def simulate(t, scenario, *args, truth=False):
    """(lines of the recording, lines of the truth as objects)."""
    path = t.path(t.new_name("truth"))
    code, out, err = t.run("simulate", "--scenario", scenario, *args, *(["--truth", path] if truth else []))
    if code != 0:
        raise harness.Failed(f"simulate {scenario}: {code} {err}")
    told = []
    if truth:
        with open(path, encoding="utf-8") as file:
            told = [json.loads(line) for line in file]
    return out.splitlines(keepends=True), told


class Replayed:
    def __init__(self, code, out, err):
        self.code, self.out, self.err = code, out, err
        self.lines = [json.loads(line) for line in out.splitlines()]
        self.snapshots = [line for line in self.lines if line["kind"] == "snapshot"]
        self.events = [line for line in out.splitlines() if b'"kind":"event"' in line]
        self.gaps = [line for line in self.lines if line["kind"] == "gap"]

    @property
    def summary(self):
        return self.err.strip().splitlines()[-1] if self.err.strip() else ""


def replay(t, config_path, *inputs, snapshots=None, stdin=None):
    more = ["--snapshots", snapshots] if snapshots else []
    done = Replayed(*t.run("replay", "--config", config_path, *more, *inputs, stdin=stdin))
    if done.code != 0:
        t.expect(False, f"replay {inputs} ends with 0", f"{done.code} {done.err}")
    return done


def in_order(lines):
    return sorted(lines, key=lambda line: json.loads(line)["time"])


def check_pieces(t, path, recording, reference):
    t.section("the same input in other pieces")
    whole = b"".join(recording)
    plain = t.write("whole.jsonl", whole)
    packed = t.write("whole.jsonl.gz", gzip.compress(whole))
    misnamed = t.write("whole.data", gzip.compress(whole, 1))
    members = t.write("members.gz", b"".join(gzip.compress(b"".join(recording[i:i + 5000]))
                                             for i in range(0, len(recording), 5000)))
    crlf = t.write("crlf.jsonl", whole.replace(b"\n", b"\r\n"))
    for title, inputs, stdin in [
            ("a second time", [plain], None), ("gzip", [packed], None), ("gzip by its content, not its name", [misnamed], None),
            ("gzip in several members", [members], None), ("from standard input", ["-"], whole),
            ("gzip from standard input", ["-"], gzip.compress(whole)), ("with CR LF", [crlf], None),
            ("without the last line end", [t.write("unended.jsonl", whole.rstrip(b"\n"))], None),
            ("with empty lines", [t.write("empty.jsonl", whole.replace(b"\n", b"\n\n"))], None)]:
        t.expect(replay(t, path, *inputs, stdin=stdin).out == reference.out, f"{title}: the same bytes")

    by_link = {}
    for line in recording:
        by_link.setdefault(json.loads(line)["link"], []).append(line)
    files = [t.write(f"only-{name}.jsonl", b"".join(lines)) for name, lines in sorted(by_link.items())]
    t.expect(replay(t, path, *files).out == reference.out, f"one file per link, {len(files)} merged: the same bytes")
    dealt = [t.write(f"dealt{i}.jsonl.gz", gzip.compress(b"".join(recording[i::3]))) for i in range(3)]
    t.expect(replay(t, path, *reversed(dealt)).out == reference.out, "dealt to three gzip files: the same bytes")
    halves = [t.write("late.jsonl", b"".join(recording[len(recording) // 2:])),
              t.write("early.jsonl", b"".join(recording[:len(recording) // 2]))]
    t.expect(replay(t, path, *halves).out == reference.out, "two halves, the later one first: the same bytes")
    t.expect(replay(t, path, files[0], "-", *files[2:], stdin=b"".join(by_link[sorted(by_link)[1]])).out == reference.out,
             "one of them from standard input: the same bytes")
    written = t.path("written.jsonl")
    code, out, _ = t.run("replay", "--config", path, "--output", written, plain)
    with open(written, "rb") as file:
        t.expect(code == 0 and out == b"" and file.read() == reference.out, "--output FILE: the same bytes")


def check_disorder(t, path, recording, reference):
    t.section("disorder")
    chance = random.Random(SEED)
    ordered = in_order(recording)
    shuffled = sorted(ordered, key=lambda line: json.loads(line)["time"] + chance.uniform(0, 59.9))
    moved = sum(1 for a, b in zip(ordered, shuffled) if a != b)
    t.expect(moved > len(ordered) / 2, f"{moved} of {len(ordered)} reports out of place (seed {SEED})")
    found = replay(t, path, t.write("shuffled.jsonl", b"".join(shuffled)))
    t.expect(found.out == reference.out, "up to 60 s of it is put right: the same bytes")
    t.expect(" 0 rejected" in found.summary, "none is rejected", found.summary)

    # One report two minutes late cannot be put in its place any more.
    at = len(ordered) // 2
    when = json.loads(ordered[at])["time"]
    later = next(i for i in range(at, len(ordered)) if json.loads(ordered[i])["time"] > when + 120)
    late = ordered[:at] + ordered[at + 1:later] + [ordered[at]] + ordered[later:]
    found = replay(t, path, t.write("late.jsonl", b"".join(late)))
    t.expect(re.search(r"\b1 rejected \(1 more than 60 s late\)", found.summary), "more than that is rejected and counted",
             found.summary)


def check_rejected(t, path, recording, reference):
    t.section("reports that cannot be used")
    link = json.loads(recording[0])["link"]
    untimed = [harness.report_line(link=link, seq=n, rssi_dbm=-150) for n in range(7)]
    bad = [b"no report at all\n", b'{"time":1,"link":\n', b'{"time":1932770000,"link":"%s"}\n' % link.encode(),
           b'{"time":1932770000,"link":"atlantis","rssi_dbm":-90}\n', b'{"time":1932770000,"rssi_dbm":NaN}\n',
           b'{"time":"yesterday","link":"%s","rssi_dbm":-90}\n' % link.encode(), b"x" * 70000 + b"\n"]
    chance = random.Random(SEED)
    mixed = list(recording)
    for line in untimed + bad:
        mixed.insert(chance.randrange(len(mixed)), line)
    found = replay(t, path, t.write("mixed.jsonl", b"".join(mixed)))
    t.expect(found.out == reference.out, "mixed into a good recording they change nothing: the same bytes")
    summary = found.summary
    t.expect("8 without time" in summary, "the ones without a time are counted", summary)
    t.expect(re.search(r"\b3 not readable", summary), "the ones that cannot be read", summary)
    t.expect("1 saying nothing" in summary, "the one that says nothing about its link", summary)
    t.expect("1 too long" in summary, "the one that is too long", summary)
    t.expect("1 of links that are not configured" in summary and "atlantis" in summary,
             "the one of an unknown link, by name", summary)
    t.expect(f"{len(recording)} reports taken" in summary and "13 rejected" in summary, "and all in all", summary)

    packed = gzip.compress(b"".join(recording))
    code, out, err = t.run("replay", "--config", path, t.write("cut.gz", packed[:len(packed) // 2]))
    t.expect(code == 1 and out and "cut short" in err, "a gzip file that is cut short: what is there, and exit code 1",
             f"{code} {err}")
    damaged = bytearray(packed)
    damaged[len(damaged) // 2:len(damaged) // 2 + 40] = bytes(40)
    code, _, err = t.run("replay", "--config", path, t.write("damaged.gz", bytes(damaged)))
    t.expect(code == 1 and "damaged.gz" in err, "a damaged one: exit code 1, by name", f"{code} {err}")
    for title, content in (("empty", b""), ("only rubbish", b"rubbish\n" * 10), ("without any time", b"".join(untimed))):
        found = replay(t, path, t.write("none.jsonl", content))
        t.expect(found.out == b"", f"{title}: nothing printed", found.out[:200])


def check_snapshots(t, path, names, recording, reference):
    t.section("snapshots")
    times = [json.loads(line)["time"] for line in recording]
    first, last = math.ceil(min(times) / HOUR_S) * HOUR_S, math.floor(max(times) / HOUR_S) * HOUR_S
    wanted = [(time, name, direction) for time in range(first, last + 1, HOUR_S) for name in names
              for direction in ("inbound", "outbound")]
    found = [(s["time"], s["link"], s["direction"]) for s in reference.snapshots]
    t.equal(found == wanted, True, f"{len(wanted)}: each hour from the first report to the last, each link, each direction")
    stamps = [line["time"] for line in reference.lines if line["kind"] != "gap"]
    t.expect(stamps == sorted(stamps), "in order of time, events among them")
    never = [s for s in reference.snapshots if s["link"] == names[-1]]
    nulls = {key for s in never for key, value in s.items() if value is None}
    t.expect(nulls >= {"signal_dbm", "noise_dbm", "noise_source", "margin_db", "margin_stderr_db", "margin_low_db",
                       "loss_ratio", "loss_source", "trend_db_per_day", "deficit_db"} and
             all(s["interval"]["signal_median_dbm"] is None and s["interval"]["reports"] == 0 for s in never),
             "a link never heard: all of them null", never[:1])
    heard = [s for s in reference.snapshots if s["link"] != names[-1]]
    t.expect(all(s["margin_db"] is not None for s in heard[len(names) * 2:]), "the others have a margin")
    t.expect(not any(value == "none" for s in heard for key, value in s.items() if key != "cause"),
             "and no source is called none instead of null")
    per_link = {}
    for line in recording:
        report = json.loads(line)
        if report["time"] <= last:
            per_link[report["link"]] = per_link.get(report["link"], 0) + ("rssi_dbm" in report)
    for name, count in per_link.items():
        told = sum(s["interval"]["reports"] for s in reference.snapshots
                   if s["link"] == name and s["direction"] == "inbound")
        t.expect(abs(told - count) <= 1, f"{name}: the intervals add up to its {count} reports", told)

    for span, seconds in (("5m", 300), ("1d", 86400), ("7m", 420)):
        other = replay(t, path, t.path("whole.jsonl"), snapshots=span)
        t.expect(other.events == reference.events, f"--snapshots {span}: the same {len(other.events)} events")
        stamps = {s["time"] for s in other.snapshots}
        t.expect(all(stamp % seconds == 0 for stamp in stamps) and
                 len(stamps) == math.floor(max(times) / seconds) - math.ceil(min(times) / seconds) + 1,
                 f"at each multiple of {seconds} s", sorted(stamps)[:5])
        here = {(s["time"], s["link"], s["direction"]): s for s in other.snapshots}
        same = [key for s in reference.snapshots
                if (key := (s["time"], s["link"], s["direction"])) in here and
                {k: v for k, v in here[key].items() if k != "interval"} != {k: v for k, v in s.items() if k != "interval"}]
        t.equal(same[:3], [], "where both have one they agree, but for what is counted between")
    kinds = {json.loads(event)["event"] for event in reference.events}
    t.expect({"raised", "cleared"} <= kinds, f"the world had events worth it: {len(reference.events)}", kinds)


def check_gap(t, path, names):
    t.section("silence of everything")
    minute = [harness.report_line(time=1932768000 + n * 10, link=names[0], seq=n, rssi_dbm=-95, snr_db=8)
              for n in range(720)]
    start = 1932768000 + 720 * 10
    for days, gap in ((6.9, False), (7.1, True), (400, True)):
        again = start + days * 86400
        more = [harness.report_line(time=again + n * 10, link=names[0], seq=720 + n, rssi_dbm=-95, snr_db=8)
                for n in range(720)]
        found = replay(t, path, t.write("gap.jsonl", b"".join(minute + more)))
        between = {s["time"] for s in found.snapshots if start + HOUR_S < s["time"] < again}
        if gap:
            t.equal([(g["from"], g["to"]) for g in found.gaps], [(start - 10, again)], f"{days} days: one gap line")
            t.equal(between, set(), "and no snapshots between")
        else:
            t.equal(found.gaps, [], f"{days} days: none")
            t.expect(len(between) >= 24 * days - 3, "but snapshots all along", len(between))
        silent = [json.loads(event) for event in found.events if b"LinkSilent" in event]
        mine = [e["event"] for e in silent if e["link"] == names[0]]
        t.equal(mine, ["raised", "cleared"], "the link is silent, and then no more")
        after = [s for s in found.snapshots if s["link"] == names[0] and s["time"] >= again + HOUR_S]
        t.expect(after and after[0]["margin_db"] is not None, "judged as before afterwards", after[:1])


class Compared:
    """Replay of an invented world beside its truth, hour by hour."""

    def __init__(self, t, *args):
        self.recording, truth = simulate(t, *args, truth=True)
        self.names = sorted({json.loads(line)["link"] for line in self.recording})
        self.replayed = replay(t, t.write("world.yaml", config(self.names)), "-", stdin=b"".join(self.recording))
        known = {(h["time"], h["link"], h["direction"]): h for h in truth if h["kind"] == "truth"}
        self.hours = []
        for s in self.replayed.snapshots:
            hour = known.get((s["time"], s["link"], s["direction"]))
            if hour and hour["frames"] >= 300 and s["margin_db"] is not None:
                self.hours.append((s, hour))

    def worst(self, key):
        """The largest difference."""
        return max((abs(s[key] - hour[key]) for s, hour in self.hours), default=math.inf)

    def worst_loss(self):
        """The largest difference in lost frames, over what nobody can know: frames lost just before
        the hour are noticed only by the first number heard after it."""
        unnoticed = {}
        last = {}
        for report in map(json.loads, self.recording):
            before = last.get(report["link"])
            last[report["link"]] = report
            hour = math.floor(report["time"] / HOUR_S) * HOUR_S
            if before and before["time"] < hour:
                unnoticed[hour, report["link"]] = report["seq"] - before["seq"] - 1
        return max(abs((s["loss_ratio"] or 0) - hour["loss_ratio"]) * hour["frames"] -
                   (unnoticed.get((s["time"], s["link"]), 0) if s["direction"] == "inbound" else 0)
                   for s, hour in self.hours)

    def covered(self):
        """Shares of the hours whose margin lies within two of its standard errors."""
        return [abs(s["margin_db"] - hour["margin_db"]) <= 2 * s["margin_stderr_db"] for s, hour in self.hours]


def check_truth(t, scenario, seed, days):
    world = Compared(t, scenario, "--seed", seed, "--days", days, "--links", 3)
    t.expect(len(world.hours) >= (24 * days - 1) * 2 * len(world.names),
             f"{scenario}, seed {seed}: {len(world.hours)} hours compared with the truth", len(world.hours))
    # 0.6 dB is three standard errors: among thousands of hours a few lie beyond it.
    for key in ("margin_db", "signal_dbm", "noise_dbm"):
        worst, beyond = world.worst(key), sum(abs(s[key] - hour[key]) > 0.6 for s, hour in world.hours)
        t.expect(worst <= 0.6 or len(world.hours) > 400 and beyond <= 1 and worst <= 0.8,
                 f"{key} within {worst:.2f} dB of it, every hour, both directions", f"{worst:.2f}, {beyond} beyond 0.6")
    worst = world.worst_loss()
    t.expect(worst <= 1.01, f"loss within {worst:.1f} frames of what can be known", worst)
    check_loss(t, world.recording, world.replayed, world.names)


def check_honesty(t):
    """The truth lies within two standard errors 95 times in 100, also where a tenth to a half of the
    frames is lost."""
    t.section("standard errors")
    covered = []
    for signal_dbm in (-105, -112, -115, -118, -121):
        for seed in range(1, 5):
            world = Compared(t, "healthy", "--seed", seed, "--days", 1, "--signal", signal_dbm)
            covered += world.covered()
    share = sum(covered) / len(covered)
    t.expect(share >= 0.95, f"in {100 * share:.1f} % of {len(covered)} hours", share)


def check_loss(t, recording, found, names):
    """Counted from the numbers in the recording alone."""
    last = max(s["time"] for s in found.snapshots)
    for name in names:
        reports = [r for r in map(json.loads, recording) if r["link"] == name and r["time"] <= last]
        numbers = [r["seq"] for r in reports if "seq" in r]
        lost = sum(b - a - 1 for a, b in zip(numbers, numbers[1:]) if b > a)
        told = sum(s["interval"]["lost"] for s in found.snapshots if s["link"] == name and s["direction"] == "inbound")
        t.equal(told, lost, f"{name}: {lost} frames lost on the way to us, counted exactly")


def check_events(t):
    """A fault of known time and size is in the events of the world that has it, and not in the healthy one."""
    t.section("a fault and its events")
    args = ["--seed", 5, "--days", 2, "--onset-days", 1, "--no-rain"]
    recording, truth = simulate(t, "near-noise", *args, "--size", 14, truth=True)
    change = next(line for line in truth if line["kind"] == "change")
    names = sorted({json.loads(line)["link"] for line in recording})
    path = t.write("noise.yaml", config(names))
    events = [json.loads(event) for event in replay(t, path, "-", stdin=b"".join(recording)).events]
    alarms = [e for e in events if e["severity"] != "info"]
    raised = [e for e in alarms if e["event"] == "raised" and e["alert"] == "MarginLow"]
    t.expect([e["direction"] for e in raised] == ["inbound"] and raised[0]["cause"] == "near-noise",
             "14 dB of noise at the near end: MarginLow inbound, cause near-noise", raised)
    if raised:
        t.expect(change["time"] < raised[0]["time"] < change["time"] + 2 * HOUR_S,
                 f"{(raised[0]['time'] - change['time']) / 60:.0f} minutes after it began", raised[0])
    t.equal([e for e in alarms if e["time"] < change["time"]], [], "and no alarm before it")
    healthy, _ = simulate(t, "healthy", *args[:4], "--no-rain")
    calm = [json.loads(event) for event in replay(t, path, "-", stdin=b"".join(healthy)).events]
    t.equal([e for e in calm if e["severity"] != "info"], [], "no alarm in a healthy world")


def check_rules(t):
    """2.5 % of the time on three of eight channels, where 1 % and all eight are the rule."""
    t.section("the rules of the band")
    path = t.write("rules.yaml", "links:\n  - name: L1\n    radio: { spreading_factor: 7, bandwidth_hz: 125000 }\n"
                   "    budget: { frequency_mhz: 868.1 }\n    rules: { set: eu-863-870, channels: 8 }\n")
    lines = "".join(json.dumps({"time": 1932768000 + 10 * i, "link": "L1", "seq": i, "rssi_dbm": -90, "snr_db": 9,
                                "channel": i * 7 % 3, "airtime_s": 0.25 if i < 1000 else 0.05}) + "\n" for i in range(2200))
    out, events = t.run("replay", "--config", path, t.write("rules.jsonl", lines))[1], {}
    for line in map(json.loads, out.splitlines()):
        if line["kind"] == "event":
            events.setdefault((line["alert"], line["direction"]), []).append((line["event"], line["time"], line["text"]))
    duty, hops = events.get(("DutyExceeded", "inbound"), []), events.get(("HopUneven", None), [])
    t.equal([what for what, _, _ in duty], ["raised", "cleared"], "DutyExceeded comes and goes")
    t.expect(1440 <= duty[0][1] - 1932768000 <= 1560, "once 36 s of an hour are used up", duty[0])   # 144 frames of 0.25 s
    t.expect("ERC/REC 70-03" in duty[0][2] and "regulator" in duty[0][2], "with rule and caution", duty[0][2])
    t.expect(len(hops) == 1 and "Of 8 hop channels 3" in hops[0][2], "HopUneven says how many are used", hops)
    t.expect(("DwellExceeded", None) not in events, "no dwell without a limit")

    # 47 CFR 15.247(a)(1)(i): at most 0.4 s on a channel in any 20 s. Frames of 0.15 s that hop, and in
    # the middle four of them on one channel, 5 s apart: 0.6 s.
    path = t.write("dwell.yaml", "links:\n  - name: L1\n    radio: { bandwidth_hz: 125000 }\n"
                   "    budget: { frequency_mhz: 915 }\n    rules: { set: us-15.247-hopping, channels: 50, dwell_s: 0.4 }\n")
    lines = "".join(json.dumps({"time": 1932768000 + 5 * i, "link": "L1", "seq": i, "rssi_dbm": -90, "snr_db": 9,
                                "channel": 7 if 400 <= i < 404 else i * 7 % 50, "airtime_s": 0.15}) + "\n" for i in range(800))
    found = [line for line in map(json.loads, t.run("replay", "--config", path, t.write("dwell.jsonl", lines))[1].splitlines())
             if line.get("alert") == "DwellExceeded"]
    t.expect(found and found[0]["event"] == "raised" and 2000 < found[0]["time"] - 1932768000 < 2200,
             "DwellExceeded when one channel is kept", found)
    t.expect(found and "15.247(a)(1)(i)" in found[0]["text"] and "0.4 s" in found[0]["text"], "with its paragraph", found)


def test(t):
    recording, _ = simulate(t, "tarn-valley", "--seed", 11, "--days", 7 if t.long else 1.5)
    names = sorted({json.loads(line)["link"] for line in recording}) + ["unheard"]
    path = t.write("valley.yaml", config(names))
    reference = replay(t, path, t.write("whole.jsonl", b"".join(recording)))
    again, _ = simulate(t, "tarn-valley", "--seed", 11, "--days", 7 if t.long else 1.5)
    t.expect(again == recording, "simulate: the same seed, the same bytes")
    other, _ = simulate(t, "tarn-valley", "--seed", 12, "--days", 0.1)
    t.expect(other[:50] != recording[:50], "another seed, other bytes")
    check_pieces(t, path, recording, reference)
    check_disorder(t, path, recording, reference)
    check_rejected(t, path, recording, reference)
    check_snapshots(t, path, names, recording, reference)
    check_gap(t, path, names)
    t.section("an invented world and its truth")
    for scenario, seeds in (("healthy", 12 if t.long else 1), ("collisions", 6 if t.long else 1)):
        for seed in range(1, seeds + 1):
            check_truth(t, scenario, seed, 3 if t.long else 1)
    if t.long:
        check_honesty(t)
    check_rules(t)
    check_events(t)


harness.run(test)
