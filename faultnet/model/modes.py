"""Component nodes with their priors, and which faults that come and go are on at a visit."""

from __future__ import annotations

from itertools import product

import numpy as np

from faultnet.model.network import Array, Node, normalised
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue

NOW_LEAK = 1e-13
LINK = ("battery", "broken_link")  # acts through the link between the cells alone, by a state node of its own
LINK_NODE = "battery_link"
BATTERY_PARENTS = ("use", "drain", "alternator", "regulator")


def component_nodes(setting: Setting) -> list[Node]:
    """One node for each component, its prior from the counts for this battery's age and this climate.

    Components are independent but for the battery, which suffers from how it is used and charged.
    """
    age, climate = setting.car.battery.age, setting.car.climate
    nodes = {}
    for component in setting.catalogue.components:
        modes = setting.modes(component.id)
        counts = np.array([setting.catalogue.rate(component.id, m, age, climate)[0] for m in modes])
        nodes[component.id] = Node(component.id, "component", modes, (), normalised(counts, leak=1e-7))
    nodes["battery"] = _battery_node(setting, nodes.pop("battery"))
    return list(nodes.values())


def _battery_node(setting: Setting, alone: Node) -> Node:
    """The battery's prior given use, drain and charging: the odds of sulphation and of drying out are raised."""
    modes = [setting.modes(p) for p in BATTERY_PARENTS]
    table = np.empty((alone.card, *(len(m) for m in modes)))
    for index in product(*(range(len(m)) for m in modes)):
        use, drain, alternator, regulator = (m[i] for m, i in zip(modes, index, strict=True))
        weight = alone.table.copy()
        weight[alone.states.index("sulphated")] *= _sulphation_factor(setting, use, drain, alternator, regulator)
        if regulator == "high":
            weight[alone.states.index("dried_out")] *= setting.number("dried_out_overcharge_factor")
        column: tuple[slice | int, ...] = (slice(None), *index)
        table[column] = weight / weight.sum()
    return Node("battery", "component", alone.states, BATTERY_PARENTS, table)


def _sulphation_factor(setting: Setting, use: str, drain: str, alternator: str, regulator: str) -> float:
    """Odds of sulphation against a car that is driven and charged well [-]; the strongest reason counts."""
    reasons = {
        "sulphation_short_trips_factor": use == "short_trips",
        "sulphation_long_standing_factor": use == "long_standing",
        "sulphation_charging_fault_factor": alternator != "sound" or regulator == "low",
        "sulphation_drain_factor": drain != "sound",
    }
    return max([1.0, *(setting.number(name) for name, holds in reasons.items() if holds)])


def intermittent_components(catalogue: Catalogue) -> tuple[str, ...]:
    """Components with a mode that comes and goes, in the catalogue's order.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> intermittent_components(load_catalogue())[:2]
    ('positive_joint', 'negative_joint')
    """
    owners = {component for component, mode in catalogue.on_rates if (component, mode) != LINK}
    return tuple(component.id for component in catalogue.components if component.id in owners)


def active_node(catalogue: Catalogue, component: str) -> str:
    """Name of the node that says what a component does now: its own, or that of its activity if it comes and goes.

    Every parameter that a mode spreads at a visit depends on this node, whichever modes a prior set has.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> active_node(load_catalogue(), "drain"), active_node(load_catalogue(), "belt")
    ('drain_now', 'belt')
    """
    return f"{component}_now" if component in intermittent_components(catalogue) else component


def on_chances(setting: Setting, component: str) -> Array:
    """Chance that each mode of a component is on at this visit [-], shape (modes,); the sound mode counts as on."""
    catalogue, conditions = setting.catalogue, setting.brought_on
    chances = [
        1.0 if (component, m) == LINK else catalogue.on_rate(component, m, conditions)
        for m in setting.modes(component)[1:]
    ]
    return np.array([1.0, *chances])


def drawn_when_active(setting: Setting, component: str, parameter: str, share: Array, luck: Array) -> Array:
    """Values of a parameter at this visit for every mode, a fault that is off being sound: shape (modes, samples)."""
    values = setting.drawn(component, parameter, share)
    return np.where(luck[None] < on_chances(setting, component)[:, None], values, values[:1])


def now_node(setting: Setting, component: str) -> Node:
    """State node: the mode the component acts in at this visit; a fault that is off acts as sound."""
    modes = setting.modes(component)
    on = on_chances(setting, component)
    table = np.diag(on)
    table[0, 1:] = 1.0 - on[1:]
    table[0, 0] = 1.0
    return Node(f"{component}_now", "state", modes, (component,), normalised(table, NOW_LEAK))


def battery_link_node(setting: Setting) -> Node:
    """State node: whether the link between the cells conducts at this visit."""
    modes = setting.modes("battery")
    broken = np.zeros(len(modes))
    broken[modes.index(LINK[1])] = setting.catalogue.on_rate(*LINK, setting.brought_on)
    table = np.stack([1.0 - broken, broken])
    return Node(f"{LINK_NODE}_now", "state", ("whole", "open"), ("battery",), normalised(table, NOW_LEAK))
