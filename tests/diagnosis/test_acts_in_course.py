"""What acts say about a case: preparing, driving it and coming back, repairs that did not take."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.diagnosis import work_through
from faultnet.diagnosis.acts import ALL_MODES, after_driving, mending_of
from faultnet.diagnosis.diagnose import Worked, ranked, still_there
from faultnet.diagnosis.needs import is_open, unmet_needs
from faultnet.model.network import Array
from faultnet.prior_set import load_catalogue

CAR = Car(Battery(600.0))
MILD = Conditions(air_temperature=15.0, hours_standing=12.0)


def worked(*visits: tuple[Entry, ...]) -> Worked:
    return work_through(Case(CAR, tuple(Visit(v, MILD) for v in visits)), load_catalogue(), max_faults=2)


def at_fault(found: Worked, component: str) -> float:
    return float(still_there(found)[component][1:].sum())


def nothing_left(found: Worked) -> float:
    _, leading = ranked(found, ())
    return float(leading.posterior[~leading.modes.any(axis=1)].sum())


def test_keeping_the_engine_from_firing_does_not_part_readings_of_one_car() -> None:
    """The same two readings with and without the act between give the same belief."""
    readings = (Reading("crank_minimum", value=8.6), Reading("positive_side_drop", value=0.3))
    plain = worked(readings).belief.posterior
    parted = worked((readings[0], Act("disable_fuel"), Act("wait", hours=1.0), readings[1])).belief.posterior
    assert parted == pytest.approx(plain, abs=1e-12)


def test_a_car_that_comes_back_has_something_left_that_was_not_found() -> None:
    seen = (Reading("how_it_turns_over", state="normal"), Reading("rest_voltage", value=12.65))
    once = worked(seen, ())
    again = worked((*seen, Act("drive", outcome="no_change")), ())
    well = worked((*seen, Act("drive", outcome="cured")), ())
    assert nothing_left(again) < 0.2 * nothing_left(once)
    assert nothing_left(well) > 1.5 * nothing_left(once)


def test_what_is_said_after_a_drive_is_a_distribution_and_use_counts_only_alone() -> None:
    found = worked(())
    spread, space = found.catalogue.number, found.space
    chances = [after_driving(spread, space, space.modes, word) for word in ("cured", "better", "no_change")]
    assert np.sum(chances, axis=0) == pytest.approx(1.0)
    use = space.components.index("use")
    mended = space.modes.copy()
    mended[:, [i for i in range(len(space.components)) if i != use]] = 0
    both = (space.modes[:, use] > 0) & ((space.modes > 0).sum(axis=1) == 2)
    alone = (space.modes[:, use] > 0) & ((space.modes > 0).sum(axis=1) == 1)
    back = after_driving(spread, space, mended, "no_change")
    assert set(back[both]) != set(back[alone])
    assert back[alone].min() > back[both].max()


def test_a_repair_that_did_not_take_keeps_the_part_among_those_to_mend() -> None:
    """The same reading once more says that the repair did not take; it says no more than the first of the value."""
    seen = (Reading("charge_unloaded_voltage", value=15.6), Reading("charge_idle_voltage", value=15.5))
    after = (*seen, Act("adjust_regulator", "regulator", "no_change"), Reading("charge_unloaded_voltage", value=15.6))
    found = worked(after)
    assert at_fault(worked(after[:-1]), "regulator") < 0.2
    assert at_fault(found, "regulator") > 0.7
    _, leading = ranked(found, ())
    column = found.space.components.index("regulator")
    assert leading.posterior[leading.modes[:, column] > 0].sum() == pytest.approx(
        at_fault(found, "regulator"), abs=0.02
    )


def test_a_load_test_is_valued_as_it_reads_after_the_charge_it_needs() -> None:
    """On a flat battery it would read low whatever the battery; after a charge it tells a bad one from a flat one."""
    flat = worked((Reading("rest_voltage", value=11.9), Reading("how_it_turns_over", state="slow")))
    _, leading = ranked(flat, None)
    battery = flat.space.components.index("battery")
    sound = leading.posterior * (leading.modes[:, battery] == 0)
    edges = np.asarray(flat.models[-1].compiled.network.nodes["reading_half_rating_load"].edges)
    expected = 0.5 * (edges[:-1] + edges[1:]) @ (sound @ leading.chances["half_rating_load"]) / sound.sum()
    assert expected > 9.8


def test_needs_are_met_and_undone_by_acts() -> None:
    catalogue = load_catalogue()
    load = catalogue.test("half_rating_load")

    def unmet(*acts: str, charged: bool = False) -> tuple[str, ...]:
        visit = Visit(tuple(Act(a) for a in acts), Conditions())
        return unmet_needs(load, visit, catalogue, charged=charged)

    assert unmet() == ("battery_charged", "surface_charge_gone")
    assert unmet("charge") == ("surface_charge_gone",)
    assert unmet("charge", "shed_surface_charge") == ()
    assert unmet("shed_surface_charge", "charge") == ("surface_charge_gone",)
    assert unmet("shed_surface_charge", charged=True) == ()
    nights = [
        Visit((Act("charge"), Act("wait", hours=hours)), Conditions(hours_standing=12.0)) for hours in (1.0, 12.0)
    ]
    assert [unmet_needs(load, night, catalogue) for night in nights] == [("surface_charge_gone",), ()]


def test_the_driver_is_asked_once_what_was_seen_stays_until_something_is_mended_and_a_number_is_read_twice() -> None:
    catalogue = load_catalogue()

    def is_still_open(test: str, *entries: Entry) -> bool:
        return is_open(catalogue.test(test), Case(CAR, (Visit(entries),)), catalogue)

    asked, seen = Reading("journeys", state="mixed"), Reading("belt_look", state="good")
    rest = Reading("rest_voltage", value=12.6)
    assert not is_still_open("journeys", asked, Act("replace", "battery"))
    assert not is_still_open("belt_look", seen, Act("charge"))
    assert is_still_open("belt_look", seen, Act("adjust_belt", "belt"))
    assert is_still_open("rest_voltage", rest, Act("disable_fuel"))
    assert not is_still_open("rest_voltage", rest, Act("disable_fuel"), rest)
    assert not is_still_open("rest_voltage", Reading("rest_voltage", not_measured="cannot_reach"))
    assert is_still_open("rest_voltage", rest, rest, Act("charge"))


def test_the_repair_named_for_a_fault_mends_it() -> None:
    """Otherwise the advice would name the same repair for ever, as nothing that is seen after it counts against it."""
    catalogue = load_catalogue()
    modes = [(part.id, mode.id, mode.repair) for part in catalogue.components for mode in part.modes if mode.repair]
    assert len(modes) > 40
    for part, mode, repair in modes:
        mending = mending_of(catalogue, Act(repair, part))
        assert mending is not None
        assert part in catalogue.act(repair).components
        assert mending.modes == ALL_MODES or mode in mending.modes, (part, mode, repair)


def test_a_repair_that_changed_nothing_counts_against_the_fault_it_should_have_mended() -> None:
    """Common practice, no source: what was renewed and did not help was not it. The readings are invented."""
    gone = (Reading("belt_look", state="missing"), Reading("charge_loaded_voltage", value=11.4))
    before = worked(gone)
    after = worked((*gone, Act("adjust_belt", "belt", outcome="no_change")))
    assert at_fault(after, "belt") < 0.9 * at_fault(before, "belt")


def expected_at_rest(*entries: Entry) -> Array:
    """Chance of each class of outcomes of the rest voltage, read now [-]."""
    _, leading = ranked(worked(entries), None)
    return np.asarray(leading.posterior @ leading.chances["rest_voltage"] / leading.posterior.sum())


def test_a_new_battery_is_not_expected_to_read_as_the_old_one_did() -> None:
    """What stood at the old posts says nothing of the new battery, also where the old one was sound."""
    read, new = Reading("rest_voltage", value=12.35), Act("replace", "battery", "no_change")
    np.testing.assert_allclose(expected_at_rest(read, new), expected_at_rest(new), rtol=0, atol=0.02)
    assert np.abs(expected_at_rest(read) - expected_at_rest(new)).max() > 0.5  # so that the test can fail
