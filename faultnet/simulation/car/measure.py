"""One test done on a virtual car: the true value, then the instrument, its error, its display and its slips."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from faultnet.case.types import Reading
from faultnet.errors import EntryError
from faultnet.instruments import reading_spread
from faultnet.model.build import AT_CLAMPS, is_recorder
from faultnet.model.charging import STATES
from faultnet.model.misread import ANYTHING, BATTERY, DECADE, DISPLAYS, slips_of
from faultnet.model.quantities import QUANTITIES, TABLE, quantity_read
from faultnet.model.quantity import Law
from faultnet.physics.quantity import Quantity
from faultnet.prior_set.types import Instrument, Test
from faultnet.simulation.car import answers, resting, running, starting
from faultnet.simulation.car.hidden import by_law
from faultnet.simulation.car.vehicle import VirtualCar

NumberOf = Callable[[VirtualCar, np.random.Generator], Quantity]
SampledOf = Callable[[VirtualCar, np.random.Generator, Instrument, float | None], Quantity]
ChoiceOf = Callable[[VirtualCar, np.random.Generator], str]

RECORDER_INTERVAL = 0.01  # [s] of a log taken for a start
SAMPLED: dict[str, SampledOf] = {
    "crank_minimum": starting.lowest_at_posts,
    "clamp_minimum": starting.lowest_at_clamps,
}
NUMBERS: dict[str, NumberOf] = {
    "rest_voltage": resting.rest_voltage,
    "draw_at_once": resting.draw_at_once,
    "overnight_fall": resting.overnight_fall,
    "gravity_level": resting.gravity_level,
    "gravity_spread": resting.gravity_spread,
    "source_resistance": resting.source_resistance,
    "conductance_rating": resting.conductance_rating,
    "half_rating_voltage": resting.half_rating_voltage,
    "acceptance_current": resting.accepted_current,
    "hold_after_charge": resting.hold_after_charge,
    "module_offset": resting.module_offset,
    "crank_sustained": starting.held_at_posts,
    "dead_crank_level": starting.dead_crank_level,
    "crank_sag": starting.sag,
    "crank_current": starting.crank_current,
    "inrush_current": starting.inrush,
    "cranking_speed": starting.speed,
    "control_voltage": starting.control_terminal,
    **{name: partial(starting.drop, quantity=name) for name in starting.DROP_PARTS},
    **{name: partial(running.volts, state=name) for name in STATES},
    "alternator_current": running.alternator_current,
    "charge_cable_drop": running.cable_drop,
    "charge_ground_drop": running.ground_drop,
    "ripple": running.ripple,
}
CHOICES: dict[str, ChoiceOf] = {
    "crank_behaviour": answers.heard,
    "clamp_lamps": answers.lamps,
    "firing": answers.firing,
    "eye": answers.eye_colour,
}


def not_covered() -> dict[str, tuple[str, ...]]:
    """Quantities of the registry for which the virtual car gives nothing, and what it gives that the registry lacks.

    Examples
    --------
    >>> not_covered()
    {'without a true value': (), 'not in the registry': ()}
    """
    given = {*SAMPLED, *NUMBERS, *CHOICES, *(q.name for q in QUANTITIES.values() if isinstance(q.table, Law))}
    return {
        "without a true value": tuple(sorted(set(QUANTITIES) - given)),
        "not in the registry": tuple(sorted(given - set(QUANTITIES))),
    }


def measure(
    vehicle: VirtualCar,
    test_id: str,
    instrument_id: str | None,
    rng: np.random.Generator,
    *,
    interval: float | None = None,
) -> Reading:
    """Do a test on a virtual car.

    Parameters
    ----------
    vehicle : VirtualCar
    test_id : str
    instrument_id : str or None
        The test's ordinary one when None.
    rng : numpy.random.Generator
    interval : float, optional
        Sampling interval of a log [s]; 0.01 for a recorder when left out.

    Returns
    -------
    Reading
        As a technician would enter it; always one that the catalogue accepts.

    Raises
    ------
    PriorsError
        If the test or the instrument is unknown.
    EntryError
        If the instrument does not take that reading.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> from faultnet.simulation.car.world import draw_car
    >>> rng = np.random.default_rng(7)
    >>> vehicle = draw_car(rng, load_catalogue(), modes={"battery": "shorted_cell"})
    >>> 9.0 < measure(vehicle, "rest_voltage", "better_multimeter", rng).value < 11.2
    True
    """
    test = vehicle.catalogue.test(test_id)
    instrument = vehicle.catalogue.instrument(instrument_id or test.instruments[0])
    if instrument.id not in test.instruments:
        raise EntryError(
            f"{test.label}: this instrument does not take that reading",
            got=repr(instrument.id),
            expected=", ".join(test.instruments),
        )
    if is_recorder(instrument) and test.quantity in SAMPLED:
        interval = interval or RECORDER_INTERVAL
    spoilt = vehicle.world.unlisted_share * vehicle.number("unlisted_mixture")
    disturbed = vehicle.modes["unlisted"] != "absent" and rng.random() < spoilt
    slip = instrument.slip if vehicle.world.slip is None else vehicle.world.slip
    slipped = not disturbed and rng.random() < slip
    if test.kind == "choice":
        any_choice = disturbed or slipped
        state = str(rng.choice([c for c, _ in test.choices])) if any_choice else _choice(vehicle, rng, test)
        return Reading(test.id, state=state, instrument=instrument.id)
    if disturbed:
        value = _any_number(rng, test)
    else:
        value = _number(vehicle, rng, test, instrument, interval)
        value = _slipped(vehicle, rng, test, instrument, value) if slipped else value
    return Reading(test.id, value=value, instrument=instrument.id, interval=interval)


def _choice(vehicle: VirtualCar, rng: np.random.Generator, test: Test) -> str:
    if test.quantity == TABLE:
        return answers.told(vehicle, rng, test)
    return CHOICES[test.quantity](vehicle, rng)


def _number(
    vehicle: VirtualCar, rng: np.random.Generator, test: Test, instrument: Instrument, interval: float | None
) -> float:
    value = vehicle.unlike(quantity_read(test), float(true_value(vehicle, rng, test, instrument, interval)))
    if test.quantity != "module_offset":
        value += float(place_offset(vehicle, rng, instrument))
    if test.quantity == AT_CLAMPS:
        value += offset_while_cranking(vehicle)
    error = reading_spread(instrument, 12.5 if test.quantity == "module_offset" else value)
    return displayed(value + vehicle.world.widening * error * float(rng.standard_normal()), test, instrument)


def true_value(
    vehicle: VirtualCar, rng: np.random.Generator, test: Test, instrument: Instrument, interval: float | None = None
) -> Quantity:
    """What the test's quantity is in this attempt, before the instrument's error [unit of the test]."""
    quantity = quantity_read(test)
    if quantity.sampled:
        seconds = interval if is_recorder(instrument) else instrument.interval
        return SAMPLED[test.quantity](vehicle, rng, instrument, seconds)
    if isinstance(quantity.table, Law):
        return by_law(vehicle, rng, quantity, quantity.table)
    return NUMBERS[test.quantity](vehicle, rng)


def place_offset(vehicle: VirtualCar, rng: np.random.Generator, instrument: Instrument) -> Quantity:
    """Difference of the instrument's place from the posts at rest on this car [V]."""
    if instrument.place == "module":
        return resting.module_offset(vehicle, rng)
    if instrument.place == "socket":
        return resting.socket_offset(vehicle, rng)
    return 0.0


def offset_while_cranking(vehicle: VirtualCar) -> float:
    """What is added to that while it cranks [V], of a car at every start alike."""
    spread = vehicle.world.widening * vehicle.number("away_while_cranking_spread")
    return vehicle.number("away_while_cranking_mean") + spread * float(vehicle.own("cranking").standard_normal())


def displayed(value: float, test: Test, instrument: Instrument) -> float:
    """A value as the display shows it: rounded to its resolution, held to what the test may be."""
    if instrument.resolution > 0.0:
        value = round(value / instrument.resolution) * instrument.resolution
    if test.plausible is not None:
        value = min(max(value, test.plausible[0]), test.plausible[1])
    return round(value, 6)


def _slipped(vehicle: VirtualCar, rng: np.random.Generator, test: Test, instrument: Instrument, value: float) -> float:
    """What a slip makes of a value; a figure that the test cannot have is looked at again."""
    kinds = slips_of(vehicle.catalogue, instrument, test.unit)
    kind = str(rng.choice(list(kinds), p=list(kinds.values())))
    if kind == ANYTHING:
        return _any_number(rng, test)
    if kind == DECADE:
        seen = value * (10.0 if rng.random() < 0.5 else 0.1)
    elif kind == BATTERY:
        seen = vehicle.number("usual_rest_voltage") + vehicle.number("slip_battery_spread") * rng.standard_normal()
    else:
        return displayed(DISPLAYS * reading_spread(instrument, 0.0) * rng.standard_normal(), test, instrument)
    low, high = test.plausible or (-np.inf, np.inf)
    return displayed(seen, test, instrument) if low <= seen <= high else value


def _any_number(rng: np.random.Generator, test: Test) -> float:
    """A fault the model does not know, or the rest of slips: anything that can be read at all."""
    low, high = test.plausible or (0.0, 1.0)
    return round(float(rng.uniform(low, high)), 3)
