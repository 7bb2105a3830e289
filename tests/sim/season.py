#!/usr/bin/python3
"""A season of an invented fleet: day sheets as crews would type them, with the truth beside.

    season.py --seed S --days 130 --rigs heron,plover,dunlin,whimbrel --out DIR
    season.py --seed S --stored        the entries as a store would hold them, one a line

Lantern Basin is an invented geothermal-heat cooperative, its rigs are named for waders, its office
is at Port Sallow. Heron's line wears as planned. Plover runs an undersized fast-line sheave and
keeps cutting early for broken wires there. Dunlin, which writes in metres, cuts at its goal with
wear left over. Whimbrel cuts early by plan, before casing and moves. The same seed gives the same
season to the byte. truth.json holds what a test may know, reckoned by trade.py.
"""

import argparse
import base64
import csv
import datetime
import hashlib
import io
import json
import os
import random
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import trade  # noqa: E402

FLEET = "lantern-basin"
RIGS = ("heron", "plover", "dunlin", "whimbrel")
START = "2025-03-01"
DAY = 24 * 60
COLUMNS = (
    "at", "kind", "tour", "by", "op", "from", "to", "depth", "drive", "reams", "passes", "casing",
    "joint", "count", "stroke", "up", "down", "hookload", "pull", "service", "length", "slipped",
    "reason", "laps", "measured", "place", "condition", "dead-wraps", "complete", "bit-depth",
    "hole-depth", "driller", "item", "result", "after", "fleet", "rig", "inspector", "scope",
    "decision", "extent", "event", "places", "because", "pipe", "stand", "bha-weight", "bha-length",
    "mud", "well", "formation", "shape", "state", "what", "derate", "mast", "drum", "block",
    "crossovers", "bearing", "sheave", "crown", "fast-line", "dead-line", "block-low", "pick-low",
    "pick-high", "wraps-low", "laps-per-layer", "zone", "tours", "reel", "rope", "grade",
    "received", "strung", "lines", "build", "class", "core", "lay", "certificate", "drawn",
    "returned", "cropped", "cut", "first-goal", "later-goal", "slips", "basis", "approved", "entry",
    "set", "void", "supervisor", "note",
)

# What each rig is. Goals suit the work of these wells, so that a cut falls due every 8 to 14 days.
CHARACTERS = {
    "heron": dict(
        nature="healthy", mast="142ft", drum="30in", block="47000lb", drive="top-drive",
        rope="1-3/8in", grade="EIPS", lines=10, strung="1850ft", received="5000ft",
        sheave="54in", stand=93, programme=90, first=1700, later=1500, form="csv", zone="-03:00",
        geometry=dict(crown="145ft", fast_line="152ft", dead_line="150ft", pick_low="6ft",
                      pick_high="98ft", wraps_low="14", laps_per_layer="38")),
    "plover": dict(
        nature="early", mast="142ft", drum="30in", block="42000lb", drive="kelly",
        rope="1-3/8in", grade="EIPS", lines=8, strung="1600ft", received="5000ft",
        sheave="36in", stand=90, programme=90, first=2000, later=1800, form="csv", zone="-03:00"),
    "dunlin": dict(
        nature="wear-left", mast="43m", drum="760mm", block="20.5t", drive="top-drive",
        rope="35mm", grade="1960", lines=10, strung="560m", received="1500m",
        sheave="1370mm", stand=28.5, programme=28, first=1600, later=1400, form="jsonl",
        zone="-03:00", geometry=dict(crown="44.2m", block_low="1.5m", pick_low="1.8m",
                                     pick_high="29.5m", wraps_low="13", laps_per_layer="36")),
    "whimbrel": dict(
        nature="planned", mast="147ft", drum="30in", block="45000lb", drive="top-drive",
        rope="1-3/8in", grade="EIPS", lines=8, strung="1650ft", received="5000ft",
        sheave="54in", stand=93, programme=90, first=2000, later=1800, form="csv", zone="-02:00"),
}

# Hole sections: to which depth (ft, about), rate of drilling ft/h, hours a bit lasts, casing.
SECTIONS = (
    (1150, 48, 70, ("133lb/ft", "198kg/m")),
    (4300, 38, 62, ("72lb/ft", "107kg/m")),
    (7600, 26, 44, ("53.5lb/ft", "79.6kg/m")),
    (10400, 17, 36, None),
)
# Pipe, assembly weight (lb) and length (ft) by section.
ASSEMBLIES = ((25.6, 38000, 118), (21.9, 62000, 590), (21.9, 66000, 720), (19.5, 58000, 810))
PLACES = ("drum end", "crossover", "fast-line sheave", "crown", "block", "dead-line sheave",
          "anchor")

NOTES = ("tight at the shoe", "lost returns, 20 bbl/h", "survey taken", "slow for the wind",
         "pump liner changed", "wet string", "stand back slow, new hand on the monkey board",
         "steam at the flow line, hole cooled first", "bit balled up", "hole took 6 bbl")


def round_to(value, step):
    return int(round(value / step)) * step


def plain(value, digits=1):
    """A number as a person writes it: no trailing zeros."""
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class Rig:
    """One rig's season. Depths are in the rig's own unit: ft, or m on a metric rig."""

    def __init__(self, name, seed, days, start):
        self.name = name
        self.random = random.Random(f"farspool season {seed} {name}")
        self.c = CHARACTERS.get(name) or CHARACTERS[RIGS[sum(name.encode()) % 4]]
        self.nature = self.c["nature"]
        self.metric = self.c["mast"].endswith("m")
        self.unit = "m" if self.metric else "ft"
        self.scale = trade.FT_M if self.metric else 1.0
        self.start = datetime.datetime.fromisoformat(start)
        sign = -1 if self.c["zone"][0] == "-" else 1
        self.zone = datetime.timedelta(
            hours=sign * int(self.c["zone"][1:3]), minutes=sign * int(self.c["zone"][4:]))
        self.clock = 6 * 60  # minutes of local time since the start's midnight
        self.end = self.clock + days * DAY
        self.records = []  # as typed; `_t` is the local minute, `_own` entered alone by form
        self.last = -1  # minute of the last record: no two records share one
        self.account = trade.Account()
        self.bit = 0
        self.hole = 0
        self.bha = 0
        self.tour_end = 18 * 60
        self.well_number = self.random.randrange(3, 9)
        self.slips_done = 0
        self.planned_run = 0
        self.served_aim = 1.0
        self.fault_at = 1.0
        self.lasted = 0  # cuts since this line last outlived its bad sheave
        self.shoe = 0
        self.jarring = False
        self.stringing = 0
        self.condemned = False  # an inspection has said: cut
        self.reel = f"LB-{self.random.randrange(1010, 1990)}"

    # --- writing ----------------------------------------------------------------------------

    def done(self):
        return self.clock >= self.end

    def tour_name(self, minute=None):
        minute = (self.clock if minute is None else minute) - 1
        return "day" if 6 * 60 <= minute % DAY < 18 * 60 else "night"

    def emit(self, kind, by="clerk", own=False, **fields):
        self.settle()
        minute = self.minute(kind)
        record = {"kind": kind, "by": by}
        record.update({k.rstrip("_").replace("_", "-"): v for k, v in fields.items()})
        record["at"] = self.time_text(minute)
        record["_t"] = self.last = minute
        record["_own"] = own
        self.records.append(record)
        self.account.apply(record)
        return record

    def minute(self, kind):
        """When a record is written down, after the last one. What fills a tour to its end is
        entered some minutes before the tour is closed."""
        if self.clock == self.tour_end:
            if kind == "tour":
                return max(self.last + 1, self.clock)
            if self.last < self.clock:
                return max(self.last + 1, self.clock - 10)
        while self.clock <= self.last:
            self.clock += 5
            self.settle()
        return self.clock

    def settle(self):
        """Close the tours that ended before now; nothing is ever written out of order."""
        while self.clock > self.tour_end:
            now, self.clock = self.clock, self.tour_end
            self.close_tour(self.bit)
            self.clock = max(now, self.clock)

    def time_text(self, minute):
        t = self.start + datetime.timedelta(minutes=minute)
        return t.strftime("%Y-%m-%dT%H:%M") + self.c["zone"]

    def d(self, value):
        return f"{plain(value)}{self.unit}"

    def load(self, lb, step_lb=1000):
        if self.metric:
            return f"{round_to(lb * trade.LBF_N / 1000, 5)}kN"
        return f"{round_to(lb, step_lb)}lb"

    def length(self, ft):
        return f"{plain(ft * trade.FT_M)}m" if self.metric else f"{round_to(ft, 1)}ft"

    # --- time and tours ---------------------------------------------------------------------

    def spend(self, minutes, moving_bit=False):
        """Let time pass, closing tours on the way. The bit stands still meanwhile."""
        until = self.clock + max(5, round_to(minutes, 5))
        self.settle()
        while self.tour_end <= until and not self.done():
            self.clock = self.tour_end
            self.close_tour(None if moving_bit else self.bit)
        self.clock = max(self.clock, min(until, self.end + 5))

    def close_tour(self, bit):
        driller = "driller-a" if self.tour_name() == "day" else "driller-b"
        r = self.random
        tour = self.tour_name()
        if r.random() < 0.55 and self.reel_hung():
            self.inspect("tour", "watch" if self.condemned else "run",
                         r.choice(("driller", "derrickman", "toolpusher")))
        fields = {"tour": tour, "complete": "yes"}
        if bit is not None:
            fields["bit_depth"] = self.d(bit)
        fields["hole_depth"] = self.d(self.hole)
        self.emit("tour", driller=driller, **fields)
        self.tour_end += 12 * 60
        if tour == "night":
            self.start_of_day()

    def reel_hung(self):
        return self.account.reel is not None

    def start_of_day(self):
        r = self.random
        day = self.clock // DAY
        if day % 7 == 3:
            self.clock += 20
            self.emit("check", item="crown-saver", result="stopped as set")
        if day % 30 == 15:
            self.clock += 45
            self.inspect("monthly", "run", "line-inspector", places=self.places(PLACES), own=True)
        if r.random() < 0.03:
            self.amend()

    # --- what is looked at ------------------------------------------------------------------

    def places(self, names, broken=None):
        r = self.random
        nominal = trade.feet(self.c["rope"]) * 12
        out = []
        for name in names:
            n = r.choice((0, 0, 0, 0, 1, 1, 2))
            if broken and name == broken:
                n = r.randrange(6, 10)
            place = {"place": name, "broken-wires": n}
            if name != "anchor":
                d = nominal * (1 + r.uniform(-0.025, 0.02))
                place["d1"] = (f"{plain(d * 25.4)}mm" if self.metric else f"{plain(d, 2)}in")
            out.append(place)
        return out

    def inspect(self, scope, decision, inspector, places=None, own=False, **more):
        fields = dict(fleet=FLEET, rig=self.name, reel=self.reel, inspector=inspector, scope=scope,
                      decision=decision, **more)
        if places:
            fields["places"] = places
        if scope == "tour":
            fields["tour"] = self.tour_name()
        self.emit("inspection", own=own, **fields)

    def amend(self):
        """Correct the hook load of some work of an earlier day."""
        r = self.random
        before = self.clock // DAY - 1
        choice = [i for i, x in enumerate(self.records)
                  if x["kind"] == "work" and "hookload" in x and x["_t"] < before * DAY
                  and x["_t"] > (before - 3) * DAY]
        if not choice:
            return
        i = r.choice(choice)
        lb = trade.pounds(self.records[i]["hookload"])
        self.clock += 10
        self.emit("amend", own=True, entry=i, reason="hook load misread from the chart",
                  set={"hookload": self.load(lb + r.choice((-6000, -4000, 5000, 8000)))})

    # --- the line ---------------------------------------------------------------------------

    def new_interval(self):
        r = self.random
        self.slips_done = 0
        self.served_aim = r.uniform(0.97, 1.07)
        self.fault_at = r.uniform(0.52, 0.78)
        self.lasted += 1
        if self.nature == "early" and self.lasted > 4 and r.random() < 0.2:
            self.fault_at = 9.0  # now and then the line lasts, never twice in five cuts
            self.lasted = 0

    def job_checks(self):
        self.clock += 10
        self.emit("check", item="crown-saver", result="stopped as set")
        if self.random.random() < 0.7:
            self.clock += 60
            self.emit("check", item="anchor", result="torque held")

    def slip(self):
        r = self.random
        length = self.c["programme"] / 3 if not self.metric else 9.5
        self.spend(r.choice((45, 60, 75)))
        self.emit("slip", own=True, by="toolpusher", length=self.d(length),
                  tour=self.tour_name(), **({"dead_wraps": "9"} if r.random() < 0.3 else {}))
        self.slips_done += 1
        self.job_checks()

    def cut(self, reason, place=None, condition="normal", because=False):
        r = self.random
        length = self.c["programme"] + (r.choice((0, 0, 0, 0.5, -0.5)) if self.metric
                                        else r.choice((0, 0, 0, 1, 2, -1)))
        slipped = trade.feet(self.d(length)) - self.account.slipped_since_cut
        fields = dict(length=self.d(length), reason=reason, condition=condition,
                      slipped=self.length(max(slipped, 1.0)), measured="tape",
                      supervisor="toolpusher", tour=self.tour_name())
        if place:
            fields["place"] = place
        self.spend(r.choice((120, 150, 180)))
        self.inspect("slip-cut", "run" if not because else "watch", "line-inspector", own=True,
                     places=self.places(r.sample(PLACES, 3)))
        self.spend(10)
        self.emit("cut", own=True, by="toolpusher", **fields)
        self.condemned = False
        self.planned_run = self.planned_run + 1 if reason.startswith("planned") else 0
        self.job_checks()
        self.new_interval()

    def served(self):
        return self.account.served / self.account.goal

    def look_after_line(self):
        """Between two jobs: slip or cut when it is time."""
        if self.done():
            return
        served = self.served()
        if self.nature == "early" and served >= self.fault_at and not self.account.first:
            self.spend(30)
            self.condemned = True
            self.inspect("after-event", "cut", "line-inspector", own=True,
                         places=self.places(("crossover", "fast-line sheave", "anchor"),
                                            broken="fast-line sheave"),
                         event="broken wires seen by the derrickman")
            self.cut("broken-wires", place="fast-line sheave", condition="worn-out", because=True)
            return
        if served >= self.served_aim - 0.02:
            condition = "wear-left" if self.nature == "wear-left" else self.random.choice(
                ("normal", "normal", "normal", "normal", "wear-left"))
            self.cut("goal", condition=condition)
            return
        if self.slips_done < 2 and self.account.since_slip >= self.account.goal / 3 * 0.97:
            self.slip()

    def plans_cut(self, least=0.35):
        """Whether this rig would rather cut now than when the goal is reached."""
        return (self.nature == "planned" and self.planned_run < 2 and not self.done()
                and least <= self.served() <= 0.93)

    def planned_cut(self, reason):
        if self.plans_cut():
            self.cut(reason)

    # --- work -------------------------------------------------------------------------------

    def hookload(self, depth):
        """Usual highest hook load, as read off the indicator, on most work."""
        r = self.random
        if r.random() > 0.8:
            return {}
        s = self.account.string
        b = trade.buoyancy(trade.ppg(s["mud"]))
        wm = trade.pounds_per_foot(s["pipe"]) * b
        ft = depth / self.scale
        lb = (max(ft - trade.feet(s["bha-length"]), 0) * wm + trade.pounds(s["bha-weight"]) * b
              + trade.pounds(self.c["block"]))
        return {"hookload": self.load(lb * r.uniform(1.01, 1.10))}

    def work(self, op, by=None, **fields):
        by = by or ("driller-a" if self.tour_name() == "day" else "driller-b")
        if self.random.random() < 0.05:
            fields["note"] = self.random.choice(NOTES)
        self.emit("work", by=by, op=op, tour=self.tour_name(), **fields)

    def trip(self, target):
        """Pull out or run in, in pieces where a tour ends."""
        r = self.random
        while self.bit != target and not self.done():
            out = target < self.bit
            rate = r.uniform(750, 1150) * self.scale  # per hour
            self.settle()
            left = self.tour_end - self.clock
            minutes = max(15, abs(target - self.bit) / rate * 60 + 10)
            if minutes <= left:
                stop = target
                self.clock += round_to(minutes, 5)
            else:
                gone = left / 60 * rate
                stop = self.bit - gone if out else self.bit + gone
                stop = round_to(stop, 1)
                if stop < self.bha + 5:
                    stop = target if out or target <= self.bha + 5 else self.bha + 10
                stop = max(stop, target) if out else min(stop, target)
                self.clock = self.tour_end
            if stop != self.bit:
                self.work("pull-out" if out else "run-in", from_=self.d(self.bit), to=self.d(stop),
                          **self.hookload(max(self.bit, stop)))
                self.bit = stop
            if self.clock >= self.tour_end:
                self.close_tour(self.bit)

    def drill(self, target, rate):
        """Make hole to target; a record for each stretch without a break."""
        r = self.random
        while self.hole < target and not self.done():
            self.settle()
            left = self.tour_end - self.clock
            hours = min(r.uniform(2.5, 7.5), left / 60)
            made = max(1, round_to(hours * rate * r.uniform(0.8, 1.2) * self.scale, 1))
            stop = min(self.hole + made, target)
            self.clock += min(left, max(15, round_to(hours * 60, 5)))
            fields = {}
            if self.c["drive"] == "kelly" and r.random() < 0.1:
                fields["reams"] = "2"
            elif r.random() < 0.35:
                fields["reams"] = "0"
            self.work("drilling", from_=self.d(self.bit), to=self.d(stop), **fields,
                      **self.hookload(stop))
            self.bit = self.hole = stop
            if self.clock >= self.tour_end:
                self.close_tour(self.bit)
            yield

    def short_trip(self):
        r = self.random
        stands = r.choice((10, 12, 15, 20))
        top = round_to(self.hole - stands * self.c["stand"], 1)
        if top < self.bha + 10 or self.done():
            return
        minutes = round_to(stands * r.uniform(7, 10), 5)
        if minutes < self.tour_end - self.clock:
            self.clock += minutes
            self.work("short-trip", from_=self.d(self.hole), to=self.d(top),
                      **self.hookload(self.hole))
        else:
            self.trip(top)
            self.trip(self.hole)

    def jar(self):
        """A tight spot on the way out: moves counted by the driller."""
        r = self.random
        s = self.account.string
        self.clock += min(90, self.tour_end - self.clock)
        if self.done():
            return
        hang = trade.pounds(s["bha-weight"]) + self.bit / self.scale * trade.pounds_per_foot(
            s["pipe"]) * 0.86 + trade.pounds(self.c["block"])
        jarring = r.random() < 0.35
        if jarring and self.nature == "healthy":
            self.emit("adverse", own=True, what="jarring", state="begins", derate="90%")
            self.jarring = True
        self.clock += 5
        up = self.load(hang * r.uniform(1.1, 1.25))
        extra = {"service": "stuck-pipe", "pull": self.load(hang * 1.32)} if jarring else {}
        self.work("moves", count=str(r.randrange(12, 60)), stroke=self.length(r.choice((20, 30))),
                  up=up, down=self.load(hang * 0.9), **extra)
        if self.tour_end <= self.clock:
            self.close_tour(self.bit)
        if jarring:
            self.clock += 20
            self.inspect("after-event", "run", "toolpusher", event="jarring", own=True,
                         places=self.places(("fast-line sheave", "crown")))
        if self.jarring:
            self.clock += 5
            self.emit("adverse", own=True, what="jarring", state="ends")
            self.jarring = False

    def assembly(self, section):
        """A drill string from here on: the section's, varied a little."""
        r = self.random
        pipe, weight, length = ASSEMBLIES[section]
        weight = round_to(weight * r.uniform(0.9, 1.1), 500)
        length = round_to(length * r.uniform(0.95, 1.05), 1)
        mud = 8.5 + 0.2 * section + r.choice((0, 0.1, 0.2, 0.3))
        self.clock += 5
        if self.metric:
            bha_length = f"{plain(length * trade.FT_M)}m"
            self.bha = float(bha_length[:-1])
            fields = dict(pipe=f"{plain(pipe * trade.LB_KG / trade.FT_M)}kg/m",
                          bha_weight=f"{plain(weight * trade.LB_KG / 1000)}t",
                          mud=f"{round_to(mud * trade.PPG_KGM3, 10)}kg/m3")
        else:
            self.bha, bha_length = length, f"{length}ft"
            fields = dict(pipe=f"{pipe}lb/ft", bha_weight=f"{weight}lb", mud=f"{plain(mud)}ppg")
        self.emit("drill-string", stand=self.d(self.c["stand"]), bha_length=bha_length, **fields)

    def run_casing(self, section):
        r = self.random
        weight = SECTIONS[section][3][1 if self.metric else 0]
        self.planned_cut("planned-casing")
        if self.done():
            return
        self.more_lines(section)
        depth = self.hole - r.choice((3, 5, 8)) * self.scale
        self.spend(60 * (4 + depth / self.scale / 420), moving_bit=True)
        if self.done():
            return
        lb = (depth / self.scale * trade.pounds_per_foot(weight) * 0.87
              + trade.pounds(self.c["block"]))
        self.work("casing", depth=self.d(round_to(depth, 1)), casing=weight,
                  joint="12.2m" if self.metric else "40ft",
                  **({"hookload": self.load(lb * r.uniform(1.0, 1.05))}
                     if r.random() < 0.7 else {}))
        self.shoe = round_to(depth, 1)
        self.spend(r.randrange(14, 30) * 60)  # cement, wait, test the stack
        self.fewer_lines()

    def more_lines(self, section):
        """Heavy casing on one rig is run on two more lines."""
        if self.nature != "planned" or section != 2 or self.done():
            return
        self.spend(240)
        self.stringing = 300
        self.emit("string-up", own=True, lines=str(self.c["lines"] + 2), drawn="300ft",
                  by="toolpusher")

    def fewer_lines(self):
        if not self.stringing or self.done():
            return
        self.spend(240)
        self.emit("string-up", own=True, lines=str(self.c["lines"]), returned="300ft",
                  by="toolpusher")
        self.stringing = 0

    # --- a well -----------------------------------------------------------------------------

    def begin(self):
        c = self.c
        self.clock += 5
        rig = dict(mast=c["mast"], drum=c["drum"], block=c["block"], crossovers="2",
                   bearing="roller", sheave=c["sheave"], drive=c["drive"],
                   stand=self.d(c["stand"]), zone=c["zone"], tours="06:00 18:00", **c.get("geometry", {}))
        self.emit("rig", own=True, **rig)
        self.clock += 5
        self.emit("reel", own=True, reel=self.reel, rope=c["rope"], grade=c["grade"],
                  received=c["received"], strung=c["strung"], lines=str(c["lines"]),
                  build="6x19S IWRC", class_="6x19", core="IWRC", lay="right regular",
                  certificate=f"PS-{self.random.randrange(20000, 40000)}", state="new")
        self.clock += 5
        self.emit("program", own=True, by="fleet-engineer", cut=self.d(c["programme"]),
                  first_goal=f"{c['first']} ton-miles", later_goal=f"{c['later']} ton-miles",
                  slips="3", basis="hand", approved="fleet-engineer")
        self.new_interval()
        self.clock += 5
        self.inspect("before-use", "run", "line-inspector", own=True,
                     places=self.places(("drum end", "fast-line sheave", "anchor")))

    def run(self):
        self.begin()
        section = self.random.randrange(0, 4)  # the season finds it in the middle of a well
        first = True
        while not self.done():
            self.well(section, first)
            section, first = 0, False
        self.records = [r for r in self.records if r["_t"] <= self.end]
        return self

    def spud(self, section, first):
        r = self.random
        self.well_number += 0 if first else 1
        self.clock += 10
        if not first:
            self.emit("state", own=True, state="moving")
            self.spend(r.randrange(30, 56) * 60, moving_bit=True)
            if self.done():
                return
        self.emit("state", own=True, state="working")
        self.clock += 5
        self.emit("well", own=True, well=f"{self.name[0].upper()}-{self.well_number}",
                  formation=r.choice(("normal", "hard", "hard")),
                  shape="vertical" if r.random() < 0.6 else "deviated")
        above = SECTIONS[section - 1][0] if section else 140
        self.hole = round_to((above + (r.uniform(0, 500) if section else 0)) * self.scale, 1)
        self.shoe = round_to((SECTIONS[section - 1][0] - 5) * self.scale, 1) if section else 0
        self.bit = 0

    def well(self, section, first):
        self.spud(section, first)
        while section < len(SECTIONS) and not self.done():
            self.section(section)
            section += 1
        if not self.done():
            self.planned_cut("planned-move")
            self.spend(self.random.randrange(20, 40) * 60)

    def section(self, section):
        r = self.random
        depth, rate, life, casing = SECTIONS[section]
        target = round_to(depth * r.uniform(0.96, 1.05) * self.scale, 1)
        rate *= r.uniform(0.85, 1.15)
        if section == 3:
            self.planned_cut("planned-section")
        if self.bit == 0:
            self.assembly(section)
        while self.hole < target and not self.done():
            self.bit_run(section, target, rate, life * r.uniform(0.7, 1.3))
        if self.done():
            return
        if section == 3 and r.random() < 0.5:
            self.core()
        if casing:
            self.run_casing(section)

    def bit_run(self, section, target, rate, life):
        r = self.random
        if section and self.bit == 0 and self.shoe > self.bha + 10 and self.plans_cut(0.6):
            self.trip(self.shoe)
            self.planned_cut("planned-shoe")
        if section and self.bit < self.hole:
            tight = round_to(self.hole - 2 * self.c["stand"], 1)
            if r.random() < 0.4 and tight > max(self.bit, self.bha) + 10:
                self.trip(tight)
                self.clock += min(60, self.tour_end - self.clock)
                if not self.done():
                    self.work("reaming", from_=self.d(self.bit), to=self.d(self.hole), passes="1",
                              **self.hookload(self.hole))
                    self.bit = self.hole
                if self.clock >= self.tour_end:
                    self.close_tour(self.bit)
            else:
                self.trip(self.hole)
            self.look_after_line()
        elif self.bit == 0:
            self.trip(self.hole)
        start, wiper = self.clock, self.clock + r.uniform(18, 30) * 60
        for _ in self.drill(target, rate):
            self.look_after_line()
            if self.clock > wiper and section:
                self.short_trip()
                wiper = self.clock + r.uniform(18, 30) * 60
                self.look_after_line()
            if self.clock - start > life * 60:
                break
        if self.done():
            return
        self.come_out(section, target)

    def come_out(self, section, target):
        r = self.random
        if section >= 2 and r.random() < 0.22:
            part = round_to(self.hole * r.uniform(0.7, 0.95), 1)
            if part > self.bha + 10:
                self.trip(part)
                self.jar()
        if section == 0 and self.hole < target and self.bit == self.hole and \
                self.tour_end - self.clock > 200:
            self.clock += round_to(r.uniform(100, 180), 5)
            self.work("round-trip", depth=self.d(self.hole), **self.hookload(self.hole))
            self.look_after_line()
            return
        self.trip(0)
        self.spend(r.choice((60, 90, 120, 150)))
        self.look_after_line()
        if not self.done() and self.hole < target:
            self.assembly(section)

    def core(self):
        self.trip(self.hole)
        stop = self.hole + round_to(30 * self.scale, 1)
        self.clock += min(self.random.choice((120, 180)), self.tour_end - self.clock)
        if self.done():
            return
        self.work("coring", from_=self.d(self.hole), to=self.d(stop), **self.hookload(stop))
        self.hole = self.bit = stop
        if self.clock >= self.tour_end:
            self.close_tour(self.bit)
        self.trip(0)
        self.look_after_line()

    # --- what comes of it -------------------------------------------------------------------

    def utc(self, minute):
        return self.start + datetime.timedelta(minutes=minute) - self.zone

    def day_of(self, record):
        """Day sheets run from 06:00 to 06:00; the record of 06:00 closes the old one."""
        day = max(0, (record["_t"] - 6 * 60 - 1) // DAY)
        return (self.start + datetime.timedelta(days=day)).strftime("%Y-%m-%d")

    def typed(self, record):
        return {k: v for k, v in record.items() if not k.startswith("_")}

    def sheets(self):
        """{day: [typed records]} in order."""
        out = {}
        for r in self.records:
            out.setdefault(self.day_of(r), []).append(self.typed(r))
        return out

    def truth(self):
        a = trade.account([self.typed(r) for r in self.records])
        out = a.totals()
        out["nature"] = self.nature
        out["records"] = len(self.records)
        return out


def as_csv(rows):
    used = [c for c in COLUMNS if any(c in r for r in rows)]
    assert all(k in COLUMNS for r in rows for k in r), [k for r in rows for k in r
                                                       if k not in COLUMNS]
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(used)
    for r in rows:
        cells = (r.get(c, "") for c in used)
        out.writerow([json.dumps(v, separators=(",", ":")) if isinstance(v, (list, dict)) else v
                      for v in cells])
    return text.getvalue()


def as_jsonl(rows):
    return "".join(json.dumps(r) + "\n" for r in rows)


def season(seed, days=130, rigs=RIGS, start=START):
    """{name: Rig}, finished."""
    return {name: Rig(name, seed, days, start).run() for name in rigs}


def truth_of(fleet, seed, days, start):
    end = datetime.datetime.fromisoformat(start) + datetime.timedelta(days=days + 1)
    return {
        "fleet": FLEET, "seed": seed, "days": days, "start": start,
        "as_of": end.strftime("%Y-%m-%dT12:00:00Z"),
        "early": sorted(n for n, r in fleet.items() if r.nature == "early"),
        "rigs": {n: r.truth() for n, r in fleet.items()},
    }


def write(fleet, out, seed, days, start=START):
    for name, rig in fleet.items():
        folder = os.path.join(out, name)
        os.makedirs(folder, exist_ok=True)
        for day, rows in rig.sheets().items():
            form = rig.c["form"]
            with open(os.path.join(folder, f"{day}.{form}"), "w", encoding="utf-8") as f:
                f.write(as_csv(rows) if form == "csv" else as_jsonl(rows))
    truth = truth_of(fleet, seed, days, start)
    with open(os.path.join(out, "truth.json"), "w", encoding="utf-8") as f:
        json.dump(truth, f, indent=1, sort_keys=True)
    return truth


def shown(account, entry):
    """What the program adds to an entry of work: what the crew saw."""
    if entry["kind"] != "work":
        if entry["kind"] != "amend":
            account.apply(entry)
        return {}
    ton_miles, load = account.work(entry)
    seen = [trade.pounds(entry[k]) for k in ("hookload", "pull") if k in entry]
    if "hookload" not in entry and load:
        seen.append(load)
    fields = {"rules": "2"}
    if entry["op"] not in ("stated", "counted"):
        fields["ton-miles"] = f"{ton_miles:.2f}"
    if seen:
        fields["factor"] = f"{trade.design_factor(account.strength, max(seen), account.lines):.2f}"
    return fields


INTEGERS = ("lines", "crossovers", "slips", "reams", "passes", "count", "row")


def stored(rig):
    """Canonical entries with v and noted, as a store holds them. A tour's rows are taken as one
    sheet a few minutes to hours after it ends; jobs entered by form are noted by themselves."""
    r = random.Random(f"farspool stored {rig.name} {len(rig.records)} {rig.reel}")
    log = r.randbytes(16).hex()
    leaves = []
    account = trade.Account()
    sheet_noted = {}
    for record in rig.records:
        entry = {k: (int(v) if k in INTEGERS else v) for k, v in rig.typed(record).items()}
        entry.update(shown(account, entry))
        entry["v"] = 1
        entry["at"] = rig.utc(record["_t"]).strftime("%Y-%m-%dT%H:%M:00Z")
        if record["_own"]:
            noted = rig.utc(record["_t"]) + datetime.timedelta(seconds=r.randrange(120, 5400))
        else:
            tour = -(-(record["_t"] - 6 * 60) // 720)
            if tour not in sheet_noted:
                sheet_noted[tour] = rig.utc(tour * 720 + 6 * 60) + datetime.timedelta(
                    seconds=r.randrange(300, 9000))
            noted = sheet_noted[tour]
        entry["noted"] = noted.strftime("%Y-%m-%dT%H:%M:%SZ")
        if "entry" in entry:
            i = entry["entry"]
            entry["entry"] = {"index": i, "leaf": leaves[i], "log": log}
        line = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        leaves.append(base64.b64encode(
            hashlib.sha256(b"\0" + line.encode()).digest()).decode())
        yield line


def main():
    p = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--days", type=int, default=130)
    p.add_argument("--rigs", default=",".join(RIGS))
    p.add_argument("--start", default=START, help="first day, YYYY-MM-DD")
    p.add_argument("--out", help="folder for NAME/DAY.csv and truth.json")
    p.add_argument("--stored", action="store_true", help="print stored entries, one a line")
    a = p.parse_args()
    fleet = season(a.seed, a.days, a.rigs.split(","), a.start)
    if a.stored:
        for rig in fleet.values():
            for line in stored(rig):
                print(line)
    elif a.out:
        write(fleet, a.out, a.seed, a.days, a.start)
    else:
        json.dump(truth_of(fleet, a.seed, a.days, a.start), sys.stdout, indent=1, sort_keys=True)
        print()


if __name__ == "__main__":
    main()
