"""Every page run in this process: what it offers, what it stores, what it says when something is wrong."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import Checkbox

from faultnet.case.file import case_to_json
from faultnet.case.store import events
from faultnet.case.store.store import Store, open_store
from faultnet.case.types import Act, Case, CaseOutcome, Conditions, Reading, Visit
from faultnet.errors import ClashError
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped
from tests.ui.conftest import UI, a_case

WORD = re.compile(r'<button type="button" class="fn-word"[^>]*>([^<]*)</button>')
PAGES = ("at_the_car", "why", "entries", "car", "log", "paper", "cases", "history", "practise", "settings")


@pytest.fixture
def store(workplace: Path) -> Store:
    return open_store(workplace / "cases.sqlite", device="elsewhere")


@pytest.fixture
def app(workplace: Path) -> Callable[..., AppTest]:
    """Runs the front end on a case, on one of its pages."""

    def run(case_id: str | None = None, page: str | None = None) -> AppTest:
        test = AppTest.from_file(str(UI / "app.py"), default_timeout=60)
        if case_id is not None:
            test.query_params["case"] = case_id
        test.run()
        if page is not None:
            test.switch_page(f"screens/{page}.py").run()
        assert not test.exception
        return test

    return run


def html(test: AppTest) -> str:
    """All HTML on the page but the style sheet, with words that can be pressed for what they mean as plain words."""
    bodies = [WORD.sub(r"\1", element.proto.body) for element in test.get("html")]
    return "\n".join(body for body in bodies if not body.startswith(("<style>", "<script>")))


def enter(test: AppTest, text: str) -> AppTest:
    """Type into the entry field and press Enter."""
    test.text_input(key="entry").set_value(text)
    next(button for button in test.button if button.label == "Enter").click().run()
    assert not test.exception
    return test


def entries(store: Store, case_id: str) -> tuple:
    return without_times(store.current(case_id).visits[-1].entries)


def without_times(found: tuple) -> tuple:
    """Entries without the time they were made, which differs from run to run."""
    return tuple(replace(entry, at="") for entry in found)


def choose(test: AppTest, test_id: str) -> AppTest:
    """Put a test on the card."""
    test.selectbox(key="search").select(test_id).run()
    assert not test.exception
    return test


@pytest.mark.parametrize("page", PAGES)
def test_each_page_stands_without_a_case(app: Callable[..., AppTest], page: str) -> None:
    test = app(None, page)
    assert not test.error
    links = [b for b in test.main if type(b).__name__ == "PageLink"]
    assert len(links) == len(PAGES) + (page == "cases")  # from there, one more leads to the history


@pytest.mark.parametrize("page", PAGES)
def test_each_page_stands_with_entries_acts_and_two_visits(
    app: Callable[..., AppTest], store: Store, page: str
) -> None:
    case = a_case()
    first = replace(case.visits[0], entries=(
        Reading("rest_voltage", value=12.1, entered="12,1"), Reading("how_it_turns_over", state="slow", roughly=True),
        Reading("hydrometer_level", not_measured="cannot_reach"), Act("charge", hours=8.0, outcome="better"),
    ))  # fmt: skip
    case_id = store.create_case(replace(case, visits=(first, case.visits[0])))
    test = app(case_id, page)
    assert "fn-wrong" not in html(test)


def test_the_first_page_names_the_job_and_offers_demo_cases(app: Callable[..., AppTest]) -> None:
    test = app()
    assert "A car that will not start" in html(test)
    assert "The vehicle maker&#x27;s instructions" in html(test)
    demos = [b for b in test.button if str(b.key).startswith("demo_")]
    assert len(demos) >= 5
    demos[0].click().run()
    assert not test.exception
    assert test.query_params["case"]


def test_an_entry_with_a_decimal_comma_is_stored_and_shown(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = choose(app(case_id), "rest_voltage")
    enter(test, "12,4")
    (entry,) = entries(store, case_id)
    assert (entry.test, entry.value, entry.entered) == ("rest_voltage", 12.4, "12,4")
    (stored,) = store.current(case_id).visits[-1].entries
    assert abs((datetime.now(UTC) - datetime.fromisoformat(stored.at)).total_seconds()) < 3600.0
    assert stored.by == ""
    assert "Stored: Open-circuit (rest) voltage at the posts: 12.40 V" in html(test)
    assert test.text_input(key="entry").value == ""
    assert "<h2>Open-circuit (rest) voltage at the posts</h2>" not in html(test), "the next test is proposed"


@pytest.mark.parametrize("typed, value", [("350 mV", 0.35), ("0,2", 0.2), ("~.15V", 0.15)])
def test_units_and_rough_marks_are_understood(
    app: Callable[..., AppTest], store: Store, typed: str, value: float
) -> None:
    case_id = store.create_case(a_case())
    enter(choose(app(case_id), "ground_side_drop"), typed)
    (entry,) = entries(store, case_id)
    assert entry.value == pytest.approx(value)
    assert entry.roughly is typed.startswith("~")


@pytest.mark.parametrize(
    "typed, told",
    [
        ("12,4,3", "one decimal mark"),
        ("OL", "such as &gt;20"),
        ("40 A", "unit of current"),
        ("sehr", "a number such as"),
    ],
)
def test_a_wrong_entry_is_explained_and_kept_in_the_field(
    app: Callable[..., AppTest], store: Store, typed: str, told: str
) -> None:
    case_id = store.create_case(a_case())
    test = enter(choose(app(case_id), "rest_voltage"), typed)
    assert entries(store, case_id) == ()
    assert told in html(test)
    assert test.text_input(key="entry").value == typed


def test_a_slipped_decimal_mark_is_one_press_from_right(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = enter(choose(app(case_id), "rest_voltage"), "142")
    assert "did you mean 14.2 V?" in html(test).replace("Did", "did")
    test.button(key="meant").click().run()
    assert entries(store, case_id)[0].value == pytest.approx(14.2)


@pytest.mark.parametrize("typed, state", [("2", "slow"), ("turns slowly", "slow"), ("nothing", "nothing")])
def test_an_answer_can_be_typed(app: Callable[..., AppTest], store: Store, typed: str, state: str) -> None:
    case_id = store.create_case(a_case())
    enter(choose(app(case_id), "how_it_turns_over"), typed)
    assert entries(store, case_id)[0].state == state


def test_an_answer_can_be_pressed_and_be_unsure(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = choose(app(case_id), "how_it_turns_over")
    test.checkbox(key="roughly_how_it_turns_over").check().run()
    test.button(key="answer_how_it_turns_over_rapid_clicking").click().run()
    assert entries(store, case_id)[0] == Reading("how_it_turns_over", state="rapid_clicking", roughly=True)


@pytest.mark.parametrize("reason", ["skipped", "cannot_reach", "unstable", "not_fitted"])
def test_could_not_measure_has_four_meanings(app: Callable[..., AppTest], store: Store, reason: str) -> None:
    case_id = store.create_case(a_case())
    test = choose(app(case_id), "rest_voltage")
    test.button(key=f"not_{reason}").click().run()
    assert not test.exception
    assert entries(store, case_id)[0].not_measured == reason


def test_a_question_that_nobody_can_answer_is_not_said_to_be_out_of_reach(
    app: Callable[..., AppTest], store: Store
) -> None:
    case_id = store.create_case(a_case())
    test = choose(app(case_id), "after_booster")
    offered = [button.label for button in test.button if str(button.key).startswith("not_")]
    assert offered == ["Not known, or not tried"]
    test.button(key="not_skipped").click().run()
    assert entries(store, case_id)[0].not_measured == "skipped"


def test_a_reading_is_taken_with_what_is_at_hand(app: Callable[..., AppTest], store: Store) -> None:
    """Who has no fine clamp meter puts the multimeter in series, and is told where."""
    case_id = store.create_case(a_case())
    test = choose(app(case_id), "key_off_current")
    assert test.selectbox(key="instrument_key_off_current").value == "multimeter_amperes"
    assert "meter in series" in html(test)
    assert "Clamp meter around" not in html(test)
    enter(test, "40 mA")
    assert entries(store, case_id)[-1].instrument == "multimeter_amperes"
    test.button(key="tools_all").click().run()
    again = choose(app(store.create_case(a_case())), "key_off_current")
    assert again.selectbox(key="instrument_key_off_current").value == "clamp_meter_fine"
    assert "Clamp meter around the negative cable" in html(again)


def test_whoever_has_a_voltmeter_alone_says_so_with_one_tap(app: Callable[..., AppTest], store: Store) -> None:
    test = app(store.create_case(a_case()))
    test.button(key="tools_voltmeter").click().run()
    assert "Counted on: eyes, hands, voltmeter." in html(test)


STILL_OFF = "Fuel or ignition is still disabled"


def test_fuel_that_is_still_off_is_said_beside_the_repair_and_before_a_test_that_needs_the_engine(
    app: Callable[..., AppTest], store: Store
) -> None:
    dead = (
        Reading("rest_voltage", value=12.44), Reading("crank_minimum", value=11.98),
        Reading("lamps_while_cranking", state="go_out"), Reading("positive_joint_drop", value=0.011),
    )  # fmt: skip
    clicks = (Reading("how_it_turns_over", state="rapid_clicking"), Act("disable_fuel"), *dead)
    visit = replace(a_case().visits[0], entries=clicks)
    assert STILL_OFF in html(app(store.create_case(a_case(visits=(visit,)))))
    on_again = replace(visit, entries=(*clicks, Act("enable_fuel")))
    assert STILL_OFF not in html(app(store.create_case(a_case(visits=(on_again,)))))
    case_id = store.create_case(a_case(visits=(replace(visit, entries=clicks[1:2]),)))
    test = choose(app(case_id), "charge_idle_voltage")
    box = next(b for b in test.checkbox if b.label.startswith("Before this:"))
    assert "enable fuel and ignition again" in box.label
    box.check().run()
    enter(test, "14.2")
    assert [e.act for e in entries(store, case_id) if isinstance(e, Act)] == ["disable_fuel", "enable_fuel"]


def test_a_second_tap_within_a_second_never_answers_the_next_question(
    app: Callable[..., AppTest], store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from workbench import state

    moment = iter([100.0, 100.0, 100.9, 101.1, 101.1])
    case_id = store.create_case(a_case())
    test = choose(app(case_id), "rest_voltage")
    monkeypatch.setattr(state, "moment", lambda: next(moment))
    test.button(key="not_skipped").click().run()
    test.button(key="not_skipped").click().run()
    assert len(entries(store, case_id)) == 1
    test.button(key="not_skipped").click().run()
    assert len(entries(store, case_id)) == 2


def test_an_empty_enter_clears_the_old_error(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = enter(choose(app(case_id), "rest_voltage"), "142")
    assert "fn-wrong" in html(test)
    enter(test, "")
    assert "fn-wrong" not in html(test)


def test_less_than_a_limit_is_taken_like_more(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = enter(choose(app(case_id), "rest_voltage"), "<11")
    (entry,) = entries(store, case_id)
    assert (entry.value, entry.bound) == (11.0, "below")
    assert "Open-circuit (rest) voltage at the posts: under 11.00 V" in html(test)


def test_what_was_cut_for_the_test_is_put_back_afterwards_by_one_tick(
    app: Callable[..., AppTest], store: Store
) -> None:
    case_id = store.create_case(a_case())
    test = choose(app(case_id), "dead_crank_level")
    test.checkbox(key="done_first_dead_crank_level_True").check()
    test.checkbox(key="afterwards_dead_crank_level").check()
    enter(test, "10.4")
    assert [getattr(e, "act", "reading") for e in entries(store, case_id)][-2:] == ["reading", "enable_fuel"]


def test_one_bad_field_neither_hides_nor_empties_another_and_is_named_where_it_stands(
    app: Callable[..., AppTest], store: Store
) -> None:
    test = app()
    for key, text in {"rating": "54o", "size": "16", "label": "van", "age": "4", "today_air": "warm"}.items():
        test.text_input(key=f"new_{key}").set_value(text).run()
    test.selectbox(key="new_how_it_turns_over").set_value("slow")
    assert "fn-wrong" not in html(test), "who is still typing is left alone"
    test.button(key="begin").click().run()
    said = html(test)
    for field, words in (("new_rating", "Battery (cold-cranking A)"), ("new_size", "Engine (litres)"),
                         ("new_standard", "Rated by"), ("new_today_air", "Air (°C)")):  # fmt: skip
        assert f"id='wrong-{field}'><b>{words}" in said
    assert "data-show='new_rating'" in "".join(e.proto.body for e in test.get("html"))
    assert store.list_cases() == ()
    assert [test.text_input(key=f"new_{k}").value for k in ("rating", "size", "label", "age")] == [
        "54o",
        "16",
        "van",
        "4",
    ]
    test.text_input(key="new_rating").set_value("540").run()
    assert "wrong-new_rating" not in html(test)
    for key, text in {"size": "1,6", "today_air": "-3"}.items():
        test.text_input(key=f"new_{key}").set_value(text)
    test.selectbox(key="new_standard").set_value("not_known")
    test.button(key="begin").click().run()
    (line,) = store.list_cases()
    car = store.current(line.case_id).car
    assert (car.battery.rating, car.battery.standard, car.battery.age, car.label) == (540.0, "not_known", 4.0, "van")


def test_a_battery_whose_rating_nobody_knows_is_entered_as_that(app: Callable[..., AppTest], store: Store) -> None:
    test = app()
    test.checkbox(key="new_unknown").check().run()
    assert not [field for field in test.text_input if field.key == "new_rating"]
    test.button(key="begin").click().run()
    assert not test.exception
    (line,) = store.list_cases()
    assert store.current(line.case_id).car.battery.rating is None
    assert "<h2>" in html(test)


def test_what_is_half_filled_in_is_there_again_on_coming_back_and_in_another_tab(
    app: Callable[..., AppTest], store: Store
) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "car")
    test.text_input(key=f"car_{case_id}_size").set_value("22").run()
    test.selectbox(key=f"car_{case_id}_kind").set_value("agm").run()
    for again in (test.switch_page("screens/why.py").run().switch_page("screens/car.py").run(), app(case_id, "car")):
        assert again.text_input(key=f"car_{case_id}_size").value == "22"
        assert again.selectbox(key=f"car_{case_id}_kind").value == "agm"
        assert "not kept yet" in html(again)
    assert store.current(case_id).car.displacement == 1.6
    test.button(key="leave_keep_car").click().run()
    assert test.text_input(key=f"car_{case_id}_size").value == "1.6"
    assert app(case_id, "car").text_input(key=f"car_{case_id}_size").value == "1.6"


def test_the_balance_of_today_is_shown(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id)
    assert "No minute spent yet" in html(test)
    enter(choose(test, "rest_voltage"), "12.4")
    store.append(case_id, events.add_entry(0, Act("replace", component="battery")), 2)
    said = html(app(case_id))
    assert "Bought: Battery" in said
    assert "1 h 1 min of work" in said
    assert "130" not in said, "no money without a currency"
    from workbench.settings import Settings, save_settings

    save_settings(Settings(currency="EUR", parts=(("battery", 99.0),)))
    assert "Bought: Battery (99 EUR)" in html(app(case_id))


def on_the_card(test: AppTest) -> str:
    return html(test).split("<h2>")[1].split("</h2>")[0]


@pytest.mark.parametrize("reason", ["skipped", "unstable"])
def test_what_was_skipped_is_not_asked_for_again_at_this_visit(
    app: Callable[..., AppTest], store: Store, reason: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever cannot do the best test would be asked for it for ever."""
    from workbench import state

    case_id = store.create_case(a_case())
    monkeypatch.setattr(state, "BOUNCE", 0.0)
    test = app(case_id)
    asked = [on_the_card(test)]
    for _ in range(3):
        offered = {str(button.key) for button in test.button}  # a question has one way to say that nobody knows
        test.button(key=f"not_{reason}" if f"not_{reason}" in offered else "not_skipped").click().run()
        asked.append(on_the_card(test))
    assert len(set(asked)) == 4
    again = a_case().visits[0]
    store.append(case_id, events.add_visit(again), 4)
    nothing_skipped = store.create_case(replace(a_case(), visits=(again, again)))
    assert on_the_card(app(case_id)) == on_the_card(app(nothing_skipped)), "at the next visit it is asked for again"


def test_what_the_driver_tells_is_entered_when_a_case_begins(app: Callable[..., AppTest], store: Store) -> None:
    test = app()
    test.text_input(key="new_rating").set_value("600")
    test.selectbox(key="new_standard").set_value("EN")
    test.selectbox(key="new_how_it_turns_over").set_value("slow")
    test.selectbox(key="new_standing_habit").set_value("weeks")
    next(button for button in test.button if button.label == "Begin").click().run()
    (line,) = store.list_cases()
    told = entries(store, line.case_id)
    assert told == (Reading("how_it_turns_over", state="slow"), Reading("standing_habit", state="weeks"))


def test_how_it_turns_over_is_asked_at_each_visit(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "entries")
    test.selectbox(key="visit_how_it_turns_over").set_value("one_clunk")
    test.button(key="begin_visit").click().run()
    assert entries(store, case_id) == (Reading("how_it_turns_over", state="one_clunk"),)


def test_once_enough_was_tested_what_to_do_stands_above_the_next_test(
    app: Callable[..., AppTest], store: Store
) -> None:
    read = (Reading("rest_voltage", value=10.45), Reading("hydrometer_spread", value=0.12),
            Reading("crank_minimum", value=7.4), Reading("fires_when_cranked", state="fires"))  # fmt: skip
    case = a_case()
    test = app(store.create_case(replace(case, visits=(replace(case.visits[0], entries=read),))))
    said = html(test)
    assert "Enough tested" in said
    assert said.index("What to do:") < said.index("If you test on")
    going_on = html(app(store.create_case(a_case())))
    assert going_on.index("Next test") < going_on.index("Where it stands")


def test_undo_and_redo(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = enter(choose(app(case_id), "rest_voltage"), "12.1")
    test.button(key="undo").click().run()
    assert entries(store, case_id) == ()
    test.button(key="redo").click().run()
    assert entries(store, case_id)[0].value == pytest.approx(12.1)


def test_the_second_writer_is_told_and_nothing_is_lost(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = choose(app(case_id), "rest_voltage")
    store.append(case_id, events.add_entry(0, Reading("crank_minimum", value=9.0)), 1)
    enter(test, "12.1")
    assert "Somebody else changed this case meanwhile" in html(test)
    assert "Lowest voltage at the posts while it starts: 9.00 V (elsewhere" in html(test)
    assert [e.test for e in entries(store, case_id)] == ["crank_minimum"]
    test.button(key="store_pending").click().run()
    assert [e.test for e in entries(store, case_id)] == ["crank_minimum", "rest_voltage"]
    assert "Somebody else" not in html(test)


@pytest.fixture
def with_a_load(monkeypatch: pytest.MonkeyPatch) -> None:
    """A workshop that has a load for batteries, which is then proposed first."""
    from workbench import settings

    monkeypatch.setattr(settings, "COMMON_TOOLS", ("carbon-pile load", "battery charger"))


def not_rested() -> Case:
    """A case in which one test is left, which asks for something to be done first."""
    return with_only("half_rating_load", Conditions(air_temperature=15.0))


def with_only(test: str, conditions: Conditions) -> Case:
    """A case in which every other test was passed over."""
    others = tuple(Reading(t.id, not_measured="skipped") for t in load_catalogue().tests if t.id != test)
    return replace(a_case(), visits=(Visit(others, conditions),))


def added(store: Store, case_id: str) -> tuple:
    """What was entered after the tests that were passed over."""
    return entries(store, case_id)[len(load_catalogue().tests) - 1 :]


def done_first(test: AppTest) -> Checkbox:
    (box,) = (box for box in test.checkbox if str(box.key).startswith("done_first"))
    return box


@pytest.mark.usefixtures("with_a_load")
def test_what_the_card_asks_for_first_is_stored_with_the_reading(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(not_rested())
    test = app(case_id)
    assert on_the_card(test) == "Load test at half the CCA rating, voltage after 15 s"
    assert done_first(test).label == "Before this: charge the battery fully, take the surface charge off"
    assert not done_first(test).value, "a charge takes a night"
    done_first(test).check().run()
    enter(test, "9.8")
    *acts, reading = added(store, case_id)
    assert acts == [Act("charge"), Act("shed_surface_charge")]
    assert (reading.test, reading.value) == ("half_rating_load", 9.8)


@pytest.mark.usefixtures("with_a_load")
def test_what_was_not_done_first_is_not_stored(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(not_rested())
    test = app(case_id)
    enter(test, "9.8")
    assert [type(e) for e in added(store, case_id)] == [Reading]
    skipped = store.create_case(not_rested())
    test = app(skipped)
    done_first(test).check().run()
    test.button(key="not_skipped").click().run()
    assert [type(e) for e in added(store, skipped)] == [Reading]


def test_what_is_quickly_done_first_is_taken_as_done(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(with_only("dead_crank_sag", a_case().visits[0].conditions))
    test = app(case_id)
    box = done_first(test)
    assert box.label == "Before this: disable fuel or ignition"
    assert box.value
    enter(test, "0.2")
    assert added(store, case_id)[0] == Act("disable_fuel")


def test_a_reading_of_ones_own_choice_is_not_taken_as_prepared(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(not_rested())
    test = choose(app(case_id), "rest_voltage")
    assert not done_first(test).value
    enter(test, "12.5")
    assert [type(e) for e in added(store, case_id)] == [Reading]


@pytest.mark.usefixtures("with_a_load")
def test_what_was_done_first_waits_with_the_reading_when_somebody_else_was_faster(
    app: Callable[..., AppTest], store: Store
) -> None:
    case_id = store.create_case(not_rested())
    test = app(case_id)
    done_first(test).check().run()
    store.append(case_id, events.add_entry(0, Reading("crank_minimum", value=9.0)), 1)
    enter(test, "9.8")
    assert [e.test for e in added(store, case_id)] == ["crank_minimum"]
    test.button(key="store_pending").click().run()
    found = added(store, case_id)
    assert [getattr(e, "test", None) or e.act for e in found] == [
        "crank_minimum",
        "charge",
        "shed_surface_charge",
        "half_rating_load",
    ]


def test_a_case_that_is_not_there_is_said(app: Callable[..., AppTest]) -> None:
    test = app("aaaa-bbbb-cccc")
    assert "fn-wrong" in html(test)
    test.run()
    assert "A car that will not start" in html(test), "and then one can begin"


def test_a_reading_that_fits_nothing_is_to_be_measured_again(
    app: Callable[..., AppTest], store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from workbench import answers

    plain = answers.answer
    clash = ("Open-circuit (rest) voltage at the posts: 3.00 V does not fit",)

    def odd(case: Case, shop: answers.Shop) -> object:
        advice = plain(case, shop)
        return replace(advice, diagnosis=replace(advice.diagnosis, clashes=clash))

    monkeypatch.setattr(answers, "answer", odd)
    shown = html(app(store.create_case(a_case())))
    assert "<b>Measure again.</b> Open-circuit (rest) voltage at the posts: 3.00 V does not fit" in shown


@pytest.mark.parametrize("page", ["at_the_car", "why", "entries", "paper"])
def test_entries_that_cannot_stand_together_are_listed(
    app: Callable[..., AppTest], store: Store, monkeypatch: pytest.MonkeyPatch, page: str
) -> None:
    from workbench import answers

    def clashing(*_: object) -> None:
        raise ClashError("these entries cannot stand together", entries=("first", "second"), to_do="measure again")

    case_id = store.create_case(a_case())
    monkeypatch.setattr(answers, "answer", clashing)
    monkeypatch.setattr(answers, "belief", clashing)
    shown = html(app(case_id, page))
    if page != "entries":
        assert "<li>first</li><li>second</li>" in shown
    assert "Test car" in shown


def test_cautions_stand_on_the_card_and_with_the_work(app: Callable[..., AppTest], store: Store) -> None:
    from workbench.answers import catalogue

    test = choose(app(store.create_case(a_case())), "crank_minimum")
    for caution in catalogue().test("crank_minimum").cautions:
        assert catalogue().cautions[caution].replace("'", "&#x27;") in html(test)
    test.selectbox(key="act").select("charge").run()
    for caution in catalogue().act("charge").cautions:
        assert catalogue().cautions[caution].replace("'", "&#x27;") in html(test)


def test_work_is_stored_with_part_outcome_and_time(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id)
    test.selectbox(key="act").select("charge").run()
    test.text_input(key="act_hours").set_value("90 min")
    test.segmented_control(key="act_outcome").set_value("better")
    test.button(key="store_act").click().run()
    assert entries(store, case_id) == (Act("charge", outcome="better", hours=1.5),)
    test.selectbox(key="act").select("replace").run()
    test.button(key="store_act").click().run()
    assert "On which part: nothing is chosen yet" in html(test)
    test.selectbox(key="component_replace").select("battery").run()
    test.button(key="store_act").click().run()
    assert entries(store, case_id)[1] == Act("replace", component="battery")


def test_a_new_case_asks_for_the_standard_of_the_rating(app: Callable[..., AppTest], store: Store) -> None:
    test = app()
    test.text_input(key="new_complaint").set_value("clicks only")
    test.text_input(key="new_rating").set_value("540")
    test.text_input(key="new_today_air").set_value("-3 °C")
    test.button(key="begin").click().run()
    assert "Rated by: nothing is chosen yet" in html(test)
    assert store.list_cases() == ()
    test.selectbox(key="new_standard").select("SAE")
    test.button(key="begin").click().run()
    assert not test.exception
    (line,) = store.list_cases()
    case = store.current(line.case_id)
    assert (case.car.battery.rating, case.car.battery.standard, case.complaint) == (540.0, "SAE", "clicks only")
    assert case.visits[0].conditions.air_temperature == -3.0


def test_fahrenheit_changes_what_is_shown_and_not_what_is_kept(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "car")
    test.segmented_control(key="temperature_unit").set_value("degF").run()
    field = f"now_{case_id}_0_degF_air"
    assert test.text_input(key=field).value == "59 °F"
    test.button(key="keep_conditions").click().run()
    assert len(store.history(case_id)) == 1
    test.text_input(key=field).set_value("32")
    test.button(key="keep_conditions").click().run()
    assert store.current(case_id).visits[0].conditions.air_temperature == 0.0


def test_a_changed_car_is_kept_and_a_wrong_figure_explained(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "car")
    test.text_input(key=f"car_{case_id}_size").set_value("16")
    test.button(key="keep_car").click().run()
    assert "Engine (litres)" in html(test)
    test.text_input(key=f"car_{case_id}_size").set_value("1,4")
    test.button(key="keep_car").click().run()
    assert not test.exception
    assert store.current(case_id).car.displacement == 1.4


def test_only_tests_for_the_ticked_tools_are_proposed(app: Callable[..., AppTest], store: Store) -> None:
    from workbench.answers import catalogue

    case_id = store.create_case(a_case())
    test = app(case_id, "car")
    for box in test.checkbox:
        if str(box.key).startswith("tool_"):
            box.uncheck()
    test.run()
    test.switch_page("screens/at_the_car.py").run()
    offered = [str(b.key).removeprefix("other_") for b in test.button if str(b.key).startswith("other_")]
    assert offered
    assert all(catalogue().test(t).tools == () for t in offered)


def test_entries_are_corrected_and_taken_out(app: Callable[..., AppTest], store: Store) -> None:
    case = a_case()
    visit = replace(case.visits[0], entries=(Reading("rest_voltage", value=21.4 - 9), Reading("smell", state="none")))
    case_id = store.create_case(replace(case, visits=(visit,)))
    test = app(case_id, "entries")
    test.selectbox(key="to_correct").select(0).run()
    test.text_input(key="corrected").set_value("12,6")
    test.button(key="correct").click().run()
    assert entries(store, case_id)[0].value == 12.6
    test.selectbox(key="to_correct").select(1).run()
    test.button(key="remove").click().run()
    assert [e.test for e in entries(store, case_id)] == ["rest_voltage"]


def test_a_new_visit_then_closing_with_proof_then_opening_again(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "entries")
    test.text_input(key="visit_hours").set_value("8")
    test.checkbox(key="visit_damp").check()
    test.button(key="begin_visit").click().run()
    assert store.current(case_id).visits[1].conditions.hours_standing == 8.0
    test.switch_page("screens/entries.py").run()
    test.button(key="close").click().run()
    assert "closed with its proof" in html(test)
    test.multiselect(key="confirmed").select("battery:worn")
    test.text_input(key="confirmed_by").set_value("new battery, no trouble for two weeks")
    test.button(key="close").click().run()
    assert store.current(case_id).outcome == CaseOutcome(
        (("battery", "worn"),), "new battery, no trouble for two weeks"
    )
    test.button(key="reopen").click().run()
    assert store.current(case_id).outcome is None


@pytest.mark.parametrize(
    "proof, said", [("replacement", "cured"), ("measurement", "measured"), ("opinion", "opinion"), ("not_said", "")]
)
def test_a_case_is_closed_with_the_sort_of_its_proof(
    app: Callable[..., AppTest], store: Store, proof: str, said: str
) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "entries")
    assert test.selectbox(key="proof_sort").value == "not_said"
    test.text_input(key="confirmed_by").set_value("as said")
    test.selectbox(key="proof_sort").select(proof)
    test.button(key="close").click().run()
    outcome = store.current(case_id).outcome
    assert outcome is not None
    assert outcome.proof == (None if proof == "not_said" else proof)
    [shown] = re.findall(r"Proven by: as said([^<]*)[.]", html(test))
    assert shown.endswith(f"{said})" if said else "")
    assert bool(shown) == bool(said)


def test_a_closed_case_shows_its_end_and_asks_for_nothing(app: Callable[..., AppTest], store: Store) -> None:
    case = a_case(outcome=CaseOutcome((("battery", "worn"),), "new battery"))
    test = app(store.create_case(case))
    assert "Closed: Battery: worn out." in html(test)
    assert "fn-stop" not in html(test)
    assert not [b for b in test.button if b.label in ("Enter", "Store this work")]


def test_a_recorded_log_gives_readings_that_are_ticked(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "log")
    test.selectbox(key="log_example").select("scope.csv").run()
    assert not test.exception
    boxes = [b for b in test.checkbox if str(b.key).startswith("take_")]
    next(b for b in boxes if "Lowest voltage in a recorded start" in b.label).check().run()
    test.button(key="take").click().run()
    assert not test.exception
    (entry,) = entries(store, case_id)
    assert (entry.test, entry.instrument) == ("recorded_lowest", "recorder")
    assert 4.0 < entry.value < 11.5


def test_a_ticked_reading_is_stored_or_refused_by_name(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "log")
    test.selectbox(key="log_example").select("adapter_slow.csv.gz").run()
    boxes = [b for b in test.checkbox if str(b.key).startswith("take_")]
    lowest = next(b for b in boxes if "Lowest voltage in a recorded start" in b.label)
    charging = next(b for b in boxes if "Voltage with the engine running" in b.label)
    lowest.check()
    charging.check().run()
    test.button(key="take").click().run()
    assert [e.test for e in entries(store, case_id)] == ["recorded_lowest"]
    assert "Stored from the recording: 1 reading" in html(test)
    assert "Not stored: Charging at 10.0 s, 13.79 V: say what it was taken as" in html(test)
    assert test.checkbox(key=charging.key).value, "what was not stored stays ticked"
    assert not test.checkbox(key=lowest.key).value
    test.selectbox(key=f"as_{charging.key}").select("charge_idle_voltage").run()
    test.button(key="take").click().run()
    assert [e.test for e in entries(store, case_id)] == ["recorded_lowest", "charge_idle_voltage"]


def test_one_start_is_not_counted_twice_through_two_places(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "log")
    test.selectbox(key="log_example").select("adapter_slow.csv.gz").run()

    def lowest(words: str) -> Checkbox:
        return next(b for b in test.checkbox if str(b.key).startswith("take_") and words in b.label)

    lowest("Lowest voltage in a recorded start").check().run()
    test.button(key="take").click().run()
    lowest("Lowest voltage in a recorded start").check().run()
    test.button(key="take").click().run()
    assert "it is in the case already" in html(test)
    test.segmented_control(key="log_place").set_value("module").run()
    lowest("module").check().run()
    test.button(key="take").click().run()
    assert "Not stored: Start 1 at 7.0 s" in html(test)
    assert "taken at another place; it counts once" in html(test)
    assert [e.test for e in entries(store, case_id)] == ["recorded_lowest"]


def test_what_is_withheld_through_a_module_is_said_with_the_reason(app: Callable[..., AppTest], store: Store) -> None:
    test = app(store.create_case(a_case()), "log")
    test.selectbox(key="log_example").select("adapter_slow.csv.gz").run()
    assert "withheld" not in html(test)
    test.segmented_control(key="log_place").set_value("module").run()
    assert "Levels through the module are withheld (2 of rest, 2 of charging" in html(test)


def test_a_log_stays_until_another_is_given(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    data = (shipped("cases") / "recordings" / "adapter.tsv").read_bytes()
    test = app(case_id, "log")
    test.file_uploader(key="log_file").set_value(("mine.tsv", data, "text/plain")).run()
    test.switch_page("screens/why.py").run().switch_page("screens/log.py").run()
    assert "<b>mine.tsv</b>" in html(test)
    assert "Found in it" in html(test)
    test.button(key="drop_log").click().run()
    assert "mine.tsv" not in html(test)


@pytest.mark.parametrize(
    "data, field, words, choice",
    [
        (b"time;volts\n", "log_time_unit", "Unit of time", "s"),
        (b"time [s];left [V];right [V]\n", "log_volts_column", "Voltage column", "left [V]"),
    ],
)
def test_an_unclear_log_opens_the_field_that_settles_it(
    app: Callable[..., AppTest], store: Store, data: bytes, field: str, words: str, choice: str
) -> None:
    more = ";12.6" * (data.count(b";") - 1)
    rows = "".join(f"{0.1 * k:.1f};{12.6 if k < 60 or k > 70 else 8.8:.2f}{more}\n" for k in range(200))
    test = app(store.create_case(a_case()), "log")
    test.file_uploader(key="log_file").set_value(("log.csv", data + rows.encode(), "text/csv")).run()
    assert not test.exception
    said = html(test)
    assert f"id='wrong-{field}'" in said
    assert f"Settle it here, in &#x27;{words}&#x27;" in said
    assert "option" not in said.partition("fn-wrong")[2]
    assert [box.proto.expanded for box in test.expander] == [True]
    test.selectbox(key=field).select(next(o for o in test.selectbox(key=field).options if choice in o)).run()
    assert "fn-wrong" not in html(test)
    assert "Found in it" in html(test)


def test_a_case_file_is_taken_in_and_given_out(app: Callable[..., AppTest], store: Store) -> None:
    test = app(None, "cases")
    given = case_to_json(a_case(name="From a file")).encode()
    test.file_uploader(key="case_file").set_value(("case.json", given, "application/json")).run()
    assert not test.exception
    assert [line.name for line in store.list_cases()] == ["From a file"]


def test_a_case_file_in_yaml_is_taken_in(app: Callable[..., AppTest], store: Store) -> None:
    test = app(None, "cases")
    given = b"format: faultnet-case\nversion: 1\nname: By hand\ncar:\n  battery: {rating: 600}\n"
    test.file_uploader(key="case_file").set_value(("case.yaml", given, "application/yaml")).run()
    assert not test.exception
    assert [line.name for line in store.list_cases()] == ["By hand"]


def test_a_malformed_case_file_is_explained(app: Callable[..., AppTest], store: Store) -> None:
    test = app(None, "cases")
    test.file_uploader(key="case_file").set_value(
        ("case.json", b'{"format": "faultnet-case"}', "application/json")
    ).run()
    assert not test.exception
    assert "fn-wrong" in html(test)


def test_the_case_named_at_the_start_is_opened_once(
    app: Callable[..., AppTest], store: Store, workplace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = workplace / "mine.json"
    file.write_text(case_to_json(a_case(name="Mine")), encoding="utf-8")
    monkeypatch.setenv("FAULTNET_OPEN_CASE", str(file))
    first, second = app(), app()
    assert first.query_params["case"] == second.query_params["case"]
    assert len(store.list_cases()) == 1
    assert "Mine" in html(first)


def test_words_of_users_cannot_become_markup(app: Callable[..., AppTest], store: Store) -> None:
    case: Case = a_case(name="<img src=x onerror=alert(1)>", complaint="<script>alert(2)</script>")
    case_id = store.create_case(case)
    for page in PAGES:
        shown = html(app(case_id, page))
        assert "<img src=x" not in shown
        assert "<script>alert" not in shown


def test_a_case_is_deleted_and_brought_back_on_the_page_of_cases(app: Callable[..., AppTest], store: Store) -> None:
    case_id = store.create_case(a_case())
    test = app(case_id, "cases")
    test.button(key="delete_case").click().run()
    assert not test.exception
    assert store.list_cases() == ()
    test.button(key=f"back_{case_id}").click().run()
    assert not test.exception
    assert [line.case_id for line in store.list_cases()] == [case_id]


def test_money_and_prices_are_set_on_their_page_and_read_by_the_command_line(
    app: Callable[..., AppTest], store: Store
) -> None:
    from faultnet.decision.shop import ShopPrices, load_shop_prices

    case_id = store.create_case(a_case())
    assert not re.search(r"EUR|worth about", html(app(case_id)))
    test = app(case_id, "settings")
    for key, text in (("currency", "EUR"), ("hourly_rate", "90"), ("part_battery", "99.5")):
        test.text_input(key=key).set_value(text).run()
    assert not test.exception
    assert load_shop_prices() == ShopPrices("EUR", 90.0, {"battery": 99.5})
    again = app(case_id, "settings")
    assert [again.text_input(key=k).value for k in ("currency", "hourly_rate", "part_belt")] == ["EUR", "90", ""]
    assert "worth about" in html(app(case_id))
    again.text_input(key="part_battery").set_value("-3").run()
    assert "wrong-part_battery" in html(again), "what is wrong is said at its field"
    assert load_shop_prices().parts == {"battery": 99.5}, "and is not kept"
    again.text_input(key="part_battery").set_value("").run()
    again.text_input(key="currency").set_value("").run()
    assert load_shop_prices() == ShopPrices("", 90.0, {})
