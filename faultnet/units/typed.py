"""Readings as people type them.

A reading is typed on a phone beside the car: ``12,4``, ``350 mV``, ``-3 °F``, ``OL``, ``~12.4``. This module turns
such text into a number, or says exactly what to type instead. Nothing is guessed: ``1.234,5`` and ``2,000 rpm`` are
refused, because a wrong factor of ten or of a thousand condemns a sound part.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from math import inf, isfinite
from typing import Literal

from faultnet.errors import EntryError
from faultnet.units.table import Unit, find_unit, to_base

# Largest figure [base unit] that can occur on a 12 V car, used for one thing only: `12,400 V` cannot be twelve
# thousand volts. Estimates, drawn wide; the plausible range of a test does the real checking.
_LARGEST = {"V": 100.0, "A": 2500.0, "-": 10.0, "degC": 200.0, "%": 200.0}

_DASHES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2212\ufe63\uff0d", "-"))
_ROUGHLY = re.compile(r"^(?:~|≈|about\b|roughly\b|around\b|approx\b\.?|circa\b|ca\b\.?)\s*", re.IGNORECASE)
_OVER = re.compile(r"^(?:o\.?l\.?|0l|over ?(?:load|limit|range))$", re.IGNORECASE)
_NUMBER = re.compile(r"^([+-]? ?)(\d+(?:[.,]\d+)?|[.,]\d+)(e[+-]?\d{1,3})?(?=$|[^\d.,])", re.IGNORECASE)
_MAYBE_THOUSANDS = re.compile(r"^[1-9]\d{0,2},\d{3}$")


@dataclass(frozen=True)
class ParsedEntry:
    """What a typed reading means.

    Parameters
    ----------
    value : float or None
        In the base unit of the quantity; with `over_limit` the limit that was exceeded, None for a bare ``OL``.
    unit : str
        The unit it was typed in, or the default one; empty when neither is known.
    roughly : bool
        It was typed as approximate.
    over_limit : bool
        The true value is above `value`: the meter showed its over-limit sign, or ``>`` was typed.
    text : str
        The very characters typed.
    under_limit : bool
        The true value is below `value`: ``<`` was typed.
    """

    value: float | None
    unit: str
    roughly: bool
    over_limit: bool
    text: str
    under_limit: bool = False

    @property
    def bound(self) -> Literal["above", "below"] | None:
        """On which side of `value` the true value lies, if that is all that was read."""
        return "above" if self.over_limit else "below" if self.under_limit else None


def parse_entry(text: str, unit: str | None, *, plausible: tuple[float, float] | None = None) -> ParsedEntry:
    """Read a number as somebody typed it.

    Parameters
    ----------
    text : str
        A number with a point or a comma, perhaps a unit of the same quantity; ``OL`` or ``>`` for over the limit, ``<``
        for under it;
        ``~``, ``about`` or a closing ``?`` for roughly.
    unit : str or None
        The unit when none is typed; None when it is not known, and then any unit may be typed.
    plausible : (float, float), optional
        Range of the test [base unit]; a value outside it is refused.

    Returns
    -------
    ParsedEntry
        With the value in the base unit of the quantity.

    Raises
    ------
    EntryError
        If the text has more than one meaning or none, has the unit of another quantity, or is not plausible.

    Notes
    -----
    A comma is a decimal mark. Only a comma before exactly three digits can also mark thousands (``2,000``); it is
    taken as a decimal mark when the other meaning is impossible and refused when both are possible.

    Examples
    --------
    >>> parse_entry("14,2", "V").value, parse_entry("350 mV", "V").value, parse_entry("~ −3 °F", "degC").roughly
    (14.2, 0.35, True)
    """
    body, roughly = _strip_roughly(_plain_characters(text))
    over, under = body.startswith(">"), body.startswith("<")
    body = body[over or under :].strip()
    if _OVER.match(body):
        return ParsedEntry(None, find_unit(unit).name if unit else "", roughly, True, text)
    sign_and_digits, exponent, typed_unit = _split_number(body, text)
    found = _agreed_unit(typed_unit, unit, text)
    number = _decimal(sign_and_digits, exponent, found, plausible, text)
    value = float(to_base(number, found) if found else number)
    says_something = plausible is not None and ((over and value < plausible[1]) or (under and value > plausible[0]))
    if plausible is not None and not says_something:
        _refuse_implausible(value, found, plausible, text, "> " if over else "< " if under else "")
    return ParsedEntry(value, found.name if found else "", roughly, over, text, under)


def _plain_characters(text: str) -> str:
    """Replace look-alike spaces, dashes and symbols, and refuse superscripts and fractions.

    Raises
    ------
    EntryError
        If the text is empty, or has a numeral that is no digit (² would turn 12² into 122).
    """
    if any(unicodedata.category(character) == "No" for character in text):
        raise _not_understood(text, "type plain digits, without fractions or superscripts")
    plain = " ".join(unicodedata.normalize("NFKC", text).translate(_DASHES).split())
    if not plain:
        raise EntryError("nothing was typed", got=repr(text), expected="a number such as 12.4", to_do="type a number")
    return plain


def _strip_roughly(body: str) -> tuple[str, bool]:
    """Take the signs of an approximate reading off."""
    rest = _ROUGHLY.sub("", body).removesuffix("?").strip()
    return rest, rest != body


def _split_number(body: str, text: str) -> tuple[str, str, str]:
    """Split into signed digits, exponent and what stands behind.

    Raises
    ------
    EntryError
        If the text does not begin with one number.
    """
    match = _NUMBER.match(body)
    if match is None:
        groups = re.search(r"\d[.,]\d+[.,]\d", body)
        hint = "type one decimal mark and no marks between thousands, such as 1234.5" if groups else None
        raise _not_understood(text, hint)
    rest = body[match.end() :].strip()
    if re.match(r"^[-+\d]*\d", rest) and not rest.startswith("1/min"):
        raise _not_understood(text, "type one number without spaces, such as 1250")
    return match[1].strip() + match[2], match[3] or "", rest


def _agreed_unit(typed: str, default: str | None, text: str) -> Unit | None:
    """Settle which unit the number is in.

    Raises
    ------
    EntryError
        If the typed unit is unknown or measures something else than the default one.
    """
    fallback = find_unit(default) if default else None
    if not typed:
        return fallback
    try:
        found = find_unit(typed)
    except EntryError as error:
        raise EntryError(error.what, where=f"entry {text!r}", got=repr(typed), to_do=error.to_do) from None
    if fallback is not None:
        refuse_other_quantity(found, fallback, text)
    return found


def refuse_other_quantity(given: Unit, wanted: Unit, text: str, where: str | None = None) -> None:
    """Refuse a unit that measures something else than what is wanted.

    Raises
    ------
    EntryError

    Examples
    --------
    >>> from faultnet.units import find_unit
    >>> refuse_other_quantity(find_unit("mV"), find_unit("V"), "350 mV")
    """
    if given.quantity != wanted.quantity:
        raise EntryError(
            f"{given.name} is a unit of {given.quantity}, but this is a {wanted.quantity}",
            where=where,
            got=repr(text),
            expected=f"a number in {wanted.name}",
            to_do="check that the reading belongs to this test",
        )


def _decimal(
    digits: str, exponent: str, unit: Unit | None, plausible: tuple[float, float] | None, text: str
) -> Decimal:  # fmt: skip
    """Turn digits with a point or a comma into a number.

    Raises
    ------
    EntryError
        If a comma before three digits may mark decimals or thousands, or the number is beyond all measure.
    """
    number = Decimal(digits.replace(",", ".") + exponent)
    if not isfinite(float(number)):
        raise _not_understood(text, "type a number of ordinary size")
    if _MAYBE_THOUSANDS.match(digits.lstrip("+-")) and _thousands_possible(number * 1000, unit, plausible):
        as_decimals, as_thousands = digits.replace(",", "."), digits.replace(",", "")
        raise EntryError(
            "the comma may mark decimals or thousands",
            got=repr(text),
            expected="a number with one meaning",
            to_do=f"type {as_decimals} or {as_thousands}",
        )
    return number


def _thousands_possible(number: Decimal, unit: Unit | None, plausible: tuple[float, float] | None) -> bool:
    """Say whether the larger meaning of an unclear comma can occur."""
    value = float(to_base(number, unit) if unit else number)
    largest = _LARGEST.get(unit.base, inf) if unit else inf
    low, high = plausible if plausible is not None else (-largest, largest)
    return low <= value <= high


def _refuse_implausible(
    value: float, unit: Unit | None, plausible: tuple[float, float], text: str, sign: str
) -> None:  # fmt: skip
    """Refuse a value outside the range of its test, naming the likeliest slip.

    Raises
    ------
    EntryError
        If `value` is outside `plausible`.
    """
    low, high = plausible
    if low <= value <= high:
        return
    base = unit.base if unit else "-"
    slips = [value / factor for factor in (10.0, 100.0, 1000.0)] + [value * factor for factor in (1000.0, 10.0, 100.0)]
    meant = next((slip for slip in slips if base != "degC" and low <= slip <= high), None)
    shown = "" if base == "-" else f" {base}"
    raise EntryError(
        "this cannot be right on this test",
        got=repr(text),
        expected=f"{low:g} to {high:g}{shown}",
        to_do=f"did you mean {sign}{meant:.10g}{shown}?" if meant is not None else "check the reading and its unit",
    )


def _not_understood(text: str, hint: str | None) -> EntryError:
    """Make the error for text that is no reading."""
    return EntryError(
        "this is not a reading I can understand",
        got=repr(text),
        expected="a number such as 12.4, 12,4 V, 350 mV, OL, >10 or <11",
        to_do=hint or "type the number the meter shows, with its unit",
    )
