"""A recording becomes a history, the history an export, the export blocks of a real Prometheus; what
Prometheus then answers is what the review says of each day and each month. 40 days; two years in the
long version, which also asks the review for the leaves and the slow loss that the world was made
with."""

import calendar
import csv
import datetime
import io
import json
import os
import subprocess

import harness
import servers

DAY_S = 86400
LINK = "L1"
WAYS = ("inbound", "outbound")
LEAVES_DB, LOSS_DB_PER_YEAR = 4, 1.5  # of the scenario foliage-season
CONFIG = ("defaults:\n  radio: { modulation: css, spreading_factor: 7, bandwidth_hz: 125000, noise_figure_db: 6 }\n"
          f"links:\n  - name: {LINK}\n")
# A query sees medians of quarter hours, the review the frames of the whole day; where frames were
# lost both are fitted, one to thirty frames, the other to thousands. On a day that rain or a turn of
# the weather cuts in two they weigh both parts otherwise, by up to a decibel and a half; to one side
# over all days they must not lean. A month is cut by neither.
DAY_DB = 1.5
DAYS_MEAN_DB = 0.05
MONTH_DB = 0.25


def seconds(text):
    """Of a date, or of a month's first day."""
    parts = [int(part) for part in text.split("-")] + [1]
    return calendar.timegm(datetime.date(*parts[:3]).timetuple())


def next_month(at):
    day = datetime.datetime.fromtimestamp(at, datetime.timezone.utc).date().replace(day=1)
    return calendar.timegm((day + datetime.timedelta(days=32)).replace(day=1).timetuple())


class Prometheus(servers.Prometheus):
    """Serves what lies in its directory and scrapes nothing."""

    def __init__(self, t, data):
        super().__init__(t, {}, data=data, options=["--storage.tsdb.retention.time=20y"])

    def series(self, expression, first, last):
        """{time: value} at each midnight."""
        found = self.api("query_range", query=expression, start=first, end=last, step=DAY_S)["result"]
        if len(found) != 1:
            raise harness.Failed(f"{expression}: {len(found)} series")
        return {int(at): float(value) for at, value in found[0]["values"]}


def recorded(t, days, interval_s, directory):
    t.section(f"{days} days of an invented link become a history")
    config = t.write("recording.yaml", CONFIG)
    with subprocess.Popen([t.fadeward, "simulate", "--scenario", "foliage-season", "--seed", "11", "--days", str(days),
                           "--interval", str(interval_s), "--signal", "-108", "--start", "2031-04-12"],
                          stdout=subprocess.PIPE) as world:
        done = subprocess.run([t.fadeward, "replay", "--config", config, "--history", directory, "--output", os.devnull, "-"],
                              stdin=world.stdout, capture_output=True, timeout=900, check=False)
        world.stdout.close()
        world.wait(60)
    t.equal((world.returncode, done.returncode), (0, 0), f"simulate and replay end with 0 {done.stderr.decode()[-300:]}")


def blocks(t, directory):
    export, data = t.path("export.txt"), t.path("data")
    with open(export, "wb") as file:
        done = subprocess.run([t.fadeward, "export", "--history", directory], stdout=file, timeout=300, check=False)
    t.equal(done.returncode, 0, f"export: {os.path.getsize(export) / 1e6:.0f} MB")
    code, complaint = servers.blocks_of(t, export, data)
    t.equal(code, 0, f"promtool makes blocks of it {complaint}")
    os.unlink(export)
    return data


def counted(prometheus, family, way, first, last):
    """{midnight: how much the counter grew in the day that ends there}, as a person would ask: the
    counter now less the counter a day ago, unknown as zero before the first."""
    name = f'{family}{{link="{LINK}",direction="{way}"}}'
    now = prometheus.series(f"last_over_time({name}[3d])", first + DAY_S, last)
    return {at: value - now.get(at - DAY_S, 0) for at, value in now.items()}


def ratio(part, whole):
    return part / whole if whole else None


def same(found, told, precision):
    return abs((found or 0) - (float(told) if told not in (None, "") else 0)) <= precision


def check_days(t, prometheus, way, rows):
    first, last = seconds(rows[0]["day"]), seconds(rows[-1]["day"]) + DAY_S
    frames, lost, sent, retries = (counted(prometheus, f"fadeward_link_{name}_total", way, first, last)
                                   for name in ("frames", "frames_lost", "sent", "retries"))
    # A range reaches from its end back to and with its beginning; that one belongs to the day before.
    whole = f'{{link="{LINK}",direction="{way}"}}[23h59m]'
    medians = {name: prometheus.series(f"quantile_over_time(0.5, fadeward_link_{name}{whole})", first + DAY_S, last)
               for name in ("margin_db", "signal_dbm", "noise_dbm")}
    wrong, apart = [], {name: [] for name in medians}
    for row in rows:
        end = seconds(row["day"]) + DAY_S
        for name, found, precision in (("frames", frames[end], 0), ("lost", lost[end], 0),
                                       ("loss_ratio", ratio(lost[end], lost[end] + frames[end]), 1e-6),
                                       ("retry_ratio", ratio(retries[end], sent[end]), 1e-6)):
            if not same(found, row[name], precision):
                wrong.append(f"{row['day']} {name}: {found} and {row[name]}")
        for name, series in medians.items():
            apart[name].append(series[end] - float(row[name]))
    t.expect(not wrong, f"{way}: frames, losses and retries of {len(rows)} days are those of the review", wrong[:5])
    for name, values in apart.items():
        most, mean = max(abs(value) for value in values), sum(values) / len(values)
        t.expect(most <= DAY_DB and abs(mean) <= DAYS_MEAN_DB,
                 f"{way}: {name} of the days is that of the review (at most {most:.2f}, on average {mean:+.3f} dB apart)")
    return frames, lost


def check_months(t, prometheus, way, rows, frames, lost):
    wrong, apart = [], []
    for row in rows:
        begin = seconds(row["month"])
        end = next_month(begin)
        for name, by_day in (("frames", frames), ("lost", lost)):
            found = sum(value for at, value in by_day.items() if begin < at <= end)
            if found != row[name]:
                wrong.append(f"{row['month']} {name}: {found} and {row[name]}")
        labels = f'{{link="{LINK}",direction="{way}"}}[{(end - begin) // 60 - 1}m]'
        lowest = prometheus.value(f"min_over_time(fadeward_link_margin_low_db{labels})", end)
        # One frame in a hundred of the month lies above the worst quarter hour's.
        if lowest > row["margin_low_db"] + 0.5:
            wrong.append(f"{row['month']} margin_low_db: never below {lowest}, and {row['margin_low_db']}")
        apart.append(prometheus.value(f"quantile_over_time(0.5, fadeward_link_margin_db{labels})", end) - row["margin_db"])
    t.expect(not wrong, f"{way}: {len(rows)} months too", wrong[:5])
    t.expect(max(abs(value) for value in apart) <= MONTH_DB,
             f"{way}: so is their margin (at most {max(abs(value) for value in apart):.2f} dB apart)", apart)


def check_season(t, way, of_way):
    summers = [one for one in of_way["leaves"] if one["winters_differ_db"] is not None]
    t.expect(summers, f"{way}: a summer between two winters", of_way["leaves"])
    for one in summers:
        t.expect(one["margin"]["low_db"] <= -LEAVES_DB <= one["margin"]["high_db"],
                 f"{way}: the leaves of {one['year']} lie in their interval", one["margin"])
    trend = of_way["trend"]
    t.expect(trend["low_db_per_year"] <= -LOSS_DB_PER_YEAR <= trend["high_db_per_year"],
             f"{way}: so does the slow loss", trend)


def test(t):
    t.need("promtool")
    t.need("prometheus")
    directory = t.path("history")
    recorded(t, 731 if t.long else 40, 30, directory)
    prometheus = Prometheus(t, blocks(t, directory))
    code, text, err = t.run("review", "--history", directory, "--format", "csv")
    t.equal(code, 0, f"review as CSV {err}")
    days = list(csv.DictReader(io.StringIO(text.decode())))
    review = json.loads(t.run("review", "--history", directory, "--format", "json")[1])["links"][0]
    for way, of_way in zip(WAYS, review["directions"]):
        t.section(way)
        rows = [row for row in days if row["direction"] == way]
        t.expect(len(rows) >= (730 if t.long else 39), f"{way}: {len(rows)} days")
        frames, lost = check_days(t, prometheus, way, rows)
        check_months(t, prometheus, way, of_way["months"], frames, lost)
        if t.long:
            check_season(t, way, of_way)
    t.expect(sum(int(row["lost"]) for row in days) > 100, "frames were lost in this world", sum(int(row["lost"]) for row in days))


harness.run(test)
