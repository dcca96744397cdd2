"""The published schema, held by an independent validator, accepts and rejects what the program does."""

from __future__ import annotations

import copy
import json
from typing import Any

import jsonschema
import pytest
from hypothesis import given

from faultnet.case.faults import CaseFileError
from faultnet.case.file import case_from_tree, case_schema, case_to_json
from faultnet.case.types import Case
from tests.case.drawing import cases

VALIDATOR = jsonschema.Draft202012Validator(case_schema())

SOUND: dict[str, Any] = {
    "format": "faultnet-case",
    "version": 2,
    "car": {"battery": {"rating": 600}, "cylinders": 4},
    "visits": [
        {
            "date": "2026-11-20",
            "conditions": {"air_temperature": 3},
            "entries": [{"test": "rest_voltage", "value": 12.4, "unit": "V"}, {"act": "charge", "hours": 8}],
        }
    ],
    "outcome": {"causes": [{"component": "battery", "mode": "worn"}]},
}

# (path to what is changed, new value; None takes the field away)
CHANGES: list[tuple[list[str | int], Any]] = [
    ([], SOUND),
    (["format"], "other"),
    (["format"], None),
    (["version"], 1),
    (["version"], 3),
    (["version"], True),
    (["version"], 1.0),
    (["name"], "x"),
    (["name"], 3),
    (["invented"], True),
    (["invented"], 1),
    (["comment"], "unknown"),
    (["car"], None),
    (["car", "battery"], None),
    (["car", "battery", "rating"], 99.9),
    (["car", "battery", "rating"], 2000),
    (["car", "battery", "rating"], "600"),
    (["car", "battery", "rating"], True),
    (["car", "battery", "standard"], "JIS"),
    (["car", "battery", "standard"], "not_known"),
    (["car", "battery", "rating"], None),
    (["car", "needs_rating"], 720),
    (["car", "needs_rating"], 20),
    (["car", "needs_standard"], "DIN"),
    (["car", "battery", "kind"], "agm"),
    (["car", "battery", "capacity"], 14),
    (["car", "battery", "age"], -1),
    (["car", "cylinders"], 4.0),
    (["car", "cylinders"], 4.5),
    (["car", "cylinders"], 13),
    (["car", "cylinders"], False),
    (["car", "fuel"], "gas"),
    (["car", "system_voltage"], 24),
    (["car", "system_voltage"], 12.0),
    (["car", "drive"], "hybrid"),
    (["car", "colour"], "grey"),
    (["visits"], {}),
    (["visits"], []),
    (["visits"], None),
    (["visits", 0, "date"], "20.11.2026"),
    (["visits", 0, "date"], "2026-11-20T14:05"),
    (["visits", 0, "date"], ""),
    (["visits", 0, "conditions", "air_temperature"], 61),
    (["visits", 0, "conditions", "air_temperature"], "3"),
    (["visits", 0, "conditions"], {"air_temperature": 100, "temperature_unit": "degF"}),
    (["visits", 0, "conditions"], {"air_temperature": 141, "temperature_unit": "degF"}),
    (["visits", 0, "conditions"], {"electrolyte_temperature": 176, "temperature_unit": "degF"}),
    (["visits", 0, "conditions"], {"electrolyte_temperature": -41}),
    (["visits", 0, "conditions"], {"temperature_unit": "K"}),
    (["visits", 0, "conditions", "hours_standing"], -1),
    (["visits", 0, "conditions", "damp"], "no"),
    (["visits", 0, "entries", 0, "value"], "12,4 V"),
    (["visits", 0, "entries", 0, "value"], None),
    (["visits", 0, "entries", 0, "value"], True),
    (["visits", 0, "entries", 0, "value"], [12.4]),
    (["visits", 0, "cranks"], True),
    (["visits", 0, "cranks"], "yes"),
    (["visits", 0, "runs"], "with_booster"),
    (["visits", 0, "runs"], "yes"),
    (["visits", 0, "shows_now"], False),
    (["visits", 0, "photos"], [{"id": "ab" * 32}]),
    (["visits", 0, "photos"], ["ab" * 32]),
    (["visits", 0, "entries", 0, "photos"], [{"id": "ab" * 32, "caption": "post"}]),
    (["visits", 0, "entries", 0, "photos"], [{"id": "ab" * 31}]),
    (["visits", 0, "entries", 0, "bound"], "below"),
    (["visits", 0, "entries", 0, "bound"], "under"),
    (["visits", 0, "entries", 0, "at"], "2026-11-20T14:05:31.25+00:00"),
    (["visits", 0, "entries", 0, "at"], "14:05"),
    (["visits", 0, "entries", 0, "by"], "AB"),
    (["visits", 0, "entries", 1, "photos"], []),
    (["visits", 0, "entries", 0, "state"], "low"),
    (["visits", 0, "entries", 0, "not_measured"], "skipped"),
    (["visits", 0, "entries", 0, "unit"], "volts"),
    (["visits", 0, "entries", 0, "unit"], "mV"),
    (["visits", 0, "entries", 0, "test"], "Rest voltage"),
    (["visits", 0, "entries", 0, "test"], "x" * 65),
    (["visits", 0, "entries", 0, "test"], None),
    (["visits", 0, "entries", 0, "act"], "charge"),
    (["visits", 0, "entries", 0], {"test": "a", "state": "low"}),
    (["visits", 0, "entries", 0], {"test": "a", "not_measured": "skipped"}),
    (["visits", 0, "entries", 0], {"test": "a", "not_measured": "lazy"}),
    (["visits", 0, "entries", 0], {}),
    (["visits", 0, "entries", 0], 3),
    (["visits", 0, "entries", 1, "hours"], -1),
    (["visits", 0, "entries", 1, "outcome"], "cured"),
    (["visits", 0, "entries", 1, "outcome"], "worse"),
    (["visits", 0, "entries", 1, "component"], "battery"),
    (["outcome", "causes", 0, "mode"], None),
    (["outcome", "causes"], [["battery", "worn"]]),
    (["outcome", "confirmed_by"], 1),
    (["outcome"], {}),
]


def changed(path: list[str | int], value: Any) -> dict[str, Any]:
    """Copy the sound case file with one thing changed."""
    tree = copy.deepcopy(SOUND)
    if not path:
        return tree
    place: Any = tree
    for part in path[:-1]:
        place = place[part]
    if value is None:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return tree


def accepted(tree: Any) -> bool:
    """Say whether the program takes it."""
    try:
        case_from_tree(tree)
    except CaseFileError:
        return False
    return True


@pytest.mark.parametrize("path, value", CHANGES, ids=lambda part: json.dumps(part)[:40])
def test_schema_and_program_agree(path: list[str | int], value: Any) -> None:
    tree = changed(path, value)
    assert VALIDATOR.is_valid(tree) is accepted(tree)


def test_the_corpus_has_both_kinds() -> None:
    verdicts = [accepted(changed(path, value)) for path, value in CHANGES]
    assert min(verdicts.count(True), verdicts.count(False)) >= 15


@pytest.mark.parametrize(
    "path, value",
    [
        (["visits", 0, "entries", 0, "value"], "12,4,3"),
        (["visits", 0, "entries", 0, "value"], "12.4 A"),
        (["visits", 0, "date"], "2026-02-30"),
        (["visits", 0, "entries", 0, "at"], "2026-02-30T14:05"),
        (["visits", 0, "photos"], [{"id": "ab" * 32, "caption": "two\nlines"}]),
    ],
    ids=["two marks", "unit of another quantity", "no such day", "no such moment", "a caption of two lines"],
)
def test_what_only_the_program_checks(path: list[str | int], value: Any) -> None:
    """The stated limits of the schema: :func:`case_schema` says so, and this list is all of it."""
    tree = changed(path, value)
    assert VALIDATOR.is_valid(tree)
    assert not accepted(tree)


@given(cases)
def test_every_case_written_holds_the_schema(case: Case) -> None:
    VALIDATOR.validate(json.loads(case_to_json(case)))


def test_the_schema_is_one_itself() -> None:
    jsonschema.Draft202012Validator.check_schema(case_schema())
    assert "null" not in json.dumps(case_schema())
