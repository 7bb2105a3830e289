"""Every durable step and every call on the link of push and of serve, failed and killed in turn, with the
real programs on a real connection.

After each: what a person reads is one line, nothing that was acknowledged is lost, both ends agree
after the next push, and nothing is there twice. FSP_LONG=1 tries every n.
"""

import os
import pathlib
import sys

import pytest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "support"))

import programs as drive  # noqa: E402

BIN = pathlib.Path(os.environ["FSP_BIN"])
LONG = os.environ.get("FSP_LONG") == "1"
LIMIT = 1000


def fault(what, seen):
    return {"LD_PRELOAD": str(BIN / "libfaultio.so"), "FSP_FAULT": what, "FSP_FAULT_SEEN": str(seen)}


class Ends:
    """An office that serves, a rig, and how many records were acknowledged to the crew."""

    def __init__(self, folder):
        self.folder = folder
        self.programs = drive.Programs()
        self.office = drive.Office(self.programs, folder / "O").init().serve()
        self.listen = self.office.intake.split("//", 1)[1]
        invitation = self.office.invite("heron", folder / "heron.invitation", self.office.intake)
        self.rig = drive.Rig(self.programs, "heron", folder / "R").init(invitation)
        self.entered = 0
        self.tried = 0

    def enter(self):
        self.entered += 1
        self.rig.enter("work", f"at=2026-03-01T{self.entered // 60:02}:{self.entered % 60:02}:00Z",
                       "by=clerk", "op=round-trip", f"depth={9000 + self.entered}ft")

    def push(self, status=0, env=None):
        return self.rig.run("push", "--patience", "0", status=status, env=env)

    def office_size(self):
        logs = self.office.json("rig", "heron")
        return logs["size"]

    def verify(self, what, done):
        """Right after the fault; then the next push, and both ends are the same."""
        assert done.returncode in (0, 1, 69) or done.returncode < 0, (what, done)
        if done.returncode > 0:
            assert done.stderr.strip(), f"{what}: failed in silence"
            assert len(done.stderr.splitlines()) == 1, (what, done.stderr)
        state = self.rig.json("check")
        assert state["size"] == self.entered and state["problems"] == [], (what, state)
        if self.entered > 1:
            assert state["receipted"] <= self.office_size(), f"{what}: a receipt for what is lost"
        if done.returncode == 0:
            assert state["receipted"] == self.entered, f"{what}: pushed, but not receipted"

    def settle(self, what):
        drive.wait_until(f"{what}: a push that goes through",
                         lambda: self.push(status=None).returncode == 0)
        mine, theirs = drive.same_records(self.office, self.rig)
        assert mine == theirs and mine[0] == self.entered, (what, mine, theirs)

    def end(self):
        self.office.stop()


@pytest.fixture()
def ends(tmp_path):
    ends = Ends(tmp_path)
    ends.enter()
    ends.push()
    yield ends
    ends.end()


def each(ends, kinds, stride, do):
    """do(fault, n) for every n that is reached, of every kind of fault."""
    for kind, action in kinds:
        for n in range(1, LIMIT, 1 if LONG else stride):
            what = f"{kind}:{n}:{action}"
            seen = ends.folder / "seen"
            seen.unlink(missing_ok=True)
            do(what, seen)
            if not seen.exists():
                break
            ends.tried += 1
        else:
            raise AssertionError(f"{kind} {action}: it never ended by itself")
    print(f"{ends.tried} faults")


def test_whatever_fails_in_a_push_the_next_one_mends(ends):
    def do(what, seen):
        ends.enter()
        done = ends.push(status=None, env=fault(what, seen))
        ends.verify(what, done)
        ends.settle(what)

    each(ends, [("link", "RESET"), ("link", "KILL")], 3, do)
    each(ends, [("any", "EIO"), ("any", "ENOSPC+"), ("any", "KILL")], 17, do)
    assert ends.tried >= 10


def test_whatever_fails_in_the_office_the_rig_only_waits(ends):
    """The office is started with the fault, takes one bundle, and is started again without it."""
    ends.office.stop()

    def do(what, seen):
        ends.enter()
        broken = drive.Office(drive.Programs(env=fault(what, seen)), ends.folder / "O")
        try:
            broken.serve(listen=ends.listen)
        except AssertionError:
            assert seen.exists(), "the office does not serve"
        done = ends.push(status=None)
        status = broken.stop()
        assert status in (None, 0, 1, -9), (what, status)
        ends.verify(what, done)
        ends.office.run("check")
        ends.office.serve(listen=ends.listen)
        ends.settle(what)
        ends.office.stop()

    each(ends, [("link", "RESET")], 3, do)
    each(ends, [("any", "EIO"), ("any", "ENOSPC+"), ("any", "KILL")], 9, do)
    assert ends.tried >= 6
