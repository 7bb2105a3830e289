"""A witness's state at every durable step: what was cosigned is never forgotten, so no second history
can be cosigned after a fault."""

import pathlib
import sys

import pytest
from test_io_faults import BIN, each_fault, run

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "support"))
import programs as drive  # noqa: E402

FIELDS = ("mast=142ft", "drum=30in", "block=47000lb")


def audit(*args, **kw):
    return run(BIN / "farspool-audit", *args, **kw)


@pytest.fixture()
def place(tmp_path):
    """base/: a witness with a key and a listed log; requests for 1 and for 2 entries beside it."""
    programs = drive.Programs(str(BIN))
    office = drive.Office(programs, tmp_path / "O").init()
    rig = drive.Rig(programs, "heron", tmp_path / "R").init(
        office.invite("heron", tmp_path / "heron.invitation"))
    base = tmp_path / "base"
    base.mkdir()
    made = audit("cosign", "--new-key", "client.example/witness", "--out", base / "key").stdout
    office.run("witness", "add", "client", made.decode().splitlines()[0])
    for n in (1, 2):
        rig.enter("rig", f"at=2025-03-01T0{n}:00:00Z", "by=clerk", *FIELDS)
        rig.run("carry", "--out", tmp_path / f"{n}.fsb")
        office.run("take", tmp_path / f"{n}.fsb", "--receipt", tmp_path / f"{n}.receipt")
        rig.run("receipt", tmp_path / f"{n}.receipt")
        asked = office.run("witness", "ask", "heron", "--out", tmp_path / f"{n}.request").stdout
    audit("cosign", "--add-log", asked.split("list once: ")[1].strip(), "--state", base / "state")
    return tmp_path


def cosign(place, copy, n, **kw):
    return audit("cosign", place / f"{n}.request", "--state", copy / "state", "--key", copy / "key",
                 "--out", copy / f"{n}.note", **kw)


def test_a_cosignature_that_left_is_remembered(place):
    def after(copy, done):
        left = (copy / "2.note").exists()
        if done.returncode == 0:
            assert left, "told, but not there"
        else:
            assert done.returncode < 0 or done.stderr.strip(), "failed in silence"
        # Had the head of 2 left, the head of 1 must be a rollback now.
        earlier = cosign(place, copy, 1, expect=None)
        remembers = b"rollback" in earlier.stderr
        assert remembers or earlier.returncode == 0, earlier.stderr.decode()
        assert remembers or not left, "a cosignature left and was forgotten"
        if remembers:  # a lost answer can be asked for again
            again = (place / "2.request").read_bytes().replace(b"old 0\n", b"old 2\n", 1)
            (place / "again.request").write_bytes(again)
            assert cosign(place, copy, "again", expect=None).returncode == 0

    each_fault(place, lambda copy, **kw: cosign(place, copy, 2, **kw), after)
