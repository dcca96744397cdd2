"""What an act does to the model: what it mends, how it moves the charge, and what its outcome says.

An act is an intervention. A *mending* act makes the modes it can mend sound from then on, with the chance that the
repair takes; a *passing* act (a jump start, a bridging lead) makes parts sound only for the moment its outcome speaks
of; charging and waiting move the state of charge. Its outcome is evidence: on what cranks now for a passing act or a
charge, on whether a fault is left for a mending one.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from faultnet.case.types import Act, Reading
from faultnet.errors import EntryError
from faultnet.inference.configurations import Index, IndexArray
from faultnet.inference.hypotheses import Hypotheses
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

ALL_MODES: tuple[str, ...] = ("*",)
MENDS: dict[str, tuple[str, ...]] = {
    "replace": ALL_MODES,
    "clean": ("slack", "corroded", "high_resistance", "breaks_contact"),
    "tighten": ("slack", "breaks_contact"),
    "adjust": ("slips", "lost"),
    "refill": ("dried_out",),
    "reset": ("wrong_command",),
    "remove_drain": ALL_MODES,
    "advise_use": ALL_MODES,
    "desulphate": ("sulphated",),
}
SUCCESS = {
    "clean": "repair_works_clean",
    "tighten": "repair_works_clean",
    "desulphate": "repair_works_recharge_sulphated",
}
PASSING: dict[str, tuple[str, ...]] = {
    "jump_start": ("battery", "use", "drain"),
    "jumper_ground": ("ground_path", "negative_joint"),
    "bypass_control": ("start_control",),
}
CHARGING = ("charge", "desulphate")
FEEDING = (*CHARGING, "drive")
CHECK_UP = ("when_it_fails", "does_not_fail")  # the answer that says that there is no complaint


@dataclass(frozen=True)
class Mending:
    """A repair in the course of a case.

    Parameters
    ----------
    component : str
    modes : tuple of str
        Fault modes it mends; ``("*",)`` for all.
    success : float
        Chance that it takes [-].
    """

    component: str
    modes: tuple[str, ...]
    success: float


def check_act(catalogue: Catalogue, act: Act, where: str) -> None:
    """Refuse an act the catalogue does not know, or one done to a component it cannot be done to.

    Raises
    ------
    EntryError
    """
    known = {a.id: a for a in catalogue.acts}
    if act.act not in known:
        close = difflib.get_close_matches(act.act, list(known), n=3)
        raise EntryError(
            "unknown act", where=where, got=repr(act.act), expected=", ".join(close or known),
            to_do="`faultnet catalogue` lists all acts",
        )  # fmt: skip
    spec = known[act.act]
    if spec.kind == "repair" and len(spec.components) > 1 and act.component is None:
        raise EntryError(
            f"{spec.label}: which part?", where=where, got="no component", expected=", ".join(spec.components),
            to_do="give `component`",
        )  # fmt: skip
    if act.component is not None and spec.components and act.component not in spec.components:
        raise EntryError(
            f"{spec.label}: it cannot be done to that", where=where, got=repr(act.component),
            expected=", ".join(spec.components),
        )  # fmt: skip


def changes_the_car(effect: str, hours: float | None, number: Callable[[str], float]) -> bool:
    """Whether what is read after an act is read on another state of the car.

    Parameters
    ----------
    effect : str
        Of the act.
    hours : float, optional
        How long it took [h].
    number : callable
        Named numbers of the prior set.

    Notes
    -----
    Keeping the engine from firing, or waiting an hour, changes nothing that is measured: readings before and after
    see the same resistances, and count together as readings of one car.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> number = load_catalogue().number
    >>> changes_the_car("disable_fuel", None, number), changes_the_car("wait", 10.0, number)
    (False, True)
    """
    if effect == "wait":
        return hours is None or hours >= number("wait_counts_from")
    return effect in MENDS or effect in FEEDING or effect == "shed_surface_charge"


def mending_of(catalogue: Catalogue, act: Act) -> Mending | None:
    """What an act mends, or None."""
    spec = catalogue.act(act.act)
    if spec.effect not in MENDS:
        return None
    component = act.component or (spec.components[0] if len(spec.components) == 1 else None)
    if component is None:
        return None
    success = catalogue.number(SUCCESS.get(spec.effect, "repair_works_replace"))
    return Mending(component, MENDS[spec.effect], success)


def affected(space: Hypotheses, modes: IndexArray, states: tuple[str, ...], mending: Mending) -> NDArray[np.bool_]:
    """Rows in which a mending has something to mend, shape (rows,)."""
    column = modes[:, space.components.index(mending.component)]
    if mending.modes == ALL_MODES:
        return np.asarray(column > 0)
    wanted = [states.index(m) for m in mending.modes if m in states]
    return np.isin(column, wanted)


def outcome_chance(
    number: Callable[[str], float], space: Hypotheses, modes: IndexArray, mended: NDArray[np.bool_], outcome: str
) -> Array:
    """Chance of an outcome of a repair given what it mended and what is left, shape (rows,).

    Parameters
    ----------
    number : callable
        Named numbers of the prior set.
    space : Hypotheses
    modes : int array, shape (rows, components)
        After the repair.
    mended : bool array, shape (rows,)
        Whether there was something to mend.
    """
    counted = [i for i, c in enumerate(space.components) if c != "use"]
    left = (modes[:, counted] > 0).any(axis=1)
    chance = np.empty(len(modes))
    for is_left in (False, True):
        for was_mended in (False, True):
            name = f"outcome_{'left' if is_left else 'none_left'}_{'mended' if was_mended else 'nothing_mended'}"
            chance[(left == is_left) & (mended == was_mended)] = _chance_of(outcome, name, number)
    return chance


def _chance_of(outcome: str, name: str, number: Callable[[str], float]) -> float:
    cured, better = number(f"{name}_cured"), number(f"{name}_better")
    return {"cured": cured, "better": better, "no_change": 1.0 - cured - better}[outcome]


def no_complaint_chance(number: Callable[[str], float], modes: IndexArray) -> Array:
    """Chance that a car that is brought in or checked comes without a complaint, shape (rows,).

    Parameters
    ----------
    number : callable
        Named numbers of the prior set.
    modes : int array, shape (rows, components)
        When it was brought in.

    Notes
    -----
    A sound car is rarely brought in (`brought_in_when_sound`), and then mostly for a check-up; a car with a fault
    mostly because of it.
    """
    return np.where((modes > 0).any(axis=1), number("check_up_when_at_fault"), number("check_up_when_sound"))


def is_check_up(entry: Reading) -> bool:
    """Whether an entry says that there is no complaint."""
    return (entry.test, entry.state) == CHECK_UP


def after_driving(
    number: Callable[[str], float], space: Hypotheses, modes: IndexArray, outcome: str, origin: Index | None = None
) -> Array:
    """Chance of how the complaint stands after the car was driven for a time, shape (rows,).

    Parameters
    ----------
    number : callable
        Named numbers of the prior set.
    space : Hypotheses
    modes : int array, shape (rows, components)
        While it was driven.
    outcome : {"cured", "better", "no_change"}
    origin : int array, shape (rows,), optional
        Hypothesis of each row; one row for each hypothesis when left out.

    Notes
    -----
    A car with nothing wrong is spoken of as after a repair that mended all there was; one with a fault as after a
    repair that mended nothing. How the car is used brings it back only if no part was at fault to begin with.
    """
    parts = [i for i, c in enumerate(space.components) if c != "use"]
    brought_in = space.modes if origin is None else space.modes[origin]
    use_alone = (modes > 0).any(axis=1) & ~(brought_in[:, parts] > 0).any(axis=1)
    left = (modes[:, parts] > 0).any(axis=1) | use_alone
    names = "outcome_left_nothing_mended", "outcome_none_left_mended"
    return np.where(left, *(_chance_of(outcome, name, number) for name in names))
