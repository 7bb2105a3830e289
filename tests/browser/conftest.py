"""An office with a season of four rigs and a hostile one, its pages, and a browser."""

import datetime
import os
import pathlib
import sys
import time
import urllib.request

import pytest

TESTS = pathlib.Path(__file__).resolve().parent.parent
sys.dont_write_bytecode = True
sys.path[:0] = [str(TESTS / "support"), str(TESTS / "sim")]

import programs as drive  # noqa: E402
import season  # noqa: E402

SEED = 7
DAYS = 130
FLAGS = ("--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run "
         "--disable-background-networking --disable-component-update --disable-sync "
         "--force-color-profile=srgb --hide-scrollbars")
HOSTILE = {
    "reel": "<b>R</b>&amp;\"'",
    "place": "\"><img src=x onerror=alert(1)>",
    "note": "<script>document.title='owned'</script>",
    "well": "javascript:alert(1)",
    "inspector": "K. Ode</td><td>",
}


def pytest_configure():
    if "FSP_BIN" not in os.environ:
        raise pytest.UsageError("FSP_BIN: name the folder with the three programs")


def carry(programs, office, folder, name, fill):
    invitation = office.invite(name, folder / f"{name}.invitation")
    rig = drive.Rig(programs, name, folder / f"R-{name}").init(invitation)
    fill(rig)
    bundle = folder / f"{name}.fsb"
    rig.run("carry", "--out", bundle)
    office.run("take", *sorted(map(str, folder.glob(f"{name}*.fsb"))), "--receipt", folder / f"{name}.receipt")
    return rig


def hostile(rig):
    day = datetime.date.today() - datetime.timedelta(days=3)
    at = f"at={day}T{{:02}}:00:00Z".format
    rig.enter("rig", at(0), "by=clerk", "mast=142ft", "drum=30in", "block=47000lb")
    rig.enter("reel", at(1), "by=clerk", f"reel={HOSTILE['reel']}", "rope=1-3/8in", "grade=EIPS",
              "received=5000ft", "strung=1850ft", "lines=10", f"note={HOSTILE['note']}")
    rig.enter("program", at(2), "by=clerk", "cut=90ft", "first-goal=1700 ton-miles",
              "later-goal=1500 ton-miles")
    rig.enter("well", at(3), "by=clerk", f"well={HOSTILE['well']}")
    rig.enter("drill-string", at(4), "by=clerk", "pipe=19.5lb/ft", "stand=93ft",
              "bha-weight=60000lb", "bha-length=700ft", "mud=9.2ppg")
    rig.enter("work", at(5), "by=clerk", "op=round-trip", "depth=9000ft")
    rig.enter("slip", at(6), "by=clerk", "length=90ft")
    rig.enter("cut", at(7), "by=clerk", "length=90ft", "reason=broken-wires",
              f"place={HOSTILE['place']}", "condition=worn-out")
    rig.enter("inspection", at(8), "by=clerk", "fleet=lantern-basin", "rig=sanderling",
              f"reel={HOSTILE['reel']}", f"inspector={HOSTILE['inspector']}", "scope=monthly",
              "decision=out-of-service")


def whole(office):
    """Wait until every rig is in the view; the page says so itself."""
    until = time.monotonic() + 60
    while time.monotonic() < until:
        with urllib.request.urlopen(office.pages + "/", timeout=30) as answer:
            if b"5 rigs:" in (page := answer.read()) and b"Filling:" not in page:
                return
        time.sleep(0.05)
    raise AssertionError("the view of the fleet does not fill")


@pytest.fixture(scope="session")
def office(tmp_path_factory):
    """Served until the end; heron, plover, dunlin, whimbrel and the hostile sanderling."""
    folder = tmp_path_factory.mktemp("pages")
    programs = drive.Programs()
    office = drive.Office(programs, folder / "O").init()
    start = datetime.date.today() - datetime.timedelta(days=DAYS + 2)
    sheets = folder / "sheets"
    season.write(season.season(SEED, DAYS, start=start.isoformat()), sheets, SEED, DAYS)
    for name in season.RIGS:
        carry(programs, office, folder, name,
              lambda rig: rig.run("take", *sorted(map(str, (sheets / rig.name).iterdir()))))
    carry(programs, office, folder, "sanderling", hostile)
    with office.serving():
        whole(office)
        yield office


@pytest.fixture(scope="session")
def browser():
    from selenium import webdriver
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    options = Options()
    for flag in FLAGS.split():
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(service=Service("/usr/bin/chromedriver"), options=options)
    driver.set_page_load_timeout(30)
    yield driver
    driver.quit()


@pytest.fixture()
def look(browser, office):
    """look(path, width=1280, ...) opens a page; afterwards the browser is as it was."""
    def do(path, width=1280, height=900, dark=False, media="", script=True):
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not script})
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600})
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": [
            {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]})
        browser.get(office.pages + path)
        return browser
    yield do
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": []})
    browser.get("about:blank")
    browser.get_log("browser")


@pytest.fixture()
def keep(browser):
    """keep(name): a picture of the whole page, when there is a folder for it."""
    def do(name, width=1280, most=3200):
        folder = os.environ.get("FSP_SCREENSHOTS")
        if not folder:
            return
        os.makedirs(folder, exist_ok=True)
        height = browser.execute_script("return document.documentElement.scrollHeight")
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
            "width": width, "height": max(600, min(height, most)), "deviceScaleFactor": 1,
            "mobile": width < 600})
        browser.save_screenshot(os.path.join(folder, name + ".png"))
    return do
