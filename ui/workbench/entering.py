"""From what was typed or pressed to an entry of the case."""

from __future__ import annotations

import re

from faultnet.case.types import Conditions, NotMeasured, Reading
from faultnet.errors import EntryError
from faultnet.prior_set.types import Test
from faultnet.units import parse_entry

_MEANT = re.compile(r"did you mean (.+?)\?")


def typed_reading(test: Test, text: str, *, instrument: str | None = None, roughly: bool = False) -> Reading:
    """A reading from the characters typed into the entry field.

    Parameters
    ----------
    test : Test
    text : str
        A number with or without its unit; for a choice its number from 1, or the beginning of its words.
    instrument : str, optional
    roughly : bool

    Raises
    ------
    EntryError
        If it has no meaning, or more than one, for this test.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> test = load_catalogue().test("rest_voltage")
    >>> typed_reading(test, "12,4").value
    12.4
    """
    if test.kind == "choice":
        return chosen_reading(test, typed_choice(test, text), roughly=roughly)
    parsed = parse_entry(text, test.unit, plausible=test.plausible)
    if parsed.value is None:
        raise EntryError(
            "over which limit",
            got=repr(text),
            expected="the sign > and the largest figure that range shows, such as >20",
            to_do="switch the meter to a higher range and measure again; if there is none, type > and the limit",
        )
    return Reading(
        test.id,
        value=parsed.value,
        unit=parsed.unit,
        entered=text.strip(),
        instrument=instrument,
        roughly=roughly or parsed.roughly,
        bound=parsed.bound,
    )


def typed_choice(test: Test, text: str) -> str:
    """The choice that a number from 1 or the beginning of its words stands for.

    Raises
    ------
    EntryError
        If none or several fit.
    """
    wanted = " ".join(text.casefold().split())
    if wanted.isdigit() and 1 <= int(wanted) <= len(test.choices):
        return test.choices[int(wanted) - 1][0]
    fits = [c for c, label in test.choices if label.casefold() == wanted]
    fits = fits or [c for c, label in test.choices if wanted and label.casefold().startswith(wanted)]
    fits = fits or [c for c, label in test.choices if wanted and wanted in label.casefold()]
    if len(fits) == 1:
        return fits[0]
    raise EntryError(
        "this is none of the answers" if not fits else "several answers begin like that",
        got=repr(text),
        expected=f"a number from 1 to {len(test.choices)}, or the answer's first words",
        to_do="type the number that stands before the answer",
    )


def chosen_reading(test: Test, choice: str, *, roughly: bool = False) -> Reading:
    """A reading from a pressed answer."""
    return Reading(test.id, state=choice, roughly=roughly)


def not_measured(test: Test, reason: NotMeasured) -> Reading:
    """An entry that says why nothing was read."""
    return Reading(test.id, not_measured=reason)


def meant_instead(error: EntryError) -> str | None:
    """What the error supposes was meant, such as ``"14.2 V"``; None when it supposes nothing.

    Examples
    --------
    >>> meant_instead(EntryError("this cannot be right on this test", to_do="did you mean 14.2 V?"))
    '14.2 V'
    """
    found = _MEANT.search(error.to_do or "")
    return found[1] if found else None


def number_or_none(text: str, unit: str, plausible: tuple[float, float], what: str) -> float | None:
    """A number typed into a form, None when the field was left empty.

    Raises
    ------
    EntryError
        With the name of the field in front.
    """
    if not text.strip():
        return None
    try:
        parsed = parse_entry(text, unit, plausible=plausible)
        if parsed.value is None or parsed.bound:
            raise EntryError("a number is wanted here", got=repr(text), to_do="type a number")
        return parsed.value
    except EntryError as error:
        raise EntryError(f"{what}: {error.what}", got=error.got, expected=error.expected, to_do=error.to_do) from None


def typed_conditions(
    air: str, electrolyte: str, hours: str, unit: str, *, damp: bool, rough_road: bool, engine_warm: bool
) -> Conditions:
    """Conditions of a visit from the fields of the form, temperatures in `unit` unless they say otherwise."""
    seconds = number_or_none(hours, "h", (0.0, 20000.0 * 3600.0), "Hours standing")
    return Conditions(
        air_temperature=number_or_none(air, unit, (-50.0, 60.0), "Air temperature"),
        electrolyte_temperature=number_or_none(electrolyte, unit, (-40.0, 80.0), "Battery temperature"),
        hours_standing=None if seconds is None else seconds / 3600.0,
        damp=damp,
        rough_road=rough_road,
        engine_warm=engine_warm,
    )
