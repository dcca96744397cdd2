"""Somebody who reads nothing but the screen takes each demo case to a first repair, on a screen of a phone's size.

``python tests/bench/new_user.py [SEED] [NAME ...]`` draws a virtual car with the fault of each demo case (invented, as
the cases are) that does what its driver complains of, begins the case in a real browser as its owner would, and does
what the card says: each test is done on the virtual car and its reading typed as read, until the page says that enough
was tested. The time is what the pages took, with :data:`TAP` seconds for each tap and :data:`VALUE` for each value
typed; work at the car comes on top and is listed apart. Names of :data:`WALKS` are three situations of an owner beside
his car, each with its own complaint and tools. ``--pictures FOLDER`` keeps the whole page of every step; whether a page
can be moved sideways is looked at in each.
"""

from __future__ import annotations

import argparse
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
from faultnet.case.types import (  # noqa: E402 - the folder must be known first
    Battery,
    Car,
    Case,
    Conditions,
    Visit,
)
from faultnet.diagnosis.needs import preparing_acts, unmet_needs  # noqa: E402
from faultnet.prior_set import load_catalogue  # noqa: E402
from faultnet.prior_set.types import Test  # noqa: E402
from faultnet.shipped import shipped  # noqa: E402
from faultnet.simulation.car.world import VirtualCar, after_act, draw_car, measure  # noqa: E402
from tests.ui.hands import case_begun, describe, first_page, go, pick, settled  # noqa: E402
from tests.ui.server import CHROMIUM_FLAGS, PHONE, Served, chromium, serving  # noqa: E402

TAP, VALUE, BOUNCE = 3.0, 8.0, 1.0  # [s]
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
ASKED_FIRST = ("when_it_fails", "flat_how_often")
TURNS_OVER, CHECK_UP = "how_it_turns_over", "check_up"
WIDER = "() => document.querySelector('[data-testid=stMain]').scrollWidth > innerWidth"
HIGH = "() => document.querySelector('[data-testid=stMain]').scrollHeight"


@dataclass(frozen=True)
class Walk:
    """A situation: the car as it is, and what its owner says of it.

    Parameters
    ----------
    case : Case
        Car, conditions and complaint in words; its entries are not looked at.
    faults : dict of component to mode
    turns_over : tuple of str
        How it may turn over.
    complaint : str
        Id of the complaint that is chosen; what is heard at the key when empty.
    tools : tuple of str, optional
        Those ticked; what most people have, and nothing to tick, when left out.
    """

    case: Case
    faults: dict[str, str]
    turns_over: tuple[str, ...]
    complaint: str = ""
    tools: tuple[str, ...] | None = None


def _situation(words: str, air: float) -> Case:
    car = Car(Battery(600.0, "EN", age=5.0), "petrol", 1.6, 4, 90.0)
    return Case(car, (Visit(conditions=Conditions(air_temperature=air, hours_standing=11.0)),), words)


_DEAD = _situation("Dead this morning, it only clicks", 4.0)
WALKS: dict[str, Walk] = {
    "clicks_left_on": Walk(_DEAD, {"use": "left_on"}, ("rapid_clicking",), "clicks", ("voltmeter",)),
    "clicks_terminal": Walk(_DEAD, {"negative_joint": "corroded"}, ("rapid_clicking",), "clicks", ("voltmeter",)),
    "clicks_battery": Walk(_DEAD, {"battery": "shorted_cell"}, ("rapid_clicking",), "clicks", ("voltmeter",)),
    "does_not_fire": Walk(
        _situation("Turns well but will not start", 12.0), {"engine_running": "no_fire"}, ("normal",), "does_not_fire"
    ),
    "check_up": Walk(_situation("Long trip next week, please check it", 12.0), {}, ("normal",), CHECK_UP),
}


def walk_named(name: str) -> Walk:
    """The situation of that name, or that of a demo case."""
    if name in WALKS:
        return WALKS[name]
    faults, turns_over = CARS[name]
    case = load_case(shipped("cases") / f"{name}.json")
    return Walk(case, faults, turns_over, "" if faults else CHECK_UP)


@dataclass
class Hand:
    """Who works the screen; counts what it did."""

    page: Any
    vehicle: VirtualCar
    turns_over: str
    rng: np.random.Generator
    pictures: Path | None = None
    taps: int = 0
    values: int = 0
    waited: float = 0.0
    at_the_car: float = 0.0
    done: list[str] = field(default_factory=list)
    sideways: list[str] = field(default_factory=list)
    looked: int = 0
    asked: set[str] = field(default_factory=set)

    def seconds(self) -> float:
        """As a person would have needed at the screen."""
        return self.waited + TAP * self.taps + VALUE * self.values

    def look(self) -> None:
        """See whether the page can be moved sideways, and keep a picture of all of it."""
        self.looked += 1
        if self.page.evaluate(WIDER):
            self.sideways.append(self.page.inner_text("h2 >> nth=0"))
        if self.pictures is None:
            return
        size = self.page.viewport_size
        self.page.screenshot(path=self.pictures / f"{self.looked:02}.png")
        self.page.set_viewport_size({**size, "height": self.page.evaluate(HIGH) + 120})
        settled(self.page)
        self.page.screenshot(path=self.pictures / f"{self.looked:02}_whole.png")
        self.page.set_viewport_size(size)
        settled(self.page)


def complaining(name: str, walk: Walk, rng: np.random.Generator) -> tuple[VirtualCar, str]:
    """A car with the faults of a situation, drawn until it turns over as its driver says, and how it does."""
    while True:
        vehicle = draw_car(
            rng, load_catalogue(), walk.case.car, walk.faults, walk.case.visits[0].conditions, faults_on=True
        )
        heard = str(measure(vehicle, TURNS_OVER, "question", rng).state)
        if heard in walk.turns_over:
            return vehicle, heard


def begin(hand: Hand, served: Served, walk: Walk) -> None:
    """Say which tools there are, fill the first page in and begin."""
    page = hand.page
    started = time.perf_counter()
    first_page(page, served)
    hand.waited += time.perf_counter() - started
    if walk.tools is not None:
        _tick(hand, walk.tools)
    conditions, car = walk.case.visits[0].conditions, walk.case.car
    describe(
        page, walk.case.complaint, rating=car.battery.rating, air=conditions.air_temperature,
        standing=conditions.hours_standing,
    )  # fmt: skip
    page.get_by_text({"petrol": "Petrol", "diesel": "Diesel"}[car.fuel], exact=True).click()
    page.get_by_label("Engine (litres)").fill(f"{car.displacement:g}")
    settled(page)
    hand.values += 5
    hand.taps += 3
    _answer_what_is_asked(hand, walk)
    hand.look()
    _press(hand, page.get_by_role("button", name="Begin", exact=True))
    case_begun(page)


def _answer_what_is_asked(hand: Hand, walk: Walk) -> None:
    """Choose the complaint, and answer the two questions beside it; a check-up answers the first of them."""
    catalogue = load_catalogue()
    heard = [c for c in catalogue.complaints if (c.test, c.choice) == (TURNS_OVER, hand.turns_over)]
    words = next((c.label for c in catalogue.complaints if c.id == walk.complaint), heard[0].label if heard else "")
    chosen = [("What is the complaint?", words[:1].upper() + words[1:])] if words else []
    for test_id in ASKED_FIRST[1 if walk.complaint == CHECK_UP else 0 :]:
        test = catalogue.test(test_id)
        answer = str(measure(hand.vehicle, test_id, "question", hand.rng).state)
        chosen.append((test.label, dict(test.choices)[answer]))
    for box, option in chosen:
        pick(hand.page, box, option)
        hand.taps += 2
        hand.done.append(f"said: {option}")


def _tick(hand: Hand, tools: tuple[str, ...]) -> None:
    """Leave only these tools ticked on the page 'Car', and come back."""
    go(hand.page, "Car")
    hand.taps += 2
    for box in hand.page.locator(".st-key-tools [data-testid=stCheckbox]").all():
        if box.get_by_role("checkbox").is_checked() != (box.inner_text().strip().lower() in tools):
            _press(hand, box.locator("label"))
    go(hand.page, "Test")


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
        hand.look()
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
        enter(hand, served, case_id, test)
        answer_doubts(hand, test.id)
    return "did not end"


def enter(hand: Hand, served: Served, case_id: str, test: Test) -> None:
    """Press the answer, or type the value; where the page refuses it, read it again."""
    page, count = hand.page, len(served.current(case_id).visits[-1].entries)
    for _ in range(3):
        reading = measure(hand.vehicle, test.id, _instrument(page, test), hand.rng)
        if reading.state is not None:
            page.wait_for_timeout(1000.0 * BOUNCE)  # a tap that follows at once is a finger that bounced
            _press(hand, page.locator(".st-key-answers button").nth(list(dict(test.choices)).index(reading.state)))
            hand.done.append(f"{reading.test} {reading.state}")
        else:
            page.locator(".st-key-entry input").fill(f"{reading.value:g} {test.unit}".removesuffix(" -"))
            hand.values += 1
            _press(hand, page.locator('[class*="st-key-enter_"] button'))
            hand.done.append(f"{reading.test} {reading.value:g}")
        until = time.monotonic() + 30.0
        while time.monotonic() < until and not page.locator(".st-key-slot_wrong .fn-wrong").count():
            if len(served.current(case_id).visits[-1].entries) > count:
                settled(page)
                return
            page.wait_for_timeout(100)
        hand.done[-1] += " (refused)"


def _instrument(page: Any, test: Test) -> str | None:
    """The instrument that the card shows, where there are several."""
    box = page.get_by_role("combobox", name="Instrument")
    if len(test.instruments) < 2 or not box.count():
        return None
    shown = box.input_value()
    return next(i for i in test.instruments if load_catalogue().instrument(i).label == shown)


def answer_doubts(hand: Hand, test: str) -> None:
    """Where the page asks whether a reading is right: read it again the first time, keep it the second."""
    buttons = {
        name: hand.page.get_by_role("button", name=name) for name in ("Take it out", "Correct it", "It is right")
    }
    if not buttons["It is right"].count():
        return
    hand.done[-1] += " (then one is asked about)"
    again = "Take it out" if buttons["Take it out"].count() else "Correct it"
    _press(hand, buttons["It is right" if test in hand.asked else again].first)
    hand.asked.add(test)


def run(seed: int, names: list[str], pictures: Path | None) -> None:
    """Take each case to its first repair, and print how it went."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=CHROMIUM_FLAGS)
        for name in names or CARS:
            with (
                tempfile.TemporaryDirectory() as folder,
                serving(Path(folder)) as served,
            ):  # the tools begin as they come
                walked(browser, served, seed, name, pictures)
        browser.close()


def walked(browser: Any, served: Served, seed: int, name: str, pictures: Path | None) -> None:
    """Take one case to its first repair, and print how it went."""
    walk, rng = walk_named(name), np.random.default_rng([seed, len(name)])
    folder = None if pictures is None else pictures / name
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
    hand = Hand(browser.new_context(**PHONE).new_page(), *complaining(name, walk, rng), rng, folder)
    hand.page.set_default_timeout(60_000)
    begin(hand, served, walk)
    said = follow_the_card(hand, served, str(hand.page.url).split("case=")[1].split("&")[0])
    sideways = f"\n    moves sideways: {'; '.join(hand.sideways)}" if hand.sideways else ""
    print(
        f"{name}: {hand.seconds():.0f} s at the screen ({hand.taps} taps, {hand.values} values, "
        f"{hand.waited:.0f} s waited), {len(hand.done)} answers and tests, {hand.at_the_car:.0f} min at the car\n"
        f"    at fault {walk.faults}; the page: {said}\n    {'; '.join(hand.done)}{sideways}",
        flush=True,
    )
    hand.page.context.close()


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("seed", nargs="?", type=int, default=1)
    asked.add_argument("names", nargs="*", choices=[*CARS, *WALKS, []])
    asked.add_argument("--pictures", type=Path)
    given = asked.parse_args()
    run(given.seed, given.names, given.pictures)
