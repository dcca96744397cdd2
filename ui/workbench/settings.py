"""What is set once for this workshop: tools at hand, unit of temperature, money and prices."""

from __future__ import annotations

import json
import os
import tempfile
from dataclasses import asdict, dataclass, fields

from faultnet.decision.shop import ShopPrices, load_shop_prices, settings_file
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.errors import FaultnetError, StoreError
from faultnet.prior_set.catalogue import Catalogue

COMMON_TOOLS = tuple(sorted(USUAL_TOOLS))
RENAMED = dict.fromkeys(("socket adapter", "scan adapter"), "scan-tool adapter")
"""Tools that a settings file may still name as they were called once."""


@dataclass(frozen=True)
class Settings:
    """Choices that outlive a case.

    Parameters
    ----------
    tools : tuple of str, optional
        Tools at hand as the catalogue names them; None until they were ticked.
    temperature : {"degC", "degF"}
    hourly_rate : float, optional
        [money/h]; None for the shipped one.
    currency : str
        A code or a sign; no money is shown without one.
    parts : tuple of (component, float)
        Prices of parts that differ from the shipped ones [money].
    """

    tools: tuple[str, ...] | None = None
    temperature: str = "degC"
    hourly_rate: float | None = None
    currency: str = ""
    parts: tuple[tuple[str, float], ...] = ()

    @property
    def prices(self) -> ShopPrices:
        """The money and the prices of this workshop."""
        return ShopPrices(self.currency, self.hourly_rate, dict(self.parts))


def all_tools(catalogue: Catalogue) -> tuple[str, ...]:
    """Every single tool some test asks for, those most tests ask for first."""
    counts: dict[str, int] = {}
    for test in catalogue.tests:
        for tool in test.tools:
            for one in tool.split(" or "):
                counts[one] = counts.get(one, 0) + 1
    return tuple(sorted(counts, key=lambda t: (-counts[t], t)))


def tools_at_hand(settings: Settings, catalogue: Catalogue) -> frozenset[str]:
    """The tools to count on: those ticked, or what most people have until some are."""
    known = all_tools(catalogue)
    chosen = COMMON_TOOLS if settings.tools is None else settings.tools
    return frozenset(t for t in chosen if t in known)


def load_settings() -> Settings:
    """Read the choices; a missing or damaged file gives the defaults, and so do prices that cannot be used."""
    try:
        found = json.loads(settings_file().read_text(encoding="utf-8"))
        tools, temperature = found.get("tools"), found.get("temperature")
    except (OSError, ValueError, AttributeError):
        return Settings()
    try:
        prices = load_shop_prices()
    except FaultnetError:
        prices = ShopPrices()
    return Settings(
        tuple(dict.fromkeys(RENAMED.get(str(t), str(t)) for t in tools)) if isinstance(tools, list) else None,
        temperature if temperature in ("degC", "degF") else "degC",
        prices.hourly_rate,
        prices.currency,
        tuple(sorted(prices.parts.items())),
    )


def save_settings(settings: Settings) -> None:
    """Write the choices, whole or not at all.

    Raises
    ------
    StoreError
        If the file cannot be written.
    """
    path = settings_file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile("w", dir=path.parent, delete=False, encoding="utf-8") as file:
            json.dump({**asdict(settings), "parts": dict(settings.parts)}, file)
        os.replace(file.name, path)
    except OSError as error:
        raise StoreError(
            "your choices cannot be kept", where=str(path), got=str(error), to_do="make that folder writable"
        ) from None


def changed(settings: Settings, **new: object) -> Settings:
    """The same choices with some of them changed."""
    old = {f.name: getattr(settings, f.name) for f in fields(settings)}
    return Settings(**{**old, **new})  # type: ignore[arg-type]  # names are checked by the dataclass
