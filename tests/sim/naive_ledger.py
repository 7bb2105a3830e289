"""The line's account reckoned naively: one pass over the records, in ft, lb and ton-miles.

Written from docs/account.md and docs/records.md, not from the C: no typed items, no stored states,
nothing shared with it. Formulas of single operations are trade.py's. What it yields is what
`farspool-rig line --json` says under the same names. Each method follows a line of docs/account.md.
"""

import base64
import hashlib
import json

import trade
from trade import feet, pounds, pounds_per_foot, ppg, ton_miles

FOR_WEAR = ("broken-wires", "diameter", "crossover")
SAME_FT = 0.5 / trade.FT_M
OPS = ("pull-out", "run-in", "round-trip", "half-trip", "short-trip", "drilling", "reaming",
       "coring", "casing", "liner", "moves", "stated", "counted")


def leaf(record):
    """The entry's leaf in base64: its canonical bytes, hashed as docs/formats.md says."""
    text = json.dumps(record, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return base64.b64encode(hashlib.sha256(b"\0" + text.encode()).digest()).decode()


def target(name, logs):
    """Place (ordinal, number) of the entry that an amendment names; None when it is not there.

    A number alone is one of a single log; else leaf and number decide, or the leaf alone, the first
    in the chain.
    """
    if isinstance(name, int):
        return 0, name
    same = [(o, i) for o, log in enumerate(logs) for i, r in enumerate(log)
            if leaf(r) == name["leaf"]]
    exact = [place for place in same if place[1] == name["index"]]
    return (exact or same or [None])[0]


def standing(logs):
    """Entries as amended, without those that are void: [((ordinal, number), record)]."""
    entries = [((o, i), r) for o, log in enumerate(logs) for i, r in enumerate(log)]
    amends = [(place, target(r["entry"], logs), r) for place, r in entries
              if r["kind"] == "amend"]
    amends = [(place, meant, r) for place, meant, r in amends if meant and meant < place]
    void, changes = set(), {}
    # An amendment can be voided by a later one, that one by another: the last word first.
    for place, meant, r in reversed(amends):
        if place not in void and r.get("void") == "yes":
            void.add(meant)
    for place, meant, r in amends:
        if place not in void and "set" in r:
            changes.setdefault(meant, {}).update(r["set"])
    return [(place, {**r, **changes.get(place, {})}) for place, r in entries
            if place not in void and r["kind"] != "amend"]


def in_order(logs):
    """Work that shares its minute with a slip or cut says on which side of it it was."""
    side = {"before": -1, "after": 1}
    return [r for _, r in sorted(standing(logs), key=lambda e: (
        e[1]["at"], side.get(e[1].get("when"), 0), e[1].get("tour", ""), e[1].get("row", 0),
        e[0]))]


class Line:
    """What hangs now, and what was counted on it."""

    def __init__(self, r):
        self.reel = r["reel"]
        self.lines = int(r["lines"])
        self.strength = pounds(r["strength"]) if "strength" in r \
            else trade.strength(r["rope"], r["grade"])
        self.received, self.strung = feet(r["received"]), feet(r["strung"])
        self.carried_cut = feet(r.get("carried-cut", "0ft"))
        self.total = ton_miles(r.get("carried-total", "0"))
        self.since_cut = ton_miles(r.get("carried-since-cut", "0"))
        self.since_slip = ton_miles(r.get("carried-since-slip", "0"))
        self.served = self.since_cut
        self.slipped_since_cut = feet(r.get("slipped-since-cut", "0ft"))
        self.used = (r.get("state") == "used" or r.get("carried-basis") == "estimate"
                     or self.carried_cut > 0 or self.total > 0)
        self.slipped = self.drawn = self.returned = self.cropped = self.cut = 0.0
        self.check = 0.0
        self.lowest = None
        self.never_cut = True

    @property
    def in_service(self):
        return self.strung + self.drawn + self.slipped - self.returned - self.cropped - self.cut

    @property
    def on_reel(self):
        return self.received - self.strung - self.drawn - self.slipped + self.returned


class Naive:
    """The account of one log, or of a chain of logs (a list of lists)."""

    def __init__(self, records):
        logs = records if records and isinstance(records[0], list) else [records]
        self.rig, self.string, self.program, self.line = {}, {}, None, None
        self.adverse, self.cuts, self.bit, self.gap, self.well = {}, [], None, False, None
        for r in in_order(logs):
            handle = getattr(self, "on_" + r["kind"].replace("-", "_"), None)
            if handle:
                handle(r)

    # ---- what stands from here on

    def on_rig(self, r):
        self.rig = {**self.rig, **r}

    def on_drill_string(self, r):
        self.string = r

    def on_program(self, r):
        self.program = r

    def on_adverse(self, r):
        if r["state"] == "begins":
            self.adverse[r["what"]] = trade.share(r.get("derate", "100%"))
        else:
            self.adverse.pop(r["what"], None)

    def on_reel(self, r):
        self.line, self.gap = Line(r), False

    def on_unhang(self, r):
        if self.line and self.line.reel == r["reel"]:
            self.line, self.gap = None, False

    def on_string_up(self, r):
        self.line.lines = int(r["lines"])
        self.line.drawn += feet(r.get("drawn", "0ft"))
        self.line.returned += feet(r.get("returned", "0ft"))
        self.line.cropped += feet(r.get("cropped", "0ft"))

    def on_well(self, r):
        """Another well: the bit is not where the last entry left it."""
        if r["well"] != self.well:
            self.bit = None
        self.well = r["well"]

    def on_state(self, r):
        if r["state"] == "moving":
            self.bit = None

    def on_tour(self, r):
        if "bit-depth" in r:
            self.expect(feet(r["bit-depth"]))
            self.bit = feet(r["bit-depth"])
        self.gap = self.gap or r["complete"] == "no"

    # ---- work

    def expect(self, depth):
        if self.bit is not None and abs(self.bit - depth) > SAME_FT:
            self.gap = True

    def follow(self, r):
        """Where the bit must have been, and where it is afterwards."""
        op = r["op"]
        if op in ("pull-out", "run-in", "drilling", "coring"):
            self.expect(feet(r["from"]))
            self.bit = feet(r["to"])
        elif op == "round-trip":
            self.expect(feet(r["depth"]))
            self.bit = feet(r["depth"])
        elif op == "half-trip":
            depth = feet(r["depth"])
            if self.bit is not None and abs(self.bit) <= SAME_FT:
                self.bit = depth
            elif self.bit is not None:
                self.expect(depth)
                self.bit = 0.0
        elif op == "short-trip":
            self.expect(max(feet(r["from"]), feet(r["to"])))
            self.bit = max(feet(r["from"]), feet(r["to"]))
        elif op == "reaming":
            low, high = sorted((feet(r["from"]), feet(r["to"])))
            if self.bit is not None and not low - SAME_FT <= self.bit <= high + SAME_FT:
                self.gap = True
            self.bit = feet(r["to"])
        elif op == "casing":
            self.expect(0.0)
            self.bit = 0.0
        elif op == "liner":
            self.expect(0.0)
            self.bit = None
        elif op in ("counted", "stated"):
            self.bit = None

    def casing(self, r, length, landing):
        """(ton-miles one way, weight): piece by piece, each under what hangs already."""
        mud = ppg(r.get("mud", self.string.get("mud")))
        block, joint = pounds(self.rig["block"]), feet(r["joint"])
        pieces = [(pounds_per_foot(s["casing"]), feet(s["length"]), joint)
                  for s in r.get("sections", ())]
        if not pieces:
            pieces = [(pounds_per_foot(r["casing"]), length - landing, joint)]
        if landing > 0:
            pipe = r.get("pipe", self.string.get("pipe"))
            stand = r.get("stand", self.string.get("stand"))
            pieces.append((pounds_per_foot(pipe), landing, feet(stand)))
        weight = work = 0.0
        for per_foot, run, piece in pieces:
            per_foot *= trade.buoyancy(mud)
            work += run * weight + run * (piece + run) * per_foot / 2 + 2 * run * block
            weight += run * per_foot
        return work / trade.TON_MILE_FT_LB, weight

    def reckon(self, r):
        """(ton-miles, hook load or None) of one operation."""
        op = r["op"]
        block = pounds(self.rig["block"])
        if op in ("counted", "stated"):
            return ton_miles(r["ton-miles"]), None
        if op == "moves":
            up, down = pounds(r["up"]), pounds(r["down"])
            times = trade.number(r.get("multiplier", "1"))
            return times * trade.moves(int(r["count"]), feet(r["stroke"]), up, down), max(up, down)
        if op == "casing":
            work, weight = self.casing(r, feet(r["depth"]), feet(r.get("landing-string", "0ft")))
            return work, weight + block
        s = {**self.string, **r}
        wm = pounds_per_foot(s["pipe"]) * trade.buoyancy(ppg(s["mud"]))
        if op == "liner":
            length, depth = feet(r["liner-length"]), feet(r["depth"])
            work, weight = self.casing(r, length, 0.0)
            full = lambda d: trade.trip(d, feet(s["stand"]), wm, block, weight - wm * length)
            return work + (full(depth) - full(length)) / 2, weight + wm * (depth - length) + block
        c = pounds(s["bha-weight"]) * trade.buoyancy(ppg(s["mud"])) - wm * feet(s["bha-length"])
        full = lambda d: trade.trip(d, feet(s["stand"]), wm, block, c)
        ends = (feet(r["depth"]), 0.0) if "depth" in r else (feet(r["from"]), feet(r["to"]))
        way = full(max(ends)) - full(min(ends))
        drive = r.get("drive", self.rig.get("drive", "kelly"))
        times = {
            "round-trip": 1, "short-trip": 1, "coring": 2, "reaming": int(r.get("passes", 1)),
            "drilling": (1 if drive == "top-drive" else 2) + int(r.get("reams", 1)),
        }.get(op, 0.5)
        return times * way, max(ends) * wm + c + block

    def share(self, factor):
        """Service at a factor by the programme's curve, or the built-in one."""
        points = trade.CURVE
        if self.program and self.program.get("curve"):
            points = sorted((trade.number(p["factor"]),
                             trade.share(p["share"]) if p["share"].endswith("%")
                             else trade.number(p["share"])) for p in self.program["curve"])
        if factor <= points[0][0]:
            value = points[0][1]
        elif factor >= points[-1][0]:
            value = points[-1][1]
        else:
            value = next(s0 + (s1 - s0) * (factor - f0) / (f1 - f0)
                         for (f0, s0), (f1, s1) in zip(points, points[1:]) if factor <= f1)
        credit = self.program and self.program.get("credit-above") == "on"
        return value if credit else min(value, 1.0)

    def on_work(self, r):
        self.follow(r)
        line = self.line
        if not line:
            return
        work, load = self.reckon(r)
        if "hookload" in r:
            load = pounds(r["hookload"])
        k = 1.09 if self.rig.get("bearing") == "plain" else 1.04
        at = lambda pull: trade.design_factor(line.strength, pull, line.lines, k)
        for seen in filter(None, (load, pounds(r["pull"]) if "pull" in r else None)):
            line.lowest = min(at(seen), line.lowest or at(seen))
        if load:
            factor = at(load)  # a highest pull never re-rates the work
        else:
            factor = line.lowest or 5.0  # the lowest since the cut, as `assumed` says
        # What is stated is neither hand nor sensor: it counts under either.
        basis = (self.program or {}).get("basis")
        if basis and r["op"] != "stated" and (basis == "counted") != (r["op"] == "counted"):
            line.check += work
            return
        derate = 1.0
        for value in self.adverse.values():
            derate *= value
        line.total += work
        line.since_cut += work
        line.since_slip += work
        line.served += work / (self.share(factor) * derate)

    # ---- slips and cuts

    def slip(self, length):
        self.line.slipped += length
        self.line.slipped_since_cut += length
        self.line.since_slip = 0.0

    def on_slip(self, r):
        if self.line:
            self.slip(feet(r["length"]))

    def goal(self):
        if not self.program or not self.line:
            return 0.0
        first = self.line.never_cut and not self.line.used
        return ton_miles(self.program["first-goal" if first else "later-goal"])

    def on_cut(self, r):
        line, length = self.line, feet(r["length"])
        if feet(r.get("slipped", "0ft")) > 0:
            self.slip(feet(r["slipped"]))
        goal = self.goal()
        programme = feet(self.program["cut"]) if self.program else 0.0
        wear = r["reason"] in FOR_WEAR
        self.cuts.append({
            "reason": r["reason"], "length_ft": length, "slipped_ft": line.slipped_since_cut,
            "ton_miles": line.since_cut, "served_ton_miles": line.served, "goal_ton_miles": goal,
            "programme_ft": programme, "planned": r["reason"].startswith("planned"),
            "incomplete": self.gap,
            "early": bool(wear and goal and not self.gap
                          and line.served / length < 0.9 * goal / programme),
            "long": bool(wear and programme and length > 1.25 * programme),
        })
        line.cut += length
        line.never_cut = False
        line.since_cut = line.served = line.slipped_since_cut = line.check = 0.0
        line.lowest = None
        self.gap = False

    def totals(self):
        line = self.line
        out = {"cuts": self.cuts, "incomplete": self.gap, "reel": line.reel if line else None,
               "goal_ton_miles": self.goal()}
        if line:
            out.update({
                "lines": line.lines, "ton_miles_line": line.total,
                "ton_miles_since_cut": line.since_cut, "ton_miles_since_slip": line.since_slip,
                "served_ton_miles": line.served, "check_ton_miles": line.check,
                "in_service_ft": line.in_service, "on_reel_ft": line.on_reel,
                "present_ft": line.received - line.cut - line.cropped,
                "slipped_since_cut_ft": line.slipped_since_cut,
                "feet_cut_line_ft": line.carried_cut + line.cut,
            })
        return out
