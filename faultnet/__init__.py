"""Probabilistic fault isolation for the 12 V starting and charging system of a car.

The package is laid out in the order in which a diagnosis flows, and imports only run that way:

    errors, units, case     what a case is made of, its file and its store
    physics                 circuit and battery equations, no probability
    prior_set               components, tests, acts, instruments and priors, read from data and validated
    instruments             a reading becomes a likelihood
    recordings              a voltage log becomes readings
    model                   the Bayesian network of one car under one visit's conditions
    inference               exact inference on it
    diagnosis               a case goes in; causes, reasons and next tests come out
    decision                what that is worth: the next test, the repair, when to stop
    learning                closed cases tune the prior set
    simulation              virtual cars with known faults, to try the advice on
    api                     the way in for programs and notebooks
    report, cli             sheets to print, and the same verbs on the command line

What programs and notebooks need is imported from here, and nothing heavy before it is asked for:

>>> from faultnet import advise, load_case
>>> advise(load_case("demo:shorted_cell")).decision.repair
'battery'

Nothing here prints, logs or imports the front end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from faultnet.api import advise, load_case, load_catalogue, plan, read_log, tune

__version__ = "0.1.0"
__all__ = ["advise", "load_case", "load_catalogue", "plan", "read_log", "tune"]


def __getattr__(name: str) -> Any:
    """Import what is asked for by name, so that ``import faultnet`` costs next to nothing."""
    if name in __all__:
        from faultnet import api

        return getattr(api, name)
    raise AttributeError(f"module 'faultnet' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
