"""The number part of the reference page: every row with its unit, its source and its mark."""

from __future__ import annotations

from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.markdown import table
from faultnet.prior_set.types import Effect, SymptomTable

TAIL = ("unit", "source", "mark", "note")


def number_sections(catalogue: Catalogue) -> list[str]:
    """Return the sections of the page that list base rates, chances, effects, other numbers and symptom tables.

    Parameters
    ----------
    catalogue : Catalogue

    Returns
    -------
    list of str
        One Markdown section each.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> [section.splitlines()[0] for section in number_sections(load_catalogue())][:2]
    ['## Base rates and their sources', '## Chances of modes that come and go']
    """
    return [
        _base_rates(catalogue),
        _on_rates(catalogue),
        _effects(catalogue),
        _spreads(catalogue),
        _symptoms(catalogue),
    ]


def _base_rates(catalogue: Catalogue) -> str:
    rows = [
        (f"{row.component}: {row.mode}", row.group, f"{row.value:g} of {row.of:g}", row.source, row.mark, row.note)
        for groups in catalogue.base_rates.values()
        for row in groups.values()
        if not row.group.startswith("age=")
    ]
    return "\n\n".join(
        (
            "## Base rates and their sources",
            "The rows by age of the battery come from the same Weibull lives; their values stand in the table above.",
            table(("mode", "group", "cars", "source", "mark", "note"), rows),
        )
    )


def _on_rates(catalogue: Catalogue) -> str:
    rows = [
        (f"{row.component}: {row.mode}", row.condition, f"{row.value:g}", row.source, row.mark, row.note)
        for conditions in catalogue.on_rates.values()
        for row in conditions.values()
    ]
    header = ("mode", "condition", "chance that it is on at a visit", "source", "mark", "note")
    return "## Chances of modes that come and go\n\n" + table(header, rows)


def _effects(catalogue: Catalogue) -> str:
    rows = [
        (f"{row.component}: {row.mode}", row.parameter, _shape(row), row.unit, row.source, row.mark, row.note)
        for row in catalogue.effects.values()
    ]
    return "\n\n".join(
        (
            "## Effects of modes on physical parameters",
            "A lognormal is given by its median and the standard deviation of the logarithm; a normal by mean and "
            "standard deviation; a uniform by its ends.",
            table(("mode", "parameter", "spread", *TAIL), rows),
        )
    )


def _shape(effect: Effect) -> str:
    if effect.shape == "lognormal":
        return f"median {effect.centre:g}, ln sd {effect.spread:g}"
    if effect.shape == "normal":
        return f"mean {effect.centre:g}, sd {effect.spread:g}"
    return f"{effect.centre:g} to {effect.spread:g}"


def _spreads(catalogue: Catalogue) -> str:
    rows = [
        (row.name, f"{row.value:g}", row.unit, row.source, row.mark, row.note) for row in catalogue.spreads.values()
    ]
    return "## Other numbers\n\n" + table(("name", "value", *TAIL), rows)


def _symptoms(catalogue: Catalogue) -> str:
    parts = [
        "## Symptom tables",
        "Cases in which each answer is given, when one cause alone is present. *worst*: with several causes the more "
        "abnormal answer wins. *average*: with several causes their rows are averaged. *today*: a fault that comes and "
        "goes counts while it is on.",
    ]
    return "\n\n".join([*parts, *(_symptom(catalogue, entry) for entry in catalogue.symptoms.values())])


def _symptom(catalogue: Catalogue, entry: SymptomTable) -> str:
    test = catalogue.test(entry.test)
    counts = {"otherwise": entry.otherwise} | {f"{part}:{mode}": row for (part, mode), row in entry.rows.items()}
    rows = [(cause, *(f"{value:g}" for value in row), *entry.sources[cause]) for cause, row in counts.items()]
    header = ("cause", *(label for _, label in test.choices), "source", "mark", "note")
    kind = f"{entry.combine}, today" if entry.today else entry.combine
    return f"### {test.label} (`{test.id}`, {kind})\n\n" + table(header, rows)
