"""Inspections signed, unsigned, wrong, off the roster, out of date, revoked: what they do and how they show.

The states that rig and office show are held against a second judge (tests/support/signatures.py), written
from docs/formats.md alone.
"""

import base64
import json
import os
import pathlib
import re
import subprocess

import pytest
import signatures
import verify
from conftest import TESTS
from test_fleet import Shell, readme_commands
from test_keys import BLOCKS

PASSPHRASE = "three wet ropes on a drum"
OUT = ("by=clerk", "scope=after-event", "decision=out-of-service", "inspector=crew")
RUN = ("by=clerk", "scope=monthly", "decision=run")


class Scene:
    """An office, a rig with a line hung, persons with keys; everything by courier."""

    def __init__(self, office, rig, people, tmp_path):
        self.office, self.rig, self.tmp = office, rig, tmp_path
        self.people, self.keys = people
        self.hour = 0
        invitation = (tmp_path / f"{rig.name}.invitation").read_text()
        self.instructions = verify.Key(
            re.search(r"^instructions (\S+)$", invitation, re.M)[1].encode(), 1)

    def exchange(self):
        """There and back until the office has everything and the rig has heard it."""
        for i in range(2):
            self.rig.run("carry", "--out", self.tmp / f"{i}.fsb")
            self.office.run("take", self.tmp / f"{i}.fsb", "--receipt", self.tmp / f"{i}.receipt")
            self.rig.run("receipt", self.tmp / f"{i}.receipt")

    def at(self, day):
        self.hour += 1
        return f"at=2025-03-{day:02}T{self.hour // 60:02}:{self.hour % 60:02}:00Z"

    def enter(self, kind, day, *fields, by=None):
        signed = () if by is None else (
            "--signer", self.people / f"{by}.signer", "--passphrase-from", self.people / "words")
        done = self.rig.enter(kind, self.at(day), *fields, *signed)
        return int(re.search(r"entry (\d+)", done.stdout)[1]), done.stderr

    def take(self, record):
        path = self.tmp / "taken.jsonl"
        path.write_text(json.dumps(record) + "\n")
        done = self.rig.run("take", path)
        return int(re.search(r"entry (\d+)", done.stdout)[1])

    def stop(self, day):
        self.enter("inspection", day, *OUT)
        assert self.stopped()

    def stopped(self):
        return self.rig.json("line")["ledger"]["cut_due"] == "out of service"

    def states(self):
        lines = self.rig.run("print").stdout.splitlines()
        return signatures.states(lines, ("lantern-basin", self.rig.name), [self.instructions])

    def check_shown(self):
        """Both ends show what the second judge found."""
        self.exchange()
        want = self.states()
        newest = self.rig.json("line")["inspections"][0]
        assert newest["signature"] == want[newest["index"]]
        shown = self.office.json("rig", self.rig.name)["inspections"]
        assert shown
        for inspection in shown:
            assert inspection["signature"] == want[inspection["index"]], inspection
            for by in inspection["countersigned"]:
                assert by["signature"] == want[by["index"]], by
        text = self.office.run("rig", self.rig.name).stdout
        for inspection in shown:
            assert inspection["signature"] in text


@pytest.fixture(scope="module")
def people(programs, tmp_path_factory):
    """Key files of ada, ben, cleo, dora and eve: (their folder, {name: verifier key})."""
    folder, keys = tmp_path_factory.mktemp("people"), {}
    (folder / "words").write_text(PASSPHRASE + "\n")
    for name in ("ada", "ben", "cleo", "dora", "eve"):
        keys[name] = programs.json(
            "rig", "signer", "new", name, "--fleet", "lantern-basin", "--out",
            folder / f"{name}.signer", "--passphrase-from", folder / "words")["verifier_key"]
    return folder, keys


@pytest.fixture()
def scene(office, rig_of, begin, people, tmp_path):
    return Scene(office, begin(rig_of()), people, tmp_path)


@pytest.fixture()
def crewed(scene):
    """A roster that came to the rig: ada may all, ben's days are over, cleo's key was stolen, dora
    only countersigns; eve is not on it."""
    for name, more in (("ada", ("--may", "inspect,countersign")), ("ben", ("--to", "2025-03-04")),
                       ("cleo", ()), ("dora", ("--may", "countersign"))):
        may = () if "--may" in more else ("--may", "inspect")
        scene.office.run("roster", "add", scene.keys[name], "--from", "2025-03-01", *may, *more)
    scene.office.run("roster", "revoke", scene.keys["cleo"], "--at", "2025-03-10T00:00:00Z")
    scene.exchange()
    return scene


def test_without_a_roster_nothing_counts_as_signed_and_with_one_it_does(scene):
    scene.stop(2)
    index, told = scene.enter("inspection", 3, *RUN, by="ada")
    assert "no roster has come from the office" in told
    assert scene.stopped() and scene.states()[index] == signatures.OFF
    scene.office.run("roster", "add", scene.keys["ada"], "--from", "2025-03-01", "--may", "inspect")
    scene.check_shown()
    assert scene.states()[index] == signatures.GOOD
    assert not scene.stopped()


@pytest.mark.parametrize("by, day, state", [
    ("ada", 3, signatures.GOOD), ("ben", 3, signatures.GOOD), ("ben", 4, signatures.GOOD),
    ("ben", 5, signatures.LATE), ("cleo", 3, signatures.LATE), ("dora", 3, signatures.OFF),
    ("eve", 3, signatures.OFF), (None, 3, signatures.UNSIGNED),
])
def test_only_who_may_lifts(crewed, by, day, state):
    crewed.stop(2)
    fields = RUN if by else (*RUN, "inspector=ada")
    index, told = crewed.enter("inspection", day, *fields, by=by)
    assert crewed.states()[index] == state
    assert crewed.stopped() == (state != signatures.GOOD)
    if state == signatures.GOOD:
        assert told == ""
    elif by:
        assert f"does not count: {state} (roster version 5)" in told
    notes = crewed.rig.run("line").stdout
    if state != signatures.GOOD:
        assert re.search(r"inspection says\s+run,\s+but\s+" + r"\s+".join(state.split()), notes)
    crewed.check_shown()


def test_a_signature_that_was_touched_does_not_hold(crewed):
    crewed.stop(2)
    index, _ = crewed.enter("inspection", 3, *RUN, by="ada")
    good = crewed.rig.entries()[index]
    del good["noted"]
    sig = bytearray(base64.b64decode(good["sig"]))
    sig[5] ^= 1
    crewed.stop(4)
    changed = [dict(good, sig=base64.b64encode(sig).decode()), dict(good, scope="tour"),
               dict(good, inspector="ben"), dict(good, note="all well"),
               dict(good, rig="plover"), dict(good, fleet="far-basin")]
    for minute, record in enumerate(changed):
        # As if signed for another time, so that each is an entry of its own.
        taken = crewed.take(dict(record, at=f"2025-03-05T00:{minute:02}:00Z"))
        assert crewed.states()[taken] == signatures.BAD
    assert crewed.stopped()
    crewed.check_shown()


def test_a_signature_made_elsewhere_counts_when_it_comes_with_the_sheet(crewed):
    crewed.stop(2)
    index, _ = crewed.enter("inspection", 3, *RUN, by="ada")
    assert not crewed.stopped()
    record = crewed.rig.entries()[index]
    del record["noted"]
    crewed.stop(4)
    # The same bytes once more: already there, nothing is added and nothing lifted.
    path = crewed.tmp / "again.jsonl"
    path.write_text(json.dumps(record) + "\n")
    assert "already there" in crewed.rig.run("take", path).stdout
    assert crewed.stopped()


def test_voiding_an_inspection_needs_a_countersignature_on_the_roster(crewed):
    crewed.stop(2)
    stop = crewed.rig.size() - 1
    amend, _ = crewed.enter("amend", 3, "by=clerk", f"entry={stop}", "reason=wrong line", "void=yes")
    assert crewed.stopped()
    assert "disputed" in crewed.rig.run("line").stdout
    for by, state in (("eve", signatures.OFF), ("ben", signatures.OFF), ("dora", signatures.GOOD)):
        index, told = crewed.enter("countersign", 3, "by=clerk", f"entry={amend}", by=by)
        assert crewed.states()[index] == crewed.states()[amend] == state
        assert (told == "") == (state == signatures.GOOD)
        assert crewed.stopped() == (state != signatures.GOOD)
    crewed.check_shown()
    void = {i["index"]: i["void"] for i in crewed.office.json("rig", "heron")["inspections"]}
    assert void[stop] == "voided"


def test_a_second_signature_is_shown_with_its_state(crewed):
    index, _ = crewed.enter("inspection", 3, *RUN, by="ada")
    for by in ("dora", "eve"):
        crewed.enter("countersign", 3, "by=clerk", f"entry={index}", by=by)
    crewed.check_shown()
    shown = crewed.office.json("rig", "heron")["inspections"][0]
    assert [(c["signer"], c["signature"]) for c in shown["countersigned"]] == [
        ("dora", signatures.GOOD), ("eve", signatures.OFF)]


def test_a_roster_that_changes_is_judged_again_at_both_ends(crewed):
    crewed.stop(2)
    index, _ = crewed.enter("inspection", 3, *RUN, by="ada")
    assert not crewed.stopped()
    crewed.office.run("roster", "revoke", crewed.keys["ada"], "--at", "2025-03-01T00:00:00Z")
    crewed.check_shown()
    assert crewed.states()[index] == signatures.LATE
    assert crewed.stopped()


def test_a_roster_that_the_office_did_not_sign_changes_nothing(crewed):
    crewed.stop(2)
    index, _ = crewed.enter("inspection", 3, *RUN, by="eve")
    instruction = [e for e in crewed.rig.entries() if e["kind"] == "instruction"][-1]
    text = base64.b64decode(instruction["bytes"])
    assert crewed.keys["ada"].encode() in text
    forged = text.replace(crewed.keys["ada"].encode(), crewed.keys["eve"].encode())
    forged = forged.replace(b"\nversion 5\n", b"\nversion 6\n")
    for minute, bytes_ in enumerate((forged, text.replace(b"\nversion 5\n", b"\nversion 6\n"))):
        crewed.take({"kind": "instruction", "at": f"2025-03-05T00:{minute:02}:00Z", "by": "office",
                     "bytes": base64.b64encode(bytes_).decode(), "sig": instruction["sig"]})
    assert crewed.states()[index] == signatures.OFF
    assert crewed.stopped()
    crewed.check_shown()


def test_the_readme_signs_as_printed(programs, tmp_path):
    shell = Shell(tmp_path, programs)
    (tmp_path / "words").write_text(PASSPHRASE + "\n")
    for line in readme_commands("A fleet on one machine"):
        if re.match(r"farspool-\w+ (init|invite|enter (rig|reel|program))\b", line):
            shell.run(line)
    key = None
    commands = readme_commands("Signing inspections")
    assert len(commands) == 5
    for line in commands:
        out = shell.run(line.replace("VERIFIER-KEY", key or "?"))
        key = key or re.search(r"verifier key (\S+)", out)[1]
    roster = shell.json("farspool-office roster --store O --json")
    assert "ada" in json.dumps(roster) and "2026-04-01T00:00:00Z" in json.dumps(roster)
    entries = [json.loads(e) for e in shell.run("farspool-rig print --store R").splitlines()]
    assert [e["kind"] for e in entries] == ["rig", "reel", "program", "inspection", "countersign"]
    assert entries[3]["reel"] == "A-17" and entries[3]["inspector"] == "ada"


def test_the_second_judge_finds_the_vectors_of_the_formats_page_good():
    page = (TESTS.parent / "docs/formats.md").read_text()
    part = {n: re.search(rf"^## {n}\. .*?(?=^## |\Z)", page, re.M | re.S)[0] for n in (15, 17)}
    blocks = {n: [[line[4:] for line in block.split("\n")] for block in
                  re.findall(r"(?:^    .*\n?)+", text, re.M)] for n, text in part.items()}
    entry = next(line for block in blocks[15] for line in block if '"sig":' in line)
    leaf = verify.sha256(b"\0", entry.encode())
    assert [leaf.hex()] == [line for block in blocks[15] for line in block
                            if line == leaf.hex()], "the page's leaf"
    countersigned = next("".join(block[1:3]) for block in blocks[15] if block[0] == leaf.hex())
    key = verify.Key(next(b[0] for b in blocks[17] if "/instructions+" in b[0]).encode(), 1)
    start = next(i for i, b in enumerate(blocks[17]) if b[0] == "farspool-roster/v1"
                 and "lantern-basin" in b[1])
    note = "\n".join(line for line in blocks[17][start] if line) + "\n\n" + "\n".join(
        line for line in blocks[17][start + 1] if line) + "\n"
    roster = signatures.Roster(note.encode(), [key])
    record = json.loads(entry)
    message = b"farspool-inspection/v1\n" + signatures.cut(entry).encode()
    sig = base64.b64decode(record["sig"])
    assert len(message) == 245 and f"    {sig.hex()[:64]}\n    {sig.hex()[64:]}\n" in part[15]
    assert signatures.judge(roster, "ada", "inspect", record, message, sig) == signatures.GOOD
    assert signatures.judge(roster, "ada", "inspect", record, message + b" ", sig) == signatures.BAD
    assert signatures.judge(roster, "ada", "countersign", record,
                            b"farspool-countersign/v1\n" + leaf,
                            bytes.fromhex(countersigned)) == signatures.GOOD


def test_a_persons_key_over_time_as_the_page_of_keys_has_it(programs, office, rig_of, begin,
                                                            tmp_path):
    """docs/keys.md, section 13."""
    begins, changes, leaves, revoked = BLOCKS[13]
    scene = Scene(office, begin(rig_of()), (pathlib.Path(tmp_path), {}), tmp_path)
    (tmp_path / "words").write_text(PASSPHRASE + "\n")
    (tmp_path / "new-words").write_text("four dry ropes in a shed\n")
    env = dict(programs.env, PATH=f"{programs.folder}:{os.environ['PATH']}", STICK=str(tmp_path),
               OFFICE=office.store)

    def play(block):
        subprocess.run(["sh", "-eu"], input=block, env=env, text=True, check=True, timeout=120)
        scene.exchange()

    play(begins)
    early, _ = scene.enter("inspection", 5, *RUN, by="ada")
    late, _ = scene.enter("inspection", 25, *RUN, by="ada")
    assert [scene.states()[i] for i in (early, late)] == [signatures.GOOD] * 2
    play(changes)
    done = scene.rig.enter("inspection", scene.at(6), *RUN, "--signer", tmp_path / "ada.signer",
                           "--passphrase-from", tmp_path / "words", status=2)
    assert "the passphrase is wrong" in done.stderr
    play(leaves)
    assert [scene.states()[i] for i in (early, late)] == [signatures.GOOD, signatures.LATE]
    play(revoked)
    # Both were noted now, long after the key may have been somebody else's.
    assert [scene.states()[i] for i in (early, late)] == [signatures.LATE] * 2
    (tmp_path / "ada-2.signer").rename(tmp_path / "ada.signer")
    again, _ = scene.enter("inspection", 12, *RUN, by="ada")
    assert scene.states()[again] == signatures.GOOD
    scene.check_shown()
