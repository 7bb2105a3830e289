"""Every page of the office in Chromium."""

import gzip
import hashlib
import urllib.error
import urllib.request

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select

from conftest import HOSTILE

PAGES = {
    "fleet": "/",
    "rig": "/rig?name=plover",
    "early": "/early",
    "line-life": "/line-life",
    "inspections": "/inspections",
    "links": "/links",
    "entry": "/entry?rig=heron&log=0&n=20",
}
PLOTS = {"rig": 2, "line-life": 1}
PHONE = 390

# What is wrong with a page for who cannot see it, or sees it badly; an empty list when nothing is.
FAULTS = r"""
const out = [];
const say = (what, e) => out.push(what + ': ' + (e.outerHTML || '').slice(0, 160));
if (document.documentElement.lang !== 'en') out.push('no language');
for (const [tag, n] of [['main', 1], ['h1', 1], ['title', 1], ['footer', 1]])
  if (document.querySelectorAll(tag).length !== n) out.push('not one ' + tag);
if (document.querySelectorAll('nav:not([aria-label])').length) out.push('a nav without a name');
if (!document.querySelector('body > header nav')) out.push('no navigation');
const ids = [...document.querySelectorAll('[id]')].map((e) => e.id);
if (new Set(ids).size !== ids.length) out.push('an id twice: ' + ids.filter((x, i) => ids.indexOf(x) < i));
let level = 1;
for (const h of document.querySelectorAll('h1,h2,h3,h4')) {
  const l = Number(h.tagName[1]);
  if (l > level + 1) say('heading skips a level', h);
  level = l;
}
for (const e of document.querySelectorAll('input:not([type=hidden]),select,textarea'))
  if (!e.labels || !e.labels.length || !e.labels[0].textContent.trim()) say('no label', e);
for (const e of document.querySelectorAll('a,button'))
  if (!(e.textContent.trim() || e.getAttribute('aria-label'))) say('nothing to read', e);
for (const e of document.querySelectorAll('canvas,img'))
  if (!(e.getAttribute('aria-label') || e.alt)) say('nothing in its place', e);
for (const t of document.querySelectorAll('table')) {
  if (!t.caption || !t.caption.textContent.trim()) say('no caption', t);
  for (const th of t.querySelectorAll('th')) if (!th.scope) say('th without scope', th);
}
for (const e of document.querySelectorAll('[style],[onclick],script:not([src]),style'))
  if (e.tagName !== 'CANVAS') say('inline', e);
return out;
"""

# Text whose contrast to what lies behind it is too low (WCAG 2.1, relative luminance and ratio).
CONTRAST = r"""
const parse = (c) => (c.match(/[\d.]+/g) || []).map(Number);
const lum = (c) => {
  const f = c.slice(0, 3).map((v) => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
  return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2];
};
const behind = (e) => {
  for (; e; e = e.parentElement) {
    const c = parse(getComputedStyle(e).backgroundColor);
    if (c.length === 3 || c[3] === 1) return c;
    if (c[3] > 0) return null;
  }
  return [255, 255, 255];
};
const out = [];
let seen = 0;
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const e = walk.currentNode.parentElement;
  if (!walk.currentNode.data.trim() || !e.getClientRects().length || e.closest('option,canvas')) continue;
  const bg = behind(e);
  const fg = parse(getComputedStyle(e).color);
  seen++;
  if (!bg || (fg.length === 4 && fg[3] < 1)) { out.push('half transparent: ' + e.outerHTML.slice(0, 120)); continue; }
  const [a, b] = [lum(fg), lum(bg)].sort((x, y) => y - x);
  const ratio = (a + 0.05) / (b + 0.05);
  if (ratio < 4.5) out.push(ratio.toFixed(2) + ': ' + e.outerHTML.slice(0, 120));
}
return seen < 20 ? ['too little text was looked at: ' + seen] : out;
"""


def complaints(browser):
    return [entry["message"] for entry in browser.get_log("browser")]


def sideways(browser):
    return browser.execute_script(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth")


def focused(browser):
    return browser.switch_to.active_element


def tab_to(browser, wanted, most=120):
    """Tab until wanted(element); every stop on the way must be seen."""
    for _ in range(most):
        focused(browser).send_keys(Keys.TAB)
        here = focused(browser)
        outline = browser.execute_script(
            "const s = getComputedStyle(arguments[0]); return [s.outlineStyle, s.outlineWidth]", here)
        if here.tag_name == "body":
            continue
        assert outline[0] != "none" and outline[1] != "0px", here.get_attribute("outerHTML")[:200]
        if wanted(here):
            return here
    raise AssertionError("not reached by Tab")


def fetch(office, path, compressed=False):
    request = urllib.request.Request(office.pages + path)
    if compressed:
        request.add_header("Accept-Encoding", "gzip")
    with urllib.request.urlopen(request, timeout=30) as answer:
        return answer.read()


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_whole_wide_and_narrow_light_and_dark(look, keep, name):
    browser = look(PAGES[name])
    assert browser.execute_script(FAULTS) == []
    assert browser.execute_script(CONTRAST) == []
    assert sideways(browser) == 0
    assert len([f for f in browser.find_elements(By.CSS_SELECTOR, "figure.plot")
                if f.is_displayed()]) == PLOTS.get(name, 0)
    keep(f"{name}-wide")
    browser = look(PAGES[name], dark=True)
    assert browser.execute_script(CONTRAST) == []
    keep(f"{name}-dark")
    browser = look(PAGES[name], width=PHONE)
    assert sideways(browser) == 0
    assert browser.execute_script(CONTRAST) == []
    keep(f"{name}-phone", PHONE)
    assert complaints(browser) == []


@pytest.mark.parametrize("name", PAGES)
def test_a_page_says_all_without_script_and_on_paper(look, keep, name):
    browser = look(PAGES[name], script=False)
    assert not any(f.is_displayed() for f in browser.find_elements(By.CSS_SELECTOR, "figure.plot"))
    assert browser.find_elements(By.CSS_SELECTOR, "main table, main dl")
    browser = look(PAGES[name], media="print")
    assert not browser.find_element(By.CSS_SELECTOR, "header nav").is_displayed()
    assert browser.execute_script(
        "return [...document.querySelectorAll('.scroll')].every((e) => e.scrollHeight <= e.clientHeight + 2)")
    keep(f"{name}-print")


def test_a_plot_is_drawn_from_its_table(look):
    browser = look("/rig?name=plover")
    drawn = browser.execute_script(
        "return [...document.querySelectorAll('canvas')].map((c) => {"
        " const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;"
        " let n = 0; for (let i = 3; i < d.length; i += 4) n += d[i] > 0; return n; })")
    assert len(drawn) == 2 and min(drawn) > 2000
    rows = browser.find_elements(By.CSS_SELECTOR, "#served-table tbody tr")
    assert len(rows) > 20


def test_from_the_fleet_to_the_bytes_of_a_cut_by_mouse(look):
    browser = look("/")
    assert [r.text for r in browser.find_elements(By.CSS_SELECTOR, "tbody th a")][0] == "sanderling"
    browser.find_element(By.LINK_TEXT, "plover").click()
    assert browser.find_element(By.TAG_NAME, "h1").text == "plover"
    number = browser.find_element(By.CSS_SELECTOR, "#cuts-table tbody tr td.n a")
    length = number.text
    number.click()
    assert "entry" in browser.find_element(By.TAG_NAME, "h1").text
    entry = browser.find_element(By.CSS_SELECTOR, "pre.bytes").text
    assert '"kind":"cut"' in entry and f'"length":"{length}' in entry
    leaf = hashlib.sha256(b"\0" + entry.encode()).hexdigest()
    assert leaf in browser.find_element(By.CSS_SELECTOR, "main dl").text
    assert "lantern-basin/office" in browser.find_element(By.TAG_NAME, "main").text


def test_the_fleet_is_filtered_by_keyboard_alone(look):
    browser = look("/")
    focused(browser).send_keys(Keys.TAB)
    assert focused(browser).text == "Skip to the content"
    focused(browser).send_keys(Keys.ENTER)
    field = tab_to(browser, lambda e: e.get_attribute("name") == "find")
    field.send_keys("plov" + Keys.ENTER)
    assert [r.text for r in browser.find_elements(By.CSS_SELECTOR, "tbody th a")] == ["plover"]
    assert browser.find_element(By.NAME, "find").get_attribute("value") == "plov"
    tab_to(browser, lambda e: e.text == "plover").send_keys(Keys.ENTER)
    assert browser.find_element(By.TAG_NAME, "h1").text == "plover"


def test_the_other_pages_main_tasks_by_keyboard_alone(look):
    browser = look("/")
    tab_to(browser, lambda e: e.text == "Early cuts").send_keys(Keys.ENTER)
    assert browser.find_element(By.CSS_SELECTOR, "h2").text == "plover"
    assert "What to look at first" in browser.find_element(By.TAG_NAME, "main").text
    tab_to(browser, lambda e: "/entry?" in (e.get_attribute("href") or "")).send_keys(Keys.ENTER)
    assert "entry" in browser.find_element(By.TAG_NAME, "h1").text
    tab_to(browser, lambda e: e.text == "Line life").send_keys(Keys.ENTER)
    assert browser.find_element(By.TAG_NAME, "h1").text == "Line life"
    days = tab_to(browser, lambda e: e.tag_name == "select")
    days.send_keys("all")
    tab_to(browser, lambda e: e.tag_name == "button").send_keys(Keys.ENTER)
    assert "days=0" in browser.current_url
    assert "1-3/8 in EIPS" in browser.find_element(By.TAG_NAME, "main").text
    tab_to(browser, lambda e: e.text == "Links").send_keys(Keys.ENTER)
    assert len(browser.find_elements(By.CSS_SELECTOR, "tbody tr")) == 5
    tab_to(browser, lambda e: e.text == "dunlin").send_keys(Keys.ENTER)
    tab_to(browser, lambda e: e.text == "Served since cut").send_keys(Keys.ENTER)
    assert browser.current_url.endswith("#served")


def test_inspections_are_filtered_and_show_who_signed(look):
    browser = look("/inspections")
    every = len(browser.find_elements(By.CSS_SELECTOR, "tbody tr"))
    Select(browser.find_element(By.NAME, "decision")).select_by_value("out-of-service")
    browser.find_element(By.CSS_SELECTOR, "main form button").click()
    rows = browser.find_elements(By.CSS_SELECTOR, "tbody tr")
    assert 0 < len(rows) < every
    assert all("out-of-service" in r.text for r in rows)
    assert "farspool-office prove sanderling" in rows[0].text
    browser = look("/inspections?rig=heron&signature=none")
    rows = browser.find_elements(By.CSS_SELECTOR, "tbody tr")
    assert rows and all(r.text.startswith("heron") and "unsigned" in r.text for r in rows)


def test_hostile_texts_are_shown_and_do_nothing(look, keep):
    for path in ("/", "/rig?name=sanderling", "/inspections", "/line-life", "/early",
                 "/entry?rig=sanderling&log=0&n=1", "/entry?rig=sanderling&log=0&n=7"):
        browser = look(path)
        assert "owned" not in browser.title
        assert browser.find_elements(By.CSS_SELECTOR, "main img, main b, main script") == []
        assert browser.execute_script(FAULTS) == []
        assert complaints(browser) == []
    browser = look("/rig?name=sanderling")
    text = browser.find_element(By.TAG_NAME, "main").text
    for key in ("reel", "place", "well", "inspector"):
        assert HOSTILE[key] in text
    assert "out of service" in text
    keep("hostile")
    text = look("/entry?rig=sanderling&log=0&n=1").find_element(By.TAG_NAME, "main").text
    assert HOSTILE["note"] in text


@pytest.mark.parametrize("path, status", [
    ("/rig?name=nobody", 404), ("/rig", 400), ("/rig?name=..%2f", 400), ("/rig?nome=heron", 400),
    ("/?page=0", 400), ("/?page=x", 400), ("/?flag=nothing", 400), ("/?find=%00", 400),
    ("/line-life?days=7", 400), ("/inspections?decision=maybe", 400),
    ("/inspections?from=2026-13-01", 400), ("/inspections?rig=nobody", 404),
    ("/entry?rig=heron&log=0&n=999999", 404), ("/entry?rig=heron&log=9&n=0", 404),
    ("/entry?rig=heron&log=0&n=-1", 400), ("/evidence?rig=heron&log=0&n=999999&file=record", 404),
    ("/nothing", 404)])
def test_what_is_not_there_or_is_no_value_is_told_plainly(office, path, status):
    with pytest.raises(urllib.error.HTTPError) as refused:
        fetch(office, path)
    assert refused.value.code == status
    said = refused.value.read().decode()
    assert said.count("\n") == 1 and len(said) < 300 and "<" not in said


def test_evidence_is_downloaded_as_prove_writes_it(office, tmp_path):
    office.run("prove", "heron", "1", "--out", tmp_path)
    for file, name in (("record", "1.record.json"), ("proof", "1.tlog-proof")):
        sent = fetch(office, f"/evidence?rig=heron&log=0&n=1&file={file}")
        assert sent == (tmp_path / name).read_bytes()


def test_the_first_page_is_small_and_chart_js_comes_only_with_plots(office):
    first = fetch(office, "/", True)
    assert b"chart.js" not in gzip.decompress(first)
    size = sum(len(fetch(office, path, True)) for path in ("/", "/style.css", "/farspool.svg"))
    assert size < 150_000
    with_plots = fetch(office, "/rig?name=plover", True)
    assert b"/chart.js" in gzip.decompress(with_plots)
    size = sum(len(fetch(office, path, True)) for path in (
        "/rig?name=plover", "/style.css", "/farspool.svg", "/board.js", "/chart.js"))
    assert size < 150_000
