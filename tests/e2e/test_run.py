"""`farspool-rig run` as a service: beside other commands, told to reload and to stop, on a slow link."""

import contextlib
import fcntl
import os
import re
import signal
import socket
import subprocess
import time

import pytest

import programs as drive


def sheet(path, rows, day=2):
    path.write_text("at,kind,by,op,depth\n" + "".join(
        f"2025-03-{day + i // 1440:02}T{i // 60 % 24:02}:{i % 60:02}:00Z,work,clerk,round-trip,"
        f"{4000 + i}ft\n" for i in range(rows)))
    return path


def start(rig, command, *args, **more):
    return subprocess.Popen(
        [os.path.join(rig.p.folder, "farspool-rig"), command, "--store", rig.store, *map(str, args)],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=dict(rig.p.env, **more))


def is_locked(path):
    """Held by another process."""
    try:
        with open(path, "r+", encoding="ascii") as f:
            fcntl.flock(f, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return False
    except BlockingIOError:
        return True
    except FileNotFoundError:
        return False


def test_a_courier_waits_for_a_bundle_and_not_for_the_backlog(proxy, rig_of, begin, tmp_path):
    rig = begin(rig_of("heron", proxy.url))
    rig.run("take", sheet(tmp_path / "s.csv", 3000))
    proxy.link = drive.Link(seed=1, delay_ms=300)  # some 20 bundles, half a second and more each
    push = start(rig, "push", "--patience", "60")
    drive.wait_until("the push to send", lambda: is_locked(f"{rig.store}/link.lock"))
    begun = time.monotonic()
    rig.run("carry", "--out", tmp_path / "a.fsb")
    waited = time.monotonic() - begun
    assert push.poll() is None, "the backlog was sent before the courier's file was written"
    proxy.link = drive.Link(seed=1)
    out, _ = push.communicate(timeout=60)
    assert push.returncode == 0, out
    assert "office holds 3004 of 3004" in out
    assert waited < 30, "a bundle takes no longer"


def test_a_courier_that_gets_no_turn_says_so_and_exits_75(rig_of, begin, tmp_path):
    rig = begin(rig_of())
    with open(os.path.join(rig.store, "link.lock"), "a", encoding="ascii") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = rig.run("carry", "--out", tmp_path / "a.fsb", "--patience", "0", status=75)
        assert "another process is sending" in done.stderr
        waiting = start(rig, "carry", "--out", tmp_path / "a.fsb")
        said = waiting.stdout.readline()
        assert "waits at most 90 s" in said, said
        assert not (tmp_path / "a.fsb").exists()
    assert waiting.wait(60) == 0
    waiting.stdout.close()
    assert (tmp_path / "a.fsb").exists()
