"""Bad input: one message that says what and what to do, the exit status, nothing half kept."""

import os
import re
import sqlite3

import pytest
from conftest import AT

import programs as drive

ONE_FAULT = (
    # kind, fields, status, what the message must hold
    ("slip", ["length=30kg"], 1, r"field length: '30kg' is a load.*ft, in, m"),
    ("slip", ["length=-30ft"], 1, r"field length: '-30ft' must be above zero"),
    ("slip", ["length=0ft"], 1, r"field length: .*above zero"),
    ("slip", ["length=30,5ft"], 1, r"field length: .*comma; write a point"),
    ("slip", ["length=30"], 1, r"field length: .*ft, in, m"),
    ("slip", ["length=4000ft"], 1, r"field length: .*out of range"),
    ("slip", [], 1, r"field length: required by kind slip, not given"),
    ("slip", ["length=30ft", "lenght=30ft"], 1, r"field lenght: .*did you mean length"),
    ("slip", ["length=30ft", "mast=142ft"], 1, r"field mast: kind slip does not take it"),
    ("slip", ["length=30ft", "note=a\x1b[31mb"], 1, r"field note: .*control"),
    ("slop", ["length=30ft"], 64, r"'slop': no such kind.*--fields"),
    ("cut", ["length=90ft", "reason=gaol"], 1, r"field reason: 'gaol'.*did you mean goal"),
    ("cut", ["length=90ft", "reason=other"], 1, r"field note: required when reason is other"),
    ("reel", ["reel=LB-2", "rope=1-3/8in", "grade=EIPS", "received=5000ft", "strung=1850ft",
              "lines=9"], 1, r"field lines: 9 is odd"),
    ("work", ["op=round-trip", "depth=400ft", "bha-length=700ft"], 1,
     r"field depth: .*less than the bottom-hole assembly"),
    ("work", ["op=pull-out", "from=4000ft", "to=5000ft"], 1, r"field to: .*changed over"),
    ("work", ["op=casing", "depth=4000ft"], 1, r"field casing: required by op casing"),
    ("amend", ["entry=99", "reason=wrong", "void=yes"], 1, r"no entry 99 in this log"),
)


@pytest.fixture()
def rig(rig_of, begin):
    return begin(rig_of())


def refused(rig, run, status, pattern, size):
    """The command is refused with that message, on one line, and the store is as it was."""
    done = run(status=None)
    assert done.returncode == status, done
    assert re.search(pattern, done.stderr), done.stderr
    assert len(done.stderr.splitlines()) == 1, done.stderr
    assert done.stderr.isprintable() or done.stderr.rstrip("\n").isprintable(), done.stderr
    state = rig.json("check")
    assert (state["size"], state["state"], state["problems"]) == (size, "sound", [])


@pytest.mark.parametrize("kind, fields, status, pattern", ONE_FAULT,
                         ids=[f"{i}-{f[0]}" for i, f in enumerate(ONE_FAULT)])
def test_an_entry_with_one_fault_is_refused_with_one_message(rig, kind, fields, status, pattern):
    at = f"at={AT.format(5, 0)}"
    refused(rig, lambda **kw: rig.enter(kind, at, "by=clerk", *fields, **kw), status, pattern, 4)


@pytest.mark.parametrize("at, pattern", (
    ("2999-01-01T00:00:00Z", r"field at: .*more than 24 h after the present"),
    ("1889-01-01T00:00:00Z", r"field at: .*before 1990"),
    ("2025-02-30T00:00:00Z", r"field at: .*is not a time"),
    ("2025-03-01T25:00:00Z", r"field at: .*is not a time"),
    ("1 March", r"field at: .*is not a time"),
    ("2025-03-01T06:00", r"field at: .*offset"),
))
def test_an_absurd_or_future_time_is_refused(rig, at, pattern):
    refused(rig, lambda **kw: rig.enter("slip", f"at={at}", "by=clerk", "length=30ft", **kw), 1,
            pattern, 4)


def test_a_cut_longer_than_what_was_slipped_is_kept_and_flagged(rig):
    rig.enter("slip", f"at={AT.format(5, 0)}", "by=clerk", "length=30ft")
    rig.enter("cut", f"at={AT.format(6, 0)}", "by=clerk", "length=90ft", "reason=goal")
    ledger = rig.json("line")["ledger"]
    assert ledger["cuts"][0]["beyond_slipped"] is True
    assert any("more is cut than was slipped since the cut before: 90 ft of 30 ft" in n
               for n in ledger["notes"])


# --- clocks ------------------------------------------------------------------------------------

def shifted(programs, seconds):
    shim = os.path.join(programs.folder, "libfakeclock.so")
    if not os.path.exists(shim):
        pytest.skip(f"{shim} is not built")
    return {"LD_PRELOAD": shim, "FSP_CLOCK_SHIFT": str(seconds)}


def test_a_clock_that_fell_to_2001_is_flagged_and_stops_nothing(programs, rig):
    back = shifted(programs, -24 * 365 * 86400)
    done = rig.enter("slip", f"at={AT.format(5, 0)}", "by=clerk", "length=30ft", env=back)
    assert "clock doubtful" in done.stderr
    assert rig.json("line")["ledger"]["doubtful_clock"] == 1
    assert rig.entries()[4]["noted"] < "2010"
    assert rig.json("check")["state"] == "sound"


def test_a_new_store_with_a_fallen_clock_says_so(programs, rig_of):
    rig = rig_of()
    back = shifted(programs, -24 * 365 * 86400)
    refused(rig, lambda **kw: rig.enter("slip", f"at={AT.format(5, 0)}", "by=clerk", "length=30ft",
                                        env=back, **kw), 1, r"more than 24 h.*or the clock", 0)


def test_a_receipt_mends_what_a_fallen_clock_knows_of_the_present(programs, office, rig, tmp_path):
    """The office's time is known from its receipt: nothing after it is taken for the future."""
    rig.run("carry", "--out", tmp_path / "h.fsb")
    office.run("take", tmp_path / "h.fsb", "--receipt", tmp_path / "h.receipt")
    rig.run("receipt", tmp_path / "h.receipt")
    back = shifted(programs, -24 * 365 * 86400)
    done = rig.enter("slip", f"at={AT.format(5, 0)}", "by=clerk", "length=30ft", env=back)
    assert "clock doubtful" in done.stderr


# --- bundles -----------------------------------------------------------------------------------

@pytest.fixture()
def bundle(rig, tmp_path):
    rig.run("carry", "--out", tmp_path / "h.fsb")
    return tmp_path / "h.fsb"


def held(office):
    return [r["size"] or 0 for r in office.json("fleet")]


def refuse_file(office, path, pattern, receipt, status=1):
    done = office.run("take", path, "--receipt", receipt, status=status)
    assert re.search(pattern, done.stderr), done.stderr
    assert sum(held(office)) == 0
    office.run("check")


def test_a_truncated_bundle_is_refused_and_the_whole_one_taken_after(office, rig, bundle, tmp_path):
    whole = bundle.read_bytes()
    for n in sorted({*range(0, len(whole), 43), len(whole) - 1}):
        (tmp_path / "t.fsb").write_bytes(whole[:n])
        refuse_file(office, tmp_path / "t.fsb", r"t\.fsb: .*(cut short|not a bundle|empty)",
                    tmp_path / f"{n}.receipt")
    office.run("take", bundle, "--receipt", tmp_path / "h.receipt")
    assert held(office) == [4]


def test_a_bundle_with_any_flipped_byte_is_refused(office, bundle, tmp_path):
    whole = bundle.read_bytes()
    for i, changed in drive.flips(whole, 19, lambda i: i < 20):
        (tmp_path / "f.fsb").write_bytes(changed)
        refuse_file(office, tmp_path / "f.fsb", r"f\.fsb: ", tmp_path / f"{i}.receipt")
    office.run("take", bundle, "--receipt", tmp_path / "h.receipt")
    assert held(office) == [4]


def test_a_bundle_for_another_office_is_refused_by_name(programs, bundle, tmp_path):
    other = drive.Office(programs, tmp_path / "O2").init()
    refuse_file(other, bundle, r"403.*another office.*invitation", tmp_path / "o.receipt")


def test_what_is_no_bundle_is_refused(office, tmp_path):
    for name, data in (("empty.fsb", b""), ("text.fsb", b"at,kind\n"), ("zero.fsb", bytes(5000))):
        (tmp_path / name).write_bytes(data)
        refuse_file(office, tmp_path / name, re.escape(name), tmp_path / (name + ".receipt"))


def test_a_receipt_that_was_changed_is_not_believed(office, rig, bundle, tmp_path):
    office.run("take", bundle, "--receipt", tmp_path / "h.receipt")
    whole = (tmp_path / "h.receipt").read_bytes()
    # What the office says it knows stands behind the receipt, unsigned: formats.md, section 12.
    at = whole.index(b"knows ")
    for _, changed in drive.flips(whole[:at], 29):
        (tmp_path / "f.receipt").write_bytes(changed + whole[at:])
        done = rig.run("receipt", tmp_path / "f.receipt", status=None)
        assert done.returncode in (1, 2), done
        assert done.stderr.startswith("farspool-rig: ")
        assert rig.json("check")["receipted"] == 0
    rig.run("receipt", tmp_path / "h.receipt")
    assert rig.json("check")["receipted"] == 4


def test_another_key_with_a_used_invitation_is_refused(programs, office, rig, bundle, tmp_path):
    office.run("take", bundle, "--receipt", tmp_path / "h.receipt")
    thief = drive.Rig(programs, "heron", tmp_path / "thief").init(tmp_path / "heron.invitation")
    thief.enter("slip", f"at={AT.format(5, 0)}", "by=clerk", "length=30ft")
    thief.run("carry", "--out", tmp_path / "t.fsb")
    done = office.run("take", tmp_path / "t.fsb", "--receipt", tmp_path / "t.receipt", status=1)
    assert re.search(r"403.*invitation was used.*ask for a new one", done.stderr), done.stderr
    done = thief.run("receipt", tmp_path / "t.receipt", status=2)
    assert "no receipt" in done.stderr
    assert thief.json("check")["receipted"] == 0
    mine, theirs = drive.same_records(office, rig)
    assert mine == theirs and mine[0] == 4


def test_an_invitation_that_was_changed_makes_no_store(programs, office, tmp_path):
    invitation = tmp_path / "h.invitation"
    office.invite("heron", invitation)
    text = invitation.read_text()
    for bad in (text[: len(text) // 2], "", "hello\n", text.replace("heron", "her on", 1)):
        invitation.write_text(bad)
        done = programs.run("rig", "init", "--store", tmp_path / "R", "--invitation", invitation,
                            status=None)
        assert done.returncode == 1, (bad, done)
        assert "invitation" in done.stderr
        assert not (tmp_path / "R" / "rig.key").exists()


# --- stores ------------------------------------------------------------------------------------

def raise_version(path):
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()


def test_stores_of_a_newer_version_are_left_alone(office, rig, bundle):
    raise_version(os.path.join(rig.store, "journal.db"))
    raise_version(os.path.join(office.store, "shelf.db"))
    before = open(os.path.join(rig.store, "journal.db"), "rb").read()
    newer = r"newer version of Farspool \(schema 99.*use the newer program"
    for done in (rig.run("print", status=1), rig.run("carry", "--out", "/dev/null", status=1),
                 rig.enter("slip", f"at={AT.format(5, 0)}", "by=clerk", "length=30ft", status=1),
                 office.run("fleet", status=1), office.run("take", bundle, status=1)):
        assert re.search(newer, done.stderr), done.stderr
    assert open(os.path.join(rig.store, "journal.db"), "rb").read() == before


def test_a_store_that_is_not_there_or_no_store_is_named(programs, tmp_path):
    (tmp_path / "empty").mkdir()
    for store in (tmp_path / "none", tmp_path / "empty"):
        for name, command in (("rig", "line"), ("office", "fleet")):
            done = programs.run(name, command, "--store", store, status=None)
            assert done.returncode == 1, done
            assert str(store) in done.stderr and "init" in done.stderr, done.stderr


def test_init_does_not_touch_what_is_there(programs, office, rig, tmp_path):
    done = office.run("init", "--fleet", "lantern-basin", status=None)
    assert done.returncode in (1, 64) and "already" in done.stderr, done
    done = programs.run("rig", "init", "--store", rig.store, "--invitation",
                        tmp_path / "heron.invitation", status=None)
    assert done.returncode in (1, 64) and "already" in done.stderr, done
    assert rig.size() == 4


def test_usage_errors_exit_64_and_change_nothing(programs, rig):
    for args in ((), ("fly",), ("line", "--stroe", rig.store), ("take", "--store", rig.store),
                 ("enter", "--store", rig.store), ("print", "--store", rig.store, "x"),
                 ("enter", "slip", "--store", rig.store, "length")):
        done = programs.run("rig", *args, status=64)
        assert done.stderr and not done.stdout, done
    assert rig.size() == 4
