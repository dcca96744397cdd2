"""Tuned numbers as rows of the prior set: old, new, interval, and what stands behind them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import exp, log

import numpy as np

from faultnet.learning.em import on_rates, symptoms
from faultnet.learning.em.e_step import Counts, Frame, Numbers
from faultnet.learning.em.intervals import Certainty
from faultnet.learning.em.rates import RateForm, Rates, all_sound, share_of
from faultnet.learning.em.told import Sure
from faultnet.learning.result import Change
from faultnet.prior_set.catalogue import Catalogue

LEVEL = 1.96
LEAST = 1e-9


def rate_changes(
    catalogue: Catalogue, form: RateForm, rates: Rates, counts: Counts, certain: Certainty
) -> Iterator[Change]:
    """Base rates of every row of the old set, and of groups split off from the whole.

    Notes
    -----
    The interval is normal in the log of the mode's weight, carried over to the share.
    """
    sound = all_sound(form, rates)
    away = sound * (1.0 - form.brought_in_when_sound)
    cars = counts.cells.sum(axis=1)
    cars = cars / (1.0 - away)
    for a, b in zip(form.first[:-1], form.first[1:], strict=True):
        component = form.places[a][0]
        own = {name: k for k, (c, name) in enumerate(form.own_names, start=1) if c == component}
        for group in _groups(catalogue, component, own):
            k = own.get(_narrowed(group, own), 0)
            mine = np.ones(len(cars), dtype=bool) if group == "all" else (form.own[:, a] == k) & (k > 0)
            old = np.array([share_of(catalogue, component, m, group) for _, m in form.places[a:b]])
            weight = old * rates.whole[a:b] * rates.own[k, a:b]
            new = weight / weight.sum()
            worth = float(form.whole_counts[a:b].sum() + cars[mine].sum())
            effective = float(counts.cells.sum(axis=1)[mine].sum())
            for j in range(1, b - a):
                low, high = _interval(new[j], certain.log_spread(k, a + j))
                yield Change(
                    "base_rates", (component, form.places[a + j][1], group), float(old[j]), float(new[j]), low, high,
                    effective, "-", worth,
                )  # fmt: skip


def _groups(catalogue: Catalogue, component: str, own: Mapping[str, int]) -> list[str]:
    """Rows of the old set, then the groups of climate that it does not have."""
    rows = {g: None for (c, _), found in catalogue.base_rates.items() if c == component for g in found}
    rows |= {g: None for g in own if g.startswith("climate=")}
    return list(rows)


def _narrowed(group: str, own: Mapping[str, int]) -> str:
    """The factor a row takes: its own, or where groups go by one thing only, that one's."""
    if group in own:
        return group
    return next((part for part in group.split(";") if part in own), "")


def _interval(share: float, spread: float) -> tuple[float, float]:
    """95 % interval of a share whose log odds have this standard deviation."""
    odds = log(max(share, LEAST) / max(1.0 - share, LEAST))
    low, high = (exp(odds + side * LEVEL * spread / max(1.0 - share, 0.05)) for side in (-1.0, 1.0))
    return low / (1.0 + low), high / (1.0 + high)


def symptom_changes(frame: Frame, numbers: Numbers, counts: Counts, certain: Sure) -> Iterator[Change]:
    """Rows of symptom tables that cases bear on."""
    for test, form in frame.symptoms.items():
        if test not in counts.symptoms:
            continue
        rows, old = numbers.symptoms[test], form.start()
        seen = symptoms.row_counts(form, rows, counts.symptoms[test])
        for r, cause in enumerate(form.causes):
            worth = float(form.counts[r].sum() + seen[r].sum())
            for s in range(rows.shape[1]) if seen[r].sum() > 0.0 else ():
                low, high = beta_interval(float(rows[r, s]), certain.answer(test, r, s, rows[r], worth))
                key = (test, cause, form.choices[s])
                yield Change(
                    "symptoms", key, float(old[r, s]), float(rows[r, s]), low, high, float(seen[r].sum()), "-", worth
                )


def on_changes(
    old: Mapping[on_rates.Key, float], numbers: Numbers, counts: Counts, strength: float, certain: Sure
) -> Iterator[Change]:
    """Chances of being on that visits bear on."""
    for key, seen in on_rates.by_row(numbers.on, counts.on).items():
        worth = strength * on_rates.WORTH + float(seen.sum())
        low, high = beta_interval(numbers.on[key], certain.on(key, numbers.on[key], worth))
        yield Change("on_rates", key, old[key], numbers.on[key], low, high, float(seen.sum()), "-", worth)


def beta_interval(mean: float, worth: float) -> tuple[float, float]:
    """95 % interval of a share known as well as from `worth` cases: quantiles of a Beta distribution.

    Examples
    --------
    >>> low, high = beta_interval(0.5, 100.0)
    >>> round(low, 3), round(high, 3)
    (0.403, 0.597)
    """
    from scipy.stats import beta

    a, b = max(mean * worth, LEAST), max((1.0 - mean) * worth, LEAST)
    low, high = beta.ppf((0.025, 0.975), a, b)
    return float(low), float(high)
