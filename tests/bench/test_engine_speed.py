"""Speed of the engine for pytest-benchmark: ``python -m pytest tests/bench/test_engine_speed.py``.

Not part of the ordinary run (pytest only collects it when it is named), and no time is asserted: what is asserted is
that the work that is timed was done.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.bench import work


@pytest.mark.parametrize("case", work.SINGLE_VISIT)
def test_last_reading_of_a_visit(benchmark: Any, case: str) -> None:
    tables = work.catalogue()
    models, visits = work.demo(case, tables)
    before, after = list(work.prefixes(visits))[-2:]
    tests = work.open_tests(after[-1], tables)

    def earlier() -> None:
        work.forget(models)
        work.worked(models, before, tables, work.open_tests(before[-1], tables))

    found = benchmark.pedantic(lambda: work.worked(models, after, tables, tests), setup=earlier, rounds=15)
    assert set(found.bits) == set(tests)
    assert abs(sum(found.marginals["battery"]) - 1.0) < 1e-9


def test_last_reading_of_eight_visits(benchmark: Any) -> None:
    tables = work.catalogue()
    models, visits = work.eight_visits(tables)
    before, after = list(work.prefixes(visits))[-2:]
    tests = work.open_tests(after[-1], tables)

    def earlier() -> None:
        work.forget(models)
        work.worked(models, before, tables, work.open_tests(before[-1], tables))

    found = benchmark.pedantic(lambda: work.worked(models, after, tables, tests), setup=earlier, rounds=15)
    assert set(found.bits) == set(tests)
