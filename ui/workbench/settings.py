"""What is set once for this workshop: the tools at hand and the unit of temperature."""

from __future__ import annotations

import json
import os
import tempfile
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.errors import StoreError
from faultnet.prior_set.catalogue import Catalogue

COMMON_TOOLS = tuple(sorted(USUAL_TOOLS))


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
    """

    tools: tuple[str, ...] | None = None
    temperature: str = "degC"
    hourly_rate: float | None = None
    currency: str = ""


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


def settings_file() -> Path:
    """Where the choices are kept: ``FAULTNET_SETTINGS`` if set, else the user's configuration folder."""
    import platformdirs

    named = os.environ.get("FAULTNET_SETTINGS")
    return Path(named) if named else platformdirs.user_config_path("faultnet") / "front_end.json"


def load_settings() -> Settings:
    """Read the choices; a missing or damaged file gives the defaults, for nothing depends on it."""
    try:
        found = json.loads(settings_file().read_text(encoding="utf-8"))
        tools, rate = found.get("tools"), found.get("hourly_rate")
        return Settings(
            tuple(str(t) for t in tools) if isinstance(tools, list) else None,
            found.get("temperature") if found.get("temperature") in ("degC", "degF") else "degC",
            float(rate) if isinstance(rate, int | float) and rate >= 0 else None,
            str(found.get("currency") or ""),
        )
    except (OSError, ValueError, AttributeError):
        return Settings()


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
            json.dump(asdict(settings), file)
        os.replace(file.name, path)
    except OSError as error:
        raise StoreError(
            "your choices cannot be kept", where=str(path), got=str(error), to_do="make that folder writable"
        ) from None


def changed(settings: Settings, **new: object) -> Settings:
    """The same choices with some of them changed."""
    old = {f.name: getattr(settings, f.name) for f in fields(settings)}
    return Settings(**{**old, **new})  # type: ignore[arg-type]  # names are checked by the dataclass
