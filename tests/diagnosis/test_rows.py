"""Rows that are parted only where a repair has something to mend, against every way the repairs may have gone.

The reference follows single hypotheses through every one of the 2^n ways in which n repairs took or did not, each with
its own list of modes and of readings still open; nothing is put together and nothing is shared between ways.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product

import numpy as np
import pytest

from faultnet.case.types import Act, Entry, Reading, Visit
from faultnet.diagnosis import acts
from faultnet.diagnosis.course import LEAST_SUPPLY, SURE_OF_SUPPLY, Entered, course, nearly_full, supply_of
from faultnet.diagnosis.evidence import evidence_of, module_offset
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.remembered import behind_quantity
from faultnet.diagnosis.rows import Rows
from faultnet.diagnosis.steps import Weights, log_sums, together
from faultnet.inference.configurations import Index
from faultnet.inference.evidence import Evidence
from faultnet.inference.hypotheses import enumerate_hypotheses
from faultnet.inference.visit import VisitModel, compile_visit
from faultnet.model import balance, source
from faultnet.model.network import Array
from tests.inference import demo

EXACT = 1e-9
KEPT = ("battery", "solenoid", "regulator", "drain", "use")
REPAIRS = (
    ("replace", "battery"), ("replace", "solenoid"), ("adjust_regulator", "regulator"), ("remove_drain", "drain"),
    ("long_charge", "battery"),
)  # fmt: skip
READINGS = (
    Reading("rest_voltage", value=12.31), Reading("crank_minimum", value=8.9), Reading("solenoid_drop", value=0.4),
    Reading("charge_unloaded_voltage", value=15.3), Reading("key_off_current", value=0.2),
    Reading("how_it_turns_over", state="slow"), Reading("solenoid_drop", value=0.5),
)  # fmt: skip


@lru_cache(maxsize=1)
def model() -> Model:
    network = demo.reduced(demo.network(), (*KEPT, "unlisted"))
    space = enumerate_hypotheses(network, max_faults=6, brought_in_when_sound=demo.brought_in_when_sound())
    return Model(demo.setting(), space, compile_visit(network, space.components, space.modes))


def drawn_visit(rng: np.random.Generator, repairs: int) -> Visit:
    """Readings and repairs in any order, half of the repairs with an outcome."""
    entries: list[Entry] = [READINGS[i] for i in rng.choice(len(READINGS), size=4)]
    for _ in range(repairs):
        act, component = REPAIRS[rng.integers(len(REPAIRS))]
        outcome = str(rng.choice(["cured", "better", "no_change"])) if rng.random() < 0.5 else None
        entries.insert(int(rng.integers(1, len(entries) + 1)), Act(act, component, outcome=outcome))  # type: ignore[arg-type]
    return Visit(tuple(entries), demo.MILD)


@lru_cache(maxsize=4096)
def one(modes: tuple[int, ...]) -> VisitModel:
    """The visit for one car."""
    return compile_visit(model().compiled.network, model().space.components, np.array([modes], dtype=np.int16))


class OneWay:
    """One car followed through one way in which its repairs went."""

    def __init__(self, modes: tuple[int, ...], took: tuple[bool, ...]) -> None:
        self.modes, self.took = modes, list(took)
        self.log = 0.0
        self.open: list[tuple[int, Evidence]] = []
        self.charge: Array = np.ones(1)

    def count(self, clusters: set[int]) -> None:
        mine = [e for k, e in self.open if k in clusters]
        self.open = [(k, e) for k, e in self.open if k not in clusters]
        if mine:
            weight, scale = one(self.modes).stage(mine)
            joint = self.charge * weight[0]
            self.log += float(np.log(joint.sum())) + scale
            self.charge = joint / joint.sum()

    def visit(self, visit: Visit) -> None:
        now, tables = one(self.modes), demo.catalogue()
        owner = now.view.placements.owner
        clusters = now.view.placements.clusters
        self.charge = now.charge_prior[0]
        done: list[Reading] = []
        for entry in visit.entries:
            if isinstance(entry, Reading):
                done.append(entry)
                found = evidence_of(now.network, tables, entry, module_offset(tables, done))
                assert found is not None
                self.open.append((owner[found.quantity], found))
                continue
            mending = acts.mending_of(tables, entry)
            assert mending is not None
            charged = {k for k, e in self.open if behind_quantity(now.network, e.quantity)[1]}
            if tables.act(entry.act).effect == "desulphate":
                self.count(charged)
                moved = balance.after_charger(demo.setting(), None, slow=True)
                self.charge = moved[:, self.modes[model().space.components.index("battery")]] @ self.charge
            if mending.component == "battery" and mending.modes == acts.ALL_MODES:
                self.count(charged)
                self.charge = nearly_full(len(self.charge))
            self.mend(mending, entry, {k for k, c in enumerate(clusters) if mending.component in c.components})
        self.count({k for k, _ in self.open})

    def mend(self, mending: acts.Mending, act: Act, touched: set[int]) -> None:
        space, tables = model().space, demo.catalogue()
        states = model().compiled.network.nodes[mending.component].states
        something = bool(acts.affected(space, np.array([self.modes]), states, mending)[0])
        took = self.took.pop(0)
        if not something and not took:
            self.log = -np.inf  # nothing to mend: both ways are one, counted once
        if something:
            self.log += float(np.log(mending.success if took else 1.0 - mending.success))
            if took:
                self.count(touched)
                column = space.components.index(mending.component)
                self.modes = tuple(0 if i == column else m for i, m in enumerate(self.modes))
        if act.outcome is not None:
            mended = np.array([something and took])
            self.log += float(
                np.log(acts.outcome_chance(tables.number, space, np.array([self.modes]), mended, act.outcome)[0])
            )


def by_every_way(modes: tuple[int, ...], visits: list[Visit]) -> float:
    repairs = sum(isinstance(e, Act) for v in visits for e in v.entries)
    logs = []
    for took in product((True, False), repeat=repairs):
        way = OneWay(modes, took)
        for visit in visits:
            way.visit(visit)
            if not np.isfinite(way.log):
                break
        logs.append(way.log)
    return float(np.logaddexp.reduce(logs))


@pytest.mark.parametrize("seed", range(4))
def test_rows_are_every_way_the_repairs_may_have_gone(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """On drawn cases of one visit with up to four repairs, for hypotheses with none to all parts at fault."""
    same = model().compiled.network.nodes["surface"]
    monkeypatch.setattr(source, "surface_after", lambda setting, hours: same)  # one surface charge, as the reference
    rng = np.random.default_rng(seed)
    repairs = 1 + seed
    visits = [drawn_visit(rng, repairs)]
    space = model().space
    found = course([model()], visits, demo.catalogue(), space)
    chosen = np.concatenate([[0], rng.choice(len(space), size=8, replace=False)])
    expected = [by_every_way(tuple(space.modes[i].tolist()), visits) for i in chosen]
    np.testing.assert_allclose(found.log_likelihood[chosen], expected, rtol=0, atol=EXACT)
    faults = (space.modes > 0).sum(axis=1)
    assert np.bincount(found.present.rows.origin).max() <= 2**repairs
    assert (np.bincount(found.present.rows.origin)[faults == 0] == 1).all()


def ways_supplied() -> Index:
    """States of supply that the modes of each hypothesis leave open, where none of them is nearly sure."""
    share = supply_of(model().compiled.network, model().space.components, model().space.modes)
    return np.where(share.max(axis=1) < SURE_OF_SUPPLY, (share > LEAST_SUPPLY).sum(axis=1), 1)


def test_many_repairs_of_one_part_leave_few_rows() -> None:
    """Twenty times the same repair: by the next visit a part was mended at some time or, hardly ever, never."""
    repaired = Visit((Reading("solenoid_drop", value=0.4), Act("replace", "solenoid")) * 20, demo.MILD)
    space = model().space
    found = course([model(), model()], [repaired, Visit((READINGS[0],), demo.MILD)], demo.catalogue(), space)
    counts = np.bincount(found.present.rows.origin)
    at_fault = space.modes[:, space.components.index("solenoid")] > 0
    supplied = ways_supplied()
    assert (counts[at_fault] <= 2 * supplied[at_fault]).all()
    assert (counts[~at_fault] == supplied[~at_fault]).all()
    mended = found.present.modes[:, space.components.index("solenoid")] == 0
    assert mended.all()
    assert 0.0 < found.dropped < 1e-12


def test_leaving_out_a_repair_is_never_having_made_it() -> None:
    entries = (READINGS[0], Act("replace", "solenoid", outcome="better"), READINGS[2])
    space = model().space
    found = course([model()], [Visit(entries, demo.MILD)], demo.catalogue(), space, Entered(0, 1))
    rest = course([model()], [Visit((entries[0], entries[2]), demo.MILD)], demo.catalogue(), space)
    np.testing.assert_allclose(found.log_likelihood, rest.log_likelihood, rtol=0, atol=EXACT)


def test_rows_that_are_the_same_are_put_together_with_what_they_weigh() -> None:
    rows = Rows(np.array([3, 5, 3, 5]), np.array([1, 2, 1, 4]), np.ones(4), {0: np.array([0, 0, 0, 2])})
    merged, target = rows.merged()
    assert merged.origin.tolist() == [3, 5, 5]
    assert target.tolist() == [0, 1, 0, 2]
    weights = Weights(np.log([0.1, 0.2, 0.3, 0.4]), np.array([[1.0, 0.0], [0.5, 0.5], [0.0, 1.0], [0.2, 0.8]]))
    found = together(weights, target, 3)
    np.testing.assert_allclose(np.exp(found.log), [0.4, 0.2, 0.4])
    np.testing.assert_allclose(found.charge, [[0.25, 0.75], [0.5, 0.5], [0.2, 0.8]])
    np.testing.assert_allclose(np.exp(log_sums(weights.log, rows.origin, 6))[[3, 5]], [0.4, 0.6])
