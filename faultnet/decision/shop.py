"""What a shop sets once for all its cases: its money, its rate for an hour, its prices of parts.

They stand in one file, which the front end writes and the command line reads.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from faultnet.decision.costs import MOST_MONEY, Costs
from faultnet.errors import FaultnetError

EXPECTED = '{"currency": "EUR", "hourly_rate": 90, "parts": {"battery": 110}}, each of them or none'
LONGEST_CURRENCY = 12


@dataclass(frozen=True)
class ShopPrices:
    """A shop's own money and prices.

    Parameters
    ----------
    currency : str
        A code or a sign; empty where none is set, and then no money is shown.
    hourly_rate : float, optional
        [money/h]; None for that of the prior set.
    parts : dict of component to float
        Prices of parts that differ from those of the prior set [money].
    """

    currency: str = ""
    hourly_rate: float | None = None
    parts: Mapping[str, float] = field(default_factory=dict)

    def of(self, costs: Costs) -> Costs:
        """Put them in the place of the shipped ones.

        Raises
        ------
        PriorsError
            If a price is of a part that is not known.

        Examples
        --------
        >>> from faultnet.decision.costs import load_costs
        >>> ShopPrices("EUR", 90.0).of(load_costs()).currency
        'EUR'
        """
        return costs.with_shop(hourly_rate=self.hourly_rate, currency=self.currency, parts=self.parts)


def settings_file() -> Path:
    """Where a user's settings are kept: ``FAULTNET_SETTINGS`` if set, else the user's configuration folder."""
    named = os.environ.get("FAULTNET_SETTINGS")
    if named:
        return Path(named)
    import platformdirs

    return platformdirs.user_config_path("faultnet") / "front_end.json"


def load_shop_prices(path: Path | None = None) -> ShopPrices:
    """Read a shop's money and prices; those of nobody where there is no file.

    Parameters
    ----------
    path : Path, optional
        :func:`settings_file` when left out. What else stands in the file is passed over.

    Raises
    ------
    FaultnetError
        If the file cannot be read, or a price is none.
    """
    path = settings_file() if path is None else path
    if not path.is_file():
        return ShopPrices()
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise _amiss(path, str(error), EXPECTED) from None
    if not isinstance(found, dict):
        raise _amiss(path, repr(found), EXPECTED)
    parts, currency = found.get("parts") or {}, found.get("currency") or ""
    if not isinstance(currency, str) or len(currency) > LONGEST_CURRENCY:
        raise _amiss(path, f"currency {currency!r}", f"a code or a sign of at most {LONGEST_CURRENCY} letters")
    if not isinstance(parts, dict):
        raise _amiss(path, f"parts {parts!r}", EXPECTED)
    rate = found.get("hourly_rate")
    return ShopPrices(
        currency.strip(),
        None if rate is None else _price(path, "hourly_rate", rate),
        {str(name): _price(path, f"parts, {name}", price) for name, price in parts.items()},
    )


def _price(path: Path, name: str, price: Any) -> float:
    if isinstance(price, bool) or not isinstance(price, int | float) or not 0 <= price <= MOST_MONEY:
        raise _amiss(path, f"{name} {price!r}", f"a number from 0 to {MOST_MONEY:,.0f}")
    return float(price)


def _amiss(path: Path, got: str, expected: str) -> FaultnetError:
    return FaultnetError(
        "the settings cannot be used", where=str(path), got=got, expected=expected,
        to_do="correct the file, or delete it and set your prices on the page 'Settings'",
    )  # fmt: skip
