"""A month of the simulated fleet through the real programs, held against the simulator's truth."""

import csv
import io
import json
import random

import pytest
import season

import programs as drive

SEED = 5
DAYS = 30


@pytest.fixture(scope="module")
def month(tmp_path_factory):
    """(folder of the day sheets, truth)"""
    folder = tmp_path_factory.mktemp("season")
    return folder, season.write(season.season(SEED, DAYS), folder, SEED, DAYS)


@pytest.fixture(scope="module")
def fleet(programs, month, tmp_path_factory):
    """The office and its rigs after that month behind a bad link."""
    sheets, _ = month
    folder = tmp_path_factory.mktemp("fleet")
    print(f"seed {SEED}")
    office = drive.Office(programs, folder / "O").init()
    office.serve()
    rigs = {}
    try:
        with drive.LinkProxy(office.address, drive.Link(
                seed=SEED, delay_ms=10, rate_bps=1e6, cut_chance=0.2, outage_chance=0.2,
                outage_ms=100)) as link:
            for name in season.RIGS:
                invitation = office.invite(name, folder / f"{name}.invitation", link.url)
                rigs[name] = drive.Rig(programs, name, folder / name).init(invitation)
                send(rigs[name], sorted((sheets / name).iterdir()))
        yield office, rigs
    finally:
        office.stop()


def send(rig, files):
    """Take the sheets a few at a time and push each time; the last push waits until all is over."""
    r = random.Random(f"{SEED} {rig.name}")
    while files:
        n = r.randrange(2, 9)
        rig.run("take", *files[:n])
        files = files[n:]
        rig.run("push", "--patience", 60 if not files else 5, status=(0, 69) if files else 0)


def test_the_office_holds_exactly_the_rigs_records(fleet, month):
    office, rigs = fleet
    for name, rig in rigs.items():
        mine, theirs = drive.same_records(office, rig)
        assert mine == theirs
        assert mine[0] == month[1]["rigs"][name]["records"]
    office.run("check")


def test_the_ledgers_of_both_ends_agree_to_the_bit_and_with_the_truth(fleet, month):
    office, rigs = fleet
    truth = month[1]
    for name, rig in rigs.items():
        mine, theirs = drive.ledgers(office, rig, truth["as_of"])
        assert mine == theirs, name
        assert not drive.differences(truth["rigs"][name], json.loads(mine)), name


def test_the_same_sheets_again_add_nothing(fleet, month):
    _, rigs = fleet
    for name, rig in rigs.items():
        before = rig.size()
        done = rig.json("take", *sorted((month[0] / name).iterdir()))
        assert sum(f["added"] for f in done) == 0
        assert sum(f["skipped"] for f in done) == before == rig.size()


def test_every_rig_is_in_every_table(fleet, month):
    office, rigs = fleet
    as_of = ("--as-of", month[1]["as_of"])
    assert {r["rig"] for r in office.json("fleet", *as_of)} == set(rigs)
    rows = list(csv.reader(io.StringIO(office.run("fleet", "--csv", *as_of).stdout)))
    assert len(rows) == 1 + len(rigs) and len({len(r) for r in rows}) == 1
    plain = office.run("fleet", *as_of).stdout
    page = office.page()
    for name in rigs:
        assert name in plain and name in page


def test_an_inspection_of_each_rig_proves(programs, fleet, tmp_path):
    office, rigs = fleet
    for name, rig in rigs.items():
        n = max(i for i, e in enumerate(rig.entries()) if e["kind"] == "inspection")
        office.run("prove", name, n, "--out", tmp_path / name)
        record = tmp_path / name / f"{n}.record.json"
        assert programs.json("audit", "verify", record)["verified"] is True
        for part in (record, record.with_name(f"{n}.tlog-proof")):
            whole = part.read_bytes()
            for i, changed in drive.flips(whole, 53):
                part.write_bytes(changed)
                done = programs.run("audit", "verify", record, status=2)
                assert "VERIFIED" not in done.stdout.replace("NOT VERIFIED", ""), i
            part.write_bytes(whole)
