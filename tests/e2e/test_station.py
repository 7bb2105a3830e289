"""The crew's page: everything by forms alone, as a browser without script sends them."""

import concurrent.futures
import html
import json
import os
import pathlib
import re
import subprocess
import urllib.error
import urllib.parse
import urllib.request

import pytest

BIN = pathlib.Path(os.environ["FSP_BIN"])
BEGIN = [
    ("rig", "at=2026-03-01T00:00:00Z", "mast=142ft", "drum=30in", "block=47000lb", "bearing=roller",
     "zone=+01:00", "crown=142ft", "wraps-low=14", "laps-per-layer=38", "fast-line=150ft", "dead-line=150ft",
     "sheave=4.5ft", "block-low=0ft", "pick-low=6ft", "pick-high=97ft"),
    ("reel", "at=2026-03-01T01:00:00Z", "reel=A-17", "rope=1-3/8in", "grade=EIPS", "received=7500ft",
     "strung=1800ft", "lines=10"),
    ("program", "at=2026-03-01T01:30:00Z", "cut=90ft", "first-goal=1400", "later-goal=1200"),
    ("drill-string", "at=2026-03-01T02:00:00Z", "pipe=19.5lb/ft", "stand=93ft", "bha-weight=45000lb",
     "bha-length=600ft", "mud=10.2ppg"),
    ("work", "at=2026-03-02T06:00:00Z", "op=round-trip", "depth=9300ft"),
]


class Stay(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_):
        return None


OPENER = urllib.request.build_opener(Stay)


class Page:
    def __init__(self, answer):
        self.status = answer.status if hasattr(answer, "status") else answer.code
        self.text = answer.read().decode()
        self.headers = answer.headers

    @property
    def words(self):
        return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", self.text)))

    def hidden(self, name):
        return re.search(rf'name="{name}"[^>]*value="([^"]*)"', self.text).group(1)


class Station:
    def __init__(self, tmp_path):
        self.store = tmp_path / "R"
        self.env = dict(os.environ, FARSPOOL_RIG_CONF=str(tmp_path / "rig.conf"))
        (tmp_path / "rig.conf").write_text("[rig]\n")
        self.command("farspool-office", "init", "--store", tmp_path / "O", "--fleet", "lantern-basin")
        self.command("farspool-office", "invite", "heron", "--store", tmp_path / "O", "--url",
                     "http://127.0.0.1:9", "--out", tmp_path / "i")
        self.rig("init", "--invitation", tmp_path / "i")
        for kind, *members in BEGIN:
            self.rig("enter", kind, "by=clerk", *members)
        self.log = (tmp_path / "log").open("w+")
        self.run = subprocess.Popen(
            [BIN / "farspool-rig", "run", "--store", self.store, "--pages", "127.0.0.1:0"],
            env=self.env, stderr=self.log, stdout=self.log)
        while True:  # until it says where
            found = re.search(r"url=(http://\S+)", (tmp_path / "log").read_text())
            if found:
                break
            assert self.run.poll() is None, (tmp_path / "log").read_text()
        self.url = found.group(1)

    def command(self, program, *args):
        done = subprocess.run([BIN / program, *map(str, args)], env=self.env, capture_output=True, text=True,
                              timeout=60)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def rig(self, command, *args):
        return self.command("farspool-rig", command, "--store", self.store, *args)

    def entries(self):
        return [json.loads(line) for line in self.rig("print").splitlines()]

    def ask(self, path, form=None, **headers):
        data = None if form is None else urllib.parse.urlencode(form).encode()
        request = urllib.request.Request(self.url + path, data, headers)
        try:
            return Page(OPENER.open(request, timeout=30))
        except urllib.error.HTTPError as answer:
            return Page(answer)

    def form(self, path, **fields):
        """A form as it is opened, with its hidden fields."""
        page = self.ask(path)
        assert page.status == 200, page.text
        return {"form": page.hidden("form"), "once": page.hidden("once"), **fields}


@pytest.fixture(scope="module")
def station(tmp_path_factory):
    made = Station(tmp_path_factory.mktemp("station"))
    yield made
    made.run.terminate()
    assert made.run.wait(timeout=30) == 0
    made.log.close()


TRIP = {"op": "round-trip", "depth": "9400ft", "by": "driller"}


def test_the_page_says_what_line_says(station):
    page = station.ask("/")
    line = json.loads(station.rig("line", "--json"))["ledger"]
    assert page.status == 200 and len(page.text) < 60_000
    assert "Cut: not yet" in page.words
    assert f"{line['served_ton_miles']:.2f} ton-miles" in page.words
    assert f"{line['in_service_ft']:,.0f} ft" in page.words
    assert "line only; mast, block, anchor, drawworks and pipe not checked" in page.words
    assert "allowed" not in page.words


def test_a_trip_is_worked_out_asked_about_and_added_once(station):
    form = station.form("/enter/work?op=round-trip", at="2026-03-03 07:00", **TRIP)
    before = station.entries()
    page = station.ask("/enter/work", {**form, "do": "try"})
    # The formula's numbers by hand: docs/worked-examples.md shows the same trip shape.
    assert page.status == 200 and "= 356.52 ton-miles" in page.words and "Nothing was added yet." in page.words
    # It leaves a gap: asked first.
    page = station.ask("/enter/work", {**form, "do": "add"})
    assert page.status == 200 and "last entry left the bit at 9,300 ft, this one starts at 9,400 ft" in page.words
    assert station.entries() == before
    page = station.ask("/enter/work", {**form, "do": "add", "sure": "yes"})
    assert page.status == 303 and page.headers["Location"] == f"/entries?added={len(before)}"
    assert f"Entry {len(before)} is in the log." in station.ask(page.headers["Location"]).words
    # Sent again, by a double click or after a cut: the same entry.
    page = station.ask("/enter/work", {**form, "do": "add"})
    assert page.status == 303 and page.headers["Location"] == f"/entries?added={len(before)}"
    after = station.entries()
    assert len(after) == len(before) + 1
    assert after[-1]["at"] == "2026-03-03T06:00:00Z"  # typed in the rig's zone
    assert after[-1]["ton-miles"] == "356.52" and after[-1]["by"] == "driller"


@pytest.mark.parametrize("change,words", [
    ({"depth": "9,400ft"}, "has a comma"),
    ({"depth": "9400"}, "unit"),
    ({"depth": "9400 furlongs"}, "depth"),
    ({"depth": ""}, "depth"),
    ({"at": "yesterday"}, "at"),
    ({"at": "2036-03-03 07:00"}, "at"),
    ({"by": ""}, "by"),
    ({"by": "\u202eclerk"}, None),
])
def test_what_a_tired_person_types_is_refused_with_a_reason_and_stays_typed(station, change, words):
    form = station.form("/enter/work?op=round-trip", at="2026-03-04 07:00", **TRIP)
    before = len(station.entries())
    page = station.ask("/enter/work", {**form, **change, "do": "add"})
    if words is None:
        assert page.status == 400
    else:
        assert page.status == 422 and words in page.words and "Nothing was added." in page.words
        kept = next(iter(change.values()))
        assert not kept or f'value="{html.escape(kept)}"' in page.text
    assert len(station.entries()) == before


def test_markup_is_shown_as_text(station):
    form = station.form("/enter/work?op=round-trip", at="2026-03-04 08:00",
                        **{**TRIP, "by": "<script>alert(1)</script>"})
    page = station.ask("/enter/work", {**form, "do": "try"})
    assert page.status == 200 and "<script>" not in page.text and "&lt;script&gt;" in page.text


def test_an_entry_is_amended_by_its_form_and_voided(station):
    form = station.form("/enter/slip", at="2026-03-05 07:00", by="clerk", length="30ft")
    page = station.ask("/enter/slip", {**form, "do": "add", "sure": "yes"})
    index = page.headers["Location"].split("=")[1]
    amend = station.form(f"/enter/slip?amends={index}", at="2026-03-05 07:00", by="clerk", length="31ft",
                         amends=index)
    page = station.ask("/enter/slip", {**amend, "do": "add", "sure": "yes"})
    assert page.status == 422 and "reason" in page.words
    page = station.ask("/enter/slip", {**amend, "amend-reason": "tape read again", "do": "add", "sure": "yes"})
    assert page.status == 303, page.words
    last = station.entries()[-1]
    assert last["kind"] == "amend" and last["set"] == {"length": "31ft"} and last["reason"] == "tape read again"
    assert json.loads(station.rig("line", "--json"))["ledger"]["slipped_since_cut_ft"] == pytest.approx(31)
    again = station.form(f"/enter/slip?amends={index}", at="2026-03-05 07:00", by="clerk", length="30ft",
                         amends=index)
    page = station.ask("/enter/slip", {**again, "amend-reason": "never done", "do": "void", "sure": "yes"})
    assert page.status == 303, page.words
    assert json.loads(station.rig("line", "--json"))["ledger"]["slipped_since_cut_ft"] == 0
    assert station.ask("/enter/slip?amends=99999").status == 404
    assert station.ask(f"/enter/cut?amends={index}").status == 404


def test_two_people_enter_at_once_and_both_are_kept(station):
    forms = [station.form("/enter/check", at=f"2026-03-06 {hour:02}:00", by="clerk", item="crown-saver",
                          result="good") for hour in range(6)]
    before = len(station.entries())
    with concurrent.futures.ThreadPoolExecutor(6) as pool:
        pages = list(pool.map(lambda form: station.ask("/enter/check", {**form, "do": "add", "sure": "yes"}),
                              forms))
    assert [page.status for page in pages] == [303] * 6, [page.words for page in pages]
    assert len(station.entries()) == before + 6
    assert len({page.headers["Location"] for page in pages}) == 6


def test_jobs_ahead_and_a_pull_are_answered_as_line_and_reckon_do(station):
    page = station.ask("/ahead?op1=round-trip&depth1=9500ft&pull=400000lb")
    plan = json.loads(station.rig("line", "--json", "--job", "op=round-trip depth=9500ft"))["plan"]
    assert ("It will make it" in page.words) == plan["will_make_it"]
    lift = json.loads(station.command("farspool-rig", "reckon", "lift", "hookload=400000lb", "lines=10",
                                      "rope=1-3/8in", "grade=EIPS", "bearing=roller", "--json"))
    assert f"design factor on the fast line {lift['design_factor']:.2f}" in page.words
    assert "with a point" in station.ask("/ahead?pull=400,000lb").words or \
        "comma" in station.ask("/ahead?pull=400,000lb").words


def test_the_string_up_is_drawn_and_said(station):
    page = station.ask("/drawing")
    assert page.status == 200 and page.text.count("<svg") == 2 and 'role="img"' in page.text
    assert "From the drum at the left the fast line goes up" in page.words
    assert len(page.text) < 60_000


def test_only_this_pc_and_its_own_forms_are_let_in(station):
    assert station.ask("/", Host="evil.example").status == 403
    form = station.form("/enter/check", at="2026-03-07 07:00", by="clerk", item="brake", result="good")
    before = len(station.entries())
    for bad in ({**form, "form": "0" * 32}, {key: value for key, value in form.items() if key != "form"}):
        assert station.ask("/enter/check", {**bad, "do": "add"}).status == 403
    assert station.ask("/enter/check", {**form, "do": "add"}, Host="evil.example").status == 403
    assert station.ask("/enter/check", {**form, "do": "add", "colour": "red"}).status == 400
    assert station.ask("/enter/renewal").status == 404 and station.ask("/nowhere").status == 404
    assert len(station.entries()) == before


def test_it_is_served_nowhere_else(station, tmp_path):
    # Another address than this PC's: said, and the record is kept and sent all the same.
    done = subprocess.run([BIN / "farspool-rig", "run", "--store", station.store, "--pages", "0.0.0.0:0"],
                          env=station.env, capture_output=True, text=True, timeout=30)
    assert done.returncode == 75  # the first run holds the store


def test_the_tour_sheet_has_the_account_and_the_days_entries(station):
    page = station.ask("/tour")
    assert page.status == 200 and "Handed over by:" in page.words and "round-trip" in page.words
