"""Hypothesis strategies for cases of every shape."""

from __future__ import annotations

from typing import Any, get_args

from hypothesis import strategies as st

from faultnet.case import types as car
from faultnet.units import UNITS, exact_from_si

ids = st.from_regex(r"[a-z][a-z0-9_]{0,11}", fullmatch=True)
words = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)
values = st.one_of(
    st.floats(min_value=-1e4, max_value=1e4, allow_nan=False),
    st.integers(min_value=-99999, max_value=99999).map(lambda number: number / 1000),
)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    """Draw a float from `low` to `high`."""
    return st.floats(min_value=low, max_value=high, allow_nan=False)


def maybe(strategy: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    """Draw None or from `strategy`."""
    return st.none() | strategy


def choice(literal: Any) -> st.SearchStrategy[Any]:
    """Draw one value of a Literal type."""
    return st.sampled_from(get_args(literal))


batteries = st.builds(
    car.Battery,
    rating=maybe(between(100, 2000)),
    standard=choice(car.RatingStandard),
    kind=choice(car.BatteryKind),
    capacity=maybe(between(15, 250)),
    age=maybe(between(0, 30)),
)
cars = st.builds(
    car.Car,
    battery=batteries,
    fuel=choice(car.Fuel),
    displacement=between(0.5, 8),
    cylinders=st.integers(2, 12),
    alternator_rating=between(30, 350),
    charge_control=choice(car.ChargeControl),
    climate=choice(car.Climate),
    label=words,
    needs_rating=maybe(between(100, 2000)),
    needs_standard=choice(car.RatingStandard),
)
photos = st.lists(
    st.builds(
        car.Photo,
        id=st.integers(0, 16**64 - 1).map(lambda number: f"{number:064x}"),
        caption=words.map(lambda text: "".join(text.splitlines())),
    ),
    max_size=2,
).map(tuple)
moments = st.just("") | st.datetimes().map(lambda time: f"{time:%Y-%m-%dT%H:%M:%S}+00:00".zfill(25))
conditions = st.builds(
    car.Conditions,
    air_temperature=maybe(between(-50, 60)),
    electrolyte_temperature=maybe(between(-40, 80)),
    hours_standing=maybe(between(0, 20000)),
    damp=st.booleans(),
    rough_road=st.booleans(),
    engine_warm=st.booleans(),
)


@st.composite
def readings(draw: st.DrawFn) -> car.Reading:
    """Draw a reading whose typed text may or may not agree with its value."""
    kind = draw(st.sampled_from(["value", "state", "not_measured"]))
    value = draw(values) if kind == "value" else None
    unit = draw(st.sampled_from(["", *UNITS]))
    typed = (
        [words, values.map(str)]
        if value is None or not unit
        else [words, values.map(str), st.just(f"{exact_from_si(value, unit):f} {unit}")]
    )
    return car.Reading(
        test=draw(ids),
        value=value,
        state=draw(ids) if kind == "state" else None,
        not_measured=draw(choice(car.NotMeasured)) if kind == "not_measured" else None,
        bound=draw(maybe(choice(car.Bound))) if kind == "value" else None,
        instrument=draw(maybe(ids)),
        roughly=draw(st.booleans()),
        unit=unit,
        entered=draw(st.one_of(st.just(""), *typed)),
        note=draw(words),
        at=draw(moments),
        by=draw(words),
        photos=draw(photos),
        read_by=draw(words),
    )


acts = st.builds(
    car.Act,
    act=ids,
    component=maybe(ids),
    outcome=maybe(choice(car.Outcome)),
    hours=maybe(between(0, 500)),
    note=words,
    at=moments,
    by=words,
    photos=photos,
)
dates = st.one_of(
    st.just(""), st.dates().map(lambda day: day.isoformat()), st.datetimes().map(lambda time: f"{time:%Y-%m-%dT%H:%M}")
).filter(lambda text: text[:1] in ("", "0", "1", "2") and len(text) in (0, 10, 16))
visits = st.builds(
    car.Visit,
    entries=st.lists(readings() | acts, max_size=4).map(tuple),
    conditions=conditions,
    date=dates,
    note=words,
    cranks=maybe(st.booleans()),
    runs=maybe(choice(car.Runs)),
    shows_now=maybe(st.booleans()),
    photos=photos,
)
outcomes = st.builds(
    car.CaseOutcome,
    causes=st.lists(st.tuples(ids, ids), max_size=3).map(tuple),
    confirmed_by=words,
    note=words,
    proof=maybe(choice(car.Proof)),
)
cases = st.builds(
    car.Case,
    car=cars,
    visits=st.lists(visits, max_size=3).map(tuple),
    complaint=words,
    name=words,
    invented=st.booleans(),
    outcome=maybe(outcomes),
)
