"""Every durable step of a renewal, of taking a hand-back, of a new PC's store and of an enrolment by
renewal, failed and killed in turn.

Afterwards the store verifies, it is the old one or the new one and nothing between, repeating the
command brings the undisturbed result, and both ends agree with nothing lost and nothing doubled.
"""

import json
import shutil

import pytest

from test_io_faults import each_fault, enter_work, fleet, office, rig  # noqa: F401


def logs(store):
    """(closed logs, entries of the current one, root)"""
    state = json.loads(rig(store, "check", "--json").stdout)
    return state["closed_logs"], state["size"], state["root"]


def ends_agree(work, store, office_store, want):
    """Carry until nothing is pending; then the same account on both ends, `want` work entries."""
    for _ in range(4):
        out = work / "agree.fsb"
        rig(store, "carry", "--out", out)
        if not out.exists():
            break
        office(office_store, "take", out, "--receipt", work / "agree.receipt", expect=None)
        rig(store, "receipt", work / "agree.receipt", expect=None)
        out.unlink()
    as_of = ("--as-of", "2026-04-01T00:00:00Z", "--json")
    at_rig = json.loads(rig(store, "line", *as_of).stdout)
    at_office = json.loads(office(office_store, "rig", "heron", *as_of).stdout)
    assert at_rig["pending"] == 0
    assert at_rig["ledger"] == at_office["ledger"]
    seen = []
    for log in at_office["logs"]:
        for line in rig(store, "print", "--log", log["origin"]).stdout.decode().splitlines():
            record = json.loads(line)
            if record["kind"] == "work":
                seen.append(record["at"])
    assert len(seen) == len(set(seen)) == want, seen
    office(office_store, "check")


def test_a_rotation_is_made_or_not(fleet):
    shutil.copytree(fleet / "rig", fleet / "base")
    before = logs(fleet / "base")

    def after(copy, done):
        closed, size, _ = logs(copy)
        assert (closed, size) in ((0, before[1]), (1, 1)), (closed, size)
        if done.returncode == 0:
            assert closed == 1
        elif closed == 0:
            enter_work(copy, 8)  # it is in use as before
            rig(copy, "renew", "--why", "rotation")
        shutil.rmtree(fleet / "o", ignore_errors=True)
        shutil.copytree(fleet / "office", fleet / "o")
        ends_agree(fleet, copy, fleet / "o", 5 + (done.returncode != 0 and closed == 0))

    each_fault(fleet, lambda copy, **kw: rig(copy, "renew", "--why", "rotation", **kw), after, stride=17)


@pytest.fixture()
def restored(fleet):  # noqa: F811
    """A rig whose backup was put back: the office has what it wrote since, and it wrote day 9."""
    shutil.copytree(fleet / "rig", fleet / "backup")
    enter_work(fleet / "rig", 8)
    rig(fleet / "rig", "carry", "--out", fleet / "second.fsb")
    office(fleet / "office", "take", fleet / "second.fsb")
    shutil.rmtree(fleet / "rig")
    shutil.copytree(fleet / "backup", fleet / "rig")
    enter_work(fleet / "rig", 9)
    rig(fleet / "rig", "carry", "--out", fleet / "third.fsb")
    office(fleet / "office", "hand-back", "heron", "--out", fleet / "heron.back")
    return fleet


def test_a_hand_back_is_taken_whole_or_not_at_all(restored):
    shutil.copytree(restored / "rig", restored / "base")

    def command(copy, **kw):
        return rig(copy, "renew", "--why", "backup put back", "--hand-back", restored / "heron.back", **kw)

    def after(copy, done):
        closed, size, _ = logs(copy)
        assert closed in (0, 1)
        if done.returncode == 0:
            assert closed == 1
        elif closed == 0:
            command(copy)
        shutil.rmtree(restored / "o", ignore_errors=True)
        shutil.copytree(restored / "office", restored / "o")
        ends_agree(restored, copy, restored / "o", 7)

    each_fault(restored, command, after, stride=23)


def test_a_new_pc_s_store_is_there_or_not(restored):
    (restored / "base").mkdir()
    office(restored / "office", "invite", "heron", "--out", restored / "new.invitation")

    def command(copy, **kw):
        return rig(copy / "store", "init", "--invitation", restored / "new.invitation", "--hand-back",
                   restored / "heron.back", **kw)

    def after(copy, done):
        if done.returncode != 0 and (copy / "store").exists():
            # It was moved to its place; only the parent's entry may not have been made durable.
            logs(copy / "store")
        elif done.returncode != 0:
            shutil.rmtree(copy)
            copy.mkdir()
            command(copy)
        assert logs(copy / "store")[0] >= 1
        shutil.rmtree(restored / "o", ignore_errors=True)
        shutil.copytree(restored / "office", restored / "o")
        ends_agree(restored, copy / "store", restored / "o", 6)

    each_fault(restored, command, after, stride=41)


def test_an_enrolment_by_renewal_is_kept_or_asked_for_again(fleet):
    rig(fleet / "rig", "renew", "--why", "rotation")
    enter_work(fleet / "rig", 8)
    rig(fleet / "rig", "carry", "--out", fleet / "second.fsb")
    shutil.copytree(fleet / "office", fleet / "base")
    shutil.copytree(fleet / "rig", fleet / "r0")
    receipt = fleet / "second.receipt"

    def command(copy, **kw):
        receipt.unlink(missing_ok=True)
        return office(copy, "take", fleet / "second.fsb", "--receipt", receipt, **kw)

    def after(copy, done):
        office(copy, "check")
        shutil.rmtree(fleet / "r", ignore_errors=True)
        shutil.copytree(fleet / "r0", fleet / "r")
        if receipt.exists():
            rig(fleet / "r", "receipt", receipt, expect=None)
        ends_agree(fleet, fleet / "r", copy, 6)
        shown = json.loads(office(copy, "rig", "heron", "--json").stdout)
        assert [log["size"] for log in shown["logs"]] == [7, 2]

    each_fault(fleet, command, after, stride=15)


def test_a_confirmation_is_kept_or_not(fleet):
    rig(fleet / "rig", "renew", "--why", "rotation")
    ends_agree(fleet, fleet / "rig", fleet / "office", 5)
    shutil.copytree(fleet / "office", fleet / "base")

    def command(copy, **kw):
        return office(copy, "confirm", "heron", "--by", "keeper", **kw)

    def after(copy, done):
        waits = "not confirmed" in json.loads(office(copy, "rig", "heron", "--json").stdout)["flags"]
        assert not (done.returncode == 0 and waits)
        if waits:
            command(copy)
        office(copy, "check")

    each_fault(fleet, command, after, stride=4)
