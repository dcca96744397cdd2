"""Practice: a virtual car on which one pays for what one sees, and is held beside the advice on the same car."""

from __future__ import annotations

from functools import partial

import streamlit as st
from workbench import frame, practice, state
from workbench.answers import catalogue
from workbench.words import minutes, plain

from faultnet.errors import StoreError
from faultnet.practice.cars import Ticket
from faultnet.practice.courses import courses
from faultnet.practice.play import (
    Offer,
    Played,
    acts_without_repair,
    instruments,
    look_at,
    offers,
    price_of_repair,
    repairs,
)
from faultnet.practice.progress import Progress, first_number
from faultnet.practice.review import Review, lesson, record_of
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
from faultnet.prior_set.page import GROUP_TITLES
from faultnet.simulation.workshop.steps import GiveBack, Mend, Prepare

DIFFICULTIES = {"easy": "Easy", "medium": "As they come in", "hard": "Hard"}
WORLDS = {"matched": "By the advice's own equations", "independent": "By other equations"}
ACT, REPAIR, BACK, SEEN = "act", "repair", "back", "seen"
OTHERS = {ACT: "Charge, drive", REPAIR: "Repair", BACK: "Give back", SEEN: "All so far"}
BELIEFS = tuple(range(0, 101, 10))  # [%]
TURNS = 8


def show() -> None:
    """Draw the page."""
    now = practice.progress()
    trouble = state.trouble()
    if trouble is not None:
        frame.show_error(trouble)
    if now.in_hand is None:
        _begin(now)
        return
    try:
        played = practice.played(now)
    except StoreError as error:
        frame.show_error(error)
        _give_up(now)
        return
    if played.job.done:
        with st.spinner("Holding it beside the advice on the same car. A minute, where the car is new here."):
            practice.look_back(now, played)
        state.remember("practice_done", len(now.cars) + 1)
        st.rerun()
    _work(now, played)


def _begin(now: Progress) -> None:
    st.html(
        "<header class='fn-head'><h1>Practise on a virtual car<span class='fn-tag'>invented</span></h1></header>"
        "<p>You see what you pay for, and say how sure you are before each repair. Afterwards: what the advice did on "
        "the same car.</p>"
    )
    with st.container(key="practice_begin"):
        chosen = st.segmented_control("Difficulty", DIFFICULTIES, default="easy", key="practice_difficulty",
                                      format_func=DIFFICULTIES.__getitem__, required=True)  # fmt: skip
        world = st.segmented_control("The car works", WORLDS, default="matched", key="practice_world",
                                     format_func=WORLDS.__getitem__, required=True)  # fmt: skip
        ticket = Ticket(world or "matched", chosen or "easy", first_number(now, world or "matched", chosen or "easy"))
        st.button(f"Begin car number {ticket.number}", key="practice_first", type="primary", width="stretch",
                  on_click=practice.begin, args=(now.version, ticket))  # fmt: skip
    if now.cars:
        frame.title("How your last car went", "last-car")
        frame.told(_review(now.cars[-1]))
        if state.recall("practice_done") == len(now.cars):
            frame.scroll_to("last-car", len(now.cars))
        frame.title("All cars so far")
        frame.told(_record(now))
    frame.title("Ten set courses")
    frame.note("Each has a classic trap. What it was about is told afterwards.")
    taken = {car.ticket.course for car in now.cars}
    with st.container(key="others_courses"):
        for number, (name, course) in enumerate(courses().items(), 1):
            about = f"  \ndone: {plain(course.topic, 'label')}" if name in taken else ""
            st.button(f"**{number}. {plain(course.title, 'label')}**{about}", key=f"course_{name}", width="stretch",
                      on_click=practice.begin, args=(now.version, Ticket(course=name)))  # fmt: skip


def _give_up(now: Progress) -> None:
    st.button("Let this car go, unscored", key="practice_give_up", on_click=practice.give_up, args=(now.version,))


def _work(now: Progress, played: Played) -> None:
    story = story_words(played)
    st.html(
        f"<header class='fn-head'><h1>{plain(played.ticket.words)}<span class='fn-tag'>invented</span></h1></header>"
        f"<p>{plain(complaint_words(played.case, catalogue()))}</p>"
        f"<p class='fn-note'>{plain(car_words(played.case))}</p>"
    )
    job, before = played.job, played.before
    old = len(story) if not before else sum(len(v.entries) for v in before[-1].case.visits) + before[-1].come_backs
    lines = "".join(f"<p>{plain(line)}</p>" for line in story[old:])
    spent = bill_words(job.minutes, job.money, played.shop.costs)
    frame.told(
        f"<div class='fn-stop' role='status' id='spent'>{lines}<p class='fn-balance'>Spent: {plain(spent)}</p></div>"
    )
    if played.moves:
        frame.scroll_to("spent", len(played.moves))
    test, part = practice.chosen("test"), practice.chosen("part")
    offered = {o.test.id: o for o in offers(played)}
    if test in offered:
        _test_card(now, played, offered[test])
    elif part in repairs(played):
        _repair_card(now, played, part)
    else:
        _menu(now, played, offered)


def _menu(now: Progress, played: Played, offered: dict[str, Offer]) -> None:
    groups = {g: t for g, t in GROUP_TITLES.items() if any(o.test.group == g for o in offered.values())}
    names = {**groups, **OTHERS}
    group = st.segmented_control("What next?", names, key="practice_group", format_func=names.__getitem__)
    with st.container(key="others_practice"):
        if group in groups:
            for offer in offered.values():
                if offer.test.group == group:
                    _test_button(now, played, offer)
        elif group == ACT:
            for act in acts_without_repair(played):
                st.button(f"**{act.label}**  \n{minutes(act.minutes)}", key=f"do_{act.id}", width="stretch",
                          on_click=practice.step, args=(now.version, Prepare(act.id)))  # fmt: skip
        elif group == REPAIR:
            for component in repairs(played):
                price = bill_words(*price_of_repair(component, played.job, played.shop.costs), played.shop.costs)
                words = f"**{catalogue().component(component).label}**  \n{plain(price, 'label')}"
                st.button(words, key=f"part_{component}", width="stretch", on_click=practice.choose,
                          args=("part", component))  # fmt: skip
        elif group == BACK:
            frame.note("A car given back with a fault comes back, and that is paid.")
            st.button("Give the car back", key="practice_back", type="primary", width="stretch",
                      on_click=practice.step, args=(now.version, GiveBack()))  # fmt: skip
            _give_up(now)
        elif group == SEEN:
            frame.told("<ol class='fn-steps'>" + "".join(f"<li>{plain(w)}</li>" for w in story_words(played)) + "</ol>")


def _test_button(now: Progress, played: Played, offer: Offer) -> None:
    """One press does a test that can be done in one way only; else it is put on the card."""
    test = offer.test
    several = offer.at_once < offer.minutes or (test.kind == "number" and len(instruments(test, played.shop)) > 1)
    words = f"**{test.label}**  \n{minutes(offer.minutes)}{' ...' if several else ''}"
    if several:
        st.button(words, key=f"try_{test.id}", width="stretch", on_click=practice.choose, args=("test", test.id))
    else:
        st.button(words, key=f"try_{test.id}", width="stretch", on_click=_look, args=(now.version, test.id))


def _look(version: str, test: str, *, at_once: bool = False) -> None:
    """Do a test, with the instrument that is chosen on the card."""
    now = practice.progress()
    if now.version == version:
        instrument = state.recall(f"practice_with_{test}")
        practice.step(version, look_at(practice.played(now), test, instrument, at_once=at_once))


def _test_card(now: Progress, played: Played, offer: Offer) -> None:
    test = offer.test
    with st.container(key="card"):
        frame.told(f"<div class='fn-test'><h2>{plain(test.label)}</h2><p>{plain(test.explanation)}</p></div>")
        usable = instruments(test, played.shop)
        if test.kind == "number" and len(usable) > 1:
            labels = {i: catalogue().instrument(i).label for i in usable}
            st.segmented_control("With", labels, default=usable[0], key=f"practice_with_{test.id}",
                                 format_func=labels.__getitem__, required=True)  # fmt: skip
        hasty = offer.at_once < offer.minutes
        words = f"{'Prepare and do' if hasty else 'Do'} it ({minutes(offer.minutes)})"
        st.button(words, key="practice_do", type="primary", width="stretch", on_click=_look,
                  args=(now.version, test.id))  # fmt: skip
        if hasty:
            st.button(f"Measure at once ({minutes(offer.at_once)})", key="practice_at_once", width="stretch",
                      on_click=partial(_look, at_once=True), args=(now.version, test.id))  # fmt: skip
        st.button("Something else", key="practice_else", width="stretch", on_click=practice.forget)


def _repair_card(now: Progress, played: Played, component: str) -> None:
    part, acts = catalogue().component(component), repairs(played)[component]
    price = bill_words(*price_of_repair(component, played.job, played.shop.costs), played.shop.costs)
    with st.container(key="card"):
        frame.told(f"<div class='fn-test'><h2>{plain(part.label)}</h2><p class='kicker'>{plain(price)}</p></div>")
        labels = {a.id: a.label for a in acts}
        act = acts[0].id
        if len(acts) > 1:
            act = st.segmented_control("By", labels, default=act, key=f"practice_by_{component}",
                                       format_func=labels.__getitem__, required=True) or act  # fmt: skip
        belief = st.segmented_control("How sure are you that it is at fault?", BELIEFS, key=f"sure_{component}",
                                      format_func="{} %".format)  # fmt: skip
        st.button(plain(labels[act], "label"), key="practice_mend", type="primary", width="stretch",
                  disabled=belief is None, on_click=practice.step,
                  args=(now.version, Mend(component, act), None if belief is None else float(belief)))  # fmt: skip
        st.button("Something else", key="practice_else", width="stretch", on_click=practice.forget)


def _review(found: Review) -> str:
    """HTML of a car that was given back."""
    known = catalogue()
    rows = "".join(
        f"<tr><th scope='row'>{name}<br><small>{plain(end_words(bill))}</small></th><td>{bill.minutes:.0f}</td>"
        f"<td>{bill.cost:.0f}</td><td>{bill.wrong_parts}</td><td>{bill.tests}</td></tr>"
        for name, bill in (("You", found.yours), ("The advice", found.advice), ("Who knows", found.knowing))
    )
    parts = [
        f"<p><b>{plain(found.ticket.words)}</b>. At fault: {plain(fault_words(found, known))}.</p>",
        "<div class='fn-score'><table><tr><td></td><th scope='col'>min</th><th scope='col'>cost</th>"
        f"<th scope='col'>wrong parts</th><th scope='col'>tests</th></tr>{rows}</table></div>",
        f"<p>Regret, the cost above that of who knows: yours <b>{found.regret:.0f}</b>, the advice's "
        f"{found.advice_regret:.0f}.</p>",
    ]
    beliefs = belief_lines(found, known)
    parts += ["<ul class='fn-entries'>" + "".join(f"<li>{plain(b)}</li>" for b in beliefs) + "</ul>"] if beliefs else []
    about = lesson(found.ticket)
    if about:
        topic, trap, learnt = (plain(words) for words in about)
        parts.append(f"<p><b>{topic}.</b> {trap} <b>{learnt}</b></p>")
    if found.turns:
        items = "".join(
            f"<li>Step {t.number}: you: <b>{plain(t.yours)}</b>. The advice: <b>{plain(t.advised)}</b>. {plain(t.why)}"
            + (f" It held that part to be at fault with {t.belief:g} %." if t.belief is not None else "")
            + "</li>"
            for t in found.turns[:TURNS]
        )
        more = f"<p>And {len(found.turns) - TURNS} more.</p>" if len(found.turns) > TURNS else ""
        parts.append(
            f"<p class='fn-label'>Where the advice would have gone another way</p>"
            f"<ul class='fn-entries'>{items}</ul>{more}"
        )
    return "".join(parts)


def _record(now: Progress) -> str:
    """HTML of all cars so far."""
    record = record_of(now.cars)
    classes = "".join(
        f"<li>said about {said:.0f} %: at fault {true:.0f} % of {count}</li>" for said, true, count in record.classes
    )
    return (
        f"<p>{record.cars} car{'s' * (record.cars != 1)}: mean regret {record.regret:.0f} (the advice "
        f"{record.advice_regret:.0f}), wrong parts {record.wrong_parts} (the advice {record.advice_wrong_parts}).</p>"
        f"<p>{plain(calibration_words(record))}</p>" + (f"<ul class='fn-entries'>{classes}</ul>" if classes else "")
    )


show()
