"""A fleet scripted with the documented words as they stand, and the README as printed."""

import json
import os
import pathlib
import re
import shlex
import shutil
import socket
import subprocess

import pytest
from conftest import TESTS

import programs as drive

LIMIT_S = 120

# The commands anyone may script a fleet with: these words are fixed.
SCRIPT = """
farspool-office init --store O --fleet lantern-basin
farspool-office invite heron --store O --url http://127.0.0.1:8463 --out heron.invitation
farspool-rig init --store R --invitation heron.invitation
farspool-rig enter rig --store R at=2026-03-01T00:00:00Z by=clerk mast=142ft drum=30in block=47000lb
farspool-rig take --store R march.csv
farspool-rig carry --store R --out heron.fsb
farspool-office take heron.fsb --store O --receipt heron.receipt
farspool-rig receipt heron.receipt --store R
farspool-office serve --store O --listen 127.0.0.1:8463 --pages 127.0.0.1:8464
farspool-rig enter slip --store R at=2026-03-31T00:00:00Z by=clerk length=30ft
farspool-rig push --store R
farspool-office prove heron 41 --store O --out E
farspool-audit verify E/41.record.json
"""

HEAD = ("kind,at,by,op,depth,pipe,stand,bha-weight,bha-length,mud,"
        "reel,rope,grade,received,strung,lines")
SHEET = [
    HEAD,
    "reel,2026-03-01T01:00:00Z,clerk,,,,,,,,A-17,1-3/8in,EIPS,7500ft,1800ft,10",
    "drill-string,2026-03-01T02:00:00Z,clerk,,,19.5lb/ft,93ft,45000lb,600ft,10.2ppg,,,,,,",
] + [f"work,2026-03-{2 + i // 3:02}T{6 + 8 * (i % 3):02}:00:00Z,clerk,round-trip,{9000 + i}ft"
     + "," * 11 for i in range(45)]


def free_ports(n):
    held = [socket.create_server(("127.0.0.1", 0)) for _ in range(n)]
    ports = [s.getsockname()[1] for s in held]
    for s in held:
        s.close()
    return ports


class Shell:
    """Runs the lines of a document in a folder of its own; what serves goes on until the end."""

    def __init__(self, folder, programs):
        self.folder = folder
        self.env = dict(programs.env, PATH=f"{programs.folder}:{os.environ['PATH']}")
        self.intake, self.pages = free_ports(2)
        self.serving = []

    def run(self, line, status=0):
        line = line.replace("127.0.0.1:8463", f"127.0.0.1:{self.intake}")
        line = line.replace("127.0.0.1:8464", f"127.0.0.1:{self.pages}")
        words = shlex.split(line, comments=True)
        if words[1] == "serve":
            process = subprocess.Popen(words, cwd=self.folder, env=self.env, text=True,
                                       stdout=subprocess.PIPE)
            self.serving.append(process)
            return process.stdout.readline()
        done = subprocess.run(words, cwd=self.folder, env=self.env, capture_output=True, text=True,
                              timeout=LIMIT_S, stdin=subprocess.DEVNULL)
        assert done.returncode == status, f"{line}: exit {done.returncode}\n{done.stderr}"
        return done.stdout

    def json(self, line):
        return json.loads(self.run(line))

    def end(self):
        for process in self.serving:
            process.terminate()
        for process in self.serving:
            assert process.wait(30) == 0
            process.stdout.close()


@pytest.fixture()
def shell(tmp_path, programs):
    shell = Shell(tmp_path, programs)
    yield shell
    shell.end()


def test_the_scripted_fleet_runs_as_documented(shell):
    (shell.folder / "march.csv").write_text("\n".join(SHEET) + "\n")
    for line in SCRIPT.split("\n"):
        if line:
            shell.run(line)
    rig, office = shell.json("farspool-rig check --store R --json"), shell.json(
        "farspool-office rig heron --store O --json")
    assert rig["size"] == office["size"] == 1 + len(SHEET) - 1 + 1
    assert rig["root"] == office["root"]
    names = sorted(p.name for p in (shell.folder / "E").iterdir())
    assert {"41.record.json", "41.tlog-proof", "trust.tlog-policy"} <= set(names)
    entry = shell.run("farspool-rig print 41 41 --store R").rstrip("\n")
    assert (shell.folder / "E/41.record.json").read_text() == entry
    fleet = shell.json("farspool-office fleet --store O --json")
    assert [r["rig"] for r in fleet] == ["heron"]
    assert shell.json("farspool-office early --store O --json") == []
    assert shell.run("farspool-rig line --store R").strip()
    assert shell.run("farspool-office fleet --store O --csv").count("\n") >= 2


def readme_commands(section):
    """The indented lines of a README section, comments and all."""
    text = (TESTS.parent / "README.md").read_text()
    part = re.search(rf"^## {re.escape(section)}\n(.*?)(?=^## )", text, re.M | re.S)[1]
    return [line.strip() for line in part.split("\n") if line.startswith("    ")]


def test_the_readme_runs_as_printed(shell):
    (shell.folder / "march.csv").write_text(
        "kind,at,by,op,depth\nwork,2026-03-03T06:00:00Z,clerk,round-trip,9400ft\n")
    commands = readme_commands("A fleet on one machine")
    assert len(commands) >= 18
    for line in commands:
        if " carry " in line:
            # Over the link or by courier: after a push the courier needs something to carry.
            shell.run("farspool-rig enter slip --store R at=2026-03-04T06:00:00Z by=clerk "
                      "length=30ft")
        out = shell.run(line)
        if "--template" in line:
            assert out.startswith("at,kind") or "kind" in out.split(",")
        if " verify " in line:
            assert out.startswith("VERIFIED")
    assert (shell.json("farspool-rig check --store R --json")["root"]
            == shell.json("farspool-office rig heron --store O --json")["root"])


def test_the_readme_reckons_without_a_store(shell):
    commands = readme_commands("Without a store")
    assert len(commands) == 4
    for line in commands:
        assert shell.run(line).strip()
        assert isinstance(shell.json(line + " --json")["assumed"], list)


# --- several logs of one rig -------------------------------------------------------------------

def test_a_rig_with_two_logs_is_one_rig_in_the_office(office, rig_of, begin, work, tmp_path):
    """A second invitation makes a second log: the office keeps both and folds them as one rig."""
    first = begin(rig_of())
    work(first, 6)
    second = rig_of(store="heron-again")
    work(second, 12)
    work(second, 18)
    for n, rig in enumerate((first, second)):
        rig.run("carry", "--out", tmp_path / f"{n}.fsb")
        office.run("take", tmp_path / f"{n}.fsb", "--receipt", tmp_path / f"{n}.receipt")
        rig.run("receipt", tmp_path / f"{n}.receipt")
    heron = office.json("rig", "heron")
    assert sorted(log["size"] for log in heron["logs"]) == [2, 5]
    assert {log["root"] for log in heron["logs"]} == {r.json("check")["root"]
                                                       for r in (first, second)}
    assert heron["size"] == 2, "the current log is the one begun last"
    assert heron["ledger"]["entries"] == 7
    alone = first.json("line")["ledger"]["ton_miles_line"]
    assert heron["ledger"]["ton_miles_line"] == pytest.approx(3 * alone)
    assert len(office.json("fleet")) == 1
    office.run("check")


def test_each_log_proves_its_own_entries(programs, office, rig_of, begin, work, tmp_path):
    first = begin(rig_of())
    second = rig_of(store="heron-again")
    work(second, 12)
    for n, rig in enumerate((first, second)):
        rig.run("carry", "--out", tmp_path / f"{n}.fsb")
        office.run("take", tmp_path / f"{n}.fsb", "--receipt", tmp_path / f"{n}.receipt")
    for n, rig in enumerate((first, second)):
        origin = rig.json("check")["origin"]
        out = tmp_path / f"E{n}"
        office.run("prove", "heron", "0", "--log", origin, "--out", out)
        assert (out / "0.record.json").read_text() + "\n" == rig.run("print", "0", "0").stdout
        judged = programs.json("audit", "verify", out / "0.record.json")
        assert judged["verified"] is True and judged["log"] == origin


def test_two_logs_give_the_same_account_in_whatever_order_they_come(programs, rig_of, begin, work,
                                                                    office, tmp_path):
    first = begin(rig_of())
    work(first, 6)
    second = rig_of(store="heron-again")
    work(second, 12)
    files = []
    for n, rig in enumerate((first, second)):
        rig.run("carry", "--out", tmp_path / f"{n}.fsb")
        files.append(tmp_path / f"{n}.fsb")
    other = drive.Office(programs, tmp_path / "O2")
    shutil.copytree(office.store, other.store)
    answers = []
    for o, order in ((office, files), (other, files[::-1])):
        for n, path in enumerate(order):
            o.run("take", path, "--receipt", tmp_path / f"{pathlib.Path(o.store).name}-{n}")
        answers.append(drive.ledger_text(o.run("rig", "heron", "--json", "--as-of",
                                               "2025-03-02T00:00:00Z").stdout))
    assert answers[0] == answers[1]
