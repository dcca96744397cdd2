"""Which tests tell most about one part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Case, Reading, Visit
from faultnet.decision import load_costs
from faultnet.decision.about import bits_about, telling_tests
from faultnet.decision.advice import Weighed, weigh
from faultnet.diagnosis.diagnose import work_through
from faultnet.inference.posterior import grouped_information
from faultnet.prior_set import load_catalogue


@pytest.fixture(scope="module")
def weighed() -> Weighed:
    visit = Visit((Reading("rest_voltage", value=12.3), Reading("how_it_turns_over", state="slow")))
    return weigh(work_through(Case(Car(Battery(600.0)), (visit,)), load_catalogue()), load_costs())


def test_what_a_test_tells_of_a_part_is_its_information_on_whether_that_is_at_fault(weighed: Weighed) -> None:
    state = weighed.state
    names = [t.test for t in weighed.tests]
    found = bits_about(state, names)
    assert found.shape == (len(state.repairs.names) - 1, len(names))
    for i in range(len(found)):
        groups = state.repairs.at_fault[:, i].astype(int)
        wanted = [grouped_information(state.belief, state.chances[t], groups) for t in names]
        np.testing.assert_allclose(found[i], wanted, rtol=0.0, atol=1e-9)
    assert found.max() > 0.05


def test_each_part_gets_the_tests_that_tell_most_for_their_time(weighed: Weighed) -> None:
    share = weighed.worked.catalogue.number("telling_share")
    found = telling_tests(weighed.state, weighed.tests, weighed.worked.catalogue)
    names = weighed.state.repairs.names[:-1]
    assert set(found) == set(names)
    bits = bits_about(weighed.state, [t.test for t in weighed.tests])
    for name, row in zip(names, bits, strict=True):
        pace = {t.test: b / t.minutes for t, b in zip(weighed.tests, row, strict=True)}
        told = [pace[t] for t in found[name]]
        assert told == sorted(pace.values(), reverse=True)[: len(told)]
        assert min(told) > share * told[0]
    assert "ground_path_drop" in found["ground_path"]
    assert "charge_ripple" in found["rectifier"]


def test_without_a_test_there_is_nothing_to_tell(weighed: Weighed) -> None:
    bare = replace(weighed.state, chances={})
    assert set(telling_tests(bare, (), weighed.worked.catalogue).values()) == {()}
