"""What a person sees: the formula on entry, the account on one screen, the best lengths to cut."""

import pytest

GEOMETRY = ("crown=145ft", "pick-low=6ft", "pick-high=98ft", "wraps-low=14", "laps-per-layer=38",
            "sheave=54in", "crossovers=1")
RIG = ("mast=142ft", "drum=30in", "block=47000lb", "stand=93ft", "drive=top-drive")


@pytest.fixture()
def rig(rig_of, begin):
    return begin(rig_of())


def enter(rig, kind, at, *fields, **more):
    return rig.enter(kind, f"at=2025-03-{at}:00Z", "by=clerk", *fields, **more)


def test_entering_work_shows_the_formula_and_what_the_account_notes(rig):
    said = enter(rig, "work", "02T06:00", "op=round-trip", "depth=9300ft").stdout.splitlines()
    assert said[0] == "entry 4"
    assert "    Wm = 19.5 x 0.8595 = 16.7611 lb/ft" in said
    assert said[4].endswith("= 374.39 ton-miles")
    assert said[5] == "    lowest design factor on the fast line: 6.42"
    entry = rig.entries()[-1]
    assert (entry["ton-miles"], entry["factor"], entry["rules"]) == ("374.39", "6.42", "2")
    # 192,000 x 8.1109 / 700,000 = 2.22: below what drilling may go to.
    said = enter(rig, "work", "02T07:00", "op=round-trip", "depth=9300ft", "pull=700klb").stdout
    assert "    note: fast-line design factor 2.22, below the minimum of 3 for drilling" in said
    said = enter(rig, "work", "02T08:00", "op=round-trip", "depth=300ft").stdout
    assert "    not counted: depth: 300 ft is less than the assembly's length of 700 ft" in said
    said = enter(rig, "cut", "02T09:00", "length=90ft", "reason=goal", "laps=60").stdout
    assert "note: more than half a lap apart: by the rope's centre line 493 ft, entered 90 ft" in said
    assert "note: more is cut than was slipped since the cut before: 90 ft of 0 ft" in said


def test_the_same_as_json(rig):
    answer = rig.p.json("rig", "enter", "work", "--store", rig.store, "at=2025-03-02T06:00:00Z",
                        "by=clerk", "op=moves", "count=60", "stroke=8ft", "up=150klb", "down=60klb",
                        "multiplier=1.5")
    assert answer["ton_miles"] == 14.32 and answer["factor"] == 10.38 and answer["notes"] == []
    assert answer["shown"][0] == "60 x 8 x (150,000 + 60,000) / 10,560,000 x 1.5 = 14.32 ton-miles"


def usual(rig):
    """Nothing is wrong: the rig works, all duties are done."""
    enter(rig, "rig", "01T01:00", *RIG, *GEOMETRY)
    enter(rig, "well", "01T02:00", "well=LB 3")
    enter(rig, "state", "01T03:00", "state=working")
    for day in range(2, 9):
        enter(rig, "work", f"{day:02}T06:00", "op=round-trip", "depth=9300ft", "hookload=245klb")
        if day in (4, 6):
            enter(rig, "slip", f"{day:02}T07:00", "length=30ft",
                  'checks=[{"item":"crown-saver","result":"good"}]')
    enter(rig, "check", "08T07:00", "item=anchor", "result=good")
    enter(rig, "inspection", "08T08:00", "fleet=lantern-basin", "rig=heron", "reel=LB-1",
          "inspector=I. Marsh", "scope=slip-cut", "decision=run",
          'places=[{"place":"anchor","baseline":"1.40in"}]')


def test_the_account_is_one_screen_with_the_answer_first(rig):
    usual(rig)
    lines = rig.run("line", "--as-of", "2025-03-08T12:00:00Z").stdout.splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 80, "\n".join(lines)
    assert lines[0].startswith("CUT      OVERDUE: 921 ton-miles over the goal of 1,700")
    assert lines[1].startswith("SLIP     OVERDUE: ")
    assert any(line.startswith("Handover line LB-1: cut overdue") for line in lines)
    assert any(line.startswith("Visual inspection overrides the count") for line in lines)


def test_the_best_lengths_stand_beside_the_table_from_where_the_line_lay(rig):
    usual(rig)
    found = rig.json("line", "--as-of", "2025-03-08T12:00:00Z")["ledger"]["next_cut"]
    assert found["needs"] == [] and found["why_not"] is None and found["table_laps"] == 11.5
    assert found["places"] == 3  # as hung, and after each of two slips
    for one in found["candidates"]:
        assert one["slips_to_make"] == 1
        assert abs(one["slip_ft"] - (one["cut_ft"] - 60)) < 1e-6
    first = [one["nearest_slips_ago"] or 999 for one in found["candidates"]]
    assert first == sorted(first, reverse=True)
    text = rig.run("line", "--as-of", "2025-03-08T12:00:00Z").stdout
    best = found["candidates"][0]
    assert f"         1. {best['laps']:g} laps {best['cut_ft']:.1f} ft, slip " in text


def test_without_geometry_the_check_says_what_it_needs(rig):
    enter(rig, "rig", "01T01:00", *RIG, "crown=145ft", "pick-low=6ft")
    found = rig.json("line")["ledger"]["next_cut"]
    assert found["needs"] == ["pick-high", "wraps-low"] and found["candidates"] == []
    said = " ".join(rig.run("line").stdout.split())
    assert "table 11.5 laps, 94.5 ft; the check of the critical points needs pick-high, wraps-low " \
        "of the rig" in said
    # Geometry that cannot be says which field.
    enter(rig, "rig", "01T02:00", *RIG, "pick-high=160ft", "wraps-low=14")
    found = rig.json("line")["ledger"]["next_cut"]
    assert found["why_not"].startswith("pick-high: ") and "allowed: lower not above upper" in \
        found["why_not"]


def test_a_rope_that_cannot_be_is_refused_with_field_value_and_range(rig):
    reel = ("reel=LB-2", "grade=EIPS", "received=5000ft", "strung=1850ft", "lines=10")
    for fields, says in (
            (("rope=1-3/8in", "strength=212klb"), "field strength: found '212klb'"),
            (("rope=1-3/8in", "strength=212klb"), "allowed: less than 10 % above"),
            (("rope=1.4in",), "field rope: found '1.4in'")):
        assert says in enter(rig, "reel", "02T06:00", *reel, *fields, status=(1, 64)).stderr
    warned = enter(rig, "reel", "02T06:00", *reel, "rope=1-3/8in", "strength=200klb").stderr
    assert "strength: 4.2 % above the table" in warned
