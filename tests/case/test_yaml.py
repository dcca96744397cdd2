"""YAML written by hand: the traps of YAML 1.1 are closed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from faultnet.case.faults import CaseFileError
from faultnet.case.file import case_from_json, load_case
from faultnet.case.tree import read_yaml

BY_HAND = """
format: faultnet-case
version: 1
complaint: no
car:
  battery: {rating: 600, age: 4.5}
visits:
  - date: 2026-11-20
    conditions: {air_temperature: -5, damp: true}
    entries:
      - {test: rest_voltage, value: "12,4 V"}
      - test: crank_minimum
        value: 9.6
      - act: charge
        hours: 8
"""
AS_JSON = """{"format": "faultnet-case", "version": 1, "complaint": "no",
"car": {"battery": {"rating": 600, "age": 4.5}},
"visits": [{"date": "2026-11-20", "conditions": {"air_temperature": -5, "damp": true}, "entries":
[{"test": "rest_voltage", "value": "12,4 V"}, {"test": "crank_minimum", "value": 9.6}, {"act": "charge", "hours": 8}]}]}
"""


@pytest.mark.parametrize("ending", ["yaml", "yml", "YAML"])
def test_yaml_and_json_give_the_same_case(ending: str, tmp_path: Path) -> None:
    path = tmp_path / f"case.{ending}"
    path.write_text(BY_HAND)
    assert load_case(path) == case_from_json(AS_JSON)


@pytest.mark.parametrize(
    "text, value",
    [
        ("no", "no"),
        ("Yes", "Yes"),
        ("on", "on"),
        ("off", "off"),
        ("True", "True"),
        ("true", True),
        ("false", False),
        ("12:30", "12:30"),
        ("12:30:45", "12:30:45"),
        ("2026-11-20", "2026-11-20"),
        ("017", "017"),
        ("1_000", "1_000"),
        ("0x10", "0x10"),
        (".inf", ".inf"),
        (".nan", ".nan"),
        ("12,4", "12,4"),
        ("12", 12),
        ("-12.5", -12.5),
        ("1e3", 1000.0),
        ("=", "="),
        ("<<", "<<"),
    ],
)
def test_plain_words_mean_what_json_would_mean(text: str, value: object) -> None:
    read = read_yaml(f"a: {text}", "here")["a"]
    assert (read, type(read)) == (value, type(value))


@pytest.mark.parametrize(
    "text, part",
    [
        ("a: &x 1\nb: 2", "anchor"),
        ("a: &x [1]\nb: *x", "anchor"),
        ("a: 1\na: 2", "twice at line 2"),
        ("1: 2", "field name"),
        ("true: 2", "field name"),
        ("[a]: 2", "field name"),
        ("a: !!python/object:os.system x", "the tag"),
        ("a: !!timestamp 2026-11-20", "the tag"),
        ("a: [", "line 1"),
        ("a: 1\n b: 2", "line 2"),
        ("a: 1\n---\nb: 2", "YAML"),
        ("\x00", "not allowed"),
        ("a:", "null"),
        ("a: ~", "null"),
        ("[" * 5000, "deep"),
    ],
)
def test_what_is_not_plain_is_refused(text: str, part: str) -> None:
    with pytest.raises(CaseFileError, match=part):
        read_yaml(text, "here")


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    """It gives what JSON could hold, or a case file's error; nothing else is raised."""
    try:
        tree = read_yaml(text, "here")
    except CaseFileError:
        return
    assert json.loads(json.dumps(tree)) == tree
