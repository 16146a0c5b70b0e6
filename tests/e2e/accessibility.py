"""The page of all links and the review page in a headless browser, at the widths of a phone and of a
desk, light and dark: checks of success criteria of WCAG 2.1 that a program can decide, and with
--long, where npm can fetch it, axe-core as well. The checks are tried on a page that is known to be
wrong first."""

import html
import json
import os
import re
import shutil
import subprocess
import tempfile
import threading
import time

import harness

PHONE_PX, DESK_PX = 360, 1280   # 1.4.10 asks for 320 and up without scrolling in two dimensions

# Relative luminance and contrast ratio as WCAG 2.1 defines them (2.1, "relative luminance"; its own
# threshold 0.03928 is kept). Results go to the parent page, which the browser prints.
CHECKS = r"""
(async () => {
  const wrong = [];
  for (const folded of document.querySelectorAll('details')) folded.open = true;
  const where = el => el.tagName.toLowerCase() + (el.getAttribute('class') ? '.' + el.getAttribute('class') : '')
    + ' "' + (el.textContent || '').trim().slice(0, 30) + '"';
  const say = (criterion, el, what) => wrong.push(criterion + ' ' + (el ? where(el) + ': ' : '') + what);
  const all = selector => Array.from(document.querySelectorAll(selector));
  const shown = el => { const box = el.getBoundingClientRect(); const style = getComputedStyle(el);
    return box.width > 1 && box.height > 1 && style.visibility === 'visible' && style.display !== 'none'; };

  const rgba = text => { const found = text.match(/^rgba?\(([\d.]+), ([\d.]+), ([\d.]+)(?:, ([\d.]+))?\)$/);
    return found ? [+found[1], +found[2], +found[3], found[4] === undefined ? 1 : +found[4]] : null; };
  const over = (top, under) => [0, 1, 2].map(i => top[i] * top[3] + under[i] * (1 - top[3])).concat(1);
  const linear = c => { c /= 255; return c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; };
  const luminance = c => 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]);
  const ratio = (a, b) => { const x = luminance(a), y = luminance(b);
    return (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05); };
  const dark = matchMedia('(prefers-color-scheme: dark)').matches;
  const ground = el => { const stack = [];
    for (let e = el; e; e = e.parentElement) stack.push(rgba(getComputedStyle(e).backgroundColor) || [0, 0, 0, 0]);
    let colour = dark ? [18, 18, 18, 1] : [255, 255, 255, 1];
    for (const one of stack.reverse()) colour = over(one, colour);
    return colour; };

  // 1.4.3: every piece of text against what is behind it.
  const pairs = {};
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const el = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || !shown(el) || /^(SCRIPT|STYLE|title|TITLE)$/.test(el.tagName)) continue;
    const style = getComputedStyle(el), drawn = el instanceof SVGElement;
    const colour = rgba(drawn ? style.fill : style.color);
    if (!colour) { say('1.4.3', el, 'a colour that is not understood: ' + style.color); continue; }
    const behind = ground(drawn ? el.closest('svg').parentElement : el);
    const size = parseFloat(style.fontSize), bold = parseInt(style.fontWeight) >= 700;
    const least = size >= 24 || (bold && size >= 18.66) ? 3 : 4.5;
    const found = ratio(over(colour, behind), behind);
    const key = style.color + style.fill + behind + least;
    if (!(key in pairs)) { pairs[key] = found;
      if (found < least) say('1.4.3', el, 'contrast ' + found.toFixed(2) + ', at least ' + least); }
  }
  // 1.4.11: lines that carry meaning; the grid and the band do not stand alone.
  const strokes = {};
  for (const path of all('svg path, svg line')) {
    if (path.matches('.grid, .band, .grid *, .band *') || !shown(path.closest('svg'))) continue;
    const text = getComputedStyle(path).stroke, colour = rgba(text);
    if (!colour || text in strokes) continue;
    const behind = ground(path.closest('svg').parentElement);
    strokes[text] = ratio(over(colour, behind), behind);
    if (strokes[text] < 3) say('1.4.11', path, 'contrast of a line ' + strokes[text].toFixed(2));
  }

  // 1.1.1, 1.3.1, 2.4.2, 2.4.4, 2.4.6, 3.1.1, 4.1.1, 4.1.2
  if (!/^en\b/.test(document.documentElement.lang)) say('3.1.1', null, 'no language');
  if (!document.title.trim()) say('2.4.2', null, 'no title');
  if (all('h1').length !== 1) say('2.4.6', null, all('h1').length + ' first headings');
  if (all('main').length !== 1) say('1.3.1', null, all('main').length + ' main parts');
  let level = 0;
  for (const head of all('h1, h2, h3, h4, h5, h6')) { const now = +head.tagName[1];
    if (now > level + 1) say('1.3.1', head, 'a level of headings is skipped');
    level = now; }
  const byIds = el => (el.getAttribute('aria-labelledby') || '').split(/\s+/).filter(Boolean)
    .map(id => document.getElementById(id)?.textContent || '').join(' ');
  const name = el => (el.getAttribute('aria-label') || byIds(el) || '').trim();
  for (const drawing of all('svg')) {
    if (drawing.closest('[aria-hidden=true]')) continue;
    const title = drawing.querySelector(':scope > title');
    if (drawing.getAttribute('role') !== 'img') say('4.1.2', drawing.parentElement, 'a drawing without a role');
    if (!name(drawing) && !(title && title.textContent.trim())) say('1.1.1', drawing.parentElement, 'a drawing without a name');
  }
  for (const cell of all('th')) if (!/^(col|row|colgroup|rowgroup)$/.test(cell.scope)) say('1.3.1', cell, 'a head without its scope');
  for (const table of all('table')) {
    const caption = table.querySelector(':scope > caption');
    if (!name(table) && !(caption && caption.textContent.trim()) && !name(table.parentElement)) say('1.3.1', table, 'a table without a name');
  }
  for (const link of all('a')) if (!(link.textContent.trim() || name(link))) say('2.4.4', link, 'a link without words');
  const ids = all('[id]').map(el => el.id);
  if (new Set(ids).size !== ids.length) say('4.1.1', null, 'an id twice');
  if (/user-scalable\s*=\s*(no|0)|maximum-scale\s*=\s*1\b/.test(document.querySelector('meta[name=viewport]')?.content || '')) say('1.4.4', null, 'no zoom');

  // 1.4.10, 2.1.1: nothing scrolls sideways but what the keyboard reaches.
  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth) say('1.4.10', null, 'scrolls sideways: ' + root.scrollWidth + ' of ' + root.clientWidth);
  for (const el of all('body *')) {
    if (el instanceof SVGElement || el.scrollWidth <= el.clientWidth + 1 || !/auto|scroll/.test(getComputedStyle(el).overflowX)) continue;
    if (el.tabIndex < 0) say('2.1.1', el, 'scrolls, but not by keyboard');
    else if (!el.getAttribute('role') || !name(el)) say('4.1.2', el, 'can be focused and has no role and name');
  }
  // 2.4.7: what has the focus shows it.
  let focused = 0;
  for (const el of all('a[href], button, summary, [tabindex="0"], input, select')) {
    if (!shown(el)) continue;
    el.focus({ focusVisible: true, preventScroll: true });
    if (document.activeElement !== el) { say('2.1.1', el, 'cannot be focused'); continue; }
    ++focused;
    const style = getComputedStyle(el), behind = ground(el.parentElement), colour = rgba(style.outlineColor);
    if (style.outlineStyle === 'none' || parseFloat(style.outlineWidth) < 1) say('2.4.7', el, 'focus does not show');
    else if (colour && style.outlineStyle !== 'auto' && ratio(over(colour, behind), behind) < 3) say('1.4.11', el, 'focus hardly shows');
  }
  const out = { wrong, width: innerWidth, dark, pairs: Object.keys(pairs).length, strokes: Object.keys(strokes).length,
                lowest: Math.min(...Object.values(pairs)), drawings: all('svg').length, heads: all('th').length, focused };
  if (window.axe) out.axe = (await axe.run()).violations.map(one => one.id + ': ' + one.nodes.length + ' x ' + one.nodes[0].html.slice(0, 120));
  parent.postMessage(JSON.stringify(out), '*');
})();
"""

# Each part of it breaks one criterion. 4.48:1 is what #777 has on white, and #767676 4.54:1: the
# well-known neighbours of the limit (common practice).
WRONG = """<!DOCTYPE html><html><head><title> </title><style>.a{color:#777}.b{color:#767676}a:focus{outline:none}
.wide{width:2000px}.sc{overflow-x:auto;width:100px}</style></head><body style="background:#fff"><h1>a</h1><h1>b</h1><h3>c</h3>
<p class="a">too faint</p><p class="b">just enough</p><svg width="9" height="9"><path d="M0 0L9 9" style="stroke:#aaa"/></svg>
<table><tr><th>x</th></tr></table><a href="#x">words</a><a href="#y"></a><p class="wide">w</p><div class="sc"><p class="wide">w</p></div>
<i id="t"></i><i id="t"></i></body></html>"""
ALL_WRONG = ["1.4.3 p.a", "1.4.11 path", "3.1.1", "2.4.2", "2.4.6", "1.3.1 h3", "4.1.2 body", "1.1.1 body", "1.3.1 th", "1.3.1 table",
             "2.4.4 a", "4.1.1", "1.4.10", "2.1.1 div.sc", "2.4.7 a"]


class Browser:
    def __init__(self, t):
        self.command = t.need_browser()
        self.directory = tempfile.mkdtemp(prefix="fadeward-pages-")
        t.keep(lambda: shutil.rmtree(self.directory, ignore_errors=True))
        self.axe = fetch_axe(self.directory) if t.long else None
        self.pages = 0

    def look(self, page, width_px, dark=False):
        """What the checks find on a page. It stands in a frame: a window is never as narrow as a phone."""
        self.pages += 1
        inner = os.path.join(self.directory, f"page{self.pages}.html")
        outer = os.path.join(self.directory, f"frame{self.pages}.html")
        axe = f"<script>{self.axe}</script>" if self.axe else ""
        script = f"{axe}<script>addEventListener('load', () => {{ {CHECKS} }});</script>"
        with open(inner, "w", encoding="utf-8") as file:
            file.write(page.replace("</body>", script + "</body>"))
        with open(outer, "w", encoding="utf-8") as file:
            file.write("<!DOCTYPE html><title>frame</title><pre id=\"out\"></pre><script>addEventListener('message', "
                       "e => document.getElementById('out').textContent = e.data);</script>"
                       f"<iframe src=\"page{self.pages}.html\" style=\"width:{width_px}px;height:800px;border:0\"></iframe>")
        command = [*self.command, f"--user-data-dir={self.directory}/profile", "--window-size=1400,900", "--virtual-time-budget=20000",
                   f"--blink-settings=preferredColorScheme={0 if dark else 1}", "--dump-dom", "file://" + outer]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False, stdin=subprocess.DEVNULL)
        found = re.search(r'<pre id="out">(.+?)</pre>', done.stdout, re.S)
        if not found:
            raise harness.Failed(f"the browser gives no result: {done.returncode} {done.stdout[-500:]} {done.stderr[-800:]}")
        out = json.loads(html.unescape(found.group(1)))
        if out["width"] != width_px or out["dark"] != dark:
            raise harness.Failed(f"not the page that was asked for: {out}")
        return out


def fetch_axe(directory):
    npm = shutil.which("npm")
    if not npm:
        print("axe-core: npm is not installed, own checks only")
        return None
    try:
        subprocess.run([npm, "install", "--prefix", directory, "--no-audit", "--no-fund", "axe-core"],
                       capture_output=True, timeout=120, check=True)
        with open(os.path.join(directory, "node_modules/axe-core/axe.min.js"), encoding="utf-8") as file:
            return file.read()
    except (OSError, subprocess.SubprocessError) as failed:
        print(f"axe-core: cannot be fetched ({failed}), own checks only")
        return None


def with_style(daemon, page):
    """The style sheets of a served page inside of it: the browser opens a file."""
    def sheet(match):
        path = re.search(r'href="([^"]+)"', match.group(0)).group(1)
        return "<style>" + daemon.get(path).text + "</style>"
    return re.sub(r"<link [^>]*stylesheet[^>]*>", sheet, page)


def check(t, browser, page, what, least_drawings):
    for width_px in (PHONE_PX, DESK_PX):
        for dark in (False, True):
            out = browser.look(page, width_px, dark)
            name = f"{what}, {width_px} px, {'dark' if dark else 'light'}"
            t.equal(out["wrong"], [], f"{name}: no criterion is broken")
            print(f"     {out['pairs']} pairs of text and ground, the lowest {out['lowest']:.2f}:1; {out['strokes']} colours of lines; "
                  f"{out['drawings']} drawings, {out['heads']} heads, {out['focused']} places for the focus")
            t.expect(out["pairs"] >= 4 and out["drawings"] >= least_drawings and out["heads"] > 4 and out["focused"] > 0,
                     f"{name}: there was something to check", out)
            if "axe" in out:
                t.equal(out["axe"], [], f"{name}: axe finds nothing")


def test(t):
    browser = Browser(t)
    t.section("the checks find what is wrong")
    found = browser.look(WRONG, PHONE_PX)["wrong"]
    for start in ALL_WRONG:
        t.expect(any(one.startswith(start) for one in found), f"found: {start}", found)
    t.expect(not any(one.startswith("1.4.3 p.b") for one in found), "#767676 on white is enough")
    t.expect(any("4.48" in one for one in found), "#777 on white is 4.48:1", found)

    with tempfile.TemporaryDirectory(prefix="fadeward-review-", dir="/dev/shm" if os.path.isdir("/dev/shm") else None) as directory:
        history = os.path.join(directory, "history")
        subprocess.run([os.path.join(os.path.dirname(t.pty_play), "make_years"), history, "sluice"], check=True, timeout=250)
        pages(t, browser, history)


def pages(t, browser, history):
    radio = t.tcp()
    daemon = t.daemon(f"history: {{ dir: '{history}' }}\n"
                      "defaults:\n  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
                      "  alerts: { margin_db: { warning: 10, critical: 5 } }\n"
                      f"ports: [ {{ name: mast, source: 'tcp://127.0.0.1:{radio.port}' }} ]\n"
                      "links: [ { name: weak }, { name: strong }, { name: sluice }, { name: never heard of since it was put up } ]\n",
                      "--time-factor", 600, "--time-start", "2036-04-01T00:10:00Z")
    radio.accept()
    over = threading.Event()

    def talk():
        seq = 0
        while not over.is_set():
            seq += 1
            try:
                for link, level in (("weak", -118 - seq % 3), ("strong", -80 - seq % 3)):
                    radio.write(harness.report_line(link=link, seq=seq, rssi_dbm=level, snr_db=level + 117, noise_dbm=-117, far_rssi_dbm=-90 - seq % 2))
            except OSError:
                return
            time.sleep(0.02)
    talker = threading.Thread(target=talk, daemon=True)
    talker.start()
    try:
        t.section("the page of all links")
        harness.wait_until(lambda: "critical" in daemon.get("/").text.split("</head>")[1], "an alert stands")
        landing = with_style(daemon, daemon.get("/").text)
    finally:
        over.set()
        talker.join(5)
    check(t, browser, landing, "/", 1)
    t.section("the review page")
    review = harness.wait_until(lambda: (page := daemon.get("/review/sluice")).status == 200 and page.text, "the review is there")
    check(t, browser, with_style(daemon, review), "/review/sluice", 6)


harness.run(test)
