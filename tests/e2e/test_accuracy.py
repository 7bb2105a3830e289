"""One ledger: a number on a page, in its CSV, its JSON, the command's answer and the rig's own `line`
is the same number, as of the same time."""

import calendar
import csv
import html.parser
import io
import json
import os
import time
import urllib.error
import urllib.request

import pytest
import season

import programs as drive

SEED = 5
DAYS = 40
TABLES = ("fleet", "cuts", "early", "flags", "inspections", "reels", "links", "logs",
          "instructions")
OF_ONE = ("inspections", "instructions")  # downloaded of one rig at a time

# column of the office's table: key of the rig's account
FLEET = {"in_service_ft": "in_service_ft", "on_reel_ft": "on_reel_ft",
         "ton_miles_since_cut": "ton_miles_since_cut", "ton_miles_line": "ton_miles_line",
         "ton_miles_since_slip": "ton_miles_since_slip", "served_ton_miles": "served_ton_miles",
         "goal_ton_miles": "goal_ton_miles", "lowest_design_factor": "min_factor",
         "due": "cut_due", "due_reason": "cut_due_why", "slip_due": "slip_due",
         "slip_due_reason": "slip_due_why", "incomplete": "incomplete", "estimated": "estimated",
         "derate": "derate", "reel": "reel", "grade": "grade", "lines": "lines",
         "rope_in": "rope_in", "well": "well", "rig_state": "rig_state",
         "duties_overdue": "duties_overdue", "last_record": "last_at"}
CUTS = {"at": "at", "log": "log", "index": "index", "reel": "reel", "cut_ft": "length_ft",
        "slipped_ft": "slipped_ft", "programme_ft": "programme_ft", "ton_miles": "ton_miles",
        "served_ton_miles": "served_ton_miles", "goal_ton_miles": "goal_ton_miles",
        "ton_miles_per_ft": "ton_miles_per_ft", "lowest_design_factor": "min_factor",
        "reason": "reason", "place": "place", "condition": "condition", "early": "early",
        "long": "long", "eligible": "eligible", "for_wear": "for_wear", "planned": "planned",
        "incomplete": "incomplete", "first_of_line": "first_of_line", "slips": "slips",
        "under_derate": "under_derate", "beyond_slipped": "beyond_slipped", "why": "why",
        "below_minimum": "below_minimum", "lines": "lines", "rope_in": "rope_in",
        "grade": "grade", "well": "well", "basis": "basis", "curve": "curve"}


@pytest.fixture(scope="module")
def fleet(programs, tmp_path_factory):
    """The season's rigs in an office that serves, both ends at the season's end."""
    folder = tmp_path_factory.mktemp("accuracy")
    print(f"seed {SEED}")
    truth = season.write(season.season(SEED, DAYS), folder / "season", SEED, DAYS)
    office = drive.Office(programs, folder / "O").init()
    rigs = {}
    for name in season.RIGS:
        rig = drive.Rig(programs, name, folder / name).init(
            office.invite(name, folder / f"{name}.invitation"))
        rig.run("take", *sorted((folder / "season" / name).iterdir()))
        while rig.json("check")["receipted"] < rig.size():
            for part in ("fsb", "receipt"):
                (folder / f"{name}.{part}").unlink(missing_ok=True)
            rig.run("carry", "--out", folder / f"{name}.fsb")
            office.run("take", folder / f"{name}.fsb", "--receipt", folder / f"{name}.receipt")
            rig.run("receipt", folder / f"{name}.receipt")
        rigs[name] = rig
    shift = calendar.timegm(time.strptime(truth["as_of"], "%Y-%m-%dT%H:%M:%SZ")) - time.time()
    clock = {"LD_PRELOAD": os.path.abspath(os.path.join(programs.folder, "libfakeclock.so")),
             "FSP_CLOCK_SHIFT": str(int(shift))}
    office.p = drive.Programs(programs.folder, env=clock)
    with office.serving():
        yield office, rigs


def get(office, path):
    with urllib.request.urlopen(office.pages + path, timeout=60) as answer:
        return answer.read().decode()


def settled(office, path):
    """The download once the view holds every rig."""
    def there():
        try:
            return get(office, path)
        except urllib.error.HTTPError as e:
            assert e.code == 503, e
            return None
    return drive.wait_until(path, there)


def table(office, name, rig=None):
    """(rows of JSON, rows of CSV) of one moment of the view."""
    of = f"?rig={rig}" if rig else ""
    return (json.loads(settled(office, f"/tables/{name}.json{of}")),
            settled(office, f"/tables/{name}.csv{of}"))


def as_csv(value):
    """What a cell of JSON is in CSV, once the apostrophe is taken off."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else json.dumps(value)


def plain(text):
    """A cell of CSV as it was before a spreadsheet had to be kept from it."""
    return text[1:] if text.startswith("'") else text


@pytest.mark.parametrize("name", TABLES)
def test_csv_json_command_and_download_are_the_same(fleet, name):
    office, rigs = fleet
    for rig in rigs if name in OF_ONE else [None]:
        rows, text = table(office, name, rig)
        read = list(csv.DictReader(io.StringIO(text, newline="")))
        assert len(rows) == len(read)
        for have, want in zip(read, rows):
            assert list(have) == list(want)
            for key, value in want.items():
                assert plain(have[key]) == as_csv(value), (name, key)
        if name == "links":
            continue  # hours ago: the command's moment is another one
        as_of = {r["rig"]: r["as_of"] for r in table(office, "fleet")[0]}
        for one in [rig] if rig else rigs:
            said = json.loads(office.run("rig", one, "--table", name, "--json", "--as-of",
                                         as_of[one]).stdout)
            if name in ("fleet", "early"):  # judged beside the others of that moment
                said = [{k: v for k, v in r.items() if not k.startswith("early_")} for r in said]
            mine = [{k: v for k, v in r.items() if name not in ("fleet", "early")
                     or not k.startswith("early_")} for r in rows if r["rig"] == one]
            assert said == mine, (name, one)


def known(value):
    """The rig's account says 0 where the table says nothing."""
    return value if value not in (0, 0.0) or isinstance(value, bool) else None


def test_the_rigs_own_line_says_the_same(fleet):
    office, rigs = fleet
    cuts = table(office, "cuts")[0]
    compared = 0
    for row in table(office, "fleet")[0]:
        rig = rigs[row["rig"]]
        mine = rig.json("line", "--as-of", row["as_of"])["ledger"]
        for column, key in FLEET.items():
            assert row[column] in (mine[key], known(mine[key])), (rig.name, column)
            compared += 1
        assert row["cuts"] == len(mine["cuts"])
        theirs = [c for c in cuts if c["rig"] == rig.name]
        assert len(theirs) == len(mine["cuts"])
        for cut, own in zip(theirs, mine["cuts"]):
            for column, key in CUTS.items():
                assert cut[column] in (own[key], known(own[key])), (rig.name, own["at"], column)
                compared += 1
        assert (row["size"], row["root"]) == (
            rig.json("check")["size"], rig.json("check")["root"])
    assert compared > 4 * len(FLEET) + len(CUTS) and len(cuts) > 0


class Tables(html.parser.HTMLParser):
    """Cells of every table of a page as text, and the links of each row."""

    def __init__(self, text):
        super().__init__()
        self.rows, self.links = [], []
        self.depth = None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
            self.links.append([])
        elif tag in ("td", "th") and self.rows:
            self.rows[-1].append("")
        elif tag == "a" and self.rows:
            self.links[-1].append(dict(attrs).get("href", ""))
        if tag in ("span", "td", "th") and self.rows and self.rows[-1]:
            self.rows[-1][-1] += " "

    def handle_data(self, data):
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data

    def with_link(self, href):
        return [row for row, links in zip(self.rows, self.links) if href in links]


def shown(value, decimals):
    return f"{value:,.{decimals}f}"


def words(row):
    return " ".join(" ".join(row).split())


def test_the_fleets_page_shows_the_tables_numbers(fleet):
    office, _ = fleet
    rows = table(office, "fleet")[0]
    page = Tables(get(office, "/"))
    for row in rows:
        (cells,) = page.with_link(f"/rig?name={row['rig']}")
        text = words(cells)
        for value in (shown(row["in_service_ft"], 0), shown(row["on_reel_ft"], 0) + " on the reel",
                      shown(row["served_percent"], 1) + " %",
                      shown(row["served_ton_miles"], 0) + " of "
                      + shown(row["goal_ton_miles"], 0) + " ton-miles",
                      shown(row["lowest_design_factor"], 2), row["due"], row["due_reason"]):
            assert " ".join(value.split()) in text, (row["rig"], value, text)


def test_a_rigs_page_shows_the_tables_cuts_each_leading_to_its_entry(fleet):
    office, rigs = fleet
    seen = 0
    for name in rigs:
        page = Tables(get(office, f"/rig?name={name}"))
        for cut in table(office, "cuts", name)[0]:
            rows = [r for r in page.with_link(f"/entry?rig={name}&log={cut['log']}&n={cut['index']}")
                    if len(r) >= 10 and shown(cut["served_ton_miles"], 1) in words(r).split()]
            assert rows, (name, cut["index"])
            text = words(rows[0]).split()
            for value, decimals in ((cut["cut_ft"], 0), (cut["served_per_ft"], 2),
                                    (cut["goal_per_ft"], 2)):
                assert shown(value, decimals) in text, (name, cut["index"], value)
            seen += 1
    assert seen


@pytest.mark.parametrize("path, status", [
    ("/tables/fleet.xml", 404), ("/tables/", 404), ("/tables/fleets.csv", 404),
    ("/tables/inspections.csv", 400), ("/tables/instructions.json", 400),
    ("/tables/cuts.csv?rig=no-such-rig", 404), ("/tables/cuts.csv?rig=..%2f", 400),
    ("/tables/cuts.csv?x=1", 400)])
def test_what_is_no_table_is_said_plainly(fleet, path, status):
    office, _ = fleet
    with pytest.raises(urllib.error.HTTPError) as told:
        get(office, path)
    assert told.value.code == status
    assert "<script" not in told.value.read().decode()
