"""Somebody who reads nothing but the screen takes each demo case to a first repair, on a screen of a phone's size.

``python tests/bench/new_user.py [SEED] [NAME ...]`` draws a virtual car with the fault of each demo case (invented, as
the cases are) that does what its driver complains of, begins the case in a real browser as its owner would, and does
what the card says: each test is done on the virtual car and its reading typed as read, until the page says that enough
was tested. The time is what the pages took, with :data:`TAP` seconds for each tap and :data:`VALUE` for each value
typed; work at the car comes on top and is listed apart.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve().parent
if str(HERE.parents[1]) not in sys.path:
    sys.path.insert(0, str(HERE.parents[1]))

from faultnet.case.file import load_case  # noqa: E402
from faultnet.case.types import Case, Reading  # noqa: E402 - the folder must be known first
from faultnet.diagnosis.needs import preparing_acts, unmet_needs  # noqa: E402
from faultnet.prior_set import load_catalogue  # noqa: E402
from faultnet.shipped import shipped  # noqa: E402
from faultnet.simulation.car.world import VirtualCar, after_act, draw_car, measure  # noqa: E402
from tests.ui.hands import case_begun, describe, first_page, pick, settled  # noqa: E402
from tests.ui.server import CHROMIUM_FLAGS, PHONE, Served, chromium, serving  # noqa: E402

TAP, VALUE = 3.0, 8.0  # [s]
GOES_ON, DONE_BEFORE = "still worth its time", "Before this:"  # words of the page
MOST_TESTS = 30
FLAT = ("slow", "one_clunk", "rapid_clicking", "nothing")
CARS: dict[str, tuple[dict[str, str], tuple[str, ...]]] = {
    "diesel_in_the_cold": ({"battery": "worn"}, ("slow",)),
    "fresh_case": ({"start_control": "open"}, ("nothing",)),
    "ground_high_resistance": ({"ground_path": "high_resistance"}, ("slow",)),
    "healthy_car": ({}, ("normal",)),
    "intermittent_no_start": ({"negative_joint": "slack"}, ("one_clunk", "nothing")),
    "key_off_drain": ({"drain": "moderate"}, FLAT),
    "left_on_lamp": ({"use": "left_on"}, FLAT),
    "regulator_low": ({"regulator": "low"}, ("slow",)),
    "shorted_cell": ({"battery": "shorted_cell"}, FLAT),
    "sulphated_battery": ({"battery": "sulphated"}, FLAT),
}  # what is at fault, and how it may turn over
ASKED_FIRST = ("how_it_turns_over", "when_it_fails", "flat_how_often")


@dataclass
class Hand:
    """Who works the screen; counts what it did."""

    page: Any
    vehicle: VirtualCar
    turns_over: str
    rng: np.random.Generator
    taps: int = 0
    values: int = 0
    waited: float = 0.0
    at_the_car: float = 0.0
    done: list[str] = field(default_factory=list)

    def seconds(self) -> float:
        """As a person would have needed at the screen."""
        return self.waited + TAP * self.taps + VALUE * self.values


def complaining(name: str, case: Case, rng: np.random.Generator) -> tuple[VirtualCar, str]:
    """A car with the fault of a case, drawn until it turns over as its driver says, and how it does."""
    faults, wanted = CARS[name]
    while True:
        vehicle = draw_car(
            rng, load_catalogue(), case.car, faults, case.visits[0].conditions, "standard", faults_on=True
        )
        heard = str(measure(vehicle, ASKED_FIRST[0], "question", rng).state)
        if heard in wanted:
            return vehicle, heard


def begin(hand: Hand, served: Served, case: Case) -> None:
    """Fill the first page in and begin."""
    page, rng = hand.page, hand.rng
    started = time.perf_counter()
    first_page(page, served)
    hand.waited += time.perf_counter() - started
    conditions, car = case.visits[0].conditions, case.car
    describe(
        page, case.complaint, rating=car.battery.rating, air=conditions.air_temperature,
        standing=conditions.hours_standing,
    )  # fmt: skip
    page.get_by_text({"petrol": "Petrol", "diesel": "Diesel"}[car.fuel], exact=True).click()
    page.get_by_label("Engine (litres)").fill(f"{car.displacement:g}")
    settled(page)
    hand.values, hand.taps = 5, 3
    for test_id in ASKED_FIRST:
        test = load_catalogue().test(test_id)
        heard = test_id == ASKED_FIRST[0]
        answer = hand.turns_over if heard else str(measure(hand.vehicle, test_id, "question", rng).state)
        pick(page, test.label, dict(test.choices)[answer])
        hand.taps += 2
    _press(hand, page.get_by_role("button", name="Begin", exact=True))
    case_begun(page)


def _press(hand: Hand, button: Any) -> None:
    started = time.perf_counter()
    button.click()
    settled(hand.page)
    hand.waited += time.perf_counter() - started
    hand.taps += 1


def follow_the_card(hand: Hand, served: Served, case_id: str) -> str:
    """Do what the card says until the page says that enough was tested; gives what the page says then."""
    catalogue = load_catalogue()
    by_label = {t.label: t for t in catalogue.tests}
    for _ in range(MOST_TESTS):
        said = hand.page.query_selector(".fn-stop")
        if said is not None and GOES_ON not in said.inner_text():
            return str(said.inner_text())
        test = by_label[hand.page.inner_text(".fn-test h2")]
        done_first = hand.page.get_by_role("checkbox", name=DONE_BEFORE)
        if done_first.count():
            if not done_first.is_checked():
                _press(hand, hand.page.get_by_text(DONE_BEFORE))
            needs = unmet_needs(test, served.current(case_id).visits[-1], catalogue)
            for act in preparing_acts(needs):
                hand.vehicle = after_act(hand.vehicle, act.act, None, hand.rng, hours=act.hours)
        hand.at_the_car += test.minutes
        enter(hand, test.kind, dict(test.choices), measure(hand.vehicle, test.id, None, hand.rng), test.unit)
    return "did not end"


def enter(hand: Hand, kind: str, choices: dict[str, str], reading: Reading, unit: str) -> None:
    """Press the answer, or type the value."""
    page, before = hand.page, hand.page.inner_text(".fn-said")
    if kind == "choice" or reading.state is not None:
        number = list(choices).index(str(reading.state)) + 1
        _press(hand, page.locator(".st-key-answers button").nth(number - 1))
        hand.done.append(f"{reading.test} {reading.state}")
    else:
        page.locator(".st-key-entry input").fill(f"{reading.value:g} {unit}".removesuffix(" -"))
        hand.values += 1
        _press(hand, page.locator('[class*="st-key-enter_"] button'))
        hand.done.append(f"{reading.test} {reading.value:g}")
    page.wait_for_function("(x) => document.querySelector('.fn-said')?.innerText !== x", arg=before)
    settled(page)


def run(seed: int, names: list[str]) -> None:
    """Take each case to its first repair, and print how it went."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, serving(Path(folder)) as served, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=CHROMIUM_FLAGS)
        for name in names or CARS:
            case = load_case(shipped("cases") / f"{name}.json")
            rng = np.random.default_rng([seed, len(name)])
            hand = Hand(browser.new_context(**PHONE).new_page(), *complaining(name, case, rng), rng)
            hand.page.set_default_timeout(60_000)
            begin(hand, served, case)
            said = follow_the_card(hand, served, str(hand.page.url).split("case=")[1].split("&")[0])
            print(
                f"{name}: {hand.seconds():.0f} s at the screen ({hand.taps} taps, {hand.values} values, "
                f"{hand.waited:.0f} s waited), {len(hand.done)} tests, {hand.at_the_car:.0f} min at the car\n"
                f"    at fault {CARS[name][0]}; the page: {said}\n    {'; '.join(hand.done)}",
                flush=True,
            )
            hand.page.context.close()
        browser.close()


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 1, sys.argv[2:])
