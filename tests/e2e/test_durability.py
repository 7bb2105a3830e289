"""docs/durability.md is true: each fault is made, the line that the page quotes is read by a person, and
the page's own commands are the way back. Nothing acknowledged is lost, nothing counted twice.

Full and read-only disks lie on a small tmpfs of their own mount namespace, as in test_disk.py.
"""

import contextlib
import os
import pathlib
import re
import shutil
import sqlite3
import subprocess

import pytest
from test_disk import Disk, said, sheet

import programs as drive

PAGE = pathlib.Path(__file__).resolve().parents[2] / "docs" / "durability.md"
BIN = pathlib.Path(os.environ["FSP_BIN"])
FAULTIO = BIN / "libfaultio.so"


def sections():
    """{number: (its text on one line, its indented blocks in order)}"""
    found = {}
    for part in re.split(r"^## ", PAGE.read_text(encoding="utf-8"), flags=re.M)[1:]:
        number = int(part.split(".", 1)[0])
        blocks = re.findall(r"(?:^    .*\n)+", part, flags=re.M)
        found[number] = (" ".join(part.split()), [re.sub(r"^    ", "", b, flags=re.M) for b in blocks])
    return found


SECTIONS = sections()


def quoted(number, text):
    """The page quotes these words of what was read."""
    assert f"{text}" in SECTIONS[number][0], f"section {number} does not quote: {text}"


class Scene:
    def __init__(self, programs, office, rig, folder, under=()):
        self.p, self.office, self.rig, self.folder, self.under = programs, office, rig, folder, under
        self.stick, self.safe = folder / "stick", folder / "safe"
        self.stick.mkdir()
        self.safe.mkdir()

    def play(self, number, *which):
        blocks = SECTIONS[number][1]
        text = "".join(blocks[i] for i in which) if which else "".join(blocks)
        env = dict(self.p.env, PATH=f"{self.p.folder}:{os.environ['PATH']}", RIG=self.rig.store,
                   OFFICE=self.office.store, STICK=str(self.stick), SAFE=str(self.safe))
        done = subprocess.run([*self.under, "sh", "-eu"], input=text, env=env, capture_output=True,
                              text=True, timeout=120)
        assert done.returncode == 0, f"section {number}: {done.stdout}{done.stderr}"
        return done.stdout

    def receipted(self):
        """Take the bundle on the stick, and the receipt back; all is held then."""
        self.office.run("take", self.stick / "heron.fsb", "--receipt", self.stick / "heron.receipt")
        self.rig.run("receipt", self.stick / "heron.receipt")
        (self.stick / "heron.fsb").unlink()
        state = self.rig.json("check")
        assert state["problems"] == [] and state["receipted"] == state["size"], state

    def carry(self):
        self.rig.run("carry", "--out", self.stick / "heron.fsb")
        self.receipted()

    def works(self):
        """How often each time of work stands in the rig's logs."""
        logs = {log["origin"] for log in self.office.json("rig", "heron")["logs"]}
        seen = [e for log in logs for e in self.rig.run("print", "--log", log).stdout.splitlines()
                if '"kind":"work"' in e]
        assert len(seen) == len(set(seen)), "a record stands there twice"
        return len(seen)


def put(path, data):
    """A key file as the programs make it: private."""
    path.write_bytes(data)
    path.chmod(0o600)


def one_line(done, status, *words):
    assert done.returncode == status, done
    assert len(done.stderr.splitlines()) == 1, done.stderr
    for word in words:
        assert word in done.stderr, done.stderr
    return done


@pytest.fixture()
def scene(programs, office, rig_of, begin, work, tmp_path):
    rig = begin(rig_of("heron"))
    for hour in range(5, 8):
        work(rig, hour)
    scene = Scene(programs, office, rig, tmp_path)
    scene.carry()
    return scene


def test_every_block_of_the_page_is_played():
    played = pathlib.Path(__file__).read_text(encoding="utf-8")
    for number, (_, blocks) in SECTIONS.items():
        if blocks:
            assert f"play({number}" in played, f"section {number}"


def damage(path):
    """All pages but the first are overwritten at their beginning."""
    with open(path, "r+b") as f:
        for page in range(1, os.path.getsize(path) // 4096):
            f.seek(page * 4096)
            f.write(b"\xff" * 64)


def fold_in(store):
    """The whole shelf lies in the one file, as after a stop of serve."""
    with contextlib.closing(sqlite3.connect(f"{store}/shelf.db")) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()


DAMAGED = "; stop, copy the folder aside, see docs/durability.md"


def test_a_damaged_page_on_the_rig(scene, work):
    damage(f"{scene.rig.store}/journal.db")
    quoted(5, DAMAGED)
    rows = sheet(scene.folder / "march.csv", 2)
    for command in (["line"], ["push", "--patience", "0"], ["check"], ["run", "--once"],
                    ["take", rows], ["carry", "--out", scene.stick / "no.fsb"]):
        one_line(scene.rig.run(*command, status=None), 2, "the database is damaged")
    assert not (scene.stick / "no.fsb").exists()
    one_line(scene.rig.enter("slip", "at=2025-03-02T00:00:00Z", "by=clerk", "length=30ft",
                             status=None), 2, "the database is damaged", DAMAGED)
    scene.play(5)
    assert pathlib.Path(scene.rig.store + ".damaged").is_dir()
    scene.receipted()
    work(scene.rig, 8)
    scene.carry()
    assert scene.works() == 4


def test_a_damaged_page_in_the_office(scene, work):
    scene.office.run("backup", "--out", scene.safe / "monday")
    work(scene.rig, 8)
    scene.carry()
    fold_in(scene.office.store)
    damage(f"{scene.office.store}/shelf.db")
    scene.rig.run("check")
    work(scene.rig, 9)
    scene.rig.run("carry", "--out", scene.stick / "heron.fsb")
    quoted(6, "The same line")
    take = scene.office.run("take", scene.stick / "heron.fsb", "--receipt", scene.stick / "x",
                            status=None)
    one_line(take, 2, "the database is damaged", DAMAGED)
    assert not (scene.stick / "x").exists()
    for command in (["fleet"], ["check"], ["serve", "--listen", "127.0.0.1:0", "--pages",
                                           "127.0.0.1:0"]):
        one_line(scene.office.run(*command, status=None), 2, "the database is damaged")
    scene.play(6)
    scene.office.run("take", scene.stick / "heron.fsb", "--receipt", scene.stick / "x", status=None)
    scene.rig.run("receipt", scene.stick / "x", status=None)
    (scene.stick / "heron.fsb").unlink()
    scene.carry()
    mine, theirs = drive.same_records(scene.office, scene.rig)
    assert mine == theirs and scene.works() == 5


def test_a_lost_key_of_the_rig(scene, work):
    key = pathlib.Path(scene.rig.store, "rig.key")
    kept = key.read_bytes()
    key.unlink()
    work(scene.rig, 8)
    words = "the key of this log is not there; if it is lost, ask the office for an invitation"
    quoted(7, words)
    one_line(scene.rig.run("carry", "--out", scene.stick / "x", status=None), 1, words)
    assert not (scene.stick / "x").exists()
    put(key, kept)
    pathlib.Path(scene.rig.store, "signed-size").unlink()
    words = "history incomplete: the file signed-size is missing or damaged"
    quoted(7, words)
    one_line(scene.rig.run("carry", "--out", scene.stick / "x", status=None), 2, words)
    scene.play(7)
    scene.receipted()
    assert scene.works() == 4


def test_a_lost_key_of_the_office(scene, work):
    shutil.copytree(f"{scene.office.store}/keys", scene.safe / "keys")
    work(scene.rig, 8)
    scene.rig.run("carry", "--out", scene.stick / "heron.fsb")
    words = "; without its keys the office signs nothing: put their copy back"
    quoted(8, words)
    for name in ("office.key", "instructions.key", "box.key"):
        path = pathlib.Path(scene.office.store, "keys", name)
        kept = path.read_bytes()
        for bad in (None, b"", kept[:40]):
            path.unlink(missing_ok=True)
            if bad is not None:
                put(path, bad)
            one_line(scene.office.run("take", scene.stick / "heron.fsb", status=None), 1, words, name)
            one_line(scene.office.run("serve", "--listen", "127.0.0.1:0", "--pages", "127.0.0.1:0",
                                      status=None), 1, words)
        put(path, kept)
    shutil.rmtree(f"{scene.office.store}/keys")
    scene.play(8)
    scene.receipted()
    assert scene.works() == 4


@pytest.mark.skipif(not FAULTIO.exists(), reason="no preloaded faults in this build")
def test_a_failed_sync(scene, work):
    def failing(n):
        return {"LD_PRELOAD": str(FAULTIO), "FSP_FAULT": f"sync:{n}:EIO"}

    words = "the disk failed (disk I/O error); nothing is acknowledged, run check"
    quoted(4, words)
    rows = sheet(scene.folder / "march.csv", 3)
    for n in (1, 3, 4):
        one_line(scene.rig.run("take", rows, status=None, env=failing(n)), 1, words)
        assert scene.rig.json("check")["size"] in (7, 7 + 3)  # not acknowledged: there or not
    scene.rig.run("take", rows)
    scene.rig.run("carry", "--out", scene.stick / "heron.fsb")
    take = scene.office.run("take", scene.stick / "heron.fsb", "--receipt", scene.stick / "x",
                            status=None, env=failing(1))
    one_line(take, 1, words)
    assert not (scene.stick / "x").exists()
    scene.play(4)
    scene.receipted()
    assert scene.works() == 6


@pytest.fixture()
def disk(programs, tmp_path):
    disk = Disk(tmp_path, os.path.abspath(programs.folder), "8m")
    yield disk
    disk.end()


@pytest.fixture()
def on_disk(disk, office, begin, work, tmp_path):
    """The scene's rig on the small disk; its reserve is made by the first carry."""
    invitation = office.invite("heron", tmp_path / "heron.invitation")
    rig = begin(drive.Rig(disk.programs, "heron", disk.path / "R").init(invitation))
    work(rig, 5)
    scene = Scene(disk.programs, office, rig, tmp_path, disk.enter)
    scene.carry()
    return scene


def there(disk, path):
    return subprocess.run([*disk.enter, "test", "-e", path], check=False, timeout=60).returncode == 0


def test_the_reserve_of_a_full_disk_still_sends_what_waits(disk, on_disk, work):
    reserve = f"{on_disk.rig.store}/reserve"
    assert there(disk, reserve)
    work(on_disk.rig, 6)
    disk.fill()
    quoted(2, "disk full: nothing was kept; free space and try again")
    said(on_disk.rig.enter("slip", "at=2025-03-02T00:00:00Z", "by=clerk", "length=30ft",
                           status=None))
    assert there(disk, reserve), "adding a record does not use the reserve"
    done = on_disk.rig.run("carry", "--out", on_disk.stick / "heron.fsb")
    assert "the disk is full; the reserve is given up" in done.stderr
    on_disk.receipted()
    assert not there(disk, reserve)
    disk.free()
    on_disk.play(2)
    work(on_disk.rig, 7)
    on_disk.carry()
    assert there(disk, reserve), "it is made again"
    assert on_disk.works() == 3


def mount(disk, how):
    subprocess.run([*disk.enter, "mount", "-o", f"remount,{how}", str(disk.path)], check=True,
                   timeout=60)


def test_a_read_only_disk(disk, on_disk, work):
    mount(disk, "ro")
    quoted(3, "attempt to write a readonly database; look at owner, mode and mount of the folder")
    quoted(3, "Read-only file system")
    rows = sheet(on_disk.folder / "march.csv", 2)
    one_line(on_disk.rig.run("take", rows, status=None), 1, "attempt to write a readonly database")
    one_line(on_disk.rig.run("carry", "--out", on_disk.stick / "x", status=None), 1)
    assert not (on_disk.stick / "x").exists()
    assert on_disk.rig.run("line").stdout
    on_disk.rig.run("check")
    assert "ro" in on_disk.play(3)
    mount(disk, "rw")
    on_disk.rig.run("take", rows)
    on_disk.carry()
    assert on_disk.works() == 3


def test_a_read_only_disk_in_the_office(disk, begin, programs, tmp_path):
    office = drive.Office(disk.programs, disk.path / "O").init()
    invitation = office.invite("heron", tmp_path / "heron.invitation")
    rig = begin(drive.Rig(programs, "heron", tmp_path / "R").init(invitation))
    scene = Scene(disk.programs, office, rig, tmp_path)
    rig.run("carry", "--out", scene.stick / "heron.fsb")
    mount(disk, "ro")
    one_line(office.run("take", scene.stick / "heron.fsb", "--receipt", scene.stick / "x",
                        status=None), 1, "Read-only file system")
    one_line(office.run("serve", "--listen", "127.0.0.1:0", "--pages", "127.0.0.1:0", status=None), 1)
    assert not (scene.stick / "x").exists()
    office.run("fleet")
    mount(disk, "rw")
    scene.receipted()
