"""The service units in conf/: sound, sandboxed, and of these programs."""

import pathlib
import re
import shutil
import subprocess

import pytest

CONF = pathlib.Path(__file__).resolve().parents[2] / "conf"
UNITS = ("farspool-rig.service", "farspool-office.service")
MOST_EXPOSED = 20  # of 100, as systemd-analyze reckons it

needs_systemd = pytest.mark.skipif(shutil.which("systemd-analyze") is None,
                                   reason="systemd-analyze is not there: units are not verified")


def keys(unit):
    """key: values, in order."""
    found = {}
    for line in (CONF / unit).read_text().splitlines():
        m = re.match(r"(\w+)=(.*)", line)
        if m:
            found.setdefault(m[1], []).append(m[2])
    return found


@needs_systemd
@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_verifies(programs, tmp_path, unit):
    text = (CONF / unit).read_text().replace("/usr/bin/farspool-", f"{programs.folder}/farspool-")
    here = tmp_path / unit
    here.write_text(text)
    done = subprocess.run(["systemd-analyze", "verify", "--man=no", here], capture_output=True,
                          text=True, timeout=60, check=False)
    ours = [line for line in done.stderr.splitlines() if unit in line]
    assert not ours and done.returncode == 0, done.stderr


@needs_systemd
@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_is_sandboxed(unit):
    done = subprocess.run(["systemd-analyze", "security", "--offline=yes",
                           f"--threshold={MOST_EXPOSED}", CONF / unit], capture_output=True,
                          text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout[-2000:]


@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_starts_a_command_there_is_and_may_write_its_store(programs, unit):
    found = keys(unit)
    program, command = found["ExecStart"][0].removeprefix("/usr/bin/farspool-").split()
    assert programs.run(program, command, "--help").stdout
    store = re.search(r"^store = (.*)$", (CONF / f"{program}.conf").read_text(), re.M)[1]
    # One folder below the one that is the user's own: init makes it whole beside its place.
    assert store == f"/var/lib/{found['StateDirectory'][0]}/store"
    assert found["Type"] == ["notify"] and "WatchdogSec" in found
    assert found["SystemCallErrorNumber"] == ["EPERM"], "a call refused is an error, not an end"
