"""docs/verify-by-hand.md is true: its own commands accept good evidence and refuse altered evidence."""

import concurrent.futures
import hashlib
import os
import pathlib
import re
import shutil
import subprocess

import pytest

PAGE = pathlib.Path(__file__).resolve().parents[2] / "docs" / "verify-by-hand.md"
TEXT = PAGE.read_text(encoding="utf-8")


def indented(text):
    return "".join(line[4:] if line.strip() else line
                   for line in text.splitlines(keepends=True)
                   if line.startswith("    ") or not line.strip())


def blocks(number):
    """The indented blocks of a section, each as it is typed."""
    section = re.search(rf"^## {number}\. .*?(?=^#|\Z)", TEXT, re.M | re.S)[0]
    return [indented(block) for block in re.split(r"^(?=\S)", section, flags=re.M)
            if re.search(r"^    \S", block, re.M)]


COMMANDS = indented(TEXT.split("# A whole log by hand")[0])
# In the order that the page says.
WHOLE_LOG = "".join(blocks(1) + blocks(5)[:2] + blocks(9) + blocks(10)[:1] + blocks(5)[2:]
                    + blocks(7) + blocks(10)[1:])
NAMES = ("record.json", "tlog-proof", "trust.tlog-policy")
SHELLS = [shell for shell in ("dash", "bash") if shutil.which(shell)]


def run_page(folder, shell="sh", commands=COMMANDS):
    """(accepted, what was printed); the exit status and the last verdict must agree."""
    done = subprocess.run([shell], input=commands, cwd=folder, capture_output=True, text=True,
                          timeout=120, errors="backslashreplace",
                          env={"PATH": os.environ["PATH"], "TMPDIR": str(folder)})
    accepted = done.returncode == 0
    assert accepted == ("\nVERIFIED: " in done.stdout), done.stdout + done.stderr
    assert accepted != ("REFUSED: " in done.stdout), done.stdout + done.stderr
    assert not accepted or done.stderr == "", done.stderr
    assert sorted(path.name for path in folder.iterdir() if path.is_dir()) == []
    return accepted, done.stdout


def write(folder, files):
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


@pytest.fixture()
def proved(office, rig_of, begin, work, tmp_path):
    """{file name: bytes} of entry 5 of 9, made by a rig and an office over a stick."""
    rig = begin(rig_of())
    for hour in range(8, 8 + 9 - rig.size()):
        work(rig, hour)
    rig.run("carry", "--out", tmp_path / "heron.fsb")
    office.run("take", tmp_path / "heron.fsb", "--receipt", tmp_path / "heron.receipt")
    office.run("prove", rig.name, 5, "--out", tmp_path / "E")
    return {path.name: path.read_bytes() for path in (tmp_path / "E").iterdir()}


@pytest.mark.parametrize("shell", SHELLS)
def test_the_page_accepts_what_an_office_proves(proved, shell, tmp_path, programs):
    accepted, said = run_page(write(tmp_path / "good", proved), shell)
    assert accepted, said
    verdict = programs.json("audit", "verify", tmp_path / "good" / "5.record.json")
    assert f"VERIFIED: entry {verdict['index']} of {verdict['size']} in the log" in said
    assert "the keys came with the evidence" in said
    leaf = hashlib.sha256(b"\0" + proved["5.record.json"]).hexdigest()
    assert leaf in said
    for fingerprint in re.findall(r"fingerprint ([0-9a-f]{64})", said):
        assert fingerprint in programs.run(
            "audit", "verify", tmp_path / "good" / "5.record.json", "--json").stdout


def test_the_page_s_keys_must_be_those_known_from_elsewhere(proved, tmp_path):
    folder = write(tmp_path / "known", proved)
    _, said = run_page(folder)
    fingerprints = re.findall(r"fingerprint ([0-9a-f]{64})", said)
    assert len(fingerprints) == 2
    (folder / "known.txt").write_text("\n".join(fingerprints) + "\n")
    accepted, said = run_page(folder)
    assert accepted and "came with the evidence" not in said, said
    (folder / "known.txt").write_text(fingerprints[0] + "\n" + "0" * 64 + "\n")
    assert not run_page(folder)[0]
    (folder / "known.txt").write_text("")
    assert not run_page(folder)[0]


def flip(content, at, bit=0):
    changed = bytearray(content)
    changed[at] ^= 1 << bit
    return bytes(changed)


def altered(files):
    """(what, file, other bytes): all to be refused."""
    record, proof, policy = (next(name for name in files if name.endswith(end)) for end in NAMES)
    lines = files[proof].splitlines(keepends=True)
    first_signature = next(i for i, line in enumerate(lines) if line.startswith("—".encode()))
    for at in (0, len(files[record]) - 1):
        yield f"record, byte {at}", record, flip(files[record], at)
    yield "record with a line feed", record, files[record] + b"\n"
    yield "record cut", record, files[record][:-1]
    yield "no record", record, b""
    at = 0
    for i, line in enumerate(lines):
        yield f"proof, line {i}, a bit", proof, flip(files[proof], at + len(line) // 2)
        yield f"proof without line {i}", proof, b"".join(lines[:i] + lines[i + 1:])
        at += len(line)
    for i in (2, first_signature):
        yield f"proof cut before line {i}", proof, b"".join(lines[:i])
    yield "a hash twice", proof, b"".join(lines[:3] + lines[2:])
    yield "proof cut by a byte", proof, files[proof][:-1]
    for i in (first_signature, first_signature + 1):
        head, _, text = lines[i].rpartition(b" ")
        other = lines[2 * first_signature + 1 - i].rpartition(b" ")[2]
        middle = b"AAAA" if text[20:24] != b"AAAA" else b"BBBB"
        wrong = head + b" " + text[:20] + middle + text[24:]
        yield f"wrong signature {i}", proof, files[proof].replace(lines[i], wrong)
        yield f"the other's signature {i}", proof, files[proof].replace(text, other)
    yield "no policy", policy, b""
    for i, line in enumerate(files[policy].splitlines()):
        yield f"policy without {line[:9]}", policy, files[policy].replace(line + b"\n", b"")
        if line.count(b"+") > 1:
            key_at = files[policy].index(line) + line.index(b"+")
            yield f"policy, id of {line[:9]}", policy, flip(files[policy], key_at + 2)
            yield f"policy, key of {line[:9]}", policy, flip(files[policy], key_at + 20)
    yield "policy asks for a stranger", policy, re.sub(rb"quorum \S+", b"quorum client",
                                                     files[policy])


def test_the_page_refuses_altered_evidence(proved, tmp_path, programs):
    cases = list(altered(proved))
    assert len(cases) > 35
    if os.environ.get("FSP_LONG") != "1":
        cases = cases[::3]

    def refused(number, what, name, content):
        assert content != proved[name], what
        folder = write(tmp_path / f"bad-{number}", {**proved, name: content})
        accepted, said = run_page(folder)
        assert not accepted, f"{what}\n{said}"
        programs.run("audit", "verify", folder / "5.record.json", status=2)

    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        for done in [pool.submit(refused, number, *case) for number, case in enumerate(cases)]:
            done.result()


@pytest.mark.parametrize("shape", [("21", "1", "0", "1"), ("22", "70", "69", "3")])
def test_the_page_agrees_at_other_sizes_and_with_groups_of_witnesses(shape, tmp_path, programs):
    folder = tmp_path / "E"
    folder.mkdir()
    subprocess.run([pathlib.Path(programs.folder) / "make_evidence", folder, *shape], check=True)
    accepted, said = run_page(folder)
    assert accepted, said
    (proof,) = folder.glob("*.tlog-proof")
    lines = proof.read_bytes().splitlines(keepends=True)
    if int(shape[3]) > 1:  # all but one are asked for
        proof.write_bytes(b"".join(lines[:-1]))
        assert run_page(folder)[0]
        proof.write_bytes(b"".join(lines[:-2]))
        assert not run_page(folder)[0]


@pytest.fixture()
def signed(programs, office, rig_of, begin, tmp_path):
    """A folder's files: a signed inspection, its countersignature, roster and keys; and the scene."""
    rig = begin(rig_of())
    words = tmp_path / "words"
    words.write_text("three wet ropes on a drum\n")

    def sync(name):
        rig.run("carry", "--out", tmp_path / f"{name}.fsb")
        office.run("take", tmp_path / f"{name}.fsb", "--receipt", tmp_path / f"{name}.receipt")
        programs.run("rig", "receipt", tmp_path / f"{name}.receipt", "--store", rig.store)

    def signer(name, may):
        made = programs.json("rig", "signer", "new", name, "--fleet", "lantern-basin", "--out",
                             tmp_path / name, "--passphrase-from", words)
        office.run("roster", "add", made["verifier_key"], "--from", "2025-01-01", "--may", may)
        return ("--signer", tmp_path / name, "--passphrase-from", words)

    sync("a")
    ada, ben = signer("ada", "inspect"), signer("ben", "countersign")
    rig.enter("state", "at=2025-03-01T01:00:00Z", "by=clerk", "state=working")
    sync("b")
    n = rig.size()
    rig.enter("inspection", "at=2025-03-01T02:00:00Z", "by=clerk", "scope=monthly", "decision=run",
              "reel=LB-1", "fleet=lantern-basin", "rig=heron", "inspector=ada", *ada)
    rig.enter("countersign", "at=2025-03-01T03:00:00Z", "by=clerk", f"entry={n}", "signer=ben", *ben)
    sync("c")
    office.run("prove", "heron", n, "--out", tmp_path / "E")
    office.run("prove", "heron", "--whole", "--out", tmp_path / "W")
    return {path.name: path.read_bytes() for path in (tmp_path / "E").iterdir()}, n, tmp_path / "W"


def only(files, n):
    """The pair of one entry and what all need."""
    return {name: content for name, content in files.items()
            if not name[0].isdigit() or name.startswith(f"{n}.")}


@pytest.mark.parametrize("shell", SHELLS)
def test_the_page_tells_which_person_signed(signed, shell, tmp_path):
    files, n, _ = signed
    for which, who in ((n, "ada"), (n + 1, "ben")):
        accepted, said = run_page(write(tmp_path / f"good-{which}", only(files, which)), shell)
        assert accepted, said
        assert f"signed by {who}, in its period" in said
    record = f"{n}.record.json"
    unsigned = dict(only(files, n))
    del unsigned["roster.note"]
    accepted, said = run_page(write(tmp_path / "none", unsigned), shell)
    assert accepted and "no roster to judge it by" in said, said
    for name, old, new in (("roster.note", b" - inspect\n", b" - countersign\n"),
                           ("roster.note", b"farspool-roster/v1", b"farspool-roster/v2"),
                           ("instructions.vkey", b"+A", b"+B"),
                           (record, b'"decision":"run"', b'"decision":"cut"')):
        changed = dict(only(files, n))
        changed[name] = changed[name].replace(old, new, 1)
        assert changed[name] != files[name], name
        accepted, said = run_page(write(tmp_path / f"bad-{name}-{len(new)}", changed), shell)
        assert not accepted, said


@pytest.mark.parametrize("shell", SHELLS)
def test_the_page_verifies_a_whole_log(signed, shell, tmp_path, programs):
    _, n, folder = signed
    files = {path.name: path.read_bytes() for path in folder.iterdir()}
    accepted, said = run_page(write(tmp_path / "whole", files), shell, WHOLE_LOG)
    assert accepted, said
    assert f"VERIFIED: all {n + 2} entries of the log" in said and "0 of them held back" in said
    (name,) = (name for name in files if name.endswith(".register"))
    lines = files[name].splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if line.startswith(b"entry "))
    for i, content in enumerate((
            b"".join(lines[:at] + lines[at + 1:]),
            b"".join(lines[:at] + [lines[at + 1], lines[at]] + lines[at + 2:]),
            files[name].replace(b'"state":"working"', b'"state":"moving"'),
            files[name][:-4], files[name].replace(b"origin l", b"origin m", 1))):
        assert content != files[name]
        if i > 0 and shell != SHELLS[0] and os.environ.get("FSP_LONG") != "1":
            continue
        bad = write(tmp_path / f"bad-{i}", {**files, name: content})
        assert not run_page(bad, shell, WHOLE_LOG)[0], i
        programs.run("audit", "verify", bad / name, status=2)


def test_the_page_needs_no_other_programs_than_it_names():
    words = set(re.findall(r"\b[a-z][a-z0-9]*\b", COMMANDS + WHOLE_LOG))
    assert not words & {"python", "python3", "perl", "awk", "xxd", "curl", "node"}
    assert not re.search(r"farspool-(rig|office|audit)", COMMANDS + WHOLE_LOG)
