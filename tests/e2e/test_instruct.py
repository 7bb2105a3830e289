"""The office's word: written at the office, in the rig's log once, answered there, and its keys that
follow one another. By HTTP and by courier, in any order, twice, with lost answers."""

import csv
import os
import shlex
import shutil
import subprocess

import pytest

PROGRAM = ("cut=80ft", "first-goal=1600 ton-miles", "later-goal=1400 ton-miles")


def listed(office, rig="heron"):
    return office.json("instruct", rig)


def states(office, rig="heron"):
    return [item["state"] for item in listed(office, rig)]


def instructions(rig):
    return [e for e in rig.entries() if e["kind"] == "instruction"]


class Stick:
    """A courier between the two: carries, takes, and brings answers back."""

    def __init__(self, office, rig, folder):
        self.office, self.rig, self.folder, self.n = office, rig, folder, 0

    def there(self):
        """The answer's path; nothing is brought back yet."""
        self.n += 1
        out, receipt = self.folder / f"{self.n}.fsb", self.folder / f"{self.n}.receipt"
        self.rig.run("carry", "--out", out)
        if out.exists():
            self.office.run("take", out, "--receipt", receipt, status=None)
        return receipt

    def back(self, receipt, **more):
        return self.rig.run("receipt", receipt, status=(0, 1, 2), **more)

    def both(self):
        receipt = self.there()
        if receipt.exists():
            self.back(receipt)
        return receipt


@pytest.fixture()
def rig(rig_of, begin):
    return begin(rig_of("heron"))


@pytest.fixture()
def stick(office, rig, tmp_path):
    return Stick(office, rig, tmp_path)


def answer_all(office, rig, stick):
    """Until the office has seen every entry: two rounds, one for what the first brought."""
    for _ in range(4):
        stick.both()
        if rig.json("check")["size"] == office.json("rig", "heron")["size"]:
            return


def test_a_message_travels_is_answered_and_both_ends_show_it(office, rig, stick):
    office.run("instruct", "heron", "message", "Watch the fast-line sheave.")
    assert states(office) == ["waiting"]
    answer_all(office, rig, stick)
    assert states(office) == ["in the rig's log"]
    shown = rig.json("line")["instructions"]
    assert [i["text"] for i in shown] == ["Watch the fast-line sheave.\n"]
    assert "Watch the fast-line sheave." in rig.run("line").stdout
    assert rig.json("check")["instructions_waiting"] == 1
    entry = listed(office)[0]["entry"]
    rig.enter("done", "at=2025-03-02T00:00:00Z", "by=driller-a", f"entry={entry}",
              "answer=sheave looked at, groove good")
    assert rig.json("line")["instructions"] == []
    answer_all(office, rig, stick)
    item = listed(office)[0]
    assert item["state"] == "answered" and item["answer"] == "sheave looked at, groove good"
    text = office.run("instruct", "heron").stdout
    assert f"answered (done entry {item['answer_entry']}: sheave looked at" in text
    assert office.run("instruct", "heron", "--csv").stdout.startswith("rig,id,made,about,state,lost,")


def test_a_programme_is_proposed_entered_and_in_force_at_the_next_cut(office, rig, stick, work):
    office.run("instruct", "heron", "program", *PROGRAM)
    answer_all(office, rig, stick)
    shown = rig.json("line")["instructions"][0]
    words = shown["command"].replace("at=TIME", "at=2025-03-01T02:00:00Z").replace("by=NAME", "by=clerk")
    command = shlex.split(words)
    assert command[:3] == ["farspool-rig", "enter", "program"]
    rig.enter(*command[2:])
    assert rig.json("line")["instructions"] == []
    work(rig, 5)
    rig.enter("cut", "at=2025-03-01T08:00:00Z", "by=clerk", "length=80ft", "reason=goal")
    answer_all(office, rig, stick)
    item = listed(office)[0]
    assert item["state"] == "answered" and item["answered_by_program"]
    as_of = "2025-03-02T00:00:00Z"
    for end in (rig.json("line", "--as-of", as_of), office.json("rig", "heron", "--as-of", as_of)):
        assert end["ledger"]["cuts"][-1]["program"]["index"] == item["answer_entry"]
    rows = list(csv.DictReader(office.run("rig", "heron", "--csv", "--as-of", as_of).stdout.splitlines()))
    assert rows[-1]["program_entry"] == str(item["answer_entry"])


@pytest.mark.parametrize("words", [
    ("program", "cut=80ft"), ("program", "cut=80", *PROGRAM[1:]), ("program", *PROGRAM, "at=2025-03-01T00:00:00Z"),
    ("program", *PROGRAM, "color=red"), ("message",), ("message", ""), ("message", "a\x1b[31mb"),
    ("message", "x" * 5000), ("order", "now")])
def test_what_cannot_be_is_never_signed(office, rig, words):
    done = office.run("instruct", "heron", *words, status=None)
    assert done.returncode != 0 and done.stderr.count("\n") == 1
    assert listed(office) == []


def test_answers_lost_doubled_and_out_of_order_add_each_once(office, rig, stick, work):
    for i in range(20):
        office.run("instruct", "heron", "message", f"number {i}")
    lost = stick.there()                       # 0..7, kept in a pocket
    work(rig, 5)
    stick.there()                              # lost for good
    work(rig, 6)
    stick.both()                               # the rig named none: 0..7 again
    assert len(instructions(rig)) == 8
    late = stick.there()                       # 8..15
    stick.back(lost)                           # an old answer
    stick.back(late)
    stick.back(late)
    assert len(instructions(rig)) == 16
    answer_all(office, rig, stick)
    answer_all(office, rig, stick)
    for receipt in (lost, late):
        stick.back(receipt)
    assert len(instructions(rig)) == 20
    assert states(office) == ["in the rig's log"] * 20
    assert rig.run("check").stdout.endswith("good\n")
    # In the office's order, although answers came as they came.
    shown = [i["text"] for i in rig.json("line")["instructions"]]
    assert shown == [f"number {i}\n" for i in range(20)]


def test_over_http_while_the_office_serves(office, rig_of, begin, work, proxy):
    rig = begin(rig_of("heron", url=proxy.url))
    rig.run("push")
    for i in range(10):                        # another process writes while it serves
        office.run("instruct", "heron", "message", f"number {i}")
    work(rig, 5)
    out = rig.run("push").stdout
    assert "instructions from the office" in out
    work(rig, 6)
    rig.run("push")
    assert len(instructions(rig)) == 10
    assert states(office) == ["in the rig's log"] * 10
    assert rig.json("check")["pending"] == 0


def test_a_forged_or_foreign_instruction_changes_nothing(office, rig, stick, programs, tmp_path, rig_of):
    office.run("instruct", "heron", "message", "honest")
    other = rig_of("plover")
    office.run("instruct", "plover", "message", "for plover")
    other.enter("state", "at=2025-03-01T00:00:00Z", "by=clerk", "state=working")
    foreign = Stick(office, other, tmp_path / "p")
    foreign.folder.mkdir()
    theirs = foreign.there().read_bytes()
    ours = stick.there()
    data = ours.read_bytes()
    frame = theirs[theirs.index(b"instruction "):]
    bent = data.replace(b"honest", b"forged")
    assert bent != data
    for made in (bent, data[:data.index(b"instruction ")] + frame):
        path = tmp_path / "made.receipt"
        path.write_bytes(made)
        done = rig.run("receipt", path)
        assert "ignored" in done.stderr
        assert instructions(rig) == []
        assert rig.json("check")["pending"] == 0     # the receipt itself was good
    stick.back(ours)
    assert len(instructions(rig)) == 1


def test_the_office_back_at_yesterdays_backup_sends_again_and_knows_what_it_said(office, rig, stick, work, tmp_path):
    answer_all(office, rig, stick)
    backup = tmp_path / "yesterday"
    shutil.copytree(office.store, backup)
    key = "lantern-basin/signer:ada+4d09b0e6+ASVDuS/xCVURR2rcg2nbbdyTNmWhGXjdoUBO4QZsqVWd"
    office.run("roster", "add", key, "--from", "2025-03-01", "--may", "inspect")
    office.run("instruct", "heron", "message", "said today")
    work(rig, 4)
    answer_all(office, rig, stick)
    assert len(instructions(rig)) == 2
    shutil.rmtree(office.store)
    shutil.copytree(backup, office.store)
    office.run("instruct", "heron", "message", "said after")
    work(rig, 5)
    for _ in range(3):                          # a gap first, then everything again
        receipt = stick.there()
        rig.run("receipt", receipt, status=None)
    answer_all(office, rig, stick)
    assert [e for e in states(office)] == ["in the rig's log"] * 3
    assert sorted(i["lost"] for i in listed(office)) == [False, True, True]
    assert len(instructions(rig)) == 3
    # No version is given twice.
    assert office.json("roster")["version"] == 1
    office.run("roster", "end", "ada", "--to", "2026-03-01")
    assert office.json("roster")["version"] == 2


def test_a_roster_reaches_rigs_invited_before_and_after(office, rig, stick, rig_of, tmp_path):
    key = "lantern-basin/signer:ada+4d09b0e6+ASVDuS/xCVURR2rcg2nbbdyTNmWhGXjdoUBO4QZsqVWd"
    office.run("roster", "add", key, "--from", "2025-03-01", "--may", "inspect,countersign")
    office.run("roster", "revoke", key, "--at", "2025-04-01T00:00:00Z")
    late = rig_of("plover")
    late.enter("state", "at=2025-03-01T00:00:00Z", "by=clerk", "state=working")
    folder = tmp_path / "p"
    folder.mkdir()
    answer_all(office, rig, stick)
    Stick(office, late, folder).both()
    assert [i["about"] for i in listed(office)] == ["roster", "roster"]
    assert len(instructions(rig)) == 2 and len(instructions(late)) == 1
    assert "version 2" in listed(office, "plover")[0]["body"]
    signer = office.json("roster")["signers"][0]
    assert signer["revoked"] == "2025-04-01T00:00:00Z" and signer["to"] is None
    assert office.run("roster", "--csv").stdout.startswith("name,from,to,may,revoked,key\n")
    done = office.run("roster", "add", key, "--from", "2025-03-01", "--may", "inspect", status=64)
    assert "already" in done.stderr


# ---- keys --------------------------------------------------------------------------------------

def test_every_key_is_followed_by_another_and_old_evidence_stays_good(office, rig, stick, work, programs, tmp_path):
    answer_all(office, rig, stick)
    before = tmp_path / "before"
    office.run("prove", "heron", "1", "--out", before)
    for what in ("cosigner", "instructions", "box"):
        office.run("keys", "renew", what)
    assert office.json("keys")["waiting"] == ["heron"]
    work(rig, 5)
    answer_all(office, rig, stick)
    assert office.json("keys")["waiting"] == []
    work(rig, 6)
    office.run("instruct", "heron", "message", "by the new key")
    answer_all(office, rig, stick)
    assert rig.json("line")["instructions"][0]["text"] == "by the new key\n"
    assert rig.run("check").stdout.endswith("good\n")
    # A rig that is told has receipts with the new line alone.
    keys = {(k["what"], k["today"]): k["key"] for k in office.json("keys")["keys"]}
    last = rig.size() - 1
    office.run("prove", "heron", str(last), "--out", tmp_path / "after")
    policy = (tmp_path / "after" / "trust.tlog-policy").read_text()
    assert keys["cosigner", True] in policy and keys["cosigner", False] not in policy
    programs.run("audit", "verify", tmp_path / "after" / f"{last}.record.json")
    programs.run("audit", "verify", before / "1.record.json")
    # And one entry from before is still proved today, by the key that saw it then.
    office.run("prove", "heron", "1", "--out", tmp_path / "again")
    programs.run("audit", "verify", tmp_path / "again" / "1.record.json")
    assert keys["cosigner", False] in (tmp_path / "again" / "trust.tlog-policy").read_text()


def test_a_rig_that_is_not_told_yet_is_answered_as_before(office, rig, stick, work, tmp_path):
    answer_all(office, rig, stick)
    backup = tmp_path / "yesterday"
    shutil.copytree(office.store, backup)
    work(rig, 5)
    answer_all(office, rig, stick)
    shutil.rmtree(office.store)
    shutil.copytree(backup, office.store)
    for what in ("cosigner", "instructions", "box"):
        office.run("keys", "renew", what)
    work(rig, 6)
    receipt = stick.there()                    # a refusal: the office lacks records
    done = rig.run("receipt", receipt, status=None)
    assert "office went back" in done.stderr
    answer_all(office, rig, stick)
    answer_all(office, rig, stick)
    assert office.json("keys")["waiting"] == []
    assert rig.json("check")["pending"] == 0


def test_a_rig_invited_after_the_change_takes_what_was_written_before(office, rig_of, tmp_path):
    key = "lantern-basin/signer:ada+4d09b0e6+ASVDuS/xCVURR2rcg2nbbdyTNmWhGXjdoUBO4QZsqVWd"
    office.run("roster", "add", key, "--from", "2025-03-01", "--may", "inspect")
    office.invite("heron", tmp_path / "unused.invitation")
    office.run("instruct", "heron", "message", "by the old key")
    office.run("keys", "renew", "instructions")
    rig = rig_of("heron")
    rig.enter("state", "at=2025-03-01T00:00:00Z", "by=clerk", "state=working")
    folder = tmp_path / "p"
    folder.mkdir()
    stick = Stick(office, rig, folder)
    answer_all(office, rig, stick)
    assert set(states(office)) == {"in the rig's log"}
    assert [i["text"] for i in rig.json("line")["instructions"]] == ["by the old key\n"]


# ---- the page's own lines (docs/keys.md 11 and 12) ---------------------------------------------

def play(programs, office, rig, stick, number):
    import test_keys

    env = dict(programs.env, PATH=f"{programs.folder}:{os.environ['PATH']}", RIG=rig.store,
               OFFICE=office.store, STICK=str(stick.folder))
    done = subprocess.run(["sh", "-eu"], input="".join(test_keys.BLOCKS[number]), env=env,
                          capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, f"section {number}: {done.stdout}{done.stderr}"


def test_keys_that_are_due(programs, office, rig, stick, work):
    answer_all(office, rig, stick)
    play(programs, office, rig, stick, 11)
    work(rig, 5)
    answer_all(office, rig, stick)
    answer_all(office, rig, stick)
    assert office.json("keys")["waiting"] == []
    assert rig.json("check")["problems"] == [] and rig.json("check")["pending"] == 0


def test_keys_that_others_may_know(programs, office, rig, stick, work, tmp_path):
    """The old cosigner's word is worth nothing on the rig any more."""
    answer_all(office, rig, stick)
    thief = tmp_path / "thief"                  # whoever copied the office's folder
    shutil.copytree(office.store, thief)
    work(rig, 5)
    play(programs, office, rig, stick, 12)
    work(rig, 6)
    answer_all(office, rig, stick)
    assert rig.json("check")["pending"] == 0 and rig.json("check")["problems"] == []
    work(rig, 7)
    out, forged = tmp_path / "t.fsb", tmp_path / "t.receipt"
    rig.run("carry", "--out", out)
    # The thief's office cannot open it any more; its answers count for nothing.
    programs.run("office", "take", out, "--store", thief, "--receipt", forged, status=None)
    rig.run("receipt", forged, status=None)
    assert rig.json("check")["pending"] == 1
    answer_all(office, rig, stick)
    assert rig.json("check")["pending"] == 0
