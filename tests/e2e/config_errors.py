"""A wrong configuration or command line: exit code 2, with the place and what is allowed there."""

import re

import harness

MINIMAL = """\
links:
  - name: L1
    radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }
    budget: { inbound_signal_dbm: -100, outbound_signal_dbm: -100 }
    alerts: { margin_db: { warning: 10, critical: 5 } }
"""

# title, file, the text at whose first character the message points (the last occurrence), the key
# that it names, and words that say what is allowed.
REFUSED = [
    ("unknown key on top", MINIMAL + "thermostat: 3\n", "thermostat", "thermostat", ["links", "ports"]),
    ("unknown key of a link", MINIMAL.replace("budget:", "bugdet:"), "bugdet", "links[0].bugdet",
     ["budget", "radio", "alerts"]),
    ("unknown key in a map of a map", MINIMAL.replace("critical: 5", "fatal: 5"), "fatal",
     "links[0].alerts.margin_db.fatal", ["warning", "critical"]),
    ("a span without unit", MINIMAL + "    expect: 10\n", "10\n", "links[0].expect", ["10ms", "90s"]),
    ("a span in a wrong unit", MINIMAL + "    expect: 10 dB\n", "10 dB", "links[0].expect", ["90s"]),
    ("a number with a unit", MINIMAL.replace("125000", "125 kHz"), "125 kHz",
     "links[0].radio.bandwidth_hz", ["Hz"]),
    ("duplicate link", MINIMAL + "  - name: L2\n  - name: L1\n", "L1\n", "links[2].name", ["L1"]),
    ("duplicate port", "ports:\n  - { name: p, source: 'stdin:' }\n  - { name: p, source: 'stdin:' }\n" + MINIMAL,
     "p, source: 'stdin:' }\nlinks", "ports[1].name", ["p"]),
    ("impossible spreading factor", MINIMAL.replace("spreading_factor: 7", "spreading_factor: 13"),
     "13,", "links[0].radio.spreading_factor", ["5", "12"]),
    ("a number that is none", MINIMAL.replace("noise_figure_db: 6", "noise_figure_db: .nan"),
     ".nan", "links[0].radio.noise_figure_db", ["number"]),
    ("a level of a power station", MINIMAL.replace("outbound_signal_dbm: -100", "outbound_signal_dbm: 1e999"),
     "1e999", "links[0].budget.outbound_signal_dbm", ["dBm"]),
    ("thresholds in the wrong order", MINIMAL.replace("critical: 5", "critical: 15"), "15 }",
     "links[0].alerts.margin_db.critical", ["10"]),
    ("a port that is not there", MINIMAL + "    match: { port: mast }\n", "mast", "links[0].match.port",
     []),
    ("unknown source", "ports:\n  - { name: p, source: 'pipe:x' }\n" + MINIMAL, "'pipe:x'",
     "ports[0].source", ["serial:", "tcp://", "udp://", "file:", "stdin:"]),
    ("an expression that cannot be",
     "ports:\n  - { name: p, source: 'stdin:', decoder: pattern, pattern: '(?P<seq>[0-9+' }\n" + MINIMAL,
     "'(?P<seq>", "ports[0].pattern", []),
    ("a tab as indentation", "links:\n\t- name: L1\n", None, None, []),
    ("a bracket that is never closed", "links: [\n  { name: L1 }\n", None, None, []),
    ("a quote that is never closed", "links:\n  - name: \"L1\n", None, None, []),
    ("nothing in the file", "", None, None, ["links"]),
    ("bytes that are no text", b"links:\n  - name: \xff\xfe\n", None, None, ["UTF-8"]),
    ("a zero byte", b"links:\n  - name: a\0b\n", None, None, []),
]

COMMANDS = ["watch", "check", "replay", "budget", "simulate"]


def place_of(text, mark):
    """Line and column, from 1, of the last occurrence of `mark`."""
    before = text[:text.rindex(mark)]
    return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1


def check_refused(t, recording):
    arguments = {"check": [], "watch": [], "replay": [recording], "budget": []}
    for number, (title, text, mark, key, words) in enumerate(REFUSED):
        path = t.write(f"refused{number}.yaml", text)
        place = place_of(text, mark) if mark else None
        for command, more in arguments.items():
            code, out, err = t.run(command, "--config", path, *more, limit_s=10)
            first = err.splitlines()[0] if err else ""
            found = re.fullmatch(re.escape(path) + r":(\d+):(\d+): (.*)", first)
            problems = []
            if code != 2:
                problems.append(f"exit code {code}")
            if out:
                problems.append(f"standard output {out[:80]!r}")
            if not found:
                problems.append("the message does not begin with FILE:LINE:COLUMN: ")
            else:
                if place and (int(found[1]), int(found[2])) != place:
                    problems.append(f"place {found[1]}:{found[2]} instead of {place[0]}:{place[1]}")
                if key and not found[3].startswith(key + ": "):
                    problems.append(f"key is not {key}")
                problems += [f"does not say {word!r}" for word in words if word not in found[3]]
            t.expect(not problems, f"{command}: {title}", "; ".join(problems) + f" in {err!r}")


def check_unreadable(t, recording):
    for command, more in {"check": [], "watch": [], "replay": [recording], "budget": []}.items():
        for title, path, word in [("missing file", t.path("nowhere.yaml"), "No such file"),
                                  ("a directory", t.directory, "irectory")]:
            code, out, err = t.run(command, "--config", path, *more)
            t.expect(code == 2 and not out and path in err and word in err, f"{command}: {title}",
                     f"{code} {err!r}")


def check_several(t):
    path = t.write("several.yaml", "lnks: 1\nports: 5\nlinks:\n  - nam: a\n")
    code, _, err = t.run("check", "--config", path)
    places = re.findall(r"^" + re.escape(path) + r":(\d+):\d+: ", err, re.M)
    t.expect(code == 2 and places == ["1", "2", "4", "4"] or places == ["1", "2", "4"],
             "every mistake of a file is told at once, in its order", f"{code} {err!r}")


def check_command_line(t, good, recording):
    wrong = [
        ([], "no command"),
        (["fly"], "unknown command"),
        (["watch"], "watch without --config"),
        (["check", "--config"], "--config without a value"),
        (["check", "--confg", good], "misspelt option"),
        (["check", "--config", good, "more"], "a word too many"),
        (["replay", "--config", good], "replay without input"),
        (["replay", "--config", good, "--snapshots", "5", recording], "--snapshots without unit"),
        (["replay", "--config", good, "--snapshots", "0s", recording], "--snapshots 0s"),
        (["replay", "--config", good, "--snapshots", "-1h", recording], "--snapshots -1h"),
        (["watch", "--config", good, "--time-factor", "0"], "--time-factor 0"),
        (["budget", "--config", good, "--link", "L9"], "budget of an unknown link"),
        (["simulate", "--scenario", "atlantis"], "unknown scenario"),
        (["simulate", "--scenario", "healthy", "--days", "x"], "--days that is no number"),
        (["simulate", "--scenario", "healthy", "--days", "-1"], "--days below zero"),
    ]
    for arguments, title in wrong:
        code, out, err = t.run(*arguments)
        t.expect(code == 2 and not out and err, f"exit code 2: {title}", f"{code} {out!r} {err!r}")
    code, _, err = t.run("budget", "--config", good, "--link", "L9")
    t.expect("L9" in err and "L1" in err, "budget names the links that there are", err)
    _, _, err = t.run("simulate", "--scenario", "atlantis")
    t.expect("healthy" in err, "simulate names the scenarios that there are", err)
    code, _, err = t.run("replay", "--config", good, t.path("nowhere.jsonl"))
    t.expect(code == 1 and "nowhere.jsonl" in err, "exit code 1: a recording that is not there",
             f"{code} {err!r}")


def check_help(t):
    code, out, _ = t.run("--version")
    t.expect(code == 0 and re.match(rb"fadeward \d+\.\d+", out), "--version", f"{code} {out!r}")
    code, out, _ = t.run("--help")
    t.expect(code == 0 and all(command.encode() in out for command in COMMANDS),
             "--help names every command", f"{code} {out!r}")
    for command in COMMANDS:
        code, out, err = t.run(command, "--help")
        t.expect(code == 0 and b"--" in out and not err, f"{command} --help", f"{code} {err!r}")
        code, out, err = t.run(command, "--version")
        t.expect(code == 0 and out.startswith(b"fadeward "), f"{command} --version", f"{code} {err!r}")


def check_accepted(t, good, recording):
    code, out, err = t.run("check", "--config", good)
    t.expect(code == 0 and b"L1" in out and not err, "check accepts the least that makes sense",
             f"{code} {err!r}")
    code, out, err = t.run("replay", "--config", good, recording)
    t.expect(code == 0, "replay accepts it", f"{code} {err!r}")
    code, out, err = t.run("budget", "--config", good, "--json")
    t.expect(code == 0 and b'"L1"' in out, "budget accepts it", f"{code} {err!r}")
    daemon = t.daemon(MINIMAL)
    t.equal(daemon.metrics().get("fadeward_link_up", link="L1"), 0, "watch accepts it and serves")
    code, _ = daemon.stop()
    t.equal(code, 0, "and ends with 0")


def test(t):
    good = t.write("good.yaml", MINIMAL)
    recording = t.write("recording.jsonl",
                        harness.report_line(time=1900000000, link="L1", seq=1, rssi_dbm=-90))
    t.section("files that are refused")
    check_refused(t, recording)
    check_unreadable(t, recording)
    check_several(t)
    t.section("command lines that are refused")
    check_command_line(t, good, recording)
    t.section("help")
    check_help(t)
    t.section("what is accepted")
    check_accepted(t, good, recording)


harness.run(test)
