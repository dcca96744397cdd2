"""Words that choose a row, and what every public function of the physics owes its reader."""

from __future__ import annotations

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


def test_physics_functions_are_fully_documented() -> None:
    """Parameters, Returns, Notes, Examples and References, in that order, every parameter named, and a unit."""
    wanting = []
    for name, function in FUNCTIONS:
        text = inspect.getdoc(function) or ""
        places = [text.find(f"{head}\n---") for head in ("Parameters", "Returns", "Notes", "Examples", "References")]
        named = all(parameter in text[places[0] : places[1]] for parameter in inspect.signature(function).parameters)
        whole = -1 not in places and places == sorted(places) and named and "[" in text[places[0] : places[2]]
        if name != "quantity" and not whole:
            wanting.append(f"{name}.{function.__name__}")
    assert wanting == []
