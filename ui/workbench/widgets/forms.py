"""The fields that describe a car and the conditions of a visit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from faultnet.case.types import Battery, Car, Conditions
from faultnet.errors import CarError
from faultnet.prior_set.types import Test
from workbench import entering
from workbench.words import KINDS, STANDARDS, temperature

CHARGE_CONTROLS = {"fixed": "Steady", "load_responsive": "Moved about by the engine computer"}
CLIMATES = {"cold": "Cold", "temperate": "Temperate", "hot": "Hot"}
FUELS = {"petrol": "Petrol", "diesel": "Diesel"}


def car_fields(prefix: str, car: Car | None) -> Car | None:
    """Put the fields of a car on the page and give the car they describe.

    Parameters
    ----------
    prefix : str
        For the keys of the fields.
    car : Car, optional
        What to begin with; None for a new one, whose battery's standard must be chosen.

    Returns
    -------
    Car or None
        None while a field that must be given is empty.

    Raises
    ------
    EntryError, CarError
        If a figure makes no sense.
    """
    start = car or Car(Battery(600.0))
    label = st.text_input("What you call the car", start.label, key=f"{prefix}_label", autocomplete="off")
    with st.container(horizontal=True):
        rating = _figure(
            f"{prefix}_rating", "Battery (cold-cranking A)", car and car.battery.rating, "A", (100.0, 2000.0)
        )
        standard = st.selectbox(
            "Rated by", list(STANDARDS), index=car and list(STANDARDS).index(car.battery.standard),
            format_func=STANDARDS.__getitem__, key=f"{prefix}_standard", placeholder="as stamped",
        )  # fmt: skip
    with st.container(horizontal=True):
        fuel = _one_of(f"{prefix}_fuel", "Fuel", FUELS, start.fuel)
        size = _figure(f"{prefix}_size", "Engine (litres)", start.displacement, "-", (0.5, 8.0))
    with st.expander("More about the car"):
        age = _figure(f"{prefix}_age", "Battery age (years)", start.battery.age, "-", (0.0, 30.0))
        kind = _chosen(f"{prefix}_kind", "Battery type", KINDS, start.battery.kind)
        capacity = _figure(f"{prefix}_capacity", "Battery capacity (Ah)", start.battery.capacity, "Ah", (15.0, 250.0))
        cylinders = st.selectbox("Cylinders", list(range(2, 13)), index=start.cylinders - 2, key=f"{prefix}_cylinders")
        alternator = _figure(f"{prefix}_alternator", "Alternator (A)", start.alternator_rating, "A", (30.0, 350.0))
        control = _chosen(f"{prefix}_control", "Charging voltage", CHARGE_CONTROLS, start.charge_control)
        climate = _one_of(f"{prefix}_climate", "Climate", CLIMATES, start.climate)
    st.html("<p class='fn-note'>Only 12 V systems with a combustion engine. Leave high-voltage cars alone.</p>")
    if rating is None or standard is None or size is None or alternator is None:
        return None
    battery = Battery(rating, standard, kind, capacity, age)
    return Car(battery, fuel, size, cylinders, alternator, control, climate, label.strip())


def _chosen(key: str, label: str, words: Mapping[str, str], start: str) -> Any:
    return st.selectbox(label, list(words), index=list(words).index(start), format_func=words.__getitem__, key=key)


def _one_of(key: str, label: str, words: Mapping[str, str], start: str) -> Any:
    return st.segmented_control(
        label, list(words), default=start, format_func=words.__getitem__, required=True, key=key
    )


def _figure(key: str, label: str, value: float | None, unit: str, plausible: tuple[float, float]) -> float | None:
    text = st.text_input(label, "" if value is None else f"{value:g}", key=key, autocomplete="off")
    return entering.number_or_none(text, unit, plausible, label)


def condition_fields(prefix: str, start: Conditions, unit: str) -> Conditions:
    """Put the fields of a visit's conditions on the page and give what they describe.

    Parameters
    ----------
    prefix : str
    start : Conditions
    unit : {"degC", "degF"}
        Of temperatures typed without a unit.

    Raises
    ------
    EntryError
        If a figure makes no sense.
    """
    sign = "°F" if unit == "degF" else "°C"
    with st.container(horizontal=True):
        air = st.text_input(f"Air ({sign})", temperature(start.air_temperature, unit), key=f"{prefix}_air")
        hours = st.text_input("Standing (h)", "" if start.hours_standing is None else f"{start.hours_standing:g}",
                              key=f"{prefix}_hours")  # fmt: skip
        acid = st.text_input(
            f"Battery ({sign})", temperature(start.electrolyte_temperature, unit), key=f"{prefix}_acid"
        )
    with st.container(horizontal=True):
        damp = st.checkbox("Damp", start.damp, key=f"{prefix}_damp")
        rough = st.checkbox("Rough road", start.rough_road, key=f"{prefix}_rough")
        warm = st.checkbox("Engine warm", start.engine_warm, key=f"{prefix}_warm")
    st.html("<p class='fn-note'>Leave empty what you do not know. Battery: only if you measured it.</p>")
    return entering.typed_conditions(air, acid, hours, unit, damp=damp, rough_road=rough, engine_warm=warm)


def asked(test: Test, prefix: str) -> str | None:
    """Put a question to the driver on the page and give the answer chosen, None while it is not known."""
    labels = dict(test.choices)
    chosen: str | None = st.selectbox(
        test.label, list(labels), index=None, format_func=labels.__getitem__, key=f"{prefix}_{test.id}",
        placeholder="not known", filter_mode=None,
    )  # fmt: skip
    return chosen


def incomplete() -> CarError:
    """The error for a form with an empty field that is needed."""
    return CarError(
        "the battery's rating, the standard it was rated by, and the engine's size are needed",
        to_do="read them off the battery's label and the car's papers",
    )
