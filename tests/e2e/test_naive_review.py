"""Repeated early cuts equal a naive second reckoning, and the binomial tails exact fractions.

The fractions are Python's own; SciPy is asked as well where the distribution has installed it.
A failure prints the seed.
"""

import random
import subprocess
from fractions import Fraction

import pytest

import naive_review

FLEETS = 60
ULP = 1e-13


def ask(programs, lines):
    done = subprocess.run([f"{programs.folder}/review_fleet"], input="\n".join(lines) + "\n",
                          capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


def cases():
    for n in (4, 5, 6, 12, 40):
        for k in range(n + 1):
            for p in (0.0, 1e-6, 0.03, 0.05, 0.0641, 0.1, 0.5, 0.9, 1.0):
                yield n, k, p


def test_the_binomial_tails_equal_exact_fractions(programs):
    have = ask(programs, [f"tail {n} {k} {p!r}" for n, k, p in cases()])
    for (n, k, p), got in zip(cases(), have):
        want = naive_review.tail(n, k, p)
        assert abs(Fraction(got) - want) <= Fraction(ULP) * want, (n, k, p, got, float(want))


def test_the_binomial_tails_equal_scipys(programs):
    stats = pytest.importorskip("scipy.stats")
    have = ask(programs, [f"tail {n} {k} {p!r}" for n, k, p in cases()])
    for (n, k, p), got in zip(cases(), have):
        want = float(stats.binom.sf(k - 1, n, p))
        assert float(got) == pytest.approx(want, rel=1e-10, abs=1e-300), (n, k, p)


def fleet(seed):  # no two cuts of a rig on one day: they are judged one by one, as if the newest
    r = random.Random(seed)
    rigs = []
    for _ in range(r.randint(1, 12)):
        early = r.choice((0.0, 0.05, 0.1, 0.5, 0.9, 1.0))
        rope = r.choice((35.0, 35.0, 35.1, 32.0))
        day = r.randint(0, 60)
        rig = []
        for _ in range(r.randint(0, 60)):
            day += r.randint(1, r.choice((5, 20, 40, 200)))
            if r.random() < 0.02:
                early = r.choice((0.0, 0.9))
            is_early = r.random() < early
            rig.append({"day": day, "rope": rope, "eligible": r.random() < 0.9, "early": is_early,
                        "low": is_early or r.random() < 0.05, "changed": r.random() < 0.02})
        rigs.append(rig)
    return rigs


def test_the_review_equals_the_naive_one(programs):
    seen = set()
    for seed in range(FLEETS):
        rigs = fleet(seed)
        lines = []
        for rig in rigs:
            lines.append("rig")
            lines += [f"cut {c['day']} {c['rope']} {c['eligible']:d} {c['early']:d} {c['low']:d} "
                      f"{c['changed']:d}" for c in rig]
        have = iter(ask(programs, lines))
        naive = naive_review.Fleet(rigs)
        for i, rig in enumerate(rigs):
            for n, (state, told) in enumerate(naive.judge(i)):
                words = next(have).split()
                where = (seed, i, n, words, state, told)
                assert words[0] == state, where
                seen.add(state)
                if told is None or state == "closed":
                    continue
                window, early, cuts, rate, chance = told
                assert [int(w) for w in words[1:3]] == [window, early], where
                if state == "flagged":
                    assert int(words[3]) == cuts, where
                    assert float(words[4]) == pytest.approx(float(rate), rel=1e-12), where
                    assert float(words[5]) == pytest.approx(float(chance), rel=1e-12), where
    assert seen == {"watching", "clear", "flagged", "closed"}
