"""`fadeward budget` with plans and profiles that are wrong: what is refused and what is suspected is
named, and nothing is computed that would look too good. Text, JSON and page of a sound plan."""

import json
import math
import os

import harness

HEADER = "distance_km,height_m\n"


def config(profile="", **more):
    keys = {"frequency_mhz": 868.3, "near": "{ power_dbm: 14, height_m: 15 }",
            "far": "{ power_dbm: 14, height_m: 15 }", **more}
    if profile:
        keys["profile"] = profile
    return ("links:\n  - name: ridge\n    radio: { modulation: css, spreading_factor: 9, "
            "bandwidth_hz: 125000 }\n    budget:\n" +
            "".join(f"      {key}: {value}\n" for key, value in keys.items() if value is not None))


def flat(length_km=10.0, points=101, height_m=100.0, scale=1.0):
    return HEADER + "".join(f"{scale * length_km * i / (points - 1):.4f},{height_m}\n"
                            for i in range(points))


class Plans:
    def __init__(self, t):
        self.t = t

    def run(self, profile, *args, **more):
        name = self.t.new_name("path") + ".csv"
        if profile is not None:
            self.t.write(name, profile)
        path = self.t.write(self.t.new_name("plan") + ".yaml", config(name, **more))
        code, out, log = self.t.run("budget", "--config", path, *args)
        return code, out.decode(), log

    def refused(self, what, profile, *told, **more):
        code, out, log = self.run(profile, **more)
        self.t.expect(code == 2 and not out and all(part in log for part in told),
                      f"{what}: refused, with the reason", (code, log[-300:]))

    def cautioned(self, what, profile, told, **more):
        code, out, _ = self.run(profile, "--json", **more)
        texts = [one["text"] for one in json.loads(out)[0]["cautions"]] if code == 0 else []
        self.t.expect(any(told in text for text in texts), f"{what}: named", (code, texts))

    def unknown(self, what, profile, told, **more):
        """No margin rather than one that is too good."""
        code, out, _ = self.run(profile, "--json", **more)
        link = json.loads(out)[0] if code == 0 else {}
        reason = str(link.get("inbound", {}).get("reasons", {}).get("margin_db", ""))
        self.t.expect(code == 0 and link["inbound"]["margin_db"] is None and told in reason,
                      f"{what}: no margin, and why", (code, reason))


def profiles(t):
    plans = Plans(t)
    t.section("profiles that cannot be used")
    rows = flat().splitlines()
    plans.refused("a profile that is not there", None, "No such file")
    plans.refused("an empty one", "", "no header")
    plans.refused("written from the far end", "\n".join([rows[0], *reversed(rows[1:])]),
                  "line 3", "written from the other end")
    plans.refused("two profiles in one file", flat() + flat().split("\n", 1)[1], "line 103",
                  "two profiles")
    plans.refused("distances in metres", flat(scale=1000), "are these metres?")
    plans.refused("heights in feet of a high mountain", flat(height_m=12000), "are these feet")
    plans.refused("a mark for missing data", flat(height_m=-9999), "missing data")
    plans.refused("columns of feet and miles", flat().replace("km,height_m", "mi,height_ft"),
                  "feet, miles")
    plans.refused("decimal commas", HEADER + "0,5,12\n", "line 2", "3 columns")
    plans.refused("words", flat().replace("100.0", "high", 1), "line 2", "not a number")
    plans.refused("one point alone, given three times", HEADER + "1,5\n1,6\n1,7\n", "at least 3")

    t.section("profiles that are suspect")
    plans.cautioned("a gap", HEADER + "".join(f"{i / 10},50\n" for i in range(100)
                                              if not 30 < i < 60), "no point between 3 and 6 km")
    plans.cautioned("a distance given twice", flat().replace("5.0000,100.0",
                    "5.0000,100.0\n5.0000,140.0"), "given twice; the higher point is used")
    plans.cautioned("ground below the sea", flat(height_m=-3), "below the sea")
    plans.cautioned("the profile in miles", flat(scale=1 / 1.609344), "profile in miles?",
                    distance_km=10)
    plans.cautioned("the settings in miles", flat(), "distance_km in miles?", distance_km=6.214)
    plans.cautioned("the settings in metres", flat(length_km=0.5), "distance_km in metres?",
                    distance_km=500)
    plans.cautioned("metres of distance on a short path", flat(length_km=0.5, scale=1000),
                    "profile in metres?", distance_km=0.5)
    plans.cautioned("heights in feet on a short path",
                    HEADER + "".join(f"{i / 100},{300 + 90 * (i % 2)}\n" for i in range(60)), "in feet")
    plans.cautioned("a profile that ends too early", flat(), "10 km long", distance_km=12)


def settings(t):
    plans = Plans(t)
    t.section("antennas, distances and frequencies")
    plans.unknown("an antenna height that is not said", flat(), "near.height_m is not set",
                  near="{ power_dbm: 14 }")
    plans.refused("an antenna below its ground", flat(), "height_m",
                  near="{ power_dbm: 14, height_m: -3 }")
    plans.refused("a distance of zero", flat(), "distance_km", distance_km=0)
    plans.refused("a distance below zero", flat(), "distance_km", distance_km=-4)
    plans.refused("a frequency of zero", flat(), "frequency_mhz", frequency_mhz=0)
    plans.unknown("trees at a frequency beyond their table", flat(), "P.833", frequency_mhz=5800,
                  foliage_m=20)
    plans.unknown("no frequency", flat(), "frequency_mhz is not set", frequency_mhz=None)

    t.section("methods say where they do not reach")
    code, out, _ = plans.run(flat(), "--json")
    methods = {one["method"].split(",")[0]: one
               for one in json.loads(out)[0]["inbound"]["availability_by_method"]}
    t.equal(code, 0, "a sound plan")
    t.expect("1500 MHz" in methods["ITU-R P.530"]["reason"], "P.530 from 15/d GHz on",
             methods["ITU-R P.530"])
    t.expect("2 GHz" in methods["Barnett-Vigants"]["reason"], "Barnett-Vigants from 2 GHz on")
    t.expect("first Fresnel zone free" in str(methods["Rice"]["reason"]), "Rice on a clear path only",
             methods["Rice"])
    t.equal(methods["Rayleigh"]["reason"], None, "Rayleigh everywhere")


def outputs(t):
    t.section("ITU-R P.530 where the place is known")
    plans = Plans(t)
    # 20 km: 15/d is 750 MHz, so 868.3 MHz are within its range.
    place = dict(multipath="{ log10_k: -4.5, dn75: 30 }", near="{ power_dbm: 14, height_m: 60 }",
                 far="{ power_dbm: 14, height_m: 60 }")
    code, out, log = plans.run(flat(20), "--json", **place)
    link = json.loads(out)[0] if code == 0 else {"inbound": {}}
    t.equal(link["inbound"].get("availability_method"), "ITU-R P.530, average worst month",
            "it comes first")
    t.expect(0.9 < link["inbound"].get("availability", 0) < 1, "a share", link["inbound"])
    code, out, log = plans.run(flat(20), "--json", **{**place, "multipath": None})
    reason = json.loads(out)[0]["inbound"]["availability_by_method"][0]["reason"]
    t.expect("budget.multipath" in reason, "without it: silent, and what it needs", reason)
    code, out, log = plans.run(flat(20), **place)
    t.expect("by ITU-R P.530, average worst month" in out and "year as a whole" in out,
             "the text says that it is the worst month")
    plans.refused("the factor itself instead of its logarithm", flat(20), "not K itself",
                  **{**place, "multipath": "{ log10_k: 0.00003, dn75: 30 }"})

    t.section("text, JSON and page of one plan")
    plans = Plans(t)
    wood = HEADER.replace("\n", ",clutter_m\n") + "".join(
        f"{i / 10},{100 + 30 * math.exp(-(i - 40) ** 2 / 90):.1f},{12 if 38 < i < 44 else 0}\n"
        for i in range(101))
    code, text, _ = plans.run(wood)
    t.expect(code == 0 and "Which decibel is cheapest" in text and "live antenna" in text,
             "text with what changes would gain, and the cautions")
    code, text, _ = plans.run(wood, "--json")
    link = json.loads(text)[0]
    losses = sum(link[key] for key in ("free_space_db", "gas_db", "diffraction_db", "foliage_db"))
    # 14 dBm into antennas of 0 dBi; every term is in the signal once.
    t.expect(abs(14 - losses - link["inbound"]["signal_dbm"]) < 0.001, "the terms add up",
             (losses, link["inbound"]))
    t.expect(len(link["improvements"]) >= 5, "improvements", link["improvements"])
    code, page, _ = plans.run(wood, "--format", "html")
    t.expect(code == 0 and page.startswith("<!doctype html>") and page.count("<svg") >= 2 and
             "http" not in page, "a page with the path, that needs nothing from outside")
    code, _, log = plans.run(wood, "--format", "pdf")
    t.expect(code == 2 and "html" in log, "another format is refused, with those there are", log)
    path = os.path.join(t.source, "deploy", "examples", "tarn-valley.yaml")
    code, out, _ = t.run("budget", "--config", path, "--format", "html")
    t.expect(code == 0 and out.decode().count("<section>") == 4, "four links on one page")
    code, _, log = t.run("budget", "--config", path, "--link", "rigde")
    t.expect(code == 2 and "ridge" in log, "a link that is not there", log)


def test(t):
    profiles(t)
    settings(t)
    outputs(t)


harness.run(test)
