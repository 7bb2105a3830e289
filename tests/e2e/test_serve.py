"""The office's service as a service manager sees it, and its counters."""

import base64
import os
import re
import signal
import socket
import subprocess
import threading
import time
import urllib.request

import pytest

import programs as drive


class Manager:
    """The receiving end of NOTIFY_SOCKET."""

    def __init__(self, path):
        self.path = str(path)
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(self.path)
        self.socket.settimeout(30)
        self.seen = []

    def wait(self, state):
        """Until a message has that line; the lines of the message."""
        while True:
            lines = self.socket.recv(4096).decode().splitlines()
            self.seen.append(lines)
            if state in lines:
                return lines


@pytest.fixture()
def manager(tmp_path):
    m = Manager(tmp_path / "notify")
    yield m
    m.socket.close()


@pytest.fixture()
def managed(programs, office, manager, tmp_path):
    """The office served with a manager and a configuration of its own."""
    conf = tmp_path / "office.conf"
    conf.write_text("[serve]\nlisten = 127.0.0.1:0\npages = 127.0.0.1:0\ndeadline-s = 60\n")
    log = open(tmp_path / "err", "w+", encoding="utf-8")
    process = subprocess.Popen(
        [os.path.join(programs.folder, "farspool-office"), "serve", "--store", office.store, "--conf",
         str(conf)], stdout=subprocess.PIPE, stderr=log, text=True,
        env=dict(programs.env, NOTIFY_SOCKET=manager.path, WATCHDOG_USEC="400000"))
    process.conf, process.log = conf, log
    line = process.stdout.readline().split()
    process.intake, process.pages = line[2].rstrip(","), line[5]
    yield process
    if process.poll() is None:
        process.kill()
    process.communicate()
    log.close()


def said(process):
    with open(process.log.name, encoding="utf-8") as f:
        return f.read()


def test_a_manager_is_told_when_it_is_ready_alive_and_stopping(managed, manager):
    manager.wait("READY=1")
    manager.wait("WATCHDOG=1")
    manager.wait("WATCHDOG=1")
    managed.send_signal(signal.SIGTERM)
    manager.wait("STOPPING=1")
    assert managed.wait(30) == 0


def test_a_reload_takes_the_deadline_over_and_a_bad_file_changes_nothing(managed, manager):
    manager.wait("READY=1")
    managed.conf.write_text("[serve]\nlisten = 127.0.0.1:0\npages = 127.0.0.1:0\ndeadline-s = 7\n")
    managed.send_signal(signal.SIGHUP)
    lines = manager.wait("RELOADING=1")
    assert any(line.startswith("MONOTONIC_USEC=") for line in lines)
    manager.wait("READY=1")
    assert "event=reload deadline-s=7" in said(managed)
    managed.conf.write_text("[serve]\ndeadline-s = 0\n")
    managed.send_signal(signal.SIGHUP)
    manager.wait("RELOADING=1")
    manager.wait("READY=1")
    assert "the old configuration holds" in said(managed)
    assert str(managed.conf) in said(managed)
    with urllib.request.urlopen(managed.pages + "/health", timeout=30) as page:
        assert page.status == 200


def test_a_stop_does_not_wait_for_a_client_that_drips(managed, manager):
    manager.wait("READY=1")
    host, port = managed.intake.rsplit("/", 1)[1].split(":")
    dripping = socket.create_connection((host, int(port)))
    silent = socket.create_connection((host, int(port)))
    dripping.sendall(b"POST /bundle HTTP/1.1\r\nHost: x\r\nContent-Length: 9999\r\n\r\nab")
    start = time.monotonic()
    managed.send_signal(signal.SIGTERM)
    assert managed.wait(30) == 0
    assert time.monotonic() - start < 25, "the unit's own limit is 30 s"
    dripping.close()
    silent.close()


def metrics(url):
    with urllib.request.urlopen(url + "/metrics", timeout=30) as page:
        kind = page.headers["Content-Type"]
        text = page.read().decode()
    assert kind == "application/openmetrics-text; version=1.0.0; charset=utf-8"
    assert text.endswith("# EOF\n")
    return dict(line.rsplit(" ", 1) for line in text.splitlines() if not line.startswith("#"))


def test_metrics_count_what_happened(office, serving, rig_of, begin):
    before = metrics(office.pages)
    assert before['farspool_bundles_total{status="200"}'] == "0"
    assert "farspool_commit_age_seconds" not in before
    rig = begin(rig_of("heron", office.intake))
    rig.run("push", "--patience", "30")
    request = urllib.request.Request(office.intake + "/bundle", data=b"no bundle", method="POST")
    with pytest.raises(urllib.error.HTTPError):
        urllib.request.urlopen(request, timeout=30)
    after = metrics(office.pages)
    assert after['farspool_bundles_total{status="200"}'] == "1"
    assert after['farspool_bundles_total{status="400"}'] == "1"
    assert after["farspool_records_total"] == "4"
    assert int(after['farspool_received_bytes_total{listener="intake"}']) > 100
    assert int(after["farspool_commit_age_seconds"]) < 60
    assert after["farspool_held_bytes"] == "0"
    drive.wait_until("the rig to be read",
                     lambda: metrics(office.pages).get('farspool_rig_entries{rig="heron"}') == "4")
    after = metrics(office.pages)
    assert int(after['farspool_rig_heard_age_seconds{rig="heron"}']) < 60
    # Of 2025-03-01: what the rig last wrote is old, though it was heard just now.
    assert int(after['farspool_rig_newest_record_age_seconds{rig="heron"}']) > 86400
    # Counters are for the office's own network: the rigs' listener does not have them.
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(office.intake + "/metrics", timeout=30)
    assert refused.value.code == 404


def test_a_rig_gets_through_beside_a_hundred_clients_that_drip(office, serving, rig_of, begin):
    host, port = office.address
    stop = threading.Event()
    clients = [socket.create_connection((host, port)) for _ in range(100)]

    def drip():
        while not stop.is_set():
            for i, c in enumerate(clients):
                try:
                    c.send(b"x" if i % 2 else b"POST /bundle HTTP/1.1\r\n")
                except OSError:
                    pass
            stop.wait(0.05)

    thread = threading.Thread(target=drip)
    thread.start()
    try:
        rig = begin(rig_of("heron", office.intake))
        rig.run("push", "--patience", "30")
        mine, theirs = drive.same_records(office, rig)
        assert mine == theirs
    finally:
        stop.set()
        thread.join()
        for c in clients:
            c.close()


def cosigners(office, n, folder):
    """Key ids, in hex, of the office's lines under the head that proves record n."""
    office.run("prove", "heron", n, "--out", folder)
    proof = (folder / f"{n}.tlog-proof").read_text()
    lines = re.findall(r"^— \S+/office (\S+)$", proof, re.M)
    return [base64.b64decode(line)[:4].hex() for line in lines]


def test_a_key_that_follows_another_signs_without_a_restart(office, serving, rig_of, begin, work,
                                                            tmp_path):
    def today():
        keys = office.json("keys")["keys"]
        return [k["key"].split("+")[1] for k in keys if k["what"] == "cosigner" and k["today"]][0]

    def said(text):
        with open(tmp_path / "serve.log", encoding="utf-8") as log:
            return text in log.read()

    rig = begin(rig_of("heron", office.intake))
    rig.run("push", "--patience", "30")
    first = today()
    process = office.process
    assert cosigners(office, 3, tmp_path / "a") == [first]
    for kind in ("cosigner", "instructions", "box"):
        office.run("keys", "renew", kind)
    second = today()
    assert second != first
    drive.wait_until("the service to see them",
                     lambda: said("event=keys cosigner=2 instructions=2 box=2"))
    # The rig knows no newer key yet: the receipt bears both lines, and the news goes with it.
    work(rig, 6)
    rig.run("push", "--patience", "30")
    assert cosigners(office, 4, tmp_path / "b") == [first, second]
    drive.wait_until("the rig to have answered the news", lambda: rig.run(
        "push", "--patience", "30") and office.json("keys")["waiting"] == [])
    work(rig, 7)
    rig.run("push", "--patience", "30")
    assert cosigners(office, rig.size() - 1, tmp_path / "c") == [second]
    # The rig takes what the new instructions key signs.
    office.run("instruct", "heron", "program", "cut=80ft", "first-goal=1600 ton-miles",
               "later-goal=1400 ton-miles", "slips=3")
    rig.run("push", "--patience", "30")
    rig.run("push", "--patience", "30")
    assert office.process is process and process.poll() is None
    mine, theirs = drive.same_records(office, rig)
    assert mine == theirs
    here, there = drive.ledgers(office, rig, "2025-04-01T00:00:00Z")
    assert here == there
