"""The card of the test to do now: what to do, what a sound car reads, the entry field, the answers."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from faultnet.case.types import Act, Case, Reading, Visit
from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.acts import CHARGING
from faultnet.diagnosis.needs import ASKED, NEED_UNDONE_BY, has_to_fire, is_disabled, preparing_acts, unmet_needs
from faultnet.diagnosis.result import NextTest
from faultnet.diagnosis.wording import entry_words, range_words, share_words, worth_words
from faultnet.errors import FaultnetError
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Test, Timer
from workbench import entering, frame, state
from workbench.widgets import cautions, doubts, timers
from workbench.widgets.fields import keys
from workbench.words import FUEL_IS_OFF, NO_ANSWER, NOT_MEASURED, plain, shown_units, tool_words

LEAST_CHANCE = 0.03
TO_OTHERS = "<p class='fn-jumps'><a href='#other-tests' target='_self'>Measured something else?</a></p>"


@dataclass(frozen=True)
class Proposal:
    """The test on the card.

    Parameters
    ----------
    test : Test
    worth : NextTest, optional
        What it is worth; None when it was done already.
    sound : (float, float), optional
        What a sound car reads today, in the unit of the test.
    chosen : bool
        Whether the user chose it instead of the best one.
    """

    test: Test
    worth: NextTest | None
    sound: tuple[float, float] | None
    chosen: bool


def proposal(
    diagnosis: Diagnosis, catalogue: Catalogue, chosen: str | None, sound: dict[str, tuple[float, float]]
) -> Proposal | None:
    """The test to show: the chosen one, else the best one; None when nothing is left to do."""
    worths = {t.test: t for t in diagnosis.next_tests}
    if chosen is not None:
        return Proposal(catalogue.test(chosen), worths.get(chosen), sound.get(chosen), chosen=True)
    if not diagnosis.next_tests:
        return None
    best = diagnosis.next_tests[0]
    return Proposal(catalogue.test(best.test), best, best.sound_range, chosen=False)


def heading(found: Proposal, *, stop: bool = False, currency: str = "") -> str:
    """HTML of what the test is and what it is worth; once enough was tested, it is only offered."""
    test, worth = found.test, found.worth
    kicker = ["Chosen test" if found.chosen else "If you test on" if stop else "Next test"]
    if worth is not None:
        kicker.append(worth_words(worth, currency))
    return f"<div class='fn-test'><p class='kicker'>{plain(' · '.join(kicker))}</p><h2>{plain(test.label)}</h2></div>"


def wanted(found: Proposal, sound: tuple[float, float] | None) -> str:
    """HTML of what to enter, and what a sound car reads today with the instrument at hand."""
    if found.test.kind == "choice":
        return "<p class='fn-ask'>Press the answer, or type its number.</p>"
    words = plain(_wanted(found.test))
    if sound is not None:
        words += f" Sound car today: <span class='sound'>{plain(range_words(*sound, found.test.unit))}</span>"
    return f"<p class='fn-ask'>{words}</p>"


def _wanted(test: Test) -> str:
    examples = {"V": "Volts, such as 12.4 or 350 mV.", "A": "Amperes, such as 1.5 or 40 mA.",
                "ohm": "Ohms, such as 8 mohm.", "rpm": "Turns per minute.", "-": "A number such as 1.250."}  # fmt: skip
    return examples.get(test.unit, f"A number in {test.unit}.")


def care(found: Proposal, catalogue: Catalogue) -> str:
    """HTML of the cautions of this test: in few words at once, in full one tap away."""
    return cautions.block(found.test.cautions, catalogue)


def steps(found: Proposal, visit: Visit, catalogue: Catalogue) -> str:
    """HTML of what must hold first and of the steps."""
    test, worth = found.test, found.worth
    needs = worth.prepare if worth is not None else tuple(catalogue.preconditions[n] for n in test.needs)
    if _is_kept_from_firing(test, visit, catalogue):
        needs = (FUEL_IS_OFF, *needs)
    parts = []
    if needs:
        items = "".join(f"<li>{plain(n)}</li>" for n in needs)
        parts.append(f"<p class='fn-label'>First</p><ul class='fn-steps'>{items}</ul>")
    items = "".join(f"<li>{plain(s)}</li>" for s in test.steps)
    parts.append(f"<p class='fn-label'>How</p><ol class='fn-steps'>{items}</ol>")
    return "".join(parts)


def background(found: Proposal) -> str:
    """HTML of the tools, why this test, and what it would tell."""
    test, worth = found.test, found.worth
    parts = [f"<p><b>Tools:</b> {plain(tool_words(test.tools))}.</p>",
             f"<p><b>Why:</b> {plain(worth.because if worth is not None else test.explanation)}</p>"]  # fmt: skip
    if worth is not None and worth.outcomes:
        parts.append(would_tell(worth))
    return "".join(parts)


def timers_of(found: Proposal, visit: Visit, catalogue: Catalogue) -> tuple[Timer, ...]:
    """The times to keep: until what must hold first holds, then those of the steps."""
    unmet = unmet_needs(found.test, visit, catalogue)
    return (*(catalogue.waits[n] for n in unmet if n in catalogue.waits), *found.test.timers)


def would_tell(worth: NextTest) -> str:
    """HTML of what each outcome would change; neighbouring outcomes that leave the same cause first are one line."""
    lines = "".join(
        f"<li>{plain(label)} ({share_words(chance)}): {plain(leads)} leads with {share_words(share)}</li>"
        for label, chance, leads, share in joined(worth)
        if chance >= LEAST_CHANCE
    )
    return f"<p class='fn-label'>What it would tell</p><ul class='fn-steps'>{lines}</ul>"


def joined(worth: NextTest) -> list[tuple[str, float, str, float]]:
    """The outcomes with neighbours of a number put together: label, chance, the cause that leads then, its share."""
    found: list[tuple[str, float, str, float]] = []
    for outcome in worth.outcomes:
        mass = outcome.chance * outcome.probability
        if worth.unit and found and found[-1][2] == outcome.leads_to:
            label, chance, leads, share = found.pop()
            whole = chance + outcome.chance
            found.append((span(label, outcome.label), whole, leads, (chance * share + mass) / max(whole, 1e-12)))
        else:
            found.append((outcome.label, outcome.chance, outcome.leads_to, outcome.probability))
    return found


def span(first: str, last: str) -> str:
    """Two outcomes of a number and all between them as one.

    Examples
    --------
    >>> span("under 11.60 V", "12.00 V to 12.40 V"), span("12.00 V to 12.40 V", "over 12.80 V")
    ('up to 12.40 V', '12.00 V and more')
    >>> span("11.60 V to 12.00 V", "12.00 V to 12.40 V"), span("under 11.60 V", "over 12.80 V")
    ('11.60 V to 12.40 V', 'whatever it reads')
    >>> span("up to 12.40 V", "12.40 V to 12.80 V"), span("up to 12.40 V", "over 12.80 V")
    ('up to 12.80 V', 'whatever it reads')
    """
    low, high = first.split(" to ")[0], last.split(" to ")[-1]
    from_below, to_above = (
        first.startswith(("under ", "up to ")),
        last.startswith("over ") or last.endswith(" and more"),
    )
    if from_below and to_above:
        return "whatever it reads"
    if from_below:
        return f"up to {high}"
    return f"{low} and more" if to_above else f"{low} to {high}"


def show(
    found: Proposal,
    case: Case,
    catalogue: Catalogue,
    sound: tuple[float, float] | None,
    circuit: str,
    *,
    stop: bool,
) -> None:
    """Put the card on the page, in the order of the work: what, where, take care, how, how long, what to read, entry.

    Parameters
    ----------
    found : Proposal
    case : Case
    catalogue : Catalogue
    sound : (float, float), optional
        What a sound car reads today with the instrument that is chosen, in the unit of the test.
    circuit : str
        HTML of the picture of the circuit; empty where the test has nothing to connect.
    stop : bool
        Whether enough was tested.

    Notes
    -----
    The form holds the field and one button only: Enter in a field presses the button of its form that the browser saw
    first, and leaving a field that is in no form would store what is half typed. What is not on every card has a slot
    of its own, so that the field stays the same one, with its focus, from test to test.
    """
    with st.container(key="card"):
        frame.told(heading(found, stop=stop, currency=state.settings().currency))
        with st.container(key="circuit"):
            if circuit:
                st.html(circuit)
        frame.told(care(found, catalogue) + steps(found, case.visits[-1], catalogue))
        with st.container(key="slot_before"):
            _prepared(found, case, catalogue)
        with st.container(key="slot_timers"):
            times = timers_of(found, case.visits[-1], catalogue)
            if times:
                st.html(timers.block(times, f"{state.case_id()}:{found.test.id}"))
        with st.container(key="slot_instrument"):
            _instrument(found, catalogue)
        _answers(found, case)
        with st.container(key="entry_block"):
            frame.told(wanted(found, sound))
            with st.container(key="slot_wrong"):
                _wrong_entry(found, case)
            row = st.form("entry_form", border=False).container(
                horizontal=True, vertical_alignment="center", key="entry_row"
            )
            with row:
                st.text_input("Reading", key="entry", label_visibility="collapsed", autocomplete="off")
                # A button of its own for each picture: what a second tap sends is not taken for the next test's.
                st.form_submit_button("Enter", key=f"enter_{state.drawn()}", type="primary", on_click=_typed,
                                      args=(found, case, state.drawn()))  # fmt: skip
            number = found.test.kind == "number"
            units = shown_units(found.test.unit) if number else ()
            half_typed = f"data-draft='fn {plain(state.case_id())} {found.test.id}' {doubts.typed_again(found.test.id)}"
            st.html(keys("entry", units, sign=number, limits=number, more=half_typed))
        _could_not(found, case)
        _afterwards(found, case, catalogue)
        frame.told(background(found))
        _keep_focus(found, case)


def preparing(found: Proposal, visit: Visit, catalogue: Catalogue) -> tuple[Act, ...]:
    """What is to be done on the car before the test, as entries; what is listed under 'First' and can be entered."""
    listed = None if found.worth is None else found.worth.prepare
    unmet = unmet_needs(found.test, visit, catalogue)
    first = enabling(catalogue) if _is_kept_from_firing(found.test, visit, catalogue) else ()
    return (*first, *preparing_acts(tuple(n for n in unmet if listed is None or catalogue.preconditions[n] in listed)))


def _is_kept_from_firing(test: Test, visit: Visit, catalogue: Catalogue) -> bool:
    return has_to_fire(test) and is_disabled(visit, catalogue)


def enabling(catalogue: Catalogue) -> tuple[Act, ...]:
    """What lets the engine fire again."""
    return tuple(Act(act.id) for act in catalogue.acts if act.effect in NEED_UNDONE_BY["fuel_disabled"])


def _prepared(found: Proposal, case: Case, catalogue: Catalogue) -> None:
    """Ask whether what the card asks for first was done; it is then stored with the reading.

    Whoever enters what the card proposes has mostly done it, but for a charge: that takes a night, and a reading taken
    without it means something else.
    """
    acts = preparing(found, case.visits[-1], catalogue)
    if acts:
        words = ", ".join(catalogue.act(act.act).label.lower() for act in acts)
        quick = all(catalogue.act(act.act).effect not in CHARGING for act in acts)
        st.checkbox(f"Before this: {words}", value=quick and not found.chosen, key=_done_first(found))


def _done_first(found: Proposal) -> str:
    return f"done_first_{found.test.id}_{found.chosen}"


def _answers(found: Proposal, case: Case) -> None:
    with st.container(key="answers"):
        for number, (choice, label) in enumerate(found.test.choices, start=1):
            st.button(f"{number} · {label}", key=f"answer_{found.test.id}_{choice}", width="stretch",
                      on_click=_pressed, args=(found, case, choice, state.drawn()))  # fmt: skip
        if found.test.kind == "choice":
            st.checkbox("Not sure of the answer", key=f"roughly_{found.test.id}")


def instrument_chosen(test: Test, catalogue: Catalogue) -> str:
    """The instrument the next reading is taken with: as chosen, as last time, or the first that is at hand."""
    usual = state.recall("last_instruments", {}).get(test.id) or _at_hand(test, catalogue)
    return str(state.recall(f"instrument_{test.id}") or usual)


def _at_hand(test: Test, catalogue: Catalogue) -> str:
    have = state.shop().tools
    return next((i for i in test.instruments if catalogue.instrument(i).tool in have), test.instruments[0])


def _instrument(found: Proposal, catalogue: Catalogue) -> None:
    """What it is measured with, and whether the reading is certain."""
    if found.test.kind == "choice":
        return
    with st.container(horizontal=True, vertical_alignment="center", key="how_taken"):
        st.checkbox("Only roughly", key=f"roughly_{found.test.id}")
        if len(found.test.instruments) > 1:
            ids = list(found.test.instruments)
            labels = {i: catalogue.instrument(i).label for i in ids}
            index = ids.index(instrument_chosen(found.test, catalogue))
            st.selectbox("Instrument", ids, index=index, key=f"instrument_{found.test.id}",
                         format_func=labels.__getitem__, label_visibility="collapsed")  # fmt: skip


def undoing(found: Proposal, visit: Visit, catalogue: Catalogue) -> tuple[Act, ...]:
    """What is to be put back after the test, as entries: the engine is let fire again."""
    if "fuel_disabled" not in found.test.needs:
        return ()
    return enabling(catalogue)


def _afterwards(found: Proposal, case: Case, catalogue: Catalogue) -> None:
    """Ask whether what was done for the test is put back; it is then stored behind the reading."""
    acts = undoing(found, case.visits[-1], catalogue)
    if acts:
        words = ", ".join(catalogue.act(act.act).label.lower() for act in acts)
        st.checkbox(f"Afterwards: {words}", key=f"afterwards_{found.test.id}")


def _could_not(found: Proposal, case: Case) -> None:
    with st.container(horizontal=True, vertical_alignment="center", key="could_not"):
        asked = found.test.group == ASKED
        st.html(f"<p class='fn-label'>No {'answer' if asked else 'reading'}?</p>", width="content")
        for reason, label in (NO_ANSWER if asked else NOT_MEASURED).items():
            st.button(label, key=f"not_{reason}", on_click=_given_up, args=(found, case, reason, state.drawn()))
        st.html(TO_OTHERS, width="content")


def _wrong_entry(found: Proposal, case: Case) -> None:
    """What is wrong with the last entry, beside the field, with the likely meaning one press away."""
    error = state.trouble()
    if error is None:
        return
    frame.show_error(error)
    meant = entering.meant_instead(error) if isinstance(error, entering.EntryError) else None
    if meant is not None and found.test.kind == "number":
        st.button(f"Store {meant}", key="meant", type="primary", on_click=_stored,
                  args=(found, case, meant, state.drawn()))  # fmt: skip


def _typed(found: Proposal, case: Case, drawn: int) -> None:
    text = state.recall("entry", "")
    if text.strip():
        _stored(found, case, text, drawn)
    else:
        state.set_trouble(None)


def _stored(found: Proposal, case: Case, text: str, drawn: int) -> None:
    test = found.test
    instrument = state.recall(f"instrument_{test.id}")
    try:
        entry = entering.typed_reading(
            test, text, instrument=instrument, roughly=bool(state.recall(f"roughly_{test.id}"))
        )
    except FaultnetError as error:
        state.set_trouble(error)
        return
    if instrument is not None:
        state.remember("last_instruments", {**state.recall("last_instruments", {}), test.id: instrument})
    _written(found, entry, case, drawn)


def _pressed(found: Proposal, case: Case, choice: str, drawn: int) -> None:
    roughly = bool(state.recall(f"roughly_{found.test.id}"))
    if not state.bounced():
        _written(found, entering.chosen_reading(found.test, choice, roughly=roughly), case, drawn)


def _given_up(found: Proposal, case: Case, reason: str, drawn: int) -> None:
    if not state.bounced():
        _written(found, entering.not_measured(found.test, reason), case, drawn)  # type: ignore[arg-type]  # keys of NOT_MEASURED


def _written(found: Proposal, entry: Reading, case: Case, drawn: int) -> None:
    """Write the entry; the field is emptied whether it was stored or waits, for the waiting one is shown above."""
    from workbench.answers import catalogue

    if not state.pressed_again(drawn):
        state.set_trouble(None)
        measured = entry.not_measured is None and state.recall(_done_first(found))
        acts = preparing(found, case.visits[-1], catalogue()) if measured else ()
        after = undoing(found, case.visits[-1], catalogue()) if state.recall(f"afterwards_{found.test.id}") else ()
        words = "; ".join(entry_words(catalogue(), e) for e in (entry, *acts, *after))
        state.add_entries(len(case.visits) - 1, *acts, entry, *after, words=f"Stored: {words}")
    state.remember("entry", "")


def _keep_focus(found: Proposal, case: Case) -> None:
    """Without a touch screen the cursor is put into the field; the card is where the eye is after any choice.

    Where another test comes onto the card the page goes to its top, and to the card where that would not be seen from
    there: on a phone with a long story above it, a chosen test would change nothing that can be seen.
    """
    count = sum(len(v.entries) for v in case.visits)
    with st.container(key="focus_script"):
        st.html(
            f"<span class='fn-turn' data-turn='{count} {plain(found.test.id)}' data-chosen='{found.chosen}'></span>"
        )
