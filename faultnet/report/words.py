"""What the sheets say in words about a car, its conditions and a weight of evidence."""

from __future__ import annotations

from faultnet.case.types import Car, Conditions
from faultnet.units import format_quantity

LEAST_WEIGHT = 1.0  # [decibans]; an entry that moved a cause by less is not told
LEAST_SHARE = 0.01  # [-]; a cause below it is not named, a part is drawn without its number
KINDS = {"flooded": "flooded", "enhanced_flooded": "enhanced flooded", "agm": "AGM"}


def car_words(car: Car) -> str:
    """A car in a line.

    Examples
    --------
    >>> from faultnet.case.types import Battery
    >>> car_words(Car(Battery(600.0), label="blue van"))
    'blue van: petrol, 1.6 l, 4 cylinders; battery 600 A (EN), flooded; alternator 90 A'
    """
    battery = car.battery
    parts = [f"battery {rating_words(battery.rating, battery.standard)}, {KINDS[battery.kind]}"]
    if battery.capacity is not None:
        parts[0] += f", {battery.capacity:g} A h"
    if battery.age is not None:
        parts[0] += f", {battery.age:g} years old"
    if car.needs_rating is not None:
        parts.append(f"the car needs {rating_words(car.needs_rating, car.needs_standard)}")
    parts.append(f"alternator {car.alternator_rating:g} A")
    if car.charge_control == "load_responsive":
        parts.append("charging voltage moved about by the engine computer")
    name = f"{car.label}: " if car.label else ""
    return f"{name}{car.fuel}, {car.displacement:g} l, {car.cylinders} cylinders; " + "; ".join(parts)


def rating_words(rating: float | None, standard: str) -> str:
    """A cold-cranking rating with its standard.

    Examples
    --------
    >>> rating_words(600.0, "EN"), rating_words(600.0, "not_known"), rating_words(None, "EN")
    ('600 A (EN)', '600 A (standard not known)', 'of unknown rating')
    """
    if rating is None:
        return "of unknown rating"
    return f"{rating:g} A ({'standard not known' if standard == 'not_known' else standard})"


def conditions_words(conditions: Conditions, temperature_unit: str = "degC") -> str:
    """The conditions of a visit in a line.

    Examples
    --------
    >>> conditions_words(Conditions(air_temperature=-5.0, hours_standing=10.0, damp=True), "degF")
    'air 23 °F, stood 10 h, damp'
    """
    parts = []
    for name, value in (("air", conditions.air_temperature), ("battery", conditions.electrolyte_temperature)):
        if value is not None:
            parts.append(f"{name} {format_quantity(value, temperature_unit, decimals=0)}")
    if conditions.hours_standing is not None:
        parts.append(f"stood {conditions.hours_standing:g} h")
    told = (("damp", conditions.damp), ("rough road", conditions.rough_road), ("engine warm", conditions.engine_warm))
    parts += [word for word, holds in told if holds]
    return ", ".join(parts) or "conditions not known"


def times_words(decibans: float) -> str:
    """A weight of evidence as a factor on the odds.

    Examples
    --------
    >>> times_words(29.7), times_words(-3.1), times_words(0.4)
    ('930 times more likely', '2 times less likely', 'hardly moved')
    """
    factor = 10.0 ** (abs(decibans) / 10.0)
    if factor < 1.25:
        return "hardly moved"
    digits = f"{float(f'{factor:.2g}'):g}" if factor < 1e5 else "over 100 000"
    return f"{digits} times {'more' if decibans > 0 else 'less'} likely"
