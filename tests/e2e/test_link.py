"""The bad link: what is pushed arrives once and whole, whatever the link does."""

import fcntl
import http.server
import os
import re
import subprocess
import threading

import pytest

import programs as drive
import season

SEED = 5


def sheets(rig, days, tmp_path, seed=SEED):
    """Take so many days of the simulated rig of that name; the number of its records."""
    sim = season.season(seed, days, [rig.name])[rig.name]
    for day, rows in sim.sheets().items():
        path = tmp_path / f"{rig.name}-{day}.csv"
        path.write_text(season.as_csv(rows))
        rig.run("take", path)
    return len(sim.records)


def same(office, rig, n):
    mine, theirs = drive.same_records(office, rig)
    assert mine == theirs
    assert mine[0] == n


@pytest.mark.parametrize("seed", (1, 2, 3))
def test_cuts_and_outages_lose_and_double_nothing(office, proxy, rig_of, tmp_path, seed):
    proxy.link = drive.Link(seed=seed, delay_ms=5, rate_bps=2_000_000, cut_chance=0.6,
                            outage_chance=0.3, outage_ms=80)
    rig = rig_of("heron", proxy.url)
    sim = season.season(seed, 12, ["heron"])["heron"]
    for day, rows in sim.sheets().items():
        path = tmp_path / f"{day}.csv"
        path.write_text(season.as_csv(rows))
        rig.run("take", path)
        rig.run("push", "--patience", "0", status=(0, 69))
    proxy.link = drive.Link(seed=seed)
    rig.run("push", "--patience", "60")
    same(office, rig, len(sim.records))
    assert rig.json("check")["pending"] == 0
    assert proxy.cuts + proxy.outages > 0, f"seed {seed} spoiled nothing"


def test_an_outage_is_said_and_the_push_after_it_resumes(office, proxy, rig_of, begin):
    rig = begin(rig_of("heron", proxy.url))
    proxy.down()
    done = rig.run("push", "--patience", "0", status=69)
    assert re.search(r"farspool-rig: .*nothing is lost.*next push or carry", done.stderr), done.stderr
    assert rig.json("check")["pending"] == 4
    proxy.up()
    rig.run("push", "--patience", "60")
    same(office, rig, 4)


def test_a_push_waits_out_an_outage_when_patient(office, proxy, rig_of, begin):
    rig = begin(rig_of("heron", proxy.url))
    proxy.down()
    push = subprocess.Popen(
        [os.path.join(rig.p.folder, "farspool-rig"), "push", "--store", rig.store, "--patience",
         "60"], env=rig.p.env, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    try:
        # Its head is signed before its first try: then the link comes back.
        drive.wait_until("a signed head", lambda: rig.json("check")["heads"] >= 1)
        proxy.up()
        _, err = push.communicate(timeout=90)
        assert push.returncode == 0, err
    finally:
        if push.poll() is None:
            push.kill()
            push.communicate()
    same(office, rig, 4)


def test_enrolment_survives_lost_answers(office, proxy, rig_of, begin):
    """The office commits and its answer is lost: the same pair again is answered, not refused."""
    rig = begin(rig_of("heron", proxy.url))
    for lost in (1, 2):
        proxy.lose_answers(1)
        rig.run("push", "--patience", "0", status=69)
        assert rig.json("check")["receipted"] == 0
        assert office.json("rig", "heron")["size"] == 4, "it arrived all the same"
        assert proxy.answers_lost == lost
    rig.run("push", "--patience", "60")
    same(office, rig, 4)
    assert len(office.json("rig", "heron")["logs"]) == 1


def test_a_lost_answer_later_doubles_nothing(office, proxy, rig_of, begin, work):
    rig = begin(rig_of("heron", proxy.url))
    rig.run("push", "--patience", "60")
    for hour in range(5, 11):
        work(rig, hour)
        proxy.lose_answers(1)
        rig.run("push", "--patience", "0", status=69)
    rig.run("push", "--patience", "60")
    same(office, rig, 10)


def test_an_office_that_is_killed_keeps_what_it_receipted(office, rig_of, begin, work):
    office.serve()
    rig = begin(rig_of("heron", office.intake))
    rig.run("push", "--patience", "30")
    office.stop(9)
    work(rig, 5)
    rig.run("push", "--patience", "0", status=69)
    receipted = rig.json("check")["receipted"]
    assert office.json("rig", "heron")["size"] == receipted == 4
    port = office.intake.rsplit(":", 1)[1]
    office.serve(listen=f"127.0.0.1:{port}")
    rig.run("push", "--patience", "60")
    same(office, rig, 5)
    office.run("check")


def test_a_rolled_back_office_is_refilled_and_it_is_told(programs, office, rig_of, begin, work,
                                                          tmp_path):
    """The office's disk is lost and an older copy comes back: its rigs fill it again."""
    office.serve()
    rig = begin(rig_of("heron", office.intake))
    rig.run("push", "--patience", "30")
    port = office.intake.rsplit(":", 1)[1]
    office.stop()
    subprocess.run(["cp", "-a", office.store, str(tmp_path / "old")], check=True)
    office.serve(listen=f"127.0.0.1:{port}")
    work(rig, 5)
    work(rig, 6)
    rig.run("push", "--patience", "30")
    office.stop()
    subprocess.run(["rm", "-rf", office.store], check=True)
    os.rename(tmp_path / "old", office.store)
    office.serve(listen=f"127.0.0.1:{port}")
    work(rig, 7)
    assert rig.json("push", "--patience", "60")["went_back"], "the rig says so"
    same(office, rig, 7)


def test_the_second_of_two_pushers_exits_75(proxy, rig_of, begin):
    rig = begin(rig_of("heron", proxy.url))
    with open(os.path.join(rig.store, "link.lock"), "a", encoding="ascii") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = rig.run("push", status=75)
        assert "farspool-rig: " in done.stderr
        assert proxy.connections == 0
    rig.run("push")


def test_two_pushers_that_really_meet_do_no_harm(office, proxy, rig_of, begin):
    rig = begin(rig_of("heron", proxy.url))
    proxy.link = drive.Link(seed=1, delay_ms=300)
    command = [os.path.join(rig.p.folder, "farspool-rig"), "push", "--store", rig.store]
    both = [subprocess.Popen(command, env=rig.p.env, stdout=subprocess.DEVNULL,
                             stderr=subprocess.DEVNULL) for _ in range(2)]
    assert sorted(p.wait(60) for p in both) in ([0, 75], [0, 0])
    same(office, rig, 4)


def test_many_writers_at_once_each_add_one(office, serving, rig_of, begin):
    rig = begin(rig_of("heron", serving.intake))
    command = [os.path.join(rig.p.folder, "farspool-rig"), "enter", "slip", "--store", rig.store,
               "by=clerk", "length=30ft"]
    writers = [subprocess.Popen([*command, f"at=2025-03-01T05:{m:02}:00Z"], env=rig.p.env,
                                stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
               for m in range(8)]
    rig.run("push", "--patience", "30")
    for w in writers:
        _, err = w.communicate(timeout=60)
        assert w.returncode == 0, err
    rig.run("push", "--patience", "30")
    same(office, rig, 12)


class Portal(http.server.BaseHTTPRequestHandler):
    """A hotel's portal, a broken relay: anything but the office."""

    answers = []

    def do_POST(self):
        self.rfile.read(int(self.headers.get("Content-Length", 0)))
        status, headers, body = self.answers[len(self.seen) % len(self.answers)]
        self.seen.append(self.path)
        self.send_response(status)
        for k, v in headers.items():
            self.send_header(k, v)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_):
        pass


@pytest.mark.parametrize("status, headers, body", (
    (200, {"Content-Type": "text/html"}, b"<html>Welcome to the guest network</html>"),
    (200, {}, b""),
    (200, {}, os.urandom(4096)),
    (302, {"Location": "http://127.0.0.1:9/"}, b""),
    (403, {}, b"no"),
    (409, {}, b"farspool-answer/v1\n409\n"),
    (413, {}, b""),
    (422, {}, b"<html>"),
    (429, {"Retry-After": "3600"}, b""),
    (500, {}, b"oops"),
    (503, {}, b""),
    (777, {}, b""),
), ids=lambda v: str(v) if isinstance(v, int) else "")
def test_what_the_office_did_not_sign_only_delays(office, serving, rig_of, begin, tmp_path, status,
                                                  headers, body):
    handler = type("P", (Portal,), {"answers": [(status, headers, body)], "seen": []})
    server = http.server.HTTPServer(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        rig = begin(rig_of("heron", f"http://127.0.0.1:{server.server_address[1]}"))
        done = rig.run("push", "--patience", "0", status=None)
        assert done.returncode in (1, 69, 75), done
        assert done.stderr, "it says why"
        assert handler.seen
        state = rig.json("check")
        assert (state["state"], state["pending"], state["receipted"]) == ("sound", 4, 0)
    finally:
        server.shutdown()
        server.server_close()
        thread.join(10)
    # The courier brings what the link could not.
    rig.run("carry", "--out", tmp_path / "h.fsb")
    office.run("take", tmp_path / "h.fsb", "--receipt", tmp_path / "h.receipt")
    rig.run("receipt", tmp_path / "h.receipt")
    same(office, rig, 4)


def test_courier_and_link_may_take_turns(office, proxy, rig_of, tmp_path):
    rig = rig_of("heron", proxy.url)
    sim = season.season(SEED, 9, ["heron"])["heron"]
    for i, (day, rows) in enumerate(sim.sheets().items()):
        (tmp_path / f"{day}.csv").write_text(season.as_csv(rows))
        rig.run("take", tmp_path / f"{day}.csv")
        if i % 3 == 0:
            rig.run("push", "--patience", "30")
            continue
        bundle, receipt = tmp_path / f"{i}.fsb", tmp_path / f"{i}.receipt"
        rig.run("carry", "--out", bundle)
        office.run("take", bundle, "--receipt", receipt)
        if i % 3 == 1:
            rig.run("receipt", receipt)
        else:
            office.run("take", bundle, "--receipt", tmp_path / "again")  # brought twice
    rig.run("push", "--patience", "30")
    same(office, rig, len(sim.records))


def test_run_takes_the_inbox_and_pushes_until_stopped(office, proxy, rig_of, begin, tmp_path):
    rig = begin(rig_of("heron", proxy.url))
    inbox = os.path.join(rig.store, "inbox")
    conf = tmp_path / "rig.conf"
    conf.write_text("[link]\nold-s = 1\n")
    run = subprocess.Popen([os.path.join(rig.p.folder, "farspool-rig"), "run", "--store", rig.store,
                            "--every", "1"], env=dict(rig.p.env, FARSPOOL_RIG_CONF=str(conf)),
                           stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        part = os.path.join(inbox, "day.csv.part")
        with open(part, "w", encoding="utf-8") as f:
            f.write("at,kind,by,length\n2025-03-01T05:00Z,slip,clerk,30ft\n")
        os.rename(part, os.path.join(inbox, "day.csv"))
        with open(os.path.join(inbox, "bad.csv"), "w", encoding="utf-8") as f:
            f.write("at,kind,by,length\n2025-03-01T05:00Z,slip,clerk,30kg\n")
        drive.wait_until("the refusal", lambda: os.path.exists(
            os.path.join(inbox, "refused", "bad.csv.reason")))
        drive.wait_until("the record in the office",
                         lambda: (office.json("rig", "heron")["size"] or 0) == 5)
        with open(os.path.join(inbox, "refused", "bad.csv.reason"), encoding="utf-8") as f:
            assert "field length" in f.read()
        run.terminate()
        out, _ = run.communicate(timeout=30)
        assert run.returncode == 0, out
    finally:
        if run.poll() is None:
            run.kill()
            run.communicate()
    assert os.listdir(os.path.join(inbox, "taken"))
    same(office, rig, 5)
