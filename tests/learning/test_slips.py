"""Slips per instrument and per person: against Beta distributions, quadrature, the engine, and drawn histories."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

from faultnet.case.types import Case, Reading
from faultnet.diagnosis.evidence import evidence_of
from faultnet.inference.batch import log_likelihoods
from faultnet.learning.em.activity import conditioned_on_activity
from faultnet.learning.em.bands import settings_of
from faultnet.learning.em.encode import Encoder
from faultnet.learning.em.given import given
from faultnet.learning.em.slips import Looked, person_factor, slip_posterior
from faultnet.learning.em.space import space_for
from faultnet.learning.result import Change, Options, Tuned
from faultnet.learning.tune import tune
from faultnet.learning.versions.write import applied
from faultnet.prior_set import Catalogue, load_catalogue
from faultnet.prior_set.sets import set_folder
from tests.bench.own_history import World, drawn_cases

TRUE = {"multimeter": 0.12, "question": 0.0}
SLOPPY = 6.0


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    return load_catalogue()


@lru_cache(maxsize=1)
def drawn() -> list[Case]:
    """Confirmed cases of a shop whose ordinary meter slips twelve times as often as the set says."""
    instruments = tuple(replace(i, slip=TRUE.get(i.id, i.slip)) for i in catalogue().instruments)
    true = replace(catalogue(), instruments=instruments)
    return drawn_cases(true, 160, World({}, 1.0), np.random.default_rng(5))


def test_one_hypothesis_worked_out_alone_is_the_engines_number() -> None:
    """Whole, and with each reading left out; a quantity that was read twice among them."""
    some = drawn()[:4]
    encoder = Encoder(catalogue(), space_for(some, catalogue(), 0.2), settings_of(some))
    setting = next(iter(encoder.settings.values()))
    network = conditioned_on_activity(encoder.network(setting))
    names = ("rest_voltage", "crank_minimum", "key_off_current", "charge_idle_voltage", "negative_joint_drop")
    read = [Reading(n, value=v) for n, v in zip(names, (12.3, 8.1, 0.2, 13.1, 0.4), strict=True)]
    read.append(Reading("rest_voltage", value=12.35))
    told = [e for r in read if (e := evidence_of(network, catalogue(), r)) is not None]
    lists = [told, *([*told[:k], *told[k + 1 :]] for k in range(len(told)))]
    wanted = log_likelihoods(encoder.model(setting), lists)
    patterns = encoder.patterns
    for row in range(0, len(patterns.rows), len(patterns.rows) // 7):
        modes = patterns.rows[row].tolist()
        if modes[patterns.columns.index("unlisted")]:
            continue
        cut = given(network, patterns.columns, modes)
        found = cut.without_each(told)
        assert cut.log_likelihood(told) == pytest.approx(found[0], abs=1e-12)
        np.testing.assert_allclose(found, wanted[:, row], rtol=0, atol=1e-9)


def test_slips_that_are_plain_to_see_give_the_beta_distribution() -> None:
    """The conjugate update, from scipy: 3 slips in 80 readings on a prior of 0.02 in 50 readings."""
    ratio = np.array([0.0] * 3 + [1e12] * 77)
    mean, low, high = slip_posterior(ratio, np.ones(80), 0.02, 50.0)
    known = stats.beta(0.02 * 50.0 + 3.0, 0.98 * 50.0 + 77.0)
    assert (mean, low, high) == pytest.approx((known.mean(), *known.ppf((0.025, 0.975))), rel=2e-3)


def test_readings_that_may_be_slips_or_not_agree_with_quadrature() -> None:
    ratio, weight = np.array([0.3, 2.0, 40.0, 0.01, 5.0]), np.array([1.0, 0.5, 2.0, 1.0, 1.0])

    def density(slip: float) -> float:
        prior = slip ** (0.05 * 20.0 - 1.0) * (1.0 - slip) ** (0.95 * 20.0 - 1.0)
        return float(prior * np.prod((slip + (1.0 - slip) * ratio) ** weight))

    whole, _ = integrate.quad(density, 0.0, 1.0)
    mean, low, high = slip_posterior(ratio, weight, 0.05, 20.0)
    assert mean == pytest.approx(integrate.quad(lambda s: s * density(s), 0.0, 1.0)[0] / whole, rel=2e-3)
    assert integrate.quad(density, 0.0, low)[0] / whole == pytest.approx(0.025, abs=1e-3)
    assert integrate.quad(density, high, 1.0)[0] / whole == pytest.approx(0.025, abs=1e-3)


def test_a_person_is_told_from_the_instruments_they_use() -> None:
    """Twelve slips in a hundred readings are many with a good meter, and usual with a bad one."""
    mine = [Looked("good", "A", 0.0 if k < 12 else 1e9, 1.0) for k in range(100)]
    careless, low, _ = person_factor(mine, {"good": 0.02})
    usual, under, over = person_factor([replace(m, instrument="bad") for m in mine], {"bad": 0.12})
    assert careless > 3.0
    assert low > 1.5
    assert under < 1.0 < over
    assert usual == pytest.approx(1.0, abs=0.1)


def test_slips_of_a_drawn_shop_are_found_again_and_of_who_reads_carelessly() -> None:
    """The meter slips in 12 %, not 1; a third of the readings are taken by somebody who slips far more often."""
    rng = np.random.default_rng(9)

    def read(reading: Reading) -> Reading:
        person = "second" if rng.random() < 1.0 / 3.0 else "first"
        test = catalogue().test(reading.test)
        if person == "first" or rng.random() > SLOPPY * 0.02:
            return replace(reading, read_by=person)
        if test.kind == "choice":
            return replace(reading, read_by=person, state=test.choices[int(rng.integers(len(test.choices)))][0])
        return replace(reading, read_by=person, value=float(rng.uniform(*(test.plausible or (0.0, 1.0)))))

    cases = [
        replace(c, visits=tuple(replace(v, entries=tuple(map(read, v.entries))) for v in c.visits))  # type: ignore[arg-type]
        for c in drawn()
    ]
    tuned = tune(cases, catalogue(), Options(folds=0, strength=0.2, by_person=True))
    rows = {c.key: c for c in tuned.changes if c.key[-1] == "slip"}
    meter = rows["multimeter", "slip"]
    assert meter.old == catalogue().instrument("multimeter").slip < meter.low
    assert meter.low < TRUE["multimeter"] + SLOPPY * 0.02 / 3.0 < meter.high
    first, second = (p for p in tuned.people)
    assert (first.key, second.key) == (("first",), ("second",))
    assert second.low > first.new
    assert second.low > 1.0


def test_who_read_is_not_looked_at_unless_asked() -> None:
    named = [
        replace(c, visits=(replace(c.visits[0], entries=(Reading("rest_voltage", 12.4, read_by="AB"),)),))
        for c in drawn()[:3]
    ]
    assert tune(named, catalogue(), Options(folds=0)).people == ()


def test_offset_and_slip_of_one_instrument_are_both_kept(tmp_path: Path) -> None:
    rows = (
        Change("instruments", ("socket_adapter_2hz", "offset"), -0.1, -0.2, -0.25, -0.15, 20.0, "V", 40.0),
        Change("instruments", ("socket_adapter_2hz", "slip"), 0.02, 0.05, 0.03, 0.08, 90.0, "-", 290.0),
    )
    tuned = Tuned("standard", Options(), 20, 1, (0.0, 1.0), rows)
    folder = applied(tuned, set_folder("standard"), tmp_path / "set", "ours", "1", "h.csv", "ab" * 32)
    kept = load_catalogue(folder=folder).instrument("socket_adapter_2hz")
    assert (kept.offset, kept.slip) == (-0.2, 0.05)
    assert "offset was -0.1, now -0.2" in kept.note
    assert "slip was 0.02, now 0.05" in kept.note
