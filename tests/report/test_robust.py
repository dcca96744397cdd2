"""What is said of a verdict that holds, of one that does not, and of a case in which nothing is decided."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from faultnet.case.demo import load_case
from faultnet.case.types import CaseOutcome
from faultnet.decision import Advice, advise, load_costs
from faultnet.decision.robust import Robustness, Settling
from faultnet.diagnosis.robust import Claim, Off, Turn
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.prior_set import load_catalogue
from faultnet.report import job_sheet
from faultnet.report.robust import robust_line, robust_sentences, turn_words
from tests.test_words_of_the_trade import old_words

CATALOGUE = load_catalogue()
GROUND = Off("ground_path", "high_resistance", 2.4, 7.0, 1000.0)
HOLDS = Robustness(
    Claim("cause", "drain:heavy", chance=0.8), Claim("repair", "drain", chance=0.8), Claim("next", "repair:drain"),
    (0.4, 0.95), None, 3.0, 2.0,
)  # fmt: skip


def fragile(*off: Off, leads_to: str = "ground_path") -> Robustness:
    settles = Settling("rest_voltage", "Open-circuit (rest) voltage at the posts", 3.0, 5.0, 0.62)
    return replace(HOLDS, repair=Claim("repair", "drain", (Turn(off, leads_to),), 0.8), settles=settles)


@lru_cache(maxsize=1)
def advice() -> Advice:
    return advise(load_case("demo:key_off_drain"), CATALOGUE, load_costs(), tools=USUAL_TOOLS, robust=True)


def test_a_verdict_that_holds_says_within_which_factor() -> None:
    line = "Robust: this stays the first repair whatever the base rates within a factor of three."
    assert robust_line(HOLDS, CATALOGUE) == line
    assert "within a factor of 2.5." in robust_line(replace(HOLDS, off_by=2.5), CATALOGUE)
    said = robust_sentences(HOLDS, CATALOGUE)
    assert said[0].startswith("The first repair holds whatever the base rates within a factor of three, and whatever")
    assert said[-1].endswith("80% here, lies between 40% and 95% for base rates within a factor of three.")


def test_a_fragile_verdict_says_in_which_shop_and_what_would_settle_it() -> None:
    assert robust_line(fragile(GROUND), CATALOGUE) == (
        "Fragile: in a shop that sees Ground path: high resistance 2.4 times as often as the 7 in 1000 cars assumed, "
        "the ground path would be repaired first. To settle it: Open-circuit (rest) voltage at the posts (3 min)."
    )
    assert robust_line(fragile(GROUND, replace(GROUND, mode="breaks_contact")), CATALOGUE) == (
        "Holds if any one base rate is off by a factor of three, not if several are. "
        "To settle it: Open-circuit (rest) voltage at the posts (3 min)."
    )
    assert robust_sentences(fragile(GROUND), CATALOGUE)[-1].endswith("(3 min) would settle it in 62% of cases.")


@pytest.mark.parametrize(
    ("off", "leads_to", "about", "said"),
    [
        (
            (replace(GROUND, factor=0.5),), "give_back", "repair",
            "in a shop that sees Ground path: high resistance only 0.5 times as often as the 7 in 1000 cars assumed, "
            "nothing would be repaired for now",
        ),
        (
            (GROUND, replace(GROUND, mode="breaks_contact")), "nothing", "cause",
            "in a shop that sees Ground path: high resistance or breaks contact at times 2.4 times as often, that "
            "nothing is wrong would lead",
        ),
        (
            (replace(GROUND, component="", mode="", factor=2.0),), "battery:worn", "cause",
            "in a shop that sees cars with nothing wrong 2 times as often, Battery: worn out would lead",
        ),
        (
            (Off("drain", "heavy", 0.5, 0.2, 1.0, "flat_how_often", "again_and_again"),), "test:rest_voltage", "next",
            "if 'again and again' (How often is it flat?) came of 0.1 of cars with Parasitic draw (key off): heavy "
            "instead of 0.2, the next test would be 'Open-circuit (rest) voltage at the posts'",
        ),
        (
            tuple(replace(GROUND, component=c, mode=m) for c, m in (("belt", "slips"), ("regulator", "low"),
                                                                   ("drain", "heavy"))),
            "repair:use", "next",
            "in a shop that sees Belt drive: slips 2.4 times as often, Regulator: regulates low 2.4 times as often and "
            "1 other base rate off as far, how the car is used would be put right without another test",
        ),
    ],
)  # fmt: skip
def test_every_turn_has_its_sentence(off: tuple[Off, ...], leads_to: str, about: str, said: str) -> None:
    assert turn_words(Turn(off, leads_to), about, CATALOGUE) == said


def test_where_nothing_is_decided_no_line_stands() -> None:
    turn = Turn((GROUND,), "ground_path:high_resistance")
    undecided = replace(HOLDS, repair=None, cause=Claim("cause", "drain:heavy", (turn,), 0.3))
    assert robust_line(undecided, CATALOGUE) == ""
    assert robust_sentences(undecided, CATALOGUE) == [
        "Not decided yet: in a shop that sees Ground path: high resistance 2.4 times as often as the 7 in 1000 cars "
        "assumed, Ground path: high resistance would lead."
    ]


def test_the_job_sheet_says_it_while_the_case_is_open() -> None:
    case, found = load_case("demo:key_off_drain"), advice()
    assert found.robust is not None
    said = robust_sentences(found.robust, CATALOGUE)
    assert len(said) >= 4
    assert [words for line in said for words in old_words(line)] == []
    open_case = job_sheet(case, found.diagnosis, CATALOGUE, decision=found.decision, robust=found.robust)
    assert said[0].split(":")[0] in open_case
    assert "lies between" in open_case
    closed = replace(case, outcome=CaseOutcome((("drain", "heavy"),), "seen"))
    assert "lies between" not in job_sheet(closed, found.diagnosis, CATALOGUE, robust=found.robust)
