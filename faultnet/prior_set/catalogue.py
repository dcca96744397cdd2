"""The catalogue: everything a prior set says, with look-ups that speak when an id is unknown."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

from faultnet.errors import PriorsError
from faultnet.prior_set.types import (
    ActSpec,
    BaseRate,
    Complaint,
    Component,
    Effect,
    Instrument,
    OnRate,
    Provenance,
    Spread,
    SymptomTable,
    Test,
    Timer,
)

Record = TypeVar("Record", Component, Test, Complaint, Instrument, ActSpec)

AGE_BANDS: tuple[tuple[str, float, float], ...] = (
    ("0-2", 0.0, 2.0),
    ("2-4", 2.0, 4.0),
    ("4-6", 4.0, 6.0),
    ("6-8", 6.0, 8.0),
    ("8+", 8.0, float("inf")),
)


@dataclass(frozen=True)
class Catalogue:
    """A whole prior set, read and checked.

    Parameters
    ----------
    name, version : str
    components, tests, instruments, acts : tuple
        In the order of their files.
    symptoms : dict of str to SymptomTable
        By test id.
    base_rates : dict of (component, mode) to dict of group to BaseRate
    on_rates : dict of (component, mode) to dict of condition to OnRate
    effects : dict of (component, mode, parameter) to Effect
    spreads : dict of str to Spread
    cautions, preconditions : dict of str to str
        Texts by id; cautions stand the worst first, and so do those of each test and act.
    cautions_in_short : dict of str to str
        The same in few words; in full where there are none.
    waits : dict of str to Timer
        How long a precondition takes that comes by waiting, by its id.
    complaints : tuple of Complaint
        What drivers complain of, in the order in which they are asked.
    words : dict of str to str
        Technical words, each explained in a sentence or two.
    general_cautions : tuple of str
        Cautions that stand on every sheet, whatever is done.
    provenance : Provenance
    fingerprint : str
        Hash of the files the set was read from.
    notes : tuple of str
        What had to be left out or filled in because the set is of an earlier format.
    """

    name: str
    version: str
    components: tuple[Component, ...]
    tests: tuple[Test, ...]
    instruments: tuple[Instrument, ...]
    acts: tuple[ActSpec, ...]
    symptoms: dict[str, SymptomTable]
    base_rates: dict[tuple[str, str], dict[str, BaseRate]]
    on_rates: dict[tuple[str, str], dict[str, OnRate]]
    effects: dict[tuple[str, str, str], Effect]
    spreads: dict[str, Spread]
    cautions: dict[str, str]
    preconditions: dict[str, str]
    general_cautions: tuple[str, ...]
    provenance: Provenance
    fingerprint: str = ""
    notes: tuple[str, ...] = ()
    cautions_in_short: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    waits: dict[str, Timer] = field(default_factory=dict)
    complaints: tuple[Complaint, ...] = ()

    @cached_property
    def answered_with(self) -> dict[str, tuple[tuple[str, str, str], ...]]:
        """For each test that is answered with some choices of another: that test, the choice, and what it then says.

        Examples
        --------
        >>> from faultnet.prior_set import load_catalogue
        >>> load_catalogue().answered_with["after_booster"][0]
        ('jump_start', 'starts_and_restarts_later', 'runs_and_restarts')
        """
        told = [(other, (test.id, choice, state)) for test in self.tests for choice, other, state in test.tells]
        return {test: tuple(by for other, by in told if other == test) for test, _ in told}

    def component(self, component: str) -> Component:
        """Return a component by its id.

        Raises
        ------
        PriorsError
            If there is none, with the ids that come close.
        """
        return _pick("component", self.components, component)

    def test(self, test: str) -> Test:
        """Return a test by its id.

        Raises
        ------
        PriorsError
            If there is none, with the ids that come close.
        """
        return _pick("test", self.tests, test)

    def short_cautions(self, names: Iterable[str]) -> tuple[str, ...]:
        """Return cautions in few words, none left out.

        Examples
        --------
        >>> from faultnet.prior_set import load_catalogue
        >>> catalogue = load_catalogue()
        >>> catalogue.short_cautions(catalogue.test("rest_voltage").cautions)
        ('Rings and watch off.',)
        """
        return tuple(self.cautions_in_short[name] for name in names)

    def complaint(self, complaint: str) -> Complaint:
        """Return a complaint by its id.

        Raises
        ------
        PriorsError
            If there is none, with the ids that come close.
        """
        return _pick("complaint", self.complaints, complaint)

    def instrument(self, instrument: str) -> Instrument:
        """Return an instrument by its id.

        Raises
        ------
        PriorsError
            If there is none, with the ids that come close.
        """
        return _pick("instrument", self.instruments, instrument)

    def act(self, act: str) -> ActSpec:
        """Return an act by its id.

        Raises
        ------
        PriorsError
            If there is none, with the ids that come close.
        """
        return _pick("act", self.acts, act)

    def rate(
        self, component: str, mode: str, age: float | None = None, climate: str = "temperate"
    ) -> tuple[float, float]:
        """Return how many cars out of how many have a component in a mode.

        Parameters
        ----------
        component, mode : str
            The sound mode gets what its fault modes leave over.
        age : float, optional
            Age of the battery [years]; only the battery's rows depend on it.
        climate : {"cold", "temperate", "hot"}

        Returns
        -------
        (float, float)
            Count and the number of cars it is out of.

        Raises
        ------
        PriorsError
            If the component or the mode is unknown.

        Examples
        --------
        >>> from faultnet.prior_set import load_catalogue
        >>> catalogue = load_catalogue()
        >>> young, old = (catalogue.rate("battery", "worn", age)[0] for age in (1.0, 7.0))
        >>> young < old
        True
        """
        modes = [entry.id for entry in self.component(component).modes]
        if mode not in modes:
            raise _unknown(f"mode of {component}", mode, modes)
        if mode != modes[0]:
            row = self.base_rate(component, mode, age, climate)
            return row.value, row.of
        faults = [self.base_rate(component, other, age, climate) for other in modes[1:]]
        return faults[0].of - sum(row.value for row in faults), faults[0].of

    def on_rate(self, component: str, mode: str, conditions: Iterable[str] = ()) -> float:
        """Return the chance that a mode is on at a visit, given the conditions that hold [-].

        Parameters
        ----------
        component, mode : str
        conditions : iterable of str
            Which of vibration, heat, cold, damp, standing hold at this visit.

        Returns
        -------
        float
            1 for a mode that does not come and go; else the highest of the listed chances that apply.

        Notes
        -----
        Conditions are not added up: the strongest one counts. Which of them act together is not known.

        Examples
        --------
        >>> from faultnet.prior_set import load_catalogue
        >>> load_catalogue().on_rate("battery", "worn")
        1.0
        """
        rows = self.on_rates.get((component, mode))
        if rows is None:
            self._check_mode(component, mode)
            return 1.0
        wanted = {"any", *conditions}
        return max(row.value for condition, row in rows.items() if condition in wanted)

    def effect(self, component: str, mode: str, parameter: str) -> Effect | None:
        """Return how a parameter is spread when a component is in a mode; None when it has no such parameter.

        Examples
        --------
        >>> from faultnet.prior_set import load_catalogue
        >>> load_catalogue().effect("battery", "shorted_cell", "rest_loss").unit
        'V'
        """
        return self.effects.get((component, mode, parameter))

    def parameters(self, component: str) -> tuple[str, ...]:
        """Return the names of the physical parameters a component has, in the order of the file."""
        self.component(component)
        return tuple(dict.fromkeys(name for owner, _, name in self.effects if owner == component))

    def number(self, name: str) -> float:
        """Return one named number of the prior set, in its own unit.

        Raises
        ------
        PriorsError
            If there is none, with the names that come close.

        Examples
        --------
        >>> from faultnet.prior_set import load_catalogue
        >>> load_catalogue().number("eye_cells")
        6.0
        """
        if name not in self.spreads:
            raise _unknown("number", name, self.spreads)
        return self.spreads[name].value

    def _check_mode(self, component: str, mode: str) -> None:
        modes = [entry.id for entry in self.component(component).modes]
        if mode not in modes:
            raise _unknown(f"mode of {component}", mode, modes)

    def base_rate(self, component: str, mode: str, age: float | None, climate: str) -> BaseRate:
        """Return the row that counts for a battery of this age [years] and a climate."""
        rows = self.base_rates[(component, mode)]
        for group in (f"age={age_band(age)};climate={climate}", f"climate={climate}"):
            if group in rows:
                return rows[group]
        return rows["all"]


def age_band(age: float | None) -> str:
    """Return the band of a battery's age [years], or "unknown".

    Examples
    --------
    >>> age_band(3.0), age_band(None), age_band(12.0)
    ('2-4', 'unknown', '8+')
    """
    if age is None:
        return "unknown"
    return next(name for name, low, high in AGE_BANDS if low <= age < high)


def _pick(kind: str, records: tuple[Record, ...], wanted: str) -> Record:
    for record in records:
        if record.id == wanted:
            return record
    raise _unknown(kind, wanted, [record.id for record in records])


def _unknown(kind: str, wanted: str, known: Iterable[str]) -> PriorsError:
    names = list(known)
    close = difflib.get_close_matches(wanted, names, n=3, cutoff=0.5)
    return PriorsError(
        f"unknown {kind}",
        got=repr(wanted),
        expected=f"one of {len(names)} ids" + (f", such as {', '.join(close)}" if close else ""),
        to_do="did you mean " + " or ".join(close) + "?" if close else "list them with: faultnet catalogue",
    )
