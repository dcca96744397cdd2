"""Readings as typed: what is accepted, what is refused, and that no factor is ever guessed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from faultnet.errors import EntryError
from faultnet.units import UNITS, exact_from_si, find_unit, format_quantity, from_si, parse_entry, to_si


@pytest.mark.parametrize(
    "text, unit, value",
    [
        ("12,4", "V", 12.4),
        ("12.4V", "V", 12.4),
        ("12.4v", "V", 12.4),
        ("14,2 V", "V", 14.2),
        ("350 mV", "V", 0.35),
        ("350mv", "V", 0.35),
        ("350", "mV", 0.35),
        ("0.25 kA", "A", 250.0),
        ("1.250", "-", 1.25),
        ("1,250", "-", 1.25),
        (".35", "V", 0.35),
        ("+12.4", "V", 12.4),
        ("1.5e-2 A", "A", 0.015),
        ("12\u202f400 mV".replace("\u202f", ""), "V", 12.4),
        ("12.4\u2009V", "V", 12.4),
        ("12.4\u00a0V", "V", 12.4),
        ("\u22123 °F", "degC", -175 / 9),
        ("-3 F", "degC", -175 / 9),
        ("54 ℉", "degC", 110 / 9),
        ("-10 deg C", "degC", -10.0),
        ("5 mΩ", "ohm", 0.005),
        ("5 m\u2126", "ohm", 0.005),
        ("20 µA", "A", 2e-5),
        ("20 \u03bcA", "A", 2e-5),
        ("850 1/min", "rpm", 850.0),
        ("850 rev/min", "rpm", 850.0),
        ("2 h", "s", 7200.0),
        ("60 A h", "Ah", 60.0),
        ("80%", "%", 80.0),
    ],
)
def test_typed_text_gives_the_value_in_the_base_unit(text: str, unit: str, value: float) -> None:
    assert parse_entry(text, unit).value == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize("text", ["~12.4", "≈ 12.4", "about 12.4", "Roughly 12.4 V", "ca. 12,4", "12.4 V?", "12.4?"])
def test_rough_readings_say_so(text: str) -> None:
    parsed = parse_entry(text, "V")
    assert (parsed.value, parsed.roughly) == (12.4, True)
    assert not parse_entry("12.4", "V").roughly


@pytest.mark.parametrize("text", ["OL", "ol", "O.L", "0L", "over limit", "> OL"])
def test_the_over_limit_sign_is_no_number(text: str) -> None:
    parsed = parse_entry(text, "ohm")
    assert (parsed.value, parsed.over_limit, parsed.unit) == (None, True, "ohm")


def test_more_than_a_limit_keeps_the_limit() -> None:
    parsed = parse_entry(">10 V", "V", plausible=(0.0, 16.0))
    assert (parsed.value, parsed.over_limit) == (10.0, True)
    assert not parse_entry("10 V", "V").over_limit


def test_more_than_what_can_be_is_refused_like_the_number_itself() -> None:
    """Above 350 V on a test that gives 16 V at most: millivolts were meant, and the sign must not be lost."""
    with pytest.raises(EntryError, match="cannot be right") as caught:
        parse_entry(">350", "V", plausible=(0.0, 16.0))
    assert caught.value.to_do == "did you mean > 3.5 V?"


def test_less_than_a_limit_keeps_the_limit_and_a_value_that_cannot_be_is_refused() -> None:
    parsed = parse_entry("< 11", "V", plausible=(0.0, 16.0))
    assert (parsed.value, parsed.under_limit, parsed.over_limit, parsed.bound) == (11.0, True, False, "below")
    assert parse_entry("<300", "V", plausible=(0.0, 16.0)).value == 300.0  # says nothing, but is not wrong
    with pytest.raises(EntryError, match="cannot be right"):
        parse_entry("<-3", "V", plausible=(0.0, 16.0))


@pytest.mark.parametrize(
    "text, unit, advice",
    [
        ("1.234,5", "V", "1234.5"),
        ("1,234.5", "V", "1234.5"),
        ("12,4,3", "V", "one decimal mark"),
        ("12.4.3", "V", "one decimal mark"),
        ("2,000 rpm", "rpm", "2.000 or 2000"),
        ("1,250 A", "A", "1.250 or 1250"),
        ("1,250 mV", "V", "1.250 or 1250"),
        ("2,000", None, "2.000 or 2000"),
        ("1 250", "rpm", "without spaces"),
        ("1\u202f250", "rpm", "without spaces"),
        ("12.4 12.5", "V", "without spaces"),
        ("3 MV", "V", "type mV"),
        ("3 MΩ", "ohm", "type mohm"),
        ("12²", "V", "superscripts"),
        ("12½", "V", "fractions"),
        ("1e999", "A", "ordinary size"),
        ("12.4 A", "V", "belongs to this test"),
        ("12 furlong", "V", "use one of"),
        ("", "V", "type a number"),
        ("  \u2009", "V", "type a number"),
        ("about", "V", "the number the meter shows"),
        ("12.", "V", "the number the meter shows"),
        ("12..4", "V", "the number the meter shows"),
        ("--3", "V", "the number the meter shows"),
        ("nan", "V", "the number the meter shows"),
        ("inf", "V", "the number the meter shows"),
        ("<>3", "V", "the number the meter shows"),
        ("12V4", "V", "use one of"),
    ],
)
def test_what_is_unclear_is_refused_with_advice(text: str, unit: str | None, advice: str) -> None:
    with pytest.raises(EntryError) as caught:
        parse_entry(text, unit)
    assert advice in str(caught.value.to_do)


def test_a_comma_before_three_digits_is_decimal_where_thousands_cannot_be() -> None:
    assert parse_entry("12,400 V", "V").value == 12.4
    assert parse_entry("0,350 A", "A").value == 0.35
    assert parse_entry("1,265", "-", plausible=(1.0, 1.4)).value == 1.265
    with pytest.raises(EntryError, match="decimals or thousands"):
        parse_entry("1,265", "rpm", plausible=(0.0, 8000.0))


@pytest.mark.parametrize(
    "text, unit, plausible, advice",
    [
        ("142", "V", (0.0, 20.0), "did you mean 14.2 V?"),
        ("1250", "-", (1.0, 1.4), "did you mean 1.25?"),
        ("350", "V", (0.0, 2.0), "did you mean 0.35 V?"),
        ("2.000", "rpm", (300.0, 8000.0), "did you mean 2000 rpm?"),
        ("-12.4", "V", (0.0, 20.0), "check the reading"),
        ("95", "degC", (-50.0, 60.0), "check the reading"),
    ],
)
def test_the_implausible_is_refused_and_never_mended(
    text: str, unit: str, plausible: tuple[float, float], advice: str
) -> None:
    with pytest.raises(EntryError) as caught:
        parse_entry(text, unit, plausible=plausible)
    assert advice in str(caught.value.to_do)


hundredths = st.integers(min_value=-99_999, max_value=99_999)


@given(hundredths, st.sampled_from([".", ","]), st.sampled_from(["", " ", "\u2009", "\u00a0", "\u202f"]))
def test_a_decimal_mark_never_changes_the_factor(number: int, mark: str, space: str) -> None:
    """14,2 must not become 142: point and comma give the very number whose digits were typed."""
    sign = "-" if number < 0 else ""
    whole, part = divmod(abs(number), 100)
    assert parse_entry(f"{sign}{whole}{mark}{part:02d}{space}V", "V").value == number / 100


@given(st.text(max_size=12), st.sampled_from([*UNITS, None]))
def test_any_text_is_read_or_refused(text: str, unit: str | None) -> None:
    """No other exception, and never a number that is not finite."""
    try:
        value = parse_entry(text, unit).value
    except EntryError:
        return
    assert value is None or abs(value) < float("inf")


finite = st.floats(allow_nan=False, allow_infinity=False, min_value=-1e6, max_value=1e6)


@given(finite, st.sampled_from([*UNITS]))
def test_there_and_back(value: float, unit: str) -> None:
    assert from_si(to_si(value, unit), unit) == pytest.approx(value, rel=1e-15, abs=1e-13)


@given(finite, st.sampled_from([*UNITS]))
def test_exact_digits_lead_back_to_the_same_float(value: float, unit: str) -> None:
    assert parse_entry(str(exact_from_si(value, unit)), unit).value == value


@pytest.mark.parametrize("degrees", [-40.0, -18.4, 0.0, 32.0, 54.0, 212.0])
def test_temperatures_agree_with_scipy(degrees: float) -> None:
    """Second road: scipy.constants.convert_temperature."""
    assert to_si(degrees, "degF") == pytest.approx(constants.convert_temperature(degrees, "F", "C"), abs=1e-12)


def test_factors_agree_with_scipy() -> None:
    """Second road: the prefixes and times of scipy.constants (CODATA and SI)."""
    expected = {"mV": constants.milli, "uV": constants.micro, "mA": constants.milli, "uA": constants.micro}
    expected |= {"kA": constants.kilo, "mohm": constants.milli, "kohm": constants.kilo}
    expected |= {"min": constants.minute, "h": constants.hour}
    for unit, factor in expected.items():
        assert to_si(1.0, unit) == pytest.approx(factor, rel=1e-15)


def test_every_spelling_finds_its_own_unit() -> None:
    for unit in UNITS.values():
        assert find_unit(unit.name) is unit
        assert find_unit(unit.symbol) is unit
        for spelling in unit.other_spellings:
            assert find_unit(spelling) is unit


@pytest.mark.parametrize(
    "value, unit, decimals, mark, text",
    [
        (12.4, "V", None, ".", "12.40 V"),
        (0.35, "mV", None, ".", "350 mV"),
        (12.4, "V", 1, ",", "12,4 V"),
        (-10.0, "degF", None, ".", "14 °F"),
        (1.25, "-", None, ".", "1.250"),
        (-0.001, "V", None, ".", "0.00 V"),
        (80.0, "%", None, ".", "80%"),
        (5400.0, "h", None, ".", "1.5 h"),
    ],
)
def test_quantities_are_written_for_people(value: float, unit: str, decimals: int | None, mark: str, text: str) -> None:
    assert format_quantity(value, unit, decimals, mark) == text
