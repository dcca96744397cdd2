"""The line of visits says what was entered, in order, and keeps inside its frame at every width."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from faultnet.case.types import Act, Battery, Car, Case, Reading, Visit
from faultnet.prior_set import load_catalogue
from faultnet.report import Stop, draw_timeline, stops_of

CATALOGUE = load_catalogue()
SVG = "{http://www.w3.org/2000/svg}"


def test_each_visit_says_what_was_done_and_what_led() -> None:
    first = Visit((Reading("rest_voltage", value=12.1), Reading("smell", not_measured="skipped")), date="2026-11-20")
    second = Visit((Act("tighten_joint", component="negative_joint", outcome="cured"),))
    after = [{("battery", "worn"): 0.4, ("negative_joint", "slack"): 0.5}, {("", ""): 0.9}]
    found = stops_of(Case(Car(Battery(600.0)), (first, second)), after, CATALOGUE)
    assert [s.marks for s in found] == ["rn", "a"]
    assert [s.counted for s in found] == ["2 readings", "1 piece of work"]
    assert found[0].leads == "Negative battery terminal connection: loose, 50%"
    assert found[1].leads == "No part at fault, 90%"
    assert found[1].work == ("Tighten the connection (Negative battery terminal connection): cured",)


@pytest.mark.parametrize("paper", ["light", "dark"])
@pytest.mark.parametrize("width", [366, 540])
def test_it_keeps_inside_its_frame_and_draws_every_entry(width: int, paper: str) -> None:
    stops = [Stop(f"Visit {k}", "x", ("<long> words " * 12,), "words & more " * 8, "rna" * 15) for k in range(3)]
    root = ElementTree.fromstring(draw_timeline(stops, width=width, paper=paper))  # type: ignore[arg-type]
    height = float(root.attrib["height"])
    squares, circles = list(root.iter(f"{SVG}rect")), list(root.iter(f"{SVG}circle"))
    assert len(squares) == 3 * 15
    assert len(circles) == 3 * (1 + 30)
    assert sum(c.get("fill") == "none" for c in circles) == 3 * 15
    for element in (*squares, *circles):
        x, y = (float(element.get(a) or element.get(f"c{a}") or "nan") for a in "xy")
        assert 0 <= x <= width - 6
        assert 0 <= y <= height - 4
    tops = [float(c.attrib["cy"]) for c in circles if c.get("r") == "7"]
    for text in root.iter(f"{SVG}text"):
        assert float(text.attrib["y"]) <= height
        assert len(text.text or "") * 16 * 0.55 <= width - 26 + 16 * 0.55
    assert tops == sorted(tops)
