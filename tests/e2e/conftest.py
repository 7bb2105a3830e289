"""Fixtures of the end-to-end tests: the real programs, free ports, no sleeps.

FSP_BIN names the folder with the three programs. A test that fails prints the seed it used.
"""

import os
import pathlib
import sys

import pytest

TESTS = pathlib.Path(__file__).resolve().parent.parent
sys.dont_write_bytecode = True
sys.path[:0] = [str(TESTS / "support"), str(TESTS / "sim")]

import programs as drive  # noqa: E402


def pytest_configure():
    if "FSP_BIN" not in os.environ:
        raise pytest.UsageError("FSP_BIN: name the folder with the three programs")


@pytest.fixture(scope="session")
def programs():
    return drive.Programs()


@pytest.fixture()
def office(programs, tmp_path):
    """An office with a store, not yet serving; whatever it serves is ended with the test."""
    office = drive.Office(programs, tmp_path / "O").init()
    yield office
    office.stop()


@pytest.fixture()
def serving(office):
    return office.serve()


@pytest.fixture()
def rig_of(programs, office, tmp_path):
    """rig_of("heron", url=None): a rig with its own store, invited by the office."""
    def make(name="heron", url=None, store=None):
        invitation = office.invite(name, tmp_path / f"{store or name}.invitation", url)
        return drive.Rig(programs, name, tmp_path / f"R-{store or name}").init(invitation)
    return make


@pytest.fixture()
def proxy(serving):
    """A link to the office that is good until a test makes it bad."""
    with drive.LinkProxy(serving.address, drive.Link(seed=11)) as link:
        yield link


# Fields of records that many tests need.
AT = "2025-03-01T{:02}:{:02}:00Z"
RIG = ("mast=142ft", "drum=30in", "block=47000lb", "stand=93ft", "drive=top-drive")
REEL = ("reel=LB-1", "rope=1-3/8in", "grade=EIPS", "received=5000ft", "strung=1850ft", "lines=10")
STRING = ("pipe=19.5lb/ft", "stand=93ft", "bha-weight=60000lb", "bha-length=700ft", "mud=9.2ppg")


@pytest.fixture()
def begin():
    """begin(rig): particulars, a line, a drill string, a programme."""
    def do(rig):
        rig.enter("rig", "at=2025-03-01T00:00:00Z", "by=clerk", *RIG)
        rig.enter("reel", "at=2025-03-01T00:10:00Z", "by=clerk", *REEL)
        rig.enter("drill-string", "at=2025-03-01T00:20:00Z", "by=clerk", *STRING)
        rig.enter("program", "at=2025-03-01T00:30:00Z", "by=clerk", "cut=90ft",
                  "first-goal=1700 ton-miles", "later-goal=1500 ton-miles", "slips=3")
        return rig
    return do


@pytest.fixture()
def work():
    """work(rig, hour, minute=0, ...): a round trip of that time."""
    def do(rig, hour, minute=0, depth="9000ft", **more):
        return rig.enter("work", f"at={AT.format(hour, minute)}", "by=driller-a", "op=round-trip",
                         f"depth={depth}", **more)
    return do
