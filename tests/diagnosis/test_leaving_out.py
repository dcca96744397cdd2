"""Entries left out by one pass forward and one back, against the case worked through without them."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Reading, Visit
from faultnet.diagnosis.course import course
from faultnet.diagnosis.diagnose import work_through
from faultnet.diagnosis.leaving_out import without_each
from faultnet.inference.posterior import updated
from faultnet.prior_set import load_catalogue
from tests.diagnosis.test_rows import READINGS, model
from tests.inference import demo

EXACT = 1e-9
TIGHTENED = Act("replace", "solenoid", outcome="better")
# up to seven are taken together; of more, the others stay together as they were, which is not quite the same
MANY = tuple(Reading("solenoid_drop", value=0.3 + 0.05 * k) for k in range(6))
CASES = {
    "readings and a repair": (READINGS[:3], (READINGS[3], TIGHTENED, READINGS[2], READINGS[5])),
    "the same quantity again and again": ((*MANY[:4], TIGHTENED, *MANY[4:], MANY[0]),),
    "charged, driven, helped": (
        (READINGS[0], Act("charge", hours=8.0, outcome="cured"), READINGS[1]),
        (READINGS[1], Act("jump_start", outcome="cured"), Act("drive", hours=1.0, outcome="better"), READINGS[0]),
    ),
    "remembered from visit to visit": ((READINGS[4],), (READINGS[4], READINGS[0]), (READINGS[4],)),
    "read again at every visit": (READINGS[:4], (READINGS[2], READINGS[3]), (*READINGS[1:3], TIGHTENED), READINGS[1:5]),
    "a new battery": ((READINGS[0], Act("replace", "battery", outcome="cured"), READINGS[0]), (READINGS[1],)),
    "compared": ((Reading("module_offset_at_rest", value=-0.6), Reading("module_crank_minimum", value=9.0)),),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_an_entry_left_out_is_an_entry_never_made(name: str) -> None:
    visits = [Visit(tuple(entries), demo.MILD) for entries in CASES[name]]
    models, space, tables = [model()] * len(visits), model().space, demo.catalogue()
    belief = updated(space, course(models, visits, tables, space).log_likelihood)
    assert belief is not None
    found = without_each(models, visits, tables, space, belief)
    assert belief.posterior[found.chosen].sum() >= 1.0 - 1e-6
    assert len(found.log_likelihood) == sum(len(v.entries) for v in visits)
    for place, log_likelihood in found.log_likelihood.items():
        expected = course(models, visits, tables, space, place).log_likelihood[found.chosen]
        np.testing.assert_allclose(log_likelihood, expected, rtol=0, atol=EXACT, err_msg=str(place))


def test_one_of_several_readings_of_one_number_is_left_out_of_what_they_say_together() -> None:
    """Readings that agree strengthen each other against a slip, so what is left is no quotient of single ones."""
    entries = tuple(Reading("positive_side_drop", value=0.30 + 0.002 * k) for k in range(7))
    case = Case(Car(Battery(540.0, age=4.0)), (Visit(entries, Conditions(14.0)),))
    worked = work_through(case, load_catalogue())
    found = without_each(worked.models, case.visits, worked.catalogue, worked.space, worked.belief)
    assert len(found.log_likelihood) == len(entries)
    for place, log_likelihood in found.log_likelihood.items():
        anew = course(worked.models, case.visits, worked.catalogue, worked.space, place).log_likelihood[found.chosen]
        np.testing.assert_allclose(log_likelihood, anew, rtol=0, atol=EXACT, err_msg=str(place))
