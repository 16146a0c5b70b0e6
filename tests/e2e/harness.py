"""What the end-to-end tests share: checks, bounded waits, the daemon, radios and a small reader of
metrics. Python's standard library only.

A test is a script with a function `test(t)`; `run(test)` gives it a `Test` and ends with exit code
0 (all checks held), 1 (one did not) or 77 (something the test needs is not installed). Everything
that a test started has ended by then, by its process id, and its directory is gone.
"""

import argparse
import fcntl
import gzip
import http.client
import io
import json
import os
import re
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import termios
import time
import traceback
import tty

SKIPPED = 77
PATIENCE_S = 30  # for what takes a moment on a quiet machine; a busy one may take this long


class Failed(Exception):
    """A check after which the test cannot go on."""


class Skipped(Exception):
    """Something the test needs is not there."""


# ---- waiting ---------------------------------------------------------------------------------


def wait_until(condition, what, limit_s=PATIENCE_S, every_s=0.02):
    """The first true value of `condition()`; Failed after `limit_s`."""
    end = time.monotonic() + limit_s
    while True:
        value = condition()
        if value:
            return value
        if time.monotonic() > end:
            raise Failed(f"not within {limit_s:g} s: {what}")
        time.sleep(every_s)


def stays_true(condition, what, for_s, every_s=0.05):
    """Failed as soon as `condition()` is false within `for_s`."""
    end = time.monotonic() + for_s
    while time.monotonic() < end:
        if not condition():
            raise Failed(f"did not stay so for {for_s:g} s: {what}")
        time.sleep(every_s)


# ---- metrics ---------------------------------------------------------------------------------

_SAMPLE = re.compile(r'([a-zA-Z_:][a-zA-Z0-9_:]*)(?:\{(.*)\})? (\S+)')
_LABEL = re.compile(r'([a-zA-Z_][a-zA-Z0-9_]*)="((?:[^"\\]|\\.)*)",?')
_ESCAPES = {"\\\\": "\\", '\\"': '"', "\\n": "\n"}


class Metrics:
    """One scrape in the Prometheus text format."""

    def __init__(self, text):
        self.text = text
        self.samples = {}
        for line in text.split("\n"):
            if not line or line.startswith("#"):
                continue
            found = _SAMPLE.fullmatch(line)
            if not found:
                raise Failed(f"not a sample: {line!r}")
            name, labels, value = found.groups()
            pairs = {key: re.sub(r'\\.', lambda m: _ESCAPES[m.group()], raw)
                     for key, raw in _LABEL.findall(labels or "")}
            key = (name, frozenset(pairs.items()))
            if key in self.samples:
                raise Failed(f"twice in one scrape: {line!r}")
            self.samples[key] = float(value)

    def get(self, name, **labels):
        """The value of exactly this series, or None."""
        return self.samples.get((name, frozenset(labels.items())))

    def all(self, name, **labels):
        """{labels: value} of the series of this name that carry these labels."""
        wanted = set(labels.items())
        return {key[1]: value for key, value in self.samples.items()
                if key[0] == name and wanted <= key[1]}

    def total(self, name, **labels):
        return sum(self.all(name, **labels).values())

    def names(self):
        return {name for name, _ in self.samples}


# ---- HTTP ------------------------------------------------------------------------------------


class Answer:
    def __init__(self, status, headers, body):
        self.status = status
        self.headers = headers  # names in lower case
        self.body = body

    @property
    def text(self):
        return self.body.decode("utf-8")

    def json(self):
        return json.loads(self.text)


def http_request(port, path, method="GET", headers=None, body=None, limit_s=10):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=limit_s)
    try:
        connection.request(method, path, body=body, headers=headers or {})
        response = connection.getresponse()
        names = {name.lower(): value for name, value in response.getheaders()}
        return Answer(response.status, names, response.read())
    finally:
        connection.close()


def free_port():
    """A TCP port of 127.0.0.1 that nobody listened on a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


# ---- processes -------------------------------------------------------------------------------


class Process:
    """A program whose output goes to files, so that it never waits for a reader."""

    def __init__(self, command, output, stdin=subprocess.DEVNULL, env=None, **more):
        self.command = [str(word) for word in command]
        self.stdout_path = output + ".out"
        self.stderr_path = output + ".log"
        with open(self.stdout_path, "wb") as out, open(self.stderr_path, "wb") as log:
            self.child = subprocess.Popen(self.command, stdin=stdin, stdout=out, stderr=log,
                                          env=env, **more)

    @property
    def pid(self):
        return self.child.pid

    def running(self):
        return self.child.poll() is None

    def log(self):
        with open(self.stderr_path, encoding="utf-8", errors="replace") as file:
            return file.read()

    def output(self):
        with open(self.stdout_path, encoding="utf-8", errors="replace") as file:
            return file.read()

    def send(self, number):
        self.child.send_signal(number)

    def wait(self, limit_s=PATIENCE_S):
        """The exit code; Failed when it does not end."""
        try:
            return self.child.wait(limit_s)
        except subprocess.TimeoutExpired:
            raise Failed(f"{self.command[0]} did not end within {limit_s:g} s") from None

    def stop(self, number=signal.SIGTERM, limit_s=PATIENCE_S):
        """(exit code, seconds that the end took)."""
        begin = time.monotonic()
        self.send(number)
        code = self.wait(limit_s)
        return code, time.monotonic() - begin

    def end(self):
        """For the end of a test: whatever state it is in."""
        if not self.running():
            return
        self.child.terminate()
        try:
            self.child.wait(5)
        except subprocess.TimeoutExpired:
            self.child.kill()
            self.child.wait(5)


class Daemon(Process):
    """`fadeward watch`, listening on a port that it chose itself."""

    def __init__(self, program, config, output, args=(), **more):
        self.port = None
        super().__init__([program, "watch", "--config", config, *args], output, **more)

    def wait_serving(self, limit_s=PATIENCE_S):
        def serving():
            found = re.search(r"serving http://\S*?:(\d+)/", self.log())
            if not found and not self.running():
                raise Failed(f"the daemon ended with {self.child.returncode}:\n{self.log()}")
            return found and int(found.group(1))
        self.port = wait_until(serving, "the daemon serves HTTP", limit_s)

        def ready():
            return self.get("/-/ready").status == 200
        wait_until(ready, "/-/ready answers 200", limit_s)
        return self

    def get(self, path, **more):
        return http_request(self.port, path, **more)

    def metrics(self):
        return Metrics(self.get("/metrics").text)

    def links(self):
        return {link["link"]: link for link in self.get("/links").json()["links"]}

    def ports(self):
        return {port["port"]: port for port in self.get("/links").json()["ports"]}

    def wait_metric(self, value, name, limit_s=PATIENCE_S, **labels):
        """Until exactly this series has this value."""
        seen = [None]

        def reached():
            seen[0] = self.metrics().get(name, **labels)
            return seen[0] == value
        try:
            wait_until(reached, f"{name}{labels} is {value}", limit_s)
        except Failed as failed:
            raise Failed(f"{failed}; it is {seen[0]}") from None

    def pushed(self, family, url):
        """A value of what is pushed to this target."""
        return self.metrics().get(f"fadeward_push_{family}", target=url)

    def anonymous_bytes(self):
        """RssAnon: memory of its own, without the pages of the program file and libraries."""
        with open(f"/proc/{self.pid}/status", encoding="ascii") as file:
            return 1024 * int(re.search(r"RssAnon:\s+(\d+) kB", file.read()).group(1))


# ---- radios ----------------------------------------------------------------------------------


class PtyRadio:
    """A radio at a serial line: we hold its end, a program opens `link`."""

    def __init__(self, link):
        self.link = link
        self.radio, self.device = os.openpty()
        tty.setraw(self.device)
        os.set_blocking(self.radio, False)
        self.path = os.ttyname(self.device)
        if os.path.islink(link):
            os.unlink(link)
        os.symlink(self.path, link)

    def write(self, data, limit_s=PATIENCE_S):
        end = time.monotonic() + limit_s
        left = memoryview(data)
        while left:
            if time.monotonic() > end:
                raise Failed(f"{len(left)} bytes were not taken from the serial line")
            _, ready, _ = select.select([], [self.radio], [], 0.2)
            if not ready:
                continue
            try:
                left = left[os.write(self.radio, left):]
            except BlockingIOError:
                pass

    def unread(self):
        """Bytes that wait for the program."""
        raw = fcntl.ioctl(self.device, termios.FIONREAD, b"\0\0\0\0")
        return int.from_bytes(raw, sys.byteorder)

    def wait_read(self):
        """Until the program has fetched everything: bytes between both ends are not counted, so
        nothing waiting must be seen several times."""
        for _ in range(5):
            wait_until(lambda: self.unread() == 0, "the serial line is read empty", every_s=0.005)
            time.sleep(0.005)

    def hang_up(self):
        """Pulls the plug."""
        if self.radio < 0:
            return
        os.close(self.device)
        os.close(self.radio)
        self.radio = self.device = -1
        if os.path.islink(self.link) and os.readlink(self.link) == self.path:
            os.unlink(self.link)


class TcpRadio:
    """A radio behind a serial-to-network converter; the daemon connects to it."""

    def __init__(self):
        self.listener = socket.socket()
        self.listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.listener.bind(("127.0.0.1", 0))
        self.listener.listen()
        self.listener.settimeout(PATIENCE_S)
        self.port = self.listener.getsockname()[1]
        self.peer = None

    def accept(self):
        try:
            self.peer, _ = self.listener.accept()
        except TimeoutError:
            raise Failed("the daemon did not connect") from None
        self.peer.settimeout(PATIENCE_S)

    def write(self, data):
        self.peer.sendall(data)

    def hang_up(self):
        if self.peer:
            self.peer.close()
            self.peer = None

    def close(self):
        self.hang_up()
        self.listener.close()


def report_line(**keys):
    """One canonical report."""
    return (json.dumps(keys) + "\n").encode()


# ---- a test ----------------------------------------------------------------------------------


class Test:
    def __init__(self, args, directory):
        self.fadeward = args.fadeward
        self.pty_play = args.pty_play
        self.source = args.source
        self.long = args.long
        self.sanitized = args.sanitized
        self.directory = directory
        self.failures = []
        self._started = []
        self._closing = []
        self._names = 0

    # -- checks

    def expect(self, holds, what, found=""):
        """One check; the test goes on in either case. Returns whether it held."""
        if holds:
            print(f"ok      {what}", flush=True)
        else:
            text = f"{what}" + (f"; found {found}" if found != "" else "")
            print(f"FAILED  {text}", flush=True)
            self.failures.append(text)
        return bool(holds)

    def within(self, found, limit, what):
        """A limit of time or memory, which a sanitized program need not keep."""
        return self.expect(found <= limit or self.sanitized, what, found)

    def equal(self, found, wanted, what):
        return self.expect(found == wanted, what if found == wanted else f"{what}: {wanted!r}",
                           repr(found))

    def section(self, title):
        print(f"-- {title}", flush=True)

    # -- files

    def path(self, name):
        return os.path.join(self.directory, name)

    def new_name(self, stem):
        self._names += 1
        return f"{stem}{self._names}"

    def write(self, name, text):
        path = self.path(name)
        with open(path, "wb") as file:
            file.write(text if isinstance(text, bytes) else text.encode())
        return path

    # -- programs

    def run(self, *args, stdin=None, limit_s=60):
        """`fadeward ARGS` to its end: (exit code, standard output, standard error). A program that
        does not end has the exit code None."""
        more = {"input": stdin} if stdin is not None else {"stdin": subprocess.DEVNULL}
        try:
            done = subprocess.run([self.fadeward, *map(str, args)], timeout=limit_s, check=False,
                                  capture_output=True, **more)
        except subprocess.TimeoutExpired as over:
            return None, over.stdout or b"", (over.stderr or b"").decode("utf-8", "replace")
        return done.returncode, done.stdout, done.stderr.decode("utf-8", "replace")

    def keep(self, thing):
        """Ended with the test, in reverse order."""
        self._closing.append(thing)
        return thing

    def process(self, command, name, **more):
        process = Process(command, self.path(self.new_name(name)), **more)
        self._started.append(process)
        return process

    def daemon(self, config, *args, serving=True, **more):
        """`fadeward watch` with this configuration: a path, or YAML text without `http`, which is
        then told to listen on any free port."""
        if "\n" in config:
            config = self.write(self.new_name("config") + ".yaml",
                                'http: { listen: "127.0.0.1:0" }\n' + config)
        daemon = Daemon(self.fadeward, config, self.path(self.new_name("daemon")), args, **more)
        self._started.append(daemon)
        return daemon.wait_serving() if serving else daemon

    def pty(self, name="radio"):
        radio = PtyRadio(self.path(name))
        self.keep(radio.hang_up)
        return radio

    def tcp(self):
        radio = TcpRadio()
        self.keep(radio.close)
        return radio

    def need(self, program):
        found = shutil.which(program)
        if not found:
            raise Skipped(f"{program} is not installed")
        return found

    def need_browser(self):
        """Chromium without a window: the words of a command that show any page."""
        command = [self.need("chromium"), "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
                   "--disable-background-networking", "--disable-sync"]
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
            try:
                done = subprocess.run([*command, f"--user-data-dir={profile}", "--dump-dom", "data:text/html,<p>it runs</p>"],
                                      capture_output=True, check=False, timeout=100, stdin=subprocess.DEVNULL)
            except subprocess.TimeoutExpired:
                raise Skipped("chromium shows no page within 100 s here") from None
        if b"it runs" not in done.stdout:
            raise Skipped(f"chromium shows no page here: {done.stderr.decode('utf-8', 'replace')[-500:]}")
        return command

    def finish(self):
        for process in reversed(self._started):
            process.end()
        for close in reversed(self._closing):
            close()

    def show_logs(self):
        for process in self._started:
            log = process.log()
            lines = log.splitlines()
            print(f"---- {' '.join(process.command)} (ended: {process.child.poll()})")
            print("\n".join(lines[-40:]))


def run(test):
    parser = argparse.ArgumentParser(description=sys.modules["__main__"].__doc__)
    parser.add_argument("fadeward", help="the program under test")
    parser.add_argument("--pty-play", help="the player of lines into a pseudo-terminal")
    parser.add_argument("--source", help="top directory of the sources")
    parser.add_argument("--long", action="store_true", help="the thorough version")
    parser.add_argument("--sanitized", action="store_true",
                        help="the program is built with a sanitizer: no limits of time and memory")
    args = parser.parse_args()
    args.fadeward = os.path.abspath(args.fadeward)
    directory = tempfile.mkdtemp(prefix="fadeward-e2e-")
    subject = Test(args, directory)
    begin = time.monotonic()
    code = 0
    try:
        test(subject)
    except Skipped as reason:
        print(f"skipped: {reason}")
        code = SKIPPED
    except Failed as failed:
        print(f"FAILED  {failed}")
        subject.failures.append(str(failed))
    except Exception:  # a mistake of the test, or an answer that nobody thought of
        traceback.print_exc(file=sys.stdout)
        subject.failures.append("an exception")
    finally:
        if subject.failures:
            subject.show_logs()
        subject.finish()
        shutil.rmtree(directory, ignore_errors=True)
    if subject.failures:
        print(f"{len(subject.failures)} checks failed:")
        for failure in subject.failures:
            print(f"  {failure}")
        code = 1
    print(f"{time.monotonic() - begin:.1f} s")
    sys.exit(code)


def gunzip(data):
    with gzip.GzipFile(fileobj=io.BytesIO(data)) as file:
        return file.read()
