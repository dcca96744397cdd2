"""A confirmed cause as evidence: a part that was replaced and cured the car proves more than an opinion.

With the chance of a wrong proof the outcome names something else, taken as drawn by the old prior, not by what was
read. So what was named keeps most of the weight, and whatever else the readings speak for keeps a little.
"""

from __future__ import annotations

import numpy as np

from faultnet.case.types import Proof
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

LEAST = 1e-12


def chance_wrong(catalogue: Catalogue, proof: Proof) -> float:
    """Chance that causes with such a proof are not those [-].

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> chance_wrong(load_catalogue(), "opinion")
    0.2
    """
    if proof == "replacement":
        return catalogue.number("wrong_by_replacement")
    return catalogue.number("wrong_by_measurement") if proof == "measurement" else catalogue.number("wrong_by_opinion")


def proof_factor(catalogue: Catalogue, proof: Proof, before: Array, named: int) -> Array:
    """Logarithm of how likely each hypothesis makes the outcome that was written down, shape (hypotheses,).

    Parameters
    ----------
    catalogue : Catalogue
    proof : {"replacement", "measurement", "opinion"}
    before : array, shape (hypotheses,)
        Prior by the old set [-].
    named : int
        Hypothesis that the outcome names.

    Examples
    --------
    Of two that are alike beforehand, one thought to be it: 0.8 + 0.2 * 0.5 against 0.2 * 0.5.

    >>> from faultnet.prior_set import load_catalogue
    >>> np.exp(proof_factor(load_catalogue(), "opinion", np.array([0.5, 0.5]), 0)).round(3).tolist()
    [0.9, 0.1]
    """
    wrong = chance_wrong(catalogue, proof)
    anyhow = wrong * max(float(before[named]), LEAST)
    found = np.full(len(before), np.log(anyhow))
    found[named] = np.log(1.0 - wrong + anyhow)
    return found
