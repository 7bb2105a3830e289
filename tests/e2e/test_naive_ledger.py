"""The program's account equals a naive one, written apart from it, on random histories.

300 of them by the ledger alone, 50 of these through the program and its store as well; with FSP_LONG=1 1,000,
all of them both ways. A failure prints the seed: the history is histories.history(seed), and
histories.chain(seed) the same as two logs of which the second continues the first.
"""

import json
import os
import subprocess

import pytest

import histories
import naive_ledger

RUNS = 1000 if os.environ.get("FSP_LONG") == "1" else 300
STORED = RUNS if os.environ.get("FSP_LONG") == "1" else 50
BATCH = 10
AS_OF = "2026-01-01T00:00:00Z"
WITHIN = 1e-9


def differs(key, want, have):
    if isinstance(want, float) and isinstance(have, (int, float)):
        return abs(want - have) > WITHIN * max(abs(want), 1000.0)
    return want != have


def compare(want, have):
    out = [(k, want[k], have[k]) for k in want if k != "cuts" and differs(k, want[k], have[k])]
    if len(want["cuts"]) != len(have["cuts"]):
        out.append(("cuts", len(want["cuts"]), len(have["cuts"])))
    for i, (mine, theirs) in enumerate(zip(want["cuts"], have["cuts"])):
        out += [(f"cut {i} {k}", mine[k], theirs[k]) for k in mine
                if differs(k, mine[k], theirs[k])]
    return out


def sheets(records):
    """The history in files: an entry can only be named once it is in the log."""
    begun = 0
    for i, record in enumerate(records):
        if record.get("entry", -1) >= begun:
            yield records[begun:i]
            begun = i
    yield records[begun:]


@pytest.mark.parametrize("batch", range(STORED // BATCH))
def test_the_account_equals_the_naive_one(batch, rig_of, tmp_path):
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        rig = rig_of(f"heron-{seed}")
        records = histories.history(seed, rig.name)
        for i, part in enumerate(sheets(records)):
            sheet = tmp_path / f"{seed}-{i}.jsonl"
            sheet.write_text(histories.lines(part))
            rig.run("take", sheet)
        got = rig.json("line", "--as-of", AS_OF)["ledger"]
        assert not compare(naive_ledger.Naive(records).totals(), got), f"seed {seed}"


def fold(programs, tmp_path, logs):
    """The account of logs by the ledger itself, without a store."""
    paths = []
    for i, log in enumerate(logs):
        paths.append(tmp_path / f"log-{i}.jsonl")
        paths[-1].write_text("".join(
            json.dumps(r, sort_keys=True, separators=(",", ":"), ensure_ascii=False) + "\n"
            for r in log))
    done = subprocess.run([f"{programs.folder}/fold_logs", AS_OF, *paths], capture_output=True,
                          check=True)
    return json.loads(done.stdout)


def test_a_renewed_log_counts_as_if_it_had_never_been_lost(programs, tmp_path):
    moved = 0
    for seed in range(RUNS):
        logs = histories.chain(seed)
        got = fold(programs, tmp_path, logs)
        whole = naive_ledger.Naive(histories.history(seed)).totals()
        assert not compare(naive_ledger.Naive(logs).totals(), got), f"seed {seed}"
        # The chain says what the one log would have said.
        assert not compare(whole, got), f"seed {seed}: the renewal changed the account"
        assert got["unreadable"] == 0, f"seed {seed}"
        moved += sum(r["kind"] == "amend" and r["entry"]["log"] == "old"
                     and r["entry"]["index"] >= len(logs[0]) for r in logs[1])
    assert moved > RUNS / 10


def test_the_histories_hold_every_kind_and_every_operation():
    seen, ops = set(), set()
    for seed in range(RUNS):
        for record in [r for log in histories.chain(seed) for r in log]:
            seen.add(record["kind"])
            ops.add(record.get("op"))
    assert seen == set(histories.KINDS)
    assert ops - {None} == set(naive_ledger.OPS)


def test_the_histories_hold_what_is_to_be_judged():
    cuts = [cut for seed in range(100)
            for cut in naive_ledger.Naive(histories.history(seed)).totals()["cuts"]]
    for what in ("early", "long", "planned", "incomplete"):
        share = sum(cut[what] for cut in cuts) / len(cuts)
        assert 0.01 < share < 0.99, what
