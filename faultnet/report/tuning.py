"""What tuning changed, before it is accepted: one HTML document with its plots, and the words for the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from math import log

from faultnet.learning.result import Change, Score, Tuned
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.beliefs import cause_words
from faultnet.report.markup import escape
from faultnet.report.page import document, listed, table

FEW_CASES = 30.0  # below that, a changed number mostly repeats the old one; estimate
MOST_SHOWN = 40
PLOT = 320.0


def clearly(change: Change) -> bool:
    """Whether the old number lies outside the interval of the new one.

    Examples
    --------
    >>> clearly(Change("base_rates", ("belt", "slips", "all"), 0.01, 0.03, 0.02, 0.04, 900.0, "-"))
    True
    """
    return not change.low <= change.old <= change.high


def largest(tuned: Tuned, most: int = MOST_SHOWN) -> tuple[Change, ...]:
    """The changed numbers, those whose old value the new interval leaves out first, then by how far they moved."""
    return tuple(sorted(tuned.changes, key=lambda c: (not clearly(c), -_moved(c)))[:most])


def _moved(change: Change) -> float:
    """How far a number moved in its own terms: log of the ratio, or plain difference where a ratio says nothing."""
    if change.old > 0.0 and change.new > 0.0:
        return abs(log(change.new / change.old))
    return abs(change.new - change.old)


def change_words(change: Change, catalogue: Catalogue) -> str:
    """What a changed number is, in words.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> change_words(Change("base_rates", ("belt", "slips", "climate=hot"), 0, 0, 0, 0, 0, "-"), load_catalogue())
    'Belt drive: slips (climate hot)'
    """
    first, *rest = change.key
    if change.table == "base_rates":
        return f"{cause_words((first, rest[0]), catalogue)} ({_group_words(rest[1])})"
    if change.table == "on_rates":
        when = "on at a visit" if rest[1] == "any" else f"on with {rest[1]}"
        return f"{cause_words((first, rest[0]), catalogue)}: {when}"
    if change.table == "symptoms":
        test = catalogue.test(first)
        cause = "none of the listed causes" if rest[0] == "otherwise" else _cause(rest[0], catalogue)
        return f"{test.label.rstrip('?')}: {dict(test.choices)[rest[1]]}, given {cause}"
    if change.table == "instruments":
        what = "offset from the posts" if rest[0] == "offset" else "chance of a slip"
        return f"{catalogue.instrument(first).label}: {what}"
    if change.table == "effects":
        return f"{cause_words((first, rest[0]), catalogue)}: {rest[1].replace('_', ' ')}, {rest[2]}"
    if change.table == "people":
        return first
    return first.replace("_", " ")


def _cause(text: str, catalogue: Catalogue) -> str:
    component, _, mode = text.partition(":")
    return cause_words((component, mode), catalogue)


def _group_words(group: str) -> str:
    return (
        "all cars"
        if group == "all"
        else group.replace("age=", "battery of years ").replace("=", " ").replace(";", ", ")
    )


def value_words(value: float, unit: str) -> str:
    """A number of the prior set: a share in per cent, all else in its unit.

    Examples
    --------
    >>> value_words(0.0353, "-"), value_words(-0.12, "V")
    ('3.53 %', '-0.12 V')
    """
    return f"{100.0 * value:.3g} %" if unit == "-" else f"{value:.3g} {unit}"


def data_warnings(tuned: Tuned) -> tuple[str, ...]:
    """What to be careful about: the tuning's own warnings, and groups with little data."""
    cases: dict[str, float] = {}
    for change in tuned.changes:
        if change.table == "base_rates":
            cases[change.key[2]] = max(change.effective_cases, cases.get(change.key[2], 0.0))
    few = {group: number for group, number in cases.items() if 0.0 < number < FEW_CASES}
    none = [_group_words(group) for group, number in cases.items() if number == 0.0]
    said = [f"only {number:.0f} cases in the group {_group_words(group)}: it mostly follows the whole"
            for group, number in few.items()]  # fmt: skip
    if none:
        said.append(f"no case in these groups, which follow the whole: {'; '.join(none)}")
    if (
        tuned.old_score is not None
        and tuned.new_score is not None
        and tuned.new_score.log_loss > tuned.old_score.log_loss
    ):
        said.append("on cases that were not learnt from, the new numbers do worse than the old ones")
    return (*tuned.warnings, *said)


def summary_words(tuned: Tuned, history: str) -> tuple[str, ...]:
    """What was done, in sentences."""
    options = tuned.options
    age = options.recency_half_life
    weight = "every case in full" if age is None else f"a case of {age:g} years ago as half"
    clear = sum(map(clearly, tuned.changes))
    return (
        f"{tuned.cases} cases of {history}, from the prior set {tuned.from_set}; {tuned.passes} passes.",
        f"Old counts weighed {options.strength:g} times, {weight}; groups by {', '.join(options.groups) or 'nothing'}.",
        f"{len(tuned.changes)} numbers were tuned; {clear} moved clearly: the new 95 % interval leaves the old out.",
        "Cars are brought in because of a complaint; that is allowed for in the base rates.",
    )


def score_rows(tuned: Tuned) -> tuple[tuple[str, str, str], ...]:
    """Held-out scores, old and new; none where none were worked out."""
    old, new = tuned.old_score, tuned.new_score
    if old is None or new is None:
        return ()
    return (
        ("log loss [nat], less is better", f"{old.log_loss:.4f}", f"{new.log_loss:.4f}"),
        ("Brier score [-], less is better", f"{old.brier:.5f}", f"{new.brier:.5f}"),
        ("cases scored", str(old.cases), str(new.cases)),
    )


def influential_words(tuned: Tuned, most: int = 8) -> tuple[str, ...]:
    """The cases that moved most."""
    return tuple(
        f"{name or 'a case without a name'}: {what}, by {far:.2f} nat" for name, what, far in tuned.influential[:most]
    )


def people_words(tuned: Tuned) -> tuple[str, ...]:
    """Slips by who read, for who tunes alone; none where that was not asked for."""
    said = [
        f"{c.key[0]}: {c.new:.2g} times as often as others with the same instruments ({c.low:.2g} to {c.high:.2g}, "
        f"{c.effective_cases:.0f} readings)"
        for c in tuned.people
    ]
    return tuple(said)


def tuning_page(tuned: Tuned, catalogue: Catalogue, history: str) -> str:
    """The report as one HTML document that needs nothing from outside.

    Parameters
    ----------
    tuned : Tuned
    catalogue : Catalogue
        The set it was tuned from.
    history : str
        Name of the history.

    Returns
    -------
    str
    """
    shown = largest(tuned)
    parts = [f"<h1>What tuning would change</h1>{listed(summary_words(tuned, history))}"]
    warnings = data_warnings(tuned)
    parts.append("<h2>Be careful</h2>" + listed(warnings) if warnings else "")
    parts.append("<h2>On cases that were not learnt from</h2>" + _scores(tuned))
    parts.append(
        f"<h2>Changed numbers, the clearest {len(shown)} of {len(tuned.changes)}</h2>{_changes(shown, catalogue)}"
    )
    if tuned.people:
        parts.append("<h2>Slips by who read</h2>" + listed(people_words(tuned)))
    if tuned.influential:
        parts.append("<h2>Cases that moved most</h2>" + listed(influential_words(tuned)))
    return document("What tuning would change", parts)


def _scores(tuned: Tuned) -> str:
    rows = score_rows(tuned)
    if not rows or tuned.old_score is None or tuned.new_score is None:
        return "<p>No scores were worked out.</p>"
    words = "<p>Each dot is a band of belief: left to right what was believed, upwards how often it was true. Good beliefs lie on the line. Ring: old numbers; filled: new ones.</p>"  # noqa: E501
    cells = [[escape(cell) for cell in row] for row in rows]
    return table(("score", "old", "new"), cells) + words + calibration_picture(tuned.old_score, tuned.new_score)


def calibration_picture(old: Score, new: Score) -> str:
    """Belief against truth, old and new, as SVG; bands with fewer than 10 beliefs are left out."""
    dots = []
    for score, look in ((old, 'fill="none" stroke="#111" stroke-width="2"'), (new, 'fill="#0b5c8a"')):
        for belief, truth, count in score.calibration:
            if count >= 10:
                x, y = 40.0 + belief * (PLOT - 60.0), PLOT - 40.0 - truth * (PLOT - 60.0)
                dots.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" {look}/>')
    low, high, end = 40.0, PLOT - 20.0, PLOT - 40.0
    axes = (
        f'<path d="M{low} {end}L{high} 20" stroke="#888"/><path d="M{low} 20V{end}H{high}" fill="none" stroke="#111"/>'
    )
    marks = "".join(
        f'<text x="{low + s * (PLOT - 60.0):.0f}" y="{end + 16:.0f}" text-anchor="middle">{s:g}</text>'
        f'<text x="{low - 6:.0f}" y="{end - s * (PLOT - 60.0) + 4:.0f}" text-anchor="end">{s:g}</text>'
        for s in (0.0, 0.5, 1.0)
    )
    words = f'<text x="{PLOT / 2:.0f}" y="{PLOT - 6:.0f}" text-anchor="middle">believed</text>'
    return (
        f'<svg role="img" aria-label="believed against true, before and after" viewBox="0 0 {PLOT:g} {PLOT:g}" '
        f'width="{PLOT:g}" height="{PLOT:g}" font-size="11">{axes}{marks}{words}{"".join(dots)}</svg>'
    )


def _changes(shown: Sequence[Change], catalogue: Catalogue) -> str:
    rows = []
    for change in shown:
        interval = f"{value_words(change.low, change.unit)} to {value_words(change.high, change.unit)}"
        old, new = value_words(change.old, change.unit), value_words(change.new, change.unit)
        words = [change_words(change, catalogue), old, new, interval, f"{change.effective_cases:.0f}"]
        rows.append([*map(escape, words), change_picture(change)])
    return table(("number", "old", "new", "95 % interval", "cases behind it", "old (ring) to new (dot)"), rows)


def change_picture(change: Change) -> str:
    """A number before and after, with its interval, on its own scale, as SVG."""
    ends = (change.old, change.new, change.low, change.high)
    low = min(ends)
    width = max(ends) - low or 1.0
    old, new, left, right = (8.0 + 144.0 * (value - low) / width for value in ends)
    return (
        f'<svg role="img" aria-label="old to new" viewBox="0 0 160 15">'
        f'<path d="M{left:.1f} 7.5H{right:.1f}" stroke="#0b5c8a" stroke-width="3"/>'
        f'<circle cx="{new:.1f}" cy="7.5" r="4" fill="#0b5c8a"/>'
        f'<circle cx="{old:.1f}" cy="7.5" r="5" fill="none" stroke="#111" stroke-width="1.5"/></svg>'
    )
