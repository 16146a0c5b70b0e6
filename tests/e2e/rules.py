"""Rules for Prometheus and the example for Alertmanager: the servers' own tools accept them, every
alert is raised, changes its severity and ends, real inhibition leaves what it should, and every alert
has a page in the runbook."""

import json
import os
import re
import subprocess

import harness
import servers

# Contract of the project, section 4.
ALERTS = ["MarginLow", "MarginForecastLow", "BudgetDeficit", "FadingSuspected", "InterferenceSuspected", "EquipmentSuspected",
          "LossHigh", "RetriesHigh", "LatencyHigh", "LinkSilent", "HopUneven", "DwellExceeded", "DutyExceeded",
          "ForeignFrames", "RadioRestarted", "SettingChanged", "PortFault"]
ROUTES = [({"alertname": "MarginLow", "severity": "critical"}, "night"),
          ({"alertname": "MarginLow", "severity": "warning"}, "office"),
          ({"alertname": "FadewardDown", "severity": "critical"}, "night"),
          ({"alertname": "DutyExceeded", "severity": "critical"}, "office"),
          ({"alertname": "RadioRestarted", "severity": "info"}, "logbook")]
CAUSES = {"none", "path", "near-antenna", "far-antenna", "far-transmit", "near-transmit", "near-receive", "far-receive",
          "near-noise", "far-noise", "near-channels", "far-channels", "collisions", "port", "restart", "silent"}
PAGE_PARTS = ["## Meaning", "## Likely causes", "## Check, in this order", "## Take along", "## Cautions"]


def tool(t, *command):
    done = subprocess.run([t.need(command[0]), *command[1:]], capture_output=True, check=False, timeout=120, text=True)
    return done.returncode, done.stdout + done.stderr


def read(t, path):
    with open(os.path.join(t.source, path), encoding="utf-8") as file:
        return file.read()


def check_rules(t):
    t.section("rules")
    rules = os.path.join(t.source, "deploy/prometheus/rules.yml")
    code, said = tool(t, "promtool", "check", "rules", "--lint=all", "--lint-fatal", rules)
    t.expect(code == 0, "promtool finds nothing to complain about", said)
    code, said = tool(t, "promtool", "test", "rules", os.path.join(t.source, "tests/data/prometheus/rules_test.yml"))
    t.expect(code == 0, "every alert is raised, changes and ends as it should", said)
    text = read(t, "deploy/prometheus/rules.yml")
    names = re.findall(r"- alert: (\S+)", text)
    t.equal([name for name in names if not name.startswith("Fadeward")], ALERTS, "one rule for each alert of the contract")
    tested = read(t, "tests/data/prometheus/rules_test.yml")
    for name in names:
        raised = re.search(rf"alertname: {name}, eval_time: \w+, exp_alerts: \[\{{", tested)
        ended = re.findall(rf"alertname: {name}, eval_time: \w+, exp_alerts: \[\] ", tested)
        if not t.expect(raised and len(ended) >= 2, f"{name} is tested before, during and after"):
            break
    names_of_records = re.findall(r"- record: (\S+)", text)
    t.equal([name for name in names_of_records if not re.fullmatch(r"[a-z_]+:fadeward_[a-z_]+:[a-z0-9_]+", name)], [],
            "records are named level:metric:operations")
    return names


def check_runbook(t, names):
    t.section("runbook")
    directory = os.path.join(t.source, "deploy/runbook")
    pages = {name.removesuffix(".md") for name in os.listdir(directory) if name.endswith(".md")} - {"README"}
    t.equal(pages, set(names), "a page for every alert and no page without one")
    rules = read(t, "deploy/prometheus/rules.yml")
    index = read(t, "deploy/runbook/README.md")
    for name in names:
        linked = f"runbook_url: deploy/runbook/{name}.md\n" in rules and f"({name}.md)" in index
        page = read(t, f"deploy/runbook/{name}.md")
        places = [page.find(part) for part in PAGE_PARTS]
        whole = page.startswith(f"# {name}\n") and -1 not in places and places == sorted(places)
        if not t.expect(linked and whole, f"{name}: linked from its rule and the list, with all its parts", places):
            break
    for name in ALERTS:
        listed = re.search(r"## Likely causes\n(.*?)\n## ", read(t, f"deploy/runbook/{name}.md"), re.DOTALL).group(1)
        causes = [cause for line in re.findall(r"^- (`[^:]*):", listed, re.MULTILINE) for cause in re.findall("`([^`]*)`", line)]
        if not t.expect(causes and set(causes) <= CAUSES, f"{name}: causes are those that an alert can have", causes):
            break
    links = [(name, target) for name in [*names, "README"]
             for target in re.findall(r"\]\(([A-Za-z.]+\.md)\)", read(t, f"deploy/runbook/{name}.md"))]
    t.equal([each for each in links if not os.path.exists(os.path.join(directory, each[1]))], [], "no link leads nowhere")


def alert(**labels):
    return {"labels": {"gateway": "mill", **labels}}


def check_alertmanager(t):
    t.section("Alertmanager")
    path = os.path.join(t.source, "deploy/prometheus/alertmanager-example.yml")
    code, said = tool(t, "amtool", "check-config", path)
    t.expect(code == 0, "amtool accepts the example", said)
    for labels, receiver in ROUTES:
        code, said = tool(t, "amtool", "config", "routes", "test", f"--config.file={path}", f"--verify.receivers={receiver}",
                          *[f"{key}={value}" for key, value in labels.items()])
        t.expect(code == 0, f"{' '.join(labels.values())} goes to {receiver}", said)

    server = servers.Alertmanager(t, path)
    speaking = [
        alert(alertname="LinkSilent", link="weir", severity="critical"),
        alert(alertname="MarginLow", link="ridge", direction="inbound", severity="critical"),
        alert(alertname="MarginLow", link="ridge", direction="outbound", severity="warning"),
        alert(alertname="FadewardDown", instance="a:1", severity="critical"),
        {"labels": {"gateway": "fell", "alertname": "PortFault", "port": "mast", "severity": "critical"}},
        {"labels": {"gateway": "fell", "alertname": "MarginLow", "link": "tarn", "severity": "critical"}},
    ]
    withheld = [
        alert(alertname="MarginLow", link="weir", direction="inbound", severity="critical"),      # the link is silent
        alert(alertname="MarginLow", link="ridge", direction="inbound", severity="warning"),      # there is a worse one
        alert(alertname="FadewardConfigReloadFailed", instance="a:1", severity="warning"),        # does not answer at all
        {"labels": {"gateway": "fell", "alertname": "LossHigh", "link": "tarn", "severity": "warning"}},   # its port is down
    ]
    t.equal(server.post(json.dumps(withheld + speaking)).status, 200, "alerts of two gateways are taken")

    def states():
        return {json.dumps(each["labels"], sort_keys=True): bool(each["status"]["inhibitedBy"]) for each in server.alerts()}
    wanted = {json.dumps(each["labels"], sort_keys=True): each in withheld for each in withheld + speaking}
    try:
        harness.wait_until(lambda: states() == wanted, "inhibition has settled", 30)
    except harness.Failed:
        pass
    t.equal(states(), wanted, "four are withheld, six speak")
    server.stop()


def check_both_ways(t):
    t.section("pushed by the daemon and raised by Prometheus: one alert")
    alertmanager = servers.Alertmanager(t)
    daemon = t.daemon(f"external_labels: {{ gateway: mill-house }}\npush: {{ alertmanagers: ['{alertmanager.url}'] }}\n"
                      f"ports:\n  - {{ name: yard, source: 'serial:{t.path('missing')}', serial: {{ baud: 57600 }} }}\n"
                      "links:\n  - name: weir\n    match: { port: yard }\n"
                      "    radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n")
    prometheus = servers.Prometheus(t, servers.scraping(daemon.port, rules_of=t.source) | {
        "alerting": {"alertmanagers": [{"static_configs": [{"targets": [f"127.0.0.1:{alertmanager.port}"]}]}]}})
    harness.wait_until(lambda: daemon.pushed("sent_total", alertmanager.url) >= 1, "the daemon has told the fault", 60)

    def known():
        return [each for each in alertmanager.alerts() if each["labels"]["alertname"] == "PortFault"]
    # Only Prometheus tells where an alert was generated.
    harness.wait_until(lambda: any("/graph?" in each.get("generatorURL", "") for each in known()), "Prometheus has told it, too", 60)
    t.equal([each["labels"] for each in known()],
            [{"alertname": "PortFault", "gateway": "mill-house", "port": "yard", "severity": "critical"}], "both are one")
    t.expect(known()[0]["annotations"].get("cause") == "port", "the cause is an annotation", known()[0]["annotations"])
    harness.PtyRadio(t.path("missing"))
    harness.wait_until(lambda: not known(), "its end arrives", 60)
    t.expect(True, "and it ends")
    for each in (daemon, prometheus, alertmanager):
        each.stop()


def test(t):
    names = check_rules(t)
    check_alertmanager(t)
    check_both_ways(t)
    check_runbook(t, names)


harness.run(test)
