"""What a fold leaves behind, failed and killed at every durable step: it is written or it is not, and
no figure and no record hangs on it."""

import json
import shutil
import sqlite3

from test_io_faults import each_fault, fleet, office, rig, rig_state  # noqa: F401

AS_OF = ("--as-of", "2026-04-01T00:00:00Z")


def days(path):
    """Enough work that keeping is worth while, with a cut in it."""
    rows = [{"kind": "reel", "at": "2026-03-10T00:00:00Z", "reel": "R-1", "rope": "1-3/8in",
             "grade": "EIPS", "received": "7500ft", "strung": "1400ft", "lines": 10}]
    for i in range(96):
        rows.append({"kind": "work", "op": "round-trip", "depth": f"{6000 + i}ft",
                     "at": f"2026-03-{11 + i // 8:02}T{i % 8 * 3:02}:00:00Z"})
    rows.append({"kind": "cut", "length": "90ft", "reason": "goal", "slipped": "90ft",
                 "at": "2026-03-23T00:00:00Z"})
    path.write_text("".join(json.dumps(dict(r, by="clerk")) + "\n" for r in rows))
    return path


def ledger(done):
    return json.loads(done.stdout)["ledger"]


def kept(database):
    with sqlite3.connect(database) as db:
        return db.execute("SELECT count(*) FROM folded").fetchone()[0]


def test_an_account_stands_whatever_fails_while_it_is_kept(fleet):  # noqa: F811
    rig(fleet / "rig", "take", days(fleet / "days.jsonl"))
    shutil.copytree(fleet / "rig", fleet / "base")
    state = rig_state(fleet / "base")
    want = ledger(rig(fleet / "rig", "line", "--json", *AS_OF))
    assert kept(fleet / "rig" / "journal.db") == 2

    def after(copy, done):
        if done.returncode == 0:
            assert ledger(done) == want
        assert ledger(rig(copy, "line", "--json", *AS_OF)) == want
        assert ledger(rig(copy, "line", "--json", *AS_OF)) == want
        assert kept(copy / "journal.db") == 2
        assert rig_state(copy) == state

    each_fault(fleet, lambda copy, **kw: rig(copy, "line", "--json", *AS_OF, **kw), after, 2)


def test_the_fleet_stands_whatever_fails_while_it_is_kept(fleet):  # noqa: F811
    rig(fleet / "rig", "take", days(fleet / "days.jsonl"))
    rig(fleet / "rig", "carry", "--out", fleet / "all.fsb")
    office(fleet / "office", "take", fleet / "all.fsb")
    shutil.copytree(fleet / "office", fleet / "base")
    want = ledger(office(fleet / "office", "rig", "heron", "--json", *AS_OF))
    assert kept(fleet / "office" / "shelf.db") == 2

    def after(copy, done):
        if done.returncode == 0:
            assert ledger(done) == want
        for _ in range(2):
            assert ledger(office(copy, "rig", "heron", "--json", *AS_OF)) == want
        assert kept(copy / "shelf.db") == 2
        assert json.loads(office(copy, "check", "--json").stdout)["good"]

    each_fault(fleet, lambda copy, **kw: office(copy, "rig", "heron", "--json", *AS_OF, **kw), after, 2)
