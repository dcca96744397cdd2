"""Numbers that are none: every number on the command line and in files has its range, and says so."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest
import typer
from typer.testing import CliRunner

from faultnet.case.file import case_from_json, load_case
from faultnet.cli import options
from faultnet.cli.commands import app
from faultnet.decision.costs import load_costs
from faultnet.errors import FaultnetError
from faultnet.learning.result import HistoryError, Options
from faultnet.learning.tables.cells import Unusable, value_of
from faultnet.learning.tables.columns import COLUMNS
from faultnet.learning.tune import tune
from faultnet.prior_set import load_catalogue
from faultnet.recordings import read_recording, readings_from
from faultnet.shipped import shipped

NONE = ("nan", "inf", "-inf", "1e308", "-1e308", "9" * 5000, "1e400")
LOG = b"time s;volts\n" + b"".join(b"%d;12.6\n" % k for k in range(60))


def commands() -> Iterator[tuple[tuple[str, ...], Any]]:
    """The words of every command, and its function."""
    for command in app.registered_commands:
        assert command.callback is not None
        yield (command.name or command.callback.__name__,), command.callback
    for group in app.registered_groups:
        assert group.typer_instance is not None
        for command in group.typer_instance.registered_commands:
            yield (str(group.name), str(command.name)), command.callback


def numbers() -> list[Any]:
    """Every option that takes a number: the words of its command, how it is written, and its range."""
    found = []
    for path, function in commands():
        for name, hint in get_type_hints(function, include_extras=True).items():
            if not hasattr(hint, "__metadata__"):
                continue
            kinds = {*get_args(hint.__origin__), hint.__origin__}
            if kinds & {int, float}:
                about = hint.__metadata__[0]
                option = (about.param_decls or ("--" + name.replace("_", "-"),))[0]
                found.append(pytest.param(path, option, about, id=f"{path[-1]} {option}"))
    return found


def test_there_are_numbers_to_look_at() -> None:
    wanted = {"diagnose --hourly-rate", "tune --strength", "log --window", "log --posts-at-rest", "tune --folds"}
    assert wanted | {"serve --port", "trial --seed"} <= {str(found.id) for found in numbers()}


@pytest.mark.parametrize("path, option, kind", numbers())
def test_every_number_of_the_command_line_has_its_range(path: tuple[str, ...], option: str, kind: Any) -> None:
    assert kind.min is not None
    assert kind.max is not None
    assert -1e7 <= kind.min < kind.max < 2**63
    bad = (*NONE, str(kind.min - 1), str(2 * kind.max + 1))
    for value in bad:
        result = CliRunner().invoke(app, [*path, "x", option, value], catch_exceptions=False)
        assert result.exit_code == 2, value
        assert option in result.output
        assert "Traceback" not in result.output
        assert len(result.output) < 7000


def test_a_number_that_is_none_is_refused_by_the_ranges_own_check() -> None:
    with pytest.raises(typer.BadParameter, match="no number"):
        options.finite(float("nan"))


@pytest.mark.parametrize("column", ["1" * 5000, "0", "-1", "7"])
@pytest.mark.parametrize("option", ["--time-column", "--volts-column"])
def test_columns_that_cannot_be_are_said_in_words(column: str, option: str, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(LOG)
    with pytest.raises(FaultnetError, match="column"):
        CliRunner().invoke(app, ["log", str(tmp_path / "a.csv"), option, column], catch_exceptions=False)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0, 1e308])
def test_numbers_given_to_the_library_have_their_range(bad: float) -> None:
    with pytest.raises(FaultnetError):
        readings_from([], "module", posts_at_rest=bad)
    with pytest.raises(FaultnetError):
        readings_from([], "posts", window=bad)
    with pytest.raises(FaultnetError):
        read_recording(LOG, interval=bad)
    with pytest.raises(FaultnetError):
        load_costs().with_shop(hourly_rate=bad)
    for name in ("strength", "recency_half_life", "tolerance"):
        with pytest.raises(HistoryError, match=name.replace("_", " ")):
            Options(**{name: bad})


def test_more_folds_than_cases_are_refused() -> None:
    case = case_from_json((shipped("cases") / "shorted_cell.json").read_text(encoding="utf-8"))
    with pytest.raises(HistoryError, match=r"folds.*at most 1, the number of cases"):
        tune([case], load_catalogue(), Options(folds=2))


@pytest.mark.parametrize("column", [c for c in COLUMNS if c.kind in ("number", "whole")], ids=lambda c: c.name)
def test_every_number_of_a_history_has_its_range(column: Any) -> None:
    for cell in (*NONE[:3], "9" * 5000, "1e400", float("nan"), 10**400):
        with pytest.raises(Unusable):
            value_of(column, cell)
    if column.name != "value":
        with pytest.raises(Unusable):
            value_of(column, "1e308")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999", "9" * 5000, "-1e999", "1" + "0" * 400])
@pytest.mark.parametrize("place", ["rating", "value", "hours", "temperature"])
def test_every_number_of_a_case_has_its_range(number: str, place: str) -> None:
    tree: dict[str, Any] = {"format": "faultnet-case", "version": 1, "car": {"battery": {"rating": 600}}}
    entries = [{"test": "rest_voltage", "value": 12.4}, {"act": "charge", "hours": 3}]
    tree["visits"] = [{"conditions": {"air_temperature": 4.0}, "entries": entries}]
    marks = {"rating": "600", "value": "12.4", "hours": '"hours": 3', "temperature": "4.0"}
    text = json.dumps(tree)
    new = f'"hours": {number}' if place == "hours" else number
    with pytest.raises(FaultnetError):
        case_from_json(text.replace(marks[place], new))
    assert case_from_json(text)


@pytest.mark.parametrize("number", ["9" * 5000, "-" + "9" * 5000, "1e999", "9" * 400 + ".5"])
def test_every_number_of_a_case_in_yaml_has_its_range(number: str) -> None:
    text = f"format: faultnet-case\nversion: 1\ncar:\n  battery: {{rating: {number}}}\n"
    with pytest.raises(FaultnetError) as caught:
        load_case(text.encode(), "case.yaml")
    assert len(str(caught.value)) < 500


@pytest.mark.parametrize("number", ["nan", "inf", "1e308", "-1", "9" * 5000])
@pytest.mark.parametrize("table", ["base_rates", "costs", "symptoms", "on_rates", "spreads", "effects"])
def test_every_number_of_a_prior_set_has_its_range(table: str, number: str, tmp_path: Path) -> None:
    folder = tmp_path / "set"
    shutil.copytree(shipped("priors") / "standard", folder)
    path = folder / f"{table}.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    names, cells = lines[0].split(","), lines[1].split(",")
    place = names.index("centre" if table == "effects" else "value")
    cells[place] = number
    path.write_text("\n".join([lines[0], ",".join(cells), *lines[2:]]), encoding="utf-8")
    if number == "-1" and table in ("spreads", "effects"):
        return  # a mean may be below nought
    with pytest.raises(FaultnetError):
        load_costs("x", folder) if table == "costs" else load_catalogue(folder=folder)


def test_a_number_of_thousands_of_digits_in_toml_is_said_in_words(tmp_path: Path) -> None:
    folder = tmp_path / "set"
    shutil.copytree(shipped("priors") / "standard", folder)
    path = folder / "tests.toml"
    text = path.read_text(encoding="utf-8")
    place = text.index("minutes = ")
    path.write_text(text[:place] + "minutes = " + "9" * 5000 + "\n#" + text[place:], encoding="utf-8")
    with pytest.raises(FaultnetError, match="TOML") as caught:
        load_catalogue(folder=folder)
    assert len(str(caught.value)) < 1000
