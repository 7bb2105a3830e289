"""What is kept of earlier folds changes no figure: whole, damaged, thrown away, or of fewer records."""

import csv
import io
import json
import random
import sqlite3
import urllib.error
import urllib.request

import programs as drive

AS_OF = ("--as-of", "2026-03-31T00:00:00Z")
SEED = 3


def sheet(path, days, first=1):
    """Four trips a day, a slip each second day, a cut each fifth, an inspection each fourth."""
    rows = []
    if first == 1:
        rows += [
            dict(kind="rig", mast="142ft", drum="30in", block="47000lb"),
            dict(kind="reel", reel="R-1", rope="1-3/8in", grade="EIPS", received="7500ft",
                 strung="1400ft", lines=10),
            {"kind": "drill-string", "pipe": "19.5lb/ft", "stand": "93ft", "mud": "10ppg",
             "bha-weight": "60000lb", "bha-length": "600ft"},
            {"kind": "program", "cut": "90ft", "first-goal": "900", "later-goal": "800"}]
        for row in rows:
            row["at"] = "2026-03-01T00:00:00Z"
    for day in range(first, first + days):
        for trip in range(4):
            rows.append(dict(kind="work", op="round-trip", depth=f"{6000 + day}ft",
                             at=f"2026-03-{day:02}T{2 + trip * 5:02}:00:00Z"))
        if day % 2 == 0:
            rows.append(dict(kind="slip", length="30ft", at=f"2026-03-{day:02}T20:00:00Z"))
        if day % 5 == 0:
            rows.append(dict(kind="cut", length="90ft", slipped="30ft", reason="goal",
                             at=f"2026-03-{day:02}T21:00:00Z"))
        if day % 4 == 0:
            rows.append(dict(kind="inspection", fleet="lantern-basin", rig="heron", reel="R-1",
                             inspector="k-ode", scope="monthly", decision="watch",
                             at=f"2026-03-{day:02}T22:00:00Z"))
    path.write_text("".join(json.dumps(dict(r, by="clerk")) + "\n" for r in rows))
    return path


def kept(database):
    with sqlite3.connect(database) as db:
        return db.execute("SELECT count(*) FROM folded").fetchone()[0]


def flip(database, r):
    """One bit of one stored state or of the marks."""
    with sqlite3.connect(database) as db:
        table, column = r.choice((("folded", "state"), ("marked", "marks")))
        row, blob = r.choice(db.execute(f"SELECT rowid, {column} FROM {table}").fetchall())
        blob = bytearray(blob)
        blob[r.randrange(len(blob))] ^= 1 << r.randrange(8)
        db.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (bytes(blob), row))


def forget(database):
    with sqlite3.connect(database) as db:
        db.executescript("DELETE FROM folded; DELETE FROM marked;")


def figures(office, rig):
    line = rig.json("line", *AS_OF)
    theirs = office.json("rig", rig.name, *AS_OF)
    assert line["ledger"] == theirs["ledger"]
    assert line["findings"] == theirs["findings"]
    assert line["inspections"] == theirs["inspections"][:1]
    return {"ledger": line["ledger"], "findings": line["findings"],
            "inspections": theirs["inspections"], "advice": theirs["advice"]}


def test_figures_stand_whatever_becomes_of_stored_states(programs, office, tmp_path):
    print(f"seed {SEED}")
    r = random.Random(SEED)
    rig = drive.Rig(programs, "heron", tmp_path / "R").init(
        office.invite("heron", tmp_path / "i"))
    stores = (tmp_path / "R" / "journal.db", tmp_path / "O" / "shelf.db")

    def courier():
        rig.run("carry", "--out", tmp_path / "b.fsb")
        office.run("take", tmp_path / "b.fsb", "--receipt", tmp_path / "r.receipt")
        rig.run("receipt", tmp_path / "r.receipt")

    rig.run("take", sheet(tmp_path / "1.jsonl", 20))
    courier()
    first = figures(office, rig)
    for store in stores:
        assert kept(store) >= 4
    assert figures(office, rig) == first
    for _ in range(12):
        for store in stores:
            flip(store, r)
        assert figures(office, rig) == first
    for store in stores:
        forget(store)
    assert figures(office, rig) == first
    for store in stores:
        flip(store, r)
    assert rig.json("check")["stored_states_damaged"] + office.json(
        "check")["stored_states_damaged"] > 0
    assert rig.json("check")["stored_states_damaged"] == 0
    assert figures(office, rig) == first

    # More days in order, a late trip, and an amendment of a cut.
    rig.run("take", sheet(tmp_path / "2.jsonl", 6, first=21))
    rig.enter("work", "op=round-trip", "depth=7000ft", "at=2026-03-09T01:00:00Z", "by=clerk")
    cut = next(i for i, e in enumerate(rig.entries()) if e["kind"] == "cut")
    rig.enter("amend", f"entry={cut}", "reason=mistyped", 'set={"length":"95ft"}',
              "at=2026-03-27T00:00:00Z", "by=clerk")
    courier()
    second = figures(office, rig)
    assert second != first
    for store in stores:
        forget(store)
    assert figures(office, rig) == second
    assert office.json("check")["good"] and not rig.json("check")["problems"]


def test_inspections_are_listed_as_unsigned_on_page_and_in_tables(programs, office, tmp_path):
    rig = drive.Rig(programs, "heron", tmp_path / "R").init(
        office.invite("heron", tmp_path / "i"))
    rig.run("take", sheet(tmp_path / "1.jsonl", 20))
    rig.run("carry", "--out", tmp_path / "b.fsb")
    office.run("take", tmp_path / "b.fsb", "--receipt", tmp_path / "r.receipt")
    assert "newest inspection: 2026-03-20 by k-ode says watch; unsigned" in rig.run(
        "line", *AS_OF).stdout
    rows = list(csv.DictReader(io.StringIO(
        office.run("rig", "heron", "--csv", "--inspections", *AS_OF).stdout)))
    assert [r["at"][:10] for r in rows] == [f"2026-03-{d:02}" for d in (20, 16, 12, 8, 4)]
    assert {r["signature"] for r in rows} == {"unsigned"}
    office.serve()
    page = office.page("/rig?name=heron")
    assert page.count('<span class="state plain">unsigned</span>') == 5
    assert "5 of 5 inspections. No roster of inspectors" in page
    assert 'href="/rig?name=heron"' in office.page()
    for query, code in (("", 400), ("?name=", 400), ("?name=plover", 404), ("?name=%3Cb%3E", 400)):
        try:
            urllib.request.urlopen(office.pages + "/rig" + query, timeout=30)
            raise AssertionError(query)
        except urllib.error.HTTPError as error:
            assert error.code == code, query
