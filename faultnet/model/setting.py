"""What the tables of one visit are computed for: the car, the temperatures and the prior set."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultnet.case.types import Car, Conditions
from faultnet.model.network import Array
from faultnet.model.sampling import quantile
from faultnet.physics import battery, charging, conductors, cranking
from faultnet.physics.quantity import Quantity
from faultnet.physics.rating import TO_SAE
from faultnet.physics.resistance import OHMIC_SHARE
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Effect

USUAL_EMF = 12.6  # [V] of a battery in ordinary use; common practice, no source
IN_THE_LOOP = (
    ("positive_joint", "resistance"), ("negative_joint", "resistance"), ("starter_cable", "excess"),
    ("ground_path", "resistance"), ("solenoid", "contact_resistance"),
)  # fmt: skip


@dataclass(frozen=True)
class Setting:
    """One car under one visit's conditions with one prior set.

    Parameters
    ----------
    car : Car
    conditions : Conditions
    catalogue : Catalogue

    Notes
    -----
    The electrolyte follows the air with a lag of some hours, from a temperature between the air's and the engine bay's
    just after a drive. An unknown air temperature is taken as an ordinary one with a wide spread.
    """

    car: Car
    conditions: Conditions
    catalogue: Catalogue

    @cached_property
    def air(self) -> float:
        """Air temperature [degC]."""
        known = self.conditions.air_temperature
        return self.number("temperature_assumed") if known is None else known

    @cached_property
    def electrolyte(self) -> float:
        """Temperature of the electrolyte [degC]."""
        if self.conditions.electrolyte_temperature is not None:
            return self.conditions.electrolyte_temperature
        hours = self.conditions.hours_standing
        soaked = 1.0 if hours is None else 1.0 - float(np.exp(-hours / self.number("electrolyte_lag")))
        bay = self.number("engine_bay_temperature")
        share = self.number("engine_bay_share")
        warmed = self.air + self.number("engine_bay_rise")
        recently_run = share * (self.air + bay) if self.air < bay else warmed
        return soaked * self.air + (1.0 - soaked) * recently_run

    @cached_property
    def temperature_spread(self) -> float:
        """Standard deviation of the electrolyte's temperature [degC]."""
        if self.conditions.electrolyte_temperature is not None:
            return self.number("temperature_spread_given")
        known = self.conditions.air_temperature is not None
        return self.number("temperature_spread_inferred" if known else "temperature_spread_unknown")

    @cached_property
    def engine(self) -> float:
        """Temperature of the engine oil [degC]."""
        return max(self.number("engine_warm_oil_temperature"), self.air) if self.conditions.engine_warm else self.air

    @cached_property
    def rating(self) -> float:
        """Cold-cranking current by SAE J537 [A]; what such a car usually carries where the label is not known."""
        fitted = self.car.battery
        if fitted.rating is not None:
            return float(battery.sae_rating(fitted.rating, fitted.standard))
        if self.car.needs_rating is not None:
            return float(battery.sae_rating(self.car.needs_rating, self.car.needs_standard))
        return float(battery.usual_rating(self.car.displacement, self.car.fuel))

    @cached_property
    def rating_spread(self) -> float:
        """Standard deviation of the logarithm of the rating [-]; nought for a label that was read in full."""
        if self.car.battery.rating is not None:
            return battery.UNKNOWN_STANDARD_SPREAD if self.car.battery.standard == "not_known" else 0.0
        needed = self.car.needs_rating is not None
        return battery.UNKNOWN_BESIDE_NEEDED_SPREAD if needed else battery.UNKNOWN_RATING_SPREAD

    @cached_property
    def capacity(self) -> float:
        """Twenty-hour capacity [A h]."""
        if self.car.battery.capacity is not None:
            return self.car.battery.capacity
        return float(battery.capacity_from_rating(self.rating / TO_SAE["EN"]))

    @cached_property
    def source_resistance(self) -> float:
        """Resistance of this battery when new, full and at this temperature, over a second or so [ohm]."""
        return float(battery.resistance(self.rating, self.electrolyte, 1.0))

    @cached_property
    def nominal_current(self) -> float:
        """Steady cranking current of a sound example of this car now [A]."""
        return float(cranking.cranking_current_nominal(self.car.displacement, self.car.fuel, self.engine))

    @cached_property
    def motor_resistance(self) -> float:
        """Resistance inside the starter [ohm]."""
        return float(cranking.motor_resistance(self.car.displacement, self.car.fuel))

    @cached_property
    def cable_copper(self) -> float:
        """Copper of the starter cable of such a car in this air [ohm]."""
        area = self.number(f"starter_cable_area_{self.car.fuel}")
        return float(conductors.copper_resistance(self.number("starter_cable_length_mean"), area, self.air))

    @cached_property
    def usual_speed(self) -> Quantity:
        """Speed at which a sound example of this car turns over in this weather [rev/min].

        Notes
        -----
        What the driver is used to, and what anybody means who says that it turns at its normal speed.
        """
        loop = self.cable_copper + sum(self.effect(part, "sound", what).centre for part, what in IN_THE_LOOP)
        source = self.source_resistance * self.effect("battery", "sound", "resistance_factor").centre
        ohmic = OHMIC_SHARE * source
        start = cranking.solve_start(
            USUAL_EMF, ohmic, source - ohmic, loop, 1.0, self.nominal_current, self.motor_resistance,
            brush_drop=self.number("brush_drop_mean"),
        )  # fmt: skip
        return start.speed

    @cached_property
    def brought_on(self) -> frozenset[str]:
        """Conditions of this visit that bring on faults which come and go."""
        held = {
            "damp": self.conditions.damp,
            "vibration": self.conditions.rough_road,
            "heat": self.conditions.engine_warm or self.air > self.number("brought_on_by_heat_above"),
            "cold": self.air < self.number("brought_on_by_cold_below"),
            "standing": (self.conditions.hours_standing or 0.0) > self.number("brought_on_by_standing_beyond"),
        }
        return frozenset(name for name, holds in held.items() if holds)

    def regulated(self, temperature: Quantity) -> Quantity:
        """Volts that a regulator of such a temperature [degC] holds; their middle at 20 degC is the prior set's."""
        offset = self.number("set_point_nominal") - charging.SET_POINT["fixed"][0]
        return charging.set_point(temperature, "fixed", offset)

    def modes(self, component: str) -> tuple[str, ...]:
        """Mode ids of a component, sound first."""
        return tuple(m.id for m in self.catalogue.component(component).modes)

    def effect(self, component: str, mode: str, parameter: str) -> Effect:
        """Spread of a parameter in a mode; that of the sound mode where the mode does not touch it."""
        found = self.catalogue.effect(component, mode, parameter)
        if found is None:
            found = self.catalogue.effect(component, self.modes(component)[0], parameter)
        if found is None:
            raise KeyError(f"no effect row for {component}, sound mode, {parameter}")
        return found

    def drawn(self, component: str, parameter: str, share: Array) -> Array:
        """Values of a parameter for every mode, shape (modes, *shape of share)."""
        return np.stack([quantile(self.effect(component, m, parameter), share) for m in self.modes(component)])

    def number(self, name: str) -> float:
        """A named number of the prior set."""
        return self.catalogue.number(name)
