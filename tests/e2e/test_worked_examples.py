"""docs/worked-examples.md is true: its commands give its figures, its arithmetic its results.

Commands stand in indented blocks; those with --store work on a rig of that name made for the test.
A table after a command holds one figure a row: a key of the command's JSON in backticks (a dotted
path into lists and objects), how it is worked by hand, and what it is. The program's figure must
be the printed one at the printed precision; what is worked by hand from rounded figures must come
to it within 2 in 10,000 or half its last digit. A row without backticks is a step on paper only.
"""

import json
import math
import pathlib
import re
import shlex

import pytest

PAGE = pathlib.Path(__file__).resolve().parents[2] / "docs" / "worked-examples.md"
WITHIN = 2e-4


def blocks(text):
    """[(rig, [command, ...], [(figure, by hand, is), ...])] in the order of the page."""
    rig, commands, rows, out = None, [], [], []
    joined = re.sub(r"\\\n\s*", "", text)
    for line in joined.splitlines() + ["## end"]:
        if line.startswith("    farspool-rig ") or line.startswith("## "):
            if rows:
                out.append((rig, commands, rows))
                commands, rows = [], []
        if line.startswith("## "):
            rig = line[3:].split(":")[0].strip().lower()
        elif line.startswith("    farspool-rig "):
            commands.append(shlex.split(line))
        elif line.startswith("| ") and not line.startswith("| figure"):
            rows.append(tuple(cell.strip() for cell in line.strip("| ").split(" | ")))
    return out


def evaluate(hand):
    """The value of what is worked by hand; None for words."""
    text = hand.replace(",", "").replace(" x ", " * ").replace("^", "**")
    if not re.fullmatch(r"[0-9.+\-*/() ]*|.*\bpi\b[0-9.+\-*/() ]*", text):
        return None
    try:
        return float(eval(text, {"__builtins__": {}}, {"pi": math.pi}))
    except (SyntaxError, NameError, TypeError):
        return None


def digits(printed):
    """The number printed and half of its last place; None for words."""
    plain = printed.replace(",", "")
    if not re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", plain):
        return None, None
    return float(plain), 0.5 * 10.0 ** -len(plain.partition(".")[2])


def pick(answer, path):
    for part in path.split("."):
        answer = answer[int(part)] if isinstance(answer, list) else answer[part]
    return answer


def check_row(answer, figure, hand, printed):
    want, half = digits(printed)
    by_hand = evaluate(hand)
    if want is not None and by_hand is not None:
        assert abs(by_hand - want) <= max(half * 1.001, WITHIN * abs(want)), \
            f"{figure}: {hand} is {by_hand}, the page says {printed}"
    if not figure.startswith("`"):
        assert by_hand is not None, f"{figure}: {hand} cannot be worked out"
        return 0
    got = pick(answer, figure.strip("`"))
    if want is None:
        assert str(got) == printed, f"{figure}: {got}, the page says {printed}"
    else:
        assert abs(got - want) <= half * 1.000001, f"{figure}: {got}, the page says {printed}"
    return 1


BLOCKS = blocks(PAGE.read_text())


def test_three_rigs_one_of_them_metric_say_the_same_four_things():
    rigs = {}
    for rig, commands, _ in BLOCKS:
        for command in commands:
            what = command[2] if command[1] == "reckon" else command[1]
            rigs.setdefault(rig, set()).add(what)
    assert len(rigs) == 3
    for rig, said in rigs.items():
        assert {"lift", "cut", "goal", "line"} <= said, rig


@pytest.mark.parametrize("number", range(len(BLOCKS)))
def test_the_figures_of_a_step_are_true(number, programs, rig_of):
    rig, commands, rows = BLOCKS[number]
    if any("--store" in command for command in commands):
        store = rig_of(rig).store
        for command in commands:
            assert command[command.index("--store") + 1] == rig
            command[command.index("--store") + 1] = store
    for command in commands[:-1]:
        programs.run("rig", *command[1:])
    answer = json.loads(programs.run("rig", *commands[-1][1:], "--json").stdout)
    if commands[-1][1] == "line":
        answer = answer["ledger"]
    assert sum(check_row(answer, *row) for row in rows) > 0
