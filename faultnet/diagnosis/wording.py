"""Entries, reasons and verdicts in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from faultnet.case.types import Act, Entry
from faultnet.prior_set.catalogue import Catalogue
from faultnet.units import format_quantity

if TYPE_CHECKING:
    from faultnet.diagnosis.result import NextTest

NOT_MEASURED_WORDS = {
    "skipped": "skipped",
    "cannot_reach": "could not be reached",
    "unstable": "would not settle",
    "not_fitted": "not fitted on this car",
}
LIMITS = {"above": "over ", "below": "under "}
OUTCOME_WORDS = {"cured": "cured", "better": "better", "no_change": "no change"}


def entry_words(catalogue: Catalogue, entry: Entry) -> str:
    """One entry in words.

    Examples
    --------
    >>> from faultnet.case.types import Reading
    >>> from faultnet.prior_set import load_catalogue
    >>> entry_words(load_catalogue(), Reading("rest_voltage", value=12.4))
    'Open-circuit (rest) voltage at the posts: 12.40 V'
    """
    if isinstance(entry, Act):
        return _act_words(catalogue, entry)
    test = catalogue.test(entry.test)
    if entry.not_measured is not None:
        return f"{asked_words(test.label)} {NOT_MEASURED_WORDS[entry.not_measured]}"
    if entry.state is not None:
        said = dict(test.choices)[entry.state]
        return f"{asked_words(test.label)} {said}{' (not sure)' if entry.roughly else ''}"
    assert entry.value is not None
    near = LIMITS[entry.bound] if entry.bound else "about " if entry.roughly else ""
    return f"{asked_words(test.label)} {near}{value_words(entry.value, test.unit)}"


def asked_words(label: str) -> str:
    """What stands before the answer: a question keeps its own mark, anything else gets a colon.

    Examples
    --------
    >>> asked_words("How does it turn over?"), asked_words("Rest voltage")
    ('How does it turn over?', 'Rest voltage:')
    """
    return label if label.endswith(("?", "!", ".", ":")) else f"{label}:"


def _act_words(catalogue: Catalogue, act: Act) -> str:
    words = catalogue.act(act.act).label
    if act.component is not None:
        words += f" ({catalogue.component(act.component).label})"
    return words + (f": {OUTCOME_WORDS[act.outcome]}" if act.outcome else "")


def value_words(value: float, unit: str) -> str:
    """A value with its unit, small ones in thousandths.

    Examples
    --------
    >>> value_words(0.35, "V"), value_words(0.0082, "ohm"), value_words(1.25, "-")
    ('350 mV', '8.2 mΩ', '1.250')
    """
    if unit in ("V", "A") and abs(value) < 1.0:
        return format_quantity(value, "m" + unit)
    if unit == "ohm" and abs(value) < 1.0:
        return format_quantity(value, "mohm", decimals=1)
    return format_quantity(value, unit)


def range_words(low: float, high: float, unit: str) -> str:
    """A range in words: both ends with one unit."""
    return f"{value_words(low, unit)} to {value_words(high, unit)}"


def minutes_words(minutes: float) -> str:
    """Hands-on time.

    Examples
    --------
    >>> minutes_words(1.0), minutes_words(95.0)
    ('1 min', '1 h 35 min')
    """
    whole = max(round(minutes), 1)
    if whole < 60:
        return f"{whole} min"
    return f"{whole // 60} h" + (f" {whole % 60} min" if whole % 60 else "")


def money_words(amount: float, currency: str) -> str:
    """An amount in whole units of money; nothing where it is not known which money.

    Examples
    --------
    >>> money_words(260.1, "EUR"), money_words(12.0, "")
    ('260 EUR', '')
    """
    return f"{amount:.0f} {currency}" if currency else ""


def worth_words(test: NextTest, currency: str = "") -> str:
    """What a test takes, what has to be at hand, and what it may spare.

    Parameters
    ----------
    test : NextTest
    currency : str
        Empty where nobody said which money; then no amount is shown.

    Examples
    --------
    >>> from faultnet.diagnosis.result import NextTest
    >>> test = NextTest("t", "Rest", "rest", 0.4, 3.0, (), ("voltmeter",), (), (), None, "V", "", saving=30.2)
    >>> worth_words(test), worth_words(test, "EUR")
    ('3 min; voltmeter', '3 min; voltmeter; worth about 30 EUR')
    """
    said = [minutes_words(test.minutes), ", ".join(test.tools) or "no tools"]
    if test.spares:
        said.append(f"may spare {test.spares}")
    if currency and test.saving >= 1.0:
        said.append(f"worth about {money_words(test.saving, currency)}")
    return "; ".join(said)


def share_words(probability: float) -> str:
    """A probability in words that never claim certainty.

    Examples
    --------
    >>> share_words(0.5), share_words(0.9999), share_words(0.0001)
    ('50%', 'over 99%', 'under 1%')
    """
    if probability > 0.99:
        return "over 99%"
    return "under 1%" if probability < 0.01 else f"{probability:.0%}"
