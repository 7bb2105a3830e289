"""docs/threat-model.md names tests that there are, and the pages lead to it."""

import pathlib
import re

ROOT = pathlib.Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "threat-model.md").read_text(encoding="utf-8")


def test_every_test_that_the_page_names_is_there():
    named = re.findall(r"`(tests/[\w/.]+\.(?:c|py))(?:::(\w+))?`", PAGE)
    assert len(named) > 30
    for path, name in named:
        text = (ROOT / path).read_text(encoding="utf-8")
        if name:
            assert re.search(rf"^(def )?{name}\((void \*\*state)?", text, re.M), f"{path} has no {name}"


def test_every_protection_in_a_table_names_a_test():
    rows = [line for line in PAGE.splitlines() if line.startswith("| ") and "held by" not in line]
    assert len(rows) > 25
    for row in rows:
        assert "`tests/" in row.rsplit("|", 2)[1], row


def test_what_is_not_protected_is_said_for_each_attacker():
    sections = re.split(r"^## ", PAGE, flags=re.M)[1:]
    for section in sections[1:6]:
        assert re.search(r"^\*\*Not (protected|proved)\*\*", section, re.M), section[:60]


def test_the_readme_leads_to_it():
    assert "docs/threat-model.md" in (ROOT / "README.md").read_text(encoding="utf-8")
