"""The errors of a user go from one process to another as they are."""

from __future__ import annotations

import importlib
import pickle
import pkgutil
from collections.abc import Iterator

import pytest

import faultnet
from faultnet.errors import ClashError, FaultnetError, MissingExtraError


def kinds(of: type[FaultnetError] = FaultnetError) -> Iterator[type[FaultnetError]]:
    yield of
    for kind in of.__subclasses__():
        yield from kinds(kind)


@pytest.fixture(scope="module")
def all_kinds() -> list[type[FaultnetError]]:
    for module in pkgutil.walk_packages(faultnet.__path__, "faultnet."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    return list(kinds())


def as_it_arrives(error: FaultnetError) -> FaultnetError:
    found = pickle.loads(pickle.dumps(error))
    assert isinstance(found, FaultnetError)
    return found


def test_every_error_arrives_as_it_was_whatever_its_constructor_asks_for(all_kinds: list[type[FaultnetError]]) -> None:
    assert len(all_kinds) > 12
    plain = FaultnetError("no such part", where="entry 3", got="'x'", expected="one of them", to_do="look")
    for kind in all_kinds:
        error = kind.__new__(kind, *plain.args)
        error.__dict__.update(vars(plain))
        found = as_it_arrives(error)
        assert (type(found), str(found), vars(found)) == (kind, str(plain), vars(plain))


@pytest.mark.parametrize(
    "error",
    [MissingExtraError("not installed", extra="app"), ClashError("they clash", entries=("a", "b"), to_do="look again")],
)
def test_errors_with_words_of_their_own_arrive_with_them(error: FaultnetError) -> None:
    found = as_it_arrives(error)
    assert (type(found), str(found), vars(found)) == (type(error), str(error), vars(error))
