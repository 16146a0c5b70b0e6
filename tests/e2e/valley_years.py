"""The invented Tarn Valley over years, simulated, replayed into a history and reviewed: the sentences
of the review must name what the truth file holds. A report every quarter of an hour until a summer
after the mast visit; with --long a report a minute over five years, with the sizes of the files."""

import datetime
import glob
import json
import os
import re
import subprocess
import tempfile

import harness


def day(seconds):
    return datetime.datetime.fromtimestamp(seconds, datetime.timezone.utc).date()


def days_between(text, seconds):
    return (datetime.date.fromisoformat(text) - day(seconds)).days


def in_words(date):
    return f"{date.day} {date:%B} {date.year}"


def test(t):
    with tempfile.TemporaryDirectory(prefix="fadeward-valley-", dir="/dev/shm" if os.path.isdir("/dev/shm") else None) as directory:
        check(t, directory)


def check(t, directory):
    days, interval = (1826, 60) if t.long else (1280, 900)
    history, truth_file = os.path.join(directory, "years"), os.path.join(directory, "truth.jsonl")
    with open(os.path.join(t.source, "deploy", "examples", "tarn-valley-years.yaml"), encoding="utf-8") as file:
        text = file.read()
    config = t.write("valley.yaml", text if t.long else re.sub(r"expect: \w+", "expect: 15m", text))
    t.equal(t.run("check", "--config", config)[0], 0, "the example configuration is sound")

    t.section("years into a history")
    world = subprocess.Popen([t.fadeward, "simulate", "--scenario", "tarn-valley-years", "--seed", "1", "--days", str(days), "--interval", str(interval),
                              "--truth", truth_file], stdout=subprocess.PIPE)
    played = subprocess.run([t.fadeward, "replay", "--config", config, "--snapshots", "30d", "--history", history, "-"],
                            stdin=world.stdout, capture_output=True, text=True, timeout=1100, check=False)
    world.stdout.close()
    t.equal((world.wait(timeout=60), played.returncode), (0, 0), "simulate and replay end with 0")
    told = [json.loads(line) for line in played.stdout.splitlines() if '"kind":"event"' in line]
    suspected = [one for one in told if one["event"] == "raised" and one["alert"].endswith("Suspected")]
    print(f"     {len(suspected)} suspicions in {4 * days / 365.25:.0f} link-years")

    changes, settings, leaves, upkeep = [], [], [], []
    world_line = None
    with open(truth_file, encoding="utf-8") as file:
        for line in file:
            if '"kind":"truth"' in line or '"kind":"weather"' in line:
                continue
            one = json.loads(line)
            world_line = one if one["kind"] == "world" else world_line
            {"change": changes, "setting": settings, "leaves": leaves, "upkeep": upkeep}.get(one["kind"], []).append(one)
    t.equal([link["name"] for link in world_line["links"]], ["weir", "ridge", "sluice", "quarry"], "the four links")

    def truth(link, cause):
        return sorted((one for one in changes if one["link"] == link and one["cause"] == cause), key=lambda one: one["time"])

    def review(link):
        code, text, _ = t.run("review", "--history", history, "--config", config, "--link", link, "--format", "json", limit_s=120)
        t.equal(code, 0, f"review of {link}")
        data = json.loads(text)["links"][0]
        return data, " ".join(f'{line["topic"]}: {line["text"]}' for line in data["story"])

    t.section("weir: a barn, then a radio of less power")
    data, story = review("weir")
    (barn,) = truth("weir", "path")
    (setting,) = settings
    lasting = data["lasting_changes"]
    if t.equal(len(lasting), 2, "two changes stayed"):
        first, second = lasting
        t.expect(abs(days_between(first["from"], barn["time"])) <= 6 and abs(days_between(first["to"], barn["full_at"])) <= 6,
                 f'the barn: {day(barn["time"])} to {day(barn["full_at"])}', (first["from"], first["to"]))
        t.equal(first["pattern"], "path", "it is the path")
        for way in ("inbound", "outbound"):
            found = first[way]["margin"]["difference_db"]
            t.expect(abs(found + barn["size_db"]) < 0.5, f'{way} {barn["size_db"]} dB lower', found)
        t.expect("something new stands in the way" in story, "the story says so")
        found = second["inbound"]["margin"]["difference_db"], second["outbound"]["margin"]["difference_db"]
        t.expect(abs(found[0] - setting["far_power_change_db"]) < 0.4 and abs(found[1]) < 0.4, "the new power: inbound only", found)
        t.expect(f'{in_words(day(setting["time"]))}' in story and f"from 20 to {20 + setting['far_power_change_db']:g}. A new setting is no fault." in story, "a setting, on its day, no fault")
    t.expect("Both ways: with the season and the changes told below taken out there is no trend" in story, "no trend besides", story)

    t.section("ridge: trees that grow")
    data, story = review("ridge")
    (loss,) = (link["aging_db_per_year"] for link in world_line["links"] if link["name"] == "ridge")
    for one in data["directions"]:
        slope = one["trend"]["db_per_year"]
        # An interval of 95 % misses the truth of one world in twenty: then closely.
        t.expect(abs(slope + loss) < 0.25 and one["trend"]["low_db_per_year"] - 0.1 < -loss < one["trend"]["high_db_per_year"] + 0.1,
                 f'{one["direction"]}: {loss} dB a year', slope)
    t.equal(data["lasting_changes"], [], "a slow loss is no change that came and stayed")
    t.expect("the margin falls by" in story, "the story says so")
    if t.long:
        t.expect("comes down to 10.0 dB in about" in story, "and when it comes down to the warning", story)
    if t.long:
        (storm,) = truth("ridge", "silent")
        t.expect(in_words(day(storm["time"])) in story and "11 h: no reports" in story, "eleven hours without power are an outage", story)

    t.section("sluice: leaves, water in the feeder, a mast visit")
    data, story = review("sluice")
    summers = {day(one["time"]).year: one for one in leaves if one["link"] == "sluice"}
    for direction in data["directions"]:
        known = {one["year"] for one in direction["leaves"]}
        t.expect(len(known) >= 3 and known <= set(summers), f'{direction["direction"]}: three summers and more', known)
        for key in ("half_come", "half_gone"):
            t.expect(sum(bool(one[key]) for one in direction["leaves"]) >= 2, f'{direction["direction"]}: {key} of two at least', direction["leaves"])
        for one in direction["leaves"]:
            true = summers[one["year"]]
            t.expect(abs(one["margin"]["difference_db"] + true["loss_db"]) < 0.9,
                     f'{direction["direction"]} {one["year"]}: leaves of {true["loss_db"]} dB', one["margin"]["difference_db"])
            for key, moment in (("half_come", true["time"]), ("half_gone", true["until"])):
                if one[key]:
                    t.expect(abs(days_between(one[key], moment)) <= 8, f'{direction["direction"]} {key} {day(moment)}', one[key])
    t.expect("in summer the margin is" in story and "Half of that had come by about" in story, "the story says so")
    water, worse = truth("sluice", "far-antenna")
    size = water["size_db"] + worse["size_db"]
    wet = [one for one in data["lasting_changes"] if one["inbound"]["signal"]["difference_db"] < 0]
    mended = [one for one in data["lasting_changes"] if one["inbound"]["signal"]["difference_db"] > 0]
    t.expect(wet and {one["pattern"] for one in wet} == {"far-antenna"}, "antenna or feeder of the site", [one["pattern"] for one in wet])
    t.expect(abs(days_between(wet[0]["from"], water["time"])) <= 25, f'since {day(water["time"])}', wet[0]["from"])
    t.expect(abs(days_between(wet[-1]["to"], worse["full_at"])) <= 25, f'all of it by {day(worse["full_at"])}', wet[-1]["to"])
    lost = sum(one["inbound"]["signal"]["difference_db"] for one in wet)
    # Wet weather takes more, and the winter is wet.
    t.expect(-size - 1.2 < lost < -size + 0.8, f"{size:.1f} dB and what the wet adds", lost)
    if t.equal(len(mended), 1, "mended once"):
        t.expect(abs(days_between(mended[0]["to"], water["until"])) <= 2, "on the day of the visit", mended[0]["to"])
        t.expect("(mast visit)" in story and "gave back what had been lost" in story and "antenna or feeder at the site, for the better" in story, "the story says so")
    (work,) = upkeep
    visit = next(one for one in data["comparisons"] if one["what"] == "mast visit" and not one["same_days_of_two_years"])
    gain = visit["inbound"]["margin"]
    # Of thirty days, and how wet they were says how much more the water took (per_rain_db).
    t.expect(gain["low_db"] > 2.5 and gain["low_db"] - 1 < size < gain["high_db"] + 1, "worth it: the visit with its interval", gain)
    t.expect(f'{in_words(day(work["time"]))}, mast visit: the 30 days after it' in story, "under its own date")

    t.section("quarry: a neighbour on nine channels")
    data, story = review("quarry")
    neighbour = truth("quarry", "far-channels")
    found = data["directions"][1]["noisy_channels"]
    t.equal(sorted(channel for one in found for channel in one["channels"]), sorted(channel for one in neighbour for channel in one["channels"]),
            "the channels by the radio's numbers")
    first, last = day(neighbour[0]["time"]), day(neighbour[0]["until"])
    t.expect(found and found[0]["first_month"] in (f"{first:%Y-%m}", f"{first + datetime.timedelta(days=31):%Y-%m}"), f"from {first:%B %Y}", found)
    t.expect(found and found[0]["last_month"] == f"{last:%Y-%m}", f"to {last:%B %Y}", found)
    t.expect(found and abs(found[0]["most_db"] - neighbour[0]["size_db"]) < 1, f'{neighbour[0]["size_db"]} dB', found)
    t.equal(data["directions"][0]["noisy_channels"], [], "none at the gateway")
    t.expect("heard at the site" in story, "the story says so")
    t.equal(data["lasting_changes"], [], "nothing else stayed")

    t.section("availability and size")
    for link in ("weir", "ridge", "sluice", "quarry"):
        share = review(link)[0]["performance"]["total"]["both"]["availability_ratio"]
        t.expect(share > 0.999, f"{link}: available", share)
    sizes = [os.path.getsize(path) for path in sorted(glob.glob(os.path.join(history, "history-*.sqlite")))]
    newest, older = sum(sizes[-12:]) / 4, sum(sizes[12:24]) / 4
    print(f"     a link-year: {newest / 1e6:.2f} MB the newest, {older / 1e6:.2f} MB an older one")
    t.expect(newest < 8e6 and older < 2.5e6, "8 MB the newest link-year, 2.5 MB an older one", (newest, older))


harness.run(test)
