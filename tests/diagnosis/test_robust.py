"""Whether verdicts hold when numbers are off: against the same case by a prior set with those numbers changed."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from faultnet.case.demo import load_case
from faultnet.case.types import Battery, Car, Case, Reading, Visit
from faultnet.diagnosis.diagnose import Worked, work_through
from faultnet.diagnosis.doubted_tables import doubted_answers
from faultnet.diagnosis.robust import (
    Claim,
    Off,
    Turn,
    cause_claim,
    doubt_of,
    off_by,
    rates_of,
)
from faultnet.learning.result import Change
from faultnet.learning.versions.write import _origin
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue

CATALOGUE = load_catalogue()
CAUSES = [(c.id, m.id) for c in CATALOGUE.components for m in c.modes[1:]]
FAULTS = 2  # all pairs are kept whatever their rates, so that both roads have the same hypotheses


COMES_AND_GOES = Case(
    Car(Battery(600.0, age=5.0)),
    (
        Visit(
            (
                Reading("when_it_fails", state="at_random"),
                Reading("rest_voltage", value=12.6),
                Reading("jumper_ground", state="turns_better"),
            )
        ),
    ),
)


def case_named(name: str) -> Case:
    return COMES_AND_GOES if name == "comes_and_goes" else load_case(f"demo:{name}")


@lru_cache(maxsize=4)
def worked(name: str) -> Worked:
    return work_through(case_named(name), CATALOGUE, max_faults=FAULTS)


def less_last_entry(name: str) -> Case:
    """A demo case before its last entry."""
    case = load_case(f"demo:{name}")
    before = replace(case.visits[-1], entries=case.visits[-1].entries[:-1])
    return replace(case, visits=(*case.visits[:-1], before))


def with_rates(factors: dict[tuple[str, str], float]) -> Catalogue:
    """The shipped set with the odds of some faults beside a sound part multiplied."""
    rates = dict(CATALOGUE.base_rates)
    for component in {c for c, _ in factors}:
        modes = [m.id for m in CATALOGUE.component(component).modes[1:]]
        groups = rates[component, modes[0]].keys()
        more = {
            g: sum(rates[component, m][g].value * (factors.get((component, m), 1.0) - 1.0) for m in modes)
            for g in groups
        }
        for m in modes:
            rates[component, m] = {
                g: replace(row, value=row.value * factors.get((component, m), 1.0), of=row.of + more[g])
                for g, row in rates[component, m].items()
            }
    return replace(CATALOGUE, base_rates=rates, fingerprint=f"{CATALOGUE.fingerprint} {sorted(factors.items())}")


def with_chance(test: str, choice: str, cause: tuple[str, str], chance: float) -> Catalogue:
    """The shipped set with one chance of a symptom table changed, the rest of its row in proportion."""
    table = CATALOGUE.symptoms[test]
    place = [c for c, _ in CATALOGUE.test(test).choices].index(choice)
    row = np.array(table.rows.get(cause, table.otherwise))
    rest = row.sum() - row[place]
    row[place] = rest * chance / (1.0 - chance)
    new = (
        replace(table, otherwise=tuple(row))
        if cause == ("", "")
        else replace(table, rows={**table.rows, cause: tuple(row)})
    )
    return replace(
        CATALOGUE,
        symptoms={**CATALOGUE.symptoms, test: new},
        fingerprint=f"{CATALOGUE.fingerprint} {test} {cause} {chance}",
    )


def test_a_rate_that_is_off_weighs_as_in_a_set_that_has_it_so() -> None:
    off = {
        ("ground_path", "high_resistance"): 1 / 3,
        ("ground_path", "breaks_contact"): 3.0,
        ("engine_running", "no_fire"): 2.0,
    }
    here = worked("ground_high_resistance")
    doubt = doubt_of(here, here.belief.posterior, np.arange(len(here.space)), sliver=0.0)
    weights = doubt.doubtful.at(np.array([off.get((r.component, r.mode), 1.0) for r in doubt.rates]))
    there = work_through(load_case("demo:ground_high_resistance"), with_rates(off), max_faults=FAULTS)
    assert len(doubt.chosen) == len(there.space)
    assert float(np.abs(weights - here.belief.posterior).sum()) > 0.5
    # A base rate has a leak of 1e-7 beside it, of which nothing is multiplied: a hundred-thousandth of a rate of 1 %.
    assert weights / weights.sum() == pytest.approx(there.belief.posterior, abs=1e-5)


def test_what_is_left_out_changes_no_odds_to_speak_of() -> None:
    here = worked("key_off_drain")
    every = np.arange(len(here.space))
    few, all_rows = (doubt_of(here, here.belief.posterior, every, sliver=s) for s in (1e-2, 0.0))
    assert len(few.chosen) < len(all_rows.chosen) / 3
    rng = np.random.default_rng(3)
    wide = all_rows.doubtful.off_by
    for _ in range(20):
        factors = wide ** rng.choice([-1.0, 1.0], len(wide))
        whole, some = all_rows.doubtful.at(factors), few.doubtful.at(factors)
        assert float(some.sum()) == pytest.approx(float(whole.sum()), rel=1e-2)


def test_the_cause_that_a_turn_names_leads_in_a_set_that_is_so_off() -> None:
    """Of the loose clamp, before it was felt to move: one rate off turns nothing, several do."""
    case = less_last_entry("intermittent_no_start")
    claim = cause_claim(work_through(case, CATALOGUE, max_faults=FAULTS))
    assert (claim.said, claim.holds, claim.holds_alone) == ("negative_joint:slack", False, True)
    turn = claim.turns[0]
    assert len(turn.off) > 1
    off = {(o.component, o.mode): o.factor for o in turn.off}
    there = work_through(case, with_rates(off), max_faults=FAULTS)
    chances = {
        f"{component}:{m.id}": chance
        for component, own in there.belief.marginals().items()
        for m, chance in zip(CATALOGUE.component(component).modes[1:], own[1:], strict=True)
    }
    assert turn.leads_to == max(chances, key=lambda mode: chances[mode]) != claim.said


def test_a_cause_that_holds_leads_at_every_rate_drawn() -> None:
    here = worked("shorted_cell")
    claim = cause_claim(here)
    assert (claim.said, claim.holds) == ("battery:shorted_cell", True)
    doubt = doubt_of(here, here.belief.posterior, np.arange(len(here.space)), sliver=0.0)
    rng = np.random.default_rng(5)
    wide, names = doubt.doubtful.off_by, [f"{r.component}:{r.mode}" for r in doubt.rates]
    for _ in range(100):
        weights = doubt.doubtful.at(wide ** rng.choice([-1.0, 1.0], len(wide)))
        held = [float(weights[rows].sum()) for rows in doubt.doubtful.rows]
        assert names[int(np.argmax(held))] == claim.said


@pytest.mark.parametrize(
    "name, test, cause",
    [
        ("key_off_drain", "battery_replaced_lately", ("drain", "heavy")),
        ("comes_and_goes", "when_it_fails", ("", "")),
        ("comes_and_goes", "jumper_ground", ("ground_path", "breaks_contact")),
    ],
)
def test_a_number_of_a_symptom_table_weighs_as_in_a_set_that_has_it_so(
    name: str, test: str, cause: tuple[str, str]
) -> None:
    here = worked(name)
    doubted = [d for d in doubted_answers(here, CAUSES) if (d.test, d.cause) == (test, cause)]
    assert len(doubted) == 2
    for d in doubted:
        odds, now = (x / (1.0 - x) for x in (d.end, d.chance))
        assert max(odds / now, now / odds) == pytest.approx(2.0)
    there = work_through(
        case_named(name), with_chance(test, doubted[0].choice, cause, doubted[0].end), max_faults=FAULTS
    )
    weights = here.belief.posterior * doubted[0].ratio
    moved = float(np.abs(there.belief.posterior - here.belief.posterior).sum())
    assert moved > 0.002
    assert float(np.abs(weights / weights.sum() - there.belief.posterior).sum()) < 0.02 * moved


def test_what_is_no_estimate_is_not_doubted() -> None:
    for d in doubted_answers(worked("key_off_drain"), CAUSES):
        name = ":".join(d.cause) if d.cause[0] else "otherwise"
        assert CATALOGUE.symptoms[d.test].sources[name][1] == "estimate"


def test_a_published_rate_is_doubted_less() -> None:
    row = CATALOGUE.base_rate("belt", "slips", None, "temperate")
    assert (off_by(row, CATALOGUE), off_by(replace(row, mark="published"), CATALOGUE)) == (3.0, 1.5)
    tuned = replace(row, source="tuned on 9 cases, sha256 0", note="was 0.009, now 0.01 (0.0001 to 0.5); none")
    assert off_by(tuned, CATALOGUE) == 3.0  # an interval that is wider narrows nothing


def test_the_interval_that_tuning_writes_down_is_the_one_that_is_read() -> None:
    row = CATALOGUE.base_rate("belt", "slips", None, "temperate")
    change = Change("base_rates", ("belt", "slips", "all"), 0.009, 0.02, 0.0125, 0.03, 80.0, "-")
    written = _origin("base_rates", [change], {"source": row.source, "note": row.note}, "tuned on 80 cases, sha256 0")
    tuned = replace(row, source=written["source"], note=written["note"])
    assert off_by(tuned, CATALOGUE) == pytest.approx(0.02 / 0.0125)


def test_every_fault_and_the_sound_car_have_a_rate() -> None:
    rates = rates_of(CATALOGUE, 5.0, "temperate")
    assert [(r.component, r.mode) for r in rates] == [*CAUSES, ("", "")]
    assert all(r.count == CATALOGUE.rate(r.component, r.mode, 5.0, "temperate")[0] for r in rates[:-1])


def test_one_number_alone_and_several() -> None:
    one, other = Off("belt", "slips", 2.0, 9.0, 1000.0), Off("belt", "lost", 2.0, 2.0, 1000.0)
    assert Claim("cause", "nothing").holds
    assert not Claim("cause", "nothing", (Turn((one,), "belt:slips"),)).holds_alone
    assert Claim("cause", "nothing", (Turn((one, other), "belt:slips"),)).holds_alone
