"""The order of products: any order is right, the same question always gets the same one, and it is a cheap one."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faultnet.engine.planning import Step, plan

LETTERS = "abcdef"
AXES = st.lists(
    st.lists(st.sampled_from(LETTERS), min_size=1, max_size=3, unique=True).map(tuple), min_size=2, max_size=6
)
SIZES = st.lists(st.sampled_from([0.0, 1.0, 2.0, 3.0, 5.0]), min_size=6, max_size=6)
few = settings(max_examples=60, deadline=None, derandomize=True, database=None)
Axes = tuple[tuple[str, ...], ...]


def log_sizes(lengths: list[float]) -> tuple[tuple[str, float], ...]:
    return tuple(zip(LETTERS, lengths, strict=True))


@few
@given(AXES, SIZES, st.lists(st.sampled_from(LETTERS), max_size=2, unique=True))
def test_every_table_is_used_once_and_one_is_left(
    axes: list[tuple[str, ...]], lengths: list[float], keep: list[str]
) -> None:
    left = len(axes)
    for pair in plan(tuple(axes), log_sizes(lengths), tuple(keep)):
        assert len(set(pair)) == 2
        assert all(0 <= i < left for i in pair)
        left -= 1
    assert left == 1


@few
@given(AXES, SIZES)
def test_the_same_question_gets_the_same_order(axes: list[tuple[str, ...]], lengths: list[float]) -> None:
    question = (tuple(axes), log_sizes(lengths), ())
    assert plan.__wrapped__(*question) == plan.__wrapped__(*question)


def test_the_order_does_not_hang_on_how_the_interpreter_hashes() -> None:
    """The order of a set of strings differs from process to process; the plan must not."""
    program = (
        "from faultnet.engine.planning import plan;"
        "axes = tuple(tuple(a + str((i + k) % 7) for k in range(3)) for i in range(7) for a in 'xyz');"
        "sizes = tuple((a + str(i), 1.0 + i / 2) for a in 'xyz' for i in range(7));"
        "print(plan(axes, sizes, ('x0', 'y3')))"
    )
    found = set()
    for seed in ("1", "2", "3"):
        place = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
        found.add(subprocess.run([sys.executable, "-c", program], env=place, capture_output=True, check=True).stdout)
    assert len(found) == 1


def product(work: list[frozenset[str]], pair: Sequence[int]) -> tuple[frozenset[str], list[frozenset[str]]]:
    """Axes that one step spans, and the tables after it; axes of one table alone are summed out before."""
    chosen, rest = [work[i] for i in pair], [t for i, t in enumerate(work) if i not in pair]
    left = frozenset().union(*rest)
    spanned = (chosen[0] & (chosen[1] | left)) | (chosen[1] & (chosen[0] | left))
    return spanned, [*rest, spanned & left]


def largest_product(axes: Axes, steps: tuple[Step, ...], weights: dict[str, float]) -> float:
    """Binary logarithm of the largest space spanned by any one product."""
    work, worst = [frozenset(a) for a in axes], 0.0
    for pair in steps:
        spanned, work = product(work, pair)
        worst = max(worst, sum(weights[a] for a in spanned))
    return worst


def smallest_largest(work: list[frozenset[str]], weights: dict[str, float]) -> float:
    """The least that the largest product can be, over every order there is."""
    if len(work) == 1:
        return 0.0
    best = float("inf")
    for pair in combinations(range(len(work)), 2):
        spanned, after = product(work, pair)
        best = min(best, max(sum(weights[a] for a in spanned), smallest_largest(after, weights)))
    return best


@pytest.mark.parametrize(
    "axes",
    [
        (("a", "b"), ("b", "c"), ("c", "d"), ("d", "e"), ("e", "f")),
        (("a", "b"), ("a", "c"), ("a", "d"), ("a", "e"), ("b",)),
        (("a", "b", "c"), ("c", "d"), ("d", "e"), ("e", "a"), ("f", "b")),
    ],
)
def test_no_product_is_larger_than_the_best_order_of_all_needs(axes: Axes) -> None:
    """Against every order there is: a chain, a star, a ring with tails."""
    weights = dict(zip(LETTERS, (3.0, 1.0, 4.0, 1.5, 5.0, 2.0), strict=True))
    found = largest_product(axes, plan(axes, tuple(weights.items()), ()), weights)
    assert found == smallest_largest([frozenset(a) for a in axes], weights)
