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


# ---- run ------------------------------------------------------------------------------------

class Manager:
    """The receiving end of NOTIFY_SOCKET."""

    def __init__(self, path):
        self.path = str(path)
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(self.path)
        self.socket.settimeout(30)

    def wait(self, state):
        """Until a message has that line; the lines of the message."""
        while True:
            lines = self.socket.recv(4096).decode().splitlines()
            if state in lines:
                return lines

    def drain(self):
        """What came and was not waited for."""
        self.socket.setblocking(False)
        found = []
        with contextlib.suppress(BlockingIOError):
            while True:
                found += self.socket.recv(4096).decode().splitlines()
        self.socket.settimeout(30)
        return found


class Run:
    """A `run` with a manager, a configuration and a log of its own."""

    def __init__(self, rig, folder, watchdog_us="60000000"):
        self.rig = rig
        self.conf = folder / "rig.conf"
        self.log = folder / "run.log"
        self.manager = Manager(folder / "notify")
        self.watchdog_us = watchdog_us
        self.process = None

    def configure(self, link="", every=1, rig=""):
        self.conf.write_text(f"[rig]\nevery-s = {every}\n{rig}[link]\nold-s = 0\n{link}")

    def start(self):
        if not self.conf.exists():
            self.configure()
        with open(self.log, "a", encoding="utf-8") as log:
            self.process = subprocess.Popen(
                [os.path.join(self.rig.p.folder, "farspool-rig"), "run", "--store", self.rig.store],
                stdout=log, stderr=log,
                env=dict(self.rig.p.env, FARSPOOL_RIG_CONF=str(self.conf),
                         NOTIFY_SOCKET=self.manager.path, WATCHDOG_USEC=self.watchdog_us))
        self.manager.wait("READY=1")
        return self

    def said(self, pattern=r""):
        return [line for line in self.log.read_text().splitlines() if re.search(pattern, line)]

    def wait_said(self, pattern):
        return drive.wait_until(f"the log to say {pattern}", lambda: self.said(pattern))[-1]

    def stop(self, sig=signal.SIGTERM):
        self.process.send_signal(sig)
        return self.process.wait(30)

    def end(self):
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.manager.socket.close()


@pytest.fixture()
def run_of(tmp_path):
    runs = []

    def make(rig, **more):
        folder = tmp_path / f"run-{len(runs)}"
        folder.mkdir()
        runs.append(Run(rig, folder, **more))
        return runs[-1]
    yield make
    for run in runs:
        run.end()


def test_run_says_what_happened_in_lines_of_pairs(office, serving, rig_of, begin, run_of):
    rig = begin(rig_of("heron", serving.intake))
    run = run_of(rig).start()
    run.wait_said("event=pushed")
    inbox = os.path.join(rig.store, "inbox")
    with open(os.path.join(inbox, ".day 1.csv"), "w", encoding="ascii") as f:
        f.write("at,kind,by,op,depth\n2025-03-02T06:00:00Z,work,clerk,round-trip,9000ft\n")
    os.rename(os.path.join(inbox, ".day 1.csv"), os.path.join(inbox, "day 1.csv"))
    run.wait_said('event=took file="day 1.csv" added=1 there=0')
    drive.wait_until("all to be sent", lambda: office.json("rig", "heron")["size"] == 5)
    assert run.stop() == 0
    lines = run.said()
    assert all(re.match(r'level=(info|warn|err) event=[a-z-]+( [a-z-]+=("[^"]*"|[^ "=]+))*$', line)
               for line in lines), lines
    origin = rig.json("line")["origin"]
    assert lines[0] == f"level=info event=start log={origin} size=4 pending=4 every-s=1"
    assert re.match(r"level=info event=stop records=5 bundles=2 bytes=\d+ files=1", lines[-1])


def test_a_second_run_exits_75_and_the_first_goes_on(rig_of, begin, run_of, tmp_path):
    rig = begin(rig_of())
    run = run_of(rig).start()
    for more in ((), ("--once",)):
        done = rig.run("run", *more, status=75)
        assert "a run is at work" in done.stderr and len(done.stderr.splitlines()) == 1
    assert run.process.poll() is None
    # Everything else goes on beside it.
    rig.enter("slip", "at=2025-03-02T01:00:00Z", "by=clerk", "length=30ft")
    rig.run("take", sheet(tmp_path / "s.csv", 3))
    rig.run("carry", "--out", tmp_path / "a.fsb")
    rig.run("line")
    rig.run("check")
    # And whatever ends it, its place is free.
    run.stop(signal.SIGKILL)
    rig.run("run", "--once")


def test_a_reload_takes_over_what_may_change_and_a_bad_file_changes_nothing(serving, rig_of, begin,
                                                                            run_of):
    rig = begin(rig_of("heron", serving.intake))
    run = run_of(rig)
    run.configure(every=3600)
    run.start()
    run.wait_said("event=pushed")
    run.configure(every=1, link="day-bytes = 5000000\n", rig="store = /elsewhere\nzone = +01:00\n")
    run.process.send_signal(signal.SIGHUP)
    lines = run.manager.wait("RELOADING=1")
    assert any(re.match(r"MONOTONIC_USEC=\d+$", line) for line in lines)
    run.manager.wait("READY=1")
    assert re.search(r"taken=rig.every-s,link.day-bytes from-next-start=rig.store,rig.zone",
                     run.wait_said("event=reload"))
    # It does look every second now, and still at the store it was started with.
    rig.enter("slip", "at=2025-03-02T01:00:00Z", "by=clerk", "length=30ft")
    drive.wait_until("the record to be sent", lambda: rig.json("check")["pending"] == 0)
    run.configure(every=0)
    run.process.send_signal(signal.SIGHUP)
    run.manager.wait("RELOADING=1")
    run.manager.wait("READY=1")
    bad = run.wait_said("level=err event=reload")
    assert "every-s" in bad and "the old configuration holds" in bad and str(run.conf) in bad
    rig.enter("slip", "at=2025-03-02T02:00:00Z", "by=clerk", "length=30ft")
    drive.wait_until("the record to be sent", lambda: rig.json("check")["pending"] == 0)
    assert run.stop() == 0


def test_a_post_on_a_slow_link_feeds_the_watchdog_and_a_stop_breaks_it_off(proxy, office, rig_of,
                                                                           begin, run_of, tmp_path):
    rig = begin(rig_of("heron", proxy.url))
    rig.run("take", sheet(tmp_path / "s.csv", 800))
    proxy.link = drive.Link(seed=1, rate_bps=300)  # a bundle takes minutes
    run = run_of(rig, watchdog_us="2000000").start()
    drive.wait_until("the post to begin", lambda: proxy.connections > 0)
    run.manager.drain()
    for _ in range(2):
        run.manager.wait("WATCHDOG=1")
    assert office.json("rig", "heron")["size"] == 0, "the post went through"
    # Other commands do not wait for it.
    rig.enter("slip", "at=2025-03-12T02:00:00Z", "by=clerk", "length=30ft")
    assert rig.json("line")["pending"] == 805
    begun = time.monotonic()
    run.process.send_signal(signal.SIGTERM)
    run.manager.wait("STOPPING=1")
    assert run.process.wait(30) == 0
    assert time.monotonic() - begun < 10, "the unit's own limit is 30 s"
    proxy.link = drive.Link(seed=1)
    rig.run("push", "--patience", "30")
    mine, theirs = drive.same_records(office, rig)
    assert mine == theirs and mine[0] == 805


def test_a_backlog_does_not_keep_the_inbox_waiting(proxy, office, rig_of, begin, run_of, tmp_path):
    rig = begin(rig_of("heron", proxy.url))
    rig.run("take", sheet(tmp_path / "s.csv", 6000))
    proxy.link = drive.Link(seed=1, rate_bps=120000)
    run = run_of(rig).start()
    drive.wait_until("the first post", lambda: proxy.connections > 0)
    os.rename(sheet(tmp_path / "late.csv", 2, day=20), os.path.join(rig.store, "inbox", "late.csv"))
    os.utime(os.path.join(rig.store, "inbox", "late.csv"), (0, 0))
    run.wait_said("event=took file=late.csv")
    assert office.json("rig", "heron")["size"] < 6000
    proxy.link = drive.Link(seed=1)
    drive.wait_until("all to be sent", lambda: rig.json("check")["pending"] == 0)
    assert run.stop() == 0
    mine, theirs = drive.same_records(office, rig)
    assert mine == theirs


def test_a_link_that_is_down_is_said_once_and_again_when_it_is_up(proxy, rig_of, begin, run_of):
    rig = begin(rig_of("heron", proxy.url))
    proxy.down()
    run = run_of(rig).start()
    down = run.wait_said("event=link state=down")
    assert "/bundle" in down and re.search(r" tries=1 next-s=\d+$", down), down
    used = rig.json("line")["link"]["bytes_today"]
    drive.wait_until("another try", lambda: rig.json("line")["link"]["bytes_today"] > used)
    proxy.up()
    run.wait_said(r"event=link state=up down-s=\d+ tries=\d+")
    run.wait_said("event=pushed records=4 bundles=1")
    assert len(run.said("state=down")) <= 2, run.said()
    assert run.stop() == 0
