"""Checks that need more than one file of a prior set: every id used somewhere must exist somewhere."""

from __future__ import annotations

from collections.abc import Iterable

from faultnet.errors import PriorsError
from faultnet.prior_set.catalogue import AGE_BANDS, Catalogue
from faultnet.prior_set.types import SOUND_MODES, Component, Mode, SymptomTable, Test

CLIMATES: tuple[str, ...] = ("cold", "temperate", "hot")
MOST_PARENTS = 9  # of a table that holds every combination of their modes: some 2 MB


def check_catalogue(catalogue: Catalogue) -> None:
    """Refuse a prior set whose files do not fit together.

    Parameters
    ----------
    catalogue : Catalogue

    Raises
    ------
    PriorsError
        At the first thing amiss, with the file and the entry.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> check_catalogue(load_catalogue())
    """
    for component in catalogue.components:
        _check_modes(catalogue, component)
        _check_base_rates(catalogue, component)
        _check_effects(catalogue, component)
    _check_strangers(catalogue)
    for test in catalogue.tests:
        _check_test(catalogue, test)
    for table in catalogue.symptoms.values():
        _check_symptoms(catalogue, table)
    _check_acts(catalogue)
    _check_instruments(catalogue)


def _check_modes(catalogue: Catalogue, component: Component) -> None:
    where = f"components.toml, component '{component.id}'"
    sound = [mode.id for mode in component.modes if mode.id in SOUND_MODES]
    if sound != [component.modes[0].id]:
        raise _amiss("the sound mode must stand first, and alone", where, sound, " or ".join(sorted(SOUND_MODES)))
    repairs = [act.id for act in catalogue.acts if component.id in act.components]
    for mode in component.modes[1:]:
        if mode.repair not in repairs:
            raise _amiss(
                "a fault mode needs a repair that may be done to it", f"{where}, mode '{mode.id}'", mode.repair, repairs
            )
        _check_intermittent(catalogue, component, mode)


def _check_intermittent(catalogue: Catalogue, component: Component, mode: Mode) -> None:
    where = f"on_rates.csv, {component.id}:{mode.id}"
    rows = catalogue.on_rates.get((component.id, mode.id), {})
    expected = {"any", *mode.brought_on} if mode.comes_and_goes else set()
    if set(rows) != expected:
        raise _amiss("the chances do not fit what brings the mode on", where, sorted(rows), sorted(expected))
    if not mode.comes_and_goes and mode.brought_on:
        raise _amiss("only a mode that comes and goes is brought on", where, mode.brought_on, "nothing")


def _check_base_rates(catalogue: Catalogue, component: Component) -> None:
    for mode in component.modes[1:]:
        rows = catalogue.base_rates.get((component.id, mode.id), {})
        if "all" not in rows:
            raise _amiss("the group 'all' is missing", f"base_rates.csv, {component.id}:{mode.id}", list(rows), "all")
        for group in rows:
            _check_group(f"base_rates.csv, {component.id}:{mode.id}", group)
    ages = [None, *(low for _, low, _ in AGE_BANDS)]
    for climate in CLIMATES:
        for age in ages:
            _check_sum(catalogue, component, age, climate)


def _check_sum(catalogue: Catalogue, component: Component, age: float | None, climate: str) -> None:
    counted = [catalogue.rate(component.id, mode.id, age, climate) for mode in component.modes[1:]]
    where = f"base_rates.csv, {component.id}, age {age}, climate {climate}"
    numbers = {of for _, of in counted}
    if len(numbers) != 1:
        raise _amiss("the modes of a component are counted out of different numbers", where, sorted(numbers), "one")
    if sum(count for count, _ in counted) >= counted[0][1]:
        raise _amiss("the fault modes leave no sound car", where, [count for count, _ in counted], "a smaller sum")


def _check_group(where: str, group: str) -> None:
    known = {"all"} | {f"climate={climate}" for climate in CLIMATES}
    known |= {f"age={band};climate={climate}" for band, _, _ in AGE_BANDS for climate in CLIMATES}
    if group not in known:
        raise _amiss("unknown group", where, group, "all, climate=..., or age=...;climate=...")


def _check_effects(catalogue: Catalogue, component: Component) -> None:
    for parameter in catalogue.parameters(component.id):
        where = f"effects.csv, {component.id}, {parameter}"
        found = [catalogue.effect(component.id, mode.id, parameter) for mode in component.modes]
        missing = [mode.id for mode, effect in zip(component.modes, found, strict=True) if effect is None]
        if missing:
            raise _amiss(
                "a parameter needs a row for every mode", where, "no row for " + ", ".join(missing), "one each"
            )
        units = {effect.unit for effect in found if effect is not None}
        if len(units) != 1:
            raise _amiss("a parameter has one unit", where, sorted(units), "one")


def _check_strangers(catalogue: Catalogue) -> None:
    known = {(component.id, mode.id) for component in catalogue.components for mode in component.modes}
    faults = {(component, mode) for component, mode in known if mode not in SOUND_MODES}
    for file, used, allowed in (
        ("base_rates.csv", set(catalogue.base_rates), faults),
        ("on_rates.csv", set(catalogue.on_rates), faults),
        ("effects.csv", {(component, mode) for component, mode, _ in catalogue.effects}, known),
    ):
        strangers = sorted(used - allowed)
        if strangers:
            raise _amiss("rows for what is not a fault mode of components.toml", file, strangers, "known ids")


def _check_test(catalogue: Catalogue, test: Test) -> None:
    where = f"tests.toml, test '{test.id}'"
    instruments = {instrument.id: instrument for instrument in catalogue.instruments}
    _check_known(f"{where}, needs", test.needs, catalogue.preconditions)
    _check_known(f"{where}, cautions", test.cautions, catalogue.cautions)
    _check_known(f"{where}, instruments", test.instruments, instruments)
    if not test.steps or not test.instruments:
        raise _amiss("a test needs steps and an instrument", where, "none", "at least one of each")
    blind = [name for name in test.instruments if test.unit and test.unit not in instruments[name].measures]
    if blind:
        raise _amiss(f"instruments that cannot read {test.unit}", where, blind, "instruments that measure it")
    if (test.quantity == "table") != (test.id in catalogue.symptoms):
        raise _amiss("a test of quantity 'table' has rows in symptoms.csv, and no other test has", where, test.quantity)


def _check_symptoms(catalogue: Catalogue, table: SymptomTable) -> None:
    where = f"symptoms.csv, test '{table.test}'"
    known = {(component.id, mode.id) for component in catalogue.components for mode in component.modes[1:]}
    strangers = [f"{component}:{mode}" for component, mode in table.rows if (component, mode) not in known]
    if strangers:
        raise _amiss("causes that are no fault mode of components.toml", where, strangers, "known ids")
    if len(table.components()) > MOST_PARENTS:
        raise _amiss("too many components in one table", where, table.components(), f"at most {MOST_PARENTS}")


def _check_acts(catalogue: Catalogue) -> None:
    components = {component.id for component in catalogue.components}
    for act in catalogue.acts:
        where = f"acts.toml, act '{act.id}'"
        _check_known(f"{where}, components", act.components, components)
        _check_known(f"{where}, cautions", act.cautions, catalogue.cautions)
        _check_known(f"{where}, only_for", act.only_for, act.cautions)
        for parts in act.only_for.values():
            _check_known(f"{where}, only_for", parts, act.components)
        if not act.steps:
            raise _amiss("an act needs steps", where, "none", "at least one")
    _check_known("cautions.toml, general", catalogue.general_cautions, catalogue.cautions)
    _check_known("cautions.toml, in_short", catalogue.cautions_in_short, catalogue.cautions)
    _check_known("cautions.toml, waits", catalogue.waits, catalogue.preconditions)


def _check_instruments(catalogue: Catalogue) -> None:
    used = {name for test in catalogue.tests for name in test.instruments}
    idle = [instrument.id for instrument in catalogue.instruments if instrument.id not in used]
    if idle:
        raise _amiss("a row that nothing reads", "instruments.csv", idle, "instruments that a test of tests.toml names")


def _check_known(where: str, used: Iterable[str], known: Iterable[str]) -> None:
    allowed = set(known)
    unknown = [name for name in used if name not in allowed]
    if unknown:
        raise _amiss("unknown ids", where, unknown, sorted(allowed))


def _amiss(what: str, where: str, got: object, expected: object = None) -> PriorsError:
    def said(thing: object) -> str:
        return (
            thing
            if isinstance(thing, str)
            else ", ".join(map(str, thing))
            if isinstance(thing, Iterable)
            else str(thing)
        )

    return PriorsError(
        what,
        where=where,
        got=said(got) or "nothing",
        expected=None if expected is None else said(expected) or "nothing",
        to_do="correct it there",
    )
