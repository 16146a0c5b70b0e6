"""The story that README.md tells of one link, from the map to the watch: every command of it is run,
and what README.md prints must be what comes out. Clocks, devices and temporary names are passed over;
figures that a run measures may differ a little; all others must be the same.

Radios and path are ours: the far end's serial port, a path that delays by 190 ms each way, loses one
frame and damages another, and a second port that reports levels. README.md says so, too."""

import math
import os
import re
import subprocess
import threading
import time

import harness
import prove

HEADING = "## One link, from the map to the watch"
PROMPTS = ("$ ", "near$ ", "far$ ")
LOST_PROBE, DAMAGED_ECHO = 150, 300  # of the proving run, see `Radios.before`


# ---- what README.md says ---------------------------------------------------------------------


def blocks(text):
    """Indented or fenced code of the story."""
    story = text.split(HEADING + "\n", 1)[1].split("\n## ", 1)[0]
    return re.findall(r"^```[a-z]*\n(.*?)^```$", story, re.S | re.M)


def steps(text):
    """[(prompt, command, lines of output)], commands continued with a backslash joined."""
    out = []
    for block in blocks(text):
        lines = iter(block.splitlines())
        for line in lines:
            prompt = next((one for one in PROMPTS if line.startswith(one)), None)
            if not prompt:
                if not out:
                    raise harness.Failed(f"README.md: output without a command: {line!r}")
                out[-1][2].append(line)
                continue
            command = line[len(prompt):]
            while command.endswith("\\"):
                command = command[:-1] + next(lines).strip()
            out.append((prompt.strip(), command.strip(), []))
    return out


# ---- comparing -------------------------------------------------------------------------------

_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?")
_CLOCK = re.compile(r"\d\d:\d\d|\d{4}-\d\d-\d\d|/tmp/|/dev/")


def same(told, found, tolerance):
    """Whether two words say the same; `tolerance` is a share, 0 for figures that cannot differ."""
    if told == found or (_CLOCK.search(told) and _CLOCK.search(found)):
        return True
    if not tolerance or _NUMBER.sub("#", told) != _NUMBER.sub("#", found):
        return False
    pairs = zip(_NUMBER.findall(told), _NUMBER.findall(found))
    return all(abs(float(a) - float(b)) <= max(tolerance * abs(float(a)), 2 * tolerance)
               for a, b in pairs)


def missing(told_lines, output, tolerance):
    """The first part of what README.md prints that did not come out in its order, or None. "..." is
    something left out; where README.md folds a long line does not matter."""
    found = output.split()
    at = 0
    for part in re.split(r"^\s*\.\.\.\s*$", "\n".join(told_lines), flags=re.M):
        told = part.split()
        if not told:
            continue
        for begin in range(at, len(found) - len(told) + 1):
            if all(same(a, b, tolerance) for a, b in zip(told, found[begin:])):
                at = begin + len(told)
                break
        else:
            return part.strip()
    return None


# ---- the radios ------------------------------------------------------------------------------


NOISE_DBM = -114


def total_dbm(wanted_dbm):
    """What a radio reports: wanted signal and noise together."""
    return round(10 * math.log10(10 ** (wanted_dbm / 10) + 10 ** (NOISE_DBM / 10)), 2)


class Radios:
    """Both serial paths, what lies between them, and the port that reports levels."""

    def __init__(self, t):
        self.t = t
        self.near, self.far, self.monitor = t.pty("near"), t.pty("far"), t.pty("monitor")
        self.path = prove.Path(self.near, self.far, delay_s=0.19)
        t.keep(self.path.stop)
        self.levels = lambda passed_s: 0.0  # dB less than when well aimed
        self.every_s = 0.1
        self.begun = time.monotonic()
        self.number = 0
        self.talking = True
        self.thread = threading.Thread(target=self.talk, daemon=True)
        t.keep(self.stop)
        self.thread.start()

    def stop(self):
        self.talking = False
        self.thread.join(5)

    def talk(self):
        due = time.monotonic()
        while self.talking:
            self.number += 1
            less_db = self.levels(time.monotonic() - self.begun)
            ripple_db = 0.5 * (self.number % 3 - 1)
            try:
                os.write(self.monitor.radio, harness.report_line(
                    link="ridge", seq=self.number, noise_dbm=NOISE_DBM, far_noise_dbm=NOISE_DBM,
                    rssi_dbm=total_dbm(-91.5 - less_db + ripple_db),
                    far_rssi_dbm=total_dbm(-91 - less_db - ripple_db)))
            except (BlockingIOError, OSError):
                pass  # nobody reads just now
            due = max(due + self.every_s, time.monotonic() - 1)
            time.sleep(max(0.0, due - time.monotonic()))

    def before(self, command):
        """Sets the scene for a command of the story."""
        self.begun = time.monotonic()
        if "--walk" in command:  # the antenna is turned past its best and back
            self.levels = lambda s: max(0.0, 12 - 2 * s) if s < 8 else (6.0 if s < 11 else 0.0)
        else:
            self.levels = lambda s: 0.0
        if "--baseline" in command:
            seen = self.path.seen
            self.path.plan = {prove.PROBE: {LOST_PROBE: "drop"},
                              prove.ECHO: {seen[prove.ECHO] + DAMAGED_ECHO: "damage"}}
        elif " watch " in f" {command} ":
            factor = float(re.search(r"--time-factor (\d+)", command).group(1))
            self.every_s = 10 / factor  # a report in ten seconds of the daemon's time
            tree_falls_s = 3 * 3600 / factor
            self.levels = lambda s: 18.0 if s > tree_falls_s else 0.0


# ---- the story -------------------------------------------------------------------------------


class Teller:
    def __init__(self, t):
        self.t = t
        self.radios = Radios(t)
        self.port = harness.free_port()
        self.behind = []  # programs that go on
        self.directory = t.path("story")
        os.mkdir(self.directory)
        programs = os.path.dirname(t.fadeward)
        self.env = {**os.environ, "PATH": programs + ":" + os.environ["PATH"]}

    def here(self, text, end):
        """README.md's names of devices, directories and ports as they are on this machine."""
        usb0 = self.radios.far.link if end == "far$" else self.radios.near.link
        for name, ours in (("/dev/ttyUSB0", usb0), ("/dev/ttyUSB1", self.radios.monitor.link),
                           ("/var/lib/fadeward", os.path.join(self.directory, "history")),
                           ("127.0.0.1:10868", f"127.0.0.1:{self.port}"),
                           ("deploy/", os.path.join(self.t.source, "deploy") + "/")):
            text = text.replace(name, ours)
        return text

    def settle(self):
        """A configuration that was copied gets this machine's devices."""
        path = os.path.join(self.directory, "mill-house.yaml")
        with open(path, encoding="utf-8") as file:
            text = file.read()
        with open(path, "w", encoding="utf-8") as file:
            file.write(self.here(text, "near$"))

    def run(self, end, command):
        """Its output and exit code; of a program that goes on (&) no code, and what it said so far."""
        self.radios.before(command)
        ours = self.here(command, end)
        if not ours.endswith("&"):
            done = subprocess.run(["/bin/bash", "-c", ours], cwd=self.directory, env=self.env,
                                  capture_output=True, timeout=120, check=False)
            output = (done.stderr + done.stdout).decode("utf-8", "replace")
            if ours.startswith("cp "):
                self.settle()
            return output, done.returncode
        process = self.t.process(["/bin/bash", "-c", "exec " + ours[:-1]], "behind",
                                 cwd=self.directory, env=self.env)
        self.behind.append(process)
        return process, None

    def told_by(self, process, lines, tolerance):
        """What a program behind has said, as soon as it has said what README.md tells."""
        try:
            harness.wait_until(lambda: missing(lines, process.log(), tolerance) is None,
                               "its lines come", 120, 0.2)
        except harness.Failed:
            pass
        return process.log()

    def ready(self, command):
        if " watch " in f" {command} ":
            harness.wait_until(self.serving, "the daemon serves")
        else:
            harness.wait_until(lambda: "open" in self.behind[-1].log(), "the far end is open")

    def serving(self):
        try:
            return harness.http_request(self.port, "/-/ready").status == 200
        except OSError:
            return False


def test(t):
    t.need("curl")
    with open(os.path.join(t.source, "README.md"), encoding="utf-8") as file:
        text = file.read()
    told = steps(text)
    t.expect(len(told) >= 9, "the story is told in commands", len(told))
    commands = " ; ".join(command for _, command, _ in told)
    for part in ("budget", "prove --walk", "echo", "--baseline", "watch", "/links", "/metrics"):
        t.expect(part in commands, f"and {part} is one of them")
    teller = Teller(t)
    for end, command, lines in told:
        t.section(f"{end} {command}")
        measures = any(word in command for word in ("prove", "watch", "curl", "echo"))
        tolerance = 0.3 if measures else 0
        output, code = teller.run(end, command)
        if code is None:
            teller.ready(command)
            output = teller.told_by(output, lines, tolerance)
        else:
            t.equal(code, 0, "ends well")
        print(output)
        gone = missing(lines, output, tolerance)
        t.expect(gone is None, f"says what README.md prints ({len(lines)} lines)", gone or "")
    for process in teller.behind:
        process.stop()


if __name__ == "__main__":
    harness.run(test)
