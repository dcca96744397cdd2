"""The registry of quantities: everything that a test can read or hear, each declared once.

An entry says its name, unit and circuit, what it depends on and its table or law; it stands with its circuit:
`source` and `under_load` (battery, parked), `starting`, `at_posts`, `at_clamps` and `drops` (starting), `charging`. The
network is built from these entries, and with it the ranking of tests and the ranges of a sound car; the virtual car
must give a value for each; the table in DEVELOPERS.md is printed from them.
"""

from __future__ import annotations

from faultnet.errors import PriorsError
from faultnet.model import at_clamps, at_posts, charging, drops, source, starting, under_load
from faultnet.model.quantity import Now, Quantity
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.markdown import table
from faultnet.prior_set.types import Test

TABLE = "table"  # the quantity of a test that a symptom table stands for

QUANTITIES: dict[str, Quantity] = {
    quantity.name: quantity
    for module in (source, starting, at_posts, at_clamps, drops, under_load, charging)
    for quantity in module.QUANTITIES
}


def quantity_read(test: Test) -> Quantity:
    """The quantity that a test reads.

    Raises
    ------
    PriorsError
        If there is none of that name, or the test states another unit or other choices.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> quantity_read(load_catalogue().test("crank_current")).unit
    'A'
    """
    where = f"tests.toml, test {test.id}"
    if test.quantity not in QUANTITIES:
        raise PriorsError(
            "a test observes a quantity that nothing computes", where=where, got=repr(test.quantity),
            expected=", ".join(QUANTITIES),
            to_do="use one of these, or declare it in the file of its circuit in faultnet/model",
        )  # fmt: skip
    quantity = QUANTITIES[test.quantity]
    choices = tuple(choice for choice, _ in test.choices)
    if quantity.unit != test.unit:
        raise PriorsError(
            "a test is in another unit than its quantity", where=where, got=repr(test.unit),
            expected=quantity.unit or "a choice",
        )  # fmt: skip
    if test.kind == "choice" and choices != quantity.states:
        raise PriorsError(
            "a test has other choices than its quantity", where=where, got=", ".join(choices),
            expected=", ".join(quantity.states),
        )  # fmt: skip
    return quantity


def quantities_page(catalogue: Catalogue) -> str:
    """The registry as a table, with the tests and the instruments that see each quantity."""
    rows = []
    for quantity in QUANTITIES.values():
        tests = [test for test in catalogue.tests if test.quantity == quantity.name]
        depends = [f"{d} now" if isinstance(d, Now) else d for d in quantity.depends_on]
        instruments = dict.fromkeys(name for test in tests for name in test.instruments)
        rows.append(
            (
                f"`{quantity.name}`", quantity.unit or "choice", quantity.circuit, ", ".join(depends) or "nothing",
                ", ".join(test.id for test in tests), ", ".join(instruments),
            )
        )  # fmt: skip
    return table(("quantity", "unit", "circuit", "depends on", "tests", "instruments"), rows)
