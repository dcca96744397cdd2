"""The shipped prior set: what must be in it, its cautions, its look-ups and its reference page."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from faultnet.errors import PriorsError
from faultnet.prior_set import AGE_BANDS, Catalogue, Effect, age_band, load_catalogue, records
from faultnet.prior_set.declared import PARAMETERS
from faultnet.prior_set.load import FILES
from faultnet.prior_set.page import reference_markdown
from faultnet.shipped import shipped

MODES = {
    "battery": "sound sulphated worn weak_cell shorted_cell broken_link dried_out undersized",
    "positive_joint": "sound slack corroded",
    "negative_joint": "sound slack corroded",
    "starter_cable": "sound high_resistance",
    "ground_path": "sound high_resistance breaks_contact",
    "solenoid": "sound worn_contacts weak_winding",
    "starter_motor": "sound worn_brushes dragging open",
    "start_control": "sound intermittent open",
    "engine_turning": "sound heavy seized",
    "engine_running": "sound no_fire",
    "alternator": "sound worn_brushes no_output",
    "regulator": "sound low high",
    "rectifier": "sound open_diode leaking_diode",
    "belt": "sound slips lost",
    "charge_cable": "sound high_resistance open",
    "charge_control": "sound not_excited wrong_command",
    "drain": "sound moderate heavy stays_awake",
    "use": "normal short_trips long_standing left_on",
    "unlisted": "absent present",
}
COMES_AND_GOES = {
    *("battery:broken_link", "positive_joint:slack", "negative_joint:slack", "ground_path:breaks_contact"),
    *("solenoid:worn_contacts", "starter_motor:worn_brushes", "start_control:intermittent"),
    *("alternator:worn_brushes", "drain:stays_awake"),
}


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


def effect(catalogue: Catalogue, component: str, mode: str, parameter: str) -> Effect:
    found = catalogue.effect(component, mode, parameter)
    assert found is not None
    return found


# --- what must be there -----------------------------------------------------------------------------------------------


def test_components_and_modes_are_those_of_the_model(catalogue: Catalogue) -> None:
    found = {c.id: " ".join(mode.id for mode in c.modes) for c in catalogue.components}
    assert found == MODES


def test_modes_that_come_and_go(catalogue: Catalogue) -> None:
    found = {f"{c.id}:{m.id}" for c in catalogue.components for m in c.modes if m.comes_and_goes}
    assert found == COMES_AND_GOES


def test_every_component_has_its_parameters_for_every_mode(catalogue: Catalogue) -> None:
    assert {(c.id, name) for c in catalogue.components for name in catalogue.parameters(c.id)} == set(PARAMETERS)
    for component, name in PARAMETERS:
        assert all(catalogue.effect(component, mode, name) is not None for mode in MODES[component].split())


def test_every_fault_mode_says_what_it_is_how_it_shows_and_what_mends_it(catalogue: Catalogue) -> None:
    for component in catalogue.components:
        for mode in component.modes[1:]:
            assert mode.explanation.endswith(".")
            assert mode.shows.endswith(".")
            assert component.id in catalogue.act(mode.repair).components


def test_at_least_45_tests_over_all_groups(catalogue: Catalogue) -> None:
    groups = [test.group for test in catalogue.tests]
    assert len(groups) >= 45
    assert {group: groups.count(group) >= low for group, low in LEAST.items()} == dict.fromkeys(LEAST, True)


LEAST = {"ask": 10, "look": 10, "rest": 8, "cranking": 15, "load": 1, "charging": 10, "codes": 1}


def test_every_fault_mode_is_seen_by_some_test(catalogue: Catalogue) -> None:
    """A mode without a symptom row must at least move a physical parameter away from the sound one."""
    symptoms = {cause for entry in catalogue.symptoms.values() for cause in entry.rows}
    for component in catalogue.components:
        for mode in component.modes[1:]:
            moved = any(
                effect(catalogue, component.id, mode.id, name)
                != effect(catalogue, component.id, component.modes[0].id, name)
                for name in catalogue.parameters(component.id)
            )
            assert moved or (component.id, mode.id) in symptoms or component.id == "unlisted"


def test_words_carry_no_voltage_limit(catalogue: Catalogue) -> None:
    """Limits depend on the car and the temperature and are computed; only the charger's own voltage is named."""
    for test in catalogue.tests:
        words = " ".join((test.label, test.explanation, *test.steps)).replace("14.4 V", "")
        assert not re.search(r"\d\s?(V|mV|volt)\b", words), test.id
    for component in catalogue.components:
        for mode in component.modes:
            assert not re.search(r"\d\s?(V|mV|volt)\b", mode.explanation + mode.shows)


def test_loading_needs_no_heavy_library() -> None:
    code = (
        "import sys; from faultnet.prior_set import load_catalogue; load_catalogue(); "
        "print([m for m in ('numpy', 'pandas', 'pydantic', 'pgmpy', 'scipy') if m in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


# --- safety -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "precondition, cautions",
    [
        ("engine_runs", {"rotating_parts", "exhaust_gas", "neutral_brake"}),
        ("starter_cranks", {"rotating_parts", "neutral_brake", "long_cranking"}),
        ("fuel_disabled", {"fuel_disabled", "rotating_parts", "neutral_brake", "long_cranking"}),
        ("caps_open", {"acid", "eyes", "hydrogen"}),
    ],
)
def test_cautions_ride_with_what_a_test_needs(catalogue: Catalogue, precondition: str, cautions: set[str]) -> None:
    tests = [test for test in catalogue.tests if precondition in test.needs]
    assert tests
    assert {test.id for test in tests if not cautions <= set(test.cautions)} == set()


def test_every_cranking_test_and_charging_test_carries_cautions(catalogue: Catalogue) -> None:
    assert [t.id for t in catalogue.tests if t.group in ("cranking", "load", "charging") and not t.cautions] == []


def test_charging_acts_warn_of_gas_and_of_a_frozen_battery(catalogue: Catalogue) -> None:
    """CCOHS on battery charging (hydrogen explodes from 4.1 %); US Army OD1002 (never charge a frozen battery)."""
    for name in ("charge", "long_charge"):
        assert {"hydrogen", "eyes", "frozen", "charger_off"} <= set(catalogue.act(name).cautions)
    assert {"jump_lead_order", "hydrogen", "eyes", "frozen"} <= set(catalogue.act("jump_start").cautions)


def test_every_repair_but_paperwork_carries_a_caution(catalogue: Catalogue) -> None:
    assert [act.id for act in catalogue.acts if act.kind in ("repair", "bypass") and not act.cautions] == []


def test_no_caution_is_idle_and_general_ones_come_first(catalogue: Catalogue) -> None:
    used = {name for entry in (*catalogue.tests, *catalogue.acts) for name in entry.cautions}
    assert set(catalogue.cautions) == used | set(catalogue.general_cautions)
    assert catalogue.general_cautions[0] == "makers_instructions"


def test_no_precondition_is_idle(catalogue: Catalogue) -> None:
    asked = {name for test in catalogue.tests for name in test.needs}
    assert set(catalogue.preconditions) == asked | {"booster"}, "a booster is asked for by a car that needs one"


# --- look-ups ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "kind, wrong, right",
    [
        ("component", "batery", "battery"),
        ("test", "rest_volts", "rest_voltage"),
        ("instrument", "multi_meter", "multimeter"),
        ("act", "tighten", "tighten_joint"),
        ("number", "brush_drop_maen", "brush_drop_mean"),
    ],
)
def test_an_unknown_id_suggests_close_ones(catalogue: Catalogue, kind: str, wrong: str, right: str) -> None:
    with pytest.raises(PriorsError) as caught:
        getattr(catalogue, kind)(wrong)
    assert repr(wrong) in str(caught.value)
    assert right in str(caught.value.to_do)


def test_an_unknown_id_far_from_all_says_how_to_list_them(catalogue: Catalogue) -> None:
    with pytest.raises(PriorsError, match="faultnet catalogue"):
        catalogue.test("zzzzzz")


def test_look_ups_return_what_was_asked_for(catalogue: Catalogue) -> None:
    assert all(catalogue.component(entry.id) is entry for entry in catalogue.components)
    assert all(catalogue.test(entry.id) is entry for entry in catalogue.tests)
    assert all(catalogue.instrument(entry.id) is entry for entry in catalogue.instruments)
    assert all(catalogue.act(entry.id) is entry for entry in catalogue.acts)


@pytest.mark.parametrize("climate", ["cold", "temperate", "hot"])
@pytest.mark.parametrize("age", [None, 1.0, 3.0, 5.0, 7.0, 20.0])
def test_the_modes_of_a_component_share_the_cars(catalogue: Catalogue, age: float | None, climate: str) -> None:
    for component in catalogue.components:
        counted = [catalogue.rate(component.id, mode.id, age, climate) for mode in component.modes]
        assert all(count > 0.0 for count, _ in counted)
        assert sum(count for count, _ in counted) == pytest.approx(counted[0][1])


def test_only_the_battery_depends_on_age_and_climate(catalogue: Catalogue) -> None:
    for component in catalogue.components:
        rates = {
            tuple(catalogue.rate(component.id, mode.id, age, climate) for mode in component.modes)
            for age in (None, 1.0, 9.0)
            for climate in ("cold", "hot")
        }
        assert (len(rates) > 1) == (component.id == "battery")


def test_rate_and_on_rate_refuse_an_unknown_mode(catalogue: Catalogue) -> None:
    with pytest.raises(PriorsError, match="did you mean worn"):
        catalogue.rate("battery", "wornn")
    with pytest.raises(PriorsError, match="mode of battery"):
        catalogue.on_rate("battery", "slack")


def test_the_strongest_condition_counts(catalogue: Catalogue) -> None:
    """Read from the table: any 0.35, vibration 0.55, cold 0.45, damp 0.4 (estimates)."""
    rate = catalogue.on_rate
    assert rate("positive_joint", "slack") == 0.35
    assert rate("positive_joint", "slack", {"damp"}) == 0.4
    assert rate("positive_joint", "slack", {"damp", "vibration", "cold"}) == 0.55
    assert rate("positive_joint", "slack", {"heat"}) == 0.35
    assert rate("positive_joint", "corroded", {"vibration"}) == 1.0


@given(st.floats(min_value=0.0, max_value=60.0))
def test_every_age_has_one_band(age: float) -> None:
    low, high = next((low, high) for name, low, high in AGE_BANDS if name == age_band(age))
    assert low <= age < high


# --- the reference page -----------------------------------------------------------------------------------------------


def test_the_page_names_everything(catalogue: Catalogue) -> None:
    page = reference_markdown(catalogue)
    entries = (*catalogue.components, *catalogue.tests, *catalogue.instruments, *catalogue.acts)
    missing = [entry.id for entry in entries if f"(`{entry.id}`" not in page]
    missing += [name for name in catalogue.spreads if f"| {name} |" not in page]
    missing += [text for text in catalogue.cautions.values() if text not in page]
    assert missing == []


def test_the_tables_of_the_page_are_whole(catalogue: Catalogue) -> None:
    """In each table every line has as many cells as the header."""
    width = 0
    for line in [*reference_markdown(catalogue).splitlines(), ""]:
        cells = len(re.findall(r"(?<!\\)\|", line)) if line.startswith("|") else 0
        assert width in (0, cells) or cells == 0, line
        width = cells
    assert "None" not in reference_markdown(catalogue)


def test_the_page_gives_counts_and_sources(catalogue: Catalogue) -> None:
    page = reference_markdown(catalogue)
    assert "| worn out (`worn`) |" in page
    assert "| hot | 2-4 years | " in page
    assert "US Army TM 9-6140-200-14" in page


def test_the_column_dictionary_names_every_file_and_column() -> None:
    """README.md of the prior set against the columns that the loader demands."""
    words = set(re.findall(r"[a-z_]+(?:\.csv|\.toml)?", (shipped("priors") / "standard" / "README.md").read_text()))
    demanded = (records.INSTRUMENT_COLUMNS, records.BASE_RATE_COLUMNS, records.ON_RATE_COLUMNS)
    more = (records.EFFECT_COLUMNS, records.SPREAD_COLUMNS, records.SYMPTOM_COLUMNS, FILES)
    assert {column for columns in (*demanded, *more) for column in columns} - words == set()
