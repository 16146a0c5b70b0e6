"""The start of the daemon beside five years of a hundred links: how long until /-/ready, and how much
of the history it reads until then. Shortened: only the last two months hold all hundred links; with
--long all sixty do (1.2 GB). The time is told, not judged; what is read is judged."""

import os
import re
import shutil
import signal
import sqlite3
import statistics
import subprocess
import tempfile
import time

import harness

LINKS = 100
ROUNDS = 7
MOST_READ = 4_000_000   # bytes, by the start alone; a month of a hundred links is some 20 MB


def make_years(t, directory):
    """Five years of one invented link."""
    tool = os.path.join(os.path.dirname(t.pty_play), "make_years")
    subprocess.run([tool, directory, "link-0"], check=True, timeout=250)
    months = sorted(name for name in os.listdir(directory) if re.fullmatch(r"history-\d{4}-\d\d\.sqlite", name))
    t.equal(len(months), 60, "sixty months")
    return months


def multiply(path):
    """All rows of the first link for the others too; series and day share a row's key, see month_file.hpp."""
    with sqlite3.connect(path, isolation_level=None) as db:
        db.execute("PRAGMA synchronous = OFF")
        db.execute("BEGIN")
        first = db.execute("SELECT id FROM link").fetchone()[0]
        db.executemany("INSERT INTO link VALUES (?, ?)", [(first + i, f"link-{i}") for i in range(1, LINKS)])
        for shift, table in ((5, "hour"), (0, "recent")):
            rows = db.execute(f"SELECT id, data FROM {table}").fetchall()
            # In order of keys, as the daemon writes them.
            more = sorted((key + (2 * i << shift), data) for i in range(1, LINKS) for key, data in rows)
            db.executemany(f"INSERT INTO {table} VALUES (?, ?)", more)
        db.execute("COMMIT")
    db.close()


def read_bytes(pid):
    with open(f"/proc/{pid}/io", encoding="ascii") as file:
        return int(re.search(r"rchar: (\d+)", file.read()).group(1))


def start(t, config):
    """(seconds until it was ready, bytes read by then, the daemon)"""
    begin = time.monotonic()
    daemon = t.daemon(config, "--time-factor", 2, "--time-start", "2036-04-01T00:10:00Z", serving=False)
    port = None
    while time.monotonic() - begin < 30:
        if not port:
            found = re.search(r"serving http://\S*?:(\d+)/", daemon.log())
            port = found and int(found.group(1))
        if port:
            daemon.port = port
            try:
                if daemon.get("/-/ready").status == 200:
                    return time.monotonic() - begin, read_bytes(daemon.pid), daemon
            except OSError:
                pass
        time.sleep(0.002)
    raise harness.Failed(f"not ready within 30 s:\n{daemon.log()}")


def config_of(history, port):
    links = "".join(f"  - name: link-{i}\n" for i in range(LINKS))
    return ("defaults:\n  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
            + (f"history: {{ dir: {history}, keep: 6y }}\n" if history else "")
            + f"ports: [ {{ name: p, source: 'udp://127.0.0.1:{port}' }} ]\nlinks:\n{links}")


def measure(t, what, config, number=signal.SIGTERM):
    found = []
    for _ in range(ROUNDS):
        seconds, read, daemon = start(t, config)
        found.append((seconds, read))
        if number == signal.SIGTERM:
            daemon.stop()
        else:
            time.sleep(0.3)   # it has begun a month by then: a log lies beside the file
            daemon.send(number)
            daemon.wait()
    seconds = statistics.median(one for one, _ in found)
    read = max(one for _, one in found)
    print(f"     {what}: ready after {1000 * seconds:.0f} ms (median of {ROUNDS}, "
          f"{1000 * min(found)[0]:.0f} to {1000 * max(found)[0]:.0f}), {read / 1e6:.2f} MB read")
    return seconds, read


def test(t):
    with tempfile.TemporaryDirectory(prefix="fadeward-start-") as place:
        directory = os.path.join(place, "history")
        t.section(f"beside five years of {LINKS} links")
        months = make_years(t, directory)
        for name in months if t.long else months[-2:]:
            multiply(os.path.join(directory, name))
        size = sum(os.path.getsize(os.path.join(directory, name)) for name in months)
        print(f"     {len(months)} months, {size / 1e6:.0f} MB")
        _, bare_read = measure(t, "without a history", config_of(None, harness.free_port()))
        config = config_of(directory, harness.free_port())
        for what, number in (("beside it", signal.SIGTERM), ("after kill -9", signal.SIGKILL)):
            _, read = measure(t, what, config, number)
            t.expect(read - bare_read < MOST_READ, f"{what}: it is ready before it has read the history",
                     f"{read - bare_read} bytes of {size}")
        seconds, _, daemon = start(t, config)
        answer = daemon.get("/history?link=link-99&quantity=frames&step=1h&from=2036-03-30&to=2036-03-31").json()
        t.expect(sum(value or 0 for _, value in answer["points"]) > 1000, "and the history can be asked", answer["points"][:3])
        shutil.rmtree(directory, ignore_errors=True)


if __name__ == "__main__":
    harness.run(test)
