"""Entries and causes of a history held against the catalogue."""

from __future__ import annotations

from collections.abc import Callable

from faultnet.case.types import CaseOutcome, Entry, Reading
from faultnet.diagnosis.acts import check_act
from faultnet.diagnosis.evidence import check_reading
from faultnet.errors import EntryError
from faultnet.prior_set.catalogue import Catalogue


def known_to(catalogue: Catalogue) -> Callable[[Entry | CaseOutcome], None]:
    """Make a check of entries, and of the end of a case, against a catalogue.

    Parameters
    ----------
    catalogue : Catalogue

    Returns
    -------
    callable
        Raises :class:`~faultnet.errors.EntryError` for what makes no sense.
    """

    def check(entry: Entry | CaseOutcome) -> None:
        if isinstance(entry, CaseOutcome):
            unknown = unknown_causes(entry.causes, catalogue)
            if unknown:
                raise EntryError("a fault mode of the catalogue", got="; ".join(unknown))
        elif isinstance(entry, Reading):
            check_reading(catalogue, entry, "")
        else:
            check_act(catalogue, entry, "")

    return check


def unknown_causes(causes: tuple[tuple[str, str], ...], catalogue: Catalogue) -> list[str]:
    """Name the causes that are no fault mode of the catalogue.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> unknown_causes((("belt", "slips"), ("belt", "sound"), ("horn", "mute")), load_catalogue())
    ['belt:sound', 'horn:mute']
    """
    faults = {(component.id, mode.id) for component in catalogue.components for mode in component.modes[1:]}
    return [f"{component}:{mode}" for component, mode in causes if (component, mode) not in faults]
