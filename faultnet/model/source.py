"""Hidden nodes of the battery: its charge, what it offers under load, and the quantities seen at rest."""

from __future__ import annotations

import numpy as np

from faultnet.model import bins
from faultnet.model.modes import LINK_NODE, active_node
from faultnet.model.network import Array, Node, normalised
from faultnet.model.points import low_discrepancy_points
from faultnet.model.quantity import Law, Now, Quantity, Workings
from faultnet.model.sampling import (
    HIDDEN_LEAK,
    coarsened,
    histogram,
    in_bins,
    normal_cumulative,
    quantile,
    scattered,
    standard_normal,
)
from faultnet.model.setting import Setting
from faultnet.physics import battery, charging
from faultnet.physics.quantity import Quantity as Value

SUPPLY_STATES = ("good", "weak", "none", "over")
SAMPLES = 1024
FEWER = 192  # where each sample is spread out analytically
CELLS = 6


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
    begins = spread_out(5, begins_to_charge(setting, share[7]))
    for k, (component, row) in enumerate(zip(parents, (0, None, 1, 2, None, 3), strict=True)):
        if row is not None:
            output = output * spread_out(k, setting.drawn(component, "output_factor", share[row]))
    output = np.where(begins <= brisk_speed(setting), output, 0.0)
    volts = setting.number("set_point_nominal") + spread_out(1, setting.drawn("regulator", "set_point_shift", share[4]))
    volts = volts + spread_out(5, setting.drawn("charge_control", "set_point_shift", share[5]))
    cable = spread_out(4, setting.drawn("charge_cable", "resistance", share[6]))
    reaching = volts - np.minimum(cable * setting.number("drive_supply_current"), 14.0)
    none = (output < setting.number("supply_none_below_output")) | (
        reaching < setting.number("supply_none_below_volts")
    )
    weak = (output < setting.number("supply_weak_below_output")) | (
        reaching < setting.number("supply_weak_below_volts")
    )
    over = reaching > setting.number("supply_over_above_volts")
    state = np.select([none, weak, over], [2, 1, 3], default=0)
    counts = np.stack([(state == s).mean(axis=-1) for s in range(4)])
    return Node("supply", "state", SUPPLY_STATES, parents, normalised(counts, 1e-5))


def brisk_speed(setting: Setting) -> float:
    """Speed of an ordinary car's alternator at brisk engine speed, which every drive reaches [rev/min]."""
    return setting.number("pulley_ratio_mean") * setting.number("raised_speed")


def begins_to_charge(setting: Setting, share: Array) -> Array:
    """Speed from which the alternator is excited, by the mode of its control, shape (modes, *shape of share)."""
    drawn = setting.drawn("charge_control", "excited_from", share)
    return np.asarray(charging.begins_to_charge(drawn, setting.car.charge_control))


def charge_node(setting: Setting) -> Node:
    """State of charge when the visit starts, from use, supply, drain, battery and the hours standing."""
    parents = ("battery", "supply", "drain", "use")
    share = low_discrepancy_points(SAMPLES, 9)
    after = np.stack([charge_after_driving(setting, supply, share[0]) for supply in SUPPLY_STATES])
    accepting = accepting_of_its_own(setting, share[1], share[2])
    gained = after[None] * kept_in_use(setting, accepting)[:, None]
    capacity = setting.capacity * setting.drawn("battery", "capacity_factor", share[2])
    leaving = setting.drawn("drain", "current", share[3]) * _drain_share(setting, share[7])
    lacking = setting.effect("use", "normal", "usual_charge").centre - setting.drawn("use", "usual_charge", share[4])
    gained = gained[:, :, None, None] - lacking[None, None, None]
    hours = _hours_standing(setting, share[5])
    own = battery.self_discharge_rate(setting.electrolyte, setting.car.battery.kind)
    fading = own * setting.drawn("battery", "self_discharge_factor", share[6]) / 24.0
    lost = leaving[None, None, :, None] * hours[None, None, None] / capacity[:, None, None, None]
    lost = lost + fading[:, None, None, None] * hours[None, None, None]
    left = np.clip(
        gained - lost - setting.drawn("use", "left_on_charge", share[8])[None, None, None],
        -setting.number("past_empty"),
        1.0,
    )
    return Node("charge", "state", bins.CHARGE.states, parents, histogram(left, bins.CHARGE, 1e-5), bins.CHARGE.edges)


def accepting_of_its_own(setting: Setting, taken: Array, left: Array) -> Array:
    """Current taken for each ampere hour left over that of a battery as labelled, shape (battery modes, samples).

    Parameters
    ----------
    setting : Setting
    taken, left : array, shape (samples,)
        Shares of the current it takes and of the capacity it has left.
    """
    current = setting.drawn("battery", "acceptance_factor", taken)
    return np.asarray(battery.acceptance_of_its_own(current, setting.drawn("battery", "capacity_factor", left)))


def reached(setting: Setting, accepting: Value) -> Array:
    """What a long charge fills of a battery that accepts so much for what it has left [-], shape of `accepting`."""
    lost = setting.number("charge_lost_without_acceptance")
    return np.asarray(np.clip(1.0 - lost * (1.0 - np.minimum(accepting, 1.0)), 0.3, 1.0))


def kept_in_use(setting: Setting, accepting: Value) -> Array:
    """Charge that use leaves in such a battery over that in one which accepts well [-], shape of `accepting`."""
    lost = setting.number("charge_lost_without_acceptance")
    return np.asarray(1.0 - lost + lost * np.sqrt(np.minimum(accepting, 1.0)))


def charge_after_driving(setting: Setting, supply: str, share: Array) -> Array:
    """What ordinary driving leaves in a battery that accepts charge well, by the state of the supply [-]."""
    middle = setting.number(f"charge_after_{supply}_supply")
    return np.clip(middle + setting.number(f"charge_after_{supply}_supply_sd") * standard_normal(share), 0.02, 1.0)


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


def charge_after_charging(setting: Setting, hours: float | Array) -> Array:
    """State of charge after a charge, given battery mode and charge before: shape (after, battery modes, before).

    Notes
    -----
    The charger fills what the battery accepts for each ampere hour that it has left: a worn or a small one is filled
    like any other, a sulphated one is not, as part of its acid stays bound (estimate).
    """
    share = low_discrepancy_points(SAMPLES, 4)
    before = bins.CHARGE.at(share[0])
    accepting = np.minimum(accepting_of_its_own(setting, share[1], share[3]), 1.3)
    reach = reached(setting, accepting) - setting.number("charge_short_of_full") * share[2]
    speed = accepting * hours / setting.number("charger_hours")
    after = before[None] + (np.maximum(reach[:, None], before[None]) - before[None]) * (
        1.0 - np.exp(-setting.number("charger_time_constants") * speed[:, None])
    )
    return histogram(np.clip(after, -setting.number("past_empty"), 1.0), bins.CHARGE, 1e-5)


def source_nodes(setting: Setting) -> list[Node]:
    """What the battery offers under load: an EMF and a resistance relative to new, finer for tests of it alone."""
    fine = bins.SOURCE_FACTOR_FINE
    share = low_discrepancy_points(SAMPLES, 6)
    own = active_node(setting.catalogue, "battery")
    charge = bins.CHARGE.at(share[0])
    rest_loss = setting.drawn("battery", "rest_loss", share[1])
    load_loss = setting.drawn("battery", "load_loss", share[2])
    full = battery.open_circuit_voltage(charge, setting.electrolyte, setting.car.battery.kind)
    full = full - deep_loss(setting, charge, share[1])
    emf = full[None] - rest_loss[:, None] - setting.number("bad_cell_loss_at_once") * load_loss[:, None]
    few = charge[:, :FEWER], share[:, :FEWER]
    factor = np.stack([_factors(setting, mode, *few) for mode in setting.modes("battery")], axis=1)
    return [
        Node(
            "source_emf", "parameter", bins.SOURCE_EMF.states, (own, "charge"),
            scattered(emf, bins.SOURCE_EMF, rest_spread(setting), HIDDEN_LEAK), bins.SOURCE_EMF.edges,
        ),
        Node(
            "source_factor_fine", "parameter", fine.states, (own, "charge", f"{LINK_NODE}_now"), factor, fine.edges,
        ),
        Node(
            "source_factor", "parameter", bins.SOURCE_FACTOR.states, ("source_factor_fine",),
            coarsened(fine, bins.SOURCE_FACTOR), bins.SOURCE_FACTOR.edges,
        ),
    ]  # fmt: skip


def _factors(setting: Setting, mode: str, charge: Array, share: Array) -> Array:
    """Chance of each resistance relative to new in a mode, shape (states, charge states, link whole or open)."""
    effect = setting.effect("battery", mode, "resistance_factor")
    # a rating that is not known is a resistance that is not known, as the one goes with the inverse of the other
    warmth = float(np.hypot(0.0075 * setting.temperature_spread, setting.rating_spread))
    middle, spread = flat_factor(setting, charge), warmth
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
    return setting.number("agm_rest_voltage_spread" if kind == "agm" else "rest_voltage_spread")


def deep_loss(setting: Setting, charge: Array, share: Array) -> Array:
    """What a battery drained past empty lacks beyond its rest voltage at nought [V].

    Charge below nought is what was drawn beyond the rated capacity. A flat battery reads anything from 11.9 V down to
    10 V and less (common practice, no source).
    """
    depth = np.clip(-charge / setting.number("past_empty"), 0.0, 1.0)
    unlike = setting.number("deep_discharge_loss_spread")
    return np.asarray(depth * (1.0 - unlike + 2.0 * unlike * share) * setting.number("deep_discharge_loss"))


def drawn_down(setting: Setting, charge: Array, volts: Array, share: Array) -> Array:
    """What a battery drained past empty lacks where the load that drained it is still on [V].

    Notes
    -----
    Such a car reads some 3 to 8 V, and its battery 8 to 11.8 V once it has rested (common practice, no source).
    """
    chance = setting.number("flat_with_load") * np.clip(-charge / setting.number("past_empty"), 0.0, 1.0)
    low, high = setting.number("flat_with_load_lowest"), setting.number("flat_with_load_highest")
    seen = low + (high - low) * share / np.maximum(chance, 1e-9)
    return np.where(share < chance, np.maximum(volts - seen, 0.0), 0.0)


def flat_factor(setting: Setting, charge: Array) -> Array:
    """Rise of resistance with falling charge [-], as in :func:`faultnet.physics.battery.resistance`."""
    empty = 1.0 + setting.number("resistance_rise_past_empty") * np.clip(-charge, 0.0, None)
    return np.asarray(empty * battery.resistance(1.0, 25.0, charge) / battery.resistance(1.0, 25.0, 1.0))


def surface_node(setting: Setting) -> Node:
    """Surface charge on the battery when the visit begins, by the hours since the engine last ran."""
    return surface_after(setting, setting.conditions.hours_standing)


def surface_after(setting: Setting, hours: float | None) -> Node:
    """Surface charge so many hours after the battery was last charged, by driving or by a charger.

    Notes
    -----
    What there is at first is spread as the prior set says; it fades as
    :func:`faultnet.physics.charge.surface_charge` says, as in the virtual cars. None: nobody knows how long ago, and
    the hours are those of a car in ordinary use.
    """
    share = low_discrepancy_points(SAMPLES, 2)
    stood = 24.0 * setting.drawn("use", "days_standing", share[1])[0] if hours is None else hours
    left = surface_left(setting, share[0], stood)
    return _surface(histogram(left, bins.SURFACE, setting.number("surface_strange")))


def surface_left(setting: Setting, share: Array, hours: Array | float) -> Array:
    """Surface charge left so many hours after charging or driving [V], of the shape of `share`."""
    unlike = np.exp(setting.number("surface_charge_ln_spread") * standard_normal(share))
    return np.asarray(
        battery.surface_charge(setting.number("surface_charge_median") * unlike, hours, setting.electrolyte)
    )


def surface_shed(setting: Setting) -> Node:
    """Surface charge left after some minutes of headlamps: from none to twice the median."""
    left = 2.0 * setting.number("surface_charge_left_after_lamps") * low_discrepancy_points(SAMPLES, 1)[0]
    return _surface(histogram(left, bins.SURFACE, setting.number("surface_strange")))


def _surface(table: Array) -> Node:
    return Node("surface", "state", bins.SURFACE.states, (), table, bins.SURFACE.edges)


def _rest_voltage(at: Workings) -> Array:
    """Volts at the posts, everything off."""
    setting, share = at.setting, low_discrepancy_points(SAMPLES, 6)
    charge = bins.CHARGE.at(share[0])
    volts = np.asarray(battery.open_circuit_voltage(charge, setting.electrolyte, setting.car.battery.kind))[None]
    volts = volts - deep_loss(setting, charge, share[4])[None]
    volts = volts - setting.drawn("battery", "rest_loss", share[1])[:, None]
    volts = volts - drawn_down(setting, charge, volts, share[5])
    skin = bins.SURFACE.at(share[2])
    return scattered(volts[:, :, None] + skin[None, None], bins.REST_VOLTS, rest_spread(setting))


def _gravity_level(at: Workings) -> Array:
    """Mean specific gravity of the six cells."""
    setting, share = at.setting, low_discrepancy_points(SAMPLES, 5)
    charge = bins.CHARGE.at(share[0])
    gravity = np.asarray(battery.specific_gravity(charge, setting.car.battery.kind))[None]
    gravity = gravity - _gravity_loss(setting, share[3])[:, None]
    return scattered(gravity, bins.GRAVITY, setting.number("gravity_level_spread"))


def _gravity_spread(at: Workings) -> Array:
    """Highest less lowest of the six specific gravities."""
    values = at.setting.drawn("battery", "gravity_spread", low_discrepancy_points(SAMPLES, 5)[4])
    return histogram(values, bins.GRAVITY_SPREAD)


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


def _eye(at: Workings) -> Array:
    """Colour of the built-in hydrometer, which sees one cell of six."""
    setting = at.setting
    modes = setting.modes("battery")
    charge = bins.CHARGE.at(np.linspace(1.0, 31.0, 16) / 32.0)
    above = (charge - setting.number("eye_green_charge")) / setting.number("eye_green_charge_spread")
    green = setting.number("eye_green_share") * normal_cumulative(above).mean(axis=1)
    table = np.empty((3, len(modes), len(charge)))
    for m, mode in enumerate(modes):
        seen_bad = 1.0 / setting.number("eye_cells") if mode in ("weak_cell", "shorted_cell") else 0.0
        clear = setting.number("eye_clear_dried_out" if mode == "dried_out" else "eye_clear_otherwise")
        shown = green * (1.0 - seen_bad)
        table[:, m] = np.stack([shown * (1.0 - clear), (1.0 - shown) * (1.0 - clear), np.full_like(green, clear)])
    return normalised(table, 1e-3)


def _hold(at: Workings) -> Array:
    """Volts at rest half a day after a full charge."""
    setting = at.setting
    share = low_discrepancy_points(SAMPLES, 6)
    reach = reached(setting, accepting_of_its_own(setting, share[0], share[5]))
    charge = np.clip(reach - setting.number("charge_short_of_full") * share[1], 0.05, 1.0)
    own = battery.self_discharge_rate(setting.electrolyte, setting.car.battery.kind)
    days = setting.number("hold_hours") / 24.0
    charge = np.clip(charge - days * own * setting.drawn("battery", "self_discharge_factor", share[2]), 0.0, 1.0)
    volts = battery.open_circuit_voltage(charge, setting.electrolyte, setting.car.battery.kind)
    volts = volts - setting.drawn("battery", "rest_loss", share[3])
    volts = volts + surface_left(setting, share[4], setting.number("hold_hours"))
    return scattered(volts, bins.REST_VOLTS, rest_spread(setting))


def _key_off_current(setting: Setting, drain_current: Array, rectifier_leakage: Array) -> Array:
    """Current while parked and asleep: what drains the car, and what leaks back through the diodes [A]."""
    return drain_current + rectifier_leakage


def _draw_at_once(at: Workings) -> Array:
    """Current with the key off before the modules sleep: what a sound car's draw until then comes on top [A]."""
    setting, share = at.setting, low_discrepancy_points(SAMPLES, 2)
    drained, leaked = setting.drawn("drain", "current", share[0]), setting.drawn("rectifier", "leakage", share[1])
    spread = setting.number("awake_draw_ln_spread")
    return in_bins(setting.number("awake_draw"), spread, bins.DRAW_AT_ONCE, drained[:, None] + leaked[None])


def _overnight_fall(at: Workings) -> Array:
    """Fall of the rest voltage over a night; the last of a flat battery's charge goes with far more of its volts."""
    setting = at.setting
    share = low_discrepancy_points(256, 6)
    drained, leaked = setting.drawn("drain", "current", share[0]), setting.drawn("rectifier", "leakage", share[1])
    hours = setting.number("overnight_hours")
    capacity = setting.capacity * setting.drawn("battery", "capacity_factor", share[2])
    own = battery.self_discharge_rate(setting.electrolyte, setting.car.battery.kind)
    fade = own * setting.drawn("battery", "self_discharge_factor", share[3]) * hours / 24.0
    before = bins.CHARGE.at(share[4])
    lost = (drained[:, None] + leaked[None])[:, :, None] * hours / capacity + fade
    after = np.maximum(before - lost[:, :, :, None], -setting.number("past_empty"))
    fall = _rest_volts(setting, before, share[5]) - _rest_volts(setting, after, share[5])
    return scattered(fall, bins.OVERNIGHT, setting.number("overnight_readings_spread"))


def _rest_volts(setting: Setting, charge: Array, share: Array) -> Array:
    """Rest volts of a sound battery, drained past empty or not [V]."""
    kind = setting.car.battery.kind
    volts = battery.open_circuit_voltage(charge, setting.electrolyte, kind)
    return np.asarray(volts - deep_loss(setting, charge, share))


def _module_offset(at: Workings) -> Array:
    """Control module's reading minus the posts' at rest; depends on nothing, and corrects what the module shows."""
    middle, spread = at.setting.number("module_offset_mean"), at.setting.number("module_offset_spread")
    return histogram(middle + spread * standard_normal(low_discrepancy_points(512, 1)[0]), bins.MODULE_OFFSET, 5e-3)


QUANTITIES = (
    Quantity(
        "rest_voltage", "V", "battery", (Now("battery"), "charge", "surface"), bins.REST_VOLTS, _rest_voltage,
        unlike="unlike_rest_volts",
    ),
    Quantity(
        "gravity_level", "-", "battery", (Now("battery"), "charge"), bins.GRAVITY, _gravity_level,
        unlike="unlike_gravity",
    ),
    Quantity(
        "gravity_spread", "-", "battery", (Now("battery"),), bins.GRAVITY_SPREAD, _gravity_spread,
        unlike="unlike_gravity_spread_ln",
    ),
    Quantity("eye", "", "battery", (Now("battery"), "charge"), ("green", "dark", "clear"), _eye),
    Quantity(
        "hold_after_charge", "V", "battery", (Now("battery"),), bins.REST_VOLTS, _hold, unlike="unlike_rest_volts"
    ),
    Quantity(
        "key_off_current", "A", "parked", (Now("drain"), Now("rectifier")), bins.KEY_OFF,
        Law(_key_off_current, (("drain", "current"), ("rectifier", "leakage")), points=SAMPLES),
        unlike="unlike_key_off_ln",
    ),
    Quantity(
        "draw_at_once", "A", "parked", (Now("drain"), Now("rectifier")), bins.DRAW_AT_ONCE, _draw_at_once,
        scatter="awake_draw_between_readings", unlike="unlike_draw_at_once_ln",
    ),
    Quantity(
        "overnight_fall", "V", "parked", (Now("drain"), Now("rectifier"), Now("battery"), "charge"), bins.OVERNIGHT,
        _overnight_fall, scatter="overnight_readings_spread", unlike="unlike_overnight",
    ),
    Quantity("module_offset", "V", "battery", (), bins.MODULE_OFFSET, _module_offset, unlike="unlike_module_offset"),
)  # fmt: skip
