"""What tests, repairs and mistakes cost: invented defaults as data, overridden by a shop or for one case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from faultnet.errors import PriorsError
from faultnet.prior_set.sets import set_folder
from faultnet.prior_set.tables import csv_rows

COLUMNS = ("kind", "name", "value", "unit", "source", "mark", "note")
MOST_MONEY = 1e6
KINDS = ("shop", "access", "part", "labour", "behind", "check", "proof", "in_vain")


@dataclass(frozen=True)
class Costs:
    """Prices of a shop.

    Parameters
    ----------
    hourly_rate : float
        [money/h].
    call_back : float
        What it costs when a car comes back with its fault [money].
    start_over : float
        To stop fitting parts, test afresh and mend what is then found [money].
    overhead_minutes : float
        To turn to a test and write it down [min].
    part : dict of component to float
        Price of the part [money].
    labour, check : dict of component to float
        To mend it, and to prove that it is mended [min].
    access : dict of access to float
        To get at everything behind it [min].
    behind : dict of component to access
        What has to be opened to get at a component.
    proof : dict of component to test id
        The test that proves a repair.
    in_vain : dict of component to float
        What a part fitted in vain costs in trust, beyond part and labour [money]; nothing for components left out.
    currency : str
        Label of the money.
    """

    hourly_rate: float
    call_back: float
    start_over: float
    overhead_minutes: float
    part: Mapping[str, float]
    labour: Mapping[str, float]
    check: Mapping[str, float]
    access: Mapping[str, float]
    behind: Mapping[str, str]
    proof: Mapping[str, str]
    in_vain: Mapping[str, float]
    currency: str = ""

    def with_shop(
        self,
        *,
        hourly_rate: float | None = None,
        call_back: float | None = None,
        currency: str | None = None,
        part: Mapping[str, float] | None = None,
    ) -> Costs:
        """The same prices with a shop's or a case's own figures put in.

        Raises
        ------
        PriorsError
            If a figure is negative or a part is unknown.

        Examples
        --------
        >>> load_costs().with_shop(hourly_rate=75.0).hourly_rate
        75.0
        """
        for name, value in {"hourly_rate": hourly_rate, "call_back": call_back, **(part or {})}.items():
            if value is not None and not 0 <= value <= MOST_MONEY:
                raise PriorsError(
                    "a price cannot be this", where=name, got=f"{value:g}", expected=f"0 to {MOST_MONEY:,.0f}"
                )
        if unknown := set(part or {}) - set(self.part):
            raise PriorsError("unknown part", got=", ".join(sorted(unknown)), expected=", ".join(self.part))
        return replace(
            self,
            hourly_rate=self.hourly_rate if hourly_rate is None else hourly_rate,
            call_back=self.call_back if call_back is None else call_back,
            currency=self.currency if currency is None else currency,
            part={**self.part, **(part or {})},
        )

    def money(self, minutes: float) -> float:
        """What so many minutes of work cost [money]."""
        return minutes * self.hourly_rate / 60.0

    def repair(self, component: str) -> float:
        """Price of mending a component and proving it, without getting at it [money]."""
        return self.part[component] + self.money(self.labour[component] + self.check[component])


def load_costs(prior_set: str = "standard", folder: Path | None = None) -> Costs:
    """Read the costs of a prior set.

    Raises
    ------
    PriorsError
        If the file is missing or a row is amiss.

    Examples
    --------
    >>> load_costs().part["battery"]
    130.0
    """
    return _read((folder or set_folder(prior_set)) / "costs.csv")


@lru_cache(maxsize=4)
def _read(path: Path) -> Costs:
    found: dict[str, dict[str, str]] = {k: {} for k in KINDS}
    numbers: dict[str, dict[str, float]] = {k: {} for k in KINDS}
    for row in csv_rows(path, COLUMNS):
        kind = row.choice("kind", KINDS)
        if kind in ("behind", "proof"):
            found[kind][row.text("name")] = row.text("value")
        else:
            numbers[kind][row.text("name")] = row.number("value", 0.0)
    _check_complete(path, numbers, found)
    shop = numbers["shop"]
    return Costs(
        hourly_rate=shop["hourly_rate"],
        call_back=shop["call_back"],
        start_over=shop["start_over"],
        overhead_minutes=shop["overhead_minutes"],
        part=numbers["part"],
        labour=numbers["labour"],
        check=numbers["check"],
        access=numbers["access"],
        behind=found["behind"],
        proof=found["proof"],
        in_vain=numbers["in_vain"],
    )


def _check_complete(path: Path, numbers: dict[str, dict[str, float]], words: dict[str, dict[str, str]]) -> None:
    wanted = {"hourly_rate", "call_back", "start_over", "overhead_minutes"}
    if set(numbers["shop"]) != wanted:
        raise PriorsError(
            "the shop's rows are not those wanted",
            where=path.name,
            got=", ".join(sorted(numbers["shop"])),
            expected=", ".join(sorted(wanted)),
        )
    for kind in ("labour", "check"):
        if missing := set(numbers["part"]) - set(numbers[kind]):
            raise PriorsError("a cost is missing", where=path.name, expected=f"rows {kind} for {sorted(missing)}")
    if missing := set(numbers["part"]) - set(words["proof"]):
        raise PriorsError("a proof is missing", where=path.name, expected=f"rows proof for {sorted(missing)}")
    if unknown := set(numbers["in_vain"]) - set(numbers["part"]):
        raise PriorsError("unknown component", where=path.name, got=", ".join(sorted(unknown)))
    if unknown := set(words["behind"].values()) - set(numbers["access"]):
        raise PriorsError("unknown access", where=path.name, got=", ".join(sorted(unknown)))
