"""The short version of the bench: clear faults are found in most cars, and every fault mode has its list."""

from __future__ import annotations

import pytest

from faultnet.prior_set import load_catalogue
from tests.bench import separability

CLEAR = (
    ("battery", "shorted_cell"),
    ("battery", "broken_link"),
    ("ground_path", "high_resistance"),
    ("start_control", "open"),
    ("rectifier", "open_diode"),
    ("regulator", "high"),
    ("belt", "lost"),
    ("drain", "moderate"),
)
CARS = 6


def test_every_fault_mode_has_a_list_of_at_most_six_known_tests() -> None:
    catalogue = load_catalogue()
    modes = {(c.id, m.id) for c in catalogue.components for m in c.modes[1:]}
    assert set(separability.LISTS) == modes
    assert set(separability.LIMITS) <= modes
    for steps, reason in separability.LISTS.values():
        assert 0 < len(separability.tests_of(steps)) <= separability.MOST_TESTS
        assert reason
        for test in separability.tests_of(steps):
            catalogue.test(test)


@pytest.mark.parametrize("cause", CLEAR, ids=":".join)
def test_a_clear_fault_is_found(cause: tuple[str, str]) -> None:
    """Belief above 0.8 in the true cause in at least two thirds of the cars."""
    found = separability.separated(load_catalogue(), cause, CARS)
    assert found.sure >= 2 * CARS / 3, found


def test_a_list_for_another_fault_does_not_find_it() -> None:
    """The belief must come from the readings: belt tests say nothing of a shorted cell."""
    steps = separability.LISTS[("belt", "lost")][0]
    catalogue = load_catalogue()
    rng = separability.np.random.default_rng(1)
    car = separability.draw_car(
        rng, catalogue, separability.CAR, {"battery": "shorted_cell"}, separability.CONDITIONS, faults_on=True
    )
    found = separability.beliefs(catalogue, separability.worked_up(car, steps, rng))
    assert found[("battery", "shorted_cell")] < 0.3
