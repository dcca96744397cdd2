"""The cache of a cluster's questions drops what its own table says, and nothing else."""

from __future__ import annotations

import re
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from faultnet.inference.contraction import Tensor
from faultnet.inference.fast import query_cache
from faultnet.inference.fast.bounded_cache import Memo
from faultnet.inference.fast.query_cache import QueryCache
from faultnet.inference.fast.schedule import Named, Schedule

VERBS = ("trim", "rest", "forget")
TABLE = Tensor(np.zeros(10), ("x",))


class Asked:
    """In place of a query."""

    trimmed = False

    def trim(self) -> None:
        self.trimmed = True

    def size(self) -> int:
        return 7


def filled(asked: Asked) -> QueryCache:
    cache = QueryCache()
    inside: dict[str, Any] = {
        "outcomes": Named("x", TABLE, True),
        "schedules": Schedule(((1, TABLE),), (), ()),
        "messages": (TABLE, 0.0),
        "queries": [asked],
    }
    for name in names():
        kept = getattr(cache, name)
        if isinstance(kept, Memo):
            kept.get("x", lambda name=name: inside.get(name, TABLE))
        else:
            kept["x"] = 0
    return cache


def names() -> list[str]:
    return [f.name for f in fields(QueryCache) if not f.name.startswith("_")]


def left(cache: QueryCache) -> set[str]:
    kept = {name: getattr(cache, name) for name in names()}
    return {name for name, k in kept.items() if (k.values() if isinstance(k, Memo) else k)}


def table() -> dict[str, set[str]]:
    """Fields and the verbs under which the table at the head of the module says "goes"."""
    lines = str(query_cache.__doc__).splitlines()
    ruler = next(line for line in lines if line.startswith("=="))
    starts = [m.start() for m in re.finditer("=+", ruler)][2:]
    rows = [line.ljust(len(ruler)) for line in lines if line.startswith("`") and line.count("`") == 2]
    return {
        row.split("`")[1]: {v for v, s in zip(VERBS, starts, strict=True) if row[s : s + 4] == "goes"} for row in rows
    }


def test_the_table_names_every_field() -> None:
    assert list(table()) == names()


@pytest.mark.parametrize("verb", VERBS)
def test_what_goes_is_what_the_table_says(verb: str) -> None:
    asked = Asked()
    cache = filled(asked)
    getattr(cache, verb)()
    assert left(cache) == {name for name, verbs in table().items() if verb not in verbs}
    assert asked.trimmed or verb == "forget"


def test_memory_that_two_tables_lie_in_is_counted_once() -> None:
    """Ten numbers of eight bytes behind constants, outcomes and a schedule; those of the weights; a query's seven."""
    assert filled(Asked()).size() == 80 + 80 + 7


def test_a_product_has_its_number_until_no_answer_is_kept_either() -> None:
    cache = QueryCache()
    before = cache.number("a")
    cache.trim()
    assert cache.number("a") == before
    cache.rest()
    assert cache.number("b") != before, "no number is given twice"
