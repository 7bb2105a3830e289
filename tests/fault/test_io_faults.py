"""Every durable step of enter, push by courier and the office's intake, failed and killed in turn.

For the n-th fsync, write or rename of a command, for every n that the command reaches: the command
is made to fail there (EIO, a disk that is full from there on) or killed there; afterwards the store
must verify, what was acknowledged must be there, and repeating the command must bring the
undisturbed result, nothing lost and nothing doubled.

FSP_LONG=1 tries every n; otherwise every second one is tried, of the long commands fewer.
"""

import json
import os
import pathlib
import shutil
import subprocess

import pytest

BIN = pathlib.Path(os.environ["FSP_BIN"])
LONG = os.environ.get("FSP_LONG") == "1"
ACTIONS = ["EIO", "ENOSPC+", "KILL"]
LIMIT = 2000

DRILL_STRING = ["pipe=19.5lb/ft", "stand=93ft", "bha-weight=45000lb", "bha-length=600ft", "mud=10.2ppg"]


def run(*args, fault=None, seen=None, expect=0):
    env = dict(os.environ)
    if fault:
        env["LD_PRELOAD"] = str(BIN / "libfaultio.so")
        env["FSP_FAULT"] = fault
        env["FSP_FAULT_SEEN"] = str(seen)
    done = subprocess.run([str(a) for a in args], env=env, capture_output=True, timeout=60)
    if expect is not None:
        assert done.returncode == expect, done.stderr.decode()
    return done


def rig(store, *args, **kw):
    return run(BIN / "farspool-rig", args[0], "--store", store, *args[1:], **kw)


def office(store, *args, **kw):
    return run(BIN / "farspool-office", args[0], "--store", store, *args[1:], **kw)


def rig_state(store):
    state = json.loads(rig(store, "check", "--json").stdout)
    return state["size"], state["root"]


def office_state(store):
    state = json.loads(office(store, "rig", "heron", "--json").stdout)
    return state["size"], state["root"]


@pytest.fixture()
def fleet(tmp_path):
    """An office, a rig that has 4 receipted records and 3 that the office lacks."""
    o, r = tmp_path / "office", tmp_path / "rig"
    office(o, "init", "--fleet", "lantern-basin")
    office(o, "invite", "heron", "--url", "http://127.0.0.1:9", "--out", tmp_path / "heron.invitation")
    rig(r, "init", "--invitation", tmp_path / "heron.invitation")
    rig(r, "enter", "rig", "at=2026-03-01T00:00:00Z", "by=clerk", "mast=142ft", "drum=30in", "block=47000lb")
    rig(r, "enter", "drill-string", "at=2026-03-01T01:00:00Z", "by=clerk", *DRILL_STRING)
    for day in (2, 3):
        enter_work(r, day)
    rig(r, "carry", "--out", tmp_path / "first.fsb")
    office(o, "take", tmp_path / "first.fsb", "--receipt", tmp_path / "first.receipt")
    rig(r, "receipt", tmp_path / "first.receipt")
    for day in (4, 5, 6):
        enter_work(r, day)
    return tmp_path


def enter_work(store, day, **kw):
    return rig(store, "enter", "work", f"at=2026-03-{day:02}T06:00:00Z", "by=clerk", "op=round-trip",
               "depth=9300ft", "--once", f"day-{day}", **kw)


def each_fault(work, command, after, stride=1):
    """Run command(copy, fault=…) with every fault in turn on a fresh copy; after(copy, result)."""
    tried = 0
    for action in ACTIONS:
        for n in range(1, LIMIT, 1 if LONG else 2 * stride):
            copy = work / "copy"
            seen = work / "seen"
            shutil.rmtree(copy, ignore_errors=True)
            seen.unlink(missing_ok=True)
            shutil.copytree(work / "base", copy, symlinks=True)
            done = command(copy, fault=f"any:{n}:{action}", seen=seen, expect=None)
            if not seen.exists():
                assert done.returncode == 0, done.stderr.decode()
                break
            tried += 1
            try:
                after(copy, done)
            except AssertionError as failure:
                raise AssertionError(f"fault any:{n}:{action}: {failure}") from failure
        else:
            raise AssertionError("the command never ended by itself")
    assert tried >= 6, "the faults were not reached: is the preloaded library there?"
    print(f"{tried} faults")


def test_an_entry_is_there_or_clearly_not(fleet):
    shutil.copytree(fleet / "rig", fleet / "base")
    size, _ = rig_state(fleet / "base")

    def after(copy, done):
        now, _ = rig_state(copy)
        if done.returncode == 0:
            assert now == size + 1, "acknowledged, but not there"
        else:
            assert now in (size, size + 1)
            assert done.returncode < 0 or done.stderr.strip(), "failed in silence"
        enter_work(copy, 7)
        again, _ = rig_state(copy)
        assert again == size + 1, f"{again} entries after repeating, {size + 1} expected"

    each_fault(fleet, lambda copy, **kw: enter_work(copy, 7, **kw), after)


def test_a_day_sheet_is_taken_whole_or_not_at_all(fleet):
    sheet = fleet / "march.csv"
    rows = [f"work,2026-03-{d:02}T12:00:00Z,clerk,round-trip,{9300 + d}ft" for d in range(7, 20)]
    sheet.write_text("kind,at,by,op,depth\n" + "\n".join(rows) + "\n")
    shutil.copytree(fleet / "rig", fleet / "base")
    size, _ = rig_state(fleet / "base")

    def after(copy, done):
        now, _ = rig_state(copy)
        assert now in (size, size + len(rows)), f"{now - size} rows of {len(rows)} were kept"
        if done.returncode == 0:
            assert now == size + len(rows)
        rig(copy, "take", sheet)
        assert rig_state(copy)[0] == size + len(rows)

    each_fault(fleet, lambda copy, **kw: rig(copy, "take", sheet, **kw), after)


def test_no_signature_leaves_before_its_head_is_durable(fleet):
    shutil.copytree(fleet / "rig", fleet / "base")
    out = fleet / "second.fsb"

    def command(copy, **kw):
        out.unlink(missing_ok=True)
        return rig(copy, "carry", "--out", out, **kw)

    def after(copy, done):
        if out.exists():
            # What left must be a head that the store knows, and the office must take it.
            o = fleet / "o"
            shutil.rmtree(o, ignore_errors=True)
            shutil.copytree(fleet / "office", o)
            office(o, "take", out)
            assert office_state(o) == rig_state(copy)
        else:
            assert done.returncode != 0
        rig(copy, "carry", "--out", fleet / "again.fsb")
        o = fleet / "o2"
        shutil.rmtree(o, ignore_errors=True)
        shutil.copytree(fleet / "office", o)
        office(o, "take", fleet / "again.fsb", "--receipt", fleet / "again.receipt")
        (fleet / "again.fsb").unlink()
        rig(copy, "receipt", fleet / "again.receipt")
        (fleet / "again.receipt").unlink()
        assert office_state(o) == rig_state(copy)

    each_fault(fleet, command, after, stride=2)


def test_the_office_answers_only_what_it_keeps(fleet):
    rig(fleet / "rig", "carry", "--out", fleet / "second.fsb")
    shutil.copytree(fleet / "office", fleet / "base")
    want = rig_state(fleet / "rig")
    receipt = fleet / "second.receipt"

    def command(copy, **kw):
        receipt.unlink(missing_ok=True)
        return office(copy, "take", fleet / "second.fsb", "--receipt", receipt, **kw)

    def after(copy, done):
        office(copy, "check")
        if receipt.exists():
            assert office_state(copy) == want, "a receipt left for what the office does not hold"
        if done.returncode == 0:
            assert receipt.exists()
        receipt.unlink(missing_ok=True)
        office(copy, "take", fleet / "second.fsb", "--receipt", receipt)
        assert office_state(copy) == want

    each_fault(fleet, command, after, stride=2)
