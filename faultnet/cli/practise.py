"""`faultnet practise` at the terminal: numbered choices, line by line; the same lines may come from a file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TextIO

from faultnet.cli.layout import joined, section, wrapped
from faultnet.diagnosis.wording import minutes_words
from faultnet.errors import EntryError, FaultnetError
from faultnet.practice.ahead import Ahead
from faultnet.practice.cars import Ticket
from faultnet.practice.courses import courses
from faultnet.practice.play import (
    Played,
    acts_without_repair,
    begun,
    instruments,
    look_at,
    moved,
    offers,
    price_of_repair,
    repairs,
)
from faultnet.practice.progress import Progress, first_number, held, load_progress, save_progress, taken_up
from faultnet.practice.review import Adviser, Record, Review, lesson, record_of, review
from faultnet.practice.words import (
    belief_lines,
    bill_words,
    calibration_words,
    car_words,
    complaint_words,
    end_words,
    fault_words,
    story_words,
)
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.page import GROUP_TITLES
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.steps import GiveBack, Mend, Prepare, Step

MOST_TURNS = 12  # shown; --json gives all
HELP = (
    "Type a number. Or a test's id ('rest_voltage', 'crank_minimum with fast_meter', 'rest_voltage at once'), an "
    "act's id ('charge'), 'repair PART ACT PERCENT', 'give back', 's' for all so far, 'q' to stop: the car is kept."
)
Choice = tuple[str, Callable[[], tuple[Step, float | None] | None]]


class Left(Exception):
    """The learner stops, or the input ends."""


class Session:
    """One learner at one terminal.

    Parameters
    ----------
    shop : Shop
    path : Path
        Of the progress file.
    source, screen : text streams
        Where lines come from, and where is written what is asked and seen.
    """

    def __init__(self, shop: Shop, path: Path, source: TextIO, screen: TextIO) -> None:
        self.shop, self.path, self.source, self.screen = shop, path, source, screen
        self.progress = load_progress(path)
        self.last: Review | None = None

    def run(self, ticket: Ticket | None) -> None:
        """Play the car in hand to its end, or the car of a ticket.

        Raises
        ------
        FaultnetError
            If the progress file cannot be used, or another car is still in hand.
        """
        played = self._car(ticket)
        self._say(self._begin_words(played))
        ahead = Ahead(played.ticket, self.shop)
        try:
            for job in played.before:
                ahead.saw(job.case)
            while not played.job.done:
                ahead.saw(played.case)
                played = self._kept(played, self._step(played))
            self._end(played, ahead.adviser)
        except (Left, KeyboardInterrupt):
            self._say("The car is kept as it stands; `faultnet practise` goes on with it.")
        finally:
            ahead.stop()

    def give_up(self) -> None:
        """Let the car in hand go, unscored."""
        self.progress = save_progress(self.path, replace(self.progress, in_hand=None))

    def _car(self, ticket: Ticket | None) -> Played:
        in_hand = self.progress.in_hand
        if in_hand is None:
            ticket = ticket or Ticket(number=first_number(self.progress))
            played = begun(ticket, self.shop)
            self._keep(played)
            return played
        if ticket is not None and ticket != in_hand.ticket:
            raise EntryError(
                "another car is still in hand", got=in_hand.ticket.words,
                to_do="go on with it by `faultnet practise`, or let it go with --give-up",
            )  # fmt: skip
        played = taken_up(in_hand, self.shop)
        self.shop = played.shop
        return played

    def _keep(self, played: Played) -> None:
        self.progress = save_progress(self.path, replace(self.progress, in_hand=held(played)))

    def _kept(self, played: Played, taken: tuple[Step, float | None]) -> Played:
        """Take a step, keep it, and tell what it brought."""
        seen = len(story_words(played))
        try:
            after = moved(played, *taken)
        except FaultnetError as error:
            self._say(f"  {error}")
            return played
        self._keep(after)
        self._say("\n".join(wrapped(line, "  > ", "    ") for line in story_words(after)[seen:]))
        self._say(f"  Spent: {bill_words(after.job.minutes, after.job.money, self.shop.costs)}")
        return after

    def _end(self, played: Played, adviser: Adviser) -> None:
        self._say("Given back. Holding it beside the advice on the same car ...")
        self.last = review(played, adviser)
        cars = (*self.progress.cars, self.last)
        self.progress = save_progress(self.path, replace(self.progress, in_hand=None, cars=cars))
        self._say(review_sheet(self.last, self.shop))
        self._say(record_sheet(record_of(cars)))

    def _begin_words(self, played: Played) -> str:
        catalogue = self.shop.catalogue
        words = [wrapped(complaint_words(played.case, catalogue)), wrapped(car_words(played.case))]
        story = story_words(played)[1:]
        so_far = section("So far", [wrapped(line, "  > ", "    ") for line in story])
        title = f"Invented car, {played.ticket.words}"
        return joined([section(title, words), so_far, wrapped(HELP, "")])

    def _step(self, played: Played) -> tuple[Step, float | None]:
        """Ask until a step is chosen."""
        while True:
            found = self._choose(played, "What next?", self._main(played))
            if found is not None:
                return found

    def _main(self, played: Played) -> list[Choice]:
        groups = {o.test.group for o in offers(played)}
        menu: list[Choice] = [
            (f"Test: {title}", lambda group=group: self._test(played, group))  # type: ignore[misc]
            for group, title in GROUP_TITLES.items()
            if group in groups
        ]
        menu.append(("Charge, wait, drive, bridge", lambda: self._act(played)))
        menu.append(("Repair", lambda: self._repair(played)))
        menu.append(("Give the car back", lambda: (GiveBack(), None)))
        return menu

    def _test(self, played: Played, group: str) -> tuple[Step, float | None] | None:
        menu: list[Choice] = []
        for offer in offers(played):
            if offer.test.group == group:
                words = f"{offer.test.label} ({minutes_words(offer.minutes)})"
                menu.append((words, lambda test=offer.test.id: self._how(played, test)))  # type: ignore[misc]
        return self._choose(played, "Which test?", menu)

    def _how(self, played: Played, test_id: str) -> tuple[Step, float | None] | None:
        offer = next(o for o in offers(played) if o.test.id == test_id)
        instrument, at_once = None, False
        usable = instruments(offer.test, self.shop)
        if offer.test.kind == "number" and len(usable) > 1:
            labels = [self.shop.catalogue.instrument(i).label for i in usable]
            instrument = usable[self._number("With what?", labels)]
        if offer.at_once < offer.minutes:
            ways = (f"prepare first ({minutes_words(offer.minutes)})", f"at once ({minutes_words(offer.at_once)})")
            at_once = self._number("How?", ways) == 1
        return look_at(played, test_id, instrument, at_once=at_once), None

    def _act(self, played: Played) -> tuple[Step, float | None] | None:
        menu: list[Choice] = [
            (f"{a.label} ({minutes_words(a.minutes)})", lambda act=a.id: (Prepare(act), None))  # type: ignore[misc]
            for a in acts_without_repair(played)
        ]
        return self._choose(played, "What?", menu)

    def _repair(self, played: Played) -> tuple[Step, float | None] | None:
        menu: list[Choice] = []
        for component in repairs(played):
            price = bill_words(*price_of_repair(component, played.job, self.shop.costs), self.shop.costs)
            words = f"{self.shop.catalogue.component(component).label} ({price})"
            menu.append((words, lambda part=component: self._mend(played, part)))  # type: ignore[misc]
        return self._choose(played, "Which part?", menu)

    def _mend(self, played: Played, component: str) -> tuple[Step, float | None] | None:
        acts = repairs(played)[component]
        act = acts[0] if len(acts) == 1 else acts[self._number("By what?", [a.label for a in acts])]
        label = self.shop.catalogue.component(component).label
        return Mend(component, act.id), self._percent(f"How sure are you that it is at fault: {label}? (0 to 100) ")

    def _choose(self, played: Played, title: str, menu: Sequence[Choice]) -> tuple[Step, float | None] | None:
        """Offer choices; None to go back, or after something that is no step."""
        self._say("\n".join([title, *(f"  {n:2d}  {words}" for n, (words, _) in enumerate(menu, 1)), "   0  back"]))
        line = self._line("> ")
        if line in ("", "0"):
            return None
        if line == "s":
            self._say("\n".join(wrapped(words, "  > ", "    ") for words in story_words(played)))
            return None
        if line.isdecimal():
            if int(line) > len(menu):
                self._say(f"  There is no choice {line[:9]}: 0 to {len(menu)}.")
                return None
            return menu[int(line) - 1][1]()
        try:
            return typed_step(line, played)
        except FaultnetError as error:
            self._say(f"  {error}")
            return None

    def _number(self, title: str, labels: Sequence[str]) -> int:
        """Offer labels; the first one for an empty line."""
        self._say("\n".join([title, *(f"  {n:2d}  {words}" for n, words in enumerate(labels, 1))]))
        while True:
            line = self._line("> ")
            if not line:
                return 0
            if line.isdecimal() and 1 <= int(line) <= len(labels):
                return int(line) - 1
            self._say(f"  1 to {len(labels)}, or an empty line for the first.")

    def _percent(self, words: str) -> float:
        while True:
            found = percent_of(self._line(words))
            if found is not None:
                return found
            self._say("  A number from 0 to 100.")

    def _line(self, words: str) -> str:
        self.screen.write(words)
        self.screen.flush()
        line = self.source.readline()
        if not line or line.strip() in ("q", "quit"):
            raise Left
        return " ".join(line.split())

    def _say(self, words: str) -> None:
        self.screen.write(f"{words}\n")


def percent_of(text: str) -> float | None:
    """A belief as typed [%]; None for what is none.

    Examples
    --------
    >>> percent_of("70 %"), percent_of("0.5"), percent_of("120"), percent_of("nan")
    (70.0, 0.5, None, None)
    """
    try:
        found = float(text.replace("%", "").replace(",", "."))
    except ValueError:
        return None
    return found if 0.0 <= found <= 100.0 else None


def typed_step(line: str, played: Played) -> tuple[Step, float | None]:
    """A step typed by ids instead of numbers.

    Raises
    ------
    EntryError
        If it is none.
    """
    words, catalogue = line.split(), played.shop.catalogue
    if line in ("give back", "back"):
        return GiveBack(), None
    if words[0] == "repair" and len(words) in (4, 5) and any(c.id == words[1] for c in catalogue.components):
        belief = percent_of("".join(words[3:]))
        if belief is not None and any(a.id == words[2] for a in catalogue.acts):
            return Mend(words[1], words[2]), belief
    if any(t.id == words[0] for t in catalogue.tests):
        rest = line[len(words[0]) :].strip()
        at_once = rest.endswith("at once")
        rest = rest.removesuffix("at once").strip()
        instrument = rest.removeprefix("with ").strip() or None
        if not rest or rest.startswith("with "):
            return look_at(played, words[0], instrument, at_once=at_once), None
    if len(words) == 1 and any(a.id == words[0] for a in catalogue.acts):
        return Prepare(words[0]), None
    raise EntryError("this is no choice", got=repr(line[:60]), to_do=HELP[0].lower() + HELP[1:])


def review_sheet(found: Review, shop: Shop) -> str:
    """A car that was given back, as text."""
    catalogue: Catalogue = shop.catalogue
    rows = [f"  {'':14}{'minutes':>8}{'cost':>8}{'wrong parts':>13}{'tests':>7}  end"]
    for name, bill in (("you", found.yours), ("the advice", found.advice), ("who knows", found.knowing)):
        rows.append(
            f"  {name:14}{bill.minutes:8.0f}{bill.cost:8.0f}{bill.wrong_parts:13d}{bill.tests:7d}  {end_words(bill)}"
        )
    regret = (
        f"Regret, the cost above that of who knows: yours {found.regret:.0f}, the advice's {found.advice_regret:.0f}."
    )
    turns = [
        wrapped(
            f"Step {t.number}: you: {_closed(t.yours)} The advice: {_closed(t.advised)} {t.why}"
            + (f" It held that part to be at fault with {t.belief:g} %." if t.belief is not None else "")
        )
        for t in found.turns[:MOST_TURNS]
    ]
    left = len(found.turns) - MOST_TURNS
    turns += [f"  ... and {left} more (--json shows all)."] if left > 0 else []
    return joined(
        [
            section("What was wrong", [wrapped(f"At fault when it came in: {fault_words(found, catalogue)}.")]),
            section("What it came to", [*rows, wrapped(regret)]),
            section("What you believed", [wrapped(line) for line in belief_lines(found, catalogue)]),
            section("Where the advice would have gone another way", turns),
            section("What this course was about", [wrapped(words) for words in lesson(found.ticket)]),
        ]
    )


def _closed(words: str) -> str:
    return words if words.endswith("?") else f"{words}."


def record_sheet(record: Record) -> str:
    """All cars so far, as text."""
    lines = [
        wrapped(
            f"{record.cars} car{'s' * (record.cars != 1)}: mean regret {record.regret:.0f} (the advice "
            f"{record.advice_regret:.0f}), wrong parts {record.wrong_parts} (the advice {record.advice_wrong_parts})."
        ),
        wrapped(calibration_words(record)),
    ]
    lines += [f"  said about {said:3.0f} %: at fault {true:3.0f} % of {count}" for said, true, count in record.classes]
    return section("All cars so far", lines)


def courses_sheet(progress: Progress) -> str:
    """The set courses, and what those that were taken were about."""
    taken = {car.ticket.course for car in progress.cars}
    lines = [
        f"  {number:2d}  {found.title}" + (f" ({found.topic})" if name in taken else "")
        for number, (name, found) in enumerate(courses().items(), 1)
    ]
    return section("Courses, by number", lines)


def practice_answer(progress: Progress, last: Review | None) -> dict[str, Any]:
    """Progress and the car just given back, as JSON."""
    record = record_of(progress.cars)
    return {
        "invented": True,
        "in_hand": None if progress.in_hand is None else progress.in_hand.ticket.words,
        "last": None if last is None else last.record(),
        "all": {**vars(record), "classes": [list(c) for c in record.classes]},
        "courses": {name: any(car.ticket.course == name for car in progress.cars) for name in courses()},
    }


def standard_screen(as_json: bool) -> TextIO:
    """Where the talk goes: beside the JSON, on standard error."""
    return sys.stderr if as_json else sys.stdout
