"""TLS between rig and office: trusted by the invitation's pins, and by nothing else."""

import http.server
import os
import ssl
import subprocess
import threading
import urllib.request

import pytest

import programs as drive
import season

YEARS_20 = 20 * 365 * 86400


@pytest.fixture()
def secure(office):
    """The office, its intake over TLS."""
    return office.serve(listen="https://127.0.0.1:0")


@pytest.fixture()
def tls_proxy(secure):
    with drive.LinkProxy(secure.address, drive.Link(seed=11)) as link:
        link.https = link.url.replace("http://", "https://")
        yield link


def same(office, rig, n):
    mine, theirs = drive.same_records(office, rig)
    assert mine == theirs
    assert mine[0] == n


def untouched(rig, n=4):
    state = rig.json("check")
    assert (state["state"], state["pending"], state["receipted"]) == ("sound", n, 0)


def test_a_push_over_tls_arrives(office, secure, rig_of, begin):
    assert secure.intake.startswith("https://")
    rig = begin(rig_of("heron", secure.intake))
    rig.run("push", "--patience", "30")
    same(office, rig, 4)
    assert rig.json("check")["pending"] == 0


@pytest.mark.parametrize("seed", (1, 2))
def test_cuts_and_outages_over_tls_lose_and_double_nothing(office, tls_proxy, rig_of, tmp_path,
                                                           seed):
    tls_proxy.link = drive.Link(seed=seed, delay_ms=5, rate_bps=2_000_000, cut_chance=0.6,
                                outage_chance=0.3, outage_ms=80)
    rig = rig_of("heron", tls_proxy.https)
    sim = season.season(seed, 8, ["heron"])["heron"]
    for day, rows in sim.sheets().items():
        path = tmp_path / f"{day}.csv"
        path.write_text(season.as_csv(rows))
        rig.run("take", path)
        rig.run("push", "--patience", "0", status=(0, 69))
    tls_proxy.link = drive.Link(seed=seed)
    rig.run("push", "--patience", "60")
    same(office, rig, len(sim.records))
    assert tls_proxy.cuts + tls_proxy.outages > 0, f"seed {seed} spoiled nothing"


def test_another_key_is_refused_and_changes_nothing(programs, office, rig_of, begin, tmp_path):
    """Another office answers at the address, soundly, with its own key."""
    other = drive.Office(programs, tmp_path / "other" / "O", fleet="plain")
    os.mkdir(tmp_path / "other")
    other.init()
    with other.serving(listen="https://127.0.0.1:0"):
        rig = begin(rig_of("heron", other.intake))
        done = rig.run("push", "--patience", "0", status=69)
        assert done.stderr.count("\n") == 1, done.stderr
        assert "not the office's" in done.stderr and "pins" in done.stderr
        untouched(rig)
        assert other.json("fleet") == []


@pytest.mark.parametrize("shift", (-YEARS_20, YEARS_20))
def test_a_rig_whose_clock_is_20_years_off_still_gets_through(office, secure, rig_of, begin, shift):
    rig = begin(rig_of("heron", secure.intake))
    preload = os.path.join(rig.p.folder, "libfakeclock.so")
    assert os.path.exists(preload)
    rig.run("push", "--patience", "30", env={"LD_PRELOAD": preload, "FSP_CLOCK_SHIFT": str(shift)})
    same(office, rig, 4)


def test_the_spare_key_takes_over_without_a_word_to_the_rigs(office, secure, rig_of, begin, work):
    rig = begin(rig_of("heron", secure.intake))
    rig.run("push", "--patience", "30")
    port = secure.intake.rsplit(":", 1)[1]
    office.stop()
    keys = os.path.join(office.store, "keys")
    os.rename(os.path.join(keys, "tls-spare.key"), os.path.join(keys, "tls.key"))
    office.serve(listen=f"https://127.0.0.1:{port}")
    work(rig, 5)
    rig.run("push", "--patience", "30")
    same(office, rig, 5)


def test_a_lost_certificate_is_made_anew_and_rigs_go_on(office, secure, rig_of, begin, work):
    rig = begin(rig_of("heron", secure.intake))
    port = secure.intake.rsplit(":", 1)[1]
    office.stop()
    os.unlink(os.path.join(office.store, "keys", "tls.crt"))
    office.serve(listen=f"https://127.0.0.1:{port}")
    rig.run("push", "--patience", "30")
    same(office, rig, 4)


def test_a_store_from_before_tls_gets_its_keys_with_the_first_https_invitation(office, tmp_path):
    keys = os.path.join(office.store, "keys")
    for name in ("tls.key", "tls-spare.key", "tls.crt"):
        os.unlink(os.path.join(keys, name))
    plain = office.run("invite", "heron", "--out", tmp_path / "a", "--url", "http://127.0.0.1:1")
    assert plain.stderr == ""
    assert "\npin " not in (tmp_path / "a").read_text()
    done = office.run("invite", "heron", "--out", tmp_path / "b", "--url", "https://127.0.0.1:1")
    assert "made the office's TLS key" in done.stderr
    assert (tmp_path / "b").read_text().count("\npin ") == 2
    again = office.run("invite", "heron", "--out", tmp_path / "c", "--url", "https://127.0.0.1:1")
    assert again.stderr == ""
    for name in ("tls.key", "tls-spare.key"):
        path = os.path.join(keys, name)
        assert os.stat(path).st_mode & 0o777 == 0o600
        with open(path, encoding="ascii") as f:
            secret = f.read().splitlines()[1]
        assert secret not in done.stdout + done.stderr + (tmp_path / "b").read_text()


def test_pages_may_be_served_over_tls_too(office):
    office.serve(pages="https://127.0.0.1:0")
    assert office.pages.startswith("https://")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    with urllib.request.urlopen(office.pages + "/", context=context, timeout=60) as page:
        assert page.status == 200
        assert page.headers["Content-Security-Policy"]


class Portal(http.server.BaseHTTPRequestHandler):
    """Answers that the office did not sign."""

    def do_POST(self):
        self.rfile.read(int(self.headers.get("Content-Length", 0)))
        status, headers, body = self.answer
        self.seen.append(self.path)
        self.send_response(status)
        for k, v in headers.items():
            self.send_header(k, v)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_):
        pass


class Quiet(http.server.ThreadingHTTPServer):
    def handle_error(self, *_):
        pass  # a handshake that a rig broke off


def portal(answer, cert, key, newest=None):
    """(server, what it was asked) over TLS with that key."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(cert, key)
    if newest is not None:
        context.maximum_version = newest
    handler = type("P", (Portal,), {"answer": answer, "seen": []})
    server = Quiet(("127.0.0.1", 0), handler)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server, handler.seen


def stop(server):
    server.shutdown()
    server.server_close()


@pytest.mark.parametrize("status, headers, body", (
    (200, {"Content-Type": "text/html"}, b"<html>Welcome to the guest network</html>"),
    (302, {"Location": "https://127.0.0.1:9/"}, b""),
    (302, {"Location": "http://127.0.0.1:9/"}, b""),
    (409, {}, b"farspool-answer/v1\n409\n"),
    (422, {}, b"<html>"),
    (429, {"Retry-After": "3600"}, b""),
), ids=lambda v: str(v) if isinstance(v, int) else "")
def test_what_is_not_signed_only_delays_even_under_the_offices_own_key(office, rig_of, begin,
                                                                       status, headers, body):
    """Whoever has the TLS key can delay, and nothing more: answers are believed by signature."""
    keys = os.path.join(office.store, "keys")
    server, seen = portal((status, headers, body), os.path.join(keys, "tls.crt"),
                          os.path.join(keys, "tls.key"))
    try:
        rig = begin(rig_of("heron", f"https://127.0.0.1:{server.server_address[1]}"))
        done = rig.run("push", "--patience", "0", status=None)
        assert done.returncode in (1, 69, 75), done
        assert done.stderr, "it says why"
        assert seen == ["/bundle"], "asked once, and no redirect followed"
        untouched(rig)
    finally:
        stop(server)


@pytest.fixture()
def foreign(tmp_path):
    """A key of a stranger, with a certificate that names the address and is in its days."""
    key, cert = tmp_path / "k.pem", tmp_path / "c.pem"
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt",
                    "ec_paramgen_curve:P-256", "-nodes", "-keyout", key, "-out", cert, "-days", "9",
                    "-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"],
                   check=True, capture_output=True)
    return cert, key


def test_a_portal_over_tls_sees_no_bundle(rig_of, begin, foreign):
    server, seen = portal((200, {}, b"welcome"), *foreign)
    try:
        rig = begin(rig_of("heron", f"https://127.0.0.1:{server.server_address[1]}"))
        done = rig.run("push", "--patience", "0", status=69)
        assert "not the office's" in done.stderr
        assert not seen
        untouched(rig)
    finally:
        stop(server)


def test_an_older_tls_is_not_spoken_even_with_the_right_key(office, rig_of, begin):
    keys = os.path.join(office.store, "keys")
    server, seen = portal((200, {}, b""), os.path.join(keys, "tls.crt"),
                          os.path.join(keys, "tls.key"), newest=ssl.TLSVersion.TLSv1_2)
    try:
        rig = begin(rig_of("heron", f"https://127.0.0.1:{server.server_address[1]}"))
        rig.run("push", "--patience", "0", status=69)
        assert not seen
        untouched(rig)
    finally:
        stop(server)
