"""Views for other tools: every example of docs/sql-views.md runs while the office serves."""

import json
import re
import shutil
import sqlite3

import pytest
from conftest import TESTS

import programs as drive

PAGE = (TESTS.parent / "docs/sql-views.md").read_text()
SQL = re.findall(r"```sql\n(.*?)```", PAGE, re.S)
PYTHON = re.findall(r"```python\n(.*?)```", PAGE, re.S)
COLUMNS = dict(re.findall(r"^\| `(v_\w+)` \| [^|]+ \| (.*) \|$", PAGE, re.M))


def read_only(store):
    return sqlite3.connect(f"file:{store}/shelf.db?mode=ro", uri=True)


@pytest.fixture(scope="module")
def office(programs, tmp_path_factory):
    folder = tmp_path_factory.mktemp("views")
    office = drive.Office(programs, folder / "office").init()
    rig = drive.Rig(programs, "heron", folder / "heron").init(
        office.invite("heron", folder / "heron.invitation"))
    rig.enter("rig", "at=2026-03-01T00:00:00Z", "by=clerk", "mast=142ft", "drum=30in",
              "block=47000lb")
    rig.enter("reel", "at=2026-03-01T01:00:00Z", "by=clerk", "reel=A-17", "rope=1-3/8in",
              "grade=EIPS", "received=7500ft", "strung=1800ft", "lines=10")
    rig.enter("work", "at=2026-03-02T06:00:00Z", "by=clerk", "op=round-trip", "depth=9000ft",
              "pipe=19.5lb/ft", "stand=93ft", "bha-weight=45000lb", "bha-length=600ft",
              "mud=10ppg")
    rig.enter("slip", "at=2026-03-03T06:00:00Z", "by=clerk", "length=30ft")
    rig.enter("cut", "at=2026-03-04T06:00:00Z", "by=clerk", "length=90ft", "reason=goal",
              "dead-wraps=12", "note==1+1")
    rig.enter("inspection", "at=2026-03-05T06:00:00Z", "by=clerk",
              f"fleet={drive.FLEET}", "rig=heron", "reel=A-17", "inspector=k-ode",
              "scope=slip-cut", "decision=cut", "cut-to=100ft",
              'places=[{"place":"fast-line sheave","broken-wires":4}]')
    rig.enter("amend", "at=2026-03-06T06:00:00Z", "by=clerk", "entry=4", "reason=taped again",
              'set={"length":"95ft"}')
    rig.run("carry", "--out", folder / "heron.fsb")
    office.run("take", folder / "heron.fsb")
    with office.serving():
        yield office


def rows_of(store, sql):
    shelf = read_only(store)
    try:
        return shelf.execute(sql).fetchall()
    finally:
        shelf.close()


@pytest.mark.parametrize("sql", SQL)
def test_every_example_runs_while_the_office_serves(office, sql):
    rows = rows_of(office.store, sql)
    assert rows or "readable = 0" in sql


def test_the_python_example_runs(office, capsys):
    assert len(PYTHON) == 1
    exec(PYTHON[0].replace("STORE", office.store))
    assert capsys.readouterr().out == "heron 1\n"


def test_every_view_is_described_with_its_columns(office):
    shelf = read_only(office.store)
    names = {n for (n,) in shelf.execute("SELECT name FROM sqlite_schema WHERE type = 'view'")}
    assert names == set(COLUMNS)
    for name, said in COLUMNS.items():
        have = [c[0] for c in shelf.execute(f"SELECT * FROM {name} LIMIT 0").description]
        for column in have:
            assert column in ("rig", "origin", "log", "idx", "at", "by") or column in said
    shelf.close()


def test_views_show_what_was_entered_and_work_nothing_out(office):
    (cut,) = rows_of(office.store, "SELECT length, reason, dead_wraps, note FROM v_cut")
    assert cut == ("90ft", "goal", "12", "=1+1")
    (json_text, readable) = rows_of(
        office.store, "SELECT json, readable FROM v_entry WHERE kind = 'cut'")[0]
    assert readable == 1 and json.loads(json_text)["note"] == "=1+1"
    (size,) = rows_of(office.store, "SELECT size FROM v_log")[0]
    assert size == office.json("rig", "heron")["size"]
    (amended,) = rows_of(office.store, "SELECT entry_idx, fields, voids FROM v_amend")
    assert amended == (4, '{"length":"95ft"}', 0)


def test_a_reader_cannot_write(office):
    shelf = read_only(office.store)
    with pytest.raises(sqlite3.OperationalError):
        shelf.execute("DELETE FROM fork")
    with pytest.raises(sqlite3.OperationalError):
        shelf.execute("DROP VIEW v_cut")
    shelf.close()


HOSTILE = [b"", b"\x00", b"{", b'{"kind":"cut"', b"\xff\xfe", b'{"kind":"cut"}\x00}', b"[1]", b"null",
           b'"cut"', b'{"kind":["cut"]}', b'{"kind":"inspection","places":"x","defects":{}}',
           b'{"kind":"amend","entry":7,"set":"x"}', b'{"kind":"cut","length":{"a":1}}',
           b"[" * 5000, b'{"kind":"cut","note":"\xed\xa0\x80"}', b'{"kind":5}',
           b'{"kind":"cut","note":"\xe2\x82A"}', b'{"kind":"cut","note":"\\uD800"}',
           b'{"kind":"cut","note":"C:\\\\udata"}', '{"kind":"cut","note":"\u00e9"}'.encode(),
           '{"kind":"cut","note":"\u26a0\U0001d6d1"}'.encode(), b'{"kind":"cut","note":"\xc3"}']
READABLE = [0] * 9 + [1, 1, 1, 1, 0, 0, 1, 0, 0, 1, 1, 1, 0]


def test_views_survive_what_cannot_be_read(office, tmp_path):
    shelf, copy = read_only(office.store), sqlite3.connect(tmp_path / "shelf.db")
    shelf.backup(copy)
    shelf.close()
    (first,) = copy.execute("SELECT max(idx) + 1 FROM entry").fetchone()
    for i, entry in enumerate(HOSTILE):
        copy.execute("INSERT INTO entry(log, idx, bytes) VALUES(1, ?, ?)", (first + i, entry))
    copy.commit()
    for name in COLUMNS:
        copy.execute(f"SELECT * FROM {name}").fetchall()
    for sql in SQL:
        copy.execute(sql).fetchall()
    seen = dict(copy.execute("SELECT idx, readable FROM v_entry WHERE idx >= ?", (first,)))
    assert [seen[first + i] for i in range(len(HOSTILE))] == READABLE
    copy.close()


def test_check_finds_a_view_that_says_something_else(office, tmp_path):
    store = tmp_path / "office"
    shutil.copytree(office.store, store, ignore=shutil.ignore_patterns("shelf.db*"))
    shelf = read_only(office.store)
    copy = sqlite3.connect(store / "shelf.db")
    shelf.backup(copy)
    shelf.close()
    copy.execute("PRAGMA journal_mode=WAL")
    office.p.run("office", "check", "--store", store)
    copy.execute("DROP VIEW v_slip")
    copy.execute("CREATE VIEW v_slip AS SELECT * FROM v_cut")
    copy.commit()
    copy.close()
    done = office.p.run("office", "check", "--store", store, status=2)
    assert "v_slip" in done.stderr
