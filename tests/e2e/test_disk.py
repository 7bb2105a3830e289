"""A full disk: said in one line, nothing half kept, nothing acknowledged, and good again after.

The store lies on a small tmpfs of its own mount namespace; where the machine allows none, the tests
are skipped and say so.
"""

import os
import re
import subprocess

import pytest
from conftest import AT

import programs as drive

PROGRAMS = ("farspool-rig", "farspool-office", "farspool-audit")
FULL = r"disk (is )?full|no space left"


class Disk:
    """A small disk, seen by the programs of its folder only."""

    def __init__(self, folder, bin_folder, size):
        self.path = folder / "disk"
        self.path.mkdir()
        unshare = ["unshare", "-m"] if os.geteuid() == 0 else ["unshare", "-rm"]
        script = f"mount -t tmpfs -o size={size} none '{self.path}' && echo ready && exec cat"
        self.holder = subprocess.Popen([*unshare, "sh", "-c", script], stdin=subprocess.PIPE,
                                       stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        if self.holder.stdout.readline() != "ready\n":
            why = self.holder.stderr.read().strip()
            self.end()
            pytest.skip(f"no small disk can be mounted here: {why}")
        self.enter = ["nsenter", "-t", str(self.holder.pid), "-m"]
        if os.geteuid() != 0:
            self.enter += ["-U", "--preserve-credentials"]
        shims = folder / "bin"
        shims.mkdir()
        for name in PROGRAMS:
            shim = shims / name
            shim.write_text("#!/bin/sh\n"
                            f"exec {' '.join(self.enter)} '{bin_folder}/{name}' \"$@\"\n")
            shim.chmod(0o755)
        self.programs = drive.Programs(str(shims))

    def end(self):
        self.holder.stdin.close()
        self.holder.wait(30)
        self.holder.stdout.close()
        self.holder.stderr.close()

    def fill(self):
        """Not a byte is left, whatever the size of its pieces."""
        for n, size in enumerate(("64k", "4k", "1")):
            done = subprocess.run([*self.enter, "dd", "if=/dev/zero", f"of={self.path}/filler{n}",
                                   f"bs={size}"], capture_output=True, text=True, timeout=60)
            assert "No space left" in done.stderr, done.stderr

    def free(self):
        subprocess.run([*self.enter, "rm", *(f"{self.path}/filler{n}" for n in range(3))],
                       check=True, timeout=60)


@pytest.fixture()
def disk(programs, tmp_path):
    disk = Disk(tmp_path, os.path.abspath(programs.folder), "2m")
    yield disk
    disk.end()


def said(done, status=1):
    assert done.returncode == status, done
    assert re.search(FULL, done.stderr, re.I), done.stderr
    assert len(done.stderr.splitlines()) == 1, done.stderr


def sheet(path, rows):
    path.write_text("at,kind,by,op,depth\n" + "".join(
        f"2025-03-{2 + i // 24:02}T{i % 24:02}:00:00Z,work,clerk,round-trip,{9000 + i}ft\n"
        for i in range(rows)))
    return path


@pytest.fixture()
def rig(disk, office, begin, tmp_path):
    invitation = office.invite("heron", tmp_path / "heron.invitation")
    return begin(drive.Rig(disk.programs, "heron", disk.path / "R").init(invitation))


def test_a_full_disk_on_the_rig_keeps_nothing_and_mends(disk, rig, tmp_path):
    rows = sheet(tmp_path / "march.csv", 500)
    before = rig.json("check")
    disk.fill()
    said(rig.run("take", rows, status=None))
    said(rig.enter("slip", f"at={AT.format(5, 0)}", "by=clerk", "length=30ft", status=None))
    assert rig.run("line").stdout, "what is there can still be read"
    assert rig.json("check")["size"] == before["size"]
    disk.free()
    after = rig.json("check")
    assert (after["size"], after["root"], after["problems"]) == (before["size"], before["root"], [])
    rig.run("take", rows)
    assert rig.size() == before["size"] + 500


def test_a_disk_that_fills_in_the_middle_of_a_sheet_keeps_none_of_it(disk, rig, tmp_path):
    """Smaller and smaller room is left, so that it runs out at every stage of the transaction."""
    rows = sheet(tmp_path / "march.csv", 300)
    before = rig.json("check")
    refused = 0
    for left in range(0, 1400, 100):
        filler = f"{disk.path}/filler0"
        disk.fill()
        subprocess.run([*disk.enter, "truncate", "-s", f"-{left}K", filler], check=True, timeout=60)
        done = rig.run("take", rows, status=None)
        disk.free()
        if done.returncode == 0:
            break
        refused += 1
        said(done)
        after = rig.json("check")
        assert (after["size"], after["root"], after["problems"]) == (
            before["size"], before["root"], []), f"{left} KiB left"
    assert refused, "the disk was never full"
    rig.run("take", rows)
    assert rig.size() == before["size"] + 300


def test_a_sheet_in_the_inbox_waits_for_room(disk, rig, tmp_path):
    """Good or bad: it is neither half taken nor refused without its reason."""
    sheet(tmp_path / "good.csv", 300)
    (tmp_path / "bad.csv").write_text("at,kind,by,length\n2025-03-02T10:00:00Z,slip,clerk,30kg\n")
    inbox = f"{disk.path}/R/inbox"
    subprocess.run([*disk.enter, "cp", tmp_path / "good.csv", tmp_path / "bad.csv", inbox], check=True,
                   timeout=60)

    def names(folder):
        done = subprocess.run([*disk.enter, "ls", f"{inbox}/{folder}"], capture_output=True, text=True,
                              check=True, timeout=60)
        return done.stdout.split()

    disk.fill()
    said(rig.run("run", "--once", status=None))
    assert {"good.csv", "bad.csv"} <= set(names("")) and names("taken") == names("refused") == []
    assert rig.size() == 4
    disk.free()
    rig.run("run", "--once")
    assert names("taken") == ["good.csv"]
    assert names("refused") == ["bad.csv", "bad.csv.reason"]
    assert rig.size() == 304


def test_nothing_is_signed_on_a_full_disk(disk, rig, office, tmp_path):
    disk.fill()
    done = rig.run("carry", "--out", tmp_path / "h.fsb", status=None)
    said(done)
    assert not (tmp_path / "h.fsb").exists()
    disk.free()
    rig.run("carry", "--out", tmp_path / "h.fsb")
    office.run("take", tmp_path / "h.fsb", "--receipt", tmp_path / "h.receipt")
    rig.run("receipt", tmp_path / "h.receipt")
    assert rig.json("check")["receipted"] == rig.size()


def test_a_full_disk_in_the_office_gives_no_receipt(disk, begin, programs, tmp_path):
    office = drive.Office(disk.programs, disk.path / "O").init()
    invitation = office.invite("heron", tmp_path / "heron.invitation")
    rig = begin(drive.Rig(programs, "heron", tmp_path / "R").init(invitation))
    rig.run("take", sheet(tmp_path / "march.csv", 300))
    rig.run("carry", "--out", tmp_path / "h.fsb")
    disk.fill()
    said(office.run("take", tmp_path / "h.fsb", "--receipt", tmp_path / "h.receipt", status=None))
    assert not (tmp_path / "h.receipt").exists()
    disk.free()
    office.run("check")
    office.run("take", tmp_path / "h.fsb", "--receipt", tmp_path / "h.receipt")
    rig.run("receipt", tmp_path / "h.receipt")
    mine, theirs = drive.same_records(office, rig)
    assert mine == theirs and mine[0] == 304


def test_an_office_that_serves_from_a_full_disk_only_delays_its_rigs(disk, begin, programs,
                                                                     tmp_path):
    office = drive.Office(disk.programs, disk.path / "O").init()
    try:
        office.serve()
        invitation = office.invite("heron", tmp_path / "heron.invitation", office.intake)
        rig = begin(drive.Rig(programs, "heron", tmp_path / "R").init(invitation))
        rig.run("push")
        rig.run("take", sheet(tmp_path / "march.csv", 300))
        disk.fill()
        done = rig.run("push", "--patience", "0", status=69)
        assert "503" in done.stderr and "nothing is lost" in done.stderr, done.stderr
        assert rig.json("check")["receipted"] == 4
        disk.free()
        drive.wait_until("the office to take bundles again", lambda: rig.run(
            "push", "--patience", "5", status=None).returncode == 0)
        mine, theirs = drive.same_records(office, rig)
        assert mine == theirs and mine[0] == 304
        office.run("check")
    finally:
        office.stop()
