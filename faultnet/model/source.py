"""Hidden nodes of the battery: its charge, what it offers under load, and the quantities seen at rest."""

from __future__ import annotations

import numpy as np

from faultnet.model import bins
from faultnet.model.network import Array, Node, normalised
from faultnet.model.sampling import (
    HIDDEN_LEAK,
    coarsened,
    histogram,
    in_bins,
    low_discrepancy_points,
    normal_cumulative,
    quantile,
    scattered,
    standard_normal,
)
from faultnet.model.setting import Setting
from faultnet.physics import battery

SUPPLY_STATES = ("good", "weak", "none", "over")
SAMPLES = 1024
FEWER = 192  # where each sample is spread out analytically
PAST_EMPTY = 0.2
AT_ONCE = 0.4  # [-] of the loss under load that a bad cell gives at once; the other 0.6 comes within 15 s (estimate)
CELLS = 6
TWO_READINGS = 0.012  # [V] by which evening and morning differ where nothing was lost; estimate


def supply_node(setting: Setting) -> Node:
    """How well the charging side has fed the battery lately, from the charging modes by the same physics."""
    parents = ("alternator", "regulator", "rectifier", "belt", "charge_cable", "charge_control")
    share = low_discrepancy_points(96, 8)
    cards = [len(setting.modes(p)) for p in parents]

    def spread_out(k: int, values: Array) -> Array:
        shape = [1] * len(parents) + [share.shape[1]]
        shape[k] = cards[k]
        return values.reshape(shape)

    output: Array = np.ones((1,) * 7)
    for k, (component, row) in enumerate(zip(parents, (0, None, 1, 2, None, 3), strict=True)):
        if row is not None:
            output = output * spread_out(k, setting.drawn(component, "output_factor", share[row]))
    volts = setting.spread("set_point_nominal") + spread_out(1, setting.drawn("regulator", "set_point_shift", share[4]))
    volts = volts + spread_out(5, setting.drawn("charge_control", "set_point_shift", share[5]))
    cable = spread_out(4, setting.drawn("charge_cable", "resistance", share[6]))
    reaching = volts - np.minimum(cable * setting.spread("drive_supply_current"), 14.0)
    none = (output < 0.12) | (reaching < 12.7)
    weak = (output < 0.5) | (reaching < 13.3)
    state = np.select([none, weak, reaching > 15.3], [2, 1, 3], default=0)
    counts = np.stack([(state == s).mean(axis=-1) for s in range(4)])
    return Node("supply", "state", SUPPLY_STATES, parents, normalised(counts, 1e-5))


def charge_node(setting: Setting) -> Node:
    """State of charge when the visit starts, from use, supply, drain, battery and the hours standing."""
    parents = ("battery", "supply", "drain", "use")
    share = low_discrepancy_points(SAMPLES, 9)
    after = np.stack([_charge_after_driving(setting, supply, share[0]) for supply in SUPPLY_STATES])
    accepting = setting.drawn("battery", "acceptance_factor", share[1])
    gained = after[None] * np.minimum(1.0, 0.55 + 0.45 * np.sqrt(np.minimum(accepting, 1.0)))[:, None]
    capacity = setting.capacity * setting.drawn("battery", "capacity_factor", share[2])
    leaving = setting.drawn("drain", "current", share[3]) * _drain_share(setting, share[7])
    lacking = setting.effect("use", "normal", "usual_charge").centre - setting.drawn("use", "usual_charge", share[4])
    gained = gained[:, :, None, None] - lacking[None, None, None]
    hours = _hours_standing(setting, share[5])
    own = battery.self_discharge_rate(setting.electrolyte, setting.car.battery.kind)
    fading = own * setting.drawn("battery", "self_discharge_factor", share[6]) / 24.0
    lost = leaving[None, None, :, None] * hours[None, None, None] / capacity[:, None, None, None]
    lost = lost + fading[:, None, None, None] * hours[None, None, None]
    left = np.clip(gained - lost - setting.drawn("use", "left_on_charge", share[8])[None, None, None], -PAST_EMPTY, 1.0)
    return Node("charge", "state", bins.CHARGE.states, parents, histogram(left, bins.CHARGE, 1e-5), bins.CHARGE.edges)


def _charge_after_driving(setting: Setting, supply: str, share: Array) -> Array:
    middle = setting.spread(f"charge_after_{supply}_supply")
    return np.clip(middle + setting.spread(f"charge_after_{supply}_supply_sd") * standard_normal(share), 0.02, 1.0)


def _drain_share(setting: Setting, share: Array) -> Array:
    """A drain that only sometimes stays on draws for part of the time: shape (modes, samples)."""
    chances = np.array([setting.catalogue.on_rate("drain", m, ()) for m in setting.modes("drain")])
    chances[0] = 1.0
    return np.asarray((share[None] < chances[:, None]).astype(float))


def _hours_standing(setting: Setting, share: Array) -> Array:
    """Hours since the last drive, shape (use modes, samples)."""
    hours = 24.0 * setting.drawn("use", "days_standing", share)
    known = setting.conditions.hours_standing
    if known is None:
        return hours
    modes = setting.modes("use")
    given = np.full_like(hours, known)
    given[modes.index("long_standing")] = np.maximum(hours[modes.index("long_standing")], known)
    return given


def charge_after_charging(setting: Setting, hours: float) -> Array:
    """State of charge after a charge, given battery mode and charge before: shape (after, battery modes, before).

    Notes
    -----
    The charger fills what the battery accepts; a sulphated battery accepts little, one with a shorted cell never
    gets its acid back to full strength (estimate).
    """
    share = low_discrepancy_points(SAMPLES, 3)
    before = bins.CHARGE.at(share[0])
    accepting = np.minimum(setting.drawn("battery", "acceptance_factor", share[1]), 1.3)
    reach = np.clip(1.0 - 0.45 * (1.0 - np.minimum(accepting, 1.0)), 0.3, 1.0) - 0.04 * share[2]
    speed = accepting * hours / setting.spread("charger_hours")
    after = before[None] + (np.maximum(reach[:, None], before[None]) - before[None]) * (
        1.0 - np.exp(-2.5 * speed[:, None])
    )
    return histogram(np.clip(after, -PAST_EMPTY, 1.0), bins.CHARGE, 1e-5)


def source_nodes(setting: Setting) -> list[Node]:
    """What the battery offers under load: an EMF and a resistance relative to new, finer for tests of it alone."""
    fine = bins.SOURCE_FACTOR_FINE
    share = low_discrepancy_points(SAMPLES, 6)
    charge = bins.CHARGE.at(share[0])
    rest_loss = setting.drawn("battery", "rest_loss", share[1])
    load_loss = setting.drawn("battery", "load_loss", share[2])
    full = battery.open_circuit_voltage(charge, setting.electrolyte, setting.car.battery.kind)
    full = full - deep_loss(setting, charge, share[1])
    emf = full[None] - rest_loss[:, None] - AT_ONCE * load_loss[:, None]
    few = charge[:, :FEWER], share[:, :FEWER]
    factor = np.stack([_factors(setting, mode, *few) for mode in setting.modes("battery")], axis=1)
    return [
        Node(
            "source_emf", "parameter", bins.SOURCE_EMF.states, ("battery", "charge"),
            scattered(emf, bins.SOURCE_EMF, rest_spread(setting), HIDDEN_LEAK), bins.SOURCE_EMF.edges,
        ),
        Node(
            "source_factor_fine", "parameter", fine.states, ("battery", "charge", "battery_link_now"),
            factor, fine.edges,
        ),
        Node(
            "source_factor", "parameter", bins.SOURCE_FACTOR.states, ("source_factor_fine",),
            coarsened(fine, bins.SOURCE_FACTOR), bins.SOURCE_FACTOR.edges,
        ),
    ]  # fmt: skip


def _factors(setting: Setting, mode: str, charge: Array, share: Array) -> Array:
    """Chance of each resistance relative to new in a mode, shape (states, charge states, link whole or open)."""
    effect, warmth = setting.effect("battery", mode, "resistance_factor"), 0.0075 * setting.temperature_spread
    middle, spread = flat_factor(charge), warmth
    if effect.shape == "lognormal":
        middle, spread = effect.centre * middle, float(np.hypot(effect.spread, warmth))
    else:
        middle = quantile(effect, share[4]) * middle
    link = quantile(setting.effect("battery", mode, "link_resistance"), share[2]) / setting.source_resistance
    beside = np.stack([np.minimum(link, 0.05), np.maximum(link, 8.0)])
    return in_bins(middle[:, None], spread, bins.SOURCE_FACTOR_FINE, beside)


def rest_spread(setting: Setting) -> float:
    """Standard deviation of the rest voltage between batteries of this kind at the same charge [V]."""
    kind = setting.car.battery.kind
    return setting.spread("agm_rest_voltage_spread" if kind == "agm" else "rest_voltage_spread")


def deep_loss(setting: Setting, charge: Array, share: Array) -> Array:
    """What a battery drained past empty lacks beyond its rest voltage at nought [V].

    Charge below nought is what was drawn beyond the rated capacity. A flat battery reads anything from 11.9 V down to
    10 V and less (common practice, no source).
    """
    depth = np.clip(-charge / PAST_EMPTY, 0.0, 1.0)
    return np.asarray(depth * (0.8 + 0.4 * share) * setting.spread("deep_discharge_loss"))


def flat_factor(charge: Array) -> Array:
    """Rise of resistance with falling charge [-], as in :func:`faultnet.physics.battery.resistance`."""
    empty = 1.0 + 8.0 * np.clip(-charge, 0.0, None)
    return np.asarray(empty * battery.resistance(1.0, 25.0, charge) / battery.resistance(1.0, 25.0, 1.0))


SURFACE_SHARES = {
    "rested": (0.93, 0.05, 0.015, 0.005),
    "unknown": (0.55, 0.25, 0.15, 0.05),
    "just_charged": (0.05, 0.2, 0.5, 0.25),
    "shed": (0.85, 0.13, 0.015, 0.005),
}


def surface_node(setting: Setting, state: str | None = None) -> Node:
    """Surface charge still on the battery, by the hours since the engine ran, or elicited by what was done last."""
    if state is None:
        share = low_discrepancy_points(SAMPLES, 2)
        hours = _hours_standing(setting, share[1])[setting.modes("use").index("normal")]
        table = histogram(surface_left(setting, share[0], hours), bins.SURFACE)
    else:
        table = normalised(np.array(SURFACE_SHARES[state]), 1e-4)
    return Node("surface", "state", bins.SURFACE.states, (), table, bins.SURFACE.edges)


def surface_left(setting: Setting, share: Array, hours: Array | float) -> Array:
    """Surface charge left so many hours after charging or driving [V], of the shape of `share`."""
    unlike = np.exp(setting.spread("surface_charge_ln_spread") * standard_normal(share))
    return np.asarray(
        battery.surface_charge(setting.spread("surface_charge_median") * unlike, hours, setting.electrolyte)
    )


def rest_quantities(setting: Setting) -> list[Node]:
    """What is seen at rest: volts at the posts, acid strength, the eye."""
    share = low_discrepancy_points(SAMPLES, 5)
    charge = bins.CHARGE.at(share[0])
    kind = setting.car.battery.kind
    volts = np.asarray(battery.open_circuit_voltage(charge, setting.electrolyte, kind))[None]
    volts = volts - deep_loss(setting, charge, share[4])[None]
    volts = volts - setting.drawn("battery", "rest_loss", share[1])[:, None]
    skin = bins.SURFACE.at(share[2])
    rest = scattered(volts[:, :, None] + skin[None, None], bins.REST_VOLTS, rest_spread(setting))
    gravity = np.asarray(battery.specific_gravity(charge, kind))[None] - _gravity_loss(setting, share[3])[:, None]
    level = scattered(gravity, bins.GRAVITY, setting.spread("gravity_level_spread"))
    spread = histogram(setting.drawn("battery", "gravity_spread", share[4]), bins.GRAVITY_SPREAD)
    return [
        Node(
            "rest_voltage", "quantity", bins.REST_VOLTS.states, ("battery", "charge", "surface"),
            rest, bins.REST_VOLTS.edges,
        ),
        Node("gravity_level", "quantity", bins.GRAVITY.states, ("battery", "charge"), level, bins.GRAVITY.edges),
        Node("gravity_spread", "quantity", bins.GRAVITY_SPREAD.states, ("battery",), spread, bins.GRAVITY_SPREAD.edges),
        eye_node(setting),
        hold_node(setting),
    ]  # fmt: skip


def _gravity_loss(setting: Setting, share: Array) -> Array:
    """How far mean acid strength lies under a sound battery of this charge [-], shape (battery modes, samples).

    Notes
    -----
    A rest voltage lost in all cells goes with their acid, dSG = dV / 6 (cell voltage = SG + 0.845, Vinal, from memory);
    one bad cell lies below the other five by the spread of the six readings.
    """
    loss = setting.drawn("battery", "rest_loss", share) / CELLS
    one_cell = setting.drawn("battery", "gravity_spread", share) / CELLS
    single = np.array([m in ("weak_cell", "shorted_cell") for m in setting.modes("battery")])
    return np.where(single[:, None], one_cell, loss)


def eye_node(setting: Setting) -> Node:
    """Colour of the built-in hydrometer, which sees one cell of six."""
    modes = setting.modes("battery")
    charge = bins.CHARGE.at(np.linspace(1.0 / 32.0, 31.0 / 32.0, 16))
    above = (charge - setting.spread("eye_green_charge")) / setting.spread("eye_green_charge_spread")
    green = 0.97 * normal_cumulative(above).mean(axis=1)
    table = np.empty((3, len(modes), len(charge)))
    for m, mode in enumerate(modes):
        seen_bad = 1.0 / 6.0 if mode in ("weak_cell", "shorted_cell") else 0.0
        clear = 0.5 if mode == "dried_out" else 0.015
        shown = green * (1.0 - seen_bad)
        table[:, m] = np.stack([shown * (1.0 - clear), (1.0 - shown) * (1.0 - clear), np.full_like(green, clear)])
    return Node("eye", "quantity", ("green", "dark", "clear"), ("battery", "charge"), normalised(table, 1e-3))


def hold_node(setting: Setting) -> Node:
    """Volts at rest half a day after a full charge."""
    share = low_discrepancy_points(SAMPLES, 5)
    accepting = np.minimum(setting.drawn("battery", "acceptance_factor", share[0]), 1.0)
    charge = np.clip(1.0 - 0.45 * (1.0 - accepting) - 0.04 * share[1], 0.05, 1.0)
    own = battery.self_discharge_rate(setting.electrolyte, setting.car.battery.kind)
    days = setting.spread("hold_hours") / 24.0
    charge = np.clip(charge - days * own * setting.drawn("battery", "self_discharge_factor", share[2]), 0.0, 1.0)
    volts = battery.open_circuit_voltage(charge, setting.electrolyte, setting.car.battery.kind)
    volts = volts - setting.drawn("battery", "rest_loss", share[3])
    volts = volts + surface_left(setting, share[4], setting.spread("hold_hours"))
    table = scattered(volts, bins.REST_VOLTS, rest_spread(setting))
    return Node("hold_after_charge", "quantity", bins.REST_VOLTS.states, ("battery",), table, bins.REST_VOLTS.edges)


def parked_quantities(setting: Setting) -> list[Node]:
    """Key-off current, and the fall of the rest voltage over a night."""
    share = low_discrepancy_points(SAMPLES, 2)
    total = setting.drawn("drain", "current", share[0])[:, None] + setting.drawn("rectifier", "leakage", share[1])[None]
    return [
        Node(
            "key_off_current", "quantity", bins.KEY_OFF.states, ("drain_now", "rectifier"),
            histogram(total, bins.KEY_OFF), bins.KEY_OFF.edges,
        ),
        overnight_node(setting),
    ]  # fmt: skip


def overnight_node(setting: Setting) -> Node:
    """Fall of the rest voltage over a night; the last of a flat battery's charge goes with far more of its volts."""
    share = low_discrepancy_points(256, 7)
    drained, leaked = setting.drawn("drain", "current", share[0]), setting.drawn("rectifier", "leakage", share[1])
    hours = setting.spread("overnight_hours")
    capacity = setting.capacity * setting.drawn("battery", "capacity_factor", share[2])
    own = battery.self_discharge_rate(setting.electrolyte, setting.car.battery.kind)
    fade = own * setting.drawn("battery", "self_discharge_factor", share[3]) * hours / 24.0
    before = bins.CHARGE.at(share[4])
    lost = (drained[:, None] + leaked[None])[:, :, None] * hours / capacity + fade
    after = np.maximum(before - lost[:, :, :, None], -PAST_EMPTY)
    fall = _rest_volts(setting, before, share[5]) - _rest_volts(setting, after, share[5])
    table = histogram(fall + TWO_READINGS * standard_normal(share[6]), bins.OVERNIGHT)
    parents = ("drain_now", "rectifier", "battery", "charge")
    return Node("overnight_fall", "quantity", bins.OVERNIGHT.states, parents, table, bins.OVERNIGHT.edges, TWO_READINGS)


def _rest_volts(setting: Setting, charge: Array, share: Array) -> Array:
    """Rest volts of a sound battery, drained past empty or not [V]."""
    kind = setting.car.battery.kind
    volts = battery.open_circuit_voltage(charge, setting.electrolyte, kind)
    return np.asarray(volts - deep_loss(setting, charge, share))


def module_offset_node(setting: Setting) -> Node:
    """Control module's reading minus the posts' at rest; depends on nothing, and corrects what the module shows."""
    middle, spread = setting.spread("module_offset_mean"), setting.spread("module_offset_spread")
    table = histogram(middle + spread * standard_normal(low_discrepancy_points(512, 1)[0]), bins.MODULE_OFFSET, 5e-3)
    return Node("module_offset", "quantity", bins.MODULE_OFFSET.states, (), table, bins.MODULE_OFFSET.edges)
