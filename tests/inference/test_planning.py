"""The order of products: any order is right, the same question always gets the same one, and it is a cheap one."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from collections.abc import Callable, Sequence
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faultnet.cache import seal
from faultnet.inference import kept_orders
from faultnet.inference.contraction_order import plan
from faultnet.inference.kept_orders import ORDERS_FILE, KeptOrders, Step

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


def tangle() -> tuple[Axes, tuple[tuple[str, float], ...]]:
    """Twenty-six tables over eighteen axes of unlike length, for which one try is seldom the best."""
    rng = random.Random(3)
    names = [f"axis_{i:02d}" for i in range(18)]
    axes = tuple(tuple(rng.sample(names, 3)) for _ in range(26))
    return axes, tuple((n, 1.0 + 0.5 * rng.randrange(7)) for n in names)


@pytest.fixture
def forgotten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A place where no order is remembered yet."""
    monkeypatch.setenv("FAULTNET_CACHE", str(tmp_path))
    plan.cache_clear()
    return tmp_path


def test_a_tangle_gets_the_same_order_in_every_process(forgotten: Path) -> None:
    """Neither the clock nor how the interpreter hashes text may show: the order of sets differs between processes."""
    axes, sizes = tangle()
    program = f"from faultnet.inference.contraction_order import plan; print(plan({axes!r}, {sizes!r}, ('axis_00',)))"
    found = {f"{plan(axes, sizes, ('axis_00',))}"}
    for seed in ("1", "2"):
        place = {
            **os.environ,
            "PYTHONHASHSEED": seed,
            "PYTHONPATH": os.pathsep.join(p for p in sys.path if p),
            "FAULTNET_CACHE": str(forgotten / seed),
        }
        done = subprocess.run(
            [sys.executable, "-c", program], env=place, capture_output=True, check=True, text=True, encoding="utf-8"
        )
        found.add(done.stdout.strip())
    assert len(found) == 1


def sealed(key: str, steps: list[list[int]]) -> str:
    told = json.dumps([key, steps])
    return f"{seal(ORDERS_FILE, told.encode())} {told}"


def shortened(line: str) -> str:
    key, steps = json.loads(line.partition(" ")[2])
    return sealed(key, steps[:-1])


def misplaced(line: str) -> str:
    key, steps = json.loads(line.partition(" ")[2])
    return sealed(key, [[900, 901], *steps[1:]])


def halved(line: str) -> str:
    return line[: len(line) // 2]


def deep(line: str) -> str:
    return f"{line.partition(' ')[0]} {'[' * 200_000}"


@pytest.mark.parametrize("damage", [shortened, misplaced, halved, deep])
def test_a_damaged_order_only_costs_time(forgotten: Path, damage: Callable[[str], str]) -> None:
    """An order that leaves a table over, or names one that is not there, would give wrong beliefs or a crash."""
    axes, sizes = tangle()
    first = plan(axes, sizes, ("axis_00",))
    elsewhere = forgotten / "damaged"
    for kept in [p for p in forgotten.rglob("*") if p.is_file()]:
        lines = [damage(line) for line in kept.read_text().splitlines()]
        elsewhere.mkdir(exist_ok=True)
        (elsewhere / kept.name).write_text("\n".join(lines) + "\n")
    assert elsewhere.exists()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTNET_CACHE", str(elsewhere))
        plan.cache_clear()
        assert plan(axes, sizes, ("axis_00",)) == first


def test_the_orders_that_come_with_the_program_serve_a_user_who_is_new(tmp_path: Path) -> None:
    """They were once sealed with the key of who had searched for them: on every other machine they were passed over."""
    case = Path(__file__).parents[2] / "cases" / "ground_high_resistance.json"
    program = f"""
from faultnet import advise, load_case
from faultnet.inference import contraction_order
asked, searched = [], contraction_order._searched
contraction_order._searched = lambda *given: (asked.append(given), searched(*given))[1]
advise(load_case({str(case)!r}))
print(len(asked), contraction_order.plan.cache_info().misses)
"""
    new = {"FAULTNET_CACHE": str(tmp_path / "cache"), "FAULTNET_KEY": str(tmp_path / "key"), "HOME": str(tmp_path)}
    place = {**os.environ, **new, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    done = subprocess.run(
        [sys.executable, "-c", program], env=place, capture_output=True, check=True, text=True, encoding="utf-8"
    )
    searched, asked = map(int, done.stdout.split())
    assert asked > 20
    assert searched == 0


def test_an_order_that_somebody_else_wrote_is_not_taken(forgotten: Path) -> None:
    """One that multiplies the tables to the end, and still is not ours: it could take all the memory there is."""
    axes, sizes = tangle()
    first = plan(axes, sizes, ("axis_00",))
    (kept,) = (p for p in forgotten.rglob("*") if p.is_file())
    key, steps = json.loads(kept.read_text().splitlines()[0].partition(" ")[2])
    others = [[0, 1] for _ in steps]
    assert others != steps
    kept.write_text(f"{'0' * 64} {json.dumps([key, others])}\n{json.dumps([key, others])}\n")
    kept_orders.read_orders.cache_clear()
    plan.cache_clear()
    assert plan(axes, sizes, ("axis_00",)) == first


def test_the_orders_kept_come_to_an_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """100,000 of them were read, each with its seal checked, at the start of every command: 3 s."""
    monkeypatch.setattr(kept_orders, "MOST_KEPT", 10)
    file, orders = tmp_path / ORDERS_FILE, KeptOrders(tmp_path / ORDERS_FILE)
    for number in range(25):
        orders.keep(f"key{number}", ((0, number),))
    again = KeptOrders(file)
    assert [again.get(f"key{n}") for n in (19, 20, 24)] == [None, ((0, 20),), ((0, 24),)]
    assert len(file.read_text().splitlines()) == len(again) == 5
    again.keep("one more", ((0, 1),))
    assert KeptOrders(file).get("key20") == ((0, 20),)
    assert KeptOrders(file).get("one more") == ((0, 1),)


def test_no_seal_is_checked_before_its_order_is_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    orders = KeptOrders(tmp_path / ORDERS_FILE)
    for number in range(5):
        orders.keep(f"key{number}", ((0, 1),))
    checked = []
    monkeypatch.setattr(kept_orders, "seal", lambda *told: (checked.append(told), seal(*told))[1])
    again = KeptOrders(tmp_path / ORDERS_FILE)
    assert not checked
    assert again.get("key3") == ((0, 1),)
    assert again.get("none of that name") is None
    assert len(checked) == 1


def test_a_line_under_another_key_is_not_taken(tmp_path: Path) -> None:
    """What stands in its first quotes only says where to look: here the line, seal and all, is another order's."""
    file = tmp_path / ORDERS_FILE
    KeptOrders(file).keep("one", ((0, 1),))
    file.write_bytes(b'"two"' + file.read_bytes())
    assert KeptOrders(file).get("two") is None


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
