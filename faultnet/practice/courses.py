"""Set courses: cars of our own invention, each with a classic trap, one file of TOML a course."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from typing import Any

from faultnet.case.types import Battery, Car, Conditions
from faultnet.errors import CarError, FaultnetError

ORDER = (
    "surface_charge",
    "slow_meter",
    "ground_under_load",
    "module_offset",
    "intermittent_joint",
    "load_responsive",
    "two_faults",
    "sound_car",
    "drain_and_sulphation",
    "diesel_in_the_cold",
)
TEXTS = ("title", "topic", "complaint", "trap", "lesson")


@dataclass(frozen=True)
class Course:
    """One set car.

    Parameters
    ----------
    id, title, complaint : str
        The id gives away what it is about and is shown only afterwards.
    topic, trap, lesson : str
        What it is about, what it leads astray by, and what to take home; shown when the car is given back.
    number : int
        Makes its random streams.
    car : Car
    conditions : Conditions
    faults : mapping of component to mode
    shows : bool, optional
        Whether faults that come and go are on at the first visit; drawn when None.
    charge, surface : float, optional
        State of charge [-] and surface charge [V] with which it comes.
    traits : mapping of str to float
        What differs from car to car, in standard deviations [-].
    """

    id: str
    title: str
    topic: str
    complaint: str
    trap: str
    lesson: str
    number: int
    car: Car
    conditions: Conditions
    faults: Mapping[str, str]
    shows: bool | None = None
    charge: float | None = None
    surface: float | None = None
    traits: Mapping[str, float] = field(default_factory=dict)


@lru_cache(maxsize=1)
def courses() -> dict[str, Course]:
    """Every course by its id, in the order in which they are best taken.

    Raises
    ------
    FaultnetError
        If a file is missing or malformed.

    Examples
    --------
    >>> len(courses()), courses()["sound_car"].faults
    (10, {})
    """
    return {name: read_course(name, _text(name)) for name in ORDER}


def course(name: str) -> Course:
    """One course, by its id or its number from 1.

    Raises
    ------
    CarError
        If there is none of that name.

    Examples
    --------
    >>> course("two_faults").topic, course("7").id
    ('Two faults at once', 'two_faults')
    """
    known = courses()
    found = ORDER[int(name) - 1] if name.isdecimal() and len(name) < 4 and 1 <= int(name) <= len(ORDER) else name
    if found not in known:
        raise CarError("no such course", got=repr(name), expected=f"1 to {len(ORDER)}, as --list shows them")
    return known[found]


def read_course(name: str, text: str) -> Course:
    """Read a course from TOML.

    Parameters
    ----------
    name, text : str

    Raises
    ------
    FaultnetError
        If it is malformed, or not marked as invented.
    """
    try:
        given = tomllib.loads(text)
        if given.pop("invented", None) is not True:
            raise ValueError("no line 'invented = true'")
        state = given.pop("state", {})
        battery = Battery(**given.pop("battery"))
        title, topic, complaint, trap, lesson = (str(given.pop(key)).strip() for key in TEXTS)
        return Course(
            id=name,
            title=title,
            topic=topic,
            complaint=complaint,
            trap=trap,
            lesson=lesson,
            number=int(given.pop("number")),
            car=Car(battery, label="invented", **given.pop("car")),
            conditions=Conditions(**given.pop("conditions")),
            faults=given.pop("faults", {}),
            traits=given.pop("traits", {}),
            **{**state, **_nothing_else(given)},
        )
    except (ValueError, TypeError, KeyError) as error:
        raise FaultnetError(
            "a course cannot be read", where=f"{name}.toml", got=str(error),
            expected="invented, number, title, topic, complaint, trap, lesson; tables car, battery, conditions, faults",
            to_do="correct the file, or install faultnet again",
        ) from None  # fmt: skip


def _nothing_else(left: dict[str, Any]) -> dict[str, Any]:
    if left:
        raise ValueError(f"unknown {', '.join(left)}")
    return {}


def _text(name: str) -> str:
    return (files("faultnet.practice") / "courses" / f"{name}.toml").read_text(encoding="utf-8")
