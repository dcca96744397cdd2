"""Entries become evidence: the right quantity, the right instrument, the right place."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from faultnet.case.types import Reading
from faultnet.errors import EntryError
from faultnet.inference.evidence import Evidence
from faultnet.inference.repeated import Number
from faultnet.instruments import (
    Offset,
    above_likelihood,
    background_shares,
    below_likelihood,
    choice_likelihood,
    comparison_offset,
    number_likelihood,
    place_offset,
    reading_spread,
    while_cranking,
)
from faultnet.model.build import AT_CLAMPS, quantity_of
from faultnet.model.misread import misread
from faultnet.model.network import Array, Network, Node
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Instrument, Test
from faultnet.units import find_unit, refuse_other_quantity

COMPARISON_TEST = "module_offset_at_rest"
AWAY = ("module", "socket")
LEAST = 1e-6  # chance that a slip is shown over or under a limit, at least


def evidence_of(
    network: Network, catalogue: Catalogue, reading: Reading, offset: Offset | None = None
) -> Evidence | None:
    """What one reading says; None when nothing was measured.

    Parameters
    ----------
    network : Network
    catalogue : Catalogue
    reading : Reading
        Checked by :func:`check_reading`.
    offset : Offset, optional
        Offset of the module found by comparison at rest, for readings taken there.
    """
    if reading.not_measured is not None:
        return None
    test = catalogue.test(reading.test)
    instrument = instrument_of(catalogue, test, reading)
    node = network.nodes[quantity_of(test, instrument, reading.interval)]
    if test.kind == "choice":
        assert reading.state is not None
        likelihood, background = choice_likelihood(reading.state, node.states, instrument.slip, roughly=reading.roughly)
        spoilt = np.full(len(likelihood), 1.0 / len(likelihood))
        return _with_stranger(network, catalogue, Evidence(node.name, likelihood, background), spoilt)
    assert reading.value is not None
    shift = offset_for(catalogue, test, instrument, offset)
    law = {None: number_likelihood, "above": above_likelihood, "below": below_likelihood}[reading.bound]
    slipped = slip_of(network, catalogue, reading)
    likelihood, background = law(
        reading.value, node.edges, instrument, roughly=reading.roughly, offset=shift, slipped=slipped
    )
    number = None
    if reading.bound is None:
        number = _number(reading.value, node, instrument, shift, reading.roughly, slipped)
    found = Evidence(node.name, likelihood, background, number)
    return _with_stranger(network, catalogue, found, background_shares(node.edges))


def slip_of(network: Network, catalogue: Catalogue, reading: Reading) -> float:
    """How likely a slip gives a number that was read: its density [1/unit], or the chance of a bound [-]."""
    assert reading.value is not None
    test = catalogue.test(reading.test)
    instrument = instrument_of(catalogue, test, reading)
    node = network.nodes[quantity_of(test, instrument, reading.interval)]
    law = misread(catalogue, instrument, test.unit, node.edges, network.sound[node.name])
    if reading.bound is None:
        return law.density(reading.value)
    above = law.above(reading.value)
    return max(above if reading.bound == "above" else 1.0 - above, LEAST)


def _number(value: float, node: Node, instrument: Instrument, shift: Offset, roughly: bool, slipped: float) -> Number:
    """The reading itself, with what two readings of the quantity differ by."""
    error = reading_spread(instrument, value, roughly=roughly)
    spread = float(np.hypot(np.hypot(error, shift.spread), node.scatter))
    at = min(max(value - shift.mean, node.edges[0] + 1e-9), node.edges[-1] - 1e-9)
    return Number(at, spread, 1.0 - instrument.slip, instrument.slip * slipped, node.edges)


def _with_stranger(network: Network, catalogue: Catalogue, found: Evidence, spoilt: Array) -> Evidence:
    """Evidence with what it is under a fault the model does not know: spoilt, or that of a sound car."""
    share, sound = catalogue.number("unlisted_mixture"), network.sound[found.quantity]
    background = share * found.background + (1.0 - share) * float(sound @ found.likelihood)
    return replace(found, background=float(background), stranger=share * spoilt + (1.0 - share) * sound)


def offset_for(catalogue: Catalogue, test: Test, instrument: Instrument, offset: Offset | None = None) -> Offset:
    """By how much an instrument reads off the posts on a test; `offset` is that of the module where it was compared."""
    if test.id == COMPARISON_TEST or instrument.place not in AWAY:
        return Offset()
    at_rest = offset if instrument.place == "module" and offset is not None else place_offset(instrument)
    return while_cranking(at_rest, catalogue) if test.quantity == AT_CLAMPS else at_rest


def instrument_of(catalogue: Catalogue, test: Test, reading: Reading) -> Instrument:
    """The instrument a reading was taken with; the test's ordinary one when none is named."""
    return catalogue.instrument(reading.instrument or test.instruments[0])


def check_reading(catalogue: Catalogue, reading: Reading, where: str) -> None:
    """Refuse a reading that the catalogue cannot make sense of.

    Raises
    ------
    EntryError
        If the test is unknown, the state is none of its choices, a number is given for a choice or the reverse, the
        number cannot be true or is in a unit of something else, or the instrument cannot take it.
    """
    known = {t.id: t for t in catalogue.tests}
    if reading.test not in known:
        raise EntryError(
            "unknown test", where=where, got=repr(reading.test), expected=_near(reading.test, known),
            to_do="`faultnet catalogue` lists all tests",
        )  # fmt: skip
    test = known[reading.test]
    if reading.instrument is not None and reading.instrument not in test.instruments:
        raise EntryError(
            f"{test.label}: this instrument does not take that reading", where=where, got=repr(reading.instrument),
            expected=", ".join(test.instruments),
        )  # fmt: skip
    if test.kind == "choice":
        _check_choice(test, reading, where)
    else:
        _check_number(test, reading, where)


def _check_choice(test: Test, reading: Reading, where: str) -> None:
    choices = [c for c, _ in test.choices]
    if reading.value is not None:
        raise EntryError(
            f"{test.label}: a choice is wanted, not a number", where=where, got=f"{reading.value:g}",
            expected=", ".join(choices), to_do="give `state`",
        )  # fmt: skip
    if reading.state is not None and reading.state not in choices:
        raise EntryError(
            f"{test.label}: no such choice", where=where, got=repr(reading.state), expected=", ".join(choices)
        )


def _check_number(test: Test, reading: Reading, where: str) -> None:
    if reading.state is not None:
        raise EntryError(
            f"{test.label}: a number is wanted",
            where=where,
            got=repr(reading.state),
            expected=f"a value in {test.unit}",
            to_do="give `value`",
        )
    if reading.value is not None and reading.unit:
        refuse_other_quantity(find_unit(reading.unit), find_unit(test.unit), reading.entered or reading.unit, where)
    if reading.value is None or test.plausible is None:
        return
    low, high = test.plausible
    if not low <= reading.value <= high:
        raise EntryError(
            f"{test.label}: this cannot be", where=where, got=f"{reading.value:g} {test.unit}",
            expected=f"{low:g} to {high:g} {test.unit}", to_do="check the figure, its unit and the meter's range",
        )  # fmt: skip


def _near(word: str, known: Iterable[str]) -> str:
    close = difflib.get_close_matches(word, list(known), n=3)
    return ("one of: " + ", ".join(close)) if close else "a test id of the catalogue"


def module_offset(catalogue: Catalogue, readings: Iterable[Reading]) -> Offset | None:
    """Offset of the control module against the posts, from the last comparison at rest that was entered."""
    found = None
    for reading in readings:
        if reading.test == COMPARISON_TEST and reading.value is not None and reading.bound is None:
            module, posts = catalogue.instrument("socket_adapter_5hz"), catalogue.instrument("multimeter")
            found = comparison_offset(12.5 + reading.value, 12.5, module, posts)
    return found
