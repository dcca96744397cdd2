"""A battery whose label is not known: what such a car carries, spread wide enough to hold what it may carry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Conditions
from faultnet.model import bins
from faultnet.model.setting import Setting
from faultnet.model.source import source_nodes
from tests.inference import demo


def setting(battery: Battery, **car: float | str) -> Setting:
    return Setting(Car(battery, **car), Conditions(air_temperature=15.0), demo.catalogue())  # type: ignore[arg-type]


def factors(of: Setting) -> np.ndarray:
    """Resistance of a sound full battery, relative to a new one of the rating taken: shares of the bins."""
    (node,) = [n for n in source_nodes(of) if n.name == "source_factor_fine"]
    sound, full = of.modes("battery").index("sound"), len(bins.CHARGE.states) - 1
    return np.asarray(node.table[:, sound, full, 0])


def spread(of: Setting) -> float:
    """Standard deviation of the logarithm of that factor."""
    shares, middles = (
        factors(of),
        np.log(np.sqrt(np.multiply(bins.SOURCE_FACTOR_FINE.edges[:-1], bins.SOURCE_FACTOR_FINE.edges[1:]))),
    )
    return float(np.sqrt(shares @ middles**2 - (shares @ middles) ** 2))


def test_what_is_fitted_goes_before_what_is_needed_and_that_before_what_is_usual() -> None:
    assert setting(Battery(600.0, "SAE"), needs_rating=800.0).rating == 600.0
    assert setting(Battery(None), needs_rating=800.0, needs_standard="SAE").rating == 800.0
    assert setting(Battery(None), displacement=2.0, fuel="diesel").rating == 730.0
    assert setting(Battery(None)).capacity == pytest.approx(522.0 / 1.03 / 9.0)


def test_the_less_is_known_of_the_label_the_wider_the_resistance() -> None:
    full = setting(Battery(522.0, "SAE"))
    unnamed = setting(Battery(522.0, "not_known"))
    needed = setting(Battery(None), needs_rating=522.0, needs_standard="SAE")
    nothing = setting(Battery(None))
    assert full.rating_spread == 0.0
    assert spread(full) < spread(unnamed) == pytest.approx(spread(needed), rel=0.1)
    assert spread(needed) < spread(nothing) < spread(full) + 0.2
    assert spread(nothing) ** 2 == pytest.approx(spread(full) ** 2 + 0.2**2, rel=0.35)  # bins are coarse


def test_a_rating_that_is_known_is_as_it_was() -> None:
    """The wider spread costs a known label nothing: not a bit of its tables moves with what the car needs."""
    plain = setting(Battery(600.0))
    np.testing.assert_array_equal(factors(plain), factors(replace(plain, car=replace(plain.car, needs_rating=800.0))))
