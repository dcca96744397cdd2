"""The reference page: the whole prior set as Markdown, for people who want to read what the program knows."""

from __future__ import annotations

from collections.abc import Sequence

from faultnet.prior_set.catalogue import AGE_BANDS, Catalogue
from faultnet.prior_set.markdown import table
from faultnet.prior_set.numbers import number_sections
from faultnet.prior_set.types import ActSpec, Component, Instrument, Mode, Test

GROUP_TITLES: dict[str, str] = {
    "ask": "Ask",
    "look": "Look and feel",
    "rest": "At rest",
    "cranking": "Cranking",
    "load": "Load",
    "charging": "Charging",
    "codes": "Codes",
}
CLIMATES: tuple[str, ...] = ("cold", "temperate", "hot")


def reference_markdown(catalogue: Catalogue) -> str:
    """Return the reference page of a prior set.

    Parameters
    ----------
    catalogue : Catalogue

    Returns
    -------
    str
        Markdown: cautions, components with modes and base rates, tests, instruments, acts, then every number with
        unit, source and mark.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> reference_markdown(load_catalogue()).splitlines()[0]
    '# Standard prior set: 12 V starting and charging system of cars and light vans'
    """
    sections = [
        _head(catalogue),
        _components(catalogue),
        _battery_ages(catalogue),
        _tests(catalogue),
        _instruments(catalogue),
        _acts(catalogue),
        _words(catalogue),
        *number_sections(catalogue),
    ]
    return "\n\n".join(sections) + "\n"


def _head(catalogue: Catalogue) -> str:
    about = catalogue.provenance
    cautions = "\n".join(f"- {catalogue.cautions[name]}" for name in catalogue.general_cautions)
    marks = table(("mark", "meaning"), about.marks.items())
    faults = sum(len(component.modes) - 1 for component in catalogue.components)
    counted = (
        f"{len(catalogue.components)} components with {faults} fault modes, "
        f"{len(catalogue.tests)} tests, {len(catalogue.instruments)} instruments, {len(catalogue.acts)} acts."
    )
    return "\n\n".join(
        (
            f"# {about.title}",
            f"Prior set `{catalogue.name}`, version {catalogue.version}, {about.date}, by {about.author}. {counted}",
            f"Population: {about.population}. {about.note}",
            cautions,
            "How far a number can be trusted is said by its mark:",
            marks,
        )
    )


def _components(catalogue: Catalogue) -> str:
    parts = [
        "## Components and what may be wrong with them",
        "Counts are cars per 1000 of the population above, before anything is known about the car.",
    ]
    return "\n\n".join([*parts, *(_component(catalogue, component) for component in catalogue.components)])


def _component(catalogue: Catalogue, component: Component) -> str:
    rows = [_mode_cells(catalogue, component, mode) for mode in component.modes[1:]]
    sound = component.modes[0]
    return "\n\n".join(
        (
            f"### {component.label} (`{component.id}`)",
            f"{component.explanation} {sound.label.capitalize()}: {sound.explanation}",
            table(("mode", "what it is", "how it shows", "what repairs it", "comes and goes", "per 1000"), rows),
        )
    )


def _mode_cells(catalogue: Catalogue, component: Component, mode: Mode) -> tuple[str, ...]:
    count, of = catalogue.rate(component.id, mode.id)
    comes = "no"
    if mode.comes_and_goes:
        comes = f"yes, on at {catalogue.on_rate(component.id, mode.id):.0%} of visits"
        comes += f"; more with {', '.join(mode.brought_on)}" if mode.brought_on else ""
    name = f"{mode.label} (`{mode.id}`)"
    return name, mode.explanation, mode.shows, catalogue.act(mode.repair).label, comes, f"{1000 * count / of:g}"


def _battery_ages(catalogue: Catalogue) -> str:
    ages = [(None, "unknown"), *((low, f"{name} years") for name, low, _ in AGE_BANDS)]
    modes = catalogue.component("battery").modes[1:]
    rows = []
    for climate in CLIMATES:
        for age, label in ages:
            rates = [catalogue.rate("battery", mode.id, age, climate) for mode in modes]
            rows.append((climate, label, *(f"{1000 * count / of:.3g}" for count, of in rates)))
    return "\n\n".join(
        (
            "## Battery by age and climate",
            "Cars per 1000 whose battery is in each fault mode.",
            table(("climate", "age", *(mode.label for mode in modes)), rows),
        )
    )


def _tests(catalogue: Catalogue) -> str:
    parts = [
        "## Tests",
        "The range in which a sound example of the car reads is computed for the car and the temperature, and shown "
        "beside the field; none is written here.",
    ]
    for group, title in GROUP_TITLES.items():
        parts.append(f"### {title}")
        parts.extend(_test(catalogue, test) for test in catalogue.tests if test.group == group)
    return "\n\n".join(parts)


def _test(catalogue: Catalogue, test: Test) -> str:
    gives = f"a number in {test.unit}" if test.unit and test.unit != "-" else "a number"
    if test.kind == "choice":
        gives = " / ".join(label for _, label in test.choices)
    facts = [
        f"Gives: {gives}.",
        f"Tools: {', '.join(test.tools) or 'none'}. Hands-on time: {test.minutes:g} min. "
        f"Instruments: {'; '.join(catalogue.instrument(name).label for name in test.instruments)}.",
    ]
    if test.needs:
        facts.append("First: " + " ".join(catalogue.preconditions[name] for name in test.needs))
    steps = "\n".join(f"{number}. {step}" for number, step in enumerate(test.steps, 1))
    parts = [f"#### {test.label} (`{test.id}`)", test.explanation, "\n".join(f"- {fact}" for fact in facts), steps]
    return "\n\n".join([*parts, *_cautions(catalogue, test.cautions)])


def _cautions(catalogue: Catalogue, names: Sequence[str]) -> list[str]:
    return ["Caution: " + " ".join(catalogue.cautions[name] for name in names)] if names else []


def _instruments(catalogue: Catalogue) -> str:
    rows = [_instrument_cells(instrument) for instrument in catalogue.instruments]
    header = ("instrument", "reads", "limit of error", "window, interval", "place", "slip", "source", "mark", "note")
    return "\n\n".join(
        (
            "## Instruments",
            "The limit of error is a share of the reading plus a fixed share. Slip is the chance of a wrong spot, "
            "range or word.",
            table(header, rows),
        )
    )


def _instrument_cells(instrument: Instrument) -> tuple[str, ...]:
    error = f"{instrument.percent:g} % + {instrument.floor:g}" if instrument.measures else "-"
    times = [f"{time:g} s" if time is not None else "-" for time in (instrument.window, instrument.interval)]
    place = instrument.place
    if instrument.offset or instrument.offset_spread:
        place += f", {instrument.offset:+g} V ± {instrument.offset_spread:g} V"
    return (
        f"{instrument.label} (`{instrument.id}`)",
        ", ".join(instrument.measures) or "-",
        error,
        ", ".join(times),
        place,
        f"{instrument.slip:g}",
        instrument.source,
        instrument.mark,
        instrument.note,
    )


def _words(catalogue: Catalogue) -> str:
    rows = sorted(catalogue.words.items(), key=lambda pair: pair[0].lower())
    return "\n\n".join(("## Words", table(("word", "meaning"), rows)))


def _acts(catalogue: Catalogue) -> str:
    parts = [
        "## Acts",
        "An act changes the car. Minutes are hands-on minutes, common practice, no source.",
    ]
    return "\n\n".join([*parts, *(_act(catalogue, act) for act in catalogue.acts)])


def _act(catalogue: Catalogue, act: ActSpec) -> str:
    done_to = ", ".join(catalogue.component(name).label for name in act.components) or "the car"
    steps = "\n".join(f"{number}. {step}" for number, step in enumerate(act.steps, 1))
    parts = [
        f"### {act.label} (`{act.id}`)",
        act.explanation,
        f"Kind: {act.kind}. Done to: {done_to}. Hands-on time: {act.minutes:g} min.",
        steps,
    ]
    return "\n\n".join([*parts, *_cautions(catalogue, act.cautions)])
