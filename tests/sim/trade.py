"""The line's arithmetic a second time, in field units, to check the programs against.

Formulas: API RP 9B rotary drilling line evaluation as printed in Lapeyrouse, Formulas and
Calculations for Drilling, Production, and Workover (round trip, drilling, coring, short trip);
casing and pieces of trips derived from the motion of the block; efficiency and design factor API
RP 9B figure 1 and 2.3.3. Strengths and the service curve: from memory of API Spec 9A and RP 9B,
verify against your copy. Metric rope 0.356 d^2 R: from memory of ISO 2408, verify.

Everything here is ft, lb and ton-miles and shares nothing with the C code. Records are dicts of
text as a person types it.
"""

import re

TON_MILE_FT_LB = 2000.0 * 5280.0
LB_KG = 0.45359237
FT_M = 0.3048
G = 9.80665
LBF_N = LB_KG * G
GAL_M3 = 0.003785411784
TON_MILE_J = TON_MILE_FT_LB * LBF_N * FT_M

TO_FT = {"ft": 1.0, "in": 1 / 12.0, "m": 1 / FT_M, "cm": 0.01 / FT_M, "mm": 0.001 / FT_M}
TO_LB = {
    "lb": 1.0, "lbf": 1.0, "klb": 1e3, "klbf": 1e3, "kip": 1e3, "N": 1 / LBF_N, "kN": 1e3 / LBF_N,
    "daN": 10 / LBF_N, "kdaN": 1e4 / LBF_N, "kg": 1 / LB_KG, "t": 1e3 / LB_KG,
}
TO_LB_FT = {"lb/ft": 1.0, "kg/m": FT_M / LB_KG, "N/m": FT_M / LBF_N}
PPG_KGM3 = LB_KG / GAL_M3
TO_PPG = {"ppg": 1.0, "kg/m3": 1 / PPG_KGM3, "SG": 1000 / PPG_KGM3}
TO_TON_MILE = {"": 1.0, "ton-miles": 1.0, "tonne-km": 1e6 * G / TON_MILE_J,
               "t-km": 1e6 * G / TON_MILE_J, "MJ": 1e6 / TON_MILE_J}

STRENGTH_LB = {
    ("1-1/4", "EIPS"): 159800, ("1-3/8", "IPS"): 167000, ("1-3/8", "EIPS"): 192000,
    ("1-3/8", "EEIPS"): 212000, ("1-1/2", "EIPS"): 228000,
}
CURVE = ((2, 0.30), (3, 0.58), (4, 0.80), (5, 1.00), (6, 1.15), (7, 1.25))

FOR_WEAR = ("broken-wires", "diameter", "crossover")
EARLY = 0.90  # of goal per programme foot


def number(text):
    """'9300', '-1.5', '1-3/8', '3/8'."""
    text = text.strip()
    m = re.fullmatch(r"(?:(\d+)-)?(\d+)/(\d+)", text)
    if m:
        return int(m[1] or 0) + int(m[2]) / int(m[3])
    return float(text)


def quantity(text, units):
    m = re.fullmatch(r"(-?[0-9./-]*[0-9]) ?(.*)", text.strip())
    return number(m[1]) * units[m[2]]


def feet(text):
    return quantity(text, TO_FT)


def pounds(text):
    return quantity(text, TO_LB)


def pounds_per_foot(text):
    return quantity(text, TO_LB_FT)


def ppg(text):
    return 0.0 if text == "air" else quantity(text, TO_PPG)


def ton_miles(text):
    return quantity(text, TO_TON_MILE)


def share(text):
    return number(text[:-1]) / 100.0


def strength(rope, grade):
    """Nominal strength, lb."""
    if grade.isdigit():
        mm = feet(rope) * FT_M * 1000
        return 0.356 * mm * mm * float(grade) / LBF_N
    return float(STRENGTH_LB[(rope.strip().removesuffix("in").strip(), grade)])


def buoyancy(mud_ppg):
    return (65.5 - mud_ppg) / 65.5


def trip(depth, stand, wm, block, c):
    """Round trip, ton-miles: D(Ls + D)Wm / 10,560,000 + D(M + C/2) / 2,640,000."""
    return depth * (stand + depth) * wm / 10560000.0 + depth * (block + c / 2.0) / 2640000.0


def casing(depth, joint, wcm, block):
    """Half of a trip of the casing without an assembly."""
    return (depth * (joint + depth) * wcm / 10560000.0 + depth * block / 2640000.0) / 2.0


def moves(count, stroke, up, down):
    return count * stroke * (up + down) / 10560000.0


def efficiency(lines, k=1.04):
    return (k**lines - 1) / (k**lines * lines * (k - 1))


def design_factor(strength_lb, hookload, lines, k=1.04):
    return strength_lb * lines * efficiency(lines, k) / hookload


def service(factor):
    """Share of the goal that a design factor leaves, 5 being 1."""
    if factor <= CURVE[0][0]:
        return CURVE[0][1]
    for (f0, s0), (f1, s1) in zip(CURVE, CURVE[1:]):
        if factor <= f1:
            return s0 + (s1 - s0) * (factor - f0) / (f1 - f0)
    return CURVE[-1][1]


DRILLING_K = {"kelly": (2, 3, 4), "top-drive": (1, 2, 3)}


class Account:
    """What the line has done, record by record, in the order of time."""

    def __init__(self):
        self.rig = {}
        self.string = {}
        self.reel = None
        self.lines = 0
        self.program = None
        self.adverse = {}
        self.cuts = []
        self.total = 0.0  # every operation, whatever line
        self._line(None)

    def _line(self, reel):
        self.reel = reel
        self.line_tm = 0.0
        self.since_slip = 0.0
        self.received = self.strung = self.slipped = self.cut_ft = 0.0
        self.drawn = self.returned = self.cropped = 0.0
        self.first = True
        self._since_cut()

    def _since_cut(self):
        self.since_cut = self.served = 0.0
        self.slipped_since_cut = 0.0
        self.derated = self.derate() < 1
        self.goal_changed = False

    def derate(self):
        value = 1.0
        for d in self.adverse.values():
            value *= d
        return value

    @property
    def goal(self):
        if not self.program or not self.reel:
            return 0.0
        return ton_miles(self.program["first-goal" if self.first else "later-goal"])

    @property
    def programme_ft(self):
        return feet(self.program["cut"]) if self.program else 0.0

    @property
    def in_service(self):
        return (self.strung + self.drawn + self.slipped - self.returned - self.cropped
                - self.cut_ft)

    @property
    def on_reel(self):
        return self.received - self.strung - self.drawn - self.slipped + self.returned

    def _string(self, r):
        get = lambda name: r.get(name, self.string.get(name))
        stand = get("stand") or self.rig.get("stand")
        b = buoyancy(ppg(get("mud")))
        wm = pounds_per_foot(get("pipe")) * b
        length = feet(get("bha-length"))
        c = pounds(get("bha-weight")) * b - wm * length
        return feet(stand), wm, c

    def work(self, r):
        """(ton-miles, hook load in lb or None) of one work record."""
        op = r["op"]
        block = pounds(self.rig["block"])
        if op == "moves":
            up, down = pounds(r["up"]), pounds(r["down"])
            times = number(r.get("multiplier", "1"))
            return times * moves(int(r["count"]), feet(r["stroke"]), up, down), max(up, down)
        if op == "stated":
            return ton_miles(r["ton-miles"]), None
        if op == "casing":
            depth = feet(r["depth"])
            wcm = pounds_per_foot(r["casing"]) * buoyancy(ppg(r.get("mud", self.string.get("mud"))))
            return casing(depth, feet(r["joint"]), wcm, block), depth * wcm + block
        stand, wm, c = self._string(r)
        full = lambda d: trip(d, stand, wm, block, c)
        if "depth" in r:
            deep, shallow = feet(r["depth"]), 0.0
        else:
            deep, shallow = feet(r["from"]), feet(r["to"])
            deep, shallow = max(deep, shallow), min(deep, shallow)
        difference = full(deep) - full(shallow)
        if op in ("pull-out", "run-in", "half-trip"):
            tm = difference / 2
        elif op in ("round-trip", "short-trip"):
            tm = difference
        elif op == "reaming":
            tm = difference * int(r.get("passes", 1))
        elif op == "coring":
            tm = 2 * difference
        elif op == "drilling":
            drive = r.get("drive", self.rig.get("drive", "kelly"))
            tm = DRILLING_K[drive][min(int(r.get("reams", 1)), 2)] * difference
        else:
            raise ValueError(op)
        return tm, deep * wm + c + block

    def apply(self, r):
        kind = r["kind"]
        if kind == "rig":
            self.rig.update(r)
        elif kind == "reel":
            self._line(r["reel"])
            self.received, self.strung = feet(r["received"]), feet(r["strung"])
            self.lines = int(r["lines"])
            self.strength = strength(r["rope"], r["grade"])
        elif kind == "string-up":
            self.lines = int(r["lines"])
            self.drawn += feet(r.get("drawn", "0ft"))
            self.returned += feet(r.get("returned", "0ft"))
            self.cropped += feet(r.get("cropped", "0ft"))
        elif kind == "program":
            keys = ("cut", "first-goal", "later-goal")
            if not self.program or any(self.program[k] != r[k] for k in keys):
                self.goal_changed = True
            self.program = r
        elif kind == "drill-string":
            self.string = r
        elif kind == "adverse":
            if r["state"] == "begins":
                self.adverse[r["what"]] = share(r.get("derate", "100%"))
                self.derated = self.derated or self.derate() < 1
            else:
                self.adverse.pop(r["what"], None)
        elif kind == "work":
            self._apply_work(r)
        elif kind == "slip":
            length = feet(r["length"])
            self.slipped += length
            self.slipped_since_cut += length
            self.since_slip = 0.0
        elif kind == "cut":
            self._apply_cut(r)

    def _apply_work(self, r):
        tm, hookload = self.work(r)
        if "hookload" in r:
            hookload = pounds(r["hookload"])
        factor = design_factor(self.strength, hookload, self.lines) if hookload else 5.0
        self.total += tm
        self.line_tm += tm
        self.since_slip += tm
        self.since_cut += tm
        self.served += tm / (min(service(factor), 1.0) * self.derate())

    def _apply_cut(self, r):
        length = feet(r["length"])
        job = feet(r.get("slipped", "0ft"))
        self.slipped += job
        self.slipped_since_cut += job
        goal, programme = self.goal, self.programme_ft
        wear = r["reason"] in FOR_WEAR
        planned = r["reason"].startswith("planned")
        early = bool(wear and goal and self.served / length < EARLY * goal / programme)
        bars = ["planned"] if planned else []
        if self.first:
            bars.append("first cut of the line")
        if self.goal_changed:
            bars.append("goal changed")
        if self.derated:
            bars.append("derated")
        self.cuts.append({
            "at": r["at"], "reason": r["reason"], "condition": r.get("condition"),
            "place": r.get("place"), "length_ft": length, "slipped_ft": self.slipped_since_cut,
            "ton_miles": self.since_cut, "served_ton_miles": self.served, "goal_ton_miles": goal,
            "programme_ft": programme, "early": early, "planned": planned, "eligible": not bars,
            "why": "; ".join(bars) or ("early, for wear" if early else "not early"),
        })
        self.cut_ft += length
        self.first = False
        self._since_cut()
        if job > 0:
            self.since_slip = 0.0

    def totals(self):
        return {
            "reel": self.reel, "lines": self.lines, "ton_miles_all": self.total,
            "ton_miles_line": self.line_tm, "ton_miles_since_cut": self.since_cut,
            "ton_miles_since_slip": self.since_slip, "served_ton_miles": self.served,
            "goal_ton_miles": self.goal, "in_service_ft": self.in_service,
            "on_reel_ft": self.on_reel, "present_ft": self.received - self.cut_ft - self.cropped,
            "slipped_since_cut_ft": self.slipped_since_cut, "feet_cut_line_ft": self.cut_ft,
            "cuts": self.cuts,
        }


def amended(records):
    """The records with amendments by number applied, in log order; the last one wins."""
    out = [dict(r) for r in records]
    void = set()
    for r in records:
        if r["kind"] != "amend":
            continue
        if r.get("void") == "yes":
            void.add(int(r["entry"]))
        else:
            out[int(r["entry"])].update(r["set"])
    return [r for i, r in enumerate(out) if i not in void]


def account(records):
    """Fold records that are in order of time."""
    a = Account()
    for r in amended(records):
        a.apply(r)
    return a
