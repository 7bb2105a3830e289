"""Repeated early cuts a second time, naively and in exact fractions, from docs/account.md.

A rig is a list of cuts, each a dict: day, rope (mm), eligible, early, low, changed.
"""

from fractions import Fraction
from math import comb

FLOOR = Fraction(3, 100)
YEAR = 365


def tail(n, k, p):
    """So many or more of so many: exact."""
    p = Fraction(p)
    return sum(comb(n, i) * p**i * (1 - p)**(n - i) for i in range(k, n + 1))


def good(cut):
    return not cut["early"] and not cut["low"]


def good_run(cuts):
    run = 0
    for cut in reversed(cuts):
        if cut["early"]:
            break
        run += good(cut)
    return run


def since_third_good(cuts):
    """What goes on counting once a flag is closed: from the third good cut from the end on."""
    left = 3
    for i in range(len(cuts) - 1, -1, -1):
        left -= good(cuts[i])
        if left == 0:
            return cuts[i:]
    return cuts


def best_row(cuts, rate):
    """The row of 4, 5 or 6 that chance explains least: (cuts, early, tail)."""
    rows = []
    for n in (4, 5, 6):
        if len(cuts) >= n:
            early = sum(c["early"] for c in cuts[-n:])
            rows.append((tail(n, early, rate), n, early))
    least, n, early = min(rows, key=lambda row: row[0])
    return n, early, least


def history(rig, rate_at, yearly):
    """Per cut: (state, window, early, fleet's cuts, rate, tail, flagged before or after it)."""
    counted, flagged, closed, told = [], False, False, None
    for i, cut in enumerate(rig):
        before = flagged
        if cut["changed"]:
            closed = closed or flagged
            counted, flagged = [], False
        if cut["eligible"]:
            counted = counted + [cut]
            if flagged and good_run(counted) >= 3:
                counted, flagged, closed = since_third_good(counted), False, True
            if len(counted) >= 4:
                closed = False
                rate, cuts = rate_at(i)
                n, early, chance = best_row(counted, rate)
                year = sum(c["eligible"] and c["day"] > cut["day"] - YEAR for c in rig[:i + 1])
                says = (early >= 3 and chance <= Fraction(1, 1000)
                        and (not yearly or chance * year <= Fraction(1, 100)))
                if says or not flagged:
                    flagged, told = says, (n, early, cuts, rate, chance)
        state = ("flagged" if flagged else "clear" if len(counted) >= 4
                 else "closed" if closed else "watching")
        yield state, (None if state == "watching" else told), before or flagged


def out_since(rig):
    """Per cut the day from which it no longer counts for the rate, by the 3 % alone; None: never."""
    out = [None] * len(rig)
    flagged = False
    for i, (state, _, either) in enumerate(history(rig, lambda _: (FLOOR, 0), False)):
        begins = state == "flagged" and not flagged
        if begins:
            for k in range(i + 1):
                if out[k] is None:
                    out[k] = rig[i]["day"]
        elif either and not rig[i]["changed"]:
            out[i] = rig[i]["day"]
        flagged = state == "flagged"
    return out


class Fleet:
    def __init__(self, rigs):
        self.rigs = rigs
        self.out = [out_since(rig) for rig in rigs]

    def rate(self, mine, day, rope):
        early = eligible = 0
        for j, rig in enumerate(self.rigs):
            for cut, out in zip(rig, self.out[j]):
                if (j != mine and cut["eligible"] and abs(cut["rope"] - rope) <= 0.2
                        and cut["day"] <= day < cut["day"] + YEAR
                        and (out is None or out > day)):
                    eligible += 1
                    early += cut["early"]
        if eligible < 20:
            return FLOOR, 0
        return max(FLOOR, Fraction(early, eligible)), eligible

    def judge(self, mine):
        rig = self.rigs[mine]
        return [row[:2] for row in history(
            rig, lambda i: self.rate(mine, rig[i]["day"], rig[i]["rope"]), True)]
