"""kill -9 of the real programs at random moments, both ends under load: enter, take, push, serve, and
the courier's commands. What was killed is repeated, as people and service managers do.

After each kill: what was acknowledged is there, nothing is doubled, the office holds what was
receipted. At the end: equal roots, and the content of an undisturbed run. 100 kills, 1,000 with
FSP_LONG=1; FSP_SEED repeats a run.
"""

import json
import os
import random
import signal
import subprocess
import time

KILLS = 1000 if os.environ.get("FSP_LONG") == "1" else 100
SEED = int(os.environ.get("FSP_SEED") or random.SystemRandom().randrange(1 << 32))
DRILL_STRING = ["pipe=19.5lb/ft", "stand=93ft", "bha-weight=45000lb", "bha-length=600ft", "mud=10.2ppg"]
RIG = ["at=2025-03-01T00:00:00Z", "by=clerk", "mast=142ft", "drum=30in", "block=47000lb"]


def at(n):
    return f"2025-03-{2 + n // 1440:02}T{n // 60 % 24:02}:{n % 60:02}:00Z"


class Work:
    """What the crew does, in order: single entries and day sheets, each with numbers of its own."""

    def __init__(self, folder, seed):
        self.folder = folder
        self.random = random.Random(seed)
        self.next = 0

    def one(self):
        """(arguments of the command, the records' marks)"""
        n = self.next
        if self.random.random() < 0.6:
            self.next += 1
            return ["enter", "work", f"at={at(n)}", "by=clerk", "op=round-trip", f"depth={4000 + n}ft",
                    f"note=mark {n}", "--once", f"form-{n}"], [n]
        rows = self.random.randrange(1, 40)
        self.next += rows
        sheet = self.folder / f"sheet-{n}.csv"
        marks = list(range(n, n + rows))
        sheet.write_text("kind,at,by,op,depth,note\n" + "".join(
            f"work,{at(i)},clerk,round-trip,{4000 + i}ft,mark {i}\n" for i in marks))
        return ["take", str(sheet)], marks


class Scene:
    def __init__(self, programs, office, rig, tmp_path, rng):
        self.p, self.office, self.rig, self.tmp, self.rng = programs, office, rig, tmp_path, rng
        self.acknowledged = []
        self.usual = {}  # seconds a command takes when nobody kills it
        self.kills = 0

    def start(self, name, *args):
        command = [os.path.join(self.p.folder, f"farspool-{name}"), *map(str, args)]
        return subprocess.Popen(command, env=self.p.env, stdout=subprocess.PIPE,
                                stderr=subprocess.PIPE, text=True)

    def rig_start(self, command, *args):
        return self.start("rig", command, "--store", self.rig.store, *args)

    def wait(self, process, allowed=(0,)):
        out, err = process.communicate(timeout=60)
        assert process.returncode in allowed, (process.args, process.returncode, out, err)
        return out

    def kill_later(self, process, what):
        """kill -9 somewhere within the time the command usually takes."""
        moment = self.rng.uniform(0, 1.2 * self.usual.get(what, 0.05))
        end = time.monotonic() + moment
        while time.monotonic() < end and process.poll() is None:
            pass
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=60)
        self.kills += process.returncode == -signal.SIGKILL  # else it was faster
        return process.returncode == 0

    def measure(self, what, process):
        begin = time.monotonic()
        self.wait(process, (0, 69, 75))
        self.usual[what] = time.monotonic() - begin

    # ---- the disturbed commands ----

    def enter(self, args, marks, kill):
        """Kill it or not, then repeat it until it says that the records are there."""
        if kill:
            if self.kill_later(self.rig_start(*args), args[0]):
                self.acknowledged += marks
                return
        begin = time.monotonic()
        self.wait(self.rig_start(*args))
        self.usual[args[0]] = time.monotonic() - begin
        self.acknowledged += marks

    def courier(self, kill):
        """carry, office take and receipt; one of them is killed, and the next ones may lack their file."""
        bundle, receipt = self.tmp / "c.fsb", self.tmp / "c.receipt"
        steps = [("carry", lambda: self.rig_start("carry", "--out", bundle)),
                 ("office take", lambda: self.start("office", "take", bundle, "--store",
                                                    self.office.store, "--receipt", receipt)),
                 ("receipt", lambda: self.rig_start("receipt", receipt))]
        victim = self.rng.randrange(3) if kill else None
        for path in (bundle, receipt):
            path.unlink(missing_ok=True)
        for i, (what, start) in enumerate(steps):
            if (i == 1 and not bundle.exists()) or (i == 2 and not receipt.exists()):
                return
            if i == victim:
                self.kill_later(start(), what)
            else:
                self.measure(what, start())

    # ---- what must hold ----

    def entries(self):
        done = self.rig.run("print")
        return [json.loads(line) for line in done.stdout.splitlines()]

    def check(self):
        marks = [int(e["note"].split()[1]) for e in self.entries() if e.get("note", "").startswith("mark ")]
        assert len(marks) == len(set(marks)), "doubled"
        missing = set(self.acknowledged) - set(marks)
        assert not missing, f"acknowledged and lost: {sorted(missing)}"

    def check_both(self):
        state = self.rig.json("check")
        assert not state["problems"], state
        office = self.office.json("rig", "heron")
        assert office["size"] >= state["receipted"], (office["size"], state["receipted"])
        if office["size"] == state["size"]:
            assert office["root"] == state["root"]


def begin(rig):
    rig.enter("rig", *RIG)
    rig.enter("drill-string", "at=2025-03-01T01:00:00Z", "by=clerk", *DRILL_STRING)


def bare(entries):
    """Without the time of entering."""
    return [{k: v for k, v in e.items() if k != "noted"} for e in entries]


def test_kills_at_random_moments_lose_and_double_nothing(programs, office, rig_of, tmp_path):
    print(f"FSP_SEED={SEED}")
    rng = random.Random(SEED)
    office.serve()
    listen = office.intake.split("//")[1]
    pages = office.pages.split("//")[1]
    rig = rig_of("heron", office.intake)
    begin(rig)
    scene = Scene(programs, office, rig, tmp_path, rng)
    work = Work(tmp_path, SEED)
    done = []
    while scene.kills < KILLS:
        args, marks = work.one()
        done.append(args)
        draw = rng.random()
        push = None
        if draw < 0.75:
            push = scene.rig_start("push", "--patience", "0")
        if draw < 0.25:  # the office dies under load
            scene.enter(args, marks, kill=False)
            end = time.monotonic() + rng.uniform(0, 0.05)
            while time.monotonic() < end and push.poll() is None:
                pass
            office.stop(signal.SIGKILL)
            scene.kills += 1
            scene.wait(push, (0, 69))
            office.serve(listen=listen, pages=pages)
        elif draw < 0.5:  # the push dies while records are entered
            entering = scene.rig_start(*args)
            scene.kill_later(push, "push")
            scene.wait(entering)
            scene.acknowledged += marks
        elif draw < 0.75:  # entering dies while a push runs
            scene.enter(args, marks, kill=True)
            begun = time.monotonic()
            scene.wait(push, (0, 69))
            scene.usual["push"] = max(time.monotonic() - begun, 0.03)
        elif draw < 0.85:
            scene.enter(args, marks, kill=False)
            scene.courier(kill=True)
        else:  # everything at once
            entering = scene.rig_start(*args)
            push = scene.rig_start("push", "--patience", "0")
            scene.kill_later(push, "push")
            office.stop(signal.SIGKILL)
            scene.kills += 1
            finished = scene.kill_later(entering, args[0])
            office.serve(listen=listen, pages=pages)
            if not finished:
                scene.wait(scene.rig_start(*args))
            scene.acknowledged += marks
        scene.check()
        if len(done) % 5 == 0:
            scene.check_both()
    rig.run("push", "--patience", "60")
    scene.check_both()
    assert office.json("rig", "heron")["size"] == rig.size()
    assert office.json("rig", "heron")["root"] == rig.json("check")["root"]
    # The same, undisturbed.
    calm = rig_of("plover", office.intake)
    begin(calm)
    for args in done:
        calm.run(*args)
    calm.run("push", "--patience", "60")
    assert bare(rig.entries()) == bare(calm.entries())
    assert sorted(scene.acknowledged) == list(range(work.next))
