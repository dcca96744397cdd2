"""The course of belief: entries from left to right, the leading causes as areas above each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

from faultnet.case.types import Case
from faultnet.diagnosis.diagnose import MAX_FAULTS, Worked, nothing_wrong, still_there, weights_by_now, work_through
from faultnet.diagnosis.wording import share_words
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.markup import escape

Key = tuple[str, str]
NO_FAULT: Key = ("", "")
WIDTH, HEIGHT, LEFT, TOP, BOTTOM = 640.0, 260.0, 8.0, 8.0, 30.0
SHOWN = 4
LETTERS = "ABCD"
FILLS = (("#4f9ba0", "#2c6f72"), ("#d9a653", "#8a6116"), ("#a98bbd", "#664a78"), ("#9bb86a", "#5a7530"))
INKS = (("#16201e", "#dfe4e0"), ("#eef1ee", "#2c3733"))
MOST_NUMBERS = 20


def course_of_belief(case: Case, catalogue: Catalogue, *, max_faults: int = MAX_FAULTS) -> tuple[dict[Key, float], ...]:
    """How likely each cause is before any entry and after each.

    Parameters
    ----------
    case : Case
    catalogue : Catalogue
    max_faults : int
        Largest number of faults at once.

    Returns
    -------
    tuple of dict of (component, mode) to probability
        One more than there are entries; the key ``("", "")`` is that no part is at fault.

    Raises
    ------
    EntryError, ClashError
        As :func:`faultnet.diagnosis.diagnose.work_through`.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Reading, Visit
    >>> from faultnet.prior_set import load_catalogue
    >>> case = Case(Car(Battery(600.0)), (Visit((Reading("rest_voltage", value=10.45),)),))
    >>> before, after = course_of_belief(case, load_catalogue())
    >>> after["battery", "shorted_cell"] > before["battery", "shorted_cell"]
    True
    """
    count = sum(len(visit.entries) for visit in case.visits)
    return tuple(belief_of(work_through(until(case, k), catalogue, max_faults=max_faults)) for k in range(count + 1))


def belief_of(worked: Worked) -> dict[Key, float]:
    """How likely each cause is in a case that was worked through, and that no part is at fault."""
    return _by_cause(worked, worked.belief.marginals(), nothing_wrong(worked))


def at_fault_now(worked: Worked) -> dict[Key, float]:
    """How likely each cause is by now, after the repairs of the case, and that no part is at fault by now.

    Parameters
    ----------
    worked : Worked

    Returns
    -------
    dict of (component, mode) to probability
        The key ``("", "")`` is that no part is at fault.

    Examples
    --------
    >>> from faultnet.case.types import Act, Battery, Car, Reading, Visit
    >>> from faultnet.prior_set import load_catalogue
    >>> catalogue = load_catalogue()
    >>> entries = (Reading("rest_voltage", value=10.45), Act("replace", component="battery", outcome="cured"))
    >>> worked = work_through(Case(Car(Battery(600.0)), (Visit(entries),)), catalogue)
    >>> at_fault_now(worked)["battery", "shorted_cell"] < belief_of(worked)["battery", "shorted_cell"]
    True
    """
    return _by_cause(worked, still_there(worked), _sound_now(worked))


def _by_cause(worked: Worked, marginals: Mapping[str, Array], no_fault: float) -> dict[Key, float]:
    nodes = worked.models[0].compiled.network.nodes
    found = {
        (name, state): float(p)
        for name, chances in marginals.items()
        for state, p in list(zip(nodes[name].states, chances, strict=False))[1:]
    }
    return {**found, NO_FAULT: no_fault}


def _sound_now(worked: Worked) -> float:
    """Probability that no mode but the sound ones is left, over all ways the repairs may have gone."""
    weight, modes = weights_by_now(worked)
    return float(weight[~modes.any(axis=1)].sum())


def until(case: Case, count: int) -> Case:
    """The case as it stood after its first `count` entries: later entries and later visits are left out."""
    visits, left = [], count
    for visit in case.visits:
        taken = visit.entries[:left]
        visits.append(replace(visit, entries=taken))
        left -= len(taken)
        if left <= 0:
            break
    return replace(case, visits=tuple(visits))


def leading_shares(beliefs: Sequence[Mapping[Key, float]]) -> tuple[tuple[Key, ...], tuple[tuple[float, ...], ...]]:
    """The causes that lead at the end, and their shares after each entry, together at most one.

    Parameters
    ----------
    beliefs : sequence of mapping

    Returns
    -------
    keys : tuple of (component, mode)
        Likeliest first.
    rows : tuple of tuple of float
        One for each belief [-].

    Notes
    -----
    Several faults may hold at once, so that probabilities may add up to more than one; then all are scaled down to
    fit, and the heights compare causes within an entry only.

    Examples
    --------
    >>> leading_shares([{("battery", "worn"): 0.2}, {("battery", "worn"): 0.9}])[1]
    ((0.2,), (0.9,))
    """
    keys = tuple(sorted(beliefs[-1], key=lambda k: -beliefs[-1][k])[:SHOWN])
    rows = []
    for found in beliefs:
        whole = max(sum(found.values()), 1.0)
        rows.append(tuple(found[k] / whole for k in keys))
    return keys, tuple(rows)


def cause_words(key: Key, catalogue: Catalogue) -> str:
    """A cause in words."""
    if key == NO_FAULT:
        return "No part at fault"
    component = catalogue.component(key[0])
    return f"{component.label}: {next(m.label for m in component.modes if m.id == key[1])}"


def draw_course(beliefs: Sequence[Mapping[Key, float]], *, paper: Literal["light", "dark"] = "light") -> str:
    """The picture as SVG; each area carries its letter, the line below counts the entries.

    Parameters
    ----------
    beliefs : sequence of mapping
        Of :func:`course_of_belief`.
    paper : {"light", "dark"}

    Examples
    --------
    >>> draw_course([{("battery", "worn"): 0.2}, {("battery", "worn"): 0.9}]).count("polygon")
    1
    """
    night = int(paper == "dark")
    ink, ghost = INKS[night]
    _, rows = leading_shares(beliefs)
    step = (WIDTH - 2 * LEFT) / max(len(rows) - 1, 1)
    xs = [LEFT + step * k for k in range(len(rows))]
    base = [0.0] * len(rows)
    parts = [f'<rect x="{LEFT}" y="{TOP}" width="{WIDTH - 2 * LEFT}" height="{HEIGHT - TOP - BOTTOM}" fill="{ghost}"/>']
    for i in range(len(rows[0])):
        top = [b + row[i] for b, row in zip(base, rows, strict=True)]
        parts += [_area(xs, base, top, FILLS[i][night], ink), _letter(xs, base, top, LETTERS[i], ink)]
        base = top
    parts += _numbers(xs, ink)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" '
        f'aria-label="Shares of the leading causes after each entry" font-family="sans-serif">{"".join(parts)}</svg>'
    )


def course_with_legend(beliefs: Sequence[Mapping[Key, float]], catalogue: Catalogue) -> str:
    """The picture with what its letters mean below it, as HTML; nothing where there is only one belief.

    Parameters
    ----------
    beliefs : sequence of mapping
        Of :func:`course_of_belief`.
    catalogue : Catalogue
    """
    if len(beliefs) < 2:
        return ""
    lines = (
        f"<li><b>{LETTERS[i]}</b> {escape(cause_words(key, catalogue))}: {escape(share_words(beliefs[-1][key]))}</li>"
        for i, key in enumerate(leading_shares(beliefs)[0])
    )
    return f'{draw_course(beliefs)}<ul class="legend">{"".join(lines)}</ul>'


def _y(share: float) -> float:
    return HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)


def _area(xs: Sequence[float], low: Sequence[float], high: Sequence[float], fill: str, ink: str) -> str:
    there = [f"{x:.1f},{_y(v):.1f}" for x, v in zip(xs, high, strict=True)]
    back = [f"{x:.1f},{_y(v):.1f}" for x, v in zip(reversed(xs), reversed(low), strict=True)]
    return f'<polygon points="{" ".join([*there, *back])}" fill="{fill}" stroke="{ink}" stroke-width="1"/>'


def _letter(xs: Sequence[float], low: Sequence[float], high: Sequence[float], letter: str, ink: str) -> str:
    """The letter where the area is thickest, if it is thick enough to carry one."""
    thick = [h - b for b, h in zip(low, high, strict=True)]
    k = max(range(len(thick)), key=thick.__getitem__)
    if thick[k] * (HEIGHT - TOP - BOTTOM) < 20:
        return ""
    x = min(max(xs[k], LEFT + 14), WIDTH - LEFT - 14)
    return (
        f'<text x="{x:.1f}" y="{_y((low[k] + high[k]) / 2) + 7:.1f}" fill="{ink}" font-size="20" font-weight="700" '
        f'text-anchor="middle">{letter}</text>'
    )


def _numbers(xs: Sequence[float], ink: str) -> list[str]:
    every = 1 + (len(xs) - 1) // MOST_NUMBERS
    found = []
    for k, x in enumerate(xs):
        found.append(f'<path d="M{x:.1f} {TOP}V{HEIGHT - BOTTOM + 5}" stroke="{ink}" stroke-opacity=".25"/>')
        if k and k % every == 0:
            at = min(x, WIDTH - LEFT - 6)
            found.append(
                f'<text x="{at:.1f}" y="{HEIGHT - 6}" fill="{ink}" font-size="20" text-anchor="middle">{k}</text>'
            )
    return found
