"""Component nodes with their priors, and which faults that come and go are on at a visit."""

from __future__ import annotations

from itertools import product

import numpy as np

from faultnet.model.network import Array, Node, normalised
from faultnet.model.setting import Setting

NOW_LEAK = 1e-8
COMING_AND_GOING = (
    "positive_joint",
    "negative_joint",
    "ground_path",
    "solenoid",
    "starter_motor",
    "start_control",
    "alternator",
    "drain",
)

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
            weight[alone.states.index("dried_out")] *= setting.spread("dried_out_overcharge_factor")
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
    return max([1.0, *(setting.spread(name) for name, holds in reasons.items() if holds)])


def on_chances(setting: Setting, component: str) -> Array:
    """Chance that each mode of a component is on at this visit [-], shape (modes,); the sound mode counts as on."""
    modes = setting.modes(component)
    chances = [1.0] + [setting.catalogue.on_rate(component, m, setting.brought_on) for m in modes[1:]]
    return np.array(chances)


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
    broken[modes.index("broken_link")] = setting.catalogue.on_rate("battery", "broken_link", setting.brought_on)
    table = np.stack([1.0 - broken, broken])
    return Node("battery_link_now", "state", ("whole", "open"), ("battery",), normalised(table, NOW_LEAK))
