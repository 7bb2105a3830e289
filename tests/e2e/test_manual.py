"""The manual pages and the completion say what the programs take; mandoc finds nothing in the pages."""

import os
import pathlib
import subprocess

import pytest

BIN = pathlib.Path(os.environ["FSP_BIN"])
ROOT = pathlib.Path(__file__).parents[2]
PAGES = sorted((ROOT / "docs/man").iterdir())


def test_pages_and_completion_are_what_the_option_tables_say():
    done = subprocess.run([ROOT / "scripts/gen-docs", BIN, "--check"], capture_output=True, text=True,
                          timeout=60)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_mandoc_finds_nothing(page):
    done = subprocess.run(["mandoc", "-T", "lint", "-W", "warning", page], capture_output=True, text=True,
                          timeout=30)
    assert done.returncode == 0 and done.stdout == "", done.stdout


def complete(program, *words):
    function = "_" + program.replace("-", "_")
    script = (f"source {ROOT}/conf/completion/{program}; COMP_WORDS=({program} {' '.join(words)}); "
              f"COMP_CWORD={len(words)}; {function}; printf '%s\\n' \"${{COMPREPLY[@]}}\"")
    return subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True,
                          timeout=30).stdout.split()


def test_commands_options_and_files_are_completed(tmp_path):
    assert complete("farspool-rig", "lin") == ["line"]
    assert complete("farspool-rig", "line", "--as") == ["--as-of"]
    assert "--as-of" not in complete("farspool-rig", "push", "--")
    (tmp_path / "heron.invitation").touch()
    assert complete("farspool-rig", "init", "--invitation", f"{tmp_path}/her") == \
        [f"{tmp_path}/heron.invitation"]
