"""The catalogue as a list for people: ids and labels, with the cautions of each test and act as footnotes."""

from __future__ import annotations

from collections.abc import Iterator

from faultnet.cli.layout import joined, section, wrapped
from faultnet.prior_set import ActSpec, Catalogue, Component, Test
from faultnet.prior_set.page import GROUP_TITLES


def catalogue_sheet(catalogue: Catalogue) -> str:
    """List a catalogue as text of at most 80 columns.

    Parameters
    ----------
    catalogue : Catalogue

    Returns
    -------
    str
        Numbers in square brackets refer to the cautions at its end.
    """
    numbers = {name: k for k, name in enumerate(catalogue.cautions, 1)}
    return joined(
        (
            wrapped(f"{catalogue.provenance.title}, version {catalogue.version}.", ""),
            section("Components and their modes", [_component(component) for component in catalogue.components]),
            *_tests(catalogue, numbers),
            section("Instruments", [wrapped(f"{i.id}: {i.label}", "  ", "    ") for i in catalogue.instruments]),
            section("Acts", [_act(act, numbers) for act in catalogue.acts]),
            section("Cautions", [wrapped(catalogue.cautions[name], f"  [{k}] ") for name, k in numbers.items()]),
        )
    )


def _component(component: Component) -> str:
    modes = ", ".join(mode.id for mode in component.modes)
    return wrapped(f"{component.id}: {component.label} ({modes})", "  ", "    ")


def _tests(catalogue: Catalogue, numbers: dict[str, int]) -> Iterator[str]:
    for group, title in GROUP_TITLES.items():
        yield section(f"Tests: {title}", [_test(test, numbers) for test in catalogue.tests if test.group == group])


def _test(test: Test, numbers: dict[str, int]) -> str:
    gives = test.unit if test.kind == "number" else ", ".join(choice for choice, _ in test.choices)
    text = f"{test.id}: {test.label} ({gives}; {test.minutes:g} min)"
    return wrapped(text + _footnotes(test.cautions, numbers), "  ", "    ")


def _act(act: ActSpec, numbers: dict[str, int]) -> str:
    done_to = f" ({', '.join(act.components)})" if act.components else ""
    return wrapped(f"{act.id}: {act.label}{done_to}{_footnotes(act.cautions, numbers)}", "  ", "    ")


def _footnotes(cautions: tuple[str, ...], numbers: dict[str, int]) -> str:
    """Refer to cautions by their numbers.

    Examples
    --------
    >>> _footnotes(("acid", "eyes"), {"eyes": 1, "acid": 2})
    ' [1, 2]'
    """
    return f" [{', '.join(map(str, sorted(numbers[name] for name in cautions)))}]" if cautions else ""
