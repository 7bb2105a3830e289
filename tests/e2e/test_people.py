"""Who may see the office's pages and who may change something there, by real requests to a real server:
accounts, log-ins, sessions, forms that are forged, stale or sent twice, and the trail of it all."""

import http.client
import os
import re
import socket
import subprocess
import time
import urllib.error
import urllib.request

import pytest
from browser import Browser

WORDS = "green derrick at dawn"
OTHER = "another set of words"
HOSTILE = '<script>alert(1)</script>"\'& \u05d0'


@pytest.fixture()
def add(office, tmp_path):
    """add("anna", "keeper"): an account with WORDS as its password."""
    secret = tmp_path / "words"
    secret.write_text(WORDS + "\n")

    def make(name, role):
        office.run("user", "add", name, "--role", role, "--password-from", secret)
        return name
    return make


def browser(office, name=None):
    b = Browser(office.pages)
    if name:
        assert b.log_in(name, WORDS).status == 303
    return b


def trail(office, did=None):
    lines = office.json("user", "trail", "--last", "1000")
    return [line for line in lines if did is None or line["did"] == did]


# --- open, and then not -------------------------------------------------------------------------


def test_pages_are_open_until_the_first_account_and_say_so(office, serving, add):
    assert "no account exists" in office.page("/", want="no account")
    page = browser(office).post("/acknowledge", {"rig": "heron", "mark": "x", "base": "0"})
    assert page.status == 403 and "user add" in page.text
    assert browser(office).get("/log-in").status == 303
    add("kim", "keeper")  # while it serves
    b = browser(office)
    page = b.get("/links")
    assert page.status == 303 and page.headers["Location"] == "/log-in?to=/links"
    page = b.log_in("kim", WORDS, to="/links")
    assert page.status == 303 and page.headers["Location"] == "/links"
    assert b.get("/links").status == 200
    # closed accounts do not open the pages again
    office.run("user", "close", "kim")
    assert b.get("/links").status == 303


def test_a_log_in_leads_nowhere_else(office, serving, add):
    add("kim", "keeper")
    for to in ("https://example.com/", "//example.com/", "/\\example.com", "javascript:alert(1)"):
        assert browser(office).log_in("kim", WORDS, to=to).headers["Location"] == "/"


def test_serve_refuses_pages_in_clear_to_other_machines(office, tmp_path):
    done = office.run("serve", "--listen", "127.0.0.1:0", "--pages", "0.0.0.0:0", status=64)
    assert "without TLS" in done.stderr and "https://0.0.0.0:0" in done.stderr
    done = office.run("serve", "--listen", "127.0.0.1:0", "--pages", "http://[::]:0", status=64)
    assert "without TLS" in done.stderr


# --- accounts by the command --------------------------------------------------------------------


def test_the_command_keeps_accounts_and_says_what_is_wrong(office, tmp_path):
    secret = tmp_path / "words"
    secret.write_text("nine char\n")
    run = lambda *args, **more: office.run("user", *args, **more)  # noqa: E731
    assert "no account yet" in run("list").stdout
    assert run("list", "--csv").stdout == "name,role,made,closed,seen\n"
    done = run("add", "kim", "--role", "keeper", "--password-from", secret, status=64)
    assert "at least 10 characters" in done.stderr
    secret.write_text(WORDS)
    for name, role in (("Kim", "keeper"), ("command", "keeper"), ("kim", "boss"), ("kim", "")):
        run("add", name, "--role", role, "--password-from", secret, status=64)
    run("add", "kim", "--password-from", secret, status=64)
    done = run("add", "kim", "--role", "keeper", status=64, stdin=subprocess.DEVNULL)
    assert "--password-from" in done.stderr
    assert office.json("user", "list") == []
    run("add", "kim", "--role", "keeper", "--password-from", secret)
    run("add", "kim", "--role", "keeper", "--password-from", secret, status=64)
    run("role", "kim", "auditor")
    run("role", "lee", "auditor", status=1)
    run("close", "kim")
    run("password", "kim", "--password-from", secret, status=64)
    [kim] = office.json("user", "list")
    assert kim["role"] == "auditor" and kim["closed"]
    assert [(t["by"], t["did"], t["what"]) for t in reversed(trail(office))] == [
        ("command", "account added", "kim as keeper"),
        ("command", "role changed", "kim from keeper to auditor"),
        ("command", "account closed", "kim")]


# --- log-in -------------------------------------------------------------------------------------


def test_cookies_are_strict_and_a_session_is_never_the_visitors_own(office, serving, add):
    add("kim", "keeper")
    b = browser(office)
    b.cookies["farspool"] = "A" * 43  # planted before the log-in
    page = b.log_in("kim", WORDS)
    lines = page.headers.get_all("Set-Cookie")
    assert len(lines) == 2 and b.cookies["farspool"] != "A" * 43
    for line in lines:
        assert "HttpOnly" in line and "SameSite=Strict" in line and "Path=/" in line
        assert "Secure" not in line and "Domain" not in line
    first = b.cookies["farspool"]
    assert b.log_in("kim", WORDS).status == 303 if b.get("/log-in").forms else True
    # a log-in over an old session ends that one
    fresh = Browser(office.pages)
    fields = fresh.get("/log-in").form("/log-in") | {"name": "kim", "password": WORDS}
    fresh.cookies["farspool"] = first
    assert fresh.post("/log-in", fields).status == 303
    assert fresh.cookies["farspool"] != first
    assert b.get("/").status == 303
    # a log-out ends the session at the office, not only the cookie
    token = fresh.cookies["farspool"]
    form = fresh.get("/people").form("/log-out")
    assert fresh.post("/log-out", form).status == 303
    assert "farspool" not in fresh.cookies
    fresh.cookies["farspool"] = token
    assert fresh.get("/").status == 303


def test_a_log_in_form_of_another_site_is_refused(office, serving, add):
    add("kim", "keeper")
    fields = {"name": "kim", "password": WORDS, "form": "A" * 43}
    assert browser(office).post("/log-in", fields).status == 403  # no cookie
    b = browser(office)
    b.get("/log-in")
    assert b.post("/log-in", fields).status == 403  # another form's
    good = b.get("/log-in").form("/log-in") | {"name": "kim", "password": WORDS}
    assert b.post("/log-in", good, {"Sec-Fetch-Site": "cross-site"}).status == 403
    assert b.post("/log-in", good, {"Sec-Fetch-Site": "same-origin"}).status == 303


def test_unknown_names_are_told_as_wrong_passwords(office, serving, add):
    add("kim", "keeper")
    wrong = browser(office).log_in("kim", "not the words")
    none = browser(office).log_in("nobody", "not the words")
    assert wrong.status == none.status == 403
    plain = lambda page: re.sub(r'value="[^"]*"', "", page.text)  # noqa: E731
    assert plain(wrong) == plain(none)
    hostile = browser(office).log_in(HOSTILE, "x")
    assert hostile.status == 403 and "<script>alert" not in hostile.text
    assert HOSTILE not in str(trail(office))


def test_thousands_of_tries_are_throttled_without_work_and_shut_nobody_out(office, serving, add):
    add("kim", "keeper")
    known = browser(office, "kim")
    known.cookies.pop("farspool")
    b = browser(office)
    fields = b.get("/log-in").form("/log-in") | {"name": "kim", "password": "not the words"}
    begin = time.monotonic()
    connection = http.client.HTTPConnection(b.host, timeout=60)
    body = "&".join(f"{k}={v.replace(' ', '+')}" for k, v in fields.items())
    headers = {"Content-Type": "application/x-www-form-urlencoded",
               "Cookie": f"farspool-form={b.cookies['farspool-form']}"}
    seen = {}
    tries = 10000 if os.environ.get("FSP_LONG") == "1" else 1500
    for _ in range(tries):
        connection.request("POST", "/log-in", body=body, headers=headers)
        answer = connection.getresponse()
        answer.read()
        seen[answer.status] = seen.get(answer.status, 0) + 1
    took = time.monotonic() - begin
    assert set(seen) == {403, 429} and seen[403] < 20, (seen, took)
    assert len(trail(office, "refused")) < 10
    # somebody else's browser waits, the one that was here before does not
    assert browser(office).log_in("kim", WORDS).status == 429
    office.stop()
    office.serve()
    assert Browser(office.pages).log_in("kim", WORDS).status == 429  # across a restart
    known.host = Browser(office.pages).host
    assert known.log_in("kim", WORDS).status == 303


# --- rights -------------------------------------------------------------------------------------


def test_each_role_sees_and_changes_what_it_may(office, serving, add):
    for name, role in (("ron", "reader"), ("ada", "auditor"), ("eve", "engineer"),
                       ("kim", "keeper")):
        add(name, role)
    for name, role in (("ron", "reader"), ("ada", "auditor"), ("eve", "engineer")):
        b = browser(office, name)
        assert b.get("/").status == 200
        page = b.get("/people")
        assert ("The trail" in page.text) == (role == "auditor")
        assert "A new account" not in page.text
        token = page.form("/log-out")["form"]
        change = {"form": token, "do": "add", "name": "new", "role": "keeper", "new": OTHER,
                  "again": OTHER, "password": WORDS}
        assert b.post("/people", change).status == 403
        if role != "engineer":
            flag = {"form": token, "rig": "heron", "mark": "early:1", "base": "0", "note": "x"}
            assert b.post("/acknowledge", flag).status == 403
    b = browser(office, "kim")
    page = b.get("/people")
    assert "The trail" in page.text and "eve" in page.text
    form = page.form("/people", do="add") | {"name": "new", "role": "reader", "new": OTHER,
                                             "again": OTHER}
    assert b.post("/people", form | {"password": "not mine"}).status == 403
    assert b.post("/people", form | {"password": WORDS, "again": "differs"}).status == 400
    assert b.post("/people", form | {"password": WORDS}).status == 303
    assert b.post("/people", form | {"password": WORDS}).status == 400  # sent twice
    assert {u["name"]: u["role"] for u in office.json("user", "list")}["new"] == "reader"
    assert [(t["by"], t["what"]) for t in trail(office, "account added")][:1] == [
        ("kim", "new as reader")]
    # a keeper cannot shut out the only keeper by mistake
    close = page.form("/people", do="close") | {"name": "kim", "password": WORDS}
    assert b.post("/people", close).status == 400


def test_ones_own_password_ends_every_session(office, serving, add):
    add("ron", "reader")
    b, elsewhere = browser(office, "ron"), browser(office, "ron")
    form = b.get("/people").form("/people", do="own-password")
    assert b.post("/people", form | {"password": WORDS, "new": "short", "again": "short"}
                  ).status == 400
    page = b.post("/people", form | {"password": WORDS, "new": OTHER, "again": OTHER})
    assert page.status == 303
    assert b.get("/").status == 303 and elsewhere.get("/").status == 303
    assert browser(office).log_in("ron", WORDS).status == 403
    assert browser(office).log_in("ron", OTHER).status == 303


# --- forms --------------------------------------------------------------------------------------


def test_forged_and_strange_requests_change_nothing(office, serving, add):
    add("kim", "keeper")
    add("lee", "keeper")
    kim, lee = browser(office, "kim"), browser(office, "lee")
    form = kim.get("/people").form("/people", do="close") | {"name": "lee", "password": WORDS}
    theirs = lee.get("/people").form("/people", do="close")["form"]
    for token in ("", "A" * 43, theirs, form["form"][:-1], "\u00e9"):
        assert kim.post("/people", form | {"form": token}).status in (400, 403)
    assert kim.post("/people", {k: v for k, v in form.items() if k != "form"}).status == 403
    assert kim.post("/people", form, {"Sec-Fetch-Site": "cross-site"}).status == 403
    assert kim.post("/people", form | {"other": "1"}).status == 400
    assert kim.post("/people", list(form.items()) + [("name", "kim")]).status == 400
    assert kim.post("/people", form | {"name": "x" * 64}).status == 400
    assert kim.ask("POST", "/people", b"name=%ff", {
        "Content-Type": "application/x-www-form-urlencoded"}).status == 400
    assert kim.ask("POST", "/people", b"{}", {"Content-Type": "application/json"}).status == 415
    assert kim.ask("PUT", "/people", b"").status == 405
    assert kim.ask("GET", "/log-out").status == 405
    big = kim.ask("POST", "/people", b"a" * 100000,
                  {"Content-Type": "application/x-www-form-urlencoded"})
    assert big.status == 413
    assert all(u["closed"] is None for u in office.json("user", "list"))
    for name in ("X-Long", "Cookie"):
        with socket.create_connection(kim.host.split(":")) as s:
            try:
                s.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n" + name.encode() + b": " + b"x" * 70000)
                s.sendall(b"\r\n\r\n")
                assert b" 200 " not in s.recv(4096).split(b"\r\n", 1)[0]
            except (BrokenPipeError, ConnectionResetError):
                pass  # hung up on before the end
    assert kim.get("/people").status == 200


def test_a_page_for_nothing_tells_nothing(office, serving, add):
    add("kim", "keeper")
    out = browser(office)
    for path in ("/rig?name=none", "/people", "/instruct?rig=none", "/entry"):
        assert out.get(path).status == 303, path
    assert out.get("/none").status == 404


# --- flags and instructions ---------------------------------------------------------------------


@pytest.fixture()
def heron(office, serving, rig_of, begin, work, tmp_path):
    """A rig whose records are at the office, with a cut long overdue."""
    rig = begin(rig_of("heron"))
    for hour in range(6, 14):
        work(rig, hour, depth="16000ft")
    carry(office, rig, tmp_path, 0)
    return rig


def carry(office, rig, folder, n):
    """There and back by courier."""
    out, receipt = folder / f"{n}.fsb", folder / f"{n}.receipt"
    rig.run("carry", "--out", out)
    office.run("take", out, "--receipt", receipt)
    rig.run("receipt", receipt)


def wait_for(b, path, want):
    end = time.monotonic() + 30
    while time.monotonic() < end:
        page = b.get(path)
        if want in page.text:
            return page
        time.sleep(0.1)
    raise AssertionError(f"{path} does not say {want}: {page.status} {page.text}")


def test_a_flag_that_two_acknowledge_is_not_overwritten_unseen(office, heron, add):
    add("eve", "engineer")
    add("max", "engineer")
    add("ron", "reader")
    eve, max_ = browser(office, "eve"), browser(office, "max")
    page = wait_for(eve, "/rig?name=heron", "/acknowledge")
    assert "/acknowledge" not in browser(office, "ron").get("/rig?name=heron").text
    mine, theirs = page.form("/acknowledge"), max_.get("/rig?name=heron").form("/acknowledge")
    assert mine["mark"] == theirs["mark"]
    hostile = "seen " + HOSTILE
    assert eve.post("/acknowledge", mine | {"note": ""}).status == 400
    done = eve.post("/acknowledge", mine | {"note": hostile})
    assert done.status == 303 and done.headers["Location"] == "/rig?name=heron"
    assert eve.post("/acknowledge", mine | {"note": hostile}).status == 303  # a double click
    stale = max_.post("/acknowledge", theirs | {"note": "my words"})
    assert stale.status == 409 and "eve" in stale.text and 'value="my words"' in stale.text
    again = stale.form("/acknowledge")
    assert max_.post("/acknowledge", again).status == 303  # now knowingly
    page = eve.get("/rig?name=heron")
    assert "<script>alert" not in page.text
    assert [(t["by"], t["what"].split(": ", 1)[1]) for t in trail(office, "acknowledged")] == [
        ("max", "my words"), ("eve", hostile)]
    forged = eve.post("/acknowledge", mine | {"form": "A" * 43, "note": "not lost"})
    assert forged.status == 403 and "not lost" in forged.text
    assert eve.post("/acknowledge", mine | {"mark": "early:none", "note": "x"}).status == 404
    assert eve.post("/acknowledge", mine | {"rig": "none", "note": "x"}).status == 404


def test_an_instruction_is_reviewed_signed_once_and_listed(office, heron, add, work, tmp_path):
    add("eve", "engineer")
    add("ron", "reader")
    ron, eve = browser(office, "ron"), browser(office, "eve")
    page = ron.get("/instruct?rig=heron")
    assert page.status == 200 and "Review the message" not in page.text
    assert eve.get("/instruct?rig=none").status == 404 == eve.get("/instruct").status
    form = eve.get("/instruct?rig=heron").form("/instruct", about="message")
    words = "Slip tonight.\nThen " + HOSTILE
    for text in ("", "  \n ", "bad \u202e", "x" * 4001):
        assert eve.post("/instruct", form | {"step": "review", "text": text}).status == 400
    page = eve.post("/instruct", form | {"step": "review", "text": words})
    assert page.status == 200 and "<script>alert" not in page.text
    assert office.json("instruct", "heron") == []  # nothing is signed by looking
    ready = page.form("/instruct")
    assert ready["text"].replace("\r\n", "\n") == words
    back = eve.post("/instruct", ready | {"step": "edit"})
    assert back.form("/instruct", about="message")["text"] == words
    token = ron.get("/instruct?rig=heron").form("/log-out")["form"]
    assert ron.post("/instruct", ready | {"step": "confirm", "form": token}).status == 403
    assert eve.post("/instruct", ready | {"step": "confirm", "form": "A" * 43}).status == 403
    assert office.json("instruct", "heron") == []
    first = eve.post("/instruct", ready | {"step": "confirm"})
    again = eve.post("/instruct", ready | {"step": "confirm"})  # a double click
    assert first.status == again.status == 303
    other = eve.post("/instruct", ready | {"step": "confirm", "text": "another text"})
    assert other.status == 400  # under the same id
    [item] = office.json("instruct", "heron")
    assert item["id"] == ready["id"] and item["body"] == words + "\n"
    shown = re.search(r'<pre class="signed".*?>(.*?)</pre>', page.text, re.S)[1]
    assert f"id {item['id']}" in shown and f"made {item['made']}" in shown
    assert [(t["by"], t["what"]) for t in trail(office, "instructed")] == [
        ("eve", f"heron: message {item['id']}")]
    assert "waiting" in eve.get("/instruct?rig=heron&sent=" + item["id"]).text
    work(heron, 15)
    carry(office, heron, tmp_path, 1)
    [_] = [e for e in heron.entries() if e["kind"] == "instruction"]
    carry(office, heron, tmp_path, 2)
    wait_for(eve, "/instruct?rig=heron", "in the rig&#39;s log")


def test_a_programme_changed_by_another_meanwhile_is_shown_and_nothing_typed_is_lost(
        office, heron, add):
    add("eve", "engineer")
    add("max", "engineer")
    eve, max_ = browser(office, "eve"), browser(office, "max")
    form = eve.get("/instruct?rig=heron").form("/instruct", about="program")
    assert form["cut"] == "90ft" and form["slips"] == "3"  # begins as it is in force
    theirs = max_.get("/instruct?rig=heron").form("/instruct", about="program")
    bad = eve.post("/instruct", form | {"step": "review", "cut": "90 apples"})
    assert bad.status == 400 and "90 apples" in bad.text
    mine = eve.post("/instruct", form | {"step": "review", "cut": "85ft"}).form("/instruct")
    ready = max_.post("/instruct", theirs | {"step": "review", "cut": "80ft"}).form("/instruct")
    assert max_.post("/instruct", ready | {"step": "confirm"}).status == 303
    stale = eve.post("/instruct", mine | {"step": "confirm"})
    assert stale.status == 409 and "was changed since" in stale.text
    typed = stale.form("/instruct", about="program")
    assert typed["cut"] == "85ft" and ready["id"] in stale.text
    assert len(office.json("instruct", "heron")) == 1
    ready = eve.post("/instruct", typed | {"step": "review"}).form("/instruct")
    assert eve.post("/instruct", ready | {"step": "confirm"}).status == 303
    bodies = [item["body"] for item in office.json("instruct", "heron")]
    assert ['"cut":"80ft"' in bodies[0], '"cut":"85ft"' in bodies[1]] == [True, True]
    # the command signs the same bytes for the same fields
    office.run("instruct", "heron", "program", "cut=85ft", "first-goal=1700 ton-miles",
               "later-goal=1500 ton-miles", "slips=3", "approved=eve")
    assert office.json("instruct", "heron")[2]["body"] == bodies[1]
    # what was reviewed long ago under a made-up time is shown again, not signed
    late = eve.post("/instruct", ready | {"step": "confirm", "made": "1", "id": "0" * 16,
                                          "base": eve.get("/instruct?rig=heron").form(
                                              "/instruct", about="program")["base"]})
    assert late.status == 200 and late.form("/instruct")["id"] != "0" * 16
    assert len(office.json("instruct", "heron")) == 3
