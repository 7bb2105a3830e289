"""Persons' keys and what they sign at the rig: made, shown, typed at a terminal, refused."""

import base64
import hashlib
import json
import os
import pty
import select
import shutil
import signal
import stat
import subprocess

import pytest
import verify

PASSPHRASE = "three wet ropes on a drum"
SEEN = ("by=clerk", "scope=monthly", "decision=run")


@pytest.fixture()
def words(tmp_path):
    path = tmp_path / "words"
    path.write_text(PASSPHRASE + "\n")
    return path


@pytest.fixture()
def ada(programs, tmp_path, words):
    path = tmp_path / "ada.signer"
    programs.run("rig", "signer", "new", "ada", "--fleet", "lantern-basin", "--out", path,
                 "--passphrase-from", words)
    return path


@pytest.fixture()
def rig(rig_of, begin):
    return begin(rig_of())


def public_key(vkey):
    raw = base64.b64decode(vkey.split("+", 2)[2])
    assert raw[0] == 1
    return raw[1:]


def message_of(line):
    """The message of docs/formats.md section 15, by jq."""
    if shutil.which("jq") is None:
        pytest.skip("jq is not installed")
    cut = subprocess.run(["jq", "-cS", "del(.noted,.sig)"], input=line, capture_output=True,
                         text=True, check=True).stdout.rstrip("\n")
    return b"farspool-inspection/v1\n" + cut.encode()


def test_a_key_is_made_once_private_and_shown_without_its_passphrase(programs, tmp_path, words):
    path = tmp_path / "ada.signer"
    args = ("signer", "new", "ada", "--fleet", "lantern-basin", "--out", path,
            "--passphrase-from", words)
    made = programs.json("rig", *args)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    before = path.read_bytes()
    assert programs.json("rig", "signer", "show", path) == made
    assert made["fingerprint"] == hashlib.sha256(made["verifier_key"].encode()).hexdigest()
    assert made["verifier_key"].startswith("lantern-basin/signer:ada+")
    assert PASSPHRASE.encode() not in before
    refused = programs.run("rig", *args, status=64)
    assert "it is not replaced" in refused.stderr
    assert path.read_bytes() == before
    text = programs.run("rig", "signer", "show", path).stdout
    assert made["verifier_key"] in text and made["fingerprint"] in text


@pytest.mark.parametrize("args, says", [
    (("new", "ada"), "--fleet FLEET and --out FILE are needed"),
    (("new", "Ada L.", "--fleet", "lantern-basin", "--out", "x"), "inner '-'"),
    (("new", "\x1b[2J", "--fleet", "lantern-basin", "--out", "x"), "inner '-'"),
    (("new", "ada", "--fleet", "Lantern", "--out", "x"), "inner '-'"),
    (("new",), "signer new NAME"),
    (("make", "ada"), "signer takes new, show or passphrase"),
    (("new", "ada", "--fleet", "lantern-basin", "--out", "x"), "give --passphrase-from FILE"),
])
def test_what_cannot_be_a_key_is_refused_and_nothing_prompts(programs, tmp_path, args, says):
    done = programs.run("rig", "signer", *args, status=64, cwd=tmp_path,
                        stdin=subprocess.DEVNULL)
    assert says in done.stderr and "\x1b" not in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("text, says, status", [
    ("short\n", "at least 10 characters", 64),
    ("\n", "empty", 64),
    ("", "empty", 64),
    ("x" * 1025 + "\n", "at most 1024 bytes", 1),
    ("ten\0characters\n", "no zero bytes", 1),
])
def test_a_passphrase_that_will_not_do_makes_no_key(programs, tmp_path, text, says, status):
    (tmp_path / "words").write_text(text)
    done = programs.run("rig", "signer", "new", "ada", "--fleet", "lantern-basin", "--out",
                        tmp_path / "ada.signer", "--passphrase-from", tmp_path / "words",
                        status=status)
    assert says in done.stderr and len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "ada.signer").exists()


def test_another_passphrase_takes_the_old_ones_place(programs, tmp_path, ada, words):
    other = tmp_path / "other"
    other.write_text("four dry ropes in a shed\r\nsecond line\n")
    before = programs.json("rig", "signer", "show", ada)
    programs.run("rig", "signer", "passphrase", ada, "--passphrase-from", words,
                 "--new-passphrase-from", other)
    assert programs.json("rig", "signer", "show", ada) == before
    kept = ada.read_bytes()
    done = programs.run("rig", "signer", "passphrase", ada, "--passphrase-from", words,
                        "--new-passphrase-from", other, status=2)
    assert "passphrase is wrong" in done.stderr
    assert ada.read_bytes() == kept and stat.S_IMODE(ada.stat().st_mode) == 0o600
    other.write_text("four dry ropes in a shed")
    programs.run("rig", "signer", "passphrase", ada, "--passphrase-from", other,
                 "--new-passphrase-from", words)


def test_both_passphrases_come_from_standard_input_line_by_line(programs, ada, words):
    done = programs.run("rig", "signer", "passphrase", ada, "--passphrase-from", "-",
                        "--new-passphrase-from", "-",
                        input=f"{PASSPHRASE}\nfour dry ropes in a shed\n")
    assert "the new passphrase holds" in done.stdout


def test_an_inspection_is_filled_from_store_and_key_and_signed(programs, rig, ada, words):
    done = rig.enter("inspection", "at=2025-03-02T06:00:00Z", *SEEN, "--signer", ada,
                     "--passphrase-from", words)
    assert "no roster has come from the office" in done.stderr
    line = rig.run("print").stdout.splitlines()[-1]
    entry = json.loads(line)
    assert {k: entry[k] for k in ("fleet", "rig", "reel", "inspector")} == {
        "fleet": "lantern-basin", "rig": "heron", "reel": "LB-1", "inspector": "ada"}
    pub = public_key(programs.json("rig", "signer", "show", ada)["verifier_key"])
    sig = base64.b64decode(entry["sig"])
    assert verify.signed(pub, message_of(line), sig)
    assert not verify.signed(pub, message_of(line.replace("run", "cut")), sig)


def test_a_countersignature_covers_the_leaf(programs, rig, ada, words):
    rig.enter("slip", "at=2025-03-02T06:00:00Z", "by=clerk", "length=30ft")
    rig.enter("countersign", "at=2025-03-02T07:00:00Z", "by=clerk", "entry=4", "--signer", ada,
              "--passphrase-from", words)
    lines = rig.run("print").stdout.splitlines()
    leaf = hashlib.sha256(b"\0" + lines[4].encode()).digest()
    entry = json.loads(lines[5])
    assert entry["signer"] == "ada" and base64.b64decode(entry["entry"]["leaf"]) == leaf
    pub = public_key(programs.json("rig", "signer", "show", ada)["verifier_key"])
    assert verify.signed(pub, b"farspool-countersign/v1\n" + leaf,
                                 base64.b64decode(entry["sig"]))


@pytest.mark.parametrize("kind, fields, says", [
    ("inspection", ("inspector=ben",), "field inspector: 'ben', but the key's owner is ada"),
    ("inspection", ("rig=plover",), "field rig: 'plover', but this store's rig is heron"),
    ("inspection", ("fleet=plover-bay",), "this store's fleet is lantern-basin"),
    ("inspection", ("reel=LB-l",), "never hung by this store's records; the line hung now is"),
    ("inspection", ("sig=" + "A" * 86 + "==",), "leave one of them out"),
    ("inspection", ("decision=perhaps",), "field decision"),
    ("countersign", ("entry=0", "signer=ben"), "field signer: 'ben', but the key's owner is"),
    ("slip", ("length=30ft",), "kind slip is not signed by a person"),
])
def test_what_contradicts_store_or_key_is_refused_before_the_passphrase(rig, ada, kind, fields,
                                                                        says):
    given = SEEN if kind == "inspection" else ("by=clerk",)
    names = [f.split("=")[0] for f in fields]
    given = [f for f in given if f.split("=")[0] not in names]
    done = rig.enter(kind, "at=2025-03-02T06:00:00Z", *given, *fields, "--signer", ada,
                     status=(1, 64), stdin=subprocess.DEVNULL)
    assert says in done.stderr and len(done.stderr.splitlines()) == 1, done.stderr
    assert rig.size() == 4


@pytest.mark.parametrize("fields", [("rig=plover",), ("fleet=plover-bay",), ("reel=LB-9",)])
def test_an_unsigned_inspection_of_something_else_is_refused_too(rig, fields):
    rig.enter("inspection", "at=2025-03-02T06:00:00Z", *SEEN, "inspector=ada", *fields, status=64)
    assert rig.size() == 4


def test_a_reel_is_inspected_before_it_is_hung(rig):
    rig.enter("inspection", "at=2025-03-02T06:00:00Z", "by=clerk", "scope=before-use",
              "decision=run", "inspector=ada", "reel=LB-2")
    assert rig.entries()[-1]["reel"] == "LB-2"


def test_an_unsigned_inspection_is_taken_and_told(rig):
    done = rig.enter("inspection", "at=2025-03-02T06:00:00Z", *SEEN, "inspector=ada")
    assert "unsigned: " in done.stderr and "--signer FILE" in done.stderr
    assert "sig" not in rig.entries()[-1]


def test_a_key_that_fails_enters_nothing(rig, ada, tmp_path, words):
    def refused(status, key=ada, text=PASSPHRASE):
        done = rig.enter("inspection", "at=2025-03-02T06:00:00Z", *SEEN, "--signer", key,
                         "--passphrase-from", "-", input=text + "\n", status=status)
        assert len(done.stderr.splitlines()) == 1, done.stderr
        assert text not in done.stderr + done.stdout
        assert rig.size() == 4
        return done.stderr
    assert "the passphrase is wrong, or the key file was altered" in refused(2, text="wrong one ok")
    assert "No such file" in refused(1, key=tmp_path / "none")
    ada.chmod(0o640)
    assert "chmod 600" in refused(1)
    ada.chmod(0o600)
    whole = ada.read_bytes()
    ada.write_bytes(whole[:-1])
    assert "no key file of the form" in refused(1)
    ada.write_bytes(whole)
    other = tmp_path / "far.signer"
    rig.p.run("rig", "signer", "new", "ada", "--fleet", "far-basin", "--out", other,
              "--passphrase-from", words)
    assert "a signer of fleet far-basin" in refused(64, key=other)


def test_a_signature_made_elsewhere_is_taken_with_the_day_sheet(rig, ada, words, tmp_path):
    rig.enter("inspection", "at=2025-03-02T06:00:00Z", *SEEN, "--signer", ada,
              "--passphrase-from", words)
    line = rig.run("print").stdout.splitlines()[-1]
    record = json.loads(line)
    del record["noted"]
    again = type(rig)(rig.p, rig.name, tmp_path / "R-again").init(tmp_path / "heron.invitation")
    (tmp_path / "day.jsonl").write_text(json.dumps(record) + "\n")
    again.run("take", tmp_path / "day.jsonl")
    taken = again.run("print").stdout.splitlines()[-1]
    assert json.loads(taken)["sig"] == record["sig"]
    assert message_of(taken) == message_of(line)


class Terminal:
    """A program on a terminal of its own, answered prompt by prompt."""

    def __init__(self, command):
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            try:
                os.execv(command[0], [str(word) for word in command])
            finally:
                os._exit(127)
        self.shown = b""

    def more(self):
        """What is shown next; b"" at the end."""
        ready, _, _ = select.select([self.fd], [], [], 60)
        if not ready:
            os.kill(self.pid, signal.SIGKILL)
            raise AssertionError(f"nothing more after {self.shown!r}")
        try:
            return os.read(self.fd, 4096)
        except OSError:  # the other end is closed
            return b""

    def until(self, text):
        while text not in self.shown:
            more = self.more()
            assert more, self.shown
            self.shown += more

    def type(self, text):
        os.write(self.fd, text)

    def end(self):
        for more in iter(self.more, b""):
            self.shown += more
        os.close(self.fd)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


@pytest.fixture()
def new_at_terminal(programs, tmp_path):
    return Terminal([os.path.join(programs.folder, "farspool-rig"), "signer", "new", "ada",
                     "--fleet", "lantern-basin", "--out", tmp_path / "ada.signer"])


def test_a_passphrase_is_typed_twice_and_never_shown(new_at_terminal, programs, tmp_path, words):
    terminal = new_at_terminal
    terminal.until(b"a passphrase for the new key: ")
    terminal.type(PASSPHRASE.encode() + b"\n")
    terminal.until(b"the same again: ")
    terminal.type(PASSPHRASE.encode() + b"\n")
    assert terminal.end() == 0, terminal.shown
    assert PASSPHRASE.encode() not in terminal.shown
    assert b"fingerprint" in terminal.shown
    programs.run("rig", "signer", "passphrase", tmp_path / "ada.signer", "--passphrase-from",
                 words, "--new-passphrase-from", words)


def test_two_that_differ_make_no_key(new_at_terminal, tmp_path):
    terminal = new_at_terminal
    terminal.until(b"a passphrase for the new key: ")
    terminal.type(PASSPHRASE.encode() + b"\n")
    terminal.until(b"the same again: ")
    terminal.type(b"three wet ropes on a Drum\n")
    assert terminal.end() == 64
    assert b"the two passphrases differ" in terminal.shown
    assert not (tmp_path / "ada.signer").exists()


def test_an_interrupt_ends_it_and_gives_the_terminal_back(new_at_terminal, tmp_path):
    terminal = new_at_terminal
    terminal.until(b"a passphrase for the new key: ")
    terminal.type(b"\x03")
    assert terminal.end() == -2
    assert not (tmp_path / "ada.signer").exists()
