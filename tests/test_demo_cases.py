"""The demo cases: invented, described, plausible, and told apart by the diagnosis.

What must come out is what the README promises: five or six plausible readings raise the true cause above 0.8, and
a healthy car's readings raise no cause by more than 0.3 over its prior.
"""

from __future__ import annotations

import re
from functools import cache

import pytest

from faultnet import advise
from faultnet.case.file import load_case
from faultnet.case.types import Act, Case, Reading
from faultnet.diagnosis import Diagnosis
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped

DEMO_CASES = sorted(path.stem for path in shipped("cases").glob("*.json"))
WITHOUT_READINGS = "fresh_case"
TRUE_CAUSES = {
    "shorted_cell": ("battery", "shorted_cell"),
    "intermittent_no_start": ("negative_joint", "slack"),
    "ground_high_resistance": ("ground_path", "high_resistance"),
    "regulator_low": ("regulator", "low"),
    "sulphated_battery": ("battery", "sulphated"),
}
LEADING_CAUSES = {
    "left_on_lamp": ("use", "left_on"),
    "key_off_drain": ("drain", "heavy"),
    "diesel_in_the_cold": ("battery", "worn"),
}


@cache
def demo(name: str) -> Case:
    return load_case(shipped("cases") / f"{name}.json")


@cache
def answer(name: str) -> Diagnosis:
    return advise(demo(name), load_catalogue()).diagnosis


def readings(case: Case) -> list[Reading]:
    return [entry for visit in case.visits for entry in visit.entries if isinstance(entry, Reading)]


@pytest.mark.parametrize("name", DEMO_CASES)
def test_each_is_marked_as_invented_and_named(name: str) -> None:
    assert demo(name).invented
    assert demo(name).name
    assert demo(name).complaint


def test_each_has_a_line_of_its_own_in_the_readme() -> None:
    text = (shipped("cases") / "README.md").read_text(encoding="utf-8")
    assert sorted(re.findall(r"^\| `(\w+)` \| .{20,} \|$", text, flags=re.MULTILINE)) == DEMO_CASES


@pytest.mark.parametrize("name", [name for name in DEMO_CASES if name != WITHOUT_READINGS])
def test_each_has_a_handful_of_readings_with_notes(name: str) -> None:
    taken = readings(demo(name))
    most = 7 if len(demo(name).visits) == 1 else 12
    told = [reading for reading in taken if load_catalogue().test(reading.test).group == "ask"]
    assert len(taken) >= 5
    assert len(taken) - len(told) <= most
    assert sum(bool(reading.note) for reading in taken) >= 2


@pytest.mark.parametrize("name, cause", TRUE_CAUSES.items())
def test_the_true_cause_stands_out(name: str, cause: tuple[str, str]) -> None:
    found = answer(name)
    assert (found.causes[0].component, found.causes[0].mode) == cause
    assert found.causes[0].probability > 0.8


@pytest.mark.parametrize("name, cause", LEADING_CAUSES.items())
def test_the_true_cause_leads(name: str, cause: tuple[str, str]) -> None:
    found = answer(name)
    assert (found.causes[0].component, found.causes[0].mode) == cause
    assert found.causes[0].probability > 0.5


@pytest.mark.parametrize("name", DEMO_CASES)
def test_no_reading_is_asked_about_as_a_slip(name: str) -> None:
    assert answer(name).clashes == ()


def test_a_healthy_car_is_left_alone() -> None:
    risen = {cause.label: cause.probability - cause.prior for cause in answer("healthy_car").causes}
    assert max(risen.values()) < 0.3, max(risen, key=risen.__getitem__)


def test_a_fresh_case_is_undecided_and_says_where_to_begin() -> None:
    found = answer("fresh_case")
    assert found.entries == 0
    assert found.causes[0].probability < 0.5
    assert found.next_tests[0].bits > 0.3


def test_the_intermittent_fault_shows_late_and_is_cured_on_the_third_visit() -> None:
    case = demo("intermittent_no_start")
    assert len(case.visits) == 3
    acts = [[entry for entry in visit.entries if isinstance(entry, Act)] for visit in case.visits]
    assert [len(found) for found in acts] == [0, 0, 1]
    assert acts[2][0].outcome == "cured"


def test_a_visit_without_the_fault_does_not_clear_it() -> None:
    """After the first visit, in which nothing could be found, the slack joint is no less likely than before."""
    case = demo("intermittent_no_start")
    first = advise(Case(case.car, case.visits[:1]), load_catalogue()).diagnosis
    slack = next(c for c in first.causes if (c.component, c.mode) == ("negative_joint", "slack"))
    assert slack.probability > 0.8 * slack.prior


def test_the_closed_case_says_what_the_diagnosis_says() -> None:
    closed = [name for name in DEMO_CASES if demo(name).outcome is not None]
    assert closed
    for name in closed:
        outcome = demo(name).outcome
        assert outcome is not None
        first = answer(name).causes[0]
        assert outcome.causes == ((first.component, first.mode),)
