"""A person's key file while it is written: whole or not there, old or new, at every durable step."""

import json

import pytest
from test_io_faults import BIN, each_fault, run

OLD, NEW = "three wet ropes on a drum", "four dry ropes in a shed"


def signer(*args, **kw):
    return run(BIN / "farspool-rig", "signer", *args, **kw)


@pytest.fixture()
def place(tmp_path):
    (tmp_path / "base").mkdir()
    for name, text in (("old", OLD), ("new", NEW)):
        (tmp_path / name).write_text(text + "\n")
    return tmp_path


def opens(path, words):
    """Whether the passphrase opens the file; it is put under itself again to see."""
    done = signer("passphrase", path, "--passphrase-from", words, "--new-passphrase-from", words,
                  expect=None)
    assert done.returncode in (0, 2), done.stderr.decode()
    return done.returncode == 0


def make(folder, words, **kw):
    return signer("new", "ada", "--fleet", "lantern-basin", "--out", folder / "ada.signer",
                  "--passphrase-from", words, **kw)


def test_a_new_key_is_there_whole_or_not_at_all(place):
    def after(copy, done):
        path = copy / "ada.signer"
        if done.returncode == 0:
            assert path.exists(), "told, but not there"
        else:
            assert done.returncode < 0 or done.stderr.strip(), "failed in silence"
        if path.exists():
            assert opens(path, place / "old"), "half a key file"
        else:
            make(copy, place / "old")

    each_fault(place, lambda copy, **kw: make(copy, place / "old", **kw), after)


def test_a_changed_passphrase_leaves_the_old_file_or_the_new_one(place):
    make(place / "base", place / "old")
    key = json.loads(signer("show", place / "base/ada.signer", "--json").stdout)
    kept = (place / "base/ada.signer").read_bytes()

    def after(copy, done):
        path = copy / "ada.signer"
        assert json.loads(signer("show", path, "--json").stdout) == key
        assert path.stat().st_mode & 0o777 == 0o600
        if path.read_bytes() == kept:
            assert done.returncode != 0, "told, but not done"
            assert done.returncode < 0 or done.stderr.strip(), "failed in silence"
        else:
            assert opens(path, place / "new"), "neither the old file nor the new one"

    each_fault(place, lambda copy, **kw: signer(
        "passphrase", copy / "ada.signer", "--passphrase-from", place / "old",
        "--new-passphrase-from", place / "new", **kw), after)
