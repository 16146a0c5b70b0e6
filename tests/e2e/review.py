"""`fadeward review` on five invented years of two links: every format, the report, wrong words; and
the page of a daemon that watches beside the same history."""

import csv
import io
import json
import os
import re
import subprocess
import tempfile
import time

import harness


def test(t):
    make_years = os.path.join(os.path.dirname(t.pty_play), "make_years")
    # In memory where it can be had: thousands of commits need not wait for a disk.
    with tempfile.TemporaryDirectory(prefix="fadeward-review-", dir="/dev/shm" if os.path.isdir("/dev/shm") else None) as directory:
        check(t, make_years, os.path.join(directory, "history"))


def check(t, make_years, history):
    subprocess.run([make_years, history, "sluice", "ridge & co"], check=True, timeout=250)

    def review(*words, code=0):
        begun = time.monotonic()
        done = subprocess.run([t.fadeward, "review", *words], capture_output=True, text=True, timeout=120, check=False)
        t.equal(done.returncode, code, f"review {' '.join(words[2:])}: exit {code}")
        return done.stdout if code == 0 else done.stderr, time.monotonic() - begun

    t.section("text")
    text, took = review("--history", history, "--link", "sluice")
    print(f"     one link over five years: {took * 1000:.0f} ms with the start of the program")
    for part in ("Leaves", "12 June 2033", "mast visit: feeder replaced", "antenna or feeder at the site", "something new stands in the way", "gave back what had been lost",
                 "noise or another transmitter near the gateway", "hop channel 7 was", "does not compare"):
        t.expect(part in text.replace("\n", " ").replace("                   ", ""), f"it tells: {part}")
    both, _ = review("--history", history)
    t.expect("Link sluice" in both and "Link ridge & co" in both, "without --link: every link")

    t.section("JSON and CSV agree")
    data = json.loads(review("--history", history, "--link", "sluice", "--format", "json")[0])["links"][0]
    rows = list(csv.DictReader(io.StringIO(review("--history", history, "--link", "sluice", "--format", "csv")[0])))
    for direction, of_json in zip(("inbound", "outbound"), data["directions"]):
        of_csv = [row for row in rows if row["direction"] == direction]
        t.equal(len(of_csv), 1827, f"{direction}: a row for each day of five years")
        t.expect(all(a["day"] == b["day"] and abs(float(a["margin_db"]) - b["margin_db"]) < 1e-9 for a, b in zip(of_csv, of_json["days"])),
                 f"{direction}: the same margins")
        months = {row["month"]: row for row in of_json["months"]}
        t.equal(len(months), 60, f"{direction}: sixty months")
        frames = sum(int(row["frames"]) for row in of_csv if row["day"].startswith("2032-02"))
        t.equal(months["2032-02"]["frames"], frames, f"{direction}: a month holds its days' frames")
    part = json.loads(review("--history", history, "--link", "sluice", "--format", "json", "--from", "2035-06-01", "--to", "2035-07-01")[0])["links"][0]
    t.equal(len(part["directions"][0]["days"]), 30, "--from and --to: the days of June")

    t.section("performance report")
    report = json.loads(review("--history", history, "--report", "--format", "json")[0])
    t.equal([one["link"] for one in report["links"]], ["ridge & co", "sluice"], "every link")
    t.equal(report["links"][1]["performance"], data["performance"], "it counts as the review does")
    totals = report["links"][1]["performance"]["total"]["both"]
    t.equal((totals["upkeep"], totals["no_data"]), (6, 2), "six hours of work and two without the gateway are left out and shown")
    t.expect("all links" in review("--history", history, "--report")[0], "as text, with all links together")
    t.equal(len(list(csv.DictReader(io.StringIO(review("--history", history, "--report", "--format", "csv")[0])))), 2 * 3 * 60, "as CSV: links, ways and months")

    t.section("work entered after the fact")
    config = t.write("late.yaml", "links:\n  - name: sluice\n    upkeep: [ { from: 2034-05-01, to: 2034-05-02, note: late entry } ]\n")
    late = json.loads(review("--history", history, "--link", "sluice", "--config", config, "--report", "--format", "json")[0])["links"][0]["performance"]
    t.equal(late["total"]["both"]["upkeep"], totals["upkeep"] + 24, "a day of it is counted as if it had been known")
    t.expect("late entry" in late["upkeep_differences"][0] and "mast visit" in late["upkeep_differences"][1], "both differences are said", late["upkeep_differences"])
    t.equal(data["performance"]["upkeep_differences"], [], "without a configuration there is none")
    text = review("--history", history, "--link", "sluice", "--config", config)[0].replace("\n", " ")
    t.expect("is in the configuration and not in the history" in text, "the review says so too")

    t.section("page")
    page, _ = review("--history", history, "--format", "html")
    t.expect("<script" not in page and not re.search(r'(?:href|src)="', page), "needs no script and nothing from elsewhere")
    t.expect(page.count("<svg") >= 12 and page.count("<svg") == page.count('role="img"'), "drawings say what they show")
    t.expect("ridge &amp; co" in page and "ridge & co" not in page, "names are text")
    t.expect("<html" in review("--history", history, "--report", "--format", "html")[0], "the report as a page")

    t.section("wrong words")
    t.expect("ridge & co, sluice" in review("--history", history, "--link", "weir", code=2)[0], "the links that there are")
    t.expect("2031-04-01" in review("--history", history, "--from", "yesterday", code=2)[0], "how a date is written")
    t.expect("csv" in review("--history", history, "--format", "xml", code=2)[0], "the formats that there are")
    t.expect("not before" in review("--history", history, "--from", "2033-01-01", "--to", "2032-01-01", code=2)[0], "from after to")
    nowhere, _ = review("--history", t.path("nowhere"), code=2)
    t.equal(nowhere.count(t.path("nowhere")), 1, "a directory that is not there is named once")
    t.expect("no data" in review("--history", history, "--from", "2050-01-01")[0], "a period without data")
    review("--history", history, "--config", t.path("nowhere.yaml"), code=2)

    t.section("pages of the daemon")
    daemon = t.daemon(f"history: {{ dir: '{history}' }}\nports:\n  - {{ name: shed, source: 'serial:{t.path('nothing')}' }}\n"
                      "links:\n  - { name: sluice }\n  - { name: new one }\n")
    def until_ready(path):
        for _ in range(100):
            answer = daemon.get(path)
            if answer.status != 202:
                return answer
            time.sleep(0.1)
        return answer
    served = until_ready("/review/sluice")
    t.equal(served.status, 200, "/review/sluice")
    t.expect("12 June 2033" in served.text and "<style" not in served.text and "style=" not in served.text, "it tells the story within the policy")
    t.expect("is in the history and not in the configuration any more" in served.text, "and that the visit to the mast is no longer configured")
    t.expect("ridge &amp; co" in until_ready("/review/ridge%20%26%20co").text, "a link that is no longer configured")
    t.equal(until_ready("/review/new%20one").status, 200, "a link without data is a page that says so")
    t.equal(until_ready("/review/nobody").status, 404, "no such link: 404")
    t.expect('href="/review/sluice"' in daemon.get("/").text, "the page of all links leads to it")
    t.equal(daemon.get("/metrics").status, 200, "meanwhile /metrics answers")
    plain = t.daemon("ports:\n  - { name: shed, source: 'serial:/nothing' }\nlinks:\n  - { name: sluice }\n")
    gone = plain.get("/review/sluice")
    t.expect(gone.status == 404 and "No history is kept" in gone.text, "without a history: 404 with a sentence", gone.status)
    t.equal(daemon.stop()[0], 0, "it ends with 0")


harness.run(test)
