#!/usr/bin/python3
"""The main job, run: an office and four rigs through a season behind a bad link.

    demo.py --bin DIR [--once] [--keep DIR] [--seed S] [--days N] [--end DAY] [--pages ADDR:PORT]

The rigs and their season are invented (season.py); the programs are the real ones in --bin. Day
sheets are taken as they come, every few days each rig pushes through a link that delays, cuts and
fails (linkproxy.py), one rig sends files by courier for some weeks. At the end the fleet is
reported, the run is checked against what the simulator knows, and one inspection is proved.

--once ends there, with status 0 only if every check holds. Otherwise the office's pages are served
until Ctrl-C. A failure prints the seed; the same seed and --end give the same season.
"""

import argparse
import concurrent.futures
import datetime
import json
import os
import pathlib
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "support")]
import linkproxy  # noqa: E402
import season  # noqa: E402

COURIER = "dunlin"  # sends files by courier while its dish is away for repair …
COURIER_DAYS = (42, 72)  # … on these days of the season
PERIOD = 26  # days between two lines of the report
DAYS_LEAST = 100  # a shorter season has too few cuts to judge any rig by
CAUTIONS = (
    "Cautions",
    "  What is said of a lift is the line's limit, never the rig's: mast, crown, block, hook,",
    "  drawworks and anchor have ratings of their own. Visual inspection overrides every count.",
    "  Local codes, the makers' figures and licensed practice come before any number shown here.",
)


class Failed(Exception):
    """The demo cannot go on; the text says what and where."""


def raw_member(text, name):
    """The bytes of a member of a JSON object exactly as they stand, to be compared as bytes."""
    decoder = json.JSONDecoder()
    at = text.index("{") + 1
    while True:
        while text[at] in " \t\r\n,":
            at += 1
        if text[at] == "}":
            raise KeyError(name)
        key, at = json.decoder.scanstring(text, at + 1)
        while text[at] in " \t\r\n:":
            at += 1
        _, end = decoder.raw_decode(text, at)
        if key == name:
            return text[at:end]
        at = end


class Programs:
    """The three programs in one folder."""

    def __init__(self, folder):
        self.folder = pathlib.Path(folder)
        for name in ("farspool-rig", "farspool-office", "farspool-audit"):
            if not os.access(self.folder / name, os.X_OK):
                raise Failed(f"{self.folder / name}: not there; build first, or name --bin DIR")

    def run(self, name, *args, expect=(0,), timeout=120):
        command = [str(self.folder / name), *map(str, args)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=timeout)
        if done.returncode not in expect:
            raise Failed(f"{' '.join(command)[:300]}: exit {done.returncode}: "
                         f"{done.stderr.strip() or done.stdout.strip()[:300]}")
        return done


class Office:
    def __init__(self, programs, store):
        self.programs = programs
        self.store = store
        self.process = None
        self.intake = self.pages = None
        self.run("init", "--fleet", season.FLEET)

    def run(self, command, *args, **kw):
        return self.programs.run("farspool-office", command, "--store", self.store, *args, **kw)

    def serve(self, pages, log):
        """Start intake and pages on free ports; pages where asked when that port is free."""
        for address in (pages, "127.0.0.1:0"):
            self.process = subprocess.Popen(
                [str(self.programs.folder / "farspool-office"), "serve", "--store", self.store,
                 "--listen", "127.0.0.1:0", "--pages", address],
                stdout=subprocess.PIPE, stderr=log, text=True, start_new_session=True)
            said = self.process.stdout.readline().split()
            if said:
                self.intake, self.pages = said[2].rstrip(","), said[5]
                return
            self.process.wait()
        raise Failed(f"the office does not serve: see {log.name}")

    def stop(self):
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(20)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()


class Rig:
    """One rig: its store, its day sheets in order, and when it sends."""

    def __init__(self, programs, name, store, invitation, sheets, seed):
        self.programs = programs
        self.name = name
        self.store = store
        self.sheets = sheets
        self.random = random.Random(f"farspool demo {seed} {name}")
        self.taken = 0
        self.put_off = 0
        self.carried = 0
        self.next_push = self.random.randrange(3, 8)
        self.run("init", "--invitation", invitation)

    def run(self, command, *args, **kw):
        return self.programs.run("farspool-rig", command, "--store", self.store, *args, **kw)

    def push(self, patience=20):
        """True when everything arrived. Otherwise it waits for the next push; nothing is lost."""
        done = self.run("push", "--patience", patience, expect=(0, 69))
        self.put_off += done.returncode != 0
        return done.returncode == 0

    def courier(self, office, post):
        """A stick to town and back."""
        bundle, receipt = post / f"{self.name}.fsb", post / f"{self.name}.receipt"
        self.run("carry", "--out", bundle)
        office.run("take", bundle, "--receipt", receipt)
        self.run("receipt", receipt)
        bundle.unlink()
        receipt.unlink()
        self.carried += 1

    def days(self, first, last, office, post):
        """Take the sheets of days first to last - 1, sending every few days."""
        while first < last:
            until = min(last, max(self.next_push, first + 1))
            self.run("take", *self.sheets[first:until])
            self.taken = first = until
            if until < self.next_push:
                continue
            if self.name == COURIER and COURIER_DAYS[0] <= until < COURIER_DAYS[1]:
                self.courier(office, post)
            else:
                self.push()
            self.next_push = until + self.random.randrange(4, 10)


class Demo:
    def __init__(self, options):
        self.o = options
        self.programs = Programs(options.bin)
        self.began = time.monotonic()
        self.bad = 0
        self.office = self.proxy = None
        self.temporary = None
        if options.keep:
            self.dir = pathlib.Path(options.keep).absolute()
            if self.dir.exists() and any(self.dir.iterdir()):
                raise Failed(f"{self.dir}: not empty; name a new folder for --keep")
            self.dir.mkdir(parents=True, exist_ok=True)
        self.temporary = pathlib.Path(tempfile.mkdtemp(prefix="farspool-demo-"))
        if not options.keep:
            self.dir = self.temporary / "kept"
            self.dir.mkdir()

    def say(self, text=""):
        print(text, flush=True)

    def verdict(self, good, text):
        self.bad += not good
        self.say(f"  {'ok     ' if good else 'FAILED '} {text}")

    # --- the season --------------------------------------------------------------------------

    def begin(self):
        o = self.o
        end = datetime.date.fromisoformat(o.end) if o.end else (
            datetime.datetime.now(datetime.timezone.utc).date() - datetime.timedelta(days=2))
        self.start = end - datetime.timedelta(days=o.days)
        sheets = self.temporary / "sheets"
        fleet = season.season(o.seed, o.days, season.RIGS, self.start.isoformat())
        self.truth = season.write(fleet, sheets, o.seed, o.days, self.start.isoformat())
        self.office = Office(self.programs, self.dir / "office")
        with open(self.temporary / "serve.log", "w", encoding="utf-8") as log:
            self.office.serve(o.pages, log)
        port = int(self.office.intake.rsplit(":", 1)[1])
        link = linkproxy.Link(seed=o.seed, delay_ms=40, rate_bps=256000, cut_chance=0.18,
                              outage_chance=0.12, outage_ms=400)
        self.proxy = linkproxy.LinkProxy(("127.0.0.1", port), link).start()
        self.rigs = []
        (self.dir / "rigs").mkdir()
        for name in season.RIGS:
            invitation = self.temporary / f"{name}.invitation"
            self.office.run("invite", name, "--url", self.proxy.url, "--out", invitation)
            self.rigs.append(Rig(self.programs, name, self.dir / "rigs" / name, invitation,
                                 sorted((sheets / name).iterdir()), o.seed))
        self.say(f"Farspool: a season of the invented fleet {season.FLEET}: {len(self.rigs)} rigs, "
                 f"{o.days} days from {self.start}, seed {o.seed}")
        self.say(f"Link: {link.delay_ms:.0f} ms each way, {link.rate_bps / 1000:.0f} kbit/s, "
                 f"{link.cut_chance:.0%} of connections cut, {link.outage_chance:.0%} followed by "
                 f"an outage; {COURIER} by courier from day {COURIER_DAYS[0]} to {COURIER_DAYS[1]}")
        self.say()
        self.say(f"{'DAY':>4}  {'DATE':10}  {'ON THE RIGS':>11}  {'IN THE OFFICE':>13}  "
                 f"{'CONNECTIONS':>11}  {'CUT':>4}  {'OUTAGES':>7}  {'PUT OFF':>7}  {'CARRIED':>7}")

    def counts(self):
        on_rigs = sum(len(p.read_text().splitlines()) - (p.suffix == ".csv")
                      for r in self.rigs for p in r.sheets[:r.taken])
        fleet = json.loads(self.office.run("fleet", "--json").stdout)
        return on_rigs, sum(r["size"] for r in fleet)

    def line(self, day):
        on_rigs, held = self.counts()
        link = self.proxy.report()
        self.say(f"{day:>4}  {self.start + datetime.timedelta(days=day)}  {on_rigs:>11,}  "
                 f"{held:>13,}  {link['connections']:>11}  {link['cuts']:>4}  {link['outages']:>7}"
                 f"  {sum(r.put_off for r in self.rigs):>7}  {sum(r.carried for r in self.rigs):>7}")

    def season(self):
        last = max(len(r.sheets) for r in self.rigs)
        with concurrent.futures.ThreadPoolExecutor(len(self.rigs)) as pool:
            for day in range(0, last, PERIOD):
                work = [pool.submit(r.days, day, min(day + PERIOD, len(r.sheets)), self.office,
                                    self.temporary) for r in self.rigs]
                for w in work:
                    w.result()
                self.line(min(day + PERIOD, last))
            for arrived in pool.map(lambda r: r.push(60), self.rigs):
                if not arrived:
                    raise Failed("the link never let the last records through")
        self.line(last)

    # --- what came of it ---------------------------------------------------------------------

    def report(self):
        as_of = ("--as-of", self.truth["as_of"])
        self.say("\nThe fleet, as the office sees it")
        self.say(self.office.run("fleet", *as_of).stdout.rstrip())
        self.say("\nRigs that keep cutting early")
        self.say(self.office.run("early", *as_of).stdout.rstrip())
        self.say("\nChecks")

    def check_records(self):
        total = 0
        for rig in self.rigs:
            mine = json.loads(rig.run("check", "--json").stdout)
            theirs = json.loads(self.office.run("rig", rig.name, "--json").stdout)
            total += theirs["size"]
            if (mine["size"], mine["root"]) != (theirs["size"], theirs["root"]):
                self.verdict(False, f"{rig.name}: {mine['size']} records, root {mine['root']}; the "
                             f"office holds {theirs['size']}, root {theirs['root']}")
            elif mine["size"] != self.truth["rigs"][rig.name]["records"]:
                self.verdict(False, f"{rig.name}: {mine['size']} records, the season has "
                             f"{self.truth['rigs'][rig.name]['records']}")
        self.office.run("check")
        self.verdict(self.bad == 0, f"the office holds exactly the rigs' {total:,} records: sizes "
                     "and tree roots are equal, both ends verify")
        if self.o.days >= 120:
            self.verdict(total >= 4000, f"{total:,} records are at least 4,000")

    def check_ledgers(self):
        as_of = ("--json", "--as-of", self.truth["as_of"])
        equal, worst, compared = True, 0.0, 0
        for rig in self.rigs:
            mine = raw_member(rig.run("line", *as_of).stdout, "ledger")
            theirs = raw_member(self.office.run("rig", rig.name, *as_of).stdout, "ledger")
            if mine != theirs:
                equal = False
                self.say(f"  {rig.name}: the ledgers of rig and office differ")
            ledger, truth = json.loads(mine), self.truth["rigs"][rig.name]
            pairs = [(ledger["ton_miles_line"], truth["ton_miles_line"]),
                     (ledger["ton_miles_since_cut"], truth["ton_miles_since_cut"])]
            if len(ledger["cuts"]) != len(truth["cuts"]):
                worst = 1.0
            pairs += [(a["ton_miles"], b["ton_miles"])
                      for a, b in zip(ledger["cuts"], truth["cuts"])]
            compared += len(pairs)
            worst = max([worst] + [abs(a - b) / max(abs(b), 1.0) for a, b in pairs])
        self.verdict(equal, "the ledgers of rig and office agree to the bit, for every rig")
        self.verdict(worst <= 0.001, f"{compared} ton-mile figures agree with the simulator's own, "
                     f"largest difference {worst:.2g} (0.001 allowed)")

    def check_early(self):
        flagged = json.loads(self.office.run(
            "early", "--json", "--as-of", self.truth["as_of"]).stdout)
        names = sorted(r["rig"] for r in flagged)
        self.verdict(names == self.truth["early"],
                     f"flagged for cutting early: {', '.join(names) or 'none'}; the simulator made "
                     f"{', '.join(self.truth['early']) or 'none'} do so, and no other")

    def prove(self):
        """The inspection that led to the last early cut, proved for an auditor."""
        rig = next(r for r in self.rigs if r.name == self.truth["early"][0])
        entries = [json.loads(e) for e in rig.run("print").stdout.splitlines()]
        n = max(i for i, e in enumerate(entries)
                if e["kind"] == "inspection" and e["decision"] == "cut")
        evidence = self.dir / "evidence"
        self.office.run("prove", rig.name, n, "--out", evidence)
        verified = self.programs.run("farspool-audit", "verify", evidence / f"{n}.record.json",
                                     expect=(0, 2))
        self.verdict(verified.returncode == 0,
                     f"the evidence of {rig.name}'s entry {n} verifies offline")
        self.check_flips(evidence, n)
        self.say("\nOne inspection, as an auditor reads it")
        self.say(verified.stdout.rstrip())

    def check_flips(self, evidence, n):
        """Every byte of record and proof in turn, one bit of it flipped."""
        record = (evidence / f"{n}.record.json").read_bytes()
        proof = (evidence / f"{n}.tlog-proof").read_bytes()
        folder, cases = self.temporary / "flipped", []
        folder.mkdir()
        for i in range(len(record) + len(proof)):
            both = bytearray(record + proof)
            both[i] ^= 1 << (i % 8)
            case = folder / f"{i}.record.json"
            case.write_bytes(both[:len(record)])
            (folder / f"{i}.tlog-proof").write_bytes(both[len(record):])
            cases.append(str(case))
        held = []
        for at in range(0, len(cases), 250):
            batch = cases[at:at + 250]
            done = self.programs.run("farspool-audit", "verify", "--json", "--trust",
                                     evidence / "trust.tlog-policy", *batch, expect=(0, 2))
            judged = [json.loads(x) for x in done.stdout.splitlines()]
            if [x["file"] for x in judged] != batch:
                raise Failed("farspool-audit verify does not judge each file it is given")
            held += [x["file"] for x in judged if x["verified"]]
        shutil.rmtree(folder)
        self.verdict(not held, f"and fails after any one flipped byte of record or proof "
                     f"({len(cases):,} tried)" + (f"; still verified: {held[:3]}" if held else ""))

    # --- all of it ---------------------------------------------------------------------------

    def run(self):
        self.begin()
        self.season()
        self.proxy.stop()
        self.report()
        self.check_records()
        self.check_ledgers()
        self.check_early()
        self.prove()
        self.say()
        for text in CAUTIONS:
            self.say(text)
        self.say()
        if self.o.keep:
            self.say(f"Kept: {self.dir}/office, {self.dir}/rigs/NAME, {self.dir}/evidence")
        self.say(f"{time.monotonic() - self.began:.0f} s; " +
                 ("every check holds" if self.bad == 0 else
                  f"{self.bad} FAILED; again with --seed {self.o.seed} --days {self.o.days} --end "
                  f"{self.start + datetime.timedelta(days=self.o.days)}"))
        if not self.o.once:
            self.say(f"The office's pages: {self.office.pages}/ (Ctrl-C ends)")
            self.office.process.wait()
        return 0 if self.bad == 0 else 1

    def close(self):
        if self.proxy is not None:
            self.proxy.stop()
        if self.office is not None:
            self.office.stop()
        if self.temporary is not None:
            shutil.rmtree(self.temporary, ignore_errors=True)


def stop(*_):
    raise KeyboardInterrupt


def main():
    p = argparse.ArgumentParser(
        prog="scripts/demo", description=__doc__.split("\n")[0],
        epilog="Builds in build-demo, or in FSP_DEMO_BUILD; demo.py --bin DIR uses built programs.")
    p.add_argument("--bin", help=argparse.SUPPRESS)
    p.add_argument("--once", action="store_true",
                   help="end by itself; status 0 if every check holds")
    p.add_argument("--keep", metavar="DIR",
                   help="leave the stores and one proved inspection in DIR")
    p.add_argument("--seed", type=int, default=1, help="of season and link (default 1)")
    p.add_argument("--days", type=int, default=130, help="length of the season (default 130)")
    p.add_argument("--end", metavar="DAY", help="last day, YYYY-MM-DD (default: two days ago)")
    p.add_argument("--pages", default="127.0.0.1:8464", metavar="ADDR:PORT",
                   help="where to serve the office's pages; another port when it is taken")
    options = p.parse_args()
    if not options.bin:
        p.error("--bin DIR: which programs?")
    if options.days < DAYS_LEAST:
        p.error(f"--days {options.days}: at least {DAYS_LEAST}, or there are too few cuts to judge")
    signal.signal(signal.SIGTERM, stop)
    demo = None
    try:
        demo = Demo(options)
        return demo.run()
    except Failed as failure:
        print(f"demo: {failure} (seed {options.seed})", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print()
        return 0 if demo is not None and demo.bad == 0 and not options.once else 1
    finally:
        if demo is not None:
            demo.close()


if __name__ == "__main__":
    sys.exit(main())
