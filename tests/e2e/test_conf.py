"""The example configuration is what the programs take, and a mistake in it is named."""

import os
import pathlib
import re
import subprocess

import pytest

BIN = pathlib.Path(os.environ["FSP_BIN"])
CONF = pathlib.Path(__file__).parents[2] / "conf"


def run(*args, **env):
    return subprocess.run([str(a) for a in args], env=dict(os.environ, **env), capture_output=True,
                          text=True, timeout=30)


def with_store(path, name, store):
    text = (CONF / name).read_text()
    changed = re.sub(r"^store = .*$", f"store = {store}", text, flags=re.M)
    assert changed != text
    path.write_text(changed)
    return path


def test_a_fleet_runs_from_the_example_configuration(tmp_path):
    office = with_store(tmp_path / "office.conf", "office.conf", tmp_path / "O")
    rig = with_store(tmp_path / "rig.conf", "rig.conf", tmp_path / "R")
    steps = [
        ("farspool-office", "init", "--conf", office, "--fleet", "lantern-basin"),
        ("farspool-office", "invite", "heron", "--conf", office, "--out", tmp_path / "i"),
        ("farspool-rig", "init", "--invitation", tmp_path / "i"),
        ("farspool-rig", "enter", "slip", "at=2026-03-01T00:00:00Z", "by=clerk", "length=30ft"),
        ("farspool-rig", "check"),
        ("farspool-office", "check", "--conf", office),
    ]
    for program, *args in steps:
        done = run(BIN / program, *args, FARSPOOL_RIG_CONF=str(rig))
        assert done.returncode == 0, done.stderr
    assert (tmp_path / "R" / "journal.db").exists() and (tmp_path / "O" / "shelf.db").exists()


@pytest.mark.parametrize("line,want", [
    ("colour = blue", "colour"),
    ("every-s = soon", "every-s"),
    ("every-s = 0", "every-s"),
    ("[drum]", None),
])
def test_a_mistake_is_named_with_its_line(tmp_path, line, want):
    path = tmp_path / "rig.conf"
    path.write_text(f"[rig]\n{line}\n" if want else f"{line}\nwraps = 3\n")
    done = run(BIN / "farspool-rig", "check", FARSPOOL_RIG_CONF=str(path))
    assert done.returncode in (1, 64)
    assert done.stderr.count("\n") == 1
    assert str(path) in done.stderr and "2" in done.stderr
    if want:
        assert want in done.stderr
