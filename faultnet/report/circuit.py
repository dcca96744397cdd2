"""The starting and charging circuit of a car as one description: points, parts between them, and where current flows.

Everything that is drawn of the circuit comes from here, and so does where the probes of a test go. A *point* is where a
probe or a clamp can be put; a *part* joins two points and belongs to a component of the catalogue. Positions are in the
picture's own units, :data:`WIDTH` by :data:`HEIGHT`, from :data:`TOP` down.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

WIDTH, TOP, HEIGHT = 512, 14, 350
Kind = Literal["battery", "joint", "cable", "contact", "motor", "source", "switch", "fuse", "load", "block", "ground"]
Side = Literal["left", "right", "above", "below"]


@dataclass(frozen=True)
class Point:
    """Where a probe can be put.

    Parameters
    ----------
    label : str
        As the trade says it.
    x, y : float
    side : {"left", "right", "above", "below"}
        Where there is room for the mark of a probe.
    """

    label: str
    x: float
    y: float
    side: Side


@dataclass(frozen=True)
class Part:
    """What joins two points.

    Parameters
    ----------
    component : str
        Of the catalogue; empty for what the catalogue does not know as a part of its own.
    kind : str
        Which symbol it is drawn with.
    ends : (str, str)
        Points; the current of a start flows from the first to the second.
    x, y : float
        Middle of its symbol.
    """

    component: str
    kind: Kind
    ends: tuple[str, str]
    x: float
    y: float


POINTS: dict[str, Point] = {
    "positive_post": Point("positive post", 52, 122, "right"),
    "positive_clamp": Point("positive terminal clamp", 52, 58, "left"),
    "negative_post": Point("negative post", 52, 226, "right"),
    "negative_clamp": Point("negative terminal clamp", 52, 292, "left"),
    "negative_cable": Point("negative cable", 92, 338, "above"),
    "battery_stud": Point("battery stud of the solenoid", 170, 58, "right"),
    "motor_stud": Point("motor stud of the starter", 170, 138, "left"),
    "control_terminal": Point("terminal 50 (S terminal) of the solenoid", 258, 116, "left"),
    "engine": Point("bare metal of the engine", 170, 236, "left"),
    "alternator_output": Point("heavy stud of the alternator", 338, 118, "left"),
    "alternator_lead": Point("heavy lead of the alternator", 338, 40, "left"),
    "alternator_case": Point("case of the alternator", 338, 236, "below"),
    "exciter": Point("plug of the alternator", 398, 140, "below"),
    "fuse_box": Point("fuse box", 452, 104, "left"),
    "module": Point("diagnostic socket", 491, 160, "above"),
    "body": Point("body", 452, 338, "above"),
}

PARTS: dict[str, Part] = {
    "battery": Part("battery", "battery", ("negative_post", "positive_post"), 52, 174),
    "positive_joint": Part("positive_joint", "joint", ("positive_post", "positive_clamp"), 52, 90),
    "negative_joint": Part("negative_joint", "joint", ("negative_clamp", "negative_post"), 52, 259),
    "starter_cable": Part("starter_cable", "cable", ("positive_clamp", "battery_stud"), 112, 58),
    "solenoid": Part("solenoid", "contact", ("battery_stud", "motor_stud"), 170, 98),
    "starter_motor": Part("starter_motor", "motor", ("motor_stud", "engine"), 170, 186),
    "start_control": Part("start_control", "switch", ("positive_clamp", "control_terminal"), 258, 66),
    "pull_in": Part("", "fuse", ("control_terminal", "engine"), 258, 200),
    "ground_path": Part("ground_path", "cable", ("engine", "negative_clamp"), 170, 290),
    "alternator": Part("alternator", "source", ("alternator_case", "alternator_output"), 338, 176),
    "block": Part("", "block", ("engine", "alternator_case"), 254, 236),
    "charge_cable": Part("charge_cable", "cable", ("alternator_output", "positive_clamp"), 338, 76),
    "charge_control": Part("charge_control", "switch", ("positive_clamp", "exciter"), 398, 82),
    "fuses": Part("", "fuse", ("positive_clamp", "fuse_box"), 452, 64),
    "drain": Part("drain", "load", ("fuse_box", "body"), 452, 186),
    "body_ground": Part("", "ground", ("body", "negative_clamp"), 268, 338),
}

AT_THE_ALTERNATOR = ("alternator", "regulator", "rectifier", "belt")
"""Components drawn at the alternator's symbol."""

FLOWS: dict[str, tuple[str, ...]] = {
    "cranking": (
        *("battery", "positive_joint", "starter_cable", "solenoid", "starter_motor"),
        *("ground_path", "negative_joint"),
    ),
    "control": ("battery", "positive_joint", "start_control", "pull_in", "ground_path", "negative_joint"),
    "charging": (
        *("alternator", "charge_cable", "positive_joint", "battery"),
        *("negative_joint", "ground_path", "block"),
    ),
    "key_off": ("battery", "positive_joint", "fuses", "drain", "body_ground", "negative_joint"),
    "battery": ("battery",),
    "none": (),
}
"""Parts that carry the current, by what the car does during a test."""


@dataclass(frozen=True)
class Probes:
    """Where the instrument of a test goes.

    Parameters
    ----------
    red, black : str
        Points of the two probes; empty when there are none.
    clamp : str
        Point of the wire that a clamp meter is closed around; empty when there is none.
    adapter : str
        Point an adapter is plugged in at; empty when there is none.
    lead : tuple of str
        Points a bridging lead joins.
    opened : bool
        Whether the two probes stand in the way of the current: what they bridge is taken apart for it.
    flow : str
        Which of :data:`FLOWS` carries current.
    """

    red: str = ""
    black: str = ""
    clamp: str = ""
    adapter: str = ""
    lead: tuple[str, ...] = ()
    opened: bool = False
    flow: str = "none"

    def __post_init__(self) -> None:
        named = [p for p in (self.red, self.black, self.clamp, self.adapter, *self.lead) if p]
        unknown = [p for p in named if p not in POINTS] + [f for f in (self.flow,) if f not in FLOWS]
        if unknown:
            raise KeyError(f"no such point or flow of the circuit: {', '.join(unknown)}")

    def words(self) -> str:
        """Say where they go.

        Examples
        --------
        >>> Probes("positive_post", "positive_clamp").words()
        'Red probe on the positive post, black probe on the positive terminal clamp.'
        """
        said = ["Clamp off, meter in series on its 10 A range."] if self.opened else []
        if self.red:
            said.append(f"Red probe on the {POINTS[self.red].label}, black probe on the {POINTS[self.black].label}.")
        if self.clamp:
            said.append(f"Clamp meter around the {POINTS[self.clamp].label}.")
        if self.adapter:
            said.append(f"Adapter in the {POINTS[self.adapter].label}.")
        if self.lead:
            first, second = (POINTS[p].label for p in self.lead)
            said.append(f"Lead from the {first} to the {second}.")
        return " ".join(said)


AT_POSTS = ("positive_post", "negative_post")
PROBES: Mapping[str, Probes] = {
    "rest_voltage": Probes(*AT_POSTS),
    "overnight_fall": Probes(*AT_POSTS),
    "key_off_current": Probes(clamp="negative_cable", flow="key_off"),
    "draw_at_once": Probes(clamp="negative_cable", flow="key_off"),
    "two_load_resistance": Probes(*AT_POSTS, clamp="negative_cable", flow="key_off"),
    "conductance_rating": Probes(*AT_POSTS, flow="battery"),
    "module_offset_at_rest": Probes(*AT_POSTS, adapter="module"),
    "fuse_pull": Probes(clamp="negative_cable", flow="key_off"),
    "crank_minimum": Probes(*AT_POSTS, flow="cranking"),
    "module_crank_minimum": Probes(adapter="module", flow="cranking"),
    "recorded_lowest": Probes(*AT_POSTS, flow="cranking"),
    "recorded_sustained": Probes(*AT_POSTS, flow="cranking"),
    "dead_crank_level": Probes(*AT_POSTS, flow="cranking"),
    "dead_crank_sag": Probes(*AT_POSTS, flow="cranking"),
    "crank_current": Probes(clamp="negative_cable", flow="cranking"),
    "inrush_current": Probes(clamp="negative_cable", flow="cranking"),
    "positive_side_drop": Probes("positive_post", "motor_stud", flow="cranking"),
    "positive_joint_drop": Probes("positive_post", "positive_clamp", flow="cranking"),
    "starter_cable_drop": Probes("positive_clamp", "battery_stud", flow="cranking"),
    "solenoid_drop": Probes("battery_stud", "motor_stud", flow="cranking"),
    "ground_side_drop": Probes("engine", "negative_post", flow="cranking"),
    "negative_joint_drop": Probes("negative_clamp", "negative_post", flow="cranking"),
    "ground_path_drop": Probes("engine", "negative_clamp", flow="cranking"),
    "control_terminal_voltage": Probes("control_terminal", "negative_clamp", flow="control"),
    "jumper_ground": Probes(lead=("negative_post", "engine"), flow="cranking"),
    "control_bypass": Probes(lead=("positive_post", "control_terminal"), flow="cranking"),
    "half_rating_load": Probes(*AT_POSTS, flow="battery"),
    "charge_idle_voltage": Probes(*AT_POSTS, flow="charging"),
    "charge_unloaded_voltage": Probes(*AT_POSTS, flow="charging"),
    "charge_loaded_voltage": Probes(*AT_POSTS, flow="charging"),
    "charge_hot_voltage": Probes(*AT_POSTS, flow="charging"),
    "charge_ripple": Probes(*AT_POSTS, flow="charging"),
    "alternator_current": Probes(clamp="alternator_lead", flow="charging"),
    "charge_cable_drop": Probes("alternator_output", "positive_clamp", flow="charging"),
    "charge_ground_drop": Probes("negative_post", "alternator_case", flow="charging"),
    "excitation": Probes("exciter", "engine"),
    "charger_acceptance": Probes(*AT_POSTS, flow="battery"),
    "hold_after_charge": Probes(*AT_POSTS),
}
"""Where the instrument goes, by test; tests that are not here have nothing to connect."""
IN_SERIES = "multimeter_amperes"
"""The instrument that goes into the negative cable's way where a clamp meter goes around it."""


def probes_of(test: str, instrument: str = "") -> Probes | None:
    """Where an instrument goes in a test; None where it has nothing to connect.

    Examples
    --------
    >>> probes_of("key_off_current").words()
    'Clamp meter around the negative cable.'
    >>> series = probes_of("key_off_current", "multimeter_amperes")
    >>> series.red, series.black, series.words()[:26]
    ('negative_clamp', 'negative_post', 'Clamp off, meter in series')
    """
    probes = PROBES.get(test)
    if probes is not None and probes.clamp and instrument == IN_SERIES:
        return Probes("negative_clamp", "negative_post", opened=True, flow=probes.flow)
    return probes
