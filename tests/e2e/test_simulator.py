"""The simulator itself: its arithmetic against published examples, its seasons against themselves."""

import random

import pytest
import season
import trade

SEED = 21


@pytest.fixture(scope="module")
def fleet():
    return season.season(SEED)


def test_its_arithmetic_gives_the_published_examples():
    # Lapeyrouse, Formulas and Calculations, 2nd ed., p. 44: 53.7 ton-miles.
    b = trade.buoyancy(9.6)
    wm = 13.3 * b
    assert trade.trip(4000, 60, wm, 15000, 300 * 83 * b - 300 * wm) == pytest.approx(53.7, abs=0.05)
    # API RP 9B, 14th ed., addendum 1: 3.9 with the factor rounded to .123.
    assert trade.design_factor(192000, 400000, 10) == pytest.approx(3.9, abs=0.05)
    # API RP 9B, figure 1: fast-line factors, roller bearings.
    for lines, factor in ((6, .191), (8, .149), (10, .123), (12, .107), (14, .095)):
        assert 1 / (lines * trade.efficiency(lines)) == pytest.approx(factor, abs=6e-4)
    # Common practice: 80 % of the service at design factor 4.
    assert trade.service(4) == 0.8
    # One ton-mile is 14.31744 MJ and 1.459972 tonne-km (exact factors of NIST SP 811).
    assert trade.TON_MILE_J == pytest.approx(14.31744e6, rel=1e-6)
    assert trade.ton_miles("1.459972tonne-km") == pytest.approx(1, rel=1e-6)
    # ISO 2408, from memory, verify: 35 mm 1960 is 192,157 lb.
    assert trade.strength("35mm", "1960") == pytest.approx(192157, abs=1)


def test_the_same_seed_gives_the_same_season_and_another_another(fleet):
    again = season.season(SEED, rigs=["heron"])["heron"]
    assert [again.typed(r) for r in again.records] == [
        fleet["heron"].typed(r) for r in fleet["heron"].records]
    other = season.season(SEED + 1, 20, ["heron"])["heron"]
    assert other.records != again.records[:len(other.records)]


def test_a_season_is_as_long_and_as_full_as_it_says(fleet):
    assert sum(len(r.records) for r in fleet.values()) >= 4000
    for rig in fleet.values():
        assert len(rig.sheets()) >= 128
        assert sum(len(rows) for rows in rig.sheets().values()) == len(rig.records)
        assert len(rig.truth()["cuts"]) >= 8


@pytest.mark.parametrize("seed", (SEED, 22, 23, 24))
def test_each_rig_keeps_its_nature(seed):
    for name, rig in season.season(seed).items():
        cuts = rig.truth()["cuts"]
        early = [c for c in cuts if c["early"] and c["eligible"]]
        planned = [c for c in cuts if c["planned"]]
        assert bool(early) == (rig.nature == "early"), (seed, name)
        assert bool(planned) == (rig.nature == "planned"), (seed, name)
        if rig.nature == "early":
            assert sum(c["early"] for c in [c for c in cuts if c["eligible"]][-6:]) >= 3, seed
        if rig.nature == "wear-left":
            assert all(c["condition"] == "wear-left" for c in cuts)
        for c in cuts:  # nothing sits so near the limit that rounding decides
            part = c["served_ton_miles"] / c["length_ft"] * c["programme_ft"] / c["goal_ton_miles"]
            assert not c["early"] or abs(part - trade.EARLY) > 1e-6


def test_records_come_in_order_and_no_two_share_a_minute_kind_and_op(fleet):
    for rig in fleet.values():
        minutes = [r["_t"] for r in rig.records]
        assert minutes == sorted(minutes)
        assert len({(r["_t"], r["kind"], r.get("op")) for r in rig.records}) == len(minutes)
        jobs = {r["_t"] for r in rig.records if r["kind"] in ("slip", "cut")}
        assert not jobs & {r["_t"] for r in rig.records if r["kind"] == "work"}


def test_the_bit_is_always_where_the_last_record_left_it(fleet):
    for rig in fleet.values():
        bit = None
        for r in rig.records:
            at, after = depths(r)
            if r["kind"] in ("well", "state"):
                bit = None
            if at is not None and bit is not None:
                assert abs(at - bit) < 0.1, r
            if after is not None:
                bit = after


def depths(r):
    """Where the record finds the bit and where it leaves it, ft; None where it does not say."""
    if r["kind"] == "tour":
        bit = trade.feet(r["bit-depth"]) if "bit-depth" in r else None
        return bit, bit
    if r["kind"] != "work" or r["op"] == "moves":
        return None, None
    if r["op"] == "casing":
        return 0.0, 0.0
    if r["op"] == "round-trip":
        return trade.feet(r["depth"]), trade.feet(r["depth"])
    start, end = trade.feet(r["from"]), trade.feet(r["to"])
    return (start, start) if r["op"] == "short-trip" else (start, end)


def test_sheets_taken_in_any_order_give_the_same_account(rig_of, tmp_path):
    """Late sheets: twelve days in order, and the same days shuffled on another rig's store."""
    import programs as drive
    sim = season.season(SEED, 12, ["plover"])["plover"]
    days = [(d, [r for r in rows if r["kind"] != "amend"]) for d, rows in sim.sheets().items()]
    records = [r for _, rows in days for r in rows]
    truth = trade.account(records).totals()
    shuffled = days[1:]
    random.Random(SEED).shuffle(shuffled)
    for order, store in ((days, "in-order"), (days[:1] + shuffled, "shuffled")):
        rig = rig_of("plover", store=store)
        for day, rows in order:
            (tmp_path / f"{day}.csv").write_text(season.as_csv(rows))
            rig.run("take", tmp_path / f"{day}.csv")
        ledger = rig.json("line")["ledger"]
        assert not drive.differences(truth, ledger), store
