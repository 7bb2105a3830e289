"""Terse lines (docs/formats.md, section 23): the programs' and the reader written from that page agree."""

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

SOURCE = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(SOURCE / "tests" / "support"), str(SOURCE / "tests" / "sim")]
import histories  # noqa: E402
import terse  # noqa: E402

BIN = os.environ.get("FSP_BIN")
pytestmark = pytest.mark.skipif(BIN is None, reason="FSP_BIN names the built programs' folder")


def theirs(how, lines, *more):
    done = subprocess.run([Path(BIN) / "terse_lines", how, *more], input=lines, check=True,
                          capture_output=True)
    return done.stdout


def preset():
    """Dictionary 2 out of the source, as the page says: the numbers between the braces."""
    text = (SOURCE / "common/wire/dictionary_2.c").read_text()
    numbers = text[text.index("{") + 1:text.index("}")].replace("\n", " ")
    return bytes(int(number) for number in numbers.split(",") if number.strip())


def joined(entries):
    return b"".join(entry + b"\n" for entry in entries)


def agree(entries, dictionary):
    more = [] if dictionary else ["alone"]
    lines = theirs("write", joined(entries), *more)
    assert lines == terse.write_all(entries, dictionary), "the same lines"
    assert terse.read_all(lines, dictionary) == entries, "the second reader reads them"
    assert theirs("read", lines, *more) == joined(entries), "and so does the first"
    return lines


def season_entries(seed):
    out = subprocess.run([sys.executable, "-B", SOURCE / "tests/sim/season.py", "--seed", str(seed),
                          "--days", "15", "--stored"], capture_output=True, check=True).stdout
    return out.splitlines()


def test_a_season_of_four_rigs():
    entries = season_entries(7)
    dictionary = preset()
    lines = agree(entries, dictionary)
    assert len(lines) * 5 < len(joined(entries)), "that is what it is for"
    agree(entries[:300], b"")


def odd_entries():
    at = b'"at":"2026-03-01T00:00:00Z"'
    return [
        b"x", b"{}", b"{", b"}", b'{"a":1}', b'{"a":1}', b'{"a":}', b'{"a":"1}', b"\x01\x02\x03", b"\x00",
        b"\xff\xfe", b'{"b":1,"a":2}', b'{"a":1,"a":2}', b'{"kind":1}', b'{"kind":"' + 40 * b"k" + b'"}',
        b'{"op":"x"}', b'{"op":"x"}', b'{"kind":"k","op":"x"}', b'{"kind":"","op":""}',
        b'{' + at + b'}', b'{"at":"2026-03-01T00:00:59Z"}', b'{"at":"2026-02-28T23:59:59Z"}',
        b'{"at":"9999-12-31T23:59:59Z"}', b'{"at":"2026-02-29T00:00:00Z"}', b'{' + at + b'}', b'{"at":""}',
        b'{"at":"later"}', b'{' + at + b',"noted":"2026-03-01T00:00:01Z"}',
        b'{' + at + b',"noted":"2026-03-01T00:00:01Z"}', b'{"from":"0ft","to":"100ft"}',
        b'{"from":"100ft","to":"250.5ft"}', b'{"from":"250.5ft","to":"250.4ft"}',
        b'{"from":"250.40ft","to":"250.44ft"}', b'{"n":"007"}', b'{"n":"008"}', b'{"n":"1.2.3"}',
        b'{"n":"1.2.4"}', b'{"n":"12."}', b'{"n":"13."}', b'{"n":"999999999999999"}',
        b'{"n":"1000000000000000"}', b'{"n":"999999999999998"}', b'{"n":"0.01"}', b'{"n":"0.10"}',
        b'{"n":"0.00"}', b'{"n":"-1"}', b'{"n":-1}', b'{"n":5}', b'{"n":4}', b'{"n":[1,{"a":"]}"}],"o":2}',
        b'{"n":[1,{"a":"]}"}],"o":3}', b'{"n":"a\\"b"}', b'{"n":"a\\\\"}', b'{"n":"\\"}', b'{"n":""}',
        b'{"n":"' + 63 * b"v" + b'"}', b'{"n":"' + 63 * b"v" + b'"}', b'{"n":"' + 64 * b"v" + b'"}',
        b'{"n":"' + 64 * b"v" + b'"}', b'{"n":"\xc3\xa9"}', b'{"n":"a\tb"}', b'{"n":1}}', b'{"n":1},',
        b'{"' + 31 * b"n" + b'":1}', b'{"' + 32 * b"n" + b'":1}', b'{"N":1}', b'{"n":]}', b'{"n":tru',
        b"{" + b",".join(b'"a%02d":1' % i for i in range(48)) + b"}",
        b"{" + b",".join(b'"a%02d":2' % i for i in range(48)) + b"}",
        b"{" + b",".join(b'"a%02d":1' % i for i in range(49)) + b"}",
        b"y" * 16384,
    ]


def test_odd_entries():
    for dictionary in (b"", preset()):
        agree(odd_entries(), dictionary)
        agree(2 * odd_entries(), dictionary)


def test_more_forms_than_are_remembered():
    entries = [b'{"kind":"k%d","n":%d}' % (i % 300, i) for i in range(900)]
    lines = agree(entries, b"")
    assert lines.count(b"\x01{") > 300, "the last ones go as they are"


def test_any_history_of_a_rig():
    dictionary = preset()
    for seed in range(6):
        entries = [json.dumps(histories.stored(row), sort_keys=True, separators=(",", ":"))
                   for row in histories.history(seed)]
        agree([entry.encode() for entry in entries], dictionary)


def test_mutated_entries_and_lines():
    rng = random.Random(5)
    dictionary = preset()
    base = season_entries(8)[:200]
    entries = []
    for _ in range(400):
        entry = bytearray(rng.choice(base))
        for _ in range(rng.randrange(3)):
            entry[rng.randrange(len(entry))] = rng.choice(b'{}[]",:\\0019.-az \x01\x1f\xff')
        entries.append(bytes(entry))
    lines = agree(entries, dictionary).splitlines(keepends=True)
    # Lines that no writer made are refused by both, or both read the same.
    for _ in range(60):
        few = bytearray(b"".join(lines[:12]))
        few[rng.randrange(len(few) - 1)] = rng.choice(b"\x01\x02\x03\x04\x05\x06\x07 !09za")
        few = bytes(few)
        got = theirs("read", few)
        try:
            want = joined(terse.read_all(few, dictionary))
        except (ValueError, IndexError):
            assert got.endswith(b"refused\n"), few
        else:
            assert got == want, few
