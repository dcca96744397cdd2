"""A car read twice is mostly one car: against the sums written out from the tables of the network."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.diagnosis import work_through
from faultnet.diagnosis.course import Present, course
from faultnet.diagnosis.evidence import evidence_of
from faultnet.diagnosis.leading import leading_chances
from faultnet.diagnosis.models import Model, model_for
from faultnet.diagnosis.remembered import BETWEEN_VISITS, behind_quantity
from faultnet.inference.evidence import as_one, pooled_evidence
from faultnet.inference.posterior import updated
from faultnet.inference.repeated import Number
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue
from tests.inference import demo

ODD = Reading("key_off_current", value=0.12)  # well inside the class of outcomes from 0.09 to 0.16 A
MENDED = Act("remove_drain", component="drain", outcome="no_change")
ELSEWHERE = Act("repair_circuit", component="start_control", outcome="no_change")


@pytest.fixture(scope="module")
def model() -> Model:
    setting = demo.setting()
    return model_for(setting.car, setting.conditions, demo.catalogue(), 2)


def with_spreads(**values: float) -> Catalogue:
    """The catalogue with other values of some numbers."""
    tables = demo.catalogue()
    other = {name: replace(tables.spreads[name], value=value) for name, value in values.items()}
    return replace(tables, spreads={**tables.spreads, **other}, fingerprint=f"{tables.fingerprint} {values}")


def log_likelihood(model: Model, *visits: tuple[Entry, ...], tables: Catalogue | None = None) -> Array:
    entered = [Visit(entries, demo.MILD) for entries in visits]
    return course([model] * len(entered), entered, tables or demo.catalogue(), model.space).log_likelihood


def sums(model: Model, mode: int) -> tuple[float, float, float]:
    """Likelihood of one odd reading, of two of one value, and of two anywhere in one bin, of a drain in some mode."""
    node = model.compiled.network.nodes["key_off_current"]
    assert node.parents[0] == "drain_now"
    active = model.compiled.network.nodes["drain_now"].table[:, mode]
    others = tuple(0 for _ in node.parents[1:])
    chances = sum(share * node.table[(slice(None), now, *others)] for now, share in enumerate(active))
    found = evidence_of(model.compiled.network, demo.catalogue(), ODD)
    assert found is not None
    assert found.number is not None
    one, value, within = found.likelihood, twice(found.number), found.likelihood**2
    return float(chances @ one), float(chances @ value), float(chances @ within)


def twice(number: Number) -> Array:
    """Density of two readings of one value, anywhere within a bin alike: by the trapezoidal rule, shape (bins,)."""
    edges = np.asarray(number.edges)
    inside = np.linspace(edges[:-1], edges[1:], 4001)
    density = number.kept * norm.pdf(inside, number.value, number.spread) + number.floor
    return np.asarray(np.trapezoid(density**2, inside, axis=0) / np.diff(edges))


def row(model: Model, **modes: str) -> int:
    """The hypothesis with these faults and no other."""
    wanted = np.zeros(len(model.space.components), dtype=int)
    for component, mode in modes.items():
        wanted[model.space.components.index(component)] = model.compiled.network.nodes[component].states.index(mode)
    return int(np.flatnonzero((model.space.modes == wanted).all(axis=1))[0])


@pytest.mark.parametrize("act", [MENDED, ELSEWHERE])
def test_a_sound_part_that_reads_oddly_does_so_again(model: Model, act: Act) -> None:
    """Within a visit it is one value: P(r2 | r1) = P(r1, r2) / P(r1), written out for a car with nothing wrong."""
    one, both, _ = sums(model, 0)
    again = log_likelihood(model, (ODD, act, ODD)) - log_likelihood(model, (ODD, act))
    expected = np.log(both / one)
    assert again[row(model)] == pytest.approx(expected, abs=1e-3)  # the repair may have been of a part that was sound
    assert expected > np.log(one) + 1.0  # so that the test tells it from readings that know nothing of each other


def test_a_part_that_was_mended_reads_as_a_sound_one(model: Model) -> None:
    """Where the repair took, what the bad part read before says nothing of the sound one."""
    sure = with_spreads(repair_works_replace=1.0 - 1e-9, repair_works_clean=1.0 - 1e-9)
    drained = row(model, drain="heavy")
    one, *_ = sums(model, 0)
    found = log_likelihood(model, (ODD, MENDED, ODD), tables=sure) - log_likelihood(model, (ODD, MENDED), tables=sure)
    assert found[drained] == pytest.approx(np.log(one), abs=0.05)


def test_without_a_chance_to_stay_readings_know_nothing_of_each_other(model: Model) -> None:
    forgetful = with_spreads(value_stays_between_visits=0.0)
    free = Model(replace(model.setting, catalogue=forgetful), model.space, model.compiled)
    twice, once = log_likelihood(free, (ODD,), (ODD,), tables=forgetful), log_likelihood(free, (ODD,), tables=forgetful)
    np.testing.assert_allclose(twice, 2.0 * once, rtol=0, atol=1e-9)


@pytest.mark.parametrize("mode", ["sound", "heavy", "stays_awake"])
def test_the_next_visit_remembers_less(model: Model, mode: str) -> None:
    """A fault that comes and goes has to be on both times or off both times as well."""
    again = log_likelihood(model, (ODD,), (ODD,)) - log_likelihood(model, (ODD,))
    one, _, both = sums(model, model.compiled.network.nodes["drain"].states.index(mode))
    on = demo.catalogue().on_rate("drain", mode, model.setting.brought_on) if mode != "sound" else 1.0
    stays = demo.catalogue().number(BETWEEN_VISITS) * (on**2 + (1.0 - on) ** 2)
    assert (on < 0.9) == (mode == "stays_awake")
    place = row(model) if mode == "sound" else row(model, drain=mode)
    assert again[place] == pytest.approx(np.log(stays * both / one + (1.0 - stays) * one), abs=1e-4)


@pytest.mark.parametrize("between", [(ELSEWHERE,), (Act("charge", hours=8.0),)])
def test_it_is_expected_to_read_as_before(model: Model, between: tuple[Entry, ...]) -> None:
    """Asked again after other work, a test tells little."""
    found = course([model], [Visit((ODD, *between), demo.MILD)], demo.catalogue(), model.space)
    belief = updated(model.space, found.log_likelihood)
    assert belief is not None
    shown = leading_chances(found.present, belief, ["key_off_current"], demo.catalogue().number)
    sound = shown.chances["key_off_current"][np.flatnonzero(shown.chosen == row(model))[0]]
    edges = model.compiled.network.nodes["reading_key_off_current"].edges
    assert sound[np.searchsorted(edges, 0.12) - 1] >= 0.85


def test_at_the_next_visit_it_is_expected_to_read_as_before_with_the_chance_that_it_stays(model: Model) -> None:
    shares = []
    for tables in ({}, {BETWEEN_VISITS: 0.0}):
        number = with_spreads(**tables).number
        found = course([model] * 2, [Visit((ODD,), demo.MILD), Visit((), demo.MILD)], demo.catalogue(), model.space)
        belief = updated(model.space, found.log_likelihood)
        assert belief is not None
        shown = leading_chances(found.present, belief, ["key_off_current"], number)
        sound = shown.chances["key_off_current"][np.flatnonzero(shown.chosen == row(model))[0]]
        edges = model.compiled.network.nodes["reading_key_off_current"].edges
        shares.append(sound[np.searchsorted(edges, 0.11) - 1])
    assert shares[0] > 0.5
    assert shares[1] < 0.1


PETROL = Car(Battery(640.0, "EN"), "petrol", 1.6)
DIESEL = Car(Battery(730.0, "EN"), "diesel", 2.1)
REPEATED: tuple[tuple[Car, str, float, float, str, str], ...] = (
    (DIESEL, "ground_path_drop", 0.85, 0.87, "ground_path", "high_resistance"),
    (PETROL, "ground_side_drop", 0.40, 0.41, "ground_path", "high_resistance"),
    (PETROL, "positive_joint_drop", 0.20, 0.21, "positive_joint", "corroded"),
    (PETROL, "crank_minimum", 9.0, 9.05, "battery", "worn"),
    (PETROL, "crank_current", 210.0, 211.0, "starter_motor", "dragging"),
    (PETROL, "charge_loaded_voltage", 13.2, 13.21, "regulator", "low"),
    (PETROL, "charge_ripple", 0.30, 0.30, "rectifier", "open_diode"),
    (PETROL, "rest_voltage", 12.2, 12.2, "battery", "worn"),
)


def odds(car: Car, fault: tuple[str, str], *visits: tuple[Entry, ...], tables: Catalogue | None = None) -> float:
    """Natural logarithm of the likelihood of one fault alone over that of a sound car, three days between visits."""
    entered = tuple(Visit(v, Conditions(7.0), f"2026-11-{10 + 3 * k}") for k, v in enumerate(visits))
    found = work_through(Case(car, entered), tables or demo.catalogue())
    names, network = found.space.components, found.models[0].compiled.network
    wanted = np.zeros((2, len(names)), dtype=int)
    wanted[0, names.index(fault[0])] = network.nodes[fault[0]].states.index(fault[1])
    one, sound = (np.flatnonzero((found.space.modes == w).all(axis=1))[0] for w in wanted)
    return float(found.course.log_likelihood[one] - found.course.log_likelihood[sound])


@pytest.mark.parametrize("car, test, first, second, component, mode", REPEATED)
def test_an_odd_car_is_not_counted_anew_at_every_visit(
    car: Car, test: str, first: float, second: float, component: str, mode: str
) -> None:
    """What it reads today it reads again in three days: hardly more than twice a day (common practice, no source)."""
    once, again = (Reading(test, value=v) for v in (first, second))
    alone = odds(car, (component, mode), (once,))
    one_day = odds(car, (component, mode), (once, again))
    two_days = odds(car, (component, mode), (once,), (again,))
    assert two_days == pytest.approx(one_day, abs=0.35)
    assert abs(two_days - 2.0 * alone) > 0.7  # as it would be with nothing remembered


def test_readings_of_one_circuit_bear_on_one_resistance_from_visit_to_visit() -> None:
    """0.5 V over the ground path, and at the next visit 0.55 V over the whole ground side, of which it is a part."""
    path, side = Reading("ground_path_drop", value=0.5), Reading("ground_side_drop", value=0.55)
    fault = ("ground_path", "high_resistance")
    one_day, two_days = odds(PETROL, fault, (path, side)), odds(PETROL, fault, (path,), (side,))
    anew = odds(PETROL, fault, (path,), (side,), tables=with_spreads(value_stays_between_visits=0.0))
    assert two_days == pytest.approx(one_day, abs=0.35)
    assert anew > one_day + 2.0


@pytest.mark.parametrize(
    "test, volts, mode",
    [("rest_voltage", 12.1, "sulphated"), ("crank_minimum", 8.6, "worn"), ("half_rating_load", 8.8, "worn")],
)
def test_a_battery_that_reads_after_a_charge_as_before_it_is_suspected(test: str, volts: float, mode: str) -> None:
    """Common practice, no source: what it read while it may have been flat excuses nothing once it should be full."""
    low, charged = Reading(test, value=volts), Act("charge", hours=12.0)
    fault = ("battery", mode)
    assert odds(PETROL, fault, (low, charged, low)) > odds(PETROL, fault, (low, charged)) + 2.0


def test_a_lamp_left_on_excuses_only_what_was_read_while_the_battery_was_flat() -> None:
    """What is read at the next visit is read of another charge, if that was all: it is not held to be the same."""
    low = Reading("rest_voltage", value=11.9)
    anyhow = with_spreads(charge_alike_within=1e6)
    found = [odds(PETROL, ("use", "left_on"), (low,), (low,), tables=tables) for tables in (None, anyhow)]
    assert found[0] < found[1] - 0.3


def test_a_second_visit_is_weighed_by_the_first_as_written_out(model: Model) -> None:
    """P(later | before) = s P(later, before) / P(before) + (1 - s) P(later) at each state of charge, row by row."""
    tables = with_spreads(charge_alike_within=1e6)
    known = Model(replace(model.setting, catalogue=tables), model.space, model.compiled)
    first = (Reading("ground_path_drop", value=0.3), Reading("charge_loaded_voltage", value=13.6))
    second = (Reading("ground_side_drop", value=0.35), Reading("charge_loaded_voltage", value=13.5))
    visits = [Visit(first, demo.MILD), Visit(second, demo.MILD)]
    found = course([known] * 2, visits, tables, model.space)
    present = found.present
    before = [as_one([e])[0] for e in demo.evidence(first)]
    owner = present.model.view.placements.owner
    total = present.weights.log.copy()
    ratio = np.ones((len(present.rows), 1))
    for k in (0, 1):
        earlier, later = ([e for e in es if owner[e.quantity] == k] for es in (before, demo.evidence(second)))
        pieces, scale = pooled_evidence([*earlier, *later])
        (w12, l12), (w1, l1), (w2, l2) = (present.weigh(e) for e in (pieces, earlier, later))
        stays = tables.number(BETWEEN_VISITS) * come_and_go(model, present, k)[:, None]
        together = np.exp(l12 + scale - l1) * w12 / np.maximum(w1, 1e-300)
        ratio = ratio * (stays * together + (1.0 - stays) * np.exp(l2) * w2)
    total += np.log(np.maximum((present.carried * ratio).sum(axis=1), 1e-300))
    likely = total > total.max() - 25.0
    np.testing.assert_allclose(found.row_log[likely], total[likely], rtol=0, atol=1e-6)


def come_and_go(model: Model, present: Present, k: int) -> Array:
    """Chance that every fault that comes and goes, of those a cluster's readings hang on, is on twice or off twice."""
    quantities = {0: ("ground_path_drop", "ground_drop"), 1: ("charge_loaded",)}[k]
    network = model.compiled.network
    behind = {c for q in quantities for c in behind_quantity(network, q)[0]}
    chance = np.ones(len(present.rows))
    for name in behind:
        if f"{name}_now" in network.nodes:
            mode = present.table.modes[present.rows.at, present.table.components.index(name)]
            on = np.array([network.nodes[f"{name}_now"].table[m, m] for m in range(len(network.nodes[name].states))])
            chance *= on[mode] ** 2 + (1.0 - on[mode]) ** 2
    return chance
