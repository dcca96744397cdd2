"""A case goes in; causes, reasons, clashes and next tests come out."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from faultnet.case.types import Act, Case, Reading, Visit
from faultnet.diagnosis.acts import check_act
from faultnet.diagnosis.complaint import SHOWS_LATER, only_what_was_seen
from faultnet.diagnosis.course import Course, course
from faultnet.diagnosis.evidence import check_reading, evidence_of, instrument_of
from faultnet.diagnosis.leading import ACTIVE_MASS, MOST_ACTIVE, Leading
from faultnet.diagnosis.leaving_out import Without, without_each
from faultnet.diagnosis.models import UNCOUNTED, Model, model_for
from faultnet.diagnosis.needs import ASKED, without_replaced, without_told_twice
from faultnet.diagnosis.ranking import Ranked, rank
from faultnet.diagnosis.result import Cause, Diagnosis, NextTest, Reason, Seen
from faultnet.diagnosis.shown import shown
from faultnet.diagnosis.slips import chance_of_slip, is_kept
from faultnet.diagnosis.sound import sound_range_with
from faultnet.diagnosis.wording import entry_words, share_words
from faultnet.errors import ClashError
from faultnet.inference.hypotheses import Hypotheses, IndexArray
from faultnet.inference.posterior import Belief, updated
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

MAX_FAULTS = 4
EXPLAINED_CAUSES = 3
LEAST_ODDS = 1e-12
ODD_MASS = 0.9
ODD_MOST = 50
STANDARD = "standard"
KEPT_AS_RIGHT = "kept as right"


@dataclass(frozen=True, eq=False)
class Worked:
    """A case worked through, for those who need more than the diagnosis; `told` is its last visit as it was entered."""

    case: Case
    catalogue: Catalogue
    models: tuple[Model, ...]
    space: Hypotheses
    belief: Belief
    course: Course
    told: Visit = field(default_factory=Visit, repr=False)

    @cached_property
    def left_out(self) -> Without:
        """The case without each of its entries."""
        return without_each(self.models, self.case.visits, self.catalogue, self.space, self.belief)


def work_through(case: Case, catalogue: Catalogue, *, max_faults: int = MAX_FAULTS) -> Worked:
    """Check a case's entries against the catalogue and work out the belief after all of them.

    Parameters
    ----------
    case : Case
    catalogue : Catalogue
    max_faults : int
        Largest number of faults at once.

    Raises
    ------
    EntryError
        If an entry makes no sense to the catalogue.
    ClashError
        If no hypothesis explains the entries at all.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Case, Reading, Visit
    >>> from faultnet.prior_set import load_catalogue
    >>> visit = Visit((Reading("rest_voltage", value=10.45), Reading("crank_minimum", value=7.1)))
    >>> worked = work_through(Case(Car(Battery(600.0)), (visit,)), load_catalogue())
    >>> first = diagnosis_of(worked, ranked(worked, None)[0]).causes[0]
    >>> first.component, first.mode
    ('battery', 'shorted_cell')
    """
    check_case(case, catalogue)
    case = case if case.visits else replace(case, visits=(Visit(),))
    told = case.visits[-1]
    case = as_counted(case, catalogue)
    models = tuple(model_for(case.car, v.conditions, catalogue, max_faults) for v in case.visits)
    space = models[0].space
    whole = course(models, case.visits, catalogue, space)
    belief = updated(space, whole.log_likelihood)
    if belief is None:
        raise _clash(models, case, catalogue, space)
    return Worked(case, catalogue, models, space, belief, whole, told)


def as_counted(case: Case, catalogue: Catalogue) -> Case:
    """A case with what is not counted taken out of it.

    Parameters
    ----------
    case : Case
    catalogue : Catalogue

    Returns
    -------
    Case
        With an answer that was given anew at a visit, and one that follows from another, as skipped; what was said
        after an act stands only where it could be seen.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Reading
    >>> from faultnet.prior_set import load_catalogue
    >>> said = tuple(Reading("flat_how_often", state=state) for state in ("once", "never"))
    >>> case = Case(Car(Battery(600.0, "EN"), "petrol", 1.6, 4, 90.0), (Visit(said),))
    >>> [e.state for e in as_counted(case, load_catalogue()).visits[0].entries]
    [None, 'never']
    """
    return replace(case, visits=tuple(_visit_as_counted(v, catalogue) for v in case.visits))


def _visit_as_counted(visit: Visit, catalogue: Catalogue) -> Visit:
    asked_once = without_told_twice(without_replaced(visit, catalogue), catalogue)
    return only_what_was_seen(asked_once, catalogue)


def check_case(case: Case, catalogue: Catalogue) -> None:
    """Hold every entry of a case against the catalogue.

    Raises
    ------
    EntryError
        For the first entry that makes no sense.
    """
    for v, visit in enumerate(case.visits):
        for k, entry in enumerate(visit.entries):
            where = f"visit {v + 1}, entry {k + 1}"
            if isinstance(entry, Reading):
                check_reading(catalogue, entry, where)
            else:
                check_act(catalogue, entry, where)


def ranked(worked: Worked, tools: Collection[str] | None) -> tuple[tuple[NextTest, ...], Leading]:
    """The tests that can be done next, most telling first, and the leading hypotheses."""
    found = all_ranked(worked, tools)
    return found.tests, found.leading


def all_ranked(worked: Worked, tools: Collection[str] | None) -> Ranked:
    """The same with the tests that lack something, and what must not be done."""
    return rank(worked.case, worked.models[-1], worked.course, worked.belief, worked.catalogue, tools)


def diagnosis_of(worked: Worked, tests: tuple[NextTest, ...]) -> Diagnosis:
    """Put the answer together from a case worked through and its ranked tests."""
    case, catalogue = worked.case, worked.catalogue
    causes = _causes(worked)
    seen = _seen(worked)
    leading = [c for c in causes[:EXPLAINED_CAUSES] if c.probability > catalogue.number("explained_from")]
    left_out = worked.left_out
    asked, clashes = _clashes(worked, seen, left_out)
    counted = [i for i, c in enumerate(worked.space.components) if c not in UNCOUNTED]
    ours = "" if catalogue.name == STANDARD else f" Judged by prior set {catalogue.name} {catalogue.version}."
    return Diagnosis(
        case=case.name,
        causes=causes,
        components=_components(worked),
        next_tests=tests,
        nothing_wrong=nothing_wrong(worked),
        reasons=_reasons(worked, [(c.component, c.mode) for c in leading], left_out),
        seen=seen,
        clashes=clashes,
        summary=_summary(causes, worked) + _not_counted(worked) + ours,
        dropped_prior_mass=worked.space.dropped,
        max_faults=int((worked.space.modes[:, counted] > 0).sum(axis=1).max()),
        cautions=tuple(catalogue.cautions[c] for c in catalogue.general_cautions),
        entries=sum(len(v.entries) for v in case.visits),
        asked=asked,
    )


def _components(worked: Worked) -> dict[str, dict[str, float]]:
    network = worked.models[0].compiled.network
    return {
        name: dict(zip(network.nodes[name].states, (float(p) for p in chances), strict=False))
        for name, chances in worked.belief.marginals().items()
    }


def still_there(worked: Worked) -> dict[str, Array]:
    """Probability of each mode of each component by now, after the repairs of the case."""
    weight, modes = weights_by_now(worked)
    nodes = worked.models[0].compiled.network.nodes
    found = [np.bincount(modes[:, i], weight, nodes[name].card) for i, name in enumerate(worked.space.components)]
    return {name: chances.astype(np.float64) for name, chances in zip(worked.space.components, found, strict=True)}


def weights_by_now(worked: Worked) -> tuple[Array, IndexArray]:
    """Belief in every hypothesis with every way the repairs may have gone, summing to one, and the modes by now."""
    rows = worked.course.present.rows
    with np.errstate(divide="ignore"):
        log = np.log(worked.space.prior)[rows.origin] + worked.course.row_log
    weight = np.exp(log - log.max())
    return weight / weight.sum(), worked.course.present.modes


def nothing_wrong(worked: Worked) -> float:
    """Probability that no component was at fault in this case [-]."""
    return float(worked.belief.posterior[~worked.space.modes.any(axis=1)].sum())


def _causes(worked: Worked) -> tuple[Cause, ...]:
    prior = Belief(worked.space, worked.space.prior / worked.space.prior.sum(), 0.0).marginals()
    now, left = worked.belief.marginals(), still_there(worked)
    found = []
    for component in worked.catalogue.components:
        for m, mode in enumerate(component.modes[1:], start=1):
            found.append(
                Cause(
                    component.id,
                    mode.id,
                    f"{component.label}: {mode.label}",
                    float(now[component.id][m]),
                    float(prior[component.id][m]),
                    float(left[component.id][m]),
                    mode.explanation,
                    mode.shows,
                    mode.repair,
                )
            )
    return tuple(sorted(found, key=lambda c: -c.probability))


def reasons(worked: Worked, causes: list[tuple[str, str]]) -> dict[str, tuple[Reason, ...]]:
    """How far each entry moved some causes, by leaving it out, strongest first.

    Parameters
    ----------
    worked : Worked
    causes : list of (component, mode)

    Returns
    -------
    dict of "component:mode" to tuple of Reason
    """
    return _reasons(worked, causes, worked.left_out)


def _reasons(worked: Worked, causes: list[tuple[str, str]], left_out: Without) -> dict[str, tuple[Reason, ...]]:
    found: dict[str, list[Reason]] = {f"{c}:{m}": [] for c, m in causes}
    chosen, prior = left_out.chosen, np.log(worked.space.prior[left_out.chosen])
    columns = [rows_of(worked, c, m)[chosen] for c, m in causes]
    with_all = [_log_odds(worked.belief.posterior[chosen], rows) for rows in columns]
    for place, log_likelihood in left_out.log_likelihood.items():
        weight = np.exp(prior + log_likelihood - (prior + log_likelihood).max())
        posterior = weight / weight.sum()
        said = entry_words(worked.catalogue, worked.case.visits[place.visit].entries[place.entry])
        for (c, m), rows, odds in zip(causes, columns, with_all, strict=True):
            moved = 10.0 / np.log(10.0) * (odds - _log_odds(posterior, rows))
            found[f"{c}:{m}"].append(Reason(place.visit, place.entry, said, round(float(moved), 1)))
    return {name: tuple(sorted(rs, key=lambda r: -abs(r.weight))) for name, rs in found.items()}


def rows_of(worked: Worked, component: str, mode: str) -> NDArray[np.bool_]:
    """Hypotheses in which a component was in a mode when the car was brought in, shape (hypotheses,)."""
    column = worked.space.components.index(component)
    states = worked.models[0].compiled.network.nodes[component].states
    return np.asarray(worked.space.modes[:, column] == states.index(mode))


def _log_odds(posterior: Array, rows: NDArray[np.bool_]) -> float:
    inside, outside = float(posterior[rows].sum()), float(posterior[~rows].sum())
    return float(np.log(max(inside, LEAST_ODDS)) - np.log(max(outside, LEAST_ODDS)))


def _seen(worked: Worked) -> tuple[Seen, ...]:
    """Every reading of the case beside the range of a sound car, and how odd it is for the leading hypotheses."""
    found: list[Seen] = []
    for v, visit in enumerate(worked.case.visits):
        taken = {k: e for k, e in enumerate(visit.entries) if isinstance(e, Reading) and e.not_measured is None}
        surprises = _surprises(worked, v, taken)
        for k, entry in taken.items():
            test = worked.catalogue.test(entry.test)
            said = entry_words(worked.catalogue, entry)
            shown = entry.value if entry.bound is None else None  # over the limit, no point on the scale was read
            instrument = instrument_of(worked.catalogue, test, entry)
            sound = sound_range_with(worked.models[v], worked.catalogue, test, instrument, entry.interval)
            found.append(Seen(v, k, said, sound, shown, test.unit, surprises[k]))
    return tuple(found)


def _surprises(worked: Worked, v: int, taken: dict[int, Reading]) -> dict[int, float]:
    """How odd readings are under the leading hypotheses, given the modes only [decibans].

    Notes
    -----
    Over the bins of the quantity: -10 log10 of the chance of a bin at most as likely as the one seen.
    """
    model = worked.models[v]
    evidence = {k: evidence_of(model.compiled.network, worked.catalogue, e) for k, e in taken.items()}
    asked = list(dict.fromkeys(e.quantity for e in evidence.values() if e is not None))
    chosen = worked.belief.leading(ODD_MASS, ODD_MOST)
    if v == len(worked.models) - 1:
        chances = shown(model.compiled, asked, chosen)
    else:
        chances = model.shown.get(model.compiled, asked, chosen, worked.belief.leading(ACTIVE_MASS, MOST_ACTIVE))
    weight = worked.belief.posterior[chosen]
    means = {q: weight @ c / weight.sum() for q, c in chances.items()}
    return {k: _decibans_odd(means[e.quantity], e.likelihood) for k, e in evidence.items() if e is not None}


def _decibans_odd(chance: Array, likelihood: Array) -> float:
    """How odd a reading is: the chance of one at least as unlikely, as decibans below certainty; never negative."""
    share = likelihood * np.maximum(chance, LEAST_ODDS)
    seen = float(np.exp((share / share.sum()) @ np.log(np.maximum(chance, LEAST_ODDS))))
    as_odd = float(chance[chance <= seen * 1.0001].sum())
    return round(max(0.0, float(-10.0 * np.log10(max(as_odd, seen, LEAST_ODDS)))), 1)


def _clashes(
    worked: Worked, seen: tuple[Seen, ...], left_out: Without
) -> tuple[tuple[tuple[int, int], ...], tuple[str, ...]]:
    """Where readings are to be asked about; those and the ones that are odd for the likely causes, in words."""
    entries = {(v, k): e for v, visit in enumerate(worked.case.visits) for k, e in enumerate(visit.entries)}
    numbers = {place: e for place, e in entries.items() if isinstance(e, Reading)}
    slip = chance_of_slip(worked.models, numbers, worked.catalogue, worked.belief, left_out)
    again = "Measure again: probes on the posts themselves, the right range, fresh meter battery."
    slips, clashes = (worked.catalogue.number(name) for name in ("slip_from", "clash_from"))
    clashing = [s for s in seen if slip.get((s.visit, s.entry), 0.0) > slips]
    odd = [s for s in seen if s.surprise > clashes and s not in clashing]
    kept = [s for s in clashing if is_kept(numbers[s.visit, s.entry])]
    asked = [s for s in clashing if s not in kept]
    return tuple((s.visit, s.entry) for s in asked), (
        *(f"Is this right? {s.said}: no car is likely to read so with the other entries. {again}" for s in asked),
        *(f"{s.said} does not fit the likely causes. {again}" for s in odd),
        *(f"{s.said} is {KEPT_AS_RIGHT}, though no car is likely to read so with the other entries." for s in kept),
    )


def _summary(causes: tuple[Cause, ...], worked: Worked) -> str:
    """The verdict in a few sentences."""
    first, second = causes[0], causes[1]
    nothing, number = nothing_wrong(worked), worked.catalogue.number
    if first.probability >= number("sure_from"):
        verdict = f"{first.label} explains what was seen ({share_words(first.probability)})."
        if first.still_there > 0.9 * first.probability:
            return verdict
        return f"{verdict} After the repair it is still there with {share_words(first.still_there)}."
    if nothing > max(number("nothing_wrong_from"), first.probability):
        looked = is_looked_at(worked.case, worked.catalogue)
        so_far = "Nothing that was tested looks wrong" if looked else "Nothing is looked at or measured yet"
        return f"{so_far} ({share_words(nothing)} that no part is at fault)."
    leader = f"{first.label} ({share_words(first.probability)})"
    rival, chance = second.label, share_words(second.probability)
    if first.probability >= number("probable_from"):
        return f"Probably {leader}; {rival} is not ruled out ({chance})."
    return f"Not decided yet: {leader} leads {rival} ({chance})."


def _not_counted(worked: Worked) -> str:
    """That what was said last, or of the last act, is not counted, where it is not."""
    pairs = list(zip(worked.told.entries, worked.case.visits[-1].entries, strict=True))
    if pairs and isinstance(said := pairs[-1][0], Reading) and said != pairs[-1][1]:
        return f' What is answered to "{worked.catalogue.test(said.test).label}" was told already, and counts once.'
    acts = [(said, counted) for said, counted in pairs if isinstance(said, Act)]
    if not acts or acts[-1][0] == acts[-1][1]:
        return ""
    if worked.catalogue.act(acts[-1][0].act).effect in SHOWS_LATER:
        return " Whether that was all it took shows when it was charged, used and left to stand."
    return " What is said of the last repair is not counted: nothing was amiss just before it."


def is_looked_at(case: Case, catalogue: Catalogue) -> bool:
    """Whether anything was measured, looked at or done at the car, and the driver not only asked.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Case, Reading, Visit
    >>> from faultnet.prior_set import load_catalogue
    >>> told, seen = Reading("when_it_fails", state="does_not_fail"), Reading("smell", state="none")
    >>> case = Case(Car(Battery(600.0)), (Visit((told,)),))
    >>> is_looked_at(case, load_catalogue())
    False
    >>> is_looked_at(replace(case, visits=(Visit((told, seen)),)), load_catalogue())
    True
    """
    return any(
        not isinstance(entry, Reading) or (entry.not_measured is None and catalogue.test(entry.test).group != ASKED)
        for visit in case.visits
        for entry in visit.entries
    )


def _clash(models: tuple[Model, ...], case: Case, catalogue: Catalogue, space: Hypotheses) -> ClashError:
    """Name the smallest clashing set of entries found by dropping one after the other while the rest still clash."""
    places = [(v, k) for v, visit in enumerate(case.visits) for k in range(len(visit.entries))]
    needed = list(places)
    for place in places:
        fewer = [p for p in needed if p != place]
        visits = tuple(
            replace(visit, entries=tuple(e for k, e in enumerate(visit.entries) if (v, k) in fewer))
            for v, visit in enumerate(case.visits)
        )
        if updated(space, course(models, visits, catalogue, space).log_likelihood) is None:
            needed = fewer
    words = tuple(entry_words(catalogue, case.visits[v].entries[k]) for v, k in needed)
    return ClashError("these entries cannot stand together", entries=words, to_do="measure them again, or remove one")
