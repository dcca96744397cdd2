"""A diagnosis as text for people: verdict, causes, reasons, next tests, cautions."""

from __future__ import annotations

from collections.abc import Iterator

from faultnet.case.types import Case
from faultnet.cli.answers import depends_on
from faultnet.cli.layout import bar, counted, joined, percent, section, wrapped
from faultnet.decision import Advice, Costs, Decision
from faultnet.decision.plan import Knot, Leaf, plan_text
from faultnet.decision.tools import ToolWorth
from faultnet.diagnosis.result import Diagnosis, NextTest, Reason, Seen
from faultnet.diagnosis.wording import minutes_words, money_words, range_words, worth_words
from faultnet.prior_set import Catalogue
from faultnet.report.words import LEAST_SHARE, LEAST_WEIGHT, rating_words

SHOWN_TESTS = 3
SHOWN_CAUSES = 6
LONG_WAIT = 3600.0  # [s]


def advice_sheet(advice: Advice, case: Case, catalogue: Catalogue, *, why: bool = False, tools: str = "") -> str:
    """Write advice as text of at most 80 columns.

    Parameters
    ----------
    advice : Advice
    case : Case
        It was made from.
    catalogue : Catalogue
    why : bool
        Whether to show what each reading did, and what a sound example of the car reads.
    tools : str
        Which tools were counted on, in a line.

    Returns
    -------
    str
    """
    found = advice.diagnosis
    tests, currency = found.next_tests[: 1 if advice.decision.stop else SHOWN_TESTS], advice.decision.currency
    tested = [_next_test(k, test, catalogue, currency, why=why) for k, test in enumerate(tests, 1)]
    return joined(
        (
            _head(case),
            wrapped(_care(catalogue.general_cautions, catalogue), ""),
            section("Verdict", [wrapped(found.summary)]),
            section("What to do", _decision(advice.decision, catalogue)),
            section("Likely causes (several may hold at once)", _causes(found, catalogue)),
            section("Measure again", [wrapped(clash) for clash in found.clashes]),
            *(_reasons(found) if why else ()),
            section("Readings beside a sound example of this car", _readings(found.seen)) if why else "",
            section("What it depends on", [wrapped(s) for s in depends_on(advice, catalogue)]) if why else "",
            section("Next tests, best first", tested),
            wrapped(tools, "") if tools else "",
            wrapped(
                f"Up to {counted(found.max_faults, 'fault')} at once; combinations of more were left out, "
                f"{100.0 * found.dropped_prior_mass:.2g} % of the prior.",
                "",
            ),
        )
    )


def _decision(decision: Decision, catalogue: Catalogue) -> Iterator[str]:
    """What must not be done; then the repair where one is well founded, with its proof; then the test that is left."""
    for words in decision.not_now:
        yield wrapped(words)
    named = f"{decision.label} ({_what_it_takes(decision)})."
    first = named[:1].upper() + named[1:]
    if decision.leads:
        yield wrapped(first)
        if decision.proof:
            yield wrapped(f"Proof afterwards: {decision.proof}.")
        if decision.act:
            yield wrapped(_care(catalogue.act(decision.act).cautions_for(decision.repair), catalogue))
        yield wrapped("Stop testing. " * decision.stop + decision.because)
    elif decision.stop:
        yield wrapped(f"Stop testing. {decision.because}")
        if decision.hardly:
            yield wrapped(f"Hardly the whole cure; to try first, as it takes little: {named}")
        else:
            yield wrapped(f"Not well founded, but the first to try: {named}" if decision.repair else first)
    else:
        yield wrapped(f"Go on testing. {decision.because}")
        if decision.founded:
            yield wrapped(f"Without it: {named}")
        elif decision.currency:
            money = money_words(decision.expected_cost, decision.currency)
            yield wrapped(f"Repairing now, without that, is to be expected to cost {money}.")
    for words in (decision.would_need, decision.cannot_tell):
        if words:
            yield wrapped(words)


def _what_it_takes(decision: Decision) -> str:
    """The chances that it is needed and the whole cure, its minutes, and its cost where the money is known."""
    cure = "this is the whole cure" if decision.repair else "no part is at fault any more"
    said = [f"chance that it is needed {decision.chance_needed:.0%}"] if decision.by_need else []
    said.append(f"chance that {cure} {decision.chance_of_cure:.0%}")
    if decision.minutes:
        said.append(f"{minutes_words(decision.minutes)} of work")
    if decision.currency:
        said.append(f"cost to expect {money_words(decision.expected_cost, decision.currency)}")
    return "; ".join(said)


def plan_sheet(plan: Knot | Leaf, case: Case, catalogue: Catalogue) -> str:
    """Write a pocket plan with the car it is for and the cautions that stand on every sheet."""
    care = wrapped(_care(catalogue.general_cautions, catalogue), "")
    return joined((_head(case), care, section("Plan", [plan_text(plan)])))


def tools_sheet(found: tuple[ToolWorth, ...], costs: Costs) -> str:
    """Write the worth of tools, a line each: in money where it is known which, else in minutes of work."""

    def saved(worth: ToolWorth) -> str:
        minutes = minutes_words(worth.saving / max(costs.money(1.0), 1e-9))
        return money_words(worth.saving, costs.currency) or f"as much as {minutes} of work"

    lines = [
        wrapped(
            f"{worth.tool}: " + (f"saves {saved(worth)}; " if worth.saving else "") + f"opens {len(worth.tests)} tests"
        )
        for worth in found
    ]
    return section("Tools that are not at hand", lines or ["  Every tool is at hand."])


def _head(case: Case) -> str:
    car, battery = case.car, case.car.battery
    entries = sum(len(visit.entries) for visit in case.visits)
    described = (
        f"{car.label or 'A car'}: {car.fuel}, {car.displacement:g} l, "
        f"battery {rating_words(battery.rating, battery.standard)}. "
        f"{counted(len(case.visits), 'visit')}, {counted(entries, 'entry')}."
    )
    title = (case.name or "A case without a name") + (" (invented)" if case.invented else "")
    return "\n".join(wrapped(text, "") for text in (title, case.complaint, described) if text)


def _causes(found: Diagnosis, catalogue: Catalogue) -> Iterator[str]:
    shown = [cause for cause in found.causes if cause.probability >= LEAST_SHARE][:SHOWN_CAUSES]
    for k, cause in enumerate(shown or found.causes[:1]):
        repair = f"; repair: {catalogue.act(cause.repair).label.lower()}" if k == 0 and cause.repair else ""
        yield wrapped(f"{cause.label}{repair}", f"  {percent(cause.probability)}  {bar(cause.probability)}  ")
    yield wrapped("no part is at fault", f"  {percent(found.nothing_wrong)}  {bar(found.nothing_wrong)}  ")


def _reasons(found: Diagnosis) -> Iterator[str]:
    labels = {f"{cause.component}:{cause.mode}": cause.label for cause in found.causes}
    for name, reasons in found.reasons.items():
        lines = [_reason(reason) for reason in reasons if abs(reason.weight) >= LEAST_WEIGHT]
        yield section(f"Why {labels[name]}", lines or ["  No single reading moved it by much."])


def _reason(reason: Reason) -> str:
    """Say by how much one entry moved the odds of a cause.

    Examples
    --------
    >>> print(_reason(Reason(0, 2, "Open-circuit (rest) voltage at the posts: 10.52 V", 12.0)))
      odds x 16    Open-circuit (rest) voltage at the posts: 10.52 V (visit 1)
    """
    times = 10.0 ** (abs(reason.weight) / 10.0)
    factor = f"{'x' if reason.weight > 0 else '/'} {times:.0f}" if times >= 9.5 else _small(reason.weight, times)
    return wrapped(f"{reason.said} (visit {reason.visit + 1})", f"  odds {factor:<8}")


def _small(weight: float, times: float) -> str:
    return f"{'x' if weight > 0 else '/'} {times:.1f}"


def _readings(seen: tuple[Seen, ...]) -> Iterator[str]:
    for reading in seen:
        text = f"{reading.said} (visit {reading.visit + 1})"
        if reading.sound_range is not None and reading.value is not None:
            low, high = reading.sound_range
            place = "within" if low <= reading.value <= high else "below" if reading.value < low else "above"
            yield wrapped(f"{text}; {place} {range_words(low, high, reading.unit)}", "  ", "    ")


def _next_test(number: int, test: NextTest, catalogue: Catalogue, currency: str, *, why: bool) -> str:
    told = f"; {test.bits:.2f} bit" if why else ""
    lines = [wrapped(f"{test.label} ({worth_words(test, currency)}{told})", f"  {number}. ")]
    if test.prepare:
        lines.append(wrapped("First: " + " ".join(test.prepare), "     "))
    if test.waits >= LONG_WAIT:
        lines.append(wrapped(f"Takes {test.waits / 3600.0:.0f} h of waiting besides.", "     "))
    if test.together:
        names = ", ".join(catalogue.test(other).label for other in test.together)
        lines.append(wrapped(f"In the same go, as the same preparation serves them: {names}.", "     "))
    if test.sound_range is not None:
        sound = range_words(*test.sound_range, test.unit)
        lines.append(wrapped(f"A sound example of this car reads {sound} today.", "     "))
    lines.append(wrapped(test.because, "     "))
    cautions = catalogue.test(test.test).cautions
    if cautions:
        lines.append(wrapped(_care(cautions, catalogue), "     "))
    if number == 1:
        lines += [wrapped(step, "     - ") for step in test.steps]
    return "\n".join(lines)


def _care(cautions: tuple[str, ...], catalogue: Catalogue) -> str:
    """Every caution of a test or an act in few words, the worst first; nothing where there is none."""
    return f"Take care: {' '.join(catalogue.short_cautions(cautions))}" if cautions else ""


def validation_sheet(case: Case) -> str:
    """Say in a line that a case is accepted.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> validation_sheet(Case(Car(Battery(600.0)), name="Slow start"))
    'Slow start: accepted, 1 visit, 0 entries'
    """
    entries = sum(len(visit.entries) for visit in case.visits)
    name = case.name or "The case"
    return f"{name}: accepted, {counted(len(case.visits), 'visit')}, {counted(entries, 'entry')}"
