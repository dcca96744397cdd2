"""An invented car, its networks, and a few readings, shared by the tests of engine, export and course."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import lru_cache

from faultnet.case.types import Battery, Car, Conditions, Reading
from faultnet.diagnosis.evidence import evidence_of
from faultnet.inference.evidence import Evidence
from faultnet.model.build import build_network
from faultnet.model.export import ancestral, fixed_sound, in_visit, unrolled, with_brought_in, with_seen
from faultnet.model.network import Network
from faultnet.model.setting import Setting
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue

CAR = Car(Battery(600.0, age=5.0), displacement=1.6, label="invented")
MILD = Conditions(air_temperature=10.0)
FROSTY = Conditions(air_temperature=-6.0, hours_standing=14.0)
FEW = ("battery", "use", "drain", "alternator", "regulator", "solenoid", "unlisted")
FIRST = (
    Reading("rest_voltage", value=12.31),
    Reading("crank_minimum", value=8.9),
    Reading("positive_side_drop", value=0.6, roughly=True),
    Reading("how_it_turns_over", state="slow"),
    Reading("charge_idle_voltage", value=13.6),
)
SECOND = (
    Reading("rest_voltage", value=12.05, roughly=True),
    Reading("crank_minimum", value=8.1),
    Reading("charge_lamp", state="stays_on", roughly=True),
)


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    return load_catalogue()


@lru_cache(maxsize=1)
def forgetful() -> Catalogue:
    """The same where nothing that was read bears on what is read after it was counted."""
    tables = catalogue()
    never = replace(tables.spreads["value_stays_between_visits"], value=0.0)
    return replace(tables, spreads={**tables.spreads, "value_stays_between_visits": never})


def setting(conditions: Conditions = MILD) -> Setting:
    return Setting(CAR, conditions, catalogue())


@lru_cache(maxsize=4)
def network(conditions: Conditions = MILD) -> Network:
    return build_network(setting(conditions))


def brought_in_when_sound() -> float:
    return catalogue().number("brought_in_when_sound")


def evidence(readings: Sequence[Reading], conditions: Conditions = MILD) -> tuple[Evidence, ...]:
    found = [evidence_of(network(conditions), catalogue(), r) for r in readings]
    return tuple(e for e in found if e is not None)


def reduced(whole: Network, keep: Collection[str] = FEW) -> Network:
    """The network of a car of which it is known that all but a few components are sound."""
    gone = set(whole.components) - set(keep)
    return replace(whole, nodes={n: fixed_sound(node, gone) for n, node in whole.nodes.items() if n not in gone})


def asked(whole: Network, seen: Sequence[Evidence], also: Collection[str] = ()) -> Network:
    """What other libraries are asked: the part that some readings need, with the readings and the complaint in it."""
    part = ancestral(whole, {e.quantity for e in seen} | set(also))
    return with_brought_in(with_seen(part, seen), brought_in_when_sound())


def asked_over_visits(
    wholes: Sequence[Network], seen: Sequence[Sequence[Evidence]], mended: Sequence[Collection[str]] | None = None
) -> Network:
    """The same for several visits."""
    parts = [ancestral(w, {e.quantity for e in es}) for w, es in zip(wholes, seen, strict=True)]
    named = [replace(e, quantity=in_visit(e.quantity, v)) for v, es in enumerate(seen, start=1) for e in es]
    return with_brought_in(with_seen(unrolled(parts, mended), named), brought_in_when_sound())
