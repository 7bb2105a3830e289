"""The inbox of `run --once`: what is good is taken, what is bad is put aside with its reason."""

import os
import pathlib
import re

import pytest

GOOD = "at,kind,by,op,depth\n2025-03-02T{:02}:00:00Z,work,clerk,round-trip,9000ft\n"
BAD = "at,kind,by,length\n2025-03-02T10:00:00Z,slip,clerk,30kg\n"


@pytest.fixture()
def rig(rig_of, begin):
    return begin(rig_of())


@pytest.fixture()
def inbox(rig):
    return pathlib.Path(rig.store) / "inbox"


def names(folder):
    return sorted(p.name for p in folder.iterdir() if p.is_file())


def test_sheets_are_taken_in_order_of_their_names_and_put_aside(rig, inbox):
    (inbox / "2.csv").write_text(GOOD.format(12))
    (inbox / "1.csv").write_text(GOOD.format(6))
    done = rig.run("run", "--once")
    assert re.findall(r"event=took file=(\S+) added=1 there=0", done.stdout) == ["1.csv", "2.csv"]
    assert names(inbox) == [] and names(inbox / "taken") == ["1.csv", "2.csv"]
    assert [e["at"][11:13] for e in rig.entries()[4:]] == ["06", "12"]


def test_a_bad_sheet_is_put_aside_with_its_reason_and_the_others_are_taken(rig, inbox):
    (inbox / "1-bad.csv").write_text(BAD)
    (inbox / "2-good.csv").write_text(GOOD.format(6))
    done = rig.run("run", "--once", status=None)
    assert "level=warn event=refused file=1-bad.csv why=" in done.stderr, done
    assert len(done.stderr.splitlines()) == 1, done.stderr
    assert names(inbox) == []
    assert names(inbox / "taken") == ["2-good.csv"]
    assert names(inbox / "refused") == ["1-bad.csv", "1-bad.csv.reason"]
    assert (inbox / "refused/1-bad.csv").read_text() == BAD
    reason = (inbox / "refused/1-bad.csv.reason").read_text()
    assert re.search(r"1-bad\.csv: line 2, field length: '30kg' is a load", reason), reason
    assert rig.size() == 5


def test_the_same_name_again_overwrites_nothing(rig, inbox):
    for hour in (6, 12):
        (inbox / "day.csv").write_text(GOOD.format(hour))
        (inbox / "bad.csv").write_text(BAD.replace("T10", f"T{hour + 1:02}"))
        rig.run("run", "--once", status=None)
    assert names(inbox / "taken") == ["day.csv", "day.csv.2"]
    assert names(inbox / "refused") == [
        "bad.csv", "bad.csv.2", "bad.csv.2.reason", "bad.csv.reason"]
    assert rig.size() == 6


def test_a_sheet_dropped_twice_adds_nothing_the_second_time(rig, inbox):
    for _ in range(2):
        (inbox / "day.csv").write_text(GOOD.format(6))
        done = rig.run("run", "--once")
    assert "event=took file=day.csv added=0 there=1" in done.stdout
    assert rig.size() == 5


def test_what_is_not_finished_or_no_file_is_left_alone(rig, inbox, tmp_path):
    (inbox / "day.csv.part").write_text(GOOD.format(6)[:40])
    (inbox / ".hidden.csv").write_text(BAD)
    (inbox / "folder.csv").mkdir()
    (tmp_path / "outside.csv").write_text(GOOD.format(6))
    os.symlink(tmp_path / "outside.csv", inbox / "link.csv")
    os.mkfifo(inbox / "pipe.csv")
    done = rig.run("run", "--once")
    assert not done.stderr, done.stderr
    assert rig.size() == 4
    assert {p.name for p in inbox.iterdir()} == {
        "day.csv.part", ".hidden.csv", "folder.csv", "link.csv", "pipe.csv", "taken", "refused"}


def test_one_round_takes_and_pushes(office, serving, rig_of, begin):
    rig = begin(rig_of(url=serving.intake))
    inbox = pathlib.Path(rig.store) / "inbox"
    (inbox / "day.csv").write_text(GOOD.format(6))
    done = rig.run("run", "--once")
    assert "event=pushed records=5 bundles=1" in done.stdout
    assert office.json("rig", "heron")["root"] == rig.json("check")["root"]


def test_one_round_without_a_link_takes_the_sheets_and_exits_69(serving, rig_of, begin):
    rig = begin(rig_of(url=serving.intake))
    serving.stop()
    inbox = pathlib.Path(rig.store) / "inbox"
    (inbox / "day.csv").write_text(GOOD.format(6))
    done = rig.run("run", "--once", status=69)
    assert len(done.stderr.splitlines()) == 1, done.stderr
    assert names(inbox / "taken") == ["day.csv"]
    assert rig.json("check")["pending"] == 5


def test_a_name_meant_for_a_terminal_is_shown_harmless(rig, inbox):
    (inbox / "a\x1b[31mb\n.csv").write_text(BAD)
    done = rig.run("run", "--once", status=None)
    assert "\x1b" not in done.stdout + done.stderr, done
    assert len(done.stderr.splitlines()) == 1, done.stderr
    reasons = [p for p in (inbox / "refused").iterdir() if p.name.endswith(".reason")]
    assert len(reasons) == 1 and reasons[0].read_text().rstrip("\n").isprintable()


def test_a_hundred_files_at_once_are_all_taken_in_one_round(rig, inbox):
    for n in range(100):
        (inbox / f"{n:03}.csv").write_text(GOOD.format(n % 24).replace("03-02", f"03-{2 + n // 24:02}"))
    done = rig.run("run", "--once")
    assert re.findall(r"event=took file=(\d+).csv added=1", done.stdout) == [
        f"{n:03}" for n in range(100)]
    assert names(inbox) == [] and len(names(inbox / "taken")) == 100
    assert rig.size() == 104


def test_a_file_that_is_open_for_writing_is_left_until_it_is_closed(rig, inbox):
    with open(inbox / "day.csv", "w", encoding="ascii") as f:
        f.write(GOOD.format(6))
        f.flush()
        assert "took" not in rig.run("run", "--once").stdout
        f.write("2025-03-02T07:00:00Z,work,clerk,round-trip,9000ft\n")
    assert "added=2" in rig.run("run", "--once").stdout
    assert names(inbox) == [] and rig.size() == 6


def test_a_refused_file_and_its_reason_dropped_again_are_refused_again_and_no_more(rig, inbox):
    (inbox / "bad.csv").write_text(BAD)
    rig.run("run", "--once")
    for name in ("bad.csv", "bad.csv.reason"):
        os.rename(inbox / "refused" / name, inbox / name)
    done = rig.run("run", "--once")
    assert done.stderr.count("event=refused") == 1, done.stderr
    assert names(inbox) == ["bad.csv.reason"], "a reason is no sheet"
    assert names(inbox / "refused") == ["bad.csv", "bad.csv.reason"]


def test_a_very_long_name_is_cut_and_its_reason_is_beside_it(rig, inbox):
    name = "d" * 251 + ".csv"
    (inbox / name).write_text(BAD)
    (inbox / ("g" * 251 + ".csv")).write_text(GOOD.format(6))
    rig.run("run", "--once")
    assert names(inbox) == []
    refused = names(inbox / "refused")
    assert len(refused) == 2 and refused[1] == refused[0] + ".reason" and name.startswith(refused[0])
    assert len(names(inbox / "taken")) == 1 and rig.size() == 5


def test_files_that_cannot_be_moved_are_taken_once_said_once_and_hold_up_nothing(rig, inbox):
    os.rename(inbox / "taken", inbox / ".taken")
    (inbox / "taken").write_text("a file where the folder should be")
    os.utime(inbox / "taken", (2 ** 31, 2 ** 31))
    for hour in (6, 7):
        (inbox / f"{hour}.csv").write_text(GOOD.format(hour))
    for _ in range(2):
        done = rig.run("run", "--once", status=None)
        assert done.returncode == 1 and len(done.stderr.splitlines()) <= 2, done
        assert "its rows are in the log, but it cannot be moved away" in done.stderr
        assert rig.size() == 6
    (inbox / "taken").unlink(missing_ok=True)
    os.rename(inbox / ".taken", inbox / "taken")
    done = rig.run("run", "--once")
    assert done.stdout.count("added=0 there=1") == 2 and rig.size() == 6
