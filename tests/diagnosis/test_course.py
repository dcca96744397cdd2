"""The course of a case: visits, stages and acts, against pgmpy on a network written out for the same course.

The car is one of which it is known that all but seven components are sound, so that every hypothesis is kept and
agreement is exact. A stage is written out as a visit of its own whose state of charge depends on that of the stage
before. What was read once bears on what is read later by the charge and the modes alone here; that it also does by what
stays as it is has its own tests (``test_remembered.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from faultnet.case.types import Act, Case, Conditions, Entry, Reading, Visit
from faultnet.diagnosis import diagnose
from faultnet.diagnosis.course import Course, Entered, course, interval, nearly_full
from faultnet.diagnosis.models import Model
from faultnet.errors import ClashError
from faultnet.inference.evidence import Evidence, pooled_evidence
from faultnet.inference.hypotheses import Hypotheses, enumerate_hypotheses
from faultnet.inference.posterior import updated
from faultnet.inference.visit import compile_visit
from faultnet.model import balance, source
from faultnet.model.at_clamps import BEHAVIOURS
from faultnet.model.balance import Interval
from faultnet.model.export import ancestral, in_visit, unrolled, with_brought_in, with_seen
from faultnet.model.network import Array, Network, Node
from faultnet.prior_set.catalogue import Catalogue
from tests.inference import demo
from tests.inference.outside import by_pgmpy, chance_by_pgmpy

EXACT = 1e-9
FLAT = (Reading("rest_voltage", value=11.9), Reading("how_it_turns_over", state="slow"))
FULL = (Reading("rest_voltage", value=12.7), Reading("solenoid_drop", value=0.9))


@pytest.fixture(autouse=True)
def every_supply_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows are parted by every state of supply, however unlikely, so that agreement is exact."""
    monkeypatch.setattr("faultnet.diagnosis.course.SURE_OF_SUPPLY", 2.0)
    monkeypatch.setattr("faultnet.diagnosis.course.LEAST_SUPPLY", 0.0)


@lru_cache(maxsize=2)
def model(conditions: Conditions = demo.MILD) -> Model:
    network = demo.reduced(demo.network(conditions))
    space = enumerate_hypotheses(network, max_faults=7, brought_in_when_sound=demo.brought_in_when_sound())
    setting = replace(demo.setting(conditions), catalogue=demo.forgetful())
    return Model(setting, space, compile_visit(network, space.components, space.modes))


def log_likelihood(*visits: Visit, without: Entered | None = None) -> Array:
    return worked(*visits, without=without).log_likelihood


def worked(*visits: Visit, without: Entered | None = None) -> Course:
    models = [model(v.conditions) for v in visits]
    return course(models, visits, demo.catalogue(), models[0].space, without)


def visit(*entries: Entry, conditions: Conditions = demo.MILD) -> Visit:
    return Visit(tuple(entries), conditions)


def believed(*visits: Visit) -> dict[str, Array]:
    belief = updated(model().space, log_likelihood(*visits))
    assert belief is not None
    return belief.marginals()


def assert_same(found: dict[str, Array], expected: dict[str, Array]) -> None:
    for component, chances in expected.items():
        np.testing.assert_allclose(found[component], chances, rtol=0, atol=EXACT, err_msg=component)


def written_out(
    parts: list[Network], seen: list[tuple[Evidence, ...]], replaced: dict[str, Node] | None = None,
    mended: list[tuple[str, ...]] | None = None,
) -> Network:  # fmt: skip
    """A course as one network: visits or stages side by side, some of their nodes depended on others."""
    whole = Network({**unrolled(parts, mended).nodes, **(replaced or {})})
    named = [replace(e, quantity=in_visit(e.quantity, v)) for v, es in enumerate(seen, start=1) for e in es]
    needed = ancestral(whole, {e.quantity for e in named})
    return with_brought_in(with_seen(needed, named), demo.brought_in_when_sound())


def theirs(network: Network) -> dict[str, Array]:
    return by_pgmpy(network, model().space.components)


def reduced(conditions: Conditions = demo.MILD) -> Network:
    return model(conditions).compiled.network


def test_nothing_entered_leaves_the_prior() -> None:
    assert_same(believed(visit()), theirs(with_brought_in(reduced(), demo.brought_in_when_sound())))


@pytest.mark.parametrize("conditions", [demo.FROSTY, demo.MILD])
@pytest.mark.parametrize("dates", [("", ""), ("2026-03-02", "2026-03-04")])
def test_the_charge_goes_on_from_visit_to_visit(dates: tuple[str, str], conditions: Conditions) -> None:
    """Used and parked in between, written out as two more nodes; nothing else is shared but the modes."""
    one, two = visit(*FLAT), visit(*FULL, conditions=conditions)
    one, two = replace(one, date=dates[0]), replace(two, date=dates[1])
    expected = written_out(
        [reduced(), reduced(conditions)], [demo.evidence(FLAT), demo.evidence(FULL, conditions)],
        passing(interval(*dates, conditions.hours_standing), conditions),
    )  # fmt: skip
    assert_same(believed(one, two), theirs(expected))


def passing(
    time: Interval, conditions: Conditions, new_battery: bool = False, sound: bool = False, *, renewed: bool = False
) -> dict[str, Node]:
    """The charge of a second visit from that of the first, or of a new battery, over the time between.

    What the charging side supplies is what it was at the first visit, unless an alternator at fault was renewed.
    """
    setting, states = demo.setting(conditions), reduced().nodes["charge"].states
    full = Node("charge_new", "state", states, (), nearly_full(len(states)))
    used, parked = balance.after_use(setting, time), balance.after_standing(setting, time)[:, :, :, 0]
    before = "charge_new" if new_battery else "charge_visit_1"
    on: tuple[str, ...] = ("battery", "supply_on" if renewed else "supply_visit_1", "use", before)
    left: tuple[str, ...] = ("battery", "drain", "use", "used_visit_2")
    if parked.shape[3] == 1:
        parked, left = parked[:, :, :, 0], ("battery", "drain", "used_visit_2")
    if sound:
        used, parked, on, left = used[:, 0], parked[:, 0], on[1:], left[1:]
    found = [Node("used_visit_2", "state", states, on, used), Node("charge_visit_2", "state", states, left, parked)]
    return {n.name: n for n in [full] * new_battery + [supply_gone_on()] * renewed + found}


def supply_gone_on() -> Node:
    """That of the first visit where the alternator was sound, else that of the second."""
    modes, states = reduced().nodes["alternator"].card, source.SUPPLY_STATES
    same = np.eye(len(states))
    table = np.repeat(same[:, None, None, :], modes, axis=1) + np.zeros((1, 1, len(states), 1))
    table[:, 0] = same[:, :, None]
    return Node("supply_on", "state", states, ("alternator", "supply_visit_1", "supply_visit_2"), table)


def test_what_happened_once_does_not_happen_at_each_visit() -> None:
    """A lamp was left on, the battery was charged; at two later visits all is well."""
    fine = visit(Reading("rest_voltage", value=12.65), Reading("how_it_turns_over", state="normal"))
    told = (
        Reading("left_something_on", state="yes"),
        *FLAT,
        Act("charge", hours=10.0),
        Reading("rest_voltage", value=12.75),
    )
    found = believed(visit(*told), fine, fine)
    left_on = reduced().nodes["use"].states.index("left_on")
    assert found["use"][left_on] > 0.9
    now = worked(visit(*told), fine, fine).present.modes[:, model().space.components.index("use")]
    assert not (now == left_on).any()


def test_a_car_once_left_with_its_lamps_on_is_used_and_parked_as_any_other_from_then_on() -> None:
    modes = demo.setting().modes("use")
    for table in (
        balance.after_use(demo.setting(), Interval(None, None)),
        balance.after_standing(demo.setting(), Interval(None, None)),
    ):
        by_use = np.moveaxis(table, -2, 0)
        for once in ("left_on", "long_standing"):
            np.testing.assert_array_equal(by_use[modes.index(once)], by_use[0])
        assert np.abs(by_use[modes.index("short_trips")] - by_use[0]).max() > 0.01


def test_days_between_visits_are_those_of_their_dates() -> None:
    assert interval("2026-03-01", "2026-03-04", 5.0) == Interval((2.5, 3.5), 5.0)
    assert interval("2026-03-01T08:00", "2026-03-04T20:00", None) == Interval((3.5, 3.5), None)
    assert interval("2026-03-04", "2026-03-01", None) == Interval((0.0, 0.0), None)
    assert interval("", "2026-03-01", None) == Interval(None, None)


def test_the_order_of_readings_within_a_stage_does_not_matter() -> None:
    np.testing.assert_allclose(
        log_likelihood(visit(*FLAT, *FULL)), log_likelihood(visit(*FULL, *FLAT)), rtol=0, atol=EXACT
    )


def test_what_was_not_measured_changes_nothing() -> None:
    skipped = Reading("crank_minimum", not_measured="cannot_reach")
    np.testing.assert_array_equal(log_likelihood(visit(*FLAT, skipped)), log_likelihood(visit(*FLAT)))


@pytest.mark.parametrize("entry", [0, 1, 2])
def test_leaving_an_entry_out_is_never_having_made_it(entry: int) -> None:
    entries = (FLAT[0], Act("charge", hours=8.0), FULL[1])
    rest = tuple(e for k, e in enumerate(entries) if k != entry)
    np.testing.assert_allclose(
        log_likelihood(visit(*entries), without=Entered(0, entry)), log_likelihood(visit(*rest)), rtol=0, atol=EXACT
    )


def test_a_charge_moves_the_state_of_charge_as_far_as_the_battery_accepts_it() -> None:
    """Second stage: the charge depends on battery and charge before; surface charge as just after charging."""
    moved = source.charge_after_charging(demo.setting(), 9.0)
    charge = reduced().nodes["charge"]
    skin = source.surface_after(demo.setting(), 0.0)
    later = {
        "charge_visit_2": Node("charge_visit_2", "state", charge.states, ("battery", "charge_visit_1"), moved),
        "surface_visit_2": replace(skin, name="surface_visit_2"),
    }
    expected = written_out([reduced(), reduced()], [demo.evidence(FLAT), demo.evidence(FULL)], later)
    assert_same(believed(visit(*FLAT, Act("charge", hours=9.0), *FULL)), theirs(expected))


def test_a_wait_after_a_charge_lets_the_surface_charge_fade() -> None:
    """As if the engine had run so many hours ago; the order of two waits does not matter, lamps end it at once."""

    def surface(*entries: Entry) -> Array:
        return worked(visit(*entries)).present.model.network.nodes["surface"].table

    fresh, faded = surface(Act("charge")), surface(Act("charge"), Act("wait", hours=6.0))
    assert fresh[0] < 0.05 < 0.5 < faded[0]
    twice = surface(Act("charge"), Act("wait", hours=6.0), Act("wait", hours=5.0))
    np.testing.assert_array_equal(twice, source.surface_after(demo.setting(), 11.0).table)
    shed = surface(Act("charge"), Act("shed_surface_charge"), Act("wait", hours=6.0))
    np.testing.assert_array_equal(shed, source.surface_shed(demo.setting()).table)


def test_shedding_the_surface_charge_keeps_all_but_the_surface_charge() -> None:
    """What was read before and after is of one car: only the volts at rest are read on another surface charge."""
    skin = replace(source.surface_shed(demo.setting()), name="surface_later")
    rest = reduced().nodes["rest_voltage"]
    later = replace(rest, name="rest_later", parents=tuple(p.replace("surface", "surface_later") for p in rest.parents))
    network = Network({**reduced().nodes, skin.name: skin, later.name: later})
    named = [replace(e, quantity="rest_later") if e.quantity == "rest_voltage" else e for e in demo.evidence(FULL)]
    seen = [*demo.evidence(FLAT), *named]
    expected = with_seen(ancestral(network, {e.quantity for e in seen}), seen)
    found = believed(visit(*FLAT, Act("shed_surface_charge"), *FULL))
    assert_same(found, theirs(with_brought_in(expected, demo.brought_in_when_sound())))


@pytest.mark.parametrize("hours", [0.7, 3.0, None])
def test_a_drive_moves_the_state_of_charge_as_far_as_this_charging_side_can(hours: float | None) -> None:
    skin = source.surface_after(demo.setting(), 0.0)
    moved = balance.after_drive(demo.setting(), hours)
    charge = reduced().nodes["charge"]
    later = {
        "surface_visit_2": replace(skin, name="surface_visit_2"),
        "charge_visit_2": Node(
            "charge_visit_2", "state", charge.states, ("battery", "supply_visit_1", "charge_visit_1"), moved
        ),
    }
    expected = written_out([reduced(), reduced()], [demo.evidence(FLAT), demo.evidence(FULL)], later)
    assert_same(believed(visit(*FLAT, Act("drive", hours=hours), *FULL)), theirs(expected))


def test_a_longer_drive_says_more_of_what_charges() -> None:
    alternator = [believed(visit(*FLAT, Act("drive", hours=h), FLAT[0]))["alternator"][0] for h in (0.7, 3.0)]
    assert alternator[1] < alternator[0] - 0.05


@pytest.mark.parametrize("outcome", ["cured", "no_change"])
def test_a_jump_start_speaks_of_the_car_with_a_full_battery_for_a_moment(outcome: str) -> None:
    """Its outcome depends on what would crank with battery, use and drain sound and the charge nearly full, and it
    changes nothing for what is read afterwards."""
    charge = reduced().nodes["charge"]
    full = np.array([1e-3] * (charge.card - 2) + [0.3, 0.7])
    later = {"charge_visit_2": Node("charge_visit_2", "state", charge.states, (), full / full.sum())}
    heard = [demo.catalogue().number(f"cranking_{outcome}_{behaviour}") for behaviour in BEHAVIOURS]
    cranking = Evidence("crank_behaviour", np.array(heard), 0.2)
    expected = written_out(
        [reduced(), reduced()],
        [pooled_evidence(demo.evidence((*FLAT, *FULL)))[0], (cranking,)],
        later,
        [(), ("battery", "use", "drain")],
    )
    assert_same(believed(visit(*FLAT, Act("jump_start", outcome=outcome), *FULL)), theirs(expected))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "component, outcome",
    [("battery", "cured"), ("battery", "no_change"), ("solenoid", "better"), ("solenoid", None), ("alternator", None)],
)
def test_a_replaced_part_is_sound_at_later_visits_if_the_repair_took(component: str, outcome: str | None) -> None:
    """A mixture of two courses, the repair having taken or not, with the outcome as a reading of all modes.

    A new battery comes charged, whether or not it is the right one.
    """
    took = demo.catalogue().number("repair_works_replace")
    weights: dict[str, Array] = {c: np.zeros(reduced().nodes[c].card) for c in model().space.components}
    for worked, chance in ((True, took), (False, 1.0 - took)):
        mended = (component,) if worked else ()
        parts = [reduced(), reduced(demo.FROSTY)]
        new = component == "battery"
        renewed = worked and component == "alternator"
        time = interval("", "", demo.FROSTY.hours_standing)
        between = passing(time, demo.FROSTY, new, new and worked, renewed=renewed)
        network = written_out(
            parts, [demo.evidence(FLAT), demo.evidence(FULL, demo.FROSTY)], between, mended=[(), mended]
        )
        if outcome is not None:
            node = outcome_node(component, outcome, worked)
            network = Network({**network.nodes, node.name: node})
        scale = chance * chance_by_pgmpy(network)
        weights = {c: w + scale * p for (c, w), p in zip(weights.items(), theirs(network).values(), strict=True)}
    entry = Act(replacing(component), component=component, outcome=outcome)  # type: ignore[arg-type]
    found = believed(visit(*FLAT, entry), visit(*FULL, conditions=demo.FROSTY))
    assert_same(found, {c: w / w.sum() for c, w in weights.items()})


def replacing(component: str) -> str:
    """The act of the catalogue that replaces a component."""
    return next(a.id for a in demo.catalogue().acts if a.effect == "replace" and component in a.components)


def outcome_node(component: str, outcome: str, worked: bool) -> Node:
    """How the complaint stood after a repair, mode by mode: whether a fault is left, and whether one was mended."""
    names = model().space.components
    cards = [reduced().nodes[c].card for c in names]
    table = np.empty(cards)
    for modes in product(*(range(c) for c in cards)):
        faulty = {n for n, m in zip(names, modes, strict=True) if m > 0}
        mended = worked and component in faulty
        left = faulty - {"use"} - ({component} if mended else set())
        table[modes] = outcome_share("left" if left else "none_left", "mended" if mended else "nothing_mended", outcome)
    return Node("seen_outcome", "reading", ("yes", "no"), names, np.stack([table, 1.0 - table]))


def outcome_share(left: str, mended: str, outcome: str) -> float:
    cured, better = (demo.catalogue().number(f"outcome_{left}_{mended}_{o}") for o in ("cured", "better"))
    return {"cured": cured, "better": better, "no_change": 1.0 - cured - better}[outcome]


def test_a_cure_by_a_new_battery_speaks_for_the_battery_and_no_change_against_it() -> None:
    shares = {o: believed(visit(*FLAT, Act(replacing("battery"), component="battery", outcome=o)))["battery"][0]
              for o in ("cured", "no_change")}  # type: ignore[arg-type]  # fmt: skip
    before = believed(visit(*FLAT))["battery"][0]
    assert shares["cured"] < before < shares["no_change"]


def test_a_replaced_battery_starts_the_next_stage_full() -> None:
    """After a new battery a low rest voltage is no longer explained by the charge there was before."""
    act = Act(replacing("battery"), component="battery")
    present = worked(visit(*FLAT, act)).present
    share = present.carried.sum(axis=0) / present.carried.sum()
    assert share[-2:].sum() > 0.9
    assert present.evidence == ()
    assert len(present.acts_done) == 1


def test_the_present_stage_holds_what_was_read_since_the_last_act() -> None:
    present = worked(visit(*FLAT, Act("charge"), FULL[0])).present
    assert [e.quantity for e in present.evidence] == ["rest_voltage"]


def test_a_comparison_of_the_module_counts_for_later_readings_of_the_visit() -> None:
    reading = Reading("module_crank_minimum", value=9.0)
    compared = log_likelihood(visit(Reading("module_offset_at_rest", value=-0.6), reading))
    alone = log_likelihood(visit(reading))
    assert np.abs((compared - compared.max()) - (alone - alone.max())).max() > 0.05


@pytest.fixture
def contradicting(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests whose readings exclude each other in an artificial world: no hypothesis is left when all are entered."""
    together = {"rest_voltage", "hydrometer_level"}

    def artificial(
        models: Sequence[Model], visits: Sequence[Visit], catalogue: Catalogue, space: Hypotheses, without: None = None
    ) -> Course:
        whole = course(models, visits, catalogue, space, without)
        entered = {e.test for v in visits for e in v.entries if isinstance(e, Reading)}
        return replace(whole, log_likelihood=np.full(len(space), -np.inf if together <= entered else 0.0))

    monkeypatch.setattr(diagnose, "course", artificial)


@pytest.mark.usefixtures("contradicting")
def test_a_clash_names_the_fewest_entries_that_cannot_stand_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FAULTNET_CACHE", str(tmp_path))
    entries = (
        Reading("crank_minimum", value=9.8), Reading("rest_voltage", value=12.7), Reading("charge_ripple", value=0.02),
        Reading("hydrometer_level", value=1.1), Reading("key_off_current", value=0.02),
    )  # fmt: skip
    case = Case(demo.CAR, (visit(*entries[:2]), visit(*entries[2:])))
    with pytest.raises(ClashError) as caught:
        diagnose.work_through(case, demo.catalogue(), max_faults=1)
    labels = [demo.catalogue().test(t).label for t in ("rest_voltage", "hydrometer_level")]
    assert len(caught.value.entries) == 2
    assert all(label in words for label, words in zip(labels, caught.value.entries, strict=True))
    assert caught.value.to_do is not None
