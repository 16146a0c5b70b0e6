"""Everything that can go on around HTTP and pushes at once, and how long a report takes from the radio
to its judgement meanwhile: malformed, huge, slow and half-open requests, thousands of connections, no
file descriptors left, wrong certificates, receivers that fail for ever, names that are never resolved, a
hundred scrapers.

A restart of a radio is told in the log at the tick after the report that showed it. Time runs a hundred
times faster here, so a tick comes every ten milliseconds: what is measured is the way into the program, the
judgement, and up to ten milliseconds more. Each nuisance is a process of its own; the one that measures
does nothing else. Prints median and worst, and the same without the time in which the thread that judges, or
the measuring one, was ready to run and other programs had the processors: the exact limits of the long
version are about that."""

import fcntl
import multiprocessing
import os
import random
import re
import resource
import socket
import ssl
import statistics
import sys
import termios
import time

import harness
import security
import servers

FACTOR = 100
TICK_S = 1 / FACTOR
LIMIT_S = 0.05           # a report is judged within this
SCRAPERS_LIMIT_S = 0.01  # and a hundred scrapers delay it by no more than this
MOST_ANONYMOUS_BYTES = 64 << 20


# ---- measuring -----------------------------------------------------------------------------------


def waited_s(*pids):
    """How long the main threads of these were ready to run and did not (Linux: second figure of schedstat)."""
    total = 0
    for pid in pids:
        with open(f"/proc/{pid}/task/{pid}/schedstat", encoding="ascii") as file:
            total += int(file.read().split()[1])
    return total / 1e9


class Stopwatch:
    """Seconds since it was made: by the clock, and without waiting for a processor."""

    def __init__(self, pid):
        self.pids = (pid, os.getpid())
        self.begin, self.waited = time.monotonic(), waited_s(*self.pids)

    def clock_s(self):
        return time.monotonic() - self.begin

    def read(self):
        took = self.clock_s()
        return took, max(0.0, took - (waited_s(*self.pids) - self.waited))


class Tail:
    """The log, read on as it grows."""

    def __init__(self, daemon):
        self.file = open(daemon.stderr_path, "rb")
        self.file.seek(0, os.SEEK_END)
        self.text = b""

    def has(self, words):
        self.text += self.file.read()
        return words in self.text


def line(i, seq, uptime_s):
    return harness.report_line(link=f"L{i}", seq=seq, uptime_s=uptime_s, rssi_dbm=-97, snr_db=7.25, noise_dbm=-117)


class Bench:
    """A daemon with as many links as there will be measurements: each restarts once."""

    def __init__(self, t, name, top="", http="", serving=True, program=None, **more):
        self.t, self.name = t, name
        self.count = 150 if t.long else 40
        # Not a pseudo-terminal: what goes through one waits for a thread of the kernel as well.
        self.radio = t.tcp()
        links = "".join(f"  - name: L{i}\n    expect: 5h\n" for i in range(self.count))
        text = (f"http: {{ listen: '127.0.0.1:0'{http} }}\n{top}"
                f"ports: [ {{ name: mast, source: 'tcp://127.0.0.1:{self.radio.port}' }} ]\n"
                "defaults:\n  radio: { spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\nlinks:\n" + links)
        path = t.write(t.new_name("config") + ".yaml", text)
        args = ("--time-factor", str(FACTOR))
        if program:
            self.daemon = harness.Daemon(program, path, t.path(t.new_name("daemon")), args)
            t._started.append(self.daemon)
            self.daemon.wait_serving()
        else:
            self.daemon = t.daemon(path, *args, serving=serving, **more)
        self.radio.accept()
        self.radio.peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.radio.write(b"".join(line(i, 1000, 500000) for i in range(self.count)))
        time.sleep(0.3)

    def measure(self):
        """Seconds from the radio to the log, for each link: as Stopwatch.read()."""
        tail, out = Tail(self.daemon), []
        for i in range(self.count):
            words = f" link L{i}: RadioRestarted raised".encode()
            watch = Stopwatch(self.daemon.pid)
            self.radio.write(line(i, 1, 3))
            while not tail.has(words):
                if watch.clock_s() > 20:
                    raise harness.Failed(f"{self.name}: the restart of L{i} was never told\n{self.daemon.log()[-2000:]}")
                time.sleep(0.0005)
            out.append(watch.read())
            time.sleep(0.02 + 0.01 * random.random())
        return out


class Nuisance:
    """`work(*args)` over and over in a process of its own."""

    def __init__(self, work, *args):
        self.made = multiprocessing.get_context("fork").Value("L", 0)
        self.process = multiprocessing.get_context("fork").Process(target=self.run, args=(work, args), daemon=True)

    def run(self, work, args):
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, 8192), hard))
        end = time.monotonic() + 300
        while time.monotonic() < end:
            try:
                work(*args)
            except (OSError, ssl.SSLError):
                time.sleep(0.001)   # refused: as rude as before
            self.made.value += 1

    def __enter__(self):
        self.process.start()
        harness.wait_until(lambda: self.made.value > 0, "the nuisance has begun", 60)
        return self

    def __exit__(self, *_):
        self.process.terminate()
        self.process.join(10)


def figures(what, taken):
    """(median, worst), both without waiting for a processor; prints the others as well."""
    clock, own = zip(*taken)
    median, worst = statistics.median(own), max(own)
    print(f"        {what}: median {1000 * statistics.median(clock):.1f} ms, worst {1000 * max(clock):.1f} ms of {len(taken)}; "
          f"without waiting for a processor {1000 * median:.1f} and {1000 * worst:.1f} ms", flush=True)
    return median, worst


def judge(t, what, taken):
    median, worst = figures(what, taken)
    limit = LIMIT_S + TICK_S if t.long else 1.0
    t.within(worst, limit, f"{what}: judged within {1000 * limit:.0f} ms")
    t.within(median, limit / 2, f"{what}: half of them in half of that")


def bear(t, what, bench, *nuisances, healthy=True, dropped=""):
    """`dropped`: why connections must have been dropped by now, as the daemon counts them."""
    t.section(what)
    for each in nuisances:
        each.__enter__()
    try:
        taken = bench.measure()
    finally:
        for each in nuisances:
            each.__exit__()
    judge(t, what, taken)
    made = sum(each.made.value for each in nuisances)
    t.expect(made > 0, f"{made} times meanwhile")
    t.within(bench.daemon.anonymous_bytes(), MOST_ANONYMOUS_BYTES,
             f"anonymous memory {bench.daemon.anonymous_bytes() / 2**20:.1f} MB")
    if healthy:
        harness.wait_until(lambda: answers(bench.daemon), "it serves as ever afterwards", 30)
    if dropped:
        count = bench.daemon.metrics().get("fadeward_http_connections_dropped_total", reason=dropped)
        t.expect(count > 0, f"connections dropped for {dropped}: {count:g}")
    t.equal(bench.daemon.stop()[0], 0, "it ends with 0")


def answers(daemon):
    try:
        return daemon.get("/-/healthy", limit_s=5).status == 200
    except OSError:
        return False


# ---- what strangers do to the HTTP server ---------------------------------------------------------


def say(port, data, read=True):
    with socket.create_connection(("127.0.0.1", port), timeout=2) as client:
        client.sendall(data)
        while read and client.recv(65536):
            pass


def malformed(port):
    source = random.Random(os.urandom(4))
    say(port, source.choice([
        b"\x16\x03\x01\x02\x00\x01\x00\r\n\r\n", os.urandom(3000) + b"\r\n\r\n", b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n", b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n", b"\0" * 500 + b"\r\n\r\n",
        b"GET /\xff\xfe%00%zz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"]))


def huge(port):
    say(port, b"GET / HTTP/1.1\r\nHost: x\r\nX: " + b"y" * 4_000_000 + b"\r\n\r\n")
    say(port, b"POST /metrics HTTP/1.1\r\nHost: x\r\nContent-Length: 1000000000\r\n\r\n" + b"z" * 4_000_000)


def slow(port):
    """Three hundred requests that come a byte at a time."""
    clients = [socket.create_connection(("127.0.0.1", port), timeout=2) for _ in range(300)]
    try:
        for byte in b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n":
            for client in clients:
                client.sendall(bytes([byte]))
            time.sleep(0.02)
    finally:
        for client in clients:
            client.close()


def half_open(port):
    """Ask for much and read nothing; connect and say nothing; vanish without a word."""
    clients = [socket.create_connection(("127.0.0.1", port), timeout=2) for _ in range(300)]
    for i, client in enumerate(clients):
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1024)
        if i % 3 == 0:
            client.sendall(b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n" * 20)
        if i % 3 == 1:
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
    time.sleep(0.5)
    for client in clients:
        client.close()


def crowd(port):
    """Two thousand connections at once."""
    clients = []
    try:
        for _ in range(2000):
            try:
                clients.append(socket.create_connection(("127.0.0.1", port), timeout=2))
            except OSError:
                break
        time.sleep(0.3)
    finally:
        for client in clients:
            client.close()


def scraper(port):
    answer = harness.http_request(port, "/metrics", headers={"Accept-Encoding": "gzip"}, limit_s=20)
    if answer.status != 200:
        raise OSError(f"status {answer.status}")


def wrong_certificate(place, port):
    context = ssl.create_default_context(cafile=os.path.join(place, "ca.pem"))
    name = random.choice(["stranger", "guest", None])
    if name:
        context.load_cert_chain(os.path.join(place, name + ".pem"), os.path.join(place, name + ".key"))
    with socket.create_connection(("127.0.0.1", port), timeout=5) as plain:
        with context.wrap_socket(plain, server_hostname="localhost") as client:
            client.sendall(b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n")
            client.recv(100)


def few_files():
    resource.setrlimit(resource.RLIMIT_NOFILE, (40, 40))


def check_strangers(t):
    for what, work, dropped in (("malformed requests", malformed, "malformed"), ("huge requests", huge, "malformed"),
                                ("slow requests", slow, "limit"), ("half-open connections", half_open, "limit"),
                                ("2,000 connections", crowd, "limit")):
        bench = Bench(t, what)
        bear(t, what, bench, Nuisance(work, bench.daemon.port), dropped=dropped)

    what = "no file descriptors left"
    bench = Bench(t, what, preexec_fn=few_files)
    tally = harness.Metrics(bench.daemon.get("/metrics").text)
    t.equal(tally.get("process_max_fds"), 40, "forty file descriptors")
    t.section(what)
    with Nuisance(crowd, bench.daemon.port):
        judge(t, what, bench.measure())
    harness.wait_until(lambda: answers(bench.daemon), "it serves as ever afterwards", 30)
    dropped = bench.daemon.metrics().get("fadeward_http_connections_dropped_total", reason="accept")
    t.expect(dropped > 0, f"connections that could not be accepted are counted: {dropped:g}")
    t.equal(bench.daemon.stop()[0], 0, "it ends with 0")


def check_certificates(t):
    t.need("openssl")
    place = t.path("keys")
    os.makedirs(place)
    for name in ("ca", "other"):
        security.authority(place, name)
    for name, signer, sans in (("server", "ca", "DNS:localhost"), ("guest", "ca", "DNS:guest.example"),
                               ("stranger", "other", "DNS:scraper.example")):
        security.certificate(place, name, signer, sans)
    security.write(place, "web.yaml", security.web_config({}).replace("basic_auth_users:\n", ""))
    what = "wrong certificates"
    bench = Bench(t, what, http=f", web_config: '{place}/web.yaml'", serving=False)
    pattern = r"serving https://127\.0\.0\.1:(\d+)/"
    harness.wait_until(lambda: re.search(pattern, bench.daemon.log()), "the daemon serves TLS")
    bench.daemon.port = int(re.search(pattern, bench.daemon.log()).group(1))
    nuisances = [Nuisance(wrong_certificate, place, bench.daemon.port) for _ in range(4)]
    bear(t, what, bench, *nuisances, healthy=False)


# ---- what receivers of pushes do ------------------------------------------------------------------


def receiver(listener, answer):
    """Serves one connection after the other; an answer of None: hears it and says nothing."""
    client, _ = listener.accept()
    with client:
        client.settimeout(5)
        client.recv(65536)
        if answer is None:
            time.sleep(2)
        elif answer:
            client.sendall(answer)


def check_receivers(t):
    for what, answer in (("receivers that answer 500 for ever", b"HTTP/1.1 500 No\r\nContent-Length: 2\r\n\r\nno"),
                         ("receivers that answer 200 with nothing", b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n"),
                         ("receivers that hang up without a word", b""), ("receivers that say nothing at all", None)):
        listeners = [socket.create_server(("127.0.0.1", 0)) for _ in range(3)]
        for each in listeners:
            t.keep(each.close)
        urls = [f"http://127.0.0.1:{each.getsockname()[1]}" for each in listeners]
        bench = Bench(t, what, top=f"push: {{ alertmanagers: ['{urls[0]}', '{urls[1]}'], remote_write: {{ url: '{urls[2]}/write', "
                                   "interval: 10s } }\n")
        bear(t, what, bench, *[Nuisance(receiver, each, answer) for each in listeners])


def check_names(t):
    what = "names that are never resolved"
    wrapper = servers.hanging_names(t)
    if not wrapper:
        print("skipped: no private mounts, or port 53 may not be bound here")
        return
    bench = Bench(t, what, program=wrapper,
                  top="push: { alertmanagers: ['http://nowhere.example'], remote_write: { url: 'http://nobody.example/write', interval: 10s } }\n")
    t.section(what)
    judge(t, what, bench.measure())
    t.equal(bench.daemon.stop()[0], 0, "it ends with 0")


# ---- a hundred scrapers ---------------------------------------------------------------------------


class Pipe:
    """The program's standard input. What it has not read yet can be seen, to the byte and at once."""

    def __init__(self):
        self.reading, self.writing = os.pipe()

    def write(self, data):
        while data:
            data = data[os.write(self.writing, data):]

    def unread(self):
        return int.from_bytes(fcntl.ioctl(self.reading, termios.FIONREAD, b"\0\0\0\0"), sys.byteorder)

    def close(self):
        os.close(self.reading)
        os.close(self.writing)


def read_within(daemon, pipe, count, first=0):
    """Seconds until the program has fetched a report, as Stopwatch.read(); the thread that reads it
    judges it before it does anything else."""
    out = []
    for seq in range(first, first + count):
        watch = Stopwatch(daemon.pid)
        pipe.write(harness.report_line(link=f"L{seq % 1000}", seq=seq // 1000 + 2, rssi_dbm=-97, snr_db=7.25, noise_dbm=-117))
        while pipe.unread() > 0:
            if watch.clock_s() > 20:
                raise harness.Failed("a report was never read")
            time.sleep(0.0001)
        out.append(watch.read())
        time.sleep(0.005 + 0.005 * random.random())
    return out


def check_scrapers(t):
    t.section("a hundred scrapers of a thousand links")
    radio = Pipe()
    t.keep(radio.close)
    links = "".join(f"  - name: L{i}\n" for i in range(1000))
    daemon = t.daemon("ports: [ { name: mast, source: 'stdin:' } ]\n"
                      "defaults:\n  expect: 5h\n  radio: { spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\nlinks:\n" + links,
                      stdin=radio.reading)
    radio.write(b"".join(line(i, 1, 1) for i in range(1000)))
    daemon.wait_metric(1, "fadeward_link_reports_total", link="L999")
    count = 500 if t.long else 100
    quiet = read_within(daemon, radio, count)
    scrapers = [Nuisance(scraper, daemon.port) for _ in range(100)]
    for each in scrapers:
        each.process.start()
    try:
        harness.wait_until(lambda: all(each.made.value for each in scrapers), "each has had an answer", 120)
        before = sum(each.made.value for each in scrapers)
        taken = read_within(daemon, radio, count, count)
        served = sum(each.made.value for each in scrapers) - before
    finally:
        for each in scrapers:
            each.__exit__()
    alone, scraped = figures("alone", quiet), figures("scraped", taken)
    delay = scraped[0] - alone[0]
    t.expect(served > 0, f"{served} scrapes served meanwhile")
    limit = SCRAPERS_LIMIT_S if t.long else 0.2
    t.within(delay, limit, f"a report is delayed by {1000 * delay:.2f} ms in the middle, at most {1000 * limit:.0f} ms")
    worst = scraped[1] - alone[1]
    t.within(worst, 5 * limit, f"and by {1000 * worst:.1f} ms at the worst")
    # What is served may be a moment old.
    harness.wait_until(lambda: daemon.metrics().total("fadeward_link_reports_total") == 1000 + 2 * count, "every one is counted", 10)
    t.equal(daemon.stop()[0], 0, "it ends with 0")


def test(t):
    t.section("a quiet time")
    bench = Bench(t, "quiet")
    judge(t, "alone", bench.measure())
    bench.daemon.stop()
    check_strangers(t)
    check_certificates(t)
    check_receivers(t)
    check_names(t)
    check_scrapers(t)


harness.run(test)
