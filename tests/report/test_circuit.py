"""The picture of the circuit: probes where the quantity of each test lies, and signs as a meter would show them.

The circuit drawn is solved here as a network of resistors (Kirchhoff's laws, by numpy), which knows nothing of the
model; what a quantity means is taken from the virtual cars, which know nothing of the picture.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree

import networkx as nx
import numpy as np
import pytest

from faultnet.api import advise, load_case
from faultnet.prior_set import load_catalogue
from faultnet.report.circuit import FLOWS, IN_SERIES, PARTS, POINTS, PROBES, Probes, probes_of
from faultnet.report.circuit_picture import WIRES, draw_circuit, suspicion
from faultnet.simulation.car.starting import DROP_PARTS

OF_THE_LOOP = {"cable": "starter_cable", "contact": "solenoid", "ground": "ground_path"}
CHARGING = {"charge_cable_drop": {"charge_cable"}, "charge_ground_drop": {"ground_path", "negative_joint"}}
"""What stands between the probes while it charges, by the docstrings of the virtual car's charging tests."""
WITHOUT_PROBES = {
    "cranking_speed",
    "spark_and_fuel",
    "supply_codes",
}  # values and codes of modules
CONNECTED = {"voltmeter", "clamp meter", "fine clamp meter", "scan-tool adapter", "jump leads", "fused bridging lead"}


def catalogue():
    return load_catalogue("standard")


def parts_between(probes: Probes) -> set[str]:
    """Parts that carry the current from one probe to the other without passing the source."""
    source = "alternator" if probes.flow == "charging" else "battery"
    loop = nx.Graph()
    for name in FLOWS[probes.flow]:
        if name != source:
            loop.add_edge(*PARTS[name].ends, part=name)
    path = nx.shortest_path(loop, probes.red, probes.black)
    passed = {loop.edges[pair]["part"] for pair in nx.utils.pairwise(path)}
    return {name for name in passed if PARTS[name].component}  # the block of the engine is one piece of metal


def volts_of(flow: str) -> dict[str, float]:
    """Potentials of all points of a flow with one ampere through one ohm in each part [V]."""
    names = sorted({p for name in FLOWS[flow] for p in PARTS[name].ends})
    place = {p: k for k, p in enumerate(names)}
    source = "alternator" if flow == "charging" else "battery"
    matrix, driven = np.zeros((len(names), len(names))), np.zeros(len(names))
    for name in FLOWS[flow]:
        first, second = (place[p] for p in PARTS[name].ends)
        if name == source:
            driven[first] -= 1.0
            driven[second] += 1.0
        else:
            matrix[first, first] += 1.0
            matrix[second, second] += 1.0
            matrix[first, second] -= 1.0
            matrix[second, first] -= 1.0
    found = np.linalg.lstsq(matrix, driven, rcond=None)[0]
    return {p: float(found[k]) for p, k in place.items()}


def drop_tests() -> list[tuple[str, set[str]]]:
    meant = {q: {OF_THE_LOOP.get(p, p) for p in parts} for q, parts in DROP_PARTS.items()} | CHARGING
    return [(t.id, meant[t.quantity]) for t in catalogue().tests if t.quantity in meant]


def test_every_test_with_something_to_connect_has_its_place_and_no_other() -> None:
    known = {t.id: t for t in catalogue().tests}
    assert set(PROBES) <= set(known)
    for name, test in known.items():
        parts = {part for tool in test.tools for part in tool.split(" or ")}
        if test.kind == "number" and test.unit in ("V", "V rms", "A", "ohm") and name not in WITHOUT_PROBES:
            assert name in PROBES, name
        if name not in PROBES:
            assert not parts & CONNECTED or name in WITHOUT_PROBES, name


def test_a_multimeter_stands_in_the_way_of_every_current_it_may_read() -> None:
    """In series, and not around the cable as a clamp meter; common practice, no source."""
    reads = [test.id for test in load_catalogue().tests if IN_SERIES in test.instruments]
    assert set(reads) == {"key_off_current", "draw_at_once"}
    for name in reads:
        found, around = probes_of(name, IN_SERIES), probes_of(name)
        assert found is not None
        assert around is not None
        assert (found.opened, found.clamp, found.flow) == (True, "", around.flow)
        assert not around.opened


@pytest.mark.parametrize("name, parts", drop_tests())
def test_the_probes_of_a_drop_stand_around_what_it_means(name: str, parts: set[str]) -> None:
    assert parts_between(PROBES[name]) == parts


@pytest.mark.parametrize("name", [name for name, _ in drop_tests()])
def test_a_drop_reads_above_nought_with_the_probes_as_drawn(name: str) -> None:
    volts = volts_of(PROBES[name].flow)
    assert volts[PROBES[name].red] > volts[PROBES[name].black]


@pytest.mark.parametrize("flow", [flow for flow in FLOWS if flow not in ("none", "battery")])
def test_each_flow_is_one_closed_loop(flow: str) -> None:
    loop = nx.Graph([PARTS[name].ends for name in FLOWS[flow]])
    assert nx.is_connected(loop)
    assert set(dict(loop.degree()).values()) == {2}


def test_the_steps_name_the_points_of_the_picture() -> None:
    """What a step of a test calls a place is the place drawn: post and clamp are never mixed up."""
    for test in catalogue().tests:
        probes = PROBES.get(test.id)
        if probes is None or not probes.red or probes.flow == "none":
            continue
        said = " ".join(test.steps)
        for point in (probes.red, probes.black):
            words = POINTS[point].label
            if "post" in words and "posts" not in said:
                assert re.search(rf"{words.split()[0]} post\b", said), (test.id, point)
            if "clamp" in words and "its clamp" not in said:
                assert re.search(rf"{words.split()[0]}( terminal)? clamp|clamp of the {words.split()[0]}", said), (
                    test.id
                )


def test_every_wire_begins_and_ends_at_the_points_of_its_part() -> None:
    assert set(WIRES) == set(PARTS)
    for name, wire in WIRES.items():
        ends = {(POINTS[p].x, POINTS[p].y) for p in PARTS[name].ends}
        x = y = 0.0
        passed = []
        for move, first, second in re.findall(r"([MHV])(\d+)(?: (\d+))?", wire):
            x = float(first) if move in "MH" else x
            y = float(second) if move == "M" else float(first) if move == "V" else y
            passed.append((x, y))
        assert {passed[0], passed[-1]} == ends, name


def test_how_suspect_a_part_is_shows_by_number_weight_and_shade() -> None:
    plain = ElementTree.fromstring(draw_circuit({}, catalogue()))
    drawn = ElementTree.fromstring(draw_circuit({"ground_path": 0.62, "belt": 0.3}, catalogue()))

    def part(picture: ElementTree.Element, name: str) -> ElementTree.Element:
        return next(g for g in picture.iter() if g.get("data-part") == name)

    def box(group: ElementTree.Element) -> tuple[float, float]:
        shown = [g for g in group.iter() if g.get("stroke-width") and g.get("fill-opacity")]
        return float(shown[0].get("stroke-width", "0")), float(shown[0].get("fill-opacity", "0"))

    assert "62\N{NARROW NO-BREAK SPACE}%" in "".join(part(drawn, "ground_path").itertext())
    assert all(a > b for a, b in zip(box(part(drawn, "ground_path")), box(part(plain, "ground_path")), strict=True))
    assert "Belt drive: 30 %" in "".join(part(drawn, "belt").itertext())


def test_suspicion_is_the_belief_that_a_part_is_at_fault_by_now() -> None:
    diagnosis = advise(load_case("demo:ground_high_resistance")).diagnosis
    found = suspicion(diagnosis)
    assert found["ground_path"] == pytest.approx(1.0 - diagnosis.components["ground_path"]["sound"], abs=1e-9)
    assert max(found, key=lambda c: found[c]) == "ground_path"


def test_a_place_that_is_not_drawn_is_refused() -> None:
    with pytest.raises(KeyError, match="ashtray"):
        Probes("ashtray", "engine")


@pytest.mark.parametrize("name", PROBES)
def test_the_marks_of_the_probes_lie_inside_the_picture_and_apart(name: str) -> None:
    picture = ElementTree.fromstring(draw_circuit({}, catalogue(), PROBES[name]))
    _, top, wide, high = (float(v) for v in picture.get("viewBox", "").split())
    boxes = []
    for group in picture.iter("{http://www.w3.org/2000/svg}g"):
        if group.get("class") == "fn-probe":
            flag = group.find("{http://www.w3.org/2000/svg}rect")
            assert flag is not None
            boxes.append([float(flag.get(k, "0")) for k in ("x", "y", "width", "height")])
    assert boxes
    for x, y, w, h in boxes:
        assert min(x, y - top, wide - x - w, top + high - y - h) >= 0
    for i, (x, y, w, h) in enumerate(boxes):
        for u, v, s, t in boxes[:i]:
            assert x >= u + s or u >= x + w or y >= v + t or v >= y + h, name
