"""A value read twice is mostly one value: against the sums written out from the tables of the network."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from faultnet.case.types import Act, Entry, Reading, Visit
from faultnet.diagnosis.course import course
from faultnet.diagnosis.evidence import evidence_of
from faultnet.diagnosis.leading import leading_chances
from faultnet.diagnosis.models import Model, model_for
from faultnet.diagnosis.remembered import BETWEEN_VISITS
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
    return replace(tables, spreads={**tables.spreads, **other})


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
