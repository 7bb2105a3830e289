"""Evidence for an auditor by the real programs: signed inspections, ranges, periods, whole logs, a
second witness; the second verifier agrees with every one."""

import pytest
import verify

SEEN = ("by=clerk", "scope=monthly", "decision=run", "reel=LB-1", "fleet=lantern-basin", "rig=heron")


class Scene:
    """An office and a rig with a roster; entries 7 to 11: a signed inspection, a tour, an unsigned
    inspection, a countersignature and a voiding of the first. Cosigned heads of 4, 5, 10 and 12."""

    def __init__(self, programs, office, rig, folder):
        self.p, self.office, self.rig, self.folder, self.trips = programs, office, rig, folder, 0
        self.words = folder / "words"
        self.words.write_text("three wet ropes on a drum\n")

    def sync(self):
        self.trips += 1
        sent, receipt = self.folder / f"{self.trips}.fsb", self.folder / f"{self.trips}.receipt"
        self.rig.run("carry", "--out", sent)
        self.office.run("take", sent, "--receipt", receipt)
        self.p.run("rig", "receipt", receipt, "--store", self.rig.store)

    def signer(self, name, may):
        key = self.folder / f"{name}.signer"
        made = self.p.json("rig", "signer", "new", name, "--fleet", "lantern-basin", "--out", key,
                           "--passphrase-from", self.words)
        self.office.run("roster", "add", made["verifier_key"], "--from", "2025-01-01", "--may", may)
        return ("--signer", key, "--passphrase-from", self.words)

    def prove(self, *words, out, **more):
        folder = self.folder / out
        self.office.run("prove", "heron", *words, "--out", folder, **more)
        return folder

    def audit(self, *words, **more):
        return self.p.run("audit", "verify", *words, **more)


@pytest.fixture()
def scene(programs, office, rig_of, begin, tmp_path):
    it = Scene(programs, office, begin(rig_of()), tmp_path)
    it.sync()
    ada, ben = it.signer("ada", "inspect"), it.signer("ben", "countersign")
    it.rig.enter("state", "at=2025-03-01T01:00:00Z", "by=clerk", "state=working")
    it.sync()  # the receipt brings the rosters
    first = it.rig.size()
    it.rig.enter("inspection", "at=2025-03-01T02:00:00Z", "inspector=ada", *SEEN, *ada)
    it.rig.enter("tour", "at=2025-03-01T06:00:00Z", "by=clerk", "tour=night", "complete=yes")
    it.rig.enter("inspection", "at=2025-03-01T07:00:00Z", "inspector=ada", *SEEN)
    it.sync()
    it.rig.enter("countersign", "at=2025-03-01T08:00:00Z", "by=clerk", f"entry={first}",
                 "signer=ben", *ben)
    it.rig.enter("amend", "at=2025-03-01T09:00:00Z", "by=clerk", f"entry={first}",
                 "reason=wrong reel", "void=yes")
    it.sync()
    it.first = first
    return it


def test_one_signed_inspection_comes_with_what_countersigns_and_voids_it(scene):
    n = scene.first
    folder = scene.prove(n, out="E")
    names = {path.name for path in folder.iterdir()}
    assert names == {f"{i}.{tail}" for i in (n, n + 3, n + 4)
                     for tail in ("record.json", "tlog-proof")} | {
        "trust.tlog-policy", "roster.note", "instructions.vkey", "summary.txt", "summary.html"}
    said = scene.p.json("audit", "verify", folder / f"{n}.record.json")
    assert said["signature"]["state"] == "signed" and said["signature"]["signer"] == "ada"
    told = scene.audit(folder).stdout
    assert f"countersigned by entry {n + 3}, by ben: signed" in told
    assert f"voided by entry {n + 4}" in told
    assert scene.audit(folder / f"{n}.record.json", "--need-signature").returncode == 0
    # The second verifier, from the page alone.
    policy = (folder / "trust.tlog-policy").read_bytes()
    roster = (folder / "roster.note").read_bytes()
    key = (folder / "instructions.vkey").read_bytes().splitlines()[0]
    for i in (n, n + 3, n + 4):
        record = (folder / f"{i}.record.json").read_bytes()
        verify.verify(record, (folder / f"{i}.tlog-proof").read_bytes(), policy)
        if i != n + 4:
            assert verify.signature_of(record, roster, key) == "signed"
    text = (folder / "summary.txt").read_text()
    for words in ("signature     signed", "voids entry", "What is not proved", "second\n    witness",
                  "rig's own clock", "never entered", "came with the evidence"):
        assert words in text, text


def test_an_unsigned_inspection_is_told_as_what_it_is(scene):
    folder = scene.prove(scene.first + 2, out="E")
    record = folder / f"{scene.first + 2}.record.json"
    assert scene.p.json("audit", "verify", record)["signature"]["state"] == "unsigned"
    refused = scene.audit(record, "--need-signature", status=2)
    assert "NOT VERIFIED" in refused.stderr and "unsigned" in refused.stderr
    assert "Who signed" in (folder / "summary.txt").read_text()


@pytest.mark.parametrize("words, entries, held_back, inspections", [
    (("--whole",), 12, 0, 2),
    (("--inspections",), 12, 0, 2),
    (("--inspections", "--hold-back"), 12, 8, 2),
    (("--inspections", "--to", "2000-01-01T00:00:00Z"), 4, 0, 0),
    (("8-9",), 5, 0, 2),
    (("8-8", "--hold-back"), 5, 4, 0),
])
def test_registers_are_complete_between_the_narrowest_heads(scene, words, entries, held_back,
                                                           inspections):
    folder = scene.folder / "E"
    made = scene.office.json("prove", "heron", *words, "--out", folder)
    assert (made["entries"], made["held_back"]) == (entries, held_back), made
    (register,) = folder.glob("*.register")
    said = scene.p.json("audit", "verify", register)
    assert said["complete"] and said["verified"]
    assert (said["entries"], said["held_back"], said["inspections"]) == (
        entries, held_back, inspections)
    second = verify.verify_register(register.read_bytes(),
                                    (folder / "trust.tlog-policy").read_bytes())
    for name in ("log", "entries", "held_back"):
        assert second[name] == said[name]
    assert second["root"] == said["to"]["root"]
    summary = (folder / "summary.txt").read_text()
    assert "Complete:" in summary
    assert ("any\n    of them could be" in summary or "could be" in summary) == (held_back > 0)
    shown = scene.p.run("audit", "show", register).stdout
    assert "a register" in shown


def test_a_withheld_swapped_or_altered_line_of_a_register_is_refused_by_both(scene):
    folder = scene.prove("--whole", out="E")
    (register,) = folder.glob("*.register")
    policy = (folder / "trust.tlog-policy").read_bytes()
    whole = register.read_bytes()
    lines = whole.splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if line.startswith(b"entry "))
    changed = [
        b"".join(lines[:at] + lines[at + 1:]),
        b"".join(lines[:at] + [lines[at + 1], lines[at]] + lines[at + 2:]),
        b"".join(lines[:at] + [lines[at]] + lines[at:]),
        whole.replace(b'"state":"working"', b'"state":"moving"'),
        whole[:-4],
        whole + b"\n",
        whole.replace(b"from 0\n", b"from 1\n", 1),
    ]
    for content in changed:
        assert content != whole
        register.write_bytes(content)
        refused = scene.audit(register, status=2)
        assert "NOT VERIFIED" in refused.stderr and refused.stdout == ""
        with pytest.raises(verify.Refused):
            verify.verify_register(content, policy)


def test_the_rig_proves_what_it_has_receipts_for(scene):
    folder = scene.folder / "E"
    scene.rig.run("prove", scene.first, "--out", folder)
    assert scene.audit(folder).returncode == 0
    scene.rig.run("prove", "--whole", "--out", scene.folder / "W")
    assert scene.audit(scene.folder / "W").returncode == 0
    scene.rig.enter("tour", "at=2025-03-01T18:00:00Z", "by=clerk", "tour=day", "complete=yes")
    last = scene.rig.size() - 1
    refused = scene.rig.run("prove", last, "--out", scene.folder / "N", status=1)
    assert "no head that the office has cosigned yet" in refused.stderr


def test_a_folder_of_another_policy_is_not_overwritten(scene, programs, rig_of, begin):
    folder = scene.prove("0", out="E")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    other = begin(rig_of("plover"))
    other.run("carry", "--out", scene.folder / "p.fsb")
    scene.office.run("take", scene.folder / "p.fsb")
    refused = scene.office.run("prove", "plover", "0", "--out", folder, status=64)
    assert "another policy" in refused.stderr
    assert before == {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_second_witness_is_asked_offline_and_its_word_is_needed(scene):
    p, folder = scene.p, scene.folder
    key, state = folder / "witness.key", folder / "state"
    vkey = p.run("audit", "cosign", "--new-key", "client.example/witness", "--out",
                 key).stdout.splitlines()[0]
    scene.office.run("witness", "add", "client", vkey)
    assert scene.office.json("witness")[0]["vkey"] == vkey
    refused = scene.office.run("prove", "heron", "6", "--out", folder / "N", status=1)
    assert "ask the witness" in refused.stderr
    asked = scene.office.run("witness", "ask", "heron", "--out", folder / "a.request").stdout
    log = asked.split("list once: ")[1].strip()

    def cosign(request, out, status=0):
        return p.run("audit", "cosign", folder / request, "--state", state, "--key", key, "--out",
                     folder / out, status=status)

    assert "not among those" in cosign("a.request", "a.note", status=1).stderr
    p.run("audit", "cosign", "--add-log", log, "--state", state)
    cosign("a.request", "a.note")
    scene.office.run("witness", "take", folder / "a.note")
    scene.office.run("witness", "take", folder / "a.note")  # twice is once
    proved = scene.prove("6", out="E")
    policy = (proved / "trust.tlog-policy").read_text()
    assert "group witnesses all office client\nquorum witnesses\n" in policy
    said = p.json("audit", "verify", proved / "6.record.json")
    assert [item["key"]["name"] for item in said["cosigned"]] == [
        "lantern-basin/office", "client.example/witness"]
    assert not any("invent the history" in words for words in said["not_proved"])
    alone = scene.prove("6", "--quorum", "office", out="A")
    assert "quorum office\n" in (alone / "trust.tlog-policy").read_text()
    one = scene.prove("6", "--quorum", "1", out="K")
    assert "group witnesses 1 office client" in (one / "trust.tlog-policy").read_text()
    # It goes on from there, and never back.
    scene.rig.enter("tour", "at=2025-03-01T18:00:00Z", "by=clerk", "tour=day", "complete=yes")
    scene.sync()
    scene.office.run("witness", "ask", "heron", "--out", folder / "b.request")
    cosign("b.request", "b.note")
    assert "rollback" in cosign("a.request", "c.note", status=2).stderr
    assert not (folder / "c.note").exists()
    scene.office.run("witness", "take", folder / "b.note")
    # Nobody else's word is taken.
    (folder / "d.note").write_bytes((folder / "a.note").read_bytes().replace(b"\n12\n", b"\n13\n"))
    scene.office.run("witness", "take", folder / "d.note", status=2)


def test_the_summary_page_is_whole_and_harmless(scene):
    folder = scene.prove("--whole", out="E")
    page = (folder / "summary.html").read_text()
    assert page.startswith("<!doctype html>") or page.startswith("<!DOCTYPE html>")
    for word in ("<script", "javascript:", "http://", "https://", "url(", "src="):
        assert word not in page
    assert "@media print" in page and "<table>" in page
