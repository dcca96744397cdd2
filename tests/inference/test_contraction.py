"""Products of named tables against numpy's einsum."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from faultnet.inference.contraction import Tensor, contract

LETTERS = "abcdefgh"
few = settings(max_examples=150, deadline=None, derandomize=True, database=None)
AXES = st.lists(st.lists(st.sampled_from(LETTERS), max_size=4, unique=True).map(tuple), min_size=1, max_size=7)
KEEP = st.lists(st.sampled_from(LETTERS), max_size=4, unique=True)


@few
@given(AXES, KEEP, st.lists(st.integers(1, 4), min_size=8, max_size=8), st.integers(0, 2**32 - 1))
def test_any_set_of_tables_is_multiplied_and_summed_as_einsum_does(
    axes: list[tuple[str, ...]], keep: list[str], lengths: list[int], seed: int
) -> None:
    rng = np.random.default_rng(seed)
    size = dict(zip(LETTERS, lengths, strict=True))
    tensors = [Tensor(rng.random([size[a] for a in group]), group) for group in axes]
    result = contract(tensors, keep)
    known = [a for a in keep if any(a in group for group in axes)]
    recipe = ",".join("".join(group) for group in axes) + "->" + "".join(known)
    assert result.axes == tuple(known)
    np.testing.assert_allclose(result.values, np.einsum(recipe, *(t.values for t in tensors)), rtol=1e-11, atol=0)


@few
@given(AXES, KEEP, st.randoms(use_true_random=False))
def test_the_order_of_the_tables_does_not_matter(
    axes: list[tuple[str, ...]], keep: list[str], shuffling: object
) -> None:
    rng = np.random.default_rng(8)
    tensors = [Tensor(rng.random([2] * len(group)), group) for group in axes]
    shuffled = list(tensors)
    shuffling.shuffle(shuffled)  # type: ignore[attr-defined]
    np.testing.assert_allclose(contract(shuffled, keep).values, contract(tensors, keep).values, rtol=1e-11, atol=0)


def test_a_table_is_arranged_with_length_one_where_it_has_no_axis() -> None:
    table = Tensor(np.arange(6.0).reshape(2, 3), ("a", "b"))
    assert table.arranged(("b", "c", "a")).shape == (3, 1, 2)
    assert table.arranged(("b", "c", "a"))[2, 0, 1] == 5.0


def test_tables_given_are_left_unchanged() -> None:
    first, second = Tensor(np.ones((2, 2)), ("a", "b")), Tensor(np.ones(2), ("b",))
    contract([first, second], ("a",))
    assert first.values.sum() == 4.0
    assert second.values.sum() == 2.0
