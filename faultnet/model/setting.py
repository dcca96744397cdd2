"""What the tables of one visit are computed for: the car, the temperatures and the prior set."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultnet.case.types import Car, Conditions
from faultnet.model.network import Array
from faultnet.model.sampling import quantile
from faultnet.physics import battery, cranking
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Effect

WARM_ENGINE = 60.0
ASSUMED_AIR = 15.0


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
    The electrolyte follows the air with a lag of some hours: it is taken at the air's temperature after a night and
    half way to 25 degC just after a drive (common practice, no source). An unknown air temperature is taken as
    15 degC with a wide spread.
    """

    car: Car
    conditions: Conditions
    catalogue: Catalogue

    @cached_property
    def air(self) -> float:
        """Air temperature [degC]."""
        known = self.conditions.air_temperature
        return ASSUMED_AIR if known is None else known

    @cached_property
    def electrolyte(self) -> float:
        """Temperature of the electrolyte [degC]."""
        if self.conditions.electrolyte_temperature is not None:
            return self.conditions.electrolyte_temperature
        hours = self.conditions.hours_standing
        soaked = 1.0 if hours is None else 1.0 - float(np.exp(-hours / 6.0))
        recently_run = 0.5 * (self.air + 25.0) if self.air < 25.0 else self.air + 5.0
        return soaked * self.air + (1.0 - soaked) * recently_run

    @cached_property
    def temperature_spread(self) -> float:
        """Standard deviation of the electrolyte's temperature [degC]."""
        if self.conditions.electrolyte_temperature is not None:
            return 2.0
        return 8.0 if self.conditions.air_temperature is None else 4.0

    @cached_property
    def engine(self) -> float:
        """Temperature of the engine oil [degC]."""
        return max(WARM_ENGINE, self.air) if self.conditions.engine_warm else self.air

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
        return float(battery.capacity_from_rating(self.rating / 1.03))

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
    def brought_on(self) -> frozenset[str]:
        """Conditions of this visit that bring on faults which come and go."""
        held = {
            "damp": self.conditions.damp,
            "vibration": self.conditions.rough_road,
            "heat": self.conditions.engine_warm or self.air > 30.0,
            "cold": self.air < 2.0,
            "standing": (self.conditions.hours_standing or 0.0) > 48.0,
        }
        return frozenset(name for name, holds in held.items() if holds)

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

    def spread(self, name: str) -> float:
        """A named number of the prior set."""
        return self.catalogue.spread(name)
