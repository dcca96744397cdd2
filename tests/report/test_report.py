"""Pictures and sheets of a case: they hold what they must, keep within their frames, and ask nothing from outside."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from faultnet.case.types import Act, Battery, Car, Case, CaseOutcome, Conditions, Photo, Reading, Visit
from faultnet.decision import advise, load_costs
from faultnet.decision.plan import Knot, Leaf, pocket_plan
from faultnet.diagnosis import Diagnosis, work_through
from faultnet.diagnosis.wording import entry_words, range_words
from faultnet.prior_set import load_catalogue
from faultnet.report import (
    Strip,
    blank_sheet,
    course_of_belief,
    draw_course,
    draw_links,
    draw_strip,
    job_sheet,
    plan_sheet,
    strips_of,
)
from faultnet.report.beliefs import HEIGHT, WIDTH, at_fault_now, belief_of, leading_shares, until

CATALOGUE = load_catalogue()
FIRST = Visit(
    (
        Reading("how_it_turns_over", state="slow", note="said <twice>"),
        Reading("rest_voltage", value=10.5),
        Reading("hydrometer_level", not_measured="cannot_reach"),
        Act("charge", hours=8.0, outcome="no_change"),
    ),
    Conditions(air_temperature=10.0, hours_standing=9.0),
    "2026-11-20",
)
SECOND = Visit((Reading("rest_voltage", value=10.6), Reading("crank_minimum", value=7.0)), Conditions(), "2026-11-21")
CASE = Case(Car(Battery(600.0, age=5.0), label="grey car"), (FIRST, SECOND), "slow & <weak>", "Test case")


@pytest.fixture(scope="module")
def diagnosis() -> Diagnosis:
    return advise(CASE, CATALOGUE, load_costs()).diagnosis


def test_a_strip_says_where_a_reading_lies_and_shows_all_of_it() -> None:
    strip = Strip("Rest voltage", "V", 11.0, 0.05, 12.4, 12.8)
    assert strip.verdict == "below sound"
    assert 0 < strip.place(11.0 - 0.1) < strip.place(11.0) < strip.place(12.4) < strip.place(12.8) < 1
    assert replace(strip, value=12.4).verdict == "within sound"
    assert replace(strip, value=12.9).verdict == "above sound"


def test_there_is_a_strip_for_each_number_with_a_sound_range(diagnosis: Diagnosis) -> None:
    strips = strips_of(CASE, diagnosis, CATALOGUE)
    assert [s.value for s in strips] == [10.5, 10.6, 7.0]
    assert all(s.error > 0 for s in strips)
    for strip in strips:
        ElementTree.fromstring(draw_strip(strip))


def test_the_course_begins_before_any_entry_and_ends_at_the_diagnosis(diagnosis: Diagnosis) -> None:
    course = course_of_belief(CASE, CATALOGUE)
    assert len(course) == 7
    first = diagnosis.causes[0]
    assert course[-1][first.component, first.mode] == pytest.approx(first.probability, abs=1e-9)
    assert course[0][first.component, first.mode] == pytest.approx(first.prior, abs=1e-3)
    assert course[-1]["", ""] == pytest.approx(diagnosis.nothing_wrong, abs=1e-9)


@pytest.mark.parametrize("count, visits", [(0, [0]), (3, [3]), (4, [4]), (5, [4, 1]), (6, [4, 2])])
def test_a_case_until_an_entry(count: int, visits: list[int]) -> None:
    assert [len(v.entries) for v in until(CASE, count).visits] == visits


def test_after_repairs_what_is_left_agrees_with_the_diagnosis() -> None:
    visit = Visit((Reading("rest_voltage", value=10.5), Act("replace", component="battery", outcome="cured")))
    worked = work_through(replace(CASE, visits=(visit,)), CATALOGUE)
    now = at_fault_now(worked)
    for cause in advise(replace(CASE, visits=(visit,)), CATALOGUE, load_costs()).diagnosis.causes:
        assert now[cause.component, cause.mode] == pytest.approx(cause.still_there, abs=1e-9)
    assert belief_of(worked)["", ""] < 0.05 < 0.5 < now["", ""]


def test_without_repairs_what_is_left_is_what_was_at_fault() -> None:
    visit = Visit((Reading("rest_voltage", value=10.5),))
    worked = work_through(replace(CASE, visits=(visit,)), CATALOGUE)
    assert at_fault_now(worked) == pytest.approx(belief_of(worked), abs=1e-12)


def test_the_course_keeps_within_its_frame_even_when_faults_come_together() -> None:
    beliefs = [{("a", "x"): 0.7, ("b", "y"): 0.6, ("", ""): 0.05}, {("a", "x"): 0.1, ("b", "y"): 0.9, ("", ""): 0.0}]
    keys, rows = leading_shares(beliefs)
    assert keys[0] == ("b", "y")
    assert all(sum(row) <= 1.0 + 1e-12 for row in rows)
    drawn = draw_course(beliefs)
    ElementTree.fromstring(drawn)
    points = re.findall(r"(-?[\d.]+),(-?[\d.]+)", " ".join(re.findall(r'points="([^"]*)"', drawn)))
    assert len(points) == 12
    assert all(0 <= float(x) <= WIDTH and 0 <= float(y) <= HEIGHT for x, y in points)


@pytest.mark.parametrize("width", [366, 540])
@pytest.mark.parametrize("paper", ["light", "dark"])
def test_the_links_are_well_formed_and_hold_every_entry_that_moved_a_cause(
    diagnosis: Diagnosis, width: int, paper: str
) -> None:
    drawn = draw_links(diagnosis, width=width, paper=paper)  # type: ignore[arg-type]
    root = ElementTree.fromstring(drawn)
    ropes = root.findall("{http://www.w3.org/2000/svg}path")
    moved = [r for found in diagnosis.reasons.values() for r in found if abs(r.weight) >= 1.0]
    assert len(ropes) == len(moved) > 0
    broken = [rope for rope in ropes if rope.get("stroke-dasharray")]
    assert len(broken) == sum(r.weight < 0 for r in moved)
    height = float(root.get("height") or 0)
    assert all(0 <= float(t.get("y") or -1) <= height for t in root.findall("{http://www.w3.org/2000/svg}text"))


def test_links_of_a_case_without_entries_are_nothing() -> None:
    assert draw_links(advise(Case(Car(Battery(600.0))), CATALOGUE, load_costs()).diagnosis) == ""


def test_the_job_sheet_holds_everything_entered(diagnosis: Diagnosis) -> None:
    sheet = job_sheet(CASE, diagnosis, CATALOGUE, case_id="abcd-efgh", temperature_unit="degF")
    for visit in CASE.visits:
        assert visit.date in sheet
        for entry in visit.entries:
            assert entry_words(CATALOGUE, entry).replace("'", "&#x27;") in sheet
    for strip in strips_of(CASE, diagnosis, CATALOGUE):
        assert range_words(strip.low, strip.high, strip.unit) in sheet
    for needed in ("slow &amp; &lt;weak&gt;", "said &lt;twice&gt;", "abcd-efgh", "50 °F", "Signature", "grey car"):
        assert needed in sheet
    assert "<weak>" not in sheet


def test_the_job_sheet_of_a_closed_case_says_the_confirmed_cause(diagnosis: Diagnosis) -> None:
    closed = replace(CASE, outcome=CaseOutcome((("battery", "shorted_cell"),), "new battery cured it"))
    sheet = job_sheet(closed, diagnosis, CATALOGUE)
    assert "Closed: Battery: one shorted cell." in sheet
    assert "new battery cured it" in sheet
    assert "Next tests" not in sheet


@pytest.fixture(scope="module")
def plan() -> Knot | Leaf:
    """Of a case in which every question was passed over, so that it begins with a measurement."""
    passed = tuple(Reading(t.id, not_measured="skipped") for t in CATALOGUE.tests if t.kind == "choice")
    return pocket_plan(work_through(replace(CASE, visits=(Visit(passed),)), CATALOGUE), load_costs(), depth=2)


def leaves(plan: Knot | Leaf) -> list[Leaf]:
    return [plan] if isinstance(plan, Leaf) else [leaf for _, then in plan.branches for leaf in leaves(then)]


def asked_in(plan: Knot | Leaf) -> set[str]:
    return set() if isinstance(plan, Leaf) else {plan.test}.union(*(asked_in(then) for _, then in plan.branches))


def test_the_plan_on_paper_holds_every_branch_and_every_end(plan: Knot | Leaf) -> None:
    assert isinstance(plan, Knot)
    sheet = plan_sheet(CASE, plan, CATALOGUE)
    for outcome, _ in plan.branches:
        assert f"</span>{outcome} (" in sheet
    for leaf in leaves(plan):
        assert leaf.words in sheet
        assert leaf.proof.replace("'", "&#x27;") in sheet
    assert sheet.count('<span class="end">') + sheet.count('<span class="next">') == len(leaves(plan)) > 1
    assert all(label in sheet for label in (CATALOGUE.test(plan.test).label, "red</text>", "black</text>"))


def test_each_test_of_the_plan_shows_all_its_cautions_before_its_steps(plan: Knot | Leaf) -> None:
    sheet = plan_sheet(CASE, plan, CATALOGUE)
    _, *blocks = sheet.split('<div class="keep">')
    asked = set(asked_in(plan))
    assert len(blocks) == len(asked) > 3
    for test in asked:
        (block,) = (b for b in blocks if f"· {CATALOGUE.test(test).label}</b>" in b)
        care, steps = block.split("<ol>")
        short = " ".join(CATALOGUE.cautions_in_short[c] for c in CATALOGUE.test(test).cautions)
        assert short.replace("'", "&#x27;") in care, test
        assert CATALOGUE.test(test).steps[0].replace("'", "&#x27;") in steps


def test_the_job_sheet_names_what_is_recommended_and_its_proof() -> None:
    found = advise(CASE, CATALOGUE, load_costs())
    sheet = job_sheet(CASE, found.diagnosis, CATALOGUE, decision=found.decision)
    assert found.decision.founded
    assert f"Recommended: {found.decision.label}" in sheet
    assert f"<b>Proof afterwards:</b> {found.decision.proof}" in sheet


@pytest.mark.parametrize("kind", ["job", "blank", "plan"])
def test_every_sheet_carries_the_general_cautions_and_asks_nothing_from_outside(
    diagnosis: Diagnosis, plan: Knot | Leaf, kind: str
) -> None:
    made = {
        "job": lambda: job_sheet(CASE, diagnosis, CATALOGUE),
        "blank": lambda: blank_sheet(CASE, diagnosis, CATALOGUE),
        "plan": lambda: plan_sheet(CASE, plan, CATALOGUE),
    }
    sheet = made[kind]()
    for caution in CATALOGUE.general_cautions:
        assert CATALOGUE.cautions[caution].replace("'", "&#x27;") in sheet
    assert not re.findall(r"""(?:src|href)=|url\(|@import""", sheet)
    assert set(re.findall(r"https?://[^\"' ]+", sheet)) <= {"http://www.w3.org/2000/svg"}


def test_the_sheet_for_the_car_has_steps_cautions_and_room_for_each_test(diagnosis: Diagnosis) -> None:
    sheet = blank_sheet(CASE, diagnosis, CATALOGUE, count=6)
    for test in diagnosis.next_tests[:6]:
        short = CATALOGUE.short_cautions(CATALOGUE.test(test.test).cautions)
        assert len(short) == len(test.cautions)
        for words in (test.label, *test.steps, *short):
            assert words.replace("'", "&#x27;") in sheet
    assert sheet.count('class="test keep"') == 6


def test_an_invented_case_is_marked_on_the_sheet(diagnosis: Diagnosis) -> None:
    assert "(invented)" in job_sheet(replace(CASE, invented=True), diagnosis, CATALOGUE)
    assert "(invented)" not in job_sheet(CASE, diagnosis, CATALOGUE)


def test_the_job_sheet_carries_the_photos_it_is_given(diagnosis: Diagnosis) -> None:
    photo = Photo("a" * 64, "left <post>")
    case = replace(CASE, visits=(replace(CASE.visits[0], photos=(photo, Photo("b" * 64))), *CASE.visits[1:]))
    sheet = job_sheet(case, diagnosis, CATALOGUE, photos={photo.id: b"JPEG"})
    assert sheet.count("<figure") == 1
    assert "data:image/jpeg;base64,SlBFRw==" in sheet
    assert "left &lt;post&gt;" in sheet
