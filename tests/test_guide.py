"""The guide followed to the letter: each change of DEVELOPERS.md is made from its blocks, and works.

The number of files that a change touches is held here: another price one row, a mode the tables that say what it is and
no code, a test two files, a criterion one line.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Case, Conditions, Reading, Visit
from faultnet.decision import advice as advice_module
from faultnet.decision import advise, choosing, load_costs
from faultnet.diagnosis import Diagnosis
from faultnet.errors import PriorsError
from faultnet.learning.versions.versions import compare
from faultnet.model import quantities, source
from faultnet.prior_set import Catalogue, load_catalogue
from faultnet.prior_set.records import COLUMNS
from faultnet.shipped import shipped
from faultnet.simulation.car.measure import measure, not_covered
from faultnet.simulation.car.world import draw_car
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.policies import advised_by
from faultnet.simulation.workshop.steps import Look
from tests.priors import entry, small_set

GUIDE = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
CAR = Car(Battery(540.0, "EN", age=4.0))
CASE = Case(CAR, (Visit((Reading("rest_voltage", value=12.5),), Conditions(air_temperature=15.0)),))


def blocks(heading: str) -> list[tuple[str, str]]:
    """Language and text of each block under a heading of the guide."""
    section = GUIDE.split(f"### {heading}\n")[1].split("\n### ")[0].split("\n## ")[0]
    return re.findall(r"```(\w+)\n(.*?)```", section, flags=re.DOTALL)


def added_to_table(folder: Path, table: str, rows: str) -> None:
    (folder / f"{table}.csv").write_text(",".join(COLUMNS[table]) + "\n" + rows, encoding="utf-8")


def diagnosed(case: Case, catalogue: Catalogue) -> Diagnosis:
    return advise(case, catalogue, load_costs()).diagnosis


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A small set, begun as the guide says."""
    (language, head), *_ = blocks("A set of your own")
    assert language == "toml"
    made = small_set(tmp_path / "ours")
    (made / "prior_set.toml").write_text(head, encoding="utf-8")
    return made


def touched(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()} - {"prior_set.toml"}


def test_another_price_is_one_row(folder: Path) -> None:
    [(_, row)] = blocks("To change a price")
    assert row.count("\n") == 1
    added_to_table(folder, "costs", row)
    ours, standard = load_costs(folder=folder), load_costs()
    assert replace(ours, part={**ours.part, "starter_motor": standard.part["starter_motor"]}) == standard
    grinding = replace(CASE, visits=(Visit((Reading("crank_current", value=2.0),), CASE.visits[0].conditions),))
    catalogue = load_catalogue(folder=folder)
    dearer, usual = (advise(grinding, catalogue, costs).decision.expected_cost for costs in (ours, standard))
    assert dearer > usual
    [shown] = compare("standard", str(folder))
    assert (shown.table, shown.key, shown.second) == ("costs", ("part", "starter_motor"), 650.0)
    assert touched(folder) == {"costs.csv"}


def test_a_mode_that_comes_and_goes_is_four_tables_and_no_code(folder: Path) -> None:
    (_, mode), (_, rates), (_, on), (_, effects) = blocks("To add a mode")
    whole = entry("components.toml", "component", "belt")
    (folder / "components.toml").write_text(whole + mode, encoding="utf-8")
    for table, rows in (("base_rates", rates), ("on_rates", on), ("effects", effects)):
        added_to_table(folder, table, rows)
    catalogue = load_catalogue(folder=folder)
    chance = {}
    for volts in (11.8, 14.1):
        entries = (Reading("rest_voltage", value=12.5), Reading("charge_loaded_voltage", value=volts))
        found = diagnosed(replace(CASE, visits=(Visit(entries, CASE.visits[0].conditions),)), catalogue)
        chance[volts] = found.components["belt"]["slips_when_damp"]
    before = diagnosed(CASE, catalogue).components["belt"]["slips_when_damp"]
    assert chance[11.8] > 2.0 * before
    assert 0.4 * before < chance[14.1] < before, "it may have been off while it was measured"
    rng = np.random.default_rng(8)
    met = {draw_car(rng, catalogue, CAR, {"belt": "slips_when_damp"}).active["belt"] for _ in range(40)}
    assert met == {"sound", "slips_when_damp"}
    assert touched(folder) == {"components.toml", "base_rates.csv", "on_rates.csv", "effects.csv"}


def test_a_test_is_two_files(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (_, told), (_, code) = blocks("To add a test")
    (folder / "tests.toml").write_text(told, encoding="utf-8")
    written = dict(vars(source))
    exec(code, written)  # as if it stood at the end of model/source.py
    [new] = written["QUANTITIES"][len(source.QUANTITIES) :]
    monkeypatch.setitem(quantities.QUANTITIES, new.name, new)
    assert not_covered() == {"without a true value": (), "not in the registry": ()}
    catalogue = load_catalogue(folder=folder)
    asked = next(t for t in diagnosed(CASE, catalogue).next_tests if t.test == "volts_with_lamps")
    assert asked.bits > 0.0
    assert asked.sound_range is not None
    low, high = asked.sound_range
    assert 12.0 < low < high < 13.0
    rng = np.random.default_rng(5)
    charged = [draw_car(rng, catalogue, CAR, {}, CASE.visits[0].conditions) for _ in range(60)]
    read = [measure(replace(car, charge=0.9), "volts_with_lamps", None, rng).value for car in charged]
    assert low - 0.2 < float(np.median(np.array(read, dtype=float))) < high + 0.2
    both = (*CASE.visits[0].entries, Reading("volts_with_lamps", value=8.0))
    low_read = replace(CASE, visits=(replace(CASE.visits[0], entries=both),))
    links = [diagnosed(case, catalogue).components["battery"]["broken_link"] for case in (CASE, low_read)]
    assert links[1] > 5.0 * links[0]
    assert touched(folder) == {"tests.toml"}


def test_a_test_without_its_code_is_named(folder: Path) -> None:
    (_, told), _ = blocks("To add a test")
    (folder / "tests.toml").write_text(told.replace("volts_with_lamps", "volts_of_nothing"), encoding="utf-8")
    with pytest.raises(PriorsError, match=r"volts_of_nothing.*declare it in the file of its circuit"):
        diagnosed(CASE, load_catalogue(folder=folder))


def test_a_criterion_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [line for _, line in blocks("To add a criterion")]
    assert [line.count("\n") for line in lines] == [1, 1]
    for line, known in zip(lines, (choosing.CRITERIA, advice_module.RANKINGS), strict=True):
        for name, criterion in eval("{" + line.strip() + "}").items():
            monkeypatch.setitem(known, name, criterion)  # type: ignore[arg-type]  # either kind of function
    shop = Shop(load_catalogue(), load_costs())
    cheap = advise(CASE, shop.catalogue, shop.costs, rank_by="cheap").diagnosis.next_tests
    assert cheap[0].price == min(test.price for test in cheap)
    step = advised_by("cheap")(CASE, shop, np.random.default_rng(1))
    assert isinstance(step, Look)
    assert step.test == cheap[0].test
    found = advise(CASE, load_catalogue(), load_costs(), rank_by="quick").diagnosis.next_tests
    worth = [test.bits if test.minutes <= 5.0 else 0.0 for test in found]
    assert worth == sorted(worth, reverse=True)
    assert worth[0] > 0.0


def test_the_modules_table_names_every_room() -> None:
    """The table of the picture lists each folder and file at the top of the library."""
    table = GUIDE.split("```")[1]
    package = shipped("priors").parent / "faultnet"
    rooms = {p.stem for p in package.iterdir() if p.stem not in ("__init__", "__main__", "__pycache__", "py")}
    assert {name for name in rooms if not re.search(rf"\b{name}\b", table)} == set()
