"""The car and what happened to it: the plain types that everything else passes around.

A :class:`Case` is one car with its visits; a visit is a stretch of time with the car in one place and condition;
its entries, in order, are readings (a test looked, nothing changed) and acts (something was changed). All types
are frozen; a changed case is a new case. Units: [V], [A], [ohm], [degC], [l], [h]; ratings keep the standard they
were stamped in and are converted in :mod:`faultnet.physics.battery`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from faultnet.errors import CarError

Fuel = Literal["petrol", "diesel"]
BatteryKind = Literal["flooded", "enhanced_flooded", "agm"]
RatingStandard = Literal["SAE", "EN", "DIN", "IEC", "CA", "not_known"]
ChargeControl = Literal["fixed", "load_responsive"]
Climate = Literal["cold", "temperate", "hot"]
Outcome = Literal["cured", "better", "no_change"]
NotMeasured = Literal["skipped", "cannot_reach", "unstable", "not_fitted"]
Bound = Literal["above", "below"]
Runs = Literal["by_itself", "with_booster", "no"]
Proof = Literal["replacement", "measurement", "opinion"]


@dataclass(frozen=True)
class Battery:
    """The battery that is fitted, as its label describes it.

    Parameters
    ----------
    rating : float, optional
        Cold-cranking current on the label [A]; when it is not known, a spread over what such a car carries is taken.
    standard : {"SAE", "EN", "DIN", "IEC", "CA", "not_known"}
        The standard that current was rated by; it is asked, never guessed.
    kind : {"flooded", "enhanced_flooded", "agm"}
        How the acid is held.
    capacity : float, optional
        Twenty-hour capacity [A h]; estimated from the rating when it is not known.
    age : float, optional
        Years since it was fitted.

    Examples
    --------
    >>> Battery(rating=600.0, standard="EN").kind
    'flooded'
    """

    rating: float | None = None
    standard: RatingStandard = "EN"
    kind: BatteryKind = "flooded"
    capacity: float | None = None
    age: float | None = None

    def __post_init__(self) -> None:
        if self.rating is not None:
            _within("battery rating", self.rating, 100.0, 2000.0, "A")
        if self.capacity is not None:
            _within("battery capacity", self.capacity, 15.0, 250.0, "A h")
        if self.age is not None:
            _within("battery age", self.age, 0.0, 30.0, "years")


@dataclass(frozen=True)
class Car:
    """A car or light van with a 12 V lead-acid system.

    Parameters
    ----------
    battery : Battery
    fuel : {"petrol", "diesel"}
    displacement : float
        Engine displacement [l].
    cylinders : int
    alternator_rating : float
        Rated alternator current [A].
    charge_control : {"fixed", "load_responsive"}
        Whether the charging voltage is steady or moved about by the engine computer.
    climate : {"cold", "temperate", "hot"}
        Where the car lives; chooses the base rates.
    label : str
        Whatever the user calls the car.
    needs_rating : float, optional
        Cold-cranking current that the car's maker asks for [A]; what is fitted stands in `battery`.
    needs_standard : {"SAE", "EN", "DIN", "IEC", "CA", "not_known"}
        The standard of that current.
    system_voltage : float
        Must be 12 [V].
    drive : str
        Must be "combustion".

    Raises
    ------
    CarError
        If the system is not 12 V, the car is driven by high voltage, or a figure is outside what cars have.

    Examples
    --------
    >>> Car(battery=Battery(600.0), fuel="petrol", displacement=1.6).cylinders
    4
    """

    battery: Battery
    fuel: Fuel = "petrol"
    displacement: float = 1.6
    cylinders: int = 4
    alternator_rating: float = 90.0
    charge_control: ChargeControl = "fixed"
    climate: Climate = "temperate"
    label: str = ""
    system_voltage: float = 12.0
    drive: str = "combustion"
    needs_rating: float | None = None
    needs_standard: RatingStandard = "EN"

    def __post_init__(self) -> None:
        if self.system_voltage != 12.0:
            raise CarError(
                "only 12 V systems of cars and light vans are covered",
                where="car.system_voltage",
                got=f"{self.system_voltage:g} V",
                expected="12 V",
                to_do="use the vehicle maker's own procedure for this system",
            )
        if self.drive != "combustion":
            raise CarError(
                "cars with a high-voltage drive are not covered: a converter replaces the alternator, and the "
                "high-voltage side is for trained people only",
                where="car.drive",
                got=repr(self.drive),
                expected="'combustion'",
                to_do="leave orange cables alone and follow the vehicle maker's procedure",
            )
        _within("engine displacement", self.displacement, 0.5, 8.0, "l")
        _within("number of cylinders", self.cylinders, 2, 12, "")
        _within("alternator rating", self.alternator_rating, 30.0, 350.0, "A")
        if self.needs_rating is not None:
            _within("battery rating that the car needs", self.needs_rating, 100.0, 2000.0, "A")


@dataclass(frozen=True)
class Conditions:
    """What surrounds a visit.

    Parameters
    ----------
    air_temperature : float, optional
        [degC]; 15 degC with a wide spread is assumed when it is not known.
    electrolyte_temperature : float, optional
        [degC]; inferred from the air and the hours standing when it is not known.
    hours_standing : float, optional
        Hours since the engine last ran.
    damp, rough_road : bool
        What brings faults on that come and go.
    engine_warm : bool
        Whether the engine is at running temperature.
    """

    air_temperature: float | None = None
    electrolyte_temperature: float | None = None
    hours_standing: float | None = None
    damp: bool = False
    rough_road: bool = False
    engine_warm: bool = False

    def __post_init__(self) -> None:
        if self.air_temperature is not None:
            _within("air temperature", self.air_temperature, -50.0, 60.0, "degC")
        if self.electrolyte_temperature is not None:
            _within("electrolyte temperature", self.electrolyte_temperature, -40.0, 80.0, "degC")
        if self.hours_standing is not None:
            _within("hours standing", self.hours_standing, 0.0, 20000.0, "h")


@dataclass(frozen=True)
class Photo:
    """A photo that belongs to an entry or a visit; its bytes lie in the store, not in the case.

    Parameters
    ----------
    id : str
        SHA-256 of the bytes, 64 hexadecimal digits in small letters.
    caption : str
        In one line.

    Raises
    ------
    CarError
        If the id is none, or the caption has several lines.

    Examples
    --------
    >>> Photo("0" * 64, "left post").caption
    'left post'
    """

    id: str
    caption: str = ""

    def __post_init__(self) -> None:
        if len(self.id) != 64 or set(self.id) - set("0123456789abcdef"):
            raise CarError("no such id of a photo", got=repr(self.id), expected="64 hexadecimal digits, small letters")
        if self.caption != "".join(self.caption.splitlines()):
            raise CarError("a caption stands in one line", got=repr(self.caption), expected="text without line breaks")


@dataclass(frozen=True)
class Reading:
    """What one test gave.

    Exactly one of `value` (a number in the test's SI unit), `state` (one of the test's choices) and `not_measured`
    (why nothing was read) is given.

    Parameters
    ----------
    test : str
        Test id from the catalogue.
    value : float, optional
    state : str, optional
    not_measured : str, optional
    instrument : str, optional
        Instrument id; the test's ordinary one when left out.
    roughly : bool
        The reading was jumping about or read in passing; its spread is widened.
    bound : {"above", "below"}, optional
        The meter showed its over-limit sign, or that the reading lies under its range: the true value is above, or
        below, `value`.
    interval : float, optional
        Sampling interval of the log a reading was taken from [s].
    unit, entered : str
        The unit and the very characters the user typed, for echoing.
    note : str
    at : str
        When it was entered, such as ``2026-11-20T14:05:31+00:00``; empty when it is not known.
    by : str
        Who entered it; empty unless somebody wants it kept.
    photos : tuple of Photo
    read_by : str
        Who read it off; empty unless somebody wants it kept.
    """

    test: str
    value: float | None = None
    state: str | None = None
    not_measured: NotMeasured | None = None
    instrument: str | None = None
    roughly: bool = False
    unit: str = ""
    entered: str = ""
    interval: float | None = None
    note: str = ""
    bound: Bound | None = None
    at: str = ""
    by: str = ""
    photos: tuple[Photo, ...] = ()
    read_by: str = ""

    def __post_init__(self) -> None:
        if self.bound is not None and self.value is None:
            raise CarError(
                f"{'over' if self.bound == 'above' else 'under'} the limit says nothing without the limit",
                where=f"reading of {self.test}",
                to_do="give the end of the meter's range as the value",
            )
        given = sum(x is not None for x in (self.value, self.state, self.not_measured))
        if given != 1:
            raise CarError(
                "a reading has exactly one of a value, a state, or a reason why it was not measured",
                where=f"reading of {self.test}",
                got=f"{given} of them",
                to_do="give one",
            )


@dataclass(frozen=True)
class Act:
    """Something that changed the car.

    Parameters
    ----------
    act : str
        Act id from the catalogue.
    component : str, optional
        The component it was done to, for acts such as `replace`.
    outcome : {"cured", "better", "no_change"}, optional
        How the complaint stood afterwards.
    hours : float, optional
        How long it took, for charging and waiting [h].
    note : str
    at, by : str
        When it was entered, and by whom, as of a :class:`Reading`.
    photos : tuple of Photo
    """

    act: str
    component: str | None = None
    outcome: Outcome | None = None
    hours: float | None = None
    note: str = ""
    at: str = ""
    by: str = ""
    photos: tuple[Photo, ...] = ()


Entry = Reading | Act


@dataclass(frozen=True)
class Visit:
    """A stretch of time with the car in one place and condition, and what was entered during it, in order.

    Parameters
    ----------
    entries : tuple of Reading or Act
    conditions : Conditions
    date, note : str
    cranks : bool, optional
        Whether the starter turns the engine now.
    runs : {"by_itself", "with_booster", "no"}, optional
        Whether the engine can be started now.
    shows_now : bool, optional
        Whether the fault shows now.
    photos : tuple of Photo
    """

    entries: tuple[Entry, ...] = ()
    conditions: Conditions = field(default_factory=Conditions)
    date: str = ""
    note: str = ""
    cranks: bool | None = None
    runs: Runs | None = None
    shows_now: bool | None = None
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True)
class CaseOutcome:
    """The confirmed end of a case.

    Parameters
    ----------
    causes : tuple of (component, mode)
        What was at fault; empty when nothing was.
    confirmed_by : str
        How that was proven.
    note : str
    proof : {"replacement", "measurement", "opinion"}, optional
        What sort of proof it is: the part was replaced and the car cured, it was measured, or somebody thinks so.
        Tuning takes an outcome as true where it is not told, else as evidence that may be wrong.
    """

    causes: tuple[tuple[str, str], ...] = ()
    confirmed_by: str = ""
    note: str = ""
    proof: Proof | None = None


@dataclass(frozen=True)
class Case:
    """One car, its complaint, its visits and, once closed, its outcome."""

    car: Car
    visits: tuple[Visit, ...] = (Visit(),)
    complaint: str = ""
    name: str = ""
    invented: bool = False
    outcome: CaseOutcome | None = None


def _within(what: str, value: float, low: float, high: float, unit: str) -> None:
    """Refuse a figure that no car of this kind has.

    Raises
    ------
    CarError
        If `value` is not a finite number from `low` to `high`.
    """
    if not low <= value <= high:
        raise CarError(
            f"the {what} is outside what cars and light vans have",
            got=f"{value:g} {unit}".strip(),
            expected=f"{low:g} to {high:g} {unit}".strip(),
            to_do="check the figure and its unit",
        )
