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
    for path in ("/rig?name=none", "/people", "/entry?rig=none&log=0&entry=1"):
        assert out.get(path).status == 303, path
    assert out.get("/none").status == 404
