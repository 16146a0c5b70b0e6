"""deploy/try.sh, the first command of the README: tells a story with an alert that comes and goes, ends
by itself or on Ctrl-C, and leaves nothing behind."""

import os
import re
import signal
import socket
import time

import harness

SPEED = 3600  # an hour in a second: the noise at the quarry comes after 1 s and goes after 3 s


def listening(port):
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def parent_of(pid):
    try:
        with open(f"/proc/{pid}/stat", encoding="utf-8", errors="replace") as file:
            return int(file.read().rpartition(")")[2].split()[1])
    except (OSError, IndexError):
        return None


def below(top):
    """Processes that descend from this one."""
    parents = {int(name): parent_of(name) for name in os.listdir("/proc") if name.isdigit()}
    found, grown = {top}, True
    while grown:
        more = {pid for pid, parent in parents.items() if parent in found} - found
        found |= more
        grown = bool(more)
    return found - {top}


def alive(pid):
    try:
        with open(f"/proc/{pid}/stat", encoding="utf-8", errors="replace") as file:
            return file.read().rpartition(")")[2].split()[0] not in ("Z", "X")
    except OSError:
        return False


class Demonstration:
    """One run of try.sh in a process group of its own, as a terminal would have it."""

    def __init__(self, t, *args, port=None):
        self.port = port or harness.free_port()
        self.scratch = t.path(t.new_name("scratch"))
        os.mkdir(self.scratch)
        script = os.path.join(t.source, "deploy/try.sh")
        self.tree_before = self.listing(t)
        self.process = t.process([script, "--no-build", "--speed", SPEED, "--port", self.port, *args], "try", start_new_session=True,
                                 env={**os.environ, "FADEWARD_PROGRAM": t.fadeward, "TMPDIR": self.scratch})
        self.seen = set()

    @staticmethod
    def listing(t):
        """Files of the source tree; what a build writes meanwhile is not ours."""
        out = set()
        for folder, folders, files in os.walk(t.source):
            folders[:] = [f for f in folders if not f.startswith(".") and not f.startswith("build")
                          and f != "__pycache__"]
            out.update(os.path.join(folder, name) for name in files)
        return out

    def look(self):
        """Remembers the processes of the demonstration that run now."""
        self.seen |= below(self.process.pid)
        return self.seen

    def told(self):
        return self.process.output() + self.process.log()

    def check_nothing_left(self, t):
        harness.wait_until(lambda: not any(alive(pid) for pid in self.seen), "its processes have ended", 5)
        t.expect(len(self.seen) >= 2, f"none of its {len(self.seen)} processes is left")
        t.equal(os.listdir(self.scratch), [], "no file is left in the temporary directory")
        t.equal(sorted(self.listing(t) - self.tree_before), [], "none beside the sources")
        t.expect(not listening(self.port), "nothing listens any more")


def check_story(t):
    t.section("for 20 seconds")
    begin = time.monotonic()
    demonstration = Demonstration(t, "--for", "20")
    while demonstration.process.running() and time.monotonic() - begin < 90:
        demonstration.look()
        time.sleep(0.2)
    t.equal(demonstration.process.wait(1), 0, "exit code 0")
    took = time.monotonic() - begin
    t.expect(18 <= took <= 60, f"it ended by itself after {took:.0f} s", took)
    demonstration.check_nothing_left(t)

    told = demonstration.told()
    raised = re.findall(r"(\S+) raised \((?:warning|critical) cause (\S+?)\)", told)
    names = {name for name, _ in raised}
    cleared = {name for name in re.findall(r"(\S+) cleared \(", told)}
    t.expect(raised, f"alerts are raised with a cause: {sorted(set(raised))}", told[-3000:])
    t.expect(names & cleared, f"and cleared: {sorted(cleared)}", told[-3000:])
    t.expect(re.search(r"link quarry: \w+ raised .*near-noise", told), "the noise at the quarry is told as such",
             [entry for entry in told.splitlines() if "quarry" in entry][:5])
    t.expect(re.search(r"link weir: RadioRestarted raised", told), "the restart of the weir's radio",
             [entry for entry in told.splitlines() if "weir" in entry][:5])
    for path in ("/links", "/alerts", "/metrics"):
        t.expect(f"http://127.0.0.1:{demonstration.port}{path}" in told, f"it says where {path} is")
    t.expect("2031-04-01T0" in told, "events carry the time of the story")


def check_stopped(t, title, stop):
    t.section(title)
    demonstration = Demonstration(t)
    harness.wait_until(lambda: "Ctrl-C ends everything" in demonstration.told() and listening(demonstration.port), "it is under way")
    demonstration.look()
    begin = time.monotonic()
    stop(demonstration.process)
    code = demonstration.process.wait(20)
    t.expect(code == 0, f"exit code 0 after {time.monotonic() - begin:.1f} s", f"{code}\n{demonstration.told()}")
    demonstration.check_nothing_left(t)


def check_taken(t):
    t.section("its port is in use")
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        demonstration = Demonstration(t, port=port)
        t.equal(demonstration.process.wait(20), 1, "exit code 1")
        t.expect(str(port) in demonstration.told() and "in use" in demonstration.told(), "and it says why",
                 demonstration.told())
    t.equal(os.listdir(demonstration.scratch), [], "no file is left")


def check_command_line(t):
    t.section("its command line")
    for args, code in ((["--help"], 0), (["--fast"], 2), (["--for"], 2), (["--for", "soon"], 2),
                       (["--speed", "0"], 2), (["--speed", "99999999"], 2), (["--port", "70000"], 2)):
        process = t.process([os.path.join(t.source, "deploy/try.sh"), *args], "try")
        t.equal(process.wait(20), code, f"{' '.join(args)}: exit code {code}")


def test(t):
    if not t.source:
        raise harness.Skipped("no --source")
    check_command_line(t)
    check_taken(t)
    check_story(t)
    # A terminal sends Ctrl-C to every process of the group; a service manager to the first alone.
    check_stopped(t, "Ctrl-C", lambda process: os.killpg(process.pid, signal.SIGINT))
    check_stopped(t, "SIGTERM to the script alone", lambda process: process.send(signal.SIGTERM))


harness.run(test)
