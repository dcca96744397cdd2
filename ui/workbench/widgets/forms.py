"""The fields that describe a car and the conditions of a visit."""

from __future__ import annotations

import streamlit as st

from faultnet.case.types import Battery, Car, Conditions
from faultnet.prior_set.types import Test
from workbench import frame
from workbench.widgets.fields import Fields, keys
from workbench.words import KINDS, STANDARDS, temperature

CHARGE_CONTROLS = {"fixed": "Steady", "load_responsive": "Moved about by the engine computer"}
CLIMATES = {"cold": "Cold", "temperate": "Temperate", "hot": "Hot"}
FUELS = {"petrol": "Petrol", "diesel": "Diesel"}
CYLINDERS = {number: str(number) for number in range(2, 13)}
ON_THE_LABEL = "read it off the battery's label, or tick 'Rating not known'"


def car_fields(fields: Fields, prefix: str, car: Car | None) -> Car | None:
    """Put the fields of a car on the page and give the car they describe.

    Parameters
    ----------
    fields : Fields
        Take up what is wrong.
    prefix : str
        For the keys of the fields.
    car : Car, optional
        What to begin with; None for a new one, whose battery's standard must be chosen.

    Returns
    -------
    Car or None
        None while a field is wrong or one that must be given is empty.
    """
    start, before = car or Car(Battery(None)), len(fields.wrong)
    label = fields.text(f"{prefix}_label", "What you call the car", start.label)
    rating, standard = _rating(fields, prefix, car)
    with st.container(horizontal=True):
        fuel = fields.one_of(f"{prefix}_fuel", "Fuel", FUELS, start.fuel)
        with st.container():
            size = fields.figure(f"{prefix}_size", "Engine (litres)", f"{start.displacement:g}", "-", (0.5, 8.0),
                                 needed="it stands in the car's papers")  # fmt: skip
    with st.expander("More about the car"):
        age = fields.figure(f"{prefix}_age", "Battery age (years)", _shown(start.battery.age), "-", (0.0, 30.0))
        kind = fields.choice(f"{prefix}_kind", "Battery type", KINDS, start.battery.kind, needed="choose one")
        capacity = fields.figure(f"{prefix}_capacity", "Battery capacity (Ah)", _shown(start.battery.capacity), "Ah",
                                 (15.0, 250.0))  # fmt: skip
        needs = fields.figure(f"{prefix}_needs", "What the car needs (cold-cranking A)", _shown(start.needs_rating),
                              "A", (100.0, 2000.0))  # fmt: skip
        needed_by = fields.choice(f"{prefix}_needs_standard", "What it needs, rated by", STANDARDS,
                                  start.needs_standard, needed="choose one")  # fmt: skip
        cylinders = fields.choice(f"{prefix}_cylinders", "Cylinders", CYLINDERS, start.cylinders, needed="choose one")
        alternator = fields.figure(f"{prefix}_alternator", "Alternator (A)", _shown(start.alternator_rating), "A",
                                   (30.0, 350.0), needed="90 is usual; it stands on its label")  # fmt: skip
        control = fields.choice(f"{prefix}_control", "Charging voltage", CHARGE_CONTROLS, start.charge_control,
                                needed="choose one")  # fmt: skip
        climate = fields.one_of(f"{prefix}_climate", "Climate", CLIMATES, start.climate)
    frame.told("<p class='fn-note'>Only 12 V systems with a combustion engine. Leave high-voltage cars alone.</p>")
    if len(fields.wrong) > before:
        return None
    assert size is not None
    assert alternator is not None
    battery = Battery(rating, standard, kind, capacity, age)
    return Car(battery, fuel, size, cylinders, alternator, control, climate, label,
               needs_rating=needs, needs_standard=needed_by)  # fmt: skip


def _rating(fields: Fields, prefix: str, car: Car | None) -> tuple[float | None, str]:
    """What the battery's label says, or that nobody can say what it says."""
    known = car is None or car.battery.rating is not None
    begin = None if car is None or not known else car.battery.standard
    unknown = bool(st.session_state.get(f"{prefix}_unknown", fields.draft.kept().get(f"{prefix}_unknown", not known)))
    rating, standard = None, "EN"
    if not unknown:
        with st.container(horizontal=True):
            with st.container():
                rating = fields.figure(f"{prefix}_rating", "Battery (cold-cranking A)",
                                       _shown(None if car is None else car.battery.rating), "A", (100.0, 2000.0),
                                       needed=ON_THE_LABEL)  # fmt: skip
            with st.container():
                standard = fields.choice(f"{prefix}_standard", "Rated by", STANDARDS, begin, placeholder="Choose",
                                         needed="it stands beside the rating; if it does not, say so")  # fmt: skip
    if fields.tick(f"{prefix}_unknown", "Rating not known", not known):
        frame.told("<p class='fn-note'>Then what such a car usually carries is taken, spread wide.</p>")
    return rating, standard


def _shown(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def condition_fields(fields: Fields, prefix: str, start: Conditions, unit: str) -> Conditions | None:
    """Put the fields of a visit's conditions on the page and give what they describe, None while one is wrong.

    Parameters
    ----------
    fields : Fields
    prefix : str
    start : Conditions
    unit : {"degC", "degF"}
        Of temperatures typed without a unit.
    """
    before, sign = len(fields.wrong), "°F" if unit == "degF" else "°C"
    with st.container(horizontal=True):
        with st.container():
            air = fields.figure(f"{prefix}_air", f"Air ({sign})", temperature(start.air_temperature, unit), unit,
                                (-50.0, 60.0))  # fmt: skip
        with st.container():
            hours = fields.figure(f"{prefix}_hours", "Standing (h)", _shown(start.hours_standing), "h",
                                  (0.0, 20000.0 * 3600.0))  # fmt: skip
        with st.container():
            measured = temperature(start.electrolyte_temperature, unit)
            acid = fields.figure(f"{prefix}_acid", f"Battery ({sign})", measured, unit, (-40.0, 80.0))
    thumbs = (("Air", "air", ("°C", "°F"), True), ("Standing", "hours", ("h", "min"), False),
              ("Battery", "acid", ("°C", "°F"), True))  # fmt: skip
    named = "".join(
        f"<div class='fn-beside'>{words}{keys(f'{prefix}_{field}', units, sign=signed)}</div>"
        for words, field, units, signed in thumbs
    )
    st.html(f"<div class='fn-thumb'>{named}</div>")
    with st.container(horizontal=True):
        damp = fields.tick(f"{prefix}_damp", "Damp", start.damp)
        rough = fields.tick(f"{prefix}_rough", "Rough road", start.rough_road)
        warm = fields.tick(f"{prefix}_warm", "Engine warm", start.engine_warm)
    frame.told("<p class='fn-note'>Leave empty what you do not know. Battery: only if you measured it.</p>")
    if len(fields.wrong) > before:
        return None
    return Conditions(air, acid, None if hours is None else hours / 3600.0, damp, rough, warm)


def asked(fields: Fields, test: Test, prefix: str) -> str | None:
    """Put a question to the driver on the page and give the answer chosen, None while it is not known."""
    chosen: str | None = fields.choice(f"{prefix}_{test.id}", test.label, dict(test.choices), None,
                                       placeholder="Choose, if known", filter_mode=None)  # fmt: skip
    return chosen
