"""The dashboards: their model keeps the rules of the known linters, and every expression gets an answer
from a real Prometheus that scrapes a daemon (fleet, link) or holds a backfilled year (season)."""

import itertools
import json
import math
import os
import re
import subprocess
import threading
import time

import harness
import servers

NAMES = ["fleet", "link", "season"]
DATASOURCE = {"type": "prometheus", "uid": "${datasource}"}
# Of Grafana's list of units.
UNITS = {"none", "dB", "dBm", "percentunit", "cps", "Bps", "bytes", "s", "volt", "celsius"}
# The palette of Okabe and Ito (2008) and colours of Tol (2021), both made for colour-blind readers, and grey.
COLOURS = {"#0072B2", "#D55E00", "#009E73", "#56B4E9", "#E69F00", "#CC79A7", "#8C8C8C", "#44AA99", "#117733", "#AA4499",
           "#DDCC77", "#999933", "#882255", "#661100", "#6699CC", "#332288"}
BUILT_IN = {"__rate_interval", "__interval", "__range"}
LINKS = ["weir", "ridge", "sluice", "quarry"]
FACTOR = 36000   # a day in 2.4 s
INTERVAL_S = 600
YEAR_DAYS = 400


# ---- the model -------------------------------------------------------------------------------


def load(t, name):
    with open(os.path.join(t.source, f"dashboards/{name}.json"), encoding="utf-8") as file:
        return json.load(file)


def everything(value, path=""):
    """(path, key, value) of all that is inside."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        yield path, key, inner
        yield from everything(inner, f"{path}/{key}")


def expressions(board):
    return [(f"{panel['title']} {target['refId']}", panel, target["expr"])
            for panel in board["panels"] for target in panel.get("targets", [])]


def overlaps(panels):
    def inside(a, b):
        return a["x"] < b["x"] + b["w"] and b["x"] < a["x"] + a["w"] and a["y"] < b["y"] + b["h"] and b["y"] < a["y"] + a["h"]
    return [(one["title"], other["title"]) for one, other in itertools.combinations(panels, 2)
            if inside(one["gridPos"], other["gridPos"])]


def known_metrics(t):
    """{name: kind} of what the daemon exports, the rules record and Prometheus adds."""
    with open(os.path.join(t.source, "tests/data/expected_metrics.txt"), encoding="utf-8") as file:
        known = dict(line.split() for line in file if line.strip() and not line.startswith("#"))
    with open(os.path.join(t.source, "deploy/prometheus/rules.yml"), encoding="utf-8") as file:
        known.update({name: "gauge" for name in re.findall(r"- record: (\S+)", file.read())})
    return known | {"up": "gauge"}


def check_model(t, name, board, known):
    t.section(f"{name}: the model")
    shown = [panel for panel in board["panels"] if panel["type"] != "row"]
    wrong = []

    def rule(holds, what, where=""):
        if not holds:
            wrong.append(f"{what}: {where}" if where else what)
    rule(board.get("id") is None and board["uid"] == f"fadeward-{name}", "a uid of its own and no id")
    rule(board["title"] and board["tags"] and board["schemaVersion"] >= 36 and board["editable"] is False, "title, tags, schema, not editable")
    variables = {each["name"]: each for each in board["templating"]["list"]}
    rule(variables["datasource"]["type"] == "datasource" and variables["datasource"]["query"] == "prometheus", "a variable for the source")
    for each in variables.values():
        used = re.compile(rf"\$\{{?{each['name']}\b")
        rule(any(isinstance(value, str) and used.search(value) for _, _, value in everything(board)), "unused variable", each["name"])
        rule(each["type"] == "datasource" or each["refresh"] == 2, "variable follows the time shown", each["name"])
    for path, key, value in everything(board):
        if key == "datasource":
            rule(value == DATASOURCE, "data source not by variable", path)
        if isinstance(value, str):
            for colour in re.findall(r"#[0-9A-Fa-f]{6}\b", value):
                rule(colour in COLOURS, "colour outside of the palette", f"{path} {colour}")
            for word in re.findall(r"\$\{?(\w+)", value):
                rule(word in variables or word in BUILT_IN or word == "__data" or word == "__all", "unknown variable", f"{path} {word}")
            for uid in re.findall(r"/d/([\w-]+)", value):
                rule(uid in {f"fadeward-{each}" for each in NAMES}, "link to an unknown dashboard", uid)
    rule(len({panel["id"] for panel in board["panels"]}) == len(board["panels"]), "panel ids are unique")
    rule(len({panel["title"] for panel in shown}) == len(shown), "titles are unique")
    for panel in board["panels"]:
        at = panel["gridPos"]
        rule(at["x"] >= 0 and at["w"] > 0 and at["h"] > 0 and at["x"] + at["w"] <= 24, "outside of 24 columns", panel["title"])
    rule(not overlaps(board["panels"]), "panels overlap", overlaps(board["panels"]))
    for panel in shown:
        where = panel["title"]
        rule(len(where) > 3 and panel["description"].endswith(".") and len(panel["description"]) > 15, "title and description", where)
        rule(panel["datasource"] == DATASOURCE and panel["targets"], "source and targets", where)
        rule(panel["fieldConfig"]["defaults"]["unit"] in UNITS, "unit", f"{where} {panel['fieldConfig']['defaults']['unit']}")
        ids = [target["refId"] for target in panel["targets"]]
        rule(len(set(ids)) == len(ids) and all(target["datasource"] == DATASOURCE for target in panel["targets"]), "refIds, sources", where)
        texts = [mapping["options"] for mapping in panel["fieldConfig"]["defaults"].get("mappings", [])]
        rule(panel["type"] != "state-timeline" or texts, "a state has words", where)
    for where, panel, expression in expressions(board):
        for metric, selector in re.findall(r"\b([a-z_]+(?::[a-z_0-9]+)*)\{([^}]*)\}", expression):
            rule(metric in known, "unknown metric", f"{where} {metric}")
            rule('gateway=~"$gateway"' in selector, "not of the chosen gateways", f"{where} {metric}")
            rule("link" not in variables or metric in ("up", "fadeward_snapshot_timestamp_seconds") or 'link="$link"' in selector,
                 "not of the chosen link", f"{where} {metric}")
            counter = known.get(metric) == "counter"
            rated = re.search(rf"\b(?:rate|increase)\({re.escape(metric)}\{{[^}}]*\}}\[\$__rate_interval\]", expression)
            rule(not counter or rated, "a counter without rate over $__rate_interval", f"{where} {metric}")
        rule(not re.search(r"\b(?:irate|delta|deriv)\(", expression), "rates by rate()", where)
        for inner, metric in re.findall(r"\b(rate|increase)\(([a-z_]+)", expression):
            rule(known.get(metric) == "counter", f"{inner} of a gauge", f"{where} {metric}")
        rule(not re.search(r"\bsum[^(]*\((?:[a-z_]+\()*[a-z_:]*_dbm?\b", expression), "decibels added up", where)
    t.equal(wrong, [], f"{len(shown)} panels keep the rules")


def filled_in(panel, expression, variables):
    span = panel.get("interval", "5m")
    values = {"__rate_interval": span, "__interval": span, "__range": "365d", **variables}
    return re.sub(r"\$\{?(\w+)\}?", lambda found: values[found.group(1)], expression)


def check_syntax(t, boards):
    t.section("expressions, by promtool")
    rules = [{"record": f"e:{name}_{i}:check", "expr": filled_in(panel, expression, {"gateway": "mill", "link": "weir"})}
             for name, board in boards.items() for i, (_, panel, expression) in enumerate(expressions(board))]
    path = t.write("expressions.yml", json.dumps({"groups": [{"name": "all", "rules": rules}]}))
    done = subprocess.run([t.need("promtool"), "check", "rules", path], capture_output=True, check=False, timeout=60)
    t.equal(done.returncode, 0, f"{len(rules)} expressions are PromQL {done.stdout.decode()[-500:] if done.returncode else ''}")


# ---- a real Prometheus -----------------------------------------------------------------------


class Prometheus(servers.Prometheus):
    def __init__(self, t, config, name):
        super().__init__(t, config, name, options=["--storage.tsdb.retention.time=100y"])

    def numbers(self, expression, at, span_s, step_s):
        """How many series have a number in that time."""
        if span_s == 0:
            found = [[each["value"]] for each in self.api("query", query=expression, time=at)["result"]]
        else:
            found = [each["values"] for each in
                     self.api("query_range", query=expression, start=at - span_s, end=at, step=step_s)["result"]]
        return sum(any(not math.isnan(float(value)) for _, value in series) for series in found)


def unanswered(prometheus, board, variables, at, span_s, step_s):
    found = []
    for where, panel, expression in expressions(board):
        instant = all(target["instant"] for target in panel["targets"])
        text = filled_in(panel, expression, variables)
        step = 86400 * int(panel["interval"].rstrip("d")) if "interval" in panel else step_s
        if not prometheus.numbers(text, at, 0 if instant else span_s, step):
            found.append((where, text))
    return found


class Valley(threading.Thread):
    """Feeds the valley into a pseudo-terminal at the daemon's pace until told to stop."""

    def __init__(self, t, radio):
        super().__init__(daemon=True)
        code, recording, err = t.run("simulate", "--scenario", "tarn-valley", "--seed", "3", "--days", "40",
                                     "--interval", str(INTERVAL_S))
        t.expect(code == 0, "forty days of the invented valley", err)
        lines = re.sub(rb'"time":[^,]+,', b"", recording).replace(b"}\n", b',"latency_s":0.7}\n').splitlines(keepends=True)
        self.rounds = [b"".join(lines[i:i + 2 * len(LINKS)]) for i in range(0, len(lines), 2 * len(LINKS))]
        self.radio, self.going = radio, True

    def run(self):
        begin = time.monotonic()
        for i, text in enumerate(self.rounds):
            time.sleep(max(0.0, begin + i * 2 * INTERVAL_S / FACTOR - time.monotonic()))
            if not self.going:
                return
            self.radio.write(text)


def config(device):
    links = "".join(f"  - name: {name}\n    match: {{ port: mast }}\n" for name in LINKS)
    return ("external_labels: { gateway: mill-house }\n"
            f"push: {{ alertmanagers: ['http://127.0.0.1:{harness.free_port()}'] }}\n"
            f"ports:\n  - {{ name: mast, source: 'serial:{device}', serial: {{ baud: 57600 }} }}\n"
            "defaults:\n  expect: 10m\n"
            "  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
            "  budget: { inbound_signal_dbm: -98, outbound_signal_dbm: -98 }\n"
            "  alerts: { margin_db: { warning: 90, critical: 5, hold: 0s }, silent: 2d }\n"
            "links:\n" + links)


def check_live(t, boards):
    t.section("fleet and link: a day in 2.4 s, scraped by a real Prometheus with the rules loaded")
    radio = t.pty()
    daemon = t.daemon(config(radio.link), "--time-factor", str(FACTOR), "--time-start", "2031-04-01T00:00:00Z")
    daemon.wait_metric(1, "fadeward_port_up", port="mast")
    prometheus = Prometheus(t, servers.scraping(daemon.port, rules_of=t.source), "live")
    valley = Valley(t, radio)
    valley.start()
    t.keep(lambda: setattr(valley, "going", False))
    harness.wait_until(lambda: prometheus.numbers("fadeward_link_trend_db_per_day", time.time(), 0, 1), "eight days have passed", 60)
    scraped = set(re.findall(r"^([a-z_]+)", daemon.get("/metrics").text, re.MULTILINE))
    used = {metric for name in ("fleet", "link") for _, _, expression in expressions(boards[name])
            for metric in re.findall(r"\b(fadeward_[a-z_]+|process_[a-z_]+)\{", expression)}
    t.equal(used - scraped, set(), f"the daemon exports all {len(used)} metrics that are asked for")
    variables = {"gateway": "mill-house", "link": "ridge"}
    left = []

    def answered():
        left[:] = [(name, *each) for name in ("fleet", "link")
                   for each in unanswered(prometheus, boards[name], variables, time.time(), 60, 5)]
        return not left
    try:
        harness.wait_until(answered, "everything is answered", 30, every_s=1)
    except harness.Failed:
        pass
    t.equal(left, [], f"{sum(len(expressions(boards[name])) for name in ('fleet', 'link'))} expressions are answered")
    t.equal({each["labels"].get("severity") for each in prometheus.api("alerts")["alerts"] if each["labels"]["alertname"] == "MarginLow"
             and each["labels"].get("link") == "weir"}, {"warning"}, "the rules raise what the daemon has judged")
    for name in ("gateway", "link"):
        found = prometheus.api(f"label/{name}/values", **{"match[]": "fadeward_link_up"})
        t.equal(set(found), {"mill-house"} if name == "gateway" else set(LINKS), f"what the variable {name} offers")
    valley.going = False
    daemon.stop()
    prometheus.stop()


def check_year(t, board):
    t.section(f"season: {YEAR_DAYS} days from the history, backfilled")
    settings = ("defaults:\n  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
                "  alerts: { margin_db: { warning: 90, hold: 0s } }\nlinks:\n  - name: L1\n")
    recording = t.path("year.jsonl")
    with open(recording, "wb") as file:
        subprocess.run([t.fadeward, "simulate", "--scenario", "foliage-season", "--seed", "11", "--days", str(YEAR_DAYS),
                        "--interval", "1800", "--start", "2031-04-12"], stdout=file, check=True, timeout=120)
    code, _, err = t.run("replay", "--config", t.write("year.yaml", settings), "--history", t.path("history"), "--output", os.devnull,
                         recording, limit_s=120)
    t.equal(code, 0, f"the history is made {err[-300:]}")
    code, export, _ = t.run("export", "--history", t.path("history"))
    export = export.replace(b"{link=", b'{gateway="mill-house",link=').replace(b"{port=", b'{gateway="mill-house",port=')
    made, complaint = servers.blocks_of(t, t.write("export.txt", export), t.path("year"))
    t.equal((code, made), (0, 0), f"export of {len(export) / 1e6:.0f} MB becomes blocks {complaint}")
    prometheus = Prometheus(t, {}, "year")
    last = max(int(at) for at in re.findall(rb" (\d{10})(?:\.\d+)?\n", export))
    variables = {"gateway": "mill-house", "link": "L1"}
    t.equal(unanswered(prometheus, board, variables, last, 380 * 86400, 86400), [],
            f"{len(expressions(board))} expressions are answered")
    t.equal(len(unanswered(prometheus, board, {"gateway": "elsewhere", "link": "L1"}, last, 380 * 86400, 86400)),
            len(expressions(board)), "and none of them for another gateway")
    prometheus.stop()


def test(t):
    boards = {name: load(t, name) for name in NAMES}
    known = known_metrics(t)
    t.equal(len({board["uid"] for board in boards.values()}), len(NAMES), "uids are unique")
    for name, board in boards.items():
        check_model(t, name, board, known)
    check_syntax(t, boards)
    check_year(t, boards["season"])
    check_live(t, boards)


harness.run(test)
