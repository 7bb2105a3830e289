"""Day sheets: whole or refused, matched as a multiset, every fault named by line."""

import json
import re

import pytest

import season

HEADER = "at,kind,by,op,depth,length,note\n"
TRIP = "2025-03-01T{:02}:00Z,work,driller-a,round-trip,{}ft,,{}\n"


@pytest.fixture()
def rig(rig_of, begin):
    return begin(rig_of())


@pytest.fixture()
def take(rig, tmp_path):
    """take(text, status): take a sheet of that text."""
    def do(text, status=0, name="sheet.csv", *options):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return rig.run("take", path, *options, status=status)
    return do


def trips(hours, depth=9000):
    return "".join(TRIP.format(h, depth, "") for h in hours)


def test_a_byte_order_mark_crlf_and_quotes_are_understood(rig, take):
    text = "\ufeff" + HEADER + TRIP.format(5, 9000, '"said ""slow"", twice"')
    take(text.replace("\n", "\r\n"))
    assert rig.entries()[4]["note"] == 'said "slow", twice'


@pytest.mark.parametrize("row, pattern", (
    ("2025-03-01T05:00Z,work,a,round-trip,\"9000,5ft\",,", r"line 2, field depth: .*comma"),
    ("2025-03-01T05:00Z,work,a,round-trip,9000,5ft,,", r"line 2: 8 cells.*header names 7"),
    ("2025-03-01T05:00Z,work,a,round-trip,9000kg,,", r"line 2, field depth: .*load"),
    ("2025-03-01T05:00Z,slip,a,,,-30ft,", r"line 2, field length: .*above zero"),
    ("2999-03-01T05:00Z,slip,a,,,30ft,", r"line 2, field at: .*24 h"),
    ("2025-03-01T05:00Z,work,a,round-trip,9000ft,,\"open", r"line 2: a quote is opened"),
    ("2025-03-01T05:00Z,work,a,round-trip,9000ft,,\0", r"line 2: a zero byte"),
    ("2025-03-01T05:00Z,work,a,round-trip,9000ft,,\x1b[2J", r"line 2, field note: .*control"),
))
def test_a_bad_row_refuses_the_whole_sheet_by_line_and_field(rig, take, row, pattern):
    done = take(HEADER + row + "\n" + trips([6, 7]), 1)
    assert re.search(r"sheet\.csv: " + pattern, done.stderr), done.stderr
    assert rig.size() == 4


@pytest.mark.parametrize("text, pattern", (
    ("at;kind;by\n2025-03-01T05:00Z;slip;a\n", r"line 1: .*semicolons.*commas"),
    ("at,kind,by,lenght\n", r"line 1: column 'lenght'.*did you mean length"),
    ("at,by,length\n", r"line 1: .*no column named kind"),
    ("at,kind,kind\n", r"line 1: column kind is named twice"),
    ("", r"line 1: the sheet is empty"),
    (b"\xff\xfea\0t\0", r"line 1: .*UTF-16.*UTF-8"),
))
def test_a_bad_header_is_refused_with_advice(rig, take, text, pattern):
    done = take(text, 1)
    assert re.search(pattern, done.stderr), done.stderr
    assert rig.size() == 4


def test_a_line_of_100_mb_is_refused_without_being_held(rig, tmp_path):
    path = tmp_path / "long.csv"
    with open(path, "wb") as f:
        f.write(HEADER.encode())
        f.truncate(100 * 1000 * 1000)
    done = rig.run("take", path, status=1)
    assert re.search(r"long\.csv: larger than the limit of \d+ bytes", done.stderr), done.stderr
    with open(path, "wb") as f:
        f.write(HEADER.encode() + b"x" * 5_000_000)
    done = rig.run("take", path, status=1)
    assert re.search(r"long\.csv: line 2: longer than", done.stderr), done.stderr
    assert rig.size() == 4


def test_yesterday_s_sheet_plus_five_rows_adds_five(rig, take):
    yesterday = HEADER + trips(range(5, 12))
    take(yesterday)
    done = take(yesterday + trips(range(12, 17)))
    assert re.search(r"5 added.*7 already there", done.stdout), done.stdout
    assert rig.size() == 4 + 12
    done = take(yesterday + trips(range(12, 17)))
    assert re.search(r"0 added.*12 already there", done.stdout), done.stdout
    assert rig.size() == 4 + 12


def test_yesterday_s_sheet_with_one_row_corrected_names_the_entry_to_amend(rig, take):
    take(HEADER + trips(range(5, 12)))
    corrected = HEADER + trips(range(5, 8)) + TRIP.format(8, 8000, "") + trips(range(9, 13))
    done = take(corrected, 1)
    assert re.search(r"line 5.*entry 7\b.*amend", done.stderr), done.stderr
    assert rig.size() == 4 + 7, "nothing of the file is kept"
    rig.enter("amend", "at=2025-03-02T00:00:00Z", "by=clerk", "entry=7", "reason=misread",
              'set={"depth":"8000ft"}')
    take(corrected.replace("8000ft", "9000ft"))
    assert rig.size() == 4 + 7 + 1 + 1


def test_a_second_row_of_the_same_time_kind_and_op_is_taken_on_request(rig, take):
    take(HEADER + trips([5]))
    take(HEADER + TRIP.format(5, 8000, ""), 1)
    take(HEADER + TRIP.format(5, 8000, ""), 0, "sheet.csv", "--also")
    assert rig.size() == 4 + 2


def test_two_truly_identical_trips_in_one_file_are_two(rig, take):
    twice = HEADER + trips([5, 5, 6])
    take(twice)
    assert rig.size() == 4 + 3
    take(twice)
    assert rig.size() == 4 + 3
    take(HEADER + trips([5, 5, 5, 6]))
    assert rig.size() == 4 + 4


def test_a_form_sent_twice_adds_once(rig):
    slip = ("slip", "at=2025-03-01T05:00:00Z", "by=clerk", "length=30ft", "--once", "T-1")
    first = rig.p.json("rig", "enter", "--store", rig.store, *slip)
    second = rig.p.json("rig", "enter", "--store", rig.store, *slip)
    assert (first["added"], second["added"]) == (True, False)
    assert first["entry"] == second["entry"] == 4
    assert rig.size() == 5


def test_json_lines_are_taken_as_csv_is(rig, take):
    row = {"at": "2025-03-01T05:00:00Z", "kind": "work", "by": "driller-a", "op": "round-trip",
           "depth": "9000ft"}
    take(json.dumps(row) + "\n", 0, "sheet.jsonl")
    done = take(HEADER + trips([5]))
    assert re.search(r"0 added.*1 already there", done.stdout), done.stdout
    done = take(json.dumps(row) + "\n" + json.dumps(dict(row, depth=9000)) + "\n", 1, "bad.jsonl")
    assert re.search(r"bad\.jsonl: line 2, field depth: .*quotes", done.stderr), done.stderr
    done = take('{"at":"x"', 1, "cut.jsonl")
    assert re.search(r"cut\.jsonl: line 1", done.stderr), done.stderr
    assert rig.size() == 5


def test_one_file_refused_does_not_stop_the_others(rig, tmp_path):
    for name, text in (("a.csv", HEADER + trips([5])), ("b.csv", HEADER + "x\n"),
                       ("c.csv", HEADER + trips([6]))):
        (tmp_path / name).write_text(text)
    done = rig.run("take", tmp_path / "a.csv", tmp_path / "b.csv", tmp_path / "c.csv", status=1)
    assert "b.csv: line 2" in done.stderr and done.stderr.count("farspool-rig:") == 1
    assert [e["at"][11:13] for e in rig.entries()[4:]] == ["05", "06"]


def test_the_zone_given_makes_local_times_utc(rig, take):
    take("at,kind,by,length\n2025-03-01 06:30,slip,clerk,30ft\n", 0, "l.csv", "--zone", "-03:00")
    assert rig.entries()[4]["at"] == "2025-03-01T09:30:00Z"


def test_sheets_of_csv_and_json_lines_make_the_same_entries(rig_of, begin, tmp_path):
    """Ten days of a simulated rig, once in each form: the same records but for `noted`."""
    sim = season.season(3, 10, ["heron"])["heron"]
    stored = []
    for form, write in (("csv", season.as_csv), ("jsonl", season.as_jsonl)):
        rig = rig_of("heron", store=form)
        for day, rows in sim.sheets().items():
            (tmp_path / f"{day}.{form}").write_text(write(rows))
            rig.run("take", tmp_path / f"{day}.{form}")
        entries = rig.entries()
        for e in entries:
            del e["noted"]
            e.pop("entry", None)  # names the log
        stored.append(entries)
    assert stored[0] == stored[1]
    assert len(stored[0]) == len(sim.records)
