#!/usr/bin/python3
"""A real recording through `replay` and through a pseudo-terminal into `watch`.

    mountain868.py FADEWARD RECORDING.csv.gz

Eleven receivers of one sender, losses known exactly from the frame counter. Per receiver the losses
must equal the count from the file, the median signal and noise an independent computation within
0.3 dB, and nothing may be discarded. Prints the table.
"""
import csv
import gzip
import json
import math
import os
import pty
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import tty
import urllib.request

PROGRAM, RECORDING = sys.argv[1], sys.argv[2]
TOLERANCE_DB = 0.3


def read_rows():
    with gzip.open(RECORDING, "rt") as file:
        return [{"t": int(r["t_ms"]) / 1000, "seq": int(r["fcnt"]), "gw": r["gw"], "freq": int(r["freq_hz"]),
                 "rssi": float(r["rssi_dbm"]), "snr": float(r["snr_db"])} for r in csv.DictReader(file)]


def report(row, timed):
    out = {"link": row["gw"], "seq": row["seq"], "rssi_dbm": row["rssi"], "snr_db": row["snr"],
           "frequency_hz": row["freq"]}
    if timed:
        out["time"] = row["t"]
    return json.dumps(out) + "\n"


def signal_dbm(row):   # total power less the noise in it
    return row["rssi"] - 10 * math.log10(1 + 10 ** (-row["snr"] / 10))


def noise_dbm(row):
    return row["rssi"] - 10 * math.log10(1 + 10 ** (row["snr"] / 10))


def truth(rows):
    """Per receiver: frames heard, lost between its first and last, medians; one row per frame."""
    out = {}
    for gw in sorted({r["gw"] for r in rows}):
        first_rows = {}
        for r in rows:
            if r["gw"] == gw:
                first_rows.setdefault(r["seq"], r)
        heard = list(first_rows.values())
        numbers = [r["seq"] for r in heard]
        out[gw] = {"heard": len(heard), "lost": max(numbers) - min(numbers) + 1 - len(heard),
                   "signal": statistics.median(map(signal_dbm, heard)),
                   "noise": statistics.median(map(noise_dbm, heard))}
    return out


def configuration(links, port=""):
    text = "defaults:\n  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
    text += port + "links:\n"
    for gw in links:
        text += f'  - name: "{gw}"\n'
    return text


def check(condition, what):
    if not condition:
        raise SystemExit(f"FAILED: {what}")


def by_replay(rows, work):
    links = sorted({r["gw"] for r in rows})
    config, recording = os.path.join(work, "replay.yaml"), os.path.join(work, "reports.jsonl")
    with open(config, "w") as file:
        file.write(configuration(links))
    with open(recording, "w") as file:
        file.writelines(report(r, True) for r in rows)
    # One snapshot that covers nearly all: the last multiple of the span inside the recording.
    first, last = rows[0]["t"], rows[-1]["t"]
    span = next(s for s in range(86400 * 365, 3600, -3600) if last // s * s > first and last // s * s - first > 0.8 * (last - first))
    boundary = last // span * span
    ran = subprocess.run([PROGRAM, "replay", "--config", config, "--snapshots", f"{span}s", recording],
                         capture_output=True, text=True, timeout=300)
    check(ran.returncode == 0, ran.stderr)
    check(" 0 rejected" in ran.stderr and "left out" not in ran.stderr and "not configured" not in ran.stderr, ran.stderr)
    expected = truth([r for r in rows if r["t"] < boundary])
    print(f"replay, first {(boundary - first) / 86400:.1f} days:  heard lost(file) lost(replay) loss | median signal file/replay | median noise file/replay")
    seen = {}
    for line in ran.stdout.splitlines():
        snapshot = json.loads(line)
        if snapshot["kind"] == "snapshot" and snapshot["direction"] == "inbound" and snapshot["time"] == boundary:
            seen[snapshot["link"]] = snapshot["interval"]
    for gw, want in expected.items():
        got = seen[gw]
        print(f"  {gw} {want['heard']:6d} {want['lost']:6d} {got['lost']:6d} {want['lost'] / (want['lost'] + want['heard']):.4f} | "
              f"{want['signal']:8.2f} {got['signal_median_dbm']:8.2f} | {want['noise']:8.2f} {got['noise_median_dbm']:8.2f}")
        check(got["reports"] == want["heard"], f"{gw}: reports {got['reports']}, file {want['heard']}")
        check(got["lost"] == want["lost"], f"{gw}: lost {got['lost']}, file {want['lost']}")
        check(abs(got["signal_median_dbm"] - want["signal"]) <= TOLERANCE_DB, f"{gw}: signal")
        check(abs(got["noise_median_dbm"] - want["noise"]) <= TOLERANCE_DB, f"{gw}: noise")


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def get(port, path):
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=5) as answer:
        return answer.read().decode()


def by_pty(rows, work, name, medians):
    """Plays the rows into watch as fast as it reads; times are those of arrival."""
    links = sorted({r["gw"] for r in rows})
    radio, far = pty.openpty()
    tty.setraw(radio)
    tty.setraw(far)
    device, http = os.path.join(work, "radio-" + name), free_port()
    os.symlink(os.ttyname(far), device)
    config = os.path.join(work, name + ".yaml")
    with open(config, "w") as file:
        file.write(f'http: {{ listen: "127.0.0.1:{http}" }}\n' + configuration(links, "ports:\n"
                   f"  - {{ name: mast, source: \"serial:{device}\", serial: {{ baud: 115200 }}, framing: lines, decoder: json }}\n"))
    daemon = subprocess.Popen([PROGRAM, "watch", "--config", config], stderr=open(os.path.join(work, name + ".log"), "w"))
    try:
        deadline = time.monotonic() + 20
        while time.monotonic() < deadline:
            try:
                if 'fadeward_port_up{port="mast"} 1' in get(http, "/metrics"):
                    break
            except OSError:
                pass
            time.sleep(0.05)
        else:
            raise SystemExit("FAILED: the daemon did not open the port")
        text = "".join(report(r, False) for r in rows).encode()
        for at in range(0, len(text), 4096):
            piece = text[at:at + 4096]
            while piece:
                piece = piece[os.write(radio, piece):]
        want_reports = len(rows)
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline:
            state = json.loads(get(http, "/links"))
            if sum(link["reports_total"] for link in state["links"]) >= want_reports:
                break
            time.sleep(0.2)
        metrics = get(http, "/metrics")
    finally:
        daemon.send_signal(signal.SIGTERM)
        daemon.wait(10)
    expected = truth(rows)
    print(f"watch, {len(rows)} lines through a pseudo-terminal ({name}):  lost(file) lost(watch) loss(file) loss(watch)" + (" | signal | noise" if medians else ""))
    for link in state["links"]:
        gw, want = link["link"], expected[link["link"]]
        inbound = link["directions"]["inbound"] if "directions" in link else link["inbound"]
        ratio = want["lost"] / (want["lost"] + want["heard"])
        line = f"  {gw} {want['lost']:6d} {inbound['frames_lost_total']:6d} {ratio:.5f} {inbound['loss_ratio']:.5f}"
        if medians:
            line += f" | {want['signal']:8.2f} {inbound['signal_dbm']:8.2f} | {want['noise']:8.2f} {inbound['noise_dbm']:8.2f}"
        print(line)
        check(inbound["frames_lost_total"] == want["lost"], f"{gw}: lost")
        check(abs(inbound["loss_ratio"] - ratio) < 1e-5, f"{gw}: loss ratio {inbound['loss_ratio']}, file {ratio}")
        if medians:
            check(abs(inbound["signal_dbm"] - want["signal"]) <= TOLERANCE_DB, f"{gw}: signal")
            check(abs(inbound["noise_dbm"] - want["noise"]) <= TOLERANCE_DB, f"{gw}: noise")
    for line in metrics.splitlines():
        for family in ("fadeward_port_discarded_bytes_total", "fadeward_reports_rejected_total",
                       "fadeward_reports_unmatched_total", "fadeward_report_values_discarded_total"):
            if line.startswith(family):
                check(line.split()[-1] == "0", line)


def main():
    rows = read_rows()
    with tempfile.TemporaryDirectory(prefix="fadeward-mountain.") as work:
        by_replay(rows, work)
        by_pty(rows, work, "all", medians=False)
        # So few that every frame stands in the window of the last hour: its medians are exact too.
        first = rows[0]["seq"]
        by_pty([r for r in rows if r["seq"] < first + 380], work, "380-frames", medians=True)
    print("mountain868: passed")


main()
