"""`fadeward prove` and `fadeward echo` over two pseudo-terminals with a path in between whose doings
are counted: drops, damage, repeats, swaps, delay; garbage, restarts of either end, a port that
vanishes, Ctrl-C, aiming, margins of a second port, the baseline for `watch`."""

import json
import os
import random
import select
import signal
import threading
import time

import harness

PROBE, ECHO = 0x11, 0x12


def cobs_decode(encoded):
    """From the paper (Cheshire and Baker, 1999)."""
    out, at = bytearray(), 0
    while at < len(encoded):
        code = encoded[at]
        out += encoded[at + 1:at + code]
        at += code
        if code < 255 and at < len(encoded):
            out.append(0)
    return bytes(out)


def damage(piece):
    """One bit of the middle is turned, and no zero made."""
    at = len(piece) // 2
    bit = 0x40 if piece[at] == 0x80 else 0x80
    return piece[:at] + bytes([piece[at] ^ bit]) + piece[at + 1:]


class Path(threading.Thread):
    """The radios: frames of both pseudo-terminals, one by one. `plan[kind][number]` is drop, damage,
    cut, twice or swap; a probe goes by its number, an echo by its own count. `noise`: a source of
    random octets that come before every frame."""

    def __init__(self, near, far, plan=None, delay_s=0.0, noise=None):
        super().__init__(daemon=True)
        self.ends = [near, far]
        self.plan = plan or {}
        self.delay_s = delay_s
        self.noise = noise
        self.seen = {PROBE: 0, ECHO: 0}
        self.open = True
        self.deaf = False  # nothing reaches the far end
        self.held = [b"", b""]
        self.late = [b"", b""]
        self.queue = []  # (time, end, bytes)
        self.start()

    def frame(self, piece, end):
        content = cobs_decode(piece)
        kind = content[0] if content else 0
        whole = b"\0" + piece + b"\0"
        if kind not in self.seen:
            return whole
        self.seen[kind] += 1
        number = int.from_bytes(content[5:8] if kind == PROBE else content[12:15], "little")
        what = self.plan.get(kind, {}).get(number)
        if what == "drop":
            return b""
        if what == "damage":
            return b"\0" + damage(piece) + b"\0"
        if what == "cut":
            return b"\0" + piece[:len(piece) // 2]  # the next frame's delimiter ends it
        if what == "twice":
            return whole + whole
        if what == "swap":
            self.late[end] = whole
            return b""
        whole += self.late[end]
        self.late[end] = b""
        return whole

    def crackle(self):
        return self.noise.randbytes(self.noise.randrange(60)) if self.noise else b""

    def carry(self, end, data):
        self.held[end] += data
        *pieces, self.held[end] = self.held[end].split(b"\0")
        out = b"".join(self.crackle() + self.frame(piece, end) for piece in pieces if piece)
        if out:
            self.queue.append((time.monotonic() + self.delay_s, 1 - end, out))

    def run(self):
        while self.open:
            radios = [end.radio for end in self.ends if end.radio >= 0]
            wait = max(0.0, self.queue[0][0] - time.monotonic()) if self.queue else 0.05
            try:
                ready, _, _ = select.select(radios, [], [], min(wait, 0.05))
                for index, end in enumerate(self.ends):
                    if end.radio in ready:
                        self.carry(index, os.read(end.radio, 4096))
                while self.queue and self.queue[0][0] <= time.monotonic():
                    _, end, out = self.queue.pop(0)
                    if self.ends[end].radio >= 0 and not (self.deaf and end == 1):
                        os.write(self.ends[end].radio, out)
            except (OSError, ValueError):  # an end that is being pulled out or plugged in
                time.sleep(0.01)

    def stop(self):
        self.open = False
        self.join(5)


def planned(seed, frames):
    """Doings for either kind, far enough apart that none meets another."""
    rng = random.Random(seed)
    plan = {}
    for kind in (PROBE, ECHO):
        # Echoes are fewer than probes: what the plan holds for them must be reached.
        numbers = list(range(3, frames - 60, 4))
        rng.shuffle(numbers)
        plan[kind] = {number: what for number, what in zip(
            numbers, ["drop"] * 12 + ["damage"] * 8 + ["twice"] * 6 + ["swap"] * 5)}
    return plan


class Bench:
    """Both pseudo-terminals, the path, and an echo at the far one."""

    def __init__(self, t, name, **path):
        self.t = t
        self.near, self.far = t.pty(name + "-near"), t.pty(name + "-far")
        self.path = Path(self.near, self.far, **path)
        t.keep(self.path.stop)
        self.json = t.path(name + ".json")
        self.name = name
        self.echo = None

    def start_echo(self):
        self.echo = self.t.process([self.t.fadeward, "echo", "--port", "serial:" + self.far.link,
                                    "--baud", "115200"], self.name + "-echo")
        harness.wait_until(lambda: "open (" in self.echo.log(), "the echo is open")

    def command(self, *args):
        return [self.t.fadeward, "prove", "--port", "serial:" + self.near.link, "--baud", "115200",
                "--json", self.json, *map(str, args)]

    def prove(self, *args):
        return self.t.process(self.command(*args), self.name + "-prove")

    def report(self):
        with open(self.json, encoding="utf-8") as file:
            return json.load(file)

    def finish(self, process, limit_s=90):
        code = process.wait(limit_s)
        return code, self.report()


def counts(direction):
    return {key: direction[key] for key in
            ("sent", "delivered", "lost", "duplicated", "reordered", "corrupted")}


def lossy(t):
    seed, frames = 4242, 500
    t.section(f"a path whose doings are known (seed {seed})")
    bench = Bench(t, "lossy", plan=planned(seed, frames), delay_s=0.030)
    bench.start_echo()
    code, report = bench.finish(bench.prove("--rate", 50, "--for", "10s", "--max-loss", 0.01))
    t.equal(code, 3, "4 % lost against 1 % asked for is refused")
    t.equal(report["verdict"]["outcome"], "failed", "as failed")
    t.equal(counts(report["outbound"]), {"sent": 500, "delivered": 480, "lost": 20, "duplicated": 6,
                                         "reordered": 5, "corrupted": 8}, "outbound to the frame")
    t.equal(counts(report["inbound"]), {"sent": 480, "delivered": 460, "lost": 20, "duplicated": 6,
                                        "reordered": 5, "corrupted": 8}, "inbound to the frame")
    t.equal(report["round_trip"]["answered"], 460, "round trips")
    t.expect(report["latency_s"]["min"] >= 0.060, "both delays are in the round trip",
             report["latency_s"]["min"])
    t.within(report["latency_s"]["min"], 0.075, "and little else")

    t.section("the near end restarts: the same far end, a new count")
    bench.path.plan = {}
    code, report = bench.finish(bench.prove("--rate", 50, "--for", "2s", "--max-loss", 0.05))
    t.equal(code, 0, "100 frames without loss show 5 %")
    t.equal(report["outbound"]["sent"], 100, "numbers begin anew")
    t.equal(report["outbound"]["duplicated"] + report["inbound"]["duplicated"], 0, "and nothing of the old run")


def noisy(t):
    seed = 777
    t.section(f"noise before every frame, and frames cut in half (seed {seed})")
    rng = random.Random(seed)
    cuts = {kind: {number: "cut" for number in rng.sample(range(5, 180), 9)} for kind in (PROBE, ECHO)}
    bench = Bench(t, "noisy", plan=cuts, noise=rng)
    bench.start_echo()
    code, report = bench.finish(bench.prove("--rate", 40, "--for", "5s", "--max-loss", 0.2))
    t.equal(code, 0, "accepted for 20 %")
    for direction, sent in (("outbound", 200), ("inbound", 191)):
        found = counts(report[direction])
        corrupted = found.pop("corrupted")
        t.equal(found, {"sent": sent, "delivered": sent - 9, "lost": 9, "duplicated": 0, "reordered": 0},
                f"{direction} to the frame")
        t.expect(corrupted >= 9, f"{direction}: every half is told as damaged, and noise with it", corrupted)


def clean(t):
    t.section("a clean path: latency of its own, text and page")
    bench = Bench(t, "clean")
    bench.start_echo()
    page = t.path("clean.html")
    process = bench.prove("--rate", 60, "--for", "6s", "--html", page, "--max-latency", "1s")
    code, report = bench.finish(process)
    t.equal(code, 0, "360 frames without loss show 1 %")
    # The least one: a busy machine adds its own to the others.
    t.within(report["latency_s"]["min"], 0.001, "under 1 ms of its own at 115,200 baud")
    print(f"        round trip over both programs and the path: {report['latency_s']}")
    text = process.output()
    t.expect(text.startswith("PASSED"), "the text says so first", text[:60])
    t.expect("live antenna" in text and "lightning" in text and "only protection" in text, "cautions")
    with open(page, encoding="utf-8") as file:
        html = file.read()
    t.expect("Tested by" in html and "Weather" in html and "http" not in html,
             "a page to sign that needs nothing from outside")
    t.equal(report["outbound"]["margin_db"], None, "a margin that nobody told is null")
    t.expect("not measured" in report["margins_note"], "with a sentence")

    t.section("too few frames to say")
    code, report = bench.finish(bench.prove("--rate", 20, "--for", "1s"))
    t.equal(code, 3, "20 frames do not show 1 %")
    t.equal(report["verdict"]["outcome"], "undecided", "and that is a verdict of its own")
    t.equal(report["verdict"]["findings"][0]["frames_needed"], 299, "299 would")

    t.section("Ctrl-C ends with what was proved")
    process = bench.prove("--rate", 50, "--for", "10m", "--max-loss", 0.2)
    harness.wait_until(lambda: bench.path.seen[PROBE] > 360 + 20 + 60, "60 frames sent")
    process.send(signal.SIGINT)
    code, report = bench.finish(process)
    t.equal((code, report["interrupted"], report["settled"]), (0, True, True), "settled and judged")
    t.expect(60 <= report["probes"] < 600, "what was sent so far", report["probes"])

    t.section("aiming")
    process = bench.prove("--walk", "--rate", 10, "--for", "4s")
    t.equal(process.wait(30), 0, "a walk ends well")
    lines = process.output().splitlines()
    t.expect(len(lines) >= 3, "a line a second", lines)
    t.expect(all(len(line) <= 40 for line in lines), "for 40 columns", lines)
    t.expect("100%" in lines[-1].split("best")[0], "delivered now, not only at best", lines[-1:])


def restart_of_far_end(t):
    t.section("the far end restarts")
    bench = Bench(t, "restart")
    bench.start_echo()
    process = bench.prove("--rate", 50, "--for", "8s", "--wait", "500ms", "--max-loss", 0.1)
    harness.wait_until(lambda: bench.path.seen[ECHO] >= 100, "100 echoes")
    bench.path.deaf = True
    bench.echo.stop(signal.SIGKILL)
    time.sleep(0.5)
    bench.start_echo()
    bench.path.deaf = False
    _, report = bench.finish(process)
    t.equal(report["far_restarts"], 1, "it is noticed")
    outbound = report["outbound"]
    t.equal(outbound["sent"] + report["untold"], 400, "each probe is counted or untold")
    t.expect(15 <= report["untold"] <= 150, "the time of the restart is untold", report["untold"])
    t.expect(outbound["lost"] <= 2, "and not lost", outbound["lost"])


def port_that_vanishes(t):
    t.section("a port that vanishes and comes back")
    bench = Bench(t, "vanish")
    bench.start_echo()
    process = bench.prove("--rate", 20, "--for", "8s", "--wait", "500ms", "--max-loss", 0.1)
    harness.wait_until(lambda: bench.path.seen[ECHO] >= 40, "40 echoes")
    bench.near.hang_up()
    time.sleep(0.7)
    bench.path.ends[0] = bench.near = t.pty("vanish-near")
    code, report = bench.finish(process)
    t.equal(report["interruptions"], 1, "it is told")
    t.equal(report["round_trip"]["lost"], 0, "and no loss of the link")
    t.expect(report["probes"] >= 80, "the run went on", report["probes"])
    t.equal(code, 0, "and was accepted")


def no_far_end(t):
    t.section("a far end that answers garbage")
    bench = Bench(t, "garbage")
    bench.path.stop()
    stop = threading.Event()
    rng = random.Random(99)

    def babble():
        while not stop.wait(0.02):
            try:
                os.write(bench.near.radio, rng.randbytes(60))
            except OSError:
                pass
    babbler = threading.Thread(target=babble, daemon=True)
    babbler.start()
    process = bench.prove("--knock", "3s")
    code, report = bench.finish(process)
    stop.set()
    babbler.join()
    t.equal((code, report["verdict"]["outcome"]), (3, "undecided"), "is no acceptance")
    t.equal(report["outbound"]["sent"], None, "nothing is claimed")
    t.expect("No far end answered" in process.output(), "and it says so")

    t.section("a loop instead of a far end")

    def loop():
        while not stop.is_set():
            ready, _, _ = select.select([bench.near.radio], [], [], 0.1)
            if ready:
                os.write(bench.near.radio, os.read(bench.near.radio, 4096))
    stop.clear()
    looper = threading.Thread(target=loop, daemon=True)
    looper.start()
    process = bench.prove("--knock", "3s")
    code, report = bench.finish(process)
    stop.set()
    looper.join()
    t.expect(code == 3 and report["looped"] >= 2, "is told from a far end", report["looped"])


def margins_and_baseline(t):
    t.section("margins of a second port, and the baseline for watch")
    bench = Bench(t, "margin")
    bench.start_echo()
    radio = t.pty("reports")
    history = t.path("margin-history")
    config = f"""http: {{ listen: "127.0.0.1:0" }}
history: {{ dir: {history} }}
ports:
  - {{ name: data, source: "serial:{bench.near.link}", serial: {{ baud: 115200 }} }}
  - {{ name: monitor, source: "serial:{radio.link}" }}
links:
  - name: ridge
    match: {{ port: monitor }}
    radio: {{ modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }}
    budget: {{ near: {{ height_m: 12 }} }}
"""
    path = t.write("margin.yaml", config)
    command = [t.fadeward, "prove", "--port", "data", "--config", path, "--link", "ridge", "--rate",
               50, "--for", "7s", "--json", bench.json, "--baseline", "--min-margin", 8]
    number = 0

    def report_while(process):
        nonlocal number
        last = number + 3000
        while process.running() and number < last:
            number += 1
            radio.write(harness.report_line(seq=number, rssi_dbm=-100 + number % 2, snr_db=4.5,
                                            noise_dbm=-105, far_rssi_dbm=-98 + number % 2,
                                            far_snr_db=6.5, far_noise_dbm=-105, far_time=time.time()))
            time.sleep(0.05)

    process = t.process(command, "margin-prove")
    report_while(process)
    code, report = bench.finish(process)
    t.equal(code, 0, "accepted, margins and all")
    # SNR 4.5 and 6.5 dB; spreading factor 7 needs -7.5 dB (facts of the receiver's data sheet).
    t.expect(abs(report["inbound"]["margin_db"] - 12.0) < 0.8, "inbound margin",
             report["inbound"]["margin_db"])
    t.expect(abs(report["outbound"]["margin_db"] - 14.0) < 0.8, "outbound margin",
             report["outbound"]["margin_db"])
    with open(os.path.join(history, "proved.jsonl"), encoding="utf-8") as file:
        stored = [json.loads(line) for line in file if line.strip()]
    t.equal((len(stored), stored[0]["link"]), (1, "ridge"), "one proof is stored")

    t.section("aiming by margins")
    process = t.process([t.fadeward, "prove", "--walk", "--port", "data", "--config", path, "--link",
                         "ridge", "--rate", 10, "--for", "6s"], "margin-walk")
    report_while(process)
    t.equal(process.wait(30), 0, "a walk ends well")
    line = process.output().splitlines()[-1]
    words = line.replace("dB", " ").split()
    t.expect(words[0] == "in" and abs(float(words[1]) - 12.0) < 0.8 and words[2] == "out" and
             abs(float(words[3]) - 14.0) < 0.8, "both margins stand in the line", line)

    t.section("watch after the proof")
    bench.near.hang_up()
    daemon = t.daemon(path)
    link = daemon.links()["ridge"]
    for direction in ("inbound", "outbound"):
        t.equal(link[direction]["baseline_margin_db"], report[direction]["margin_db"],
                f"watch takes it as baseline, {direction}")
    daemon.stop()


def bad_command_lines(t):
    t.section("bad command lines")
    port = ["--port", "serial:/dev/null"]
    for args, told in ((["--port", "seriell:/dev/x"], "serial:PATH"),
                       (["--port", "file:/tmp/x"], "both directions"),
                       (["--port", "udp://127.0.0.1:4000"], "both directions"),
                       ([*port, "--size", 10], "40 to 4096"),
                       ([*port, "--rate", 0], "0.001 to 1000"),
                       ([*port, "--for", "10"], "span with its unit"),
                       ([*port, "--max-loss", 2], "share"),
                       ([*port, "--max-latency", "soon"], "span with its unit"),
                       ([*port, "--rate", 100], "9600 baud at most 20"),
                       ([*port, "--baud", 3], "50 to 12000000"),
                       ([*port, "--flow", "xon_xoff"], "every octet"),
                       (["--port", "tcp://127.0.0.1:9", "--parity", "even"], "--parity and --flow belong"),
                       ([*port, "--min-margin", 10], "needs --config"),
                       ([*port, "--baseline"], "needs --config"),
                       ([*port, "--link", "ridge"], "needs --config"),
                       ([*port, "--rate", 900, "--baud", 4000000, "--for", "10h"], "1000000 frames"),
                       ([*port, "--json", "/nowhere/x.json"], "/nowhere/x.json"),
                       (["--rate", 1], "--port")):
        code, _, log = t.run("prove", *args)
        t.expect(code == 2 and told in log, f"{' '.join(map(str, args))}: says what is allowed",
                 (code, log[-300:]))
    code, _, log = t.run("echo", "--port", "stdin:")
    t.expect(code == 2 and "both directions" in log, "echo the same", log)
    code, _, log = t.run("echo", *port, "--flow", "xon_xoff")
    t.expect(code == 2 and "every octet" in log, "frames hold octets that stop a line", log)
    for command in ("prove", "echo"):
        code, out, _ = t.run(command, "--help")
        t.expect(code == 0 and b"live antenna" in out and b"only protection" in out,
                 f"{command} --help holds the cautions")


def test(t):
    bad_command_lines(t)
    lossy(t)
    noisy(t)
    clean(t)
    restart_of_far_end(t)
    port_that_vanishes(t)
    no_far_end(t)
    margins_and_baseline(t)


if __name__ == "__main__":
    harness.run(test)
