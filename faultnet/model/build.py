"""The network of one car under one visit's conditions, put together from the physics and the symptom tables."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import partial

import numpy as np

from faultnet.instruments import outcome_table, place_offset, while_cranking
from faultnet.model import at_clamps, at_posts, charging, drops, modes, source, starting, symptoms
from faultnet.model.misread import misread
from faultnet.model.network import Array, Network, Node, normalised
from faultnet.model.quantities import QUANTITIES, TABLE, quantity_read
from faultnet.model.quantity import Quantity, Workings
from faultnet.model.setting import Setting
from faultnet.model.sound import sound_shares
from faultnet.prior_set.types import Instrument, Test

AT_CLAMPS = "clamp_minimum"  # is read by what is fed by other wires than the posts, while the starter turns
RECORDER_INTERVALS = (0.001, 0.01, 0.05, 0.1, 0.2, 0.5)
SLUG = re.compile(r"^[a-z][a-z0-9_]*$")
Maker = Callable[[Workings], Sequence[Node]]
Sampling = tuple[float | None, float | None]


def build_network(setting: Setting) -> Network:
    """Build every node of one visit's network.

    Parameters
    ----------
    setting : Setting

    Returns
    -------
    Network
        Parents before children; no table has a zero.

    Raises
    ------
    PriorsError
        If a test of the catalogue observes a quantity that no function computes.
    """
    at = Workings(setting)
    nodes = [node for make in makers(setting) for node in make(at)]
    known = {n.name: n for n in nodes}
    for test in setting.catalogue.tests:
        if test.quantity == TABLE:
            node = symptoms.symptom_node(setting, test)
            known[node.name] = node
    sound = sound_shares(known)
    for test in setting.catalogue.tests:
        reading = reading_node(setting, test, known, sound)
        known[reading.name] = reading
    network = Network(known, sound)
    network.check()
    return network


def makers(setting: Setting) -> list[Maker]:
    """What makes the nodes of a visit's network, in order; symptoms and readings aside.

    Each takes the workings of a visit. So a network can be built anew in part, where a number of the prior set that
    only some of its nodes were made from has changed.

    Parameters
    ----------
    setting : Setting
        Only the catalogue's tests, instruments and modes matter.
    """
    found: list[Maker] = [
        lambda at: modes.component_nodes(at.setting),
        lambda at: [modes.now_node(at.setting, c) for c in modes.intermittent_components(at.setting.catalogue)],
        lambda at: [modes.battery_link_node(at.setting)],
        lambda at: [source.supply_node(at.setting)],
        lambda at: [source.charge_node(at.setting)],
        lambda at: [source.surface_node(at.setting)],
        lambda at: source.source_nodes(at.setting),
        lambda at: starting.part_nodes(at.setting),
        lambda at: starting.path_nodes(at.setting),
        lambda at: [starting.joints_node(at.setting)],
        lambda at: [starting.before_solenoid_node(at.setting)],
        lambda at: [drops.current_node(at.once(starting.start_samples))],
        lambda at: charging.charging_nodes(at.setting),
        lambda at: [at_posts.post_level_node(at.once(starting.start_samples))],
        lambda at: [at_clamps.clamp_level_node(at.setting)],
        lambda at: [charging.alternator_level_node(at.setting)],
    ]
    sampled = _sampled(setting)
    for quantity in QUANTITIES.values():
        if quantity.sampled:
            for name, sampling in sampled.get(quantity.name, {}).items():
                found.append(partial(_quantity_node, quantity, name, sampling))
        else:
            found.append(partial(_quantity_node, quantity, None, ()))
    return found


def _quantity_node(quantity: Quantity, name: str | None, sampling: Sampling | tuple[()], at: Workings) -> list[Node]:
    """A quantity; one that is seen through an instrument's sampling has a node for each way it is sampled."""
    return [quantity.node(at, name, *sampling)]


def _sampled(setting: Setting) -> dict[str, dict[str, Sampling]]:
    """By quantity, every window and sampling interval through which the catalogue's instruments see it."""
    found: dict[str, dict[str, Sampling]] = {}
    for test in setting.catalogue.tests:
        if test.quantity != TABLE and quantity_read(test).sampled:
            for name in test.instruments:
                instrument = setting.catalogue.instrument(name)
                intervals = RECORDER_INTERVALS if is_recorder(instrument) else (instrument.interval,)
                for interval in intervals:
                    ways = found.setdefault(test.quantity, {})
                    ways[variant(test.quantity, instrument.window, interval)] = (instrument.window, interval)
    return found


def is_recorder(instrument: Instrument) -> bool:
    """Whether window and interval come from the log and not from the instrument."""
    return instrument.window is None and instrument.interval is None


def variant(quantity: str, window: float | None, interval: float | None) -> str:
    """Name of a minimum as one window or sampling interval shows it.

    Examples
    --------
    >>> variant("crank_minimum", 0.1, None), variant("clamp_minimum", None, 0.2)
    ('crank_minimum_w100', 'clamp_minimum_i200')
    """
    if interval is not None and interval > (window or 0.0):
        return f"{quantity}_i{round(interval * 1000)}"
    return f"{quantity}_w{round((window or 0.001) * 1000)}"


def nearest_recorder_interval(interval: float) -> float:
    """The tabulated sampling interval that is nearest in ratio [s].

    Examples
    --------
    >>> nearest_recorder_interval(0.25)
    0.2
    """
    return min(RECORDER_INTERVALS, key=lambda known: abs(np.log(known / max(interval, 1e-6))))


def quantity_of(test: Test, instrument: Instrument, interval: float | None = None) -> str:
    """Name of the node that a test observes with an instrument.

    Parameters
    ----------
    test : Test
    instrument : Instrument
    interval : float, optional
        Sampling interval of a recorded log [s].
    """
    if test.quantity == TABLE:
        return f"answer_{test.id}"
    if quantity_read(test).sampled:
        if is_recorder(instrument):
            return variant(test.quantity, None, nearest_recorder_interval(interval or 0.01))
        return variant(test.quantity, instrument.window, instrument.interval)
    return test.quantity


def reading_node(setting: Setting, test: Test, known: dict[str, Node], sound: Mapping[str, Array]) -> Node:
    """What the ordinary instrument of a test would show, in classes, with a fault the model does not know as parent.

    Such a fault spoils some readings, which then may show anything; the others are those of a sound car.
    """
    instrument = setting.catalogue.instrument(test.instruments[0])
    name = quantity_of(test, instrument)
    quantity = known[name]
    if quantity.edges:
        slipped = misread(setting.catalogue, instrument, test.unit, quantity.edges, sound[name]).shares
        offset = place_offset(instrument)
        if test.quantity == AT_CLAMPS:
            offset = while_cranking(offset, setting.catalogue)
        table, background, edges = outcome_table(quantity.edges, instrument, slipped=slipped, offset=offset)
        states = tuple(f"c_{i:02d}" for i in range(table.shape[1]))
    else:
        card = quantity.card
        table = (1.0 - instrument.slip) * np.eye(card) + instrument.slip / card
        background, edges, states = np.full(card, 1.0 / card), (), quantity.states
    spoilt = setting.number("unlisted_mixture")
    background = spoilt * background + (1.0 - spoilt) * (sound[name] @ table)
    both = np.stack([table.T, np.repeat(background[:, None], table.shape[0], axis=1)], axis=2)
    return Node(f"reading_{test.id}", "reading", states, (name, "unlisted"), normalised(both, 1e-7), edges)
