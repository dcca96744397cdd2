"""Cars and conditions in bands, so that the cases of a history share networks.

A network is built for one car under one visit's conditions in half a second, and a history of many cars would need
thousands. Once a history has more than :data:`MOST_SETTINGS` of them, ratings, sizes, temperatures and hours standing
are rounded to bands. Base rates still follow the battery's true age and
the climate, and faults that come and go the true conditions.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from faultnet.case.types import Battery, Car, Case, Conditions

MOST_SETTINGS = 48
RATINGS = (320.0, 400.0, 500.0, 620.0, 780.0, 980.0)
SIZES = ((1.0, 3), (1.4, 4), (2.0, 4), (3.0, 6), (4.5, 8))
ALTERNATORS = (70.0, 100.0, 150.0, 220.0)
TEMPERATURES = (-20.0, -10.0, 0.0, 10.0, 20.0, 30.0, 40.0)
HOURS = (0.3, 2.0, 12.0, 100.0)
Setting = tuple[Car, Conditions]


def physical(car: Car, conditions: Conditions) -> Setting:
    """What a visit's physical tables depend on: not the age, the climate, or what only brings faults on.

    Examples
    --------
    >>> car, conditions = physical(Car(Battery(600.0, age=5.0), climate="hot"), Conditions(damp=True))
    >>> car.battery.age, car.climate, conditions.damp
    (None, 'temperate', False)
    """
    plain = replace(car, label="", climate="temperate", battery=replace(car.battery, age=None))
    return plain, replace(conditions, damp=False, rough_road=False)


def banded(car: Car, conditions: Conditions) -> Setting:
    """A physical setting with its numbers rounded to bands.

    Examples
    --------
    >>> car, conditions = banded(Car(Battery(585.0), displacement=1.8), Conditions(air_temperature=12.5))
    >>> car.battery.rating, car.displacement, conditions.air_temperature
    (620.0, 2.0, 10.0)
    """
    car, conditions = physical(car, conditions)
    size, cylinders = min(SIZES, key=lambda s: abs(s[0] - car.displacement))
    battery = Battery(_known(car.battery.rating, RATINGS), car.battery.standard, car.battery.kind)
    alternator = _nearest(car.alternator_rating, ALTERNATORS)
    rough = replace(
        car, battery=battery, displacement=size, cylinders=cylinders, alternator_rating=alternator,
        needs_rating=_known(car.needs_rating, RATINGS),
    )  # fmt: skip
    return rough, replace(
        conditions,
        air_temperature=_known(conditions.air_temperature, TEMPERATURES),
        electrolyte_temperature=_known(conditions.electrolyte_temperature, TEMPERATURES),
        hours_standing=_known(conditions.hours_standing, HOURS),
    )


def settings_of(cases: Iterable[Case], most: int = MOST_SETTINGS) -> dict[Setting, Setting]:
    """The setting that stands for each setting of a history: itself while there are few, else its band.

    Parameters
    ----------
    cases : iterable of Case
    most : int
        Most settings that are kept as they are.

    Returns
    -------
    dict of physical setting to setting
    """
    found = dict.fromkeys(physical(c.car, v.conditions) for c in cases for v in c.visits)
    return {s: s if len(found) <= most else banded(*s) for s in found}


def _nearest(value: float, bands: tuple[float, ...]) -> float:
    return min(bands, key=lambda band: abs(band - value))


def _known(value: float | None, bands: tuple[float, ...]) -> float | None:
    return None if value is None else _nearest(value, bands)
