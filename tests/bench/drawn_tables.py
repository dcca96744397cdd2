"""Prior sets whose symptom tables and on-rates are drawn as the old set has them: then intervals can be counted.

Where the truth is drawn from the prior and the history from the truth, a 95 % interval holds the truth in 95 % of
histories if it is worked out right, whatever the strength (Cook, Gelman and Rubin 2006, Validation of software for
Bayesian models using posterior quantiles, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from faultnet.learning.em.on_rates import WORTH
from faultnet.learning.result import Change, Options, Tuned
from faultnet.learning.tune import tune
from faultnet.learning.versions.versions import numbers_of
from faultnet.prior_set.catalogue import Catalogue
from tests.bench.own_history import World, drawn_cases

LEAST = 1e-4
CAUSES_OFTEN = 3.0


@dataclass(frozen=True)
class Interval:
    """A tuned number beside the one that the history was drawn from."""

    change: Change
    truth: float

    @property
    def holds(self) -> bool:
        """Whether the 95 % interval has the truth in it."""
        return self.change.low <= self.truth <= self.change.high


def drawn_set(catalogue: Catalogue, strength: float, rng: np.random.Generator) -> Catalogue:
    """A prior set with symptom tables and on-rates drawn by what the old ones are worth."""

    def row(counts: Iterable[float]) -> tuple[float, ...]:
        old = np.array(tuple(counts), dtype=float)
        shares = np.maximum(rng.dirichlet(np.maximum(strength * old, 1e-3)), LEAST)
        return tuple((old.sum() * shares / shares.sum()).tolist())

    tables = {
        name: table if table.today else replace(
            table, otherwise=row(table.otherwise), rows={cause: row(counts) for cause, counts in table.rows.items()}
        )
        for name, table in catalogue.symptoms.items()
    }  # fmt: skip
    worth = WORTH * strength
    on = {
        fault: {
            c: replace(r, value=float(np.clip(rng.beta(worth * r.value, worth * (1.0 - r.value)), 0.002, 0.998)))
            for c, r in rows.items()
        }
        for fault, rows in catalogue.on_rates.items()
    }
    return replace(
        catalogue, symptoms=tables, on_rates=on, fingerprint=f"{catalogue.fingerprint} drawn {rng.integers(2**62)}"
    )


def intervals(
    catalogue: Catalogue, cases: int, confirmed: float, strength: float, rng: np.random.Generator, visits: int = 1
) -> tuple[list[Interval], Tuned]:
    """Tuned answers and chances of being on, each beside the truth."""
    true = drawn_set(catalogue, strength, rng)
    often = dict.fromkeys(catalogue.on_rates, CAUSES_OFTEN)
    drawn = drawn_cases(true, cases, World(often, confirmed, visits), rng)
    known = replace(
        catalogue, base_rates={
            key: {g: replace(r, value=r.value * often.get(key, 1.0)) for g, r in rows.items()}
            for key, rows in catalogue.base_rates.items()
        }, fingerprint=catalogue.fingerprint + " often"
    )  # fmt: skip
    tuned = tune(drawn, known, Options(strength=strength, folds=0, passes=40))
    truth = numbers_of(true)
    rows = [c for c in tuned.changes if c.table in ("symptoms", "on_rates")]
    return [Interval(c, truth[c.table, *c.key]) for c in rows], tuned
