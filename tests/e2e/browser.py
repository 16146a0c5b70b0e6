"""The pages as a real browser has them: Chromium without a window loads the landing page and a review,
understands the markup as it was meant, runs nothing that a name contains, and finds nothing that the
page's own policy forbids."""

import html.parser
import math
import struct
import subprocess
import urllib.parse
import zlib

import harness

AWKWARD = "<script>document.title='taken'</script>&\"'<b>"
LINKS = ["weir", "ridge", AWKWARD]


class Page(html.parser.HTMLParser):
    """What stands in a document: tags, and the texts of the first column of each table."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.title, self.words, self.open = [], "", "", []
        self.heads = []   # of rows
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.open.append(tag)
        if tag == "th" and dict(attrs).get("scope") == "row":
            self.heads.append("")

    def handle_endtag(self, tag):
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data):
        self.words += data
        if "title" in self.open:
            self.title += data
        if "th" in self.open and self.heads and "thead" not in self.open:
            self.heads[-1] += data


class Browser:
    def __init__(self, t):
        self.t, self.command = t, t.need_browser()

    def run(self, *args):
        done = subprocess.run([*self.command, "--hide-scrollbars", "--enable-logging=stderr",
                               f"--user-data-dir={self.t.path(self.t.new_name('profile'))}", "--virtual-time-budget=3000", *args],
                              capture_output=True, check=False, timeout=120)
        if done.returncode:
            raise harness.Failed(f"chromium ended with {done.returncode}: {done.stderr.decode()[-1000:]}")
        # The console of the page alone: a browser without a window complains about much else.
        console = [line for line in done.stderr.decode("utf-8", "replace").splitlines() if "CONSOLE" in line]
        return done.stdout.decode("utf-8"), console

    def page(self, url):
        text, console = self.run("--dump-dom", url)
        return Page(text), console

    def picture(self, url, width, height):
        """(width, height, rows of bytes) of what is shown."""
        path = self.t.path(self.t.new_name("picture") + ".png")
        self.run(f"--window-size={width},{height}", f"--screenshot={path}", url)
        with open(path, "rb") as file:
            return read_png(file.read())


def read_png(data):
    """W3C PNG, second edition: chunks of length, kind, data and check; the filter type leads each row."""
    at, packed, size = 8, b"", None
    while at < len(data):
        length, kind = struct.unpack(">I4s", data[at:at + 8])
        body = data[at + 8:at + 8 + length]
        if kind == b"IHDR":
            size = struct.unpack(">II", body[:8])
        if kind == b"IDAT":
            packed += body
        at += length + 12
    return (*size, zlib.decompress(packed))


def start(t):
    radio = t.tcp()
    text = (f"history: {{ dir: {t.path('state')} }}\nports: [ {{ name: mast, source: 'tcp://127.0.0.1:{radio.port}' }} ]\n"
            "defaults:\n  expect: 1h\n  radio: { spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\nlinks:\n"
            + "".join(f"  - name: '{name.replace(chr(39), chr(39) * 2)}'\n" for name in LINKS))
    daemon = t.daemon(text)
    radio.accept()
    for seq in range(1, 41):
        for shift, name in enumerate(LINKS):
            radio.write(harness.report_line(link=name, seq=seq, rssi_dbm=-90 - shift + math.sin(seq), noise_dbm=-117))
    daemon.wait_metric(40, "fadeward_link_reports_total", link=AWKWARD)
    return daemon


def test(t):
    browser = Browser(t)
    daemon = start(t)
    top = f"http://127.0.0.1:{daemon.port}"
    harness.wait_until(lambda: daemon.links()["weir"]["inbound"]["margin_db"] is not None, "margins are known")

    _, console = browser.page("data:text/html,<script>console.error('heard')</script>")
    t.expect(any("heard" in line for line in console), "a page that complains is heard", console)

    t.section("all links")
    page, console = browser.page(top + "/")
    t.equal(console, [], "nothing in the console: the page keeps to its own policy")
    t.expect("script" not in page.tags and "b" not in page.tags, "no element that a name brought along")
    t.expect(page.title != "taken" and "fadeward" in page.title, "the title is the page's own", page.title)
    heads = [words.strip() for words in page.heads]
    t.equal(sorted(name for name in heads if name in LINKS), sorted(LINKS), "each link has a row, its name as it was written")
    margin = daemon.links()["weir"]["inbound"]["margin_db"]
    t.expect(f"{margin:.1f}" in page.words, f"the margin of {margin:.1f} dB stands there", page.words[:500])

    t.section("one link")
    for name in ("weir", AWKWARD):
        page, console = browser.page(top + "/review/" + urllib.parse.quote(name, safe=""))
        t.equal(console, [], f"{name}: nothing in the console")
        t.expect(name in page.words and "script" not in page.tags, "it names the link and runs nothing", page.words[:300])

    t.section("as it looks")
    for width, height in ((1200, 900), (360, 800)):
        shown_width, shown_height, rows = browser.picture(top + "/", width, height)
        t.equal((shown_width, shown_height), (width, height), f"a picture of {width} x {height}")
        t.expect(len(rows) > width * height and len(set(rows)) > 20, "that is not blank", len(set(rows)))
    t.equal(daemon.stop()[0], 0, "it ends with 0")


harness.run(test)
