"""Backups while the office serves: whole or not there, and the rigs refill what is put back."""

import os
import re
import shutil
import signal
import sqlite3
import subprocess
import threading

import pytest
from conftest import TESTS

import programs as drive

PAGE = (TESTS.parent / "docs/backup.md").read_text()
COMMANDS = [line.strip() for line in re.findall(r"^    \S.*$", PAGE, re.M)]


@pytest.fixture()
def work(tmp_path):
    (tmp_path / "safe").mkdir()
    return tmp_path


@pytest.fixture()
def rig(programs, office, work):
    office.serve()
    rig = drive.Rig(programs, "heron", work / "R").init(
        office.invite("heron", work / "heron.invitation", url=office.intake))
    rig.enter("rig", "at=2026-03-01T00:00:00Z", "by=clerk", "mast=142ft", "drum=30in",
              "block=47000lb")
    return rig


def enter(rig, day, n=1):
    for i in range(n):
        rig.enter("slip", f"at=2026-03-{day:02}T{i:02}:00:00Z", "by=clerk", "length=30ft")


def shell(programs, office, work, line):
    env = dict(programs.env, OFFICE=office.store, SAFE=str(work / "safe"),
               PATH=f"{os.path.abspath(programs.folder)}:{os.environ['PATH']}")
    return subprocess.run(["sh", "-c", line], env=env, capture_output=True, text=True, timeout=60)


def test_the_page_runs_as_written_and_the_rig_refills_what_was_put_back(
        programs, office, rig, work):
    enter(rig, 2, 5)
    rig.run("push")
    backup, keys, *restore = COMMANDS
    for line in (backup, keys):
        done = shell(programs, office, work, line)
        assert done.returncode == 0, done.stderr
    enter(rig, 3, 5)
    rig.run("push")
    size, root = (rig.json("check")[k] for k in ("size", "root"))
    address = office.address
    office.stop()
    for line in restore:
        done = shell(programs, office, work, line)
        assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1].startswith("good")
    back = drive.Office(programs, office.store + ".back")
    assert back.json("rig", "heron")["size"] == 6
    with back.serving(listen=f"127.0.0.1:{address[1]}"):
        enter(rig, 4)
        rig.run("push")
        now = back.json("rig", "heron")
    assert (now["size"], rig.json("check")["size"]) == (size + 1, size + 1)
    assert now["root"] == rig.json("check")["root"] != root
    back.run("check")


def test_rigs_are_answered_while_backups_are_made(office, rig, work):
    done = threading.Event()
    failed = []

    def push():
        day = 2
        while not done.is_set() and day < 28:
            enter(rig, day, 2)
            if rig.run("push", status=None).returncode != 0:
                failed.append(day)
            day += 1

    pusher = threading.Thread(target=push)
    pusher.start()
    try:
        sizes = []
        for i in range(4):
            office.run("backup", "--out", work / f"safe/b{i}", "--with-keys")
            copy = drive.Office(office.p, work / f"safe/b{i}")
            assert copy.json("check")["good"] is True
            sizes.append(copy.json("check")["entries"])
    finally:
        done.set()
        pusher.join()
    assert failed == [] and sizes == sorted(sizes)


def test_a_backup_holds_keys_only_when_asked_and_replaces_nothing(office, rig, work):
    rig.run("push")
    said = office.json("backup", "--out", work / "safe/plain")
    assert said["good"] is True and said["keys"] is False and said["entries"] == 1
    assert sorted(p.name for p in (work / "safe/plain").iterdir()) in (
        ["shelf.db"], ["desk.db", "shelf.db"])
    office.run("backup", "--out", str(work / "safe/whole") + "/", "--with-keys")
    for key in os.listdir(office.store + "/keys"):
        there = work / "safe/whole/keys" / key
        assert there.stat().st_mode & 0o077 == 0 or not key.endswith(".key")
        assert there.read_bytes() == open(f"{office.store}/keys/{key}", "rb").read()
    before = (work / "safe/plain/shelf.db").read_bytes()
    for out in ("safe/plain", "safe", "nowhere/deep"):
        done = office.run("backup", "--out", work / out, status=None)
        assert done.returncode in (1, 64) and done.stderr.count("\n") == 1, done
    assert (work / "safe/plain/shelf.db").read_bytes() == before
    assert office.run("backup", status=None).returncode == 64
    assert sorted(os.listdir(work / "safe")) == ["plain", "whole"]


def test_a_store_that_does_not_hold_gives_no_backup(office, rig, work):
    enter(rig, 2, 3)
    rig.run("push")
    office.stop()
    shelf = sqlite3.connect(office.store + "/shelf.db")
    shelf.execute("DROP TRIGGER entry_never_updated")
    shelf.execute("UPDATE entry SET bytes = x'7b7d' WHERE idx = 1")
    shelf.commit()
    shelf.close()
    done = office.run("backup", "--out", work / "safe/bad", status=2)
    assert "heron" in done.stderr and "nothing is kept" in done.stderr
    assert os.listdir(work / "safe") == []


def test_killed_in_the_middle_it_has_no_name(programs, office, rig, work):
    """Stopped as soon as the copy is begun: only a left-over that says so may be there."""
    enter(rig, 2, 20)
    rig.run("push")
    out = work / "safe/killed"
    command = [os.path.join(programs.folder, "farspool-office"), "backup", "--store",
               office.store, "--out", str(out)]
    process = subprocess.Popen(command, env=programs.env, stdout=subprocess.PIPE)
    drive.wait_until("the copy to begin", lambda: os.listdir(work / "safe"))
    process.send_signal(signal.SIGKILL)
    process.wait(30)
    process.stdout.close()
    left = os.listdir(work / "safe")
    if left == ["killed"]:
        shutil.copytree(office.store + "/keys", out / "keys")
        programs.run("office", "check", "--store", out)  # it was quicker: then it is whole
    else:
        assert all(name.startswith("killed.part-") for name in left)
        office.run("backup", "--out", out)


def test_check_looks_at_the_desk_too(office, tmp_path):
    assert office.json("check")["desk"] is False
    (tmp_path / "password").write_text("a long password\n")
    (tmp_path / "password").chmod(0o600)
    office.run("user", "add", "a-reader", "--role", "reader", "--password-from",
               tmp_path / "password")
    assert office.json("check")["desk"] is True
    raw = bytearray(open(office.store + "/desk.db", "rb").read())
    for i in range(4096, len(raw), 4096):
        raw[i:i + 16] = b"\xff" * 16
    open(office.store + "/desk.db", "wb").write(raw)
    done = office.run("check", "--json", status=2)
    assert "desk.db" in done.stdout
