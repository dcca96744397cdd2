"""A car of the independent world: what it is, what its parts are like, and the state it is in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import exp

from faultnet.case.types import Car, Conditions
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.independent import battery
from faultnet.simulation.independent.battery import Source
from faultnet.simulation.independent.log import Log
from faultnet.simulation.independent.parts import COMES_AND_GOES, Build, Condition
from faultnet.simulation.independent.starting import Circuit, oil_factor


@dataclass(frozen=True)
class IndependentCar:
    """One car with everything that is true of it.

    Parameters
    ----------
    car : Car
        What the technician is told; label, age and type of the battery may be wrong or missing.
    conditions : Conditions
        What the technician is told of the visit; the air may be wrong or missing.
    catalogue : Catalogue
        For ids and plausible ranges only.
    build : Build
    modes : mapping of component to mode
    parts, calm : mapping of component to condition
        At their worst, and while a fault that comes and goes does not show.
    showing : frozenset of str
        Components whose fault that comes and goes shows at this visit.
    log : Log
        What the car did in the weeks before.
    air : float
        True temperature of the air, and of a car that stood long enough [degC].
    warm : float
        Engine above the air [K].
    removed, surface : float
        Charge taken out of the battery [A h], surface charge [V].
    hours : float
        Since the engine last ran [h].
    wear : float
        How worn and neglected it is, standard normal over all cars [-].
    traits : mapping of str to float
        Standard normal figures that stay with the car and its instruments [-].
    firing : bool
        Whether fuel is let in.
    """

    car: Car
    conditions: Conditions
    catalogue: Catalogue = field(repr=False)
    build: Build = field(repr=False)
    modes: Mapping[str, str]
    parts: Mapping[str, Condition] = field(repr=False)
    calm: Mapping[str, Condition] = field(repr=False)
    showing: frozenset[str]
    log: Log = field(repr=False)
    air: float
    warm: float
    removed: float
    surface: float
    hours: float
    wear: float
    traits: Mapping[str, float] = field(repr=False)
    firing: bool = True

    @cached_property
    def faults(self) -> tuple[tuple[str, str], ...]:
        """Every component that is not sound, with its mode."""
        sound = {c.id: c.modes[0].id for c in self.catalogue.components}
        return tuple((c, m) for c, m in self.modes.items() if m != sound[c])

    @property
    def shows(self) -> bool | None:
        """Whether one of its faults acts at this visit, which those that come and go may not; None with no fault."""
        return any(self._acts(c) for c, _ in self.faults) if self.faults else None

    def now(self, component: str) -> Condition:
        """A component as it acts at this visit."""
        return self.parts[component] if self._acts(component) else self.calm[component]

    def _acts(self, component: str) -> bool:
        """Whether the mode of a component acts at this visit."""
        return component in self.showing or (component, self.modes[component]) not in COMES_AND_GOES

    @property
    def acid(self) -> float:
        """Temperature of the acid [degC]: the battery lags behind the engine bay by hours."""
        return self.air + 0.25 * self.warm

    @property
    def rest_volts(self) -> float:
        """Volts at the posts at rest, surface charge left out [V]."""
        return battery.rest_volts(self.parts["battery"], self.removed, self.acid)

    @property
    def source(self) -> Source:
        """The battery as a circuit sees it."""
        return battery.source_of(
            self.now("battery"), self.removed, self.acid, link_open=self.now("battery")["link"] > 0.0
        )

    @property
    def charge(self) -> float:
        """Share of the label's capacity that is in the battery [-]."""
        return 1.0 - self.removed / self.parts["battery"]["capacity"]

    def circuit(self, **changed: float | bool) -> Circuit:
        """The starting circuit as it is now; `changed` puts numbers of it right, as a bridge would."""
        build, solenoid, motor = self.build, self.now("solenoid"), self.now("starter_motor")
        factor = self.now("engine_turning")["factor"]
        oil = oil_factor(build.oil_slope, self.air + self.warm)
        drag = factor + motor["drag"]
        jumped = self.now("unlisted")["form"]
        found = Circuit(
            source=self.source,
            positive=self.now("positive_joint")["ohms"],
            negative=self.now("negative_joint")["ohms"],
            cable=self.now("starter_cable")["ohms"],
            ground=self.now("ground_path")["ohms"],
            contact=solenoid["contact"],
            winding=build.winding + motor["added"],
            henries=build.henries,
            brush=build.brush,
            flux=build.flux * motor["flux"],
            efficiency=build.efficiency,
            dry=build.dry * drag * (0.75 if jumped == 3.0 else 1.0),
            viscous=build.viscous * drag * oil,
            compression=build.compression * min(factor, 1.5) * (0.2 if jumped == 3.0 else 1.0),
            inertia=build.inertia,
            cylinders=build.car.cylinders,
            control=self.now("start_control")["ohms"],
            pull_coil=solenoid["pull_coil"] * exp(0.003 * min(self.warm, 60.0)),
            hold_coil=solenoid["hold_coil"] * exp(0.003 * min(self.warm, 60.0)),
            pull_in=solenoid["pull_in"] * exp(0.003 * min(self.warm, 60.0)),
            drop_out=solenoid["drop_out"],
            engaged=jumped != 1.0,
            play=build.play,
        )
        return replace(found, **changed) if changed else found  # type: ignore[arg-type]
