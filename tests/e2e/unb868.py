#!/usr/bin/python3
"""Recordings with a known transmit gain through `replay`.

    unb868.py FADEWARD DIRECTORY

1. With the attenuator the received level must follow the gain: medians per 5 dB of gain equal an
   independent computation within 0.3 dB, and their slope is the one of the data.
2. Without it the level is nonsense (several modes over 70 dB) and the SNR stands at its ceiling:
   nothing may be rejected, and no margin may be made of that SNR.
"""
import csv
import gzip
import json
import os
import statistics
import subprocess
import sys
import tempfile

PROGRAM, DIRECTORY = sys.argv[1], sys.argv[2]
RADIO = "{ bandwidth_hz: 100, noise_figure_db: 6, required_snr_db: 7 }"


def check(condition, what):
    print(("ok      " if condition else "FAILED  ") + what)
    if not condition:
        sys.exit(1)


def read(name):
    with gzip.open(os.path.join(DIRECTORY, name), "rt") as file:
        return list(csv.DictReader(file))


def replay(work, reports, links, span):
    config, recording = os.path.join(work, "c.yaml"), os.path.join(work, "r.jsonl")
    with open(config, "w") as file:
        file.write("links:\n" + "".join(f"  - {{ name: {name}, radio: {RADIO} }}\n" for name in links))
    with open(recording, "w") as file:
        file.writelines(json.dumps(r) + "\n" for r in reports)
    ran = subprocess.run([PROGRAM, "replay", "--config", config, "--snapshots", span, recording],
                         capture_output=True, text=True, timeout=120)
    check(ran.returncode == 0 and " 0 rejected" in ran.stderr and "left out" not in ran.stderr, "all taken: " + ran.stderr.split("replay: ")[-1].strip())
    return [json.loads(line) for line in ran.stdout.splitlines()]


def report(row, link):
    return {"time": int(row["time"]), "link": link, "seq": int(row["seq"]), "rssi_dbm": float(row["rssi_dbm"]),
            "snr_db": float(row["snr_db"])}


def slope(points):
    x, y = zip(*points)
    mx, my = statistics.mean(x), statistics.mean(y)
    return sum((a - mx) * (b - my) for a, b in points) / sum((a - mx) ** 2 for a in x)


def level_follows_gain(work):
    rows = [r for r in read("random_gain_attenuated.csv.gz") if r["seq"]]
    group = lambda r: int(-float(r["gain_db"]) // 5)   # 0: 0 to -5 dB ...
    links = [f"g{i}" for i in range(6)]
    reports = [report(r, f"g{min(group(r), 5)}") for r in rows]
    end = max(r["time"] for r in reports)
    span = next(s for s in range(86400 * 30, 600, -60) if end // s * s > min(r["time"] for r in reports) + 0.9 * (end - reports[0]["time"]))
    boundary = end // span * span
    lines = replay(work, reports, links, f"{span}s")
    got = {s["link"]: s["interval"] for s in lines if s["kind"] == "snapshot" and s["direction"] == "inbound" and s["time"] == boundary}
    points, want_points = [], []
    for i, link in enumerate(links):
        mine = [(float(r["gain_db"]), float(r["rssi_dbm"])) for r in rows if min(group(r), 5) == i and int(r["time"]) < boundary]
        want = statistics.median(level for _, level in mine)
        gain = statistics.median(g for g, _ in mine)
        have = got[link]["signal_median_dbm"]
        # The level reported is total power; near -134 dBm the noise in it (about -148 dBm) is little.
        print(f"        gain {gain:6.2f} dB  frames {len(mine):4d}/{got[link]['reports']:4d}  median level {want:8.2f} dBm, replay {have:8.2f} dBm")
        check(got[link]["reports"] == len(mine), f"{link}: every frame counted")
        check(abs(have - want) <= 0.3, f"{link}: median within 0.3 dB")
        points.append((gain, have))
        want_points.append((gain, want))
    check(abs(slope(points) - slope(want_points)) < 0.02 and 0.9 < slope(points) < 1.05,
          f"the level follows the gain: {slope(points):.3f} dB per dB (data {slope(want_points):.3f})")


def nonsense_makes_no_margin(work):
    rows = [r for r in read("random_gain.csv.gz") if r["seq"]]
    ceiling = statistics.median(float(r["snr_db"]) for r in rows)
    lines = replay(work, [report(r, "L1") for r in rows], ["L1"], "10m")
    snapshots = [s for s in lines if s["kind"] == "snapshot" and s["direction"] == "inbound"]
    told = [s for s in snapshots if s["margin_db"] is not None]
    check(len(told) > 5, f"{len(told)} snapshots hold a margin")
    check(all(s["noise_source"] == "assumed" for s in told), "none calls its noise measured")
    check(all(abs(s["margin_db"] - (ceiling - 7)) > 5 for s in told), "none is the ceiling of the SNR less what is needed")
    check(all(s["margin_db"] - s["margin_low_db"] > 20 for s in told), "the low margin shows how wide the levels scatter")
    restarts = [e for e in lines if e["kind"] == "event" and e["alert"] == "RadioRestarted"]
    check(not restarts, "no restart is invented")


with tempfile.TemporaryDirectory(prefix="fadeward-unb.") as work:
    level_follows_gain(work)
    nonsense_makes_no_margin(work)
print("unb868: passed")
