"""How sure the tuned base rates are, and which cases moved them, from what the cases really told.

Counting expected cases as if they had been seen makes intervals too narrow where causes are missing. Each case's
*score* is its expected modes less those expected of any car of its group that was brought in; the sum of the scores'
squares is the information the cases gave, missing causes, mix-ups between modes and the complaint all taken into
account (observed information by outer products; Louis 1982 and Meilijson 1989 treat it for EM, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from faultnet.inference.configurations import Index
from faultnet.learning.em.rates import RateForm, Rates, prior
from faultnet.learning.em.scores import marker
from faultnet.model.network import Array


@dataclass(frozen=True, eq=False)
class Certainty:
    """Covariance of the logarithms of the factors on the base rates.

    Parameters
    ----------
    covariance : array, shape (parameters, parameters)
    number : int array, shape (factors + 1, places)
        Parameter of each factor, the whole's in row 0; -1 where there is none.
    effective : array, shape (cells, places)
        Cases' worth of what was told of each mode [-].
    """

    covariance: Array = field(repr=False)
    number: np.ndarray = field(repr=False)
    effective: Array = field(repr=False)

    def log_spread(self, factor: int, place: int) -> float:
        """Standard deviation of the logarithm of a weight: whole and group together."""
        vector = self._vector(factor, place)
        return float(np.sqrt(max(float(vector @ self.covariance @ vector), 0.0)))

    def _vector(self, factor: int, place: int) -> Array:
        vector = np.zeros(len(self.covariance))
        for row in {0, factor}:
            if self.number[row, place] >= 0:
                vector[self.number[row, place]] = 1.0
        return vector


def scores_of(form: RateForm, rates: Rates, expected: Array, cell: Index) -> Array:
    """Score of every case for the log weight of every mode, shape (cases, places).

    Parameters
    ----------
    form : RateForm
    rates : Rates
    expected : array, shape (cases, places)
        Expected modes of each case.
    cell : int array, shape (cases,)
    """
    before = prior(form, rates)
    usual = (before @ marker(form)) / before.sum(axis=1, keepdims=True)
    return np.asarray(expected - usual[cell])


def certainty(form: RateForm, scores: Array, weight: Array, cell: Index) -> Certainty:
    """What the cases and the old prior set say together.

    Parameters
    ----------
    form : RateForm
    scores : array, shape (cases, places)
    weight : array, shape (cases,)
    cell : int array, shape (cases,)
    """
    number = rate_numbers(form)
    information = prior_information(form, number)
    effective = np.zeros(form.old.shape)
    for g in range(len(form.old)):
        mine = cell == g
        told = (scores[mine] * weight[mine, None]).T @ scores[mine]
        effective[g] = np.diag(told)
        own = np.where(form.own[g] > 0, number[form.own[g], np.arange(len(form.places))], -1)
        for rows in (number[0], own):
            for columns in (number[0], own):
                _add(information, rows, columns, told)
    return Certainty(np.asarray(np.linalg.pinv(information, hermitian=True), np.float64), number, effective)


def _add(information: Array, rows: np.ndarray, columns: np.ndarray, told: Array) -> None:
    """Add what was told to the parameters it bears on; -1 is none."""
    down, across = rows >= 0, columns >= 0
    information[np.ix_(rows[down], columns[across])] += told[np.ix_(down, across)]


def rate_numbers(form: RateForm) -> Index:
    """Number of the parameter of each factor on a fault mode, the whole's in row 0; -1 where there is none."""
    fault = np.ones(len(form.places), dtype=bool)
    fault[form.first[:-1]] = False
    number = np.full(form.own_counts.shape, -1)
    used = np.vstack([fault, (form.own_counts[1:] > 0.0) & fault]).astype(bool)
    number[used] = np.arange(int(used.sum()))
    return number


def prior_information(form: RateForm, number: np.ndarray) -> Array:
    """What the old prior set says of the factors, shape (parameters, parameters)."""
    information = np.zeros((number.max() + 1,) * 2)
    for row, counts in enumerate([form.whole_counts, *form.own_counts[1:]]):
        for a, b in zip(form.first[:-1], form.first[1:], strict=True):
            places = np.arange(a + 1, b)
            places = places[number[row, places] >= 0]
            total = counts[a:b].sum()
            if len(places) and total > 0.0:
                mine = counts[places]
                at = number[row, places]
                information[np.ix_(at, at)] += np.diag(mine) - np.outer(mine, mine) / total
    return information


def moved(certain: Certainty, scores: Array, weight: Array) -> Array:
    """How far each case moved the logarithm of each of the whole's factors, shape (cases, places)."""
    at = certain.number[0]
    found = np.zeros(scores.shape)
    fault = at >= 0
    covariance = certain.covariance[np.ix_(at[fault], at[fault])]
    found[:, fault] = (scores[:, fault] * weight[:, None]) @ covariance
    return found
