"""What each part of a car is like: a handful of numbers for each component, sound or in one of its fault modes.

Sound parts lie within the trade's limits; a fault mode reaches from the limit outwards. One figure of wear, the same
for the whole car, places the sound parts within their ranges: an old, neglected car has several weak things at once,
none of which is a fault. A mode that comes and goes has two conditions, one while it shows and one while it does not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi, radians, sqrt

import numpy as np

from faultnet.case.types import Car
from faultnet.simulation.independent.numbers import at, typical

Condition = Mapping[str, float]
OPEN = float("inf")
WEAR_SHARE = 0.6  # [-] correlation of a part's place in its range with the wear of the car; estimate
CLASS_TORQUE = {"petrol": 42.0, "diesel": 85.0}  # [N m] that the middle starter of a class turns; derived: 1.5, 1.9 l
COMES_AND_GOES = {
    ("battery", "broken_link"),
    ("positive_joint", "slack"),
    ("negative_joint", "slack"),
    ("ground_path", "breaks_contact"),
    ("solenoid", "worn_contacts"),
    ("starter_motor", "worn_brushes"),
    ("start_control", "intermittent"),
    ("alternator", "worn_brushes"),
    ("drain", "stays_awake"),
}


@dataclass(frozen=True)
class Build:
    """What a car is, whatever the state of its parts.

    Parameters
    ----------
    car : Car
        As its papers have it, the battery as it is really marked.
    needed : float
        Rating the maker requires, EN [A].
    flux, efficiency, winding, henries, brush : float
        Of the starter the maker chose [V s/rad at the crank, -, ohm, H, V].
    dry, viscous, compression, inertia, oil_slope, play : float
        Of the engine at 220 rev/min and 20 degC [N m, N m, N m, kg m2, 1/K], and of the drive to it [rad].
    fires_at : float
        Speed from which it fires at 20 degC [rev/min].
    lamps, base, blower, rear, extra : float
        Currents of the consumers at 13.5 V [A].
    idle, pulley : float
        [rev/min], [-].
    saves : bool
        Whether its charge control sits low when it can.
    sealed, eye : bool
        Cells cannot be opened; the lid has an eye.
    module_below, module_cranking, socket_below : float
        Volts lost to the module at rest, more of it while cranking, and to the accessory socket [V].
    """

    car: Car
    needed: float
    flux: float
    efficiency: float
    winding: float
    henries: float
    brush: float
    dry: float
    viscous: float
    compression: float
    inertia: float
    oil_slope: float
    play: float
    fires_at: float
    lamps: float
    base: float
    blower: float
    rear: float
    extra: float
    idle: float
    pulley: float
    saves: bool
    sealed: bool
    eye: bool
    module_below: float
    module_cranking: float
    socket_below: float

    @property
    def fitted(self) -> float:
        """Rating truly on the label of the battery that is fitted, EN [A]."""
        return self.needed if self.car.battery.rating is None else self.car.battery.rating

    @property
    def fitted_sae(self) -> float:
        """The same by SAE [A]."""
        return self.fitted * typical("sae_per_en")


@dataclass(frozen=True)
class Dice:
    """A random generator with the wear of a car."""

    rng: np.random.Generator
    wear: float = 0.0

    def free(self, name: str) -> float:
        """A number that wear has no part in, in its own unit."""
        return at(name, float(self.rng.standard_normal()))

    def worn(self, name: str, sign: float = 1.0) -> float:
        """A number that wear pushes towards its high end, or with -1 its low end, in its own unit."""
        own = sqrt(1.0 - WEAR_SHARE**2) * float(self.rng.standard_normal())
        return at(name, sign * (WEAR_SHARE * self.wear + own))

    def happens(self, chance: float) -> bool:
        """Whether something with that chance happens."""
        return bool(self.rng.random() < chance)


def draw_build(dice: Dice, car: Car, needed: float) -> Build:
    """The car as its maker built it: a starter that turns this engine, consumers that fit its alternator."""
    fuel = car.fuel
    bar = dice.free(f"drag_bar_{fuel}")
    drag = bar * 1e5 * car.displacement * 1e-3 / (4.0 * pi)  # mean pressure to torque of a four-stroke engine
    share = typical("drag_viscous_share")
    winding = dice.free("motor_milliohms" if fuel == "petrol" else "motor_milliohms_diesel") * 1e-3
    efficiency = dice.free("gear_efficiency")
    speed = dice.free(f"crank_speed_{fuel}") * pi / 30.0
    # A little engine has a little starter: what it has to turn scales the winding, within the range of a class.
    usual = CLASS_TORQUE[fuel]
    winding *= min(max(sqrt(usual / drag), 0.8), 1.25)
    loop = winding + 2.64 / (needed * typical("sae_per_en")) + 0.0022  # battery as required, cables and joints [ohm]
    reach = 12.5 - 0.45 - typical("brush_volts")  # [V] rest less kinetics and brushes
    root = max(reach**2 - 4.0 * speed * drag * loop / efficiency, 0.0)
    flux = (reach + sqrt(root)) / (2.0 * speed)
    extra = dice.free("extra_share") * max(car.alternator_rating - 60.0, 0.0)
    return Build(
        car, needed, flux, efficiency, winding, dice.free("motor_microhenries") * 1e-6, dice.free("brush_volts"),
        (1.0 - share) * drag, share * drag, dice.free(f"compression_{fuel}") * car.displacement * 4.0 / car.cylinders,
        dice.free(f"inertia_{fuel}") * drag / usual, dice.free("oil_log_slope"), radians(dice.free("play_degrees")),
        dice.free(f"fires_at_{fuel}"), dice.free("lamp_amperes"), dice.free(f"base_amperes_{fuel}"),
        dice.free("blower_amperes"), dice.free("rear_heater_amperes"), extra, dice.free("idle_speed"),
        dice.free("pulley_ratio"), dice.happens(typical("saves_when_charged")),
        car.battery.kind == "agm" or dice.happens(0.6), car.battery.kind == "flooded" and dice.happens(0.35),
        dice.free("module_volts_below"), dice.free("module_share_cranking"), dice.free("socket_volts_below"),
    )  # fmt: skip


def condition(dice: Dice, build: Build, component: str, mode: str, *, calm: bool = False) -> dict[str, float]:
    """A component in a mode.

    Parameters
    ----------
    dice : Dice
    build : Build
    component, mode : str
        Ids of the catalogue.
    calm : bool
        As it is while a fault that comes and goes does not show.

    Returns
    -------
    dict of str to float
        Its numbers; which ones depends on the component.
    """
    return _DRAWN[component](dice, build, mode, calm)


def _battery(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    label = build.car.battery
    absorbed = label.kind == "agm"
    found = {
        "rated": build.fitted_sae * dice.free("label_goodness"),
        "capacity": label.capacity or build.fitted / 9.0,  # label survey, common practice: 8 to 10.5 A for each A h
        "gravity": dice.free("gravity_absorbed" if absorbed else "gravity_flooded"),
        "ohmic": dice.worn("aged_ohmic"),
        "active": dice.worn("aged_active", -1.0),
        "odd": 1.0,
        "lag": dice.worn("usual_cell_lag"),
        "shorted": 0.0,
        "locked": 0.0,
        "dry": 0.0,
        "acceptance": 1.0,
        "acceptance_scale": dice.free("acceptance_scale"),
        "self_discharge": dice.free("self_discharge_absorbed" if absorbed else "self_discharge_flooded"),
        "link": 0.0,
    }
    if mode == "worn":
        found |= {"ohmic": dice.free("worn_ohmic"), "active": dice.free("worn_active"), "acceptance": 0.7}
    elif mode == "sulphated":
        found |= {"locked": dice.free("sulphated_locked"), "acceptance": dice.free("sulphated_acceptance")}
        found["ohmic"] = dice.free("sulphated_ohmic")
    elif mode == "weak_cell":
        found |= {"odd": dice.free("odd_cell_active"), "lag": dice.free("odd_cell_lag")}
    elif mode == "shorted_cell":
        found |= {"shorted": 1.0, "lag": 1.0}
        found["self_discharge"] *= typical("shorted_leak_factor")
    elif mode == "broken_link" and not calm:
        found["link"] = dice.free("link_open_ohms")
    elif mode == "dried_out":
        found |= {"dry": dice.free("dry_share"), "acceptance": 0.6}
    return found


def _joint(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    name = {"sound": "joint_sound", "corroded": "joint_corroded", "slack": "joint_slack"}[mode]
    if mode == "sound":
        return {"ohms": dice.worn("joint_sound_milliohms") * 1e-3, "powder": max(dice.wear, 0.0) * dice.rng.random()}
    powder = 2.0 * dice.rng.random() + 0.5 if mode == "corroded" else dice.rng.random()
    return {"ohms": dice.free(f"{name}{'_resting' if calm else ''}_milliohms") * 1e-3, "powder": powder}


def _cable(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    if mode != "sound":
        return {"ohms": dice.free("cable_bad_milliohms") * 1e-3}
    length = dice.free("cable_metres")
    copper = typical("copper_milliohm_square_per_metre") * length / dice.free(f"cable_square_{build.car.fuel}")
    copper *= min(1.0, 1.6 / length)  # a cable from the boot is thicker: common practice, no source
    return {"ohms": (copper + dice.worn("cable_lugs_milliohms")) * 1e-3}


def _ground(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    size = 0.6 if build.car.fuel == "diesel" else 1.0  # thicker straps for larger currents, as for cables: practice
    if mode == "high_resistance":
        return {"ohms": dice.free("ground_bad_milliohms") * 1e-3}
    if mode == "breaks_contact" and not calm:
        return {"ohms": dice.free("ground_open_milliohms") * 1e-3}
    return {"ohms": dice.worn("ground_sound_milliohms") * 1e-3 * size}


def _solenoid(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    size = 0.75 if build.car.fuel == "diesel" else 1.0  # more copper, larger contacts; estimate
    found = {
        "contact": dice.worn("contact_sound_milliohms") * 1e-3 * size,
        "pull_in": dice.worn("pull_in_volts"),
        "drop_out": dice.free("drop_out_volts"),
        "pull_coil": dice.free("coil_pull_ohms"),
        "hold_coil": dice.free("coil_hold_ohms"),
    }
    if mode == "worn_contacts":
        name = "contact_worn_resting_milliohms" if calm else "contact_burnt_milliohms"
        found["contact"] = dice.free(name) * 1e-3
    elif mode == "weak_winding":
        found["pull_in"] = dice.free("weak_pull_in_volts")
        found["drop_out"] = 0.55 * found["pull_in"]
    return found


def _motor(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    found = {"added": dice.worn("aged_ohmic") * 2e-4, "flux": 1.0, "drag": 0.0, "shorted": 0.0}
    if mode == "open":
        found["added"] = OPEN
    elif mode == "worn_brushes" and not calm:
        dead = dice.happens(typical("brush_dead_spot"))
        found["added"] = OPEN if dead else dice.free("brush_worn_milliohms") * 1e-3
    elif mode == "worn_brushes":
        found["added"] = 2e-3  # [ohm] short brushes under weak springs; estimate
    elif mode == "dragging":
        found["shorted"] = float(dice.happens(typical("shorted_turns")))
        if found["shorted"]:
            found["flux"] = dice.free("shorted_turns_flux")
        found["drag"] = dice.free("drag_share") * (0.4 if found["shorted"] else 1.0)
    return found


def _control(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    broken = mode == "open" or (mode == "intermittent" and not calm)
    return {"ohms": OPEN if broken else dice.worn("control_milliohms") * 1e-3}


def _turning(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    if mode == "seized":
        return {"factor": typical("seized_factor")}
    return {"factor": dice.free("heavy_factor" if mode == "heavy" else "sound_engine_factor")}


def _running(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    # Which of fuel (0), spark (1) or speed signal (2) is missing; common practice, no source. A diesel has no spark.
    shares = (0.65, 0.0, 0.35) if build.car.fuel == "diesel" else (0.45, 0.25, 0.3)
    return {"fires": float(mode == "sound"), "missing": float(dice.rng.choice(3, p=shares))}


def _alternator(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    share = dice.worn("alternator_goodness", -1.0)
    if mode == "no_output":
        share = 0.0
    elif mode == "worn_brushes" and not calm:
        share = dice.free("worn_alternator_share")
    field_open = float(mode == "no_output" and dice.happens(0.6)) or float(mode == "worn_brushes" and not calm)
    return {"share": share, "field_open": field_open, "start_speed": dice.free("alternator_start_speed"),
            "ground": dice.worn("alternator_ground_milliohms") * 1e-3}  # fmt: skip


def _regulator(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    name = {"sound": "set_point", "low": "regulator_low_volts", "high": "regulator_high_volts"}[mode]
    return {"volts": dice.free(name), "slope": dice.free("set_point_per_kelvin"), "fault": float(mode != "sound")}


def _rectifier(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    found = {"share": 1.0, "ripple": dice.worn("ripple_share_sound"), "leak": 0.0}
    if mode == "open_diode":
        found |= {"share": dice.free("open_diode_output"), "ripple": dice.free("ripple_share_open")}
    elif mode == "leaking_diode":
        found |= {"share": dice.free("leaky_diode_output"), "ripple": dice.free("ripple_share_leaky")}
        drains = not dice.happens(typical("leaky_diode_does_not_drain"))
        found["leak"] = dice.free("leaky_diode_amperes") if drains else 0.0
    return found


def _belt(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    found = {"torque": dice.worn("belt_torque", -1.0), "lost": 0.0, "glazed": max(dice.wear, 0.0) * dice.rng.random()}
    if mode == "lost":
        found |= {"torque": 0.0, "lost": 1.0}
    elif mode == "slips":
        found["glazed"] = 1.0 + dice.rng.random()
        if dice.happens(typical("belt_slips_under_load_only")):
            found["torque"] = dice.free("belt_torque_slipping")
        else:
            found["lost"] = dice.free("belt_speed_lost")
            found["glazed"] = 1.0 + dice.rng.random() if dice.happens(0.5) else 0.2  # else a one-way pulley; estimate
    return found


def _charge_cable(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    if mode == "open":
        return {"ohms": OPEN}
    bad = mode == "high_resistance"
    return {
        "ohms": (dice.free("cable_alternator_bad_milliohms") if bad else dice.worn("cable_alternator_milliohms")) * 1e-3
    }


def _charge_control(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    found = {"excites": 1.0, "lamp": 1.0, "by_itself": 0.0, "wrong": 0.0}
    if mode == "not_excited":
        # A blown lamp or broken wire shows no lamp; a missing command leaves the lamp to the module (half each).
        found |= {"excites": 0.0, "lamp": float(dice.happens(0.5))}
        found["by_itself"] = float(dice.happens(typical("excites_by_itself")))
    elif mode == "wrong_command":
        high = dice.happens(typical("wrong_command_high"))
        found["wrong"] = 15.3 + 0.4 * dice.rng.random() if high else dice.free("commanded_low")
    return found


def _drain(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    asleep = dice.worn("asleep_amperes")
    if mode == "sound" or calm:
        return {"amperes": asleep, "fuse": 0.0}
    if mode == "stays_awake":
        whole = dice.happens(typical("whole_network"))
        return {
            "amperes": asleep + dice.free("awake_network_amperes" if whole else "awake_module_amperes"),
            "fuse": 1.0,
        }
    # A few drains sit on no fuse that can be pulled: estimate.
    return {"amperes": asleep + dice.free(f"{mode}_amperes"), "fuse": float(dice.happens(0.85))}


def _use(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    rng = dice.rng
    found = {"minutes": dice.free("long_minutes"), "trips": 2.0, "days": 0.0, "left_on": 0.0}
    if mode == "short_trips":
        found |= {"minutes": dice.free("short_minutes"), "trips": float(rng.integers(2, 5))}
    elif mode == "long_standing":
        found["days"] = dice.free("standing_days")
    elif mode == "left_on":
        found["left_on"] = dice.free("lamp_left_on_amperes")
    return found


def _unlisted(dice: Dice, build: Build, mode: str, calm: bool) -> dict[str, float]:
    # A pinion that spins free (1), an alarm that cuts the engine off (2), a slipped timing drive (3); estimate.
    return {"form": 0.0 if mode == "absent" else float(dice.rng.choice((1, 2, 3), p=(0.5, 0.25, 0.25)))}


_DRAWN = {
    "battery": _battery,
    "positive_joint": _joint,
    "negative_joint": _joint,
    "starter_cable": _cable,
    "ground_path": _ground,
    "solenoid": _solenoid,
    "starter_motor": _motor,
    "start_control": _control,
    "engine_turning": _turning,
    "engine_running": _running,
    "alternator": _alternator,
    "regulator": _regulator,
    "rectifier": _rectifier,
    "belt": _belt,
    "charge_cable": _charge_cable,
    "charge_control": _charge_control,
    "drain": _drain,
    "use": _use,
    "unlisted": _unlisted,
}
COMPONENTS = tuple(_DRAWN)
