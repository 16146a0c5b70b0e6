"""A gateway that starts without a clock and loses power before it has one: what it heard is placed
once, where it belongs, when the time is known at last. The program runs under clocks of the test
(false_clock.cpp), five minutes in a second."""

import os
import signal
import struct
import threading
import time

import harness
from history import export, month_files, samples, sound

QUARTER_S = 900
SPEED = 300
SECOND = 1_000_000_000
APRIL = 1932768000  # 2031-04-01T00:00:00Z


class WallClock:
    """The file that the preloaded library looks into: the lead of the wall clock over the steady one."""

    def __init__(self, path):
        self.path = path
        self.set(0)

    def set(self, unix_s):
        """The wall clock shows this now."""
        steady = time.clock_gettime_ns(time.CLOCK_MONOTONIC) * SPEED
        first = not os.path.exists(self.path)
        with open(self.path, "wb" if first else "r+b", buffering=0) as file:
            file.write(struct.pack("=q", int(unix_s) * SECOND - steady))

    def lead(self):
        with open(self.path, "rb") as file:
            return struct.unpack("=q", file.read(8))[0]

    def now(self):
        return (time.clock_gettime_ns(time.CLOCK_MONOTONIC) * SPEED + self.lead()) / SECOND


class Talker(threading.Thread):
    """A radio that reports as long as somebody listens, and knows when it spoke: [steady ns]."""

    def __init__(self, radio, spoken):
        super().__init__(daemon=True)
        self.radio, self.spoken, self.over = radio, spoken, False

    def run(self):
        while not self.over:
            try:
                self.radio.write(harness.report_line(link="L1", seq=len(self.spoken), rssi_dbm=-90, snr_db=9,
                                                     noise_dbm=-115))
                self.spoken.append(time.clock_gettime_ns(time.CLOCK_MONOTONIC) * SPEED)
                time.sleep(0.02)
            except OSError:
                return


def listen(t, environment, spoken, directory):
    radio = t.tcp()
    daemon = t.daemon("defaults:\n"
                      "  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
                      f"history: {{ dir: {directory} }}\n"
                      f"ports: [ {{ name: p, source: 'tcp://127.0.0.1:{radio.port}' }} ]\n"
                      "links: [ { name: L1 } ]\n", env=environment)
    radio.accept()
    talker = Talker(radio, spoken)
    talker.start()
    return radio, daemon, talker


def placed(t, directory):
    """{end of a quarter hour: frames}; whatever stands there twice is a failure of its own."""
    found = samples(export(t, directory, "--from", "2031-01-01"), "fadeward_link_frames_total", link="L1", direction="inbound")
    ends = [at for at, _ in found]
    t.expect(len(ends) == len(set(ends)), "no quarter hour stands there twice", ends)
    out, before = {}, 0
    for end, total in found:   # a counter: each quarter hour is the difference
        out[end] = total - before
        before = total
    return out


def power_cut(t, library):
    t.section("kill -9 before the clock was ever set, the time known in the run after it")
    directory = t.path("history")
    clock = WallClock(t.path("lead"))
    environment = dict(os.environ, LD_PRELOAD=library, FALSE_CLOCK=clock.path, FALSE_CLOCK_SPEED=str(SPEED))
    spoken = []
    radio, daemon, talker = listen(t, environment, spoken, directory)
    t.equal(daemon.metrics().get("fadeward_clock_trusted"), 0, "the clock is not believed")
    begin = clock.now()
    harness.wait_until(lambda: clock.now() > begin + 4.5 * QUARTER_S, "four quarter hours pass", 40)
    daemon.send(signal.SIGKILL)
    daemon.wait()
    talker.over = True
    talker.join(5)
    radio.close()
    cut = len(spoken)
    t.equal(month_files(directory), [], "no year is written that did not happen")
    t.expect(os.path.getsize(os.path.join(directory, "held")) > 0, "what was heard is held on the disk")

    radio, daemon, talker = listen(t, environment, spoken, directory)
    again = clock.now()
    harness.wait_until(lambda: clock.now() > again + 2.2 * QUARTER_S, "two more pass", 40)
    t.equal(month_files(directory), [], "still nothing is written")
    clock.set(APRIL + 43000)
    daemon.wait_metric(1, "fadeward_clock_trusted")
    harness.wait_until(lambda: month_files(directory) == ["history-2031-04.sqlite"], "the time is known: the month begins")
    believed = clock.now()
    harness.wait_until(lambda: clock.now() > believed + 2.2 * QUARTER_S, "two more pass under the right clock", 40)
    t.equal(daemon.stop()[0], 0, "ends with 0")
    talker.over = True
    talker.join(5)
    radio.close()

    quarters = placed(t, directory)
    moments = [(steady + clock.lead()) / SECOND for steady in spoken]
    t.expect(all(moments[0] < end < moments[-1] + QUARTER_S for end in quarters), "every quarter hour lies where the radio spoke",
             [sorted(quarters), moments[0], moments[-1]])
    # Of the run that was cut: all that was over. A boot's quarter hours need not begin at the hour's.
    first_run = [end for end in quarters if end <= moments[cut] - QUARTER_S / 2]
    t.expect(len(first_run) >= 3, "those of the run that was cut are among them", [sorted(quarters), moments[cut]])
    # A quarter hour of the radio has so many frames at most: placed twice it would have more.
    whole = QUARTER_S / SPEED / 0.02
    t.expect(all(0 < frames <= whole + 1 for frames in quarters.values()), "none has more frames than can be spoken in it",
             sorted(quarters.items()))
    total, most = sum(quarters.values()), len(spoken)
    # Lost: what was open at the kill, and at the joint of the two clocks.
    t.expect(most - 2.5 * whole <= total <= most, "each frame is counted once; the open quarter hour may be lost",
             [total, most, sorted(quarters.items())])
    t.equal(sound(directory), {"ok"}, "SQLite's integrity check is clean")

    t.section("a start later places nothing again")
    radio, daemon, talker = listen(t, environment, [], directory)
    time.sleep(1)
    talker.over = True
    daemon.send(signal.SIGKILL)
    daemon.wait()
    radio.close()
    after = placed(t, directory)
    t.expect({end: after.get(end) for end in quarters} == quarters, "the quarter hours are what they were",
             [sorted(quarters.items()), sorted(after.items())])


def test(t):
    if t.sanitized:
        raise harness.Skipped("a sanitizer wants to be loaded first")
    library = os.path.join(os.path.dirname(t.pty_play), "false_clock.so")
    power_cut(t, library)


if __name__ == "__main__":
    harness.run(test)
