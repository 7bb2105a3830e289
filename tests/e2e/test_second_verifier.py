"""farspool-audit and the verifier written from docs/formats.md agree, on good evidence and on bad."""

import base64
import json
import os
import random
import re
import subprocess
import sys
from pathlib import Path

import pytest

SOURCE = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(SOURCE / "tests" / "support"))
import verify  # noqa: E402  (the second verifier)

BIN = os.environ.get("FSP_BIN")
pytestmark = pytest.mark.skipif(BIN is None, reason="FSP_BIN names the built programs' folder")

#            seed  size index witnesses
SHAPES = [("11", "58", "41", "1"), ("12", "1", "0", "1"), ("13", "70", "69", "3")]
FILES = ("record", "proof", "policy")


def make(folder, *words):
    subprocess.run([Path(BIN) / "make_evidence", folder, *words], check=True)
    (record,) = folder.glob("*.record.json")
    stem = record.name.removesuffix(".record.json")
    paths = [record, folder / f"{stem}.tlog-proof", folder / "trust.tlog-policy"]
    return paths, [path.read_bytes() for path in paths]


def first_verdict(record_path, *options):
    result = subprocess.run(
        [Path(BIN) / "farspool-audit", "verify", record_path, "--json", *options],
        capture_output=True,
        check=False,
    )
    assert result.returncode in (0, 2), result
    said = json.loads(result.stdout)
    assert said["verified"] == (result.returncode == 0)
    assert (result.stderr == b"") == said["verified"]
    return said


def second_verdict(contents):
    try:
        return verify.verify(*contents)
    except verify.Refused as why:
        return str(why)


def compare(paths, contents, what):
    """Both verdicts on these contents; they must be the same. True when verified."""
    for path, content in zip(paths, contents):
        path.write_bytes(content)
    first = first_verdict(paths[0])
    second = second_verdict(contents)
    assert first["verified"] == isinstance(second, dict), (what, first, second)
    if first["verified"]:
        for name in ("index", "size", "log", "leaf", "root"):
            assert first[name] == second[name], (what, name)
        cosigned = [(item["key"]["name"], item["time_s"]) for item in first["cosigned"]]
        assert cosigned == second["cosigned"], what
    return first["verified"]


def flips(draw, contents):
    for which, name in enumerate(FILES):
        for _ in range(14 if name != "policy" else 8):
            at, bit = draw.randrange(len(contents[which])), draw.randrange(8)
            changed = bytearray(contents[which])
            changed[at] ^= 1 << bit
            yield f"{name}: bit {bit} of byte {at}", which, bytes(changed)


def cuts(draw, contents):
    for which, name in enumerate(FILES):
        whole = contents[which]
        for at in {0, len(whole) - 1, *(draw.randrange(len(whole)) for _ in range(3))}:
            yield f"{name}: cut at {at}", which, whole[:at]
        yield f"{name}: LF behind", which, whole + b"\n"
        yield f"{name}: twice", which, whole + whole


def reordered(contents):
    for which, name in ((1, "proof"), (2, "policy")):
        lines = contents[which].splitlines(keepends=True)
        for i in range(len(lines)):
            yield f"{name}: line {i} dropped", which, b"".join(lines[:i] + lines[i + 1 :])
            yield f"{name}: line {i} twice", which, b"".join(lines[: i + 1] + lines[i:])
        for i in range(len(lines) - 1):
            swapped = [*lines]
            swapped[i], swapped[i + 1] = swapped[i + 1], swapped[i]
            yield f"{name}: lines {i} and {i + 1} swapped", which, b"".join(swapped)


def rewritten(contents):
    """Changes of form that a lenient reader might pass."""
    proof, policy = contents[1], contents[2]
    dash = "\u2014 ".encode()
    good = [
        ("unknown key's line first", 1, proof.replace(dash, dash + b"a AAAAAAAA\n" + dash, 1)),
        ("unknown key's line last", 1, proof + dash + b"a AAAAAAAA\n"),
        ("extra", 1, proof.replace(b"index ", b"extra Zm9v\nindex ", 1)),
        ("comment", 2, b"#\xff remark\n \t\n" + policy),
        ("tabs", 2, policy.replace(b" ", b" \t ")),
        ("url", 2, re.sub(rb"(log \S+)", rb"\1 https://log.example/", policy)),
        ("no witness asked", 2, re.sub(rb"quorum \S+", b"quorum none", policy)),
    ]
    bad = [
        ("empty extra", 1, proof.replace(b"index ", b"extra \nindex ", 1)),
        ("loose base64 in extra", 1, proof.replace(b"index ", b"extra Zh==\nindex ", 1)),
        ("leading zero", 1, proof.replace(b"index ", b"index 0", 1)),
        ("CRLF", 1, proof.replace(b"\n", b"\r\n")),
        ("loose base64", 1, re.sub(rb"([A-Za-z0-9+/])=\n\n", loosen, proof, count=1)),
        ("unpadded base64", 1, re.sub(rb"=\n", b"\n", proof, count=1)),
        ("space in base64", 1, proof.replace(b"=\n", b" =\n", 1)),
        ("short unknown signature", 1, proof + dash + b"a AAAA\n"),
        ("unknown key with control", 1, proof + dash + b"a\x7f AAAAAAAA\n"),
        ("unknown key with wide space", 1, proof + dash + b"a\xe3\x80\x80b AAAAAAAA\n"),
        ("33 signature lines", 1, proof + (dash + b"a AAAAAAAA\n") * 32),
        ("policy control", 2, b"# \x01\n" + policy),
        ("policy of another log", 2, re.sub(rb"log \S+\n", b"", policy)),
        ("second quorum", 2, policy + b"quorum none\n"),
        ("key of order 4", 2, policy + b"log " + vkey(b"a", bytes(32)) + b"\n"),
        ("key of order 1", 2, policy + b"log " + vkey(b"a", b"\1" + bytes(31)) + b"\n"),
        ("key that is no point", 2, policy + b"log " + vkey(b"a", b"\2" + bytes(31)) + b"\n"),
    ]
    for what, which, content in good:
        yield what, which, content, True
    for what, which, content in bad:
        yield what, which, content, False


def loosen(match):
    """The last letter before a pad raised by one: the same 32 bytes to a lenient decoder."""
    alphabet = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
    at = alphabet.index(match[1]) ^ 1
    return alphabet[at : at + 1] + b"=\n\n"


def vkey(name, public, kind=b"\1"):
    key_id = verify.sha256(name, b"\n", kind, public)[:4]
    return name + b"+" + key_id.hex().encode() + b"+" + base64.b64encode(kind + public)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: f"{shape[2]}-of-{shape[1]}")
def test_both_verifiers_take_good_evidence_and_refuse_the_same_bad(tmp_path, shape):
    draw = random.Random(f"second verifier {shape}")
    paths, contents = make(tmp_path, *shape)
    assert compare(paths, contents, "as made")
    cases = [*flips(draw, contents), *cuts(draw, contents), *reordered(contents)]
    print(f"{len(cases)} mutations of evidence {shape}")
    assert len(cases) >= 75
    for what, which, content in cases:
        changed = [*contents]
        changed[which] = content
        verified = compare(paths, changed, what)
        # With witnesses to spare, a line whose name was altered is a stranger's and ignored.
        matters = which == 0 or ("bit" in what and which == 1 and shape[3] == "1")
        assert not (verified and matters), what


def test_both_verifiers_draw_the_same_line_between_forms(tmp_path):
    for shape in SHAPES:
        paths, contents = make(tmp_path, *shape)
        for what, which, content, good in rewritten(contents):
            if content == contents[which]:
                continue
            changed = [*contents]
            changed[which] = content
            assert compare(paths, changed, what) == good, (shape, what)
        for path in paths:
            path.unlink()


def test_the_worked_example_of_the_formats_verifies_for_both(tmp_path):
    paths, contents = make(tmp_path, "example")
    assert compare(paths, contents, "example")
    told = (SOURCE / "docs" / "formats.md").read_text(encoding="utf-8")
    for content in contents:
        for line in content.decode().splitlines():
            assert f"    {line}".rstrip() in told, line


def test_the_second_verifier_runs_as_a_program(tmp_path):
    paths, contents = make(tmp_path, "7", "9", "4", "2")
    command = [sys.executable, SOURCE / "tests" / "support" / "verify.py", *paths]
    result = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (result.returncode, result.stdout.split()[0]) == (0, "ok")
    paths[0].write_bytes(contents[0] + b" ")
    result = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (result.returncode, result.stdout.split()[0]) == (2, "refused:")


def test_the_second_verifier_s_ed25519_knows_the_vectors_of_rfc_8032():
    # RFC 8032 section 7.1, TEST 2.
    public = bytes.fromhex("3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c")
    signature = bytes.fromhex(
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
    )
    assert verify.sound_key(public)
    assert verify.signed(public, b"\x72", signature)
    assert not verify.signed(public, b"\x73", signature)
    high_s = int.from_bytes(signature[32:], "little") + verify.L
    assert not verify.signed(public, b"\x72", signature[:32] + high_s.to_bytes(32, "little"))
