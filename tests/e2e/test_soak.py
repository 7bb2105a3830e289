"""A soak: a rig's `run` and an office's `serve` at work while, at random moments of one seed, both
ends are killed (-9), told to stop and to reload, the link is cut, throttled and lossy, and both
disks are filled; the crew enters records, takes sheets and drops them into the inbox all the time,
and a courier goes his rounds.

At the end: what was acknowledged is on both ends exactly once, roots and ledgers are equal, no fork,
nothing refused, no process that does not stop, memory and logs bounded. 8 seconds, 30 minutes with
FSP_LONG=1; FSP_SEED repeats a run, FSP_SOAK_SECONDS sets its length. Figures are printed.

The stores lie on small disks of their own where the machine allows to mount them; else no disk is
filled, and the test says so.
"""

import collections
import json
import os
import pathlib
import random
import re
import signal
import subprocess
import threading
import time

import pytest

import programs as drive
from test_disk import Disk

SECONDS = int(os.environ.get("FSP_SOAK_SECONDS") or (1800 if os.environ.get("FSP_LONG") == "1" else 8))
SEED = int(os.environ.get("FSP_SEED") or random.SystemRandom().randrange(1 << 32))

RIG_ANON_KIB, RIG_RESIDENT_KIB = 6 * 1024, 20 * 1024
OFFICE_ANON_KIB = 32 * 1024
# A fold that finds no stored state (one could not be kept: the disk was full) holds every record: 2.7
# KiB each, measured. It is given back afterwards.
FOLD_KIB = 4
LINES_A_LIFE = 60   # of `run`: its two limits of 20 lines, start, stop, reloads
STOP_S = 30         # the units' own limit
RIG = ["mast=142ft", "drum=30in", "block=47000lb"]
REEL = ["reel=LB-1", "rope=1-3/8in", "grade=EIPS", "received=5000ft", "strung=1850ft", "lines=10"]
STRING = ["pipe=19.5lb/ft", "stand=93ft", "bha-weight=45000lb", "bha-length=600ft", "mud=10.2ppg"]


def at(n):
    return f"2025-{3 + n // 40320:02}-{1 + n // 1440 % 28:02}T{n // 60 % 24:02}:{n % 60:02}:00Z"


class Plain:
    """In place of a small disk: the folder itself, that nothing fills."""

    def __init__(self, folder, bin_folder):
        self.path = folder / "disk"
        self.path.mkdir()
        self.programs = drive.Programs(bin_folder)
        self.seen = self.path

    def fill(self):
        return False

    free = end = lambda self: None


class Small(Disk):
    """A small disk that is filled and freed at once, from outside of its namespace."""

    def __init__(self, folder, bin_folder, size):
        super().__init__(folder, bin_folder, size)
        self.seen = pathlib.Path(f"/proc/{self.holder.pid}/root{self.path}")

    def fill(self):
        with open(self.seen / "filler", "ab") as f:
            for size in (1 << 20, 4096, 1):
                try:
                    while True:
                        f.write(b"\0" * size)
                        f.flush()
                except OSError:
                    pass
                f = open(self.seen / "filler", "ab", buffering=0)
        return True

    def free(self):
        (self.seen / "filler").unlink(missing_ok=True)


def disk_of(folder, bin_folder, size):
    folder.mkdir()
    if os.geteuid() != 0:
        print("not root: no small disks, none is filled")
        return Plain(folder, bin_folder)
    return Small(folder, bin_folder, size)


class Service:
    """A process that a service manager keeps: started again whatever ended it."""

    def __init__(self, name, command, env, log):
        self.name, self.command, self.env, self.log = name, command, env, log
        self.lives = 0
        self.ends = collections.Counter()
        self.anonymous = self.resident = 0
        self.process = None
        self.ending = threading.Event()
        self.thread = threading.Thread(target=self.keep, daemon=True)

    def start(self):
        self.thread.start()
        return self

    def keep(self):
        while not self.ending.is_set():
            with open(self.log, "a", encoding="utf-8") as log:
                process = subprocess.Popen(self.command, stdout=log, stderr=log, env=self.env)
            self.process = process
            self.lives += 1
            while process.poll() is None:
                self.look(process.pid)
                try:
                    process.wait(0.25)
                except subprocess.TimeoutExpired:
                    pass
            self.ends[process.returncode] += 1
            self.ending.wait(0.2)

    def look(self, pid):
        try:
            with open(f"/proc/{pid}/comm", encoding="ascii") as f:
                if not f.read().startswith("farspool"):
                    return  # a shell on the way into the disk's namespace
            with open(f"/proc/{pid}/status", encoding="ascii") as f:
                kib = dict(re.findall(r"^(RssAnon|VmHWM):\s+(\d+) kB", f.read(), re.M))
        except OSError:
            return
        self.anonymous = max(self.anonymous, int(kib.get("RssAnon", 0)))
        self.resident = max(self.resident, int(kib.get("VmHWM", 0)))

    def send(self, sig):
        if self.process is not None:
            self.process.send_signal(sig)

    def stop(self):
        """As systemctl stop: seconds it took."""
        self.ending.set()
        begun = time.monotonic()
        end = begun + STOP_S
        while self.thread.is_alive() and time.monotonic() < end:
            self.send(signal.SIGTERM)
            self.thread.join(0.5)
        took = time.monotonic() - begun
        if self.thread.is_alive():
            self.send(signal.SIGKILL)
            raise AssertionError(f"{self.name} did not stop within {STOP_S} s")
        return took

    def lines(self):
        return pathlib.Path(self.log).read_text(encoding="utf-8").splitlines()


class Crew:
    """Enters what it has to until it is told that it is there; some of its commands are killed."""

    def __init__(self, rig, seen, rng, over):
        self.rig, self.seen, self.rng, self.over = rig, seen, rng, over
        self.next = 0
        self.acknowledged = []
        self.dropped = []  # names of sheets in the inbox
        self.killed = self.again = 0
        self.failure = None
        self.thread = threading.Thread(target=self.work, daemon=True)

    def work(self):
        try:
            while not self.over.is_set():
                draw = self.rng.random()
                if draw < 0.7:
                    self.enter()
                else:
                    self.sheet(drop=draw < 0.9)
        except BaseException as e:  # said by the test's own thread
            self.failure = e

    def until_done(self, *args):
        """True when the command said that it is done; repeated as people do."""
        command = [os.path.join(self.rig.p.folder, "farspool-rig"), *args, "--store", self.rig.store]
        while True:
            process = subprocess.Popen(command, env=self.rig.p.env, stdout=subprocess.DEVNULL,
                                       stderr=subprocess.PIPE, text=True)
            if self.rng.random() < 0.1:
                time.sleep(self.rng.uniform(0, 0.06))
                process.kill()
            _, err = process.communicate(timeout=drive.LIMIT_S)
            if process.returncode == 0:
                return
            # Killed; the disk is full; the store is busy: it is tried again.
            assert process.returncode in (-9, 1, 75), (process.returncode, err)
            self.killed += process.returncode == -9
            self.again += process.returncode != -9
            time.sleep(0.05 if process.returncode == -9 else 0.3)

    def enter(self):
        n = self.next
        self.next += 1
        if n % 60 == 59:
            fields = ["slip", f"at={at(n)}", "by=clerk", "length=30ft"]
        else:
            fields = ["work", f"at={at(n)}", "by=clerk", "op=round-trip", f"depth={4000 + n % 5000}ft"]
        self.until_done("enter", *fields, f"note=mark {n}", "--once", f"form-{n}")
        self.acknowledged.append(n)

    def sheet(self, drop):
        rows = self.rng.randrange(1, 30)
        marks = range(self.next, self.next + rows)
        self.next += rows
        text = "kind,at,by,op,depth,note\n" + "".join(
            f"work,{at(i)},clerk,round-trip,{4000 + i % 5000}ft,mark {i}\n" for i in marks)
        name = f"sheet-{marks[0]}.csv"
        folder = self.seen / ("R/inbox" if drop else ".")
        while True:  # the disk may be full
            try:
                (folder / f".{name}").write_text(text)
                os.rename(folder / f".{name}", folder / name)
                break
            except OSError:
                if self.over.wait(0.3):
                    return
        if drop:
            self.dropped.append((name, list(marks)))
        else:
            self.until_done("take", os.path.join(os.path.dirname(self.rig.store), name))
            (folder / name).unlink()
            self.acknowledged += marks


class Chaos:
    """Moments and what happens in them: a pure function of the seed, played by the clock."""

    KINDS = ("kill run", "kill serve", "cut", "throttle", "lossy", "fill rig", "fill office",
             "stop run", "stop serve", "reload", "courier", "read")

    def __init__(self, seed, seconds):
        rng = random.Random(f"soak chaos {seed}")
        self.moments = []
        t = 1.0
        while t < seconds - 2:
            self.moments.append((t, rng.choice(self.KINDS), rng.random(), rng.random()))
            t += rng.expovariate(1 / 0.8)
        self.done = collections.Counter()


class Soak:
    def __init__(self, folder, bin_folder):
        self.folder = folder
        self.rig_disk = disk_of(folder / "rig", bin_folder, "96m")
        self.office_disk = disk_of(folder / "office", bin_folder, "192m")
        self.over = threading.Event()
        self.timers = []

    def begin(self):
        self.office = drive.Office(self.office_disk.programs, self.office_disk.path / "O").init()
        # Ports that stay: taken once, then given to the service.
        self.office.serve()
        listen, pages = (u.split("//")[1] for u in (self.office.intake, self.office.pages))
        address = self.office.address
        self.office.stop()
        self.proxy = drive.LinkProxy(address, drive.Link(seed=SEED)).start()
        invitation = self.office.invite("heron", self.folder / "i", self.proxy.url)
        self.rig = drive.Rig(self.rig_disk.programs, "heron", self.rig_disk.path / "R")
        self.rig.init(invitation)
        for kind, fields in (("rig", RIG), ("reel", REEL), ("drill-string", STRING)):
            self.rig.enter(kind, "at=2025-02-28T00:00:00Z", "by=clerk", *fields)
        conf = self.folder / "rig.conf"
        conf.write_text("[rig]\nevery-s = 1\n[link]\nold-s = 0\n")
        self.run = Service("run", [f"{self.rig.p.folder}/farspool-rig", "run", "--store", self.rig.store],
                           dict(self.rig.p.env, FARSPOOL_RIG_CONF=str(conf)), self.folder / "run.log")
        self.serve = Service("serve", [f"{self.office.p.folder}/farspool-office", "serve", "--store",
                                       self.office.store, "--listen", listen, "--pages", pages],
                             self.office.p.env, self.folder / "serve.log")
        self.crew = Crew(self.rig, self.rig_disk.seen, random.Random(f"soak crew {SEED}"), self.over)

    def later(self, seconds, what):
        timer = threading.Timer(seconds, what)
        timer.daemon = True
        timer.start()
        self.timers.append(timer)

    def courier(self):
        """carry, take, receipt, as far as they go; 75 and a full disk are for the next round."""
        bundle, receipt = self.folder / "c.fsb", self.folder / "c.receipt"
        for path in (bundle, receipt):
            path.unlink(missing_ok=True)
        steps = (lambda: self.rig.run("carry", "--out", bundle, "--patience", "5", status=None),
                 lambda: self.office.run("take", bundle, "--receipt", receipt, status=None),
                 lambda: self.rig.run("receipt", receipt, status=None))
        for step, needs in zip(steps, (self.folder, bundle, receipt)):
            if needs.exists():
                done = step()
                assert done.returncode in (0, 1, 69, 75), done
                if done.returncode != 0:
                    return

    def play(self, kind, a, b):
        short = 0.2 + a * min(4.0, SECONDS / 10)
        if kind == "kill run":
            self.run.send(signal.SIGKILL)
        elif kind == "kill serve":
            self.serve.send(signal.SIGKILL)
        elif kind == "stop run":
            self.run.send(signal.SIGTERM)
        elif kind == "stop serve":
            self.serve.send(signal.SIGTERM)
        elif kind == "reload":
            (self.run if a < 0.5 else self.serve).send(signal.SIGHUP)
        elif kind == "cut":
            self.proxy.down()
            self.later(short, self.proxy.up)
        elif kind == "throttle":
            self.proxy.link = drive.Link(seed=SEED, delay_ms=300 * b, rate_bps=8000 * (1 + 15 * a))
        elif kind == "lossy":
            self.proxy.link = drive.Link(seed=SEED + int(1000 * a), cut_chance=b)
        elif kind in ("fill rig", "fill office"):
            disk = self.rig_disk if kind == "fill rig" else self.office_disk
            if not disk.fill():
                return False
            self.later(short, disk.free)
        elif kind == "courier":
            self.courier()
        elif kind == "read":
            link = json.loads(self.rig.run("line", "--json").stdout)["link"]
            assert {"bytes_today", "next_try", "waits_for"} <= set(link)
        return True

    def mend(self):
        """The disks have room, the link is good, both services are up."""
        for timer in self.timers:
            timer.cancel()
            timer.join()
        for disk in (self.rig_disk, self.office_disk):
            disk.free()
        self.proxy.link = drive.Link(seed=SEED)
        self.proxy.up()

    def entries(self):
        return [json.loads(line) for line in self.rig.run("print").stdout.splitlines()]

    def end(self):
        self.over.set()
        for service in (self.run, self.serve):
            service.ending.set()
            service.send(signal.SIGKILL)
        self.proxy.stop()
        self.rig_disk.end()
        self.office_disk.end()


def inbox(soak, folder=""):
    return sorted(p.name for p in (soak.rig_disk.seen / "R/inbox" / folder).iterdir() if p.is_file())


def check_end(soak):
    """What must hold when all is quiet again; the figures."""
    rig, office, crew = soak.rig, soak.office, soak.crew
    marks = [int(e["note"].split()[1]) for e in soak.entries() if e.get("note", "").startswith("mark ")]
    assert len(marks) == len(set(marks)), "doubled"
    dropped = [m for _, ms in crew.dropped for m in ms]
    missing = (set(crew.acknowledged) | set(dropped)) - set(marks)
    assert not missing, f"acknowledged and lost: {sorted(missing)[:20]}"
    assert set(marks) <= set(range(crew.next))
    assert inbox(soak, "refused") == []
    mine, theirs = drive.same_records(office, rig)
    assert mine == theirs, "size and root differ"
    here, there = drive.ledgers(office, rig, "2026-06-01T00:00:00Z")
    assert here == there, "the ledgers differ"
    at_rig = rig.json("check")
    assert at_rig["problems"] == [] and at_rig["pending"] == 0, at_rig
    assert rig.json("line")["state"] == "sound"
    office.run("check")
    return {"records": mine[0], "acknowledged": len(crew.acknowledged) + len(dropped),
            "sheets_dropped": len(crew.dropped)}


@pytest.fixture()
def soak(programs, tmp_path):
    soak = Soak(tmp_path, os.path.abspath(programs.folder))
    soak.begin()
    yield soak
    soak.end()


def test_both_ends_killed_cut_and_filled_lose_nothing_and_double_nothing(soak):
    print(f"FSP_SEED={SEED} for {SECONDS} s")
    chaos = Chaos(SEED, SECONDS)
    soak.serve.start()
    soak.run.start()
    soak.crew.thread.start()
    begun = time.monotonic()
    for t, kind, a, b in chaos.moments:
        left = begun + t - time.monotonic()
        if left > 0:
            time.sleep(left)
        if time.monotonic() - begun > SECONDS:
            break
        if soak.play(kind, a, b):
            chaos.done[kind] += 1
        assert soak.crew.failure is None, soak.crew.failure
        for service in (soak.run, soak.serve):  # what the units do not start again
            assert not set(service.ends) & {2, 64}, (service.name, service.lines()[-5:])
    soak.mend()
    soak.over.set()
    soak.crew.thread.join(drive.LIMIT_S)
    assert not soak.crew.thread.is_alive() and soak.crew.failure is None, soak.crew.failure
    soak.run.send(signal.SIGTERM)  # its next life does not wait for the last one's backoff
    drive.wait_until("the inbox to be taken", lambda: not inbox(soak))
    drive.wait_until("all to be receipted", lambda: soak.rig.json("check")["pending"] == 0, 120)
    figures = check_end(soak)
    lives = {s.name: s.lives for s in (soak.run, soak.serve)}
    figures["stop_s"] = [round(s.stop(), 1) for s in (soak.run, soak.serve)]
    figures.update(
        seed=SEED, seconds=SECONDS, chaos=dict(sorted(chaos.done.items())), lives=lives,
        ends={s.name: dict(s.ends) for s in (soak.run, soak.serve)},
        commands_killed=soak.crew.killed, commands_again=soak.crew.again,
        run_kib=(soak.run.anonymous, soak.run.resident),
        serve_kib=(soak.serve.anonymous, soak.serve.resident),
        log_lines={s.name: len(s.lines()) for s in (soak.run, soak.serve)},
        link=soak.proxy.report())
    print(json.dumps(figures))
    fold = FOLD_KIB * figures["records"]
    assert soak.run.anonymous <= RIG_ANON_KIB + fold
    assert soak.run.resident <= RIG_RESIDENT_KIB + fold
    assert soak.serve.anonymous <= OFFICE_ANON_KIB + fold
    files = figures["sheets_dropped"]
    limit = lives["run"] * LINES_A_LIFE + files + SECONDS // 150
    assert len(soak.run.lines()) <= limit, "run says too much"
