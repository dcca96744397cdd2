"""The table of units, and conversion to and from the base unit of each quantity.

Base units: V, A, ohm and s are SI; degC, rpm, Ah, % and - (plain number) are what workshops read and are kept as
they are. The factors are exact by definition (The International System of Units, 9th edition, 2019, tables 5, 7, 8);
degF by its definition, degC = (degF - 32) 5/9.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from decimal import Context, Decimal
from math import isfinite

from faultnet.errors import EntryError


@dataclass(frozen=True)
class Unit:
    """A unit: value in the base unit = (value - offset) * numerator / denominator.

    Parameters
    ----------
    name, base, quantity : str
        How we spell it, the base unit of its quantity, and the name of that quantity.
    numerator, denominator, offset : int
        The conversion to the base unit.
    symbol : str
        How it is printed.
    decimals : int
        Decimals that suit an ordinary meter.
    other_spellings : tuple of str
        What people also type, in lower case, spaces taken out.
    """

    name: str
    base: str
    quantity: str
    numerator: int
    denominator: int
    offset: int
    symbol: str
    decimals: int
    other_spellings: tuple[str, ...]


def _unit(
    name: str,
    base: str,
    quantity: str,
    scale: tuple[int, int],
    decimals: int,
    symbol: str = "",
    others: str = "",
    offset: int = 0,
) -> Unit:
    """Write one row of the table below in short."""
    return Unit(name, base, quantity, *scale, offset, symbol or name, decimals, tuple(others.split()))


UNITS: dict[str, Unit] = {
    unit.name: unit
    for unit in (
        _unit("V", "V", "voltage", (1, 1), 2, others="volt volts vdc"),
        _unit("mV", "V", "voltage", (1, 1000), 0, others="millivolt millivolts mvdc"),
        _unit("uV", "V", "voltage", (1, 1_000_000), 0, "µV", "μv microvolt microvolts"),
        _unit("A", "A", "current", (1, 1), 1, others="amp amps ampere amperes adc"),
        _unit("mA", "A", "current", (1, 1000), 0, others="milliamp milliamps"),
        _unit("uA", "A", "current", (1, 1_000_000), 0, "µA", "μa microamp microamps"),
        _unit("kA", "A", "current", (1000, 1), 3, others="kiloamp kiloamps"),
        _unit("ohm", "ohm", "resistance", (1, 1), 3, "Ω", "ω ohms"),
        _unit("mohm", "ohm", "resistance", (1, 1000), 1, "mΩ", "mω milliohm milliohms"),
        _unit("kohm", "ohm", "resistance", (1000, 1), 3, "kΩ", "kω kiloohm kiloohms kilohm kilohms"),
        _unit("degC", "degC", "temperature", (1, 1), 1, "°C", "°c c celsius"),
        _unit("degF", "degC", "temperature", (5, 9), 0, "°F", "°f f fahrenheit", offset=32),
        _unit("rpm", "rpm", "speed", (1, 1), 0, "rev/min", "rev/min r/min 1/min"),
        _unit("s", "s", "time", (1, 1), 1, others="sec second seconds"),
        _unit("min", "s", "time", (60, 1), 0, others="minute minutes"),
        _unit("h", "s", "time", (3600, 1), 1, others="hr hrs hour hours"),
        _unit("Ah", "Ah", "charge", (1, 1), 0, "A h", "amphour amphours"),
        _unit("%", "%", "percentage", (1, 1), 0, others="percent"),
        _unit("-", "-", "plain number", (1, 1), 3),
    )
}
# Digits enough to add 32 to the smallest float, so that no conversion rounds before its end.
_EXACT = Context(prec=400)
_BY_SPELLING = {
    spelling: unit for unit in UNITS.values() for spelling in (unit.name.lower(), *unit.other_spellings)
}  # fmt: skip


def find_unit(name: str) -> Unit:
    """Look a unit up by any of its spellings.

    Parameters
    ----------
    name : str
        For example ``"mV"``, ``"volts"`` or ``"°F"``.

    Returns
    -------
    Unit

    Raises
    ------
    EntryError
        If it is unknown, or begins with the M of mega, which no reading on a car needs.

    Examples
    --------
    >>> find_unit("mΩ").name
    'mohm'
    """
    squeezed = unicodedata.normalize("NFKC", name).replace(" ", "")
    if squeezed in UNITS:
        return UNITS[squeezed]
    spelling = squeezed.lower().replace("degrees", "").replace("deg", "")
    unit = _BY_SPELLING.get(squeezed.lower()) or _BY_SPELLING.get(spelling)
    if unit is None or (squeezed.startswith("M") and unit.denominator > 1):
        hint = f"if you mean milli, type {unit.name}" if unit else "use one of: " + ", ".join(UNITS)
        raise EntryError("unknown unit", got=repr(name), expected="a unit of voltage, current ...", to_do=hint)
    return unit


def to_si(value: float, unit: str) -> float:
    """Convert to the base unit of the quantity.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str

    Returns
    -------
    float
        In the base unit, rounded once.

    Raises
    ------
    EntryError
        If the unit is unknown.

    Examples
    --------
    >>> to_si(350.0, "mV"), to_si(14.0, "degF")
    (0.35, -10.0)
    """
    return float(to_base(Decimal(repr(float(value))), find_unit(unit))) if isfinite(value) else value


def from_si(value: float, unit: str) -> float:
    """Convert from the base unit of the quantity; the inverse of :func:`to_si`.

    Parameters
    ----------
    value : float
        In the base unit of `unit`.
    unit : str

    Returns
    -------
    float
        In `unit`, rounded once.

    Raises
    ------
    EntryError
        If the unit is unknown.

    Examples
    --------
    >>> from_si(0.35, "mV"), from_si(-10.0, "degF")
    (350.0, 14.0)
    """
    return float(exact_from_si(value, unit)) if isfinite(value) else value


def exact_from_si(value: float, unit: str) -> Decimal:
    """Convert from the base unit without rounding, so that the digits lead back to the same `value`.

    Examples
    --------
    >>> exact_from_si(0.1, "mV")
    Decimal('100.0')
    """
    found = find_unit(unit)
    scaled = _EXACT.multiply(Decimal(repr(float(value))), found.denominator)
    return _EXACT.add(_EXACT.divide(scaled, found.numerator), found.offset)


def format_quantity(value: float, unit: str, decimals: int | None = None, decimal_mark: str = ".") -> str:
    """Write a quantity for people.

    Parameters
    ----------
    value : float
        In the base unit of `unit`.
    unit : str
        The unit to show it in.
    decimals : int, optional
        What suits an ordinary meter in that unit when left out.
    decimal_mark : str
        ``"."`` or ``","``.

    Returns
    -------
    str

    Raises
    ------
    EntryError
        If the unit is unknown.

    Examples
    --------
    >>> format_quantity(12.4, "V"), format_quantity(0.35, "mV"), format_quantity(12.4, "V", 1, ",")
    ('12.40 V', '350 mV', '12,4 V')
    """
    found = find_unit(unit)
    places = found.decimals if decimals is None else decimals
    number = f"{from_si(value, unit):z.{places}f}".replace(".", decimal_mark)
    return number if found.name == "-" else f"{number}{'' if found.name == '%' else ' '}{found.symbol}"


def to_base(value: Decimal, unit: Unit) -> Decimal:
    """Apply the conversion of `unit` without rounding."""
    scaled = _EXACT.multiply(_EXACT.subtract(value, unit.offset), unit.numerator)
    return _EXACT.divide(scaled, unit.denominator)
