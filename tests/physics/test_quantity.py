"""Words that choose a row, and what every public function of the physics owes its reader."""

from __future__ import annotations

import ast
import importlib
import inspect
from pathlib import Path

import pytest

import faultnet.physics
from faultnet.errors import CarError
from faultnet.physics.quantity import chosen

MODULES = ["acid", "rating", "resistance", "charge", "battery", "conductors", "waveform", "sampling", "cranking"]
MODULES += ["rectifier", "charging", "drain", "quantity"]
FOLDER = Path(faultnet.physics.__file__).parent
FUNCTIONS = [
    (name, function)
    for name in MODULES
    for function in vars(importlib.import_module(f"faultnet.physics.{name}")).values()
    if inspect.isfunction(function)
    and function.__module__ == f"faultnet.physics.{name}"
    and not function.__name__.startswith("_")
]


def test_unknown_word_names_the_known_ones() -> None:
    with pytest.raises(CarError) as caught:
        chosen({"petrol": 1, "diesel": 2}, "steam", "fuel")
    assert caught.value.expected == "'petrol' or 'diesel'"
    assert caught.value.to_do


def test_every_module_is_listed() -> None:
    assert sorted(path.stem for path in FOLDER.glob("*.py") if path.stem != "__init__") == sorted(MODULES)


@pytest.mark.parametrize("function", [f for n, f in FUNCTIONS if n != "quantity"], ids=lambda f: f.__name__)
def test_physics_function_is_fully_documented(function: object) -> None:
    """Parameters, Returns, Notes, Examples and References, in that order, and every parameter named."""
    text = inspect.getdoc(function) or ""
    places = [text.find(f"{head}\n---") for head in ("Parameters", "Returns", "Notes", "Examples", "References")]
    assert -1 not in places
    assert places == sorted(places)
    for parameter in inspect.signature(function).parameters:  # type: ignore[arg-type]
        assert parameter in text[places[0] : places[1]]
    assert "[" in text[places[0] : places[2]], "no unit"


@pytest.mark.parametrize("module", MODULES)
def test_physics_imports_only_errors_and_itself(module: str) -> None:
    """No probability, no data, no network below or above."""
    tree = ast.parse((FOLDER / f"{module}.py").read_text(encoding="utf-8"))
    names = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    names |= {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    allowed = {"__future__", "dataclasses", "collections.abc", "typing", "numpy", "numpy.typing", "faultnet.errors"}
    assert all(name in allowed or str(name).startswith("faultnet.physics") for name in names)
