"""Random histories of one rig, with every kind of record.

What happens is possible: the bit goes on where it was left, save where a gap is meant. Records come
in any order in the file, amendments last. `history` is what may be entered without a key, in one log;
`chain` is the same as two logs, the second one renewed from the first.
"""

import base64
import datetime
import json
import random

import naive_ledger

START = datetime.datetime(2025, 3, 1, tzinfo=datetime.timezone.utc)
KINDS = ("rig", "reel", "unhang", "turn", "string-up", "well", "state", "tour", "drill-string",
         "work", "slip", "cut", "check", "inspection", "countersign", "adverse", "program", "amend",
         "instruction", "done", "renewal")
REASONS = ("goal", "planned-casing", "planned-shoe", "broken-wires", "diameter", "crossover",
           "kink", "low-dead-wraps", "reel-change")
ROPES = (("1-1/4in", "EIPS"), ("1-3/8in", "IPS"), ("1-3/8in", "EIPS"), ("35mm", "1960"),
         ("32mm", "1770"), ("1-1/2in", "EIPS"))


class History:
    def __init__(self, seed, rig):
        self.rng = random.Random(f"history-{seed}")
        self.name, self.minute, self.records = rig, 0, []
        self.metric = self.rng.random() < 0.4
        self.hole, self.bit, self.reels, self.lines = 1500.0, 0.0, 0, 0
        self.adverse = set()

    # ---- as people write

    def length(self, metres):
        return f"{metres:.2f}m" if self.metric else f"{metres / 0.3048:.1f}ft"

    def load(self, newtons):
        return self.rng.choice((f"{newtons / 1000:.1f}kN", f"{newtons / 4.4482216:.0f}lb",
                                f"{newtons / 9806.65:.3f}t"))

    def work_text(self, tm):
        return self.rng.choice((f"{tm:.1f}", f"{tm:.2f} ton-miles", f"{tm * 1.459972:.2f} t-km",
                                f"{tm * 14.31744:.1f} MJ"))

    def linear(self, kg_m):
        return f"{kg_m:.2f}kg/m" if self.metric else f"{kg_m / 1.48816394:.2f}lb/ft"

    def add(self, kind, again=False, **fields):
        self.minute += 0 if again else self.rng.randint(20, 600)
        at = START + datetime.timedelta(minutes=self.minute)
        record = {"kind": kind, "at": at.strftime("%Y-%m-%dT%H:%M:%SZ"), "by": "clerk"}
        record.update({k.replace("_", "-"): v for k, v in fields.items() if v is not None})
        self.records.append(record)

    # ---- what may happen

    def rig(self):
        self.add("rig", mast=self.length(43), drum=self.rng.choice(("30in", "760mm")),
                 block=self.load(self.rng.uniform(60e3, 250e3)),
                 bearing=self.rng.choice((None, "roller", "plain")),
                 drive=self.rng.choice((None, "kelly", "top-drive")))

    def program(self):
        curve = None
        if self.rng.random() < 0.3:
            curve = [{"factor": "3", "share": "0.5"}, {"factor": "5", "share": "100%"},
                     {"factor": "8", "share": "1.2"}]
        self.add("program", cut=self.length(self.rng.uniform(22, 32)),
                 first_goal=self.work_text(self.rng.uniform(300, 900)),
                 later_goal=self.work_text(self.rng.uniform(200, 800)),
                 slips=self.rng.choice((None, 1, 3)), curve=curve,
                 credit_above=self.rng.choice((None, "off", "on")),
                 basis=self.rng.choice((None, "hand", "counted")))

    def reel(self):
        self.reels += 1
        self.lines = self.rng.choice((8, 10, 12))
        rope, grade = self.rng.choice(ROPES)
        used = {}
        if self.rng.random() < 0.3:
            used = {"state": "used", "carried_total": self.work_text(2100),
                    "carried_cut": self.length(90), "carried_since_cut": self.work_text(120),
                    "carried_since_slip": self.work_text(40), "slipped_since_cut": "20ft",
                    "carried_basis": self.rng.choice(("records", "estimate"))}
        self.add("reel", reel=f"L-{self.reels}", rope=rope, grade=grade,
                 received=self.length(1500), strung=self.length(600), lines=self.lines, **used)

    def change_reel(self):
        self.add("unhang", reel=f"L-{self.reels}", reason="worn")
        self.reel()

    def string_up(self):
        more = self.rng.random() < 0.5
        self.lines = min(max(self.lines + (2 if more else -2), 6), 14)
        self.add("string-up", lines=self.lines, drawn=self.length(80) if more else None,
                 returned=None if more else self.length(60),
                 cropped=None if more else self.length(10))

    def drill_string(self):
        open_ended = self.rng.random() < 0.15
        self.add("drill-string", pipe=self.linear(self.rng.uniform(20, 40)),
                 stand=self.length(28), bha_weight="0lb" if open_ended else self.load(250e3),
                 bha_length="0m" if open_ended else self.length(180),
                 mud=self.rng.choice(("9.6ppg", "1150kg/m3", "1.25SG", "air")))

    def loaded(self):
        fields = {}
        if self.rng.random() < 0.4:
            fields["hookload"] = self.load(self.rng.uniform(400e3, 2200e3))
        if self.rng.random() < 0.2:
            fields["pull"] = self.load(self.rng.uniform(1500e3, 2500e3))
        return fields

    def move_bit(self):
        """One piece of work that suits where the bit is."""
        rng, hole = self.rng, self.hole
        here, bottom = self.length(self.bit), self.length(hole)
        if self.bit == 0:
            op = rng.choice(("run-in", "run-in", "half-trip", "casing", "liner"))
        elif self.bit == hole:
            op = rng.choice(("pull-out", "drilling", "drilling", "round-trip", "short-trip",
                             "reaming", "coring", "half-trip", "shoe"))
        else:
            op = rng.choice(("out", "run-in"))
        deeper = hole + rng.uniform(30, 250)
        work = {
            "run-in": (dict(op="run-in", **{"from": here}, to=bottom), hole),
            "half-trip": (dict(op="half-trip", depth=bottom), hole if self.bit == 0 else 0),
            "casing": (self.casing(), 0),
            "liner": (self.liner(), None),
            "pull-out": (dict(op="pull-out", **{"from": bottom}, to="0m"), 0),
            "out": (dict(op="pull-out", **{"from": here}, to="0ft"), 0),
            "shoe": (dict(op="pull-out", **{"from": bottom}, to=self.length(900)), 900),
            "drilling": (dict(op="drilling", **{"from": bottom}, to=self.length(deeper),
                              drive=rng.choice((None, "kelly", "top-drive")),
                              reams=rng.choice((None, 0, 1, 2))), deeper),
            "coring": (dict(op="coring", **{"from": bottom}, to=self.length(deeper)), deeper),
            "round-trip": (dict(op="round-trip", depth=bottom), hole),
            "short-trip": (dict(op="short-trip", **{"from": bottom}, to=self.length(900)), hole),
            "reaming": (dict(op="reaming", **{"from": self.length(hole - 300)}, to=bottom,
                             passes=rng.choice((None, 1, 2))), hole),
        }[op]
        fields, bit = work
        self.add("work", **fields, **self.loaded())
        if fields["op"] in ("drilling", "coring"):
            self.hole = bit
        # A liner leaves the bit unknown: the next entry may start anywhere.
        self.bit = 0 if bit is None else bit

    def casing(self):
        fields = dict(op="casing", depth=self.length(self.hole), joint=self.length(12),
                      casing=self.linear(70))
        if self.rng.random() < 0.3:
            fields["landing_string"] = self.length(150)
        elif self.rng.random() < 0.5:
            fields["sections"] = [
                {"casing": self.linear(80), "length": self.length(600)},
                {"casing": self.linear(65), "length": self.length(self.hole - 600)}]
            if self.rng.random() < 0.5:
                del fields["casing"]
        return fields

    def liner(self):
        fields = dict(op="liner", depth=self.length(self.hole), casing=self.linear(43),
                      joint=self.length(12), liner_length=self.length(400))
        if self.rng.random() < 0.4:
            del fields["casing"]
            fields["sections"] = [{"casing": self.linear(46), "length": self.length(150)},
                                  {"casing": self.linear(39), "length": self.length(250)}]
        return fields

    def other_work(self):
        rng = self.rng
        if rng.random() < 0.5:
            self.add("work", op="moves", count=rng.randint(1, 80), stroke=self.length(4),
                     up=self.load(900e3), down=self.load(500e3),
                     multiplier=rng.choice((None, "1", "1.5", "2.25")))
        elif rng.random() < 0.5:
            self.add("work", op="stated", ton_miles=self.work_text(rng.uniform(5, 80)),
                     basis="the old book")
        else:
            end = START + datetime.timedelta(minutes=self.minute + 15)
            self.add("work", op="counted", ton_miles=self.work_text(rng.uniform(5, 80)),
                     begin=(end - datetime.timedelta(hours=6)).strftime("%Y-%m-%dT%H:%M:%SZ"),
                     end=end.strftime("%Y-%m-%dT%H:%M:%SZ"))

    def slip(self):
        self.add("slip", length=self.length(self.rng.uniform(5, 12)))
        self.same_minute()

    def same_minute(self):
        """Work that ended in the minute of the slip or cut."""
        if self.rng.random() < 0.4:
            self.add("work", again=True, op="moves", count=self.rng.randint(1, 20),
                     stroke=self.length(3), up=self.load(900e3), down=self.load(500e3),
                     when=self.rng.choice(("before", "after")))

    def cut(self):
        length = self.rng.uniform(18, 42)
        self.add("cut", length=self.length(length), reason=self.rng.choice(REASONS),
                 slipped=self.rng.choice((None, self.length(length))))
        self.same_minute()

    def tour(self):
        whole = self.rng.random() < 0.85
        bit = self.length(self.bit) if self.rng.random() < 0.5 else None
        self.add("tour", tour=self.rng.choice(("day", "night")), complete="yes" if whole else "no",
                 bit_depth=bit)

    def adverse_state(self):
        what = self.rng.choice(("bit-chatter", "stuck-pipe"))
        if what in self.adverse:
            self.adverse.remove(what)
            self.add("adverse", what=what, state="ends")
        else:
            self.adverse.add(what)
            self.add("adverse", what=what, state="begins",
                     derate=self.rng.choice((None, "80%", "90%")))

    def told(self):
        """Kinds that no total hangs on."""
        kind = self.rng.choice(("well", "state", "check", "inspection", "turn", "countersign",
                                "instruction"))
        sig = base64.b64encode(bytes(64)).decode()
        self.add(kind, **{
            "well": dict(well=self.rng.choice(("LB 3", "LB 3", "LB 4")), formation=self.rng.choice((None, "hard"))),
            "state": dict(state=self.rng.choice(("working", "moving", "repair"))),
            "check": dict(item="crown-saver", result="good"),
            "inspection": dict(fleet="lantern-basin", rig=self.name, reel=f"L-{self.reels}",
                               inspector="i. marsh", scope="tour",
                               decision=self.rng.choice(("run", "watch"))),
            "turn": dict(reel=f"L-{self.reels}"),
            "countersign": dict(entry=0, signer="o. fell", sig=sig),
            "instruction": dict(bytes="aGVsbG8=", sig=sig),
        }[kind])

    def gap(self):
        """The crew forgets to enter a trip."""
        self.bit = self.hole if self.bit == 0 else 0

    def make(self, events=45):
        self.rig()
        self.drill_string()
        if self.rng.random() < 0.8:
            self.program()
        self.reel()
        choices = ((self.move_bit, 30), (self.other_work, 6), (self.slip, 6), (self.cut, 5),
                   (self.tour, 4), (self.told, 5), (self.adverse_state, 2), (self.string_up, 2),
                   (self.drill_string, 2), (self.program, 2), (self.change_reel, 1),
                   (self.rig, 1), (self.gap, 1))
        does, weights = zip(*choices)
        for happens in self.rng.choices(does, weights, k=events):
            happens()
        self.shuffle()
        self.amend()
        return self.records

    def shuffle(self):
        """Entered late: some records come after younger ones."""
        for _ in range(6):
            i = self.rng.randrange(len(self.records) - 1)
            self.records.insert(self.rng.randrange(i, len(self.records)), self.records.pop(i))

    def amend(self):
        rng = self.rng
        number = lambda kind: rng.choice(
            [i for i, r in enumerate(self.records) if r["kind"] == kind] or [None])
        amends = []
        for kind, change in (("work", {"hookload": "1100kN"}), ("work", {"hookload": "900kN"}),
                             ("cut", {"reason": "diameter"}), ("slip", {"length": "25ft"}),
                             ("tour", {"complete": "yes"}), ("slip", None), ("work", None)):
            entry = number(kind)
            if entry is not None and rng.random() < 0.4:
                amends.append(dict(entry=entry, reason="misread",
                                   **({"set": change} if change else {"void": "yes"})))
        for fields in amends:
            self.add("amend", **fields)
        if amends and rng.random() < 0.4:
            self.add("amend", entry=len(self.records) - 1, reason="right after all", void="yes")
        if rng.random() < 0.3:
            entry = number("instruction")
            if entry is not None:
                self.add("done", entry=entry, answer="done so")


def history(seed, rig="heron"):
    return History(seed, rig).make()


def lines(records):
    return "".join(json.dumps(r) + "\n" for r in records)


# ---- a chain of two logs

def stored(record):
    """As the program stores it."""
    return {**record, "v": 1, "noted": "2025-12-31T00:00:00Z"}


def chain(seed, rig="heron"):
    """The history as two logs, parsed entries: the rig lost its key somewhere on the way.

    The office held `size` entries of the first log, so the chain has that many; what the rig had
    beyond them stands in the second log, byte for byte, behind the renewal. What came later follows.
    Amendments name an entry by the number it had when they were written, or by the new one.
    """
    rng = random.Random(f"chain-{seed}")
    records = history(seed, rig)
    lost = rng.randrange(len(records) // 4, len(records) * 3 // 4)
    size = rng.randrange(lost // 2, lost + 1)
    entries = []
    for i, record in enumerate(records):
        entry = stored(record)
        if isinstance(record.get("entry"), int) and record["entry"] < i:
            meant = record["entry"]
            moved = i >= lost and meant >= size and (meant >= lost or rng.random() < 0.5)
            entry["entry"] = {"log": "new" if moved else "old",
                              "index": meant - size + 1 if moved else meant,
                              "leaf": naive_ledger.leaf(entries[meant])}
        entries.append(entry)
    renewal = stored({"kind": "renewal", "at": entries[max(size - 1, 0)]["at"], "by": "clerk",
                      "from": {"origin": "lantern-basin/heron/old", "size": size,
                               "root": base64.b64encode(bytes(32)).decode()},
                      "why": "the key was lost"})
    return [entries[:size], [renewal] + entries[size:]]
